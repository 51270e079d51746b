//! A table of the rules for a person who marks by hand.

use convention::{Outcome, Rule, Says, Verdict};
use figure::{Align, Figure, font};

use crate::book::{rule, text};
use crate::definition::{Orientation, Test};

/// Margin of a rubric's pages.
const MARGIN: f64 = 18.0;
const TITLE: f64 = 4.4;
const TEXT: f64 = 3.1;
/// Distance of lines within a row, and of rows.
const LINE: f64 = 4.1;
const ROW: f64 = 2.6;

/// The columns: their heads and their widths in millimetres.
const COLUMNS: [(&str, f64); 5] =
    [("No.", 9.0), ("Rule", 70.0), ("Where it is", 62.0), ("Accept", 20.0), ("Points", 14.0)];

/// The rubric's pages; `verdicts` are the rules as the form's key shows them, in millimetres.
pub(crate) fn pages(test: &Test, title: &str, settings: &str, verdicts: &[Verdict]) -> Vec<Figure> {
    let [width_mm, height_mm] = test.paper.size_mm(Orientation::Portrait);
    let blank = || Figure {
        width_mm,
        height_mm,
        title: title.to_owned(),
        alt: String::new(),
        items: Vec::new(),
    };
    let mut pages = vec![blank()];
    let rules: Vec<&Rule> =
        verdicts.iter().filter_map(|verdict| test.convention.rule(&verdict.rule)).collect();
    let total = rules.iter().fold(0.0, |total, rule| total + rule.points);
    let intro = format!(
        "{settings} Total: {} points. Measure from the student's own landmarks: what is aligned to a \
         misplaced wave is right if it is aligned to it. Check the 100 mm rules of the sheet first, \
         and correct if a copier has changed them.",
        short(total)
    );
    let width = COLUMNS.iter().map(|(_, width)| width).sum::<f64>();
    let page = &mut pages[0];
    text(page, [MARGIN, MARGIN + 4.0], title, TITLE, Align::Start, true);
    page.alt = format!("{title}. {intro}");
    let mut y = MARGIN + 11.0;
    for line in font::wrap(&intro, TEXT, false, width) {
        text(page, [MARGIN, y], &line, TEXT, Align::Start, false);
        y += LINE;
    }
    y += ROW;
    heads(page, &mut y);
    for (index, (one, verdict)) in rules.iter().zip(verdicts).enumerate() {
        let accept = match (&one.says, verdict.outcome) {
            (Says::Presence { .. }, _) => "present".to_owned(),
            (Says::Label { .. }, _) => format!("± {} mm", short(one.tolerance.mm)),
            (_, Outcome::CannotTell) => "by eye".to_owned(),
            _ => format!("± {} mm", short(verdict.tolerance)),
        };
        let cells = [
            (index + 1).to_string(),
            one.text.clone(),
            verdict.asks.clone(),
            accept,
            short(one.points),
        ];
        let lines: Vec<Vec<String>> = cells
            .iter()
            .zip(COLUMNS)
            .map(|(cell, (_, width))| font::wrap(cell, TEXT, false, width - 3.0))
            .collect();
        let height = lines.iter().map(Vec::len).max().unwrap_or(1) as f64 * LINE;
        if y + height > height_mm - MARGIN {
            pages.push(blank());
            y = MARGIN + 4.0;
            let page = pages.last_mut().expect("one was just added");
            page.alt = format!("{title}, continued.");
            heads(page, &mut y);
        }
        let page = pages.last_mut().expect("there is always a page");
        page.alt += &format!(
            " {}. {} Where: {}. Accept: {}. Points: {}.",
            cells[0], cells[1], cells[2], cells[3], cells[4]
        );
        let mut x = MARGIN;
        for (lines, (_, width)) in lines.iter().zip(COLUMNS) {
            for (row, line) in lines.iter().enumerate() {
                text(page, [x, y + row as f64 * LINE], line, TEXT, Align::Start, false);
            }
            x += width;
        }
        y += height - LINE + 1.6;
        rule(page, [MARGIN, y], [MARGIN + width, y]);
        y += LINE + ROW - 1.6;
    }
    pages
}

fn heads(page: &mut Figure, y: &mut f64) {
    let mut x = MARGIN;
    for (head, width) in COLUMNS {
        text(page, [x, *y], head, TEXT, Align::Start, true);
        x += width;
    }
    rule(page, [MARGIN, *y + 1.6], [x, *y + 1.6]);
    *y += LINE + ROW;
}

fn short(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").unwrap_or(&text).to_owned()
}
