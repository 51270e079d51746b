//! Heart sounds: what the computed valves and flows would be heard as.
//!
//! Amplitudes are relative (a resting first sound reaches some 0.8); their changes follow
//! the model, their scale is chosen for the eye and the ear.

use cycle::{Cycle, Landmark};

use crate::Parameters;
use crate::beats::Beat;
use crate::circulation::{MITRAL, TRICUSPID, VALVES, at};
use crate::record::Record;
use crate::turn::Turn;

/// A struck sound: a tone that dies away.
#[derive(Clone, Copy, Debug)]
struct Knock {
    at_s: f64,
    loudness: f64,
    hz: f64,
    decay_s: f64,
}

impl Knock {
    /// A sound of loudness 1 dies below a tenth after this time.
    const HEARD: f64 = 2.3;

    fn ends_s(&self) -> f64 {
        self.at_s + Self::HEARD * self.decay_s
    }

    fn value(&self, t_s: f64) -> f64 {
        let rise = 1.0 - libm::exp(-t_s / 0.004);
        let fall = libm::exp(-t_s / self.decay_s);
        self.loudness * rise * fall * libm::sin(2.0 * std::f64::consts::PI * self.hz * t_s)
    }
}

/// The sounds of one beat.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct BeatSounds {
    m1: Option<Knock>,
    t1: Option<Knock>,
    a2: Option<Knock>,
    p2: Option<Knock>,
    s3: Option<Knock>,
    s4: Option<Knock>,
}

/// Below this a third or fourth sound is neither drawn nor named.
const AUDIBLE: f64 = 0.07;

impl BeatSounds {
    pub(crate) fn new(
        beat: &Beat,
        record: &Record,
        slopes: &Slopes,
        p: &Parameters,
        notches: [Option<f64>; 2],
    ) -> Self {
        // First sound: the inlet valves' leaflets are drawn tight by the rising ventricular
        // pressure, the louder the faster it rises (McGee, Evidence-Based Physical Diagnosis).
        // The square is tuned: a PR interval of 220 ms then halves the sound. Tones: S1 has its energy lower than S2 (Sakai et al., Cardiovasc Res 1971;5:358).
        let first = |met: Option<f64>, slope: &Turn, loudness: f64, usual: f64, hz: f64| {
            let at_s = met? + 0.003;
            let speed = slope.at(at_s).max(0.0) / usual;
            Some(Knock { at_s, loudness: loudness * (speed * speed).min(1.8), hz, decay_s: 0.028 })
        };
        let m1 = first(beat.left.inlet_met, &slopes.lv, 1.5, 1280.0, 42.0);
        let t1 = first(beat.right.inlet_met, &slopes.rv, 0.45, 370.0, 50.0).map(|t1| {
            let floor_s = m1.map_or(t1.at_s, |m1| m1.at_s + 0.020);
            Knock { at_s: t1.at_s.max(floor_s), ..t1 }
        });
        // Second sound: at the incisura, or where the valve leaves none, as it closes; a
        // narrowed valve moves less and so sounds softer.
        let second =
            |closes: Option<f64>, notch: Option<f64>, slope: &Turn, scale: f64, hz: f64| {
                let at_s = notch.or_else(|| closes.map(|t| t + 0.009))?;
                let fastest = slope.highest(at_s - 0.03, at_s + 0.03)?;
                Some(Knock { at_s, loudness: scale * fastest.value.max(0.0), hz, decay_s: 0.019 })
            };
        let mobility = (p.aortic_valve_area_cm2 / 4.0).min(1.0);
        let a2 = second(
            beat.left.outlet_closes,
            notches[0],
            &slopes.aortic_gap,
            0.60 / 2400.0 * mobility,
            62.0,
        );
        let p2 =
            second(beat.right.outlet_closes, notches[1], &slopes.pulmonary_gap, 0.30 / 260.0, 55.0);
        let s3 = beat.early_filling(record).and_then(|(peak, _)| {
            // Filling that stops short in a full ventricle makes it ring.
            let stop = -slopes.mitral_flow.lowest(peak.time_s, peak.time_s + 0.12)?.value;
            let fullness = (record.pressure[at::LA].at(peak.time_s) - 12.0).max(0.0) / 10.0;
            Some(Knock {
                at_s: peak.time_s + 0.015,
                loudness: (fullness * stop / 9000.0).min(0.4),
                hz: 32.0,
                decay_s: 0.030,
            })
        });
        let s4 = beat.atrial_s.and_then(|t| {
            // An atrium that drives blood into a stiff ventricle raises its pressure at once,
            // beyond what it was rising by anyway.
            let lv = &record.pressure[at::LV];
            let peak = lv.highest(t, beat.contracts_s)?;
            let before = lv.at(t);
            let anyway = (before - lv.at(t - 0.02)).max(0.0) / 0.02 * (peak.time_s - t);
            // Only a ventricle that is hard to fill rings.
            let hardness = ((peak.value - 13.0) / 3.0).clamp(0.0, 1.0);
            let kick = hardness * (peak.value - before - anyway - 2.0).max(0.0) / 5.0;
            Some(Knock {
                at_s: peak.time_s.min(beat.contracts_s - 0.03) - 0.04,
                loudness: 0.5 * kick,
                hz: 26.0,
                decay_s: 0.028,
            })
        });
        let heard = |knock: Option<Knock>| knock.filter(|k| k.loudness > AUDIBLE);
        // Where the right valve closes at another time altogether, it is no part of this sound.
        let p2 = p2.filter(|p2| a2.is_none_or(|a2| (p2.at_s - a2.at_s).abs() < 0.15));
        Self { m1, t1, a2, p2, s3: heard(s3), s4: heard(s4) }
    }

    fn all(&self) -> impl Iterator<Item = Knock> {
        [self.m1, self.t1, self.a2, self.p2, self.s3, self.s4].into_iter().flatten()
    }

    /// When the second sound's aortic part begins.
    pub(crate) fn a2_s(&self) -> Option<f64> {
        self.a2.map(|knock| knock.at_s)
    }

    pub(crate) fn landmarks(&self, trace: &Turn) -> Vec<Landmark> {
        let start = |a: Option<Knock>, b: Option<Knock>| {
            a.into_iter().chain(b).map(|k| k.at_s).reduce(f64::min)
        };
        let end = |a: Option<Knock>, b: Option<Knock>| {
            a.into_iter().chain(b).map(|k| k.ends_s()).reduce(f64::max)
        };
        let [s1, s2] = [(self.m1, self.t1), (self.a2, self.p2)];
        let middle = |(a, b)| Some(f64::midpoint(start(a, b)?, end(a, b)?));
        let times = [
            ("s4", self.s4.map(|k| k.at_s)),
            ("s1_onset", start(s1.0, s1.1)),
            ("s1_centre", middle(s1)),
            ("s1_end", end(s1.0, s1.1)),
            ("s2_onset", start(s2.0, s2.1)),
            ("a2", self.a2.map(|k| k.at_s)),
            ("p2", self.p2.map(|k| k.at_s)),
            ("s2_centre", middle(s2)),
            ("s2_end", end(s2.0, s2.1)),
            ("s3", self.s3.map(|k| k.at_s)),
        ];
        let place = |(name, time): (&str, Option<f64>)| {
            let time_s = time?;
            Some(Landmark {
                name: name.into(),
                channel: "heart_sounds".into(),
                time_s,
                value: trace.at(time_s),
            })
        };
        times.into_iter().filter_map(place).collect()
    }
}

/// Slopes that several beats' sounds are read from.
#[derive(Debug)]
pub(crate) struct Slopes {
    lv: Turn,
    rv: Turn,
    aortic_gap: Turn,
    pulmonary_gap: Turn,
    mitral_flow: Turn,
}

impl Slopes {
    pub(crate) fn new(record: &Record) -> Self {
        let gap = |artery: usize, ventricle: usize| {
            let (a, b) = (&record.pressure[artery], &record.pressure[ventricle]);
            let samples = a.samples.iter().zip(&b.samples).map(|(a, b)| a - b).collect();
            Turn { samples, step_s: record.step_s }.slope()
        };
        Self {
            lv: record.pressure[at::LV].slope(),
            rv: record.pressure[at::RV].slope(),
            aortic_gap: gap(at::ROOT, at::LV),
            pulmonary_gap: gap(at::PA, at::RV),
            mitral_flow: record.flow[MITRAL].slope(),
        }
    }
}

/// The drawable trace of all beats' sounds and murmurs.
pub(crate) fn trace(record: &Record, beats: &[BeatSounds]) -> Turn {
    let mut sum = Turn { samples: murmurs(record), step_s: record.step_s };
    for knock in beats.iter().flat_map(BeatSounds::all) {
        sum.add(knock.at_s, RINGS_S, |since_s| knock.value(since_s));
    }
    for value in &mut sum.samples {
        *value = libm::tanh(*value);
    }
    sum
}

/// A struck sound is computed this long; by then the slowest has died to a thousandth.
const RINGS_S: f64 = 0.25;

/// Jets faster than this are turbulent enough to be heard, cm/s (tuned: no normal valve is).
const TURBULENT: f64 = 170.0;

/// Noise wherever blood passes an orifice too fast, as loud as the jet is fast and large.
fn murmurs(record: &Record) -> Vec<f64> {
    let count = record.volume[0].samples.len();
    let mut sum = vec![0.0; count];
    for valve in 0..VALVES.len() {
        for (index, value) in sum.iter_mut().enumerate() {
            let (flow, velocity) =
                (record.flow[valve].samples[index], record.velocity[valve].samples[index]);
            let excess = (velocity.abs() - TURBULENT).max(0.0) / 100.0;
            let loudness = (0.10 * excess * (flow.abs() / 150.0)).min(0.5);
            if loudness > 1e-4 {
                // Inflow at low pressure rumbles; jets from high pressure blow.
                let rumble = flow > 0.0 && (valve == MITRAL || valve == TRICUSPID);
                let grain_s = if rumble { 0.007 } else { 0.0028 };
                *value += loudness
                    * noise(index as f64 * record.step_s, record.period_s, grain_s, valve as u64);
            }
        }
    }
    sum
}

/// Smooth noise between −1 and 1 that repeats with the period: random values at grains, half
/// cosines between them.
fn noise(t_s: f64, period_s: f64, grain_s: f64, seed: u64) -> f64 {
    let grains = (period_s / grain_s).round().max(1.0);
    let place = t_s / period_s * grains;
    let value = |index: f64| random(index.rem_euclid(grains) as u64, seed);
    let share = place - place.floor();
    let (a, b) = (value(place.floor()), value(place.floor() + 1.0));
    a + (b - a) * 0.5 * (1.0 - libm::cos(std::f64::consts::PI * share))
}

/// A fixed pseudo-random value from −1 to 1 for each index (the finaliser of SplitMix64;
/// Steele, Lea & Flood, OOPSLA 2014).
fn random(index: u64, seed: u64) -> f64 {
    let mut z = index.wrapping_add(seed << 32).wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

/// Samples a second of the audio.
pub const AUDIO_HZ: u32 = 8000;

/// The heart sounds of a cycle, which repeats for ever.
#[derive(Clone, Debug)]
pub struct Heard(Option<(Turn, f64)>);

impl Heard {
    /// The sounds of `cycle`; silence where it has none.
    pub fn of(cycle: &Cycle) -> Self {
        let trace = cycle.trace("heart_sounds").filter(|trace| !trace.samples.is_empty());
        Self(trace.map(|trace| {
            let turn = Turn { samples: trace.samples.clone(), step_s: 1.0 / trace.rate_hz };
            (turn, trace.start_s)
        }))
    }

    /// What is heard at `time_s` of the cycle's own time, −1 … 1.
    pub fn at(&self, time_s: f64) -> f64 {
        self.0.as_ref().map_or(0.0, |(turn, start_s)| between(turn, time_s - start_s))
    }
}

/// The heart sounds of `cycle` as a WAV file of `seconds`, the cycle repeated; silence where the
/// cycle has no sounds.
pub fn sounds_wav(cycle: &Cycle, seconds: f64) -> Vec<u8> {
    let heard = Heard::of(cycle);
    let start_s = cycle.trace("heart_sounds").map_or(0.0, |trace| trace.start_s);
    wav(seconds, |time_s| heard.at(start_s + time_s))
}

/// A WAV file (mono, 16 bit, 8 kHz) of `seconds`, of what is heard (−1 … 1) at each time from 0 on.
pub fn wav(seconds: f64, mut heard: impl FnMut(f64) -> f64) -> Vec<u8> {
    let count = (seconds.max(0.0) * f64::from(AUDIO_HZ)).round() as u32;
    let bytes = count * 2;
    let mut wav = Vec::with_capacity(44 + bytes as usize);
    wav.extend(b"RIFF");
    wav.extend((36 + bytes).to_le_bytes());
    wav.extend(b"WAVEfmt ");
    wav.extend(16u32.to_le_bytes());
    // PCM, one channel.
    wav.extend(1u16.to_le_bytes());
    wav.extend(1u16.to_le_bytes());
    wav.extend(AUDIO_HZ.to_le_bytes());
    wav.extend((AUDIO_HZ * 2).to_le_bytes());
    wav.extend(2u16.to_le_bytes());
    wav.extend(16u16.to_le_bytes());
    wav.extend(b"data");
    wav.extend(bytes.to_le_bytes());
    for index in 0..count {
        let value = heard(f64::from(index) / f64::from(AUDIO_HZ)).clamp(-1.0, 1.0);
        wav.extend(((value * 0.9 * f64::from(i16::MAX)) as i16).to_le_bytes());
    }
    wav
}

/// Value between samples by a cubic through the four nearest (Catmull–Rom), which adds no
/// audible corner as straight lines would.
fn between(turn: &Turn, t_s: f64) -> f64 {
    let place = t_s / turn.step_s;
    let share = place - place.floor();
    let value = |offset: f64| turn.at((place.floor() + offset) * turn.step_s);
    let [a, b, c, d] = [-1.0, 0.0, 1.0, 2.0].map(value);
    let cubic = -0.5 * a + 1.5 * b - 1.5 * c + 0.5 * d;
    let square = a - 2.5 * b + 2.0 * c - 0.5 * d;
    (((cubic * share + square) * share + 0.5 * (c - a)) * share + b).clamp(-1.0, 1.0)
}
