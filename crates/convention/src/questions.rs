//! Questions that a convention implies, each with its answer and why.
//!
//! Three kinds rest on the network of the timing rules alone: [`Kind::Order`],
//! [`Kind::First`] and [`Kind::Between`]. Nothing is asked there that the rules leave open.
//! [`Kind::Bars`] asks what a model cycle shows, such as which valves are open. Which
//! questions are asked, and in which order, depends on a seed: the same seed gives the same
//! questions everywhere.

use std::collections::BTreeSet;

use cycle::{BarKind, Cycle, Random, Subject};
use serde::Serialize;

use crate::check::{Check, ticks};
use crate::network::Minimal;
use crate::read::ORDER_MS;
use crate::rule::{Convention, Relative, Says};
use crate::words::{Words, amount, sentence};
use crate::{Point, beats};

/// What a question asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// All choices, put in order.
    Order,
    /// The one choice that is right: which of two points comes first, or neither.
    First,
    /// The choices that must come between two points.
    Between,
    /// The bars that are on at a point; perhaps none.
    Bars,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 4] = [Self::Order, Self::First, Self::Between, Self::Bars];
}

/// What a choice stands for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stands {
    /// A landmark or event.
    Point(Point),
    /// One of the subject's bars, by its identifier.
    Bar(String),
    /// That both points are at the same time.
    Together,
}

/// One of the things to choose from or to put in order.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Choice {
    /// What it stands for.
    pub stands: Stands,
    /// What the student reads.
    pub text: String,
    /// Why it is right or wrong by itself, where choices are right or wrong one by one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// Two choices of which one must come first.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Pair {
    /// Index of the choice that must come first.
    pub first: usize,
    /// Index of the other.
    pub then: usize,
    /// Why.
    pub why: String,
}

/// A question with its answer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Question {
    /// What it asks for.
    pub kind: Kind,
    /// The question.
    pub prompt: String,
    /// The points that it names besides the choices: for [`Kind::Between`] the earlier and
    /// the later, for [`Kind::Bars`] where to look.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub about: Vec<Point>,
    /// What there is to choose from or to put in order.
    pub choices: Vec<Choice>,
    /// The right choices, by their indices: for [`Kind::Order`] one right order, otherwise
    /// ascending.
    pub answer: Vec<usize>,
    /// For [`Kind::Order`]: all that a right order must keep.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub pairs: Vec<Pair>,
    /// Why the answer is right.
    pub explanation: String,
    /// The rules that the explanation names.
    pub rules: Vec<String>,
}

/// What an answer is worth.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Marked {
    /// Whether it is right.
    pub right: bool,
    /// Why, or why not.
    pub why: String,
}

impl Question {
    /// Marks an answer: indices of choices, for [`Kind::Order`] all of them from first to
    /// last, otherwise in any order.
    pub fn check(&self, answer: &[usize]) -> Marked {
        let wrong = |why: String| Marked { right: false, why };
        let given: BTreeSet<usize> = answer.iter().copied().collect();
        if given.len() != answer.len() || given.iter().any(|&index| index >= self.choices.len()) {
            return wrong("Name each choice once at most, and no other.".to_owned());
        }
        if self.kind == Kind::Order {
            if answer.len() != self.choices.len() {
                return wrong(format!("Put all {} in order.", self.choices.len()));
            }
            if let Some(pair) = self.misplaced(answer) {
                return wrong(format!(
                    "“{}” is put before “{}”, but should come after it. {}",
                    self.choices[pair.then].text, self.choices[pair.first].text, pair.why
                ));
            }
            return Marked { right: true, why: self.explanation.clone() };
        }
        let due: BTreeSet<usize> = self.answer.iter().copied().collect();
        let mistaken = due.symmetric_difference(&given);
        let mut whys: Vec<&str> =
            mistaken.filter_map(|&index| self.choices[index].why.as_deref()).collect();
        if whys.is_empty() {
            whys.push(&self.explanation);
        }
        Marked { right: due == given, why: whys.join(" ") }
    }

    /// The first pair of an order that is the wrong way round: that of the earliest choice
    /// that comes too late, and of the nearest before it that it should precede.
    fn misplaced(&self, answer: &[usize]) -> Option<&Pair> {
        answer.iter().enumerate().find_map(|(place, &late)| {
            answer[..place].iter().rev().find_map(|&early| {
                self.pairs.iter().find(|pair| pair.first == late && pair.then == early)
            })
        })
    }
}

/// As many as `count` questions about `convention`: a mixture of kinds without duplicates, in
/// an order that the seed decides. There are fewer where the rules do not offer so many.
///
/// `check` is what [`crate::check()`] or [`crate::check_on`] found; where its rules
/// contradict one another, only bars are asked about. `model` is a cycle that keeps to the
/// rules, such as the schematic; without one, bars are not asked about. Questions that the
/// rules answer come before those that the names answer by themselves.
pub fn questions(
    convention: &Convention,
    subject: &Subject,
    check: &Check,
    model: Option<&Cycle>,
    seed: u64,
    count: usize,
) -> Vec<Question> {
    questions_of(&Kind::ALL, convention, subject, check, model, seed, count)
}

/// As [`questions`], of some `kinds` alone.
pub fn questions_of(
    kinds: &[Kind],
    convention: &Convention,
    subject: &Subject,
    check: &Check,
    model: Option<&Cycle>,
    seed: u64,
    count: usize,
) -> Vec<Question> {
    let asker = Asker { words: Words { subject, convention }, points: &check.points };
    let mut random = Random::new(seed);
    let mut drafts = Vec::new();
    if let Some(minimal) = &check.minimal {
        let network = OnNetwork { asker, minimal };
        if kinds.contains(&Kind::Order) {
            drafts.push(network.order_drafts(count, &mut random));
        }
        if kinds.contains(&Kind::First) {
            drafts.push(network.first_drafts(&mut random));
        }
        if kinds.contains(&Kind::Between) {
            drafts.push(network.between_drafts(count, &mut random));
        }
    }
    if let Some(model) = model
        && kinds.contains(&Kind::Bars)
    {
        drafts.push(asker.bar_drafts(model, &mut random));
    }
    random.shuffle(&mut drafts);
    let mut picked = pick(drafts, count);
    random.shuffle(&mut picked);
    let ask = |draft: Draft| match (draft, &check.minimal) {
        (Draft::Bars { at, bars }, _) => Some(asker.bars(at, &bars)),
        (draft, Some(minimal)) => OnNetwork { asker, minimal }.ask(draft, &mut random),
        (_, None) => None,
    };
    picked.into_iter().filter_map(ask).collect()
}

/// How little a question has to do with the rules; the higher, the later it is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    /// The rules answer it.
    Telling,
    /// The order on one channel answers it, or it repeats another.
    Plain,
    /// It is about the parts of one stroke, such as a sound's onset and end.
    Trivial,
}

/// What a question will be about, by the indices of its points.
#[derive(Clone, Debug)]
enum Draft {
    Order(Vec<usize>),
    First(usize, usize),
    Between { from: usize, to: usize, inside: Vec<usize>, outside: Vec<usize> },
    Bars { at: usize, bars: Vec<Bar> },
}

/// A bar at a point.
#[derive(Clone, Debug)]
struct Bar {
    kind: BarKind,
    on: bool,
}

/// Takes from each kind in turn, all that is worth more before all that is worth less.
fn pick(kinds: Vec<Vec<(Rank, Draft)>>, count: usize) -> Vec<Draft> {
    let mut picked = Vec::new();
    for rank in [Rank::Telling, Rank::Plain, Rank::Trivial] {
        let of_rank = |drafts: &Vec<(Rank, Draft)>| {
            let these = drafts.iter().filter(|(other, _)| *other == rank);
            these.map(|(_, draft)| draft.clone()).collect::<Vec<Draft>>().into_iter()
        };
        let mut queues: Vec<_> = kinds.iter().map(of_rank).collect();
        while picked.len() < count {
            let turn: Vec<Draft> = queues.iter_mut().filter_map(Iterator::next).collect();
            if turn.is_empty() {
                break;
            }
            picked.extend(turn);
        }
    }
    picked.truncate(count);
    picked
}

/// Speaks about the points of a check.
#[derive(Clone, Copy)]
struct Asker<'a> {
    words: Words<'a>,
    points: &'a [Point],
}

/// How far from a bar's ends a point must be for a question: nearer than this, a line on
/// paper does not show on which side it is.
const CLEAR_S: f64 = 0.005;

impl Asker<'_> {
    fn the(&self, point: usize) -> String {
        self.words.the(&self.points[point])
    }

    fn choice(&self, point: usize) -> Choice {
        let stands = Stands::Point(self.points[point].clone());
        Choice { stands, text: sentence(&self.the(point)), why: None }
    }

    /// Whether both points are parts of one stroke.
    fn same_stroke(&self, a: usize, b: usize) -> bool {
        let subject = self.words.subject;
        let stroke = |point: usize| subject.stroke_of(&self.points[point].name);
        stroke(a).is_some_and(|one| stroke(b).is_some_and(|other| one.id == other.id))
    }

    /// Facts only join points of one channel, so between two channels a rule is at work.
    fn rank(&self, a: usize, b: usize) -> Rank {
        if self.same_stroke(a, b) {
            Rank::Trivial
        } else if self.points[a].channel == self.points[b].channel {
            Rank::Plain
        } else {
            Rank::Telling
        }
    }

    /// One question for each point of the model's first beat that is clear of all ends.
    fn bar_drafts(&self, model: &Cycle, random: &mut Random) -> Vec<(Rank, Draft)> {
        let found = beats(model, self.words.subject);
        let times = |event: &str| -> Vec<f64> {
            let event = Point::new(event, None);
            let times: Vec<f64> = found.iter().filter_map(|beat| beat.time_s(&event)).collect();
            let Some((start, end)) = model.span_s().filter(|_| model.repeats) else {
                return times;
            };
            // A late landmark may have been given a time past the end: two turns reach it.
            let turns = [-2.0, -1.0, 0.0, 1.0, 2.0].map(|turn| turn * (end - start));
            turns.iter().flat_map(|turn| times.iter().map(move |time| time + turn)).collect()
        };
        let drawn = &self.words.convention.bars;
        let kinds = self.words.subject.bars.iter();
        let kinds = kinds.filter(|kind| drawn.contains(&kind.id));
        let bars: Vec<(&BarKind, Vec<f64>, Vec<f64>)> = kinds
            .map(|kind| (kind, times(&kind.from), times(&kind.to)))
            .filter(|(_, begins, ends)| !begins.is_empty() && !ends.is_empty())
            .collect();
        let Some(beat) = found.first().filter(|_| !bars.is_empty()) else { return Vec::new() };
        let mut order: Vec<usize> = (0..self.points.len()).collect();
        random.shuffle(&mut order);
        let mut answers: Vec<Vec<bool>> = Vec::new();
        let mut drafts = Vec::new();
        for at in order {
            let Some(time_s) = beat.time_s(&self.points[at]) else { continue };
            let near = |time: &f64| (time - time_s).abs() < CLEAR_S;
            if bars.iter().any(|(_, begins, ends)| begins.iter().chain(ends).any(near)) {
                continue;
            }
            let here: Vec<Bar> = bars
                .iter()
                .map(|(kind, begins, ends)| Bar {
                    kind: (*kind).clone(),
                    on: is_on(begins, ends, time_s),
                })
                .collect();
            let answer = here.iter().map(|bar| bar.on).collect();
            let rank = if answers.contains(&answer) { Rank::Plain } else { Rank::Telling };
            answers.push(answer);
            drafts.push((rank, Draft::Bars { at, bars: here }));
        }
        drafts
    }

    fn bars(&self, at: usize, bars: &[Bar]) -> Question {
        let point = self.the(at);
        let state = bars.first().map_or("", |bar| bar.kind.state.as_str());
        let alike = bars.iter().all(|bar| bar.kind.state == state);
        let prompt = if alike {
            format!("Which of these are {state} on the line of {point}? It may be none of them.")
        } else {
            format!("Which of these are so on the line of {point}? It may be none of them.")
        };
        let choices: Vec<Choice> = bars
            .iter()
            .map(|Bar { kind, on }| Choice {
                stands: Stands::Bar(kind.id.clone()),
                text: if alike {
                    kind.title.clone()
                } else {
                    format!("{}: {}", kind.title, kind.state)
                },
                why: Some(self.bar(&point, kind, *on)),
            })
            .collect();
        let answer = (0..bars.len()).filter(|&index| bars[index].on).collect();
        let whys: Vec<&str> = choices.iter().filter_map(|choice| choice.why.as_deref()).collect();
        let explanation = whys.join(" ");
        Question {
            kind: Kind::Bars,
            prompt,
            about: vec![self.points[at].clone()],
            choices,
            answer,
            pairs: Vec::new(),
            explanation,
            rules: Vec::new(),
        }
    }

    /// Why a bar is on or off at a point.
    fn bar(
        &self,
        point: &str,
        BarKind { title, from, to, state, .. }: &BarKind,
        on: bool,
    ) -> String {
        let event = |id: &String| self.words.the(&Point::new(id, None));
        let (not, last, next) = if on { ("", from, to) } else { ("not ", to, from) };
        let (last, next) = (event(last), event(next));
        format!("{title}: {not}{state}, as {point} lies after {last} and before {next}.")
    }
}

/// Whether a bar is on at `time_s`, given when it begins and ends.
///
/// What happened last decides; before all of it, what happens next: a bar that ends next
/// began before.
fn is_on(begins: &[f64], ends: &[f64], time_s: f64) -> bool {
    let last = |times: &[f64]| times.iter().copied().filter(|&t| t <= time_s).reduce(f64::max);
    let next = |times: &[f64]| times.iter().copied().filter(|&t| t > time_s).reduce(f64::min);
    match (last(begins), last(ends)) {
        (Some(begun), Some(ended)) => begun > ended,
        (begun, ended) if begun.is_some() || ended.is_some() => begun.is_some(),
        _ => match (next(begins), next(ends)) {
            (Some(begin), Some(end)) => end < begin,
            (begin, end) => begin.is_none() && end.is_some(),
        },
    }
}

/// Asks what the network decides.
#[derive(Clone, Copy)]
struct OnNetwork<'a> {
    asker: Asker<'a>,
    minimal: &'a Minimal,
}

impl OnNetwork<'_> {
    /// Whether `b` is never before `a`, and not always at the same time: then only an order
    /// with `a` first is right. A rule that puts `b` between `a` and something else allows
    /// both to coincide, but a student who writes `b` first has missed it all the same.
    fn ordered(&self, a: usize, b: usize) -> bool {
        self.minimal.least(a, b).is_some_and(|least| least >= 0) && !self.minimal.together(a, b)
    }

    fn either(&self, a: usize, b: usize) -> bool {
        self.ordered(a, b) || self.ordered(b, a)
    }

    /// Sets of 3 to 7 points of which at least three in four pairs are ordered.
    fn order_drafts(&self, count: usize, random: &mut Random) -> Vec<(Rank, Draft)> {
        let mut drafts: Vec<(Rank, Draft)> = Vec::new();
        let mut seen = BTreeSet::new();
        let mut all: Vec<usize> = (0..self.asker.points.len()).collect();
        // Many tries end in the same set; where sets are few, trying longer finds no more.
        for _ in 0..16 + 4 * count {
            let size = 3 + random.below(5);
            random.shuffle(&mut all);
            let mut set: Vec<usize> = Vec::new();
            let mut open = 0;
            // Points of different strokes first: the order within a stroke is no question.
            for alone in [true, false] {
                for &point in &all {
                    let related = set.iter().any(|&other| self.asker.same_stroke(point, other));
                    if set.len() == size || set.contains(&point) || (alone && related) {
                        continue;
                    }
                    let more = set.iter().filter(|&&other| !self.either(point, other)).count();
                    let pairs = set.len() * (set.len() + 1) / 2;
                    if 4 * (open + more) <= pairs {
                        open += more;
                        set.push(point);
                    }
                }
            }
            let mut key = set.clone();
            key.sort_unstable();
            if set.len() < 3 || !seen.insert(key) {
                continue;
            }
            let ranks: Vec<Rank> =
                pairs_of(&set).into_iter().map(|(a, b)| self.asker.rank(a, b)).collect();
            let trivial = ranks.iter().filter(|&&rank| rank == Rank::Trivial).count();
            let best = ranks.iter().copied().min().unwrap_or(Rank::Trivial);
            let rank = if trivial * 3 > ranks.len() { Rank::Trivial } else { best };
            drafts.push((rank, Draft::Order(set)));
        }
        drafts
    }

    fn first_drafts(&self, random: &mut Random) -> Vec<(Rank, Draft)> {
        let all: Vec<usize> = (0..self.asker.points.len()).collect();
        let decided = |&(a, b): &(usize, usize)| {
            self.minimal.precedes(a, b)
                || self.minimal.precedes(b, a)
                || self.minimal.together(a, b)
        };
        let mut drafts: Vec<(Rank, Draft)> = pairs_of(&all)
            .into_iter()
            .filter(decided)
            .map(|(a, b)| (self.asker.rank(a, b), Draft::First(a, b)))
            .collect();
        random.shuffle(&mut drafts);
        drafts
    }

    fn between_drafts(&self, count: usize, random: &mut Random) -> Vec<(Rank, Draft)> {
        let all: Vec<usize> = (0..self.asker.points.len()).collect();
        let both = pairs_of(&all).into_iter().flat_map(|(a, b)| [(a, b), (b, a)]);
        let mut pairs: Vec<(usize, usize)> =
            both.filter(|&(a, b)| self.minimal.precedes(a, b)).collect();
        random.shuffle(&mut pairs);
        let mut drafts: Vec<(Rank, Draft)> = Vec::new();
        let mut telling = 0;
        for (from, to) in pairs {
            if telling == count {
                break;
            }
            let mut others = all.clone();
            random.shuffle(&mut others);
            let precedes = |a, b| self.minimal.precedes(a, b);
            let ranked =
                |point: usize| self.asker.rank(from, point).max(self.asker.rank(point, to));
            let within = |point: usize| precedes(from, point) && precedes(point, to);
            let without = |point: usize| precedes(point, from) || precedes(to, point);
            let mut inside: Vec<usize> = others.iter().copied().filter(|&p| within(p)).collect();
            inside.sort_by_key(|&point| ranked(point));
            let mut outside: Vec<usize> = others.into_iter().filter(|&p| without(p)).collect();
            outside.sort_by_key(|&point| ranked(point));
            let Some(&best) = inside.first().filter(|_| !outside.is_empty()) else { continue };
            // Not always as many are right as are wrong.
            inside.truncate(1 + random.below(3));
            inside.retain(|&point| ranked(point) == ranked(best));
            outside.truncate(5 - inside.len());
            telling += usize::from(ranked(best) == Rank::Telling);
            drafts.push((ranked(best), Draft::Between { from, to, inside, outside }));
        }
        drafts
    }

    fn ask(&self, draft: Draft, random: &mut Random) -> Option<Question> {
        match draft {
            Draft::Order(points) => Some(self.order(points, random)),
            Draft::First(a, b) => Some(self.first(a, b, random)),
            Draft::Between { from, to, inside, outside } => {
                Some(self.between([from, to], &inside, &outside, random))
            }
            Draft::Bars { .. } => None,
        }
    }

    fn order(&self, mut points: Vec<usize>, random: &mut Random) -> Question {
        random.shuffle(&mut points);
        // An order that is right becomes wrong when turned round, as some pair is ordered.
        if !pairs_of(&points).into_iter().any(|(a, b)| self.ordered(b, a)) {
            points.reverse();
        }
        let indices: Vec<usize> = (0..points.len()).collect();
        let before = |first: usize, then: usize| self.ordered(points[first], points[then]);
        let both = pairs_of(&indices).into_iter().flat_map(|(i, j)| [(i, j), (j, i)]);
        let pairs: Vec<Pair> = both
            .filter(|&(first, then)| before(first, then))
            .map(|(first, then)| {
                let why = self.telling().because(points[first], points[then]);
                Pair { first, then, why }
            })
            .collect();
        let mut left = indices.clone();
        let mut answer = Vec::new();
        while let Some(place) =
            left.iter().position(|&next| !left.iter().any(|&other| before(other, next)))
        {
            answer.push(left.remove(place));
        }
        let choices: Vec<Choice> = points.iter().map(|&point| self.asker.choice(point)).collect();
        let (why, rules) = self.why_order(answer.iter().map(|&index| points[index]).collect());
        let names: Vec<String> =
            answer.iter().map(|&index| self.asker.the(points[index])).collect();
        let explanation = format!("A right order is: {}. {why}", names.join(", "));
        Question {
            kind: Kind::Order,
            prompt: "Put these in order, the earliest first.".to_owned(),
            about: Vec::new(),
            choices,
            answer,
            pairs,
            explanation,
            rules,
        }
    }

    /// Why points in an order are in that order: each is compared with those next to it
    /// only, since the rest follows.
    fn why_order(&self, order: Vec<usize>) -> (String, Vec<String>) {
        let mut telling = self.telling();
        let mut whys = Vec::new();
        let first_of = |point: usize| {
            order.iter().copied().find(|&p| self.minimal.together(p, point)).unwrap_or(point)
        };
        for (a, b) in pairs_of(&order) {
            if self.minimal.together(a, b) {
                if first_of(a) == a {
                    whys.push(telling.same(a, b));
                }
            } else if first_of(a) != a || first_of(b) != b {
                continue;
            } else if !self.ordered(a, b) {
                let (a, b) = (self.asker.the(a), self.asker.the(b));
                whys.push(format!("The rules leave open whether {a} or {b} comes first."));
            } else if !order.iter().any(|&via| self.ordered(a, via) && self.ordered(via, b)) {
                whys.push(telling.because(a, b));
            }
        }
        (whys.join(" "), telling.rules())
    }

    fn first(&self, a: usize, b: usize, random: &mut Random) -> Question {
        let mut points = [a, b];
        random.shuffle(&mut points);
        let [a, b] = points;
        let mut telling = self.telling();
        let (right, explanation) = if self.minimal.precedes(a, b) {
            (0, telling.because(a, b))
        } else if self.minimal.precedes(b, a) {
            (1, telling.because(b, a))
        } else {
            (2, telling.same(a, b))
        };
        let together =
            Choice { stands: Stands::Together, text: "At the same time".to_owned(), why: None };
        let prompt = format!(
            "Which comes first, {} or {}, or are both at the same time?",
            self.asker.the(a),
            self.asker.the(b)
        );
        Question {
            kind: Kind::First,
            prompt,
            about: Vec::new(),
            choices: vec![self.asker.choice(a), self.asker.choice(b), together],
            answer: vec![right],
            pairs: Vec::new(),
            explanation,
            rules: telling.rules(),
        }
    }

    fn between(
        &self,
        [from, to]: [usize; 2],
        inside: &[usize],
        outside: &[usize],
        random: &mut Random,
    ) -> Question {
        let mut points: Vec<usize> = inside.iter().chain(outside).copied().collect();
        random.shuffle(&mut points);
        let tell = |point: usize, telling: &mut Telling<'_>| {
            if inside.contains(&point) {
                let after = telling.because(from, point);
                format!("{after} {}", telling.because(point, to))
            } else if self.minimal.precedes(point, from) {
                telling.because(point, from)
            } else {
                telling.because(to, point)
            }
        };
        let choice = |&point: &usize| Choice {
            why: Some(tell(point, &mut self.telling())),
            ..self.asker.choice(point)
        };
        let mut telling = self.telling();
        let right: Vec<usize> = points.iter().copied().filter(|p| inside.contains(p)).collect();
        let wrong = points.iter().copied().filter(|point| !inside.contains(point));
        // The right ones first: what follows then only says why the others are not.
        let whys: Vec<String> =
            right.iter().copied().chain(wrong).map(|point| tell(point, &mut telling)).collect();
        let names: Vec<String> = right.iter().map(|&point| self.asker.the(point)).collect();
        let explanation = format!("{}. {}", sentence(&names.join(", ")), whys.join(" "));
        let prompt = format!(
            "Which of these must come between {} and {}?",
            self.asker.the(from),
            self.asker.the(to)
        );
        Question {
            kind: Kind::Between,
            prompt,
            about: [from, to].map(|point| self.asker.points[point].clone()).into(),
            choices: points.iter().map(choice).collect(),
            answer: (0..points.len()).filter(|&index| inside.contains(&points[index])).collect(),
            pairs: Vec::new(),
            explanation,
            rules: telling.rules(),
        }
    }

    fn telling(&self) -> Telling<'_> {
        Telling { network: *self, told: Vec::new() }
    }
}

/// Limits that follow one another and are told as one.
struct Stretch {
    from: usize,
    to: usize,
    at_least: i64,
    rule: Option<usize>,
    /// How many limits it is made of.
    links: usize,
}

/// Tells chains of limits, each rule in full only the first time.
struct Telling<'a> {
    network: OnNetwork<'a>,
    told: Vec<usize>,
}

impl Telling<'_> {
    /// Identifiers of the rules told so far.
    fn rules(&self) -> Vec<String> {
        let rules = &self.network.asker.words.convention.rules;
        self.told.iter().map(|&rule| rules[rule].id.clone()).collect()
    }

    /// That `a` comes before `b`, or is never after it, and why.
    fn because(&mut self, a: usize, b: usize) -> String {
        let chain = self.chain(a, b);
        if let [only] = chain.as_slice()
            && only.rule.is_none()
        {
            return format!("{}.", sentence(&self.fact(only, false)));
        }
        let asker = self.network.asker;
        let strictly = self.network.minimal.precedes(a, b);
        let claim = if strictly { "comes before" } else { "is never later than" };
        let claim = format!("{} {claim} {}.", sentence(&asker.the(a)), asker.the(b));
        format!("{claim} {}", self.links(&chain))
    }

    /// That `a` and `b` are at the same time, and why.
    fn same(&mut self, a: usize, b: usize) -> String {
        let asker = self.network.asker;
        let claim =
            format!("{} and {} are at the same time.", sentence(&asker.the(a)), asker.the(b));
        let there = self.chain(a, b);
        let forth = self.links(&there);
        // Rules that say "with" hold both ways at once; others need telling both ways.
        if there.iter().all(|stretch| self.is_with(stretch)) {
            return format!("{claim} {forth}");
        }
        let back = self.chain(b, a);
        format!("{claim} {forth} {}", self.links(&back))
    }

    /// The limits that put `b` after `a`, with facts about one channel joined.
    fn chain(&self, a: usize, b: usize) -> Vec<Stretch> {
        let points = self.network.asker.points;
        let mut chain: Vec<Stretch> = Vec::new();
        for link in self.network.minimal.why_least(a, b) {
            if let Some(last) = chain.last_mut()
                && (last.rule, link.rule) == (None, None)
                && points[last.from].channel == points[link.to].channel
            {
                last.to = link.to;
                last.at_least += link.at_least;
                last.links += 1;
            } else {
                let (from, to, at_least, rule) = (link.from, link.to, link.at_least, link.rule);
                chain.push(Stretch { from, to, at_least, rule, links: 1 });
            }
        }
        chain
    }

    fn links(&mut self, chain: &[Stretch]) -> String {
        // Distances only matter where some of them lead back.
        let by = chain.iter().any(|stretch| stretch.at_least < 0);
        let told: Vec<String> =
            chain.iter().map(|stretch| self.stretch(stretch, chain.len() == 1, by)).collect();
        told.join(" ")
    }

    /// One part of a chain: the `only` one, or with what it says of its ends, and `by` how
    /// much.
    fn stretch(&mut self, stretch: &Stretch, only: bool, by: bool) -> String {
        let Some(index) = stretch.rule else {
            return format!("{}.", sentence(&self.fact(stretch, by)));
        };
        let rule = &self.network.asker.words.convention.rules[index];
        if self.told.contains(&index) {
            return format!("Again by rule {}, {}.", rule.id, self.limit(stretch, by));
        }
        self.told.push(index);
        let text = rule.text.trim_end_matches('.');
        let cause = rule.cause.trim_end_matches('.');
        let mut told = format!("“{text}” (rule {})", rule.id);
        if !only {
            told += &format!(": {}", self.limit(stretch, by));
        }
        told += ".";
        if !cause.is_empty() {
            told += &format!(" {cause}.");
        }
        told
    }

    /// Whether a rule says that both ends are at the same time.
    fn is_with(&self, stretch: &Stretch) -> bool {
        let rules = &self.network.asker.words.convention.rules;
        let with = [Some(0.0), Some(0.0)];
        stretch.rule.is_some_and(|rule| {
            matches!(&rules[rule].says,
                Says::Timing { timing: Relative::Offset { window, .. }, .. } if *window == with)
        })
    }

    /// What a rule says of the ends of a stretch, as far as it is needed.
    fn limit(&self, stretch: &Stretch, by: bool) -> String {
        let asker = self.network.asker;
        let (from, to) = (asker.the(stretch.from), asker.the(stretch.to));
        if self.is_with(stretch) {
            return format!("{to} is at the same time as {from}");
        }
        let ms = stretch.at_least as f64 / 1e6;
        if by && ms > ORDER_MS {
            format!("{to} is at least {} after {from}", amount(ms, "ms"))
        } else if ms > 0.0 {
            format!("{to} comes after {from}")
        } else if ms == 0.0 {
            format!("{to} is not before {from}")
        } else {
            format!("{to} is at most {} before {from}", amount(-ms, "ms"))
        }
    }

    /// What holds without a rule, on a channel or among the events.
    fn fact(&self, stretch: &Stretch, by: bool) -> String {
        let asker = self.network.asker;
        let place = match &asker.points[stretch.from].channel {
            Some(channel) => format!("on {}", asker.words.channel(channel)),
            None => "in every cycle".to_owned(),
        };
        let (from, to) = (asker.the(stretch.from), asker.the(stretch.to));
        let ms = stretch.at_least as f64 / 1e6;
        // Where only the order is known, the network has a token distance for each link.
        let token = ticks(ORDER_MS / 1000.0) * stretch.links as i64;
        if by && stretch.at_least > token {
            format!("{place} {from} comes {} before {to}", amount(ms, "ms"))
        } else if ms > 0.0 {
            format!("{place} {from} comes before {to}")
        } else if ms == 0.0 {
            format!("{place} {to} is not before {from}")
        } else {
            format!("{place} {to} is at most {} before {from}", amount(-ms, "ms"))
        }
    }
}

/// All pairs, each with the earlier in the list first.
fn pairs_of(list: &[usize]) -> Vec<(usize, usize)> {
    let rest = |place: usize| list[place + 1..].iter();
    list.iter().enumerate().flat_map(|(place, &a)| rest(place).map(move |&b| (a, b))).collect()
}
