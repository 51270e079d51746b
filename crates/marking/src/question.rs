//! What a person is asked, and where to look.

use convention::{Point, Rule, Says};

use crate::Rubric;
use crate::drawn::DrawnSheet;
use crate::locate::Located;
use crate::marks::{MISSED_BY_MM, Outcome, RuleMark};

/// Room about what is looked at, in millimetres: across and down.
const ROOM_MM: [f64; 2] = [14.0, 4.0];
/// Writing so near to a landmark may be its label, in millimetres.
const LABEL_MM: f64 = 20.0;

/// Where a point was drawn, or where the key has it.
fn place(point: &Point, located: &Located, rubric: &Rubric<'_>) -> Option<(u8, [f64; 2])> {
    if let Some(mark) = located.marks.iter().find(|mark| mark.point() == *point) {
        return Some((mark.page, mark.at_mm));
    }
    let beats = convention::beats(rubric.model, rubric.subject);
    let key = beats.iter().find_map(|beat| beat.get(point))?;
    match &point.channel {
        Some(channel) => {
            let on = rubric.panel(channel)?;
            let map = on.place.map();
            let y = if rubric.has_bursts(channel) { map.y(0.0) } else { map.y(key.value) };
            Some((on.page, [map.x(key.time_s), y]))
        }
        None => {
            let on = rubric.row_of(&point.name)?;
            Some((on.page, [on.place.x(key.time_s), on.place.area.y]))
        }
    }
}

/// The stretch of the page that shows what a rule is about: the panels of its points, from
/// shortly before the first to shortly after the last, and what may be their label.
pub(crate) fn look(
    rule: &Rule,
    sheet: &DrawnSheet,
    located: &Located,
    rubric: &Rubric<'_>,
) -> Option<(u8, [f64; 4])> {
    let points = rule.says.points();
    let first = place(points.first()?, located, rubric)?;
    let page = first.0;
    let mut bounds = [f64::MAX, f64::MAX, f64::MIN, f64::MIN];
    let mut take = |left: f64, top: f64, right: f64, bottom: f64| {
        bounds =
            [bounds[0].min(left), bounds[1].min(top), bounds[2].max(right), bounds[3].max(bottom)];
    };
    for point in points {
        let Some((on, [x, y])) = place(point, located, rubric) else { continue };
        if on != page {
            continue;
        }
        let area = match &point.channel {
            Some(channel) => rubric.panel(channel).map(|on| on.place.area),
            None => rubric.row_of(&point.name).map(|on| on.place.area),
        };
        let (top, bottom) = area.map_or((y, y), |area| (area.y, area.bottom()));
        take(x - ROOM_MM[0], top - ROOM_MM[1], x + ROOM_MM[0], bottom + ROOM_MM[1]);
        if let Says::Label { .. } = &rule.says {
            for [left, top, right, bottom] in writing(point, sheet, located, rubric) {
                take(left, top, right, bottom);
            }
        }
    }
    Some((page, bounds))
}

/// What a person is asked about a label, with where there is writing.
pub(crate) fn label(
    rule: &Rule,
    sheet: &DrawnSheet,
    located: &Located,
    rubric: &Rubric<'_>,
) -> String {
    let Says::Label { point, accepted } = &rule.says else { return String::new() };
    let wanted = accepted.join("” or “");
    let title = rubric.subject.title_of(&point.name).unwrap_or(&point.name);
    let mut asked = format!("Is the {title} labelled “{wanted}”?");
    if place(point, located, rubric).is_some() && writing(point, sheet, located, rubric).is_empty()
    {
        asked += " No writing was found near it.";
    }
    asked
}

/// What is written near a point: left, top, right and bottom of each, in millimetres.
fn writing(
    point: &Point,
    sheet: &DrawnSheet,
    located: &Located,
    rubric: &Rubric<'_>,
) -> Vec<[f64; 4]> {
    let Some((number, [x, _])) = place(point, located, rubric) else { return Vec::new() };
    let page = sheet.pages.iter().find(|page| page.page == number);
    let writing = page
        .into_iter()
        .flat_map(|page| &page.written)
        .filter(|one| one.writing && Some(&one.channel) == point.channel.as_ref());
    let bounds = writing.map(|one| one.bounds_mm);
    bounds.filter(|[left, _, right, _]| left - LABEL_MM < x && x < right + LABEL_MM).collect()
}

/// What a person is asked about what was measured and is not sure.
pub(crate) fn unsure(rule: &Rule, mark: &RuleMark) -> String {
    // What is far from its tolerance is asked because a landmark may have been taken for another.
    let near = (mark.off_mm.abs() - mark.tolerance_mm).abs() < MISSED_BY_MM;
    let because = if near { "by little" } else { "if the landmarks are where they were found" };
    match (mark.proposal, mark.measured_mm) {
        (Some(Outcome::Met), Some(_)) => {
            format!("Is this met? It seems so, {because}. {}", rule.text)
        }
        (Some(_), Some(_)) => format!("Is this met? It seems not, {because}. {}", rule.text),
        _ => format!("Is this met? {}", rule.text),
    }
}

/// What a person is asked where the beats do not agree.
pub(crate) fn divided(rule: &Rule) -> String {
    format!("Is this met? One beat meets it, and another does not. {}", rule.text)
}
