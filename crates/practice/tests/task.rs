//! What a task is made of at each level, and what comes in and goes out as text.

use practice::{Core, Definition, Kind, Level, Practice, PracticeError};
use serde_json::{Value, json};

const FIRST: &str = "title = \"Sounds\"\nconvention = \"first_course\"\n";
const LEFT: &str =
    "title = \"Left\"\nconvention = \"left_heart\"\ngiven = [\"ecg\", \"lv_volume\"]\n";

fn practice(test: &str, level: Level, seed: u64) -> Practice {
    let definition = Definition { test: test.to_owned(), ..Definition::default() };
    Practice::new(&definition, level, seed).expect("the test is well formed")
}

fn ask(core: &mut Core, what: &str, more: &Value) -> Result<Value, PracticeError> {
    let mut request = json!({ "definition": { "test": FIRST }, "level": 3, "seed": 4 });
    for (key, value) in more.as_object().expect("an object") {
        request[key] = value.clone();
    }
    let answer = core.ask(what, &request.to_string())?;
    Ok(serde_json::from_str(&answer).expect("it answers in JSON"))
}

#[test]
fn help_fades_from_level_to_level() {
    let asked = |level| {
        let task = practice(LEFT, level, 7).task();
        let panels = task.panels.iter().filter(|panel| !panel.given).count();
        let bars = task.bars.iter().filter(|row| !row.given).count();
        (panels + bars, task.lines.is_empty(), task.panels.len() + task.bars.len())
    };
    let (one, no_lines, all) = asked(Level::OneTrace);
    assert!(one == 1 && !no_lines && all > 5);
    assert_eq!(asked(Level::Lines), (all - 2, false, all));
    assert_eq!(asked(Level::Given), (all - 2, true, all));
    assert_eq!(asked(Level::Baselines), (all, true, all));
}

#[test]
fn what_is_asked_is_not_shown() {
    for level in Level::ALL {
        let practice = practice(LEFT, level, 3);
        for panel in practice.task().panels {
            assert_eq!(panel.trace.is_empty(), !panel.given, "{level:?} {}", panel.channel);
        }
        for row in practice.task().bars {
            assert_eq!(row.stretches.is_empty(), !row.given, "{level:?} {}", row.bar);
        }
    }
}

#[test]
fn another_seed_is_another_heart_and_the_same_is_the_same() {
    let rates: Vec<f64> =
        (0..6).map(|seed| practice(FIRST, Level::Given, seed).task().rate_bpm).collect();
    let mut different = rates.clone();
    different.sort_by(f64::total_cmp);
    different.dedup();
    assert!(different.len() > 3, "{rates:?}");
    let [one, other] = [(), ()].map(|()| practice(FIRST, Level::Given, 2).task());
    assert_eq!(one, other);
    // What the test fixes stays.
    let fixed = format!("{FIRST}[heart]\nrate_bpm = 70\n");
    for seed in 0..3 {
        assert!((practice(&fixed, Level::Given, seed).task().rate_bpm - 70.0).abs() < 0.1);
    }
}

#[test]
fn points_wait_where_they_say_nothing_about_where_they_belong() {
    let practice = practice(FIRST, Level::Given, 9);
    let task = practice.task();
    let key = practice.key_points();
    assert_eq!(task.points.len(), key.len());
    let near = task.points.iter().zip(&key).filter(|(point, key)| {
        (point.start_mm[0] - key[0]).abs() < 2.0 && (point.start_mm[1] - key[1]).abs() < 2.0
    });
    assert!(2 * near.count() < key.len());
    assert!(task.points.iter().any(|point| point.kind == Kind::Sound));
    for point in &task.points {
        let panel = task.panels.iter().find(|panel| panel.channel == point.place).unwrap();
        assert!((panel.y_mm..=panel.y_mm + panel.height_mm).contains(&point.start_mm[1]));
    }
}

#[test]
fn the_steps_draw_what_is_asked_and_end_with_all_of_it() {
    let practice = practice(FIRST, Level::Given, 1);
    let steps = practice.steps().unwrap();
    assert!(steps.len() >= 4, "{}", steps.len());
    assert!(steps.iter().all(|step| !step.cause.is_empty() && !step.text.is_empty()));
    assert!(steps.iter().flat_map(|step| &step.shown).all(|ghost| ghost.place != "ecg"));
    assert!(steps.iter().any(|step| !step.lines.is_empty()));
}

#[test]
fn questions_are_marked_with_their_reason() {
    let practice = practice(LEFT, Level::Given, 1);
    let questions = practice.questions();
    assert!(questions.len() >= 4);
    let kinds: Vec<String> = questions.iter().map(|one| format!("{:?}", one.kind)).collect();
    assert!(kinds.contains(&"Order".to_owned()) && kinds.contains(&"Bars".to_owned()), "{kinds:?}");
    for number in 0..questions.len() {
        let answer = practice.check(number, &[]).unwrap().answer;
        let told = practice.check(number, &answer).unwrap();
        assert!(told.right && !told.why.is_empty(), "{number}");
    }
    assert!(practice.check(99, &[]).is_none());
}

#[test]
fn text_goes_in_and_comes_out() {
    let mut core = Core::default();
    let task = ask(&mut core, "task", &json!({})).unwrap();
    assert_eq!(task["title"], "Sounds");
    assert_eq!(task["level"], 3);
    let key = ask(&mut core, "key", &json!({})).unwrap();
    let verdict = ask(&mut core, "judge", &json!({ "drawing": key })).unwrap();
    assert_eq!(verdict["all_met"], true);
    let points = ask(&mut core, "key_points", &json!({})).unwrap();
    let through = ask(&mut core, "through", &json!({ "points": points })).unwrap();
    let verdict = ask(&mut core, "judge", &json!({ "drawing": through })).unwrap();
    assert_eq!(verdict["all_met"], true);
    assert!(!ask(&mut core, "steps", &json!({})).unwrap().as_array().unwrap().is_empty());
    let asked = ask(&mut core, "questions", &json!({})).unwrap();
    assert!(asked[0]["prompt"].is_string());
    let told = ask(&mut core, "check", &json!({ "question": 0, "answer": [0] })).unwrap();
    assert!(told["why"].is_string());
}

#[test]
fn what_cannot_be_understood_is_refused_in_words() {
    let mut core = Core::default();
    for (what, more, words) in [
        ("task", json!({ "level": 5 }), "choose 1 to 4"),
        ("secrets", json!({}), "secrets"),
        ("check", json!({ "question": 999 }), "no such question"),
        ("judge", json!({ "drawing": { "strokes": { "ecg": 3 } } }), "cannot be understood"),
        ("task", json!({ "definition": { "test": "title = 3" } }), "title"),
        (
            "task",
            json!({ "definition": { "test": "title = \"A\"\nconvention = \"../x.toml\"" } }),
            "x.toml",
        ),
    ] {
        let error = ask(&mut core, what, &more).unwrap_err().to_string();
        assert!(error.contains(words), "{what} {more}: {error}");
    }
    assert!(core.ask("task", "{").is_err());
}

#[test]
fn hostile_strokes_do_no_harm() {
    let practice = practice(FIRST, Level::Given, 1);
    let judge = |drawing: Value| practice.judge(&serde_json::from_value(drawing).unwrap());
    for points in [
        json!([[[1e300, -1e300], [-1e300, 1e300]]]),
        json!([[]]),
        json!([[[20, 20]], [[20, 20], [20, 20]]]),
        json!([[[40, 30], [20, 30], [60, 30], [10, 30]]]),
    ] {
        let drawing = json!({ "strokes": { "aortic_pressure": points, "heart_sounds": points, "nothing": points } });
        let verdict = judge(drawing).unwrap();
        assert!(!verdict.all_met);
    }
    let many = vec![[1.0, 1.0]; 200_001];
    let too_much = judge(json!({ "strokes": { "aortic_pressure": [many] } }));
    assert!(matches!(too_much, Err(PracticeError::TooMuch)));
}

#[test]
fn a_task_is_spelled_as_the_test_says_or_else_as_the_course_does() {
    let all = |test: &str, course: Option<&str>| {
        let spelling = course.map(str::to_owned);
        let definition = Definition { test: test.to_owned(), spelling, ..Definition::default() };
        let practice = Practice::new(&definition, Level::Lines, 4).expect("it is well formed");
        let verdict = practice.judge(&practice.key()).expect("it can be judged");
        let steps = practice.steps().expect("it can be built");
        serde_json::to_string(&(practice.task(), verdict, steps, practice.questions()))
            .expect("plain data")
    };
    let usual = all(FIRST, None);
    assert!(usual.contains("ECG") && !usual.contains("EKG"));
    let other = usual.replace("ECG", "EKG");
    assert_eq!(all(FIRST, Some("EKG")), other);
    assert_eq!(all(&format!("{FIRST}spelling = \"EKG\"\n"), None), other);
    assert_eq!(all(&format!("{FIRST}spelling = \"ECG\"\n"), Some("EKG")), usual);
    // What is the code's is the same for both.
    let id = |spelling: Option<&str>| {
        let spelling = spelling.map(str::to_owned);
        Definition { test: FIRST.to_owned(), spelling, ..Definition::default() }.id()
    };
    assert_eq!(id(None), id(Some("EKG")));
}
