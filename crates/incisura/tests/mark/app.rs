//! The app is killed while it marks and while it keeps decisions: nothing that was confirmed is
//! lost, and it goes on where it was.

use std::fs;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use course::{Course, PageId, What};
use serde_json::Value;

use crate::class::{class, fresh};

/// Longer than any of this takes.
const PATIENCE: Duration = Duration::from_secs(300);

/// The app, open on a course.
struct App {
    process: Child,
    host: String,
}

impl App {
    fn open(course: &Path) -> Self {
        let mut process = Command::new(env!("CARGO_BIN_EXE_incisura"))
            .args(["open", "--no-browser", "--port", "0"])
            .arg(course)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(process.stdout.as_mut().unwrap()).read_line(&mut line).unwrap();
        let host = line.split("http://").nth(1).unwrap().split('/').next().unwrap().to_owned();
        Self { process, host }
    }

    /// As a power cut would.
    fn kill(mut self) {
        self.process.kill().unwrap();
        self.process.wait().unwrap();
    }

    fn ask(&self, method: &str, path: &str, form: &str) -> (u16, String) {
        let mut stream = TcpStream::connect(&self.host).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        let host = &self.host;
        let length = form.len();
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nConnection: close\r\n\
             Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {length}\r\n\r\n{form}"
        )
        .unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).unwrap();
        let answer = String::from_utf8_lossy(&answer).into_owned();
        let status = answer.split(' ').nth(1).unwrap().parse().unwrap();
        (status, answer.split_once("\r\n\r\n").unwrap().1.to_owned())
    }

    /// Begins to read and mark; gives the name of the work.
    fn mark(&self) -> String {
        let (status, job) = self.ask("POST", "/marking/mark", "test=test.toml");
        assert_eq!(status, 200, "{job}");
        // A body of unknown length comes in pieces, each with its length.
        job.lines().find(|line| line.starts_with("marking-")).unwrap().to_owned()
    }

    fn progress(&self, job: &str) -> Value {
        let (_, text) = self.ask("GET", &format!("/jobs/{job}"), "");
        let (from, to) = (text.find('{').unwrap(), text.rfind('}').unwrap());
        serde_json::from_str(&text[from..=to]).unwrap()
    }

    fn wait(&self, job: &str, until: impl Fn(&Value) -> bool) -> Value {
        let begun = Instant::now();
        loop {
            let progress = self.progress(job);
            if until(&progress) {
                return progress;
            }
            assert!(begun.elapsed() < PATIENCE, "{progress}");
            thread::sleep(Duration::from_millis(10));
        }
    }
}

fn pages(course: &Path) -> Vec<PageId> {
    let marks = course.join("marks");
    if !marks.join(course::FILE).exists() {
        return Vec::new();
    }
    let course = Course::open(&marks).unwrap();
    course.check().unwrap();
    let tests = course.tests().unwrap();
    let pages = tests.iter().flat_map(|test| course.sheet_pages(&test.id).unwrap());
    pages.map(|page| page.counts.id).collect()
}

#[test]
fn a_killed_app_keeps_what_it_confirmed_and_goes_on() {
    let folder = fresh("app-killed");
    for name in ["test.toml", "rules.toml", "roster.csv"] {
        fs::copy(class().join(name), folder.join(name)).unwrap();
    }
    for (within, names) in [
        ("scans", &["stack.pdf", "a.jpg", "b.jpg"][..]),
        ("sheets", &["sheets.csv", "geometry.json"][..]),
    ] {
        fs::create_dir_all(folder.join(within)).unwrap();
        for name in names {
            fs::copy(class().join(within).join(name), folder.join(within).join(name)).unwrap();
        }
    }
    // Midway: after the first page, before the last.
    let app = App::open(&folder);
    let job = app.mark();
    app.wait(&job, |progress| progress["done"].as_u64() >= Some(1));
    app.kill();
    let before = pages(&folder);
    assert!(!before.is_empty());

    let app = App::open(&folder);
    let job = app.mark();
    let done = app.wait(&job, |progress| progress["state"] != "running");
    assert_eq!(done["state"], "done", "{done}");
    let after = pages(&folder);
    assert!(before.iter().all(|page| after.contains(page)), "read again: {before:?} {after:?}");
    assert_eq!(after.len(), 4);

    // An answer that was confirmed is there, however the program ends.
    let (status, _) = app.ask("POST", "/marking/who", "who=R.+Amsel");
    assert_eq!(status, 200);
    let course = Course::open(&folder.join("marks")).unwrap();
    let test = course.tests().unwrap().remove(0).id;
    drop(course);
    let decide = |app: &App, decision: &str| {
        let form = format!(
            "test=test.toml&print={test}&sheet=1&rule=label_s1&decision={decision}\
             &at_print={test}&at_sheet=2&at_rule=label_s1"
        );
        app.ask("POST", "/marking/decide", &form).0
    };
    assert_eq!(decide(&app, "met"), 200);
    app.kill();
    let app = App::open(&folder);
    let (status, review) = app.ask("GET", "/marking/review?test=test.toml", "");
    assert_eq!(status, 200);
    assert!(review.contains("\"decided\":\"met\""));
    assert_eq!(decide(&app, "half"), 200);
    app.kill();
    let course = Course::open(&folder.join("marks")).unwrap();
    let decided = course.decisions(&test).unwrap();
    let rules = decided.iter().filter(|one| matches!(one.what, What::Rule { .. }));
    assert_eq!(rules.count(), 1);
    let cursor = course.review_cursor("R. Amsel", &test).unwrap().unwrap();
    assert_eq!((cursor.sheet, cursor.rule.as_str()), (2, "label_s1"));
}

#[test]
fn an_upload_that_breaks_off_leaves_nothing() {
    let folder = fresh("app-broken-upload");
    fs::create_dir_all(folder.join("scans")).unwrap();
    let app = App::open(&folder);
    let scan = fs::read(class().join("scans/a.jpg")).unwrap();
    let send = |length: usize, bytes: &[u8]| {
        let mut stream = TcpStream::connect(&app.host).unwrap();
        let host = &app.host;
        write!(
            stream,
            "PUT /marking/scans?name=a.jpg HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n\
             Connection: close\r\nContent-Length: {length}\r\n\r\n"
        )
        .unwrap();
        stream.write_all(bytes).unwrap();
        stream
    };
    let count = || fs::read_dir(folder.join("scans")).unwrap().count();
    let stream = send(scan.len(), &scan[..scan.len() / 2]);
    let begun = Instant::now();
    while count() == 0 {
        assert!(begun.elapsed() < PATIENCE, "nothing comes in");
        thread::sleep(Duration::from_millis(5));
    }
    drop(stream);
    while count() > 0 {
        assert!(begun.elapsed() < PATIENCE, "half a file stays");
        thread::sleep(Duration::from_millis(5));
    }
    // The whole of it is taken.
    let mut answer = String::new();
    send(scan.len(), &scan).read_to_string(&mut answer).unwrap();
    assert!(answer.contains("\"name\":\"a.jpg\""), "{answer}");
    assert_eq!(fs::read(folder.join("scans/a.jpg")).unwrap(), scan);
    app.kill();
}
