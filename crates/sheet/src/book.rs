//! All pages of a test.

use convention::{Rule, Says, Scale, Verdict, judge};
use cycle::{Cycle, Subject};
use figure::style::{self, Colour};
use figure::{Align, Box2, Figure, Item, Shape, Stroke, Tag, font};
use serde::Serialize;

use crate::code::{CODE_SIZE_MM, SheetCode};
use crate::definition::Test;
use crate::forms::{Form, forms};
use crate::layout::{Layout, PanelGeometry, lay_out};
use crate::marks::{Corner, mark_boxes, mark_centre};
use crate::page::Drawer;
use crate::{SheetError, rubric};

/// One printed copy of a form.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Copy {
    /// Number of the sheet, by which the course folder knows whose it is; 0 for a master to be
    /// copied, which stands for nobody.
    pub sheet: u32,
    /// Which form, from 0.
    pub form: usize,
    /// A name to print; the code alone identifies nobody.
    pub name: Option<String>,
}

/// A test laid out for each of its forms.
#[derive(Debug)]
pub struct Book<'a> {
    test: &'a Test,
    subject: &'a Subject,
    id: String,
    forms: Vec<FormPages>,
}

#[derive(Debug)]
struct FormPages {
    form: Form,
    model: Cycle,
    layouts: Vec<Layout>,
}

/// The scanner's description of all pages: `geometry.json`.
#[derive(Debug, Serialize)]
struct Geometry<'a> {
    test: &'a str,
    page_width_mm: f64,
    page_height_mm: f64,
    marks: Vec<MarkGeometry>,
    mm_per_s: f64,
    pages: Vec<PageGeometry>,
}

#[derive(Debug, Serialize)]
struct MarkGeometry {
    id: usize,
    x_mm: f64,
    y_mm: f64,
}

#[derive(Debug, Serialize)]
struct PageGeometry {
    code: String,
    form: char,
    sheet: u32,
    page: u8,
    panels: Vec<PanelGeometry>,
}

/// Black of marks and codes: no tint, which a copier would break up into dots.
const BLACK: Colour = [0, 0, 0];
const TITLE: f64 = 4.4;
const TEXT: f64 = 3.2;
const SMALL: f64 = 2.5;

impl<'a> Book<'a> {
    /// Lays `test` out; `id` is what [`crate::test_id`] makes of its file, and `models` are the
    /// completed cycles of its forms in their order, each for as many beats as the test shows.
    ///
    /// # Errors
    /// [`SheetError::TooWide`] where a form does not fit on its page.
    pub fn new(
        test: &'a Test,
        subject: &'a Subject,
        id: &str,
        models: Vec<Cycle>,
    ) -> Result<Self, SheetError> {
        let mut pages = Vec::new();
        for (form, model) in forms(test).into_iter().zip(models) {
            let layouts = test.pages.iter().map(|page| lay_out(test, page, subject, &model));
            let layouts = layouts.collect::<Result<_, _>>()?;
            pages.push(FormPages { form, model, layouts });
        }
        Ok(Self { test, subject, id: id.to_owned(), forms: pages })
    }

    /// One master of each form, to be copied.
    pub fn masters(&self) -> Vec<Copy> {
        (0..self.forms.len()).map(|form| Copy { sheet: 0, form, name: None }).collect()
    }

    /// The scanner's description of the pages of `copies`, as JSON.
    ///
    /// # Errors
    /// [`SheetError::Code`] where there are more sheets or pages than a code can name.
    pub fn geometry(&self, copies: &[Copy]) -> Result<String, SheetError> {
        let size = self.test.paper.size_mm(self.test.orientation);
        let marks = Corner::ALL.map(|corner| {
            let [x_mm, y_mm] = mark_centre(corner, size);
            MarkGeometry { id: corner.id(), x_mm, y_mm }
        });
        let mut pages = Vec::new();
        for copy in copies {
            let form = &self.forms[copy.form];
            for (index, layout) in form.layouts.iter().enumerate() {
                let code = self.code(copy, index)?;
                pages.push(PageGeometry {
                    code: code.to_text(),
                    form: form.form.letter,
                    sheet: copy.sheet,
                    page: code.page(),
                    panels: layout.panels.iter().map(PanelGeometry::from).collect(),
                });
            }
        }
        let geometry = Geometry {
            test: &self.id,
            page_width_mm: size[0],
            page_height_mm: size[1],
            marks: marks.into_iter().collect(),
            mm_per_s: self.test.mm_per_s,
            pages,
        };
        Ok(serde_json::to_string_pretty(&geometry).expect("plain data") + "\n")
    }

    fn code(&self, copy: &Copy, page: usize) -> Result<SheetCode, SheetError> {
        let letter = self.forms[copy.form].form.letter;
        let page = u8::try_from(page + 1).unwrap_or(u8::MAX);
        Ok(SheetCode::new(&self.id, letter, copy.sheet, page)?)
    }

    /// The drawing sheets of `copies`, page after page.
    ///
    /// # Errors
    /// [`SheetError::Code`] where there are more sheets or pages than a code can name.
    pub fn drawing_sheets(&self, copies: &[Copy]) -> Result<Vec<Figure>, SheetError> {
        let mut pages = Vec::new();
        for copy in copies {
            let form = &self.forms[copy.form];
            for (index, layout) in form.layouts.iter().enumerate() {
                let code = self.code(copy, index)?;
                let mut page = self.drawer(form, index).sheet();
                for (corner, centre) in Corner::ALL.into_iter().zip(layout.marks) {
                    fill(&mut page, mark_boxes(corner, centre));
                }
                fill(&mut page, code.modules(CODE_SIZE_MM, [layout.code.x, layout.code.y]));
                let label = [layout.code.x + CODE_SIZE_MM / 2.0, layout.code.bottom() + 5.4];
                text(&mut page, label, &code.to_label(), SMALL, Align::Middle, false);
                self.head(&mut page, layout, form, index, copy.name.as_deref());
                let whose =
                    copy.name.as_ref().map_or_else(String::new, |name| format!(" · {name}"));
                page.title = self.title(form, index) + &whose;
                page.alt = format!(
                    "{}. {} Sheet code {}. {}",
                    self.title(form, index),
                    self.test.instructions,
                    code.to_label(),
                    page.alt
                );
                pages.push(page);
            }
        }
        Ok(pages)
    }

    /// The completed pages of every form, with alignment lines and tolerances.
    pub fn key(&self) -> Vec<Figure> {
        let mut pages = Vec::new();
        for form in &self.forms {
            let verdicts = self.verdicts(form);
            for (index, layout) in form.layouts.iter().enumerate() {
                let mut page = self.drawer(form, index).key(&verdicts);
                let title = format!("Key: {}", self.title(form, index));
                let said = format!(
                    "{} Brackets show what is accepted, numbered as in the rubric.",
                    settings(form)
                );
                let Box2 { x, y, w, .. } = layout.head;
                text(&mut page, [x, y + 4.5], &title, TITLE, Align::Start, true);
                paragraph(&mut page, [x, y + 10.5], &said, w);
                page.alt = format!("{title}. {said} {}", page.alt);
                page.title = title;
                pages.push(page);
            }
        }
        pages
    }

    /// What each rule asks for on paper and what it is worth, form by form.
    pub fn rubric(&self) -> Vec<Figure> {
        let mut pages = Vec::new();
        for form in &self.forms {
            let verdicts = self.verdicts(form);
            let title = format!("Rubric: {}", self.title(form, 0));
            pages.extend(rubric::pages(self.test, &title, &settings(form), &verdicts));
        }
        pages
    }

    /// The rules about what is asked for, as the form's key shows them, in millimetres.
    fn verdicts(&self, form: &FormPages) -> Vec<Verdict> {
        let panels = form.layouts.iter().flat_map(|layout| &layout.panels);
        let mm_per_unit =
            panels.map(|panel| (panel.channel.clone(), panel.mm_per_unit())).collect();
        let scale = Scale::Paper { mm_per_s: self.test.mm_per_s, mm_per_unit };
        let convention = &self.test.convention;
        let verdicts = judge(&form.model, convention, self.subject, &scale);
        let rules = convention.rules.iter().zip(verdicts);
        rules.filter(|(rule, _)| self.asks_for(rule)).map(|(_, verdict)| verdict).collect()
    }

    /// Whether a rule is about traces that the sheet has, and about one that is asked for.
    fn asks_for(&self, rule: &Rule) -> bool {
        let own = match &rule.says {
            Says::Level { channel, .. } | Says::Shape { channel, .. } => Some(channel.as_str()),
            _ => None,
        };
        let points = rule.says.points().into_iter();
        // Events stand on bars, which a sheet does not have.
        let channels: Option<Vec<&str>> = points.map(|point| point.channel.as_deref()).collect();
        let Some(mut channels) = channels else { return false };
        channels.extend(own);
        let pages = &self.test.pages;
        let drawn =
            |channel: &&str| pages.iter().any(|page| page.panels.iter().any(|c| c == channel));
        let given =
            |channel: &&str| pages.iter().any(|page| page.given.iter().any(|c| c == channel));
        channels.iter().all(drawn) && !channels.iter().all(given)
    }

    fn drawer(&'a self, form: &'a FormPages, page: usize) -> Drawer<'a> {
        let (layout, text) = (&form.layouts[page], &self.test.pages[page]);
        Drawer::new(self.subject, &self.test.convention, &form.model, layout, text)
    }

    fn title(&self, form: &FormPages, page: usize) -> String {
        let test = self.test;
        let mut parts = vec![test.title.clone()];
        if test.forms > 1 {
            parts.push(format!("Form {}", form.form.letter));
        }
        if test.pages.len() > 1 {
            parts.push(format!("page {} of {}", page + 1, test.pages.len()));
        }
        parts.join(" · ")
    }

    /// Title, name and instructions between the upper marks.
    fn head(
        &self,
        page: &mut Figure,
        layout: &Layout,
        form: &FormPages,
        index: usize,
        name: Option<&str>,
    ) {
        let Box2 { x, y, w, .. } = layout.head;
        text(page, [x, y + 4.5], &self.title(form, index), TITLE, Align::Start, true);
        text(page, [x, y + 9.0], &self.test.course, SMALL, Align::Start, false);
        let line = y + 16.0;
        let date = x + w - 36.0;
        text(page, [x, line], "Name", TEXT, Align::Start, false);
        match name {
            Some(name) => text(page, [x + 11.0, line], name, TEXT, Align::Start, true),
            None => rule(page, [x + 11.0, line + 0.6], [date - 6.0, line + 0.6]),
        }
        text(page, [date, line], "Date", TEXT, Align::Start, false);
        rule(page, [date + 9.0, line + 0.6], [x + w, line + 0.6]);
        paragraph(page, [x, y + 21.5], &self.test.instructions, w);
    }
}

/// The form's rate in words.
fn settings(form: &FormPages) -> String {
    format!("This form is drawn at {:.0} beats a minute.", 60.0 / form.model.period_s)
}

fn fill(page: &mut Figure, boxes: Vec<Box2>) {
    let shapes = boxes.into_iter().map(|area| Shape::Fill { area, colour: BLACK });
    page.items.extend(shapes.map(|shape| Item { tag: Tag::Panel, shape }));
}

pub(crate) fn text(
    page: &mut Figure,
    at: [f64; 2],
    text: &str,
    size: f64,
    align: Align,
    bold: bool,
) {
    let text = text.to_owned();
    let shape = Shape::Text { at, text, size, bold, align, colour: style::INK };
    page.items.push(Item { tag: Tag::Title, shape });
}

pub(crate) fn rule(page: &mut Figure, from: [f64; 2], to: [f64; 2]) {
    let stroke = Stroke::solid(style::HAIRLINE, 0.2);
    let shape = Shape::Lines { parts: vec![vec![from, to]], stroke };
    page.items.push(Item { tag: Tag::Axis, shape });
}

/// Text in lines no wider than `width`, from a first baseline down.
fn paragraph(page: &mut Figure, [x, y]: [f64; 2], words: &str, width: f64) {
    for (index, line) in font::wrap(words, TEXT, false, width).iter().enumerate() {
        text(page, [x, y + index as f64 * 4.2], line, TEXT, Align::Start, false);
    }
}
