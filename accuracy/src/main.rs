//! How exactly drawings are read and marked: fills in sheets, captures them, reads them back and
//! compares what is found with the truth.
//!
//! `cargo xtask accuracy [-- --count N --seed S --keep FOLDER --again --show]`; `--fit` is told of in
//! `fit.rs`.
#![allow(clippy::print_stdout, reason = "what is measured is told")]

mod drawings;
mod fit;
mod report;
mod tally;

use std::error::Error;
use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use drawings::{Kept, Printed, TESTS};
use tally::Tally;

/// What is typed.
struct Asked {
    count: usize,
    seed: u64,
    /// Where captures and what was read from them are kept between runs.
    keep: Option<PathBuf>,
    /// Whether kept captures are read again.
    again: bool,
    /// Whether every verdict that is not right is told, and how every landmark was found.
    show: bool,
    /// What is fitted to kept drawings, instead of measuring.
    fit: Option<String>,
    /// The file that the tables are written to.
    output: Option<PathBuf>,
}

fn asked() -> Result<Asked, Box<dyn Error>> {
    let mut asked = Asked {
        count: 500,
        seed: 11,
        keep: None,
        again: false,
        show: false,
        fit: None,
        output: None,
    };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut next = || words.next().ok_or(format!("{word} needs a value"));
        match word.as_str() {
            "--count" => asked.count = next()?.parse()?,
            "--seed" => asked.seed = next()?.parse()?,
            "--keep" => asked.keep = Some(next()?.into()),
            "--output" => asked.output = Some(next()?.into()),
            "--fit" => asked.fit = Some(next()?),
            "--again" => asked.again = true,
            "--show" => asked.show = true,
            _ => return Err(format!("unknown: {word}").into()),
        }
    }
    Ok(asked)
}

fn main() -> Result<(), Box<dyn Error>> {
    let asked = asked()?;
    if let Some(folder) = &asked.keep {
        std::fs::create_dir_all(folder)?;
    }
    let subject = heart::subject();
    let tests = TESTS.map(|sheet| drawings::test(sheet.definition, &subject));
    let tests = tests.into_iter().collect::<Result<Vec<_>, _>>()?;
    let printed =
        tests.iter().map(|test| Printed::new(test, &subject)).collect::<Result<Vec<_>, _>>()?;
    let seed_of = |number: usize| asked.seed * drawings::MOST + number as u64;
    if let Some(what) = &asked.fit {
        let folder = asked.keep.as_deref().ok_or("--fit needs --keep FOLDER")?;
        return fit::fit(what, &printed, &subject, folder);
    }
    let kept = Kept { folder: asked.keep.as_deref(), again: asked.again };
    let tallies: Mutex<Vec<Option<Tally>>> = Mutex::new(vec![None; asked.count]);
    let failed = Mutex::new(None);
    let next = AtomicUsize::new(0);
    let work = || {
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            if number >= asked.count {
                break;
            }
            match drawings::one(&printed, number, seed_of(number), &kept) {
                Ok(one) => {
                    let tally = Tally::of(&one, asked.show);
                    let mut all = tallies.lock().unwrap_or_else(PoisonError::into_inner);
                    all[number] = Some(tally);
                }
                Err(error) => {
                    let mut failed = failed.lock().unwrap_or_else(PoisonError::into_inner);
                    *failed = Some(error.to_string());
                }
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(2, usize::from) {
            scope.spawn(work);
        }
    });
    if let Some(error) = failed.into_inner().unwrap_or_else(PoisonError::into_inner) {
        return Err(error.into());
    }
    let tallies = tallies.into_inner().unwrap_or_else(PoisonError::into_inner);
    let tallies: Vec<Tally> = tallies.into_iter().flatten().collect();
    let report = report::report(asked.count, asked.seed, &tallies);
    match asked.output {
        Some(path) => std::fs::write(path, report)?,
        None => print!("{report}"),
    }
    Ok(())
}
