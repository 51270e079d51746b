//! The program: hearts and figures from the command line, and the same in the browser.
//!
//! This crate is the only one that reads and writes files, listens on a port or knows what
//! HTML is. What was typed is in `args`; each command is one module; the pages are in `web`.

mod args;
mod chance;
mod convention_command;
mod demo_command;
mod demo_recording;
mod exercises;
mod failure;
mod figure_command;
mod figure_file;
mod files;
mod mark;
mod mark_command;
mod measure;
mod measure_command;
mod practice_page;
mod printed_from;
mod progress;
mod roster;
mod schematics;
mod sheet_command;
mod simulate;
mod standard;
mod summary;
mod test_file;
mod web;
mod worksheet;

use std::process::ExitCode;

use clap::Parser;

use args::{Args, Command};

/// Exit codes: 0 done, 1 could not, 2 wrong usage (given by the argument parser).
fn main() -> ExitCode {
    let args = Args::parse();
    let done = match args.command.unwrap_or_default() {
        Command::Open(open) => web::open(&open),
        Command::Simulate(simulate) => simulate::run(&simulate),
        Command::Convention(convention) => convention_command::run(&convention),
        Command::Figure(figure) => figure_command::run(&figure),
        Command::Sheet(sheet) => sheet_command::run(&sheet),
        Command::Mark(mark) => mark_command::run(&mark),
        Command::Measure(measure) => measure_command::run(&measure),
        Command::PracticePage(page) => practice_page::run(&page),
        Command::Demo(demo) => demo_command::run(&demo),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            files::tell(&format!("error: {failure}"));
            ExitCode::FAILURE
        }
    }
}
