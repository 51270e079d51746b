//! Assigning candidates to places in a fixed order, as the best consistent whole.

/// A place in the order, which takes one candidate or none.
#[derive(Clone, Debug, Default)]
pub(crate) struct Place {
    /// What it costs to leave it empty.
    pub(crate) absent: f64,
    /// Candidates and what each costs by itself.
    pub(crate) candidates: Vec<Candidate>,
}

/// A candidate for a place.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Candidate {
    /// Its number among the curve's features, which are in the order of time.
    pub(crate) feature: usize,
    pub(crate) cost: f64,
}

/// What was decided.
#[derive(Clone, Debug, Default)]
pub(crate) struct Solution {
    /// For each place the candidate chosen in the cheapest assignment.
    pub(crate) chosen: Vec<Option<usize>>,
    /// For each place and candidate its probability over all assignments.
    pub(crate) shares: Vec<Vec<f64>>,
    /// What the cheapest assignment costs.
    pub(crate) cost: f64,
}

/// A place by its number, and the feature in it; none for the curve's beginning or end.
pub(crate) type Seat = Option<(usize, usize)>;

/// So many places in a row may stay empty.
const SKIP: usize = 14;

/// The cheapest assignment, and how likely each candidate is where an assignment's weight is the
/// exponential of minus its cost (forward and backward sums, as for hidden Markov models;
/// Rabiner, Proc IEEE 1989;77:257–286).
///
/// `pair` says what it costs that one candidate follows another, with nothing between them;
/// `None` stands for the curve's end. Candidates follow in the order of their features; whether
/// one feature may stand in two places is for `pair` to forbid with an infinite cost.
pub(crate) fn solve(places: &[Place], pair: &dyn Fn(Seat, Seat) -> f64) -> Solution {
    let empty: Vec<f64> = std::iter::once(0.0)
        .chain(places.iter().scan(0.0, |sum, place| {
            *sum += place.absent;
            Some(*sum)
        }))
        .collect();
    let skipped = |from: usize, to: usize| empty[to] - empty[from];
    let count = places.len();
    let links = links(places, pair, &skipped);
    let end = |k: usize, c: usize| {
        pair(Some((k, places[k].candidates[c].feature)), None) + skipped(k + 1, count)
    };

    let mut best: Vec<Vec<(f64, Option<usize>)>> = Vec::with_capacity(count);
    let mut forward: Vec<Vec<f64>> = Vec::with_capacity(count);
    for (k, incoming) in links.iter().enumerate() {
        let mut row = Vec::new();
        let mut sums = Vec::new();
        for (c, candidate) in places[k].candidates.iter().enumerate() {
            let feature = candidate.feature;
            let start = pair(None, Some((k, feature))) + skipped(0, k);
            let mut cheapest = (start + candidate.cost, None);
            let mut terms = vec![-start - candidate.cost];
            for (at, link) in incoming[c].iter().enumerate() {
                let cost = link.cost + candidate.cost;
                let total = best[link.place][link.candidate].0 + cost;
                if total < cheapest.0 {
                    cheapest = (total, Some(at));
                }
                terms.push(forward[link.place][link.candidate] - cost);
            }
            row.push(cheapest);
            sums.push(log_sum(&terms));
        }
        best.push(row);
        forward.push(sums);
    }

    let mut backward: Vec<Vec<f64>> =
        places.iter().map(|place| vec![f64::NEG_INFINITY; place.candidates.len()]).collect();
    for k in (0..count).rev() {
        for c in 0..places[k].candidates.len() {
            backward[k][c] = log_sum(&[backward[k][c], -end(k, c)]);
            for link in &links[k][c] {
                let term = backward[k][c] - link.cost - places[k].candidates[c].cost;
                let sum = &mut backward[link.place][link.candidate];
                *sum = log_sum(&[*sum, term]);
            }
        }
    }

    let nothing = skipped(0, count) + pair(None, None);
    let mut ends = vec![-nothing];
    let mut last = (nothing, None);
    for (k, row) in best.iter().enumerate() {
        for (c, (cost, _)) in row.iter().enumerate() {
            ends.push(forward[k][c] - end(k, c));
            if cost + end(k, c) < last.0 {
                last = (cost + end(k, c), Some((k, c)));
            }
        }
    }
    let total = log_sum(&ends);
    let mut chosen = vec![None; count];
    let mut at = last.1;
    while let Some((k, c)) = at {
        chosen[k] = Some(c);
        at = best[k][c].1.map(|link| (links[k][c][link].place, links[k][c][link].candidate));
    }
    let share = |k: usize, c: usize| libm::exp(forward[k][c] + backward[k][c] - total).min(1.0);
    let shares = (0..count).map(|k| (0..forward[k].len()).map(|c| share(k, c)).collect()).collect();
    Solution { chosen, shares, cost: last.0 }
}

/// What a candidate may follow, and what that costs with the empty places between.
struct Link {
    place: usize,
    candidate: usize,
    cost: f64,
}

fn links(
    places: &[Place],
    pair: &dyn Fn(Seat, Seat) -> f64,
    skipped: &dyn Fn(usize, usize) -> f64,
) -> Vec<Vec<Vec<Link>>> {
    let into = |k: usize, feature: usize| {
        let mut found = Vec::new();
        for (j, place) in places.iter().enumerate().take(k).skip(k.saturating_sub(SKIP)) {
            for (candidate, other) in place.candidates.iter().enumerate() {
                if other.feature > feature {
                    continue;
                }
                let cost = pair(Some((j, other.feature)), Some((k, feature))) + skipped(j + 1, k);
                if cost.is_finite() {
                    found.push(Link { place: j, candidate, cost });
                }
            }
        }
        found
    };
    let row = |k: usize| places[k].candidates.iter().map(|c| into(k, c.feature)).collect();
    (0..places.len()).map(row).collect()
}

fn log_sum(terms: &[f64]) -> f64 {
    let top = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY {
        return top;
    }
    top + libm::log(terms.iter().map(|term| libm::exp(term - top)).sum())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(absent: f64, candidates: &[(usize, f64)]) -> Place {
        let candidates = candidates.iter().map(|&(feature, cost)| Candidate { feature, cost });
        Place { absent, candidates: candidates.collect() }
    }

    fn apart(a: Seat, b: Seat, cost: f64) -> f64 {
        match (a, b) {
            (Some(a), Some(b)) if a.1 == b.1 => f64::INFINITY,
            (Some(_), Some(_)) => cost,
            _ => 0.0,
        }
    }

    #[test]
    fn the_whole_counts_and_not_the_first_that_fits() {
        // Taking the cheapest for the first place leaves none for the second.
        let places = [place(3.0, &[(0, 1.0), (2, 0.5)]), place(3.0, &[(1, 0.5)])];
        let solution = solve(&places, &|a, b| apart(a, b, 0.0));
        assert_eq!(solution.chosen, [Some(0), Some(0)]);
    }

    #[test]
    fn probabilities_are_those_of_all_assignments_written_out() {
        let places = [place(1.0, &[(0, 0.2), (1, 0.4)]), place(0.5, &[(1, 0.1), (2, 0.9)])];
        let solution = solve(&places, &|a, b| apart(a, b, 0.3));
        let weight = |cost: f64| libm::exp(-cost);
        let (none, one, two) = (1.5, [0.7, 0.9], [1.1, 1.9]);
        let both = [0.2 + 0.1 + 0.3, 0.2 + 0.9 + 0.3, 0.4 + 0.9 + 0.3];
        let all: f64 = [none, one[0], one[1], two[0], two[1]].into_iter().map(weight).sum::<f64>()
            + both.into_iter().map(weight).sum::<f64>();
        let first = weight(one[0]) + weight(both[0]) + weight(both[1]);
        let last = weight(two[1]) + weight(both[1]) + weight(both[2]);
        assert!((solution.shares[0][0] - first / all).abs() < 1e-12);
        assert!((solution.shares[1][1] - last / all).abs() < 1e-12);
    }
}
