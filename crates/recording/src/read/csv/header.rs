//! What stands before a table's rows: names, units, the sampling rate.

/// Units that a name may end in without brackets, as in `ecg_mV`.
const UNITS: [&str; 24] = [
    "mV", "uV", "µV", "μV", "V", "nV", "mmHg", "kPa", "Pa", "hPa", "cmH2O", "mL", "ml", "L",
    "mL/s", "L/min", "bpm", "s", "ms", "us", "µs", "g", "Ohm", "%",
];

/// A column's name and unit: `ECG (mV)`, `ECG [mV]`, `ECG_mV`, `ECG / mV`, `ECG, mV`.
pub(super) fn name_and_unit(text: &str) -> (String, String) {
    let text = text.trim().trim_start_matches(['#', '%']).trim();
    for (open, close) in [('(', ')'), ('[', ']')] {
        let inside = text.strip_suffix(close).and_then(|text| text.rsplit_once(open));
        if let Some((name, unit)) = inside.filter(|(name, _)| !name.trim().is_empty()) {
            return (name.trim().to_owned(), unit.trim().to_owned());
        }
    }
    for divider in ['_', '/', ',', ' '] {
        let parts = text.rsplit_once(divider);
        let known = parts.filter(|(name, unit)| !name.trim().is_empty() && is_unit(unit));
        if let Some((name, unit)) = known {
            // A single letter after a space names a lead rather than a unit.
            if divider != ' ' || unit.trim().len() > 1 {
                return (name.trim().to_owned(), unit.trim().to_owned());
            }
        }
    }
    (text.to_owned(), String::new())
}

fn is_unit(text: &str) -> bool {
    UNITS.contains(&text.trim())
}

/// Whether a second row of headers holds units.
pub(super) fn are_units(cells: &[String]) -> bool {
    let unit = |text: &str| is_unit(bracketless(text)) || text.contains("mm:ss") || text.is_empty();
    cells.iter().all(|text| unit(text)) && cells.iter().any(|text| !text.is_empty())
}

/// A unit without brackets around it.
pub(super) fn bracketless(text: &str) -> &str {
    text.trim_matches(['(', ')', '[', ']', ' '])
}

/// What a line before the table says about the samples' rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Clue {
    Rate(f64),
    /// Seconds from sample to sample.
    Step(f64),
}

/// Finds a rate such as `Sampling rate (Hz): 1000` or an interval such as `sampling interval = 4 ms`.
pub(super) fn clue(line: &str) -> Option<Clue> {
    const RATES: [&str; 9] = [
        "sampling rate",
        "sample rate",
        "samplerate",
        "sampling_rate",
        "sample_rate",
        "sampling frequency",
        "sample frequency",
        "samples per second",
        "fs",
    ];
    const STEPS: [&str; 4] =
        ["sampling interval", "sample interval", "sampling period", "sample period"];
    let line = line.to_lowercase();
    let after = |keys: &[&str]| {
        keys.iter().find_map(|key| {
            let at = line.find(key)?;
            let before = line[..at].chars().next_back();
            let rest = &line[at + key.len()..];
            let apart = |c: Option<char>| !c.is_some_and(char::is_alphanumeric);
            (apart(before) && apart(rest.chars().next())).then_some(rest)
        })
    };
    if let Some(rest) = after(&STEPS) {
        let (value, unit) = first_number(rest)?;
        let milli = unit.starts_with("ms") || rest.contains("(ms)") || rest.contains("[ms]");
        return Some(Clue::Step(if milli { value / 1_000.0 } else { value }));
    }
    let rest = after(&RATES)?;
    let (value, unit) = first_number(rest)?;
    let kilo = unit.starts_with("khz") || rest.contains("(khz)") || rest.contains("[khz]");
    Some(Clue::Rate(if kilo { value * 1_000.0 } else { value }))
}

/// The first number above 0 in a text, and what follows it.
fn first_number(text: &str) -> Option<(f64, &str)> {
    let text = &text[text.find(|c: char| c.is_ascii_digit())?..];
    let end =
        text.find(|c: char| !c.is_ascii_digit() && c != '.' && c != ',').unwrap_or(text.len());
    let number = text[..end].trim_end_matches(['.', ',']).replacen(',', ".", 1);
    let value = number.parse().ok().filter(|value: &f64| value.is_finite() && *value > 0.0)?;
    Some((value, text[end..].trim_start()))
}

/// Names told in a comment: `# Labels:= ECG, PPG`.
pub(super) fn labels(line: &str) -> Option<Vec<String>> {
    let text = line.trim_start_matches(['#', '%', ' ']);
    let key = text.get(..6).filter(|key| key.eq_ignore_ascii_case("labels"))?;
    let names = text[key.len()..].trim_start_matches([' ', ':', '=']);
    let names: Vec<String> =
        names.split([',', ';', '\t']).map(|name| name.trim().to_owned()).collect();
    names.iter().all(|name| !name.is_empty()).then_some(names)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_divided_from_units() {
        for (text, name, unit) in [
            ("ECG (mV)", "ECG", "mV"),
            ("ECG [mV]", "ECG", "mV"),
            ("ecg_mV", "ecg", "mV"),
            ("time_s", "time", "s"),
            ("ABP / mmHg", "ABP", "mmHg"),
            ("Pulse, %", "Pulse", "%"),
            ("ECG mV", "ECG", "mV"),
            ("lead V", "lead V", ""),
            ("heart_sounds", "heart_sounds", ""),
            ("(mV)", "(mV)", ""),
            ("# time (ms)", "time", "ms"),
            ("", "", ""),
        ] {
            assert_eq!(name_and_unit(text), (name.to_owned(), unit.to_owned()), "{text}");
        }
    }

    #[test]
    fn rates_are_found_in_words() {
        for (line, found) in [
            ("# Sampling Rate (Hz):= 1000.00", Some(Clue::Rate(1000.0))),
            ("sampling rate;250", Some(Clue::Rate(250.0))),
            ("Sample rate: 1 kHz", Some(Clue::Rate(1000.0))),
            ("% fs=360", Some(Clue::Rate(360.0))),
            ("Sampling frequency: 62,5 Hz", Some(Clue::Rate(62.5))),
            ("Sampling interval = 4 ms", Some(Clue::Step(0.004))),
            ("sample interval (s): 0.002", Some(Clue::Step(0.002))),
            ("offset 5", None),
            ("sampling rate unknown", None),
            ("sampling rate 0", None),
        ] {
            assert_eq!(clue(line), found, "{line}");
        }
        assert_eq!(labels("# Labels:= ECG"), Some(vec!["ECG".to_owned()]));
        assert_eq!(labels("# Labelling"), None);
    }
}
