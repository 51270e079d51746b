//! The guide to recordings, held to the program: what it shows is run and compared.
//!
//! In docs/recordings.md, a block of TOML after `<!-- begins F -->` is the file F; blocks of `sh`
//! are run from top to bottom; a block of `text` is what the last of their commands says, with “…”
//! for what is left out.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

const PAGE: &str = include_str!("../../../docs/recordings.md");

fn folder(test: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(test);
    let _ = fs::remove_dir_all(&path);
    fs::create_dir_all(&path).unwrap();
    path
}

/// The words of a line of a shell; quotation marks hold several together.
fn words(line: &str) -> Vec<String> {
    let parts = line.split('"').enumerate();
    let words = parts.flat_map(|(index, part)| match index % 2 {
        0 => part.split_whitespace().map(str::to_owned).collect(),
        _ => vec![part.to_owned()],
    });
    words.collect()
}

fn run(folder: &Path, line: &str) -> String {
    let words = words(line);
    assert_eq!(words[0], "incisura", "{line}");
    let mut program = Command::new(env!("CARGO_BIN_EXE_incisura"));
    let output = program.args(&words[1..]).current_dir(folder).output().unwrap();
    assert!(output.status.success(), "{line}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn the_program_says_and_draws_what_the_page_on_recordings_shows() {
    let folder = folder("recordings guide");
    let (mut said, mut above, mut file) = (String::new(), "", None);
    let (mut commands, mut compared) = (0, 0);
    let mut block: Option<&str> = None;
    let mut text = String::new();
    let mut rest: Vec<String> = Vec::new();
    for (index, line) in PAGE.lines().enumerate() {
        let place = format!("docs/recordings.md, line {}", index + 1);
        match (line.strip_prefix("```"), block) {
            (Some(language), None) => {
                block = Some(language);
                file = above.strip_prefix("<!-- begins ").and_then(|f| f.strip_suffix(" -->"));
                text.clear();
                rest = said.lines().map(|line| line.trim().to_owned()).rev().collect();
            }
            (Some(_), Some(language)) => {
                if let (Some(file), "toml") = (file, language) {
                    fs::write(folder.join(file), &text).unwrap();
                }
                block = None;
            }
            (None, Some("sh")) => {
                said = run(&folder, line);
                commands += 1;
            }
            (None, Some("text")) if line.trim() != "…" => {
                let mut found = false;
                while let Some(next) = rest.pop() {
                    found = next == line.trim();
                    if found {
                        break;
                    }
                }
                assert!(found, "{place}: not said: {line}\n{said}");
                compared += 1;
            }
            (None, Some(_)) => text += &format!("{line}\n"),
            (None, None) => {}
        }
        above = line;
    }
    assert!(commands >= 6 && compared > 30, "{commands} commands, {compared} lines");
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs");
    let old = fs::read_to_string(docs.join("pictures/average_beat.svg")).unwrap();
    let same = old == fs::read_to_string(folder.join("measured/average.svg")).unwrap();
    assert!(same, "docs/pictures/average_beat.svg is out of date; it is measured/average.svg");
    assert_eq!(PAGE.matches("](pictures/").count(), 2);
}

#[test]
fn the_page_on_recordings_names_what_there_is() {
    let folder = folder("recordings guide options");
    let help = ["measure", "demo", "convention"]
        .map(|command| run(&folder, &format!("incisura {command} --help")))
        .concat();
    let split = |text: &'static str| text.split(|c: char| !(c.is_ascii_alphanumeric() || c == '-'));
    for option in split(PAGE).filter(|word| word.starts_with("--") && !word.ends_with('-')) {
        let mut known = help.split(|c: char| !(c.is_ascii_alphanumeric() || c == '-'));
        assert!(known.any(|word| word == option), "there is no {option}");
    }
    let caution: Vec<&str> = recording::CAUTION.split_whitespace().collect();
    let page: Vec<&str> = PAGE.split_whitespace().filter(|word| *word != ">").collect();
    assert!(page.join(" ").contains(&caution.join(" ")), "the caution is not on the page");
    for column in recording::Correction::HEADER {
        assert!(PAGE.contains(&format!("`{column}`")), "the column {column} is not on the page");
    }
}
