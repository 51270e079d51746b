//! The room asked without a port.

use std::sync::OnceLock;
use std::thread::sleep;
use std::time::Duration;

use axum::body::Body;
use axum::http::{Request, StatusCode};

use crate::web::desk::Desk;
use crate::web::tests::{Answer, answer, desk, get, post};

/// The invented recording.
fn invented() -> &'static str {
    static TEXT: OnceLock<String> = OnceLock::new();
    TEXT.get_or_init(|| crate::demo_recording::csv().unwrap())
}

fn with_recording() -> Desk {
    let desk = desk();
    std::fs::write(desk.folder().root().join("recording.csv"), invented()).unwrap();
    desk
}

fn put(desk: &Desk, name: &str, bytes: &[u8]) -> Answer {
    let request = Request::put(format!("/recordings/file?name={name}"))
        .header("host", "127.0.0.1:4179")
        .header("origin", "http://127.0.0.1:4179")
        .body(Body::from(bytes.to_vec()))
        .unwrap();
    answer(desk, request)
}

/// A page as it is once everything is found.
fn settled(desk: &Desk, query: &str) -> Answer {
    for _ in 0..600 {
        let page = answer(desk, get(&format!("/recordings?{query}")));
        if !page.text().contains("id=\"working\"") {
            return page;
        }
        sleep(Duration::from_millis(100));
    }
    panic!("{query} is never found");
}

/// A pulse-like table of two columns, without times.
fn untimed(header: &str) -> String {
    let beat = |index: usize| {
        let phase = (index % 250) as f64 / 250.0;
        libm::exp(-libm::pow((phase - 0.5) / 0.012, 2.0))
            + 0.25 * libm::exp(-libm::pow((phase - 0.8) / 0.05, 2.0))
    };
    let rows =
        (0..250 * 20).map(|index| format!("{:.4},{:.4}\n", beat(index), 0.1 * beat(index + 60)));
    format!("{header}\n{}", rows.collect::<String>())
}

fn names(desk: &Desk) -> Vec<String> {
    let entries = std::fs::read_dir(desk.folder().root().join("recordings"));
    let entries = entries.into_iter().flatten().flatten();
    let mut names: Vec<String> =
        entries.map(|entry| entry.file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

/// The text between two others.
fn between<'a>(text: &'a str, before: &str, after: &str) -> &'a str {
    let start = text.find(before).unwrap_or_else(|| panic!("no {before}")) + before.len();
    let end = text[start..].find(after).unwrap_or_else(|| panic!("no {after} after {before}"));
    &text[start..start + end]
}

#[test]
fn recordings_are_listed_with_the_caution_and_nothing_else_is() {
    let desk = with_recording();
    std::fs::write(desk.folder().root().join("recording.corrections.csv"), "channel\n1\n2\n")
        .unwrap();
    let page = answer(&desk, get("/recordings")).text();
    assert!(page.contains("Recordings of people are private"));
    assert!(page.contains("/recordings?file=recording.csv"));
    assert!(!page.contains("roster.csv") && !page.contains("corrections.csv"));
}

#[test]
fn hostile_names_are_made_safe_or_refused_and_nothing_half_stays() {
    let desk = desk();
    let table = b"a,b\n1,2\n3,4\n5,6\n";
    for (name, kept) in [
        ("..%2F..%2Fescape.csv", "escape.csv"),
        ("C%3A%5Clab%5Cx.csv", "x.csv"),
        ("%3Cscript%3Ealert(1)%3C%2Fscript%3E.csv", "script_.csv"),
        ("escape.csv", "escape-2.csv"),
        ("escape.txt", "escape-3.txt"),
    ] {
        let answer = put(&desk, name, table);
        assert_eq!(answer.status, StatusCode::OK, "{name}: {}", answer.text());
        assert!(answer.text().contains(&format!("\"recordings/{kept}\"")), "{}", answer.text());
    }
    for name in ["program.exe", ".csv", "", "lab.corrections.csv", "a%00.html", "%2F"] {
        let answer = put(&desk, name, table);
        assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{name}: {}", answer.text());
    }
    assert_eq!(put(&desk, "empty.csv", b"").status, StatusCode::BAD_REQUEST);
    let wanted = ["escape-2.csv", "escape-3.txt", "escape.csv", "script_.csv", "x.csv"];
    assert_eq!(names(&desk), wanted);
    assert!(!desk.folder().root().parent().unwrap().join("escape.csv").exists());
    let foreign = Request::put("/recordings/file?name=y.csv")
        .header("host", "127.0.0.1:4179")
        .header("origin", "http://example.com")
        .body(Body::from("1,2\n"))
        .unwrap();
    assert_eq!(answer(&desk, foreign).status, StatusCode::FORBIDDEN);
}

#[test]
fn a_file_announced_too_large_is_refused_before_it_is_sent() {
    let desk = desk();
    let request = Request::put("/recordings/file?name=day.edf")
        .header("host", "127.0.0.1:4179")
        .header("origin", "http://127.0.0.1:4179")
        .header("content-length", (3_u64 << 30).to_string())
        .body(Body::empty())
        .unwrap();
    let refused = answer(&desk, request);
    assert_eq!(refused.status, StatusCode::BAD_REQUEST);
    assert!(refused.text().contains("2 GB"), "{}", refused.text());
    assert!(names(&desk).is_empty());
}

#[test]
fn a_record_of_several_files_keeps_its_names() {
    let desk = desk();
    let samples: Vec<u8> = (0..2_500_i32)
        .flat_map(|index| (if index % 250 == 100 { 200_i16 } else { 0 }).to_le_bytes())
        .collect();
    let signals = put(&desk, "walk.dat", &samples);
    assert!(signals.text().contains("\"opens\":false"), "{}", signals.text());
    let header = b"walk 1 250 2500\nwalk.dat 16 200/mV 16 0 0 0 0 ECG\n";
    let header = put(&desk, "walk.hea", header);
    assert!(header.text().contains("\"opens\":true"), "{}", header.text());
    assert_eq!(put(&desk, "walk.dat", b"other").status, StatusCode::CONFLICT);
    assert_eq!(put(&desk, "run.csv", b"a,b\n1,2\n3,4\n").status, StatusCode::OK);
    let shared = put(&desk, "run.hea", b"run 1 250 2500\nrun.dat 16 200/mV 16 0 0 0 0 ECG\n");
    assert_eq!(shared.status, StatusCode::CONFLICT);
    assert!(shared.text().contains("“recordings/run.csv”"), "{}", shared.text());
    assert_eq!(names(&desk), ["run.csv", "walk.dat", "walk.hea"]);
    let page = settled(&desk, "file=recordings/walk.hea");
    assert!(page.text().contains("WFDB, 10.0 s"), "{}", page.text());
}

#[test]
fn files_outside_the_course_are_refused() {
    let desk = with_recording();
    std::fs::write(desk.folder().root().parent().unwrap().join("secret.csv"), invented()).unwrap();
    for file in [
        "../secret.csv",
        "%2Fetc%2Fpasswd",
        "recordings/../../secret.csv",
        "nowhere.csv",
        ".hidden.csv",
    ] {
        let page = answer(&desk, get(&format!("/recordings?file={file}")));
        assert_eq!(page.status, StatusCode::BAD_REQUEST, "{file}");
        assert!(!page.text().contains("id=\"strip\""), "{file}");
    }
    let page = answer(&desk, get("/recordings?file=%3Cscript%3Ealert(1)%3C/script%3E.csv")).text();
    assert!(page.contains("&lt;script&gt;") && !page.contains("<script>alert"));
}

#[test]
fn a_table_without_times_asks_for_its_rate() {
    let desk = desk();
    assert_eq!(put(&desk, "lab.csv", untimed("ECG,Pulse").as_bytes()).status, StatusCode::OK);
    let asks = settled(&desk, "file=recordings/lab.csv").text();
    assert!(asks.contains("id=\"rate\"") && asks.contains("How fast was it recorded?"), "{asks}");
    assert!(!asks.contains("--rate"), "no option of the command line");
    let page = settled(&desk, "file=recordings/lab.csv&rate=250").text();
    assert!(page.contains("20.0 s") && page.contains("id=\"strip-drawing\""));
    let refused = answer(&desk, get("/recordings?file=recordings/lab.csv&rate=fast"));
    assert_eq!(refused.status, StatusCode::BAD_REQUEST);
}

#[test]
fn a_bad_file_is_told_with_its_place() {
    let desk = desk();
    put(&desk, "cut.edf", b"0       X");
    let page = settled(&desk, "file=recordings/cut.edf").text();
    assert!(page.contains("This recording cannot be read") && page.contains("cut.edf"), "{page}");
    assert!(!page.contains(&*desk.folder().root().to_string_lossy()), "no path of this computer");
}

#[test]
fn script_in_the_name_of_a_signal_is_shown_as_text() {
    let desk = desk();
    let header = "<script>alert(1)</script> ECG,\"\"\"><img src=x onerror=alert(2)>\"";
    put(&desk, "odd.csv", untimed(header).as_bytes());
    let query = "file=recordings/odd.csv&rate=250&show=1&show=2";
    let page = settled(&desk, query).text();
    assert!(page.contains("&lt;script&gt;alert(1)"), "{page}");
    let strip = answer(&desk, get(&format!("/recordings/strip?{query}"))).text();
    for text in [&page, &strip] {
        assert!(!text.contains("<script>alert") && !text.contains("<img src=x"));
    }
}

#[test]
fn what_was_guessed_is_shown_and_can_be_said_otherwise() {
    let desk = with_recording();
    let page = settled(&desk, "file=recording.csv").text();
    for part in
        ["ECG (as guessed)", "Finger pulse (as guessed)", "placeholder=\"mV\"", "a flat line in 3"]
    {
        assert!(page.contains(part), "{part} is missing");
    }
    assert!(page.contains("pulse arrival time"));
    let other = settled(&desk, "file=recording.csv&s3=none&unit:ECG+II=V").text();
    assert!(!other.contains("pulse arrival time"));
    assert!(other.contains("You said so."));
    assert!(other.contains("(V)"), "the unit on the strip");
    let wrong = answer(&desk, get("/recordings?file=recording.csv&s3=liver"));
    assert_eq!(wrong.status, StatusCode::BAD_REQUEST);
}

/// Some landmark on the strip: its time.
fn time_of(strip: &str, landmark: &str) -> f64 {
    between(strip, &format!("data-landmark=\"{landmark}\" data-time=\""), "\"").parse().unwrap()
}

#[test]
fn a_correction_is_kept_at_once_counts_after_a_restart_and_can_be_undone() {
    let desk = with_recording();
    let query = "file=recording.csv&at=5&span=2";
    settled(&desk, query);
    let table = desk.folder().root().join("recording.corrections.csv");
    let strip = answer(&desk, get(&format!("/recordings/strip?{query}"))).text();
    let at = time_of(&strip, "t_end");
    let measured = |desk: &Desk| {
        let table = answer(desk, get("/recordings/measurements.csv?file=recording.csv")).text();
        table.lines().find(|line| line.starts_with("qt,")).unwrap().to_owned()
    };
    let before = measured(&desk);
    let form = format!(
        "what=move&channel=ecg&landmark=t_end&at={at}&to={}&who=R.+Amsel&why=by+eye",
        at + 0.2
    );
    let moved = post(&desk, &format!("/recordings/correct?{query}"), &form);
    assert_eq!(moved.status, StatusCode::OK, "{}", moved.text());
    assert!((time_of(&moved.text(), "t_end") - at - 0.2).abs() < 1e-3);
    assert!(moved.text().contains("R. Amsel"));
    assert!(std::fs::read_to_string(&table).unwrap().contains("ecg,t_end,"));
    let after = measured(&desk);
    assert_ne!(after, before, "what follows is measured anew");
    assert_eq!(
        std::fs::read_to_string(desk.folder().root().join("recording.csv")).unwrap(),
        invented(),
        "the recording stays as it is"
    );

    let again = Desk::new(desk.folder(), desk.library().to_owned());
    settled(&again, query);
    assert_eq!(measured(&again), after);
    let second = post(
        &again,
        &format!("/recordings/correct?{query}"),
        &format!(
            "what=remove&channel=ecg&landmark=p_peak&at={}&who=R.+Amsel&why=noise",
            time_of(&moved.text(), "p_peak")
        ),
    );
    assert_eq!(second.status, StatusCode::OK, "{}", second.text());

    let undo = |seen: &Answer| {
        let seen = between(&seen.text(), "id=\"seen\" type=\"hidden\" value=\"", "\"").to_owned();
        post(&again, &format!("/recordings/undo?{query}"), &format!("seen={seen}"))
    };
    let kept = std::fs::read_to_string(&table).unwrap();
    let refused = undo(&moved);
    assert_eq!(refused.status, StatusCode::CONFLICT, "another correction was made since");
    assert!(refused.text().contains("changed elsewhere"), "{}", refused.text());
    assert_eq!(std::fs::read_to_string(&table).unwrap(), kept);
    let undone = undo(&second);
    assert_eq!(undone.status, StatusCode::OK, "{}", undone.text());
    assert_eq!(measured(&again), after, "only the last one is undone");
    let undone = undo(&undone);
    assert!((time_of(&undone.text(), "t_end") - at).abs() < 1e-3);
    assert_eq!(measured(&again), before);
    assert_eq!(undo(&undone).status, StatusCode::BAD_REQUEST);
}

#[test]
fn a_false_beat_goes_with_its_r_peak_and_a_missed_one_comes_with_it() {
    let desk = with_recording();
    let query = "file=recording.csv&at=5&span=2";
    let page = settled(&desk, query).text();
    assert!(page.contains("value=\"ecg:r_peak\""), "an R peak can be added");
    let beats = || {
        let table = answer(&desk, get("/recordings/beats.csv?file=recording.csv")).text();
        let starts = |line: &&str| line.contains(",ecg,r_peak,");
        table.lines().filter(starts).map(str::to_owned).collect::<Vec<_>>()
    };
    let correct = |what: &str, at: f64| {
        let who = "who=R.+Amsel&why=by+eye";
        let form = format!("what={what}&channel=ecg&landmark=r_peak&at={at}&to={at}&{who}");
        post(&desk, &format!("/recordings/correct?{query}"), &form)
    };
    let before = beats();
    let strip = answer(&desk, get(&format!("/recordings/strip?{query}"))).text();
    let at = time_of(&strip, "r_peak");
    let twice = correct("add", at + 0.1);
    assert_eq!(twice.status, StatusCode::BAD_REQUEST);
    assert!(twice.text().contains("has one already"), "{}", twice.text());
    assert_eq!(correct("remove", at).status, StatusCode::OK);
    assert_eq!(beats().len(), before.len() - 1);
    let added = correct("add", at + 0.004);
    assert_eq!(added.status, StatusCode::OK, "{}", added.text());
    let after = beats();
    assert_eq!(after.len(), before.len());
    // The interval before the next beat is another, too.
    let fields = |line: &String| {
        let fields = line.split(',').enumerate().filter(|(index, _)| *index != 3);
        fields.map(|(_, field)| field.to_owned()).collect::<Vec<_>>()
    };
    let known: Vec<_> = before.iter().map(fields).collect();
    let other: Vec<_> = after.iter().filter(|line| !known.contains(&fields(line))).collect();
    assert_eq!(other.len(), 1, "all other beats are as they were: {other:?}");
    let again = Desk::new(desk.folder(), desk.library().to_owned());
    settled(&again, query);
    let table = answer(&again, get("/recordings/beats.csv?file=recording.csv")).text();
    assert!(after.iter().all(|line| table.contains(line)), "and so they are after a restart");
}

#[test]
fn a_correction_that_cannot_be_is_refused_in_words_and_changes_nothing() {
    let desk = with_recording();
    let query = "file=recording.csv&at=5&span=2";
    settled(&desk, query);
    let strip = answer(&desk, get(&format!("/recordings/strip?{query}"))).text();
    let at = time_of(&strip, "t_end");
    let who = "who=R.+Amsel&why=by+eye";
    for (form, part) in [
        (format!("what=move&channel=ecg&landmark=t_end&at={at}&to={at}&who=&why=x"), "who made it"),
        (format!("what=move&channel=ecg&landmark=t_end&at={at}&to={at}&who=x&why=+"), "reason"),
        (format!("what=move&channel=ecg&landmark=t_end&at={at}&to=59&{who}"), "too far"),
        (format!("what=move&channel=ecg&landmark=liver&at={at}&to={at}&{who}"), "no such landmark"),
        (format!("what=move&channel=%2Fetc&landmark=t_end&at={at}&to={at}&{who}"), "no channel"),
        (format!("what=add&channel=ecg&landmark=t_end&at={at}&{who}"), "has one already"),
        (format!("what=add&channel=ecg&landmark=t_end&at=NaN&{who}"), "no time"),
    ] {
        let refused = post(&desk, &format!("/recordings/correct?{query}"), &form);
        assert_eq!(refused.status, StatusCode::BAD_REQUEST, "{form}");
        assert!(refused.text().contains(part), "{form}: {}", refused.text());
    }
    assert!(!desk.folder().root().join("recording.corrections.csv").exists());
}

#[test]
fn a_table_with_a_fault_is_told_and_not_written_to() {
    let desk = with_recording();
    let table = "channel,landmark,beat,from_s,to_s,who,when,why\necg,t_end,soon,1,2,R,now,x\n";
    let path = desk.folder().root().join("recording.corrections.csv");
    std::fs::write(&path, table).unwrap();
    let query = "file=recording.csv&at=5&span=2";
    let page = settled(&desk, query).text();
    assert!(page.contains("line 2"), "the line at fault");
    let at = time_of(&page, "t_end");
    let form = format!("what=remove&channel=ecg&landmark=t_end&at={at}&who=R&why=x");
    let refused = post(&desk, &format!("/recordings/correct?{query}"), &form);
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert_eq!(std::fs::read_to_string(path).unwrap(), table);
}

#[test]
fn everything_found_can_be_kept() {
    let desk = with_recording();
    settled(&desk, "file=recording.csv");
    for (file, begins) in [
        ("beats.csv", "beat,"),
        ("beats.json", "{"),
        ("measurements.csv", "id,"),
        ("report.txt", "For teaching"),
        ("average.json", "{"),
        ("average.csv", "# period_s"),
        ("average.svg", "<svg"),
        ("worksheet.pdf", "%PDF"),
        ("worksheet-key.pdf", "%PDF"),
    ] {
        let kept = answer(&desk, get(&format!("/recordings/{file}?file=recording.csv")));
        assert_eq!(kept.status, StatusCode::OK, "{file}: {}", kept.text());
        assert!(kept.body.starts_with(begins.as_bytes()), "{file}");
        assert!(kept.header("content-disposition").contains(&format!("recording-{file}")));
    }
    let visible =
        "/recordings/worksheet.pdf?file=recording.csv&stretch=visible&at=20&span=6&paper=a4";
    assert_eq!(answer(&desk, get(visible)).status, StatusCode::OK);
    let nothing = answer(&desk, get("/recordings/secrets.txt?file=recording.csv"));
    assert_eq!(nothing.status, StatusCode::NOT_FOUND);
}

#[test]
fn another_heart_and_another_convention_can_be_laid_beside() {
    let desk = with_recording();
    let page = settled(&desk, "file=recording.csv").text();
    assert!(
        page.contains("68 beats a minute recorded, 68 computed"),
        "a resting heart at its rate"
    );
    assert!(page.contains("✓ met") && page.contains("not a finding about a person"));
    let ask =
        |rest: &str| answer(&desk, get(&format!("/recordings/results?file=recording.csv&{rest}")));
    let other = ask("condition=tachycardia&convention=measured_physiology");
    assert_eq!(other.status, StatusCode::OK, "{}", other.text());
    assert!(!other.text().contains("68 computed"));
    assert_eq!(ask("condition=unknown").status, StatusCode::BAD_REQUEST);
    assert_eq!(ask("convention=..%2Fsecret.toml").status, StatusCode::BAD_REQUEST);
}
