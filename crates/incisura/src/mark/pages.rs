//! `feedback.pdf` and `class.pdf`.

use convention::Convention;
use course::Course;
use figure::{Box2, Page, pdf_of};
use marking::{
    ClassForm, ClassSheet, DrawnSheet, Feedback, Head, PagePicture, Rubric, class_pages,
    feedback_pages, statistics,
};
use sheet::{Book, Orientation, Test};

use crate::failure::Failure;
use crate::mark::class::{Class, Record};
use crate::mark::prints::Books;
use crate::mark::review::GreyPicture;
use crate::mark::sheets::{Finding, SheetPages, form_index};
use crate::progress;

/// The two files; none where nothing was marked.
pub(crate) struct Pdfs {
    pub(crate) feedback: Vec<u8>,
    pub(crate) class: Vec<u8>,
}

/// A sheet that was marked, with all that is shown of it.
struct Shown<'a> {
    record: &'a Record,
    pages: &'a SheetPages,
    finding: &'a Finding,
    drawn: DrawnSheet,
    form: usize,
}

/// Makes both files.
pub(crate) fn pdfs(
    class: &Class,
    course: &Course,
    books: &Books<'_>,
    convention: &Convention,
) -> Result<Option<Pdfs>, Failure> {
    let feedback = feedback_pdf(class, course, books, convention)?;
    let of_class = class_pdf(class, books, convention)?;
    Ok(feedback.zip(of_class).map(|(feedback, class)| Pdfs { feedback, class }))
}

/// `feedback.pdf`; none where nothing was marked.
pub(crate) fn feedback_pdf(
    class: &Class,
    course: &Course,
    books: &Books<'_>,
    convention: &Convention,
) -> Result<Option<Vec<u8>>, Failure> {
    let mut pages = Vec::new();
    each_print(class, books, convention, |shown, rubrics, test, head| {
        pages.extend(feedback_of(shown, rubrics, test, course, head)?);
        Ok(())
    })?;
    pdf("Feedback", class, &pages)
}

/// `class.pdf`; none where nothing was marked.
pub(crate) fn class_pdf(
    class: &Class,
    books: &Books<'_>,
    convention: &Convention,
) -> Result<Option<Vec<u8>>, Failure> {
    let mut pages = Vec::new();
    each_print(class, books, convention, |shown, rubrics, _, head| {
        pages.extend(class_of(shown, rubrics, head));
        Ok(())
    })?;
    pdf("Class", class, &pages)
}

fn pdf(what: &str, class: &Class, pages: &[Page]) -> Result<Option<Vec<u8>>, Failure> {
    if pages.is_empty() {
        return Ok(None);
    }
    let title = format!("{what}: {}", class.title);
    Ok(Some(progress::during("writing pages", || pdf_of(pages, &title))?))
}

/// Does `work` for each print of which sheets were marked.
fn each_print(
    class: &Class,
    books: &Books<'_>,
    convention: &Convention,
    mut work: impl FnMut(&[Shown<'_>], &[Rubric<'_>], &Test, &Head<'_>) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let mut prints: Vec<&str> = Vec::new();
    for record in &class.records {
        if record.finding.is_some() && !prints.contains(&record.test.as_str()) {
            prints.push(&record.test);
        }
    }
    for id in prints {
        let (Some(book), Some(test)) = (books.book(id), books.editions.test(id)) else { continue };
        let head = Head {
            test: &test.title,
            course: &test.course,
            size_mm: test.paper.size_mm(Orientation::Portrait),
            large_print: test.large_print,
        };
        let rubrics: Vec<Rubric<'_>> =
            (0..book.forms()).map(|form| Rubric::new(book, convention, form)).collect();
        work(&shown(class, id, book), &rubrics, test, &head)?;
    }
    Ok(())
}

fn shown<'a>(class: &'a Class, id: &str, book: &Book<'_>) -> Vec<Shown<'a>> {
    let own = class.records.iter().filter(|record| record.test == id);
    let shown = own.filter_map(|record| {
        let (pages, finding) = (record.pages.as_ref()?, record.finding.as_ref()?);
        let form = form_index(record.form).min(book.forms() - 1);
        Some(Shown { record, pages, finding, drawn: pages.drawn(), form })
    });
    shown.collect()
}

fn feedback_of(
    shown: &[Shown<'_>],
    rubrics: &[Rubric<'_>],
    test: &Test,
    course: &Course,
    head: &Head<'_>,
) -> Result<Vec<Page>, Failure> {
    let size = test.paper.size_mm(test.orientation);
    // The database is one thread's.
    let kept = shown.iter().map(|one| pictures(one.pages, course));
    let kept = kept.collect::<Result<Vec<_>, Failure>>()?;
    let shown: Vec<_> = shown.iter().zip(kept).collect();
    let pages = progress::together("writing feedback", &shown, |(one, kept)| {
        let pictures: Vec<PagePicture> =
            kept.iter().filter_map(|(number, png)| picture(*number, png, size)).collect();
        let feedback = Feedback {
            sheet: one.record.sheet,
            name: one.record.whose().map(|(name, _)| name),
            form: (test.forms > 1).then_some(one.record.form),
            rubric: &rubrics[one.form],
            drawn: &one.drawn,
            located: &one.finding.located,
            marks: &one.finding.marks,
            pictures: &pictures,
        };
        Ok::<_, Failure>(feedback_pages(&[feedback], head))
    })?;
    Ok(pages.concat())
}

/// The kept pictures of a sheet's pages, by number.
fn pictures(sheet: &SheetPages, course: &Course) -> Result<Vec<(u8, Vec<u8>)>, Failure> {
    let mut pictures = Vec::new();
    for (page, _) in &sheet.pages {
        let number = u8::try_from(page.page).unwrap_or(u8::MAX);
        pictures.extend(course.picture(page.counts.id)?.map(|png| (number, png)));
    }
    Ok(pictures)
}

/// A kept picture, which shows the whole page.
fn picture(number: u8, png: &[u8], [w, h]: [f64; 2]) -> Option<PagePicture> {
    let GreyPicture { width, height, level } = GreyPicture::of_png(png)?;
    Some(PagePicture::new(number, Box2 { x: 0.0, y: 0.0, w, h }, width, height, level))
}

fn class_of(shown: &[Shown<'_>], rubrics: &[Rubric<'_>], head: &Head<'_>) -> Vec<Page> {
    let letters = (b'A'..).map(char::from);
    let forms: Vec<ClassForm<'_>> = rubrics
        .iter()
        .zip(letters)
        .map(|(rubric, letter)| ClassForm { letter: (rubrics.len() > 1).then_some(letter), rubric })
        .collect();
    let sheets: Vec<ClassSheet<'_>> = shown
        .iter()
        .map(|one| ClassSheet {
            form: one.form,
            drawn: &one.drawn,
            located: &one.finding.located,
            marks: &one.finding.marks,
        })
        .collect();
    let class = marking::Class { forms: &forms, sheets: &sheets };
    class_pages(&class, &statistics(&class), head)
}
