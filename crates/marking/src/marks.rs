//! What the rules make of a sheet.

use std::collections::BTreeMap;

use convention::{
    Convention, Outcome as Found, Point, ReferenceMissing, Rule, Says, Verdict, judge,
};
use cycle::{Cycle, Random};
use serde::{Deserialize, Serialize};

use crate::drawn::{DrawnPage, DrawnSheet, Written};
use crate::locate::{Absent, Located, Mark, shown, with_marks};
use crate::settle::{SharedCap, Withheld};
use crate::{Rubric, question};

/// What is made of one rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// It is met.
    Met,
    /// It is not.
    NotMet,
    /// A person is to say.
    Review,
}

/// One rule on one sheet.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RuleMark {
    /// The rule.
    pub id: String,
    /// What is made of it.
    pub outcome: Outcome,
    /// What would be said if something had to be: what a reviewer is shown first.
    pub proposal: Option<Outcome>,
    /// What was measured, in millimetres: how much later or higher than what the rule names.
    pub measured_mm: Option<f64>,
    /// Least and most that the rule asks for, in millimetres.
    pub window_mm: [Option<f64>; 2],
    /// How far outside of that it is, later and higher being more.
    pub off_mm: f64,
    /// How far outside is tolerated.
    pub tolerance_mm: f64,
    /// How far outside earns half the points, where half marks are given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub half_mm: Option<f64>,
    /// How sure the outcome or proposal is, 0 … 1.
    pub confidence: f64,
    /// What it earns by itself; none until a person has said. [`RuleMark::earned`] takes other
    /// rules in.
    pub points: Option<f64>,
    /// What it is worth.
    pub max_points: f64,
    /// The finding in a sentence.
    pub why: String,
    /// What a person is asked, where it is for a person to say.
    pub question: Option<String>,
    /// Where to look: the page, and left, top, right and bottom in millimetres.
    pub look: Option<(u8, [f64; 4])>,
    /// What a person decided, where one did.
    pub decided: Option<Ruling>,
    /// Rules before it without which it earns nothing.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub depends_on: Vec<String>,
    /// The cap that it shares.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cap: Option<SharedCap>,
    /// What it does not earn because of other rules.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub withheld: Option<Withheld>,
    /// What it would be worth, where it does not count: since what it measures by was not drawn, or
    /// since a person said so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncounted: Option<f64>,
}

/// What a person decides about one rule on one sheet.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "ruling", rename_all = "snake_case")]
pub enum Ruling {
    /// It is met.
    Met,
    /// Half of it is.
    Half,
    /// It is not met.
    NotMet,
    /// It earns so many points.
    Points {
        /// How many.
        points: f64,
    },
    /// It does not count for this student.
    Waived,
    /// It is worth something else for this student.
    Reweighted {
        /// How many points it is worth at most.
        max_points: f64,
    },
}

/// All rules on one sheet.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Marks {
    /// The rules that were asked for, in the convention's order.
    pub rules: Vec<RuleMark>,
}

impl Marks {
    /// The rules that are for a person to say.
    pub fn open(&self) -> impl Iterator<Item = &RuleMark> {
        self.rules.iter().filter(|rule| rule.is_open())
    }

    /// Takes a person's decision in. Points are never more than the rule is worth by the decisions
    /// that were taken in before.
    pub fn decide(&mut self, id: &str, ruling: &Ruling) {
        let Some(rule) = self.rules.iter_mut().find(|rule| rule.id == id) else { return };
        rule.decide(ruling);
        self.settle();
    }
}

impl RuleMark {
    /// Whether what would be said, if something had to be, is that half of it is met.
    pub fn proposes_half(&self) -> bool {
        let half = self.half_mm.is_some_and(|half| self.off_mm.abs() <= half);
        self.proposal == Some(Outcome::NotMet) && self.measured_mm.is_some() && half
    }

    /// What it is worth, whether it counts or not.
    pub fn worth(&self) -> f64 {
        self.uncounted.unwrap_or(self.max_points)
    }

    fn decide(&mut self, ruling: &Ruling) {
        let rule = self;
        // What a person judges counts, and what is to be worth something is to be judged.
        if let Some(worth) = rule.uncounted.take() {
            rule.max_points = worth;
            (rule.outcome, rule.points) = (Outcome::Review, None);
        }
        let share = match ruling {
            Ruling::Met => 1.0,
            Ruling::Half => 0.5,
            Ruling::NotMet => 0.0,
            Ruling::Points { points } => {
                let points = points.min(rule.max_points);
                let whole = points >= rule.max_points;
                rule.outcome = if whole { Outcome::Met } else { Outcome::NotMet };
                rule.points = Some(points);
                rule.decided = Some(Ruling::Points { points });
                return;
            }
            Ruling::Waived => {
                rule.uncounted = Some(rule.max_points);
                (rule.points, rule.max_points) = (Some(0.0), 0.0);
                rule.outcome = Outcome::Met;
                rule.decided = Some(ruling.clone());
                return;
            }
            Ruling::Reweighted { max_points } => {
                let before = rule.max_points;
                if before > 0.0 {
                    rule.points = rule.points.map(|points| points / before * max_points);
                }
                rule.max_points = *max_points;
                rule.decided = Some(ruling.clone());
                return;
            }
        };
        rule.points = Some(share * rule.max_points);
        rule.outcome = if share >= 1.0 { Outcome::Met } else { Outcome::NotMet };
        rule.decided = Some(ruling.clone());
    }
}

#[cfg(test)]
impl RuleMark {
    /// A rule worth `max_points` that earns `points` by itself, for tests.
    pub(crate) fn earning(id: &str, points: Option<f64>, max_points: f64) -> Self {
        let outcome = match points {
            None => Outcome::Review,
            Some(points) if points >= max_points => Outcome::Met,
            Some(_) => Outcome::NotMet,
        };
        Self {
            id: id.to_owned(),
            outcome,
            proposal: None,
            measured_mm: Some(0.0),
            window_mm: [Some(0.0), Some(0.0)],
            off_mm: 0.0,
            tolerance_mm: 2.0,
            half_mm: None,
            confidence: 1.0,
            points,
            max_points,
            why: String::new(),
            question: None,
            look: None,
            decided: None,
            depends_on: Vec::new(),
            cap: None,
            withheld: None,
            uncounted: None,
        }
    }
}

/// What is met by no more than this is for a person to say, in millimetres: a hand is no steadier.
/// (In 1,000 invented drawings 6 of the 559 verdicts were wrong that a whole millimetre, and two
/// standard deviations, would have left to a person.)
pub const MET_BY_MM: f64 = 0.5;
/// Likewise what is missed by no more than this: a zero given wrongly does more harm.
pub const MISSED_BY_MM: f64 = 0.8;
/// Likewise by no more than so many standard deviations of what was measured.
const MET_BY_DEVIATIONS: f64 = 1.0;
const MISSED_BY_DEVIATIONS: f64 = 2.0;
/// What is not met and off by more than this, in millimetres, may as well be something else that
/// was taken for what was meant.
pub const FAR_MM: f64 = 11.0;
/// Times that landmarks are put aside, and elsewhere, to see what becomes of the rules.
const NEARBY: u64 = 32;
const ELSEWHERE: usize = 96;
/// What is found in a smaller share of them is for a person to say: what is met, and what is not,
/// of which one must be surer, for a zero given wrongly does more harm.
const AGREED_MET: f64 = 0.9;
const AGREED_NOT_MET: f64 = 0.96;
/// What rests on a landmark that is less sure than this is for a person to say, even where all its
/// other places give the same: it may not be there at all. (In 1,500 invented drawings 3 of 43 such
/// verdicts were wrong; of 179 that rest on one no surer than 0.3, 4.)
const LEAST_SURE: f64 = 0.1;
/// How sure it is that nothing is in a panel in which no ink is.
const PLAIN: f64 = 0.999;
/// Strokes in a panel in which no trace was found are dashes of lines, and names, where they take
/// up no more than this along the time axis, in millimetres. (In 1,500 invented drawings, up to 9.5
/// where nothing was drawn, and 13 and more of a trace that was too faint to be followed.)
const LITTLE_MM: f64 = 8.0;
/// What is taller than this may be a stroke of a trace, in millimetres.
const LOW_MM: f64 = 8.0;

/// Marks a sheet.
///
/// Everything is measured on the sheet itself, relative to the student's own landmarks. What
/// could turn out otherwise within the uncertainty of the measurement, or if a landmark were
/// another turn of the trace, is for a person to say, and so are labels.
pub fn mark(sheet: &DrawnSheet, located: &Located, rubric: &Rubric<'_>) -> Marks {
    let base = shown(sheet, rubric);
    let scale = rubric.scale();
    // Only what was asked for is judged, as it is so often.
    let asked = |rule: &&Rule| rubric.asked.contains(&rule.id);
    let rules = rubric.convention.rules.iter().filter(asked).cloned().collect();
    let convention = Convention { rules, ..rubric.convention.clone() };
    let judged = |cycle: &Cycle| judge(cycle, &convention, rubric.subject, &scale);
    let own = located.marks.iter().map(|mark| (mark, mark.time_s));
    let found = with_marks(base.clone(), own);
    let mut verdicts = judged(&found);
    // A beat that misses it by so little may as well meet it.
    let mut lenient = convention.clone();
    lenient.rules.iter_mut().for_each(|rule| rule.tolerance.mm += MET_BY_MM);
    let lenient = judge(&found, &lenient, rubric.subject, &scale);
    for (verdict, lenient) in verdicts.iter_mut().zip(lenient) {
        if verdict.outcome == Found::Met {
            verdict.met_in = verdict.met_in.max(lenient.met_in);
        }
    }
    let mut elsewhere = vec![Vec::new(); verdicts.len()];
    let mut nearby = vec![Vec::new(); verdicts.len()];
    let keep = |kept: &mut Vec<Vec<Verdict>>, moved: Vec<(&Mark, f64)>| {
        // What is where it was found is judged already.
        let same = moved.len() == located.marks.len()
            && moved.iter().all(|(mark, time_s)| mark.time_s == *time_s);
        let all = if same {
            verdicts.clone()
        } else {
            judged(&with_marks(base.clone(), moved.into_iter()))
        };
        for (kept, verdict) in kept.iter_mut().zip(all) {
            kept.push(verdict);
        }
    };
    for sample in 0..NEARBY {
        keep(&mut nearby, moved_nearby(located, rubric, &mut Random::new(sample)));
    }
    let shares = shares(located);
    for sample in 0..ELSEWHERE {
        keep(&mut elsewhere, moved_elsewhere(located, &shares, sample));
    }
    let marker = Marker { sheet, located, rubric };
    let rules = convention.rules.iter().zip(verdicts).zip(nearby.iter().zip(&elsewhere));
    let rules = rules.map(|((rule, verdict), (nearby, elsewhere))| {
        marker.rule(rule, verdict, nearby, elsewhere)
    });
    let mut marks = Marks { rules: rules.collect() };
    marks.settle();
    marks
}

/// Marks, each put a little aside as its spread has it.
fn moved_nearby<'a>(
    located: &'a Located,
    rubric: &Rubric<'_>,
    chance: &mut Random,
) -> Vec<(&'a Mark, f64)> {
    let place =
        |mark: &'a Mark| (mark, mark.time_s + normal(chance) * mark.spread_mm / rubric.mm_per_s);
    located.marks.iter().map(place).collect()
}

/// What is drawn in one beat of a trace is found together, and is taken for something else
/// together.
type Together<'a> = (Option<&'a str>, i32);

fn together(mark: &Mark) -> Together<'_> {
    (mark.channel.as_deref(), mark.beat)
}

/// For each beat of each trace shares from 0 to 1, one for each sample, evenly spaced and shuffled
/// on their own (a Latin hypercube; McKay, Beckman and Conover, Technometrics 1979;21:239–245):
/// a landmark's confidence is then met exactly, and only what needs several is left to chance.
fn shares(located: &Located) -> BTreeMap<Together<'_>, Vec<f64>> {
    let mut shares = BTreeMap::new();
    for (seed, mark) in (0..).zip(&located.marks) {
        shares.entry(together(mark)).or_insert_with(|| {
            let even = (0..ELSEWHERE).map(|sample| (sample as f64 + 0.5) / ELSEWHERE as f64);
            let mut even: Vec<f64> = even.collect();
            Random::new(seed).shuffle(&mut even);
            even
        });
    }
    shares
}

/// Marks, each at one of the places that it could be at, or nowhere.
fn moved_elsewhere<'a>(
    located: &'a Located,
    shares: &BTreeMap<Together<'_>, Vec<f64>>,
    sample: usize,
) -> Vec<(&'a Mark, f64)> {
    let place = |mark: &'a Mark| {
        let share = shares[&together(mark)][sample];
        if share < mark.confidence {
            return Some((mark, mark.time_s));
        }
        let mut reached = mark.confidence;
        for [time_s, likely] in &mark.alternatives {
            reached += likely;
            if share < reached {
                return Some((mark, *time_s));
            }
        }
        None
    };
    located.marks.iter().filter_map(place).collect()
}

fn share(chance: &mut Random) -> f64 {
    const PARTS: usize = 1 << 24;
    chance.below(PARTS) as f64 / PARTS as f64
}

/// Normally distributed: twelve shares have a variance of one.
fn normal(chance: &mut Random) -> f64 {
    (0..12).map(|_| share(chance)).sum::<f64>() - 6.0
}

struct Marker<'a> {
    sheet: &'a DrawnSheet,
    located: &'a Located,
    rubric: &'a Rubric<'a>,
}

/// What is known of a point that a rule needs.
enum Known<'a> {
    /// It was drawn or is printed.
    Placed,
    /// It was not drawn.
    Absent(&'a Absent),
    /// Nothing is drawn where it belongs: on this channel or bar.
    Empty(&'a str),
    /// It was not found, and may or may not be there.
    Unknown,
}

impl Marker<'_> {
    fn rule(
        &self,
        rule: &Rule,
        verdict: Verdict,
        nearby: &[Verdict],
        elsewhere: &[Verdict],
    ) -> RuleMark {
        let mut mark = RuleMark {
            id: rule.id.clone(),
            outcome: Outcome::Review,
            proposal: None,
            measured_mm: verdict.measured,
            window_mm: verdict.window,
            off_mm: verdict.off_by,
            tolerance_mm: verdict.tolerance,
            half_mm: rule.tolerance.half_mm,
            confidence: 0.0,
            points: None,
            max_points: rule.points,
            why: verdict.why.clone(),
            question: None,
            look: question::look(rule, self.sheet, self.located, self.rubric),
            decided: None,
            depends_on: rule.depends_on.clone(),
            cap: self
                .rubric
                .convention
                .cap_of(rule)
                .map(|cap| SharedCap { name: cap.name.clone(), points: cap.points }),
            withheld: None,
            uncounted: None,
        };
        if let Says::Label { point, .. } = &rule.says {
            mark.tolerance_mm = rule.tolerance.mm;
            if self.is_gone(point) {
                self.not_drawn(rule, &[self.known(point)], &mut mark);
            } else {
                mark.question = Some(question::label(rule, self.sheet, self.located, self.rubric));
            }
            return mark;
        }
        match verdict.outcome {
            Found::CannotTell => self.not_found(rule, &mut mark),
            Found::Met | Found::NotMet => {
                measured(rule, &verdict, nearby, elsewhere, &mut mark);
                if self.least_sure(rule) < LEAST_SURE {
                    (mark.outcome, mark.points) = (Outcome::Review, None);
                }
            }
        }
        if let Says::Presence { point } = &rule.says
            && verdict.outcome == Found::NotMet
        {
            // A landmark that merely was not found is not yet one that was not drawn.
            (mark.outcome, mark.points) = (Outcome::Review, None);
            let known = self.known(point);
            self.not_drawn(rule, &[known], &mut mark);
        }
        if mark.outcome == Outcome::Review && mark.question.is_none() {
            mark.question = Some(question::unsure(rule, &mark));
        }
        mark
    }

    /// How sure the least sure of a rule's points is.
    fn least_sure(&self, rule: &Rule) -> f64 {
        let points = rule.says.points();
        let own = self.located.marks.iter().filter(|mark| points.contains(&&mark.point()));
        own.map(|mark| mark.confidence).fold(1.0, f64::min)
    }

    /// A rule that could not be measured: not met where what it needs was not drawn.
    fn not_found(&self, rule: &Rule, mark: &mut RuleMark) {
        mark.tolerance_mm = rule.tolerance.mm;
        let own = match &rule.says {
            Says::Level { channel, .. } | Says::Shape { channel, .. } => Some(channel),
            _ => None,
        };
        let mut all: Vec<Known<'_>> =
            rule.says.points().into_iter().map(|point| self.known(point)).collect();
        let empty = self.located.empty.iter().find(|empty| own == Some(empty));
        all.extend(empty.map(|channel| Known::Empty(channel)));
        self.not_drawn(rule, &all, mark);
    }

    fn not_drawn(&self, rule: &Rule, all: &[Known<'_>], mark: &mut RuleMark) {
        let mut empty = all.iter().filter_map(|known| match known {
            Known::Empty(place) => Some(*place),
            _ => None,
        });
        if let Some(first) = empty.next() {
            mark.proposal = Some(Outcome::NotMet);
            let plain = [first].into_iter().chain(empty).find_map(|place| self.left_out(place));
            let Some(title) = plain else {
                mark.question = Some("Is nothing drawn here?".to_owned());
                return;
            };
            mark.confidence = PLAIN;
            mark.why = format!("Nothing is drawn in the panel of {title}.");
            self.lacks(rule, mark);
            return;
        }
        let absent = all.iter().filter_map(|known| match known {
            Known::Absent(absent) => Some(*absent),
            _ => None,
        });
        let Some(absent) = absent.max_by(|a, b| a.confidence.total_cmp(&b.confidence)) else {
            return;
        };
        let title = self.rubric.subject.title_of(&absent.name).unwrap_or(&absent.name);
        mark.proposal = Some(Outcome::NotMet);
        mark.confidence = absent.confidence;
        let perhaps = if absent.evident { "" } else { ", or cannot be told from the rest" };
        mark.why = format!("The {title} was not drawn{perhaps}.");
        if absent.evident {
            self.lacks(rule, mark);
        } else if absent.something {
            mark.proposal = None;
            mark.why = format!("The {title} was not made out in what is drawn where it belongs.");
            mark.question =
                Some(format!("Was the {title} drawn? There is something in its place."));
        } else {
            mark.question = Some(format!("Was the {title} drawn?"));
        }
    }

    /// A rule that lacks what evidently was not drawn: not met where that is what the rule places.
    /// By what is missing something else may be placed, which then has cost once already: what
    /// becomes of that the convention says.
    fn lacks(&self, rule: &Rule, mark: &mut RuleMark) {
        let is_placed = match &rule.says {
            Says::Presence { point } | Says::Timing { point, .. } | Says::Height { point, .. } => {
                self.is_gone(point)
            }
            Says::Shape { from, to, .. } => self.is_gone(from) && self.is_gone(to),
            Says::Level { channel, .. } => self.left_out(channel).is_some(),
            Says::Label { .. } => false,
        };
        let taken = self.taken_for(rule).filter(|_| !is_placed);
        if let Some(title) = taken {
            mark.question = Some(format!("Was the {title} drawn?"));
            return;
        }
        match self.rubric.convention.reference_missing {
            _ if is_placed => (mark.outcome, mark.points) = (Outcome::NotMet, Some(0.0)),
            ReferenceMissing::NotMet => (mark.outcome, mark.points) = (Outcome::NotMet, Some(0.0)),
            ReferenceMissing::DoesNotCount => {
                mark.uncounted = Some(mark.max_points);
                (mark.outcome, mark.points, mark.max_points) = (Outcome::Met, Some(0.0), 0.0);
                mark.why += " The rule measures by that and does not count.";
            }
            ReferenceMissing::Ask => {
                mark.question = Some(format!("{} Does this rule count?", mark.why));
            }
        }
    }

    /// Whether a point evidently was not drawn.
    fn is_gone(&self, point: &Point) -> bool {
        match self.known(point) {
            Known::Absent(absent) => absent.evident,
            Known::Empty(place) => self.left_out(place).is_some(),
            Known::Placed | Known::Unknown => false,
        }
    }

    /// What is missing beside what a rule places on the same trace, which may be the one that was
    /// taken for it where that is a wave that may be lacking. (Of those that may not be, none of 44
    /// was in 1,500 invented drawings.)
    fn taken_for(&self, rule: &Rule) -> Option<String> {
        let (Says::Timing { point, .. } | Says::Height { point, .. }) = &rule.says else {
            return None;
        };
        let kind = self.rubric.subject.landmark(&point.name)?;
        kind.feature_on(point.channel.as_ref()?).filter(|feature| feature.optional)?;
        let mut key: Vec<&cycle::Landmark> = self.rubric.model.landmarks.iter().collect();
        key.retain(|mark| Some(&mark.channel) == point.channel.as_ref());
        key.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        let beside = |name: &str| {
            let mut pairs = key.windows(2).map(|pair| [pair[0].name.as_str(), &pair[1].name]);
            pairs.any(|pair| pair.contains(&name) && pair.contains(&point.name.as_str()))
        };
        let others = rule.says.points().into_iter().filter(|other| *other != point);
        let mut missing = others.filter(|other| {
            other.channel == point.channel && matches!(self.known(other), Known::Absent(_))
        });
        let other = missing.find(|other| beside(&other.name))?;
        Some(self.rubric.subject.title_of(&other.name).unwrap_or(&other.name).to_owned())
    }

    /// The title of a panel that was evidently left out: nothing is drawn in it and hardly anything
    /// written, and there is a trace in another on the same page. Strokes in a bar's row may lie on
    /// its printed line, unseen.
    fn left_out(&self, place: &str) -> Option<&str> {
        self.located.empty.iter().find(|empty| *empty == place)?;
        let page = self.rubric.panel(place)?.page;
        let page = self.sheet.pages.iter().find(|other| other.page == page)?;
        let traces = page.traces.iter().map(|trace| (&trace.channel, trace.points_mm.len()));
        let sounds = page.sounds.iter().map(|one| (&one.channel, one.envelope_mm.len()));
        let mut others = traces.chain(sounds);
        others.find(|(channel, inked)| *channel != place && *inked > 1)?;
        let own = |written: &&Written| written.channel == place;
        let tall = |one: &Written| one.bounds_mm[3] - one.bounds_mm[1] > LOW_MM;
        if written_mm(page, place) > LITTLE_MM || page.written.iter().filter(own).any(tall) {
            return None;
        }
        self.rubric.subject.channel(place).map(|kind| kind.title.as_str())
    }

    fn known(&self, point: &Point) -> Known<'_> {
        let located = self.located;
        if self.rubric.is_given(point) || located.marks.iter().any(|m| m.point() == *point) {
            return Known::Placed;
        }
        let place = match &point.channel {
            Some(channel) => Some(channel.as_str()),
            None => self.rubric.row_of(&point.name).map(|on| on.place.bar.as_str()),
        };
        if let Some(empty) = located.empty.iter().find(|empty| place == Some(empty.as_str())) {
            return Known::Empty(empty);
        }
        let own = |absent: &&Absent| absent.name == point.name && absent.channel == point.channel;
        located.absent.iter().find(own).map_or(Known::Unknown, Known::Absent)
    }
}

/// A rule that was measured: for a person to say where it could as well be otherwise.
fn measured(
    rule: &Rule,
    verdict: &Verdict,
    nearby: &[Verdict],
    elsewhere: &[Verdict],
    mark: &mut RuleMark,
) {
    let proposal = if verdict.outcome == Found::Met { Outcome::Met } else { Outcome::NotMet };
    let [least, deviations] = match proposal {
        Outcome::Met => [MET_BY_MM, MET_BY_DEVIATIONS],
        _ => [MISSED_BY_MM, MISSED_BY_DEVIATIONS],
    };
    let band = least.max(deviations * deviation(nearby));
    let off = verdict.off_by.abs();
    let near = |limit: f64| (off - limit).abs() < band;
    let agreed = elsewhere.iter().filter(|other| other.outcome == verdict.outcome).count();
    mark.confidence = agreed as f64 / elsewhere.len().max(1) as f64;
    mark.proposal = Some(proposal);
    let half = rule.tolerance.half_mm.filter(|_| proposal == Outcome::NotMet);
    let presence = matches!(rule.says, Says::Presence { .. });
    // Every unevenness of a line may be taken for a small wave.
    let agreed = if proposal == Outcome::Met && !presence { AGREED_MET } else { AGREED_NOT_MET };
    // A beat that meets it says that another may have been misread; and where half of them do not,
    // which way they are off must not settle it.
    let split = match proposal {
        Outcome::Met => 2 * verdict.met_in <= verdict.beats,
        _ => verdict.met_in > 0,
    };
    let divided = split && !presence;
    let open = !presence && (near(verdict.tolerance) || half.is_some_and(near))
        || off > FAR_MM.max(verdict.tolerance)
        || divided
        || mark.confidence < agreed;
    if open {
        mark.question = divided.then(|| question::divided(rule));
        return;
    }
    mark.outcome = proposal;
    let share = match proposal {
        Outcome::Met => 1.0,
        _ if half.is_some_and(|half| off <= half) => 0.5,
        _ => 0.0,
    };
    mark.points = Some(share * rule.points);
    if share == 0.5 {
        mark.why += " That is near enough for half the points.";
    }
}

/// What is written in a panel, as far as it goes along the time axis, in millimetres.
fn written_mm(page: &DrawnPage, channel: &str) -> f64 {
    let own = page.written.iter().filter(|written| written.channel == channel);
    let mut sides: Vec<[f64; 2]> = own.map(|one| [one.bounds_mm[0], one.bounds_mm[2]]).collect();
    sides.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let covered = |[sum, end]: [f64; 2], [from, to]: [f64; 2]| {
        [sum + (to - from.max(end)).max(0.0), end.max(to)]
    };
    sides.into_iter().fold([0.0, f64::NEG_INFINITY], covered)[0]
}

/// One standard deviation of what was measured, in millimetres.
fn deviation(verdicts: &[Verdict]) -> f64 {
    let values: Vec<f64> = verdicts.iter().map(|verdict| verdict.off_by).collect();
    let count = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares = values.iter().map(|value| (value - mean) * (value - mean)).sum::<f64>();
    (squares / count).sqrt()
}
