//! Forty pages in colour at 300 dpi, read, flattened and their drawings followed on two threads,
//! beside OpenCV that only decodes the same pictures on two threads.
#![allow(clippy::print_stdout, reason = "a benchmark says what it measured")]

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Mutex;
use std::time::{Duration, Instant};

#[path = "../../crates/scan/tests/printed/mod.rs"]
#[allow(dead_code, reason = "the tests use more of it")]
#[allow(clippy::unwrap_used, reason = "written for tests, where what fails should stop it")]
mod printed;

use hand::{Capture, Copier, PdfPage, Sheet, Student, draw, jpeg, mistakes, pdf};
use printed::{Printed, printed};
use scan::{Limits, flatten, read, read_code};

const PAGES: u64 = 40;
const DPI: f64 = 300.0;
const THREADS: usize = 2;
/// The variable that names a Python with OpenCV and pikepdf.
const PYTHON: &str = "INCISURA_PYTHON";
/// The variable that names the file, where this program is to read it: peaks of memory are a
/// whole program's.
const FILE: &str = "INCISURA_BENCH_SCANS";

fn main() {
    if let Some(file) = std::env::var_os(FILE) {
        println!("{}", ours(Path::new(&file)));
        return;
    }
    let file = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("forty-pages.pdf");
    if !file.exists() {
        std::fs::write(&file, filled_in(&printed())).expect("the target folder can be written to");
    }
    let me = std::env::current_exe().expect("a program knows its own file");
    let ours = said(Command::new(me).env(FILE, &file)).expect("this program runs");
    println!("{PAGES} pages of {DPI} dpi in colour, {THREADS} threads");
    println!("  read, flattened, code, ink, traces   {ours}");
    let Some(python) = std::env::var_os(PYTHON) else {
        println!(
            "OpenCV is left out: set {PYTHON} to a Python that has it; `cargo xtask bench` does"
        );
        return;
    };
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/decode_pages.py");
    match said(Command::new(python).arg(script).arg(&file).arg(THREADS.to_string())) {
        Ok(theirs) => {
            println!("  only decoded, by OpenCV              {theirs}");
            let seconds =
                |said: &str| said.split(' ').next().and_then(|one| one.parse::<f64>().ok());
            if let (Some(ours), Some(theirs)) = (seconds(&ours), seconds(&theirs)) {
                println!("  ratio                                {:.2}", ours / theirs);
            }
        }
        Err(why) => println!("OpenCV is left out: {why}"),
    }
}

/// What a program says: seconds first.
fn said(command: &mut Command) -> Result<String, String> {
    let output = command.output().map_err(|error| error.to_string())?;
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into_owned());
    }
    Ok(String::from_utf8_lossy(&output.stdout).trim().to_owned())
}

/// A copier's file of the sheet, filled in by forty students.
fn filled_in(printed: &Printed) -> Vec<u8> {
    let subject = heart::subject();
    let handout = printed.handout(&subject);
    let blank = Sheet::print(&printed.page, DPI).expect("the page can be printed");
    let mut files = Vec::new();
    let mut first = None;
    for seed in 1..=PAGES {
        let drawing = draw(&handout, &Student::anyone(seed), &mistakes(&handout, 2, seed));
        let mut sheet = blank.clone();
        sheet.draw(&drawing.pages[0], seed);
        let capture = Capture::Copier(Copier::any(seed, DPI, true));
        let picture = capture.take(&sheet).picture;
        files.push(jpeg(&picture, capture.quality(), 1).expect("the picture can be encoded"));
        let size = (picture.width, picture.height);
        let first = first.get_or_insert(picture);
        assert_eq!((first.width, first.height), size, "a copier's pages are of one size");
    }
    let picture = first.as_ref().expect("there are pages");
    let pages: Vec<PdfPage<'_>> =
        files.iter().map(|jpeg| PdfPage { jpeg, picture, dpi: DPI }).collect();
    pdf(&pages)
}

/// Seconds, how they are spent, and the peak of memory.
fn ours(file: &Path) -> String {
    let printed = printed();
    let bytes = std::fs::read(file).expect("the file was written before");
    let start = Instant::now();
    let pages = read(bytes, "forty-pages.pdf", Limits::default()).expect("it is a copier's file");
    let pages = Mutex::new(pages);
    let spent = std::thread::scope(|scope| {
        let threads = [(); THREADS].map(|()| scope.spawn(|| worked(&pages, &printed)));
        threads.map(|thread| thread.join().expect("no page stops the program"))
    });
    let total = start.elapsed().as_secs_f64();
    let sum = |part: usize| spent.iter().map(|one| one[part].as_secs_f64()).sum::<f64>();
    let each = |part: usize| 1000.0 * sum(part) / PAGES as f64;
    format!(
        "{total:.2} s, {} (ms a page and thread: read {:.0}, flatten {:.0}, code {:.0}, ink {:.0}, traces {:.0})",
        peak(),
        each(0),
        each(1),
        each(2),
        each(3),
        each(4)
    )
}

/// Reads pages until there are no more: the time spent on each part.
fn worked(pages: &Mutex<scan::Pages>, printed: &Printed) -> [Duration; 5] {
    let mut spent = [Duration::ZERO; 5];
    let place = printed.form.code.expect("sheets have a code");
    loop {
        let mut guard = pages.lock().expect("no page stops the program");
        let from = Instant::now();
        let Some(page) = guard.next() else { return spent };
        drop(guard);
        let picture = page.expect("a copier's page");
        let read = Instant::now();
        let page = flatten(&picture, &printed.form).expect("a copier's page lies flat");
        drop(picture);
        let flat = Instant::now();
        assert!(read_code(&page.flat, place).is_some());
        let code = Instant::now();
        let ink = scan::ink::student_ink(&page.flat, &printed.print);
        let ink = ink.expect("the page is as large as its form");
        let inked = Instant::now();
        let drawing = scan::trace::drawing(&ink, &printed.form);
        assert!(!drawing.traces.is_empty());
        let times = [from, read, flat, code, inked, Instant::now()];
        for (spent, pair) in spent.iter_mut().zip(times.windows(2)) {
            *spent += pair[1] - pair[0];
        }
    }
}

/// The most memory that this program has had, where the system tells it.
fn peak() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kilobytes = line.and_then(|line| line.split_whitespace().next()?.parse::<f64>().ok());
    kilobytes.map_or("peak unknown".to_owned(), |kb| format!("peak {:.0} MB", kb / 1000.0))
}
