//! `incisura measure`: recordings made here, real ones where they are there, and bad ones.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use cycle::Cycle;
use serde_json::Value;

/// A folder of one test's own, with `lab.csv` in it: the invented recording.
fn lab(test: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("measure {test}"));
    let _ = fs::remove_dir_all(&path);
    fs::create_dir_all(&path).unwrap();
    let made = run(&path, &["demo", "made", "--recording-only"]);
    assert_eq!(made.status.code(), Some(0), "{}", error(&made));
    fs::rename(path.join("made/recording.csv"), path.join("lab.csv")).unwrap();
    path
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    let mut program = Command::new(env!("CARGO_BIN_EXE_incisura"));
    program.args(arguments).current_dir(folder).output().unwrap()
}

fn error(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn measured(folder: &Path, arguments: &[&str]) -> String {
    let output = run(folder, &[&["measure"], arguments].concat());
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {}", error(&output));
    String::from_utf8(output.stdout).unwrap()
}

fn refused(folder: &Path, code: i32, arguments: &[&str]) -> String {
    let output = run(folder, &[&["measure"], arguments].concat());
    assert_eq!(output.status.code(), Some(code), "{arguments:?}: {}", error(&output));
    assert!(output.stdout.is_empty(), "{arguments:?}");
    error(&output)
}

fn json(folder: &Path, arguments: &[&str]) -> Value {
    serde_json::from_str(&measured(folder, &[arguments, &["--json"]].concat())).unwrap()
}

/// A shared recording, or nothing, said so, where they are absent.
#[allow(clippy::print_stdout, reason = "a test says why it is skipped")]
fn shared(name: &str) -> Option<String> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data").join(name);
    if path.exists() {
        return Some(path.to_string_lossy().into_owned());
    }
    println!("skipped: {name} is not in shared/data");
    None
}

fn median(found: &Value, id: &str, channel: &str) -> f64 {
    let all = found["measurements"].as_array().unwrap();
    let one = all.iter().find(|one| one["id"] == id && one["channel"] == channel);
    one.unwrap_or_else(|| panic!("{id} on {channel}"))["values"]["median"].as_f64().unwrap()
}

#[test]
fn the_report_begins_with_the_caution_and_tells_everything() {
    let text = measured(&lab("report"), &["lab.csv", "--convention", "measured_physiology"]);
    let words: Vec<&str> = text.split_whitespace().collect();
    let caution: Vec<&str> = recording::CAUTION.split_whitespace().collect();
    assert_eq!(words[..caution.len()], caution);
    for wanted in [
        "lab.csv: a table (CSV), 60.0 s",
        "taken for ecg, lead II",
        "taken for heart_sounds",
        "taken for finger_pulse",
        "found, by their R peaks",
        "a flat line in ",
        "118 to 212",
        "Rautaharju",
        "verified",
        "Why the finger's pulse is late",
        "beside a computed resting heart at the same rate",
        "held to the convention",
        "says nothing about one person",
    ] {
        assert!(text.contains(wanted), "“{wanted}” is missing in:\n{text}");
    }
}

/// The recording is made of a heart at 68 beats a minute with a PR interval of 152 ms.
#[test]
fn what_is_measured_is_what_was_invented() {
    let found = json(&lab("truth"), &["lab.csv"]);
    assert!((median(&found, "heart_rate", "") - 68.0).abs() < 3.0);
    assert!((median(&found, "pr", "") - 152.0).abs() < 8.0);
    let beats = found["beats"].as_array().unwrap().len();
    assert!((66..=70).contains(&beats), "{beats}");
    // The finger was out of the clip for 3.5 s: three to five beats.
    let flat = |beat: &&Value| beat["quality"]["finger_pulse"]["quality"] == "flat";
    let flat = found["beats"].as_array().unwrap().iter().filter(flat).count();
    assert!((2..=5).contains(&flat), "{flat}");
}

#[test]
fn json_has_the_documented_fields() {
    let found = json(&lab("json"), &["lab.csv", "--convention", "first_course"]);
    let has = |value: &Value, fields: &str| {
        for field in fields.split_whitespace() {
            assert!(value.get(field).is_some(), "{field} is missing in {value:.300}");
        }
    };
    has(
        &found,
        "recording format caution duration_s signals remarks annotations beats average measurements note \
         corrections beside verdicts",
    );
    assert_eq!(found["caution"], recording::CAUTION);
    has(&found["signals"][0], "label unit rate_hz channel lead sure turned warning");
    has(&found["beats"][3], "anchor_s anchor confidence rr_s landmarks quality");
    has(&found["beats"][3]["landmarks"][0], "name channel time_s value confidence by_hand");
    has(&found["beats"][3]["quality"]["ecg"], "quality why");
    has(
        &found["average"],
        "period_s channels landmarks events summary marks used left_out provenance",
    );
    has(&found["measurements"][0], "id channel title unit definition values published");
    has(&found["measurements"][0]["values"], "count median mean sd min max");
    has(&found["measurements"][0]["published"], "low high about source status");
    has(&found["beside"], "aligned_on recorded_bpm computed_bpm rows");
    has(&found["beside"]["rows"][0], "name channel recorded_ms sd_ms computed_ms departs");
    has(&found["verdicts"][0], "rule outcome measured why");
}

#[test]
fn the_average_beat_is_read_back_from_json_and_from_tables() {
    let folder = lab("files");
    let said = measured(&folder, &["lab.csv", "-o", "out"]);
    let read = |name: &str| fs::read_to_string(folder.join("out").join(name)).unwrap();
    let from_json = Cycle::from_json(&read("average.json")).unwrap();
    let from_csv = Cycle::from_csv(&read("average.csv"), &read("average-marks.csv")).unwrap();
    assert_eq!(from_json, from_csv);
    let whole = json(&folder, &["lab.csv"]);
    let inside = Cycle::from_json(&whole["average"].to_string()).unwrap();
    assert_eq!(inside, from_json);
    for channel in ["ecg", "heart_sounds", "finger_pulse"] {
        assert!(from_json.trace(channel).is_some(), "{channel}");
    }
    for name in said.lines().last().unwrap().split([':', ';', ',']).skip(1) {
        assert!(folder.join("out").join(name.trim()).exists(), "{name} is said but not there");
    }
    let spread = Cycle::from_csv(&read("average-spread.csv"), "kind,name,channel,time_s,value\n");
    let spread = spread.unwrap();
    assert_eq!(spread.traces[0].samples.len(), from_json.traces[0].samples.len());
    assert!(read("report.txt").starts_with(&recording::CAUTION[..40]));
    let beats: Value = serde_json::from_str(&read("beats.json")).unwrap();
    let landmarks = |beat: &Value| beat["landmarks"].as_array().unwrap().len();
    let marks: usize = beats["beats"].as_array().unwrap().iter().map(landmarks).sum();
    let table = read("beats.csv");
    let with_landmark = |line: &&str| !line.split(',').nth(5).unwrap().is_empty();
    assert_eq!(table.lines().skip(1).filter(with_landmark).count(), marks);
    let rows = whole["measurements"].as_array().unwrap().len();
    assert_eq!(read("measurements.csv").lines().count(), rows + 1);
}

/// The picture is SVG, with the caution on it; and the average is a cycle for `incisura figure` and
/// for `incisura convention`.
#[test]
fn the_average_beat_is_drawn_and_judged_like_any_cycle() {
    let folder = lab("drawn");
    measured(&folder, &["lab.csv", "-o", "out"]);
    let svg = fs::read_to_string(folder.join("out/average.svg")).unwrap();
    let drawn = roxmltree::Document::parse(&svg).unwrap();
    let words: String = drawn.descendants().filter_map(|node| node.text()).collect();
    assert!(words.contains("not a medical device"), "the caution is not on the picture");
    fs::write(
        folder.join("own.toml"),
        "cycle = \"out/average.json\"\nlines = [\"r_peak\"]\nphases = false\n",
    )
    .unwrap();
    let figure = run(&folder, &["figure", "own.toml", "-o", "own.svg"]);
    assert_eq!(figure.status.code(), Some(0), "{}", error(&figure));
    let judged = run(&folder, &["convention", "first_course", "--judge", "out/average.json"]);
    assert_eq!(judged.status.code(), Some(0), "{}", error(&judged));
    assert!(String::from_utf8_lossy(&judged.stdout).contains("s1_on_r: "));
}

#[test]
fn a_part_is_measured_at_the_recordings_own_times() {
    let folder = lab("part");
    let whole = json(&folder, &["lab.csv"]);
    let part = json(&folder, &["lab.csv", "--from", "10", "--to", "30.5"]);
    let anchors = |found: &Value| -> Vec<f64> {
        let all = found["beats"].as_array().unwrap().iter();
        all.map(|beat| beat["anchor_s"].as_f64().unwrap()).collect()
    };
    let wanted: Vec<f64> =
        anchors(&whole).into_iter().filter(|s| (10.0..30.5).contains(s)).collect();
    let found = anchors(&part);
    assert_eq!(found.len(), wanted.len());
    assert!(found.iter().zip(&wanted).all(|(a, b)| (a - b).abs() < 0.001));
    assert!(refused(&folder, 1, &["lab.csv", "--from", "99"]).contains("lasts 60.0 s"));
    assert!(
        refused(&folder, 1, &["lab.csv", "--from", "9", "--to", "3"]).contains("from 9 s to 3 s")
    );
}

#[test]
fn a_signal_is_what_somebody_says_it_is() {
    let folder = lab("names");
    let channel = |found: &Value, at: usize| found["signals"][at]["channel"].clone();
    let said = json(&folder, &["lab.csv", "--pressure", "finger pulse=aortic_pressure"]);
    assert_eq!(channel(&said, 2), "aortic_pressure");
    let said = json(&folder, &["lab.csv", "--ecg", "none", "--sounds", "none"]);
    assert!(channel(&said, 0).is_null() && channel(&said, 1).is_null());
    assert_eq!(said["beats"][0]["anchor"], "upstroke");
    // Vibrations differ from beat to beat, which leaves none of them out.
    let said = json(&folder, &["lab.csv", "--ecg", "none", "--pulse", "none"]);
    assert_eq!(said["beats"][0]["anchor"], "first_sound");
    assert!(said["average"]["used"].as_u64().unwrap() >= 60, "{}", said["average"]["provenance"]);
    let number = json(&folder, &["lab.csv", "--pulse", "3"]);
    assert_eq!(channel(&number, 2), "finger_pulse");
    let wrong = refused(&folder, 1, &["lab.csv", "--ecg", "ECGII"]);
    assert!(wrong.contains("did you mean “ECG II”?") && wrong.contains("lab.csv"), "{wrong}");
    let wrong = refused(&folder, 1, &["lab.csv", "--pressure", "3=aorta_pressure"]);
    assert!(wrong.contains("did you mean “aortic_pressure”?"), "{wrong}");
    let none = ["lab.csv", "--ecg", "none", "--sounds", "none", "--pulse", "none"];
    assert!(refused(&folder, 1, &none).contains("name one with --ecg"));
    let wrong = refused(&folder, 1, &["lab.csv", "--unit", "ABP=mmHg"]);
    assert!(wrong.contains("--unit names “ABP”"), "{wrong}");
    let wrong = refused(&folder, 1, &["lab.csv", "--convention", "first_curse"]);
    assert!(wrong.contains("did you mean “first_course”?"), "{wrong}");
}

#[test]
fn bad_files_are_told_with_the_remedy_and_change_nothing() {
    let folder = lab("bad");
    let table: String = (0..4000).map(|i| format!("{}\n", f64::from(i % 400) / 400.0)).collect();
    for (name, bytes) in [
        ("empty.csv", Vec::new()),
        ("noise.bin", (0..5000_u32).map(|i| (i * 37 % 251) as u8).collect()),
        ("rateless.csv", format!("ECG\n{table}").into_bytes()),
        ("still.csv", format!("ECG\n{}", "0.5\n".repeat(4000)).into_bytes()),
    ] {
        fs::write(folder.join(name), bytes).unwrap();
    }
    assert!(
        refused(&folder, 1, &["gone.csv", "-o", "out"]).contains("gone.csv: there is no such file")
    );
    assert!(
        refused(&folder, 1, &["empty.csv", "-o", "out"]).contains("empty.csv: the file is empty")
    );
    assert!(
        refused(&folder, 1, &["noise.bin", "-o", "out"]).contains("noise.bin: this is neither")
    );
    let rateless = refused(&folder, 1, &["rateless.csv", "-o", "out"]);
    assert!(rateless.contains("rateless.csv") && rateless.contains("--rate 500"), "{rateless}");
    let still = refused(&folder, 1, &["still.csv", "--rate", "500", "-o", "out"]);
    assert!(still.contains("no beat was found"), "{still}");
    assert!(!folder.join("out").exists());
    for usage in [
        &["lab.csv", "--rate", "fast"][..],
        &["lab.csv", "--from", "-1"],
        &["lab.csv", "--separator", ";;"],
        &["lab.csv", "--move", "r_peak@1"],
        &["lab.csv", "--move", "r_peak@1=2"],
        &["lab.csv", "--unit", "mmHg"],
        &[],
    ] {
        refused(&folder, 2, usage);
    }
}

/// A landmark is moved by the command, kept in the table, and read again; rows of a person's own
/// are kept, and wrong ones are told by line.
#[test]
fn corrections_are_kept_beside_and_never_overwritten() {
    let folder = lab("by hand");
    let before = json(&folder, &["lab.csv"]);
    let recorded = fs::read(folder.join("lab.csv")).unwrap();
    let mark = |found: &Value, beat: usize, name: &str| -> Value {
        let all = found["beats"][beat]["landmarks"].as_array().unwrap().clone();
        all.into_iter().find(|mark| mark["name"] == name).unwrap()
    };
    let at = mark(&before, 8, "t_end")["time_s"].as_f64().unwrap();
    let (from, to) = (format!("t_end@{at:.2}"), at + 0.03);
    let moved = format!("{from}={to}");
    let who = ["--who", "R. Amsel", "--why", "by eye"];
    let wrong = refused(&folder, 1, &[&["lab.csv", "--move", &moved], &who[..]].concat());
    assert!(wrong.contains("--corrections FILE"), "{wrong}");

    fs::create_dir(folder.join("course")).unwrap();
    let kept = folder.join("course/lab.corrections.csv");
    let course = [&["lab.csv", "--course", "course"], &who[..]].concat();
    let text = measured(&folder, &[&course[..], &["--move", &moved]].concat());
    assert!(
        text.contains("Corrected by hand") && text.contains("R. Amsel: by eye (new)"),
        "{text}"
    );
    let first = fs::read_to_string(&kept).unwrap();
    assert_eq!(first.lines().count(), 2);
    let after = json(&folder, &["lab.csv", "--course", "course"]);
    let there = mark(&after, 8, "t_end");
    assert_eq!((there["time_s"].as_f64(), &there["by_hand"]), (Some(to), &Value::Bool(true)));
    assert_eq!(there["confidence"], 1.0);
    assert_eq!(mark(&after, 9, "t_end"), mark(&before, 9, "t_end"));

    let r = mark(&before, 20, "r_peak")["time_s"].as_f64().unwrap();
    let (remove, add) = (format!("r_peak@{r:.3}"), format!("s3@{:.3}", r + 0.45));
    measured(&folder, &[&course[..], &["--remove", &remove]].concat());
    let second = fs::read_to_string(&kept).unwrap();
    assert!(second.starts_with(&first) && second.lines().count() == 3);
    let fewer = json(&folder, &["lab.csv", "--course", "course"]);
    let count = |found: &Value| found["beats"].as_array().unwrap().len();
    assert_eq!(count(&fewer), count(&before) - 1);
    assert_eq!(fewer["corrections"], 2);

    // Its R peak brings it back, and so it stays where the table is read again.
    let back = ["lab.csv", "--corrections", "back.csv"];
    let [gone, there] = [["--remove", remove.as_str()], ["--add", remove.as_str()]];
    measured(&folder, &[&back, &who[..], &gone, &there].concat());
    let again = json(&folder, &back);
    assert_eq!((count(&again), &again["corrections"]), (count(&before), &Value::from(2)));
    assert_eq!(mark(&again, 20, "r_peak")["by_hand"], true);

    let named = ["lab.csv", "--corrections", "own.csv"];
    assert!(refused(&folder, 1, &named).contains("own.csv"));
    measured(&folder, &[&named, &who[..], &["--add", &add]].concat());
    let own = folder.join("own.csv");
    let row = "ecg,t_edn,1,1,1,me,,why\n";
    fs::write(&own, fs::read_to_string(&own).unwrap() + row).unwrap();
    let wrong = refused(&folder, 1, &named);
    assert!(wrong.contains("own.csv: line 3: “t_edn”"), "{wrong}");
    let stays = fs::read(&own).unwrap();
    refused(&folder, 1, &[&named, &who[..], &["--move", &moved]].concat());
    assert_eq!(fs::read(&own).unwrap(), stays);

    for (edit, words) in [
        ("t_edn@5=5.01", "did you mean “t_end”?"),
        ("finger:t_end@5=5.01", "no channel is “finger”"),
        ("t_end@5000=5000.1", "there is none; the nearest is on ecg at"),
    ] {
        let wrong = refused(&folder, 1, &[&course[..], &["--move", edit]].concat());
        assert!(wrong.contains(words), "{wrong}");
    }
    assert_eq!(fs::read_to_string(&kept).unwrap(), second);
    assert_eq!(fs::read(folder.join("lab.csv")).unwrap(), recorded);
}

/// Record 100 has 2,273 beats (its own annotations); 38.4 s of s0010 at 82 a minute are 52, and one
/// at either edge may be cut.
#[test]
fn real_recordings_are_opened_as_they_are() {
    let folder = lab("real");
    if let Some(path) = shared("100.hea") {
        let found = json(&folder, &[&path]);
        assert_eq!(found["beats"].as_array().unwrap().len(), 2273);
        assert_eq!(found["annotations"], 2274);
        assert!(found["average"]["used"].as_u64().unwrap() > 2000);
    }
    if let Some(path) = shared("s0010_re.hea") {
        let found = json(&folder, &[&path]);
        assert!((51..=53).contains(&found["beats"].as_array().unwrap().len()));
    }
    if let Some(path) = shared("041s/041s.hea") {
        let text = measured(&folder, &[&path, "-o", "out"]);
        assert!(text.contains("--pressure 4=aortic_pressure"), "{text}");
        assert!(text.contains("taken for pa_pressure") && text.contains("RESP"), "{text}");
        assert!(folder.join("out/average.svg").exists());
    }
    if let Some(path) = shared("heart_sounds_2.wav") {
        let text = measured(&folder, &[&path, "--sounds", "1"]);
        assert!(text.contains("by the first sound; there is neither ECG nor pulse"), "{text}");
    }
    if let Some(path) = shared("biosppy_ppg.txt") {
        let text = measured(&folder, &[&path, "--pulse", "1"]);
        assert!(text.contains("by the steepest rise of the pulse"), "{text}");
    }
}
