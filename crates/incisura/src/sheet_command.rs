//! `incisura sheet`: drawing sheets, keys and rubrics for a test.

use std::path::Path;

use convention::schematic;
use cycle::Cycle;
use heart::{Heart, Rhythm};
use sheet::{Book, Copy, Form, Test, forms};

use crate::args;
use crate::failure::Failure;
use crate::{files, progress, roster, schematics};

pub(crate) fn run(args: &args::Sheet) -> Result<(), Failure> {
    let text = files::read(&args.test)?;
    let subject = heart::subject();
    let folder = args.test.parent().unwrap_or(Path::new(""));
    let conventions =
        |named: &str| schematics::read_beside(named, folder).map_err(|failure| failure.to_string());
    let mut test = Test::from_toml(&text, &subject, &conventions)
        .map_err(|faults| Failure::Faults { path: args.test.clone(), faults })?;
    if let Some(count) = args.forms {
        test.forms = usize::from(count);
    }
    if let Some(paper) = args.paper {
        test.paper = paper.into();
    }
    let students = args.roster.as_deref().map(roster::read).transpose()?.unwrap_or_default();
    let models = forms(&test)
        .iter()
        .map(|form| model(&test, form, &args.test))
        .collect::<Result<Vec<Cycle>, _>>()?;
    // The file and what was changed on the command line make the test.
    let identity = format!("{text}\n{} {:?}", test.forms, test.paper);
    let id = sheet::test_id(identity.as_bytes());
    let at_fault = |error: sheet::SheetError| Failure::file(&args.test, error.to_string());
    let book = Book::new(&test, &subject, &id, models).map_err(at_fault)?;
    let copies = copies(&book, test.forms, &students, args.spare);
    let titled = |what: &str| format!("{what}: {}", test.title);
    let (sheets, key, rubric) = progress::during("drawing the pages", || {
        let sheets = book.drawing_sheets(&copies).map_err(at_fault)?;
        Ok::<_, Failure>((
            figure::pdf_of(&sheets, &titled("Drawing sheets"))?,
            figure::pdf_of(&book.key(), &titled("Key"))?,
            figure::pdf_of(&book.rubric(), &titled("Rubric"))?,
        ))
    })?;
    let geometry = book.geometry(&copies).map_err(at_fault)?;
    files::make_folder(&args.output)?;
    files::write(&args.output.join("drawing-sheets.pdf"), &sheets)?;
    files::write(&args.output.join("key.pdf"), &key)?;
    files::write(&args.output.join("rubric.pdf"), &rubric)?;
    files::write(&args.output.join("geometry.json"), geometry.as_bytes())?;
    if !students.is_empty() {
        let list = sheet_list(&copies, &students, test.forms);
        files::write(&args.output.join("sheets.csv"), list.as_bytes())?;
    }
    Ok(())
}

/// One master of each form, or a numbered sheet for each student and the spare ones.
fn copies(
    book: &Book<'_>,
    forms: usize,
    students: &[roster::Student],
    spare: Option<u16>,
) -> Vec<Copy> {
    if students.is_empty() && spare.is_none() {
        return book.masters();
    }
    // Neighbours in the list get different forms.
    let numbered = |index: usize, name: Option<String>| Copy {
        sheet: index as u32 + 1,
        form: index % forms,
        name,
    };
    let named = students.iter().enumerate();
    let named = named.map(|(index, student)| numbered(index, Some(student.name.clone())));
    let spare = usize::from(spare.unwrap_or(0));
    let unnamed = (students.len()..students.len() + spare).map(|index| numbered(index, None));
    named.chain(unnamed).collect()
}

/// Who has which sheet: for the course folder, not for the sheets.
fn sheet_list(copies: &[Copy], students: &[roster::Student], forms: usize) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let mut row = |fields: [&str; 4]| {
        writer.write_record(fields).expect("writing to memory succeeds and rows have one length");
    };
    row(["sheet", "form", "name", "id"]);
    for (index, copy) in copies.iter().enumerate() {
        let form = char::from(b'A' + (copy.form % forms) as u8).to_string();
        let student = students.get(index);
        let (name, id) = student.map_or(("", ""), |s| (s.name.as_str(), s.id.as_str()));
        row([&copy.sheet.to_string(), &form, name, id]);
    }
    let bytes = writer.into_inner().expect("flushing to memory succeeds");
    String::from_utf8(bytes).expect("fields are text")
}

/// The completed cycle of a form: the convention's schematic on a heart with its settings.
fn model(test: &Test, form: &Form, path: &Path) -> Result<Cycle, Failure> {
    let heart = heart_of(form).map_err(|error| Failure::heart_in(path, error))?;
    let base = heart::simulate(&heart, 1)?;
    let drawn = schematic(&test.convention, &heart::subject(), &base, test.beats);
    drawn.map_err(|error| {
        Failure::file(path, format!("form {} cannot be drawn: {error}", form.letter))
    })
}

fn heart_of(form: &Form) -> Result<Heart, heart::HeartError> {
    let mut heart = match form.names.get("condition") {
        Some(name) => heart::condition(name)?.heart,
        None => Heart::default(),
    };
    if let Some(name) = form.names.get("rhythm") {
        heart.rhythm = Rhythm::from_name(name)?;
    }
    for (name, value) in &form.numbers {
        heart.parameters.set(name, *value)?;
    }
    for name in form.names.keys().filter(|name| *name != "condition" && *name != "rhythm") {
        // A name where a number belongs is told as the heart tells it.
        heart.parameters.set(name, f64::NAN)?;
    }
    Ok(heart)
}
