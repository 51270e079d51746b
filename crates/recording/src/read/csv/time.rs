//! Times in cells: clocks, and what a column of numbers means.

/// A time column's unit, as its header says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum TimeUnit {
    /// So many seconds.
    Seconds(f64),
    /// Hours, minutes, seconds, perhaps after a date.
    Clock,
    /// Not times, but the samples' numbers.
    Count,
}

const MIDNIGHT_S: f64 = 86_400.0;

/// What a header makes of a column, if it is one of times; the unit is none where it does not say.
pub(super) fn column(label: &str, unit: &str) -> Option<Option<TimeUnit>> {
    let label = label.trim().trim_start_matches(['#', '%']).trim().to_lowercase();
    let named = match label.as_str() {
        "sample" | "samples" | "index" | "sample number" | "sample #" | "n" | "nr" | "no"
        | "nseq" => {
            return Some(Some(TimeUnit::Count));
        }
        "s" | "sec" | "secs" | "second" | "seconds" | "ms" | "msec" | "milliseconds" | "us"
        | "µs" => {
            return unit.is_empty().then(|| of_unit(&label));
        }
        "time" | "t" | "times" | "elapsed time" | "elapsed" | "timestamp" | "time stamp"
        | "timestamps" | "relative time" | "time of day" | "date time" | "datetime" | "zeit"
        | "temps" | "tiempo" => true,
        _ => false,
    };
    named.then(|| of_unit(unit))
}

/// What a unit of time is.
pub(super) fn of_unit(unit: &str) -> Option<TimeUnit> {
    let unit = unit.trim().to_lowercase();
    Some(match unit.as_str() {
        "s" | "sec" | "secs" | "second" | "seconds" => TimeUnit::Seconds(1.0),
        "ms" | "msec" | "millisecond" | "milliseconds" => TimeUnit::Seconds(1e-3),
        "us" | "µs" | "μs" | "usec" | "microseconds" => TimeUnit::Seconds(1e-6),
        "ns" => TimeUnit::Seconds(1e-9),
        "min" | "minutes" => TimeUnit::Seconds(60.0),
        _ if unit.contains("mm:ss") => TimeUnit::Clock,
        _ => return None,
    })
}

/// Seconds of a clock such as `1:02:03.5`, `2:03.5` or `2024-05-06 01:02:03.5`; brackets are passed over.
pub(super) fn clock(text: &str, decimal_comma: bool) -> Option<f64> {
    let text = text.trim_matches(['[', ']', '\'', '"', ' ']);
    if !text.contains(':') {
        return None;
    }
    let (date, clock) = match text.split_once([' ', 'T']) {
        Some((date, clock)) => (Some(date), clock.trim_end_matches('Z')),
        None => (None, text),
    };
    let parts: Vec<&str> = clock.split(':').collect();
    let (whole, last) = match parts[..] {
        [minutes, seconds] => ([0, digits(minutes)?], seconds),
        [hours, minutes, seconds] => ([digits(hours)?, digits(minutes)?], seconds),
        _ => return None,
    };
    let last = if decimal_comma { last.replacen(',', ".", 1) } else { last.to_owned() };
    if !last.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let seconds: f64 = last.parse().ok().filter(|seconds| (0.0..60.0).contains(seconds))?;
    let days = date.map_or(Some(0), days)?;
    Some(days as f64 * MIDNIGHT_S + f64::from(whole[0] * 3_600 + whole[1] * 60) + seconds)
}

fn digits(text: &str) -> Option<u32> {
    let short =
        !text.is_empty() && text.len() <= 5 && text.bytes().all(|byte| byte.is_ascii_digit());
    short.then(|| text.parse().ok()).flatten()
}

/// Days since an arbitrary one, of `2024-05-06` or `06.05.2024` or `05/06/2024`; only steps count.
fn days(date: &str) -> Option<i64> {
    let parts: Vec<u32> = date.split(['-', '.', '/']).map(digits).collect::<Option<_>>()?;
    let (year, month, day) = match parts[..] {
        [year, month, day] if year > 31 => (year, month, day),
        [day, month, year] if date.contains('.') => (year, month, day),
        [month, day, year] => (year, month, day),
        _ => return None,
    };
    let possible = (1..=12).contains(&month) && (1..=31).contains(&day) && year < 10_000;
    // Months counted from March, so that the leap day comes last (common practice).
    let (year, month) =
        if month > 2 { (year, month - 3) } else { (year.wrapping_sub(1), month + 9) };
    let year = i64::from(year as i32);
    let leaps = year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400);
    possible.then(|| year * 365 + leaps + i64::from((153 * month + 2) / 5 + day))
}

/// Adds a day where a clock without a date goes over midnight.
pub(super) fn over_midnight(before: f64, now: f64) -> f64 {
    let late = before - now;
    if late > MIDNIGHT_S / 2.0 { now + (late / MIDNIGHT_S).round() * MIDNIGHT_S } else { now }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clocks_are_read() {
        assert_eq!(clock("1:02:03.5", false), Some(3723.5));
        assert_eq!(clock("'0:00.004'", false), Some(0.004));
        assert_eq!(clock("00:00:01,25", true), Some(1.25));
        let dated = |text| clock(text, false).expect(text);
        assert_eq!(dated("2024-03-01 00:00:00") - dated("2024-02-28 00:00:00"), 2.0 * 86_400.0);
        assert_eq!(dated("2023-03-01T00:00:00Z") - dated("2023-02-28 12:00:00"), 43_200.0);
        assert_eq!(dated("[12:00:00.000 24.12.2000]".split_at(13).0), 43_200.0);
        for text in ["", "12", "a:b", "1:2:3:4", "1:-2", "1:75", "99999999:00", "2024-13-01 1:00"] {
            assert_eq!(clock(text, false), None, "{text}");
        }
        assert_eq!(over_midnight(86_399.999, 0.001), 86_400.001);
        assert_eq!(over_midnight(5.0, 4.9), 4.9);
    }

    #[test]
    fn time_columns_are_known_by_name() {
        assert_eq!(column("Time", "s"), Some(Some(TimeUnit::Seconds(1.0))));
        assert_eq!(column("time", ""), Some(None));
        assert_eq!(column("Elapsed time", "hh:mm:ss.mmm"), Some(Some(TimeUnit::Clock)));
        assert_eq!(column("ms", ""), Some(Some(TimeUnit::Seconds(1e-3))));
        assert_eq!(column("sample #", ""), Some(Some(TimeUnit::Count)));
        assert_eq!(column("ECG", "mV"), None);
        assert_eq!(column("ejection time", "ms"), None);
    }
}
