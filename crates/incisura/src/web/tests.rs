//! The app asked without a port.

use axum::body::Body;
use axum::http::{Request, StatusCode};
use http_body_util::BodyExt as _;
use tower::ServiceExt as _;

use super::app;
use super::view::View;

struct Answer {
    status: StatusCode,
    headers: axum::http::HeaderMap,
    body: Vec<u8>,
}

impl Answer {
    fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }
}

fn ask_as(host: &str, path: &str) -> Answer {
    let request = Request::get(path).header("host", host).body(Body::empty()).unwrap();
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(async {
        let (parts, body) = app().oneshot(request).await.unwrap().into_parts();
        let body = body.collect().await.unwrap().to_bytes().to_vec();
        Answer { status: parts.status, headers: parts.headers, body }
    })
}

fn ask(path: &str) -> Answer {
    ask_as("127.0.0.1:4179", path)
}

fn pairs(query: &str) -> Vec<(String, String)> {
    let pair = |pair: &str| pair.split_once('=').map(|(a, b)| (a.to_owned(), b.to_owned()));
    query.split('&').filter_map(pair).collect()
}

#[test]
fn the_page_has_the_figure_and_its_words() {
    let page = ask("/");
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
    let svg = ask("/figure.svg?condition=aortic_stenosis&rate_bpm=60");
    assert_eq!(svg.header("content-type"), "image/svg+xml");
    let text = svg.text();
    let document = roxmltree::Document::parse(&text).unwrap();
    assert_eq!(document.root_element().tag_name().name(), "svg");
    assert!(text.contains("@font-face"));
}

#[test]
fn a_value_out_of_range_is_refused_in_words_with_its_control() {
    let answer = ask("/view?rate_bpm=900");
    assert_eq!(answer.status, StatusCode::BAD_REQUEST);
    assert_eq!(answer.header("x-control"), "rate_bpm");
    assert!(answer.text().contains("to 200"), "{}", answer.text());
    let page = ask("/?rate_bpm=900");
    assert_eq!(page.status, StatusCode::BAD_REQUEST);
    assert!(page.text().contains("to 200"));
}

#[test]
fn what_is_not_known_is_refused_in_words() {
    for (path, words) in [
        ("/view?condition=aortic_stenosys", "aortic_stenosis"),
        ("/view?rhythm=sinos", "sinus"),
        ("/view?rate_bmp=60", "rate_bpm"),
        ("/view?rate_bpm=fast", "not a number"),
        ("/view?panel=", "at least one panel"),
        ("/view?panel=spleen", "known are ecg"),
        ("/view?beats=0", "from 1 to"),
        ("/view?scale=huge", "print or projector"),
    ] {
        let answer = ask(path);
        assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{path}");
        assert!(answer.text().contains(words), "{path}: {}", answer.text());
    }
}

#[test]
fn markup_in_an_address_stays_text() {
    let page = ask("/?condition=%3Cscript%3E");
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
    for path in ["/", "/app.js", "/nowhere", "/view?rate_bpm=900"] {
        let policy = ask(path).header("content-security-policy").to_owned();
        assert!(
            policy.contains("default-src 'none'") && policy.contains("script-src 'self'"),
            "{path}"
        );
    }
}

#[test]
fn every_file_offered_begins_as_its_kind_does() {
    for (path, magic) in [
        ("/figure.png", &b"\x89PNG"[..]),
        ("/figure.pdf", b"%PDF-"),
        ("/sounds.wav", b"RIFF"),
        ("/cycle.json", b"{\"period_s\""),
        ("/traces.csv", b"# period_s="),
        ("/marks.csv", b"kind,name"),
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
    let text = ask("/cycle.json?condition=premature_ventricular_beats").text();
    let cycle = cycle::Cycle::from_json(&text).unwrap();
    assert!(cycle.times_of("r_peak").len() > 1);
}
