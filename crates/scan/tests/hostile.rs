//! Files that are broken, absurd or meant to do harm: a clear message for each, within bounded
//! memory and time.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use std::io::Write as _;
use std::time::{Duration, Instant};

use flate2::Compression;
use flate2::write::ZlibEncoder;
use scan::{Limits, ReadFault, read};

/// Longest time that a file may take; tests are built with little optimisation and run side by
/// side.
const LONGEST: Duration = Duration::from_secs(20);
/// Most memory of this whole program, in kilobytes, where the system tells it.
const MOST_KB: u64 = 1_200_000;

/// The first fault of a file: none where every page can be read.
fn fault_within(bytes: Vec<u8>, what: &str, limits: Limits) -> Option<ReadFault> {
    let start = Instant::now();
    let fault = match read(bytes, what, limits) {
        Err(error) => Some(error.fault),
        Ok(mut pages) => pages.find_map(|page| page.err().map(|error| error.fault)),
    };
    let (taken, peak) = (start.elapsed(), peak_kb());
    assert!(taken < LONGEST, "{what}: {taken:?}");
    assert!(peak < MOST_KB, "{what}: {peak} kB");
    if let Some(fault) = &fault {
        assert!(fault.to_string().len() > 30, "{what}: {fault}");
    }
    fault
}

fn fault(bytes: Vec<u8>, what: &str) -> Option<ReadFault> {
    fault_within(bytes, what, Limits::default())
}

/// The most memory that this program has had; 0 where the system does not tell.
fn peak_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.split_whitespace().next()?.parse().ok()).unwrap_or(0)
}

fn packed(data: &[u8]) -> Vec<u8> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::fast());
    encoder.write_all(data).unwrap();
    encoder.finish().unwrap()
}

/// Spaces without end, packed.
fn bomb(megabytes: usize) -> Vec<u8> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::fast());
    let spaces = vec![b' '; 1_000_000];
    (0..megabytes).for_each(|_| encoder.write_all(&spaces).unwrap());
    encoder.finish().unwrap()
}

/// A PDF of these objects, numbered from 1, the first being the catalogue.
fn pdf(objects: &[Vec<u8>]) -> Vec<u8> {
    let mut bytes = b"%PDF-1.7\n".to_vec();
    for (index, object) in objects.iter().enumerate() {
        bytes.extend_from_slice(format!("{} 0 obj\n", index + 1).as_bytes());
        bytes.extend_from_slice(object);
        bytes.extend_from_slice(b"\nendobj\n");
    }
    bytes.extend_from_slice(b"trailer\n<</Root 1 0 R>>\n");
    bytes
}

fn stream(dict: &str, data: &[u8]) -> Vec<u8> {
    let head = format!("<<{dict}/Length {}>>\nstream\n", data.len());
    [head.as_bytes(), data, b"\nendstream"].concat()
}

/// A PDF of one page of 48 by 36 points with this content and further objects from number 5;
/// number 5 is the picture or form `I`.
fn page(content: Vec<u8>, more: &[Vec<u8>]) -> Vec<u8> {
    let mut objects = vec![
        b"<</Type/Catalog/Pages 2 0 R>>".to_vec(),
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>".to_vec(),
        b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 48 36]/Contents 4 0 R\
          /Resources<</XObject<</I 5 0 R/J 6 0 R>>>>>>"
            .to_vec(),
        content,
    ];
    objects.extend_from_slice(more);
    pdf(&objects)
}

fn picture_page(dict: &str, data: &[u8]) -> Vec<u8> {
    let content = stream("", b"q 48 0 0 36 0 0 cm /I Do Q");
    page(content, &[stream(&format!("/Type/XObject/Subtype/Image{dict}"), data)])
}

#[test]
fn truncated_files_are_told_or_read_and_nothing_else() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/files");
    let mut told = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let (whole, name) = (std::fs::read(&path).unwrap(), path.display().to_string());
        for part in 0..40 {
            let cut = whole[..whole.len() * part / 40].to_vec();
            told += usize::from(fault(cut, &name).is_some());
        }
    }
    assert!(told > 500, "{told}");
}

#[test]
fn a_pdf_that_ends_too_early_says_that_pages_are_missing() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/files/dct.pdf");
    let whole = std::fs::read(path).unwrap();
    let all = |bytes: &[u8]| -> Vec<Option<ReadFault>> {
        let pages = read(bytes.to_vec(), "scan.pdf", Limits::default()).unwrap();
        pages.map(|page| page.err().map(|error| error.fault)).collect()
    };
    assert_eq!(all(&whole), [None]);
    // Without its table of contents, the page is still there.
    let end = whole.windows(4).rposition(|four| four == b"xref").unwrap();
    let end = whole[..end].windows(4).rposition(|four| four == b"xref").unwrap_or(end);
    assert_eq!(all(&whole[..end]), [None, Some(ReadFault::CutOff)]);
}

#[test]
fn what_is_no_scan_says_so() {
    assert_eq!(fault(Vec::new(), "empty.pdf"), Some(ReadFault::Empty));
    let text = b"Dear all,\nthe drawings are attached.\n".to_vec();
    assert_eq!(fault(text, "letter.pdf"), Some(ReadFault::Kind));
    let text = [b"%PDF-1.7\n".to_vec(), vec![b'a'; 1 << 20]].concat();
    assert_eq!(fault(text, "named.pdf"), Some(ReadFault::Damaged("the PDF")));
}

#[test]
fn small_files_of_huge_pictures_are_refused() {
    let huge = |fault: Option<ReadFault>| match fault {
        Some(ReadFault::Pixels { width, height, .. }) => {
            assert!(width >= 30_000 && height >= 30_000, "{width} by {height}");
        }
        other => panic!("{other:?}"),
    };
    huge(fault(huge_png(), "huge.png"));
    huge(fault(huge_jpeg(), "huge.jpg"));
    huge(fault(huge_tiff(), "huge.tif"));
    let size = "/Width 30000/Height 30000/ColorSpace/DeviceGray/BitsPerComponent 1";
    let fax = format!("{size}/Filter/CCITTFaxDecode/DecodeParms<</K -1/Columns 30000>>");
    huge(fault(picture_page(&fax, &[0; 64]), "fax.pdf"));
    // The sizes that count are the decoder's, not the picture's.
    let size = "/Width 48/Height 36/ColorSpace/DeviceGray/BitsPerComponent 1";
    for name in ["DecodeParms", "DP"] {
        let fax = format!("{size}/Filter/CCITTFaxDecode/{name}<</K -1/Columns 2000000000>>");
        let fault = fault(picture_page(&fax, &[0; 64]), "columns.pdf");
        assert!(matches!(fault, Some(ReadFault::Pixels { width: 2_000_000_000, .. })), "{fault:?}");
    }
    let jbig2 = format!("{size}/Filter/JBIG2Decode");
    huge(fault(picture_page(&jbig2, &jbig2_of([40_000; 2], [48, 36])), "page.pdf"));
    huge(fault(picture_page(&jbig2, &jbig2_of([48, 36], [40_000; 2])), "region.pdf"));
    let jpx = format!("{size}/Filter/JPXDecode");
    huge(fault(picture_page(&jpx, &jpx_of(100_000, 100_000, 1)), "canvas.pdf"));
    for (tile, components) in [(1, 1), (1_000, 16_384)] {
        let fault = fault(picture_page(&jpx, &jpx_of(4_000, tile, components)), "pieces.pdf");
        assert!(matches!(fault, Some(ReadFault::Unknown(_))), "{fault:?}");
    }
}

fn chunk(kind: &[u8; 4], data: &[u8]) -> Vec<u8> {
    let mut crc = flate2::Crc::new();
    crc.update(kind);
    crc.update(data);
    let (length, sum) = ((data.len() as u32).to_be_bytes(), crc.sum().to_be_bytes());
    [&length[..], kind, data, &sum].concat()
}

fn huge_png() -> Vec<u8> {
    let side = 30_000_u32.to_be_bytes();
    let head = [&side[..], &side, &[8, 2, 0, 0, 0]].concat();
    let (head, data) = (chunk(b"IHDR", &head), chunk(b"IDAT", &bomb(3)));
    [b"\x89PNG\r\n\x1a\n".to_vec(), head, data, chunk(b"IEND", &[])].concat()
}

fn huge_jpeg() -> Vec<u8> {
    let [high, low] = 30_000_u16.to_be_bytes();
    let frame = [0xff, 0xc0, 0, 11, 8, high, low, high, low, 1, 1, 0x11, 0];
    let scan = [0xff, 0xda, 0, 8, 1, 1, 0, 0, 63, 0, 0, 0, 0xff, 0xd9];
    [&[0xff, 0xd8][..], &frame, &scan].concat()
}

fn huge_tiff() -> Vec<u8> {
    let tags: [[u32; 4]; 8] = [
        [256, 4, 1, 30_000],
        [257, 4, 1, 30_000],
        [258, 3, 1, 8],
        [259, 3, 1, 1],
        [262, 3, 1, 1],
        [273, 4, 1, 8],
        [278, 4, 1, 30_000],
        [279, 4, 1, 900_000_000],
    ];
    let mut bytes = b"II*\0\x08\0\0\0".to_vec();
    bytes.extend_from_slice(&(tags.len() as u16).to_le_bytes());
    for [tag, kind, count, value] in tags {
        bytes.extend_from_slice(&(tag as u16).to_le_bytes());
        bytes.extend_from_slice(&(kind as u16).to_le_bytes());
        bytes.extend_from_slice(&count.to_le_bytes());
        bytes.extend_from_slice(&value.to_le_bytes());
    }
    bytes.extend_from_slice(&[0; 4]);
    bytes
}

/// A page and a generic region of these sizes (ITU-T T.88, 7.2 and 7.4).
fn jbig2_of(page: [u32; 2], region: [u32; 2]) -> Vec<u8> {
    let segment = |number: u32, kind: u8, data: Vec<u8>| {
        let head = [&number.to_be_bytes()[..], &[kind, 0, 1]].concat();
        [head, (data.len() as u32).to_be_bytes().to_vec(), data].concat()
    };
    let size = |[width, height]: [u32; 2]| [width.to_be_bytes(), height.to_be_bytes()].concat();
    let page = [size(page), vec![0; 11]].concat();
    let region = [size(region), vec![0; 9], vec![0], vec![3, 255, 253, 255, 2, 254, 254, 254]];
    [segment(0, 48, page), segment(1, 38, [region.concat(), vec![0; 40]].concat())].concat()
}

/// The main header of a JPEG 2000 codestream (ITU-T T.800, A.5.1), and nothing behind it.
fn jpx_of(side: u32, tile: u32, components: u16) -> Vec<u8> {
    let mut bytes = vec![0xff, 0x4f, 0xff, 0x51];
    bytes.extend_from_slice(&(38 + 3 * components).to_be_bytes());
    bytes.extend_from_slice(&[0; 2]);
    for long in [side, side, 0, 0, tile, tile, 0, 0] {
        bytes.extend_from_slice(&long.to_be_bytes());
    }
    bytes.extend_from_slice(&components.to_be_bytes());
    bytes.extend((0..components).flat_map(|_| [7, 1, 1]));
    // Coding style and quantisation of the plainest kind, then one empty tile part.
    bytes.extend_from_slice(&[0xff, 0x52, 0, 12, 0, 0, 0, 1, 0, 1, 4, 4, 0, 1]);
    bytes.extend_from_slice(&[0xff, 0x5c, 0, 7, 0x40, 0x40, 0x48, 0x48, 0x50]);
    bytes.extend_from_slice(&[0xff, 0x90, 0, 10, 0, 0, 0, 0, 0, 14, 0, 1, 0xff, 0x93]);
    bytes.extend_from_slice(&[0xff, 0xd9]);
    bytes
}

#[test]
fn streams_that_unpack_without_end_are_refused() {
    let once = bomb(300);
    let twice = packed(&once);
    let small = Limits { pixels: 20_000_000, pages: 10 };
    let fault = |bytes, what| fault_within(bytes, what, small);
    let too_much = |what: &'static str| Some(ReadFault::Unpacked(what));
    let form = |data: &[u8], filter: &str| {
        page(
            stream("", b"q /I Do Q"),
            &[stream(&format!("/Type/XObject/Subtype/Form{filter}"), data)],
        )
    };
    for (filter, data) in [("/Filter/FlateDecode", &once), ("/Filter[/Fl/Fl]", &twice)] {
        for (what, file) in [
            ("content", page(stream(filter, data), &[])),
            ("form", form(data, filter)),
            (
                "picture",
                picture_page(
                    &format!(
                        "/Width 48/Height 36/ColorSpace/DeviceGray/BitsPerComponent 8{filter}"
                    ),
                    data,
                ),
            ),
        ] {
            let told = fault(file, what);
            assert!(
                matches!(told, Some(ReadFault::Unpacked("the page" | "the PDF"))),
                "{what}{filter}: {told:?}"
            );
        }
        let objects = format!("/Type/ObjStm/N 10/First 60{filter}");
        let file = page(stream("", b"q Q"), &[stream(&objects, data)]);
        assert_eq!(fault(file, "packed objects"), too_much("the PDF"), "{filter}");
        let table = format!("/Type/XRef/W[1 2 1]/Size 9{filter}");
        let file = page(stream("", b"q Q"), &[stream(&table, data)]);
        assert_eq!(fault(file, "table"), too_much("the PDF"), "{filter}");
        let file = page(stream("", b"q Q"), &[stream(&objects.replace("/F", "/#46"), data)]);
        assert_eq!(fault(file, "escaped"), too_much("the PDF"), "{filter}");
    }
    let shared = "/Width 48/Height 36/BitsPerComponent 1/ColorSpace/DeviceGray/Filter/JBIG2Decode\
                  /DecodeParms<</JBIG2Globals 6 0 R>>";
    let image =
        stream(&format!("/Type/XObject/Subtype/Image{shared}"), &jbig2_of([48, 36], [48, 36]));
    let globals = stream("/Subtype/Image/Filter/FlateDecode", &once);
    let file = page(stream("", b"q 48 0 0 36 0 0 cm /I Do Q"), &[image, globals]);
    assert_eq!(fault(file, "globals"), too_much("the page"));
}

#[test]
fn forms_and_pictures_used_again_and_again_are_refused() {
    // Each use of the form unpacks it again.
    let form = stream("/Type/XObject/Subtype/Form/Filter/FlateDecode", &bomb(4));
    let file = page(stream("", &b"/I Do ".repeat(2_000)), &[form]);
    let small = Limits { pixels: 20_000_000, pages: 10 };
    let told = fault_within(file, "forms", small);
    assert_eq!(told, Some(ReadFault::Unpacked("the page")));
    // One row of many pixels makes the page fine, and the other is painted over all of it.
    let dict = "/Type/XObject/Subtype/Image/ColorSpace/DeviceGray/BitsPerComponent 8";
    let fine = stream(&format!("{dict}/Width 3000/Height 1"), &[0; 3_000]);
    let small = stream(&format!("{dict}/Width 1/Height 1"), &[0]);
    let uses = [&b"q 48 0 0 36 0 0 cm /I Do "[..], &b"/J Do ".repeat(900)].concat();
    let file = page(stream("", &uses), &[fine, small]);
    let file = String::from_utf8_lossy(&file).replace("[0 0 48 36]", "[0 0 1200 800]");
    let file = file.replace("48 0 0 36 0 0 cm", "1200 0 0 800 0 0 cm");
    assert_eq!(fault(file.into_bytes(), "pictures"), Some(ReadFault::Unpacked("the page")));
    // A form that uses itself.
    let form = stream("/Type/XObject/Subtype/Form", &b"/I Do ".repeat(50));
    let file = page(stream("", b"/I Do"), &[form]);
    assert_eq!(fault(file, "itself"), Some(ReadFault::Unpacked("the page")));
}

#[test]
fn trees_of_pages_without_end_are_told() {
    // 100,000 entries that all lead back to the tree.
    let kids = "2 0 R ".repeat(100_000);
    let tree = format!("<</Type/Pages/Kids[{kids}]/Count 100000>>").into_bytes();
    let file = pdf(&[b"<</Type/Catalog/Pages 2 0 R>>".to_vec(), tree]);
    assert_eq!(fault(file, "cycle"), Some(ReadFault::Damaged("the PDF")));
    // As many that are pages.
    let kids: String = (0..100_000).map(|index| format!("{} 0 R ", index + 3)).collect();
    let tree = format!("<</Type/Pages/Kids[{kids}]/Count 100000>>").into_bytes();
    let mut objects = vec![b"<</Type/Catalog/Pages 2 0 R>>".to_vec(), tree];
    let one = b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 9 9]>>".to_vec();
    objects.extend(std::iter::repeat_n(one, 100_000));
    let fault = fault(pdf(&objects), "many");
    assert_eq!(fault, Some(ReadFault::Pages { pages: 100_000, most: 2_000 }));
}

#[test]
fn brackets_without_end_do_not_exhaust_the_stack() {
    for open in ["[", "<<", "<</A", "(", "[<</A"] {
        let deep = open.repeat(300_000).into_bytes();
        assert!(fault(page(stream("", &deep), &[]), open).is_some());
        let objects = [b"<</Type/Catalog/Pages 2 0 R>>".to_vec(), deep];
        assert!(fault(pdf(&objects), open).is_some());
    }
}
