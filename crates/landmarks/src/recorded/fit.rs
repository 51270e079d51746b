//! Fitting a wave's shape by least squares.
//!
//! A wave's flank is taken for half a cosine, and that for the cubic 3u² − 2u³, which differs from
//! it by 1 % of its height at most and takes no cosine. Where such a flank begins or ends is where
//! the sum of squares is least: all samples of the flank and of the level beside it say so, not
//! the few that cross a threshold.

/// Evenly spaced samples around a wave: means over `step` samples each, less their own level and
/// slope.
#[derive(Clone, Debug, Default)]
pub(super) struct Cut {
    /// Place of the first value and distance between values, in samples of the recording.
    start: f64,
    step: f64,
    /// What remains of the values without their level and slope, and its sum of squares.
    rest: Vec<f64>,
    squares: f64,
    sloping: bool,
}

impl Cut {
    /// Takes the means of `step` samples each from `range` of `samples`, and their level out of
    /// them, with the slope if `sloping`.
    pub(super) fn take(
        &mut self,
        samples: &[f64],
        range: std::ops::Range<usize>,
        step: usize,
        sloping: bool,
    ) {
        let step = step.max(1);
        self.rest.clear();
        self.start = range.start as f64 + 0.5 * (step as f64 - 1.0);
        (self.step, self.sloping) = (step as f64, sloping);
        let part = samples.get(range).unwrap_or_default();
        let share = 1.0 / step as f64;
        self.rest.extend(part.chunks_exact(step).map(|chunk| chunk.iter().sum::<f64>() * share));
        let count = self.rest.len() as f64;
        let level = self.rest.iter().sum::<f64>() / count.max(1.0);
        let middle = 0.5 * (count - 1.0);
        let along = |(index, value): (usize, &f64)| (index as f64 - middle) * value;
        let slope = if sloping && count > 1.0 {
            self.rest.iter().enumerate().map(along).sum::<f64>() / spread(count)
        } else {
            0.0
        };
        for (index, value) in self.rest.iter_mut().enumerate() {
            *value -= level + slope * (index as f64 - middle);
        }
        self.squares = self.rest.iter().map(|value| value * value).sum();
    }
}

/// Sum of the squared distances of 0, 1, … from their middle.
fn spread(count: f64) -> f64 {
    count * (count * count - 1.0) / 12.0
}

/// A wave's shape in samples of the recording: level until `onset`, then up to `peak`, level for
/// `flat`, then down to `end`. A side that there is not lies outside of what is fitted.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Shape {
    pub(super) onset: Option<f64>,
    pub(super) peak: f64,
    pub(super) flat: f64,
    pub(super) end: Option<f64>,
}

impl Shape {
    /// Where it begins to go down.
    fn falls(&self) -> f64 {
        self.peak + self.flat
    }
}

/// What fits best under one shape.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Fit {
    /// Height of the wave above its level, in the samples' unit.
    pub(super) height: f64,
    /// Sum of squares that is left, with the wave and without it.
    pub(super) left: f64,
    pub(super) without: f64,
    pub(super) count: usize,
}

impl Fit {
    /// How many times as much the wave explains as is left for each sample to explain.
    pub(super) fn stands_out(&self) -> f64 {
        let free = self.count.saturating_sub(6).max(1) as f64;
        (self.without - self.left).max(0.0) / (self.left / free).max(1e-300)
    }
}

/// Sums over a shape's heights h at the places of a cut.
#[derive(Clone, Copy, Default)]
struct Sums {
    h: f64,
    hh: f64,
    /// With the values' numbers.
    ih: f64,
    /// With what remains of the values.
    yh: f64,
}

impl Sums {
    /// Adds a flank from height 0 at `low` to 1 at `high`, which may lie on either side, as far as
    /// it lies within the cut.
    fn add_flank(&mut self, cut: &Cut, [low, high]: [f64; 2], [from, to]: [usize; 2]) {
        if from >= to || low == high {
            return;
        }
        let each = cut.step / (high - low);
        let first = (cut.start + from as f64 * cut.step - low) / (high - low);
        for (number, y) in cut.rest[from..to].iter().enumerate() {
            let u = (first + number as f64 * each).clamp(0.0, 1.0);
            let h = u * u * (3.0 - 2.0 * u);
            self.h += h;
            self.hh += h * h;
            self.ih += h * (from + number) as f64;
            self.yh += h * y;
        }
    }

    /// Adds a level top of height 1.
    fn add_top(&mut self, cut: &Cut, [from, to]: [usize; 2]) {
        for (number, y) in cut.rest[from..to.max(from)].iter().enumerate() {
            self.h += 1.0;
            self.hh += 1.0;
            self.ih += (from + number) as f64;
            self.yh += y;
        }
    }
}

/// Fits level, slope (of a sloping cut) and height of one shape.
pub(super) fn fit(cut: &Cut, shape: &Shape) -> Fit {
    let count = cut.rest.len();
    let number = |place: f64| {
        let number = ((place - cut.start) / cut.step).ceil().max(0.0);
        (number as usize).min(count)
    };
    let [peak, falls] = [number(shape.peak), number(shape.falls())];
    let mut sums = Sums::default();
    if let Some(onset) = shape.onset {
        sums.add_flank(cut, [onset, shape.peak], [number(onset), peak]);
    }
    sums.add_top(cut, [peak, falls]);
    if let Some(end) = shape.end {
        sums.add_flank(cut, [end, shape.falls()], [falls, number(end)]);
    }
    // What remains of the heights without their own level and slope.
    let all = count as f64;
    let aslant = sums.ih - 0.5 * (all - 1.0) * sums.h;
    let slope = if cut.sloping && count > 1 { aslant * aslant / spread(all) } else { 0.0 };
    let rest = sums.hh - sums.h * sums.h / all.max(1.0) - slope;
    let without = cut.squares;
    if rest.is_nan() || rest <= 1e-9 * sums.hh {
        return Fit { height: 0.0, left: without, without, count };
    }
    let left = (without - sums.yh * sums.yh / rest).max(0.0);
    Fit { height: sums.yh / rest, left, without, count }
}

/// Which of a shape's places may move, and within what.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limits {
    pub(super) onset: [f64; 2],
    pub(super) peak: [f64; 2],
    pub(super) end: [f64; 2],
    /// Least length of a flank.
    pub(super) flank: f64,
    /// Greatest length of a level top.
    pub(super) flat: f64,
}

/// Moves a shape's places to where it fits best, by steps that halve from `step` to `finest`
/// samples.
pub(super) fn settle(
    cut: &Cut,
    mut shape: Shape,
    limits: &Limits,
    [step, finest]: [f64; 2],
) -> (Shape, Fit) {
    let mut best = fit(cut, &shape);
    let mut step = step;
    while step >= finest {
        let mut moved = false;
        for which in 0..4 {
            for by in [-step, step] {
                let Some(other) = shifted(&shape, which, by, limits) else { continue };
                let found = fit(cut, &other);
                if found.left < best.left * (1.0 - 1e-9) {
                    (shape, best, moved) = (other, found, true);
                    break;
                }
            }
        }
        if !moved {
            step *= 0.5;
        }
    }
    (shape, best)
}

fn shifted(shape: &Shape, which: usize, by: f64, limits: &Limits) -> Option<Shape> {
    let within = |place: f64, [from, to]: [f64; 2]| (from..=to).contains(&place).then_some(place);
    let other = match which {
        0 => Shape { onset: Some(within(shape.onset? + by, limits.onset)?), ..*shape },
        1 => Shape { peak: within(shape.peak + by, limits.peak)?, ..*shape },
        2 => Shape { end: Some(within(shape.end? + by, limits.end)?), ..*shape },
        _ => Shape { flat: within(shape.flat + by, [0.0, limits.flat])?, ..*shape },
    };
    let long = other.onset.is_none_or(|onset| other.peak - onset >= limits.flank)
        && other.end.is_none_or(|end| end - other.falls() >= limits.flank);
    long.then_some(other)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wave_of_half_cosines_on_a_slope_is_found_where_it_is() {
        let wave = |t: f64| {
            let half = |u: f64| 0.5 - 0.5 * libm::cos(std::f64::consts::PI * u);
            let up = half(((t - 40.3) / 30.0).clamp(0.0, 1.0));
            let down = half(((t - 70.3) / 41.0).clamp(0.0, 1.0));
            0.3 + 0.001 * t + 0.15 * (up - down)
        };
        let samples: Vec<f64> = (0..160).map(|t| wave(f64::from(t))).collect();
        let mut cut = Cut::default();
        cut.take(&samples, 0..160, 2, true);
        let start = Shape { onset: Some(50.0), peak: 80.0, end: Some(100.0), flat: 0.0 };
        let anywhere = [0.0, 160.0];
        let limits =
            Limits { onset: anywhere, peak: anywhere, end: anywhere, flank: 4.0, flat: 0.0 };
        let (shape, fit) = settle(&cut, start, &limits, [16.0, 0.25]);
        let near = |found: Option<f64>, truth: f64| (found.unwrap() - truth).abs() < 1.0;
        assert!(near(shape.onset, 40.3) && near(Some(shape.peak), 70.3) && near(shape.end, 111.3));
        assert!((fit.height - 0.15).abs() < 0.002 && fit.stands_out() > 1000.0, "{fit:?}");
    }

    /// A wave with a level top begins and ends where its flanks do, not where those of a peak of
    /// the same width would.
    #[test]
    fn a_level_top_is_told_from_a_peak() {
        let half = |u: f64| 0.5 - 0.5 * libm::cos(std::f64::consts::PI * u.clamp(0.0, 1.0));
        let wave = |t: f64| half((t - 40.0) / 25.0) - half((t - 105.0) / 25.0);
        let samples: Vec<f64> = (0..170).map(|t| wave(f64::from(t))).collect();
        let mut cut = Cut::default();
        cut.take(&samples, 0..170, 2, true);
        let start = Shape { onset: Some(45.0), peak: 70.0, flat: 20.0, end: Some(125.0) };
        let anywhere = [0.0, 170.0];
        let limits =
            Limits { onset: anywhere, peak: anywhere, end: anywhere, flank: 4.0, flat: 60.0 };
        let (shape, found) = settle(&cut, start, &limits, [16.0, 0.25]);
        let near = |found: f64, truth: f64| (found - truth).abs() < 1.5;
        assert!(near(shape.onset.unwrap(), 40.0) && near(shape.end.unwrap(), 130.0), "{shape:?}");
        assert!(near(shape.peak, 65.0) && near(shape.flat, 40.0), "{shape:?}");
        let (peaked, _) = settle(
            &cut,
            Shape { peak: 85.0, flat: 0.0, ..start },
            &Limits { flat: 0.0, ..limits },
            [16.0, 0.25],
        );
        assert!(peaked.onset.unwrap() < 30.0 && found.stands_out() > 1000.0, "{peaked:?}");
    }
}
