//! How high every point of the schematic goes: rules about heights as a network over values.

use cycle::Trace;

use crate::beat::Beat;
use crate::network::Network;
use crate::rule::{Form, Level, Relative, Says};
use crate::schematic::{Drawing, around};
use crate::{Point, SchematicError};

/// By how much a trace is lifted at a point.
pub(crate) struct Lift {
    pub(crate) channel: String,
    pub(crate) point: Point,
    pub(crate) was: f64,
    pub(crate) by: f64,
}

/// `to` is higher than `from` by an amount within the window.
struct Limit {
    from: usize,
    to: usize,
    window: [Option<f64>; 2],
    rule: usize,
}

/// `node` is best so much higher than `from`.
struct Aim {
    node: usize,
    from: usize,
    by: f64,
}

/// `node` lies at a share of the way between two others.
struct Share {
    node: usize,
    ends: [usize; 2],
    shares: [f64; 2],
    aim: Option<f64>,
    rule: usize,
}

/// The rules about heights, as a network over values.
pub(crate) struct Levels<'a> {
    drawing: &'a Drawing<'a>,
    drawn: &'a Beat,
    /// A channel, and a point on it or at whose time it is looked at; none for its baseline.
    nodes: Vec<(String, Option<Point>)>,
    limits: Vec<Limit>,
    aims: Vec<Aim>,
    shares: Vec<Share>,
    /// Whether any rule speaks of heights at all.
    pub(crate) needed: bool,
}

impl<'a> Levels<'a> {
    pub(crate) fn new(drawing: &'a Drawing<'a>, drawn: &'a Beat) -> Self {
        let mut levels = Self {
            drawing,
            drawn,
            nodes: Vec::new(),
            limits: Vec::new(),
            aims: Vec::new(),
            shares: Vec::new(),
            needed: false,
        };
        for (index, rule) in drawing.convention.rules.iter().enumerate() {
            levels.rule(index, &rule.says, rule.tolerance.percent);
        }
        levels
    }

    /// A burst has one height, whichever of its landmarks a rule names.
    fn node(&mut self, channel: &str, point: Option<&Point>) -> usize {
        let subject = self.drawing.subject;
        let point = point.map(|point| {
            let stroke = subject.stroke_of(&point.name);
            let burst = stroke.filter(|s| s.burst.is_some() && s.channel == channel);
            burst.map_or_else(|| point.clone(), |s| Point::new(&s.landmarks[0], Some(channel)))
        });
        let node = (channel.to_owned(), point);
        self.nodes.iter().position(|other| *other == node).unwrap_or_else(|| {
            self.nodes.push(node);
            self.nodes.len() - 1
        })
    }

    fn own(&mut self, point: &Point) -> usize {
        let channel = point.channel.clone().unwrap_or_default();
        self.node(&channel, Some(point))
    }

    fn rule(&mut self, index: usize, says: &Says, percent: f64) {
        self.needed |=
            matches!(says, Says::Height { .. } | Says::Level { .. } | Says::Shape { .. });
        match says {
            Says::Height { point, height: Relative::Offset { to, window, aim, .. } } => {
                let (from, to) = (self.own(to), self.own(point));
                self.limit(from, to, *window, index);
                self.aims.extend(aim.map(|by| Aim { node: to, from, by }));
            }
            Says::Height { point, height: Relative::Between { from, to, shares, aim } } => {
                let (x, a, b) = (self.own(point), self.own(from), self.own(to));
                self.limit(a, x, [Some(0.0), None], index);
                self.limit(x, b, [Some(0.0), None], index);
                let (shares, aim) = (*shares, *aim);
                self.shares.push(Share { node: x, ends: [a, b], shares, aim, rule: index });
            }
            Says::Level { channel, at, level } => {
                let at = self.node(channel, Some(at));
                let level = match level {
                    Level::Baseline => self.node(channel, None),
                    Level::Of(point) => self.own(point),
                };
                self.limit(level, at, [Some(0.0), Some(0.0)], index);
            }
            Says::Shape { channel, from, to, form } => {
                let extent = self.drawing.base.trace(channel).and_then(Trace::range);
                let extent = extent.map_or(0.0, |(low, high)| high - low);
                // More than what counts as level, with room for the extent to change.
                let least = 2.2 * percent / 100.0 * extent;
                let (from, to) = (self.node(channel, Some(from)), self.node(channel, Some(to)));
                let window = match form {
                    Form::Rising => [Some(least), None],
                    Form::Falling => [None, Some(-least)],
                    Form::Flat => [Some(0.0), Some(0.0)],
                };
                self.limit(from, to, window, index);
            }
            Says::Presence { .. } | Says::Timing { .. } | Says::Label { .. } => {}
        }
    }

    fn limit(&mut self, from: usize, to: usize, window: [Option<f64>; 2], rule: usize) {
        self.limits.push(Limit { from, to, window, rule });
    }

    /// What a node's height is before anything is lifted.
    fn was(&self, node: usize) -> f64 {
        let (channel, point) = &self.nodes[node];
        let Some(trace) = self.drawing.traces.iter().find(|t| t.channel == *channel) else {
            return 0.0;
        };
        let Some(point) = point else { return self.drawing.base_level(channel) };
        let Some(place) = self.drawn.get(point) else { return 0.0 };
        let own = point.channel.as_ref() == Some(channel);
        if own { place.value } else { around(trace, place.time_s) }
    }

    /// Heights nearest to what they were that meet every rule, as lifts.
    pub(crate) fn solve(&self) -> Result<Vec<Lift>, SchematicError> {
        // One more node for zero, against which heights are counted.
        let count = self.nodes.len();
        let mut network = Network::new(count + 1);
        let units = |value: f64| (value * 1e6).round() as i64;
        for limit in &self.limits {
            let [low, high] = limit.window.map(|side| side.map(units));
            network.limit(limit.from, limit.to, low, high, Some(limit.rule));
        }
        for node in 0..count {
            if self.nodes[node].1.is_none() {
                let value = units(self.was(node));
                network.limit(count, node, Some(value), Some(value), None);
            }
        }
        let rules = &self.drawing.convention.rules;
        let name = |rules_at_fault: Vec<usize>| {
            SchematicError::Heights(
                rules_at_fault.into_iter().map(|rule| rules[rule].id.clone()).collect(),
            )
        };
        let mut minimal = network.solve().map_err(|conflict| name(conflict.rules()))?;
        let mut heights: Vec<Option<f64>> = vec![None; count];
        for node in self.order() {
            let mut low = minimal.least(count, node);
            let mut high = minimal.most(count, node);
            let mut wish = self.was(node);
            for share in self.shares.iter().filter(|share| share.node == node) {
                let [a, b] = share.ends.map(|end| heights[end]);
                if let (Some(a), Some(b)) = (a, b) {
                    let [least, most] = share.shares.map(|share| units(a + share * (b - a)));
                    low = Some(low.map_or(least, |low| low.max(least)));
                    high = Some(high.map_or(most, |high| high.min(most)));
                    wish = share.aim.map_or(wish, |aim| a + aim * (b - a));
                }
            }
            for aim in self.aims.iter().filter(|aim| aim.node == node) {
                wish = heights[aim.from].map_or(wish, |from| from + aim.by);
            }
            let at = units(wish).max(low.unwrap_or(i64::MIN)).min(high.unwrap_or(i64::MAX));
            if !minimal.fix(count, node, at) {
                let about = self.shares.iter().filter(|share| share.node == node);
                return Err(name(about.map(|share| share.rule).collect()));
            }
            // Heights that need not change keep every digit.
            let was = self.was(node);
            heights[node] = Some(if at == units(was) { was } else { at as f64 / 1e6 });
        }
        let lifts = (0..count).filter_map(|node| {
            let (channel, point) = self.nodes[node].clone();
            let was = self.was(node);
            Some(Lift { channel, point: point?, was, by: heights[node]? - was })
        });
        Ok(lifts.collect())
    }

    /// Nodes in the order in which they are placed: what others are measured by goes first.
    fn order(&self) -> Vec<usize> {
        let mut order: Vec<usize> = Vec::new();
        let ends = |node: usize| {
            let shares = self.shares.iter().filter(move |share| share.node == node);
            shares.flat_map(|share| share.ends)
        };
        let needs = |node: usize| {
            let limits = self.limits.iter().filter(move |limit| limit.to == node).map(|l| l.from);
            limits.chain(ends(node)).collect::<Vec<_>>()
        };
        while order.len() < self.nodes.len() {
            let waiting = || (0..self.nodes.len()).filter(|node| !order.contains(node));
            let ready = waiting().find(|&node| needs(node).iter().all(|n| order.contains(n)));
            // Of nodes that need one another, a share of the way at least waits for its ends.
            let free = || waiting().find(|&node| ends(node).all(|end| order.contains(&end)));
            let next = ready.or_else(free).or_else(|| waiting().next());
            order.extend(next);
        }
        order
    }
}
