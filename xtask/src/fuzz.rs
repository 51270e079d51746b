//! Random bytes for whatever reads what others wrote.

use std::path::Path;
use std::process::Command;

use crate::run::{cargo, exists, quietly, run};
use crate::{Done, root, target};

/// The targets, and the longest input in bytes that is worth trying.
const TARGETS: [(&str, u32); 10] = [
    ("scan_read", 200_000),
    ("scan_page", 60_000),
    ("test_definition", 8_000),
    ("convention", 40_000),
    ("cycle_json", 40_000),
    ("heart_toml", 4_000),
    ("recording_edf", 20_000),
    ("recording_wfdb", 20_000),
    ("recording_csv", 10_000),
    ("recording_wav", 4_000),
];
/// How long each runs unless told.
const SECONDS: u32 = 60;
/// No input may take longer, in seconds.
const LONGEST_S: u32 = 10;
/// Nor more memory, in megabytes; AddressSanitizer's own is in it.
const MOST_MB: u32 = 1_200;

/// `[TARGET] [--seconds N]`: builds the targets and runs them one after another.
pub(crate) fn fuzz(arguments: &[String]) -> Done {
    let asked = Asked::read(arguments)?;
    possible()?;
    let fuzz = root().join("fuzz");
    if !fuzz.join("corpus").is_dir() {
        println!("== first inputs");
        run(cargo().args(["run", "--quiet", "--example", "seeds"]).current_dir(&fuzz))?;
    }
    let folder = target().join("fuzz");
    for (name, longest) in TARGETS.into_iter().filter(|(name, _)| asked.wants(name)) {
        println!("\n== {name}");
        let found = folder.join("found").join(name);
        std::fs::create_dir_all(&found)
            .map_err(|error| format!("cannot make {}: {error}", found.display()))?;
        let corpus = fuzz.join("corpus").join(name);
        let ran = run(tool(&folder)
            .args(["run", "--fuzz-dir", "fuzz", name])
            .arg(corpus)
            .args(["--", &format!("-max_total_time={}", asked.seconds)])
            .args([format!("-timeout={LONGEST_S}"), format!("-rss_limit_mb={MOST_MB}")])
            .args([
                format!("-max_len={longest}"),
                format!("-artifact_prefix={}/", found.display()),
            ]));
        ran.map_err(|_| format!("{name} failed; the input that did it is in {}", found.display()))?;
    }
    Ok(())
}

/// cargo-fuzz, with a stable compiler allowed what it needs: coverage and AddressSanitizer.
fn tool(folder: &Path) -> Command {
    let mut tool = cargo();
    tool.arg("fuzz").env("RUSTC_BOOTSTRAP", "1").env("CARGO_TARGET_DIR", folder);
    tool
}

/// Says what is missing.
fn possible() -> Done {
    quietly(cargo().args(["fuzz", "--version"])).map_err(|_| {
        "cargo-fuzz is missing; `cargo install cargo-fuzz --locked` brings it".to_owned()
    })?;
    let compiler = exists("c++") || exists("g++") || exists("clang++");
    compiler.then_some(()).ok_or_else(|| {
        "a C++ compiler is missing, for the fuzzer's runtime (Debian: apt-get install g++)"
            .to_owned()
    })
}

/// What is typed.
#[derive(Debug, PartialEq)]
struct Asked {
    target: Option<String>,
    seconds: u32,
}

impl Asked {
    fn read(arguments: &[String]) -> Result<Self, String> {
        let mut asked = Self { target: None, seconds: SECONDS };
        let mut words = arguments.iter();
        while let Some(word) = words.next() {
            if word == "--seconds" {
                let number = words.next().and_then(|number| number.parse().ok());
                asked.seconds = number.ok_or("--seconds needs a whole number")?;
            } else if TARGETS.iter().any(|(name, _)| name == word) && asked.target.is_none() {
                asked.target = Some(word.clone());
            } else {
                let names = TARGETS.map(|(name, _)| name).join(", ");
                return Err(format!("“{word}” is none of the targets: {names}"));
            }
        }
        Ok(asked)
    }

    fn wants(&self, name: &str) -> bool {
        self.target.as_deref().is_none_or(|target| target == name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_typed_is_understood_or_told() {
        let read = |words: &[&str]| {
            Asked::read(&words.iter().map(|&word| word.to_owned()).collect::<Vec<_>>())
        };
        assert_eq!(read(&[]), Ok(Asked { target: None, seconds: SECONDS }));
        let asked = read(&["--seconds", "5", "scan_read"]).expect("both are known");
        assert_eq!(asked, Asked { target: Some("scan_read".to_owned()), seconds: 5 });
        assert!(asked.wants("scan_read") && !asked.wants("convention"));
        assert!(read(&["--seconds"]).is_err());
        assert!(read(&["scan_write"]).expect_err("unknown").contains("cycle_json"));
    }

    #[test]
    fn the_targets_are_those_that_are_built() {
        let folder = root().join("fuzz/targets");
        for (name, _) in TARGETS {
            assert!(folder.join(format!("{name}.rs")).is_file(), "{name}");
        }
        let there = std::fs::read_dir(folder).expect("the folder is there").count();
        assert_eq!(there, TARGETS.len());
    }
}
