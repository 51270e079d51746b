//! The time of day, as the database wants it.

use std::time::{SystemTime, UNIX_EPOCH};

/// Now, in UTC, as RFC 3339 has it.
pub(crate) fn now() -> String {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    text(since.as_secs())
}

/// So many seconds after the beginning of 1970.
fn text(seconds: u64) -> String {
    let (day, second) = (seconds / 86_400, seconds % 86_400);
    let (year, month, day) = date(day);
    let (hour, minute, second) = (second / 3600, second / 60 % 60, second % 60);
    format!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}Z")
}

/// Year, month and day of the month, so many days after the beginning of 1970.
fn date(mut days: u64) -> (u64, u64, u64) {
    let leap = |year: u64| {
        year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400))
    };
    let mut year = 1970;
    while days >= 365 + u64::from(leap(year)) {
        days -= 365 + u64::from(leap(year));
        year += 1;
    }
    let lengths = [31, 28 + u64::from(leap(year)), 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let mut month = 1;
    for length in lengths {
        if days < length {
            break;
        }
        days -= length;
        month += 1;
    }
    (year, month, days + 1)
}

#[cfg(test)]
mod tests {
    use super::text;

    /// Checked against `date -u -d @N +%FT%TZ` of GNU coreutils.
    #[test]
    fn times_are_those_of_another_clock() {
        for (seconds, wanted) in [
            (0, "1970-01-01T00:00:00Z"),
            (951_782_400, "2000-02-29T00:00:00Z"),
            (1_709_251_199, "2024-02-29T23:59:59Z"),
            (1_772_460_300, "2026-03-02T14:05:00Z"),
            (4_107_542_400, "2100-03-01T00:00:00Z"),
        ] {
            assert_eq!(text(seconds), wanted);
        }
    }
}
