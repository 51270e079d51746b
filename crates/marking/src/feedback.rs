//! What each student is told.

use figure::{Page, font};
use sheet::{Flow, Sizes};

use crate::drawn::DrawnSheet;
use crate::locate::Located;
use crate::marks::{Marks, Outcome, RuleMark};
use crate::overlay;
use crate::page_picture::PagePicture;
use crate::rubric::Rubric;
use crate::said::{Names, decided, earned, missed, points, sentence, withheld};
use crate::sites::Sites;

/// What stands at the head of all pages, and on what paper.
#[derive(Clone, Copy, Debug)]
pub struct Head<'a> {
    /// The test's title.
    pub test: &'a str,
    /// The course's title; may be empty.
    pub course: &'a str,
    /// Width and height of the paper in millimetres, upright.
    pub size_mm: [f64; 2],
    /// Whether it is set in large print.
    pub large_print: bool,
}

impl Head<'_> {
    pub(crate) fn sizes(&self) -> Sizes {
        if self.large_print { Sizes::LARGE } else { Sizes::USUAL }
    }
}

/// One student's sheet.
#[derive(Clone, Copy, Debug)]
pub struct Feedback<'a> {
    /// Number of the sheet.
    pub sheet: u32,
    /// The student's name, where it is known.
    pub name: Option<&'a str>,
    /// The form's letter, where the test has several.
    pub form: Option<char>,
    /// What it is marked by.
    pub rubric: &'a Rubric<'a>,
    /// What is drawn on it.
    pub drawn: &'a DrawnSheet,
    /// What was found on it.
    pub located: &'a Located,
    /// What was made of it.
    pub marks: &'a Marks,
    /// Its pages, flattened; for one that is absent, what was read of it is shown instead.
    pub pictures: &'a [PagePicture],
}

/// A picture is no higher than this share of a page.
const MOST_OF_PAGE: f64 = 0.6;

/// The pages of all students, one student's after the other's: the drawing with what was found
/// on it, then every rule once, those that are not met first.
pub fn feedback_pages(feedback: &[Feedback<'_>], head: &Head<'_>) -> Vec<Page> {
    feedback.iter().flat_map(|one| pages(one, head)).collect()
}

fn pages(feedback: &Feedback<'_>, head: &Head<'_>) -> Vec<Page> {
    let sizes = head.sizes();
    let sheet = if feedback.sheet > 0 {
        format!("Sheet {}", feedback.sheet)
    } else {
        "Your sheet".to_owned()
    };
    // A name that cannot be printed gives way to the number.
    let name = feedback.name.map(str::trim).filter(|name| !name.is_empty() && font::covers(name));
    let form = feedback.form.map_or_else(String::new, |letter| format!(" · Form {letter}"));
    let title = format!("{} · {}{form}", name.unwrap_or(&sheet), head.test);
    let mut flow = Flow::new(head.size_mm, sizes, &title);
    let about = [head.course, if name.is_some() { &sheet } else { "" }];
    let about: Vec<&str> = about.into_iter().filter(|part| !part.is_empty()).collect();
    let mut first = vec![flow.strong(&total(feedback.marks))];
    if !about.is_empty() {
        first.insert(0, flow.paragraph(&about.join(" · ")));
    }
    flow.put(first);
    let sites = Sites::new(feedback.drawn, feedback.located, feedback.rubric);
    let most = [flow.width(), MOST_OF_PAGE * flow.full_height()];
    // Large print stands beside the picture, in the list; labels on it need their room.
    let size = if head.large_print { 3.4 } else { 2.3 };
    let mut drawn = Vec::new();
    for page in page_numbers(feedback.rubric) {
        if let Some(figure) = overlay::picture(feedback, &sites, page, most, size) {
            drawn.push(flow.picture(&figure));
        }
    }
    for picture in drawn {
        flow.put(vec![picture]);
    }
    flow.put(vec![flow.paragraph(LEGEND)]);
    said(feedback, &mut flow);
    flow.finish()
}

const LEGEND: &str = "Rings show what was found on your drawing. The numbers are those of the list: \
    ticked where the rule is met, framed where it is not, with a question mark where your instructor \
    will look. An arrow leads from where you drew something to the dashed line on which it belongs; \
    the distance is that on your sheet.";

pub(crate) fn page_numbers(rubric: &Rubric<'_>) -> Vec<u8> {
    let panels = rubric.panels.iter().map(|on| on.page);
    let mut pages: Vec<u8> = panels.chain(rubric.bars.iter().map(|on| on.page)).collect();
    pages.sort_unstable();
    pages.dedup();
    pages
}

/// Such as "14.5 of 18 points (2 points still with your instructor)".
fn total(marks: &Marks) -> String {
    let total = format!("{} of {} points", points(marks.points()), points(marks.max_points()));
    let open = marks.open_points();
    if open == 0.0 {
        return total;
    }
    let unit = if open == 1.0 { "point" } else { "points" };
    format!("{total} ({} {unit} still with your instructor)", points(open))
}

/// Every rule once: what is not met, what is open, what is met.
fn said(feedback: &Feedback<'_>, flow: &mut Flow) {
    let names = Names::of(feedback.rubric);
    let rules: Vec<(usize, &RuleMark)> = (1..).zip(&feedback.marks.rules).collect();
    let of = |own: &dyn Fn(&RuleMark) -> bool, words: &dyn Fn(&RuleMark) -> String| {
        let own = rules.iter().filter(|(_, mark)| own(mark));
        own.map(|(number, mark)| (number.to_string(), words(mark))).collect::<Vec<_>>()
    };
    let text = |mark: &RuleMark| {
        let rule = feedback.rubric.convention.rule(&mark.id);
        rule.map_or_else(|| mark.id.clone(), |rule| sentence(&rule.text))
    };
    // What a person decided, and what other rules make of it, with what it earns.
    let came_to = |mark: &RuleMark| {
        let by_others = withheld(mark, &feedback.marks.rules, feedback.rubric.convention);
        let counted = mark.uncounted.is_none();
        let earned = if counted { format!("{}.", earned(mark)) } else { String::new() };
        joined(&[decided(mark), &by_others, &earned])
    };
    let not_met = of(&|mark| mark.outcome == Outcome::NotMet, &|mark| {
        let rule = feedback.rubric.convention.rule(&mark.id);
        let told =
            rule.map(|rule| (missed(rule, mark, feedback.located, names), sentence(&rule.cause)));
        let (told, cause) = told.unwrap_or_default();
        joined(&[&text(mark), &told, &cause, &came_to(mark)])
    });
    let open = of(&RuleMark::is_open, &|mark| joined(&[&text(mark), &came_to(mark)]));
    // What does not count, or earns nothing because of others whatever it is.
    let lost = |mark: &RuleMark| {
        mark.uncounted.is_some() || mark.outcome == Outcome::Review && !mark.is_open()
    };
    let not_marked = of(&lost, &|mark| joined(&[&text(mark), &came_to(mark)]));
    let met = of(&|mark| mark.outcome == Outcome::Met && !lost(mark), &|mark| {
        joined(&[&text(mark), &came_to(mark)])
    });
    if not_met.is_empty() && !met.is_empty() {
        let words = if open.is_empty() {
            "Everything is where it belongs. Well drawn."
        } else {
            "All that has been decided so far is where it belongs."
        };
        flow.put(vec![flow.paragraph(words)]);
    }
    section(flow, "Look at these again", &not_met);
    section(flow, "With your instructor, to be decided", &open);
    section(flow, "You have these right", &met);
    section(flow, "Not marked, as nothing can be earned by them", &not_marked);
}

fn section(flow: &mut Flow, heading: &str, items: &[(String, String)]) {
    let Some(first) = items.first() else { return };
    // A heading does not stay alone at a page's foot.
    let least = flow.heading(2, heading).height() + flow.list(std::slice::from_ref(first)).height();
    if least > flow.room() {
        flow.turn();
    }
    flow.put(vec![flow.heading(2, heading)]);
    flow.put_list(items);
}

fn joined(parts: &[&str]) -> String {
    let parts: Vec<&str> = parts.iter().copied().filter(|part| !part.is_empty()).collect();
    parts.join(" ")
}
