//! The classroom asked without a port.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::extract::ConnectInfo;
use axum::http::{Request, StatusCode};
use http_body_util::BodyExt as _;
use tower::ServiceExt as _;

use super::door::Door;
use super::{Ends, Invitation, router};
use crate::web::tests::desk;

const HOST: &str = "192.168.7.20:4180";
const CODE: &str = "AB3DEF";

struct Told {
    status: StatusCode,
    headers: axum::http::HeaderMap,
    text: String,
}

struct Student {
    router: Router,
    peer: SocketAddr,
    host: String,
    cookie: String,
}

impl Student {
    fn new() -> Self {
        Self::of(router(desk(), Arc::new(Door::new(CODE))))
    }

    fn of(router: Router) -> Self {
        let peer = "192.168.7.31:50000".parse().unwrap();
        Self { router, peer, host: HOST.to_owned(), cookie: String::new() }
    }

    fn joined() -> Self {
        let mut student = Self::new();
        let told = student.post("/join", &format!("code={CODE}"));
        assert_eq!(told.status, StatusCode::SEE_OTHER, "{}", told.text);
        let cookie = told.headers["set-cookie"].to_str().unwrap();
        assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
        student.cookie = cookie.split(';').next().unwrap().to_owned();
        student
    }

    fn get(&self, path: &str) -> Told {
        self.send(Request::get(path), String::new())
    }

    fn post(&self, path: &str, body: &str) -> Told {
        let request = Request::post(path)
            .header("origin", format!("http://{}", self.host))
            .header("content-type", "application/x-www-form-urlencoded");
        self.send(request, body.to_owned())
    }

    fn send(&self, request: axum::http::request::Builder, body: String) -> Told {
        let ends = Ends { peer: self.peer, own: HOST.parse().unwrap() };
        let request = request
            .header("host", &self.host)
            .header("cookie", &self.cookie)
            .extension(ConnectInfo(ends))
            .body(Body::from(body))
            .unwrap();
        let runtime = tokio::runtime::Runtime::new().unwrap();
        runtime.block_on(async {
            let (parts, body) = self.router.clone().oneshot(request).await.unwrap().into_parts();
            let body = body.collect().await.unwrap().to_bytes();
            let text = String::from_utf8_lossy(&body).into_owned();
            Told { status: parts.status, headers: parts.headers, text }
        })
    }
}

const ABOUT: &str = "{\"definition\":{\"file\":\"test-1.toml\"},\"level\":3,\"seed\":5}";

#[test]
fn whoever_has_the_code_can_practise() {
    let student = Student::joined();
    let page = student.get("/practice");
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.text.contains("practice-data") && !page.text.contains("masthead"));
    let task = student.post("/practice/core/task", ABOUT);
    assert_eq!(task.status, StatusCode::OK, "{}", task.text);
    assert_eq!(student.get("/").headers["location"], "/practice");
    for header in ["content-security-policy", "x-content-type-options", "referrer-policy"] {
        assert!(page.headers.contains_key(header), "{header}");
    }
}

#[test]
fn whoever_has_not_joined_gets_the_entrance_alone() {
    let mut student = Student::new();
    assert!(student.get("/").text.contains("Type the code"));
    for cookie in ["", "practice=", "practice=0123456789abcdef0123456789abcdef", "other=1"] {
        student.cookie = cookie.to_owned();
        assert_eq!(student.get("/practice").status, StatusCode::SEE_OTHER, "{cookie}");
        let refused = student.post("/practice/core/task", ABOUT);
        assert_eq!(refused.status, StatusCode::FORBIDDEN, "{cookie}");
    }
}

#[test]
fn nothing_of_the_course_can_be_reached() {
    let student = Student::joined();
    for path in [
        "/heart",
        "/heart/view",
        "/heart/cycle.json",
        "/board",
        "/conventions",
        "/sheets",
        "/marking",
        "/class",
        "/recordings",
        "/jobs/demo",
        "/course.js",
        "/heart.js",
        "/shell.js",
        "/roster.csv",
        "/course.toml",
        "/practice/../roster.csv",
        "/marks/marks.sqlite",
        "/practice/core",
    ] {
        let told = student.get(path);
        assert_eq!(told.status, StatusCode::NOT_FOUND, "{path}: {}", told.text);
    }
    for path in ["/course/settings", "/course/open", "/course/new", "/heart", "/practice"] {
        let told = student.post(path, "title=x&who=x&spelling=ECG&course=x");
        let refused = [StatusCode::NOT_FOUND, StatusCode::METHOD_NOT_ALLOWED];
        assert!(refused.contains(&told.status), "{path}: {}", told.status);
    }
    for file in ["roster.csv", "course.toml", "../course.toml", "marks/marks.sqlite"] {
        let about = ABOUT.replace("test-1.toml", file);
        let told = student.post("/practice/core/task", &about);
        assert_eq!(told.status, StatusCode::BAD_REQUEST, "{file}");
        assert!(told.text.contains("ask your instructor"), "{file}: {}", told.text);
    }
}

#[test]
fn what_is_wrong_with_a_file_is_not_told_to_students() {
    let desk = desk();
    let secret = "title = \"S\"\nconvention = \"first_course\"\nwho_knows = \"Ada Example\"\n";
    desk.folder().save("secret.toml", secret, None).unwrap();
    let mut student = Student::of(router(desk, Arc::new(Door::new(CODE))));
    let told = student.post("/join", &format!("code={CODE}"));
    student.cookie =
        told.headers["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_owned();
    let told = student.post("/practice/core/task", &ABOUT.replace("test-1", "secret"));
    assert_eq!(told.status, StatusCode::BAD_REQUEST);
    assert!(
        !told.text.contains("Ada") && told.text.contains("ask your instructor"),
        "{}",
        told.text
    );
}

#[test]
fn a_wrong_code_is_refused_and_guessing_is_slowed_down() {
    let student = Student::new();
    let mut statuses = Vec::new();
    for guess in 0..12 {
        let told = student.post("/join", &format!("code=XXXX{guess:02}"));
        assert!(!told.headers.contains_key("set-cookie"));
        statuses.push(told.status);
    }
    assert_eq!(statuses[0], StatusCode::FORBIDDEN);
    assert_eq!(statuses[11], StatusCode::TOO_MANY_REQUESTS);
    let told = student.post("/join", &format!("code={CODE}"));
    assert_eq!(told.status, StatusCode::TOO_MANY_REQUESTS);
    assert!(told.headers.contains_key("retry-after"));
}

#[test]
fn other_hosts_and_other_sites_are_turned_away() {
    let mut student = Student::joined();
    let ask = Request::post("/practice/core/task").header("origin", "http://example.com");
    assert_eq!(student.send(ask, ABOUT.to_owned()).status, StatusCode::FORBIDDEN);
    assert_eq!(student.send(Request::post("/join"), String::new()).status, StatusCode::FORBIDDEN);
    for host in [
        "example.com",
        "192.168.7.20.example.com:4180",
        "127.0.0.1:4180",
        "localhost",
        "192.168.7.21",
        "",
        "0.0.0.0",
    ] {
        student.host = host.to_owned();
        assert_eq!(student.get("/practice").status, StatusCode::FORBIDDEN, "{host}");
        assert_eq!(student.get("/").status, StatusCode::FORBIDDEN, "{host}");
    }
}

#[test]
fn too_large_a_drawing_is_refused() {
    let student = Student::joined();
    let told = student.post("/practice/core/judge", &"x".repeat(super::LARGEST + 1));
    assert_eq!(told.status, StatusCode::PAYLOAD_TOO_LARGE);
}

#[test]
fn a_code_in_an_address_is_only_typed_ahead() {
    let student = Student::new();
    let page = student.get("/?code=%22%3E%3Cscript%3E");
    assert!(!page.headers.contains_key("set-cookie"));
    assert!(page.text.contains("&lt;script&gt;") && !page.text.contains("\"><script>"));
}

#[test]
fn an_invitation_names_an_address_and_a_new_code() {
    let [one, other] = [(), ()].map(|()| Invitation::new(4180).unwrap());
    assert!(one.address().starts_with("http://") && one.address().ends_with(":4180/"));
    assert_eq!(one.code().len(), 6);
    assert_ne!(one.code(), other.code());
    assert!(one.qr().into_string().contains("<path"));
}
