//! Curves as they come, and on an even grid.

use cycle::Trace;

/// How a curve shows what it is about.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Form {
    /// A line whose height is the value.
    #[default]
    Line,
    /// A vibration about a baseline.
    Oscillation,
    /// How far a vibration reaches from its baseline, such as the outline of hatching.
    Envelope,
}

/// A trace to find landmarks on: a function of time with gaps.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// Channel identifier.
    pub channel: String,
    /// Time in seconds and value, in the order of time; not necessarily equally spaced.
    pub points: Vec<[f64; 2]>,
    /// Stretches, in seconds, of which nothing is known.
    pub unknown: Vec<[f64; 2]>,
    /// One standard deviation of a point's value; more is assumed where the points scatter more.
    pub noise: f64,
    /// How well a time can be told at best, in seconds.
    pub resolution_s: f64,
    /// What the line shows.
    pub form: Form,
    /// Bursts that were measured already, in the order of time; where there are none, they are
    /// found from the points.
    pub bursts: Vec<Drawn>,
}

/// A burst that was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drawn {
    /// When it begins, seconds.
    pub start_s: f64,
    /// When it ends.
    pub end_s: f64,
    /// Its height above the baseline.
    pub height: f64,
    /// How much later it may begin and how much earlier end, seconds.
    pub doubt_s: [f64; 2],
    /// Whether it may be none.
    pub perhaps: bool,
}

impl Curve {
    /// A measured or computed trace without gaps.
    pub fn of(trace: &Trace, form: Form) -> Self {
        let samples = trace.samples.iter().enumerate();
        Self {
            channel: trace.channel.clone(),
            points: samples.map(|(index, &value)| [trace.time_s(index), value]).collect(),
            unknown: Vec::new(),
            noise: 0.0,
            resolution_s: 1.0 / trace.rate_hz,
            form,
            bursts: Vec::new(),
        }
    }
}

/// Finest and coarsest grid, in seconds.
const STEPS_S: [f64; 2] = [0.001, 0.004];
/// Longest half-window of smoothing, in seconds.
const SMOOTHEST_S: f64 = 0.024;

/// Slopes this near to a curve's ends are those farther in, seconds.
const EDGE_S: f64 = 0.006;

/// A curve on an even grid, smoothed as far as its noise asks for.
#[derive(Clone, Debug)]
pub(crate) struct Grid {
    pub(crate) start_s: f64,
    pub(crate) step_s: f64,
    /// Values before smoothing.
    pub(crate) raw: Vec<f64>,
    /// Values and slopes (per second) after it.
    pub(crate) smooth: Vec<f64>,
    pub(crate) slope: Vec<f64>,
    /// Values smoothed over a few milliseconds at most, which leaves corners sharp, and one
    /// standard deviation of them.
    pub(crate) light: Vec<f64>,
    pub(crate) light_grain: f64,
    known: Vec<bool>,
    /// One standard deviation of raw values, and of smoothed ones.
    pub(crate) noise: f64,
    pub(crate) grain: f64,
    /// From the lowest to the highest value.
    pub(crate) height: f64,
    pub(crate) resolution_s: f64,
}

impl Grid {
    /// `None` where there are too few points to say anything.
    pub(crate) fn new(curve: &Curve) -> Option<Self> {
        let mut points = curve.points.clone();
        points.retain(|point| point.iter().all(|number| number.is_finite()));
        points.sort_by(|a, b| a[0].total_cmp(&b[0]));
        points.dedup_by(|b, a| b[0] - a[0] <= 1e-9);
        if points.len() < 16 {
            return None;
        }
        let spacing = median(points.windows(2).map(|pair| pair[1][0] - pair[0][0]).collect());
        let step_s = spacing.clamp(STEPS_S[0], STEPS_S[1]);
        let (start_s, end_s) = (points[0][0], points[points.len() - 1][0]);
        let count = ((end_s - start_s) / step_s + 1e-6).floor() as usize + 1;
        let mut raw = Vec::with_capacity(count);
        let mut known = Vec::with_capacity(count);
        let mut left = 0;
        for index in 0..count {
            let time_s = start_s + index as f64 * step_s;
            while left + 2 < points.len() && points[left + 1][0] <= time_s {
                left += 1;
            }
            let (a, b) = (points[left], points[left + 1]);
            let share = ((time_s - a[0]) / (b[0] - a[0])).clamp(0.0, 1.0);
            raw.push(a[1] + share * (b[1] - a[1]));
            // Points farther apart than this leave a gap, whether it was announced or not.
            let wide = b[0] - a[0] > (4.0 * spacing).max(0.012);
            let told = curve.unknown.iter().any(|gap| (gap[0]..=gap[1]).contains(&time_s));
            known.push(!(told || wide && share > 0.0 && share < 1.0));
        }
        let (low, high) = raw.iter().fold((raw[0], raw[0]), |(lo, hi), &v| (lo.min(v), hi.max(v)));
        let height = (high - low).max(1e-12);
        let noise = curve.noise.max(scatter(&points)).max(1e-4 * height);
        let mut grid = Self {
            start_s,
            step_s,
            smooth: raw.clone(),
            slope: vec![0.0; count],
            light: raw.clone(),
            light_grain: noise,
            raw,
            known,
            noise,
            grain: noise,
            height,
            resolution_s: curve.resolution_s.max(0.5 * step_s),
        };
        grid.smoothen();
        grid.smoothen_lightly();
        Some(grid)
    }

    pub(crate) fn time_s(&self, index: f64) -> f64 {
        self.start_s + index * self.step_s
    }

    pub(crate) fn index(&self, time_s: f64) -> usize {
        let place = ((time_s - self.start_s) / self.step_s).round().max(0.0) as usize;
        place.min(self.raw.len() - 1)
    }

    pub(crate) fn end_s(&self) -> f64 {
        self.time_s((self.raw.len() - 1) as f64)
    }

    pub(crate) fn at(&self, time_s: f64) -> f64 {
        let place = (time_s - self.start_s) / self.step_s;
        let left = (place.floor().max(0.0) as usize).min(self.raw.len() - 1);
        let right = (left + 1).min(self.raw.len() - 1);
        let share = (place - left as f64).clamp(0.0, 1.0);
        self.smooth[left] + share * (self.smooth[right] - self.smooth[left])
    }

    /// Whether noise can be left out of account.
    pub(crate) fn is_noiseless(&self) -> bool {
        self.noise < NOISELESS * self.height
    }

    /// The last place before the sample `at`, as an index, at which the smoothed curve comes to
    /// `level`, from above it or from below.
    pub(crate) fn last_before(&self, at: usize, level: f64, above: bool) -> Option<f64> {
        let index = (0..at).rev().find(|&index| (self.smooth[index] > level) == above)?;
        Some(self.crossing(index, index + 1, level))
    }

    /// The first place after it at which the curve leaves `level`, upwards or downwards.
    pub(crate) fn first_after(&self, at: usize, level: f64, above: bool) -> Option<f64> {
        let mut after = at + 1..self.smooth.len();
        let index = after.find(|&index| (self.smooth[index] > level) == above)?;
        Some(self.crossing(index, index - 1, level))
    }

    /// Where the straight line between two samples is at `level`, as an index.
    fn crossing(&self, from: usize, to: usize, level: f64) -> f64 {
        let (a, b) = (self.smooth[from], self.smooth[to]);
        let share = if a == b { 1.0 } else { ((level - a) / (b - a)).clamp(0.0, 1.0) };
        from as f64 + share * (to as f64 - from as f64)
    }

    pub(crate) fn is_known(&self, time_s: f64) -> bool {
        self.known[self.index(time_s)]
    }

    /// Share of a stretch that is known; what lies outside the curve is not.
    pub(crate) fn known_share(&self, from_s: f64, to_s: f64) -> f64 {
        let steps = 20;
        let inside = (0..=steps).filter(|&step| {
            let time_s = from_s + (to_s - from_s) * f64::from(step) / f64::from(steps);
            (self.start_s..=self.end_s()).contains(&time_s) && self.is_known(time_s)
        });
        inside.count() as f64 / f64::from(steps + 1)
    }

    /// Fits a parabola around each sample, over the widest window whose scatter about it is no
    /// more than noise (after Lepski's choice of scale).
    fn smoothen(&mut self) {
        let widest = (SMOOTHEST_S / self.step_s).round().max(2.0) as usize;
        let mut windows = vec![1, 2, 3, 4, 6, 8, 12, 16, 24];
        windows.retain(|&half| half <= widest);
        let count = self.raw.len();
        let mut widths = Vec::with_capacity(count);
        for index in 0..count {
            let room = index.min(count - 1 - index);
            let mut chosen = None;
            for &half in windows.iter().filter(|&&half| half <= room) {
                let fit = Fit::new(&self.raw[index - half..=index + half]);
                // Few points scatter more by chance: this is exceeded about once in 200 times.
                let chance = 1.0 + 2.6 / (2.0 * (2.0 * half as f64 - 2.0)).max(1.0).sqrt();
                if chosen.is_some() && half > 2 && fit.scatter > chance * self.noise {
                    break;
                }
                chosen = Some((half, fit));
            }
            let Some((half, fit)) = chosen else { continue };
            self.smooth[index] = fit.value;
            self.slope[index] = fit.slope / self.step_s;
            widths.push(half as f64);
        }
        // There is no room for a wide window at the ends, and slopes from narrow ones are rough.
        let edge = ((EDGE_S / self.step_s).round().max(1.0) as usize).min(count / 2);
        let (first, last) = (self.slope[edge], self.slope[count - 1 - edge]);
        self.slope[..edge].fill(first);
        self.slope[count - edge..].fill(last);
        // A parabola over 2n + 1 points leaves about this share of their noise at its middle.
        let half = median(widths);
        self.grain = self.noise * (2.25 / (2.0 * half + 1.0)).sqrt().min(1.0);
    }
}

impl Grid {
    /// Averages over a few milliseconds where there is noise to speak of.
    fn smoothen_lightly(&mut self) {
        if self.is_noiseless() {
            self.light.clone_from(&self.smooth);
            self.light_grain = self.grain;
            return;
        }
        let reach = (LIGHT_S / self.step_s).round().max(1.0) as usize;
        for index in reach..self.raw.len().saturating_sub(reach) {
            let window = &self.raw[index - reach..=index + reach];
            self.light[index] = window.iter().sum::<f64>() / window.len() as f64;
        }
        self.light_grain = self.noise / ((2 * reach + 1) as f64).sqrt();
    }
}

/// Half the window of light smoothing, seconds, and the share of a curve's height below which
/// noise needs none.
const LIGHT_S: f64 = 0.003;
const NOISELESS: f64 = 3e-4;

/// A parabola through values at −n … n.
struct Fit {
    value: f64,
    slope: f64,
    scatter: f64,
}

impl Fit {
    fn new(values: &[f64]) -> Self {
        let half = (values.len() / 2) as f64;
        let middle = values[values.len() / 2];
        let (mut s0, mut s1, mut s2, mut squares) = (0.0, 0.0, 0.0, 0.0);
        for (place, value) in values.iter().enumerate() {
            let (at, value) = (place as f64 - half, value - middle);
            s0 += value;
            s1 += value * at;
            s2 += value * at * at;
            squares += value * value;
        }
        let count = values.len() as f64;
        let m2 = half * (half + 1.0) * (2.0 * half + 1.0) / 3.0;
        let m4 = m2 * (3.0 * half * half + 3.0 * half - 1.0) / 5.0;
        let bend = (count * s2 - m2 * s0) / (count * m4 - m2 * m2);
        let value = (s0 - bend * m2) / count;
        let slope = s1 / m2;
        let left = (squares - value * s0 - slope * s1 - bend * s2).max(0.0);
        let scatter = (left / (count - 3.0).max(1.0)).sqrt();
        Self { value: value + middle, slope, scatter }
    }
}

/// Standard deviation of the points about a smooth course: third differences have twenty times
/// the variance of one point, and their median is not moved by a few steep places.
fn scatter(points: &[[f64; 2]]) -> f64 {
    let third =
        points.windows(4).map(|p| (p[3][1] - 3.0 * p[2][1] + 3.0 * p[1][1] - p[0][1]).abs());
    1.4826 * median(third.collect()) / 20f64.sqrt()
}

pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}
