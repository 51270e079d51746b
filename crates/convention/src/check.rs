//! Whether the rules can all hold.

use cycle::{Cycle, Subject};

use crate::Point;
use crate::beat::{Beat, beats, stroke_span};
use crate::network::{Contradiction, Link, Minimal, Network};
use crate::read::ORDER_MS;
use crate::rule::{Convention, Relative, Says};
use crate::words::{Words, amount};

/// What is known of a convention's timing rules taken together.
#[derive(Clone, Debug)]
pub struct Check {
    /// The points, by whose indices the network speaks.
    pub points: Vec<Point>,
    /// The tightest limits between all points, in nanoseconds; none where the rules
    /// contradict one another.
    pub minimal: Option<Minimal>,
    /// Sets of rules that cannot hold together, the smallest first; sets share no rule.
    pub conflicts: Vec<Conflict>,
}

/// The smallest set of rules that cannot hold together.
#[derive(Clone, Debug, PartialEq)]
pub struct Conflict {
    /// The rules' identifiers.
    pub rules: Vec<String>,
    /// The contradiction step by step, in the rules' own words.
    pub words: String,
}

impl Check {
    /// Whether the rules can all hold.
    pub fn consistent(&self) -> bool {
        self.conflicts.is_empty()
    }

    /// What must come before what, with what follows from others left out.
    ///
    /// Points that coincide are spoken for by the first of them; [`Check::together`] lists them.
    pub fn order(&self) -> Vec<(&Point, &Point)> {
        let order = self.minimal.iter().flat_map(Minimal::order);
        order.map(|(a, b)| (&self.points[a], &self.points[b])).collect()
    }

    /// The points that must coincide, in groups of two or more.
    pub fn together(&self) -> Vec<Vec<&Point>> {
        let Some(minimal) = &self.minimal else { return Vec::new() };
        let mut groups: Vec<Vec<usize>> = Vec::new();
        for index in 0..self.points.len() {
            match groups.iter_mut().find(|group| minimal.together(group[0], index)) {
                Some(group) => group.push(index),
                None => groups.push(vec![index]),
            }
        }
        let several = groups.into_iter().filter(|group| group.len() > 1);
        several.map(|group| group.into_iter().map(|index| &self.points[index]).collect()).collect()
    }

    /// Index of `point` in the network.
    pub fn index(&self, point: &Point) -> Option<usize> {
        self.points.iter().position(|other| other == point)
    }
}

/// Checks the timing rules by themselves: whatever the reference channel's intervals are.
///
/// Rules about a share of an interval then only say that the point lies within it.
pub fn check(convention: &Convention, subject: &Subject) -> Check {
    let points = with_reference(convention, subject, None);
    Timeline::new(convention, subject, points, None).check(convention, subject)
}

/// Checks the timing rules on the reference channel of `base`, whose intervals then count as
/// given: some rules hold together at one rate and not at another.
pub fn check_on(convention: &Convention, subject: &Subject, base: &Cycle) -> Check {
    let beat = beats(base, subject).into_iter().next().unwrap_or_default();
    let points = with_reference(convention, subject, Some(&beat));
    let span = base.span_s().map_or(base.period_s, |(start, end)| end - start);
    let given = Given { beat: &beat, period_s: span.min(base.period_s) };
    Timeline::new(convention, subject, points, Some(given)).check(convention, subject)
}

/// The reference channel's landmarks that are needed, in their order, then what the rules
/// are about.
fn with_reference(convention: &Convention, subject: &Subject, beat: Option<&Beat>) -> Vec<Point> {
    let named = convention.points();
    let reference = subject.reference_channel.as_str();
    let on = |name: &String| Point::new(name, Some(reference));
    let sequence = subject.sequences.iter().flatten().map(on).filter(|point| {
        subject
            .landmark(&point.name)
            .is_some_and(|kind| kind.channels.iter().any(|c| c == reference))
    });
    let mut points: Vec<Point> = match beat {
        Some(beat) => sequence.filter(|point| beat.get(point).is_some()).collect(),
        None => sequence.filter(|point| named.contains(point)).collect(),
    };
    for point in named {
        if !points.contains(&point) {
            points.push(point);
        }
    }
    points
}

/// What is given besides the rules: a reference beat.
#[derive(Clone, Copy)]
pub(crate) struct Given<'a> {
    pub(crate) beat: &'a Beat,
    pub(crate) period_s: f64,
}

/// The points of a convention and the limits between them.
pub(crate) struct Timeline {
    pub(crate) points: Vec<Point>,
    pub(crate) network: Network,
}

pub(crate) fn ticks(seconds: f64) -> i64 {
    (seconds * 1e9).round() as i64
}

pub(crate) fn seconds(ticks: i64) -> f64 {
    ticks as f64 / 1e9
}

impl Timeline {
    /// The limits between `points` that follow from the names' meaning, from what is given
    /// and from the rules.
    pub(crate) fn new(
        convention: &Convention,
        subject: &Subject,
        points: Vec<Point>,
        given: Option<Given<'_>>,
    ) -> Self {
        let mut timeline = Self { network: Network::new(points.len()), points };
        timeline.meaning(subject, given);
        if let Some(given) = given {
            timeline.reference(subject, given);
            timeline.bursts(convention, subject, given);
        }
        for (index, rule) in convention.rules.iter().enumerate() {
            if let Says::Timing { point, timing } = &rule.says {
                timeline.rule(index, point, timing, subject, given);
            }
        }
        timeline
    }

    pub(crate) fn index(&self, point: &Point) -> Option<usize> {
        self.points.iter().position(|other| other == point)
    }

    /// Least and most that `later` is after `earlier`, in seconds.
    fn limit(
        &mut self,
        earlier: &Point,
        later: &Point,
        window: [Option<f64>; 2],
        rule: Option<usize>,
    ) {
        if let (Some(from), Some(to)) = (self.index(earlier), self.index(later)) {
            let [low, high] = window.map(|side| side.map(ticks));
            self.network.limit(from, to, low, high, rule);
        }
    }

    /// Orders that follow from what the names mean.
    fn meaning(&mut self, subject: &Subject, given: Option<Given<'_>>) {
        let mut channels: Vec<Option<String>> = Vec::new();
        for point in &self.points {
            if !channels.contains(&point.channel) {
                channels.push(point.channel.clone());
            }
        }
        for channel in channels {
            let mut seen: Vec<Point> = Vec::new();
            for names in &subject.sequences {
                let all =
                    names.iter().map(|name| Point { name: name.clone(), channel: channel.clone() });
                let here: Vec<Point> = all.filter(|point| self.index(point).is_some()).collect();
                for pair in here.windows(2) {
                    self.limit(&pair[0], &pair[1], [Some(ORDER_MS / 1000.0), None], None);
                }
                seen.extend(here);
            }
            // What is drawn last in a beat is drawn before the next beat's first; the reference
            // channel is as it is, even where a fast heart's P wave rides on the T wave.
            let reference = channel.as_deref() == Some(subject.reference_channel.as_str());
            if let Some(given) = given.filter(|_| !reference) {
                for pair in seen.iter().flat_map(|a| seen.iter().map(move |b| (a, b))) {
                    let most = given.period_s - ORDER_MS / 1000.0;
                    self.limit(pair.0, pair.1, [None, Some(most)], None);
                }
            }
        }
    }

    /// The reference channel as it is given.
    fn reference(&mut self, subject: &Subject, given: Given<'_>) {
        let reference = self.points.iter().filter(|point| point.is_reference(subject)).cloned();
        let placed: Vec<(Point, f64)> = reference
            .filter_map(|point| Some((point.clone(), given.beat.time_s(&point)?)))
            .collect();
        for pair in placed.windows(2) {
            let apart = Some(pair[1].1 - pair[0].1);
            self.limit(&pair[0].0, &pair[1].0, [apart, apart], None);
        }
    }

    /// Where a rule speaks of a burst's middle, its length is that of the burst as given:
    /// otherwise its middle would be no point that a limit can be put on. A burst that is not
    /// given has its usual length.
    fn bursts(&mut self, convention: &Convention, subject: &Subject, given: Given<'_>) {
        let named = convention.points();
        for stroke in &subject.strokes {
            let Some(centre) = &stroke.centre else { continue };
            let on = |name: &String| Point::new(name, Some(&stroke.channel));
            let names = stroke.landmarks.iter().chain(&stroke.centre);
            let missing = given.beat.get(&on(&stroke.landmarks[0])).is_none()
                && names.into_iter().any(|name| named.contains(&on(name)));
            if !missing && !named.contains(&on(centre)) {
                continue;
            }
            let [Some(first), Some(last)] = [stroke.landmarks.first(), stroke.landmarks.last()]
            else {
                continue;
            };
            let usual = stroke.burst.map_or(0.0, |burst| burst.length_ms / 1000.0);
            let length = stroke_span(stroke, given.beat).map_or(usual, |[start, end]| end - start);
            let ends = [self.index(&on(first)), self.index(&on(centre)), self.index(&on(last))];
            // In whole nanoseconds, so that the halves add up.
            let (whole, half) = (ticks(length), ticks(length / 2.0));
            for (from, to, apart) in [(0, 1, half), (1, 2, whole - half), (0, 2, whole)] {
                if let (Some(from), Some(to)) = (ends[from], ends[to]) {
                    self.network.limit(from, to, Some(apart), Some(apart), None);
                }
            }
        }
    }

    fn rule(
        &mut self,
        rule: usize,
        point: &Point,
        timing: &Relative,
        subject: &Subject,
        given: Option<Given<'_>>,
    ) {
        match timing {
            Relative::Offset { to, window, .. } => {
                let window = window.map(|side| side.map(|ms| ms / 1000.0));
                self.limit(to, point, window, Some(rule));
            }
            Relative::Between { from, to, shares, .. } => {
                let place = |point: &Point| given.and_then(|given| given.beat.time_s(point));
                let known = from.is_reference(subject) && to.is_reference(subject);
                match (place(from), place(to)) {
                    (Some(start), Some(end)) if known && *shares != [0.0, 1.0] => {
                        let window = shares.map(|share| Some(share * (end - start)));
                        self.limit(from, point, window, Some(rule));
                    }
                    _ => {
                        self.limit(from, point, [Some(0.0), None], Some(rule));
                        self.limit(point, to, [Some(0.0), None], Some(rule));
                    }
                }
            }
        }
    }

    fn check(self, convention: &Convention, subject: &Subject) -> Check {
        let conflicts = match self.network.solve() {
            Ok(minimal) => {
                let conflicts = Vec::new();
                return Check { points: self.points, minimal: Some(minimal), conflicts };
            }
            Err(_) => self.network.contradictions(),
        };
        let teller = Teller { convention, subject, points: &self.points };
        let conflicts = conflicts.iter().map(|conflict| teller.conflict(conflict)).collect();
        Check { points: self.points, minimal: None, conflicts }
    }

    /// The conflicts, told, where the network has no solution.
    pub(crate) fn conflicts(&self, convention: &Convention, subject: &Subject) -> Vec<Conflict> {
        let teller = Teller { convention, subject, points: &self.points };
        self.network.contradictions().iter().map(|conflict| teller.conflict(conflict)).collect()
    }
}

/// Puts chains of limits into words.
pub(crate) struct Teller<'a> {
    pub(crate) convention: &'a Convention,
    pub(crate) subject: &'a Subject,
    pub(crate) points: &'a [Point],
}

impl Teller<'_> {
    fn conflict(&self, conflict: &Contradiction) -> Conflict {
        let rules: Vec<String> = conflict
            .rules()
            .into_iter()
            .map(|rule| self.convention.rules[rule].id.clone())
            .collect();
        let links: Vec<String> =
            self.merged(&conflict.links).iter().map(|l| self.link(l)).collect();
        let short = amount(conflict.short_by as f64 / 1e6, "ms");
        let words = format!(
            "{}. All of this together would put {} {short} after itself.",
            links.join("; "),
            self.words().the(&self.points[conflict.links[0].from]),
        );
        Conflict { rules, words }
    }

    /// Links with neighbours that both speak of the reference channel added up.
    fn merged(&self, links: &[Link]) -> Vec<Link> {
        let given = |link: &Link| {
            let ends = [link.from, link.to];
            link.rule.is_none() && ends.iter().all(|&p| self.points[p].is_reference(self.subject))
        };
        let mut merged: Vec<Link> = Vec::new();
        for link in links {
            match merged.last_mut() {
                Some(last) if given(last) && given(link) => {
                    last.to = link.to;
                    last.at_least += link.at_least;
                }
                _ => merged.push(*link),
            }
        }
        merged
    }

    fn words(&self) -> Words<'_> {
        Words { subject: self.subject, convention: self.convention }
    }

    /// What one limit says, and which rule or fact says it.
    pub(crate) fn link(&self, link: &Link) -> String {
        let who = match link.rule {
            Some(rule) => {
                let rule = &self.convention.rules[rule];
                format!("“{}” ({})", rule.text.trim_end_matches('.'), rule.id)
            }
            None if [link.from, link.to]
                .iter()
                .all(|&point| self.points[point].is_reference(self.subject)) =>
            {
                let reference = &self.subject.reference_channel;
                format!("{} itself", self.words().channel(reference))
            }
            None => "the meaning of the names".to_owned(),
        };
        let (from, to) = (&self.points[link.from], &self.points[link.to]);
        let (from, to) = (self.words().the(from), self.words().the(to));
        let ms = link.at_least as f64 / 1e6;
        let where_to = if ms > ORDER_MS {
            format!("{to} at least {} after {from}", amount(ms, "ms"))
        } else if ms > 0.0 {
            format!("{to} after {from}")
        } else if ms == 0.0 {
            format!("{to} not before {from}")
        } else {
            format!("{to} at most {} before {from}", amount(-ms, "ms"))
        };
        format!("{who} puts {where_to}")
    }
}
