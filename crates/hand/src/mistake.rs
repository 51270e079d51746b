//! Rules broken by a known size.

use convention::{Form, Level, Relative, Rule, Says};
use serde::Serialize;

use crate::chance::Chance;
use crate::form::Handout;

/// What a student gets wrong in every beat. Sizes are on paper, past the end of what the rule
/// asks for; later and higher are more.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
#[expect(missing_docs, reason = "the fields are what the variants' texts name")]
pub enum Mistake {
    /// The landmark or event of a rule about time is off by so much; it comes as near to that
    /// as the next landmark of its trace lets it.
    Shifted { rule: String, off_mm: f64 },
    /// The landmark of a rule about height is off by so much.
    Lifted { rule: String, off_mm: f64 },
    /// The trace of a rule about a level is off it by so much.
    OffLevel { rule: String, off_mm: f64 },
    /// The trace of a rule about shape falls back, rises again or bulges by so much.
    Misshapen { rule: String, by_mm: f64 },
    /// The two points of a rule about time are in the other order.
    Swapped { rule: String },
    /// The landmark that a rule is about first is absent, with the wave that it belongs to.
    Absent { rule: String },
    /// A stroke is so many times as long.
    Stretched { stroke: String, times: f64 },
    /// A trace is one level line.
    Flat { channel: String },
    /// A trace is not drawn.
    LeftOut { channel: String },
    /// What a rule wants labelled has no label.
    Unlabelled { rule: String },
    /// It has a wrong one.
    Mislabelled { rule: String, text: String },
    /// The label stands so far to the right of what it is about.
    LabelOff { rule: String, off_mm: f64 },
}

/// Most tolerances by which a rule is broken.
const MOST_TOLERANCES: f64 = 3.0;

/// As many mistakes about what `handout` asks for, each about another rule, drawn from `seed`:
/// sizes are evenly spread from 0 to 3 tolerances, so that some are none.
pub fn mistakes(handout: &Handout<'_>, count: usize, seed: u64) -> Vec<Mistake> {
    let chance = &mut Chance::new(seed, "mistakes");
    let rules = handout.convention.rules.iter().filter(|rule| handout.is_asked(rule));
    let mut rules: Vec<&Rule> = rules.collect();
    chance.shuffle(&mut rules);
    let mut made: Vec<Mistake> =
        rules.into_iter().filter_map(|rule| about(handout, rule, chance)).take(count).collect();
    if count > 0 && chance.often(0.15) {
        made.extend(of_a_trace(handout, chance));
    }
    made
}

/// A mistake about a whole trace or stroke.
fn of_a_trace(handout: &Handout<'_>, chance: &mut Chance) -> Option<Mistake> {
    let asked: Vec<&str> =
        handout.panels().filter(|panel| !panel.given).map(|panel| panel.channel.as_str()).collect();
    let reference = handout.subject.reference_channel.as_str();
    let open: Vec<&str> = asked.iter().copied().filter(|channel| *channel != reference).collect();
    let strokes = handout.subject.strokes.iter();
    let strokes = strokes.filter(|stroke| asked.contains(&stroke.channel.as_str()));
    let strokes: Vec<&str> = strokes
        .filter(|stroke| stroke.landmarks.len() > 1)
        .map(|stroke| stroke.id.as_str())
        .collect();
    if !strokes.is_empty() && chance.often(0.6) {
        let stroke = chance.pick(&strokes).to_owned();
        return Some(Mistake::Stretched { stroke, times: chance.between(1.3, 2.0) });
    }
    if open.is_empty() {
        return None;
    }
    let channel = chance.pick(&open).to_owned();
    Some(if chance.often(0.6) { Mistake::Flat { channel } } else { Mistake::LeftOut { channel } })
}

/// A mistake about one rule, where it can be broken by what is drawn.
fn about(handout: &Handout<'_>, rule: &Rule, chance: &mut Chance) -> Option<Mistake> {
    let id = rule.id.clone();
    let size = rule.tolerance.mm * chance.between(0.0, MOST_TOLERANCES);
    let off_mm = size * chance.side();
    let asked = |index: usize| {
        rule.says.points().get(index).is_some_and(|point| handout.asks_for(point) == Some(true))
    };
    // Without the anchor there is no beat, and nothing to measure from.
    let anchor = rule.says.points().first().is_some_and(|p| p.name == handout.subject.anchor);
    match &rule.says {
        Says::Presence { .. } => (asked(0) && !anchor).then_some(Mistake::Absent { rule: id }),
        Says::Timing { point, timing } => {
            let other = matches!(timing, Relative::Offset { .. }) && asked(1);
            if !(asked(0) || other) {
                return None;
            }
            let choice = chance.share();
            let landmark = asked(0) && !anchor && point.channel.is_some();
            if one_trace(rule) {
                return landmark.then_some(Mistake::Absent { rule: id });
            }
            if in_order(handout, rule) {
                return apart(timing, size).map(|off_mm| Mistake::Shifted { rule: id, off_mm });
            }
            Some(if choice < 0.1 {
                Mistake::Swapped { rule: id }
            } else if choice < 0.2 && landmark {
                Mistake::Absent { rule: id }
            } else {
                Mistake::Shifted { rule: id, off_mm }
            })
        }
        Says::Height { .. } => asked(0).then_some(Mistake::Lifted { rule: id, off_mm }),
        Says::Level { channel, level, .. } => {
            let drawn = handout.panel(channel).is_some_and(|panel| !panel.given);
            let known = matches!(level, Level::Baseline) || asked(1);
            (drawn && known).then_some(Mistake::OffLevel { rule: id, off_mm })
        }
        Says::Shape { channel, form, .. } => {
            let drawn = handout.panel(channel).is_some_and(|panel| !panel.given);
            let by_mm = if *form == Form::Flat { off_mm } else { size };
            drawn.then_some(Mistake::Misshapen { rule: id, by_mm })
        }
        Says::Label { accepted, .. } => Some(match chance.below(3) {
            0 => Mistake::Unlabelled { rule: id },
            1 => Mistake::Mislabelled { text: wrong_label(handout, accepted, chance), rule: id },
            _ => Mistake::LabelOff { rule: id, off_mm },
        }),
    }
}

/// Whether all that a rule is about lies on one trace, where no landmark can pass another.
fn one_trace(rule: &Rule) -> bool {
    let points = rule.says.points();
    points.iter().all(|point| point.channel.is_some() && point.channel == points[0].channel)
}

/// Whether two points follow one another by what they are, so that in the other order they
/// would be taken for those of two beats.
fn in_order(handout: &Handout<'_>, rule: &Rule) -> bool {
    let points = rule.says.points();
    let mut sequences = handout.subject.sequences.iter();
    sequences.any(|names| points.iter().take(2).all(|point| names.contains(&point.name)))
}

/// The mistake of this size that takes two points further apart, if there is one.
fn apart(timing: &Relative, size: f64) -> Option<f64> {
    match timing {
        Relative::Offset { window: [_, Some(most)], .. } if *most > 0.0 => Some(size),
        Relative::Offset { window: [Some(least), _], .. } if *least < 0.0 => Some(-size),
        _ => None,
    }
}

/// A label that some other rule wants, or one of another landmark.
fn wrong_label(handout: &Handout<'_>, accepted: &[String], chance: &mut Chance) -> String {
    let own = |text: &str| accepted.iter().any(|a| a.eq_ignore_ascii_case(text));
    let wanted = handout.convention.rules.iter().filter_map(|rule| match &rule.says {
        Says::Label { accepted, .. } => accepted.first().map(String::as_str),
        _ => None,
    });
    let short = handout.subject.landmarks.iter().map(|kind| kind.label.as_str());
    let short = short.filter(|label| !label.is_empty() && label.len() < 4);
    let others: Vec<&str> = wanted.chain(short).filter(|text| !own(text)).collect();
    if others.is_empty() { "x".to_owned() } else { chance.pick(&others).to_owned() }
}
