//! Everything that a change must pass, the quick things first.

use std::io::{BufRead as _, BufReader};
use std::process::{Command, Stdio};

use crate::practice::{self, BROWSER_TARGET, Built};
use crate::run::{cargo, need, run};
use crate::{Done, browser, python};

/// Crates that must also compile for the browser, and so may touch no files.
const PORTABLE: [&str; 7] =
    ["cycle", "heart", "figure", "convention", "cardiac", "landmarks", "sheet"];

pub(crate) fn test() -> Done {
    step("layout of the code");
    run(cargo().args(["fmt", "--all", "--check"]))?;
    step("the practice core for browsers, and lints");
    // The one ends on a single thread, and the other does not need it.
    let (core, lints) = std::thread::scope(|scope| {
        let core = scope.spawn(Built::new);
        let lints = lints();
        (core.join(), lints)
    });
    lints?;
    let core = core.map_err(|_| "the practice core's build stopped".to_owned())?;
    step("crates that run in a browser");
    portable()?;
    // Built first, so that what a browser is shown is what the tests then test.
    run(core.include(&mut cargo()).args(["build", "--quiet", "--package", "incisura"]))?;
    step("the page in a browser");
    // A browser waits more than it works: meanwhile the tests are built. What is wrong with them
    // is told when they are run.
    std::thread::scope(|scope| {
        scope.spawn(|| tests(&core, &TESTS).arg("--no-run").stderr(Stdio::null()).status());
        browser::check()
    })?;
    step("tests");
    cargo_test(&core)
}

fn lints() -> Done {
    // The benchmarks bring a solver for comparison that takes minutes to build, so they are left to
    // `cargo xtask bench`.
    let all = ["clippy", "--workspace", "--exclude", "bench", "--all-targets", "--quiet"];
    run(cargo().args(all).args(["--", "-D", "warnings"]).env_remove(practice::VARIABLE))
}

fn step(title: &str) {
    println!("\n== {title}");
}

fn portable() -> Done {
    if !practice::has_target() {
        println!("skipped: `rustup target add {BROWSER_TARGET}` makes this possible");
        return Ok(());
    }
    let packages = PORTABLE.iter().flat_map(|name| ["--package", name]);
    run(cargo().args(["check", "--quiet", "--target", BROWSER_TARGET]).args(packages))
}

/// What the crates' own tests are, but those in their documents. Lints have seen the examples,
/// which need not be built.
const TESTS: [&str; 3] = ["--lib", "--bins", "--tests"];

/// Cargo's command that runs the crates' own tests of a kind.
fn tests(core: &Built, kind: &[&str]) -> Command {
    let mut tests = cargo();
    core.include(&mut tests);
    tests.args(["test", "--workspace", "--exclude", "bench", "--no-fail-fast", "--quiet"]);
    tests.args(kind);
    tests
}

/// The crates' own tests, last, so that their count is the last that is said.
fn cargo_test(core: &Built) -> Done {
    let mut all = [tests(core, &TESTS), tests(core, &["--doc"])];
    match python::with_libraries() {
        Ok(python) => drop(all[0].env("INCISURA_PYTHON", python)),
        Err(why) => println!("the checks by Python libraries are skipped: {why}"),
    }
    if let Err(why) = need("pdftoppm", &["poppler-utils"]) {
        println!("printed sheets are not measured: {why}");
    }
    if let Err(why) = need("lou_translate", &["liblouis-bin"]) {
        println!("braille is not compared with another translation: {why}");
    }
    let mut count = Count::default();
    let mut passed = true;
    for tests in &mut all {
        passed &= counted(tests, &mut count)?;
    }
    println!("{} passed, {} failed", count.passed, count.failed);
    passed.then_some(()).ok_or_else(|| "tests failed".to_owned())
}

/// Runs tests, shows what they say, and counts them; whether all passed.
fn counted(tests: &mut Command, count: &mut Count) -> Result<bool, String> {
    let mut child = tests
        .stdout(Stdio::piped())
        .spawn()
        .map_err(|error| format!("cannot run cargo: {error}"))?;
    for line in child.stdout.take().into_iter().flat_map(|output| BufReader::new(output).lines()) {
        let line = line.map_err(|error| format!("cannot read what the tests say: {error}"))?;
        println!("{line}");
        count.add(&line);
    }
    let status = child.wait().map_err(|error| format!("cannot wait for cargo: {error}"))?;
    Ok(status.success())
}

/// How many tests passed and failed, over all test programs.
#[derive(Debug, Default, PartialEq)]
struct Count {
    passed: u32,
    failed: u32,
}

impl Count {
    /// Adds what a line such as `test result: ok. 3 passed; 0 failed; …` says.
    fn add(&mut self, line: &str) {
        let Some(result) = line.strip_prefix("test result: ") else { return };
        let words: Vec<&str> = result.split([' ', ';']).filter(|word| !word.is_empty()).collect();
        for pair in words.windows(2) {
            let number = pair[0].parse().unwrap_or(0);
            match pair[1] {
                "passed" => self.passed += number,
                "failed" => self.failed += number,
                _ => {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_add_up_over_programs() {
        let mut count = Count::default();
        for line in [
            "running 3 tests",
            "test result: ok. 3 passed; 0 failed; 0 ignored; 0 measured",
            "test result: FAILED. 10 passed; 2 failed; 1 ignored; 0 measured",
        ] {
            count.add(line);
        }
        assert_eq!(count, Count { passed: 13, failed: 2 });
    }
}
