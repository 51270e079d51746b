//! Marking, asked without a port, on what a small class drew.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};
use std::thread;
use std::time::Duration;

use axum::body::Body;
use axum::http::{Request, StatusCode};
use serde_json::Value;

use super::job;
use super::scans::take;
use crate::mark::review::GreyPicture;
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::jobs::JobState;
use crate::web::tests::{Answer, answer, desk, get, post, post_plainly};

const TEST: &str = "test-1.toml";
/// A rule held to less.
const TIGHTER: &str = "id = \"notch_with_s2\"\ntolerance_mm = 1.0\n";
/// One of the names is not what names usually are.
const ROSTER: &str = "name,id\nAmara Oyelaran,a1\n<script>alert(1)</script>,b2\n\
    Carmen Iturbe,c3\nDaan Vos,d4\nEdda Faber,e5\nFemi Adeyemi,f6\n";

fn fresh(name: &str) -> PathBuf {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let number = COUNT.fetch_add(1, Ordering::Relaxed);
    let root =
        std::env::temp_dir().join(format!("incisura-{name}-{}-{number}", std::process::id()));
    let _ = fs::remove_dir_all(&root);
    fs::create_dir_all(&root).unwrap();
    root
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let other = to.join(path.file_name().unwrap());
        if path.is_dir() {
            copy(&path, &other);
        } else {
            fs::copy(&path, &other).unwrap();
        }
    }
}

pub(crate) fn at(folder: &Path) -> Desk {
    Desk::new(Folder::new(folder).unwrap(), folder.parent().unwrap().to_owned())
}

/// A course with scans, which nobody has read yet.
fn drawn() -> &'static Path {
    static COURSE: OnceLock<PathBuf> = OnceLock::new();
    COURSE.get_or_init(|| {
        let folder = fresh("drawn").join("course");
        fs::create_dir_all(&folder).unwrap();
        crate::demo_command::write_texts(&folder).unwrap();
        fs::write(folder.join("roster.csv"), ROSTER).unwrap();
        crate::demo_command::write_rest(&folder).unwrap();
        folder
    })
}

/// The same, read and marked.
fn marked_once() -> &'static Path {
    static COURSE: OnceLock<PathBuf> = OnceLock::new();
    COURSE.get_or_init(|| {
        let folder = fresh("marked").join("course");
        copy(drawn(), &folder);
        mark(&at(&folder));
        folder
    })
}

/// A copy of the marked course for one test.
pub(crate) fn marked() -> Desk {
    let folder = fresh("own").join("course");
    copy(marked_once(), &folder);
    let desk = at(&folder);
    assert_eq!(post(&desk, "/marking/who", "who=R.+Amsel").status, StatusCode::OK);
    desk
}

fn mark(desk: &Desk) -> String {
    let begun = post(desk, "/marking/mark", &format!("test={TEST}"));
    assert_eq!(begun.status, StatusCode::OK, "{}", begun.text());
    assert_eq!(begun.text(), job::name(&desk.folder(), TEST));
    loop {
        let progress = desk.jobs().progress(&begun.text()).unwrap();
        match progress.state {
            JobState::Running => thread::sleep(Duration::from_millis(50)),
            JobState::Done => return progress.said,
            JobState::Failed => panic!("{}", progress.said),
        }
    }
}

pub(crate) fn page(desk: &Desk, path: &str) -> String {
    let answer = answer(desk, get(path));
    assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.text());
    answer.text()
}

fn put(desk: &Desk, name: &str, body: Vec<u8>) -> Answer {
    let request = Request::put(super::address("/marking/scans", &[("name", name)]))
        .header("host", "127.0.0.1:4179")
        .header("origin", "http://127.0.0.1:4179")
        .body(Body::from(body))
        .unwrap();
    answer(desk, request)
}

/// Everything in `scans/`, hidden files too.
fn in_scans(desk: &Desk) -> Vec<String> {
    let entries = fs::read_dir(desk.folder().root().join("scans"));
    let name = |entry: fs::DirEntry| entry.file_name().to_string_lossy().into_owned();
    let mut names: Vec<String> = entries.into_iter().flatten().flatten().map(name).collect();
    names.sort();
    names
}

fn scan(name: &str) -> Vec<u8> {
    fs::read(drawn().join("scans").join(name)).unwrap()
}

/// What the page of the review has in its block of data.
fn told(desk: &Desk) -> Value {
    let text = page(desk, &format!("/marking/review?test={TEST}"));
    let data = text.split_once("type=\"application/json\">").unwrap().1;
    serde_json::from_str(data.split_once("</script>").unwrap().0).unwrap()
}

fn decide(desk: &Desk, question: &Value, decision: &str, why: &str) -> Answer {
    let (print, rule) = (question["print"].as_str().unwrap(), question["rule"].as_str().unwrap());
    let form = super::address(
        "",
        &[
            ("test", TEST),
            ("print", print),
            ("sheet", &question["sheet"].to_string()),
            ("rule", rule),
            ("decision", decision),
            ("why", why),
            ("at_print", print),
            ("at_sheet", &question["sheet"].to_string()),
            ("at_rule", rule),
        ],
    );
    post(desk, "/marking/decide", &form[1..])
}

#[test]
fn scans_are_taken_in_once_each_under_names_that_stay_inside() {
    let desk = desk();
    let (one, other) = (scan("photo-01.jpg"), scan("photo-02.jpg"));
    for (name, bytes, kept, known) in [
        ("a.jpg", &one, "a.jpg", false),
        ("a.jpg", &one, "a.jpg", true),
        ("b.jpg", &one, "a.jpg", true),
        ("../../a.jpg", &other, "a-2.jpg", false),
    ] {
        let taken = put(&desk, name, bytes.clone());
        assert_eq!(taken.status, StatusCode::OK, "{name}: {}", taken.text());
        let taken: Value = serde_json::from_slice(&taken.body).unwrap();
        assert_eq!((&taken["name"], &taken["known"]), (&kept.into(), &known.into()), "{name}");
        assert_eq!(taken["pages"], 1);
    }
    assert_eq!(in_scans(&desk), ["a-2.jpg", "a.jpg"]);
    assert_eq!(fs::read(desk.folder().root().join("scans/a-2.jpg")).unwrap(), other);
    let said = put(&desk, "<img src=x onerror=alert(1)>.pdf", scan("copier-1.pdf"));
    assert_eq!(said.status, StatusCode::OK, "{}", said.text());
    let listed = page(&desk, &format!("/marking?test={TEST}"));
    assert!(listed.contains("_img src_x onerror_alert_1__.pdf") && !listed.contains("<img src"));
    // Only the app's own pages may send.
    let foreign = Request::put("/marking/scans?name=x.jpg")
        .header("host", "127.0.0.1:4179")
        .header("origin", "http://example.com")
        .body(Body::from(one))
        .unwrap();
    assert_eq!(answer(&desk, foreign).status, StatusCode::FORBIDDEN);
}

#[test]
fn what_is_no_scan_is_refused_in_words_and_leaves_nothing() {
    let desk = desk();
    for (name, body, words) in [
        ("empty.pdf", &b""[..], "the file is empty"),
        ("notes.pdf", b"Remember: room 4 at ten.", "neither a PDF nor"),
        ("cut.pdf", b"%PDF-1.7\n1 0 obj", "was not taken in"),
        ("run.sh", b"#!/bin/sh", "does not end in"),
        ("scan", b"x", "does not end in"),
        ("..", b"x", "does not end in"),
    ] {
        let refused = put(&desk, name, body.to_vec());
        assert_eq!(refused.status, StatusCode::BAD_REQUEST, "{name}");
        assert!(refused.text().contains(words), "{name}: {}", refused.text());
    }
    assert!(in_scans(&desk).is_empty(), "{:?}", in_scans(&desk));
}

#[test]
fn what_is_too_large_is_cut_off_and_leaves_nothing() {
    let desk = desk();
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let body = Body::from(scan("photo-01.jpg"));
    let taken = runtime.block_on(take(&desk.folder(), "a.jpg", body, 2 << 10));
    let refusal = taken.unwrap_err();
    assert_eq!(refusal.status(), StatusCode::PAYLOAD_TOO_LARGE);
    assert!(refusal.message.contains("larger than"), "{}", refusal.message);
    assert!(in_scans(&desk).is_empty(), "{:?}", in_scans(&desk));
}

#[test]
fn every_page_is_accounted_for_and_names_are_text() {
    let desk = marked();
    let text = page(&desk, &format!("/marking?test={TEST}"));
    assert!(text.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
    assert!(!text.contains("<script>alert"));
    // The stray sheet of another test is told with its reason.
    assert!(text.contains("belongs to another test") && !text.contains("--printed"), "{text}");
    for name in ["Amara Oyelaran", "Carmen Iturbe", "Femi Adeyemi", "Sheet 6", " of 20"] {
        assert!(text.contains(name), "{name}");
    }
    let hidden = page(&desk, &format!("/marking?test={TEST}&names=hidden"));
    assert!(!hidden.contains("Amara Oyelaran") && hidden.contains("Sheet 6"));
    let none = page(&desk, &format!("/marking?test={TEST}&status=unreadable"));
    assert!(none.contains("No drawing is of this kind") && !none.contains("Sheet 6"));
    // Points from least to most.
    let sorted = page(&desk, &format!("/marking?test={TEST}&sort=points"));
    let points: Vec<f64> = sorted
        .split("</td>")
        .filter_map(|part| part.rsplit_once('>')?.1.split_once(" of ")?.0.parse().ok())
        .collect();
    assert_eq!(points.len(), 6);
    assert!(points.is_sorted(), "{points:?}");
}

#[test]
fn a_test_with_a_fault_leads_to_where_it_is_mended() {
    let desk = crate::web::tests::desk();
    let text = "title = \"Odd\"\nconvention = \"first_course\"\nbeats = \"many\"\n";
    desk.folder().save("odd.toml", text, None).unwrap();
    let faulty = answer(&desk, get("/marking?test=odd.toml"));
    assert_eq!(faulty.status, StatusCode::BAD_REQUEST);
    let mend = "href=\"/sheets?file=odd.toml\"";
    assert!(faulty.text().contains(mend), "{}", faulty.text());
    assert_eq!(answer(&desk, get("/sheets?file=odd.toml")).status, StatusCode::OK);
    let unknown = answer(&desk, get("/marking?test=nothing.toml")).text();
    assert!(unknown.contains("<a class=\"button\" href=\"/sheets\">"), "{unknown}");
}

#[test]
fn a_test_that_is_none_is_refused() {
    let desk = marked();
    for test in ["..%2Ftest-1.toml", "%2Fetc%2Fpasswd", "course.toml", "nothing.toml", "scans"] {
        for path in ["/marking", "/marking/review", "/marking/changes", "/class"] {
            let refused = answer(&desk, get(&format!("{path}?test={test}")));
            assert_eq!(refused.status, StatusCode::BAD_REQUEST, "{path} {test}");
        }
        let begun = post(&desk, "/marking/mark", &format!("test={test}"));
        assert_eq!(begun.status, StatusCode::BAD_REQUEST, "{test}");
    }
    for name in ["..%2Fmarks.sqlite", "marks.sqlite", "review.csv"] {
        let path = format!("/marking/file?test={TEST}&name={name}");
        assert_eq!(answer(&desk, get(&path)).status, StatusCode::NOT_FOUND, "{name}");
    }
}

#[test]
fn answers_count_at_once_are_undone_and_the_review_goes_on_where_it_stopped() {
    let desk = marked();
    let before = told(&desk);
    let questions = before["questions"].as_array().unwrap().clone();
    assert!(questions.len() > 10, "{}", questions.len());
    assert_eq!(before["at"], 0);
    let rules = before["rules"].as_array().unwrap();
    assert!(rules.iter().any(|rule| rule["label"] == true));
    let names = serde_json::to_string(&before).unwrap();
    assert!(!names.contains("Amara") && !names.contains("alert"), "names are hidden");

    let (first, third) = (&questions[0], &questions[2]);
    let kept = decide(&desk, first, "met", "");
    assert_eq!(kept.status, StatusCode::OK, "{}", kept.text());
    let kept: Value = serde_json::from_slice(&kept.body).unwrap();
    assert_eq!(kept["decided"], "met");
    assert_eq!(decide(&desk, third, "half", "nearly").status, StatusCode::OK);

    // Another program's desk on the same folder finds everything.
    let again = at(desk.folder().root());
    let after = told(&again);
    assert_eq!(after["at"], 2, "where it stopped");
    assert_eq!(after["questions"].as_array().unwrap().len(), questions.len());
    assert_eq!(after["questions"][0]["decided"], "met");
    assert_eq!(after["questions"][1]["decided"], Value::Null);
    assert_eq!(after["questions"][2]["decided"], "half");

    let back = post(&again, "/marking/undo", &format!("test={TEST}"));
    let back: Value = serde_json::from_slice(&back.body).unwrap();
    assert_eq!((&back["sheet"], &back["rule"]), (&third["sheet"], &third["rule"]));
    assert_eq!(back["decided"], Value::Null);
    // Deciding anew and taking that back lets the earlier decision count again.
    decide(&again, first, "not met", "");
    let back = post(&again, "/marking/undo", &format!("test={TEST}"));
    let back: Value = serde_json::from_slice(&back.body).unwrap();
    assert_eq!(back["decided"], "met");
    assert_eq!(told(&again)["questions"][0]["decided"], "met");
    // The desk that was open all the while sees it, too.
    assert_eq!(told(&desk)["questions"][2]["decided"], Value::Null);
    post(&again, "/marking/undo", &format!("test={TEST}"));
    let nothing = post(&again, "/marking/undo", &format!("test={TEST}"));
    assert_eq!(nothing.status, StatusCode::BAD_REQUEST);
}

#[test]
fn decisions_are_kept_with_who_when_and_why_and_change_the_points() {
    let desk = marked();
    let question = told(&desk)["questions"][0].clone();
    let sheet = question["sheet"].to_string();
    let address = format!("/marking/sheet?test={TEST}&sheet={sheet}");
    let grades = |desk: &Desk| {
        let text = page(desk, &format!("/marking/file?test={TEST}&name=gradebook.csv"));
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.unwrap()).collect();
        let row = rows.iter().find(|row| row[2] == *sheet).unwrap();
        (row[4].parse::<f64>().unwrap(), row[5].parse::<f64>().unwrap())
    };
    let before = grades(&desk);
    for (decision, why, words) in [
        ("maybe", "", "is no decision"),
        ("waive", "", "needs a reason"),
        ("worth 3", " ", "needs a reason"),
        ("99", "", "more than"),
        ("-1", "", "is no decision"),
    ] {
        let refused = decide(&desk, &question, decision, why);
        assert_eq!(refused.status, StatusCode::BAD_REQUEST, "{decision}");
        assert!(refused.text().contains(words), "{decision}: {}", refused.text());
    }
    let mut elsewhere = question.clone();
    elsewhere["rule"] = "no_such_rule".into();
    assert_eq!(decide(&desk, &elsewhere, "met", "").status, StatusCode::BAD_REQUEST);
    assert_eq!(grades(&desk), before);

    let most = question["most"].as_f64().unwrap();
    assert_eq!(decide(&desk, &question, "met", "<b>it touches</b>").status, StatusCode::OK);
    assert_eq!(grades(&desk), (before.0 + most, before.1));
    let text = page(&desk, &address);
    assert!(text.contains("R. Amsel") && text.contains("&lt;b&gt;it touches&lt;/b&gt;"));
    assert_eq!(decide(&desk, &question, "waive", "was ill").status, StatusCode::OK);
    assert_eq!(grades(&desk), (before.0, before.1 - most));
    // Waived, it can still be given points.
    assert_eq!(decide(&desk, &question, "worth 1", "half the task").status, StatusCode::OK);
    let text = page(&desk, &address);
    let id = text.split("name=\"decision\" value=\"").nth(1).unwrap();
    let id = id.split_once('"').unwrap().0;
    let print = question["print"].as_str().unwrap();
    let form = format!("test={TEST}&print={print}&sheet={sheet}&decision={id}");
    assert_eq!(post(&desk, "/marking/takeback", &form).status, StatusCode::OK);
    assert_eq!(grades(&desk), (before.0, before.1 - most));
    assert_eq!(post(&desk, "/marking/takeback", &form).status, StatusCode::BAD_REQUEST);
    assert!(page(&desk, &address).contains("taken back"));
}

#[test]
fn nobody_decides_without_a_name() {
    let folder = fresh("nameless").join("course");
    copy(marked_once(), &folder);
    let desk = at(&folder);
    let text = page(&desk, &format!("/marking/review?test={TEST}"));
    assert!(text.contains("Your name") && !text.contains("application/json"));
    assert_eq!(post(&desk, "/marking/who", "who=+").status, StatusCode::BAD_REQUEST);
    assert_eq!(post(&desk, "/marking/who", "who=%3Cb%3E").status, StatusCode::OK);
    assert_eq!(desk.folder().settings().who, "<b>");
    assert!(!told(&desk)["questions"].as_array().unwrap().is_empty());
}

#[test]
fn a_drawing_is_explained_to_the_millimetre_and_names_can_be_hidden() {
    let desk = marked();
    let text = page(&desk, &format!("/marking/sheet?test={TEST}&sheet=1"));
    for part in [
        "Amara Oyelaran",
        "<svg",
        "Measured",
        " mm",
        "beat 1 of 2",
        "Tolerated",
        "S1 begins on the line",
    ] {
        assert!(text.contains(part), "{part}");
    }
    let results = page(&desk, &format!("/marking/file?test={TEST}&name=results.json"));
    let results: Value = serde_json::from_str(&results).unwrap();
    let drawing = &results["drawings"][0];
    for rule in drawing["rules"].as_array().unwrap() {
        if let Some(mm) = rule["measured_mm"].as_f64() {
            // What is told to a thousandth is shown to a hundredth.
            let said = [-0.0005, 0.0005]
                .map(|off| format!("{} mm", crate::web::words::marking::number(mm + off)));
            assert!(said.iter().any(|said| text.contains(said)), "{said:?} of {}", rule["id"]);
        }
    }
    let hidden = page(&desk, &format!("/marking/sheet?test={TEST}&sheet=1&names=hidden"));
    assert!(!hidden.contains("Amara Oyelaran"));
    let refused = answer(&desk, get(&format!("/marking/sheet?test={TEST}&sheet=77")));
    assert_eq!(refused.status, StatusCode::BAD_REQUEST);

    let picture = |names: &str| {
        let path = format!("/marking/page.png?test={TEST}&sheet=1&page=1&names={names}");
        let png = answer(&desk, get(&path)).body;
        GreyPicture::of_png(&png).unwrap()
    };
    let (open, hidden) = (picture(""), picture("hidden"));
    assert_eq!((open.width, open.height), (hidden.width, hidden.height));
    // The name stands in the upper fifth of the page.
    let head = |picture: &GreyPicture| {
        let rows = picture.height / 8;
        picture.level[..rows * picture.width].iter().filter(|level| **level < 128).count()
    };
    assert!(head(&open) > 1000);
    assert_eq!(head(&hidden), 0);
    let middle = open.height / 2 * open.width;
    assert_eq!(open.level[middle..], hidden.level[middle..]);
}

#[test]
fn whose_a_sheet_is_can_be_said() {
    let desk = marked();
    let print = told(&desk)["questions"][0]["print"].as_str().unwrap().to_owned();
    let give = |student: &str| {
        let form = format!("test={TEST}&print={print}&sheet=1&student={student}");
        post(&desk, "/marking/student", &form).status
    };
    assert_eq!(give("zz"), StatusCode::BAD_REQUEST);
    assert_eq!(give("c3"), StatusCode::OK);
    let text = page(&desk, &format!("/marking/sheet?test={TEST}&sheet=1"));
    assert!(text.contains("<h1>Carmen Iturbe</h1>"));
    assert_eq!(give(""), StatusCode::OK);
    let text = page(&desk, &format!("/marking/sheet?test={TEST}&sheet=1"));
    assert!(text.contains("<h1>Sheet 1</h1>"));
}

/// A sheet's first page is scanned twice; who decides which scan counts sees the marks of that one.
#[test]
fn which_scan_counts_is_chosen_and_one_is_set_aside_and_brought_back() {
    let desk = marked();
    let folder = desk.folder();
    let address = format!("/marking/sheet?test={TEST}&sheet=1");
    let kept = answer(&desk, get(&format!("/marking/page.png?test={TEST}&sheet=1&page=1"))).body;
    assert_eq!(put(&desk, "again.png", kept).status, StatusCode::OK);
    mark(&desk);
    // Which file's page the marks that count are of, and which pages count, are duplicates or aside.
    let stands = || {
        let course = super::work::database(&folder).unwrap();
        let test = course.tests().unwrap().remove(0).id;
        let pages = course.sheet_pages(&test).unwrap();
        let page = pages.iter().find(|page| page.sheet == 1);
        let verdicts = course.verdicts(course.marking(&test).unwrap().unwrap().id).unwrap();
        let sheet = verdicts.into_iter().find(|verdicts| verdicts.sheet == 1);
        let of = |(name, json): (String, course::Json)| (name == "@pages").then_some(json);
        let marked = sheet.and_then(|sheet| sheet.verdicts.into_iter().find_map(of));
        if let (Some(page), Some(marked)) = (page, &marked) {
            let [(hash, _)] = marked.to::<[(String, u32); 1]>().unwrap();
            assert_eq!(hash, page.counts.input.hash, "what counts is what was marked");
        }
        assert_eq!(page.is_some(), marked.is_some());
        let aside = course.aside_pages(&test).unwrap();
        (
            page.map(|page| page.counts.id.0),
            page.map_or(0, |page| page.others.len()),
            aside.into_iter().map(|one| one.page.id.0).collect::<Vec<_>>(),
        )
    };
    let decide = |pages: &str, decision: &str, why: &str| {
        let form = [("test", TEST), ("pages", pages), ("what", decision), ("why", why)];
        post(&desk, "/marking/scan", &super::address("", &form)[1..])
    };
    let (first, text) = (stands().0.unwrap(), page(&desk, &address));
    assert_eq!(stands(), (Some(first), 1, vec![]));
    let again = text.split("name=\"pages\" value=\"").nth(2).unwrap();
    let again: i64 = again.split_once('"').unwrap().0.parse().unwrap();
    let (one, other) = (first.to_string(), again.to_string());
    assert_ne!(one, other, "{text}");
    for id in [&one, &other] {
        let path = format!("/marking/page.png?test={TEST}&sheet=1&capture={id}&names=hidden");
        let shown = GreyPicture::of_png(&answer(&desk, get(&path)).body);
        let GreyPicture { width, height, level } = shown.unwrap();
        let [head, rest] = [0..height / 8, height / 8..height].map(|rows| {
            let rows = &level[rows.start * width..rows.end * width];
            rows.iter().filter(|level| **level < 128).count()
        });
        assert!(head == 0 && rest > 1000, "{id}: {head} {rest}");
    }

    let done = |told: Answer| assert_eq!(told.status, StatusCode::OK, "{}", told.text());
    done(decide(&other, "counts", ""));
    assert_eq!(stands(), (Some(again), 1, vec![]));
    let text = page(&desk, &address);
    assert!(text.contains("again.png, page 1: counts") && text.contains("the better scan"));

    done(decide(&other, "aside", "<i>not ours</i>"));
    assert_eq!(stands(), (Some(first), 0, vec![again]));
    for path in [&address, &format!("/marking?test={TEST}")] {
        let text = page(&desk, path);
        assert!(text.contains("set aside by R. Amsel: &lt;i&gt;not ours&lt;/i&gt;"), "{text}");
    }
    assert!(page(&desk, &format!("/marking?test={TEST}")).contains("1 set aside"));
    let results = page(&desk, &format!("/marking/file?test={TEST}&name=results.json"));
    assert!(results.contains("\"status\":\"aside\""));
    assert_eq!(decide(&other, "aside", "").status, StatusCode::BAD_REQUEST);
    assert_eq!(decide(&one, "back", "").status, StatusCode::NOT_FOUND);

    // Without any page there is nothing to mark; the sheet can still be looked at.
    done(decide(&one, "aside", ""));
    assert_eq!(stands(), (None, 0, vec![first, again]));
    assert!(page(&desk, &format!("/marking?test={TEST}")).contains("sheet=1\""));
    assert!(page(&desk, &address).contains("Bring back"));
    assert!(in_scans(&desk).contains(&"again.png".to_owned()), "nothing is deleted");

    // Brought back, the one that was chosen counts; that is taken back, too.
    done(decide(&format!("{one} {other}"), "back", ""));
    assert_eq!(stands(), (Some(again), 1, vec![]));
    let course = super::work::database(&folder).unwrap();
    let test = course.tests().unwrap().remove(0).id;
    let chosen = course.history(&test, 1).unwrap();
    let chosen = chosen.iter().find(|one| matches!(one.what, course::What::Page(_))).unwrap();
    assert_eq!((chosen.by.who.as_str(), chosen.by.why.as_str()), ("R. Amsel", "the better scan"));
    let form = format!("test={TEST}&print={test}&sheet=1&decision={}", chosen.id.0);
    done(post(&desk, "/marking/takeback", &form));
    assert_eq!(stands(), (Some(first), 1, vec![]));

    // Without script the form leads back to where it was.
    let form = [("test", TEST), ("pages", other.as_str()), ("what", "counts"), ("who", "A. B.")];
    let form = super::address("", &form);
    let from = format!("http://127.0.0.1:4179{address}");
    let told = post_plainly(&desk, "/marking/scan", &form[1..], &from);
    assert_eq!((told.status, told.header("location")), (StatusCode::SEE_OTHER, address.as_str()));
    assert_eq!(stands(), (Some(again), 1, vec![]));
    assert_eq!(folder.settings().who, "A. B.");
    done(decide(&one, "counts", ""));

    for (pages, decision) in
        [("999", "aside"), ("x", "aside"), ("999", "counts"), (one.as_str(), "gone")]
    {
        assert!(decide(pages, decision, "").status.is_client_error(), "{pages} {decision}");
    }
    assert_eq!(stands(), (Some(first), 1, vec![]));
}

#[test]
fn changed_rules_are_shown_before_they_count() {
    let desk = marked();
    let address = format!("/marking?test={TEST}");
    let changed = "The rules were changed since";
    assert!(!page(&desk, &address).contains(changed));
    let folder = desk.folder();
    let rules = folder.text("rules.toml").unwrap().text;
    folder.save("rules.toml", &rules.replacen("points = 2", "points = 3", 1), None).unwrap();
    assert!(page(&desk, &address).contains(changed));
    let reading = |desk: &Desk| {
        let course = super::work::database(&desk.folder()).unwrap();
        let test = course.tests().unwrap().remove(0).id;
        course.sheet_pages(&test).unwrap().into_iter().map(|one| one.counts.id).collect::<Vec<_>>()
    };
    let read = reading(&desk);
    let said = mark(&desk);
    assert!(said.contains("would give 6 sheets other marks"), "{said}");
    assert_eq!(reading(&desk), read, "nothing is read again");
    assert!(page(&desk, &address).contains(" of 20"), "the marks stand");

    let list = page(&desk, &format!("/marking/changes?test={TEST}"));
    assert!(list.contains("Amara Oyelaran") && list.contains(" of 21") && list.contains("s1_on_r"));
    let shown = list.split("name=\"shown\" value=\"").nth(1).unwrap();
    let shown = shown.split_once('"').unwrap().0.to_owned();
    let other = post(&desk, "/marking/accept", &format!("test={TEST}&shown=1"));
    assert_eq!(other.status, StatusCode::CONFLICT);
    let accepted = post(&desk, "/marking/accept", &format!("test={TEST}&shown={shown}"));
    assert_eq!(accepted.status, StatusCode::OK, "{}", accepted.text());
    let text = page(&desk, &address);
    assert!(text.contains(" of 21") && !text.contains(changed));
    let course = super::work::database(&folder).unwrap();
    let test = course.tests().unwrap().remove(0).id;
    assert_eq!(course.marking(&test).unwrap().unwrap().accepted[0].who, "R. Amsel");
}

/// Rules that some sheets meet as before: their marks count by the rules of now already, which must
/// not hide that those of the others wait.
#[test]
fn marks_that_wait_are_told_of_where_only_some_would_change() {
    let desk = marked();
    let (address, changed) = (format!("/marking?test={TEST}"), "The rules were changed since");
    let folder = desk.folder();
    let rules = folder.text("rules.toml").unwrap().text;
    let tighter = rules.replacen("id = \"notch_with_s2\"\n", TIGHTER, 1);
    assert_ne!(tighter, rules);
    folder.save("rules.toml", &tighter, None).unwrap();
    let said = mark(&desk);
    let shown = page(&desk, &format!("/marking/changes?test={TEST}"));
    let count = shown.matches("<th scope=\"row\">").count();
    assert!((1..6).contains(&count), "{count}: {said}");
    assert!(page(&desk, &address).contains(changed));
    // A scan that is set aside, and brought back, leaves the others waiting.
    let text = page(&desk, &format!("/marking/sheet?test={TEST}&sheet=6"));
    let id = text.split("name=\"pages\" value=\"").nth(1).unwrap().split_once('"').unwrap().0;
    let found = |desk: &Desk| {
        let course = super::work::database(&desk.folder()).unwrap();
        let test = course.tests().unwrap().remove(0).id;
        let last = course.markings(&test).unwrap().pop().unwrap();
        (last.accepted.is_empty(), course.verdicts(last.id).unwrap())
    };
    let before = found(&desk);
    assert!(before.0, "it waits");
    for what in ["aside", "back"] {
        let told = post(&desk, "/marking/scan", &format!("test={TEST}&pages={id}&what={what}"));
        assert_eq!(told.status, StatusCode::OK, "{}", told.text());
        let now = found(&desk);
        assert!(now.0, "{what}: it waits no more");
        assert_eq!(now.1.len(), before.1.len() - usize::from(what == "aside"));
        assert!(now.1.iter().all(|sheet| before.1.contains(sheet)), "{what}");
    }
    let shown = page(&desk, &format!("/marking/changes?test={TEST}"));
    let ids = shown.split("name=\"shown\" value=\"").nth(1).unwrap().split_once('"').unwrap().0;
    let accepted = post(&desk, "/marking/accept", &format!("test={TEST}&shown={ids}"));
    assert_eq!(accepted.status, StatusCode::OK, "{}", accepted.text());
    assert!(!page(&desk, &address).contains(changed));
}

#[test]
fn undo_in_the_review_leaves_what_was_decided_elsewhere() {
    let desk = marked();
    let question = told(&desk)["questions"][0].clone();
    assert_eq!(decide(&desk, &question, "met", "").status, StatusCode::OK);
    // A rule that is no question of the review, overruled on the drawing's own page.
    let asked: Vec<Value> = told(&desk)["questions"].as_array().unwrap().clone();
    let sheet = &question["sheet"];
    let rules = ["p_wave", "qrs_complex", "t_wave", "s1_on_r", "rise_after_s1", "top_at_mid_t"];
    let is_asked =
        |rule: &&str| asked.iter().any(|one| one["sheet"] == *sheet && one["rule"] == **rule);
    let other = rules.into_iter().filter(|rule| !is_asked(rule));
    let mut overruled = question.clone();
    let kept = other.map(|rule| {
        overruled["rule"] = rule.into();
        decide(&desk, &overruled, "waive", "was ill").status
    });
    assert!(kept.into_iter().any(|status| status == StatusCode::OK));
    let undo = || post(&desk, "/marking/undo", &format!("test={TEST}"));
    let back: Value = serde_json::from_slice(&undo().body).unwrap();
    assert_eq!((&back["sheet"], &back["rule"]), (sheet, &question["rule"]));
    assert_eq!(undo().status, StatusCode::BAD_REQUEST);
    let text = page(&desk, &format!("/marking/sheet?test={TEST}&sheet={sheet}"));
    assert!(text.contains("was ill") && text.contains(": does not count</td>"), "{text}");
}

/// The order of the panels is the convention's: read by the rules of now, pages would be taken apart
/// in the wrong places.
#[test]
fn sheets_are_read_by_the_rules_that_they_were_printed_by() {
    let folder = fresh("kept").join("course");
    copy(drawn(), &folder);
    let rules = fs::read_to_string(folder.join("rules.toml")).unwrap();
    let (order, other) =
        ("[\"heart_sounds\"], [\"aortic_pressure\"]", "[\"aortic_pressure\"], [\"heart_sounds\"]");
    assert!(rules.contains(order));
    fs::write(folder.join("rules.toml"), rules.replacen(order, other, 1)).unwrap();
    let desk = at(&folder);
    mark(&desk);
    let drawn = |folder: &Path| {
        let course = super::work::database(&at(folder).folder()).unwrap();
        let test = course.tests().unwrap().remove(0);
        let pages = course.sheet_pages(&test.id).unwrap();
        let drawings = pages.iter().map(|page| course.drawing(page.counts.id).unwrap());
        (drawings.collect::<Vec<_>>(), test.conventions)
    };
    assert_eq!(drawn(&folder), drawn(marked_once()));
}

/// A run that was ended after some files goes on with the others, in another program.
#[test]
fn what_was_read_is_not_read_again() {
    let folder = fresh("resumed").join("course");
    copy(drawn(), &folder);
    let later = folder.join("later");
    fs::create_dir_all(&later).unwrap();
    fs::rename(folder.join("scans/copier-2.pdf"), later.join("copier-2.pdf")).unwrap();
    mark(&at(&folder));
    let pages = || {
        let course = super::work::database(&at(&folder).folder()).unwrap();
        let test = course.tests().unwrap().remove(0).id;
        course.sheet_pages(&test).unwrap()
    };
    let before = pages();
    fs::rename(later.join("copier-2.pdf"), folder.join("scans/copier-2.pdf")).unwrap();
    let desk = at(&folder);
    let text = page(&desk, &format!("/marking?test={TEST}"));
    assert!(text.contains("3 pages wait to be read") && text.contains("Go on reading"), "{text}");
    mark(&desk);
    let after = pages();
    assert!(after.len() > before.len());
    assert!(before.iter().all(|page| after.contains(page)));
}

#[test]
fn files_that_are_offered_are_what_they_say_and_kept_in_the_folder() {
    let desk = marked();
    for (name, magic) in [
        ("gradebook.csv", &b"name,id,"[..]),
        ("feedback.pdf", b"%PDF-"),
        ("class.pdf", b"%PDF-"),
        ("results.json", b"{\"test\""),
    ] {
        let answer = answer(&desk, get(&format!("/marking/file?test={TEST}&name={name}")));
        assert_eq!(answer.status, StatusCode::OK, "{name}: {}", answer.text());
        assert!(answer.body.starts_with(magic), "{name}");
        assert!(answer.header("content-disposition").contains(&format!("test-1-{name}")));
        assert_eq!(fs::read(desk.folder().root().join("marks").join(name)).unwrap(), answer.body);
    }
    let empty = crate::web::tests::desk();
    let refused = answer(&empty, get(&format!("/marking/file?test={TEST}&name=gradebook.csv")));
    assert_eq!(refused.status, StatusCode::BAD_REQUEST);
    assert!(!empty.folder().root().join("marks").exists(), "asking makes no database");
}

#[test]
fn marks_are_told_as_the_test_spells() {
    let folder = fresh("spelled").join("course");
    fs::create_dir_all(&folder).unwrap();
    crate::demo_command::write_texts(&folder).unwrap();
    fs::write(folder.join("roster.csv"), ROSTER).unwrap();
    let text = fs::read_to_string(folder.join(TEST)).unwrap();
    let other = text.replacen("forms =", "spelling = \"EKG\"\nforms =", 1);
    assert_ne!(other, text);
    fs::write(folder.join(TEST), other).unwrap();
    crate::demo_command::write_rest(&folder).unwrap();
    let desk = at(&folder);
    mark(&desk);
    let told = |desk: &Desk| {
        let picture = page(desk, &format!("/class/picture.svg?test={TEST}&page=1"));
        let rules = page(desk, &format!("/class/rules.csv?test={TEST}"));
        picture + &rules + &page(desk, &format!("/marking/file?test={TEST}&name=results.json"))
    };
    let (usual, other) = (told(&marked()), told(&desk));
    assert!(usual.contains(">ECG<") && !usual.contains("EKG"));
    assert!(other.contains(">EKG<") && !other.contains("ECG"));
}
