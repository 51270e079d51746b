//! A test's definition, its forms, and where everything is on a page.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use convention::Convention;
use cycle::{Cycle, Landmark, Subject, Trace};
use sheet::{Book, Orientation, Paper, Scaffold, Setting, SheetError, Test, forms, marks};

fn subject() -> Subject {
    toml::from_str(include_str!("../../heart/data/cardiac.toml")).unwrap()
}

const RULES: &str = r#"
title = "Two traces"
simplifies = "Much."
panels = [["ecg"], ["heart_sounds"], ["aortic_pressure"]]
[[rules]]
id = "s1_on_r"
kind = "timing"
landmark = "s1_onset"
with = "r_peak"
text = "S1 begins with R."
cause = "The ventricles contract."
"#;

fn test(text: &str) -> Result<Test, String> {
    let conventions = |named: &str| match named {
        "two" => Ok(Convention::from_toml(RULES, &subject()).unwrap()),
        other => Err(format!("no convention is called “{other}”")),
    };
    Test::from_toml(text, &subject(), &conventions).map_err(|faults| faults.to_string())
}

/// One second of flat traces with an R peak: enough to lay a page out.
fn model(period_s: f64, beats: usize) -> Cycle {
    let count = (period_s * beats as f64 * 1000.0).round() as usize;
    let flat = |channel: &str, unit: &str, high: f64| {
        let mut samples = vec![0.0; count];
        samples[count / 2] = high;
        Trace::new(channel, unit, 1000.0, 0.0, samples)
    };
    let mark = |name: &str, channel: &str, time_s: f64| Landmark {
        name: name.into(),
        channel: channel.into(),
        time_s,
        value: 0.0,
    };
    Cycle {
        period_s,
        traces: vec![
            flat("ecg", "mV", 1.2),
            flat("heart_sounds", "relative", 0.9),
            flat("aortic_pressure", "mmHg", 120.0),
        ],
        landmarks: vec![
            mark("r_peak", "ecg", 0.24),
            mark("s1_onset", "heart_sounds", 0.24),
            mark("s1_end", "heart_sounds", 0.32),
        ],
        ..Cycle::default()
    }
}

#[test]
fn what_a_file_leaves_out_has_a_usual_value() {
    let test = test("title = \"T\"\nconvention = \"two\"\n").unwrap();
    assert_eq!((test.paper, test.orientation), (Paper::Letter, Orientation::Landscape));
    assert_eq!((test.beats, test.mm_per_s, test.forms), (2, 100.0, 1));
    assert_eq!(test.pages.len(), 1);
    assert_eq!(test.pages[0].panels, ["ecg", "heart_sounds", "aortic_pressure"]);
    assert_eq!(test.pages[0].given, ["ecg"]);
    assert_eq!(test.pages[0].scaffold, Scaffold::Given);
}

#[test]
fn faults_are_told_with_their_lines() {
    let head = "title = \"T\"\nconvention = \"two\"\n";
    for (more, line, what) in [
        ("beats = 9\n", 3, "beats must be 1 to 6"),
        ("panels = [\"ecg\", \"heart_sound\"]\n", 3, "did you mean “heart_sounds”?"),
        ("panels = [\"ecg\"]\ngiven = [\"aortic_pressure\"]\n", 4, "in no panel"),
        ("forms = 0\n", 3, "forms must be 1 to 26"),
        ("mm_per_s = 1000.0\n", 3, "25 to 400"),
        ("scafold = \"blank\"\n", 3, "did you mean “scaffold”?"),
        ("[heart]\nrate_bpm = [1, 2, 3]\n", 4, "two numbers like [65, 85]"),
    ] {
        let said = test(&format!("{head}{more}")).unwrap_err();
        assert!(said.starts_with(&format!("line {line}: ")) && said.contains(what), "{said}");
    }
    let said = test("title = \"T\"\nconvention = \"tow\"\n").unwrap_err();
    assert!(said.starts_with("line 2: no convention is called “tow”"), "{said}");
}

#[test]
fn forms_vary_within_their_bounds_and_repeat_with_their_seed() {
    let with = |seed: u32, count: u32| {
        let text = format!(
            "title = \"T\"\nconvention = \"two\"\nforms = {count}\nseed = {seed}\n[heart]\n\
             rate_bpm = [65, 85]\npr_interval_ms = [140, 180]\ncondition = \"rest\"\nblood_volume = 1.1\n"
        );
        forms(&test(&text).unwrap())
    };
    let four = with(7, 4);
    let mut rates: Vec<f64> = four.iter().map(|form| form.numbers["rate_bpm"]).collect();
    rates.sort_by(f64::total_cmp);
    // Evenly spaced: the middles of four quarters, in whole beats.
    assert_eq!(rates, [68.0, 73.0, 78.0, 83.0]);
    assert!(four.iter().all(|form| form.numbers["blood_volume"] == 1.1));
    assert!(four.iter().all(|form| form.names["condition"] == "rest"));
    assert_eq!(four.iter().map(|form| form.letter).collect::<String>(), "ABCD");
    assert_eq!(four, with(7, 4));
    assert!((8..20).any(|seed| with(seed, 4) != four));
    assert!(matches!(
        test("title = \"T\"\nconvention = \"two\"\n[heart]\nrate_bpm = [85, 65]\n")
            .unwrap()
            .settings["rate_bpm"],
        Setting::Between(65.0, 85.0)
    ));
}

#[test]
fn everything_lies_inside_what_both_papers_and_a_copier_leave() {
    for orientation in ["landscape", "portrait"] {
        for paper in ["letter", "a4"] {
            let beats = if orientation == "portrait" { 1 } else { 2 };
            let text = format!(
                "title = \"T\"\nconvention = \"two\"\nbeats = {beats}\npaper = \"{paper}\"\norientation = \"{orientation}\"\n"
            );
            let test = test(&text).unwrap();
            let subject = subject();
            let models = vec![model(0.8, beats)];
            let book = Book::new(&test, &subject, "K7M2QX", models).unwrap();
            let json = book.geometry(&book.masters()).unwrap();
            let geometry: serde_json::Value = serde_json::from_str(&json).unwrap();
            let size = [&geometry["page_width_mm"], &geometry["page_height_mm"]];
            let frame = marks::frame(size.map(|side| side.as_f64().unwrap()));
            // 2 mm a tick: the frame on Letter and on A4 is the same size in the page's middle.
            let (short, long) = (frame.w.min(frame.h), frame.w.max(frame.h));
            assert_eq!([short, long], marks::FRAME_MM);
            let panels = geometry["pages"][0]["panels"].as_array().unwrap();
            assert_eq!(panels.len(), 3);
            for panel in panels {
                let mm = |key: &str| panel[key].as_f64().unwrap();
                assert!(mm("x_mm") > frame.x && mm("y_mm") > frame.y);
                assert!(mm("x_mm") + mm("width_mm") < frame.right());
                assert!(mm("y_mm") + mm("height_mm") < frame.bottom());
                // 100 mm a second, to less than a thousandth of a millimetre.
                let seconds = mm("time_end_s") - mm("time_start_s");
                assert!((mm("width_mm") - 100.0 * seconds).abs() < 1e-3);
            }
        }
    }
}

#[test]
fn what_does_not_fit_says_what_would() {
    let test = test("title = \"T\"\nconvention = \"two\"\nbeats = 3\n").unwrap();
    let error = Book::new(&test, &subject(), "K7M2QX", vec![model(0.8, 3)]).unwrap_err();
    let SheetError::TooWide { fits, .. } = &error else { panic!("{error}") };
    assert_eq!(*fits, 2);
    assert!(error.to_string().contains("set beats = 2"), "{error}");
}

#[test]
fn the_same_seed_gives_the_same_pages() {
    let test = test("title = \"A & B #1\"\nconvention = \"two\"\nforms = 2\n").unwrap();
    let subject = subject();
    let book = Book::new(&test, &subject, "K7M2QX", vec![model(0.8, 2), model(0.75, 2)]).unwrap();
    let sheets = book.drawing_sheets(&book.masters()).unwrap();
    assert_eq!(sheets.len(), 2);
    assert!(sheets == book.drawing_sheets(&book.masters()).unwrap());
    assert!(sheets[0].said().contains("Form A") && sheets[0].said().contains("(to be drawn)"));
    assert_eq!(book.key().len(), 2);
    let rubric = book.rubric();
    assert!(rubric[0].said().contains("S1 begins with R."), "{}", rubric[0].said());
}

#[test]
fn the_rubric_is_about_what_is_asked_for_at_every_pages_scale() {
    let subject = subject();
    let rubric_of = |more: &str| {
        let test = test(&format!("title = \"T\"\nconvention = \"two\"\n{more}")).unwrap();
        let book = Book::new(&test, &subject, "K7M2QX", vec![model(0.8, 2)]).unwrap();
        book.rubric()[0].said()
    };
    assert!(rubric_of("").contains("S1 begins with R."));
    // Nothing to earn where both traces are printed, or where the sounds are on no page.
    for more in
        ["given = [\"ecg\", \"heart_sounds\"]\n", "panels = [\"ecg\", \"aortic_pressure\"]\n"]
    {
        let rubric = rubric_of(more);
        assert!(
            !rubric.contains("S1 begins with R.") && rubric.contains("Total: 0 points"),
            "{rubric}"
        );
    }
    let two = "[[pages]]\npanels = [\"ecg\"]\n[[pages]]\npanels = [\"heart_sounds\"]\ngiven = []\n";
    assert!(rubric_of(two).contains("± 2 mm"));
}
