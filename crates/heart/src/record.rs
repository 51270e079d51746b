//! One pass of a steady circulation, as traces that repeat.

use crate::circulation::{Circulation, State, VALVES, VOLUMES, at};
use crate::run::Run;
use crate::turn::Turn;

/// Everything that the model computed over one group of beats.
#[derive(Debug)]
pub(crate) struct Record {
    pub(crate) step_s: f64,
    pub(crate) period_s: f64,
    /// By the index of each volume, mmHg.
    pub(crate) pressure: Vec<Turn>,
    /// Of the four chambers, by their index, mL.
    pub(crate) volume: Vec<Turn>,
    /// By valve: mL/s, 0 to 1, and cm/s through the narrowest part.
    pub(crate) flow: Vec<Turn>,
    pub(crate) leaflet: Vec<Turn>,
    pub(crate) velocity: Vec<Turn>,
}

impl Record {
    /// What a pass through the states at the beginning of each step, and at its end, shows.
    pub(crate) fn new(run: &Run, mut states: Vec<State>) -> Self {
        // The period's end is its start again.
        states.pop();
        let empty = || Turn { samples: Vec::with_capacity(states.len()), step_s: run.step_s };
        let mut pressure: Vec<Turn> = (0..VOLUMES).map(|_| empty()).collect();
        for (step, state) in states.iter().enumerate() {
            let pressures = run.circulation.change(state, run.drive(step)).1;
            for (turn, value) in pressure.iter_mut().zip(pressures.of) {
                turn.samples.push(value);
            }
        }
        let turn = |value: &dyn Fn(usize) -> f64| Turn {
            samples: (0..states.len()).map(value).collect(),
            step_s: run.step_s,
        };
        let valves = 0..VALVES.len();
        Self {
            step_s: run.step_s,
            period_s: run.schedule.period_s,
            pressure,
            volume: at::CHAMBERS.map(|i| turn(&|step| states[step][i])).collect(),
            flow: valves.clone().map(|v| turn(&|step| states[step][at::VALVE_FLOWS + v])).collect(),
            leaflet: valves.clone().map(|v| turn(&|step| states[step][at::LEAFLETS + v])).collect(),
            velocity: valves
                .map(|v| turn(&|step| velocity(&run.circulation, v, &states[step])))
                .collect(),
        }
    }

    /// The pulse at a fingertip, 0 to 1: the wrist's pressure, later by the way through the
    /// hand and smoothed by its small vessels, so that it arrives some 145 ms after the aorta's
    /// (finger after aortic foot 90–150 ms; Nichols & O'Rourke, from memory).
    pub(crate) fn finger_pulse(&self) -> Turn {
        let mut turn = self.pressure[at::ARM[2]].delayed(0.050, 0.015);
        let range =
            turn.samples.iter().fold((f64::MAX, f64::MIN), |(lo, hi), &v| (lo.min(v), hi.max(v)));
        for value in &mut turn.samples {
            *value = (*value - range.0) / (range.1 - range.0).max(1e-9);
        }
        turn
    }
}

fn velocity(circulation: &Circulation, valve: usize, state: &State) -> f64 {
    state[at::VALVE_FLOWS + valve] / circulation.valve_area(valve, state)
}
