//! The room of the sheets, asked without a port.

use std::time::{Duration, Instant};

use axum::http::StatusCode;
use serde_json::{Value, json};

use crate::sheet_command::SHEET_LIST;
use crate::web::desk::Desk;
use crate::web::jobs::JobState;
use crate::web::printed;
use crate::web::tests::{answer, desk, get, post, post_bytes, post_json};

const FILE: &str = "test-1.toml";

fn change(desk: &Desk, change: Value) -> (StatusCode, String) {
    let told = answer(desk, get(&format!("/sheets/state?file={FILE}"))).text();
    let state: Value = serde_json::from_str(&told).unwrap();
    let mut request = json!({"file": FILE, "seen": state["version"]});
    request.as_object_mut().unwrap().extend(change.as_object().unwrap().clone());
    let told = post_json(desk, "/sheets/change", &request);
    (told.status, told.text())
}

fn done(desk: &Desk, what: Value) -> Value {
    let (status, body) = change(desk, what);
    assert_eq!(status, StatusCode::OK, "{body}");
    serde_json::from_str(&body).unwrap()
}

fn set(at: &str, value: &[&str]) -> Value {
    json!({"op": "set", "at": at, "value": value})
}

/// Prints and waits until it is done.
fn print(desk: &Desk, form: &str) -> (StatusCode, String) {
    let told = post(desk, "/sheets/print", &format!("file={FILE}&{form}"));
    let text = told.text();
    if told.status != StatusCode::OK {
        return (told.status, text);
    }
    let name: String = serde_json::from_str(&text).unwrap();
    let begun = Instant::now();
    loop {
        let job = desk.jobs().progress(&name).unwrap();
        match job.state {
            JobState::Running if begun.elapsed() < Duration::from_secs(300) => {
                std::thread::sleep(Duration::from_millis(50));
            }
            JobState::Done => return (told.status, job.said),
            _ => panic!("{job:?}"),
        }
    }
}

#[test]
fn the_list_says_what_to_do_where_there_is_nothing() {
    let desk = desk();
    let page = answer(&desk, get("/sheets")).text();
    assert!(page.contains("/sheets?file=test-1.toml") && page.contains("24 students"));
    for file in [FILE, "roster.csv"] {
        std::fs::remove_file(desk.folder().root().join(file)).unwrap();
    }
    let empty = answer(&desk, get("/sheets")).text();
    assert!(empty.contains("There is no test yet") && empty.contains("There is no class list"));
}

#[test]
fn a_test_is_begun_edited_and_copied() {
    let desk = desk();
    let made = post(&desk, "/sheets/new", "title=Quiz+2&convention=left_heart");
    assert_eq!(made.header("location"), "/sheets?file=quiz-2.toml", "{}", made.text());
    let page = answer(&desk, get("/sheets?file=quiz-2.toml")).text();
    assert!(page.contains("Mitral valve") && page.contains("value=\"lv_pressure:asked\" selected"));
    let made = post(&desk, "/sheets/copy", "file=quiz-2.toml&title=Quiz+3");
    assert_eq!(made.header("location"), "/sheets?file=quiz-3.toml");
    for convention in ["../rules.toml", "nowhere", "/etc/passwd", ""] {
        let form = format!("title=Odd&convention={convention}");
        assert_eq!(
            post(&desk, "/sheets/new", &form).status,
            StatusCode::BAD_REQUEST,
            "{convention}"
        );
    }
}

#[test]
fn faults_are_told_at_their_line_and_the_last_good_text_stays() {
    let desk = desk();
    let before = desk.folder().text(FILE).unwrap().text;
    let state = done(&desk, set("heart.rate_bpm", &["900", ""]));
    assert_eq!(state["in_force"], false);
    let fault = &state["faults"][0];
    assert_eq!(fault["text"], "rate_bpm = 900");
    assert_eq!(desk.folder().text(FILE).unwrap().text, before);
    let pages =
        answer(&desk, get(&format!("/sheets/pages?file={FILE}&document=key.pdf&large=false")))
            .text();
    assert!(
        pages.contains("These are the pages of the last one without") && pages.contains("<svg")
    );
    let state = done(&desk, set("heart.rate_bpm", &["70", "80"]));
    assert_eq!(state["in_force"], true);
    let state = done(&desk, set("convention", &["../../secret.toml"]));
    assert!(state["faults"][0]["what"].as_str().unwrap().contains("no file of the course"));
}

#[test]
fn the_preview_has_every_document_and_form() {
    let desk = desk();
    done(&desk, set("handouts", &["model_copy", "cloze"]));
    done(&desk, set("questions.order", &["1"]));
    done(&desk, json!({"op": "add", "table": "strips", "after": null}));
    let ask = |document: &str, form: &str| {
        let told = answer(
            &desk,
            get(&format!("/sheets/pages?file={FILE}&document={document}&large=false{form}")),
        );
        assert_eq!(told.status, StatusCode::OK, "{document}: {}", told.text());
        told.text()
    };
    let sheets = ask("drawing-sheets.pdf", "");
    assert_eq!(sheets.matches("<svg").count(), 2);
    assert!(sheets.contains("width=\"279.4mm\""), "the sheet is not at true size");
    assert_eq!(ask("drawing-sheets.pdf", "&form=B").matches("<svg").count(), 1);
    for document in [
        "key.pdf",
        "rubric.pdf",
        "model-copy.pdf",
        "cloze.pdf",
        "cloze-key.pdf",
        "questions.pdf",
        "questions-key.pdf",
        "ecg-strips.pdf",
        "ecg-strips-key.pdf",
    ] {
        assert!(sheets.contains(document), "{document} is not offered");
        let pages = ask(document, "");
        assert!(
            pages.contains("<svg") && pages.contains(&format!("value=\"{document}\" selected")),
            "{document}"
        );
    }
    assert!(ask("nonsense", "").contains("value=\"drawing-sheets.pdf\" selected"));
}

#[test]
fn what_was_printed_stays_as_it_was_printed() {
    let desk = desk();
    let folder = desk.folder();
    assert!(printed::printed_folder(&folder, FILE).is_none());
    let (status, said) = print(&desk, "class=true&spare=2&each=true");
    assert_eq!(status, StatusCode::OK, "{said}");
    let into = printed::printed_folder(&folder, FILE).unwrap();
    assert!(into.ends_with("sheets/test-1"));
    let list = std::fs::read_to_string(into.join(SHEET_LIST)).unwrap();
    assert_eq!(list.lines().count(), 1 + 24 + 2);
    assert_eq!(std::fs::read_to_string(into.join(FILE)).unwrap(), folder.text(FILE).unwrap().text);
    assert!(into.join("rules.toml").is_file());
    // Its files are offered.
    let page = answer(&desk, get(&format!("/sheets?file={FILE}"))).text();
    assert!(page.contains("26 sheets") && page.contains("This test was printed"));
    let pdf = answer(&desk, get(&format!("/sheets/printed?file={FILE}&print=0&name=key.pdf")));
    assert!(pdf.body.starts_with(b"%PDF-") && pdf.header("content-disposition") == "inline");
    let one = answer(
        &desk,
        get(&format!(
            "/sheets/printed?file={FILE}&print=0&name=per-student/sheet-00003.pdf&keep=true"
        )),
    );
    assert!(
        one.body.starts_with(b"%PDF-")
            && one.header("content-disposition").starts_with("attachment")
    );
    for name in ["../../rules.toml", "sheets.csv", "nothing.pdf", "../../../x.pdf", "/etc/passwd"] {
        let told = answer(&desk, get(&format!("/sheets/printed?file={FILE}&print=0&name={name}")));
        assert_ne!(told.status, StatusCode::OK, "{name}");
    }
    // It is not changed by mistake.
    let (status, words) = change(&desk, set("title", &["Other"]));
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(words.contains("was printed"));
    // Another list would give a sheet to another student.
    let (status, words) = print(&desk, "spare=30");
    assert!(
        status == StatusCode::BAD_REQUEST && words.contains("sheet 1 is Adaeze Nwosu"),
        "{words}"
    );
    // Changed nevertheless and printed again, the old sheets are kept.
    let mut anyway = set("title", &["Other"]);
    anyway["anyway"] = json!(true);
    done(&desk, anyway);
    assert!(printed::printed_folder(&folder, FILE).is_some());
    print(&desk, "spare=1");
    let prints = printed::prints(&folder, FILE);
    assert_eq!(prints.len(), 2);
    assert_eq!(std::fs::read_to_string(prints[1].join(SHEET_LIST)).unwrap(), list);
}

/// A sheet's code names the test's text alone, so the rules must not change under it.
#[test]
fn a_test_is_not_printed_again_by_other_rules() {
    let desk = desk();
    let folder = desk.folder();
    assert_eq!(print(&desk, "spare=1").0, StatusCode::OK);
    let rules = folder.text("rules.toml").unwrap().text;
    let changed = rules.replacen("points = 2", "points = 3", 1);
    folder.save("rules.toml", &changed, None).unwrap();
    let (status, words) = print(&desk, "spare=1");
    assert_eq!(status, StatusCode::BAD_REQUEST);
    for part in ["rules.toml were changed", "Undo the changes", "copy the test"] {
        assert!(words.contains(part), "{words}");
    }
    let kept = printed::kept(&folder, FILE);
    assert_eq!(kept.len(), 1);
    assert_eq!(kept[0].text, folder.text(FILE).unwrap().text);
    assert_eq!(kept[0].printed.conventions["rules.toml"], rules);
    // A large print has codes of its own, and so has a copy.
    assert_eq!(print(&desk, "spare=1&large=true").0, StatusCode::OK);
    assert_eq!(printed::kept(&folder, FILE)[1].printed.conventions["rules.toml"], changed);
    // Where nothing lies beside the sheets, what was read of them tells.
    let print_folder = printed::printed_folder(&folder, FILE).unwrap();
    std::fs::remove_file(print_folder.join("rules.toml")).unwrap();
    assert_eq!(print(&desk, "spare=1").0, StatusCode::OK, "nobody can know");
    std::fs::remove_file(print_folder.join("rules.toml")).unwrap();
    let marks = folder.root().join("marks");
    std::fs::create_dir_all(&marks).unwrap();
    let (id, title, definition) = (kept[0].id.clone(), "Test 1".into(), kept[0].text.clone());
    let conventions = course::Json::of(&kept[0].printed.conventions).unwrap();
    let read = course::Test { id, title, definition, conventions };
    course::Course::open(&marks).unwrap().add_test(&read, "2026-03-02T14:05:00Z").unwrap();
    assert_eq!(print(&desk, "spare=1").0, StatusCode::BAD_REQUEST);
    folder.undo("rules.toml").unwrap();
    assert_eq!(print(&desk, "spare=1").0, StatusCode::OK);
}

#[test]
fn what_the_command_line_printed_is_found() {
    let desk = desk();
    let folder = desk.folder();
    let sheets = folder.root().join("sheets");
    crate::sheet_command::print(&crate::args::Sheet {
        test: folder.root().join(FILE),
        output: sheets.clone(),
        roster: Some(folder.root().join("roster.csv")),
        spare: None,
        forms: None,
        paper: None,
        large_print: false,
        per_student: false,
    })
    .unwrap();
    assert_eq!(printed::printed_folder(&folder, FILE), Some(sheets.clone()));
    post(&desk, "/sheets/new", "title=Quiz+2&convention=first_course");
    assert_eq!(printed::printed_folder(&folder, "quiz-2.toml"), None);
    // Also after the text was changed, for what it was is kept.
    let mut anyway = set("title", &["Other"]);
    anyway["anyway"] = json!(true);
    done(&desk, anyway);
    assert_eq!(printed::printed_folder(&folder, FILE), Some(sheets));
    assert!(!printed::is_as_printed(&folder, FILE));
}

#[test]
fn spare_sheets_are_a_number() {
    let desk = desk();
    for spare in ["-1", "many", "99999"] {
        let told = post(&desk, "/sheets/print", &format!("file={FILE}&spare={spare}"));
        assert_eq!(told.status, StatusCode::BAD_REQUEST, "{spare}");
        assert_eq!(told.header("x-control"), "spare");
    }
}

#[test]
fn a_class_list_is_seen_before_it_is_taken_and_can_be_undone() {
    let desk = desk();
    let before = desk.folder().text("roster.csv").unwrap().text;
    let list = b"Last name;First name;Section;ID\nCarr;Bj\xf6rn;2;18\n;;2;19\n<script>x</script>;Ada;1;17\n";
    let seen = post_bytes(&desk, "/sheets/roster/preview", list);
    let text = seen.text();
    for part in [
        "Björn Carr",
        "Windows-1252",
        "semicolons",
        "not used",
        "line 3",
        "&lt;script&gt;x",
        "Take this",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
    assert!(!text.contains("<script>x"));
    assert_eq!(desk.folder().text("roster.csv").unwrap().text, before);
    let taken = post_bytes(&desk, "/sheets/roster/take", list);
    assert!(taken.text().contains("2 students"), "{}", taken.text());
    assert!(desk.folder().text("roster.csv").unwrap().text.contains("Björn Carr,18"));
    assert!(post(&desk, "/sheets/roster/undo", "").text().contains("24 students"));
    assert_eq!(desk.folder().text("roster.csv").unwrap().text, before);
    assert!(post(&desk, "/sheets/roster/remove", "").text().contains("There is no class list"));
    assert!(post(&desk, "/sheets/roster/undo", "").text().contains("24 students"));
}

#[test]
fn a_list_that_cannot_be_used_is_refused_in_words() {
    let desk = desk();
    let twins = b"name,id\nAda,1\nBen,1\n";
    let seen = post_bytes(&desk, "/sheets/roster/preview", twins).text();
    assert!(seen.contains("Ada and Ben have the same id 1") && !seen.contains("Take this"));
    assert_eq!(post_bytes(&desk, "/sheets/roster/take", twins).status, StatusCode::BAD_REQUEST);
    for (list, words) in [
        (&b"mark\n12\n"[..], "no column is headed"),
        (b"", "empty"),
        (b"\xff\xfe\x00", "empty"),
        (b"name\n", "no student"),
    ] {
        let told = post_bytes(&desk, "/sheets/roster/preview", list);
        assert_eq!(told.status, StatusCode::BAD_REQUEST);
        assert!(told.text().contains(words), "{}", told.text());
    }
    let huge = vec![b'a'; 5 << 20];
    assert_eq!(
        post_bytes(&desk, "/sheets/roster/preview", &huge).status,
        StatusCode::PAYLOAD_TOO_LARGE
    );
    let unprintable =
        post_bytes(&desk, "/sheets/roster/preview", "name\n陳大文\n".as_bytes()).text();
    assert!(unprintable.contains("letters that cannot be printed"));
}

#[test]
fn script_in_any_field_is_shown_as_text() {
    let desk = desk();
    let odd = "</textarea></select><script>alert(1)</script>\"'";
    for at in ["title", "course", "instructions"] {
        done(&desk, set(at, &[odd]));
    }
    for page in
        ["/sheets", "/sheets?file=test-1.toml", "/sheets/pages?file=test-1.toml&large=false"]
    {
        let text = answer(&desk, get(page)).text();
        assert!(text.contains("&lt;script&gt;alert(1)"), "{page}");
        assert!(!text.contains("<script>alert"), "{page}");
    }
    for at in ["convention", "paper", "scaffold", "heart.condition", "heart.rhythm"] {
        done(&desk, set(at, &[odd]));
        let text = answer(&desk, get("/sheets?file=test-1.toml")).text();
        assert!(!text.contains("<script>alert"), "{at}");
    }
}

#[test]
fn other_files_are_out_of_reach() {
    let desk = desk();
    for file in ["../secret.toml", "course.toml", "roster.csv", "sheets/x.toml", "", "nowhere.toml"]
    {
        for path in ["/sheets", "/sheets/state", "/sheets/prints"] {
            let told = answer(&desk, get(&crate::web::query::address(path, &[("file", file)])));
            assert_ne!(told.status, StatusCode::OK, "{path} {file}");
        }
        let form = format!("file={file}");
        assert_ne!(post(&desk, "/sheets/print", &form).status, StatusCode::OK, "{file}");
        assert_ne!(post(&desk, "/sheets/remove", &form).status, StatusCode::SEE_OTHER, "{file}");
    }
}

#[test]
fn a_new_test_is_spelled_as_the_course_and_an_old_one_as_it_is() {
    let desk = desk();
    let set_course = "title=A&who=&spelling=EKG";
    assert_eq!(post(&desk, "/course/settings", set_course).status, StatusCode::OK);
    post(&desk, "/sheets/new", "title=New&convention=left_heart");
    post(&desk, "/heart/sheet?condition=rest", "title=Heart&convention=left_heart");
    for file in ["new.toml", "heart.toml"] {
        let text = desk.folder().text(file).unwrap().text;
        assert!(text.contains("\nspelling = \"EKG\"\n"), "{text}");
    }
    let pages = |file: &str| answer(&desk, get(&format!("/sheets/pages?file={file}"))).text();
    let choice = |file: &str| {
        let page = answer(&desk, get(&format!("/sheets?file={file}"))).text();
        let select = page.split_once("data-at=\"spelling\"").unwrap().1;
        let select = select.split_once("</select>").unwrap().0;
        assert!(select.contains(">ECG<") && select.contains(">EKG<"), "{select}");
        select.split_once("\" selected").unwrap().0.rsplit_once('"').unwrap().1.to_owned()
    };
    let [new, old] = ["new.toml", FILE].map(pages);
    assert!(new.contains(">EKG<") && !new.contains("ECG"));
    assert!(old.contains(">ECG<") && !old.contains(">EKG<"), "paper is as the test says");
    assert_eq!((choice("new.toml").as_str(), choice(FILE).as_str()), ("EKG", "ECG"));
    done(&desk, set("spelling", &["EKG"]));
    assert!(desk.folder().text(FILE).unwrap().text.contains("\nspelling = \"EKG\"\n"));
    assert!(pages(FILE).contains(">EKG<"));
}
