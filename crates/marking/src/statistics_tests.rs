//! Formulas against published and outside figures, and the counting of sheets.

use std::io::Write;
use std::process::{Command, Stdio};

use super::*;

/// Anscombe, Graphs in Statistical Analysis, The American Statistician 27 (1973), table, first
/// data set; the paper gives the means 9.0 and 7.5 and the multiple R² 0.667.
const ANSCOMBE: [[f64; 2]; 11] = [
    [10.0, 8.04],
    [8.0, 6.95],
    [13.0, 7.58],
    [9.0, 8.81],
    [11.0, 8.33],
    [14.0, 9.96],
    [6.0, 7.24],
    [4.0, 4.26],
    [12.0, 10.84],
    [7.0, 4.82],
    [5.0, 5.68],
];

#[test]
fn mean_and_correlation_of_a_published_example() {
    let y: Vec<f64> = ANSCOMBE.iter().map(|pair| pair[1]).collect();
    assert!((mean(&y).unwrap() - 7.5).abs() < 0.005);
    let r = correlation(&ANSCOMBE).unwrap();
    assert!((r * r - 0.667).abs() < 0.0005, "{r}");
}

#[test]
fn what_does_not_vary_has_no_correlation() {
    assert_eq!(correlation(&[[1.0, 0.2], [1.0, 0.9], [1.0, 0.4]]), None);
    assert_eq!(correlation(&[]), None);
}

fn rule(id: &str, points: Option<f64>, max_points: f64, off_mm: f64) -> RuleMark {
    RuleMark { measured_mm: Some(off_mm), off_mm, ..RuleMark::earning(id, points, max_points) }
}

#[test]
fn the_commoner_direction_of_a_miss_is_told() {
    let offs = [3.0, 5.0, 4.0, -9.0];
    let rules: Vec<RuleMark> = offs.iter().map(|off| rule("a", Some(0.0), 1.0, *off)).collect();
    let met = rule("a", Some(1.0), 1.0, -1.0);
    let all: Vec<&RuleMark> = rules.iter().chain([&met]).collect();
    assert_eq!(miss(&all), Some(Miss { more: 3, less: 1, median_mm: 4.0 }));
    assert_eq!(miss(&all[4..]), None);
}

#[test]
fn what_is_open_or_waived_does_not_count() {
    let marks = [
        rule("a", Some(1.0), 2.0, 3.0),
        rule("b", Some(3.0), 3.0, 0.0),
        rule("c", None, 4.0, 0.0),
        rule("d", Some(0.0), 0.0, 0.0),
    ];
    assert_eq!(share(&marks, ""), Some(0.8));
    assert_eq!(share(&marks, "b"), Some(0.5));
    assert_eq!(share(&marks[2..], ""), None);
    assert_eq!(Marks { rules: marks.to_vec() }.share(), Some(0.8));
}

#[test]
fn a_histogram_has_all_sheets() {
    let percents = vec![0.0, 9.9, 10.0, 69.999_999_999_9, 95.0, 100.0];
    let statistics = Statistics {
        sheets: 6,
        with_open: 0,
        percents,
        mean: None,
        median: None,
        items: Vec::new(),
        landmarks: Vec::new(),
    };
    assert_eq!(statistics.histogram(), [2, 1, 0, 0, 0, 0, 0, 1, 0, 2]);
}

/// Sheets with three rules each, by a pattern that has nothing to do with what is computed.
fn class_of(count: usize) -> Vec<Marks> {
    let marks = |index: usize| {
        let a = (index * 7 % 5) as f64 / 4.0;
        let b = (index * 3 % 4) as f64 / 3.0;
        let c = if (index + index / 3).is_multiple_of(3) { None } else { Some((index % 2) as f64) };
        Marks {
            rules: vec![
                rule("a", Some(2.0 * a), 2.0, 1.0),
                rule("b", Some(3.0 * b), 3.0, 1.0),
                rule("c", c, 1.0, 1.0),
            ],
        }
    };
    (0..count).map(marks).collect()
}

fn items(marks: &[Marks]) -> Vec<Item> {
    let (drawn, located) = (DrawnSheet::default(), Located::default());
    let sheet = |marks| ClassSheet { form: 0, drawn: &drawn, located: &located, marks };
    let sheets: Vec<ClassSheet<'_>> = marks.iter().map(sheet).collect();
    let class = Class { forms: &[], sheets: &sheets };
    ["a", "b", "c"].iter().map(|id| item(&class, id)).collect()
}

#[test]
fn few_sheets_have_no_discrimination() {
    assert!(items(&class_of(9)).iter().all(|item| item.discrimination.is_none()));
    assert!(items(&class_of(10))[0].discrimination.is_some());
}

/// Python's own module `statistics` (3.10 or newer) computes the same from the raw points.
#[test]
#[allow(clippy::print_stderr, reason = "a skipped test says so")]
fn a_script_with_the_standard_library_comes_to_the_same() {
    let marks = class_of(23);
    let points: Vec<Vec<(Option<f64>, f64)>> = marks
        .iter()
        .map(|marks| marks.rules.iter().map(|rule| (rule.points, rule.max_points)).collect())
        .collect();
    let values: Vec<f64> = ANSCOMBE.iter().map(|pair| pair[1]).collect();
    let own: Vec<[Option<f64>; 2]> =
        items(&marks).iter().map(|item| [item.difficulty, item.discrimination]).collect();
    let values_sorted = sorted(values.iter().copied());
    let quartiles = [0.25, 0.5, 0.75].map(|share| quantile(&values_sorted, share));
    let text = serde_json::json!({
        "points": points, "items": own, "values": values, "quartiles": quartiles,
    });
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/statistics_check.py");
    let python = std::env::var_os("INCISURA_PYTHON").unwrap_or_else(|| "python3".into());
    let started = Command::new(python).arg(script).stdin(Stdio::piped()).spawn();
    let Ok(mut python) = started else {
        eprintln!("skipped: there is no python3 to compute the statistics with");
        return;
    };
    python.stdin.take().unwrap().write_all(text.to_string().as_bytes()).unwrap();
    assert!(python.wait().unwrap().success());
}
