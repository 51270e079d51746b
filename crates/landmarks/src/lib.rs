//! Finding a subject's landmarks on traces.
//!
//! A trace is a [`Curve`]: a function of time with gaps. Whether it was measured or drawn makes
//! no difference. Where each curve turns ([`Curve`] to joints, or bursts) is found first; then
//! joints are assigned to the landmarks of all beats at once, as the best consistent whole, and
//! each assignment is told with the share of all assignments that agree on it. What a landmark
//! looks like, and about when it comes, is the subject's data ([`cycle::Feature`]). This crate
//! knows no pixels and reads no files.

mod agree;
mod anchors;
mod bursts;
mod chain;
mod costs;
mod curve;
mod expect;
mod free;
mod joints;
mod line;
pub mod recorded;

use cycle::Subject;

pub use costs::Costs;
pub use curve::{Curve, Drawn, Form};
pub use expect::Expectation;

use anchors::{Anchor, with_neighbours};
use curve::Grid;
use joints::joints;
use line::{Line, order, slots};

/// A landmark that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Landmark identifier.
    pub name: String,
    /// Channel identifier.
    pub channel: String,
    /// Which beat it belongs to: 0 is that of the first anchor shown, −1 the one before it.
    pub beat: i32,
    /// When, seconds.
    pub time_s: f64,
    /// The curve's value there; of a burst its height above the baseline.
    pub value: f64,
    /// How sure it is that this place is this landmark, 0 … 1.
    pub confidence: f64,
    /// How well its time is known where it is this landmark: one standard deviation, seconds.
    pub spread_s: f64,
    /// Other places that it could be, with how likely each is, the likeliest first.
    pub alternatives: Vec<(f64, f64)>,
}

/// A landmark that is not there.
#[derive(Clone, Debug, PartialEq)]
pub struct Missing {
    /// Landmark identifier.
    pub name: String,
    /// Channel identifier.
    pub channel: String,
    /// Which beat lacks it.
    pub beat: i32,
    /// How sure it is that it is absent, 0 … 1.
    pub confidence: f64,
}

/// What was found on a set of curves.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reading {
    /// Landmarks found, by curve and in the order of time.
    pub found: Vec<Found>,
    /// Landmarks of the beats shown that are missing; those that lie where nothing is known
    /// are in neither list.
    pub missing: Vec<Missing>,
}

/// Finds the landmarks of `subject` on `curves`, which share one time axis.
///
/// Beats are counted by the subject's anchor on its reference channel; where that curve is not
/// among them or shows none, by the anchors of `expectation`. Without either, nothing is found.
pub fn find(curves: &[Curve], subject: &Subject, expectation: Option<Expectation>) -> Reading {
    let costs = if expectation.is_some() { Costs::GUIDED } else { Costs::ALONE };
    find_at(&costs, curves, subject, expectation)
}

/// Finds landmarks as [`find`] does, at other costs.
pub fn find_at(
    costs: &Costs,
    curves: &[Curve],
    subject: &Subject,
    expectation: Option<Expectation>,
) -> Reading {
    let mut reading = Reading::default();
    let grids: Vec<(&Curve, Grid)> =
        curves.iter().filter_map(|curve| Some((curve, Grid::new(curve)?))).collect();
    let expected = expectation.map(|e| e.anchors(subject)).unwrap_or_default();
    let reference = grids.iter().find(|(curve, _)| curve.channel == subject.reference_channel);
    let mut anchors =
        reference.map(|(_, grid)| anchors::anchors(&joints(grid), grid)).unwrap_or_default();
    if let (Some((curve, grid)), Some(expectation)) = (reference, expectation)
        && anchors.len() <= FEW
    {
        let guide = expectation.guide(&curve.channel, subject);
        anchors = reconsidered(anchors, grid, subject, &curve.channel, expectation, &guide, costs);
    }
    if let Some((curve, _)) = reference {
        for place in anchors.len()..expected.len() {
            reading.missing.push(Missing {
                name: subject.anchor.clone(),
                channel: curve.channel.clone(),
                beat: place as i32,
                confidence: 0.5,
            });
        }
    }
    if anchors.is_empty() {
        let anchor = |&time_s: &f64| Anchor { time_s, joint: None, confidence: 0.5 };
        anchors = expected.iter().map(anchor).collect();
    }
    let beats = with_neighbours(&anchors, period_s(&anchors, expectation));
    for (curve, grid) in &grids {
        let guide = expectation.map(|e| e.guide(&curve.channel, subject)).unwrap_or_default();
        if curve.form != Form::Line {
            let bursts = if curve.bursts.is_empty() {
                bursts::bursts(grid, curve.form)
            } else {
                bursts::measured(grid, &curve.bursts, costs)
            };
            let channel = &curve.channel;
            let sounds = bursts::Sounds { grid, bursts, subject, guide: &guide, channel, costs };
            sounds.find(&beats, &mut reading.found, &mut reading.missing);
            continue;
        }
        let joints = joints(grid);
        let anchor = (curve.channel == subject.reference_channel).then_some(&*subject.anchor);
        let mut names = order(subject, &curve.channel);
        let read = |names: &[(&str, &cycle::Feature)]| {
            let line = Line { grid, joints: &joints, slots: slots(names, &guide, &beats), costs };
            line.read(&curve.channel, anchor)
        };
        let (mut found, mut missing, _) = read(&names);
        let restless = free::restless(&found, subject, &joints, &anchors);
        if !restless.is_empty() {
            names.retain(|(name, _)| !restless.contains(name));
            (found, missing, _) = read(&names);
            let gone = anchors.iter().enumerate().flat_map(|(beat, _)| {
                restless.iter().map(move |name| (beat as i32, (*name).to_owned()))
            });
            let channel = curve.channel.clone();
            missing.extend(gone.map(|(beat, name)| Missing {
                name,
                channel: channel.clone(),
                beat,
                confidence: RESTLESS,
            }));
        }
        reading.missing.extend(missing);
        let all = free::add(found, subject, &joints, grid, &anchors);
        reading.found.extend(all);
    }
    reading
}

/// With more anchors than this, one that is taken for another matters little.
const FEW: usize = 4;

/// The anchors, one of them exchanged for another peak where all landmarks of the reference
/// channel fit better that way; each with the share of the fits that have it.
fn reconsidered(
    anchors: Vec<Anchor>,
    grid: &Grid,
    subject: &Subject,
    channel: &str,
    expectation: Expectation,
    guide: &expect::Guide,
    costs: &Costs,
) -> Vec<Anchor> {
    let joints = joints(grid);
    let names = order(subject, channel);
    let absolute = expectation.anchors(subject);
    let cost = |set: &[Anchor]| {
        let beats = with_neighbours(set, period_s(set, Some(expectation)));
        let line = Line { grid, joints: &joints, slots: slots(&names, guide, &beats), costs };
        let far = set.iter().zip(&absolute).map(|(anchor, expected)| {
            let off = (anchor.time_s - expected) / 0.05;
            libm::log(1.0 + off * off)
        });
        line.read(channel, Some(&subject.anchor)).2 + far.sum::<f64>()
    };
    let mut sets = vec![(anchors.clone(), cost(&anchors))];
    for (set, extra) in anchors::exchanged(&anchors, &joints, grid) {
        let total = cost(&set) + extra;
        sets.push((set, total));
    }
    let least = sets.iter().map(|set| set.1).fold(f64::INFINITY, f64::min);
    let weight = |set: &(Vec<Anchor>, f64)| libm::exp(least - set.1);
    let all: f64 = sets.iter().map(weight).sum();
    let Some(best) = sets.iter().find(|set| set.1 <= least) else { return anchors };
    let sure = |anchor: &Anchor| {
        let with = sets.iter().filter(|set| set.0.iter().any(|a| a.joint == anchor.joint));
        let confidence = with.map(weight).sum::<f64>() / all;
        Anchor {
            confidence: if grid.is_known(anchor.time_s) { confidence } else { 0.6 * confidence },
            ..*anchor
        }
    };
    best.0.iter().map(sure).collect()
}

/// How sure it is that waves are none where the line is restless.
const RESTLESS: f64 = 0.7;

/// The usual time from anchor to anchor, seconds.
fn period_s(anchors: &[Anchor], expectation: Option<Expectation>) -> f64 {
    let apart = anchors.windows(2).map(|pair| pair[1].time_s - pair[0].time_s).collect::<Vec<_>>();
    if apart.is_empty() {
        return expectation.map_or(0.8, |e| e.cycle.period_s);
    }
    curve::median(apart)
}
