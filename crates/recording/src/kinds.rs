//! What quantities are called, and the corrections of QT.

/// What a quantity is called and how it is taken.
pub(crate) struct Kind {
    pub(crate) id: &'static str,
    pub(crate) title: &'static str,
    pub(crate) unit: &'static str,
    pub(crate) definition: &'static str,
}

pub(crate) const fn kind(
    id: &'static str,
    title: &'static str,
    unit: &'static str,
    definition: &'static str,
) -> Kind {
    Kind { id, title, unit, definition }
}

/// The four corrections of QT for the rate, from QT in ms and RR in s.
///
/// Bazett 1920 (QT/√RR); Fridericia 1920 (QT/∛RR); Framingham, Sagie et al., Am J Cardiol
/// 1992;70:797 (QT + 154·(1 − RR), from memory); Hodges et al., J Am Coll Cardiol 1983;1:694
/// (QT + 1.75·(HR − 60), from memory).
pub(crate) fn corrected(qt_ms: f64, rr_s: f64) -> [f64; 4] {
    [
        qt_ms / rr_s.sqrt(),
        qt_ms / libm::cbrt(rr_s),
        qt_ms + 154.0 * (1.0 - rr_s),
        qt_ms + 1.75 * (60.0 / rr_s - 60.0),
    ]
}

pub(crate) const CORRECTIONS: [Kind; 4] = [
    kind(
        "qtc_bazett",
        "QTc (Bazett)",
        "ms",
        "QT divided by the square root of the RR interval before, in seconds",
    ),
    kind(
        "qtc_fridericia",
        "QTc (Fridericia)",
        "ms",
        "QT divided by the cube root of the RR interval before, in seconds",
    ),
    kind(
        "qtc_framingham",
        "QTc (Framingham)",
        "ms",
        "QT plus 154 ms for each second that the RR interval before is shorter than one",
    ),
    kind("qtc_hodges", "QTc (Hodges)", "ms", "QT plus 1.75 ms for each beat a minute above 60"),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn corrections_leave_qt_as_it_is_at_sixty_a_minute() {
        for value in corrected(400.0, 1.0) {
            assert!((value - 400.0).abs() < 1e-9);
        }
        // QT 360 ms at RR 0.64 s: 360/0.8; 360/0.8618; 360 + 154·0.36; 360 + 1.75·33.75.
        let wanted = [450.0, 417.734, 415.44, 419.0625];
        for (value, wanted) in corrected(360.0, 0.64).into_iter().zip(wanted) {
            assert!((value - wanted).abs() < 1e-2, "{value} for {wanted}");
        }
    }
}
