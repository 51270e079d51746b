//! The model's equations by themselves, so that another integrator can solve and check them.

use serde::Serialize;

use crate::circulation::{Circulation, STATES, State};
use crate::run::{Drives, Run};
use crate::{Heart, HeartError};

/// The ordinary differential equations of one heart.
///
/// The state holds 15 volumes in mL (left atrium and ventricle, right atrium and ventricle,
/// aortic root, thoracic, abdominal aorta, legs, three pieces of an arm, veins, pulmonary
/// trunk, lungs, pulmonary veins), 7 arterial flows and 4 valve flows in mL/s, and 4 leaflet
/// openings from 0 to 1 (mitral, aortic, tricuspid, pulmonary).
#[derive(Clone, Debug)]
pub struct Equations {
    heart: Heart,
    run: Run,
    drives: Drives,
}

#[derive(Serialize)]
struct Constants<'a> {
    circulation: &'a Circulation,
    drives: &'a Drives,
}

impl Equations {
    /// How many numbers make a state.
    pub const STATES: usize = STATES;

    /// The equations of `heart`.
    pub fn new(heart: &Heart) -> Self {
        let run = Run::new(heart);
        Self { heart: heart.clone(), drives: Drives::new(heart, &run.schedule), run }
    }

    /// Length of the group of beats that repeats, in seconds.
    pub fn period_s(&self) -> f64 {
        self.run.schedule.period_s
    }

    /// Where the search for the steady state begins.
    pub fn start(&self) -> [f64; STATES] {
        self.run.circulation.start()
    }

    /// Change of each number of `state` per second, at a time from 0 to the period.
    pub fn rate(&self, time_s: f64, state: &[f64; STATES]) -> [f64; STATES] {
        self.run.circulation.change(state, &self.drives.at(time_s)).0
    }

    /// The steady state at time 0, by this crate's own integrator.
    ///
    /// # Errors
    /// [`HeartError::NoSteadyState`] as for [`crate::simulate`].
    pub fn steady(&self) -> Result<[f64; STATES], HeartError> {
        let states = self.run.steady(&self.heart)?;
        Ok(*states.last().expect("a pass has a beginning and an end"))
    }

    /// States at equal steps of about a millisecond over one period from `start`, by this
    /// crate's own integrator; the last is the state at the period's end.
    pub fn states(&self, start: &[f64; STATES]) -> Vec<State> {
        let mut states = Vec::new();
        self.run.pass(start, &mut states);
        states
    }

    /// All constants of the equations, by the names that the source gives them.
    pub fn constants(&self) -> impl Serialize {
        Constants { circulation: &self.run.circulation, drives: &self.drives }
    }
}
