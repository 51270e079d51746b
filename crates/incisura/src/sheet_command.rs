//! `incisura sheet`: drawing sheets, keys, rubrics, handouts and questions for a test.

use std::cell::OnceCell;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use cycle::{Cycle, Subject};
use figure::{Page, font};
use heart::Heart;
use sheet::{
    Book, Copy, Exercise, Handout, Interval, Orientation, SheetError, StripExercise, StripQuestion,
    StripSpec, StripText, Test, forms,
};

use crate::args;
use crate::exercises::FormHeart;
use crate::failure::Failure;
use crate::printed_from::GEOMETRY;
use crate::test_file::{self, Changes, TestFile, at_key, strip_heart};
use crate::{exercises, files, printed_from, progress, roster};

/// Who has which sheet, beside the sheets.
pub(crate) const SHEET_LIST: &str = "sheets.csv";

pub(crate) fn run(args: &args::Sheet) -> Result<(), Failure> {
    files::say(print(args)?.trim_end())
}

/// Prints what is asked for; gives what there is to tell.
pub(crate) fn print(args: &args::Sheet) -> Result<String, Failure> {
    let text = files::read(&args.test)?;
    let changes = Changes {
        forms: args.forms.map(usize::from),
        paper: args.paper.map(Into::into),
        large_print: args.large_print,
    };
    let students = args.roster.as_deref().map(roster::read).transpose()?.unwrap_or_default();
    let order = Order { students, spare: args.spare };
    with_press(&args.test, &text, &changes, order, |press| {
        let mut print = Print { test: press.test, files: Vec::new(), said: String::new() };
        let mut sheets = press.sheets()?;
        let mut asked = Vec::new();
        for document in Document::of(press.test) {
            let pages = match document {
                Document::DrawingSheets => sheets.concat(),
                Document::Questions => {
                    asked = press.questions()?;
                    asked.concat()
                }
                other => press.pages(other)?,
            };
            print.pdf(document, &pages)?;
        }
        for (sheet, asked) in sheets.iter_mut().zip(asked) {
            sheet.extend(asked);
        }
        print.file(GEOMETRY, press.geometry()?.into_bytes());
        if !press.order.students.is_empty() {
            print.file(SHEET_LIST, press.order.sheet_list(press.test.forms).into_bytes());
        }
        // First, so that no sheet is ever there without what it was printed from.
        files::make_folder(&args.output)?;
        let file = args.test.file_name().unwrap_or_default().to_string_lossy();
        match printed_from::keep(&file, &text, press.conventions, &args.output)? {
            Ok(()) => {
                let _ = writeln!(print.said, "{file:<22} the test as it is printed now");
            }
            Err(why) => files::tell(&format!(
                "warning: the test is not kept beside its sheets, as {why}; print into a folder of its own if you may change the test later"
            )),
        }
        let mut said = print.write(&args.output)?;
        if args.per_student {
            let folder = args.output.join("per-student");
            write_each(&folder, press.test, &press.copies, &sheets)?;
            let _ = writeln!(said, "per-student/           {} files", press.copies.len());
        }
        Ok(said)
    })
}

/// Something that is printed for a test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Document {
    DrawingSheets,
    Key,
    Rubric,
    ModelCopy,
    Steps,
    Labelled,
    Cloze,
    ClozeKey,
    RaisedLine,
    Questions,
    QuestionsKey,
    Strips,
    StripsKey,
}

impl Document {
    pub(crate) const ALL: [Self; 13] = [
        Self::DrawingSheets,
        Self::Key,
        Self::Rubric,
        Self::ModelCopy,
        Self::Steps,
        Self::Labelled,
        Self::Cloze,
        Self::ClozeKey,
        Self::RaisedLine,
        Self::Questions,
        Self::QuestionsKey,
        Self::Strips,
        Self::StripsKey,
    ];

    /// All that `test` asks for.
    pub(crate) fn of(test: &Test) -> Vec<Self> {
        let mut all = vec![Self::DrawingSheets, Self::Key, Self::Rubric];
        for handout in &test.handouts {
            all.extend_from_slice(match handout {
                Handout::ModelCopy => &[Self::ModelCopy],
                Handout::Steps => &[Self::Steps],
                Handout::Labelled => &[Self::Labelled],
                Handout::Cloze => &[Self::Cloze, Self::ClozeKey],
                Handout::RaisedLine => &[Self::RaisedLine],
            });
        }
        if test.questions.counts().iter().any(|(_, count)| *count > 0) {
            all.extend([Self::Questions, Self::QuestionsKey]);
        }
        if !test.strips.is_empty() {
            all.extend([Self::Strips, Self::StripsKey]);
        }
        all
    }

    pub(crate) fn file(self) -> &'static str {
        match self {
            Self::DrawingSheets => "drawing-sheets.pdf",
            Self::Key => "key.pdf",
            Self::Rubric => "rubric.pdf",
            Self::ModelCopy => "model-copy.pdf",
            Self::Steps => "steps.pdf",
            Self::Labelled => "labelled.pdf",
            Self::Cloze => "cloze.pdf",
            Self::ClozeKey => "cloze-key.pdf",
            Self::RaisedLine => "raised-line.pdf",
            Self::Questions => "questions.pdf",
            Self::QuestionsKey => "questions-key.pdf",
            Self::Strips => "ecg-strips.pdf",
            Self::StripsKey => "ecg-strips-key.pdf",
        }
    }

    pub(crate) fn title(self) -> &'static str {
        match self {
            Self::DrawingSheets => "Drawing sheets",
            Self::Key => "Key",
            Self::Rubric => "Rubric",
            Self::ModelCopy => "Model copy",
            Self::Steps => "Step by step",
            Self::Labelled => "Labelled figure",
            Self::Cloze => "Figure to label",
            Self::ClozeKey => "Key to the figure to label",
            Self::RaisedLine => "Raised lines",
            Self::Questions => "Questions",
            Self::QuestionsKey => "Key to the questions",
            Self::Strips => "ECG strips",
            Self::StripsKey => "Key to the ECG strips",
        }
    }

    /// The title of the whole document.
    pub(crate) fn titled(self, test: &Test) -> String {
        format!("{}: {}", test.spelled(self.title()), test.title)
    }
}

/// For whom sheets are printed.
#[derive(Clone, Debug, Default)]
pub(crate) struct Order {
    pub(crate) students: Vec<roster::Student>,
    /// Numbered sheets without a name.
    pub(crate) spare: Option<u16>,
}

impl Order {
    /// A numbered sheet for each student and the spare ones; none where neither is asked for.
    fn copies(&self, forms: usize) -> Vec<Copy> {
        // Neighbours in the list get different forms.
        let numbered = |index: usize, name: Option<String>| Copy {
            sheet: index as u32 + 1,
            form: index % forms,
            name,
        };
        let named = self.students.iter().enumerate();
        let named = named.map(|(index, student)| numbered(index, Some(student.name.clone())));
        let first = self.students.len();
        let spare = first..first + usize::from(self.spare.unwrap_or(0));
        named.chain(spare.map(|index| numbered(index, None))).collect()
    }

    /// Who has which sheet: for the course folder, not for the sheets.
    pub(crate) fn sheet_list(&self, forms: usize) -> String {
        let mut writer = csv::Writer::from_writer(Vec::new());
        let mut row = |fields: [&str; 4]| {
            writer
                .write_record(fields)
                .expect("writing to memory succeeds and rows have one length");
        };
        row(["sheet", "form", "name", "id"]);
        for (index, copy) in self.copies(forms).iter().enumerate() {
            let form = char::from(b'A' + copy.form as u8).to_string();
            let student = self.students.get(index);
            let (name, id) = student.map_or(("", ""), |s| (s.name.as_str(), s.id.as_str()));
            row([&copy.sheet.to_string(), &form, name, id]);
        }
        let bytes = writer.into_inner().expect("flushing to memory succeeds");
        String::from_utf8(bytes).expect("fields are text")
    }
}

/// A test laid out, from which any of its documents can be made.
pub(crate) struct Press<'a> {
    path: &'a Path,
    text: &'a str,
    pub(crate) test: &'a Test,
    /// The conventions that the test names.
    conventions: &'a BTreeMap<String, String>,
    hearts: &'a [FormHeart],
    book: &'a Book<'a>,
    order: Order,
    copies: Vec<Copy>,
    exercises: OnceCell<Vec<Vec<Exercise>>>,
}

/// Lays out the test with this `text` in `path` and does `work` with it.
pub(crate) fn with_press<T>(
    path: &Path,
    text: &str,
    changes: &Changes,
    order: Order,
    work: impl FnOnce(&Press<'_>) -> Result<T, Failure>,
) -> Result<T, Failure> {
    let subject = heart::subject();
    let TestFile { test, conventions } = test_file::read(path, text, changes, &BTreeMap::new())?;
    let hearts = forms(&test)
        .iter()
        .map(|form| test_file::form_heart(&test, form, path, text))
        .collect::<Result<Vec<FormHeart>, _>>()?;
    let models = hearts.iter().map(|form| form.drawn.clone()).collect();
    let id = test_file::identity(text, test.forms, test.paper, test.large_print);
    let book = Book::new(&test, &subject, &id, models);
    let book = book.map_err(|error| Failure::file(path, error.to_string()))?;
    let mut copies = order.copies(test.forms);
    if copies.is_empty() {
        copies = book.masters();
    }
    for copy in &mut copies {
        leave_unprintable(copy);
    }
    work(&Press {
        path,
        text,
        test: &test,
        conventions: &conventions,
        hearts: &hearts,
        book: &book,
        order,
        copies,
        exercises: OnceCell::new(),
    })
}

impl Press<'_> {
    fn at_fault(&self, error: SheetError) -> Failure {
        Failure::file(self.path, error.to_string())
    }

    /// The drawing sheet of each copy.
    fn sheets(&self) -> Result<Vec<Vec<Page>>, Failure> {
        progress::counted("drawing sheets", &self.copies, |copy| {
            let pages = self.book.drawing_sheets(std::slice::from_ref(copy));
            pages.map_err(|error| self.at_fault(error))
        })
    }

    fn exercises(&self) -> Result<&[Vec<Exercise>], Failure> {
        if let Some(made) = self.exercises.get() {
            return Ok(made);
        }
        let made = exercises::exercises(self.test, self.hearts)?;
        Ok(self.exercises.get_or_init(|| made))
    }

    /// The questions of each copy.
    fn questions(&self) -> Result<Vec<Vec<Page>>, Failure> {
        let exercises = self.exercises()?;
        let note = exercises::note(self.test);
        let ask = |copy: &Copy| self.book.questions(copy, &exercises[copy.form], &note);
        Ok(self.copies.iter().map(ask).collect())
    }

    fn geometry(&self) -> Result<String, Failure> {
        self.book.geometry(&self.copies).map_err(|error| self.at_fault(error))
    }

    /// The pages of a document.
    pub(crate) fn pages(&self, document: Document) -> Result<Vec<Page>, Failure> {
        let book = self.book;
        let at_fault = |error| self.at_fault(error);
        let strips = |which: usize| -> Result<Vec<Page>, Failure> {
            let strips = strips(self.test, self.path, self.text)?;
            Ok(sheet::strip_pages(self.test, &strips).into_iter().nth(which).unwrap_or_default())
        };
        let cloze = |which: usize| -> Result<Vec<Page>, Failure> {
            let pages = book.cloze().map_err(at_fault)?;
            Ok(pages.into_iter().nth(which).unwrap_or_default())
        };
        match document {
            Document::DrawingSheets => Ok(self.sheets()?.concat()),
            Document::Key => Ok(book.key()),
            Document::Rubric => Ok(book.rubric()),
            Document::ModelCopy => Ok(book.model_copies()),
            Document::Steps => book.steps().map_err(at_fault),
            Document::Labelled => book.labelled().map_err(at_fault),
            Document::Cloze => cloze(0),
            Document::ClozeKey => cloze(1),
            Document::RaisedLine => book.raised_lines().map_err(at_fault),
            Document::Questions => Ok(self.questions()?.concat()),
            Document::QuestionsKey => {
                Ok(book.questions_key(self.exercises()?, &exercises::note(self.test)))
            }
            Document::Strips => strips(0),
            Document::StripsKey => strips(1),
        }
    }
}

/// What will be written, once all of it could be made.
struct Print<'a> {
    test: &'a Test,
    files: Vec<(&'static str, Vec<u8>)>,
    /// What is told of it, a line each.
    said: String,
}

impl Print<'_> {
    fn pdf(&mut self, document: Document, pages: &[Page]) -> Result<(), Failure> {
        let name = document.file();
        let title = document.titled(self.test);
        let pdf = progress::during("writing pages", || figure::pdf_of(pages, &title))?;
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

    /// Writes everything into `folder`; gives what there is to tell.
    fn write(self, folder: &Path) -> Result<String, Failure> {
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

/// The strips that the test asks for, with what is asked about each.
fn strips(test: &Test, path: &Path, text: &str) -> Result<Vec<StripExercise>, Failure> {
    let subject = heart::subject();
    let one = |strip: &StripText| {
        let heart = strip_heart(strip).map_err(|error| at_key(path, text, strip.line, error))?;
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

#[cfg(test)]
mod tests {
    use super::*;

    /// All that is on the pages of everything that can be printed of a test, with the titles.
    fn said(text: &str, large_print: bool) -> Vec<String> {
        let changes = Changes { large_print, ..Changes::default() };
        let all = with_press(Path::new("t.toml"), text, &changes, Order::default(), |press| {
            let said = |document: Document| {
                let pages = press.pages(document)?;
                Ok(format!("{}\n{pages:?}", document.titled(press.test)))
            };
            Document::ALL.into_iter().map(said).collect::<Result<Vec<String>, Failure>>()
        });
        all.unwrap_or_else(|failure| panic!("{failure}"))
    }

    #[test]
    fn every_document_is_written_as_the_test_says() {
        let text = "title = \"T\"\nconvention = \"first_course\"\nword_list = true\n\
            handouts = [\"model_copy\", \"steps\", \"labelled\", \"cloze\", \"raised_line\"]\n";
        let rest = "[questions]\norder = 2\nfirst = 2\nbetween = 2\ncalculate = 5\npredict = 2\n\
            [[strips]]\nrate_bpm = 75\n";
        for large in [false, true] {
            let usual = said(&format!("{text}{rest}"), large);
            let other = said(&format!("{text}spelling = \"EKG\"\n{rest}"), large);
            let mut found = 0;
            for ((document, usual), other) in Document::ALL.into_iter().zip(usual).zip(other) {
                let (before, after) = (usual.matches("ECG").count(), other.matches("EKG").count());
                assert!(!usual.contains("EKG") && !other.contains("ECG"), "{document:?}: {other}");
                assert_eq!(before, after, "{document:?}");
                found += before;
            }
            assert!(found > 20, "{found}");
        }
    }
}
