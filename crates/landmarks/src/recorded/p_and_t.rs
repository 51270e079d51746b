//! P and T of one beat of an ECG.

use super::fit::{Fit, Limits, Shape, settle};
use super::waves::{Neighbours, SMALLEST, STANDS_OUT, Waves, sure};
use super::{Mark, largest, span, summit};

/// P and T are fitted on means over this long, seconds.
const P_STEP_S: f64 = 0.006;
const T_STEP_S: f64 = 0.012;
/// The tops of T and P stand out of what is so long before and after, seconds.
const T_BESIDE_S: f64 = 0.09;
const P_BESIDE_S: f64 = 0.055;
/// The second phase of T has its top so long after the first's, seconds (no source).
const SECOND_PHASE_S: [f64; 2] = [0.04, 0.13];
/// By this much such a wave is less sure: too little to be measured from.
const DOUBTFUL: f64 = 0.25;
/// A top so far from where it is usual counts half, seconds.
const FAR_S: f64 = 0.12;
/// P's top is usually so long before the complex, seconds (PR 160 ms less half of P).
const P_BEFORE_S: f64 = 0.11;
/// P's top is level for so long at most, seconds ...
const MOST_FLAT_S: f64 = 0.07;
/// ... and only where no more than this share is left of what a peak leaves, ...
const CLEARLY_LESS: f64 = 0.85;
/// and the two differ by this share of P's height (no source).
const SEEN: f64 = 0.03;

impl Waves {
    /// Where within a stretch the heavily smoothed ECG stands out most of what lies `beside`
    /// seconds before and after, the more so the nearer it is to `likely`.
    fn stands_out(&self, [from, to]: [f64; 2], beside: f64, likely: f64) -> Option<usize> {
        let range = span(from, to, self.heavy.len());
        if range.len() < 5 {
            return None;
        }
        let (first, last) = (range.start, range.end - 1);
        let beside = self.samples(beside).round().max(1.0) as usize;
        let far = self.samples(FAR_S);
        largest(range, |i| {
            let (a, b) = (i.saturating_sub(beside).max(first), (i + beside).min(last));
            let off = (i as f64 - likely) / far;
            let out = 2.0 * self.heavy[i] - self.heavy[a] - self.heavy[b];
            out.abs() / (1.0 + off * off)
        })
    }

    /// Fits a wave around `peak` between two places, from flanks of the lengths guessed.
    fn wave(
        &mut self,
        samples: &[f64],
        [from, to]: [f64; 2],
        peak: f64,
        flanks_s: [f64; 2],
        step_s: f64,
    ) -> (Shape, Fit) {
        let step = self.samples(step_s).floor().max(1.0);
        self.cut.take(samples, span(from, to, samples.len()), step as usize, true);
        let least = self.samples(0.016);
        let guess = Shape {
            onset: Some((peak - self.samples(flanks_s[0])).max(from).min(peak - least)),
            peak,
            end: Some((peak + self.samples(flanks_s[1])).min(to).max(peak + least)),
            flat: 0.0,
        };
        let within = [from, to];
        let limits = Limits { onset: within, peak: within, end: within, flank: least, flat: 0.0 };
        let steps = [self.samples(0.024), self.samples(0.001)];
        settle(&self.cut, guess, &limits, steps)
    }

    /// The wave just fitted with a level top, where that leaves clearly less: P is often notched,
    /// and flanks that have to meet in one peak would begin too early and end too late.
    fn flattened(&self, shape: Shape, found: Fit, [from, to]: [f64; 2]) -> (Shape, Fit) {
        let (Some(onset), Some(end)) = (shape.onset, shape.end) else { return (shape, found) };
        let (within, longest) = ([from, to], self.samples(MOST_FLAT_S));
        let limits = Limits {
            onset: within,
            peak: within,
            end: within,
            flank: self.samples(0.016),
            flat: longest,
        };
        let flat = (0.25 * (end - onset)).min(longest);
        let guess = Shape {
            onset: Some(onset + 0.25 * (shape.peak - onset)),
            peak: (shape.peak - 0.5 * flat).max(onset + 0.5 * (shape.peak - onset)),
            flat,
            end: Some(end - 0.25 * (end - shape.peak)),
        };
        let steps = [self.samples(0.012), self.samples(0.001)];
        let (flat, other) = settle(&self.cut, guess, &limits, steps);
        // What nobody could see on paper is no reason for another shape.
        let gain = (found.left - other.left).max(0.0) / other.count.max(1) as f64;
        let seen = gain.sqrt() > SEEN * other.height.abs();
        if seen && other.left < CLEARLY_LESS * found.left { (flat, other) } else { (shape, found) }
    }

    pub(super) fn t_wave(
        &mut self,
        samples: &[f64],
        r: f64,
        qrs_end: f64,
        height: f64,
        near: &Neighbours,
        into: &mut Vec<Mark>,
    ) {
        let rr = near.after.map_or(self.samples(0.9), |after| after - r);
        let from = qrs_end + self.samples(0.012);
        let last = (r + self.samples(0.12) + 0.5 * rr).min(r + self.samples(0.62));
        let last = last.min(samples.len() as f64 - 1.0);
        if last - from < self.samples(0.1) {
            return;
        }
        let likely = r + self.samples(t_peak_s(rr / self.rate_hz));
        let Some(top) = self.stands_out([from, last], T_BESIDE_S, likely) else { return };
        let to = self.t_until(top, last);
        let range = [from, to];
        let (shape, found) = self.wave(samples, range, top as f64, [0.12, 0.085], T_STEP_S);
        let first = into.len();
        self.push_wave(["t_onset", "t_peak", "t_end"], &shape, &found, height, into);
        if self.second_phase(top, from, last) {
            into[first..].iter_mut().for_each(|mark| mark.confidence *= DOUBTFUL);
        }
    }

    /// Whether what follows T's top turns the other way even more: a T wave with two phases, of
    /// which nobody can say by shape alone which ends it.
    fn second_phase(&self, top: usize, from: f64, last: f64) -> bool {
        let range = span(from, last + 1.0, self.heavy.len());
        let beside = self.samples(T_BESIDE_S).round().max(1.0) as usize;
        let out = |i: usize| {
            let before = i.saturating_sub(beside).max(range.start);
            let after = (i + beside).min(range.end - 1);
            2.0 * self.heavy[i] - self.heavy[before] - self.heavy[after]
        };
        let [near, far] = SECOND_PHASE_S.map(|s| top as f64 + self.samples(s));
        let later = span(near, far.min(last - self.samples(0.04)), self.heavy.len());
        let other = -out(top).signum();
        let inside = |i: &usize| *i > later.start && *i + 1 < later.end;
        let second = largest(later.clone(), |i| other * out(i)).filter(inside);
        second.is_some_and(|i| other * out(i) > out(top).abs())
    }

    /// How far T may reach: a little beyond where the ECG turns after T's top, as it does where the
    /// next P wave begins.
    fn t_until(&self, top: usize, last: f64) -> f64 {
        let range = span(top as f64, last + 1.0, self.heavy.len());
        let level = self.heavy[range.end - 1];
        let up = if self.heavy[top] >= level { 1.0 } else { -1.0 };
        let lowest = largest(range, |i| -up * self.heavy[i]).unwrap_or(top);
        (lowest as f64 + self.samples(0.03)).max(top as f64 + self.samples(0.12)).min(last)
    }

    pub(super) fn p_wave(
        &mut self,
        samples: &[f64],
        r: f64,
        qrs_onset: f64,
        height: f64,
        near: &Neighbours,
        into: &mut Vec<Mark>,
    ) {
        let rr = near.before.map_or(self.samples(0.9), |before| r - before);
        let free = near.t_end_before.unwrap_or(r - rr + self.samples(0.3));
        let from = (qrs_onset - self.samples(0.36)).max(qrs_onset - 0.5 * rr).max(free);
        let (from, to) = (from.max(0.0), qrs_onset - self.samples(0.004));
        if to - from < self.samples(0.06) {
            return;
        }
        let likely = qrs_onset - self.samples(P_BEFORE_S);
        let Some(top) = self.stands_out([from, to], P_BESIDE_S, likely) else { return };
        let top = top as f64;
        let range = [from.max(top - self.samples(0.13)), to.min(top + self.samples(0.13))];
        let (shape, found) = self.wave(samples, range, top, [0.05, 0.05], P_STEP_S);
        let (shape, found) = self.flattened(shape, found, range);
        let length = shape.end.zip(shape.onset).map_or(0.0, |(end, onset)| end - onset);
        if (self.samples(0.03)..self.samples(0.22)).contains(&length) {
            self.push_wave(["p_onset", "p_peak", "p_end"], &shape, &found, height, into);
        }
    }

    /// The top of a wave: of a level one its highest or lowest point.
    fn top(&self, shape: &Shape, found: &Fit) -> f64 {
        let range = span(shape.peak, shape.peak + shape.flat + 1.0, self.heavy.len());
        let highest = largest(range, |i| found.height.signum() * self.heavy[i]);
        highest.filter(|_| shape.flat > 0.0).map_or(shape.peak, |top| summit(&self.heavy, top))
    }

    /// Adds a wave's onset, peak and end where it stands out.
    fn push_wave(
        &self,
        [onset, peak, end]: [&'static str; 3],
        shape: &Shape,
        found: &Fit,
        height: f64,
        into: &mut Vec<Mark>,
    ) {
        if found.stands_out() < STANDS_OUT || found.height.abs() < 0.6 * SMALLEST * height {
            return;
        }
        let confidence = sure(found);
        for (name, place) in
            [(onset, shape.onset), (peak, Some(self.top(shape, found))), (end, shape.end)]
        {
            if let Some(place) = place {
                self.push(name, place, confidence, into);
            }
        }
    }
}

/// When after R the top of T is usual, seconds: at 0.785 of QT (Rautaharju et al., J Electrocardiol
/// 2013), QT being 521 − 2.0 ms for each beat a minute (Chest 1981;80:613–617), less QRS onset to R.
fn t_peak_s(rr_s: f64) -> f64 {
    let rate_bpm = (60.0 / rr_s.max(0.1)).clamp(40.0, 150.0);
    0.785 * (0.521 - 0.002 * rate_bpm) - 0.04
}
