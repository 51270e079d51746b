//! Killed at any instant, the database opens and has all that was confirmed.
//!
//! This shows what a killed program leaves behind. That power may fail as well rests on SQLite's
//! `synchronous = EXTRA`, and on a disk that does not lie about having written.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]
#![allow(clippy::print_stdout, reason = "the child confirms on its standard output")]

mod common;

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

use common::*;
use course::{Course, FILE, Json, Marking, MarkingId, Ruling, SheetVerdicts, What};

const FOLDER: &str = "COURSE_CRASH_FOLDER";
const ROUND: &str = "COURSE_CRASH_ROUND";
const KILLS: u32 = 50;
const SHEETS: u32 = 20;
const RULES: usize = 10;

/// What is stored with a page: several of SQLite's own pages, and told from any other's.
fn contents(hash: &str) -> (Json, Vec<u8>) {
    let seed = hash.bytes().fold(7u32, |sum, byte| sum.wrapping_mul(31) + u32::from(byte));
    let numbers: Vec<u32> = (0..2000).map(|place| seed.wrapping_mul(place)).collect();
    let picture = numbers.iter().flat_map(|number| number.to_le_bytes()).collect();
    (Json::of(&numbers).unwrap(), picture)
}

/// The child: adds, and says so after each call has returned, until it is killed.
#[test]
fn child() {
    let Ok(folder) = std::env::var(FOLDER) else { return };
    let round = std::env::var(ROUND).unwrap();
    let course = Course::open(Path::new(&folder)).unwrap();
    course.add_test(&test(), AT).unwrap();
    let sheets: Vec<_> = (0..SHEETS).map(|number| sheet(number, 'A', None)).collect();
    course.add_sheets(TEST, &sheets, &by("as printed")).unwrap();
    for step in 0.. {
        let (hash, number) = (format!("{round}-{step}"), step % SHEETS);
        let (drawing, picture) = contents(&hash);
        let at = &place(number, 1);
        course.add_page(&input(&hash, 1), at, &drawing, Some(&picture), AT).unwrap();
        println!("\npage {hash} .");
        let what = What::Rule { rule: hash.clone(), ruling: Ruling::Waived };
        let id = course.decide(TEST, number, &what, None, &by("seen")).unwrap();
        println!("\ndecision {} {number} {hash} .", id.0);
        if step % 4 == 0 {
            let verdict = Json::parse(format!("\"{hash}\"")).unwrap();
            let verdicts: Vec<_> =
                (0..RULES).map(|rule| (rule.to_string(), verdict.clone())).collect();
            let sheets: Vec<_> = (0..SHEETS)
                .map(|sheet| SheetVerdicts { sheet, verdicts: verdicts.clone() })
                .collect();
            let [test, program, at] = [TEST, "0.1.0", AT].map(str::to_owned);
            let marking = Marking { test, rubric: hash.clone(), program, at };
            let id = course.add_marking(&marking, &sheets, Some(&by("run"))).unwrap();
            println!("\nmarking {} {hash} .", id.0);
        }
    }
}

/// Starts the child, kills it after a while, and gives what it confirmed. The while begins when
/// the child is started, or when it has confirmed something.
fn killed(folder: &Path, round: u32, after_first: bool, wait: Duration) -> Vec<String> {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "child", "--nocapture"])
        .env(FOLDER, folder)
        .env(ROUND, round.to_string())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let out = BufReader::new(child.stdout.take().unwrap());
    let (send, receive) = mpsc::channel();
    let reader = std::thread::spawn(move || {
        for line in out.lines().map_while(Result::ok).filter(|line| line.ends_with(" .")) {
            send.send(line).unwrap();
        }
    });
    let mut confirmed = Vec::new();
    if after_first {
        confirmed.extend(receive.recv_timeout(Duration::from_secs(20)));
    }
    std::thread::sleep(wait);
    child.kill().unwrap();
    let status = child.wait().unwrap();
    assert!(!status.success(), "the child ended by itself");
    #[cfg(unix)]
    assert_eq!(std::os::unix::process::ExitStatusExt::signal(&status), Some(9), "{status}");
    reader.join().unwrap();
    confirmed.extend(receive);
    confirmed
}

/// Whether a line of the child's is true of the database.
fn assert_there(course: &Course, line: &str) {
    let words: Vec<&str> = line.split(' ').collect();
    match words[..] {
        ["page", hash, _] => {
            let page = course.page_of(hash, 1, "reader 1").unwrap().expect(line);
            let (drawing, picture) = contents(hash);
            assert_eq!(course.drawing(page.id).unwrap(), Some(drawing), "{line}");
            assert_eq!(course.picture(page.id).unwrap(), Some(picture), "{line}");
        }
        ["decision", id, sheet, hash, _] => {
            let history = course.history(TEST, sheet.parse().unwrap()).unwrap();
            let found = history.iter().find(|one| one.id.0.to_string() == id).expect(line);
            let what = What::Rule { rule: hash.to_owned(), ruling: Ruling::Waived };
            assert_eq!((&found.what, &found.by), (&what, &by("seen")), "{line}");
        }
        ["marking", id, hash, _] => {
            let id = MarkingId(id.parse().unwrap());
            let markings = course.markings(TEST).unwrap();
            let found = markings.iter().find(|one| one.id == id).expect(line);
            assert_eq!(found.marking.rubric, hash, "{line}");
        }
        _ => panic!("the child said “{line}”"),
    }
}

/// Every marking, confirmed or not, is whole.
fn assert_markings_whole(course: &Course, checked: &mut BTreeMap<MarkingId, String>) {
    if course.test(TEST).unwrap().is_none() {
        return;
    }
    for known in course.markings(TEST).unwrap() {
        let rubric = known.marking.rubric;
        if let Some(before) = checked.insert(known.id, rubric.clone()) {
            assert_eq!(before, rubric);
            continue;
        }
        let sheets = course.verdicts(known.id).unwrap();
        assert_eq!((sheets.len() as u32, known.accepted.len()), (SHEETS, 1));
        for sheet in sheets {
            assert_eq!(sheet.verdicts.len(), RULES);
            assert!(sheet.verdicts.iter().all(|(_, json)| json.to::<String>().unwrap() == rubric));
        }
    }
}

#[test]
fn nothing_confirmed_is_lost_when_the_program_is_killed() {
    let folder = folder("crash");
    let (mut confirmed, mut amid, mut markings) = (Vec::new(), 0, BTreeMap::new());
    for round in 0..KILLS {
        // 37 has no divisor in common with 301: times from 0 to 300 ms, in no order.
        let wait = Duration::from_millis(u64::from(round * 37 % 301));
        confirmed.extend(killed(&folder, round, round % 2 == 1, wait));
        amid += u32::from(folder.join(format!("{FILE}-journal")).exists());
        let course = Course::open(&folder).unwrap();
        course.check().unwrap();
        assert_markings_whole(&course, &mut markings);
        // All of this round and those just before; the rest in the end.
        for line in confirmed.iter().rev().take(60) {
            assert_there(&course, line);
        }
    }
    let course = Course::open(&folder).unwrap();
    for line in &confirmed {
        assert_there(&course, line);
    }
    println!("{} confirmed; {amid} of {KILLS} kills fell into a writing", confirmed.len());
    assert!(confirmed.len() > 100, "only {} confirmed: too slow to show anything", confirmed.len());
    assert!(amid > 5, "only {amid} kills fell into a writing: they show nothing");
}

#[test]
fn a_file_that_was_being_made_can_be_opened() {
    for round in 0..20 {
        let folder = folder("crash_making");
        killed(&folder, round, false, Duration::from_millis(u64::from(round * 3)));
        let course = Course::open(&folder).unwrap();
        course.check().unwrap();
        course.add_test(&test(), AT).unwrap();
    }
}
