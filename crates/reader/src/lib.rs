//! Scanned pages of a test's sheets: which sheet it is, laid flat, and what is drawn on it.
//!
//! A [`Printed`] test knows its pages as they left the printer; [`Printed::read`] finds out
//! which of them a picture shows and what a student drew on it. This is where the parts that
//! know sheets, scans and drawings meet; nothing is read or written.

mod convert;
mod page;

use std::sync::OnceLock;

use scan::ink::Print;
use scan::{BarForm, Flat, Limits, PageForm, PanelForm};
use sheet::{Book, CODE_SIZE_MM, Copy, Layout, SheetCode, marks};

pub use page::{Fault, PagePicture, ReadPage, VERSION};

/// Pixels for a millimetre of a page that is laid flat.
pub const PX_PER_MM: f64 = 8.0;

/// A test as it was printed.
#[derive(Debug)]
pub struct Printed<'a> {
    book: &'a Book<'a>,
    forms: Vec<Vec<PrintedPage>>,
}

#[derive(Debug)]
struct PrintedPage {
    form: PageForm,
    print: OnceLock<Option<Print>>,
}

impl<'a> Printed<'a> {
    /// All pages of all forms of a test.
    pub fn new(book: &'a Book<'a>) -> Self {
        let pages = |form: usize| {
            let page = |layout: &Layout| PrintedPage {
                form: page_form(book, form, layout),
                print: OnceLock::new(),
            };
            book.layouts(form).iter().map(page).collect()
        };
        let forms = (0..book.forms()).map(pages);
        Self { book, forms: forms.collect() }
    }

    /// The test.
    pub fn book(&self) -> &'a Book<'a> {
        self.book
    }

    /// Marks, code and size, which all pages share.
    fn outline(&self) -> PageForm {
        PageForm { panels: Vec::new(), bars: Vec::new(), ..self.forms[0][0].form.clone() }
    }

    /// The page that a code names, and the sheet as it was printed.
    fn page(&self, code: &SheetCode) -> Option<(&PageForm, &Print)> {
        let form = (code.form() as usize).checked_sub('A' as usize)?;
        let number = usize::from(code.page()).checked_sub(1)?;
        let page = self.forms.get(form)?.get(number)?;
        let print = page.print.get_or_init(|| {
            let copy = Copy { sheet: 0, form, name: None };
            let pages = self.book.drawing_sheets(&[copy]).ok()?;
            Print::of(&blank(pages.get(number)?)?, &page.form)
        });
        Some((&page.form, print.as_ref()?))
    }
}

/// What is known of a page before it is read.
fn page_form(book: &Book<'_>, form: usize, layout: &Layout) -> PageForm {
    let subject = book.subject();
    PageForm {
        width_mm: layout.size_mm[0],
        height_mm: layout.size_mm[1],
        marks: marks::Corner::ALL.iter().map(|corner| corner.id()).zip(layout.marks).collect(),
        mark_mm: marks::MARK_SIZE_MM,
        code: Some([layout.code.x, layout.code.y, CODE_SIZE_MM, CODE_SIZE_MM]),
        panels: layout
            .panels
            .iter()
            .map(|panel| PanelForm {
                channel: panel.channel.clone(),
                x_mm: panel.area.x,
                y_mm: panel.area.y,
                width_mm: panel.area.w,
                height_mm: panel.area.h,
                given: panel.given,
                sounds: marking::has_bursts(subject, &panel.channel),
                small_sounds: has_small_sounds(book, form, &panel.channel),
                narrow_waves: panel.channel == subject.reference_channel,
            })
            .collect(),
        bars: layout
            .bars
            .iter()
            .map(|bar| BarForm {
                bar: bar.bar.clone(),
                x_mm: bar.area.x,
                y_mm: bar.area.y,
                width_mm: bar.area.w,
                height_mm: bar.area.h,
                given: bar.given,
            })
            .collect(),
    }
}

/// Whether the key has bursts on a channel that are drawn less than half as high as the others.
fn has_small_sounds(book: &Book<'_>, form: usize, channel: &str) -> bool {
    let strokes = book.subject().strokes.iter().filter(|stroke| stroke.channel == channel);
    let mut small = strokes.filter(|stroke| stroke.burst.is_some_and(|burst| burst.height < 0.5));
    small.any(|stroke| {
        let mut marks = book.model(form).landmarks.iter();
        marks.any(|mark| mark.channel == channel && stroke.landmarks.contains(&mark.name))
    })
}

/// The page as a scan that is laid flat would show it before anyone has drawn on it.
fn blank(page: &figure::Page) -> Option<Flat> {
    let png = page.figure().png(PX_PER_MM * 25.4).ok()?;
    let picture = scan::read(png, "blank.png", Limits::default()).ok()?.next()?.ok()?;
    Some(Flat::of(&picture, PX_PER_MM))
}
