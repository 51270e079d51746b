//! The class, asked without a port.

use axum::http::StatusCode;

use crate::web::rooms::marking::tests::{marked, page};
use crate::web::tests::{answer, desk, get, post};

const TEST: &str = "test-1.toml";

#[test]
fn an_empty_class_says_what_to_do() {
    let text = page(&desk(), "/class");
    assert!(text.contains("Nothing has been marked") && text.contains("/marking?test=test-1.toml"));
}

#[test]
fn the_class_is_shown_without_names() {
    let desk = marked();
    let text = page(&desk, &format!("/class?test={TEST}"));
    for part in [
        "6 sheets.",
        "drawings over the key",
        "What was missed most",
        "Onset of the second heart sound",
        "Discrimination",
        "rule=s2_in_t",
    ] {
        assert!(text.contains(part), "{part}");
    }
    assert!(!text.contains("Amara") && !text.contains("alert(1)"));
    for (path, kind, begins) in [
        ("picture.svg", "image/svg+xml", "<svg"),
        ("landmarks.svg", "image/svg+xml", "<svg"),
        ("rules.csv", "text/csv; charset=utf-8", "rule,text,sheets,met"),
    ] {
        let page = if path == "picture.svg" { 1 } else { 0 };
        let file = answer(&desk, get(&format!("/class/{path}?test={TEST}&page={page}")));
        assert_eq!(file.status, StatusCode::OK, "{path}: {}", file.text());
        assert_eq!(file.header("content-type"), kind);
        assert!(file.text().starts_with(begins), "{path}");
    }
    let nothing = answer(&desk, get(&format!("/class/picture.svg?test={TEST}&form=9&page=1")));
    assert_eq!(nothing.status, StatusCode::NOT_FOUND);
}

#[test]
fn the_counts_are_those_of_the_drawings() {
    let desk = marked();
    let results = page(&desk, &format!("/marking/file?test={TEST}&name=results.json"));
    let results: serde_json::Value = serde_json::from_str(&results).unwrap();
    let csv = page(&desk, &format!("/class/rules.csv?test={TEST}"));
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let mut seen = 0;
    for row in reader.records() {
        let row = row.unwrap();
        let count = |outcome: &str| {
            let drawings = results["drawings"].as_array().unwrap().iter();
            let rules = drawings.flat_map(|one| one["rules"].as_array().unwrap());
            let own = rules.filter(|rule| rule["id"] == row[0] && rule["counts"] == true);
            own.filter(|rule| rule["outcome"] == outcome).count()
        };
        let said = [&row[3], &row[4], &row[5]].map(|text| text.parse::<usize>().unwrap());
        assert_eq!(said, [count("met"), count("not_met"), count("review")], "{}", &row[0]);
        seen += 1;
    }
    assert!(seen > 10);
}

#[test]
fn a_slip_leads_to_the_board_and_to_a_practice_sheet() {
    let desk = marked();
    let text = page(&desk, &format!("/class?test={TEST}&rule=notch_with_s2"));
    assert!(text.contains("/board?convention=rules.toml&amp;rule=notch_with_s2"));
    let make = |rule: &str| post(&desk, "/class/practice", &format!("test={TEST}&rule={rule}"));
    let made = make("notch_with_s2");
    assert_eq!(made.status, StatusCode::OK, "{}", made.text());
    let name = "practice-notch-with-s2.toml";
    assert_eq!(made.text(), format!("/sheets?file={name}"));
    let text = desk.folder().text(name).unwrap().text;
    let table: toml::Table = text.parse().unwrap();
    // The rule is about the notch and S2: both panels are asked for, the ECG stays printed.
    assert_eq!(table["given"], toml::Value::from(vec!["ecg"]));
    assert_eq!(table["convention"].as_str(), Some("rules.toml"));
    assert!(table["heart"].get("rate_bpm").is_some());
    make("s2_in_t");
    let text = desk.folder().text("practice-s2-in-t.toml").unwrap().text;
    let table: toml::Table = text.parse().unwrap();
    assert_eq!(table["given"], toml::Value::from(vec!["ecg", "aortic_pressure"]));
    // Asking twice makes no second sheet.
    assert_eq!(make("notch_with_s2").text(), format!("/sheets?file={name}"));
    let tests = desk.folder().tests().len();
    assert_eq!(tests, 3);
    // Without being asked for a test, the room shows the one that was marked.
    assert!(page(&desk, "/class").contains("6 sheets."));
    // What is given anyway, and what is no rule, make none.
    for rule in ["p_wave", "nothing", "..%2Fx"] {
        assert_eq!(make(rule).status, StatusCode::BAD_REQUEST, "{rule}");
    }
    assert_eq!(desk.folder().tests().len(), tests);
}
