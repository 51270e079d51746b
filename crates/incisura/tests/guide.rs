//! The guide to conventions, held to the program: what it shows is read, run and compared.
//!
//! In docs/conventions.md, a block of TOML after `<!-- begins F -->` is the file F, after
//! `<!-- goes on in F -->` more of it, and after `<!-- from F -->` a part of the file F beside
//! the page. Blocks of `sh` are run from top to bottom; a block of `text` is what the last of
//! their commands says, with “…” for what is left out.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use convention::Convention;

const PAGE: &str = include_str!("../../../docs/conventions.md");
const MY_COURSE: &str = include_str!("../../../docs/my_course.toml");

/// A head for rules that stand alone.
const HEAD: &str = "title = \"T\"\nsimplifies = \"S.\"\n\
                    panels = [[\"ecg\"], [\"heart_sounds\"], [\"aortic_pressure\"]]\n";

/// A fenced block of the page.
struct Block {
    language: &'static str,
    text: String,
    /// The line above it.
    above: &'static str,
    /// Its first line's number.
    line: usize,
}

fn blocks() -> Vec<Block> {
    let mut blocks: Vec<Block> = Vec::new();
    let (mut open, mut above) = (false, "");
    for (index, line) in PAGE.lines().enumerate() {
        match (line.strip_prefix("```"), open) {
            (Some(language), false) => {
                blocks.push(Block { language, text: String::new(), above, line: index + 2 });
                open = true;
            }
            (Some(_), true) => open = false,
            (None, true) => {
                let block = blocks.last_mut().unwrap();
                block.text = format!("{}{line}\n", block.text);
            }
            (None, false) => {}
        }
        above = line;
    }
    assert!(!open && blocks.len() > 10);
    blocks
}

/// The file that a comment such as `<!-- begins F -->` names.
fn named<'a>(comment: &'a str, how: &str) -> Option<&'a str> {
    comment.strip_prefix("<!-- ")?.strip_suffix(" -->")?.strip_prefix(how)
}

fn read(text: &str) -> Convention {
    Convention::from_toml(text, &heart::subject()).unwrap_or_else(|faults| panic!("{faults}"))
}

/// A folder of one test's own, with the course's file where the page has it.
fn folder(test: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(test);
    let _ = fs::remove_dir_all(&path);
    fs::create_dir_all(path.join("docs/pictures")).unwrap();
    fs::write(path.join("docs/my_course.toml"), MY_COURSE).unwrap();
    path
}

/// Runs a line of a shell such as `incisura … > file`: what it says.
///
/// It must go well, unless it says that rules cannot all hold.
fn run(folder: &Path, line: &str) -> String {
    let (command, into) = line.split_once(" > ").map_or((line, None), |(c, f)| (c, Some(f)));
    let mut words = command.split_whitespace();
    assert_eq!(words.next(), Some("incisura"), "{line}");
    let mut program = Command::new(env!("CARGO_BIN_EXE_incisura"));
    let output = program.args(words).current_dir(folder).output().unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() || said.contains("They cannot all hold"), "{line}: {error}");
    if let Some(file) = into {
        fs::write(folder.join(file), &said).unwrap();
    }
    said
}

#[test]
fn what_the_page_shows_as_files_is_read_by_the_program() {
    let mut whole = String::new();
    for block in blocks().iter().filter(|block| block.language == "toml") {
        let place = format!("docs/conventions.md, line {}", block.line);
        let parsed = block.text.parse::<toml::Table>();
        assert!(parsed.is_ok(), "{place}: {}", parsed.unwrap_err());
        if named(block.above, "begins ").is_some() {
            whole.clone_from(&block.text);
            read(&whole);
        } else if named(block.above, "goes on in ").is_some() {
            read(&format!("{whole}\n{}", block.text));
            read(&format!("{HEAD}{}", block.text));
        } else {
            assert_eq!(named(block.above, "from "), Some("docs/my_course.toml"), "{place}");
            assert!(MY_COURSE.contains(&block.text), "{place}: docs/my_course.toml lacks this");
        }
    }
    let mistyped = whole.replacen("\"t_end\"", "\"t_edn\"", 1);
    let faults = Convention::from_toml(&mistyped, &heart::subject()).unwrap_err();
    let page: Vec<&str> = PAGE.split_whitespace().collect();
    assert!(page.join(" ").contains(&faults.0[0].what), "docs/conventions.md lacks: {faults}");
}

#[test]
fn each_example_of_a_rule_is_read_by_the_program() {
    let examples: Vec<&str> = PAGE.split('`').filter(|code| code.starts_with("kind = ")).collect();
    let mut kinds = Vec::new();
    for example in examples {
        let rule = format!("{{ id = \"r\", text = \"T.\", cause = \"C.\", {example} }}");
        let convention = read(&format!("{HEAD}rules = [{rule}]\n"));
        kinds.push(convention.rules[0].says.kind());
    }
    assert_eq!(kinds, ["presence", "timing", "height", "level", "shape", "label"]);
    let between = PAGE.split('`').find(|code| code.contains("aim = ")).unwrap();
    let rule = "id = \"r\"\nkind = \"timing\"\ntext = \"T.\"\ncause = \"C.\"\n";
    let keys = between.replace("], share", "]\nshare").replace(", aim", "\naim");
    read(&format!("{HEAD}[[rules]]\n{rule}landmark = \"s2_onset\"\n{keys}\n"));
}

#[test]
fn the_course_holds_together_and_is_drawn_at_every_rate() {
    let said = run(&folder("guide course"), "incisura convention docs/my_course.toml --json");
    let found: serde_json::Value = serde_json::from_str(&said).unwrap();
    assert_eq!(found["consistent"], true);
    assert_eq!(found["drawn_at_bpm"], serde_json::json!([50, 60, 70, 80, 90, 100, 110, 120]));
}

#[test]
fn the_program_says_and_draws_what_the_page_shows() {
    let folder = folder("guide");
    let (mut said, mut above) = (String::new(), "");
    let (mut commands, mut compared) = (0, 0);
    for block in blocks() {
        if let Some(file) = named(block.above, "begins ") {
            fs::write(folder.join(file), &block.text).unwrap();
        } else if let Some(file) = named(block.above, "goes on in ") {
            let begun = fs::read_to_string(folder.join(file)).unwrap();
            fs::write(folder.join(file), format!("{begun}\n{}", block.text)).unwrap();
        } else if block.language == "sh" {
            for line in block.text.lines() {
                said = run(&folder, line);
                commands += 1;
            }
        } else if block.language == "text" {
            assert_eq!(above, "sh", "docs/conventions.md, line {}: said by what?", block.line);
            let mut rest = said.lines().map(str::trim);
            let shown = block.text.lines().enumerate();
            for (index, line) in shown.filter(|(_, line)| line.trim() != "…") {
                let place = block.line + index;
                let there = rest.any(|other| other == line.trim());
                assert!(there, "docs/conventions.md, line {place}: not said: {line}\n{said}");
                compared += 1;
            }
        }
        above = block.language;
    }
    assert!(commands > 8 && compared > 30, "{commands} commands, {compared} lines");

    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs");
    let pictures = [
        ("first_course.svg", "docs/pictures/first_course.svg"),
        ("my_course.svg", "docs/pictures/my_course.svg"),
        ("step.svg", "build/step-12.svg"),
    ];
    for (picture, drawn) in pictures {
        assert!(PAGE.contains(&format!("](pictures/{picture})")), "{picture} is not shown");
        let old = fs::read_to_string(docs.join("pictures").join(picture)).unwrap();
        let same = old == fs::read_to_string(folder.join(drawn)).unwrap();
        assert!(same, "docs/pictures/{picture} is out of date; draw it again as {drawn}");
    }
    assert_eq!(PAGE.matches("](pictures/").count(), pictures.len());
}

#[test]
fn the_tables_name_what_there_is() {
    for shipped in cardiac::CONVENTIONS {
        let simplifies = shipped.convention().simplifies;
        let row = PAGE.lines().find(|line| line.starts_with(&format!("| `{}` |", shipped.name)));
        assert!(row.is_some_and(|row| row.contains(&simplifies)), "{}: {simplifies}", shipped.name);
    }
    let folder = folder("guide tables");
    let help =
        run(&folder, "incisura convention --help") + &run(&folder, "incisura simulate --help");
    let options = PAGE.split(|c: char| !(c.is_ascii_alphanumeric() || c == '-'));
    for option in options.filter(|word| word.starts_with("--") && !word.ends_with('-')) {
        let known = help.split(|c: char| !(c.is_ascii_alphanumeric() || c == '-'));
        assert!(known.into_iter().any(|word| word == option), "there is no {option}");
    }
    let schema = run(&folder, "incisura convention --schema");
    let schema: serde_json::Value = serde_json::from_str(&schema).unwrap();
    let rules = schema["properties"]["rules"]["items"]["oneOf"].as_array().unwrap();
    let rules = rules.iter().flat_map(|rule| rule["properties"].as_object().unwrap().keys());
    for key in schema["properties"].as_object().unwrap().keys().chain(rules) {
        let there = [format!("`{key}`"), format!("`[[{key}]]`")];
        assert!(there.iter().any(|key| PAGE.contains(key)), "docs/conventions.md lacks {key}");
    }
}

#[test]
fn a_test_with_everything_prints_what_the_page_on_sheets_lists() {
    let page = include_str!("../../../docs/sheets.md");
    let path = folder("guide sheets");
    fs::write(path.join("docs/whole_test.toml"), include_str!("../../../docs/whole_test.toml"))
        .unwrap();
    let said = run(&path, "incisura sheet docs/whole_test.toml -o out");
    let listed = page.split("```text\n").nth(1).unwrap().split("```").next().unwrap();
    assert_eq!(said.trim(), listed.trim());
    for line in said.lines() {
        let name = line.split_whitespace().next().unwrap();
        assert!(path.join("out").join(name).exists(), "{name} is said but not there");
    }
}

#[test]
fn the_first_test_is_as_the_page_on_sheets_shows_it() {
    let page = include_str!("../../../docs/sheets.md");
    let block = page.split("```toml\n").nth(1).unwrap().split("```").next().unwrap();
    let read = |text: &str| text.parse::<toml::Table>().unwrap();
    assert_eq!(read(block), read(include_str!("../../../docs/first_test.toml")));
}
