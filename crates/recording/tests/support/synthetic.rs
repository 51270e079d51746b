//! Recordings of computed hearts, whose landmarks are known, with noise.

use cycle::{Cycle, Random};
use recording::Held;

/// Noise that recordings have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Noise {
    /// Equal at all frequencies.
    White,
    /// Of muscles: from 20 to 150 Hz.
    Muscle,
    /// A wandering baseline: 0.15 to 0.45 Hz, as breathing.
    Wander,
    /// Hum of the mains at 50 Hz and a tenth of it at 150 Hz.
    Mains,
    /// All four, each with a quarter of the power.
    All,
}

pub const NOISES: [Noise; 5] =
    [Noise::White, Noise::Muscle, Noise::Wander, Noise::Mains, Noise::All];

/// A normal deviate: twelve even ones less six.
fn normal(random: &mut Random) -> f64 {
    (0..12).map(|_| random.below(1 << 20) as f64 / f64::from(1 << 20)).sum::<f64>() - 6.0
}

/// Noise of root mean square 1.
pub fn noise(kind: Noise, count: usize, rate_hz: f64, random: &mut Random) -> Vec<f64> {
    let turn = |hz: f64, phase: f64| {
        move |i: usize| libm::sin(2.0 * std::f64::consts::PI * (hz * i as f64 / rate_hz + phase))
    };
    let mut phase = || random.below(1000) as f64 / 1000.0;
    let mut values: Vec<f64> = match kind {
        Noise::Wander => {
            let parts = [(0.15, phase()), (0.23, phase()), (0.31, phase()), (0.45, phase())];
            let value = |i| parts.iter().map(|(hz, p)| turn(*hz, *p)(i)).sum();
            (0..count).map(value).collect()
        }
        Noise::Mains => {
            let (first, third) = (turn(50.0, phase()), turn(150.0, phase()));
            (0..count).map(|i| first(i) + 0.1 * third(i)).collect()
        }
        Noise::White => (0..count).map(|_| normal(random)).collect(),
        Noise::Muscle => {
            let white: Vec<f64> = (0..count).map(|_| normal(random)).collect();
            band(&white, rate_hz)
        }
        Noise::All => {
            let mut sum = vec![0.0; count];
            for kind in [Noise::White, Noise::Muscle, Noise::Wander, Noise::Mains] {
                let part = noise(kind, count, rate_hz, random);
                sum.iter_mut().zip(part).for_each(|(sum, part)| *sum += part);
            }
            sum
        }
    };
    let power = values.iter().map(|v| v * v).sum::<f64>() / count.max(1) as f64;
    values.iter_mut().for_each(|value| *value /= power.sqrt());
    values
}

/// One-pole filters: above 20 Hz and below 150 Hz (or two fifths of the rate).
fn band(white: &[f64], rate_hz: f64) -> Vec<f64> {
    let pole = |hz: f64| libm::exp(-2.0 * std::f64::consts::PI * hz / rate_hz);
    let (low, high) = (pole(20.0), pole((0.4 * rate_hz).min(150.0)));
    let (mut slow, mut quick) = (0.0, 0.0);
    let mut step = |value: f64| {
        quick = high * quick + (1.0 - high) * value;
        slow = low * slow + (1.0 - low) * quick;
        quick - slow
    };
    white.iter().map(|value| step(*value)).collect()
}

/// One channel of a cycle at another rate, repeated `turns` times; with noise so many dB below it.
/// The signal's power is its variance.
pub fn repeated(
    cycle: &Cycle,
    channel: &str,
    rate_hz: f64,
    turns: usize,
    added: Option<(Noise, f64)>,
    random: &mut Random,
) -> Vec<f64> {
    let trace = cycle.trace(channel).unwrap();
    let (start, end) = cycle.span_s().unwrap();
    let length = end - start;
    let count = (length * turns as f64 * rate_hz) as usize;
    let last = trace.samples.len() as f64 - 1.0;
    let value = |i: usize| {
        let place = (i as f64 / rate_hz % length) * trace.rate_hz;
        let (left, share) = (place.min(last).floor() as usize, place.min(last).fract());
        let next = (left + 1) % trace.samples.len();
        trace.samples[left] + share * (trace.samples[next] - trace.samples[left])
    };
    let mut samples: Vec<f64> = (0..count).map(value).collect();
    if let Some((kind, db)) = added {
        let mean = trace.mean().unwrap();
        let power = trace.samples.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>();
        let size = (power / trace.samples.len() as f64 / libm::pow(10.0, db / 10.0)).sqrt();
        let noise = noise(kind, count, rate_hz, random);
        samples.iter_mut().zip(noise).for_each(|(sample, noise)| *sample += size * noise);
    }
    samples
}

/// The times of a landmark in a cycle repeated `turns` times, in the order of time.
pub fn truth(cycle: &Cycle, name: &str, channel: &str, turns: usize) -> Vec<f64> {
    let (start, end) = cycle.span_s().unwrap();
    let length = end - start;
    let own = cycle.landmarks.iter().filter(|mark| mark.name == name && mark.channel == channel);
    let once: Vec<f64> = own.map(|mark| mark.time_s - start).collect();
    let all = (0..turns).flat_map(|turn| once.iter().map(move |t| t + turn as f64 * length));
    let mut all: Vec<f64> = all.collect();
    all.sort_by(f64::total_cmp);
    all
}

/// A recording of some channels of a computed heart, each at its rate.
pub fn recording(
    cycle: &Cycle,
    channels: &[(&str, &str, f64)],
    turns: usize,
    added: Option<(Noise, f64)>,
    seed: u64,
) -> Held {
    let mut random = Random::new(seed);
    let mut memory = Held::default();
    for (channel, label, rate_hz) in channels {
        let samples = repeated(cycle, channel, *rate_hz, turns, added, &mut random);
        let unit = &cycle.trace(channel).unwrap().unit;
        memory.add(label, unit, *rate_hz, None, samples);
    }
    memory
}
