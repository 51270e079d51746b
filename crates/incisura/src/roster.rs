//! A class list in CSV.

use std::path::Path;

use crate::failure::Failure;
use crate::files;

/// One student.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Student {
    /// As printed.
    pub(crate) name: String,
    /// The college's number or login; empty where the list has none.
    pub(crate) id: String,
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
pub(crate) fn table(text: &str) -> csv::Reader<&[u8]> {
    let text = text.trim_start_matches('\u{feff}');
    // Spreadsheets of other countries separate with semicolons.
    let header = text.lines().next().unwrap_or_default();
    let count = |separator: &u8| header.bytes().filter(|byte| byte == separator).count();
    // Of equals, the last is taken.
    let separator = [b'\t', b';', b','].into_iter().max_by_key(count);
    csv::ReaderBuilder::new()
        .delimiter(separator.unwrap_or(b','))
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(text.as_bytes())
}

fn students(text: &str) -> Result<Vec<Student>, String> {
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
    let mut students = Vec::new();
    for (index, record) in reader.records().enumerate() {
        let record = record.map_err(|error| error.to_string())?;
        let field = |column: Option<usize>| column.and_then(|c| record.get(c)).unwrap_or_default();
        let whole = match name {
            Some(_) => field(name).to_owned(),
            None => format!("{} {}", field(first), field(last)).trim().to_owned(),
        };
        if whole.is_empty() {
            if record.iter().all(str::is_empty) {
                continue;
            }
            return Err(format!("line {}: there is no name", index + 2));
        }
        students.push(Student { name: whole, id: field(id).to_owned() });
    }
    if students.is_empty() {
        return Err("there is no student below the headers".to_owned());
    }
    Ok(students)
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
}
