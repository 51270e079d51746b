//! The marks and the code: found again in spoiled pages by outside decoders, and the code's
//! text against slips of reading and typing.
#![allow(clippy::print_stdout, reason = "a test says what it found, and why it is skipped")]
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use std::ffi::OsStr;
use std::io::Write as _;
use std::process::{Command, Stdio};

use figure::Box2;
use proptest::prelude::*;
use serde_json::{Value, json};
use sheet::marks::{
    Corner, MARK_CENTRES_MM, MARK_MODULES, MARK_QUIET, MARK_SIZE_MM, frame, mark, mark_boxes,
    mark_centre,
};
use sheet::{CODE_SIZE_MM, SheetCode, test_id};

/// The variable that names a Python with OpenCV and zxing-cpp; without it one test is skipped.
const PYTHON: &str = "INCISURA_PYTHON";

/// Letter and A4, upright and turned.
const PAGES: [[f64; 2]; 4] = [[215.9, 279.4], [210.0, 297.0], [279.4, 215.9], [297.0, 210.0]];

/// Spoiled pages of each kind. Of 50 each all marks were found too, and all codes but two of
/// those in small photos.
const SAMPLES: usize = 5;

/// How far from the truth a mark's centre may be seen, in millimetres: in a page as drawn, and
/// in a spoiled one.
const CLEAN_MM: f64 = 0.05;
const SPOILED_MM: f64 = 0.3;

/// How far from the truth any place among the marks may be when the page is flattened by the
/// outlines of three marks, in millimetres, the fourth corner being extrapolated.
const THREE_MARKS_MM: f64 = 2.0;

#[test]
fn outside_decoders_find_marks_and_code_in_spoiled_pages() {
    let Some(python) = std::env::var_os(PYTHON) else {
        println!("skipped: set {PYTHON} to a Python with OpenCV; `cargo xtask test` does");
        return;
    };
    let found = checked(&python, &letter());
    assert_eq!(found["not as OpenCV draws them"], json!([]));
    let kinds = found["kinds"].as_object().unwrap();
    assert_eq!(kinds.len(), 8);
    for (kind, one) in kinds {
        println!("{kind}: {one}");
        assert_eq!(one["marks"], one["samples"], "{kind}: marks missed");
        let missed = one["samples"].as_u64().unwrap() - one["code"].as_u64().unwrap();
        assert!(missed <= u64::from(kind == "small photo"), "{kind}: {missed} codes missed");
        let limit = if kind == "clean" { CLEAN_MM } else { SPOILED_MM };
        let worst = |what: &str| one[what]["worst"].as_f64().unwrap();
        assert!(worst("centre_mm") <= limit, "{kind}: centres {} mm off", worst("centre_mm"));
        let limit = if kind.contains("corner gone") { THREE_MARKS_MM } else { limit };
        assert!(worst("page_mm") <= limit, "{kind}: page {} mm off", worst("page_mm"));
        if kind == "scan, corner gone" {
            let by = worst("page_affine_mm");
            assert!(by <= SPOILED_MM, "{kind}: page {by} mm off without perspective");
        }
    }
}

/// A page with marks and code, as boxes.
fn letter() -> Value {
    let size = PAGES[0];
    let code = SheetCode::new(&test_id(b"an example"), 'B', 42, 1).unwrap();
    let marks = Corner::ALL.map(|corner| {
        let centre = mark_centre(corner, size);
        json!({ "id": corner.id(), "centre": centre, "black": mark(corner) })
    });
    let mut boxes: Vec<Box2> = Corner::ALL
        .iter()
        .flat_map(|&corner| mark_boxes(corner, mark_centre(corner, size)))
        .collect();
    let frame = frame(size);
    let at = [frame.right() - 48.0, frame.y + 4.0];
    boxes.extend(code.modules(CODE_SIZE_MM, at));
    json!({
        "size": size,
        "marks": marks,
        "mark_size": MARK_SIZE_MM,
        "boxes": boxes.iter().map(|one| [one.x, one.y, one.w, one.h]).collect::<Vec<_>>(),
        "code": code.to_text(),
        "work": [frame.x, frame.y + 28.0, frame.right(), frame.bottom() - 16.0],
        "samples": SAMPLES,
    })
}

/// What the script finds.
fn checked(python: &OsStr, page: &Value) -> Value {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/marks_check.py");
    let mut run = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the Python that the variable names can be started");
    let mut input = run.stdin.take().unwrap();
    // The script reads all before it writes, so writing first cannot block for ever.
    input.write_all(page.to_string().as_bytes()).unwrap();
    drop(input);
    let output = run.wait_with_output().unwrap();
    assert!(output.status.success(), "the script failed; its words are above");
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn boxes_cover_the_black_and_nothing_else() {
    for corner in Corner::ALL {
        let mark = mark(corner);
        let boxes = mark_boxes(corner, [20.0, 30.0]);
        let module = MARK_SIZE_MM / MARK_MODULES as f64;
        for (row, line) in mark.iter().enumerate() {
            for (column, &black) in line.iter().enumerate() {
                let x = 20.0 - MARK_SIZE_MM / 2.0 + (column as f64 + 0.5) * module;
                let y = 30.0 - MARK_SIZE_MM / 2.0 + (row as f64 + 0.5) * module;
                assert_eq!(covered(&boxes, x, y), black, "{corner:?}, {row}, {column}");
                // The edge to the next module is inside a box, not between two.
                let next = line.get(column + 1) == Some(&true);
                if black && next {
                    assert!(covered(&boxes, x + module / 2.0, y), "{corner:?}, {row}, {column}");
                }
            }
        }
    }
}

fn covered(boxes: &[Box2], x: f64, y: f64) -> bool {
    boxes.iter().any(|one| one.x < x && x < one.right() && one.y < y && y < one.bottom())
}

#[test]
fn marks_with_their_white_are_inside_what_papers_share_and_copiers_print() {
    for size in PAGES {
        let frame = frame(size);
        assert!(frame.x > 5.999 && frame.y > 5.999, "{size:?}: {frame:?}");
        let half = MARK_SIZE_MM / 2.0 * (1.0 + 2.0 * MARK_QUIET / MARK_MODULES as f64);
        for corner in Corner::ALL {
            let [x, y] = mark_centre(corner, size);
            let mark = Box2::new(x, y, 0.0, 0.0).grown(half);
            assert!(frame.holds(&mark), "{size:?}, {corner:?}: {mark:?} in {frame:?}");
        }
        // The same distances on both papers.
        let [left, top] = mark_centre(Corner::TopLeft, size);
        let [right, bottom] = mark_centre(Corner::BottomRight, size);
        let mut sides = [right - left, bottom - top];
        sides.sort_by(f64::total_cmp);
        assert!(sides.iter().zip(MARK_CENTRES_MM).all(|(one, wanted)| (one - wanted).abs() < 1e-9));
    }
}

#[test]
fn a_label_is_the_text_in_groups() {
    let code = SheetCode::new("K7M2QX", 'A', 42, 1).unwrap();
    assert_eq!(code.to_text(), "K7M2QX00042A012");
    assert_eq!(code.to_label(), "K7M-2QX-00042-A-01-2");
    assert_eq!((code.test(), code.form(), code.sheet(), code.page()), ("K7M2QX", 'A', 42, 1));
}

#[test]
fn what_is_wrong_is_said_in_words() {
    let said = |text: &str| SheetCode::parse(text).unwrap_err().to_string();
    assert_eq!(said("K7M2QX"), "a sheet's code has 15 characters, and this has 6");
    let place = "character 11 of a sheet's code is a digit, and this has “a”";
    assert_eq!(said("K7M2QX 0004a A 01 2"), place);
    assert!(said("K7M2QX 00042 A 01 3").starts_with("the code does not fit its last character"));
    for (test, form, sheet, page) in [
        ("K7M2Q", 'A', 1, 1),
        ("K7M2QI", 'A', 1, 1),
        ("K7M2QX", 'a', 1, 1),
        ("K7M2QX", 'A', 100_000, 1),
        ("K7M2QX", 'A', 1, 0),
    ] {
        assert!(SheetCode::new(test, form, sheet, page).is_err());
    }
}

/// The names stand printed on paper, so they must stay what they are.
#[test]
fn a_test_keeps_its_name() {
    assert_eq!(test_id(b"an example"), "3RZ1R5");
    assert_ne!(test_id(b"an example "), "3RZ1R5");
}

fn any_code() -> impl Strategy<Value = SheetCode> {
    (any::<Vec<u8>>(), 0..26_u8, 0..=99_999_u32, 1..=99_u8).prop_map(|(file, form, sheet, page)| {
        SheetCode::new(&test_id(&file), char::from(b'A' + form), sheet, page).unwrap()
    })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn text_and_label_say_what_the_code_says(code in any_code()) {
        prop_assert_eq!(code.to_text().len(), 15);
        prop_assert_eq!(SheetCode::parse(&code.to_text()), Ok(code.clone()));
        let typed = code.to_label().to_lowercase().replace('-', " ").replace('0', "o");
        // A form O is a letter as it stands, and no form is a nought.
        prop_assert_eq!(SheetCode::parse(&typed), Ok(code));
    }

    #[test]
    fn one_wrong_character_is_never_another_code(
        code in any_code(), at in 0..15_usize, by in "[0-9A-Z*]",
    ) {
        let mut text = code.to_text();
        text.replace_range(at..=at, &by);
        // An O for a nought is understood; all else is refused.
        prop_assert!(SheetCode::parse(&text).is_ok_and(|one| one == code)
            || SheetCode::parse(&text).is_err());
    }

    #[test]
    fn two_characters_exchanged_are_never_another_code(code in any_code(), at in 0..14_usize) {
        let mut text = code.to_text().into_bytes();
        text.swap(at, at + 1);
        let text = String::from_utf8(text).unwrap();
        prop_assert!(SheetCode::parse(&text).is_err() || text == code.to_text());
    }

    #[test]
    fn nothing_read_can_stop_the_program(text in ".*") {
        let _ = SheetCode::parse(&text);
    }
}
