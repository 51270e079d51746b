//! The real program, run in a fresh folder: what it writes, says, and how it exits.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use cycle::Cycle;

/// A folder of one test's own, empty at the beginning.
struct Folder(PathBuf);

impl Folder {
    fn new(test: &str) -> Self {
        let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(test);
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn with(self, file: &str, text: &str) -> Self {
        let path = self.0.join(file);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
        self
    }

    fn run(&self, arguments: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_incisura"))
            .args(arguments)
            .current_dir(&self.0)
            .output()
            .unwrap()
    }

    fn succeed(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {said}");
        String::from_utf8(output.stdout).unwrap()
    }

    /// Runs what must fail with exit code `code` and say all of `words`.
    fn fail(&self, code: i32, arguments: &[&str], words: &[&str]) {
        let output = self.run(arguments);
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {said}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
        for word in words {
            assert!(said.contains(word), "{arguments:?}: “{word}” is missing in:\n{said}");
        }
    }

    fn bytes(&self, file: &str) -> Vec<u8> {
        fs::read(self.0.join(file)).unwrap()
    }
}

#[test]
fn json_has_the_documented_fields_and_identifiers() {
    let text = Folder::new("json").succeed(&["simulate", "--json"]);
    let value: serde_json::Value = serde_json::from_str(&text).unwrap();
    for field in ["period_s", "channels", "landmarks", "events", "summary"] {
        assert!(value.get(field).is_some(), "{field}");
    }
    for field in ["name", "unit", "rate_hz", "start_s", "samples"] {
        assert!(value["channels"][0].get(field).is_some(), "{field}");
    }
    let cycle = Cycle::from_json(&text).unwrap();
    for channel in "ecg heart_sounds aortic_pressure lv_pressure la_pressure rv_pressure pa_pressure ra_pressure \
        radial_pressure lv_volume rv_volume la_volume ra_volume aortic_flow mitral_flow finger_pulse"
        .split_whitespace()
    {
        assert!(cycle.trace(channel).is_some(), "{channel}");
    }
    for landmark in "p_onset p_peak p_end qrs_onset q_peak r_peak s_peak qrs_end t_onset t_peak t_end s1_onset s1_end \
        s2_onset s2_end a2 p2 pressure_foot systolic_peak dicrotic_notch dicrotic_peak a_wave c_wave x_descent v_wave \
        y_descent lv_end_diastole lv_peak end_diastolic_volume end_systolic_volume"
        .split_whitespace()
    {
        assert!(cycle.landmark(landmark).is_some(), "{landmark}");
    }
    for event in "atrial_systole_begins mitral_closes aortic_opens aortic_closes mitral_opens tricuspid_closes \
        pulmonary_opens pulmonary_closes tricuspid_opens"
        .split_whitespace()
    {
        assert!(cycle.event(event).is_some(), "{event}");
    }
    for number in "heart_rate_bpm stroke_volume_ml cardiac_output_l_min ejection_fraction edv_ml esv_ml \
        aortic_systolic_mmhg aortic_diastolic_mmhg aortic_mean_mmhg lv_systolic_mmhg lv_end_diastolic_mmhg la_mean_mmhg \
        pa_systolic_mmhg pa_diastolic_mmhg pa_mean_mmhg ra_mean_mmhg pep_ms lvet_ms qs2_ms ivct_ms ivrt_ms \
        dpdt_max_mmhg_s systemic_resistance_wood aortic_mean_gradient_mmhg aortic_peak_velocity_m_s"
        .split_whitespace()
    {
        assert!(cycle.summary.contains_key(number), "{number}");
    }
}

#[test]
fn the_two_tables_read_back_to_the_same_cycle() {
    let folder = Folder::new("csv");
    let heart = ["simulate", "--set", "rate_bpm=60"];
    let ask = |form: &str| folder.succeed(&[&heart[..], &[form]].concat());
    let again = Cycle::from_csv(&ask("--csv"), &ask("--marks")).unwrap();
    assert_eq!(again, Cycle::from_json(&ask("--json")).unwrap());
}

#[test]
fn the_summary_is_a_table_to_read() {
    let text = Folder::new("summary").succeed(&["simulate", "--condition", "rest"]);
    for words in ["Stroke volume", "Ejection fraction", "R peak", "aortic valve closes", "ms"] {
        assert!(text.contains(words), "“{words}” is missing in:\n{text}");
    }
}

#[test]
fn a_heart_is_read_from_its_file_and_then_changed() {
    let folder =
        Folder::new("heart").with("slow.toml", "condition = \"hypertension\"\nrate_bpm = 50\n");
    let ask = |more: &[&str]| {
        let text = folder.succeed(&[&["simulate", "slow.toml", "--json"], more].concat());
        Cycle::from_json(&text).unwrap().summary["heart_rate_bpm"]
    };
    assert!((ask(&[]) - 50.0).abs() < 1.0);
    assert!((ask(&["--set", "rate_bpm=90"]) - 90.0).abs() < 1.0);
}

#[test]
fn beats_are_counted() {
    let text = Folder::new("beats").succeed(&["simulate", "--beats", "3", "--json"]);
    assert_eq!(Cycle::from_json(&text).unwrap().times_of("r_peak").len(), 3);
}

#[test]
fn sound_is_a_wav_file() {
    let folder = Folder::new("wav");
    folder.succeed(&["simulate", "--wav", "rest.wav"]);
    assert!(folder.bytes("rest.wav").starts_with(b"RIFF"));
}

#[test]
fn output_goes_to_the_file_that_is_named() {
    let folder = Folder::new("output");
    assert_eq!(folder.succeed(&["simulate", "--json", "-o", "rest.json"]), "");
    assert!(folder.bytes("rest.json").starts_with(b"{"));
}

#[test]
fn help_lists_parameters_conditions_and_rhythms() {
    let text = Folder::new("help").succeed(&["simulate", "--help"]);
    for words in
        ["rate_bpm", "75 /min, ", "aortic_stenosis", "atrial_fibrillation", "second_degree_type_1"]
    {
        assert!(text.contains(words), "“{words}” is missing in:\n{text}");
    }
}

#[test]
fn a_mistyped_name_is_answered_with_the_nearest() {
    let folder = Folder::new("nearest");
    folder.fail(
        1,
        &["simulate", "--set", "rate_bmp=60"],
        &["rate_bmp", "did you mean “rate_bpm”?"],
    );
    folder.fail(
        1,
        &["simulate", "--condition", "aortic_stenosys"],
        &["did you mean “aortic_stenosis”?"],
    );
    folder.fail(1, &["simulate", "--rhythm", "sinos"], &["did you mean “sinus”?"]);
}

#[test]
fn a_value_out_of_range_is_answered_with_the_range() {
    let folder = Folder::new("range");
    folder.fail(1, &["simulate", "--set", "rate_bpm=900"], &["rate_bpm = 900", "to 200 /min"]);
}

#[test]
fn wrong_usage_exits_with_2() {
    let folder = Folder::new("usage");
    folder.fail(2, &["simulate", "--set", "rate_bpm"], &["rate_bpm=60"]);
    folder.fail(2, &["simulate", "--json", "--csv"], &["--csv"]);
    folder.fail(2, &["simulate", "--beats", "0"], &["1..="]);
    folder.fail(2, &["simulat"], &["simulate"]);
    folder.fail(2, &["figure", "figure.toml"], &["--output"]);
}

#[test]
fn a_fault_in_a_heart_is_told_with_file_line_and_text() {
    let folder = Folder::new("faults")
        .with("open.toml", "rate_bpm = 60\nrhythm = \"sinus\n")
        .with("name.toml", "# a heart\n\nrate_bmp = 60\n")
        .with("range.toml", "blood_volume = 7\n")
        .with("kind.toml", "rate_bpm = \"fast\"\n");
    folder.fail(1, &["simulate", "open.toml"], &["open.toml, line 2:", "rhythm = \"sinus"]);
    folder.fail(
        1,
        &["simulate", "name.toml"],
        &["name.toml, line 3:", "rate_bmp = 60", "did you mean “rate_bpm”?"],
    );
    folder.fail(1, &["simulate", "range.toml"], &["range.toml, line 1:", "0.6 to 1.4"]);
    folder.fail(1, &["simulate", "kind.toml"], &["kind.toml, line 1:", "must be a number"]);
    folder.fail(1, &["simulate", "none.toml"], &["cannot read none.toml", "no such file"]);
}

#[test]
fn a_place_that_cannot_be_written_is_told() {
    let folder = Folder::new("unwritable").with("figure.toml", "").with("taken/file", "");
    let missing = "missing/rest.json";
    folder.fail(
        1,
        &["simulate", "--json", "-o", missing],
        &["cannot write missing/rest.json", "folder missing does not exist"],
    );
    folder.fail(
        1,
        &["simulate", "--json", "-o", "taken"],
        &["cannot write taken", "this is a folder"],
    );
    folder.fail(
        1,
        &["figure", "figure.toml", "-o", "missing/f.svg"],
        &["folder missing does not exist"],
    );
}

const FIGURE: &str = r#"
title = "Mitral stenosis"
width_mm = 160
lines = ["r_peak", "s2_onset"]
beats = 2

[heart]
condition = "mitral_stenosis"
rate_bpm = 80

[[panels]]
channels = ["ecg"]

[[panels]]
channels = ["lv_pressure", "la_pressure"]
height_mm = 40
"#;

#[test]
fn a_figure_is_written_in_each_format() {
    let folder = Folder::new("figure").with("figure.toml", FIGURE).with("plain.toml", "");
    for file in ["figure.toml", "plain.toml"] {
        for (output, magic) in [("f.svg", &b"<svg"[..]), ("f.pdf", b"%PDF-"), ("f.png", b"\x89PNG")]
        {
            folder.succeed(&["figure", file, "-o", output, "--dpi", "60"]);
            assert!(folder.bytes(output).starts_with(magic), "{file} as {output}");
        }
    }
    assert_eq!(folder.succeed(&["figure", "figure.toml", "-o", "again.svg"]), "");
    folder.succeed(&["figure", "figure.toml", "-o", "f.svg"]);
    assert_eq!(folder.bytes("again.svg"), folder.bytes("f.svg"));
}

#[test]
fn a_figure_takes_its_cycle_from_a_file_beside_it() {
    let folder = Folder::new("cycle").with("sub/figure.toml", "cycle = \"rest.json\"\n");
    folder.succeed(&["simulate", "--json", "-o", "sub/rest.json"]);
    folder.succeed(&["figure", "sub/figure.toml", "-o", "f.svg"]);
    assert!(folder.bytes("f.svg").starts_with(b"<svg"));
}

#[test]
fn a_fault_in_a_figure_is_told_with_file_line_and_text() {
    let cases = [
        (
            "key",
            "width_mm = 100\nlable = true\n",
            &["line 2:", "lable = true", "did you mean “labels”?"][..],
        ),
        ("source", "heard = 1\n", &["line 1:", "did you mean “heart”?"]),
        (
            "panel",
            "[[panels]]\nchannels = [\"ecg\"]\nheigth_mm = 3\n",
            &["line 3:", "did you mean “height_mm”?"],
        ),
        (
            "channel",
            "[[panels]]\nchannels = [\"lv_presure\"]\n",
            &["line 2:", "did you mean “lv_pressure”?"],
        ),
        (
            "heart",
            "\n[heart]\n\nrate_bmp = 60\n",
            &["line 4:", "rate_bmp = 60", "did you mean “rate_bpm”?"],
        ),
        ("inline", "heart = { rate_bpm = 900 }\n", &["line 1:", "to 200"]),
        ("table", "heart = 3\n", &["line 1:", "must be a table"]),
        ("syntax", "width_mm = \n", &["line 1:", "width_mm ="]),
        ("width", "width_mm = 3\n", &["width_mm is 3", "60 to 2000"]),
        ("both", "cycle = \"a.json\"\n[heart]\n", &["keep one"]),
        ("beats", "cycle = \"a.json\"\nbeats = 2\n", &["line 2:", "leave it out"]),
        ("none", "cycle = \"a.json\"\n", &["cannot read a.json", "no such file"]),
    ];
    for (name, text, words) in cases {
        let file = format!("{name}.toml");
        let folder = Folder::new(&format!("figure_{name}")).with(&file, text);
        folder.fail(1, &["figure", &file, "-o", "f.svg"], words);
    }
}

#[test]
fn an_extension_that_is_no_figure_is_told_with_those_that_are() {
    let folder = Folder::new("extension").with("figure.toml", "");
    folder.fail(1, &["figure", "figure.toml", "-o", "f.gif"], &["f.gif", ".svg, .pdf or .png"]);
    folder.fail(1, &["figure", "figure.toml", "-o", "f"], &["no extension", ".svg, .pdf or .png"]);
}

#[test]
fn a_port_in_use_is_told() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    let folder = Folder::new("port");
    folder.fail(1, &["open", "--no-browser", "--port", &port], &[&port, "another program uses it"]);
}

const FIRST_COURSE: &str = "first_course";

#[test]
fn every_shipped_convention_is_listed_and_holds_together() {
    let folder = Folder::new("conventions");
    let list = folder.succeed(&["convention", "--list"]);
    for shipped in cardiac::CONVENTIONS {
        assert!(list.contains(shipped.name), "{list}");
        let json = folder.succeed(&["convention", shipped.name, "--json"]);
        let found: serde_json::Value = serde_json::from_str(&json).unwrap();
        assert_eq!(found["consistent"], true, "{}", shipped.name);
        assert_eq!(found["contradictions"], serde_json::json!([]));
        assert_eq!(found["drawn_at_bpm"].as_array().unwrap().len(), 8, "{}", shipped.name);
        let rows = found["comparison"].as_array().unwrap();
        assert_eq!(rows.len(), shipped.convention().rules.len());
        assert!(rows.iter().all(|row| row["rule"].is_string() && row["sentence"].is_string()));
        assert!(!found["order"].as_array().unwrap().is_empty());
        assert!(found["steps"].as_array().unwrap().len() > 5);
    }
}

#[test]
fn contradictory_rules_are_refused_by_name() {
    let mut text = cardiac::Shipped::find(FIRST_COURSE).unwrap().toml.to_owned();
    text += "[[rules]]\nid = \"notch_late\"\nkind = \"timing\"\nlandmark = \"dicrotic_notch\"\n\
             after = \"t_end\"\nby_ms = [10, 40]\ntext = \"The notch is after T.\"\ncause = \"None.\"\n";
    let folder = Folder::new("contradictory").with("mine.toml", &text);
    let output = folder.run(&["convention", "mine.toml", "--json"]);
    assert_eq!(output.status.code(), Some(1));
    let found: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(found["consistent"], false);
    let sets = found["contradictions"].as_array().unwrap();
    let mut set: Vec<&str> =
        sets[0].as_array().unwrap().iter().map(|rule| rule.as_str().unwrap()).collect();
    set.sort_unstable();
    assert_eq!((sets.len(), set), (1, vec!["notch_late", "notch_with_s2", "s2_in_t"]));
    let said = String::from_utf8(folder.run(&["convention", "mine.toml"]).stdout).unwrap();
    assert!(
        said.contains("They cannot all hold") && said.contains("The notch is after T"),
        "{said}"
    );
    folder.fail(1, &["convention", "mine.toml", "--schematic", "no.svg"], &["cannot all hold"]);
    assert!(!folder.0.join("no.svg").exists());
}

#[test]
fn faults_in_a_convention_are_told_with_their_lines() {
    let text = |channel: &str, landmark: &str| {
        format!(
            "title = \"Mine\"\nsimplifies = \"All.\"\npanels = [[\"ecg\"], [\"{channel}\"]]\n\
             [[rules]]\nid = \"one\"\nkind = \"timing\"\nlandmark = \"{landmark}\"\n\
             with = \"r_peak\"\ntext = \"T.\"\ncause = \"C.\"\n"
        )
    };
    let folder =
        Folder::new("faulty convention").with("mine.toml", &text("heart_sound", "s1_onset"));
    folder.fail(1, &["convention", "mine.toml"], &["mine.toml, line 3", "heart_sounds"]);
    let folder = folder.with("mine.toml", &text("heart_sounds", "s1_onst"));
    folder.fail(1, &["convention", "mine.toml"], &["mine.toml, line 7", "s1_onset"]);
    folder.fail(1, &["convention", "first_corse"], &["did you mean “first_course”?"]);
    folder.fail(1, &["convention"], &["--list"]);
    folder.fail(1, &["convention", "mine.toml", "--source"], &["does not come with the program"]);
}

#[test]
fn a_conventions_source_is_a_file_that_can_be_read_again() {
    let folder = Folder::new("source");
    let text = folder.succeed(&["convention", FIRST_COURSE, "--source"]);
    let folder = folder.with("mine.toml", &text);
    let (shipped, mine) = (
        folder.succeed(&["convention", FIRST_COURSE, "--json"]),
        folder.succeed(&["convention", "mine.toml", "--json"]),
    );
    assert_eq!(shipped, mine);
}

#[test]
fn a_schematic_and_its_build_are_drawn() {
    let folder = Folder::new("schematic");
    for (file, start) in [("s.svg", &b"<svg"[..]), ("s.pdf", b"%PDF"), ("s.png", b"\x89PNG")] {
        folder.succeed(&["convention", FIRST_COURSE, "--schematic", file]);
        let bytes = folder.bytes(file);
        let head = &bytes[..bytes.len().min(200)];
        assert!(head.windows(start.len()).any(|part| part == start), "{file}");
    }
    folder.succeed(&["convention", FIRST_COURSE, "--steps", "deep/build"]);
    let page = String::from_utf8(folder.bytes("deep/build/steps.md")).unwrap();
    let steps = page.matches("\n## ").count();
    assert_eq!(page.matches("*Why:*").count(), steps);
    for step in 1..=steps {
        let file = format!("step-{step:02}.svg");
        assert!(page.contains(&file));
        let svg = String::from_utf8(folder.bytes(&format!("deep/build/{file}"))).unwrap();
        assert!(roxmltree::Document::parse(&svg).is_ok(), "{file}");
    }
    // The first step shows no pressure yet, the last shows the notch.
    let drawn = |step: usize| folder.bytes(&format!("deep/build/step-{step:02}.svg"));
    let has_notch = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap().contains(">notch<");
    assert!(!has_notch(drawn(1)) && has_notch(drawn(steps)));
}

#[test]
fn a_cycle_is_judged_and_questions_are_asked() {
    let folder = Folder::new("judged");
    folder.succeed(&["simulate", "--json", "-o", "rest.json"]);
    let json =
        folder.succeed(&["convention", "measured_physiology", "--judge", "rest.json", "--json"]);
    let verdicts: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert!(verdicts.as_array().unwrap().iter().all(|verdict| verdict["outcome"] == "met"));
    let text = folder.succeed(&["convention", FIRST_COURSE, "--judge", "rest.json"]);
    assert!(text.contains("top_at_mid_t: not met"), "{text}");
    let ask = |seed: &str| {
        folder.succeed(&["convention", FIRST_COURSE, "--questions", "4", "--seed", seed])
    };
    assert_eq!(ask("7").matches("Answer:").count(), 4);
    assert_eq!(ask("7"), ask("7"));
    assert_ne!(ask("7"), ask("8"));
}

#[test]
fn the_schema_is_json_that_knows_the_landmarks() {
    let text = Folder::new("schema").succeed(&["convention", "--schema"]);
    let schema: serde_json::Value = serde_json::from_str(&text).unwrap();
    let points = schema["$defs"]["point"]["enum"].as_array().unwrap();
    assert!(points.iter().any(|point| point == "dicrotic_notch@pa_pressure"));
}

#[test]
fn another_heart_shows_in_the_comparison() {
    let folder =
        Folder::new("against").with("slow.toml", "condition = \"first_degree_av_block\"\n");
    let arguments = ["convention", "measured_physiology", "--against", "slow.toml", "--json"];
    let found: serde_json::Value = serde_json::from_str(&folder.succeed(&arguments)).unwrap();
    let rows = found["comparison"].as_array().unwrap();
    let pr = rows.iter().find(|row| row["rule"] == "pr").unwrap();
    assert_eq!(pr["computed"]["outcome"], "not_met");
    // The rules are sound; it is this heart that does not keep to one of them.
    assert_eq!(found["consistent"], true);
    assert_eq!(found["refused_by_this_ecg"], serde_json::json!([["pr"]]));
}

const TEST: &str = "title = \"Test 1\"\ncourse = \"An invented course\"\nconvention = \"first_course\"\n\
                    forms = 3\nseed = 20\n[heart]\nrate_bpm = [68, 82]\npr_interval_ms = [140, 180]\n";

#[test]
fn sheets_are_printed_with_their_key_rubric_and_geometry() {
    let folder = Folder::new("sheets").with("test.toml", TEST);
    folder.succeed(&["sheet", "test.toml", "-o", "out"]);
    for file in ["drawing-sheets.pdf", "key.pdf", "rubric.pdf"] {
        assert!(folder.bytes(&format!("out/{file}")).starts_with(b"%PDF"), "{file}");
    }
    let read =
        |file: &str| -> serde_json::Value { serde_json::from_slice(&folder.bytes(file)).unwrap() };
    let geometry = read("out/geometry.json");
    let pages = geometry["pages"].as_array().unwrap();
    assert_eq!(pages.len(), 3);
    assert_eq!(geometry["marks"].as_array().unwrap().len(), 4);
    for page in pages {
        let panels = page["panels"].as_array().unwrap();
        let given: Vec<bool> = panels.iter().map(|p| p["given"].as_bool().unwrap()).collect();
        assert_eq!(given, [true, false, false]);
    }
    assert_eq!(folder.bytes("out/test.toml"), TEST.as_bytes());
    // The same test gives the same bytes.
    folder.succeed(&["sheet", "test.toml", "-o", "again"]);
    for file in ["drawing-sheets.pdf", "key.pdf", "rubric.pdf", "geometry.json"] {
        let bytes = |run: &str| folder.bytes(&format!("{run}/{file}"));
        assert!(bytes("out") == bytes("again"), "{file}");
    }
    folder.succeed(&["sheet", "test.toml", "-o", "a4", "--paper", "a4", "--forms", "1"]);
    let a4 = read("a4/geometry.json");
    assert_eq!((&a4["page_width_mm"], &a4["page_height_mm"]), (&297.0.into(), &210.0.into()));
}

#[test]
fn a_class_list_gets_numbered_sheets_and_the_codes_name_nobody() {
    let folder = Folder::new("roster")
        .with("test.toml", TEST)
        .with("class.csv", "Name,ID\nAda Brook,17\nBen Carr,18\n");
    let arguments = ["sheet", "test.toml", "-o", "out", "--roster", "class.csv", "--spare", "2"];
    folder.succeed(&arguments);
    let list = String::from_utf8(folder.bytes("out/sheets.csv")).unwrap();
    assert_eq!(list, "sheet,form,name,id\n1,A,Ada Brook,17\n2,B,Ben Carr,18\n3,C,,\n4,A,,\n");
    let geometry = String::from_utf8(folder.bytes("out/geometry.json")).unwrap();
    assert!(!geometry.contains("Brook") && geometry.contains("\"sheet\": 4"));
}

#[test]
fn a_test_that_cannot_be_printed_says_why() {
    let head = "title = \"T\"\nconvention = \"first_course\"\n";
    let folder = Folder::new("unprintable")
        .with("wide.toml", "title = \"T\"\nconvention = \"first_course\"\nbeats = 3\n")
        .with("odd.toml", "title = \"T\"\nconvention = \"first_course\"\n[heart]\nrate_bmp = 70\n")
        .with("named.toml", "title = \"T\"\nconvention = \"mine.toml\"\n")
        .with("strip.toml", &format!("{head}[[strips]]\nrate_bpm = 70\n[[strips]]\nrate_bpm = 5\n"))
        .with("valves.toml", &format!("{head}[questions]\nopen = 1\n"))
        .with("signs.toml", &format!("{head}course = \"\u{1F600}\"\n"));
    folder.fail(1, &["sheet", "strip.toml", "-o", "out"], &["strip.toml, line 6", "rate_bpm = 5"]);
    folder.fail(1, &["sheet", "valves.toml", "-o", "out"], &["open = 1", "bars"]);
    folder.fail(1, &["sheet", "signs.toml", "-o", "out"], &["signs.toml, line 3", "no letter"]);
    folder.fail(1, &["sheet", "wide.toml", "-o", "out"], &["wide.toml", "set beats = 2"]);
    folder.fail(
        1,
        &["sheet", "odd.toml", "-o", "out"],
        &["odd.toml, line 4", "did you mean “rate_bpm”?"],
    );
    folder.fail(1, &["sheet", "named.toml", "-o", "out"], &["named.toml, line 2", "mine.toml"]);
    assert!(!folder.0.join("out").exists());
}

#[test]
fn names_are_printed_in_the_letters_there_are_and_others_are_told() {
    let folder = Folder::new("names")
        .with("test.toml", TEST)
        .with("class.csv", "name,id\nNguyễn Thị Ánh,1\nИванова Анна,2\n李小龙,3\n");
    let arguments = ["sheet", "test.toml", "-o", "out", "--roster", "class.csv", "--per-student"];
    let said = folder.run(&arguments);
    let told = String::from_utf8(said.stderr).unwrap();
    assert!(said.status.success(), "{told}");
    assert!(
        told.contains("sheet 3") && told.contains("李小龙") && !told.contains("Nguyễn"),
        "{told}"
    );
    for sheet in 1..=3 {
        assert!(folder.bytes(&format!("out/per-student/sheet-0000{sheet}.pdf")).len() > 1000);
    }
}

#[test]
fn a_practice_page_is_one_file_or_it_is_said_what_is_missing() {
    let test = "title = \"Quiz\"\nconvention = \"first_course\"\n";
    let folder = Folder::new("practice-page").with("quiz.toml", test);
    let output = folder.run(&["practice-page", "quiz.toml", "-o", "quiz.html"]);
    let said = String::from_utf8_lossy(&output.stderr);
    if output.status.success() {
        let page = String::from_utf8(folder.bytes("quiz.html")).unwrap();
        assert!(page.len() < 3_000_000 && page.contains("Content-Security-Policy"));
        folder.fail(
            1,
            &["practice-page", "quiz.toml", "--verify", "A-2-3-4-5-BCDEFGHJ"],
            &["does not fit"],
        );
    } else {
        assert!(said.contains("without the practice core"), "{said}");
        folder.fail(
            1,
            &["practice-page", "quiz.toml", "--verify", "A-2-3-4-5-BCDEFGHJ"],
            &["no key here"],
        );
    }
    folder.fail(2, &["practice-page", "quiz.toml"], &["--output"]);
    folder.fail(
        2,
        &["practice-page", "quiz.toml", "-o", "a.zip", "--package", "zap"],
        &["scorm-1.2"],
    );
}
