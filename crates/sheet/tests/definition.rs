//! A test's definition, its forms, and where everything is on a page.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use convention::Convention;
use cycle::{Cycle, Event, Landmark, Subject, Trace};
use figure::{Block, Page, Shape};
use sheet::{
    Book, Exercise, Orientation, Paper, Scaffold, Setting, SheetError, Test, forms, marks,
};

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
    assert_eq!(test.pages[0].given, [["ecg"]]);
    assert_eq!(test.pages[0].scaffold, Scaffold::Given);
}

#[test]
fn a_test_says_how_a_word_is_written() {
    let head = "title = \"ECG quiz\"\ncourse = \"The ECG\"\nconvention = \"two\"\n";
    let usual = test(head).unwrap();
    let other = test(&format!("{head}spelling = \"EKG\"\n")).unwrap();
    let same = test(&format!("{head}spelling = \"ECG\"\n")).unwrap();
    assert_eq!((&usual.spelling, same.convention), (&None, usual.convention.clone()));
    assert_eq!((other.title.as_str(), other.course.as_str()), ("ECG quiz", "The ECG"));
    let (known, model) = (subject(), model(0.8, 2));
    let pages = |test: &Test| -> Vec<Page> {
        let book = Book::new(test, &known, "K7M2QX", vec![model.clone()]).unwrap();
        let sheets = book.drawing_sheets(&book.masters()).unwrap();
        sheets.into_iter().chain(book.key()).chain(book.rubric()).collect()
    };
    let said = |test: &Test| format!("{:?}", pages(test));
    let (usual, other) = (said(&usual), said(&other));
    assert!(!usual.contains("EKG") && other.contains("EKG"));
    let typed = other.matches("ECG quiz").count() + other.matches("The ECG").count();
    assert_eq!(other.matches("ECG").count(), typed, "{other}");
    let fault = test(&format!("{head}spelling = \"EEG\"\n")).unwrap_err();
    assert!(fault.contains("line 4") && fault.contains("one of ECG, EKG"), "{fault}");
}

#[test]
fn faults_are_told_with_their_lines() {
    let head = "title = \"T\"\nconvention = \"two\"\n";
    for (more, line, what) in [
        ("beats = 9\n", 3, "beats must be 1 to 6"),
        ("panels = [\"ecg\", \"heart_sound\"]\n", 3, "did you mean “heart_sounds”?"),
        ("panels = [\"ecg\"]\ngiven = [\"aortic_pressure\"]\n", 4, "in no panel"),
        ("given = [\"ecg\", [\"ecg\"]]\n", 3, "not both"),
        ("given = [[\"ecg\"], [\"egc\"]]\n", 3, "egc is given but in no panel"),
        ("forms = 0\n", 3, "forms must be 1 to 26"),
        ("mm_per_s = 1000.0\n", 3, "25 to 400"),
        ("scafold = \"blank\"\n", 3, "did you mean “scaffold”?"),
        ("[heart]\nrate_bpm = [1, 2, 3]\n", 4, "two numbers like [65, 85]"),
        ("bars = [\"mitrl\"]\n", 3, "did you mean “mitral”?"),
        ("handouts = [\"modelcopy\"]\n", 3, "model_copy"),
        ("[questions]\norder = 99\n", 3, "order must be 50 at most"),
        ("[questions]\npoints = 0\n", 3, "more than 0"),
        ("[[strips]]\nrate_bpm = [60, 80]\n", 3, "a strip has one heart"),
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
fn what_is_given_can_be_another_in_each_form() {
    let test = test(
        "title = \"T\"\nconvention = \"two\"\nforms = 4\ngiven = [[\"ecg\"], [\"aortic_pressure\", \"ecg\"]]\n",
    )
    .unwrap();
    let forms = forms(&test);
    let printed = |form: &sheet::Form| form.given[0].len();
    assert_eq!(forms.iter().filter(|form| printed(form) == 2).count(), 2);
    let subject = subject();
    let book = Book::new(&test, &subject, "K7M2QX", vec![model(0.8, 2); 4]).unwrap();
    let geometry: serde_json::Value =
        serde_json::from_str(&book.geometry(&book.masters()).unwrap()).unwrap();
    for (form, page) in forms.iter().zip(geometry["pages"].as_array().unwrap()) {
        let given =
            page["panels"].as_array().unwrap().iter().filter(|panel| panel["given"] == true);
        assert_eq!(given.count(), printed(form), "{page}");
    }
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
fn the_rubric_says_how_points_hang_together() {
    let rule = |id: &str, more: &str| {
        format!(
            "[[rules]]\nid = \"{id}\"\nkind = \"timing\"\nlandmark = \"s1_onset\"\n\
             with = \"r_peak\"\ntext = \"{id}.\"\ncause = \"\"\n{more}\n"
        )
    };
    let both = "depends_on = [\"s1_on_r\", \"b\"]\ncap = \"all\"\nhalf_tolerance_mm = 4";
    let rules = [
        rule("b", "depends_on = [\"s1_on_r\"]\ncap = \"all\""),
        rule("c", both),
        rule("d", "depends_on = [\"c\"]"),
    ];
    let more = rules.concat();
    let text = format!("caps = {{ all = 1.5 }}\n{RULES}{more}");
    let convention = Convention::from_toml(&text, &subject()).unwrap();
    let tied = |_: &str| Ok(convention.clone());
    let test = Test::from_toml("title = \"T\"\nconvention = \"tied\"\n", &subject(), &tied);
    let (test, subject) = (test.unwrap(), subject());
    let book = Book::new(&test, &subject, "K7M2QX", vec![model(0.8, 2)]).unwrap();
    let said = book.rubric()[0].said();
    for words in [
        "Total: 3.5 points.",
        "Rules 2 and 3 together earn at most 1.5 points.",
        "b. Only if 1 is met.",
        "c. Only if 1 and 2 are met.",
        "d. Only if 3 is met, or half of it.",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
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

/// A model in which the mitral valve closes with S1 and opens later.
fn model_with_valve() -> Cycle {
    let event = |name: &str, time_s: f64| Event { name: name.into(), time_s };
    let events = vec![event("mitral_closes", 0.24), event("mitral_opens", 0.6)];
    Cycle { events, ..model(0.8, 1) }
}

#[test]
fn valve_bars_have_rows_below_the_panels_and_their_rules_are_marked() {
    let subject = subject();
    let rule = "[[rules]]\nid = \"m\"\nkind = \"timing\"\nlandmark = \"mitral_closes\"\nwith = \"s1_onset\"\n\
                text = \"The mitral valve closes with S1.\"\ncause = \"C.\"\n";
    let rules = RULES.replace("[[rules]]", &format!("bars = [\"mitral\"]\n{rule}[[rules]]"));
    let with = |more: &str| {
        let text = format!("title = \"T\"\nconvention = \"two\"\nbeats = 1\n{more}");
        let conventions = |_: &str| Ok(Convention::from_toml(&rules, &subject).unwrap());
        Test::from_toml(&text, &subject, &conventions).unwrap()
    };
    let test = with("");
    let book = Book::new(&test, &subject, "K7M2QX", vec![model_with_valve()]).unwrap();
    let geometry: serde_json::Value =
        serde_json::from_str(&book.geometry(&book.masters()).unwrap()).unwrap();
    let page = &geometry["pages"][0];
    let (panel, bar) = (&page["panels"][2], &page["bars"][0]);
    let mm = |value: &serde_json::Value, key: &str| value[key].as_f64().unwrap();
    assert_eq!(bar["bar"], "mitral");
    assert_eq!(bar["given"], false);
    assert_eq!((mm(bar, "x_mm"), mm(bar, "width_mm")), (mm(panel, "x_mm"), mm(panel, "width_mm")));
    assert!(mm(bar, "y_mm") > mm(panel, "y_mm") + mm(panel, "height_mm"));
    assert!(book.rubric()[0].said().contains("The mitral valve closes with S1."));
    assert!(
        book.drawing_sheets(&book.masters()).unwrap()[0]
            .said()
            .contains("Mitral valve open (to be drawn)")
    );
    // A key has a bar where the valve is open: two stretches, each filled.
    let filled = |page: &Page| {
        let shapes = page.blocks.iter().flat_map(|block| match block {
            Block::Picture { shapes, .. } => shapes.as_slice(),
            _ => &[],
        });
        shapes
            .filter(
                |shape| matches!(shape, Shape::Fill { area, .. } if (area.h - 3.5).abs() < 1e-9),
            )
            .count()
    };
    assert_eq!(filled(&book.key()[0]), 2);
    assert_eq!(filled(&book.drawing_sheets(&book.masters()).unwrap()[0]), 0);
    // Without bars there is no row, and nothing to earn.
    let test = with("bars = []\n");
    let book = Book::new(&test, &subject, "K7M2QX", vec![model_with_valve()]).unwrap();
    assert!(!book.rubric()[0].said().contains("The mitral valve"));
    assert!(!book.geometry(&book.masters()).unwrap().contains("bars"));
}

#[test]
fn in_large_print_no_letter_is_smaller_than_18_points() {
    let subject = subject();
    let mut test = test("title = \"T\"\nconvention = \"two\"\ncourse = \"C\"\n").unwrap();
    test.enlarge();
    let book = Book::new(&test, &subject, "K7M2QX", vec![model(0.8, 1)]).unwrap();
    let exercise = Exercise {
        prompt: "What?".into(),
        choices: vec!["this".into(), "that".into()],
        how: "Write one letter.".into(),
        lines: 1,
        answer: "a".into(),
        worked: vec!["Because.".into()],
    };
    let exercises = vec![exercise];
    let asked = book.questions(&book.masters()[0], &exercises, "Note.");
    let answered = book.questions_key(&[exercises], "Note.");
    let sheets = book.drawing_sheets(&book.masters()).unwrap();
    // The code's label is for the scanner's sake.
    let code = |text: &str| text.contains("-00000-");
    let mut letters = 0;
    for page in [sheets, book.key(), book.rubric(), book.model_copies(), asked, answered].concat() {
        for shape in page.blocks.iter().flat_map(Block::shapes) {
            if let Shape::Text { text, size, .. } = shape
                && !code(text)
            {
                letters += text.len();
                assert!(*size >= 18.0 * 25.4 / 72.0 - 1e-9, "“{text}” is {size} mm");
            }
        }
    }
    assert!(letters > 1000);
}

#[test]
fn long_pages_turn_with_their_questions_whole_and_stay_inside_their_margins() {
    let subject = subject();
    let test = test("title = \"T\"\nconvention = \"two\"\n").unwrap();
    let book = Book::new(&test, &subject, "K7M2QX", vec![model(0.8, 2)]).unwrap();
    let exercises: Vec<Exercise> = (0..30)
        .map(|index| Exercise {
            prompt: format!("Prompt {index} {}", "that goes on and on ".repeat(index % 7)),
            choices: (0..index % 5).map(|choice| format!("choice {choice}")).collect(),
            how: String::new(),
            lines: 1 + index % 3,
            answer: format!("answer {index}"),
            worked: vec!["because ".repeat(40)],
        })
        .collect();
    let asked = book.questions(&book.masters()[0], &exercises, "");
    for pages in [asked, book.questions_key(&[exercises], "")] {
        assert!(pages.len() > 3);
        let mut asked = 0;
        for (number, page) in pages.iter().enumerate() {
            assert!(page.said().ends_with(&format!("{} of {}", number + 1, pages.len())));
            // The title stands on the first page alone; every other begins with a question.
            let first = matches!(page.blocks[0], Block::Heading(level, _) if level == if number == 0 { 1 } else { 2 });
            assert!(first, "page {}", number + 1);
            asked +=
                page.blocks.iter().filter(|block| matches!(block, Block::Heading(2, _))).count();
            for shape in page.blocks.iter().flat_map(Block::shapes) {
                let Some(area) = shape.text_box() else { continue };
                assert!(area.x >= 17.9 && area.right() <= page.width_mm - 17.9, "{shape:?}");
                assert!(area.y >= 17.0 && area.bottom() <= page.height_mm - 17.0, "{shape:?}");
            }
        }
        assert_eq!(asked, 30);
    }
}
