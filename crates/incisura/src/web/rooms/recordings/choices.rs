//! The room's state, which is its address: which file, how it is read, which signal is which, what
//! is looked at, and what it is laid beside.

use crate::args::{Stored, hertz, second, separator};
use crate::measure::channels_known;
use crate::web::query::Query;
use crate::web::refusal::Refusal;
use crate::web::words::recordings as words;

/// Which recording, and how it is to be understood: what is found on it follows from this.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Choices {
    /// The file's name in the course folder.
    pub(crate) file: String,
    /// What was said of how it is stored, as it was typed, in the address's names.
    stored: Vec<(String, String)>,
    /// What single signals, by their number from 0, are said to be; nothing where not used.
    pub(crate) said: Vec<(usize, Option<String>)>,
    /// Whether an ECG that points downwards is turned.
    pub(crate) turn: bool,
    /// Only the beats between these seconds.
    pub(crate) part: [Option<f64>; 2],
}

/// What is looked at.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct View {
    /// Where the strip begins, in seconds, and how long it is.
    pub(crate) at_s: f64,
    pub(crate) span_s: f64,
    /// How wide it is on screen, in pixels.
    pub(crate) width: f64,
    /// The signals shown, by their number from 0; the usual ones where none are named.
    pub(crate) shown: Vec<usize>,
}

/// What the average beat is laid beside.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Against {
    /// A condition's name.
    pub(crate) condition: String,
    /// A shipped convention's name, or a file of the course; the course's first where empty.
    pub(crate) convention: String,
}

/// The longest and shortest strip, in seconds, and how long it is at first.
pub(crate) const SHORTEST_S: f64 = 0.25;
pub(crate) const SPAN_S: f64 = 5.0;
const LONGEST_S: f64 = 40.0 * 86_400.0;
const WIDTHS: [f64; 2] = [300.0, 4_000.0];
const WIDTH: f64 = 1_200.0;
/// The condition that the average beat is laid beside at first: a resting heart at its rate.
pub(crate) const REST: &str = "rest";
/// What says that a signal is not used.
pub(crate) const NOT_USED: &str = "none";

fn one<'a>(pairs: &'a [(String, String)], name: &str) -> Option<&'a str> {
    let found = pairs.iter().rev().find(|(key, _)| key == name);
    found.map(|(_, value)| value.trim()).filter(|value| !value.is_empty())
}

fn number(
    pairs: &[(String, String)],
    name: &str,
    read: fn(&str) -> Result<f64, String>,
) -> Result<Option<f64>, Refusal> {
    one(pairs, name).map(|text| read(text).map_err(|what| Refusal::of(name, what))).transpose()
}

impl Choices {
    /// Whether the address names a recording.
    pub(crate) fn are_in(pairs: &[(String, String)]) -> bool {
        one(pairs, "file").is_some()
    }

    pub(crate) fn read(pairs: &[(String, String)]) -> Result<Self, Refusal> {
        let file = one(pairs, "file").ok_or_else(|| Refusal::of("file", words::CHOOSE_ONE))?;
        let is_stored = |name: &str| {
            matches!(name, "rate" | "time" | "separator" | "decimal_comma")
                || name.starts_with("unit:")
        };
        let mut stored: Vec<(String, String)> = pairs
            .iter()
            .filter(|(name, value)| is_stored(name) && !value.is_empty())
            .cloned()
            .collect();
        stored.sort();
        stored.dedup_by(|later, kept| later.0 == kept.0);
        let mut said = Vec::new();
        for (name, value) in pairs {
            let digits = name.strip_prefix('s').and_then(|digits| digits.parse::<usize>().ok());
            let Some(signal) = digits.and_then(|number| number.checked_sub(1)) else { continue };
            match value.as_str() {
                "" => {}
                NOT_USED => said.push((signal, None)),
                known if channels_known().any(|channel| channel == known) => {
                    said.push((signal, Some(value.clone())));
                }
                other => {
                    return Err(Refusal::of(name, words::no_channel(other)));
                }
            }
        }
        said.sort();
        let part = [number(pairs, "from", second)?, number(pairs, "to", second)?];
        if let [Some(from), Some(to)] = part
            && from >= to
        {
            return Err(Refusal::of("to", words::PART_BACKWARDS));
        }
        let choices =
            Self { file: file.to_owned(), stored, said, turn: one(pairs, "turn").is_some(), part };
        choices.as_stored()?;
        Ok(choices)
    }

    /// What was said of how the file is stored.
    pub(crate) fn as_stored(&self) -> Result<Stored, Refusal> {
        let pairs = &self.stored;
        let unit = |(name, value): &(String, String)| {
            Some((name.strip_prefix("unit:")?.to_owned(), value.trim().to_owned()))
        };
        let typed = one(pairs, "separator").map(separator).transpose();
        Ok(Stored {
            rate: number(pairs, "rate", hertz)?,
            time: one(pairs, "time").map(str::to_owned),
            separator: typed.map_err(|what| Refusal::of("separator", what))?,
            decimal_comma: one(pairs, "decimal_comma").is_some(),
            unit: pairs.iter().filter_map(unit).collect(),
            annotations: None,
        })
    }

    /// What was typed for `name`, such as `rate` or `unit:ABP`.
    pub(crate) fn typed(&self, name: &str) -> &str {
        one(&self.stored, name).unwrap_or_default()
    }

    /// The address's part after `?`, always the same for the same choices.
    pub(crate) fn query(&self) -> String {
        let mut query = Query::default();
        query.add("file", &self.file);
        for (name, value) in &self.stored {
            query.add(name, value);
        }
        for (signal, channel) in &self.said {
            query.add(&format!("s{}", signal + 1), channel.as_deref().unwrap_or(NOT_USED));
        }
        if self.turn {
            query.add("turn", "on");
        }
        for (name, value) in ["from", "to"].into_iter().zip(self.part) {
            if let Some(value) = value {
                query.add(name, &value.to_string());
            }
        }
        query.text()
    }
}

impl View {
    pub(crate) fn read(pairs: &[(String, String)]) -> Result<Self, Refusal> {
        let at_s = number(pairs, "at", second)?.unwrap_or(0.0);
        let span_s = number(pairs, "span", second)?.unwrap_or(SPAN_S);
        let width = number(pairs, "width", second)?.unwrap_or(WIDTH);
        let shown = pairs.iter().filter(|(name, _)| name == "show");
        let shown = shown.filter_map(|(_, value)| value.parse::<usize>().ok()?.checked_sub(1));
        Ok(Self {
            at_s,
            span_s: span_s.clamp(SHORTEST_S, LONGEST_S),
            width: width.clamp(WIDTHS[0], WIDTHS[1]).round(),
            shown: shown.collect(),
        })
    }

    /// The view within a recording that lasts so long.
    pub(crate) fn within(mut self, lasts_s: f64) -> Self {
        self.span_s = self.span_s.min(lasts_s.max(SHORTEST_S));
        self.at_s = self.at_s.min(lasts_s - self.span_s).max(0.0);
        self
    }

    pub(crate) fn end_s(&self) -> f64 {
        self.at_s + self.span_s
    }
}

impl Against {
    pub(crate) fn read(pairs: &[(String, String)]) -> Self {
        let condition = one(pairs, "condition").unwrap_or(REST).to_owned();
        let convention = one(pairs, "convention").unwrap_or_default().to_owned();
        Self { condition, convention }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pairs(all: &[(&str, &str)]) -> Vec<(String, String)> {
        all.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect()
    }

    #[test]
    fn the_same_choices_have_the_same_address() {
        let one = pairs(&[("s2", "none"), ("file", "a b.csv"), ("rate", "500"), ("s1", "ecg")]);
        let other = pairs(&[("rate", "500"), ("s1", "ecg"), ("s2", "none"), ("file", "a b.csv")]);
        let query = Choices::read(&one).unwrap().query();
        assert_eq!(query, "file=a%20b.csv&rate=500&s1=ecg&s2=none");
        assert_eq!(Choices::read(&other).unwrap().query(), query);
    }

    #[test]
    fn what_cannot_be_is_refused_at_its_control() {
        for (name, value) in [
            ("rate", "-5"),
            ("rate", "fast"),
            ("separator", ";;"),
            ("s1", "lv_volume"),
            ("from", "NaN"),
            ("to", "soon"),
        ] {
            let refused = Choices::read(&pairs(&[("file", "a.csv"), (name, value)])).unwrap_err();
            assert_eq!(refused.control.as_deref(), Some(name), "{value}");
        }
        assert!(Choices::read(&pairs(&[("file", "a.csv"), ("from", "9"), ("to", "3")])).is_err());
        assert!(Choices::read(&pairs(&[("rate", "500")])).is_err());
    }

    #[test]
    fn a_view_stays_inside_the_recording() {
        let view = View::read(&pairs(&[("at", "58"), ("span", "5")])).unwrap().within(60.0);
        assert_eq!((view.at_s, view.end_s()), (55.0, 60.0));
        let view = View::read(&pairs(&[("at", "58"), ("span", "500")])).unwrap().within(60.0);
        assert_eq!((view.at_s, view.end_s()), (0.0, 60.0));
    }
}
