//! The list of who has which sheet, as `incisura sheet` writes it.

use std::collections::BTreeMap;
use std::path::Path;

use course::{By, Course, Sheet, Student};
use serde::Deserialize;

use crate::failure::Failure;
use crate::mark::clock;
use crate::mark::prints::Editions;
use crate::mark::reading::add_test;
use crate::{files, roster};

/// A list of sheets, read.
pub(crate) struct SheetList {
    students: Vec<Student>,
    sheets: Vec<Sheet>,
    /// The print that it is of, where `geometry.json` beside it says so.
    test: Option<String>,
}

/// The part of `geometry.json` that is needed.
#[derive(Deserialize)]
struct Geometry {
    test: String,
}

impl SheetList {
    pub(crate) fn read(path: &Path) -> Result<Self, Failure> {
        let (students, sheets) =
            read(&files::read(path)?).map_err(|what| Failure::file(path, what))?;
        let beside = std::fs::read_to_string(path.with_file_name("geometry.json")).ok();
        let geometry = beside.and_then(|text| serde_json::from_str::<Geometry>(&text).ok());
        Ok(Self { students, sheets, test: geometry.map(|geometry| geometry.test) })
    }

    /// Whether it says that it is of a print that is none of these.
    pub(crate) fn is_of_another(&self, editions: &Editions) -> bool {
        self.test.as_deref().is_some_and(|id| !editions.knows(id))
    }

    /// Adds students and sheets to the course; `usual` is the print where nothing else is known.
    pub(crate) fn add(
        &self,
        course: &Course,
        editions: &Editions,
        usual: &str,
    ) -> Result<(), Failure> {
        let own = self.test.as_deref().filter(|id| editions.knows(id));
        let test = own.unwrap_or(usual);
        let at = clock::now();
        add_test(course, editions, test, &at)?;
        course.add_students(&self.students, &at)?;
        let by = By::new("incisura mark", &at, "the list of sheets");
        Ok(course.add_sheets(test, &self.sheets, &by)?)
    }
}

fn read(text: &str) -> Result<(Vec<Student>, Vec<Sheet>), String> {
    let mut reader = roster::table(text);
    let headers = reader.headers().map_err(|error| error.to_string())?.clone();
    let column = |name: &str| headers.iter().position(|header| header.to_lowercase() == name);
    let (Some(number), Some(form), Some(name), id) =
        (column("sheet"), column("form"), column("name"), column("id"))
    else {
        return Err(
            "this is no list of sheets: its columns are sheet, form, name and id, as `incisura sheet --roster` writes it"
                .to_owned(),
        );
    };
    let mut names: BTreeMap<String, String> = BTreeMap::new();
    let (mut students, mut sheets) = (Vec::new(), Vec::new());
    for record in reader.records() {
        let record = record.map_err(|error| error.to_string())?;
        let line = record.position().map_or(0, csv::Position::line);
        let field = |column: usize| record.get(column).unwrap_or_default();
        let sheet =
            field(number).parse::<u32>().ok().filter(|number| (1..=99_999).contains(number));
        let sheet = sheet
            .ok_or_else(|| format!("line {line}: “{}” is no number of a sheet", field(number)))?;
        let mut letters = field(form).chars();
        let letter = letters.next().filter(|letter| letter.is_ascii_uppercase());
        let letter = letter.filter(|_| letters.next().is_none());
        let form =
            letter.ok_or_else(|| format!("line {line}: “{}” is no form's letter", field(form)))?;
        let (name, id) = (field(name).to_owned(), id.map(field).unwrap_or_default().to_owned());
        let student = roster::Student { name, id };
        let key = student.key().to_owned();
        let roster::Student { name, id } = student;
        if key.is_empty() {
            sheets.push(Sheet { sheet, form, student: None });
            continue;
        }
        if let Some(other) = names.insert(key.clone(), name.clone()) {
            return Err(if id.is_empty() {
                format!("line {line}: there are two of the name {name}; give them different ids")
            } else {
                format!("line {line}: {name} has the id {id}, which {other} has, too")
            });
        }
        sheets.push(Sheet { sheet, form, student: Some(key.clone()) });
        students.push(Student { key, name });
    }
    if sheets.is_empty() {
        return Err("there is no sheet below the headers".to_owned());
    }
    Ok((students, sheets))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn students_are_known_by_id_or_name_and_spare_sheets_are_nobody_s() {
        let text = "sheet,form,name,id\n1,A,Ada Brook,17\n2,B,Ben Carr,\n3,A,,\n";
        let (students, sheets) = read(text).unwrap();
        let keys: Vec<&str> = students.iter().map(|one| one.key.as_str()).collect();
        assert_eq!(keys, ["17", "Ben Carr"]);
        let whose: Vec<Option<&str>> = sheets.iter().map(|one| one.student.as_deref()).collect();
        assert_eq!(whose, [Some("17"), Some("Ben Carr"), None]);
    }

    #[test]
    fn what_is_wrong_is_said_with_its_line() {
        let wrong = |rows: &str| read(&format!("sheet,form,name,id\n{rows}")).unwrap_err();
        assert!(wrong("x,A,Ada,1\n").contains("line 2: “x”"));
        assert!(wrong("1,A,Ada,1\n2,AB,Ben,2\n").contains("line 3: “AB”"));
        assert!(wrong("1,A,Ada,\n2,A,Ada,\n").contains("different ids"));
        assert!(wrong("1,A,Ada,7\n2,A,Ben,7\n").contains("which Ada has"));
        assert!(wrong("").contains("no sheet"));
        assert!(read("name\nAda\n").unwrap_err().contains("its columns are"));
    }
}
