//! Ranges, ticks and how numbers are written.

/// A step of 1, 2 or 5 times a power of ten, at least `least`.
pub fn nice_step(least: f64) -> f64 {
    let power = libm::pow(10.0, libm::floor(libm::log10(least)));
    let factor = [1.0, 2.0, 5.0].into_iter().find(|f| f * power >= least * (1.0 - 1e-9));
    factor.unwrap_or(10.0) * power
}

/// Ticks within `low` to `high`, `length_mm` long, at least `apart_mm` from each other.
///
/// Gives the step and the ticks; both ends are finite and `low` is the smaller.
pub(crate) fn ticks(low: f64, high: f64, length_mm: f64, apart_mm: f64) -> (f64, Vec<f64>) {
    let step = nice_step((high - low) * (apart_mm / length_mm).min(1.0));
    let first = libm::ceil(low / step - 1e-9);
    let last = libm::floor(high / step + 1e-9);
    let count = (last - first).clamp(-1.0, 1000.0) as i64 + 1;
    (step, (0..count).map(|i| (first + i as f64) * step).collect())
}

/// Ticks of a value axis: well apart, or closer where that leaves fewer than two.
pub fn value_ticks(range: [f64; 2], length_mm: f64, scale: f64) -> (f64, Vec<f64>) {
    let [low, high] = range;
    let mut found = ticks(low, high, length_mm, 7.0 * scale);
    for apart_mm in [5.0, 3.6] {
        if found.1.len() < 2 {
            found = ticks(low, high, length_mm, apart_mm * scale);
        }
    }
    found
}

/// The range that shows `low` to `high` with `below_mm` and `above_mm` free in `height_mm`.
pub(crate) fn padded(
    low: f64,
    high: f64,
    height_mm: f64,
    below_mm: f64,
    above_mm: f64,
) -> [f64; 2] {
    // Zero belongs on an axis that comes near it: heights are then seen from the ground.
    let low = if low > 0.0 && low < 0.3 * high { 0.0 } else { low };
    let extent = if high - low > 1e-9 * high.abs().max(1e-9) {
        high - low
    } else {
        high.abs().max(1.0) * 0.2
    };
    let free = (below_mm + above_mm).min(0.5 * height_mm);
    let per_mm = extent / (height_mm - free);
    let share = free / (below_mm + above_mm).max(1e-9);
    [low - below_mm * share * per_mm, high + above_mm * share * per_mm]
}

/// `value` with as many decimals as `step` has, and a true minus sign.
pub fn tick_text(value: f64, step: f64) -> String {
    let decimals = (-libm::floor(libm::log10(step) + 1e-9)).clamp(0.0, 9.0) as usize;
    signed(&format!("{value:.decimals$}"))
}

/// `value` to three significant digits or so, for words.
pub(crate) fn value_text(value: f64) -> String {
    let decimals = match value.abs() {
        size if size >= 100.0 => 0,
        size if size >= 10.0 => 1,
        _ => 2,
    };
    let text = format!("{value:.decimals$}");
    let text =
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    signed(text)
}

fn signed(text: &str) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_owned(),
        Some(rest) => format!("−{rest}"),
        None => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_far_enough_apart() {
        let (step, ticks) = ticks(-3.0, 126.0, 45.0, 9.0);
        assert!((step - 50.0).abs() < 1e-9);
        assert_eq!(ticks, [0.0, 50.0, 100.0]);
        assert_eq!(tick_text(-0.5, 0.5), "−0.5");
        assert_eq!(tick_text(-0.0, 0.2), "0.0");
        assert_eq!(tick_text(1500.0, 500.0), "1500");
    }

    #[test]
    fn a_flat_trace_has_an_axis_too() {
        let [low, high] = padded(5.0, 5.0, 30.0, 2.0, 4.0);
        assert!(low < 5.0 && high > 5.0);
        let [low, high] = padded(0.0, 0.0, 30.0, 2.0, 4.0);
        assert!(low < 0.0 && high > 0.0);
    }

    #[test]
    fn words_have_short_numbers() {
        assert_eq!(value_text(118.37), "118");
        assert_eq!(value_text(7.5), "7.5");
        assert_eq!(value_text(-0.104), "−0.1");
        assert_eq!(value_text(100.0), "100");
    }
}
