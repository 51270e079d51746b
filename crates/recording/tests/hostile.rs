//! Bad files: what is wrong and where is told, nothing is taken that is not there, nothing panics.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use std::fs;
use std::path::{Path, PathBuf};

use recording::{Asked, Format, Memory, Place, ReadError, ReadFault, Recording, Source};

const FILES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/files");

fn file(name: &str) -> Vec<u8> {
    fs::read(Path::new(FILES).join(name)).unwrap()
}

fn open(name: &str, bytes: impl Into<Vec<u8>>) -> Result<Recording, ReadError> {
    Recording::open_in(Box::new(Memory::one(name, bytes.into())), name, &Asked::default())
}

fn record(files: &[(&str, &[u8])]) -> Result<Recording, ReadError> {
    let memory: Memory =
        files.iter().map(|(name, bytes)| ((*name).to_owned(), bytes.to_vec())).collect();
    Recording::open_in(Box::new(memory), files[0].0, &Asked::default())
}

fn told(opened: Result<Recording, ReadError>) -> String {
    opened.expect_err("this cannot be opened").to_string()
}

fn whole(recording: &mut Recording, signal: usize) -> Vec<f64> {
    let mut samples = Vec::new();
    recording.read(signal, 0, usize::MAX, &mut samples).unwrap();
    samples
}

fn with(mut bytes: Vec<u8>, at: usize, text: &str) -> Vec<u8> {
    bytes[at..at + text.len()].copy_from_slice(text.as_bytes());
    bytes
}

/// A folder of its own for files on disk.
fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    folder
}

/// Every prefix of every file opens or is refused; what opens can be read.
#[test]
fn cut_off_files_are_read_as_far_as_they_go_or_refused() {
    for (name, step) in [
        ("plus.edf", 7),
        ("gaps.edf", 7),
        ("float.wav", 1),
        ("24bit.wav", 1),
        ("named.csv", 3),
        ("clock.csv", 11),
    ] {
        let bytes = file(name);
        for end in (0..bytes.len()).step_by(step) {
            if let Ok(mut recording) = open(name, &bytes[..end]) {
                for signal in 0..recording.signals().len() {
                    let count = recording.signals()[signal].samples;
                    assert_eq!(
                        whole(&mut recording, signal).len() as u64,
                        count,
                        "{name} to {end}"
                    );
                }
            }
        }
    }
}

#[test]
fn cut_off_records_are_told() {
    let (header, data) = (file("fmt16.hea"), file("fmt16.dat"));
    let mut recording = record(&[("fmt16.hea", &header), ("fmt16.dat", &data[..101])]).unwrap();
    // 101 bytes hold 16 frames of three samples of two bytes, and two samples more.
    assert_eq!(recording.signals()[0].samples, 16);
    assert!(recording.remarks[0].text.contains("ends after 16"), "{:?}", recording.remarks);
    assert_eq!(whole(&mut recording, 2).len(), 16);
    let (header, data) = (file("flac516.hea"), file("flac516.dat"));
    for end in (0..data.len()).step_by(5) {
        if let Ok(mut recording) =
            record(&[("flac516.hea", &header), ("flac516.dat", &data[..end])])
        {
            let read = recording.read(0, 0, 1000, &mut Vec::new());
            assert!(read.is_err_and(|error| error.file == "flac516.dat"), "{end}");
        }
    }
}

/// Headers that announce what is not there: neither is it allocated nor believed.
#[test]
fn absurd_counts_are_not_believed() {
    let edf = file("plus.edf");
    for (at, text, expected) in [
        (0, "hello wo", "plus.edf, byte 0: the version is “hello wo”"),
        (252, "9999", "plus.edf, byte 252: the header announces 9999 signals"),
        (252, "x   ", "plus.edf, byte 252: the number of signals is “x”"),
        (252, "0   ", "plus.edf, byte 256: there is no whole data record"),
        (236, "many    ", "plus.edf, byte 236: the number of data records is “many”"),
        (244, "-1      ", "plus.edf, byte 244: the duration of a data record is “-1”"),
        (244, "nan     ", "plus.edf, byte 244: the duration of a data record is “nan”"),
        (244, "0       ", "plus.edf, byte 244: the duration of a data record is “0”"),
        // Three signals: samples per record stand after 216 bytes of other fields for each.
        (256 + 3 * 216, "99999999", "plus.edf, byte 1024: there is no whole data record"),
        (
            256 + 3 * 216,
            "1e9     ",
            "plus.edf, byte 904: the number of samples in a data record is “1e9”",
        ),
        (256 + 3 * 104, "inf     ", "plus.edf, byte 568: the physical minimum is “inf”"),
    ] {
        let error = told(open("plus.edf", with(edf.clone(), at, text)));
        assert!(error.starts_with(expected), "{error}");
    }
    let mut more = open("plus.edf", with(edf.clone(), 236, "99999999")).unwrap();
    assert!(
        more.remarks[0]
            .to_string()
            .contains("announces 99999999 data records; the file ends after 4"),
        "{:?}",
        more.remarks
    );
    assert_eq!(whole(&mut more, 0).len(), 128);
    let unknown = open("plus.edf", with(edf.clone(), 236, "-1      ")).unwrap();
    assert_eq!(unknown.signals()[0].samples, 128);
    let error = told(record(&[("a.hea", b"a 1 250 99999999999999\n~ 0\n")]));
    assert!(error.contains("more than ten years"), "{error}");
    let error = told(record(&[("a.hea", b"a 99999999999 250 10\n")]));
    assert!(error.contains("the number of signals is “99999999999”"), "{error}");
    let error = told(record(&[("a.hea", b"a/5 1 250 10\n")]));
    assert!(error.contains("5 segment lines are announced and 0 are there"), "{error}");
}

#[test]
fn one_spoiled_signal_spoils_no_other() {
    // The first signal's physical minimum as its maximum.
    let mut recording =
        open("plus.edf", with(file("plus.edf"), 256 + 3 * 104, "5.0     ")).unwrap();
    assert_eq!(recording.signals().len(), 1);
    assert_eq!(recording.signals()[0].label, "ABP");
    assert!(
        recording.remarks[0].text.starts_with("the signal “ECG” is left out"),
        "{:?}",
        recording.remarks
    );
    let mut sound = open("plus.edf", file("plus.edf")).unwrap();
    assert_eq!(whole(&mut recording, 0), whole(&mut sound, 1));
}

/// The same samples with records at 0, 2, 5 and 9 s: what lies between was not recorded.
#[test]
fn gaps_in_edf_are_not_recorded() {
    let (mut gaps, mut plus) =
        (open("gaps.edf", file("gaps.edf")).unwrap(), open("plus.edf", file("plus.edf")).unwrap());
    for (signal, rate) in [(0, 32), (1, 10)] {
        let (all, sound) = (whole(&mut gaps, signal), whole(&mut plus, signal));
        assert_eq!(all.len(), 10 * rate);
        let mut expected = vec![f64::NAN; 10 * rate];
        for (record, second) in [0, 2, 5, 9].into_iter().enumerate() {
            expected[second * rate..][..rate].copy_from_slice(&sound[record * rate..][..rate]);
        }
        assert!(
            all.iter()
                .zip(&expected)
                .all(|(one, other)| one.to_bits() == other.to_bits()
                    || one.is_nan() && other.is_nan())
        );
    }
    assert_eq!(gaps.annotations, plus.annotations);
    assert_eq!(gaps.annotations.len(), 2);
}

/// Whoever was recorded is not told by anything that the reader gives.
#[test]
fn people_are_not_named() {
    let named = with(
        with(file("plus.edf"), 8, "X F 01-JAN-1990 Jane_Doe"),
        88,
        "Startdate 02-MAR-2020 Clinic",
    );
    let recording = open("plus.edf", named).unwrap();
    let all = format!("{recording:?} {:?} {:?}", recording.annotations, recording.remarks);
    for word in ["Jane", "1990", "Clinic", "2020"] {
        assert!(!all.contains(word), "{all}");
    }
}

#[test]
fn names_in_headers_stay_in_the_folder() {
    let folder = folder("confined");
    let inside = folder.join("inside");
    fs::create_dir_all(&inside).unwrap();
    fs::write(folder.join("secret.dat"), [1, 0, 2, 0]).unwrap();
    for outside in [
        "../secret.dat",
        "../../../../../../etc/passwd",
        "/etc/passwd",
        "..\\secret.dat",
        "a/../../secret.dat",
    ] {
        fs::write(inside.join("a.hea"), format!("a 1 250\n{outside} 16\n")).unwrap();
        let error = Recording::open(&inside.join("a.hea"), &Asked::default()).unwrap_err();
        assert_eq!(error.fault, ReadFault::Outside(outside.to_owned()));
        fs::write(inside.join("b.hea"), format!("b/1 1 250 2\n{outside} 2\n")).unwrap();
        let error = Recording::open(&inside.join("b.hea"), &Asked::default()).unwrap_err();
        assert!(matches!(error.fault, ReadFault::Outside(_)), "{error}");
    }
    let asked = Asked { annotator: Some("x/../../secret".into()), ..Asked::default() };
    fs::write(inside.join("c.hea"), "c 0 250\n").unwrap();
    assert!(matches!(
        Recording::open(&inside.join("c.hea"), &asked).unwrap_err().fault,
        ReadFault::Outside(_)
    ));
}

#[test]
fn what_is_missing_is_named() {
    let error = told(record(&[("a.hea", b"a 1 250\nb.dat 16\n")]));
    assert!(error.starts_with("b.dat: there is no such file"), "{error}");
    let error = told(Recording::open(Path::new("/nowhere/a.edf"), &Asked::default()));
    assert!(error.starts_with("a.edf: there is no such file"), "{error}");
    assert_eq!(open("a.edf", []).unwrap_err().fault, ReadFault::Empty);
    assert_eq!(open("a.hea", []).unwrap_err().fault, ReadFault::Empty);
    assert_eq!(open("a.xyz", [0, 1, 2]).unwrap_err().fault, ReadFault::Kind);
    let error = told(open("a.wav", "RIFF"));
    assert!(error.starts_with("a.wav, byte 0: the file's kind is “RIFF”"), "{error}");
    let error = told(open("a.edf", "\u{ff}"));
    assert!(error.starts_with("a.edf, byte 0: the version"), "{error}");
    let error = told(Recording::open(Path::new("/"), &Asked::default()));
    assert!(error.contains("there is no such file"), "{error}");
    // A folder, and on Unix a pipe, is nothing to read; to open a pipe would never return.
    let folder = folder("strange");
    fs::create_dir_all(folder.join("a.dat")).unwrap();
    fs::write(folder.join("a.hea"), "a 1 250\na.dat 16\n").unwrap();
    let error = told(Recording::open(&folder.join("a.hea"), &Asked::default()));
    assert!(error.contains("it is not a regular file"), "{error}");
    let pipe = folder.join("b.dat");
    if std::process::Command::new("mkfifo").arg(&pipe).status().is_ok_and(|status| status.success())
    {
        fs::write(folder.join("b.hea"), "b 1 250\nb.dat 16\n").unwrap();
        let error = told(Recording::open(&folder.join("b.hea"), &Asked::default()));
        assert!(error.contains("it is not a regular file"), "{error}");
    }
}

#[test]
fn a_table_beside_a_record_of_its_name_is_a_table() {
    let (header, data, table) = (file("fmt16.hea"), file("fmt16.dat"), file("named.csv"));
    let files: [(&str, &[u8]); 3] =
        [("fmt16.csv", &table), ("fmt16.hea", &header), ("fmt16.dat", &data)];
    assert_eq!(record(&files).unwrap().format, Format::Csv);
    // Any other file of the record, and its name alone, stand for the record.
    for name in ["fmt16.dat", "fmt16.hea", "fmt16"] {
        let memory: Memory =
            files.iter().map(|(name, bytes)| ((*name).to_owned(), bytes.to_vec())).collect();
        let opened = Recording::open_in(Box::new(memory), name, &Asked::default()).unwrap();
        assert_eq!((opened.format, opened.name.as_str()), (Format::Wfdb, "fmt16"));
    }
}

#[test]
fn a_missing_segment_is_a_gap() {
    let names = [
        "variable.hea",
        "variable_layout.hea",
        "variable_1.hea",
        "variable_1.dat",
        "variable_4.hea",
        "variable_4.dat",
    ];
    let files: Vec<_> = names.iter().map(|name| (*name, file(name))).collect();
    let files: Vec<_> = files.iter().map(|(name, bytes)| (*name, &bytes[..])).collect();
    let mut recording = record(&files).unwrap();
    let abp = whole(&mut recording, 2);
    assert!(abp[..300].iter().any(|value| value.is_finite()));
    assert!(abp[300..750].iter().all(|value| value.is_nan()));
    assert!(
        recording
            .remarks
            .iter()
            .any(|remark| remark.text.starts_with("segment variable_3 counts as not recorded")),
        "{:?}",
        recording.remarks
    );
}

#[test]
fn spoiled_samples_are_told_by_their_checksum() {
    let (header, mut data) = (file("fmt16.hea"), file("fmt16.dat"));
    let sound = record(&[("fmt16.hea", &header), ("fmt16.dat", &data)]).unwrap();
    assert_eq!(sound.remarks, []);
    data[600] ^= 1;
    let spoiled = record(&[("fmt16.hea", &header), ("fmt16.dat", &data)]).unwrap();
    assert_eq!(spoiled.remarks.len(), 1);
    assert!(spoiled.remarks[0].text.contains("checksum"), "{:?}", spoiled.remarks);
}

/// Chunks in any order with odd lengths, sizes of streams, and the extensible form.
#[test]
fn unusual_sound_files_are_read() {
    let chunk = |name: &[u8; 4], body: &[u8]| {
        let mut chunk = [&name[..], &(body.len() as u32).to_le_bytes(), body].concat();
        chunk.resize(chunk.len().next_multiple_of(2), 0);
        chunk
    };
    let form = [
        &1u16.to_le_bytes()[..],
        &1u16.to_le_bytes(),
        &500u32.to_le_bytes(),
        &1000u32.to_le_bytes(),
        &2u16.to_le_bytes(),
        &16u16.to_le_bytes(),
    ]
    .concat();
    let mut extensible = form.clone();
    extensible[..2].copy_from_slice(&0xfffe_u16.to_le_bytes());
    extensible.extend([
        22, 0, 16, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71,
    ]);
    let sound = chunk(b"data", &[0, 0x40, 0, 0xc0]);
    let streamed = |size: u32| [b"data", &size.to_le_bytes()[..], &[0, 0x40, 0, 0xc0]].concat();
    let file = |chunks: &[&[u8]]| [&b"RIFF\0\0\0\0WAVE"[..], &chunks.concat()].concat();
    for bytes in [
        file(&[&chunk(b"fmt ", &form), &sound]),
        file(&[&chunk(b"LIST", b"odd"), &sound, &chunk(b"junk", b"1"), &chunk(b"fmt ", &form)]),
        file(&[&chunk(b"fmt ", &extensible), &sound, &chunk(b"LIST", b"x")]),
        file(&[&chunk(b"fmt ", &form), &streamed(0)]),
        file(&[&chunk(b"fmt ", &form), &streamed(u32::MAX)]),
    ] {
        let mut recording = open("a.wav", bytes).unwrap();
        assert_eq!(whole(&mut recording, 0), [0.5, -0.5]);
        assert_eq!(recording.signals()[0].rate_hz, 500.0);
    }
    let recording = open("a.wav", file(&[&chunk(b"fmt ", &form), &streamed(0)])).unwrap();
    assert_eq!(
        recording.remarks[0].to_string(),
        "a.wav, byte 40: the sound is said to have 0 bytes; the 4 up to the end of the file are taken"
    );
    let mut compressed = form.clone();
    compressed[0] = 17;
    let error = told(open("a.wav", file(&[&chunk(b"fmt ", &compressed), &sound])));
    assert!(
        error.starts_with("a.wav, byte 20: sound of kind 17 with 16 bits is not read; save it"),
        "{error}"
    );
    assert!(told(open("a.wav", file(&[&sound]))).contains("is missing"));
    let mut many = form.clone();
    many[2..4].copy_from_slice(&[0xff, 0xff]);
    let error = told(open("a.wav", file(&[&chunk(b"fmt ", &many), &sound])));
    assert!(error.contains("the number of channels is “65535”; expected 1 to 1024"), "{error}");
}

#[test]
fn what_is_not_there_is_not_given() {
    let mut recording = open("plus.edf", file("plus.edf")).unwrap();
    let mut samples = vec![1.0];
    let error = recording.read(2, 0, 1, &mut samples).unwrap_err();
    assert_eq!((error.place, samples.len()), (Place::Whole, 1));
    recording.read(0, 126, usize::MAX, &mut samples).unwrap();
    assert_eq!(samples.len(), 3);
    recording.read(0, u64::MAX, usize::MAX, &mut samples).unwrap();
    assert_eq!(samples.len(), 3);
}
