//! `incisura mark`, on the drawings of a small class.
#![allow(clippy::print_stdout, reason = "a test says what it found")]
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

#[path = "mark/app.rs"]
mod app;
mod class;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use class::{bound, class, done, fresh, mark, marked, printed, refused, text, words};
use course::{Course, Input, Place};
use cycle::Random;
use serde_json::Value;

fn results(folder: &Path) -> Value {
    serde_json::from_str(&fs::read_to_string(folder.join("results.json")).unwrap()).unwrap()
}

/// A table's rows by column.
fn table(path: &Path) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_path(path).unwrap();
    reader.deserialize().map(|row| row.unwrap()).collect()
}

fn words_of(words: &[String]) -> Vec<&str> {
    words.iter().map(String::as_str).collect()
}

#[test]
fn every_page_is_accounted_for() {
    let results = results(&class().join("marked"));
    let pages: Vec<(&str, u64, &str, Option<u64>)> = results["pages"]
        .as_array()
        .unwrap()
        .iter()
        .map(|page| {
            let status = page["status"].as_str().unwrap();
            let number = page["page"].as_u64().unwrap();
            (page["file"].as_str().unwrap(), number, status, page["sheet"].as_u64())
        })
        .collect();
    assert_eq!(
        pages,
        [
            ("a.jpg", 1, "read", Some(4)),
            ("b.jpg", 1, "read", Some(2)),
            ("c.jpg", 1, "unreadable", None),
            ("empty.png", 1, "unreadable", None),
            ("notes.pdf", 1, "unreadable", None),
            ("nothing.png", 1, "unreadable", None),
            ("stack.pdf", 1, "read", Some(1)),
            ("stack.pdf", 2, "duplicate", Some(2)),
            ("stack.pdf", 3, "read", Some(3)),
        ]
    );
    let reason = |index: usize| results["pages"][index]["reason"].as_str().unwrap();
    assert!(reason(2).contains("another test") && reason(2).contains("--printed"));
    // Two files without pages are no duplicates of each other.
    assert!(reason(3).contains("the file is empty"));
    assert!(reason(4).contains("neither a PDF nor"));
    assert!(reason(5).contains("the file is empty"));
    assert!(reason(7).contains("page 1 of sheet 2 is there already: b.jpg, page 1"));
}

#[test]
fn the_files_have_the_form_that_scripts_rely_on() {
    let marked = class().join("marked");
    let results = results(&marked);
    let drawings = results["drawings"].as_array().unwrap();
    assert_eq!(drawings.len(), 4);
    for (drawing, (name, id)) in drawings.iter().zip([
        ("Amara Oyelaran", "a1"),
        ("Bence Halmosi", "b2"),
        ("Carmen Iturbe", "c3"),
        ("Đức Trương", "d4"),
    ]) {
        assert_eq!((&drawing["student"], &drawing["student_id"]), (&name.into(), &id.into()));
        assert!(drawing["registration_rms_mm"].as_f64().unwrap() < 0.3, "{drawing}");
        assert!(["marked", "review"].contains(&drawing["status"].as_str().unwrap()));
        for key in ["page_images", "reasons", "traces", "landmarks", "rules"] {
            assert!(drawing[key].is_array(), "{key}");
        }
        let rules = drawing["rules"].as_array().unwrap();
        let points = rules.iter().filter_map(|rule| rule["points"].as_f64()).sum::<f64>();
        assert_eq!(points, drawing["points"].as_f64().unwrap());
        let open = rules.iter().filter(|rule| rule["outcome"] == "review");
        let open = open.map(|rule| rule["max_points"].as_f64().unwrap()).sum::<f64>();
        assert_eq!(open, drawing["open_points"].as_f64().unwrap());
        let keys =
            ["id", "measured_mm", "tolerance_mm", "max_points", "why", "question", "decided"];
        assert!(rules.iter().all(|rule| keys.iter().all(|key| rule.get(key).is_some())));
        let mark = &drawing["landmarks"][0];
        assert!(
            ["name", "channel", "x_mm", "y_mm", "time_s", "confidence"]
                .iter()
                .all(|key| mark.get(key).is_some())
        );
    }
    let grades = table(&marked.join("gradebook.csv"));
    let status: Vec<&str> = grades.iter().map(|row| row["status"].as_str()).collect();
    assert_eq!(grades.len(), 5);
    assert_eq!((status[4], grades[4]["name"].as_str()), ("no sheet", "Edda Faber"));
    assert_eq!(grades[4]["points"], "");
    for (row, drawing) in grades.iter().zip(drawings) {
        assert_eq!(row["points"].parse::<f64>().unwrap(), drawing["points"].as_f64().unwrap());
        let rules = drawing["rules"].as_array().unwrap();
        assert!(rules.iter().all(|rule| row.contains_key(rule["id"].as_str().unwrap())));
    }
    for name in ["feedback.pdf", "class.pdf"] {
        assert!(fs::read(marked.join(name)).unwrap().starts_with(b"%PDF-"), "{name}");
    }
    let said = fs::read_to_string(class().join("said.txt")).unwrap();
    for part in [
        "pages        9   read 4, duplicates 1, unreadable 4",
        "1 other entry in the folders passed over: thumbs.db (no PDF, JPEG, PNG or TIFF)",
        "1 student on the list handed in no sheet",
        "missed most",
    ] {
        assert!(said.contains(part), "{part} is not in\n{said}");
    }
}

#[test]
fn questions_are_asked_rule_by_rule_each_with_its_picture() {
    let marked = class().join("marked");
    let asked = table(&marked.join("review.csv"));
    let results = results(&marked);
    let mut open = 0;
    for rule in results["drawings"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|one| one["rules"].as_array().unwrap())
    {
        open += usize::from(rule["outcome"] == "review");
    }
    assert_eq!(asked.len(), open);
    assert!(open > 0, "the class has nothing to ask about; let it make more mistakes");
    let order: Vec<&str> = asked.iter().map(|row| row["rule"].as_str()).collect();
    let mut blocks = order.clone();
    blocks.dedup();
    let count = blocks.len();
    blocks.sort_unstable();
    blocks.dedup();
    assert_eq!(blocks.len(), count, "rules are not asked one after the other: {order:?}");
    for row in &asked {
        assert!(!row["question"].is_empty() && row["decision"].is_empty());
        let png = fs::read(marked.join(&row["crop"])).unwrap();
        let mut picture = png::Decoder::new(std::io::Cursor::new(png)).read_info().unwrap();
        let mut level = vec![0; picture.output_buffer_size().unwrap()];
        picture.next_frame(&mut level).unwrap();
        // Something is drawn on it, and most of it is paper.
        let dark = level.iter().filter(|level| **level < 128).count();
        assert!((20..level.len() / 3).contains(&dark), "{}: {dark}", row["crop"]);
    }
    let names = ["Amara", "Bence", "Carmen", "Trương"];
    let file = fs::read_to_string(marked.join("review.csv")).unwrap();
    assert!(names.iter().all(|name| !file.contains(name)));
}

#[test]
fn json_is_the_same_as_the_file() {
    let (folder, output) = marked("mark-json");
    let said = mark(&folder, &output, &["scans", "--json"]);
    assert_eq!(said, fs::read_to_string(output.join("results.json")).unwrap());
}

/// A file that cannot be read, whose page the database has already: it is not looked at.
#[test]
fn what_was_read_is_not_read_again() {
    let (folder, output) = marked("mark-again");
    let before = fs::read(output.join("marks.sqlite")).unwrap();
    let earlier = results(&output);
    mark(&folder, &output, &["scans"]);
    assert_eq!(results(&output), earlier);
    assert!(fs::read(output.join("marks.sqlite")).unwrap() == before, "the database was changed");

    let spoiled = folder.join("spoiled.jpg");
    fs::write(&spoiled, b"\xff\xd8\xff").unwrap();
    let course = Course::open(&output).unwrap();
    let hash = {
        let output = Command::new("sha256sum").arg(&spoiled).output().unwrap();
        String::from_utf8(output.stdout).unwrap()[..64].to_owned()
    };
    let test = earlier["test"].as_str().unwrap().to_owned();
    let first = course.sheet_pages(&test).unwrap().remove(0).counts;
    let drawing = course.drawing(first.id).unwrap().unwrap();
    let input = Input { hash, number: 1, reader: first.input.reader, file: "spoiled.jpg".into() };
    let place = Place { test, sheet: 5, form: 'A', page: 1 };
    course.add_page(&input, &place, &drawing, None, "2026-03-02T14:05:00Z").unwrap();
    drop(course);
    mark(&folder, &output, &["spoiled.jpg"]);
    let again = results(&output);
    assert_eq!(again["pages"][0]["status"], "read");
    assert_eq!(again["drawings"][4]["student"], "Edda Faber");
}

#[test]
fn without_a_list_students_are_unknown() {
    let folder = class();
    let output = fresh("mark-unknown");
    let said = mark(folder, &output, &["scans/a.jpg"]);
    assert!(said.contains("nobody is known for sheet 4; --sheets"), "{said}");
    let drawing = &results(&output)["drawings"][0];
    assert_eq!((&drawing["student"], &drawing["sheet"]), (&Value::Null, &4.into()));
    // The list can come later.
    let said = mark(folder, &output, &["--sheets", "sheets/sheets.csv"]);
    assert!(!said.contains("nobody is known"), "{said}");
    assert_eq!(results(&output)["drawings"][0]["student"], "Đức Trương");
}

#[test]
fn where_nothing_can_be_read_the_run_fails() {
    let folder = class();
    let output = fresh("mark-nothing");
    let said = refused(&words_of(&words(folder, &output, &["scans/notes.pdf"])));
    assert!(said.contains("no page could be read"), "{said}");
    let said = refused(&words_of(&words(folder, &fresh("mark-none"), &[])));
    assert!(said.contains("name the scans"), "{said}");
}

#[test]
fn a_mistyped_name_is_told_before_anything_is_written() {
    let folder = class();
    let output = fresh("mark-mistyped").join("marked");
    let scans = ["scans/a.jpg", "scans/stck.pdf", "scna"];
    let said = refused(&words_of(&words(folder, &output, &scans)));
    assert!(said.contains("stck.pdf") && said.contains("scna"), "{said}");
    assert!(said.contains("there is no such file"), "{said}");
    assert!(!said.contains("a.jpg"), "{said}");
    assert!(!output.exists());
}

/// The rows of a `review.csv`, with the decisions that `decide` makes.
fn fill_in(path: &Path, decide: impl Fn(usize, &BTreeMap<String, String>) -> [String; 2]) {
    let rows = table(path);
    let mut reader = csv::Reader::from_path(path).unwrap();
    let headers = reader.headers().unwrap().clone();
    let mut writer = csv::Writer::from_path(path).unwrap();
    writer.write_record(&headers).unwrap();
    for (index, mut row) in rows.into_iter().enumerate() {
        let [decision, why] = decide(index, &row);
        row.insert("decision".into(), decision);
        row.insert("why".into(), why);
        writer.write_record(headers.iter().map(|header| &row[header])).unwrap();
    }
    writer.flush().unwrap();
}

#[test]
fn decisions_are_taken_in_and_kept() {
    let (folder, output) = marked("mark-decisions");
    let review = output.join("review.csv");
    let asked = table(&review);
    let decide = |word: &str, why: &str| {
        fill_in(&review, |index, _| {
            if index == 0 { [word.into(), why.into()] } else { [String::new(), String::new()] }
        });
    };
    let run = ["--decisions", text(&review), "--who", "Dr Vale"];
    // Wrong words are refused with their line, and nothing is taken in.
    decide("probably", "");
    let said = refused(&words_of(&words(&folder, &output, &run)));
    assert!(said.contains("line 2: “probably” is no decision"), "{said}");
    decide("waive", "");
    let said = refused(&words_of(&words(&folder, &output, &run)));
    assert!(said.contains("needs a reason"), "{said}");
    // Decisions that were not taken in are not written over.
    decide("met", "it touches the line");
    let said = refused(&words_of(&words(&folder, &output, &[])));
    assert!(said.contains("would be written over"), "{said}");

    let said = mark(&folder, &output, &run);
    assert!(said.contains("1 new decision taken in"), "{said}");
    let (sheet, rule) = (asked[0]["sheet"].parse::<u64>().unwrap(), asked[0]["rule"].as_str());
    let drawings = results(&output)["drawings"].clone();
    let drawing = drawings.as_array().unwrap().iter().find(|one| one["sheet"] == sheet).unwrap();
    let rules = drawing["rules"].as_array().unwrap();
    let ruled = rules.iter().find(|one| one["id"] == rule).unwrap();
    assert_eq!(ruled["outcome"], "met");
    assert_eq!(ruled["points"], ruled["max_points"]);
    assert_eq!((&ruled["decided"]["ruling"], &ruled["counts"]), (&"met".into(), &true.into()));
    assert_eq!(table(&review).len(), asked.len() - 1);
    let course = Course::open(&output).unwrap();
    let id = results(&output)["test"].as_str().unwrap().to_owned();
    let history = course.history(&id, sheet as u32).unwrap();
    let last = history.last().unwrap();
    assert_eq!((last.by.who.as_str(), last.by.why.as_str()), ("Dr Vale", "it touches the line"));
    drop(course);
    // A second marking keeps it, and still tells of every page, though none is given.
    let pages = results(&output)["pages"].clone();
    assert!(!pages.as_array().unwrap().is_empty());
    mark(&folder, &output, &[]);
    assert_eq!(results(&output)["drawings"], drawings);
    assert_eq!(results(&output)["pages"], pages);
    let said = refused(&["mark", "x.toml", "-o", "y", "--accept"]);
    assert!(said.contains("x.toml"), "{said}");
    // What does not count has no points in the gradebook, rather than none of none.
    let waived = table(&review)[0].clone();
    decide("waive", "the bell rang");
    mark(&folder, &output, &run);
    let results = results(&output);
    let drawings = results["drawings"].as_array().unwrap().iter();
    let sheet: u64 = waived["sheet"].parse().unwrap();
    let mut own = drawings.filter(|one| one["sheet"] == sheet);
    let rules = own.next().unwrap()["rules"].as_array().unwrap();
    let one = rules.iter().find(|one| one["id"] == waived["rule"].as_str()).unwrap();
    assert_eq!((&one["counts"], &one["max_points"]), (&false.into(), &0.0.into()));
    let grades = table(&output.join("gradebook.csv"));
    let row = grades.iter().find(|row| row["sheet"] == waived["sheet"]).unwrap();
    assert_eq!(row[&waived["rule"]], "");
}

#[test]
fn changed_rules_are_proposed_until_they_are_accepted() {
    let (folder, output) = marked("mark-rules");
    let before = results(&output);
    let rules = folder.join("rules.toml");
    let text = fs::read_to_string(&rules).unwrap();
    fs::write(&rules, text.replace("points = 2", "points = 3")).unwrap();
    let said = mark(&folder, &output, &[]);
    assert!(
        said.contains("the rules have changed; by them 4 sheets would get other marks"),
        "{said}"
    );
    assert!(said.contains("--accept"), "{said}");
    assert_eq!(results(&output)["drawings"], before["drawings"]);
    // Asking again adds nothing.
    let database = fs::read(output.join("marks.sqlite")).unwrap();
    mark(&folder, &output, &[]);
    assert!(fs::read(output.join("marks.sqlite")).unwrap() == database);

    let said = mark(&folder, &output, &["--accept", "--who", "Dr Vale"]);
    assert!(said.contains("accepted: 4 sheets"), "{said}");
    let after = results(&output);
    let most = |all: &Value| all["drawings"][0]["max_points"].as_f64().unwrap();
    assert!(most(&after) > most(&before));
    let id = after["test"].as_str().unwrap();
    let marking = Course::open(&output).unwrap().marking(id).unwrap().unwrap();
    assert_eq!(marking.accepted[0].who, "Dr Vale");
    let said = mark(&folder, &output, &[]);
    assert!(!said.contains("would get other marks"), "{said}");
}

/// Though no rule by itself earns anything else.
#[test]
fn another_cap_is_proposed_for_every_sheet() {
    let (folder, output) = marked("mark-caps");
    let rules = folder.join("rules.toml");
    let text = fs::read_to_string(&rules).unwrap();
    let capped = |most: u32| {
        let text =
            text.replacen("[[rules]]", &format!("caps = {{ two = {most} }}\n\n[[rules]]"), 1);
        let text = text.replace("id = \"s1_on_r\"", "id = \"s1_on_r\"\ncap = \"two\"");
        text.replace("id = \"s2_in_t\"", "id = \"s2_in_t\"\ncap = \"two\"")
    };
    fs::write(&rules, capped(3)).unwrap();
    mark(&folder, &output, &["--accept", "--who", "Dr Vale"]);
    let before = results(&output);
    fs::write(&rules, capped(2)).unwrap();
    let said = mark(&folder, &output, &[]);
    assert!(said.contains("by them 4 sheets would get other marks"), "{said}");
    assert_eq!(results(&output)["drawings"], before["drawings"]);
}

#[test]
fn missing_pages_and_copies_of_a_master_are_told() {
    let folder = fresh("mark-pages");
    let roster = folder.join("roster.csv");
    fs::write(&roster, "name\nAmara Oyelaran\n").unwrap();
    let named = printed(&folder, class::TWO_PAGES, &["--spare", "1"], &[0]);
    fs::write(folder.join("first.pdf"), bound(&[&named[0]])).unwrap();
    let output = folder.join("out");
    let said = mark(&folder, &output, &["first.pdf"]);
    assert!(said.contains("sheet 1: page 2 of 2 is missing"), "{said}");
    let drawing = results(&output)["drawings"][0].clone();
    assert_eq!(drawing["status"], "review");
    assert_eq!(drawing["reasons"][0], "page 2 of 2 is missing");
    // What belongs on the missing page is nobody's mistake.
    let rules = drawing["rules"].as_array().unwrap();
    let wrong: Vec<&Value> =
        rules.iter().filter(|rule| rule["outcome"] == "not_met").map(|rule| &rule["id"]).collect();
    let about_pressure = ["steep_rise", "top_at_mid_t"];
    assert!(wrong.iter().all(|id| !about_pressure.contains(&id.as_str().unwrap())), "{wrong:?}");
    assert!(rules.iter().any(|rule| rule["id"] == "steep_rise" && rule["outcome"] == "review"));
    // It comes later.
    fs::write(folder.join("second.pdf"), bound(&[&named[1]])).unwrap();
    mark(&folder, &output, &["second.pdf"]);
    let drawing = results(&output)["drawings"][0].clone();
    assert_eq!(drawing["page_images"].as_array().unwrap().len(), 2);
    let rules = drawing["rules"].as_array().unwrap();
    assert!(rules.iter().any(|rule| rule["id"] == "steep_rise" && rule["outcome"] == "met"));

    let folder = fresh("mark-masters");
    let master = printed(&folder, class::TWO_PAGES, &[], &[0]);
    fs::write(folder.join("x.pdf"), bound(&[&master[0], &master[1], &master[0]])).unwrap();
    let output = folder.join("out");
    let said = mark(&folder, &output, &["x.pdf"]);
    assert!(said.contains("2 copies of a master, whose number names nobody"), "{said}");
    let sheets: Vec<u64> = results(&output)["drawings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| one["sheet"].as_u64().unwrap())
        .collect();
    assert_eq!(sheets, [90_001, 90_002]);
}

/// Sheets that were printed in another way than the file says, and by an earlier file.
#[test]
fn other_prints_of_the_test_are_read_too() {
    let folder = fresh("mark-prints");
    let sheets =
        printed(&folder, class::OTHER, &["--forms", "3", "--paper", "a4", "--spare", "1"], &[0]);
    fs::write(folder.join("x.jpg"), &sheets[0].jpeg).unwrap();
    let large = folder.join("large");
    let sheets = printed(&large, class::OTHER, &["--spare", "2", "--large-print"], &[0]);
    fs::write(folder.join("y.jpg"), &sheets[1].jpeg).unwrap();
    let output = folder.join("out");
    mark(&folder, &output, &["x.jpg", "y.jpg"]);
    let drawings = results(&output)["drawings"].clone();
    for (drawing, sheet) in drawings.as_array().unwrap().iter().zip([1, 2]) {
        assert_eq!(drawing["sheet"], sheet);
        assert!(drawing["registration_rms_mm"].as_f64().unwrap() < 0.3, "{drawing}");
        let rules = drawing["rules"].as_array().unwrap();
        let met = |id: &str| rules.iter().any(|one| one["id"] == id && one["outcome"] == "met");
        assert!(met("steep_rise") && met("top_at_mid_t"), "sheet {sheet}: {rules:?}");
    }
    assert_ne!(drawings[0]["test"], drawings[1]["test"]);

    fs::write(folder.join("old.toml"), class::OTHER).unwrap();
    fs::write(folder.join("test.toml"), class::OTHER.replace("Quiz", "Warm-up")).unwrap();
    let output = folder.join("later");
    let said = words(&folder, &output, &["x.jpg"]);
    let said = done_or_said(&words_of(&said));
    assert!(said.contains("--printed OLD.toml"), "{said}");
    mark(&folder, &output, &["x.jpg", "--printed", "old.toml"]);
    assert_eq!(results(&output)["drawings"][0]["sheet"], 1);
    assert_eq!(results(&output)["title"], "Warm-up");
}

/// All that a run said, whether it succeeded or not.
fn done_or_said(words: &[&str]) -> String {
    let output = class::incisura(words);
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// Killed at 50 instants drawn from a seed: the database opens, what was kept stays, and in the
/// end the results are those of a run that nobody disturbed.
#[test]
fn a_killed_run_goes_on_where_it_was() {
    let folder = class();
    let undisturbed = fresh("mark-undisturbed");
    let scans = ["scans/stack.pdf", "scans/a.jpg", "scans/notes.pdf"];
    let begun = Instant::now();
    mark(folder, &undisturbed, &scans);
    let whole = begun.elapsed().min(Duration::from_millis(1_500));
    let output = fresh("mark-killed");
    let mut random = Random::new(50);
    let (mut kept, mut midway) = (0, 0);
    let words = words(folder, &output, &scans);
    for kill in 0..50 {
        let share = random.below(1_000) as u32;
        let mut run = Command::new(env!("CARGO_BIN_EXE_incisura"))
            .args(&words)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        thread::sleep(whole * share / 1_000);
        let finished = run.try_wait().unwrap().is_some();
        let _ = run.kill();
        run.wait().unwrap();
        if let Ok(text) = fs::read_to_string(output.join("results.json")) {
            assert!(serde_json::from_str::<Value>(&text).is_ok(), "kill {kill} left half a file");
        }
        let course = Course::open(&output).unwrap();
        course.check().unwrap();
        let mut pages = 0;
        for test in course.tests().unwrap() {
            pages += course.sheet_pages(&test.id).unwrap().len();
        }
        assert!(pages >= kept, "kill {kill} lost a page");
        kept = pages;
        midway += usize::from(!finished && (1..4).contains(&pages));
        drop(course);
        if finished {
            // There is nothing left to disturb: begin again.
            fs::remove_dir_all(&output).unwrap();
            fs::create_dir_all(&output).unwrap();
            kept = 0;
        }
    }
    assert!(midway > 0, "no kill fell between the first page and the last");
    println!("{midway} of 50 kills fell between the first page and the last");
    done(&words_of(&words));
    let read = |folder: &Path| fs::read_to_string(folder.join("results.json")).unwrap();
    assert!(read(&output) == read(&undisturbed));
}

#[test]
fn a_demo_is_not_written_into_a_folder_with_something_in_it() {
    let folder = fresh("demo-refused");
    fs::write(folder.join("mine.txt"), "x").unwrap();
    let said = refused(&["demo", text(&folder)]);
    assert!(said.contains("this folder is not empty"), "{said}");
    assert_eq!(fs::read_dir(&folder).unwrap().count(), 1);
}
