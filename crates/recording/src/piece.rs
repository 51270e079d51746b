//! A stretch of a recording in memory, and the landmarks of its beats.

use landmarks::recorded::{
    BeatPeak, BeatPeaks, Bursts, Foot, Mark, Neighbours, PulseWindow, Pulses, SoundBeat, Waves,
    grain, remove_mains,
};

use crate::beat::{Anchor, Beat, BeatMark};
use crate::naming::Named;
use crate::quality::{ChannelQuality, Judge, Quality};
use crate::stretch::Stretch;

/// A piece of a recording: all channels over the same time, more on either side than the beats
/// that are told of it.
#[derive(Clone, Debug, Default)]
pub(crate) struct Piece {
    /// The beats told are those with their anchor from here ...
    pub(crate) from_s: f64,
    /// ... to before here.
    pub(crate) to_s: f64,
    pub(crate) stretches: Vec<Stretch>,
}

/// Without an ECG no beat is surer than this.
const WITHOUT_ECG: f64 = 0.7;
/// A beat less sure than this is not told.
const LEAST_SURE: f64 = 0.05;

/// A beat's anchor in a piece.
#[derive(Clone, Copy, Debug)]
struct Start {
    time_s: f64,
    confidence: f64,
    anchor: Anchor,
    /// Where the anchor is the first sound, the second.
    second_s: Option<f64>,
}

/// Finds the beats of pieces of one recording.
#[derive(Debug)]
pub(crate) struct Finder<'a> {
    pub(crate) named: &'a [Named],
}

impl Finder<'_> {
    /// The beats of `piece`, in the order of time.
    pub(crate) fn beats(&self, piece: &mut Piece) -> Vec<Beat> {
        self.clean(piece);
        let starts = self.starts(piece);
        let told = |start: &Start| (piece.from_s..piece.to_s).contains(&start.time_s);
        let beats = self.landmarked(piece, &starts);
        let mut beats: Vec<Beat> =
            beats.into_iter().zip(&starts).filter(|(_, start)| told(start)).map(|b| b.0).collect();
        beats.retain(|beat| beat.confidence >= LEAST_SURE);
        beats
    }

    /// The beat that has its R peak at `at_s` because a person says so, with what else is found of
    /// it; `others` are the anchors of the beats around.
    pub(crate) fn beat_at(&self, piece: &mut Piece, at_s: f64, others: &[f64]) -> Beat {
        self.clean(piece);
        let inside = |time_s: &f64| (piece.from_s..piece.to_s).contains(time_s);
        let mut times: Vec<f64> = others.iter().copied().filter(inside).collect();
        times.sort_by(f64::total_cmp);
        let index = times.partition_point(|time_s| *time_s < at_s);
        times.insert(index, at_s);
        let start =
            |time_s| Start { time_s, confidence: 1.0, anchor: Anchor::RPeak, second_s: None };
        let starts: Vec<Start> = times.into_iter().map(start).collect();
        self.landmarked(piece, &starts).swap_remove(index)
    }

    fn clean(&self, piece: &mut Piece) {
        for (named, stretch) in self.named.iter().zip(&mut piece.stretches) {
            if named.is_ecg() {
                remove_mains(&mut stretch.samples, stretch.rate_hz);
            }
        }
    }

    /// A beat for each of `starts`, with its landmarks on all channels.
    fn landmarked(&self, piece: &Piece, starts: &[Start]) -> Vec<Beat> {
        let mut beats: Vec<Beat> = starts
            .iter()
            .map(|start| Beat {
                anchor_s: start.time_s,
                found_s: start.time_s,
                anchor: start.anchor,
                confidence: start.confidence,
                rr_s: None,
                marks: Vec::new(),
                means: Vec::new(),
                quality: Vec::new(),
            })
            .collect();
        for channel in 0..self.named.len() {
            self.channel(channel, piece, starts, &mut beats);
        }
        beats
    }

    /// The anchors, from the best channel on which something moves.
    fn starts(&self, piece: &Piece) -> Vec<Start> {
        let lives = |wanted: &dyn Fn(&Named) -> bool| {
            let both = self.named.iter().zip(&piece.stretches);
            both.filter(|(named, stretch)| wanted(named) && stretch.lives()).collect::<Vec<_>>()
        };
        let first = |names: &[&str]| {
            names.iter().find_map(|name| lives(&|n| n.channel == *name).into_iter().next())
        };
        let ecg = first(&["ecg"]).or_else(|| lives(&Named::is_ecg).into_iter().next());
        if let Some((named, stretch)) = ecg {
            let starts = r_peaks(stretch, named.upright);
            if !starts.is_empty() {
                return starts;
            }
        }
        let pulse = ["aortic_pressure", "radial_pressure", "finger_pulse", "pa_pressure"];
        if let Some((_, stretch)) = first(&pulse) {
            return upstrokes(stretch);
        }
        first(&["heart_sounds"]).map(|(_, stretch)| first_sounds(stretch)).unwrap_or_default()
    }

    /// Adds the landmarks of one channel to each beat, and its quality.
    fn channel(&self, channel: usize, piece: &Piece, starts: &[Start], beats: &mut [Beat]) {
        let (named, stretch) = (&self.named[channel], &piece.stretches[channel]);
        let quick = named.is_ecg() || named.channel == "heart_sounds";
        let mut judge =
            Judge::new(&stretch.samples, &stretch.missing, stretch.rate_hz, stretch.range, quick);
        let mut reader = Reader::new(named, stretch);
        let mut t_end_before = None;
        for index in 0..starts.len() {
            let window = window(starts, index);
            let range = stretch.range_of(window[0], window[1]);
            let absent = stretch.missing[range.clone()].iter().filter(|m| **m).count();
            let (quality, why) = judge.beat(&stretch.samples[range], absent);
            let mut marks = Vec::new();
            if quality == Quality::Good {
                let near = Near { index, t_end_before, t_end_s: t_end_of(&beats[index]) };
                reader.find(starts, &near, &mut marks);
            } else if quality == Quality::Noisy && named.is_ecg() {
                // That there is a beat is known, whatever its waves are.
                marks.extend(reader.main_deflection(&starts[index]));
            }
            let t_end = marks.iter().find(|mark| mark.name == "t_end");
            t_end_before = t_end.map(|mark| mark.place);
            let next = starts.get(index + 1).map(|next| next.time_s);
            let mean = next.filter(|_| quality == Quality::Good);
            let mean = mean.and_then(|next| stretch.mean(starts[index].time_s, next));
            beats[index].means.push(mean);
            beats[index].quality.push(ChannelQuality { channel, quality, why });
            let sure = beats[index].confidence;
            beats[index].marks.extend(marks.into_iter().map(|mark| BeatMark {
                name: mark.name,
                channel,
                time_s: stretch.time_s(mark.place),
                value: mark.value,
                confidence: mark.confidence * sure,
                by_hand: false,
            }));
        }
    }
}

fn t_end_of(beat: &Beat) -> Option<f64> {
    beat.marks.iter().find(|mark| mark.name == "t_end").map(|mark| mark.time_s)
}

/// From when to when a beat is looked at for its quality.
fn window(starts: &[Start], index: usize) -> [f64; 2] {
    let at = starts[index].time_s;
    let next = starts.get(index + 1).map_or(at + 0.8, |next| next.time_s);
    [at - 0.2, (at + 0.6).min(next - 0.1).max(at + 0.2)]
}

fn r_peaks(stretch: &Stretch, upright: bool) -> Vec<Start> {
    let peaks = BeatPeaks::default().find(&stretch.samples, stretch.rate_hz, Some(upright));
    let start = |peak: BeatPeak| Start {
        time_s: stretch.time_s(peak.place),
        confidence: peak.confidence,
        anchor: Anchor::RPeak,
        second_s: None,
    };
    peaks.into_iter().filter(|peak| seen(stretch, peak.place)).map(start).collect()
}

/// Whether a place was recorded and not filled in.
fn seen(stretch: &Stretch, place: f64) -> bool {
    stretch.missing.get(place.max(0.0).round() as usize).is_some_and(|missing| !missing)
}

fn upstrokes(stretch: &Stretch) -> Vec<Start> {
    let mut pulses = Pulses::default();
    let noise = grain(&stretch.samples, &mut Vec::new());
    pulses.prepare(&stretch.samples, stretch.rate_hz, noise);
    let start = |(place, sure): (f64, f64)| Start {
        time_s: stretch.time_s(place),
        confidence: WITHOUT_ECG * sure,
        anchor: Anchor::Upstroke,
        second_s: None,
    };
    pulses.upstrokes().into_iter().filter(|u| seen(stretch, u.0)).map(start).collect()
}

fn first_sounds(stretch: &Stretch) -> Vec<Start> {
    let mut bursts = Bursts::default();
    bursts.prepare(&stretch.samples, stretch.rate_hz);
    let start = |beat: SoundBeat| Start {
        time_s: stretch.time_s(beat.first),
        confidence: WITHOUT_ECG * beat.confidence,
        anchor: Anchor::FirstSound,
        second_s: beat.second.map(|second| stretch.time_s(second)),
    };
    bursts.beats().into_iter().map(start).collect()
}

/// What is known beside one beat.
struct Near {
    index: usize,
    /// Place of the end of the T wave before, on the same channel.
    t_end_before: Option<f64>,
    /// When this beat's T wave ends, on an ECG.
    t_end_s: Option<f64>,
}

/// Finds one channel's landmarks in each beat.
enum Reader<'a> {
    Ecg { stretch: &'a Stretch, upright: bool, peaks: BeatPeaks, waves: Waves },
    Pulse { stretch: &'a Stretch, foot: Foot, window_s: [f64; 2], pulses: Pulses },
    Sounds { stretch: &'a Stretch, bursts: Bursts },
    Other,
}

impl<'a> Reader<'a> {
    fn new(named: &Named, stretch: &'a Stretch) -> Self {
        let (samples, rate_hz) = (&stretch.samples[..], stretch.rate_hz);
        let noise = grain(samples, &mut Vec::new());
        // When after R a pulse rises most steeply at the earliest and latest, seconds: in the root
        // within the pre-ejection period; at the wrist and finger later (reference values 1.05,
        // 1.30, widened; no source).
        let (foot, window_s) = match named.channel.as_str() {
            "aortic_pressure" | "pa_pressure" => (Foot::Corner, [0.0, 0.30]),
            "radial_pressure" => (Foot::Tangent, [0.05, 0.45]),
            "finger_pulse" => (Foot::Tangent, [0.08, 0.60]),
            "heart_sounds" => {
                let mut bursts = Bursts::default();
                bursts.prepare(samples, rate_hz);
                return Self::Sounds { stretch, bursts };
            }
            _ if named.is_ecg() => {
                let (mut peaks, mut waves) = (BeatPeaks::default(), Waves::default());
                peaks.prepare(samples, rate_hz);
                waves.prepare(samples, rate_hz, noise);
                return Self::Ecg { stretch, upright: named.upright, peaks, waves };
            }
            _ => return Self::Other,
        };
        let mut pulses = Pulses::default();
        pulses.prepare(samples, rate_hz, noise);
        Self::Pulse { stretch, foot, window_s, pulses }
    }

    /// This channel's own top of a beat's QRS complex.
    fn main_deflection(&self, start: &Start) -> Option<Mark> {
        let Self::Ecg { stretch, upright, peaks, .. } = self else { return None };
        let peak = {
            let place = stretch.place(start.time_s);
            peaks.near(&stretch.samples, place, stretch.rate_hz, Some(*upright))?
        };
        let confidence = 0.5;
        Some(Mark { name: "r_peak", place: peak.place, value: peaks.value(peak.place), confidence })
    }

    fn find(&mut self, starts: &[Start], near: &Near, into: &mut Vec<Mark>) {
        let start = starts[near.index];
        let before = near.index.checked_sub(1).map(|before| starts[before].time_s);
        let after = starts.get(near.index + 1).map(|after| after.time_s);
        match self {
            Self::Ecg { stretch, upright, peaks, waves } => {
                let place = stretch.place(start.time_s);
                let near_place =
                    peaks.near(&stretch.samples, place, stretch.rate_hz, Some(*upright));
                let Some(peak) = near_place else { return };
                let neighbours = Neighbours {
                    before: before.map(|s| stretch.place(s)),
                    t_end_before: near.t_end_before,
                    after: after.map(|s| stretch.place(s)),
                };
                let upwards = peak.height >= 0.0;
                waves.find(&stretch.samples, peak.place, upwards, 1.0, &neighbours, into);
            }
            Self::Pulse { stretch, foot, window_s, pulses } => {
                let window = pulse_window(start, before, after, *window_s, stretch);
                pulses.find(&stretch.samples, &window, *foot, into);
            }
            Self::Sounds { stretch, bursts } => sounds(bursts, stretch, start, near, after, into),
            Self::Other => {}
        }
    }
}

/// Where one beat's pulse is looked for.
fn pulse_window(
    start: Start,
    before: Option<f64>,
    after: Option<f64>,
    window_s: [f64; 2],
    stretch: &Stretch,
) -> PulseWindow {
    let next = after.unwrap_or(start.time_s + 1.0);
    let rr = (next - start.time_s).min(start.time_s - before.unwrap_or(f64::NEG_INFINITY));
    let [from, to] = match start.anchor {
        Anchor::Upstroke => [-0.15, 0.3],
        _ => window_s,
    };
    let to = to.min(from + 0.75 * rr);
    PulseWindow {
        from: stretch.place(start.time_s + from),
        to: stretch.place(start.time_s + to),
        until: stretch.place(next + from),
        interval: rr * stretch.rate_hz,
    }
}

/// From when to when after R the first sound is looked for, seconds (reference values 2.18 and
/// 3.01, widened; no source).
const S1_S: [f64; 2] = [-0.03, 0.14];
/// From when to when after T's end the second sound is looked for.
const S2_T_S: [f64; 2] = [-0.09, 0.11];

fn sounds(
    bursts: &mut Bursts,
    stretch: &Stretch,
    start: Start,
    near: &Near,
    after: Option<f64>,
    into: &mut Vec<Mark>,
) {
    let next = after.unwrap_or(start.time_s + 0.8);
    let around = |at: f64, window: [f64; 2]| window.map(|s| stretch.place(at + s));
    let floor = bursts.floor(stretch.place(start.time_s - 0.1), stretch.place(next - 0.1));
    let (first, second) = match (start.anchor, start.second_s, near.t_end_s) {
        (Anchor::FirstSound, second, _) => {
            let late = (0.5_f64).min(0.55 * (next - start.time_s)).max(0.25);
            let after = around(start.time_s, [0.18, late]);
            let second = second.map_or(after, |second| around(second, [-0.02, 0.02]));
            (around(start.time_s, [-0.02, 0.02]), Some(second))
        }
        (Anchor::RPeak, _, Some(t_end)) => {
            (around(start.time_s, S1_S), Some(around(t_end, S2_T_S)))
        }
        (Anchor::RPeak, _, None) => {
            let late = (0.5_f64).min(0.6 * (next - start.time_s));
            (around(start.time_s, S1_S), Some(around(start.time_s, [0.2, late.max(0.25)])))
        }
        // The sound of closing comes before the rise at whatever artery.
        (Anchor::Upstroke, ..) => (around(start.time_s, [-0.25, 0.02]), None),
    };
    bursts.find(first, floor, ["s1_onset", "s1_end"], into);
    if let Some(second) = second {
        bursts.find(second, floor, ["s2_onset", "s2_end"], into);
    }
}

/// The landmarks of a single beat that repeats every `period_s`, with its anchor at 0 s.
pub(crate) fn marks_of_one(
    named: &[Named],
    stretches: &[Stretch],
    period_s: f64,
    anchor: Anchor,
) -> Vec<BeatMark> {
    let start = |time_s: f64| Start { time_s, confidence: 1.0, anchor, second_s: None };
    let starts = [-period_s, 0.0, period_s].map(start);
    let mut marks: Vec<BeatMark> = Vec::new();
    for (channel, (named, stretch)) in named.iter().zip(stretches).enumerate() {
        let t_end = marks.iter().find(|mark| mark.name == "t_end").map(|mark| mark.time_s);
        let near = Near { index: 1, t_end_before: None, t_end_s: t_end };
        let mut found = Vec::new();
        Reader::new(named, stretch).find(&starts, &near, &mut found);
        marks.extend(found.into_iter().map(|mark| BeatMark {
            name: mark.name,
            channel,
            time_s: stretch.time_s(mark.place),
            value: mark.value,
            confidence: mark.confidence,
            by_hand: false,
        }));
    }
    marks
}
