//! An invented class: the key's own traces, shifted, bent and left out.

use std::collections::BTreeMap;
use std::sync::Arc;

use cardiac::Shipped;
use cycle::{Cycle, Random, Subject};
use figure::{Box2, Figure, Item, Shape, Stroke, Tag};
use marking::{
    DrawnBar, DrawnBurst, DrawnPage, DrawnSheet, DrawnSounds, DrawnTrace, Located, Marks, Outcome,
    PagePicture, Rubric, Ruling, locate, mark,
};
use sheet::{Book, Copy, Test, forms};

/// A test with its book, kept for as long as the program runs.
pub(crate) struct Exam {
    pub(crate) test: &'static Test,
    pub(crate) book: &'static Book<'static>,
    pub(crate) rubrics: Vec<Rubric<'static>>,
}

impl Exam {
    pub(crate) fn new(text: &str) -> Self {
        let subject: &'static Subject = Box::leak(Box::new(heart::subject()));
        let find = |name: &str| {
            let found = Shipped::find(name).map(|shipped| shipped.convention());
            found.ok_or_else(|| format!("no convention {name}"))
        };
        let test: &'static Test =
            Box::leak(Box::new(Test::from_toml(text, subject, &find).unwrap()));
        let models: Vec<Cycle> = forms(test)
            .iter()
            .map(|form| {
                let mut own = heart::Heart::default();
                for (name, value) in &form.numbers {
                    own.parameters.set(name, *value).unwrap();
                }
                let base = heart::simulate(&own, 1).unwrap();
                convention::schematic(&test.convention, subject, &base, test.beats).unwrap()
            })
            .collect();
        let id = sheet::test_id(text.as_bytes());
        let book: &'static Book<'static> =
            Box::leak(Box::new(Book::new(test, subject, &id, models).unwrap()));
        let rubric = |index| Rubric::new(book, &test.convention, index);
        let rubrics = (0..book.forms()).map(rubric).collect();
        Self { test, book, rubrics }
    }
}

/// How a student draws.
#[derive(Clone, Debug, Default)]
pub(crate) struct Hand {
    /// Millimetres to the right, by channel or bar.
    pub(crate) shift_mm: BTreeMap<String, f64>,
    /// Millimetres that every second burst of sound is farther right.
    pub(crate) second_mm: f64,
    /// Channels and bars that are left out.
    pub(crate) without: Vec<String>,
    /// Channels that are drawn without their small turns.
    pub(crate) smooth: Vec<String>,
    /// How far the line wanders.
    pub(crate) wander_mm: f64,
    pub(crate) seed: u64,
}

/// A sheet that was drawn and marked.
pub(crate) struct Done {
    pub(crate) form: usize,
    pub(crate) drawn: DrawnSheet,
    pub(crate) located: Located,
    pub(crate) marks: Marks,
}

impl Exam {
    pub(crate) fn draw(&self, form: usize, hand: &Hand) -> Done {
        let rubric = &self.rubrics[form];
        let drawn = self.drawn(form, hand);
        let located = locate(&drawn, rubric);
        let mut marks = mark(&drawn, &located, rubric);
        // As if a person had looked at all but a few and agreed with what was proposed.
        for (index, rule) in marks.rules.iter_mut().enumerate() {
            let kept = (index as u64 + hand.seed) % 9 == 4;
            if let Some(proposal) =
                rule.proposal.filter(|_| !kept && rule.outcome == Outcome::Review)
            {
                rule.outcome = proposal;
                rule.points = Some(if proposal == Outcome::Met { rule.max_points } else { 0.0 });
            } else if rule.outcome == Outcome::Review && !kept {
                let ruling = if (index as u64 * 5 + hand.seed * 3).is_multiple_of(4) {
                    Ruling::NotMet
                } else {
                    Ruling::Met
                };
                let id = rule.id.clone();
                let mut one = Marks { rules: vec![rule.clone()] };
                one.decide(&id, &ruling);
                *rule = one.rules.remove(0);
            }
        }
        Done { form, drawn, located, marks }
    }

    fn drawn(&self, form: usize, hand: &Hand) -> DrawnSheet {
        let rubric = &self.rubrics[form];
        let model = rubric.model;
        let phase = (hand.seed % 97) as f64;
        let wander = |x: f64| hand.wander_mm * libm::sin(x / 13.0 + phase);
        let shift = |name: &str| hand.shift_mm.get(name).copied().unwrap_or(0.0);
        let mut pages = Vec::new();
        for (number, layout) in (1..).zip(self.book.layouts(form)) {
            let mut page = DrawnPage { page: number, uncertainty_mm: 0.1, ..DrawnPage::default() };
            for place in layout.panels.iter().filter(|place| !place.given) {
                let channel = place.channel.clone();
                let left_out = hand.without.contains(&channel);
                let trace = model.trace(&channel).unwrap();
                let map = place.map();
                let dx = shift(&channel);
                if marking::has_bursts(rubric.subject, &channel) {
                    let mut sounds =
                        DrawnSounds { channel, width_mm: 0.4, sure: 1.0, ..DrawnSounds::default() };
                    if !left_out {
                        bursts(trace, &map, dx, hand.second_mm, &mut sounds);
                    }
                    page.sounds.push(sounds);
                    continue;
                }
                let mut drawn = DrawnTrace {
                    channel: channel.clone(),
                    width_mm: 0.4,
                    sure: 1.0,
                    ..DrawnTrace::default()
                };
                let steps = (place.area.w * 5.0) as usize;
                for step in 0..=steps {
                    let x = place.area.x + step as f64 / 5.0;
                    let [start, end] = place.time_s;
                    let time_s = start + (x - place.area.x) / place.area.w * (end - start);
                    let Some(mut value) = trace.at(time_s.min(trace.end_s() - 1.5 / trace.rate_hz))
                    else {
                        continue;
                    };
                    if hand.smooth.contains(&channel) {
                        let near =
                            (-30..=30).filter_map(|k| trace.at(time_s + f64::from(k) * 0.002));
                        let all: Vec<f64> = near.collect();
                        value = all.iter().sum::<f64>() / all.len() as f64;
                    }
                    let at = [x + dx + 0.7 * wander(x), map.y(value) + 0.4 * wander(x + 5.0)];
                    if at[0] >= place.area.x && at[0] <= place.area.right() && !left_out {
                        drawn.points_mm.push(at);
                    }
                }
                page.traces.push(drawn);
            }
            for place in layout.bars.iter().filter(|place| !place.given) {
                let kind = rubric.subject.bar(&place.bar).unwrap();
                let mut bar = DrawnBar { bar: place.bar.clone(), sure: 1.0, ..DrawnBar::default() };
                if !hand.without.contains(&place.bar) {
                    let dx = shift(&place.bar);
                    for [from, to] in kind.stretches(model, place.time_s[0], place.time_s[1]) {
                        let held = |time_s: f64| {
                            (place.x(time_s) + dx).clamp(place.area.x, place.area.right())
                        };
                        bar.stretches_mm.push([held(from), held(to)]);
                    }
                }
                page.bars.push(bar);
            }
            pages.push(page);
        }
        DrawnSheet { pages }
    }

    /// The pages with what was drawn, as a scanner would have them once they are flat.
    pub(crate) fn pictures(&self, done: &Done) -> Vec<PagePicture> {
        let copy = Copy { sheet: 1, form: done.form, name: None };
        let sheets = self.book.drawing_sheets(&[copy]).unwrap();
        let pages = sheets.iter().zip(self.book.layouts(done.form)).zip(&done.drawn.pages);
        pages
            .map(|((sheet, layout), drawn)| {
                let mut figure = sheet.figure();
                let stroke = Stroke::solid([70, 70, 74], 0.5);
                let mut parts: Vec<Vec<[f64; 2]>> =
                    drawn.traces.iter().map(|trace| trace.points_mm.clone()).collect();
                for sounds in &drawn.sounds {
                    for burst in sounds.envelope_mm.chunk_by(|a, b| b[0] - a[0] < 1.0) {
                        parts.push(
                            burst
                                .iter()
                                .enumerate()
                                .step_by(2)
                                .map(|(index, [x, top, bottom])| {
                                    [*x, if index % 4 == 0 { *top } else { *bottom }]
                                })
                                .collect(),
                        );
                    }
                }
                for bar in &drawn.bars {
                    let place = layout.bars.iter().find(|place| place.bar == bar.bar).unwrap();
                    let y = place.area.y + place.area.h / 2.0;
                    for [a, b] in &bar.stretches_mm {
                        parts.push(vec![
                            [*a, y - 1.5],
                            [*b, y - 1.5],
                            [*b, y + 1.5],
                            [*a, y + 1.5],
                            [*a, y - 1.5],
                        ]);
                    }
                }
                figure.items.push(Item { tag: Tag::Paper, shape: Shape::Lines { parts, stroke } });
                picture(drawn.page, &figure)
            })
            .collect()
    }
}

fn bursts(trace: &cycle::Trace, map: &figure::Map, dx: f64, second: f64, out: &mut DrawnSounds) {
    let loud = 0.02 * trace.range().map_or(1.0, |(low, high)| high.max(-low));
    let mut found: Vec<(f64, f64, f64)> = Vec::new();
    for (index, value) in trace.samples.iter().enumerate() {
        if value.abs() < loud {
            continue;
        }
        let x = map.x(trace.time_s(index));
        match found.last_mut() {
            Some((_, to, high)) if x - *to < 2.0 => {
                *to = x;
                *high = high.max(value.abs());
            }
            _ => found.push((x, x, value.abs())),
        }
    }
    let base = map.y(0.0);
    for (index, (from, to, high)) in found.into_iter().enumerate() {
        let by = dx + if index % 2 == 1 { second } else { 0.0 };
        let tall = base - map.y(high);
        let steps = ((to - from) * 4.0) as usize;
        for step in 0..=steps {
            let x = from + step as f64 / 4.0 + by;
            let share = libm::sin(step as f64 / steps.max(1) as f64 * std::f64::consts::PI);
            let half = 0.2 + tall * share.max(0.15);
            out.envelope_mm.push([x, base - half, base + half]);
        }
        out.bursts.push(DrawnBurst {
            from_mm: from + by,
            to_mm: to + by,
            height_mm: 2.0 * tall,
            doubt_mm: [0.0; 2],
            sure: 1.0,
        });
    }
}

fn picture(page: u8, figure: &Figure) -> PagePicture {
    let file = figure.png(150.0).unwrap();
    let mut reader = png::Decoder::new(std::io::Cursor::new(file)).read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut pixels).unwrap();
    let (width, height) = (info.width as usize, info.height as usize);
    let samples = pixels.len() / (width * height);
    let grey: Arc<[u8]> = pixels.chunks(samples).map(|pixel| pixel[0]).collect();
    let area = Box2::new(0.0, 0.0, figure.width_mm, figure.height_mm);
    PagePicture::new(page, area, width, height, grey)
}

/// A class whose notch is mostly late, whose second sound is sometimes early, and so on.
pub(crate) fn class(exam: &Exam, count: u64) -> Vec<Done> {
    let one = |seed: u64| {
        let mut chance = Random::new(seed);
        let mut near = |spread: f64| {
            let sum: f64 = (0..4).map(|_| chance.below(1001) as f64 / 1000.0).sum();
            (sum - 2.0) * spread
        };
        let mut hand = Hand { wander_mm: 0.25 + near(0.1).abs(), seed, ..Hand::default() };
        let rubric = &exam.rubrics[0];
        for on in &rubric.panels {
            hand.shift_mm.insert(
                on.place.channel.clone(),
                near(2.5) + if on.place.channel == "aortic_pressure" { 1.8 } else { 0.0 },
            );
        }
        for on in &rubric.bars {
            hand.shift_mm.insert(on.place.bar.clone(), near(2.0));
        }
        hand.second_mm = near(2.5);
        if seed % 7 == 3 {
            hand.smooth.push("aortic_pressure".to_owned());
        }
        if seed % 11 == 5 {
            hand.without.push("aortic_pressure".to_owned());
        }
        exam.draw(seed as usize % exam.rubrics.len(), &hand)
    };
    (0..count).map(one).collect()
}
