//! Pages as scanners pack them inside PDFs, each with the same picture: white, with black from
//! (4, 4) to (19, 11), of 48 by 36 pixels. The JBIG2 data are encoded here, the others by Pillow
//! and pikepdf where they are installed.
#![allow(clippy::print_stdout, reason = "a test says why it is skipped")]
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use scan::{Limits, ReadFault, read};

const WIDTH: usize = 48;
const HEIGHT: usize = 36;

fn is_black(x: usize, y: usize) -> bool {
    (4..20).contains(&x) && (4..12).contains(&y)
}

fn check(bytes: Vec<u8>, name: &str) {
    let page = read(bytes, name, Limits::default()).unwrap().next().unwrap().unwrap();
    assert_eq!((page.width, page.height), (WIDTH, HEIGHT), "{name}");
    for (at, level) in page.level.iter().enumerate() {
        let black = is_black(at % WIDTH, at / WIDTH);
        // What is packed with losses rings at edges.
        assert_eq!(*level < 128, black, "{name}: {level} at {at}");
    }
}

/// The picture in group 4, by Pillow.
const G4: &[u8] = &[243, 96, 191, 255, 255, 227, 255, 255, 254, 0, 32, 2];

/// Probability states of the arithmetic coder: estimate, next state after the more and the less
/// probable symbol, and whether these change places.
///
/// Source: ITU-T T.88 (2000), table E.1.
const STATES: [(u32, u8, u8, bool); 47] = [
    (0x5601, 1, 1, true),
    (0x3401, 2, 6, false),
    (0x1801, 3, 9, false),
    (0x0ac1, 4, 12, false),
    (0x0521, 5, 29, false),
    (0x0221, 38, 33, false),
    (0x5601, 7, 6, true),
    (0x5401, 8, 14, false),
    (0x4801, 9, 14, false),
    (0x3801, 10, 14, false),
    (0x3001, 11, 17, false),
    (0x2401, 12, 18, false),
    (0x1c01, 13, 20, false),
    (0x1601, 29, 21, false),
    (0x5601, 15, 14, true),
    (0x5401, 16, 14, false),
    (0x5101, 17, 15, false),
    (0x4801, 18, 16, false),
    (0x3801, 19, 17, false),
    (0x3401, 20, 18, false),
    (0x3001, 21, 19, false),
    (0x2801, 22, 19, false),
    (0x2401, 23, 20, false),
    (0x2201, 24, 21, false),
    (0x1c01, 25, 22, false),
    (0x1801, 26, 23, false),
    (0x1601, 27, 24, false),
    (0x1401, 28, 25, false),
    (0x1201, 29, 26, false),
    (0x1101, 30, 27, false),
    (0x0ac1, 31, 28, false),
    (0x09c1, 32, 29, false),
    (0x08a1, 33, 30, false),
    (0x0521, 34, 31, false),
    (0x0441, 35, 32, false),
    (0x02a1, 36, 33, false),
    (0x0221, 37, 34, false),
    (0x0141, 38, 35, false),
    (0x0111, 39, 36, false),
    (0x0085, 40, 37, false),
    (0x0049, 41, 38, false),
    (0x0025, 42, 39, false),
    (0x0015, 43, 40, false),
    (0x0009, 44, 41, false),
    (0x0005, 45, 42, false),
    (0x0001, 45, 43, false),
    (0x5601, 46, 46, false),
];

/// The arithmetic encoder of ITU-T T.88 (2000), annex E (the same as in T.800, annex C).
struct Encoder {
    low: u32,
    range: u32,
    shifts: u32,
    /// Its first byte is none.
    bytes: Vec<u8>,
    states: Vec<(u8, bool)>,
}

impl Encoder {
    fn new(contexts: usize) -> Self {
        Self {
            low: 0,
            range: 0x8000,
            shifts: 12,
            bytes: vec![0],
            states: vec![(0, false); contexts],
        }
    }

    fn encode(&mut self, context: usize, bit: bool) {
        let (state, likely) = self.states[context];
        let (estimate, more, less, exchange) = STATES[usize::from(state)];
        self.range -= estimate;
        let small = self.range < estimate;
        if bit == likely {
            if self.range & 0x8000 != 0 {
                self.low += estimate;
                return;
            }
            if small {
                self.range = estimate
            } else {
                self.low += estimate
            }
            self.states[context].0 = more;
        } else {
            if small {
                self.low += estimate
            } else {
                self.range = estimate
            }
            self.states[context] = (less, likely != exchange);
        }
        while self.range & 0x8000 == 0 {
            self.range <<= 1;
            self.low <<= 1;
            self.shifts -= 1;
            if self.shifts == 0 {
                self.put();
            }
        }
    }

    fn put(&mut self) {
        let last = self.bytes.last_mut().unwrap();
        if *last != 0xff && self.low >= 0x800_0000 {
            *last += 1;
            self.low &= 0x7ff_ffff;
        }
        if *self.bytes.last().unwrap() == 0xff {
            self.bytes.push((self.low >> 20) as u8);
            self.low &= 0xf_ffff;
            self.shifts = 7;
        } else {
            self.bytes.push((self.low >> 19) as u8);
            self.low &= 0x7_ffff;
            self.shifts = 8;
        }
    }

    fn end(mut self) -> Vec<u8> {
        let most = self.low + self.range;
        self.low |= 0xffff;
        if self.low >= most {
            self.low -= 0x8000;
        }
        for _ in 0..2 {
            self.low <<= self.shifts;
            self.put();
        }
        self.bytes.extend_from_slice(&[0xff, 0xac]);
        self.bytes.split_off(1)
    }
}

/// The picture as a generic region (T.88, 6.2.5.3: template 0 with its usual adaptive pixels).
fn generic() -> Vec<u8> {
    /// Pixels of the template, the least significant first: to the left and above.
    const TEMPLATE: [[i32; 2]; 16] = [
        [-1, 0],
        [-2, 0],
        [-3, 0],
        [-4, 0],
        [3, -1],
        [2, -1],
        [1, -1],
        [0, -1],
        [-1, -1],
        [-2, -1],
        [-3, -1],
        [2, -2],
        [1, -2],
        [0, -2],
        [-1, -2],
        [-2, -2],
    ];
    let black = |x: i32, y: i32| x >= 0 && y >= 0 && is_black(x as usize, y as usize);
    let mut encoder = Encoder::new(1 << 16);
    for y in 0..HEIGHT as i32 {
        for x in 0..WIDTH as i32 {
            let pixels = TEMPLATE.iter().enumerate();
            let context =
                pixels.map(|(bit, [dx, dy])| usize::from(black(x + dx, y + dy)) << bit).sum();
            encoder.encode(context, black(x, y));
        }
    }
    encoder.end()
}

/// The segments that a PDF holds (T.88, 7.2, 7.4.6 and 7.4.8): the page, and a region.
fn jbig2(flags: &[u8], coded: &[u8]) -> Vec<u8> {
    let segment = |number: u32, kind: u8, data: Vec<u8>| {
        let head = [&number.to_be_bytes()[..], &[kind, 0, 1]].concat();
        [head, (data.len() as u32).to_be_bytes().to_vec(), data].concat()
    };
    let size = [(WIDTH as u32).to_be_bytes(), (HEIGHT as u32).to_be_bytes()].concat();
    let page = [&size[..], &[0; 11]].concat();
    let region = [&size[..], &[0; 9], flags, coded].concat();
    [segment(0, 48, page), segment(1, 38, region)].concat()
}

/// A PDF of one page with this picture.
fn pdf(dict: &str, data: &[u8]) -> Vec<u8> {
    let mut bytes = b"%PDF-1.7\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n\
        2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n\
        3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 48 36]/Contents 4 0 R/Resources<</XObject<</I 5 0 R>>>>>>endobj\n\
        4 0 obj<</Length 26>>stream\nq 48 0 0 36 0 0 cm /I Do Q\nendstream endobj\n"
        .to_vec();
    let head = format!(
        "5 0 obj<</Type/XObject/Subtype/Image/Width {WIDTH}/Height {HEIGHT}\
         /ColorSpace/DeviceGray/BitsPerComponent 1{dict}/Length {}>>stream\n",
        data.len()
    );
    bytes.extend_from_slice(head.as_bytes());
    bytes.extend_from_slice(data);
    bytes.extend_from_slice(b"\nendstream endobj\ntrailer<</Root 1 0 R>>\n");
    bytes
}

#[test]
fn jbig2_with_the_arithmetic_coder() {
    let adaptive = [3_u8, 0xff, 0xfd, 0xff, 2, 0xfe, 0xfe, 0xfe];
    let data = jbig2(&[&[0][..], &adaptive].concat(), &generic());
    check(pdf("/Filter/JBIG2Decode", &data), "arithmetic");
}

#[test]
fn jbig2_with_the_fax_coder() {
    // The same codes as group 4 (T.88, 6.2.6), here of the strip of a TIFF by Pillow.
    let data = jbig2(&[1], G4);
    check(pdf("/Filter/JBIG2Decode", &data), "fax coder");
}

#[test]
fn group_4_alone() {
    let fax = "/Filter/CCITTFaxDecode/DecodeParms<</K -1/Columns 48/Rows 36>>";
    check(pdf(fax, G4), "group 4");
}

/// Group 4 and 3, JPEG 2000 with and without losses and in tiles, JBIG2, all by others.
#[test]
fn what_other_programs_pack_is_read() {
    let Some(python) = std::env::var_os("INCISURA_PYTHON") else {
        println!("skipped: set INCISURA_PYTHON to a Python with pikepdf and Pillow");
        return;
    };
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/codecs.py");
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("codecs");
    std::fs::create_dir_all(&folder).unwrap();
    let output = std::process::Command::new(python).arg(script).arg(&folder).output().unwrap();
    if output.status.code() == Some(3) {
        println!("skipped: {}", String::from_utf8_lossy(&output.stdout));
        return;
    }
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let names = String::from_utf8(output.stdout).unwrap();
    assert!(names.lines().count() >= 8, "{names}");
    for name in names.lines() {
        println!("{name}");
        let bytes = std::fs::read(folder.join(name)).unwrap();
        if name == "group3.tif" {
            // Telephone faxes come so, scans do not; it must not pass for damaged.
            let error = read(bytes, name, Limits::default()).unwrap().next().unwrap().unwrap_err();
            assert_eq!(error.fault, ReadFault::Unknown("a TIFF's packing"));
            continue;
        }
        check(bytes, name);
    }
}
