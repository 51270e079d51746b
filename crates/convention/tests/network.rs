//! Simple temporal networks against a worked example, enumeration and linear programming.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::collections::BTreeSet;

use convention::network::{Link, Minimal, Network};
use microlp::{ComparisonOp, Error, LinearExpr, OptimizationDirection, Problem};

/// Marsaglia's 64-bit xorshift generator, so that every run tests the same networks.
struct Random(u64);

impl Random {
    /// From `low` to `high`, both included.
    fn between(&mut self, low: i64, high: i64) -> i64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        low + ((self.0 >> 11) % (high - low + 1) as u64) as i64
    }

    fn index(&mut self, below: usize) -> usize {
        self.between(0, below as i64 - 1) as usize
    }

    fn chance(&mut self, percent: i64) -> bool {
        self.between(1, 100) <= percent
    }
}

#[derive(Debug, Clone, Copy)]
struct Limit {
    from: usize,
    to: usize,
    low: Option<i64>,
    high: Option<i64>,
    rule: Option<usize>,
}

/// A limit between two different points, open to one side at times, with bounds of at most
/// `largest` to either side of zero.
fn random_limit(
    random: &mut Random,
    points: usize,
    largest: i64,
    width: i64,
    rule: Option<usize>,
) -> Limit {
    let from = random.index(points);
    let to = (from + 1 + random.index(points - 1)) % points;
    let low = random.between(-largest, largest);
    let high = (low + random.between(0, width)).min(largest);
    let open = random.between(0, 5);
    Limit { from, to, low: (open != 0).then_some(low), high: (open > 1).then_some(high), rule }
}

fn network(points: usize, limits: &[Limit]) -> Network {
    let mut network = Network::new(points);
    for limit in limits {
        network.limit(limit.from, limit.to, limit.low, limit.high, limit.rule);
    }
    network
}

/// Limits that all hold for the same random times, so that they are consistent.
fn consistent_limits(random: &mut Random, points: usize, count: usize) -> Vec<Limit> {
    let times: Vec<i64> = (0..points).map(|_| random.between(-1000, 1000)).collect();
    (0..count)
        .map(|rule| {
            let mut limit = random_limit(random, points, 0, 0, Some(rule));
            let difference = times[limit.to] - times[limit.from];
            let (below, above) = if random.chance(20) {
                (0, 0)
            } else {
                (random.between(0, 300), random.between(0, 300))
            };
            limit.low = limit.low.map(|_| difference - below);
            limit.high = limit.high.map(|_| difference + above);
            limit
        })
        .collect()
}

fn all_pairs(points: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..points).flat_map(move |a| (0..points).map(move |b| (a, b)))
}

/// From memory: the example of Dechter, Meiri and Pearl (1991), with John by car and Fred in a car
/// pool. The times are minutes after seven: 1 John leaves home, 2 John arrives, 3 Fred leaves, 4
/// Fred arrives. The paper's table of shortest distances is the expected `most`.
#[test]
fn worked_example_of_the_paper() {
    let mut network = Network::new(5);
    network.limit(0, 1, Some(10), Some(20), Some(0));
    network.limit(1, 2, Some(30), Some(40), Some(1));
    network.limit(3, 2, Some(10), Some(20), Some(2));
    network.limit(3, 4, Some(40), Some(50), Some(3));
    network.limit(0, 4, Some(60), Some(70), Some(4));
    let minimal = network.solve().unwrap();
    let expected = [
        [0, 20, 50, 30, 70],
        [-10, 0, 40, 20, 60],
        [-40, -30, 0, -10, 30],
        [-20, -10, 20, 0, 50],
        [-60, -50, -20, -40, 0],
    ];
    for (a, b) in all_pairs(5) {
        assert_eq!(minimal.most(a, b), Some(expected[a][b]), "from {a} to {b}");
        assert_eq!(minimal.least(b, a), Some(-expected[a][b]), "from {b} to {a}");
    }
    assert_eq!(minimal.order(), [(0, 1), (1, 3), (2, 4), (3, 2)]);
    assert_eq!(
        minimal.why_least(0, 3),
        [
            Link { from: 0, to: 1, at_least: 10, rule: Some(0) },
            Link { from: 1, to: 2, at_least: 30, rule: Some(1) },
            Link { from: 2, to: 3, at_least: -20, rule: Some(2) },
        ]
    );

    // Fred cannot have left before twenty past seven, so a rule that says so takes the first three
    // rules to contradict.
    network.limit(0, 3, None, Some(15), Some(5));
    let contradiction = network.solve().unwrap_err();
    assert_eq!(contradiction.rules(), [0, 1, 2, 5]);
    assert_eq!(contradiction.short_by, 5);
    assert_eq!(network.contradictions(), [contradiction]);
}

/// Direct limits of all pairs, for the enumeration.
struct Table {
    points: usize,
    low: [[i64; 4]; 4],
}

impl Table {
    /// With no difference greater than `range`.
    fn new<'a>(points: usize, range: i64, limits: impl Iterator<Item = &'a Limit>) -> Self {
        let mut low = [[-range; 4]; 4];
        for limit in limits {
            if let Some(ticks) = limit.low {
                let held = &mut low[limit.from][limit.to];
                *held = (*held).max(ticks);
            }
            if let Some(ticks) = limit.high {
                let held = &mut low[limit.to][limit.from];
                *held = (*held).max(-ticks);
            }
        }
        Self { points, low }
    }

    /// Calls `found` with every solution in which point 0 is at 0, until it returns false; returns
    /// false then.
    fn enumerate(
        &self,
        times: &mut [i64; 4],
        placed: usize,
        found: &mut dyn FnMut(&[i64; 4]) -> bool,
    ) -> bool {
        if placed == self.points {
            return found(times);
        }
        let earlier = 0..placed;
        let least = earlier.clone().map(|p| times[p] + self.low[p][placed]).max().unwrap_or(0);
        let most = earlier.map(|p| times[p] - self.low[placed][p]).min().unwrap_or(0);
        (least..=most).all(|time| {
            times[placed] = time;
            self.enumerate(times, placed + 1, found)
        })
    }

    fn feasible(&self) -> bool {
        !self.enumerate(&mut [0; 4], 0, &mut |_| false)
    }
}

/// Limits with integer bounds have integer solutions if they have any (the longest walks to every
/// point are one), so that it is enough to try integers. With n points and no bound further from
/// zero than b, a walk that passes no point twice adds up to at most (n - 1) b either way. So:
///
/// - If there is a solution, the longest walks from wherever is best give one whose times are all
///   from 0 to (n - 1) b: differences up to this range are enough to tell whether there is one.
/// - Let no difference exceed r = 2 (n - 1) b + 1. This adds a link of -r between every two
///   points. A walk with k of these adds up to at most (n - 1 - k) b - k r, which is less than
///   -(n - 1) b, and so less than any least difference that does not need them: finite ones stay
///   as they are, and those without a limit can be told by being less than -(n - 1) b.
///
/// Point 0 can be at 0, as only differences count.
const BOUND: i64 = 3;

fn reach(points: usize) -> i64 {
    (points as i64 - 1) * BOUND
}

/// Whether the facts and those rules for which `holds` hold together, by enumeration.
fn feasible(points: usize, limits: &[Limit], holds: impl Fn(usize) -> bool) -> bool {
    let chosen = limits.iter().filter(|limit| limit.rule.is_none_or(&holds));
    Table::new(points, reach(points), chosen).feasible()
}

/// Least differences of all pairs by enumeration, or `None` if there is no solution.
fn least_by_enumeration(points: usize, limits: &[Limit]) -> Option<[[Option<i64>; 4]; 4]> {
    if !feasible(points, limits, |_| true) {
        return None;
    }
    let mut least = [[i64::MAX; 4]; 4];
    Table::new(points, 2 * reach(points) + 1, limits.iter()).enumerate(
        &mut [0; 4],
        0,
        &mut |times| {
            for (a, b) in all_pairs(points) {
                least[a][b] = least[a][b].min(times[b] - times[a]);
            }
            true
        },
    );
    Some(least.map(|row| row.map(|ticks| (ticks >= -reach(points)).then_some(ticks))))
}

/// Checks the contradictions of a network that has some; returns the size of the first.
fn check_contradictions(points: usize, rules: usize, limits: &[Limit]) -> usize {
    let network = network(points, limits);
    let contradictions = network.contradictions();
    assert_eq!(network.solve().unwrap_err(), contradictions[0]);
    let mut taken_out = 0_usize;
    for contradiction in &contradictions {
        let links = &contradiction.links;
        for (index, link) in links.iter().enumerate() {
            assert_eq!(link.to, links[(index + 1) % links.len()].from, "{contradiction:?}");
            let given = limits.iter().any(|limit| {
                let ends = (limit.from, limit.to);
                limit.rule == link.rule
                    && (ends == (link.from, link.to) && limit.low == Some(link.at_least)
                        || ends == (link.to, link.from) && limit.high == Some(-link.at_least))
            });
            assert!(given, "{link:?} is not in {limits:?}");
        }
        let begins: BTreeSet<usize> = links.iter().map(|link| link.from).collect();
        assert_eq!(begins.len(), links.len(), "no point is passed twice: {contradiction:?}");
        assert_eq!(contradiction.short_by, links.iter().map(|link| link.at_least).sum::<i64>());
        assert!(contradiction.short_by > 0);

        let set = contradiction.rules().iter().fold(0_usize, |set, rule| set | 1 << rule);
        assert_eq!(set.count_ones() as usize, contradiction.rules().len());
        assert_eq!(set & taken_out, 0, "sets share no rule: {contradictions:?}");
        assert!(!feasible(points, limits, |rule| set >> rule & 1 == 1));
        for smaller in (0..1_usize << rules)
            .filter(|other| other & taken_out == 0 && other.count_ones() < set.count_ones())
        {
            assert!(
                feasible(points, limits, |rule| smaller >> rule & 1 == 1),
                "{smaller:b} is smaller than {contradiction:?} in {limits:?}"
            );
        }
        taken_out |= set;
    }
    let facts_only = contradictions[0].rules().is_empty();
    if facts_only {
        assert_eq!(contradictions.len(), 1);
    } else {
        assert!(feasible(points, limits, |rule| taken_out >> rule & 1 == 0));
    }
    contradictions[0].rules().len()
}

#[test]
fn small_networks_against_enumeration() {
    let mut random = Random(0x9e37_79b9_7f4a_7c15);
    let mut sizes = [0; 7];
    let mut consistent = 0;
    for _ in 0..10_000 {
        let points = 2 + random.index(3);
        let rules = 1 + random.index(6);
        let width = random.between(0, BOUND);
        let mut limits = Vec::new();
        for rule in 0..rules {
            for _ in 0..1 + random.index(2) {
                limits.push(random_limit(&mut random, points, BOUND, width, Some(rule)));
            }
        }
        while random.chance(30) {
            limits.push(random_limit(&mut random, points, BOUND, BOUND, None));
        }
        match least_by_enumeration(points, &limits) {
            Some(expected) => {
                consistent += 1;
                assert!(network(points, &limits).contradictions().is_empty());
                let minimal = network(points, &limits).solve().unwrap();
                for (a, b) in all_pairs(points) {
                    assert_eq!(minimal.least(a, b), expected[a][b], "{a} to {b} in {limits:?}");
                    assert_eq!(minimal.most(b, a), expected[a][b].map(|least| -least));
                }
            }
            None => sizes[check_contradictions(points, rules, &limits)] += 1,
        }
    }
    // The networks must not all be of one kind.
    assert!(consistent > 1000, "{consistent} consistent");
    assert!(sizes[..4].iter().all(|&count| count > 100), "sizes of contradictions: {sizes:?}");
}

/// Rules of a single limit to one side each: with four points these give contradictions of up to
/// four rules.
#[test]
fn large_contradictions_against_enumeration() {
    let mut random = Random(0xd1b5_4a32_d192_ed03);
    let mut sizes = [0; 9];
    for _ in 0..3000 {
        let limits: Vec<Limit> = (0..8)
            .map(|rule| {
                let mut limit = random_limit(&mut random, 4, BOUND, 0, Some(rule));
                limit.low = Some(random.between(-1, 1));
                limit.high = None;
                limit
            })
            .collect();
        if !feasible(4, &limits, |_| true) {
            sizes[check_contradictions(4, 8, &limits)] += 1;
        }
    }
    assert!(sizes[2..5].iter().all(|&count| count > 20), "sizes of contradictions: {sizes:?}");
}

/// Rules of several limits over seven to nine points, where the walk with the fewest uses of rules
/// need not be the one with the fewest rules: every subset is solved in turn.
#[test]
fn repeated_rules_against_all_subsets() {
    let mut random = Random(0xa076_1d64_78bd_642f);
    let mut with_repetition = 0;
    for _ in 0..3000 {
        let points = 7 + random.index(3);
        let rules = 3 + random.index(4);
        let mut limits = Vec::new();
        for rule in 0..rules {
            let count = 2 + random.index(2);
            for _ in 0..count {
                let mut limit = random_limit(&mut random, points, 1, 0, Some(rule));
                // Short steps one way round, so that it takes many of them to come back.
                limit.to = (limit.from + 1 + random.index(2)) % points;
                limit.low = Some(random.between(0, 1));
                limit.high = None;
                limits.push(limit);
            }
        }
        let subset = |set: usize| {
            let chosen: Vec<Limit> = limits
                .iter()
                .filter(|limit| limit.rule.is_none_or(|rule| set >> rule & 1 == 1))
                .copied()
                .collect();
            network(points, &chosen)
        };
        let smallest = (0..1_usize << rules)
            .filter(|&set| subset(set).solve().is_err())
            .map(|set| set.count_ones() as usize)
            .min();
        let contradictions = network(points, &limits).contradictions();
        assert_eq!(contradictions.first().map(|first| first.rules().len()), smallest);
        if let Some(first) = contradictions.first() {
            let mut runs: Vec<Option<usize>> = first.links.iter().map(|link| link.rule).collect();
            runs.dedup();
            if runs.len() > 1 && runs.first() == runs.last() {
                runs.pop();
            }
            with_repetition += usize::from(runs.len() > first.rules().len());
        }
    }
    assert!(with_repetition > 100, "{with_repetition} contradictions use a rule twice");
}

/// Two rules that are each used twice are fewer than three rules used once.
#[test]
fn a_rule_counts_once_however_often_it_is_used() {
    let mut network = Network::new(7);
    network.limit(4, 5, Some(1), None, Some(10));
    network.limit(5, 6, Some(0), None, Some(11));
    network.limit(6, 4, Some(0), None, Some(12));
    for (from, to, rule) in [(0, 1, 20), (1, 2, 30), (2, 3, 20), (3, 0, 30)] {
        network.limit(from, to, Some(i64::from(rule == 20)), None, Some(rule));
    }
    let rules: Vec<Vec<usize>> =
        network.contradictions().iter().map(|contradiction| contradiction.rules()).collect();
    assert_eq!(rules, [vec![20, 30], vec![10, 11, 12]]);
}

#[test]
fn facts_and_single_rules_can_contradict_themselves() {
    let mut network = Network::new(3);
    network.limit(0, 1, Some(3), None, Some(4));
    network.limit(0, 1, None, Some(2), Some(4));
    network.limit(2, 2, Some(1), None, Some(7));
    let contradictions = network.contradictions();
    assert_eq!(contradictions.len(), 2);
    assert_eq!((contradictions[0].rules(), contradictions[0].short_by), (vec![4], 1));
    assert_eq!((contradictions[1].rules(), contradictions[1].short_by), (vec![7], 1));

    network.limit(1, 2, Some(5), Some(4), None);
    let contradictions = network.contradictions();
    assert_eq!(contradictions.len(), 1);
    assert!(contradictions[0].rules().is_empty());
    assert_eq!(contradictions[0].links.len(), 2);
}

/// The least `t[to] - t[from]` by linear programming.
fn least_by_programming(
    points: usize,
    limits: &[Limit],
    from: usize,
    to: usize,
) -> Result<f64, Error> {
    let mut problem = Problem::new(OptimizationDirection::Minimize);
    let variables: Vec<_> = (0..points)
        .map(|point| {
            let weight = f64::from(i8::from(point == to) - i8::from(point == from));
            // Only differences count: that the first point is at 0 excludes no solution.
            let range = if point == 0 { 0.0 } else { f64::INFINITY };
            problem.add_var(weight, (-range, range))
        })
        .collect();
    for limit in limits {
        let mut difference = LinearExpr::empty();
        difference.add(variables[limit.to], 1.0);
        difference.add(variables[limit.from], -1.0);
        if let Some(low) = limit.low {
            problem.add_constraint(difference.clone(), ComparisonOp::Ge, low as f64);
        }
        if let Some(high) = limit.high {
            problem.add_constraint(difference, ComparisonOp::Le, high as f64);
        }
    }
    Ok(problem.solve()?.into_solution().unwrap().objective())
}

#[test]
fn larger_networks_against_linear_programming() {
    let mut random = Random(0x2545_f491_4f6c_dd1d);
    let mut kinds = [0; 3];
    for round in 0..400 {
        let points = 5 + random.index(8);
        let count = points + random.index(2 * points);
        let limits: Vec<Limit> = if round % 2 == 0 {
            consistent_limits(&mut random, points, count)
        } else {
            (0..count).map(|rule| random_limit(&mut random, points, 500, 600, Some(rule))).collect()
        };
        let solved = network(points, &limits).solve();
        for _ in 0..4 {
            let from = random.index(points);
            let to = (from + 1 + random.index(points - 1)) % points;
            for (a, b) in [(from, to), (to, from)] {
                let expected = least_by_programming(points, &limits, a, b);
                let found =
                    solved.as_ref().map(|minimal| (minimal.least(a, b), minimal.most(b, a)));
                match (&expected, found) {
                    (Err(Error::Infeasible), Err(_)) => kinds[0] += 1,
                    (Err(Error::Unbounded), Ok((None, None))) => kinds[1] += 1,
                    (Ok(expected), Ok((Some(least), Some(most)))) => {
                        assert_eq!(least, -most);
                        assert!((expected - least as f64).abs() < 1e-6, "{expected}, {least}");
                        kinds[2] += 1;
                    }
                    _ => panic!("{expected:?}, but {found:?} from {a} to {b} in {limits:?}"),
                }
            }
        }
    }
    assert!(kinds.iter().all(|&count| count > 200), "infeasible, unlimited, limited: {kinds:?}");
}

fn satisfies(times: &[i64], limit: &Limit) -> bool {
    let difference = times[limit.to] - times[limit.from];
    limit.low.is_none_or(|low| low <= difference)
        && limit.high.is_none_or(|high| difference <= high)
}

/// Sums up the reasons for all pairs, and follows them from end to end.
fn check_reasons(points: usize, minimal: &Minimal) {
    for (a, b) in all_pairs(points) {
        let why = minimal.why_least(a, b);
        match minimal.least(a, b) {
            Some(least) if a != b => {
                assert_eq!(why.iter().map(|link| link.at_least).sum::<i64>(), least);
                assert_eq!((why[0].from, why[why.len() - 1].to), (a, b));
                assert!(why.windows(2).all(|pair| pair[0].to == pair[1].from), "{why:?}");
            }
            _ => assert!(why.is_empty(), "{why:?}"),
        }
    }
}

/// A minimal network is decomposable: any values within the limits can be completed to a solution.
#[test]
fn points_fixed_one_by_one_end_in_a_solution() {
    let mut random = Random(0x1234_5678_9abc_def1);
    for _ in 0..500 {
        let points = 2 + random.index(11);
        let count = random.index(3 * points);
        let mut limits = consistent_limits(&mut random, points, count);
        let mut minimal = network(points, &limits).solve().unwrap();
        for point in 1..points {
            // From any of the points that have their places already.
            let from = random.index(point);
            let least = minimal.least(from, point);
            let most = minimal.most(from, point);
            if let Some(least) = least {
                assert!(!minimal.fix(from, point, least - 1));
            }
            if let Some(most) = most {
                assert!(!minimal.fix(from, point, most + 1));
            }
            assert_eq!((minimal.least(from, point), minimal.most(from, point)), (least, most));
            let low = least.unwrap_or(most.unwrap_or(0) - 100);
            let ticks = random.between(low, most.unwrap_or(low + 100));
            assert!(minimal.fix(from, point, ticks));
            let (low, high) = (Some(ticks), Some(ticks));
            limits.push(Limit { from, to: point, low, high, rule: None });
            // Narrowed step by step, it is the same as solved anew.
            let anew = network(points, &limits).solve().unwrap();
            for (a, b) in all_pairs(points) {
                assert_eq!(minimal.least(a, b), anew.least(a, b));
            }
        }
        check_reasons(points, &minimal);
        let times: Vec<i64> = (0..points).map(|point| minimal.least(0, point).unwrap()).collect();
        for limit in &limits {
            assert!(satisfies(&times, limit), "{times:?} does not satisfy {limit:?}");
        }
        for (a, b) in all_pairs(points) {
            assert_eq!(minimal.most(a, b), Some(times[b] - times[a]));
        }
    }
}

#[test]
fn what_is_too_large_to_fix_is_refused() {
    let mut minimal = Network::new(2).solve().unwrap();
    assert!(!minimal.fix(0, 1, i64::MIN));
    assert!(!minimal.fix(0, 1, Network::LARGEST + 1));
    assert_eq!(minimal.most(0, 1), None);
    assert!(minimal.fix(0, 1, Network::LARGEST));
    assert_eq!(minimal.least(0, 1), Some(Network::LARGEST));
}

#[test]
fn a_network_without_points_is_consistent() {
    let network = Network::new(0);
    assert!(network.contradictions().is_empty());
    assert!(network.solve().unwrap().order().is_empty());
}

/// The largest limits in the largest network, each point after the one before it.
#[test]
fn largest_limits_do_not_overflow() {
    let points = Network::MOST_POINTS;
    let mut network = Network::new(points);
    for point in 1..points {
        network.limit(point - 1, point, Some(Network::LARGEST), None, Some(0));
    }
    let minimal = network.solve().unwrap();
    let whole = (points as i64 - 1) * Network::LARGEST;
    assert_eq!(minimal.least(0, points - 1), Some(whole));
    assert_eq!(minimal.most(0, points - 1), None);

    network.limit(points - 1, 0, Some(Network::LARGEST), None, Some(1));
    let contradiction = network.solve().unwrap_err();
    assert_eq!(contradiction.rules(), [0, 1]);
    assert_eq!(contradiction.short_by, whole + Network::LARGEST);
}

#[test]
fn order_is_the_reduction_of_precedes() {
    let mut random = Random(0x0123_4567_89ab_cdef);
    let mut left_out = 0;
    for _ in 0..500 {
        let points = 2 + random.index(11);
        let count = points + random.index(2 * points);
        let mut limits = consistent_limits(&mut random, points, count);
        // Some points that are simultaneous with others.
        let pair = random_limit(&mut random, points, 0, 0, None);
        limits.push(Limit { low: Some(0), high: Some(0), ..pair });
        let Ok(minimal) = network(points, &limits).solve() else { continue };
        let lowest = |point: usize| (0..=point).find(|&p| minimal.together(p, point)).unwrap();
        let order = minimal.order();
        assert!(order.iter().all(|&(a, b)| lowest(a) == a && lowest(b) == b));

        let closure = |pairs: &[(usize, usize)]| {
            let mut reached = vec![vec![false; points]; points];
            for &(a, b) in pairs {
                reached[a][b] = true;
            }
            for via in 0..points {
                for (a, b) in all_pairs(points) {
                    reached[a][b] |= reached[a][via] && reached[via][b];
                }
            }
            reached
        };
        let whole = closure(&order);
        for (a, b) in all_pairs(points) {
            assert_eq!(whole[lowest(a)][lowest(b)], minimal.precedes(a, b), "{a}, {b}");
        }
        // No pair can be left out.
        for (index, &(a, b)) in order.iter().enumerate() {
            let mut rest = order.clone();
            rest.remove(index);
            assert!(!closure(&rest)[a][b], "({a}, {b}) follows from the rest of {order:?}");
        }
        left_out +=
            all_pairs(points).filter(|&(a, b)| minimal.precedes(a, b)).count() - order.len();
    }
    assert!(left_out > 1000, "{left_out} pairs left out");
}

#[test]
fn reasons_add_up_to_the_least_difference() {
    let mut random = Random(0xfedc_ba98_7654_3210);
    for _ in 0..500 {
        let points = 2 + random.index(11);
        let count = random.index(4 * points);
        let limits = consistent_limits(&mut random, points, count);
        check_reasons(points, &network(points, &limits).solve().unwrap());
    }
    // The shorter of two reasons that are equally good.
    let mut network = Network::new(3);
    network.limit(0, 1, Some(1), None, Some(0));
    network.limit(1, 2, Some(1), None, Some(1));
    network.limit(0, 2, Some(2), None, Some(2));
    let why = network.solve().unwrap().why_least(0, 2);
    assert_eq!(why, [Link { from: 0, to: 2, at_least: 2, rule: Some(2) }]);
}
