//! The project's tasks: `cargo xtask run`, `cargo xtask test`, `cargo xtask bench`.
//!
//! Only the standard library is used, so that a task starts within seconds of a checkout.
#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a task talks to the person who runs it"
)]

mod browser;
mod python;
mod run;
mod test;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use run::cargo;

const USAGE: &str = "\
cargo xtask run [-- ARGUMENTS]   build the program and open it (or run it with ARGUMENTS)
cargo xtask test                 everything that a change must pass
cargo xtask bench                measure, beside the same equations in SciPy";

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
    let build = ["run", "--release", "--package", "incisura", "--"];
    run::run(cargo().args(build).args(arguments))
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

/// The folder of the workspace.
fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.parent().unwrap_or(here).to_owned()
}

/// The folder that builds go to.
fn target() -> PathBuf {
    std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root().join("target"), PathBuf::from)
}
