//! A class list in CSV.

use std::collections::BTreeMap;
use std::path::Path;

use crate::failure::Failure;
use crate::files;

/// The class list of a course, in its folder.
pub(crate) const FILE: &str = "roster.csv";

/// One student.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Student {
    /// As printed.
    pub(crate) name: String,
    /// The college's number or login; empty where the list has none.
    pub(crate) id: String,
}

impl Student {
    /// What marking knows them by: the number or login, or the name where the list has none.
    pub(crate) fn key(&self) -> &str {
        if self.id.is_empty() { &self.name } else { &self.id }
    }
}

/// Headers that mean a whole name, a first name, a last name, or a number, in small letters.
const NAME: [&str; 3] = ["name", "student", "student name"];
const FIRST: [&str; 3] = ["first", "first name", "given name"];
const LAST: [&str; 4] = ["last", "last name", "surname", "family name"];
const ID: [&str; 4] = ["id", "student id", "number", "login"];

/// Reads the class list in `path`: a header line, then a line for each student.
pub(crate) fn read(path: &Path) -> Result<Vec<Student>, Failure> {
    students(&files::read(path)?).map_err(|what| Failure::file(path, what))
}

/// A table with headers, as any spreadsheet writes it.
pub(crate) fn table(text: &str) -> csv::Reader<impl std::io::Read> {
    // Of two characters that end a line, lines would be counted by the first.
    let text = text.trim_start_matches('\u{feff}').replace("\r\n", "\n");
    csv::ReaderBuilder::new()
        .delimiter(separator(&text))
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(std::io::Cursor::new(text))
}

/// What separates the columns. Spreadsheets of other countries separate with semicolons.
fn separator(text: &str) -> u8 {
    let header = text.lines().next().unwrap_or_default();
    let count = |separator: &u8| header.bytes().filter(|byte| byte == separator).count();
    // Of equals, the last is taken.
    [b'\t', b';', b','].into_iter().max_by_key(count).unwrap_or(b',')
}

/// What a column of a class list is taken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Meaning {
    Name,
    First,
    Last,
    Id,
}

/// A class list as it was understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Understood {
    /// What stands between columns.
    pub(crate) separator: char,
    /// Each column's header, and what it is taken for.
    pub(crate) columns: Vec<(String, Option<Meaning>)>,
    pub(crate) students: Vec<Student>,
    /// Lines that are left out, and why.
    pub(crate) left_out: Vec<(u64, &'static str)>,
    /// Students who cannot be told apart, in words.
    pub(crate) alike: Vec<String>,
}

/// Understands what can be understood of a class list.
pub(crate) fn understand(text: &str) -> Result<Understood, String> {
    let mut reader = table(text);
    let headers = reader.headers().map_err(|error| error.to_string())?.clone();
    let column = |known: &[&str]| {
        headers.iter().position(|header| known.contains(&header.to_lowercase().as_str()))
    };
    let (name, first, last, id) = (column(&NAME), column(&FIRST), column(&LAST), column(&ID));
    if headers.iter().all(str::is_empty) {
        return Err(
            "the file is empty; its first line heads the columns, such as name,id".to_owned()
        );
    }
    if name.is_none() && last.is_none() {
        let found: Vec<&str> = headers.iter().collect();
        return Err(format!(
            "no column is headed “name”, or “first name” and “last name”; the headers are {}",
            found.join(", ")
        ));
    }
    let names = if name.is_some() { (name, None, None) } else { (None, first, last) };
    let meaning = |index: usize| {
        [
            (names.0, Meaning::Name),
            (names.1, Meaning::First),
            (names.2, Meaning::Last),
            (id, Meaning::Id),
        ]
        .into_iter()
        .find_map(|(column, meaning)| (column == Some(index)).then_some(meaning))
    };
    let columns = headers.iter().enumerate();
    let columns = columns.map(|(index, header)| (header.to_owned(), meaning(index))).collect();
    let (mut students, mut left_out) = (Vec::<Student>::new(), Vec::new());
    for record in reader.records() {
        let record = record.map_err(|error| error.to_string())?;
        let line = record.position().map_or(0, csv::Position::line);
        let field = |column: Option<usize>| column.and_then(|c| record.get(c)).unwrap_or_default();
        let whole = match name {
            Some(_) => field(name).to_owned(),
            None => format!("{} {}", field(first), field(last)).trim().to_owned(),
        };
        if whole.is_empty() {
            if !record.iter().all(str::is_empty) {
                left_out.push((line, NO_NAME));
            }
            continue;
        }
        students.push(Student { name: whole, id: field(id).to_owned() });
    }
    if students.is_empty() && left_out.is_empty() {
        return Err("there is no student below the headers".to_owned());
    }
    Ok(Understood {
        separator: char::from(separator(text)),
        columns,
        alike: alike(&students),
        students,
        left_out,
    })
}

const NO_NAME: &str = "there is no name";

/// Students of the same id, or of the same name where there is none, as marking knows them.
fn alike(students: &[Student]) -> Vec<String> {
    let mut keys: BTreeMap<&str, &Student> = BTreeMap::new();
    let mut alike = Vec::new();
    for student in students {
        let Some(other) = keys.insert(student.key(), student) else { continue };
        alike.push(if student.id.is_empty() {
            format!("there are two of the name {}; give them different ids", student.name)
        } else {
            format!("{} and {} have the same id {}", other.name, student.name, student.id)
        });
    }
    alike
}

/// A class list's bytes as text, and how they were read.
pub(crate) fn decoded(bytes: &[u8]) -> (String, &'static str) {
    let wide = |read: fn([u8; 2]) -> u16| {
        let units: Vec<u16> =
            bytes[2..].chunks_exact(2).map(|pair| read([pair[0], pair[1]])).collect();
        String::from_utf16_lossy(&units)
    };
    match bytes {
        [0xff, 0xfe, ..] => (wide(u16::from_le_bytes), "UTF-16"),
        [0xfe, 0xff, ..] => (wide(u16::from_be_bytes), "UTF-16"),
        _ => match std::str::from_utf8(bytes) {
            Ok(text) => (text.trim_start_matches('\u{feff}').to_owned(), "UTF-8"),
            Err(_) => (bytes.iter().map(|byte| western(*byte)).collect(), "Windows-1252"),
        },
    }
}

/// A letter of Windows-1252, which spreadsheets of western Europe and America write.
fn western(byte: u8) -> char {
    const HIGH: [char; 32] = [
        '€', '\u{81}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{8d}', 'Ž',
        '\u{8f}', '\u{90}', '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{9d}',
        'ž', 'Ÿ',
    ];
    match byte {
        0x80..=0x9f => HIGH[usize::from(byte - 0x80)],
        other => char::from(other),
    }
}

/// Students as a class list of our own.
pub(crate) fn written(students: &[Student]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let head = Student { name: "name".to_owned(), id: "id".to_owned() };
    for student in std::iter::once(&head).chain(students) {
        writer
            .write_record([&student.name, &student.id])
            .expect("writing to memory succeeds and rows have one length");
    }
    let bytes = writer.into_inner().expect("flushing to memory succeeds");
    String::from_utf8(bytes).expect("fields are text")
}

fn students(text: &str) -> Result<Vec<Student>, String> {
    let understood = understand(text)?;
    match understood.left_out.first() {
        Some((line, why)) => Err(format!("line {line}: {why}")),
        None => Ok(understood.students),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers_and_separators_of_other_programs_are_understood() {
        let expected = vec![
            Student { name: "Ada Brook".into(), id: "17".into() },
            Student { name: "Ben Ø. Carr".into(), id: "18".into() },
        ];
        for text in [
            "Name,ID\nAda Brook,17\nBen Ø. Carr,18\n",
            "\u{feff}Last name;First name;Student ID\nBrook;Ada;17\nCarr;Ben Ø.;18\n\n",
            "id\tstudent\n17\tAda Brook\n18\t\"Ben Ø. Carr\"\n",
        ] {
            assert_eq!(students(text).unwrap(), expected, "{text}");
        }
    }

    #[test]
    fn what_is_missing_is_said() {
        assert!(students("mark\n12\n").unwrap_err().contains("the headers are mark"));
        assert!(students("").unwrap_err().contains("the file is empty"));
        assert!(students("name\n").unwrap_err().contains("no student"));
        assert!(students("name,id\n,12\n").unwrap_err().contains("line 2"));
    }

    #[test]
    fn columns_lines_left_out_and_twins_are_told() {
        let text = "Last name;First name;Group;ID\nBrook;Ada;1;17\n;;2;19\nCarr;Ben;1;17\n;;;\n";
        let understood = understand(text).unwrap();
        let meanings: Vec<_> = understood.columns.iter().map(|(_, meaning)| *meaning).collect();
        let expected = [Some(Meaning::Last), Some(Meaning::First), None, Some(Meaning::Id)];
        assert_eq!(meanings, expected);
        assert_eq!(understood.separator, ';');
        assert_eq!(understood.left_out, [(3, NO_NAME)]);
        assert_eq!(understood.alike, ["Ada Brook and Ben Carr have the same id 17"]);
        let twins = understand("name\nAda\nAda\n").unwrap();
        assert!(twins.alike[0].contains("different ids"));
    }

    #[test]
    fn bytes_of_several_encodings_are_read() {
        let utf16: Vec<u8> =
            "\u{feff}name\nŁuk\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
        for (bytes, name, how) in [
            ("name\nBjörn\n".as_bytes(), "Björn", "UTF-8"),
            (b"name\nBj\xf6rn \x8a\n", "Björn Š", "Windows-1252"),
            (&utf16, "Łuk", "UTF-16"),
        ] {
            let (text, read_as) = decoded(bytes);
            assert_eq!(understand(&text).unwrap().students[0].name, name);
            assert_eq!(read_as, how);
        }
    }

    #[test]
    fn what_is_written_reads_back() {
        let all = vec![Student { name: "Brook, \"Ada\"".into(), id: "1,7".into() }];
        assert_eq!(students(&written(&all)).unwrap(), all);
    }
}
