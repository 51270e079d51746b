//! Simple temporal networks: points in time, and limits to the differences between them.
//!
//! A network has `points` numbered from 0, and limits of the form `low <= t[to] - t[from] <= high`
//! (Dechter, Meiri and Pearl 1991, "Temporal constraint networks", Artificial Intelligence
//! 49:61-95). Such limits hold together exactly if no closed walk along them asks for a point to
//! be later than itself, and the longest walks between all pairs of points are then the tightest
//! limits that follow from those given.
//!
//! Times are whole numbers of ticks. What a tick is, the caller decides (nanoseconds, or
//! billionths of a value's unit); nothing is ever rounded.
//!
//! ```
//! use convention::network::Network;
//!
//! let mut network = Network::new(3);
//! network.limit(0, 1, Some(10), Some(20), Some(0));
//! network.limit(1, 2, Some(5), None, Some(1));
//! let minimal = network.solve().expect("the two rules hold together");
//! assert_eq!(minimal.least(0, 2), Some(15));
//! assert_eq!(minimal.most(0, 2), None);
//! assert_eq!(minimal.order(), [(0, 1), (1, 2)]);
//! ```

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

/// Stands for "no limit" in a matrix of least differences. Twice this can be added up, and half of
/// it is further from zero than any sum of limits, so that an unlimited difference stays
/// recognisable after limits have been added to it.
const UNLIMITED: i64 = -(i64::MAX / 4);

const fn is_limited(least: i64) -> bool {
    least > UNLIMITED / 2
}

/// One limit, in one direction: `t[to] - t[from] >= at_least`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Link {
    /// The point that the difference is counted from.
    pub from: usize,
    /// The point that the difference is counted to.
    pub to: usize,
    /// The least `t[to] - t[from]`, in ticks. Where it is negative, `to` may come before `from`,
    /// by at most so much.
    pub at_least: i64,
    /// The caller's number of the rule that says so, or `None` for a fact.
    pub rule: Option<usize>,
}

/// Limits that cannot hold together: going round them, a point would be later than itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contradiction {
    /// A closed walk: each link begins where the one before it ends, and the first begins where
    /// the last ends. No point is passed twice; the walk begins at the lowest of its points.
    pub links: Vec<Link>,
    /// The sum of all `at_least` in ticks, always more than 0: so much later than itself a point
    /// would have to be.
    pub short_by: i64,
}

impl Contradiction {
    /// `links` must be a closed walk with a sum greater than 0.
    fn new(mut links: Vec<Link>) -> Self {
        let lowest = links.iter().enumerate().min_by_key(|(_, link)| link.from);
        let begin = lowest.map_or(0, |(index, _)| index);
        links.rotate_left(begin);
        let short_by = links.iter().map(|link| link.at_least).sum();
        Self { links, short_by }
    }

    /// The rules that take part, each once, in the order of the walk. Empty where the facts alone
    /// contradict each other.
    pub fn rules(&self) -> Vec<usize> {
        let mut met = BTreeSet::new();
        self.links.iter().filter_map(|link| link.rule).filter(|&rule| met.insert(rule)).collect()
    }
}

/// Points in time, and the limits given for their differences.
#[derive(Debug, Clone)]
pub struct Network {
    points: usize,
    links: Vec<Link>,
}

impl Network {
    /// The most points a network may have.
    pub const MOST_POINTS: usize = 512;

    /// The largest limit, in ticks to either side of zero: three days if a tick is a nanosecond.
    ///
    /// Together with [`Self::MOST_POINTS`] it ensures that no sum of limits overflows.
    pub const LARGEST: i64 = 1 << 48;

    /// A network of `points` points, numbered from 0, without limits.
    ///
    /// # Panics
    ///
    /// If there are more than [`Self::MOST_POINTS`].
    pub fn new(points: usize) -> Self {
        assert!(points <= Self::MOST_POINTS, "{points} points, {} at most", Self::MOST_POINTS);
        Self { points, links: Vec::new() }
    }

    /// Adds `low <= t[to] - t[from] <= high`, in ticks; `None` leaves that side open.
    ///
    /// `rule` is the caller's number of the rule that says so. A rule may have several limits, and
    /// they need not be given one after the other. `None` stands for a fact, which holds without
    /// any rule.
    ///
    /// # Panics
    ///
    /// If the network does not have these points, or if `low` or `high` is further from zero than
    /// [`Self::LARGEST`].
    pub fn limit(
        &mut self,
        from: usize,
        to: usize,
        low: Option<i64>,
        high: Option<i64>,
        rule: Option<usize>,
    ) {
        for point in [from, to] {
            assert!(point < self.points, "point {point} of {} points", self.points);
        }
        for ticks in [low, high].into_iter().flatten() {
            assert!(within_largest(ticks), "a limit of {ticks} ticks, {} at most", Self::LARGEST);
        }
        if let Some(low) = low {
            self.links.push(Link { from, to, at_least: low, rule });
        }
        if let Some(high) = high {
            self.links.push(Link { from: to, to: from, at_least: -high, rule });
        }
    }

    /// The tightest limits that follow from those given, for all pairs of points.
    ///
    /// Takes time in proportion to the cube of the number of points.
    ///
    /// # Errors
    ///
    /// If the limits cannot all hold together: the first of [`Self::contradictions`].
    pub fn solve(&self) -> Result<Minimal, Contradiction> {
        match closed(self.points, &self.links) {
            Some(least) => Ok(Minimal { points: self.points, least, links: self.links.clone() }),
            None => Err(self
                .smallest(&BTreeSet::new())
                .expect("limits without a closure contain a contradiction")),
        }
    }

    /// Sets of rules that cannot hold together, given the facts: the smallest there is, then, with
    /// its rules taken out, the smallest of the rest, and so on until the rest is consistent.
    ///
    /// No two sets share a rule, and none is smaller than the one before it. A set counts as many
    /// as it has different rules; facts do not count. Where several sets are equally small, it
    /// depends only on the limits and the order in which they were given which of them is reported.
    /// If the facts alone contradict each other, the only contradiction is one without rules.
    /// Empty if all limits hold together.
    ///
    /// The time is polynomial as long as every rule names two or three points. One that names four
    /// or more may be needed more than once on the way round a contradiction; to be exact in this
    /// case as well, all sets of such rules smaller than the contradiction may have to be tried.
    /// With ten of them among two hundred rules that took hundredths of a second, with fifty ten
    /// seconds.
    pub fn contradictions(&self) -> Vec<Contradiction> {
        let mut taken_out = BTreeSet::new();
        let mut found = Vec::new();
        while let Some(contradiction) = self.smallest(&taken_out) {
            let rules = contradiction.rules();
            found.push(contradiction);
            if rules.is_empty() {
                break;
            }
            taken_out.extend(rules);
        }
        found
    }

    fn smallest(&self, taken_out: &BTreeSet<usize>) -> Option<Contradiction> {
        let mut facts = Vec::new();
        let mut rules: BTreeMap<usize, Vec<Link>> = BTreeMap::new();
        for &link in &self.links {
            match link.rule {
                None => facts.push(link),
                Some(rule) if taken_out.contains(&rule) => {}
                Some(rule) => rules.entry(rule).or_default().push(link),
            }
        }
        let all: Vec<Link> = facts.iter().chain(rules.values().flatten()).copied().collect();
        walks(self.points, &all, None).err()?;
        // The closures that the search works with exist only if the facts do not contradict each
        // other, and no rule itself.
        let mut parts = std::iter::once(&facts).chain(rules.values());
        if let Some(circuit) = parts.find_map(|part| walks(self.points, part, None).err()) {
            return Some(Contradiction::new(circuit));
        }
        let rules: Vec<Rule> = rules.into_values().map(Rule::new).collect();
        let repeatable = (0..rules.len()).filter(|&rule| rules[rule].most_uses > 1).collect();
        let mut search = Search { points: self.points, facts, rules, repeatable, smallest: None };
        search.extend(&mut Vec::new(), 0);
        search.smallest
    }
}

fn within_largest(ticks: i64) -> bool {
    (-Network::LARGEST..=Network::LARGEST).contains(&ticks)
}

/// The minimal network: for all pairs of points the tightest limits that follow from those given.
///
/// Every value between `least` and `most` of a pair occurs in some solution. All methods panic if
/// the network does not have the points asked for.
#[derive(Debug, Clone)]
pub struct Minimal {
    points: usize,
    /// Row `from`, column `to`: the least `t[to] - t[from]`.
    least: Vec<i64>,
    /// All that the matrix is the closure of.
    links: Vec<Link>,
}

impl Minimal {
    fn row(&self, from: usize) -> &[i64] {
        &self.least[from * self.points..][..self.points]
    }

    /// The least `t[to] - t[from]` in ticks, or `None` if it is unlimited.
    pub fn least(&self, from: usize, to: usize) -> Option<i64> {
        Some(self.row(from)[to]).filter(|&least| is_limited(least))
    }

    /// The greatest `t[to] - t[from]` in ticks, or `None` if it is unlimited.
    pub fn most(&self, from: usize, to: usize) -> Option<i64> {
        self.least(to, from).map(|least| -least)
    }

    /// Whether `b` is later than `a` in every solution.
    pub fn precedes(&self, a: usize, b: usize) -> bool {
        self.row(a)[b] > 0
    }

    /// Whether `a` and `b` are simultaneous in every solution.
    pub fn together(&self, a: usize, b: usize) -> bool {
        self.row(a)[b] == 0 && self.row(b)[a] == 0
    }

    /// The pairs `(a, b)` in which `a` precedes `b` ([`Self::precedes`]) with no point that is
    /// certainly between them; all others follow from these. Points that are simultaneous in every
    /// solution ([`Self::together`]) are represented by the lowest of them. In ascending order.
    pub fn order(&self) -> Vec<(usize, usize)> {
        let representatives: Vec<usize> = (0..self.points)
            .filter(|&point| !(0..point).any(|lower| self.together(lower, point)))
            .collect();
        let mut pairs = Vec::new();
        for &a in &representatives {
            let later: Vec<usize> =
                representatives.iter().copied().filter(|&b| self.precedes(a, b)).collect();
            let next = later.iter().filter(|&&b| !later.iter().any(|&via| self.precedes(via, b)));
            pairs.extend(next.map(|&b| (a, b)));
        }
        pairs
    }

    /// Why `t[to] - t[from]` is at least `least(from, to)`: a walk of limits as they were given
    /// that leads from `from` to `to` and adds up to it, and of such walks one with the fewest
    /// links. What [`Self::fix`] has set since counts as a fact.
    ///
    /// Empty if `least(from, to)` is `None`, and if `from` is `to`. For `most(from, to)`, ask with
    /// the points exchanged.
    pub fn why_least(&self, from: usize, to: usize) -> Vec<Link> {
        if self.least(from, to).is_none() || from == to {
            return Vec::new();
        }
        longest(self.points, &self.links, from, to)
    }

    /// Sets `t[to] - t[from]` to exactly `ticks`, and narrows all other limits to what follows;
    /// takes time in proportion to the square of the number of points.
    ///
    /// Returns false and changes nothing if `ticks` is not between `least(from, to)` and
    /// `most(from, to)`, or further from zero than [`Network::LARGEST`].
    pub fn fix(&mut self, from: usize, to: usize, ticks: i64) -> bool {
        let possible = self.least(from, to).is_none_or(|least| least <= ticks)
            && self.most(from, to).is_none_or(|most| ticks <= most);
        if !possible || !within_largest(ticks) {
            return false;
        }
        self.tighten(Link { from, to, at_least: ticks, rule: None });
        self.tighten(Link { from: to, to: from, at_least: -ticks, rule: None });
        true
    }

    /// Adds a link that contradicts none of the others.
    fn tighten(&mut self, link: Link) {
        self.links.push(link);
        let after = self.row(link.to).to_vec();
        for row in self.least.chunks_exact_mut(self.points) {
            let before = row[link.from];
            if is_limited(before) {
                raise(row, before + link.at_least, &after);
            }
        }
    }
}

/// Raises every entry of `row` to what it is by way of a point that is at least `first` after the
/// row's own point, given that point's row.
fn raise(row: &mut [i64], first: i64, onward: &[i64]) {
    for (held, &rest) in row.iter_mut().zip(onward) {
        *held = (*held).max(first + rest);
    }
}

/// The matrix of least differences as the links give them directly: row `from`, column `to`.
fn direct(points: usize, links: &[Link]) -> Vec<i64> {
    let mut least = vec![UNLIMITED; points * points];
    for point in 0..points {
        least[point * points + point] = 0;
    }
    for link in links {
        let held = &mut least[link.from * points + link.to];
        *held = (*held).max(link.at_least);
    }
    least
}

/// The lowest point that would have to be later than itself, if any.
fn positive_diagonal(points: usize, least: &[i64]) -> Option<usize> {
    (0..points).find(|point| least[point * points + point] > 0)
}

/// The closure of the links (Floyd and Warshall's algorithm), or `None` if they contradict each
/// other.
fn closed(points: usize, links: &[Link]) -> Option<Vec<i64>> {
    let mut least = direct(points, links);
    let mut onward = vec![0; points];
    for via in 0..points {
        onward.copy_from_slice(&least[via * points..][..points]);
        for row in least.chunks_exact_mut(points) {
            let first = row[via];
            if is_limited(first) {
                raise(row, first, &onward);
            }
        }
        // Walks round a contradiction would double in every further step, and soon overflow.
        if positive_diagonal(points, &least).is_some() {
            return None;
        }
    }
    Some(least)
}

/// `start`, raised to what it is if each walk may go on by one step of `step`.
fn prolonged(points: usize, start: &[i64], step: &[i64]) -> Vec<i64> {
    let mut least = start.to_vec();
    for (row, walked) in least.chunks_exact_mut(points).zip(start.chunks_exact(points)) {
        for (&first, onward) in walked.iter().zip(step.chunks_exact(points)) {
            if is_limited(first) {
                raise(row, first, onward);
            }
        }
    }
    least
}

/// The point by way of which `first` and then `then` add up to `sum` from `from` to `to`, if any.
fn by_way_of(
    points: usize,
    (first, from): (&[i64], usize),
    (then, to): (&[i64], usize),
    sum: i64,
) -> Option<usize> {
    (0..points).find(|&via| {
        let (first, then) = (first[from * points + via], then[via * points + to]);
        is_limited(first) && is_limited(then) && first + then == sum
    })
}

/// Longest walks along the links to every point (Bellman and Ford's algorithm), from `start`, or
/// with `None` from wherever is best: for each point the last link of the walk, as an index.
/// Of equally long walks, one with the fewest links.
///
/// If there are circuits with a positive sum within reach, one of them is the error: its links in
/// order.
fn walks(
    points: usize,
    links: &[Link],
    start: Option<usize>,
) -> Result<Vec<Option<usize>>, Vec<Link>> {
    // Wide sums, as a walk may go round a positive circuit many times before it is noticed.
    let mut reached: Vec<Option<(i128, Reverse<usize>)>> = (0..points)
        .map(|point| start.is_none_or(|start| start == point).then_some((0, Reverse(0))))
        .collect();
    let mut last: Vec<Option<usize>> = vec![None; points];
    let mut raised = None;
    for _ in 0..points {
        raised = None;
        for (index, link) in links.iter().enumerate() {
            let Some((sum, Reverse(length))) = reached[link.from] else { continue };
            let walk = Some((sum + i128::from(link.at_least), Reverse(length + 1)));
            if walk > reached[link.to] {
                reached[link.to] = walk;
                last[link.to] = Some(index);
                raised = Some(link.to);
            }
        }
        if raised.is_none() {
            break;
        }
    }
    let Some(mut point) = raised else { return Ok(last) };
    // A walk without a circuit has fewer links than there are points: a point that the last round
    // still raised is reached by way of a circuit, and going back far enough ends up in it.
    for _ in 0..points {
        point = last[point].map_or(point, |index| links[index].from);
    }
    let mut circuit = back(links, &last, point, point);
    circuit.reverse();
    Err(circuit)
}

/// The links by which `to` was reached, the last first, as far back as `from`.
fn back(links: &[Link], last: &[Option<usize>], from: usize, to: usize) -> Vec<Link> {
    let mut walk = Vec::new();
    let mut point = to;
    while let Some(link) = last[point].map(|index| links[index]) {
        walk.push(link);
        point = link.from;
        if point == from {
            break;
        }
    }
    walk
}

/// The links of the longest walk between two different points, the second within reach of the
/// first, where there is no contradiction.
fn longest(points: usize, links: &[Link], from: usize, to: usize) -> Vec<Link> {
    match walks(points, links, Some(from)) {
        Ok(last) => {
            let mut walk = back(links, &last, from, to);
            walk.reverse();
            walk
        }
        Err(_) => unreachable!("longest walks are asked for only where no circuit is positive"),
    }
}

/// A rule whose own limits hold together.
struct Rule {
    links: Vec<Link>,
    /// All limits that follow from the rule alone, one for each pair of points.
    implied: Vec<Link>,
    /// How often a smallest contradiction can make use of the rule: it passes no point twice, and
    /// two uses with a common point would be one use of what the rule implies, so that every use
    /// needs two points of its own.
    most_uses: usize,
}

impl Rule {
    fn new(links: Vec<Link>) -> Self {
        let named: BTreeSet<usize> = links.iter().flat_map(|link| [link.from, link.to]).collect();
        let named: Vec<usize> = named.into_iter().collect();
        let position = |point| named.partition_point(|&other| other < point);
        let own: Vec<Link> = links
            .iter()
            .map(|link| Link { from: position(link.from), to: position(link.to), ..*link })
            .collect();
        let least = closed(named.len(), &own).expect("the rule's own limits hold together");
        let rule = links[0].rule;
        let implied = least.iter().enumerate().filter_map(|(index, &at_least)| {
            let (from, to) = (index / named.len(), index % named.len());
            (from != to && is_limited(at_least)).then(|| Link {
                from: named[from],
                to: named[to],
                at_least,
                rule,
            })
        });
        let implied = implied.collect();
        Self { links, implied, most_uses: named.len() / 2 }
    }
}

/// The search for the smallest set of rules that cannot hold together.
///
/// Walks that use one rule after the other show the contradiction with the fewest uses. This is
/// the one with the fewest rules as long as no rule is used twice. So, for each set of rules that
/// could be used twice, these are taken for facts once, at the price of the set's size, and the
/// uses of the others are counted; if the set is the one that the smallest contradiction uses more
/// than once, the count is right.
struct Search {
    points: usize,
    facts: Vec<Link>,
    rules: Vec<Rule>,
    /// Those of the rules that a contradiction may use more than once.
    repeatable: Vec<usize>,
    smallest: Option<Contradiction>,
}

impl Search {
    fn size(&self) -> usize {
        self.smallest.as_ref().map_or(usize::MAX, |smallest| smallest.rules().len())
    }

    fn keep(&mut self, circuit: Vec<Link>) {
        let contradiction = Contradiction::new(circuit);
        if contradiction.rules().len() < self.size() {
            self.smallest = Some(contradiction);
        }
    }

    /// Tries the `chosen` rules as those that are used more than once, and then all sets that have
    /// further rules, from the repeatable ones from `next` on.
    fn extend(&mut self, chosen: &mut Vec<usize>, next: usize) {
        let mut free = self.facts.clone();
        for &rule in &*chosen {
            free.extend(&self.rules[rule].links);
        }
        let Some(least) = closed(self.points, &free) else {
            if let Err(circuit) = walks(self.points, &free, None) {
                self.keep(circuit);
            }
            return;
        };
        if chosen.len() + 1 >= self.size() {
            return;
        }
        let Some((uses, circuit)) = self.fewest_uses(&free, least, chosen) else { return };
        self.keep(circuit);
        let further = &self.repeatable[next..];
        let most_uses = further.iter().map(|&rule| self.rules[rule].most_uses).max().unwrap_or(1);
        if chosen.len() + uses.div_ceil(most_uses) >= self.size() {
            return;
        }
        for position in next..self.repeatable.len() {
            chosen.push(self.repeatable[position]);
            self.extend(chosen, position + 1);
            chosen.pop();
        }
    }

    /// The fewest uses of rules not `chosen` that contradict the `free` links, and a circuit with
    /// so many. `least` is the closure of the free links.
    fn fewest_uses(
        &self,
        free: &[Link],
        least: Vec<i64>,
        chosen: &[usize],
    ) -> Option<(usize, Vec<Link>)> {
        let points = self.points;
        let mut use_of_rule = vec![UNLIMITED; points * points];
        let mut used_rule = vec![0; points * points];
        for rule in (0..self.rules.len()).filter(|rule| !chosen.contains(rule)) {
            for link in &self.rules[rule].implied {
                let place = link.from * points + link.to;
                if link.at_least > use_of_rule[place] {
                    use_of_rule[place] = link.at_least;
                    used_rule[place] = rule;
                }
            }
        }
        let step = prolonged(points, &use_of_rule, &least);
        let mut layers = vec![least];
        // A circuit that passes no point twice uses a rule at most as often as there are points.
        let lowest = (0..points).find_map(|uses| {
            layers.push(prolonged(points, &layers[uses], &step));
            positive_diagonal(points, &layers[uses + 1])
        })?;
        let uses = layers.len() - 1;

        let mut gathered = Vec::new();
        let mut to = lowest;
        for use_number in (1..layers.len()).rev() {
            let (fewer, layer) = (&layers[use_number - 1], &layers[use_number]);
            let sum = layer[lowest * points + to];
            if fewer[lowest * points + to] == sum {
                continue;
            }
            let begin = by_way_of(points, (fewer, lowest), (&step, to), sum)?;
            let stepped = step[begin * points + to];
            let end = by_way_of(points, (&use_of_rule, begin), (&layers[0], to), stepped)?;
            if end != to {
                gathered.extend(longest(points, free, end, to));
            }
            let rule = used_rule[begin * points + end];
            gathered.extend(longest(points, &self.rules[rule].links, begin, end));
            to = begin;
        }
        if to != lowest {
            gathered.extend(longest(points, free, lowest, to));
        }
        // The closed walk may pass a point more than once; one of its loops is already too long.
        walks(points, &gathered, None).err().map(|circuit| (uses, circuit))
    }
}
