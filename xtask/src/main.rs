//! The project's tasks: `cargo xtask run`, `cargo xtask test`, `cargo xtask bench`,
//! `cargo xtask accuracy`, `cargo xtask practice`, `cargo xtask fuzz`.
//!
//! Only the standard library is used, so that a task starts within seconds of a checkout.
#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a task talks to the person who runs it"
)]

mod browser;
mod fuzz;
mod practice;
mod python;
mod run;
mod test;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use run::cargo;

const USAGE: &str = "\
cargo xtask run [-- ARGUMENTS]   build the program and open it (or run it with ARGUMENTS)
cargo xtask test                 everything that a change must pass
cargo xtask bench                measure, beside the same equations in SciPy
cargo xtask accuracy [-- ARGUMENTS]
                                 fill in, capture, read and mark 500 drawings whose truth is known;
                                 without ARGUMENTS, writes docs/accuracy.md
cargo xtask practice             build the core of practice pages for browsers
cargo xtask fuzz [TARGET] [--seconds N]
                                 random bytes for whatever reads files and texts";

/// What went wrong, in words.
type Done = Result<(), String>;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (task, rest) = match arguments.split_first() {
        Some((task, rest)) => (task.as_str(), rest),
        None => ("", &[][..]),
    };
    let done = match task {
        "run" => run_program(rest),
        "test" => test::test(),
        "bench" => bench(rest),
        "accuracy" => accuracy(rest),
        "practice" => practice(),
        "fuzz" => fuzz::fuzz(rest),
        _ => {
            eprintln!("{USAGE}");
            return ExitCode::from(2);
        }
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(what) => {
            eprintln!("error: {what}");
            ExitCode::FAILURE
        }
    }
}

fn run_program(arguments: &[String]) -> Done {
    let arguments = arguments.strip_prefix(&["--".to_owned()][..]).unwrap_or(arguments);
    let mut program = cargo();
    program.args(["run", "--release", "--package", "incisura", "--"]).args(arguments);
    practice::Built::new().include(&mut program);
    run::run(&mut program)
}

fn practice() -> Done {
    let core = practice::core()?;
    println!("{}", core.display());
    Ok(())
}

fn bench(arguments: &[String]) -> Done {
    let mut bench = cargo();
    bench.args(["bench", "--package", "bench"]).args(arguments);
    match python::with_libraries() {
        Ok(python) => drop(bench.env("INCISURA_PYTHON", python)),
        Err(why) => println!("SciPy is left out of the comparison: {why}"),
    }
    run::run(&mut bench)
}

/// The tables go into the guide only if they are the ones that it speaks of.
fn accuracy(arguments: &[String]) -> Done {
    let arguments = arguments.strip_prefix(&["--".to_owned()][..]).unwrap_or(arguments);
    let mut measure = cargo();
    measure.args(["run", "--release", "--package", "accuracy", "--"]).args(arguments);
    if arguments.is_empty() {
        measure.arg("--output").arg(root().join("docs/accuracy.md"));
    }
    run::run(&mut measure)
}

/// The folder of the workspace.
fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.parent().unwrap_or(here).to_owned()
}

/// The folder that builds go to.
fn target() -> PathBuf {
    std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root().join("target"), PathBuf::from)
}
