//! Printed sheets, measured from the PDF by outside tools: Poppler, NumPy, OpenCV, pikepdf.
#![allow(clippy::print_stdout, reason = "a test says what it found, and why it is skipped")]
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

/// The variable that names a Python with the libraries; without it the test is skipped.
const PYTHON: &str = "INCISURA_PYTHON";

#[test]
fn sheets_are_at_true_scale_and_can_be_read_again() {
    let Ok(python) = std::env::var(PYTHON) else {
        println!("skipped: {PYTHON} names no Python with NumPy, OpenCV and pikepdf");
        return;
    };
    if Command::new("pdftoppm").arg("-v").output().is_err() {
        println!("skipped: pdftoppm is absent; install poppler-utils");
        return;
    }
    for paper in ["letter", "a4"] {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("true scale {paper}"));
        fs::create_dir_all(&folder).unwrap();
        let test = folder.join("test.toml");
        let text = include_str!("../../../docs/first_test.toml");
        fs::write(&test, text).unwrap();
        let status = Command::new(env!("CARGO_BIN_EXE_incisura"))
            .args(["sheet", test.to_str().unwrap(), "-o", folder.to_str().unwrap()])
            .args(["--paper", paper])
            .status()
            .unwrap();
        assert!(status.success());
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/sheet_check.py");
        let output =
            Command::new(&python).args([script, folder.to_str().unwrap()]).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{said}");
        let found: Value = serde_json::from_slice(&output.stdout).unwrap();
        println!("{paper}: {found}");
        // Every mark and every panel's edge, within a twentieth of a millimetre.
        assert!(found["marks_mm"].as_f64().unwrap() <= 0.05, "{found}");
        assert!(found["lines_mm"].as_f64().unwrap() <= 0.05, "{found}");
        let geometry = fs::read_to_string(folder.join("geometry.json")).unwrap();
        let geometry: Value = serde_json::from_str(&geometry).unwrap();
        let pages = geometry["pages"].as_array().unwrap();
        let codes: Vec<&Value> = pages.iter().map(|page| &page["code"]).collect();
        assert_eq!(found["codes"].as_array().unwrap().iter().collect::<Vec<_>>(), codes);
        assert_eq!(found["found_after"], pages.len(), "marks after a bad copier");
        let structure = &found["structure"];
        assert_eq!(structure["tagged"], true);
        assert_eq!(structure["language"], "en");
        assert_eq!(structure["title"], "Drawing sheets: Test 1: sounds and pressure");
        assert_eq!(structure["fonts_embedded"], true);
        assert_eq!(structure["pdf_ua_part"], "1");
        assert_eq!(structure["outline"], 3);
        assert_eq!((&structure["figures"], &structure["pages"]), (&3.into(), &3.into()));
        assert_eq!(structure["figures_without_words"], 0);
    }
}
