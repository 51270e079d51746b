//! `incisura sheet`: drawing sheets, keys, rubrics, handouts and questions for a test.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use cycle::{Cycle, Subject};
use figure::{Page, font};
use heart::Heart;
use sheet::{
    Book, Copy, Handout, Interval, Orientation, Setting, SheetError, StripExercise, StripQuestion,
    StripSpec, StripText, Test, forms,
};

use crate::args;
use crate::exercises::FormHeart;
use crate::failure::Failure;
use crate::test_file::{self, Changes, at_key, heart_with};
use crate::{exercises, files, progress, roster};

pub(crate) fn run(args: &args::Sheet) -> Result<(), Failure> {
    files::say(print(args)?.trim_end())
}

/// Prints what is asked for; gives what there is to tell.
pub(crate) fn print(args: &args::Sheet) -> Result<String, Failure> {
    let text = files::read(&args.test)?;
    let subject = heart::subject();
    let changes = Changes {
        forms: args.forms.map(usize::from),
        paper: args.paper.map(Into::into),
        large_print: args.large_print,
    };
    let read = test_file::read(&args.test, &text, &changes, &BTreeMap::new())?;
    let test = read.test;
    let students = args.roster.as_deref().map(roster::read).transpose()?.unwrap_or_default();
    let hearts = forms(&test)
        .iter()
        .map(|form| test_file::form_heart(&test, form, &args.test, &text))
        .collect::<Result<Vec<FormHeart>, _>>()?;
    let models = hearts.iter().map(|form| form.drawn.clone()).collect();
    let id = test_file::identity(&text, test.forms, test.paper, test.large_print);
    let at_fault = |error: SheetError| Failure::file(&args.test, error.to_string());
    let book = Book::new(&test, &subject, &id, models).map_err(at_fault)?;
    let mut copies = copies(&book, test.forms, &students, args.spare);
    for copy in &mut copies {
        leave_unprintable(copy);
    }
    let mut sheets = progress::counted("drawing sheets", &copies, |copy| {
        book.drawing_sheets(std::slice::from_ref(copy)).map_err(at_fault)
    })?;
    let mut print = Print { title: &test.title, files: Vec::new(), said: String::new() };
    print.pdf("drawing-sheets.pdf", "Drawing sheets", &sheets.concat())?;
    print.pdf("key.pdf", "Key", &book.key())?;
    print.pdf("rubric.pdf", "Rubric", &book.rubric())?;
    print.handouts(&test, &book, &at_fault)?;
    if test.questions.counts().iter().any(|(_, count)| *count > 0) {
        let exercises = exercises::exercises(&test, &hearts)?;
        let note = exercises::note(&test);
        let asked: Vec<Vec<Page>> =
            copies.iter().map(|copy| book.questions(copy, &exercises[copy.form], &note)).collect();
        print.pdf("questions.pdf", "Questions", &asked.concat())?;
        let answered = book.questions_key(&exercises, &note);
        print.pdf("questions-key.pdf", "Key to the questions", &answered)?;
        for (sheet, asked) in sheets.iter_mut().zip(asked) {
            sheet.extend(asked);
        }
    }
    if !test.strips.is_empty() {
        let [asked, answered] = sheet::strip_pages(&test, &strips(&test, &args.test, &text)?);
        print.pdf("ecg-strips.pdf", "ECG strips", &asked)?;
        print.pdf("ecg-strips-key.pdf", "Key to the ECG strips", &answered)?;
    }
    print.file("geometry.json", book.geometry(&copies).map_err(at_fault)?.into_bytes());
    if !students.is_empty() {
        print.file("sheets.csv", sheet_list(&copies, &students, test.forms).into_bytes());
    }
    let mut said = print.write(&args.output)?;
    if args.per_student {
        write_each(&args.output.join("per-student"), &test, &copies, &sheets)?;
        let _ = writeln!(said, "per-student/           {} files", copies.len());
    }
    Ok(said)
}

/// What will be written, once all of it could be made.
struct Print<'a> {
    title: &'a str,
    files: Vec<(&'static str, Vec<u8>)>,
    /// What is told of it, a line each.
    said: String,
}

impl Print<'_> {
    fn pdf(&mut self, name: &'static str, what: &str, pages: &[Page]) -> Result<(), Failure> {
        let pdf = progress::during("writing pages", || {
            figure::pdf_of(pages, &format!("{what}: {}", self.title))
        })?;
        let count = pages.len();
        let unit = if count == 1 { "page" } else { "pages" };
        let _ = writeln!(self.said, "{name:<22} {count} {unit}");
        self.files.push((name, pdf));
        Ok(())
    }

    fn file(&mut self, name: &'static str, bytes: Vec<u8>) {
        let _ = writeln!(self.said, "{name}");
        self.files.push((name, bytes));
    }

    fn handouts(
        &mut self,
        test: &Test,
        book: &Book<'_>,
        at_fault: &dyn Fn(SheetError) -> Failure,
    ) -> Result<(), Failure> {
        for handout in &test.handouts {
            match handout {
                Handout::ModelCopy => {
                    self.pdf("model-copy.pdf", "Model copy", &book.model_copies())?;
                }
                Handout::Steps => {
                    let steps = book.steps().map_err(at_fault)?;
                    self.pdf("steps.pdf", "Step by step", &steps)?;
                }
                Handout::Labelled => {
                    let pages = book.labelled().map_err(at_fault)?;
                    self.pdf("labelled.pdf", "Labelled figure", &pages)?;
                }
                Handout::Cloze => {
                    let [asked, answered] = book.cloze().map_err(at_fault)?;
                    self.pdf("cloze.pdf", "Figure to label", &asked)?;
                    self.pdf("cloze-key.pdf", "Key to the figure to label", &answered)?;
                }
                Handout::RaisedLine => {
                    let pages = book.raised_lines().map_err(at_fault)?;
                    self.pdf("raised-line.pdf", "Raised lines", &pages)?;
                }
            }
        }
        Ok(())
    }

    /// Writes everything into `folder`; gives what there is to tell.
    fn write(self, folder: &Path) -> Result<String, Failure> {
        files::make_folder(folder)?;
        for (name, bytes) in &self.files {
            files::write(&folder.join(name), bytes)?;
        }
        Ok(self.said)
    }
}

/// One PDF for each sheet, named by its number.
fn write_each(
    folder: &Path,
    test: &Test,
    copies: &[Copy],
    sheets: &[Vec<Page>],
) -> Result<(), Failure> {
    files::make_folder(folder)?;
    let numbered: Vec<_> = copies.iter().zip(sheets).collect();
    progress::counted("writing one file for each student", &numbered, |(copy, pages)| {
        let title = format!("{}: sheet {}", test.title, copy.sheet);
        let pdf = figure::pdf_of(pages, &title)?;
        files::write(&folder.join(format!("sheet-{:05}.pdf", copy.sheet)), &pdf)
    })?;
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

/// The strips that the test asks for, with what is asked about each.
fn strips(test: &Test, path: &Path, text: &str) -> Result<Vec<StripExercise>, Failure> {
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
            .map_err(|error| at_key(path, text, strip.line, error))?;
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
