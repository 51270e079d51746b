//! Labelled figures and the same figures with numbers, for every convention that comes with the
//! program.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

use std::collections::BTreeSet;

use cardiac::CONVENTIONS;
use convention::{Convention, schematic};
use cycle::{Cycle, Subject};
use figure::{Box2, Figure, FigureSpec, FontEmbedding, Item, Shape, Tag};
use heart::Heart;
use sheet::{BlankKind, cloze, labelled, word_list};

const RATES: [f64; 3] = [60.0, 75.0, 100.0];

struct Case {
    name: String,
    convention: Convention,
    model: Cycle,
    figure: Figure,
}

fn case(name: &str, rate_bpm: f64, beats: usize, subject: &Subject) -> Case {
    let convention = cardiac::Shipped::find(name).unwrap().convention();
    let mut heart = Heart::default();
    heart.parameters.rate_bpm = rate_bpm;
    let base = heart::simulate(&heart, 1).unwrap();
    let model = schematic(&convention, subject, &base, beats).unwrap();
    let figure = labelled(&convention, subject, &model, &look(&convention)).unwrap();
    Case { name: format!("{name} at {rate_bpm}, {beats} beats"), convention, model, figure }
}

fn look(convention: &Convention) -> FigureSpec {
    let title = Some(convention.title.clone());
    FigureSpec { title, width_mm: 175.0, ..FigureSpec::default() }
}

fn cases(subject: &Subject) -> Vec<Case> {
    let all = CONVENTIONS.iter().flat_map(|shipped| RATES.map(|rate| (shipped.name, rate, 1)));
    let more = [("first_course", 75.0, 2), ("left_heart", 75.0, 2)];
    all.chain(more).map(|(name, rate, beats)| case(name, rate, beats, subject)).collect()
}

fn only(kinds: &[BlankKind]) -> BTreeSet<BlankKind> {
    kinds.iter().copied().collect()
}

fn texts(figure: &Figure) -> Vec<(&Tag, &str)> {
    let all = figure.items.iter().filter_map(|item| match &item.shape {
        Shape::Text { text, .. } => Some((&item.tag, text.as_str())),
        _ => None,
    });
    all.collect()
}

/// Whether `text` has the words of `answer` one after another; short ones are symbols, for which
/// capitals matter.
fn tells(text: &str, answer: &str) -> bool {
    let words = |text: &str| -> String {
        let plain = text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
        let words: Vec<&str> = plain.collect();
        format!(" {} ", words.join(" "))
    };
    let (text, answer) = (words(text), words(answer));
    if answer.trim().len() < 3 {
        text.contains(&answer)
    } else {
        text.to_lowercase().contains(&answer.to_lowercase())
    }
}

/// The outline of each number, and the number.
fn numbers(figure: &Figure) -> Vec<(usize, Box2, bool)> {
    let mut found = Vec::new();
    for pair in figure.items.windows(3) {
        let [Item { shape: Shape::Polygon { points, .. }, .. }, _, last] = pair else { continue };
        let Shape::Text { text, .. } = &last.shape else { continue };
        let fold = |axis: usize, start: f64, pick: fn(f64, f64) -> f64| {
            points.iter().map(|point| point[axis]).fold(start, pick)
        };
        let (x, y) = (fold(0, f64::MAX, f64::min), fold(1, f64::MAX, f64::min));
        let (right, bottom) = (fold(0, f64::MIN, f64::max), fold(1, f64::MIN, f64::max));
        let area = Box2::new(x, y, right - x, bottom - y);
        found.push((text.parse().unwrap(), area, points.len() > 4));
    }
    found
}

fn segments(figure: &Figure, wanted: impl Fn(&Tag) -> bool) -> Vec<[[f64; 2]; 2]> {
    let mut found = Vec::new();
    for item in figure.items.iter().filter(|item| wanted(&item.tag)) {
        if let Shape::Lines { parts, .. } = &item.shape {
            found.extend(parts.iter().flat_map(|part| part.windows(2)).map(|p| [p[0], p[1]]));
        }
    }
    found
}

#[test]
fn a_labelled_figure_names_what_the_rules_speak_of() {
    let subject = heart::subject();
    // Two beats side by side leave no room for the longest names.
    let all = CONVENTIONS.iter().flat_map(|shipped| RATES.map(|rate| (shipped.name, rate)));
    for (name, rate) in all {
        let Case { name, convention, model, figure } = case(name, rate, 1, &subject);
        let mut named = BTreeSet::new();
        for item in &figure.items {
            if let (Tag::LandmarkLabel(id) | Tag::Line(id), Shape::Text { .. }) =
                (&item.tag, &item.shape)
            {
                named.insert(id.clone());
            }
        }
        for point in convention.points() {
            let Some(channel) = &point.channel else { continue };
            if model.landmark_on(&point.name, channel).is_some() {
                assert!(named.contains(&point.name), "{name}: {} has no label", point.name);
            }
        }
        for (_, words) in texts(&figure) {
            assert!(!words.trim().is_empty() && !words.contains('_'), "{name}: “{words}”");
        }
    }
}

#[test]
fn phases_are_shown_where_the_bars_explain_them() {
    let subject = heart::subject();
    for (name, shown) in [("left_heart", true), ("right_heart", false), ("first_course", false)] {
        let Case { figure, .. } = case(name, 75.0, 1, &subject);
        let phases = figure.items.iter().any(|item| matches!(item.tag, Tag::Phase(_)));
        assert_eq!(phases, shown, "{name}");
    }
}

#[test]
fn every_name_is_gone_and_every_number_has_its_answer() {
    let subject = heart::subject();
    for Case { name, model, figure, .. } in cases(&subject) {
        let (page, blanks) = cloze(&figure, &model, &subject, &only(&BlankKind::ALL));
        let svg = page.svg(FontEmbedding::Referenced);
        for blank in &blanks {
            let answer = &blank.answer;
            assert!(!tells(&page.alt, answer), "{name}: “{answer}” in {}", page.alt);
            assert!(!tells(&page.title, answer), "{name}: “{answer}” in {}", page.title);
            for (_, text) in texts(&page) {
                assert!(!tells(text, answer), "{name}: “{answer}” in “{text}”");
            }
        }
        // Identifiers are part of the file, if not of the print.
        for (tag, _) in texts(&figure) {
            let (Tag::LandmarkLabel(id) | Tag::Line(id) | Tag::Phase(id) | Tag::TraceLabel(id)) =
                tag
            else {
                continue;
            };
            assert!(
                id.is_empty() || !svg.contains(&format!("\"{id}\"")),
                "{name}: {id} in the SVG"
            );
        }
        let answers: BTreeSet<&str> = blanks.iter().map(|blank| blank.answer.as_str()).collect();
        for (tag, text) in texts(&figure) {
            if let Tag::LandmarkLabel(_) | Tag::TraceLabel(_) = tag {
                assert!(answers.contains(text), "{name}: nothing asks for “{text}”");
            }
        }
        let printed: BTreeSet<usize> = numbers(&page).iter().map(|number| number.0).collect();
        assert!(printed.into_iter().eq(1..=blanks.len()), "{name}: numbers are missing");
        assert!(blanks.iter().map(|blank| blank.number).eq(1..=blanks.len()), "{name}");
    }
}

#[test]
fn numbers_ascend_in_reading_order() {
    let subject = heart::subject();
    let rank = |kind: BlankKind| match kind {
        BlankKind::Phase => 0,
        BlankKind::Line => 1,
        BlankKind::Trace | BlankKind::Landmark => 2,
        BlankKind::Bar => 3,
    };
    for Case { name, model, figure, .. } in cases(&subject) {
        let (page, blanks) = cloze(&figure, &model, &subject, &only(&BlankKind::ALL));
        let panels: Vec<Box2> = figure
            .items
            .iter()
            .filter_map(|item| match (&item.tag, &item.shape) {
                (Tag::Panel, Shape::Lines { parts, .. }) => {
                    let ([x, y], [right, bottom]) = (parts[0][0], parts[0][2]);
                    Some(Box2::new(x, y, right - x, bottom - y))
                }
                _ => None,
            })
            .collect();
        let mut seen = BTreeSet::new();
        let mut last = (0, 0, f64::MIN);
        for (number, area, _) in numbers(&page) {
            if !seen.insert(number) {
                continue;
            }
            let rank = rank(blanks[number - 1].kind);
            let row = match rank {
                2 => panels.iter().position(|panel| panel.holds(&area)).unwrap(),
                3 => area.y as usize,
                _ => 0,
            };
            let place = (rank, row, area.x);
            assert!(place > last, "{name}: number {number} comes too late");
            last = place;
        }
    }
}

#[test]
fn numbers_cover_neither_traces_nor_one_another_nor_other_text() {
    let subject = heart::subject();
    let levels: [&[BlankKind]; 4] =
        [&BlankKind::ALL, &[BlankKind::Landmark], &[BlankKind::Trace], &[BlankKind::Line]];
    for Case { name, model, figure, .. } in cases(&subject) {
        let traces = segments(&figure, |tag| matches!(tag, Tag::Trace(_)));
        for kinds in levels {
            let (page, _) = cloze(&figure, &model, &subject, &only(kinds));
            let numbers = numbers(&page);
            let whole = Box2::new(0.0, 0.0, page.width_mm, page.height_mm);
            for (index, (number, area, _)) in numbers.iter().enumerate() {
                assert!(whole.holds(area), "{name}: {number} leaves the page");
                for [a, b] in &traces {
                    assert!(!area.crossed_by(*a, *b), "{name}: {number} covers a trace");
                }
                for (other, taken, _) in &numbers[..index] {
                    assert!(!area.overlaps(taken), "{name}: {number} lies on {other}");
                }
                for item in &page.items {
                    let Some(text) = item.shape.text_box() else { continue };
                    let own = area.holds(&text);
                    assert!(own || !area.overlaps(&text), "{name}: {number} covers {item:?}");
                }
            }
        }
    }
}

#[test]
fn a_ring_stands_at_its_own_point() {
    let subject = heart::subject();
    // Where two points are close, the nearer label could be the other's.
    let Case { model, figure, .. } = case("right_heart", 75.0, 1, &subject);
    let (page, blanks) = cloze(&figure, &model, &subject, &only(&[BlankKind::Landmark]));
    let find = |answer: &str| {
        blanks.iter().find(|blank| blank.answer == answer).map(|blank| blank.number).unwrap()
    };
    let at = |answer: &str, landmark: &str| {
        let mark = model.landmarks.iter().find(|mark| mark.name == landmark).unwrap();
        let said = format!("Number {} is a point of the ", find(answer));
        let rest = page.alt.split(&said).nth(1).unwrap();
        let ms = rest.split("at about ").nth(1).unwrap().split(' ').next().unwrap();
        let ms: f64 = ms.parse().unwrap();
        assert!((ms - 1000.0 * mark.time_s).abs() <= 5.5, "{answer}: {ms}, {mark:?}");
    };
    at("dicrotic notch", "dicrotic_notch");
    at("dicrotic wave", "dicrotic_peak");
    at("v wave", "v_wave");
    at("a wave", "a_wave");
    let rings = numbers(&page);
    assert!(rings.iter().all(|(.., round)| *round), "points have rings");
    let squares = cloze(&figure, &model, &subject, &only(&[BlankKind::Trace])).0;
    assert!(numbers(&squares).iter().all(|(.., round)| !round), "traces have squares");
}

#[test]
fn a_name_that_gives_an_answer_away_goes_with_it_and_others_stay() {
    let subject = heart::subject();
    let Case { model, figure, .. } = case("left_heart", 75.0, 1, &subject);
    let has = |page: &Figure, wanted: &str| texts(page).iter().any(|(_, text)| *text == wanted);
    let make = |kind| cloze(&figure, &model, &subject, &only(&[kind]));
    let (page, blanks) = make(BlankKind::Landmark);
    assert!(blanks.iter().all(|blank| blank.kind == BlankKind::Landmark));
    assert!(has(&page, "aorta") && has(&page, "rapid ejection") && !page.alt.contains("R peak"));
    assert!(page.alt.contains("aortic valve opens") && !page.alt.contains("T wave"));
    // The ventricle's peak pressure would name its trace.
    let (page, blanks) = make(BlankKind::Trace);
    assert_eq!(blanks.len(), 3);
    assert!(
        page.alt.contains("R peak")
            && has(&page, "S3")
            && !has(&page, "left ventricular peak pressure")
    );
    // A line through the end of a bar would name the bar.
    let (page, blanks) = make(BlankKind::Bar);
    let answers: Vec<&str> = blanks.iter().map(|blank| blank.answer.as_str()).collect();
    assert_eq!(answers, ["Mitral valve open", "Aortic valve open"]);
    assert!(page.alt.contains("R peak"), "{}", page.alt);
    assert!(!page.alt.contains("valve closes") && !page.alt.contains("valve opens"));
    let (page, _) = make(BlankKind::Line);
    assert!(has(&page, "Q") && has(&page, "Mitral valve open") && !page.alt.contains("R peak"));
}

#[test]
fn a_title_that_holds_an_answer_is_replaced() {
    let subject = heart::subject();
    let Case { model, figure, .. } = case("first_course_s2_at_t_end", 75.0, 1, &subject);
    let (page, _) = cloze(&figure, &model, &subject, &only(&[BlankKind::Landmark]));
    assert_eq!(page.title, "What do the numbers stand for?");
    assert!(texts(&page).contains(&(&Tag::Title, page.title.as_str())));
    let (page, _) = cloze(&figure, &model, &subject, &only(&[]));
    assert_eq!(page.title, figure.title);
    assert_eq!(page.items, figure.items);
}

#[test]
fn what_occurs_in_every_beat_has_one_number() {
    let subject = heart::subject();
    let Case { model, figure, .. } = case("left_heart", 75.0, 2, &subject);
    let (page, blanks) = cloze(&figure, &model, &subject, &only(&[BlankKind::Phase]));
    let answers: BTreeSet<&str> = blanks.iter().map(|blank| blank.answer.as_str()).collect();
    assert_eq!(answers.len(), blanks.len());
    assert!(numbers(&page).len() > blanks.len());
}

#[test]
fn word_lists_hold_every_answer_in_an_order_of_the_seed_alone() {
    let subject = heart::subject();
    let Case { model, figure, .. } = case("first_course", 75.0, 1, &subject);
    let (_, blanks) = cloze(&figure, &model, &subject, &only(&BlankKind::ALL));
    let answers: Vec<String> = blanks.iter().map(|blank| blank.answer.clone()).collect();
    let sorted = |mut words: Vec<String>| {
        words.sort();
        words
    };
    let list = word_list(&blanks, 7);
    assert_eq!(sorted(list.clone()), sorted(answers.clone()));
    assert_eq!(list, word_list(&blanks, 7));
    assert!(list != word_list(&blanks, 8) && list != answers);
    let again = || cloze(&figure, &model, &subject, &only(&BlankKind::ALL)).0;
    assert_eq!(again().svg(FontEmbedding::Referenced), again().svg(FontEmbedding::Referenced));
}
