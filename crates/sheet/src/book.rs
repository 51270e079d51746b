//! All pages of a test.

use std::borrow::Cow;

use convention::{Point, Rule, Says, Scale, Verdict, beats, judge};
use cycle::{Cycle, Subject};
use figure::style::Colour;
use figure::{Align, Block, Box2, Figure, Page, Shape};
use serde::Serialize;

use crate::code::{CODE_SIZE_MM, SheetCode};
use crate::definition::Test;
use crate::forms::{Form, forms};
use crate::head::Head;
use crate::layout::{BarGeometry, Layout, PanelGeometry, Place, lay_out};
use crate::marks::{Corner, mark_boxes, mark_centre};
use crate::page::Drawer;
use crate::questions::{Exercise, Intro};
use crate::raised::raised_pages;
use crate::{SheetError, guide, names, print, questions, rubric};

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
    subject: Cow<'a, Subject>,
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
    /// Where the code is printed on every page, without the white around it.
    code: Place,
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
    #[serde(skip_serializing_if = "Vec::is_empty")]
    bars: Vec<BarGeometry>,
}

/// Black of marks and codes: no tint, which a copier would break up into dots.
const BLACK: Colour = [0, 0, 0];
/// Size of the code's label.
const CODE_LABEL: f64 = 2.5;

impl<'a> Book<'a> {
    /// Lays `test` out; `id` is what [`crate::test_id`] makes of its file, and `models` are the
    /// completed cycles of its forms in their order, each for as many beats as the test shows.
    ///
    /// # Errors
    /// [`SheetError::TooWide`] and [`SheetError::TooLow`] where a form does not fit on its page.
    pub fn new(
        test: &'a Test,
        subject: &'a Subject,
        id: &str,
        models: Vec<Cycle>,
    ) -> Result<Self, SheetError> {
        let own = test.subject(subject);
        let subject = own.as_ref();
        let mut pages = Vec::new();
        for (form, model) in forms(test).into_iter().zip(models) {
            let mut pages_of_form = FormPages { form, model, layouts: Vec::new() };
            for (index, page) in test.pages.iter().enumerate() {
                let given = &pages_of_form.form.given[index];
                let title = title(test, &pages_of_form.form, index);
                let told = told(test, subject, &pages_of_form, index);
                let head = head(test, &title, &told);
                let layout = lay_out(test, page, given, &head, subject, &pages_of_form.model)?;
                pages_of_form.layouts.push(layout);
            }
            pages.push(pages_of_form);
        }
        Ok(Self { test, subject: own, id: id.to_owned(), forms: pages })
    }

    /// What things are called, as the test writes it.
    pub fn subject(&self) -> &Subject {
        &self.subject
    }

    /// The test's identifier.
    pub fn id(&self) -> &str {
        &self.id
    }

    /// Millimetres a second on paper.
    pub fn mm_per_s(&self) -> f64 {
        self.test.mm_per_s
    }

    /// How many forms there are.
    pub fn forms(&self) -> usize {
        self.forms.len()
    }

    /// The completed cycle of form number `form`, from 0.
    pub fn model(&self, form: usize) -> &Cycle {
        &self.forms[form].model
    }

    /// Where everything is on the pages of form number `form`, from 0.
    pub fn layouts(&self, form: usize) -> &[Layout] {
        &self.forms[form].layouts
    }

    /// Whether `rule` is about what is to be drawn on form number `form`, and about what its
    /// key shows.
    pub fn is_asked(&self, rule: &Rule, form: usize) -> bool {
        let form = &self.forms[form];
        self.asks_for(rule, form) && shown(form, &self.subject, rule)
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
                    bars: layout.bars.iter().map(BarGeometry::from).collect(),
                });
            }
        }
        let geometry = Geometry {
            code: self.forms[0].layouts[0].code.into(),
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
    pub fn drawing_sheets(&self, copies: &[Copy]) -> Result<Vec<Page>, SheetError> {
        let mut pages = Vec::new();
        for copy in copies {
            for index in 0..self.forms[copy.form].layouts.len() {
                pages.push(self.drawing_sheet(copy, index)?);
            }
        }
        Ok(pages)
    }

    fn drawing_sheet(&self, copy: &Copy, index: usize) -> Result<Page, SheetError> {
        let form = &self.forms[copy.form];
        let layout = &form.layouts[index];
        let code = self.code(copy, index)?;
        let title = title(self.test, &form.form, index);
        let whose = copy.name.as_ref().map_or_else(String::new, |name| format!(" · {name}"));
        let mut page = Page::new(layout.size_mm, &(title.clone() + &whose));
        let told = told(self.test, &self.subject, form, index);
        let Box2 { x, y, w, .. } = layout.head;
        let head = head(self.test, &title, &told);
        page.blocks.extend(head.blocks([x, y], w, copy.name.as_deref()).0);
        page.blocks.push(Block::from(&self.drawer(form, index).sheet()));
        let marks = Corner::ALL.into_iter().zip(layout.marks);
        let marks = marks.flat_map(|(corner, centre)| mark_boxes(corner, centre));
        page.blocks.push(Block::Ornament(black(marks)));
        let label = code.to_label();
        let size = CODE_LABEL;
        let at = [layout.code.x + CODE_SIZE_MM / 2.0, layout.code.bottom() + 5.4];
        let modules = code.modules(CODE_SIZE_MM, [layout.code.x, layout.code.y]);
        let alt = format!("Code of this sheet for the scanner: {label}.");
        page.blocks.push(Block::Picture { alt, shapes: black(modules) });
        let label = print::text(at, &label, size, Align::Middle, false);
        page.blocks.push(Block::Paragraph(vec![label]));
        Ok(page)
    }

    /// The completed pages of every form, with alignment lines and tolerances.
    pub fn key(&self) -> Vec<Page> {
        let said = |form: &FormPages| {
            format!("{} Brackets show what is accepted, numbered as in the rubric.", settings(form))
        };
        self.completed("Key: ", said, |form, index| {
            self.drawer(form, index).key(&self.verdicts(form))
        })
    }

    /// The completed pages of every form, with alignment lines, to draw after.
    pub fn model_copies(&self) -> Vec<Page> {
        let said = |form: &FormPages| {
            format!(
                "{} Everything is at true scale: lay a sheet over it, or measure it with a ruler.",
                settings(form)
            )
        };
        self.completed("Model copy: ", said, |form, index| self.drawer(form, index).copy())
    }

    fn completed(
        &self,
        what: &str,
        said: impl Fn(&FormPages) -> String,
        drawn: impl Fn(&FormPages, usize) -> Figure,
    ) -> Vec<Page> {
        let sizes = self.test.sizes();
        let mut pages = Vec::new();
        for form in &self.forms {
            for (index, layout) in form.layouts.iter().enumerate() {
                let title = format!("{what}{}", title(self.test, &form.form, index));
                let Box2 { x, y, .. } = layout.head;
                // There is no code here: the head is as wide as the panels.
                let width = layout.marks[1][0] - x;
                let leading = sizes.leading();
                let top = y + sizes.title;
                let heading = print::paragraph([x, top], &title, sizes.title, true, width, leading);
                let below = top + heading.len() as f64 * 1.1 * leading + 0.3 * leading;
                let words = said(form);
                let words = print::paragraph([x, below], &words, sizes.text, false, width, leading);
                let mut page = Page::new(layout.size_mm, &title);
                page.blocks.extend([
                    Block::Heading(1, heading),
                    Block::Paragraph(words),
                    Block::from(&drawn(form, index)),
                ]);
                pages.push(page);
            }
        }
        pages
    }

    /// What each rule asks for on paper and what it is worth, form by form.
    pub fn rubric(&self) -> Vec<Page> {
        let mut pages = Vec::new();
        for form in &self.forms {
            let title = format!("Rubric: {}", form_title(self.test, &form.form));
            let verdicts = self.verdicts(form);
            pages.extend(rubric::pages(self.test, &title, &settings(form), &verdicts));
        }
        pages
    }

    /// The build of the first form, step by step.
    ///
    /// # Errors
    /// [`SheetError::Steps`] where the convention's own steps are out of order.
    pub fn steps(&self) -> Result<Vec<Page>, SheetError> {
        let title = format!("{}, step by step", self.figure_title());
        guide::pages(self.test, &self.subject, &self.forms[0].model, &title)
    }

    /// What the figure is of: the convention, and the heart where it is no healthy one at rest.
    fn figure_title(&self) -> String {
        let Test { convention, about, .. } = self.test;
        if about.is_empty() {
            convention.title.clone()
        } else {
            format!("{} · {about}", convention.title)
        }
    }

    /// The first form's figure with every part named.
    ///
    /// # Errors
    /// [`SheetError::Figure`] where it cannot be drawn.
    pub fn labelled(&self) -> Result<Vec<Page>, SheetError> {
        let title = self.figure_title();
        Ok(names::labelled_page(self.test, &self.subject, &self.one_beat(), &title)?)
    }

    /// The first form's figure with numbers in place of names, and its key.
    ///
    /// # Errors
    /// [`SheetError::Figure`] where it cannot be drawn.
    pub fn cloze(&self) -> Result<[Vec<Page>; 2], SheetError> {
        let title = format!("What do the numbers stand for? {}", self.test.title);
        Ok(names::cloze_pages(self.test, &self.subject, &self.one_beat(), &title)?)
    }

    /// The first beat of the first form: names find more room on one beat than on several.
    fn one_beat(&self) -> Cycle {
        let model = &self.forms[0].model;
        let start_s = model.span_s().map_or(0.0, |(start, _)| start);
        model.cut(start_s + model.period_s)
    }

    /// The completed figure of each form in raised lines and braille, with its key pages.
    ///
    /// # Errors
    /// [`SheetError::Braille`] where a title has a letter that braille has no sign for.
    pub fn raised_lines(&self) -> Result<Vec<Page>, SheetError> {
        let mut pages = Vec::new();
        for form in &self.forms {
            let title = form_title(self.test, &form.form);
            let figures = raised_pages(self.test, &self.subject, &form.model, &title)?;
            pages.extend(figures.iter().map(Page::from));
        }
        Ok(pages)
    }

    /// The question pages of `copy`: its form's `exercises`; `note` is said once.
    pub fn questions(&self, copy: &Copy, exercises: &[Exercise], note: &str) -> Vec<Page> {
        let title = format!("Questions: {}", form_title(self.test, &self.forms[copy.form].form));
        let name = copy.name.as_deref();
        let sheet = copy.sheet;
        let title = if sheet > 0 { format!("{title} · sheet {sheet}") } else { title };
        let points = self.test.questions.points;
        questions::pages(self.test, &Intro { title: &title, note, points }, name, exercises)
    }

    /// The key to the questions of each form, whose `exercises` these are.
    pub fn questions_key(&self, exercises: &[Vec<Exercise>], note: &str) -> Vec<Page> {
        let points = self.test.questions.points;
        let key = |(form, exercises): (&FormPages, &Vec<Exercise>)| {
            let title = format!("Key to the questions: {}", form_title(self.test, &form.form));
            questions::key(self.test, &Intro { title: &title, note, points }, exercises)
        };
        self.forms.iter().zip(exercises).flat_map(key).collect()
    }

    /// The rules about what is asked for, as the form's key shows them, in millimetres.
    fn verdicts(&self, form: &FormPages) -> Vec<Verdict> {
        let panels = form.layouts.iter().flat_map(|layout| &layout.panels);
        let mm_per_unit =
            panels.map(|panel| (panel.channel.clone(), panel.mm_per_unit())).collect();
        let scale = Scale::Paper { mm_per_s: self.test.mm_per_s, mm_per_unit };
        let convention = &self.test.convention;
        let verdicts = judge(&form.model, convention, &self.subject, &scale);
        let rules = convention.rules.iter().zip(verdicts);
        let wanted =
            rules.filter(|(rule, _)| self.asks_for(rule, form) && shown(form, &self.subject, rule));
        wanted.map(|(_, verdict)| verdict).collect()
    }

    /// Whether a rule is about traces that the sheet has, and about one that is asked for.
    fn asks_for(&self, rule: &Rule, form: &FormPages) -> bool {
        let own = match &rule.says {
            Says::Level { channel, .. } | Says::Shape { channel, .. } => Some(channel.as_str()),
            _ => None,
        };
        let points = rule.says.points().into_iter();
        let pages = &self.test.pages;
        // An event stands on the bar that it begins or ends.
        let place = |point: &Point| match &point.channel {
            Some(channel) => Some(channel.clone()),
            None => {
                let mut drawn = pages.iter().flat_map(|page| &page.bars);
                let on = |bar: &&String| {
                    let kind = self.subject.bar(bar);
                    kind.is_some_and(|kind| kind.from == point.name || kind.to == point.name)
                };
                drawn.find(on).cloned()
            }
        };
        let places: Option<Vec<String>> = points.map(place).collect();
        let Some(mut places) = places else { return false };
        places.extend(own.map(str::to_owned));
        let drawn = |place: &String| {
            pages.iter().any(|page| page.panels.contains(place) || page.bars.contains(place))
        };
        let given = |place: &String| {
            let texts = pages.iter().zip(&form.form.given);
            let mut here =
                texts.filter(|(page, _)| page.panels.contains(place) || page.bars.contains(place));
            here.any(|(page, given)| page.scaffold.shows(given.contains(place)))
        };
        places.iter().all(drawn) && !places.iter().all(given)
    }

    fn drawer(&'a self, form: &'a FormPages, page: usize) -> Drawer<'a> {
        let (layout, text) = (&form.layouts[page], &self.test.pages[page]);
        Drawer::new(self.test, &self.subject, &form.model, layout, text)
    }
}

/// Whether the form's model has what a rule speaks of: a fibrillating heart has no P wave to
/// be aligned to.
fn shown(form: &FormPages, subject: &Subject, rule: &Rule) -> bool {
    let beats = beats(&form.model, subject);
    rule.says.points().into_iter().all(|point| beats.iter().any(|beat| beat.get(point).is_some()))
}

/// The test's title and the form's letter, where there are several.
fn form_title(test: &Test, form: &Form) -> String {
    let title = &test.title;
    if test.forms > 1 { format!("{title} · Form {}", form.letter) } else { title.clone() }
}

/// The same with the number of the page, where there are several.
fn title(test: &Test, form: &Form, page: usize) -> String {
    let title = form_title(test, form);
    match test.pages.len() {
        1 => title,
        of => format!("{title} · page {} of {of}", page + 1),
    }
}

/// What a page tells the student to do.
fn told(test: &Test, subject: &Subject, form: &FormPages, page: usize) -> String {
    let given = form.form.given[page].contains(&subject.reference_channel);
    test.told(&test.pages[page], given, 60.0 / form.model.period_s)
}

fn head<'a>(test: &'a Test, title: &'a str, told: &'a str) -> Head<'a> {
    Head { sizes: test.sizes(), title, course: &test.course, told }
}

/// The form's rate in words.
fn settings(form: &FormPages) -> String {
    format!("This form is drawn at {:.0} beats a minute.", 60.0 / form.model.period_s)
}

fn black(boxes: impl IntoIterator<Item = Box2>) -> Vec<Shape> {
    boxes.into_iter().map(|area| Shape::Fill { area, colour: BLACK }).collect()
}
