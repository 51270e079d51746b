//! How long things last at a rate: the QT interval and the contraction that goes with it.

use serde::Serialize;

/// QT interval in seconds at a rate, in a resting adult: 521 − 2.0·HR ms (men, Chest
/// 1981;80:613), measured from 50 to 110 beats a minute. Beyond, it shortens at the 1.2 ms a beat
/// that ejection shortens in upright exercise (371 − 1.2·HR, Lance et al.).
pub(crate) fn qt_s(rate_bpm: f64) -> f64 {
    let steep = rate_bpm.min(110.0);
    (521.0 - 2.0 * steep - 1.2 * (rate_bpm - steep)) / 1000.0
}

/// Share of QT from the onset of the QRS complex to the peak of T, 328 of 413 ms
/// (Rautaharju et al., J Electrocardiol 2013).
pub(crate) const T_PEAK_SHARE: f64 = 0.785;

/// Width of a normal QRS complex; 85 to 95 ms on average (Rautaharju 2013; Surawicz et al.,
/// J Am Coll Cardiol 2009;53:976).
pub(crate) const QRS_S: f64 = 0.088;
/// Width of a QRS complex that starts in the ventricles; over 120 ms by definition.
pub(crate) const ECTOPIC_QRS_S: f64 = 0.150;

/// From the onset of the QRS complex to the onset of the left ventricle's pressure rise;
/// 20 to 50 ms (textbook, from memory).
pub(crate) fn lv_delay_s(rate_bpm: f64) -> f64 {
    0.040 * slowness(rate_bpm).sqrt()
}

/// The same for the right ventricle, whose valve closes some 30 ms after the left's (Q–T1 90,
/// Q–M1 60 ms; Am J Cardiol 1975;35:346).
pub(crate) fn rv_delay_s(rate_bpm: f64) -> f64 {
    lv_delay_s(rate_bpm) + 0.015
}

/// A beat that starts in the ventricles spreads slowly through them; both lag (from memory).
pub(crate) const ECTOPIC_DELAY_S: f64 = 0.02;

/// How much slower the onset of contraction is than at 75 a minute; below 45 it slows no further.
fn slowness(rate_bpm: f64) -> f64 {
    75.0 / rate_bpm.max(45.0)
}

/// The course of one ventricle's contraction: a Hill curve up, a knee, an exponential down.
///
/// `e(t) = h/(1 + h) · (1 + exp((t − fall)/knee))^(−knee/tau)` with `h = (t/rise)^steepness`,
/// scaled to reach 1. It ends as an exponential of time constant `tau`, as measured
/// relaxation does (Weiss et al. 1976, from memory).
#[derive(Clone, Copy, Debug, Serialize)]
pub(crate) struct Contraction {
    rise_s: f64,
    steepness: f64,
    fall_s: f64,
    tau_s: f64,
    /// 1 over the largest value that the two curves together reach.
    scale: f64,
}

impl Contraction {
    /// The left ventricle's at a rate. The published shapes, scaled to the cycle, miss the
    /// systolic time intervals by 25 to 60 ms, so the fall is tied to the QT interval and the
    /// rise quickens with the rate (stronger at faster rates); tuned to Weissler's lines.
    pub(crate) fn left(rate_bpm: f64, relaxation: f64) -> Self {
        let fall_s = qt_s(rate_bpm) - lv_delay_s(rate_bpm) - 0.007;
        Self::new(0.158 * slowness(rate_bpm), 1.6, fall_s.max(0.08), 0.033 * relaxation)
    }

    /// The right ventricle's: it ejects longer, against less. A beat at a pressure of
    /// `chest_mmhg` around the heart contracts 5 ms longer for each mmHg below the mean. This
    /// law is imposed (tuned to the inspiratory split of the second sound): it stands for the
    /// longer twitch of a fuller ventricle and the wider pulmonary bed, which are not modelled.
    pub(crate) fn right(rate_bpm: f64, chest_mmhg: f64) -> Self {
        let fall_s = qt_s(rate_bpm) - rv_delay_s(rate_bpm) + 0.008 - 0.005 * chest_mmhg;
        Self::new(0.128 * slowness(rate_bpm).sqrt(), 1.5, fall_s.max(0.09), 0.033)
    }

    fn new(rise_s: f64, steepness: f64, fall_s: f64, tau_s: f64) -> Self {
        let mut contraction = Self { rise_s, steepness, fall_s, tau_s, scale: 1.0 };
        // The top is flat, so a coarse search finds its height to a part in ten thousand.
        let steps = (0..=100).map(|step| contraction.at(fall_s * (0.5 + f64::from(step) / 150.0)));
        contraction.scale = 1.0 / steps.fold(0.0, f64::max);
        contraction
    }

    /// Activation from 0 to 1, `t_s` after contraction begins.
    pub(crate) fn at(&self, t_s: f64) -> f64 {
        if t_s <= 0.0 || t_s > self.lasts_s() {
            return 0.0;
        }
        let fall = (t_s - self.fall_s) / KNEE_S;
        // Powers by way of logarithms: half the time of a general power, and many are computed.
        let hill = libm::exp(self.steepness * libm::log(t_s / self.rise_s));
        let falling = libm::exp(-KNEE_S / self.tau_s * libm::log1p(libm::exp(fall)));
        self.scale * hill / (1.0 + hill) * falling
    }

    /// How long it lasts: by then less than a part in a million is left.
    pub(crate) fn lasts_s(&self) -> f64 {
        self.fall_s + 14.0 * self.tau_s
    }
}

/// How suddenly relaxation begins (tuned).
const KNEE_S: f64 = 0.008;

/// Atrial contraction from 0 to 1, `t_s` after it begins: one smooth hump.
pub(crate) fn atrial(t_s: f64, length_s: f64) -> f64 {
    if (0.0..length_s).contains(&t_s) {
        0.5 * (1.0 - libm::cos(2.0 * std::f64::consts::PI * t_s / length_s))
    } else {
        0.0
    }
}

/// From the onset of the P wave to the onset of atrial contraction (tuned within the P wave).
pub(crate) const ATRIAL_DELAY_S: f64 = 0.06;

/// Length of an atrial contraction: it begins to relax as the ventricles take over.
pub(crate) fn atrial_length_s(rate_bpm: f64) -> f64 {
    0.18_f64.min(0.30 * 60.0 / rate_bpm)
}
