//! The room of practice asked without a port.

use axum::http::StatusCode;
use serde_json::{Value, json};

use crate::web::tests::{answer, desk, get, post, post_text};

fn ask(what: &str, request: &Value) -> (StatusCode, String) {
    let answered = post_text(&desk(), &format!("/practice/core/{what}"), &request.to_string());
    (answered.status, answered.text())
}

fn about(file: &str) -> Value {
    json!({ "definition": { "file": file }, "level": 3, "seed": 5 })
}

#[test]
fn the_page_names_its_tests_and_brings_its_modules() {
    let desk = desk();
    let quiz = "title = \"Quiz\"\nconvention = \"first_course\"\n";
    desk.folder().save("quiz.toml", quiz, None).unwrap();
    let page = answer(&desk, get("/practice?test=quiz.toml&level=2&seed=3"));
    assert_eq!(page.status, StatusCode::OK);
    let text = page.text();
    assert!(text.contains("value=\"quiz.toml\" selected"), "the named test is not chosen");
    assert!(text.contains("\"file\":\"quiz.toml\"") && text.contains("incisura open --classroom"));
    for module in [
        "page", "core", "drawing", "stage", "pen", "points", "findings", "build", "quiz",
        "progress", "source", "report",
    ] {
        let script = answer(&desk, get(&format!("/practice/{module}.js")));
        assert_eq!(script.status, StatusCode::OK, "{module}");
        assert!(script.text().starts_with("// @ts-check"), "{module}");
    }
    assert_eq!(answer(&desk, get("/practice/practice.css")).status, StatusCode::OK);
}

#[test]
fn what_is_drawn_on_is_spelled_as_the_course_says() {
    let desk = desk();
    let task = |desk| post_text(desk, "/practice/core/task", &about("test-1.toml").to_string());
    let usual = task(&desk).text();
    assert!(usual.contains("ECG") && !usual.contains("EKG"));
    let settings = "title=A&who=&spelling=EKG";
    assert_eq!(post(&desk, "/course/settings", settings).status, StatusCode::OK);
    assert_eq!(task(&desk).text(), usual.replace("ECG", "EKG"));
}

#[test]
fn a_test_that_is_not_there_is_another_one_and_none_is_told() {
    let desk = desk();
    let page = answer(&desk, get("/practice?test=../../etc/passwd")).text();
    assert!(page.contains("\"file\":\"test-1.toml\"") && !page.contains("passwd"));
    for test in desk.folder().tests() {
        std::fs::remove_file(desk.folder().root().join(test.file)).unwrap();
    }
    let page = answer(&desk, get("/practice")).text();
    assert!(page.contains("no test in this course") && !page.contains("page.js"));
}

#[test]
fn a_task_is_drawn_judged_and_asked_about() {
    let (status, task) = ask("task", &about("test-1.toml"));
    assert_eq!(status, StatusCode::OK, "{task}");
    let task: Value = serde_json::from_str(&task).unwrap();
    assert_eq!(task["panels"][0]["channel"], "ecg");
    let (_, key) = ask("key", &about("test-1.toml"));
    let key: Value = serde_json::from_str(&key).unwrap();
    let mut request = about("test-1.toml");
    request["drawing"] = key;
    let (status, verdict) = ask("judge", &request);
    assert_eq!(status, StatusCode::OK, "{verdict}");
    let verdict: Value = serde_json::from_str(&verdict).unwrap();
    assert_eq!(verdict["all_met"], true);
    let desk = desk();
    let sound = post_text(&desk, "/practice/core/sound", &about("test-1.toml").to_string());
    assert_eq!(sound.header("content-type"), "audio/wav");
    assert!(sound.body.starts_with(b"RIFF"));
}

#[test]
fn only_tests_of_the_course_are_read() {
    for file in
        ["../secret.toml", "/etc/passwd", "course.toml", "rules.toml", "roster.csv", "", "a\u{0}b"]
    {
        let (status, words) = ask("task", &about(file));
        assert_eq!(status, StatusCode::BAD_REQUEST, "{file}");
        assert!(words.contains("no test of this name"), "{file}: {words}");
    }
    let (status, _) = ask("task", &json!({ "definition": { "test": "title = \"x\"" } }));
    assert_eq!(status, StatusCode::BAD_REQUEST);
}

#[test]
fn markup_in_a_title_stays_text() {
    let desk = desk();
    let test = "title = \"</script><script>alert(1)</script>\"\nconvention = \"first_course\"\n";
    desk.folder().save("evil.toml", test, None).unwrap();
    desk.folder().save("<b>.toml", test, None).unwrap();
    for name in ["evil.toml", "%3Cb%3E.toml"] {
        let page = answer(&desk, get(&format!("/practice?test={name}"))).text();
        assert!(!page.contains("<script>alert") && !page.contains("<b>"), "{name}");
    }
}

#[test]
fn a_test_with_a_fault_is_told_with_its_line() {
    let desk = desk();
    desk.folder()
        .save("broken.toml", "title = \"B\"\nconvention = \"frist_course\"\n", None)
        .unwrap();
    let told = post_text(&desk, "/practice/core/task", &about("broken.toml").to_string());
    assert_eq!(told.status, StatusCode::BAD_REQUEST);
    assert!(told.text().contains("first_course"), "{}", told.text());
}

#[test]
fn the_page_for_home_is_a_file_or_it_is_said_why_there_is_none() {
    let desk = desk();
    let room = answer(&desk, get("/practice?test=test-1.toml")).text();
    let page = answer(&desk, get("/practice/page?test=test-1.toml"));
    let package = answer(&desk, get("/practice/page?test=test-1.toml&package=scorm-1.2"));
    if crate::practice_page::can_be_made() {
        assert!(room.contains("href=\"/practice/page?test=test-1.toml\""));
        assert_eq!(page.header("content-disposition"), "attachment; filename=\"test-1.html\"");
        assert!(page.text().contains("practice-core"));
        assert_eq!(
            package.header("content-disposition"),
            "attachment; filename=\"test-1-scorm-1.2.zip\""
        );
        assert!(package.body.starts_with(b"PK"));
    } else {
        assert!(room.contains("cargo xtask run") && !room.contains("/practice/page?"));
        for refused in [page, package] {
            assert_eq!(refused.status, StatusCode::BAD_REQUEST);
            assert!(refused.text().contains("without the practice core"));
        }
    }
}

#[test]
fn pages_for_home_are_made_of_tests_of_the_course_alone() {
    let desk = desk();
    for file in ["..%2Fsecret.toml", "course.toml", "roster.csv", "", "%2Fetc%2Fpasswd"] {
        let refused = answer(&desk, get(&format!("/practice/page?test={file}")));
        assert_eq!(refused.status, StatusCode::BAD_REQUEST, "{file}");
        assert!(refused.text().contains("no test of this name"), "{file}");
    }
    let refused = answer(&desk, get("/practice/page?test=test-1.toml&package=..%2Fx"));
    assert_eq!(refused.status, StatusCode::BAD_REQUEST);
    assert!(refused.text().contains("scorm-2004"), "{}", refused.text());
    assert!(!desk.folder().root().join("practice").exists(), "a key was made for nothing");
}

#[test]
fn what_a_code_says_is_told_as_text() {
    let desk = desk();
    let path = desk.folder().path("test-1.toml").unwrap();
    let place = path.with_file_name("practice");
    std::fs::create_dir_all(&place).unwrap();
    std::fs::write(place.join("test-1.key"), "key\n").unwrap();
    let page = answer(&desk, get("/practice?test=test-1.toml&code=%3Cscript%3Ealert(1)")).text();
    assert!(!page.contains("<script>alert"));
    if crate::practice_page::can_be_made() {
        assert!(page.contains("this is no result code"));
    }
}
