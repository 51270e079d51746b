//! What is found in one beat makes it likelier in the others.

use crate::chain::{Place, Solution};
use crate::costs::Costs;

/// A place's landmark, its beat, and whether it is fully shown.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Seen<'a> {
    pub(crate) name: &'a str,
    pub(crate) beat: i32,
    pub(crate) shown: bool,
    /// Whether it comes at the same time in every beat.
    pub(crate) steady: bool,
}

/// How likely it is at least that a beat differs from another, and that what is there in one is
/// absent from the other.
const LEAST: f64 = 0.02;
const EITHER: f64 = 0.2;

/// Adds what it costs that a candidate lies elsewhere than those of the other beats.
pub(crate) fn agreed(
    places: &[Place],
    solution: &Solution,
    costs: &Costs,
    seen: &[Seen<'_>],
    offset_s: &dyn Fn(usize, usize) -> f64,
) -> Vec<Place> {
    let mut all = places.to_vec();
    if costs.beats <= 0.0 {
        return all;
    }
    for (k, place) in all.iter_mut().enumerate().filter(|(k, _)| seen[*k].steady) {
        let others: Vec<usize> = (0..places.len())
            .filter(|&j| j != k && seen[j].shown && seen[j].name == seen[k].name)
            .filter(|&j| (seen[j].beat - seen[k].beat).abs() <= 2)
            .collect();
        for &j in &others {
            let shares = &solution.shares[j];
            let present: f64 = shares.iter().sum::<f64>().min(1.0);
            let weight = costs.beats / others.len() as f64;
            let message = |m: f64| -weight * libm::log(LEAST + m);
            for (c, candidate) in place.candidates.iter_mut().enumerate() {
                let own = offset_s(k, c);
                let near: f64 = shares
                    .iter()
                    .enumerate()
                    .map(|(d, share)| {
                        let off = (offset_s(j, d) - own) / costs.beats_s;
                        share / (1.0 + off * off)
                    })
                    .sum();
                candidate.cost += message(near + EITHER * (1.0 - present));
            }
            place.absent += message((1.0 - present) + EITHER * present);
        }
    }
    all
}
