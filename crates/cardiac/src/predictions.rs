//! Questions that ask for a prediction: one thing about a heart changes, and what follows?
//!
//! What is asked and why is data; which way it goes is computed from two cycles. Where a heart
//! goes another way than the data expects, that question is left out, so that no cause is ever
//! printed that contradicts the numbers.

use std::collections::BTreeMap;

use cycle::Cycle;
use heart::{Heart, HeartError};
use serde::{Deserialize, Serialize};

use crate::calculations::FORWARD_SHARE;

/// What a page says once, before its predictions.
pub const NOTHING_ELSE_CHANGES: &str =
    "Nothing else about the heart or the vessels changes, and no reflex answers.";

/// A share by which something must at least change to be said to rise or fall.
pub const CHANGES: f64 = 0.03;

/// A share within which something stays as it is.
pub const STAYS: f64 = 0.02;

/// Which way something goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// It becomes more.
    Rises,
    /// It becomes less.
    Falls,
    /// It stays about as it is.
    Stays,
}

impl Change {
    /// Which way `before` to `after` goes, printed with `decimals`: up or down where it differs
    /// by [`CHANGES`] and by more than the last printed digit, as it is where it differs by
    /// less than [`STAYS`] and at most by that digit, otherwise `None`.
    pub fn between(before: f64, after: f64, decimals: usize) -> Option<Self> {
        let digit = last_digit(decimals);
        let share = (after - before) / before.abs();
        if share.abs() >= CHANGES && (after - before).abs() > digit {
            return Some(if after > before { Self::Rises } else { Self::Falls });
        }
        let printed = rounded(after, decimals) - rounded(before, decimals);
        (share.abs() < STAYS && printed.abs() < 1.5 * digit).then_some(Self::Stays)
    }
}

/// A number of the summary that can be asked about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Measure {
    /// Identifier: a summary's, or `pulse_pressure_mmhg`.
    pub id: &'static str,
    /// Name shown to people.
    pub name: &'static str,
    /// Unit in which it is printed.
    pub unit: &'static str,
    /// Decimals with which it is printed.
    pub decimals: usize,
}

macro_rules! measures {
    ($($id:literal, $name:literal, $unit:literal, $decimals:literal;)+) => {
        const MEASURES: &[Measure] = &[$(Measure { id: $id, name: $name, unit: $unit, decimals: $decimals },)+];
    };
}

measures! {
    "heart_rate_bpm", "heart rate", "beats/min", 0;
    "edv_ml", "left ventricular end-diastolic volume", "mL", 0;
    "esv_ml", "left ventricular end-systolic volume", "mL", 0;
    "stroke_volume_ml", "stroke volume", "mL", 0;
    "ejection_fraction", "ejection fraction", "%", 0;
    "aortic_systolic_mmhg", "systolic aortic pressure", "mmHg", 0;
    "aortic_diastolic_mmhg", "diastolic aortic pressure", "mmHg", 0;
    "pulse_pressure_mmhg", "pulse pressure in the aorta", "mmHg", 0;
    "aortic_mean_mmhg", "mean aortic pressure", "mmHg", 0;
    "lv_systolic_mmhg", "systolic pressure in the left ventricle", "mmHg", 0;
    "lv_end_diastolic_mmhg", "end-diastolic pressure in the left ventricle", "mmHg", 0;
    "la_mean_mmhg", "mean pressure in the left atrium", "mmHg", 0;
    "pa_mean_mmhg", "mean pressure in the pulmonary artery", "mmHg", 0;
    "aortic_mean_gradient_mmhg", "mean pressure difference between left ventricle and aorta during ejection", "mmHg", 0;
    "lvet_ms", "time that ejection takes", "ms", 0;
}

impl Measure {
    fn find(id: &str) -> Option<Self> {
        MEASURES.iter().copied().find(|measure| measure.id == id)
    }

    /// Its value in `cycle`, in the unit in which it is printed.
    fn of(&self, cycle: &Cycle) -> Option<f64> {
        let summary = |name: &str| cycle.summary.get(name).copied();
        match self.id {
            // A student subtracts what is printed.
            "pulse_pressure_mmhg" => {
                let printed = |name| summary(name).map(f64::round);
                Some(printed("aortic_systolic_mmhg")? - printed("aortic_diastolic_mmhg")?)
            }
            "ejection_fraction" => Some(100.0 * summary(self.id)?),
            // What a student subtracts, unless a valve leaks: closing valves let a little back,
            // which no first course counts.
            "stroke_volume_ml" => {
                let (forward, whole) = (summary(self.id)?, summary("edv_ml")? - summary("esv_ml")?);
                Some(if forward < FORWARD_SHARE * whole { forward } else { whole })
            }
            id => summary(id),
        }
    }
}

/// Something to predict.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ask {
    /// What is asked about.
    pub measure: Measure,
    /// What the student reads: the measure's name, or a more exact one.
    pub name: String,
    /// Which way it is expected to go.
    pub expect: Change,
    /// Why it goes that way.
    pub cause: String,
}

/// A change to a heart, with what to predict of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    /// Identifier in files.
    pub id: String,
    /// What changes, in a sentence.
    pub text: String,
    /// Parameters of the heart that are scaled, and by what.
    pub multiply: BTreeMap<String, f64>,
    /// Parameters of the heart that take a value.
    pub set: BTreeMap<String, f64>,
    /// What parameters must be before.
    pub from: BTreeMap<String, f64>,
    /// Identifiers of the rhythms in which it makes sense; none where it does in all.
    pub rhythms: Vec<String>,
    /// What to predict.
    pub asks: Vec<Ask>,
}

/// Why a prediction cannot be asked of a heart.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PredictionError {
    /// The heart's rhythm is not one in which the change makes sense.
    #[error("{id} makes no sense in the rhythm {rhythm}; leave it out or choose another rhythm")]
    Rhythm {
        /// The prediction.
        id: String,
        /// The heart's rhythm.
        rhythm: String,
    },
    /// The heart is already as the change would make it, or not as the text says it was.
    #[error("{id} makes no sense where {parameter} is {value}; leave it out or change the heart")]
    Already {
        /// The prediction.
        id: String,
        /// The parameter.
        parameter: String,
        /// Its value in the heart.
        value: f64,
    },
    /// The change would leave the model's range.
    #[error("{id}: {error}")]
    Heart {
        /// The prediction.
        id: String,
        /// What the heart says.
        error: Box<HeartError>,
    },
}

/// One predicted quantity with the truth about it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Answer {
    /// What is asked about, as the student reads it.
    pub quantity: String,
    /// Its value before the change, rounded as it is printed.
    pub before: f64,
    /// Its value after the change, rounded as it is printed.
    pub after: f64,
    /// Unit of both.
    pub unit: &'static str,
    /// Decimals of both.
    pub decimals: usize,
    /// Which way it goes, as computed.
    pub change: Change,
    /// Why.
    pub cause: String,
}

impl Prediction {
    /// The heart after the change.
    ///
    /// # Errors
    /// [`PredictionError`] where the change makes no sense for this heart, such as a valve that
    /// begins to leak but leaks already.
    pub fn heart(&self, before: &Heart) -> Result<Heart, PredictionError> {
        let id = || self.id.clone();
        let rhythm = before.rhythm.name();
        if !self.rhythms.is_empty() && !self.rhythms.iter().any(|name| name == rhythm) {
            return Err(PredictionError::Rhythm { id: id(), rhythm: rhythm.to_owned() });
        }
        let value = |name: &str| before.parameters.get(name).unwrap_or(f64::NAN);
        let already = |parameter: &String| PredictionError::Already {
            id: id(),
            parameter: parameter.clone(),
            value: value(parameter),
        };
        if let Some((name, _)) = self.from.iter().find(|(name, from)| value(name) != **from) {
            return Err(already(name));
        }
        if let Some((name, _)) = self.set.iter().find(|(name, to)| value(name) == **to) {
            return Err(already(name));
        }
        let mut after = before.clone();
        let scaled = self.multiply.iter().map(|(name, by)| (name, value(name) * by));
        for (name, to) in scaled.chain(self.set.iter().map(|(name, to)| (name, *to))) {
            let set = after.parameters.set(name, to);
            set.map_err(|error| PredictionError::Heart { id: id(), error: Box::new(error) })?;
        }
        Ok(after)
    }

    /// What is asked, with the truth from the cycles before and after the change. What goes
    /// another way in these cycles than its cause says, or hardly goes any, is left out.
    pub fn answers(&self, before: &Cycle, after: &Cycle) -> Vec<Answer> {
        self.asks.iter().filter_map(|ask| ask.answer(before, after)).collect()
    }
}

impl Ask {
    fn answer(&self, before: &Cycle, after: &Cycle) -> Option<Answer> {
        let Measure { unit, decimals, .. } = self.measure;
        let (before, after) = (self.measure.of(before)?, self.measure.of(after)?);
        let change = Change::between(before, after, decimals)?;
        (change == self.expect).then(|| Answer {
            quantity: self.name.clone(),
            before: rounded(before, decimals),
            after: rounded(after, decimals),
            unit,
            decimals,
            change,
            cause: self.cause.clone(),
        })
    }
}

/// All predictions, in the order in which they are shown.
///
/// # Panics
/// Never: the data is part of the program and a test reads it.
pub fn predictions() -> Vec<Prediction> {
    let file: File = toml::from_str(include_str!("../data/predictions.toml"))
        .expect("the predictions' data is well formed");
    file.predictions.into_iter().map(Prediction::from).collect()
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    predictions: Vec<Entry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    id: String,
    text: String,
    #[serde(default)]
    multiply: BTreeMap<String, f64>,
    #[serde(default)]
    set: BTreeMap<String, f64>,
    #[serde(default)]
    from: BTreeMap<String, f64>,
    #[serde(default)]
    rhythms: Vec<String>,
    asks: Vec<AskEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AskEntry {
    of: String,
    name: Option<String>,
    expect: Change,
    cause: String,
}

impl From<Entry> for Prediction {
    fn from(entry: Entry) -> Self {
        let Entry { id, text, multiply, set, from, rhythms, asks } = entry;
        let asks = asks.into_iter().map(Ask::from).collect();
        Self { id, text, multiply, set, from, rhythms, asks }
    }
}

impl From<AskEntry> for Ask {
    fn from(entry: AskEntry) -> Self {
        let measure = Measure::find(&entry.of).expect("a prediction asks about a known measure");
        let name = entry.name.unwrap_or_else(|| measure.name.to_owned());
        Self { measure, name, expect: entry.expect, cause: entry.cause }
    }
}

fn last_digit(decimals: usize) -> f64 {
    (0..decimals).fold(1.0, |digit, _| digit / 10.0)
}

/// Rounded half away from zero.
fn rounded(value: f64, decimals: usize) -> f64 {
    let scale = (0..decimals).fold(1.0, |scale, _| scale * 10.0);
    (value * scale).round() / scale
}
