//! The app as a program: asked over its port, attacked, and killed.

use std::fs;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::Duration;

use cycle::Random;

/// The program serving a course, until this is dropped.
struct App {
    program: Child,
    host: String,
}

struct Answer {
    status: u16,
    body: String,
}

impl App {
    fn start(course: &Path) -> Self {
        let mut program = Command::new(env!("CARGO_BIN_EXE_incisura"))
            .args(["open", "--no-browser", "--port", "0"])
            .arg(course)
            .env("INCISURA_COURSES", course.with_file_name("courses"))
            .stdout(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut said = String::new();
        let output = program.stdout.take().expect("its output is piped");
        BufReader::new(output).read_line(&mut said).expect("it says its address");
        let address =
            said.split_whitespace().find(|word| word.starts_with("http://")).expect("an address");
        let host = address.trim_start_matches("http://").trim_end_matches('/').to_owned();
        Self { program, host }
    }

    /// Sends a request as it is written; nothing if the program is gone.
    fn send(&self, head: &str, body: &[u8]) -> Option<Answer> {
        let mut stream = TcpStream::connect(&self.host).ok()?;
        stream.set_read_timeout(Some(Duration::from_secs(60))).ok()?;
        let length = body.len();
        let head = format!("{head}\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n");
        stream.write_all(head.as_bytes()).ok()?;
        // Who refuses a long body closes before all of it is sent.
        let _ = stream.write_all(body);
        let mut bytes = Vec::new();
        let _ = stream.read_to_end(&mut bytes);
        let text = String::from_utf8_lossy(&bytes);
        let (head, body) = text.split_once("\r\n\r\n")?;
        let status = head.split(' ').nth(1)?.parse().ok()?;
        Some(Answer { status, body: body.to_owned() })
    }

    fn get(&self, path: &str) -> Answer {
        let host = &self.host;
        self.send(&format!("GET {path} HTTP/1.1\r\nHost: {host}"), b"").expect("an answer")
    }

    fn post(&self, path: &str, form: &str) -> Option<Answer> {
        let host = &self.host;
        let head = format!(
            "POST {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Type: application/x-www-form-urlencoded"
        );
        self.send(&head, form.as_bytes())
    }

    fn kill(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

impl Drop for App {
    fn drop(&mut self) {
        self.kill();
    }
}

/// An empty folder of a test's own.
fn fresh(name: &str) -> PathBuf {
    let folder =
        std::env::temp_dir().join(format!("incisura-app-test-{name}-{}", std::process::id()));
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder can be made");
    folder
}

#[test]
fn paths_that_lead_out_find_nothing() {
    let root = fresh("paths");
    fs::write(root.join("secret.toml"), "title = \"secret\"").unwrap();
    let app = App::start(&root.join("course"));
    for path in [
        "/../secret.toml",
        "/../../../../etc/passwd",
        "/..%2fsecret.toml",
        "/%2e%2e/secret.toml",
        "/jobs/..%2f..%2fsecret.toml",
        "//etc/passwd",
        "/heart/../../secret.toml",
    ] {
        let answer = app.get(path);
        assert!((400..500).contains(&answer.status), "{path}: {}", answer.status);
        assert!(!answer.body.contains("secret\"") && !answer.body.contains("root:"), "{path}");
    }
}

#[test]
fn what_is_not_http_or_too_long_does_not_stop_it() {
    let root = fresh("odd");
    let app = App::start(&root.join("course"));
    for odd in [
        &b"\x16\x03\x01\x02\x00"[..],
        b"GET\r\n\r\n",
        b"\0\0\0\0\r\n\r\n",
        b"POST / HTTP/9.9\r\n\r\n",
    ] {
        let mut stream = TcpStream::connect(&app.host).unwrap();
        stream.write_all(odd).unwrap();
    }
    let long = "title=".to_owned() + &"x".repeat(3 << 20);
    let refused = app.post("/course/settings", &long);
    assert!(refused.is_none_or(|answer| answer.status == 413));
    assert_eq!(app.get("/").status, 200);
}

#[test]
fn killed_while_settings_change_it_has_what_was_confirmed() {
    let root = fresh("settings");
    let course = root.join("course");
    let mut random = Random::new(7);
    let mut confirmed = None;
    let mut number = 0;
    for _ in 0..20 {
        let mut app = App::start(&course);
        if let Some(title) = &confirmed {
            let page = app.get("/").body;
            let next = format!("Course {number}");
            assert!(page.contains(title) || page.contains(&next), "{title} is lost");
            // What was under way may have been kept, too; then that is what counts.
            if page.contains(&next) {
                confirmed = Some(next);
            }
        }
        let life = Duration::from_micros(random.below(40_000) as u64);
        let mut program =
            std::mem::replace(&mut app.program, Command::new("true").spawn().unwrap());
        let killer = thread::spawn(move || {
            thread::sleep(life);
            let _ = program.kill();
            let _ = program.wait();
        });
        loop {
            number += 1;
            let title = format!("Course {number}");
            match app.post("/course/settings", &format!("title=Course+{number}&who=&spelling=ECG"))
            {
                Some(answer) if answer.status == 200 => confirmed = Some(title),
                _ => break,
            }
        }
        killer.join().unwrap();
    }
    assert!(confirmed.is_some());
    let _ = fs::remove_dir_all(root);
}
