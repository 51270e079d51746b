use figure::distance;

use super::marks::steps;
use super::*;

/// Least distance of different things that a finger tells apart: 1/8 inch.
const EIGHTH_INCH: f64 = 3.175;

fn test(name: &str, paper: &str) -> (Test, Subject, Cycle) {
    let subject = heart::subject();
    let text = format!("title = \"Test 1\"\nconvention = \"{name}\"\npaper = \"{paper}\"\n");
    let conventions = |named: &str| {
        let shipped = cardiac::CONVENTIONS.into_iter().find(|shipped| shipped.name == named);
        shipped.map(|shipped| shipped.convention()).ok_or_else(String::new)
    };
    let test = Test::from_toml(&text, &subject, &conventions).unwrap();
    let base = heart::simulate(&heart::Heart::default(), 1).unwrap();
    let model = convention::schematic(&test.convention, &subject, &base, test.beats).unwrap();
    (test, subject, model)
}

/// Does `what` with every shipped convention on both papers.
fn each(what: impl Fn(&str, &Drawing<'_>)) {
    for paper in ["letter", "a4"] {
        for shipped in cardiac::CONVENTIONS {
            let (test, subject, model) = test(shipped.name, paper);
            let drawing = Drawing::new(&test, &subject, &model, &test.title).unwrap();
            what(&format!("{} on {paper}", shipped.name), &drawing);
        }
    }
}

/// All lines of a page as stretches, each with its tag and half its width.
fn stretches(page: &Figure) -> Vec<(&Tag, [[f64; 2]; 2], f64)> {
    let mut all = Vec::new();
    for item in &page.items {
        let Shape::Lines { parts, stroke } = &item.shape else { continue };
        for pair in parts.iter().flat_map(|part| part.windows(2)) {
            all.push((&item.tag, [pair[0], pair[1]], stroke.width / 2.0));
        }
    }
    all
}

/// Centres of a page's braille dots.
fn dot_centres(page: &Figure) -> Vec<[f64; 2]> {
    let polygons = page.items.iter().filter_map(|item| match &item.shape {
        Shape::Polygon { points, .. } => Some(points),
        _ => None,
    });
    let mean = |points: &Vec<[f64; 2]>, axis: usize| {
        points.iter().map(|point| point[axis]).sum::<f64>() / points.len() as f64
    };
    polygons.map(|points| [mean(points, 0), mean(points, 1)]).collect()
}

#[test]
fn everything_is_black_and_thick_enough_and_inside_the_margins() {
    each(|name, drawing| {
        for page in drawing.pages().unwrap() {
            let margins = |least: f64| {
                Box2::new(least, least, page.width_mm - 2.0 * least, page.height_mm - 2.0 * least)
            };
            for item in &page.items {
                let (points, colour, half) = match &item.shape {
                    Shape::Lines { parts, stroke } => {
                        let least = match item.tag {
                            Tag::Trace(_) => 1.2,
                            Tag::Line(_) => 0.7,
                            _ => 0.5,
                        };
                        assert!(stroke.width >= least && stroke.dash.is_empty());
                        (parts.concat(), stroke.colour, stroke.width / 2.0)
                    }
                    Shape::Polygon { points, colour } => (points.clone(), *colour, 0.0),
                    other => panic!("{name}: {other:?}"),
                };
                assert_eq!(colour, [0, 0, 0]);
                let notch = half == NOTCH_MM / 2.0;
                let room = margins(if notch { NOTCH_MARGIN } else { MARGIN }).grown(1e-6);
                for [x, y] in points {
                    let ink = Box2::new(x - half, y - half, 2.0 * half, 2.0 * half);
                    assert!(room.holds(&ink), "{name}: {ink:?} of {:?}", item.tag);
                }
            }
        }
    });
}

#[test]
fn braille_stands_clear_of_every_line() {
    each(|name, drawing| {
        for page in drawing.pages().unwrap() {
            let lines = stretches(&page);
            for dot in dot_centres(&page) {
                for (tag, [a, b], half) in &lines {
                    let apart = distance(dot, *a, *b) - half - braille::DOT_MM / 2.0;
                    assert!(
                        apart >= EIGHTH_INCH,
                        "{name}, {}: {apart} at {dot:?}, {tag:?}",
                        page.title
                    );
                }
            }
        }
    });
}

#[test]
fn alignment_lines_stand_clear_of_traces_axes_and_one_another() {
    each(|name, drawing| {
        for group in &drawing.groups {
            let page = drawing.drawing(group).unwrap();
            let lines = stretches(&page);
            let mut dashes = 0;
            for (own, [from, to], width) in &lines {
                let Tag::Line(_) = own else { continue };
                dashes += 1;
                for point in steps(&[*from, *to]) {
                    for (tag, [a, b], half) in lines.iter().filter(|(tag, ..)| tag != own) {
                        let apart = distance(point, *a, *b) - half - width;
                        assert!(apart >= EIGHTH_INCH, "{name}: {apart}, {own:?} and {tag:?}");
                    }
                }
            }
            assert!(dashes > 10 * drawing.lines.len(), "{name}: {dashes}");
        }
    });
}

#[test]
fn labels_are_a_cell_apart_and_in_the_order_of_time() {
    each(|name, drawing| {
        let labels = drawing.labels().unwrap();
        assert!((3..=6).contains(&labels.len()), "{name}");
        for pair in labels.windows(2) {
            assert!(pair[1].area.x - pair[0].area.right() >= LABELS_APART - 1e-9, "{name}");
            assert!(pair[1].x - pair[0].x >= ONE_LINE, "{name}");
        }
    });
}

#[test]
fn panels_are_tall_and_each_channel_is_drawn_below_the_reference() {
    each(|name, drawing| {
        let mut drawn: Vec<usize> = drawing.groups.concat();
        for group in &drawing.groups {
            assert_eq!(drawing.channels[group[0]].trace.channel, "ecg", "{name}");
            let mut top = drawing.room()[0];
            for panel in drawing.panels(group) {
                assert!(panel.axis - top >= LEAST_HEIGHT, "{name}: {}", panel.axis - top);
                top = panel.axis + GAP;
            }
        }
        drawn.sort_unstable();
        drawn.dedup();
        assert_eq!(drawn.len(), drawing.channels.len());
    });
}

#[test]
fn words_and_titles_say_what_the_pages_show() {
    each(|name, drawing| {
        let pages = drawing.pages().unwrap();
        let key: String = pages.iter().map(|page| page.alt.as_str()).collect();
        for channel in &drawing.channels {
            assert!(key.contains(&format!("{}: {}", channel.key, channel.title)), "{name}");
        }
        let last = pages.last().unwrap();
        assert_eq!(last.title, format!("Raised lines: Test 1, page {0} of {0}", pages.len()));
        for line in &drawing.lines {
            let said = format!("{}: {}", line.label, line.title);
            assert!(last.alt.contains(&said) && key.contains(&said), "{name}: {said}");
        }
    });
}

#[test]
fn what_falls_together_is_said_in_the_key() {
    let (test, subject, model) = test("left_heart", "letter");
    let pages = raised_pages(&test, &subject, &model, &test.title).unwrap();
    let key: String = pages.iter().map(|page| page.alt.as_str()).collect();
    assert!(key.contains("; also mitral valve closes, "), "{key}");
    assert!(key.contains("S1 begins as the mitral valve closes."), "{key}");
}

#[test]
fn a_title_that_braille_cannot_write_is_an_error() {
    let (test, subject, model) = test("first_course", "letter");
    let error = raised_pages(&test, &subject, &model, "P → R").unwrap_err();
    assert_eq!(error.letter, '→');
}
