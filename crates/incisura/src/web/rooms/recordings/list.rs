//! Which files of the course are recordings.

use std::fs;
use std::io::Read as _;

use crate::web::folder::Folder;

/// Where recordings are put that are brought in.
pub(crate) const INSIDE: &str = "recordings";
/// What a recording is opened by.
const OPENED: [&str; 7] = [".edf", ".bdf", ".hea", ".csv", ".tsv", ".txt", ".wav"];
/// Tables of text, which can be something else.
const TABLES: [&str; 3] = [".csv", ".tsv", ".txt"];
/// Endings of the files that may be brought in: what is opened, and a WFDB record's other files.
pub(crate) const TAKEN: [&str; 16] = [
    ".edf", ".bdf", ".hea", ".csv", ".tsv", ".txt", ".wav", ".dat", ".mat", ".d16", ".atr", ".qrs",
    ".ecg", ".ann", ".flac", ".xyz",
];
/// What a table of corrections is called after its recording.
const CORRECTIONS: &str = ".corrections.csv";
/// So much of a table tells whether it holds numbers.
const HEAD: u64 = 4_096;
/// A row of a recording's table stands within so many lines.
const LINES: usize = 40;

/// A recording of the course.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Listed {
    /// Its name in the course folder.
    pub(crate) file: String,
    /// How large it is, in bytes; of a WFDB record its header.
    pub(crate) bytes: u64,
}

/// The recordings: those at the top of the folder, then those brought in.
pub(crate) fn recordings(folder: &Folder) -> Vec<Listed> {
    let inside = |name: String| format!("{INSIDE}/{name}");
    let top = folder.files("", &OPENED).into_iter();
    let all = top.chain(folder.files(INSIDE, &OPENED).into_iter().map(inside));
    all.filter_map(|file| listed(folder, file)).collect()
}

fn listed(folder: &Folder, file: String) -> Option<Listed> {
    let path = folder.path(&file).ok()?;
    let small = file.to_lowercase();
    if small.ends_with(CORRECTIONS) {
        return None;
    }
    let brought = small.starts_with(&format!("{INSIDE}/"));
    if !brought && TABLES.iter().any(|ending| small.ends_with(ending)) {
        let mut head = Vec::new();
        fs::File::open(&path).ok()?.take(HEAD).read_to_end(&mut head).ok()?;
        holds_numbers(&String::from_utf8_lossy(&head)).then_some(())?;
    }
    let bytes = fs::metadata(&path).ok()?.len();
    Some(Listed { file, bytes })
}

/// Whether a table's beginning has rows of numbers and nothing else: a class list has not.
fn holds_numbers(head: &str) -> bool {
    let numbers = |line: &str| {
        let split = |c: char| matches!(c, ';' | '\t' | ' ');
        let mut fields: Vec<&str> = line.split(split).filter(|field| !field.is_empty()).collect();
        if fields.len() < 2 {
            fields = line.split(',').collect();
        }
        let number = |field: &&str| field.trim().replace(',', ".").parse::<f64>().is_ok();
        !fields.is_empty()
            && fields.iter().all(|field| field.trim().is_empty() || number(field))
            && fields.iter().any(number)
    };
    // What was cut off at the end is no whole row.
    let whole = head.rsplit_once('\n').map_or(head, |(whole, _)| whole);
    let rows = whole.lines().take(LINES).filter(|line| !line.trim().is_empty());
    rows.filter(|line| numbers(line)).count() >= 2
}

/// A name's part before its ending, which a record's files have in common.
pub(crate) fn stem(file: &str) -> &str {
    let last = file.rsplit('/').next().unwrap_or(file);
    last.rsplit_once('.').map_or(last, |(stem, _)| stem)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_class_list_is_no_recording() {
        assert!(holds_numbers("# x\ntime_s,ECG (mV)\n0.000,0.1\n0.002,-0.2\n"));
        assert!(holds_numbers("0,5;1\n0,6;2\n"));
        assert!(holds_numbers("12\n13\n"));
        assert!(!holds_numbers("name,group,id\nR. Amsel,1,4\nB. Dohle,2,5\n"));
        assert!(!holds_numbers("channel,landmark,beat\necg,t_end,1.5\n"));
        assert!(!holds_numbers(""));
    }

    #[test]
    fn stems_are_what_a_records_files_share() {
        assert_eq!(stem("recordings/100.hea"), stem("100.dat"));
        assert_eq!(stem("a.b.csv"), "a.b");
    }
}
