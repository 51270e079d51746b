//! Strips on grid paper: their scale, and a key's brackets beside the trace.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use cycle::{Cycle, Landmark, Trace};
use figure::{Box2, Figure, FontEmbedding, Shape, Tag, font};
use heart::{Heart, Rhythm, condition, conditions, natural_beats, simulate};
use sheet::{Interval, MM_PER_MV, MM_PER_S, Orientation, StripSpec, strip, waves};

/// From the left side of the grid to the trace, as the strips are documented to have it.
const BEFORE_TRACE: f64 = 15.0;

fn spec() -> StripSpec {
    let spec = StripSpec::new("ecg", "lead II", Orientation::Portrait);
    StripSpec { title: "Strip 1".to_owned(), waves: waves(&heart::subject(), "ecg"), ..spec }
}

fn natural(heart: &Heart) -> Cycle {
    simulate(heart, natural_beats(heart)).unwrap()
}

fn of(name: &str) -> Cycle {
    natural(&condition(name).unwrap().heart)
}

fn key(cycle: &Cycle) -> StripSpec {
    let blank = spec();
    let readings = cardiac::readings(cycle, 0.0, blank.length_s());
    let spans = readings.into_iter().flat_map(|reading| reading.shown);
    let marks =
        spans.map(|s| Interval { label: s.label, from_s: s.from_s, to_s: s.to_s }).collect();
    StripSpec { marks, ..blank }
}

/// The parts of all lines with a tag, with the width they are drawn in.
fn lines(figure: &Figure, tag: &Tag) -> Vec<(f64, Vec<Vec<[f64; 2]>>)> {
    let own = figure.items.iter().filter(|item| item.tag == *tag);
    own.filter_map(|item| match &item.shape {
        Shape::Lines { parts, stroke } => Some((stroke.width, parts.clone())),
        _ => None,
    })
    .collect()
}

/// The grid's box, and the places of its lines across and down, thin and thick.
struct Grid {
    area: Box2,
    thin: [Vec<f64>; 2],
    thick: [Vec<f64>; 2],
}

fn grid(figure: &Figure) -> Grid {
    let mut sets = lines(figure, &Tag::Grid).into_iter();
    let places = |parts: Vec<Vec<[f64; 2]>>| {
        let at = |axis: usize| {
            let straight = parts.iter().filter(|part| part[0][axis] == part[1][axis]);
            straight.map(|part| part[0][axis]).collect::<Vec<f64>>()
        };
        [at(0), at(1)]
    };
    let (thin_width, thin) = sets.next().unwrap();
    let (thick_width, thick) = sets.next().unwrap();
    assert!(thick_width > 1.5 * thin_width && sets.next().is_none());
    let thick = places(thick);
    let (x, y) = (thick[0][0], thick[1][0]);
    let (right, bottom) = (thick[0].last().unwrap(), thick[1].last().unwrap());
    let area = Box2::new(x, y, right - x, bottom - y);
    Grid { area, thin: places(thin), thick }
}

fn trace_points(figure: &Figure) -> Vec<[f64; 2]> {
    let parts = lines(figure, &Tag::Trace("ecg".to_owned()));
    parts.into_iter().flat_map(|(_, parts)| parts).flatten().collect()
}

/// The height on the page of 0 mV: where the calibration pulse begins.
fn zero(figure: &Figure) -> f64 {
    lines(figure, &Tag::Panel)[0].1[0][0][1]
}

fn near(a: f64, b: f64, by: f64) -> bool {
    (a - b).abs() <= by
}

#[test]
fn lines_are_a_millimetre_apart_and_every_fifth_is_thick() {
    let figure = strip(&of("rest"), &spec());
    let grid = grid(&figure);
    assert_eq!(grid.area.w, 170.0);
    assert!(near(grid.area.h % 5.0, 0.0, 1e-9) && grid.area.h <= 40.0, "{}", grid.area.h);
    for axis in [0, 1] {
        let start = grid.thick[axis][0];
        let length = if axis == 0 { grid.area.w } else { grid.area.h };
        let mut all: Vec<f64> = grid.thin[axis].iter().chain(&grid.thick[axis]).copied().collect();
        all.sort_by(f64::total_cmp);
        assert_eq!(all.len(), length as usize + 1);
        for (mm, at) in all.iter().enumerate() {
            assert!(near(at - start, mm as f64, 1e-9), "{at}");
        }
        for (index, at) in grid.thick[axis].iter().enumerate() {
            assert!(near(at - start, 5.0 * index as f64, 1e-9), "{at}");
        }
    }
}

#[test]
fn strips_keep_to_the_margins_of_letter_and_a4() {
    for (orientation, papers) in
        [(Orientation::Portrait, [215.9, 210.0]), (Orientation::Landscape, [279.4, 297.0])]
    {
        let spec = StripSpec { ..StripSpec::new("ecg", "lead II", orientation) };
        let figure = strip(&of("rest"), &spec);
        for paper in papers {
            assert!(figure.width_mm <= paper - 2.0 * 18.0, "{} on {paper}", figure.width_mm);
        }
        assert!(spec.length_s() >= 6.0, "the rate is counted over 6 s");
    }
}

#[test]
fn the_calibration_pulse_is_one_millivolt_for_a_fifth_of_a_second_on_thick_lines() {
    let figure = strip(&of("rest"), &spec());
    let grid = grid(&figure);
    let pulse = lines(&figure, &Tag::Panel)[0].1[0].clone();
    let (low, high) = (pulse[1], pulse[2]);
    assert!(near(low[1] - high[1], 10.0, 1e-9) && near(pulse[3][0] - high[0], 5.0, 1e-9));
    let on = |places: &[f64], at: f64| places.iter().any(|place| near(*place, at, 1e-9));
    for x in [pulse[2][0], pulse[3][0], grid.area.x + BEFORE_TRACE] {
        assert!(on(&grid.thick[0], x), "{x}");
    }
    assert!(on(&grid.thick[1], low[1]) && on(&grid.thick[1], high[1]));
}

#[test]
fn the_r_peaks_lie_where_time_and_voltage_put_them() {
    let cycle = of("rest");
    for start_s in [0.0, 1.3] {
        let spec = StripSpec { start_s, ..spec() };
        let figure = strip(&cycle, &spec);
        let (grid, zero) = (grid(&figure), zero(&figure));
        let points = trace_points(&figure);
        let (left, right) = (grid.area.x + BEFORE_TRACE, grid.area.right());
        let peak = cycle.landmark("r_peak").unwrap();
        let mut seen = 0;
        for beat in 0..12 {
            let time_s = peak.time_s + f64::from(beat) * cycle.period_s - start_s;
            let x = left + MM_PER_S * time_s;
            if time_s < 0.0 || x > right {
                continue;
            }
            seen += 1;
            let y = zero - MM_PER_MV * peak.value;
            let hit = points.iter().any(|p| near(p[0], x, 0.03) && near(p[1], y, 0.03));
            assert!(hit, "no peak at {x}, {y}");
        }
        assert_eq!(seen, 8, "R–R is 0.8 s and the strip 6.2 s long");
        assert!(points.iter().all(|p| p[0] >= left - 1e-9 && p[0] <= right + 1e-9));
    }
}

#[test]
fn a_cycle_is_continued_as_the_heart_goes_on_and_else_cut() {
    let heart = condition("second_degree_av_block_type_1").unwrap().heart;
    let group = natural(&heart);
    let long = simulate(&heart, 4 * natural_beats(&heart)).unwrap();
    let (a, b) = (strip(&group, &spec()), strip(&long, &spec()));
    assert_eq!(a.svg(FontEmbedding::Referenced), b.svg(FontEmbedding::Referenced));
    assert_eq!(a.alt, b.alt);

    let short = simulate(&heart, 2).unwrap();
    assert!(!short.repeats);
    let end = short.span_s().unwrap().1;
    let figure = strip(&short, &spec());
    let grid = grid(&figure);
    let last = trace_points(&figure).iter().map(|p| p[0]).fold(0.0, f64::max);
    assert!(near(last, grid.area.x + BEFORE_TRACE + MM_PER_S * end, 0.1), "{last}");
}

#[test]
fn ticks_stand_every_three_seconds_above_the_grid() {
    let figure = strip(&of("rest"), &spec());
    let grid = grid(&figure);
    let ticks: Vec<f64> =
        lines(&figure, &Tag::Axis).iter().map(|(_, parts)| parts[0][0][0] - grid.area.x).collect();
    assert_eq!(ticks, [15.0, 90.0, 165.0]);
}

#[test]
fn the_scale_and_the_lead_are_written_under_the_grid() {
    let figure = strip(&of("rest"), &spec());
    let texts: Vec<(&str, f64)> = figure
        .items
        .iter()
        .filter_map(|item| match &item.shape {
            Shape::Text { text, at, .. } => Some((text.as_str(), at[1])),
            _ => None,
        })
        .collect();
    let bottom = grid(&figure).area.bottom();
    let under = |wanted: &str| texts.iter().any(|(text, y)| *text == wanted && *y > bottom);
    assert!(under("25 mm/s · 10 mm/mV · lead II"), "{texts:?}");
    assert!(texts.iter().all(|(text, _)| font::covers(text)));
}

#[test]
fn the_words_hold_what_the_picture_does_and_not_the_answer() {
    let figure = strip(&of("rest"), &spec());
    for part in ["6.2 seconds at 25 mm/s", "P wave 0.04 to 0.14 (0.15 mV)", "QRS complex 0.20 to"] {
        assert!(figure.alt.contains(part), "{part} in {}", figure.alt);
    }
    assert!(figure.alt.contains("level") && !figure.alt.contains("Key"));
    let fibrillation = strip(&of("atrial_fibrillation"), &spec()).alt;
    assert!(!fibrillation.contains("P wave") && fibrillation.contains("wavers by 0.2 mV"));
    // "Rest" is part of "nearest".
    for condition in conditions().into_iter().filter(|condition| condition.name != "rest") {
        let alt = strip(&natural(&condition.heart), &spec()).alt.to_lowercase();
        assert!(!alt.contains(&condition.title.to_lowercase()), "{alt}");
    }
}

#[test]
fn a_mark_stands_where_its_interval_is() {
    let cycle = of("rest");
    let pr = Interval { label: "PR".to_owned(), from_s: 0.04, to_s: 0.2 };
    let outside = Interval { label: "too late".to_owned(), from_s: 6.0, to_s: 6.4 };
    let figure = strip(&cycle, &StripSpec { marks: vec![pr, outside], ..spec() });
    let bracket = &lines(&figure, &Tag::Bar("PR".to_owned()))[1].1[1];
    let left = grid(&figure).area.x + BEFORE_TRACE;
    assert!(near(bracket[0][0], left + 1.0, 1e-9) && near(bracket[1][0], left + 5.0, 1e-9));
    assert!(!figure.items.iter().any(|item| item.tag == Tag::Bar("too late".to_owned())));
    assert!(figure.alt.ends_with("Key, measured on the strip: PR, from 0.04 to 0.20 s."));
}

/// Every heart that the program names: its conditions, and each rhythm at several rates.
fn hearts() -> Vec<(String, Heart)> {
    let mut all: Vec<(String, Heart)> =
        conditions().into_iter().map(|condition| (condition.name, condition.heart)).collect();
    for (name, rhythm) in Rhythm::ALL {
        for rate in [60.0, 75.0, 120.0] {
            let mut heart = Heart { rhythm, ..Heart::default() };
            heart.parameters.set("rate_bpm", rate).unwrap();
            all.push((format!("{name} at {rate}"), heart));
        }
    }
    all
}

#[test]
fn no_label_of_a_key_covers_the_trace_or_another_or_leaves_the_grid() {
    for (name, heart) in hearts() {
        let cycle = natural(&heart);
        let spec = key(&cycle);
        let figure = strip(&cycle, &spec);
        let area = grid(&figure).area;
        let bars = |item: &&figure::Item| matches!(item.tag, Tag::Bar(_));
        let labels: Vec<Box2> =
            figure.items.iter().filter(bars).filter_map(|item| item.shape.text_box()).collect();
        assert_eq!(labels.len(), spec.marks.len(), "{name}");
        assert!(labels.len() >= 3, "{name}");
        let brackets: Vec<Vec<Vec<[f64; 2]>>> = figure
            .items
            .iter()
            .filter(bars)
            .filter_map(|item| match &item.shape {
                Shape::Lines { parts, stroke } if stroke.dash.is_empty() => Some(parts.clone()),
                _ => None,
            })
            .collect();
        let trace = trace_points(&figure);
        for (index, label) in labels.iter().enumerate() {
            assert!(area.holds(label), "{name}: {label:?}");
            let crossed = |points: &[[f64; 2]]| {
                points.windows(2).any(|pair| label.crossed_by(pair[0], pair[1]))
            };
            assert!(!crossed(&trace), "{name}: a label on the trace");
            for (other, parts) in brackets.iter().enumerate() {
                if other != index {
                    assert!(
                        !parts.iter().any(|part| crossed(part)),
                        "{name}: a label on a bracket"
                    );
                }
            }
            assert!(!labels[..index].iter().any(|o| o.overlaps(label)), "{name}: two labels");
        }
        for (index, bracket) in brackets.iter().enumerate() {
            let across = |parts: &[Vec<[f64; 2]>]| (parts[1][0], parts[1][1]);
            let (from, to) = across(bracket);
            for other in &brackets[..index] {
                let (a, b) = across(other);
                let same_lane = near(a[1], from[1], 2.0);
                assert!(!same_lane || b[0] < from[0] || to[0] < a[0], "{name}: two brackets");
            }
        }
    }
}

#[test]
fn a_key_is_as_high_as_its_strip_where_the_usual_brackets_do() {
    for name in ["rest", "tachycardia", "first_degree_av_block", "third_degree_av_block"] {
        let cycle = of(name);
        let (blank, key) = (strip(&cycle, &spec()), strip(&cycle, &key(&cycle)));
        assert_eq!(blank.height_mm, key.height_mm, "{name}");
    }
}

#[test]
fn the_same_cycle_gives_the_same_strip() {
    let once = || strip(&of("atrial_fibrillation"), &spec()).svg(FontEmbedding::Referenced);
    assert_eq!(once(), once());
}

#[test]
fn any_channel_in_millivolts_can_be_drawn_and_an_absent_one_leaves_the_grid() {
    let place = |name: &str, time_s, value| Landmark {
        name: name.to_owned(),
        channel: "muscle".to_owned(),
        time_s,
        value,
    };
    let cycle = Cycle {
        period_s: 3.0,
        traces: vec![Trace::new("muscle", "mV", 10.0, 0.0, vec![-3.0; 30])],
        landmarks: vec![place("start", 1.0, 0.0), place("end", 1.5, -3.0)],
        ..Cycle::default()
    };
    let landmarks = vec!["start".to_owned(), "end".to_owned()];
    let burst = sheet::Wave { name: "burst".to_owned(), landmarks };
    let base = StripSpec::new("muscle", "forearm", Orientation::Portrait);
    let figure = strip(&cycle, &StripSpec { waves: vec![burst], ..base.clone() });
    let grid = grid(&figure);
    let low = zero(&figure) + 30.0;
    assert!(low < grid.area.bottom(), "3 mV down is on the grid");
    assert!(figure.alt.contains("burst 1.00 to 1.50 (−3 mV)"), "{}", figure.alt);
    let empty = strip(&cycle, &StripSpec { channel: "absent".to_owned(), ..base });
    assert!(!empty.items.iter().any(|item| matches!(item.tag, Tag::Trace(_))));
}
