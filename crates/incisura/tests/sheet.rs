//! Printed sheets, measured and read from the PDF by outside tools: Poppler, NumPy, OpenCV, pikepdf.
#![allow(clippy::print_stdout, reason = "a test says what it found, and why it is skipped")]
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

/// The variable that names a Python with the libraries; without it the tests are skipped.
const PYTHON: &str = "INCISURA_PYTHON";

/// A test with all that can be printed.
const EVERYTHING: &str = r#"
title = "Test 1: sounds and pressure"
course = "Human Anatomy and Physiology I"
convention = "first_course"
forms = 2
seed = 20
handouts = ["model_copy", "steps", "labelled", "cloze", "raised_line"]
word_list = true

[heart]
rate_bpm = [68, 82]
pr_interval_ms = [140, 180]

[questions]
order = 2
first = 1
between = 1
calculate = 4
predict = 2

[[strips]]
rate_bpm = 75

[[strips]]
condition = "second_degree_av_block_type_1"

[[strips]]
rhythm = "atrial_fibrillation"
"#;

/// A test with bars, on several panels.
const LEFT_HEART: &str = r#"
title = "Test 2: the left heart"
convention = "left_heart"
forms = 2
seed = 5
given = ["ecg", "lv_volume", "mitral"]
handouts = ["model_copy", "steps", "labelled", "cloze"]

[heart]
rate_bpm = [62, 74]

[questions]
open = 2
calculate = 5
"#;

/// A test with so many names that in large print they fill more than a page.
const LEFT_HEART_NAMED: &str = r#"
title = "Test 3: the left heart"
convention = "left_heart"
panels = ["ecg", "lv_volume"]
bars = ["mitral", "aortic"]
handouts = ["cloze"]
"#;

/// The Python with the libraries, where Poppler is there, too.
fn tools() -> Option<String> {
    let Ok(python) = std::env::var(PYTHON) else {
        println!("skipped: {PYTHON} names no Python with NumPy, OpenCV and pikepdf");
        return None;
    };
    if Command::new("pdftoppm").arg("-v").output().is_err() {
        println!("skipped: pdftoppm is absent; install poppler-utils");
        return None;
    }
    Some(python)
}

/// Runs `incisura sheet` on `text` into a new folder called `name`.
fn print(name: &str, text: &str, more: &[&str]) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    let test = folder.join("test.toml");
    fs::write(&test, text).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_incisura"))
        .args(["sheet", test.to_str().unwrap(), "-o", folder.to_str().unwrap()])
        .args(more)
        .output()
        .unwrap();
    assert!(output.status.success(), "{name}: {}", String::from_utf8_lossy(&output.stderr));
    folder
}

/// What a script of this folder says about a folder of sheets.
fn checked(python: &str, script: &str, folder: &Path) -> Value {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join(script);
    let output = Command::new(python).arg(script).arg(folder).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{}: {said}", folder.display());
    serde_json::from_slice(&output.stdout).unwrap()
}

/// Every file below `folder`, with its bytes.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        if path.is_dir() {
            let inner = files(&path).into_iter();
            found.extend(inner.map(|(inner, bytes)| (format!("{name}/{inner}"), bytes)));
        } else {
            found.insert(name, fs::read(&path).unwrap());
        }
    }
    found
}

/// A file's text, as Poppler reads it.
fn text_of(pdf: &Path) -> String {
    let output = Command::new("pdftotext").arg(pdf).arg("-").output().unwrap();
    assert!(output.status.success(), "{}", pdf.display());
    String::from_utf8(output.stdout).unwrap()
}

/// Every mark, panel and bar within a twentieth of a millimetre of `geometry.json`; codes and
/// marks found again after a bad copier.
fn assert_true_scale(python: &str, folder: &Path) -> Value {
    let found = checked(python, "sheet_check.py", folder);
    println!("{}: {found}", folder.file_name().unwrap().display());
    assert!(found["marks_mm"].as_f64().unwrap() <= 0.05, "{found}");
    assert!(found["lines_mm"].as_f64().unwrap() <= 0.05, "{found}");
    assert!(found["bars_mm"].as_f64().unwrap() <= 0.05, "{found}");
    let geometry = fs::read_to_string(folder.join("geometry.json")).unwrap();
    let geometry: Value = serde_json::from_str(&geometry).unwrap();
    let pages = geometry["pages"].as_array().unwrap();
    let codes: Vec<&Value> = pages.iter().map(|page| &page["code"]).collect();
    assert_eq!(found["codes"].as_array().unwrap().iter().collect::<Vec<_>>(), codes);
    assert_eq!(found["found_after"], pages.len(), "marks after a bad copier");
    found
}

#[test]
fn sheets_are_at_true_scale_and_can_be_read_again() {
    let Some(python) = tools() else { return };
    for paper in ["letter", "a4"] {
        let text = include_str!("../../../docs/first_test.toml");
        let folder = print(&format!("true scale {paper}"), text, &["--paper", paper]);
        let found = assert_true_scale(&python, &folder);
        let structure = &found["structure"];
        assert_eq!(structure["tagged"], true);
        assert_eq!(structure["language"], "en");
        assert_eq!(structure["title"], "Drawing sheets: Test 1: sounds and pressure");
        assert_eq!(structure["fonts_embedded"], true);
        assert_eq!(structure["pdf_ua_part"], "1");
        assert_eq!(structure["outline"], 3);
        // On each page the panels and the code.
        assert_eq!((&structure["figures"], &structure["pages"]), (&6.into(), &3.into()));
        assert_eq!(structure["figures_without_words"], 0);
    }
}

#[test]
fn sheets_of_every_kind_are_at_true_scale() {
    let Some(python) = tools() else { return };
    let given = r#"given = ["ecg", "lv_volume", "mitral"]"#;
    let kinds = [
        ("first_course", "", &[][..], 0),
        ("first_course", "", &["--large-print"][..], 0),
        // Of two bars, the printed one covers its row's ends with boxes.
        ("left_heart", given, &[][..], 2),
    ];
    for orientation in ["landscape", "portrait"] {
        for paper in ["letter", "a4"] {
            for (index, (convention, given, more, ends)) in kinds.iter().enumerate() {
                let text = format!(
                    "title = \"T\"\nconvention = \"{convention}\"\norientation = \"{orientation}\"\n\
                     {given}\n[heart]\nrate_bpm = 76\n"
                );
                let name = format!("{convention} {index} {paper} {orientation}");
                let more = [&["--paper", paper], *more].concat();
                let folder = print(&name, &text, &more);
                let found = assert_true_scale(&python, &folder);
                assert_eq!(found["bar_ends"], *ends, "{name}");
            }
        }
    }
}

/// The files that every test gives, and those of `EVERYTHING`.
const USUAL: [&str; 3] = ["drawing-sheets.pdf", "key.pdf", "rubric.pdf"];
const OF_EVERYTHING: [&str; 13] = [
    "cloze-key.pdf",
    "cloze.pdf",
    "drawing-sheets.pdf",
    "ecg-strips-key.pdf",
    "ecg-strips.pdf",
    "key.pdf",
    "labelled.pdf",
    "model-copy.pdf",
    "questions-key.pdf",
    "questions.pdf",
    "raised-line.pdf",
    "rubric.pdf",
    "steps.pdf",
];

/// The structure and words of every PDF in `folder`: without a fault, and in none of the usual
/// ones nothing was there to be checked.
fn assert_readable(python: &str, folder: &Path) -> Value {
    let found = checked(python, "pages_check.py", folder);
    println!("{}: {found}", folder.file_name().unwrap().display());
    assert_eq!(found["faults"], json!([]), "{}", folder.display());
    for name in USUAL {
        let file = &found["pdfs"][name];
        assert!(file["mcids"].as_u64().unwrap() > 0 && file["words"].as_u64().unwrap() > 10);
        assert_eq!(file["picture_pages"], 0, "{name}");
    }
    assert!(found["pdfs"]["rubric.pdf"]["tables"].as_u64().unwrap() > 0);
    found
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|number| number.as_f64().unwrap()).collect()
}

/// Both forms ask questions in words of these kinds, then so many calculations, all checked, then
/// these.
fn assert_kinds(found: &Value, in_words: &[&str], calculations: usize, then: &[&str]) {
    let questions = &found["questions"];
    let kinds = questions["kinds"].as_array().unwrap();
    assert_eq!(kinds.len(), 2, "{questions}");
    assert_eq!(kinds[0], kinds[1], "forms ask for the same");
    let kinds = kinds[0].as_array().unwrap();
    let rest = &kinds[in_words.len() + calculations..];
    assert_eq!(kinds[..in_words.len()], in_words.iter().map(|k| json!(k)).collect::<Vec<_>>());
    assert_eq!(rest, then.iter().map(|k| json!(k)).collect::<Vec<_>>());
    assert_eq!(questions["calculated"], json!([calculations, calculations]));
}

#[test]
fn everything_printed_is_tagged_true_and_read_in_order() {
    let Some(python) = tools() else { return };
    let folder = print("everything", EVERYTHING, &[]);
    let found = assert_readable(&python, &folder);
    let names: Vec<&String> = found["pdfs"].as_object().unwrap().keys().collect();
    assert_eq!(names, OF_EVERYTHING);
    assert_eq!(found["pdfs"]["raised-line.pdf"]["picture_pages"], 8);
    assert_eq!(found["pdfs"]["ecg-strips-key.pdf"]["tables"], 3);
    assert_eq!(found["pdfs"]["questions.pdf"]["lists"], 12);
    let in_words = ["order", "order", "first", "between"];
    assert_kinds(&found, &in_words, 4, &["predict", "predict"]);
    assert!(numbers(&found["questions"]["changes"]).iter().all(|&changes| changes >= 4.0));

    // ECG paper: 1 mm squares, 1 mV = 10 mm for 0.2 s = 5 mm, and a beat of 0.8 s at 25 mm/s.
    let strip = &found["strip"];
    assert!(strip["lines_off_mm"].as_f64().unwrap() <= 0.02, "{strip}");
    assert!(strip["thick_lines_off_mm"].as_f64().unwrap() <= 0.02, "{strip}");
    assert_eq!(strip["lines"], json!([[171, 35], [36, 8]]));
    assert!(numbers(&strip["pulse_high_mm"]).iter().all(|high| (high - 10.0).abs() <= 0.1));
    assert!((strip["pulse_wide_mm"].as_f64().unwrap() - 5.0).abs() <= 0.1, "{strip}");
    let gaps = numbers(&strip["r_to_r_mm"]);
    assert!(gaps.len() == 7 && gaps.iter().all(|gap| (gap - 20.0).abs() <= 0.1), "{strip}");
}

#[test]
fn bars_and_many_panels_are_read_in_order() {
    let Some(python) = tools() else { return };
    let found = assert_readable(&python, &print("left heart", LEFT_HEART, &[]));
    assert_kinds(&found, &["open", "open"], 5, &[]);
    assert_eq!(found["pdfs"]["rubric.pdf"]["tables"], 4);
}

#[test]
fn large_print_loses_nothing_at_the_foot_of_a_page() {
    let Some(python) = tools() else { return };
    // Raised lines are as large in either print.
    let text = EVERYTHING.replace(", \"raised_line\"", "");
    let found = assert_readable(&python, &print("large", &text, &["--large-print"]));
    let in_words = ["order", "order", "first", "between"];
    assert_kinds(&found, &in_words, 4, &["predict", "predict"]);
    // Text of 18 points; the pages with figures have smaller letters in these.
    for name in ["questions.pdf", "questions-key.pdf", "rubric.pdf", "key.pdf", "model-copy.pdf"] {
        let smallest = found["pdfs"][name]["smallest_pt"].as_f64().unwrap();
        assert!(smallest >= 17.99, "{name}: {smallest} points");
    }
    let named = print("large names", LEFT_HEART_NAMED, &["--large-print"]);
    let found = assert_readable(&python, &named);
    assert!(found["pdfs"]["cloze-key.pdf"]["lists"].as_u64().unwrap() > 1, "{found}");
}

#[test]
fn a_named_sheet_names_its_student_and_nobody_else() {
    let Some(python) = tools() else { return };
    let students = [("Ada Brook", "s-4711"), ("Ben Ø. Carr", "s-4712"), ("Zoë Dané", "s-4713")];
    let rows: String = students.iter().map(|(name, id)| format!("{name},{id}\n")).collect();
    let roster = Path::new(env!("CARGO_TARGET_TMPDIR")).join("class.csv");
    fs::write(&roster, format!("name,id\n{rows}")).unwrap();
    let text = include_str!("../../../docs/first_test.toml");
    let more = ["--roster", roster.to_str().unwrap(), "--per-student", "--spare", "1"];
    let folder = print("class", text, &more);

    let sheets = folder.join("per-student");
    let names: Vec<String> = files(&sheets).into_keys().collect();
    let numbered = (1..=4).map(|number| format!("sheet-{number:05}.pdf"));
    assert_eq!(names, numbered.collect::<Vec<_>>());
    for (index, file) in names.iter().enumerate() {
        let said = text_of(&sheets.join(file));
        for (other, (name, id)) in students.iter().enumerate() {
            assert_eq!(said.contains(name), index == other, "{file} and {name}: {said}");
            assert!(!said.contains(id), "{file} and {id}");
        }
    }
    let whole = text_of(&folder.join("drawing-sheets.pdf"));
    for (name, _) in students {
        assert_eq!(whole.matches(name).count(), 1, "{name}");
    }

    // Marks, codes and geometry: what a scanner gets. The codes are read from the picture.
    let found = assert_true_scale(&python, &folder);
    assert_eq!(found["codes"].as_array().unwrap().len(), 4);
    let geometry = fs::read_to_string(folder.join("geometry.json")).unwrap();
    for word in students.iter().flat_map(|(name, id)| name.split(' ').chain([*id])) {
        assert!(!geometry.contains(word), "{word} in geometry.json");
        assert!(!found["codes"].to_string().contains(word), "{word} in a code");
    }
    assert_eq!(assert_readable(&python, &folder)["pdfs"].as_object().unwrap().len(), 3 + 4);

    let again = print("class again", text, &more);
    assert_eq!(files(&folder).len(), 4 + 3 + 2 + 1);
    assert!(files(&folder) == files(&again), "the same input gives other bytes");
}

#[test]
fn the_same_test_gives_the_same_bytes() {
    let once = files(&print("once", EVERYTHING, &[]));
    let again = files(&print("again", EVERYTHING, &[]));
    assert_eq!(once.len(), OF_EVERYTHING.len() + 2);
    for (name, bytes) in &once {
        assert!(*bytes == again[name], "{name} differs");
    }
}
