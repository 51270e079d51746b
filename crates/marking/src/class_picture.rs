//! What a class as a whole drew, to look at: no names anywhere.

use convention::{alignment_points, beats};
use figure::style;
use figure::{Figure, Item, Page, Shape, Stroke, Tag, lines_of};
use sheet::{Column, Flow};

use crate::feedback::{Head, page_numbers};
use crate::rubric::Rubric;
use crate::said::{Names, mm, sentence, way};
use crate::spread::{histogram, reach_mm, strips};
use crate::statistics::{Class, ClassForm, ClassSheet, Item as RuleItem, Statistics, anchor};
use crate::view::{View, drawn_lines, line};

/// A picture is no higher than this share of a page.
const MOST_OF_PAGE: f64 = 0.62;
/// So many of the rules most missed are told one by one.
const TOLD: usize = 8;
/// Points of a drawing nearer to one another than this in print are one, in millimetres.
const GRAIN: f64 = 0.15;

/// The pages about a class, whose numbers `statistics` are: how much was earned, the class
/// picture, where each landmark was put, what was missed most, and the rules one by one.
pub fn class_pages(class: &Class<'_>, statistics: &Statistics, head: &Head<'_>) -> Vec<Page> {
    let title = format!("Class picture: {}", head.test);
    let mut flow = Flow::new(head.size_mm, head.sizes(), &title);
    let mut first = Vec::new();
    if !head.course.is_empty() {
        first.push(flow.paragraph(head.course));
    }
    first.push(flow.paragraph(&results(statistics)));
    if !statistics.percents.is_empty() {
        first.push(flow.picture(&histogram(statistics, flow.width(), head.sizes())));
    }
    flow.put(first);
    for (index, form) in class.forms.iter().enumerate() {
        pictures(class, index, form, &mut flow);
    }
    let Some(form) = class.forms.first() else { return flow.finish() };
    spreads(statistics, form.rubric, head, &mut flow);
    most_missed(statistics, form.rubric, &mut flow);
    table(statistics, form.rubric, &mut flow);
    flow.finish()
}

/// The results in words.
pub(crate) fn results(statistics: &Statistics) -> String {
    let count = statistics.sheets;
    let unit = if count == 1 { "sheet" } else { "sheets" };
    let mut words = format!("{count} {unit}.");
    if let (Some(mean), Some(median), [least, .., most]) =
        (statistics.mean, statistics.median, statistics.percents.as_slice())
    {
        words += &format!(
            " They earned {mean:.0} % of the points on average, the middle sheet {median:.0} %; the least is {least:.0} %, the most {most:.0} %."
        );
    } else if let Some(mean) = statistics.mean {
        words += &format!(" It earned {mean:.0} % of the points.");
    }
    match statistics.with_open {
        0 => {}
        open => {
            let on = if open == 1 { "one sheet".to_owned() } else { format!("{open} sheets") };
            words += &format!(
                " On {on} something is still to be decided; only what is settled counts here."
            );
        }
    }
    words
}

fn pictures(class: &Class<'_>, index: usize, form: &ClassForm<'_>, flow: &mut Flow) {
    let sheets: Vec<&ClassSheet<'_>> =
        class.sheets.iter().filter(|sheet| sheet.form == index).collect();
    if sheets.is_empty() {
        return;
    }
    let pages = page_numbers(form.rubric);
    for &page in &pages {
        let most = [flow.width(), MOST_OF_PAGE * flow.full_height()];
        let Some(figure) = over_the_key(&sheets, form.rubric, page, most) else { continue };
        let mut heading = "All drawings over the key".to_owned();
        if let Some(letter) = form.letter {
            heading += &format!(", Form {letter}");
        }
        if pages.len() > 1 {
            heading += &format!(", page {page}");
        }
        let count = sheets.len();
        let unit = if count == 1 { "drawing" } else { "drawings" };
        let told = format!(
            "{count} {unit}, thin and grey; the key, thick. Each is moved so that its {} lies on the key's.",
            form.rubric.subject.title_of(&form.rubric.subject.anchor).unwrap_or("anchor")
        );
        flow.put(vec![flow.heading(2, &heading), flow.paragraph(&told), flow.picture(&figure)]);
    }
}

/// All drawings of one page, each on its own anchor, over the key.
pub(crate) fn over_the_key(
    sheets: &[&ClassSheet<'_>],
    rubric: &Rubric<'_>,
    page: u8,
    most: [f64; 2],
) -> Option<Figure> {
    let view = View::new(rubric, page, most)?;
    let mut shapes = view.frames(rubric);
    let thin = Stroke::solid(style::GRID, 0.15);
    for (place, sheet) in sheets.iter().enumerate() {
        let Some(drawn) = sheet.drawn.pages.iter().find(|one| one.page == page) else { continue };
        let dx = shift_mm(sheet, rubric);
        let lines = drawn_lines(drawn);
        let parts: Vec<Vec<[f64; 2]>> =
            lines.iter().flat_map(|run| inside(run, dx, rubric, &view)).collect();
        shapes.push(Shape::Lines { parts, stroke: thin.clone() });
        for bar in &drawn.bars {
            let Some(on) = rubric.bars.iter().find(|on| on.place.bar == bar.bar) else { continue };
            let area = on.place.area;
            // Each sheet has its own height in the row.
            let share = (place as f64 + 0.5) / sheets.len() as f64;
            let y = area.y + area.h * (0.12 + 0.76 * share);
            for [from, to] in &bar.stretches_mm {
                let held = |x: f64| (x + dx).clamp(area.x, area.right());
                let ends = vec![view.at([held(*from), y]), view.at([held(*to), y])];
                let width = (0.4 * area.h * view.scale / sheets.len() as f64).clamp(0.06, 0.2);
                shapes.push(line(ends, style::GRID, width, &[]));
            }
        }
    }
    key(rubric, &view, &mut shapes);
    let [width_mm, height_mm] = view.size();
    let names = Names::of(rubric);
    let here = rubric.panels.iter().filter(|on| on.page == page);
    let panels: Vec<String> = here.map(|on| names.channel(&on.place.channel)).collect();
    let alt = format!(
        "{} drawings over the key, in the panels {}. How far from the key each landmark was drawn is told below.",
        sheets.len(),
        panels.join(", ")
    );
    let items = shapes.into_iter().map(|shape| Item { tag: Tag::Paper, shape }).collect();
    Some(Figure { width_mm, height_mm, title: String::new(), alt, items })
}

/// How far a drawing must be moved for its anchors to lie on the key's, in the middle of its
/// beats.
fn shift_mm(sheet: &ClassSheet<'_>, rubric: &Rubric<'_>) -> f64 {
    let anchor = anchor(rubric);
    let own = sheet.located.marks.iter().filter(|mark| mark.point() == anchor);
    let key = rubric.model.landmarks.iter();
    let key: Vec<f64> = key
        .filter(|one| one.name == anchor.name && Some(&one.channel) == anchor.channel.as_ref())
        .map(|one| one.time_s)
        .collect();
    let nearest = |time_s: f64| {
        let ways = key.iter().map(|key| key - time_s);
        ways.min_by(|a, b| a.abs().total_cmp(&b.abs()))
    };
    let mut shifts: Vec<f64> = own.filter_map(|mark| nearest(mark.time_s)).collect();
    shifts.sort_by(f64::total_cmp);
    shifts.get(shifts.len().saturating_sub(1) / 2).map_or(0.0, |shift| shift * rubric.mm_per_s)
}

/// The parts of a line, moved, that lie in the panels, in print and without needless points.
fn inside(run: &[[f64; 2]], dx: f64, rubric: &Rubric<'_>, view: &View) -> Vec<Vec<[f64; 2]>> {
    let panels = rubric.panels.iter().filter(|on| on.page == view.page);
    let areas: Vec<_> = panels.map(|on| on.place.area).collect();
    let within = |[x, y]: [f64; 2]| {
        areas.iter().any(|area| {
            (area.x..=area.right()).contains(&x) && (area.y..=area.bottom()).contains(&y)
        })
    };
    let mut parts: Vec<Vec<[f64; 2]>> = vec![Vec::new()];
    for &[x, y] in run {
        let moved = [x + dx, y];
        let Some(part) = parts.last_mut() else { break };
        if !within(moved) {
            if !part.is_empty() {
                parts.push(Vec::new());
            }
            continue;
        }
        let print = view.at(moved);
        let far = part.last().is_none_or(|last| {
            (last[0] - print[0]).abs() >= GRAIN || (last[1] - print[1]).abs() >= GRAIN
        });
        if far {
            part.push(print);
        }
    }
    parts.retain(|part| part.len() > 1);
    parts
}

/// The key's alignment lines, traces and bars.
fn key(rubric: &Rubric<'_>, view: &View, shapes: &mut Vec<Shape>) {
    let panels: Vec<_> = rubric.panels.iter().filter(|on| on.page == view.page).collect();
    if let Some(first) = panels.first() {
        let map = first.place.map();
        let [start, end] = first.place.time_s;
        let all = beats(rubric.model, rubric.subject);
        let (top, bottom) = (first.place.area.y - 2.0, view.cut.bottom() - 5.0);
        for point in alignment_points(rubric.convention, rubric.subject, rubric.model) {
            let times = all.iter().filter_map(|beat| beat.time_s(&point));
            for time_s in times.filter(|time_s| (start..=end).contains(time_s)) {
                let x = map.x(time_s);
                let ends = vec![view.at([x, top]), view.at([x, bottom])];
                shapes.push(line(ends, style::ACCENT, 0.2, &[2.0, 1.0]));
            }
        }
    }
    for on in panels {
        let Some(trace) = rubric.model.trace(&on.place.channel) else { continue };
        let print = |run: &Vec<[f64; 2]>| run.iter().map(|point| view.at(*point)).collect();
        let parts = lines_of(trace, &on.place.map()).iter().map(print).collect();
        shapes.push(Shape::Lines { parts, stroke: Stroke::solid(style::INK, 0.5) });
    }
    for on in rubric.bars.iter().filter(|on| on.page == view.page) {
        let Some(kind) = rubric.subject.bar(&on.place.bar) else { continue };
        let [start, end] = on.place.time_s;
        let area = on.place.area;
        let (top, bottom) = (area.y + 0.6, area.bottom() - 0.6);
        for stretch in kind.stretches(rubric.model, start, end) {
            let [a, b] = stretch.map(|time_s| on.place.x(time_s));
            let frame = [[a, top], [b, top], [b, bottom], [a, bottom], [a, top]];
            let frame = frame.iter().map(|point| view.at(*point)).collect();
            shapes.push(line(frame, style::INK, 0.5, &[]));
        }
    }
}

/// Where the class put each landmark, panel by panel.
fn spreads(statistics: &Statistics, rubric: &Rubric<'_>, head: &Head<'_>, flow: &mut Flow) {
    let reach = reach_mm(&statistics.landmarks);
    let names = Names::of(rubric);
    let anchor = rubric.subject.title_of(&rubric.subject.anchor).unwrap_or("anchor");
    let told = format!(
        "One dot for each sheet: how much later than in the key, counted from the student's own {anchor}. \
         The thick line below the dots is the middle half of the class, with the median; the shaded band is what the \
         rule accepts if all else is where the key has it. Triangles lie farther out."
    );
    let mut pieces =
        vec![flow.heading(2, "Where the class put each landmark"), flow.paragraph(&told)];
    for group in statistics.landmarks.chunk_by(|a, b| a.channel == b.channel) {
        let title = match &group[0].channel {
            Some(channel) => rubric.subject.channel(channel).map(|kind| kind.title.as_str()),
            None => Some("Bars"),
        };
        let group: Vec<_> = group.iter().collect();
        let figure = strips(&group, names, flow.width(), reach, head.sizes());
        pieces.push(flow.heading(3, title.unwrap_or_default()));
        pieces.push(flow.picture(&figure));
        flow.put(std::mem::take(&mut pieces));
    }
}

/// The rules most missed, with the direction and the size of the commonest miss.
fn most_missed(statistics: &Statistics, rubric: &Rubric<'_>, flow: &mut Flow) {
    let numbered = (1..).zip(&statistics.items).filter(|(_, item)| item.not_met > 0);
    let mut missed: Vec<(usize, &RuleItem)> = numbered.collect();
    missed.sort_by(|(_, a), (_, b)| share_missed(b).total_cmp(&share_missed(a)));
    let items: Vec<(String, String)> = missed
        .iter()
        .take(TOLD)
        .filter_map(|(number, item)| {
            let rule = rubric.convention.rule(&item.id)?;
            let words = [sentence(&rule.text), told(item, &rule.says), sentence(&rule.cause)];
            Some((number.to_string(), words.join(" ")))
        })
        .collect();
    let settled: usize = statistics.items.iter().map(|item| item.met + item.not_met).sum();
    let heading = flow.heading(2, "What was missed most");
    if items.is_empty() {
        let words = if settled > 0 {
            "Nothing: every rule that is settled is met."
        } else {
            "Nothing is settled yet."
        };
        flow.put(vec![heading, flow.paragraph(words)]);
        return;
    }
    let least = heading.height() + flow.list(&items[..1]).height();
    if least > flow.room() {
        flow.turn();
    }
    flow.put(vec![heading]);
    flow.put_list(&items);
}

fn share_missed(item: &RuleItem) -> f64 {
    let settled = item.met + item.not_met;
    if settled == 0 { 0.0 } else { item.not_met as f64 / settled as f64 }
}

/// How often a rule was missed, which way, and by how much.
pub(crate) fn told(item: &RuleItem, says: &convention::Says) -> String {
    let settled = item.met + item.not_met;
    let mut words = format!("Missed by {} of {settled}", item.not_met);
    if let Some(miss) = &item.miss {
        let off = miss.median_mm;
        let (often, other) =
            if off > 0.0 { (miss.more, miss.less) } else { (miss.less, miss.more) };
        let which = way(says, off);
        words += &if often == item.not_met {
            format!(": {which}, typically by {}", mm(off))
        } else {
            format!(": {often} {which}, typically by {}", mm(off))
        };
        let opposite = way(says, -off);
        if other > 0 && opposite != which {
            words += &format!("; {other} {opposite}");
        }
        let unmeasured = item.not_met.saturating_sub(often + other);
        if unmeasured > 0 {
            words += &format!("; {unmeasured} with nothing to measure");
        }
    }
    words + "."
}

/// The columns' heads, and their shares of the width in usual and in large print, which has no
/// room for the number of sheets.
const COLUMNS: [(&str, f64, f64); 7] = [
    ("No.", 9.0, 16.0),
    ("Rule", 74.0, 42.0),
    ("Sheets", 16.0, 0.0),
    ("Met", 14.0, 22.0),
    ("Open", 14.0, 24.0),
    ("Difficulty", 21.0, 42.0),
    ("Discrimination", 28.0, 56.0),
];

fn table(statistics: &Statistics, rubric: &Rubric<'_>, flow: &mut Flow) {
    let decimal = |value: Option<f64>| {
        let text = value.map(|value| format!("{value:.2}").replace('-', "−"));
        text.unwrap_or_else(|| "–".to_owned())
    };
    let rows: Vec<Vec<String>> = (1..)
        .zip(&statistics.items)
        .map(|(number, item): (usize, &RuleItem)| {
            let settled = item.met + item.not_met;
            let met = (settled > 0).then(|| 100.0 * item.met as f64 / settled as f64);
            let rule = rubric.convention.rule(&item.id);
            vec![
                number.to_string(),
                rule.map_or_else(|| item.id.clone(), |rule| rule.text.clone()),
                item.sheets.to_string(),
                met.map_or_else(|| "–".to_owned(), |met| format!("{met:.0} %")),
                item.open.to_string(),
                decimal(item.difficulty),
                decimal(item.discrimination),
            ]
        })
        .collect();
    if rows.is_empty() {
        return;
    }
    flow.put(vec![
        flow.heading(2, "The rules one by one"),
        flow.paragraph(
            "Difficulty is the mean share of a rule's points: 1 where everyone earned them all. Discrimination is \
             the correlation of that share with what was earned by all other rules: near 0 or below, the rule does not \
             tell those who know the rest from those who do not. It needs 10 sheets that are not all alike.",
        ),
    ]);
    let large = flow.sizes() == sheet::Sizes::LARGE;
    let share = |(_, usual, wide): &(&str, f64, f64)| if large { *wide } else { *usual };
    let kept: Vec<usize> =
        (0..COLUMNS.len()).filter(|&index| share(&COLUMNS[index]) > 0.0).collect();
    let column = |&index: &usize| Column { head: COLUMNS[index].0, share: share(&COLUMNS[index]) };
    let columns: Vec<Column> = kept.iter().map(column).collect();
    let row = |row: &Vec<String>| kept.iter().map(|&index| row[index].clone()).collect();
    let rows: Vec<Vec<String>> = rows.iter().map(row).collect();
    flow.table(&columns, &rows);
}
