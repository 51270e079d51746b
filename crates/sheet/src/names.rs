//! Handouts with the figure's parts named, or numbered to be named.

use std::collections::BTreeSet;

use cycle::{Cycle, Subject};
use figure::{Figure, FigureError, FigureSpec, Page};

use crate::cloze::{BlankKind, cloze, labelled, word_list};
use crate::definition::{Orientation, Test};
use crate::flow::Flow;

/// Words of the word list, one after another.
fn listed(words: &[String]) -> String {
    format!("Choose from: {}.", words.join("; "))
}

fn begin(test: &Test, title: &str) -> Flow {
    Flow::new(test.paper.size_mm(Orientation::Portrait), test.sizes(), title)
}

/// Scales at which a figure is tried in large print: the largest that fits a page is taken.
const LARGE_SCALES: [f64; 5] = [2.2, 1.8, 1.5, 1.2, 1.0];

/// The completed figure without a title of its own, as wide as the page's text; in large print
/// no higher than what is left of the page.
fn completed(
    test: &Test,
    subject: &Subject,
    model: &Cycle,
    flow: &Flow,
) -> Result<Figure, FigureError> {
    let at = |scale: f64| {
        let look = FigureSpec { width_mm: flow.width(), scale, ..FigureSpec::default() };
        labelled(&test.convention, subject, model, &look)
    };
    if test.large_print {
        for scale in LARGE_SCALES {
            if let Ok(figure) = at(scale)
                && figure.height_mm + 0.6 * test.sizes().text <= flow.room()
            {
                return Ok(figure);
            }
        }
    }
    at(1.0)
}

/// The figure with every part named.
pub(crate) fn labelled_page(
    test: &Test,
    subject: &Subject,
    model: &Cycle,
    title: &str,
) -> Result<Vec<Page>, FigureError> {
    let mut flow = begin(test, title);
    let figure = completed(test, subject, model, &flow)?;
    flow.put(vec![flow.picture(&figure)]);
    Ok(flow.finish())
}

/// The figure with numbers for names, with a word list or without; and its key.
pub(crate) fn cloze_pages(
    test: &Test,
    subject: &Subject,
    model: &Cycle,
    title: &str,
) -> Result<[Vec<Page>; 2], FigureError> {
    let mut flow = begin(test, title);
    flow.put(vec![flow.name_line(None)]);
    let ask = "Write what each number stands for. A ring is a point on a trace; a square is a trace, a line, a phase or a bar.";
    flow.put(vec![flow.paragraph(ask)]);
    let figure = completed(test, subject, model, &flow)?;
    let kinds: BTreeSet<BlankKind> = BlankKind::ALL.into();
    let (numbered, blanks) = cloze(&figure, model, subject, &kinds);
    flow.put(vec![flow.picture(&numbered)]);
    if test.word_list {
        flow.put(vec![flow.paragraph(&listed(&word_list(&blanks, test.seed)))]);
    }
    flow.put(flow.numbered(blanks.len(), &[]));
    let mut key = begin(test, &format!("Key: {title}"));
    key.put(vec![key.picture(&numbered)]);
    let answers: Vec<String> = blanks.into_iter().map(|blank| blank.answer).collect();
    key.put(key.numbered(answers.len(), &answers));
    Ok([flow.finish(), key.finish()])
}
