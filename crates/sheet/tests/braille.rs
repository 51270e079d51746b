//! Braille beside liblouis's table of the same code, cell by cell.
#![allow(clippy::print_stdout, reason = "a test says what it found, and why it is skipped")]
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use std::io::Write as _;
use std::process::{Command, Stdio};

use sheet::braille::{cells, unicode};

const TABLES: &str = "unicode.dis,en-ueb-g1.ctb";

/// What is neither in a subject nor in a convention: numbers, units, quotation, capitals.
const OTHERS: [&str; 61] = [
    "75 beats a minute",
    "3.5 mm",
    "120/80 mmHg",
    "S1",
    "10a",
    "10 a",
    "10k",
    "10A",
    "10-a",
    "1.5a",
    "3,a",
    "2nd",
    "0.6",
    ".5",
    "(.5)",
    "−.5",
    "−5",
    "-5",
    "+5",
    "±5",
    "1,000",
    "1 000",
    "12 345",
    "12:30",
    "3–4",
    "3 – 4",
    "5 − 3 = 2",
    "50%",
    "37 °C",
    "cm²",
    "m³",
    "µV",
    "½",
    "a ≤ b",
    "2 × 3",
    "QRS complex",
    "mmHG",
    "AaBB",
    "IIa",
    "ABC-D",
    "A–V node",
    "LV's",
    "O'Neil",
    "U.S.A.",
    "P and R.",
    "P, Q, R and S",
    "ECG (LV) AO end.",
    "THE CAT SAT",
    "“P Q R” x",
    "A 1 B C",
    "what?",
    "?",
    "(what?)",
    "“Yes”",
    "say \"yes\"",
    "it’s",
    "say ‘it’s’ here",
    "[a]; b! …",
    "word—word",
    "é Éa ÉCG ü ñ ø",
    "R & D",
];

#[test]
fn every_name_and_sentence_is_written_as_liblouis_writes_it() {
    if Command::new("lou_translate").arg("--version").output().is_err() {
        println!("skipped: lou_translate is absent; install liblouis-bin");
        return;
    }
    let texts = texts();
    let theirs = translated(&texts);
    assert_eq!(theirs.len(), texts.len());
    let mut differing = Vec::new();
    for (text, theirs) in texts.iter().zip(&theirs) {
        let ours = unicode(&cells(text).unwrap());
        if ours != *theirs {
            differing.push(format!("{text}: {ours}, not {theirs}"));
        }
    }
    println!("{} texts compared", texts.len());
    assert!(differing.is_empty(), "{}", differing.join("\n"));
}

/// Everything that a page may write: the subject's names and units and the shipped conventions'
/// sentences, and [`OTHERS`].
fn texts() -> Vec<String> {
    let subject = heart::subject();
    let mut texts: Vec<String> = OTHERS.map(str::to_owned).to_vec();
    texts.push(subject.title);
    for kind in subject.channels {
        texts.extend([kind.title, kind.label, kind.unit]);
    }
    for kind in subject.landmarks {
        texts.extend([kind.title, kind.label]);
    }
    for kind in subject.events {
        texts.push(kind.title);
        texts.extend(kind.noun);
    }
    texts.extend(subject.phases.into_iter().flat_map(|kind| [kind.title, kind.short]));
    texts.extend(subject.bars.into_iter().flat_map(|kind| [kind.title, kind.state]));
    texts.extend(subject.strokes.into_iter().flat_map(|kind| [kind.title, kind.draw, kind.cause]));
    for shipped in cardiac::CONVENTIONS {
        let convention = shipped.convention();
        texts.extend([convention.title, convention.about, convention.simplifies]);
        texts.extend(convention.rules.into_iter().flat_map(|rule| [rule.text, rule.cause]));
    }
    texts.retain(|text| !text.is_empty());
    texts.sort();
    texts.dedup();
    texts
}

fn translated(texts: &[String]) -> Vec<String> {
    let mut program = Command::new("lou_translate")
        .args(["--forward", TABLES])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = program.stdin.take().unwrap();
    let lines = texts.join("\n") + "\n";
    // The program answers while it reads, so that a pipe could fill up in both directions.
    let writing = std::thread::spawn(move || input.write_all(lines.as_bytes()).unwrap());
    let output = program.wait_with_output().unwrap();
    writing.join().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap().lines().map(str::to_owned).collect()
}
