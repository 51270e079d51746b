//! A heart's parameters: names, defaults, ranges, and reading them from TOML.

use serde::Serialize;

use crate::HeartError;
use cycle::nearest;

/// What is known of one parameter.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Parameter {
    /// Identifier in files and on the command line.
    pub name: &'static str,
    /// Name shown to people.
    pub title: &'static str,
    /// Unit; empty for a number relative to normal.
    pub unit: &'static str,
    /// The resting adult's value.
    pub default: f64,
    /// Lowest value accepted.
    pub low: f64,
    /// Highest value accepted.
    pub high: f64,
    /// What it does, in one sentence.
    pub about: &'static str,
}

macro_rules! parameters {
    ($($field:ident, $title:literal, $unit:literal, $default:literal, $low:literal ..= $high:literal, $about:literal;)+) => {
        /// The numbers that describe a heart; the default is a resting adult.
        #[derive(Clone, Debug, PartialEq)]
        pub struct Parameters {
            $(#[doc = $about] pub $field: f64,)+
        }

        impl Default for Parameters {
            fn default() -> Self {
                Self { $($field: $default,)+ }
            }
        }

        /// All parameters, in the order in which they are shown.
        pub const PARAMETERS: &[Parameter] = &[$(Parameter {
            name: stringify!($field), title: $title, unit: $unit,
            default: $default, low: $low, high: $high, about: $about,
        },)+];

        impl Parameters {
            /// The value of the parameter called `name`.
            pub fn get(&self, name: &str) -> Option<f64> {
                match name {
                    $(stringify!($field) => Some(self.$field),)+
                    _ => None,
                }
            }

            fn slot(&mut self, name: &str) -> Option<&mut f64> {
                match name {
                    $(stringify!($field) => Some(&mut self.$field),)+
                    _ => None,
                }
            }
        }
    };
}

parameters! {
    rate_bpm, "Heart rate", "/min", 75.0, 30.0..=200.0,
        "Beats a minute; in a block, the rate of the atria.";
    pr_interval_ms, "PR interval", "ms", 160.0, 80.0..=400.0,
        "From the onset of the P wave to the onset of the QRS complex.";
    lv_contractility, "Left ventricular contractility", "", 1.0, 0.2..=3.0,
        "Scales the left ventricle's end-systolic elastance.";
    rv_contractility, "Right ventricular contractility", "", 1.0, 0.2..=3.0,
        "Scales the right ventricle's end-systolic elastance.";
    atrial_contractility, "Atrial contractility", "", 1.0, 0.0..=3.0,
        "Scales the force of both atria; 0 where they do not contract.";
    lv_stiffness, "Left ventricular diastolic stiffness", "", 1.0, 0.5..=3.0,
        "Scales how steeply the left ventricle's filling pressure rises with its volume.";
    lv_relaxation, "Left ventricular relaxation time", "", 1.0, 0.6..=2.0,
        "Scales the time constant with which the left ventricle's pressure falls.";
    systemic_resistance, "Systemic resistance", "", 1.0, 0.2..=4.0,
        "Scales the resistance of the systemic arterioles.";
    pulmonary_resistance, "Pulmonary resistance", "", 1.0, 0.3..=6.0,
        "Scales the resistance of the pulmonary arterioles.";
    arterial_compliance, "Arterial compliance", "", 1.0, 0.3..=2.5,
        "Scales the compliance of the systemic arteries.";
    venous_tone, "Venous tone", "", 1.0, 0.5..=2.0,
        "Scales the elastance of the systemic veins.";
    blood_volume, "Blood volume", "", 1.0, 0.6..=1.4,
        "Scales the total volume of blood.";
    aortic_valve_area_cm2, "Aortic valve area", "cm²", 4.0, 0.4..=6.0,
        "Effective area of the open aortic valve.";
    mitral_valve_area_cm2, "Mitral valve area", "cm²", 5.0, 0.6..=7.0,
        "Effective area of the open mitral valve.";
    pulmonary_valve_area_cm2, "Pulmonary valve area", "cm²", 4.2, 0.5..=6.0,
        "Effective area of the open pulmonary valve.";
    tricuspid_valve_area_cm2, "Tricuspid valve area", "cm²", 6.5, 0.8..=9.0,
        "Effective area of the open tricuspid valve.";
    aortic_leak_area_cm2, "Aortic leak area", "cm²", 0.0, 0.0..=1.0,
        "Effective area of the closed aortic valve.";
    mitral_leak_area_cm2, "Mitral leak area", "cm²", 0.0, 0.0..=1.0,
        "Effective area of the closed mitral valve.";
    pulmonary_leak_area_cm2, "Pulmonary leak area", "cm²", 0.0, 0.0..=1.0,
        "Effective area of the closed pulmonary valve.";
    tricuspid_leak_area_cm2, "Tricuspid leak area", "cm²", 0.0, 0.0..=1.0,
        "Effective area of the closed tricuspid valve.";
    respiration_rate_bpm, "Breathing rate", "/min", 0.0, 0.0..=40.0,
        "Breaths a minute; 0 leaves breathing out.";
    respiration_depth_mmhg, "Depth of breathing", "mmHg", 4.0, 0.0..=15.0,
        "Fall of the pressure in the chest from expiration to inspiration.";
}

impl Parameters {
    /// Sets the parameter called `name`.
    ///
    /// # Errors
    /// [`HeartError::UnknownParameter`] with the nearest name, or
    /// [`HeartError::OutOfRange`] with the range.
    pub fn set(&mut self, name: &str, value: f64) -> Result<(), HeartError> {
        let Some(parameter) = PARAMETERS.iter().find(|parameter| parameter.name == name) else {
            let nearest = nearest(name, PARAMETERS.iter().map(|parameter| parameter.name));
            return Err(HeartError::UnknownParameter { name: name.to_owned(), nearest });
        };
        if !(parameter.low..=parameter.high).contains(&value) {
            return Err(HeartError::OutOfRange { parameter: *parameter, value });
        }
        if let Some(slot) = self.slot(name) {
            *slot = value;
        }
        Ok(())
    }
}
