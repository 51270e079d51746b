//! Who, when and why.

use crate::CourseFault;

/// Who did something, when and why. Each must be said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct By {
    /// The person, as they are known in the course.
    pub who: String,
    /// When, as RFC 3339 has it. What counts is the order of adding, not this.
    pub at: String,
    /// The reason.
    pub why: String,
}

impl By {
    /// `who` did something at the time `at` for the reason `why`.
    pub fn new(who: impl Into<String>, at: impl Into<String>, why: impl Into<String>) -> Self {
        Self { who: who.into(), at: at.into(), why: why.into() }
    }

    pub(crate) fn check(&self) -> Result<(), CourseFault> {
        for (text, name) in [(&self.who, "who"), (&self.why, "why")] {
            if text.trim().is_empty() {
                return Err(CourseFault::Missing(name));
            }
        }
        check_time(&self.at)
    }
}

/// Whether `at` has the shape of a time in RFC 3339 with `T` and `Z` in capitals.
pub(crate) fn check_time(at: &str) -> Result<(), CourseFault> {
    if is_time(at) { Ok(()) } else { Err(CourseFault::Time(at.to_owned())) }
}

fn is_time(at: &str) -> bool {
    // Places of the date and the time of day: digits and what is between them, and the limits.
    let Some((clock, rest)) = at.split_at_checked(19) else { return false };
    let limits = [(5, 1, 12), (8, 1, 31), (11, 0, 23), (14, 0, 59), (17, 0, 60)];
    if !shaped(clock, "0000-00-00T00:00:00")
        || limits.iter().any(|&(place, least, most)| !within(clock, place, least, most))
    {
        return false;
    }
    let zone = match rest.strip_prefix('.') {
        None => rest,
        Some(fraction) => {
            let zone = fraction.trim_start_matches(|one: char| one.is_ascii_digit());
            if zone.len() == fraction.len() {
                return false;
            }
            zone
        }
    };
    zone == "Z"
        || (shaped(zone, "+00:00") || shaped(zone, "-00:00"))
            && within(zone, 1, 0, 23)
            && within(zone, 4, 0, 59)
}

/// Whether `text` has a digit wherever `shape` has a nought, and is the same elsewhere.
fn shaped(text: &str, shape: &str) -> bool {
    text.len() == shape.len()
        && text
            .bytes()
            .zip(shape.bytes())
            .all(|(one, like)| if like == b'0' { one.is_ascii_digit() } else { one == like })
}

fn within(text: &str, place: usize, least: u8, most: u8) -> bool {
    text.get(place..place + 2)
        .and_then(|two| two.parse().ok())
        .is_some_and(|value: u8| (least..=most).contains(&value))
}

#[cfg(test)]
mod tests {
    use super::is_time;

    #[test]
    fn times_are_told_from_what_is_none() {
        // The first three are examples in RFC 3339, section 5.8.
        for time in [
            "1985-04-12T23:20:50.52Z",
            "1996-12-19T16:39:57-08:00",
            "1990-12-31T23:59:60Z",
            "2026-03-02T14:05:00+05:30",
        ] {
            assert!(is_time(time), "{time}");
        }
        for none in [
            "",
            "yesterday",
            "2026-03-02",
            "2026-03-02 14:05:00Z",
            "2026-03-02T14:05:00",
            "2026-03-02T14:05:00.Z",
            "2026-13-02T14:05:00Z",
            "2026-03-02T24:05:00Z",
            "2026-03-02T14:05:00+5:30",
            "2026-03-02T14:05:00+24:00",
            "2026-03-02T14:05:00Zulu",
            "2026-03-02T14:05:0€",
        ] {
            assert!(!is_time(none), "{none}");
        }
    }
}
