//! Which signal is which channel.

use serde::Serialize;

use crate::source::Signal;

/// A signal and the channel that it is taken for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Named {
    /// Number of the signal in the recording.
    pub signal: usize,
    /// Channel identifier: one of the subject's, or `ecg_` and the lead of a further ECG.
    pub channel: String,
    /// Name of an ECG's lead, where the label tells it.
    pub lead: Option<String>,
    /// Whether the label and unit leave no doubt.
    pub sure: bool,
    /// Whether the main deflection of the QRS complex points upwards. [`crate::look`] finds out.
    pub upright: bool,
    /// Whether P, QRS and T all point downwards in a lead in which they do not usually, as they do
    /// where electrodes were exchanged. [`crate::look`] finds out.
    pub inverted: bool,
    /// Whether the signal is to be turned upside down before anything is looked for.
    pub turned: bool,
    /// What a person should know of the guess.
    pub warnings: Vec<String>,
}

impl Named {
    /// The signal numbered `signal`, taken for `channel` because somebody says so.
    pub fn new(signal: usize, channel: &str) -> Self {
        Self {
            signal,
            channel: channel.to_owned(),
            lead: None,
            sure: true,
            upright: true,
            inverted: false,
            turned: false,
            warnings: Vec::new(),
        }
    }

    /// Whether it is an ECG, the first or a further one.
    pub fn is_ecg(&self) -> bool {
        self.channel == "ecg" || self.channel.starts_with("ecg_")
    }
}

/// Labels that name a channel, and whether they leave no doubt.
const LABELS: [(&str, &[&str], bool); 10] = [
    ("aortic_pressure", &["AO", "AOP", "AORTA", "AORTIC"], true),
    ("radial_pressure", &["RAD", "RADIAL"], true),
    ("radial_pressure", &["ABP", "ART", "ARTERIAL", "IBP", "BP", "AP"], false),
    ("pa_pressure", &["PAP", "PA", "PULMONARY"], true),
    ("lv_pressure", &["LVP", "LV"], true),
    ("ra_pressure", &["CVP", "RAP", "RA"], true),
    ("la_pressure", &["LAP", "LA"], true),
    ("rv_pressure", &["RVP", "RV"], true),
    ("finger_pulse", &["PLETH", "PPG", "PULSE", "FINGER", "SPO2", "POX", "PLETHYSMOGRAM"], true),
    ("heart_sounds", &["PCG", "PHONO", "SOUND", "SOUNDS", "STETHOSCOPE", "HS"], true),
];

/// Leads of an ECG, as labels have them.
const LEADS: [&str; 26] = [
    "I", "II", "III", "AVR", "AVL", "AVF", "V", "V1", "V2", "V3", "V4", "V5", "V6", "MLI", "MLII",
    "MLIII", "MV1", "MV2", "MV5", "MCL1", "MCL", "CM5", "VX", "VY", "VZ", "D2",
];

/// Guesses from labels and units which signal is which channel; each channel once, the likeliest
/// signal first come. Signals that are none of the subject's channels, such as respiration, are
/// left out. Lead II is the ECG where there is one.
pub fn guess(signals: &[Signal]) -> Vec<Named> {
    let mut all: Vec<Named> = Vec::new();
    for (index, signal) in signals.iter().enumerate() {
        let usable = signal.rate_hz.is_finite() && signal.rate_hz > 0.0 && signal.samples > 0;
        if let Some(named) = one(index, signal).filter(|_| usable) {
            let taken = |other: &Named| other.channel == named.channel && !named.is_ecg();
            if !all.iter().any(taken) {
                all.push(named);
            }
        }
    }
    name_leads(&mut all);
    all
}

/// The words of a label, in capitals.
fn words(label: &str) -> Vec<String> {
    let capitals = label.to_uppercase();
    let split = capitals.split(|c: char| !c.is_alphanumeric());
    split.filter(|word| !word.is_empty()).map(str::to_owned).collect()
}

fn one(index: usize, signal: &Signal) -> Option<Named> {
    let words = words(&signal.label);
    let has = |some: &[&str]| words.iter().any(|word| some.contains(&word.as_str()));
    let lead = words.iter().rev().find(|word| LEADS.contains(&word.as_str()));
    let starts = |start: &str| words.iter().any(|word| word.starts_with(start));
    if starts("ECG") || starts("EKG") || lead.is_some() {
        return Some(ecg(index, lead.cloned()));
    }
    let (channel, _, sure) = LABELS.into_iter().find(|(_, labels, _)| has(labels))?;
    let mut named = Named { sure, ..Named::new(index, channel) };
    let pressure = channel.ends_with("_pressure");
    let unit = signal.unit.to_lowercase();
    if channel == "radial_pressure" && !sure {
        named.warnings.push(format!(
            "\"{}\" is taken for the pressure in the radial artery; say so if it was measured in or near the aorta",
            signal.label
        ));
    }
    if pressure && unit != "mmhg" {
        named.sure = false;
        named.warnings.push(format!(
            "\"{}\" is in \"{}\" and not in mmHg; its pressures are told in that unit",
            signal.label, signal.unit
        ));
    }
    Some(named)
}

fn ecg(index: usize, lead: Option<String>) -> Named {
    let mut named = Named { sure: lead.is_some(), lead, ..Named::new(index, "ecg") };
    if named.lead.is_none() {
        named.warnings.push(
            "the label does not tell the lead; it is taken for one in which R points upwards, as in lead II"
                .to_owned(),
        );
    }
    named
}

/// Makes lead II the ECG, or else the first lead, and names the others after their leads.
fn name_leads(all: &mut [Named]) {
    let second = |named: &Named| {
        named.is_ecg() && matches!(named.lead.as_deref(), Some("II" | "MLII" | "D2"))
    };
    let first = all.iter().position(second).or_else(|| all.iter().position(Named::is_ecg));
    let mut used: Vec<String> = Vec::new();
    for (place, named) in all.iter_mut().enumerate() {
        if !named.is_ecg() || Some(place) == first {
            continue;
        }
        let lead = named.lead.as_deref().unwrap_or("further").to_lowercase();
        let mut channel = format!("ecg_{lead}");
        let again = used.iter().filter(|name| **name == channel).count();
        used.push(channel.clone());
        if again > 0 {
            channel = format!("{channel}_{}", again + 1);
        }
        named.channel = channel;
    }
    if let Some(named) = first.and_then(|first| all.get_mut(first))
        && let Some(lead) = named.lead.as_deref().filter(|l| !matches!(*l, "II" | "MLII" | "D2"))
    {
        named.warnings.push(format!(
            "there is no lead II; lead {lead} stands for the ECG, and its waves look different"
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn signal(label: &str, unit: &str) -> Signal {
        let (label, unit) = (label.to_owned(), unit.to_owned());
        Signal { label, unit, rate_hz: 125.0, samples: 1000, range: None }
    }

    fn channels(labels: &[(&str, &str)]) -> Vec<String> {
        let signals: Vec<Signal> = labels.iter().map(|(l, u)| signal(l, u)).collect();
        guess(&signals).into_iter().map(|named| named.channel).collect()
    }

    #[test]
    fn bedside_labels_are_known() {
        let labels = [("III", "mV"), ("I", "mV"), ("V", "mV"), ("ABP", "mmHg"), ("PAP", "mmHg")];
        let more = [("PLETH", "mV"), ("RESP", "mV")];
        let wanted = ["ecg", "ecg_i", "ecg_v", "radial_pressure", "pa_pressure", "finger_pulse"];
        assert_eq!(channels(&[&labels[..], &more[..]].concat()), wanted);
    }

    #[test]
    fn lead_two_is_the_ecg() {
        assert_eq!(channels(&[("v5", "mV"), ("MLII", "mV")]), ["ecg_v5", "ecg"]);
        assert_eq!(channels(&[("ECG II", "mV"), ("ECG", "mV")]), ["ecg", "ecg_further"]);
    }

    #[test]
    fn a_doubtful_guess_says_so() {
        let named = guess(&[signal("ART", "kPa"), signal("ECG", "mV")]);
        assert!(!named[0].sure && named[0].warnings.len() == 2, "{named:?}");
        assert!(named[0].warnings[1].contains("kPa"));
        assert!(named[1].warnings[0].contains("lead"));
    }

    #[test]
    fn what_cannot_be_read_is_no_channel() {
        let mut broken = signal("ECG", "mV");
        broken.rate_hz = 0.0;
        assert_eq!(guess(&[broken, signal("RESP", "")]), []);
    }
}
