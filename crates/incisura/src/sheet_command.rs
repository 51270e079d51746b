//! `incisura sheet`: drawing sheets, keys, rubrics, handouts and questions for a test.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use convention::schematic;
use cycle::{Cycle, Subject};
use figure::{Page, font};
use heart::{Heart, Rhythm};
use sheet::{
    Book, Copy, DrawnFrom, Form, Handout, Interval, Orientation, Setting, SheetError,
    StripExercise, StripQuestion, StripSpec, StripText, Test, forms,
};

use crate::args;
use crate::exercises::FormHeart;
use crate::failure::Failure;
use crate::{exercises, files, progress, roster, schematics};

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
    if args.large_print {
        test.enlarge();
    }
    test.about = about(&test);
    let students = args.roster.as_deref().map(roster::read).transpose()?.unwrap_or_default();
    let hearts = forms(&test)
        .iter()
        .map(|form| form_heart(&test, form, &args.test))
        .collect::<Result<Vec<FormHeart>, _>>()?;
    let models = hearts.iter().map(|form| form.drawn.clone()).collect();
    // The file and what was changed on the command line make the test.
    let large = if test.large_print { " large" } else { "" };
    let identity = format!("{text}\n{} {:?}{large}", test.forms, test.paper);
    let id = sheet::test_id(identity.as_bytes());
    let at_fault = |error: SheetError| Failure::file(&args.test, error.to_string());
    let book = Book::new(&test, &subject, &id, models).map_err(at_fault)?;
    let mut copies = copies(&book, test.forms, &students, args.spare);
    for copy in &mut copies {
        leave_unprintable(copy);
    }
    let mut sheets = progress::counted("drawing sheets", &copies, |copy| {
        book.drawing_sheets(std::slice::from_ref(copy)).map_err(at_fault)
    })?;
    files::make_folder(&args.output)?;
    let mut folder = Folder { path: &args.output, title: &test.title, said: String::new() };
    let all: Vec<Page> = sheets.iter().flatten().cloned().collect();
    folder.pdf("drawing-sheets.pdf", "Drawing sheets", &all)?;
    folder.pdf("key.pdf", "Key", &book.key())?;
    folder.pdf("rubric.pdf", "Rubric", &book.rubric())?;
    for handout in &test.handouts {
        match handout {
            Handout::ModelCopy => {
                folder.pdf("model-copy.pdf", "Model copy", &book.model_copies())?;
            }
            Handout::Steps => {
                let steps = book.steps().map_err(at_fault)?;
                folder.pdf("steps.pdf", "Step by step", &steps)?;
            }
            Handout::RaisedLine => {
                let pages = book.raised_lines().map_err(at_fault)?;
                folder.pdf("raised-line.pdf", "Raised lines", &pages)?;
            }
            Handout::Labelled => {
                let pages = book.labelled().map_err(at_fault)?;
                folder.pdf("labelled.pdf", "Labelled figure", &pages)?;
            }
            Handout::Cloze => {
                let [asked, answered] = book.cloze().map_err(at_fault)?;
                folder.pdf("cloze.pdf", "Figure to label", &asked)?;
                folder.pdf("cloze-key.pdf", "Key to the figure to label", &answered)?;
            }
        }
    }
    if test.questions.counts().iter().any(|(_, count)| *count > 0) {
        let exercises = exercises::exercises(&test, &hearts)?;
        let note = exercises::note(&test);
        let asked: Vec<Vec<Page>> =
            copies.iter().map(|copy| book.questions(copy, &exercises[copy.form], &note)).collect();
        folder.pdf("questions.pdf", "Questions", &asked.concat())?;
        let answered = book.questions_key(&exercises, &note);
        folder.pdf("questions-key.pdf", "Key to the questions", &answered)?;
        for (sheet, asked) in sheets.iter_mut().zip(asked) {
            sheet.extend(asked);
        }
    }
    if !test.strips.is_empty() {
        let [asked, answered] = sheet::strip_pages(&test, &strips(&test, &args.test)?);
        folder.pdf("ecg-strips.pdf", "ECG strips", &asked)?;
        folder.pdf("ecg-strips-key.pdf", "Key to the ECG strips", &answered)?;
    }
    if args.per_student {
        let each = args.output.join("per-student");
        files::make_folder(&each)?;
        let numbered: Vec<_> = copies.iter().zip(&sheets).collect();
        progress::counted("writing one file for each student", &numbered, |(copy, pages)| {
            let title = format!("{}: sheet {}", test.title, copy.sheet);
            let pdf = figure::pdf_of(pages, &title)?;
            files::write(&each.join(format!("sheet-{:05}.pdf", copy.sheet)), &pdf)
        })?;
        let _ = writeln!(folder.said, "per-student/           {} files", copies.len());
    }
    let geometry = book.geometry(&copies).map_err(at_fault)?;
    folder.file("geometry.json", geometry.as_bytes())?;
    if !students.is_empty() {
        let list = sheet_list(&copies, &students, test.forms);
        folder.file("sheets.csv", list.as_bytes())?;
    }
    files::say(folder.said.trim_end())
}

/// The folder that is written into, and what has been written.
struct Folder<'a> {
    path: &'a Path,
    title: &'a str,
    said: String,
}

impl Folder<'_> {
    fn pdf(&mut self, name: &str, what: &str, pages: &[Page]) -> Result<(), Failure> {
        let pdf = progress::during("writing pages", || {
            figure::pdf_of(pages, &format!("{what}: {}", self.title))
        })?;
        files::write(&self.path.join(name), &pdf)?;
        let count = pages.len();
        let unit = if count == 1 { "page" } else { "pages" };
        let _ = writeln!(self.said, "{name:<22} {count} {unit}");
        Ok(())
    }

    fn file(&mut self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        files::write(&self.path.join(name), bytes)?;
        let _ = writeln!(self.said, "{name}");
        Ok(())
    }
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

/// Leaves the name line empty where the typefaces lack a letter of the name, and says so.
fn leave_unprintable(copy: &mut Copy) {
    let lacking = copy.name.as_deref().map(font::lacking).unwrap_or_default();
    if !lacking.is_empty() {
        let name = copy.name.take().unwrap_or_default();
        let letters: String = lacking.into_iter().collect();
        files::tell(&format!(
            "warning: sheet {}: the typefaces have no {letters}, so the name line is left empty for {name}",
            copy.sheet
        ));
    }
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

/// What the hearts are, where they are no healthy adults at rest: their condition's title, or
/// their rhythm.
fn about(test: &Test) -> String {
    let named = |key: &str| match test.settings.get(key) {
        Some(Setting::Name(name)) => Some(name.as_str()),
        _ => None,
    };
    let condition = named("condition").and_then(|name| heart::condition(name).ok());
    let rhythm = named("rhythm").filter(|name| *name != "sinus").map(|name| {
        let taught =
            heart::conditions().into_iter().find(|condition| condition.heart.rhythm.name() == name);
        taught.map_or_else(|| name.replace('_', " "), |condition| condition.title)
    });
    let condition = condition.filter(|condition| condition.name != "rest");
    [condition.map(|condition| condition.title), rhythm]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(", ")
}

/// A form's heart, and its completed cycle: the heart's own, or the convention's schematic on
/// it.
fn form_heart(test: &Test, form: &Form, path: &Path) -> Result<FormHeart, Failure> {
    let heart = heart_of(form).map_err(|error| Failure::heart_in(path, error))?;
    let computed = heart::simulate(&heart, heart::natural_beats(&heart))?;
    let drawn = match test.drawn_from {
        DrawnFrom::Heart => heart::simulate(&heart, test.beats)?,
        DrawnFrom::Rules => {
            let base = heart::simulate(&heart, 1)?;
            schematic(&test.convention, &heart::subject(), &base, test.beats).map_err(|error| {
                let what = format!(
                    "form {} cannot be drawn by the rules: {error}; drawn_from = \"heart\" draws the heart as it is",
                    form.letter
                );
                Failure::file(path, what)
            })?
        }
    };
    Ok(FormHeart { heart, computed, drawn })
}

fn heart_of(form: &Form) -> Result<Heart, heart::HeartError> {
    let numbers = form.numbers.iter().map(|(name, value)| (name.as_str(), *value));
    let names = form.names.iter().map(|(name, value)| (name.as_str(), value.as_str()));
    heart_with(numbers, names.collect())
}

/// The strips that the test asks for, with what is asked about each.
fn strips(test: &Test, path: &Path) -> Result<Vec<StripExercise>, Failure> {
    let subject = heart::subject();
    let one = |strip: &StripText| {
        let numbers = strip.settings.iter().filter_map(|(name, setting)| match setting {
            Setting::Number(value) => Some((name.as_str(), *value)),
            _ => None,
        });
        let names = strip.settings.iter().filter_map(|(name, setting)| match setting {
            Setting::Name(value) => Some((name.as_str(), value.as_str())),
            _ => None,
        });
        let heart = heart_with(numbers, names.collect())
            .map_err(|error| Failure::file(path, format!("line {}: {error}", strip.line)))?;
        let cycle = heart::simulate(&heart, heart::natural_beats(&heart))?;
        Ok(strip_exercise(&subject, &heart, &cycle))
    };
    test.strips.iter().map(one).collect()
}

fn strip_exercise(subject: &Subject, heart: &Heart, cycle: &Cycle) -> StripExercise {
    let spec = StripSpec {
        waves: sheet::waves(subject, "ecg"),
        ..StripSpec::new("ecg", "lead II", Orientation::Portrait)
    };
    let readings = cardiac::readings(cycle, spec.start_s, spec.start_s + spec.length_s());
    let marks = readings.iter().flat_map(|reading| &reading.shown);
    let marks = marks.map(|span| Interval {
        label: span.label.clone(),
        from_s: span.from_s,
        to_s: span.to_s,
    });
    let marked = StripSpec { marks: marks.collect(), ..spec.clone() };
    let named = cardiac::named(heart, &readings);
    let questions = cardiac::QUESTIONS.iter().map(|question| {
        let reading = readings.iter().find(|reading| reading.id == question.id);
        StripQuestion {
            text: question.text.to_owned(),
            answer: reading.map_or_else(|| named.title.clone(), |r| r.answer.clone()),
            accept: reading.map_or_else(String::new, accepted),
            worked: reading.map_or_else(String::new, |r| r.worked.clone()),
        }
    });
    StripExercise {
        blank: sheet::strip(cycle, &spec),
        marked: sheet::strip(cycle, &marked),
        questions: questions.collect(),
        about: format!("{}: {}", named.title, named.about),
    }
}

/// By how much a reading may be missed.
fn accepted(reading: &cardiac::Reading) -> String {
    let Some(tolerance) = reading.tolerance else { return String::new() };
    let unit = if reading.unit == "/min" { "a minute" } else { reading.unit };
    format!("± {tolerance:.0} {unit}")
}

/// A resting heart, or the condition among `names`, with its numbers set.
fn heart_with<'a>(
    numbers: impl Iterator<Item = (&'a str, f64)>,
    names: BTreeMap<&'a str, &'a str>,
) -> Result<Heart, heart::HeartError> {
    let mut heart = match names.get("condition") {
        Some(name) => heart::condition(name)?.heart,
        None => Heart::default(),
    };
    if let Some(name) = names.get("rhythm") {
        heart.rhythm = Rhythm::from_name(name)?;
    }
    for (name, value) in numbers {
        heart.parameters.set(name, value)?;
    }
    for name in names.keys().filter(|name| **name != "condition" && **name != "rhythm") {
        // A name where a number belongs is told as the heart tells it.
        heart.parameters.set(name, f64::NAN)?;
    }
    Ok(heart)
}
