//! The app asked without a port.

use std::sync::atomic::{AtomicU32, Ordering};

use axum::body::Body;
use axum::http::{Request, StatusCode};
use http_body_util::BodyExt as _;
use tower::ServiceExt as _;

use super::app;
use super::desk::Desk;
use super::folder::Folder;
use super::rooms::heart::view::View;

pub(crate) struct Answer {
    pub(crate) status: StatusCode,
    pub(crate) headers: axum::http::HeaderMap,
    pub(crate) body: Vec<u8>,
}

impl Answer {
    pub(crate) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub(crate) fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }
}

/// A course folder of its own, with the invented course's texts in it.
pub(crate) fn desk() -> Desk {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let number = COUNT.fetch_add(1, Ordering::Relaxed);
    let root = std::env::temp_dir().join(format!("incisura-app-{}-{number}", std::process::id()));
    let _ = std::fs::remove_dir_all(&root);
    let folder = Folder::new(&root.join("course")).unwrap();
    crate::demo_command::write_texts(folder.root()).unwrap();
    Desk::new(folder, root)
}

fn ask_as(host: &str, path: &str) -> Answer {
    let request = Request::get(path).header("host", host).body(Body::empty()).unwrap();
    answer(&desk(), request)
}

/// Posts a form as the app's own page does.
pub(crate) fn post(desk: &Desk, path: &str, form: &str) -> Answer {
    post_as(desk, path, "application/x-www-form-urlencoded", form.as_bytes())
}

/// Posts what a page's module sends.
pub(crate) fn post_json(desk: &Desk, path: &str, value: &serde_json::Value) -> Answer {
    post_as(desk, path, "application/json", value.to_string().as_bytes())
}

/// Posts a file.
pub(crate) fn post_bytes(desk: &Desk, path: &str, bytes: &[u8]) -> Answer {
    post_as(desk, path, "application/octet-stream", bytes)
}

fn post_as(desk: &Desk, path: &str, kind: &str, bytes: &[u8]) -> Answer {
    let request = Request::post(path)
        .header("host", "127.0.0.1:4179")
        .header("origin", "http://127.0.0.1:4179")
        .header("content-type", kind)
        .body(Body::from(bytes.to_owned()))
        .unwrap();
    answer(desk, request)
}

/// Posts a text as the app's own page does.
pub(crate) fn post_text(desk: &Desk, path: &str, text: &str) -> Answer {
    let request = Request::post(path)
        .header("host", "127.0.0.1:4179")
        .header("origin", "http://127.0.0.1:4179")
        .body(Body::from(text.to_owned()))
        .unwrap();
    answer(desk, request)
}

pub(crate) fn answer(desk: &Desk, request: Request<Body>) -> Answer {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(async {
        let (parts, body) = app(desk.clone()).oneshot(request).await.unwrap().into_parts();
        let body = body.collect().await.unwrap().to_bytes().to_vec();
        Answer { status: parts.status, headers: parts.headers, body }
    })
}

pub(crate) fn ask(path: &str) -> Answer {
    ask_as("127.0.0.1:4179", path)
}

pub(crate) fn pairs(query: &str) -> Vec<(String, String)> {
    let pair = |pair: &str| pair.split_once('=').map(|(a, b)| (a.to_owned(), b.to_owned()));
    query.split('&').filter_map(pair).collect()
}

#[test]
fn the_page_has_the_figure_and_its_words() {
    let page = ask("/heart");
    assert_eq!(page.status, StatusCode::OK);
    let text = page.text();
    for part in [
        "<svg",
        "role=\"img\"",
        "<desc",
        "The figure in words",
        "Not a medical device",
        "Stroke volume",
    ] {
        assert!(text.contains(part), "{part} is missing");
    }
}

#[test]
fn the_figure_is_well_formed_svg_and_stands_alone() {
    let svg = ask("/heart/figure.svg?condition=aortic_stenosis&rate_bpm=60");
    assert_eq!(svg.header("content-type"), "image/svg+xml");
    let text = svg.text();
    let document = roxmltree::Document::parse(&text).unwrap();
    assert_eq!(document.root_element().tag_name().name(), "svg");
    assert!(text.contains("@font-face"));
}

#[test]
fn a_value_out_of_range_is_refused_in_words_with_its_control() {
    let answer = ask("/heart/view?rate_bpm=900");
    assert_eq!(answer.status, StatusCode::BAD_REQUEST);
    assert_eq!(answer.header("x-control"), "rate_bpm");
    assert!(answer.text().contains("to 200"), "{}", answer.text());
    let page = ask("/heart?rate_bpm=900");
    assert_eq!(page.status, StatusCode::BAD_REQUEST);
    assert!(page.text().contains("to 200"));
}

#[test]
fn what_is_not_known_is_refused_in_words() {
    for (path, words) in [
        ("/heart/view?condition=aortic_stenosys", "aortic_stenosis"),
        ("/heart/view?rhythm=sinos", "sinus"),
        ("/heart/view?rate_bmp=60", "rate_bpm"),
        ("/heart/view?rate_bpm=fast", "not a number"),
        ("/heart/view?panel=", "at least one panel"),
        ("/heart/view?panel=spleen", "known are ecg"),
        ("/heart/view?beats=0", "from 1 to"),
        ("/heart/view?scale=huge", "print or projector"),
    ] {
        let answer = ask(path);
        assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{path}");
        assert!(answer.text().contains(words), "{path}: {}", answer.text());
    }
}

#[test]
fn markup_in_an_address_stays_text() {
    let page = ask("/heart?condition=%3Cscript%3E");
    assert!(page.text().contains("&lt;script&gt;") && !page.text().contains("“<script>"));
}

#[test]
fn another_host_name_is_turned_away() {
    for host in ["example.com", "127.0.0.1.example.com:4179", "example.com:4179", ""] {
        assert_eq!(ask_as(host, "/").status, StatusCode::FORBIDDEN, "{host}");
    }
    for host in ["localhost:4179", "127.0.0.1", "[::1]:4179"] {
        assert_eq!(ask_as(host, "/app.css").status, StatusCode::OK, "{host}");
    }
}

#[test]
fn every_answer_forbids_what_is_not_its_own() {
    for path in ["/", "/heart", "/heart.js", "/nowhere", "/heart/view?rate_bpm=900"] {
        let policy = ask(path).header("content-security-policy").to_owned();
        assert!(
            policy.contains("default-src 'none'") && policy.contains("script-src 'self'"),
            "{path}"
        );
        // A stricter one would take the origin from forms that are posted.
        assert_eq!(ask(path).header("referrer-policy"), "same-origin");
    }
}

#[test]
fn every_file_offered_begins_as_its_kind_does() {
    for (path, magic) in [
        ("/heart/figure.png", &b"\x89PNG"[..]),
        ("/heart/figure.pdf", b"%PDF-"),
        ("/heart/sounds.wav", b"RIFF"),
        ("/heart/cycle.json", b"{\"period_s\""),
        ("/heart/traces.csv", b"# period_s="),
        ("/heart/marks.csv", b"kind,name"),
    ] {
        let answer = ask(path);
        assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.text());
        assert!(answer.body.starts_with(magic), "{path}");
        assert!(answer.header("content-disposition").contains("rest."), "{path}");
    }
}

#[test]
fn an_address_reads_back_to_the_same_view() {
    for query in [
        "condition=rest",
        "condition=mitral_stenosis&rhythm=atrial_fibrillation&rate_bpm=90.5&beats=3",
        "condition=rest&scale=projector&panel=ecg&panel=wrist&show=&show=grid&show=loop",
        "condition=rest&show=",
    ] {
        let view = View::read(&pairs(query)).unwrap();
        assert_eq!(view.query(), query);
    }
}

#[test]
fn a_long_rhythm_shows_more_than_one_beat() {
    let text = ask("/heart/cycle.json?condition=premature_ventricular_beats").text();
    let cycle = cycle::Cycle::from_json(&text).unwrap();
    assert!(cycle.times_of("r_peak").len() > 1);
}

#[test]
fn only_own_pages_change_anything() {
    let desk = desk();
    let form = "title=New&who=R.+Amsel&spelling=EKG";
    for origin in [
        None,
        Some("http://example.com"),
        Some("null"),
        Some("https://127.0.0.1:4179"),
        Some("http://127.0.0.1:80"),
    ] {
        let mut request = Request::post("/course/settings")
            .header("host", "127.0.0.1:4179")
            .header("content-type", "application/x-www-form-urlencoded");
        if let Some(origin) = origin {
            request = request.header("origin", origin);
        }
        let request = request.body(Body::from(form)).unwrap();
        assert_eq!(answer(&desk, request).status, StatusCode::FORBIDDEN, "{origin:?}");
    }
    assert_ne!(desk.folder().settings().title, "New");
    assert_eq!(post(&desk, "/course/settings", form).status, StatusCode::OK);
    assert_eq!(desk.folder().settings().title, "New");
    let page = answer(&desk, get("/heart")).text();
    assert!(page.contains("EKG") && !page.contains(">ECG<"));
    assert_eq!(post(&desk, "/course/undo", "").status, StatusCode::SEE_OTHER);
    assert_ne!(desk.folder().settings().title, "New");
}

#[test]
fn script_in_a_name_is_shown_as_text() {
    let desk = desk();
    let form = "title=%3Cscript%3Ealert(1)%3C/script%3E&who=%22%3E%3Cimg+src=x%3E&spelling=ECG";
    assert_eq!(post(&desk, "/course/settings", form).status, StatusCode::OK);
    let page = answer(&desk, get("/")).text();
    assert!(page.contains("&lt;script&gt;alert(1)") && !page.contains("<script>alert"));
    assert!(!page.contains("<img src=x"));
}

#[test]
fn a_new_course_is_opened_and_the_other_can_be_opened_again() {
    let desk = desk();
    let before = desk.folder().root().to_owned();
    let made = post(&desk, "/course/new", "course=Physiology+II");
    assert_eq!(made.status, StatusCode::SEE_OTHER, "{}", made.text());
    assert_eq!(desk.folder().settings().title, "Physiology II");
    assert_ne!(desk.folder().root(), before);
    assert_eq!(post(&desk, "/course/new", "course=Physiology+II").status, StatusCode::BAD_REQUEST);
    for name in ["..", "../course", "nowhere", "%2Fetc"] {
        let refused = post(&desk, "/course/open", &format!("course={name}"));
        assert_eq!(refused.status, StatusCode::BAD_REQUEST, "{name}");
    }
    assert_eq!(post(&desk, "/course/open", "course=course").status, StatusCode::SEE_OTHER);
    assert_eq!(desk.folder().root(), before);
}

pub(crate) fn get(path: &str) -> Request<Body> {
    Request::get(path).header("host", "127.0.0.1:4179").body(Body::empty()).unwrap()
}

#[test]
fn settings_that_were_saved_elsewhere_meanwhile_are_not_written_over() {
    let desk = desk();
    let seen = || {
        let page = answer(&desk, get("/")).text();
        let both: Vec<&str> = page.split("name=\"seen\" value=\"").skip(1).collect();
        assert_eq!(both.len(), 2);
        both[0].split_once('"').unwrap().0.to_owned()
    };
    let first = seen();
    let set = |title: &str, seen: &str| {
        post(&desk, "/course/settings", &format!("title={title}&who=&spelling=ECG&seen={seen}"))
    };
    let saved = set("One", &first);
    assert_eq!(saved.status, StatusCode::OK, "{}", saved.text());
    let second: String = serde_json::from_slice(&saved.body).unwrap();
    assert_eq!(second, seen());
    // The other window still shows what was.
    let refused = set("Two", &first);
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.text().contains("reload the page"), "{}", refused.text());
    let undo = |seen: &str| post(&desk, "/course/undo", &format!("seen={seen}")).status;
    assert_eq!(undo(&first), StatusCode::CONFLICT);
    assert_eq!(desk.folder().settings().title, "One");
    assert_eq!(set("Two", &second).status, StatusCode::OK);
    assert_eq!(undo(&seen()), StatusCode::SEE_OTHER);
    assert_eq!(desk.folder().settings().title, "One");
}

/// Sends a form as a browser does where no module takes it.
pub(crate) fn post_plainly(desk: &Desk, path: &str, form: &str, from: &str) -> Answer {
    let mut request = Request::post(path)
        .header("host", "127.0.0.1:4179")
        .header("origin", "http://127.0.0.1:4179")
        .header("content-type", "application/x-www-form-urlencoded")
        .header("sec-fetch-mode", "navigate");
    if !from.is_empty() {
        request = request.header("referer", from);
    }
    answer(desk, request.body(Body::from(form.to_owned())).unwrap())
}

#[test]
fn a_form_that_is_sent_before_its_module_is_there_leads_back() {
    let desk = desk();
    let here = "http://127.0.0.1:4179";
    let form = "title=New&who=&spelling=ECG";
    for (from, to) in [
        (format!("{here}/?a=1"), "/?a=1"),
        (String::new(), "/"),
        (here.to_owned(), "/"),
        (format!("{here}//example.com/"), "/"),
        ("nonsense".to_owned(), "/"),
    ] {
        let told = post_plainly(&desk, "/course/settings", form, &from);
        assert_eq!((told.status, told.header("location")), (StatusCode::SEE_OTHER, to), "{from}");
    }
    // A module gets what it asked for, and a refusal is a page with its words.
    assert_eq!(post(&desk, "/course/settings", form).status, StatusCode::OK);
    let old = format!("{form}&seen=0");
    let told = post_plainly(&desk, "/course/settings", &old, &format!("{here}/"));
    assert_eq!(told.status, StatusCode::CONFLICT);
    assert!(told.text().contains("<h1") && told.text().contains("reload the page"));
}

#[test]
fn both_spellings_can_be_chosen_whichever_is_chosen() {
    let desk = desk();
    let choice = || {
        let page = answer(&desk, get("/")).text();
        let select = page.split_once("id=\"spelling\"").unwrap().1;
        select.split_once("</select>").unwrap().0.to_owned()
    };
    assert!(choice().contains(">ECG<") && choice().contains(">EKG<"));
    let set = "title=A&who=&spelling=EKG";
    assert_eq!(post(&desk, "/course/settings", set).status, StatusCode::OK);
    assert!(choice().contains(">ECG<") && choice().contains(">EKG<"));
}
