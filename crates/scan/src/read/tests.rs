#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use super::*;

/// Files of others' making (Pillow and pikepdf), each with the same picture of 48 by 36
/// pixels: white, with black from (4, 4) to (19, 11).
macro_rules! made {
    ($name:literal) => {
        include_bytes!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/files/", $name)).to_vec()
    };
}

fn pages(bytes: Vec<u8>, name: &str) -> Vec<Picture> {
    read(bytes, name, Limits::default()).unwrap().map(|page| page.unwrap()).collect()
}

fn fault(bytes: Vec<u8>) -> ReadFault {
    match read(bytes, "file", Limits::default()) {
        Err(error) => error.fault,
        Ok(mut pages) => pages.next().unwrap().unwrap_err().fault,
    }
}

/// The box of what is dark, both ends inside: left, top, right, bottom.
fn dark(picture: &Picture) -> [usize; 4] {
    let mut ends = [usize::MAX, usize::MAX, 0, 0];
    for (at, _) in picture.level.iter().enumerate().filter(|(_, level)| **level < 128) {
        let (x, y) = (at % picture.width, at / picture.width);
        ends = [ends[0].min(x), ends[1].min(y), ends[2].max(x), ends[3].max(y)];
    }
    ends
}

#[test]
fn every_kind_of_file_shows_the_same_picture() {
    for (name, bytes) in [
        ("g.jpg", made!("g.jpg")),
        ("cmyk.jpg", made!("cmyk.jpg")),
        ("g4.tif", made!("g4.tif")),
        ("raw1.tif", made!("raw1.tif")),
        ("lzw.tif", made!("lzw.tif")),
        ("rgb.tif", made!("rgb.tif")),
        ("dct.pdf", made!("dct.pdf")),
        ("jpx.pdf", made!("jpx.pdf")),
        ("bw.pdf", made!("bw.pdf")),
        ("idx.pdf", made!("idx.pdf")),
        ("strips.pdf", made!("strips.pdf")),
        ("mrc.pdf", made!("mrc.pdf")),
    ] {
        let all = pages(bytes, name);
        assert_eq!(all.len(), 1, "{name}");
        assert_eq!((all[0].width, all[0].height), (48, 36), "{name}");
        assert_eq!(dark(&all[0]), [4, 4, 19, 11], "{name}");
    }
    assert_eq!(pages(made!("two.tif"), "two.tif").len(), 2);
}

#[test]
fn pictures_are_turned_as_their_files_say() {
    // A quarter to the right: what was 4 to 11 from the top is as far from the right.
    for (name, bytes) in [("o6.jpg", made!("o6.jpg")), ("rot.pdf", made!("rot.pdf"))] {
        let picture = pages(bytes, name).remove(0);
        assert_eq!((picture.width, picture.height), (36, 48), "{name}");
        assert_eq!(dark(&picture), [36 - 12, 4, 36 - 5, 19], "{name}");
    }
    // Placed a quarter to the left.
    let picture = pages(made!("ctm.pdf"), "ctm.pdf").remove(0);
    assert_eq!(dark(&picture), [4, 48 - 20, 11, 48 - 5]);
}

#[test]
fn what_cannot_be_read_is_told_with_its_reason() {
    assert_eq!(fault(Vec::new()), ReadFault::Empty);
    assert_eq!(fault(b"Dear all, the drawings are attached.".to_vec()), ReadFault::Kind);
    assert_eq!(fault(b"\0\0\0\x18ftypheic".to_vec()), ReadFault::Heic);
    assert_eq!(fault(made!("enc.pdf")), ReadFault::Encrypted);
    assert_eq!(fault(made!("stroke.pdf")), ReadFault::Drawn);
    assert!(matches!(fault(made!("big.pdf")), ReadFault::Pixels { width: 36_000, .. }));
    assert!(matches!(fault(b"%PDF-1.7\nnothing".to_vec()), ReadFault::Damaged(_)));
    let cut = |bytes: Vec<u8>| bytes[..bytes.len() * 2 / 3].to_vec();
    assert!(matches!(fault(cut(made!("g.jpg"))), ReadFault::Damaged(_)));
    assert!(matches!(fault(cut(made!("lzw.tif"))), ReadFault::Damaged(_)));
    let error = read(Vec::new(), "class.pdf", Limits::default()).unwrap_err().to_string();
    assert!(error.starts_with("class.pdf: the file is empty; copy it again"), "{error}");
    let few = Limits { pages: 1, ..Limits::default() };
    let error = read(made!("two.tif"), "two.tif", few).unwrap_err().to_string();
    assert!(error.starts_with("two.tif: the file has 2 pages, more than 1"), "{error}");
}

#[test]
fn a_stream_that_unpacks_without_end_is_refused() {
    let mut packed = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::fast());
    std::io::Write::write_all(&mut packed, &vec![0; 3_000_000]).unwrap();
    let packed = packed.finish().unwrap();
    let mut pdf = b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n\
        2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n\
        3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 48 36]/Contents 4 0 R/Resources<</XObject<</I 5 0 R>>>>>>endobj\n\
        4 0 obj<</Length 26>>stream\nq 48 0 0 36 0 0 cm /I Do Q\nendstream endobj\n"
        .to_vec();
    let head = format!(
        "5 0 obj<</Type/XObject/Subtype/Image/Width 48/Height 36/ColorSpace/DeviceGray\
         /BitsPerComponent 8/Filter/FlateDecode/Length {}>>stream\n",
        packed.len()
    );
    pdf.extend_from_slice(head.as_bytes());
    pdf.extend_from_slice(&packed);
    pdf.extend_from_slice(b"\nendstream endobj\ntrailer<</Root 1 0 R>>\n");
    let small = Limits { pixels: 500_000, pages: 10 };
    let error = read(pdf, "bomb.pdf", small).unwrap().next().unwrap().unwrap_err();
    assert_eq!(error.fault, ReadFault::Unpacked("the page"));
}

mod any_bytes {
    use proptest::prelude::*;

    use super::*;

    fn valid() -> impl Strategy<Value = Vec<u8>> {
        prop::sample::select(vec![
            made!("g.jpg"),
            made!("g4.tif"),
            made!("lzw.tif"),
            made!("dct.pdf"),
            made!("jpx.pdf"),
            made!("bw.pdf"),
            made!("idx.pdf"),
            made!("mrc.pdf"),
        ])
    }

    fn go_through(bytes: Vec<u8>) {
        let small = Limits { pixels: 1_000_000, pages: 20 };
        if let Ok(pages) = read(bytes, "any", small) {
            for page in pages.flatten() {
                assert_eq!(page.level.len(), page.width * page.height);
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(200) })]

        #[test]
        fn bytes_of_chance_do_no_harm(
            head in prop::sample::select(vec![
                &b""[..], b"%PDF-1.4\n", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*",
            ]),
            rest in prop::collection::vec(any::<u8>(), 0..400),
        ) {
            go_through([head, &rest[..]].concat());
        }

        #[test]
        fn files_cut_off_or_spoiled_do_no_harm(
            bytes in valid(),
            cut in 0.0..1.0_f64,
            spots in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..12),
        ) {
            let mut spoiled = bytes.clone();
            for (spot, value) in spots {
                let at = spot.index(spoiled.len());
                spoiled[at] = value;
            }
            go_through(spoiled);
            go_through(bytes[..(bytes.len() as f64 * cut) as usize].to_vec());
        }
    }
}
