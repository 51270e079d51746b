//! Feet, peaks and notches of pressures and pulses.

use super::fit::{Cut, Limits, Shape, settle};
use super::pick::{Rules, pick};
use super::smooth::{boxcar, odd, slope};
use super::{Mark, at, largest, span, summit};

/// What the beginning of a pulse's rise is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Foot {
    /// The corner at which a pressure near the heart begins to rise.
    Corner,
    /// Where the tangent of the steepest rise meets the level before it: farther out the rise
    /// begins softly.
    Tangent,
}

/// Where one beat's pulse is looked for, in samples from the stretch's start.
#[derive(Clone, Copy, Debug)]
pub struct PulseWindow {
    /// The steepest rise lies from here ...
    pub from: f64,
    /// ... to here.
    pub to: f64,
    /// The next beat's pulse begins about here at the earliest.
    pub until: f64,
    /// The interval from beat to beat, by which the ejection time is guessed.
    pub interval: f64,
}

/// Finds the pulses of a pressure or a volume pulse.
#[derive(Clone, Debug, Default)]
pub struct Pulses {
    light: Vec<f64>,
    smooth: Vec<f64>,
    steep: Vec<f64>,
    room: Vec<f64>,
    cut: Cut,
    rate_hz: f64,
    grain: f64,
    /// The usual rise of a pulse.
    rise: f64,
}

const LIGHT_S: f64 = 0.012;
const SMOOTH_S: f64 = 0.036;
/// Over this long what rises is summed (Zong et al., Computers in Cardiology 2003:259–262).
const RISE_S: f64 = 0.128;
/// A pulse rises by at least this share of the usual.
const LEAST_RISE: f64 = 0.2;
/// The peak comes at most so long after the steepest rise, seconds (45 beats a minute and more;
/// common practice, no source).
const PEAK_S: f64 = 0.34;
/// The notch comes after so much of the usual ejection time at the earliest and latest, so that a
/// shoulder within systole is not taken for it (no source; 1.3 was seen at the bedside).
const EJECTION: [f64; 2] = [0.7, 1.5];
/// A notch is at least so deep, as a share of the pulse.
const LEAST_NOTCH: f64 = 0.004;

const RULES: Rules = Rules { apart_s: 0.27, echo_s: 0.45, share: 0.35, due_share: 0.2 };

impl Pulses {
    /// Prepares `samples`, whose grain ([`super::grain`]) is given.
    pub fn prepare(&mut self, samples: &[f64], rate_hz: f64, grain: f64) {
        (self.rate_hz, self.grain) = (rate_hz, grain);
        boxcar(samples, odd(LIGHT_S, rate_hz), &mut self.light);
        let width = odd(0.5 * SMOOTH_S, rate_hz);
        boxcar(samples, width, &mut self.room);
        boxcar(&self.room, width, &mut self.smooth);
        slope(&self.smooth, (0.006 * rate_hz).round().max(1.0) as usize, &mut self.steep);
        self.rise = self.usual_rise();
    }

    /// The middle of the rises within each two seconds.
    fn usual_rise(&self) -> f64 {
        let block = (2.0 * self.rate_hz) as usize;
        let rise = |part: &[f64]| {
            let low = part.iter().copied().fold(f64::INFINITY, f64::min);
            part.iter().copied().fold(f64::NEG_INFINITY, f64::max) - low
        };
        let mut rises: Vec<f64> = self.smooth.chunks(block.max(1)).map(rise).collect();
        super::percentile(&mut rises, 0.5)
    }

    fn samples(&self, seconds: f64) -> f64 {
        seconds * self.rate_hz
    }

    /// Where the pulses prepared rise most steeply, in the order of time, each with how sure it is;
    /// for recordings without an ECG.
    pub fn upstrokes(&mut self) -> Vec<(f64, f64)> {
        self.room.clear();
        self.room.extend(self.steep.iter().map(|steep| steep.max(0.0)));
        let width = odd(RISE_S, self.rate_hz);
        let mut rises = Vec::with_capacity(self.room.len());
        boxcar(&self.room, width, &mut rises);
        let reach = self.samples(0.5 * RISE_S);
        let steepest = |near: usize| {
            let range = span(near as f64 - reach, near as f64 + reach + 1.0, self.steep.len());
            largest(range, |i| self.steep[i]).unwrap_or(near)
        };
        let place = |at: usize| summit(&self.steep, steepest(at));
        let picks = pick(&rises, self.rate_hz, &RULES);
        picks.iter().map(|p| (place(p.at), 1.0 / (1.0 + p.rival * p.rival * p.rival))).collect()
    }

    /// The landmarks of one pulse of the `samples` prepared, in the order of time.
    pub fn find(
        &mut self,
        samples: &[f64],
        window: &PulseWindow,
        foot: Foot,
        into: &mut Vec<Mark>,
    ) {
        if samples.len() != self.light.len() || samples.len() < 16 {
            return;
        }
        let range = span(window.from, window.to + 1.0, self.steep.len());
        let Some(steepest) = largest(range, |i| self.steep[i]) else { return };
        let steep_place = summit(&self.steep, steepest);
        let peak_to = (steep_place + self.samples(PEAK_S)).min(window.until);
        let Some(peak) = self.peak(steepest, peak_to) else { return };
        let (foot_place, level) = self.foot(samples, steep_place, peak, foot);
        let rise = self.smooth[peak] - level;
        let sure = rise / (rise + 4.0 * self.grain + 0.25 * self.rise);
        if rise < LEAST_RISE * self.rise || !sure.is_finite() || foot_place < 0.0 {
            return;
        }
        let value = at(&self.light, foot_place);
        into.push(Mark { name: "pressure_foot", place: foot_place, value, confidence: sure });
        let place = self.sharpened(samples, peak, 1.0);
        let value = at(&self.light, place);
        into.push(Mark { name: "systolic_peak", place, value, confidence: sure });
        let [early, late] = EJECTION.map(|share| foot_place + share * self.ejection(window));
        let from = early.max(peak as f64 + self.samples(0.02));
        let to = late.min(window.until - self.samples(0.05));
        self.notch(samples, span(from, to, self.light.len()), rise, into);
    }

    /// The usual ejection time at this beat's rate, in samples: 413 − 1.7 ms for each beat a minute
    /// (Weissler et al., Circulation 1968;37:149–159).
    fn ejection(&self, window: &PulseWindow) -> f64 {
        let rate_bpm = (60.0 * self.rate_hz / window.interval.max(1.0)).clamp(30.0, 180.0);
        self.samples(0.413 - 0.0017 * rate_bpm)
    }

    /// The highest point after the steepest rise.
    fn peak(&self, steepest: usize, to: f64) -> Option<usize> {
        largest(span(steepest as f64, to + 1.0, self.smooth.len()), |i| self.smooth[i])
    }

    /// The foot's place and the level that the pulse rises from.
    fn foot(&mut self, samples: &[f64], steepest: f64, peak: usize, foot: Foot) -> (f64, f64) {
        let from = steepest - self.samples(0.16);
        let range = span(from, steepest + 1.0, self.smooth.len());
        let low = largest(range, |i| -self.smooth[i]).unwrap_or(0);
        let level = self.smooth[low];
        let slope = at(&self.steep, steepest);
        let tangent = steepest - (at(&self.smooth, steepest) - level) / slope.max(1e-12);
        if foot == Foot::Tangent {
            return (tangent, level);
        }
        (self.corner(samples, steepest, tangent, peak).unwrap_or(tangent), level)
    }

    /// The corner of a rise: a line before it, and half a flank from it to the steepest place.
    fn corner(&mut self, samples: &[f64], steepest: f64, tangent: f64, peak: usize) -> Option<f64> {
        let until = steepest.max(tangent + self.samples(0.012)).min(peak as f64);
        let from = tangent - self.samples(0.09);
        let step = self.samples(0.002).floor().max(1.0) as usize;
        self.cut.take(samples, span(from, until + 1.0, samples.len()), step, true);
        // The flank's steepest place is its middle, which is the end of what is fitted.
        let best = (0..=60).filter_map(|share| {
            let onset = tangent + self.samples(0.001 * (f64::from(share) - 45.0));
            let top = onset + 2.0 * (until - onset);
            (until - onset >= self.samples(0.006)).then(|| {
                let shape = Shape { onset: Some(onset), peak: top, ..Shape::default() };
                (onset, super::fit::fit(&self.cut, &shape).left)
            })
        });
        let start = best.min_by(|a, b| a.1.total_cmp(&b.1))?.0;
        let top = start + 2.0 * (until - start);
        let shape = Shape { onset: Some(start), peak: top, ..Shape::default() };
        let reach = [start - self.samples(0.01), start + self.samples(0.01)];
        let limits = Limits {
            onset: reach,
            peak: [shape.peak - self.samples(0.02), shape.peak + self.samples(0.05)],
            end: reach,
            flank: self.samples(0.006),
            flat: 0.0,
        };
        let steps = [self.samples(0.004), self.samples(0.0003)];
        settle(&self.cut, shape, &limits, steps).0.onset
    }

    /// The notch and the dicrotic wave: of the valleys that come when ejection may end the one from
    /// which the pulse climbs highest again. Where it only falls more slowly for a while there is
    /// none.
    fn notch(
        &mut self,
        samples: &[f64],
        range: std::ops::Range<usize>,
        rise: f64,
        into: &mut Vec<Mark>,
    ) {
        // Sharp notches are seen on the lightly smoothed pulse, blunt ones in noise only on the
        // smoother one.
        for (curve, smoothing) in [(&self.light, LIGHT_S), (&self.smooth, 0.75 * SMOOTH_S)] {
            let Some((low, top)) = deepest(curve, range.clone()) else { continue };
            let climb = curve[top] - curve[low];
            let noise = 2.5 * self.grain / self.samples(smoothing).max(1.0).sqrt();
            if climb < (LEAST_NOTCH * rise).max(noise) {
                continue;
            }
            let confidence = climb / (climb + 2.0 * noise + 0.01 * rise);
            for (name, at_sample, sign) in
                [("dicrotic_notch", low, -1.0), ("dicrotic_peak", top, 1.0)]
            {
                let place = self.sharpened(samples, at_sample, sign);
                let value = at(&self.light, place);
                into.push(Mark { name, place, value, confidence });
            }
            return;
        }
    }

    /// An extremum's place: of the samples themselves where they are without noise, else of the
    /// smooth curve.
    fn sharpened(&self, samples: &[f64], near: usize, sign: f64) -> f64 {
        if self.grain > 1e-3 * self.rise {
            return summit(&self.smooth, near);
        }
        let reach = self.samples(0.5 * SMOOTH_S).max(1.0);
        let range = span(near as f64 - reach, near as f64 + reach + 1.0, samples.len());
        largest(range, |i| sign * samples[i]).map_or(near as f64, |sharp| summit(samples, sharp))
    }
}

/// The valley from which a curve climbs highest before it falls below it again, and that climb's
/// top.
fn deepest(curve: &[f64], range: std::ops::Range<usize>) -> Option<(usize, usize)> {
    let mut best: Option<(usize, usize)> = None;
    let (mut low, mut top) = (range.start, range.start);
    let climb = |(low, top): (usize, usize)| curve[top] - curve[low];
    for index in range.clone() {
        if curve[index] < curve[low] {
            (low, top) = (index, index);
        } else if curve[index] > curve[top] {
            top = index;
        }
        let inside = low > range.start && top > low;
        if inside && best.is_none_or(|best| climb((low, top)) > climb(best)) {
            best = Some((low, top));
        }
    }
    best
}
