//! Running the circulation through a group of beats, and finding its steady state.

use crate::circulation::{Circulation, Drive, STATES, State, VOLUMES, at};
use crate::schedule::{Schedule, VentricularBeat};
use crate::timing::{self, ATRIAL_DELAY_S, Contraction, ECTOPIC_DELAY_S, lv_delay_s, rv_delay_s};
use crate::{Heart, HeartError};
use serde::Serialize;

/// Longest step of the integration, and of the traces that come out.
const STEP_S: f64 = 0.001;

/// Largest difference between the state at the end of a group of beats and at its start that
/// counts as steady, for each beat of the group: mL for volumes, mL/s for flows.
const STEADY: f64 = 1e-5;

/// Passes through the group of beats before the search for a steady state is given up.
const MOST_PASSES: usize = 400;

/// A heart made ready to run: its circulation and how hard each chamber contracts when.
#[derive(Clone, Debug)]
pub(crate) struct Run {
    pub(crate) circulation: Circulation,
    pub(crate) schedule: Schedule,
    pub(crate) steps: usize,
    pub(crate) step_s: f64,
    /// At each half step, the last the same as the first.
    drives: Vec<Drive>,
}

impl Run {
    pub(crate) fn new(heart: &Heart) -> Self {
        Self::with_step(heart, STEP_S)
    }

    /// A run whose steps are no longer than `longest_s`.
    fn with_step(heart: &Heart, longest_s: f64) -> Self {
        let schedule = Schedule::new(heart);
        let steps = (schedule.period_s / longest_s).ceil() as usize;
        let step_s = schedule.period_s / steps as f64;
        let drives = Drives::new(heart, &schedule).table(2 * steps);
        Self { circulation: Circulation::new(&heart.parameters), schedule, steps, step_s, drives }
    }

    /// How hard each chamber contracts at the beginning of step `step`.
    pub(crate) fn drive(&self, step: usize) -> &Drive {
        &self.drives[2 * step]
    }

    /// One step of the classical fourth-order Runge–Kutta method.
    ///
    /// All contractions are known beforehand, so with fixed steps they are tabulated once for all
    /// passes, and a pass is a smooth map that the search for the steady state can follow to
    /// 1e-5; a method that chooses its steps changes them from pass to pass. `cargo xtask bench`
    /// compares time and error with a library's integrators.
    fn step(&self, step: usize, y: &State) -> State {
        let (h, circulation) = (self.step_s, &self.circulation);
        let [start, middle, end] = [0, 1, 2].map(|half| &self.drives[2 * step + half]);
        let moved = |k: &State, by: f64| -> State { std::array::from_fn(|i| y[i] + by * k[i]) };
        let filling = circulation.filling(y);
        let change = |y: &State, drive: &Drive| circulation.change_near(&filling, y, drive).0;
        let k1 = change(y, start);
        let k2 = change(&moved(&k1, h / 2.0), middle);
        let k3 = change(&moved(&k2, h / 2.0), middle);
        let k4 = change(&moved(&k3, h), end);
        std::array::from_fn(|i| y[i] + h / 6.0 * (k1[i] + 2.0 * (k2[i] + k3[i]) + k4[i]))
    }

    /// The state at the beginning of each step of one pass through the group of beats, and at its
    /// end.
    pub(crate) fn pass(&self, start: &State, states: &mut Vec<State>) -> State {
        states.clear();
        let mut state = *start;
        for step in 0..self.steps {
            states.push(state);
            state = self.step(step, &state);
        }
        states.push(state);
        state
    }

    /// The states of the pass that ends as it begins, to within [`STEADY`] for each beat: one for
    /// the beginning of each step, and one for the end.
    ///
    /// # Errors
    /// [`HeartError::NoSteadyState`] where none is found or it is no circulation.
    pub(crate) fn steady(&self, heart: &Heart) -> Result<Vec<State>, HeartError> {
        let mut states = Vec::with_capacity(self.steps + 1);
        let steady = STEADY * self.schedule.ventricular.len() as f64;
        let mut search = Search::default();
        let mut state = self.circulation.start();
        for _ in 0..MOST_PASSES {
            let after = self.pass(&state, &mut states);
            if !after.iter().all(|x| x.is_finite()) {
                return Err(unsettled(heart, "its pressures grow without bound"));
            }
            let change: State = std::array::from_fn(|i| after[i] - state[i]);
            if change.iter().all(|x| x.abs() < steady) {
                return self.viable(&after).then_some(states).ok_or_else(|| {
                    unsettled(
                        heart,
                        "too little pressure is left in the arteries to keep blood moving",
                    )
                });
            }
            state = self.allowed(search.next(&state, &change), &after);
        }
        Err(unsettled(heart, "no two passes through its beats become alike"))
    }

    /// An extrapolated state, unless it is one that no circulation can be in.
    fn allowed(&self, proposed: State, otherwise: &State) -> State {
        let possible = proposed[..VOLUMES]
            .iter()
            .all(|&volume| volume > 0.0 && volume < 2.0 * self.circulation.moving_volume)
            && proposed[at::LEAFLETS..].iter().all(|leaflet| (-0.2..1.2).contains(leaflet));
        if possible { proposed } else { *otherwise }
    }

    /// Whether blood still moves: no volume has run out and the aorta holds 20 mmHg.
    fn viable(&self, state: &State) -> bool {
        let aorta = self.circulation.pressures(state, self.drive(0)).of[at::ROOT];
        state[..VOLUMES].iter().all(|&volume| volume > 0.0) && aorta > 20.0
    }
}

/// Names the parameter that lies furthest from normal, for it is what to change.
fn unsettled(heart: &Heart, what: &str) -> HeartError {
    let default = crate::Parameters::default();
    let furthest = crate::PARAMETERS.iter().filter_map(|parameter| {
        let (value, normal) = (heart.parameters.get(parameter.name)?, default.get(parameter.name)?);
        let span = if value > normal { parameter.high - normal } else { normal - parameter.low };
        (value != normal).then(|| ((value - normal).abs() / span, parameter.name, value, normal))
    });
    let hint = match furthest.max_by(|a, b| a.0.total_cmp(&b.0)) {
        Some((_, name, value, normal)) => format!("bring {name} = {value} nearer to {normal}"),
        None => "choose another rhythm".to_owned(),
    };
    HeartError::NoSteadyState { reason: format!("{what}; {hint}") }
}

/// When and how hard each chamber contracts, at any time.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Drives {
    period_s: f64,
    /// Onset and course of each contraction, those of the periods before and after included.
    lv: Vec<(f64, Contraction)>,
    rv: Vec<(f64, Contraction)>,
    /// Onsets of the atrial contractions, and their common length.
    atria: Vec<f64>,
    atrial_length_s: f64,
    breath_s: Option<f64>,
    depth_mmhg: f64,
}

impl Drives {
    pub(crate) fn new(heart: &Heart, schedule: &Schedule) -> Self {
        let p = &heart.parameters;
        let late_s =
            |beat: &VentricularBeat| beat.qrs_s + if beat.ectopic { ECTOPIC_DELAY_S } else { 0.0 };
        let lv = schedule.ventricular.iter().map(|beat| {
            (
                late_s(beat) + lv_delay_s(beat.rate_bpm),
                Contraction::left(beat.rate_bpm, p.lv_relaxation),
            )
        });
        let rv = schedule.ventricular.iter().map(|beat| {
            let chest_mmhg = chest(schedule.breath_s, p.respiration_depth_mmhg, beat.qrs_s);
            (
                late_s(beat) + rv_delay_s(beat.rate_bpm),
                Contraction::right(beat.rate_bpm, chest_mmhg),
            )
        });
        // A contraction may begin in the period before, or outlast this one.
        let turns = [-1.0, 0.0, 1.0].map(|turn| turn * schedule.period_s);
        let with_neighbours =
            |(onset_s, course): (f64, Contraction)| turns.map(|by_s| (onset_s + by_s, course));
        let atria = schedule
            .atrial
            .iter()
            .flat_map(|beat| turns.map(|by_s| beat.p_s + ATRIAL_DELAY_S + by_s));
        Self {
            period_s: schedule.period_s,
            lv: lv.flat_map(with_neighbours).collect(),
            rv: rv.flat_map(with_neighbours).collect(),
            atria: atria.collect(),
            atrial_length_s: timing::atrial_length_s(p.rate_bpm),
            breath_s: schedule.breath_s,
            depth_mmhg: p.respiration_depth_mmhg,
        }
    }

    /// The drive at a time from 0 to the period.
    pub(crate) fn at(&self, t_s: f64) -> Drive {
        let strongest = |contractions: &[(f64, Contraction)]| {
            contractions
                .iter()
                .map(|(onset_s, course)| course.at(t_s - onset_s))
                .fold(0.0, f64::max)
        };
        Drive { lv: strongest(&self.lv), rv: strongest(&self.rv), ..self.without_ventricles(t_s) }
    }

    fn without_ventricles(&self, t_s: f64) -> Drive {
        let atria =
            self.atria.iter().map(|onset_s| timing::atrial(t_s - onset_s, self.atrial_length_s));
        Drive {
            atria: atria.fold(0.0, f64::max),
            chest: chest(self.breath_s, self.depth_mmhg, t_s),
            ..Drive::default()
        }
    }

    /// The drive at `count` equal parts of the period, and at its end: as [`Drives::at`], but each
    /// contraction is asked only while it lasts.
    fn table(&self, count: usize) -> Vec<Drive> {
        let part_s = self.period_s / count as f64;
        let time_s = |index: usize| index as f64 * self.period_s / count as f64;
        let mut table: Vec<Drive> =
            (0..count).map(|index| self.without_ventricles(time_s(index))).collect();
        let mut contract = |contractions: &[(f64, Contraction)], of: fn(&mut Drive) -> &mut f64| {
            for (onset_s, course) in contractions {
                let place = |t_s: f64| (t_s / part_s).clamp(0.0, count as f64) as usize;
                let lasting = place(*onset_s)..place(onset_s + course.lasts_s() + part_s);
                for index in lasting {
                    let drive = of(&mut table[index]);
                    *drive = drive.max(course.at(time_s(index) - onset_s));
                }
            }
        };
        contract(&self.lv, |drive| &mut drive.lv);
        contract(&self.rv, |drive| &mut drive.rv);
        // The last entry is the first again, to the bit, so that the period closes.
        table.extend(table.first().copied());
        table
    }
}

/// Pressure in the chest against its mean: inspiration, the first half of the breath, lowers it.
fn chest(breath_s: Option<f64>, depth_mmhg: f64, t_s: f64) -> f64 {
    breath_s.map_or(0.0, |breath_s| {
        -0.5 * depth_mmhg * libm::sin(2.0 * std::f64::consts::PI * (t_s / breath_s))
    })
}

/// Anderson's acceleration of the fixed-point iteration (Anderson, J ACM 1965;12:547; in the
/// least-squares form of Walker & Ni, SIAM J Numer Anal 2011;49:1715): the next state is the
/// combination of the last few whose changes cancel best.
#[derive(Debug, Default)]
struct Search {
    /// Differences of successive states and of successive changes, newest last.
    states: Vec<State>,
    changes: Vec<State>,
    last: Option<(State, State)>,
}

/// How many earlier states are combined.
const MEMORY: usize = 8;

impl Search {
    /// The next state to try, from a state and how one pass changes it.
    fn next(&mut self, state: &State, change: &State) -> State {
        if let Some((last_state, last_change)) = self.last.replace((*state, *change)) {
            if self.states.len() == MEMORY {
                self.states.remove(0);
                self.changes.remove(0);
            }
            self.states.push(std::array::from_fn(|i| state[i] - last_state[i]));
            self.changes.push(std::array::from_fn(|i| change[i] - last_change[i]));
        }
        let weights = least_squares(&self.changes, change);
        std::array::from_fn(|i| {
            let correction: f64 = weights
                .iter()
                .zip(self.states.iter().zip(&self.changes))
                .map(|(w, (s, c))| w * (s[i] + c[i]))
                .sum();
            state[i] + change[i] - correction
        })
    }
}

/// Weights with which `columns` add up nearest to `target`, by modified Gram–Schmidt; a column
/// that adds nothing new gets weight 0.
fn least_squares(columns: &[State], target: &State) -> Vec<f64> {
    let dot = |a: &State, b: &State| -> f64 { (0..STATES).map(|i| a[i] * b[i]).sum() };
    let count = columns.len();
    let mut basis: Vec<State> = Vec::with_capacity(count);
    let mut triangle = vec![vec![0.0; count]; count];
    for (j, column) in columns.iter().enumerate() {
        let mut rest = *column;
        for (i, direction) in basis.iter().enumerate() {
            triangle[i][j] = dot(direction, &rest);
            rest = std::array::from_fn(|k| rest[k] - triangle[i][j] * direction[k]);
        }
        let norm = dot(&rest, &rest).sqrt();
        let new = norm > 1e-9 * dot(column, column).sqrt();
        triangle[j][j] = if new { norm } else { 0.0 };
        basis.push(if new { rest.map(|x| x / norm) } else { [0.0; STATES] });
    }
    let mut weights = vec![0.0; count];
    for j in (0..count).rev() {
        if triangle[j][j] > 0.0 {
            let known: f64 = (j + 1..count).map(|k| triangle[j][k] * weights[k]).sum();
            weights[j] = (dot(&basis[j], target) - known) / triangle[j][j];
        }
    }
    weights
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circulation::AORTIC;

    /// Mean aortic pressure, stroke volume, and when the aortic valve's flow ends, in the steady state.
    fn outcome(step_s: f64) -> [f64; 3] {
        let heart = Heart::default();
        let run = Run::with_step(&heart, step_s);
        let mut states = run.steady(&heart).unwrap();
        states.pop();
        let flow = |state: &State| state[at::VALVE_FLOWS + AORTIC];
        let pressure =
            |step: usize| run.circulation.pressures(&states[step], run.drive(step)).of[at::ROOT];
        let count = run.steps as f64;
        let ends = (1..run.steps)
            .rfind(|&i| flow(&states[i - 1]) > 1.0 && flow(&states[i]) <= 1.0)
            .unwrap();
        let (before, after) = (flow(&states[ends - 1]) - 1.0, flow(&states[ends]) - 1.0);
        [
            (0..run.steps).map(pressure).sum::<f64>() / count,
            states.iter().map(flow).sum::<f64>() * run.step_s,
            (ends as f64 - 1.0 + before / (before - after)) * run.step_s,
        ]
    }

    #[test]
    fn what_is_tabulated_is_what_is_asked_for_one_by_one() {
        for condition in crate::conditions() {
            let schedule = Schedule::new(&condition.heart);
            let drives = Drives::new(&condition.heart, &schedule);
            let table = drives.table(997);
            for (index, drive) in table.iter().enumerate().take(997) {
                let alone = drives.at(index as f64 * schedule.period_s / 997.0);
                assert_eq!(*drive, alone, "{}, {index}", condition.name);
            }
            assert_eq!(table[0], table[997]);
        }
    }

    /// A step small enough changes nothing when it is halved: under 0.1 %, times under 1 ms.
    #[test]
    fn halving_the_step_changes_nothing_that_matters() {
        let (whole, half) = (outcome(STEP_S), outcome(0.5 * STEP_S));
        for (a, b) in whole.iter().zip(half).take(2) {
            assert!((a / b - 1.0).abs() < 1e-3, "{a} against {b}");
        }
        assert!((whole[2] - half[2]).abs() < 1e-3, "{} s against {} s", whole[2], half[2]);
    }
}
