//! Fitting what the reading of landmarks goes by to drawings whose truth is known.
//!
//! `accuracy --fit lines|bursts|signs --keep FOLDER`, on all drawings, of whatever seeds, that were
//! read and kept there before. What comes out is told, to be written into
//! `landmarks::Costs::GUIDED` and `marking`'s weights.

use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;

use cycle::Subject;
use landmarks::{Costs, Curve, Expectation, Reading, find, find_at};
use marking::{Rubric, bar_ends, event_signs, signs};

use crate::drawings::{Printed, all_kept, filled_in, kept};

/// So near to where it was drawn a landmark is found, seconds: 1.5 mm at 100 mm/s; the end of a
/// bar, in millimetres.
const NEAR_S: f64 = 0.015;
const NEAR_MM: f64 = 1.5;
/// The farthest that a landmark of the same beat may be from where it belongs, seconds.
const SAME_BEAT_S: f64 = 0.4;
/// No landmark is less likely than this.
const LEAST: f64 = 0.02;
/// Rounds of the search, and by how much costs are changed at first.
const ROUNDS: usize = 3;
const FIRST_STEP: f64 = 0.5;

/// A landmark, and when it was drawn or should have been, seconds.
struct True {
    channel: String,
    name: String,
    time_s: f64,
}

/// A drawing to fit to.
struct Sample {
    test: usize,
    form: usize,
    curves: Vec<Curve>,
    there: Vec<True>,
    absent: Vec<True>,
    /// Events at which bars begin and end, and where, in millimetres from the page's left side.
    events: Vec<(String, f64)>,
    drawn: marking::DrawnSheet,
}

fn sample(tests: &[Printed<'_>], number: usize, seed: u64, folder: &Path) -> Option<Sample> {
    let drawn = kept(folder, seed)?;
    let filled = filled_in(tests, number, seed).ok()?;
    let Printed { test, book, .. } = &tests[filled.test];
    let rubric = Rubric::new(book, &test.convention, filled.form);
    let curves = marking::curves(&drawn, &rubric);
    let (mut there, mut absent) = (Vec::new(), Vec::new());
    for trace in filled.drawing.truth.pages.iter().flat_map(|page| &page.traces) {
        let mut panels = filled.geometry.pages.iter().flat_map(|page| &page.panels);
        let panel = panels.find(|panel| panel.channel == trace.channel)?;
        if !curves.iter().any(|curve| curve.channel == trace.channel) {
            continue;
        }
        let of = |name: &str, x_mm: f64| True {
            channel: trace.channel.clone(),
            name: name.to_owned(),
            time_s: panel.time_start_s
                + (x_mm - panel.x_mm) / panel.width_mm * (panel.time_end_s - panel.time_start_s),
        };
        there.extend(trace.landmarks.iter().map(|mark| of(&mark.name, mark.at_mm[0])));
        absent.extend(trace.absent.iter().map(|mark| of(&mark.name, mark.key_mm[0])));
    }
    let bars = filled.drawing.truth.pages.iter().flat_map(|page| &page.bars);
    let events = bars.flat_map(|bar| bar.events.clone()).collect();
    Some(Sample { test: filled.test, form: filled.form, curves, there, absent, events, drawn })
}

/// How likely a reading has it that a landmark is where it was drawn.
fn likely(reading: &Reading, one: &True) -> f64 {
    let own = reading.found.iter().filter(|f| f.channel == one.channel && f.name == one.name);
    let near = |time_s: f64| (time_s - one.time_s).abs() < NEAR_S;
    let each = own.map(|found| {
        let others = found.alternatives.iter().filter(|other| near(other.0)).map(|other| other.1);
        others.sum::<f64>() + if near(found.time_s) { found.confidence } else { 0.0 }
    });
    each.fold(0.0, f64::max).min(1.0)
}

/// How likely a reading has it that a landmark is absent where it was not drawn.
fn likely_absent(reading: &Reading, one: &True) -> f64 {
    let own = reading.found.iter().filter(|f| f.channel == one.channel && f.name == one.name);
    let own = own.filter(|found| (found.time_s - one.time_s).abs() < SAME_BEAT_S);
    let there = own
        .map(|found| found.confidence + found.alternatives.iter().map(|other| other.1).sum::<f64>())
        .fold(0.0, f64::max);
    if there > 0.0 {
        return 1.0 - there.min(1.0);
    }
    let missing = reading.missing.iter();
    let missing = missing.filter(|m| m.channel == one.channel && m.name == one.name);
    missing.map(|missing| missing.confidence).fold(0.5, f64::max)
}

/// Minus the logarithm of the likelihood of the truth.
fn loss(samples: &[Sample], tests: &[Printed<'_>], subject: &Subject, costs: &Costs) -> f64 {
    let of = |sample: &Sample| {
        let key = Expectation { cycle: tests[sample.test].book.model(sample.form) };
        let reading = find_at(costs, &sample.curves, subject, Some(key));
        let there = sample.there.iter().map(|one| likely(&reading, one));
        let absent = sample.absent.iter().map(|one| likely_absent(&reading, one));
        there.chain(absent).map(|share| -libm::log(LEAST + (1.0 - LEAST) * share)).sum::<f64>()
    };
    let half = samples.len().div_ceil(2).max(1);
    std::thread::scope(|scope| {
        let parts = samples.chunks(half);
        let threads: Vec<_> =
            parts.map(|part| scope.spawn(move || part.iter().map(of).sum::<f64>())).collect();
        threads.into_iter().map(|thread| thread.join().unwrap_or(f64::INFINITY)).sum()
    })
}

/// Fits `what`: the costs of lines or bursts, or the weights of signs.
///
/// # Errors
/// Where nothing was kept.
pub(crate) fn fit(
    what: &str,
    tests: &[Printed<'_>],
    subject: &Subject,
    folder: &Path,
) -> Result<(), Box<dyn Error>> {
    let kept = all_kept(folder)?.into_iter();
    let mut samples: Vec<Sample> =
        kept.filter_map(|(number, seed)| sample(tests, number, seed, folder)).collect();
    if samples.is_empty() {
        return Err(format!("no drawing was kept in {}", folder.display()).into());
    }
    if what == "signs" {
        fit_signs(&samples, tests, subject);
        return Ok(());
    }
    let bursts = what == "bursts";
    let own = |channel: &str| {
        subject.strokes.iter().any(|s| s.channel == channel && s.burst.is_some()) == bursts
    };
    for sample in &mut samples {
        sample.there.retain(|one| own(&one.channel));
        sample.absent.retain(|one| own(&one.channel));
        let reference = &subject.reference_channel;
        sample.curves.retain(|curve| own(&curve.channel) || curve.channel == *reference);
    }
    fit_costs(bursts, &samples, tests, subject);
    Ok(())
}

/// Changes one cost after the other as long as the truth becomes likelier.
fn fit_costs(bursts: bool, samples: &[Sample], tests: &[Printed<'_>], subject: &Subject) {
    let mut costs = Costs::GUIDED;
    let mut least = loss(samples, tests, subject, &costs);
    println!("{} drawings: {least:.1}", samples.len());
    let names = costs.each().map(|(name, _)| name);
    let names: Vec<&str> = names.into_iter().filter(|n| n.starts_with("burst") == bursts).collect();
    let mut steps: BTreeMap<&str, f64> = names.iter().map(|name| (*name, FIRST_STEP)).collect();
    for _ in 0..ROUNDS {
        for name in &names {
            let step = steps[name];
            let better = [1.0 + step, 1.0 / (1.0 + step)].into_iter().find_map(|factor| {
                let mut other = costs.clone();
                for (own, value) in other.each() {
                    *value *= if own == *name { factor } else { 1.0 };
                }
                let loss = loss(samples, tests, subject, &other);
                (loss < least - 0.2).then_some((other, loss))
            });
            match better {
                Some((other, loss)) => (costs, least) = (other, loss),
                None => *steps.entry(name).or_default() *= 0.5,
            }
        }
        println!("{least:.1}");
    }
    for (name, value) in costs.each().into_iter().filter(|(name, _)| names.contains(name)) {
        println!("{name}: {value:.3}");
    }
}

/// Fits the weights of a logistic regression by steps along its gradient.
fn fit_signs(samples: &[Sample], tests: &[Printed<'_>], subject: &Subject) {
    let mut rows: [Vec<Row>; 3] = Default::default();
    for sample in samples {
        let Printed { test, book, .. } = &tests[sample.test];
        let rubric = Rubric::new(book, &test.convention, sample.form);
        let curves = marking::curves(&sample.drawn, &rubric);
        let key = Expectation { cycle: book.model(sample.form) };
        let reading = find(&curves, subject, Some(key));
        for (found, signs) in reading.found.iter().zip(signs(&reading, &curves, &rubric)) {
            let own = |one: &&True| one.channel == found.channel && one.name == found.name;
            let off = |one: &True| (one.time_s - found.time_s).abs();
            let asked = sample.there.iter().chain(&sample.absent).any(|one| own(&one));
            let right = sample.there.iter().filter(own).any(|one| off(one) < NEAR_S);
            if asked {
                rows[usize::from(signs.height.is_some())].push((signs.numbers(), right));
            }
        }
        let ends = bar_ends(&sample.drawn, &rubric);
        for (end, signs) in ends.iter().zip(event_signs(&ends, &rubric)) {
            let mut own = sample.events.iter().filter(|event| event.0 == end.name);
            let right = own.any(|event| (event.1 - end.at_mm[0]).abs() < NEAR_MM);
            rows[2].push((signs.numbers(), right));
        }
    }
    for (title, rows) in ["lines", "bursts", "ends of bars"].into_iter().zip(&rows) {
        let wrong = rows.iter().filter(|row| !row.1).count();
        println!("{title}: {} landmarks, {wrong} wrong, {:.2?}", rows.len(), regression(rows));
    }
}

/// The signs of a landmark as numbers, and whether it is where it was drawn.
type Row = ([f64; 12], bool);

/// The weights under which the rows' outcomes are likeliest; large ones are held down a little.
fn regression(rows: &[Row]) -> [f64; 12] {
    const STEPS: usize = 6000;
    let mut weights = [0.0; 12];
    let mut speed = [0.0; 12];
    for _ in 0..STEPS {
        let mut slope = weights.map(|weight| -0.5 * weight);
        for (signs, right) in rows {
            let sum: f64 = signs.iter().zip(&weights).map(|(sign, weight)| sign * weight).sum();
            let off = f64::from(u8::from(*right)) - 1.0 / (1.0 + libm::exp(-sum));
            for (slope, sign) in slope.iter_mut().zip(signs) {
                *slope += off * sign;
            }
        }
        for ((weight, speed), slope) in weights.iter_mut().zip(&mut speed).zip(slope) {
            *speed = 0.9 * *speed + 0.05 * slope / rows.len().max(1) as f64;
            *weight += *speed;
        }
    }
    weights
}
