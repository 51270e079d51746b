//! Going through a recording piece by piece.

use landmarks::recorded::{BeatPeaks, Neighbours, Waves, grain, percentile};

use crate::ReadError;
use crate::beat::Beat;
use crate::naming::Named;
use crate::piece::{Finder, Piece};
use crate::source::Source;
use crate::stretch::Stretch;

/// A piece has the beats of so many seconds ...
const PIECE_S: f64 = 40.0;
/// ... and so many more on either side, for what belongs to the first and last.
const MARGIN_S: f64 = 4.0;
/// So many pieces are worked on at a time.
const AT_A_TIME: usize = 2;
/// Two beats told by neighbouring pieces are one where they are nearer than this, seconds.
const SAME_S: f64 = 0.15;
/// Beats farther apart than this are not neighbours, seconds.
pub(crate) const LONGEST_RR_S: f64 = 3.0;

/// Finds the beats of a recording and gives each to `told`, in the order of time.
///
/// The recording is read once, in pieces of some 50 s; what is kept in memory does not grow with
/// its length. Beats are counted by the ECG; where nothing moves on it, by a pressure or pulse, or
/// by the heart sounds, and are then less sure.
///
/// # Errors
/// What the source could not read.
pub fn landmark<S: Source + ?Sized>(
    source: &mut S,
    named: &[Named],
    told: &mut dyn FnMut(Beat),
) -> Result<(), ReadError> {
    landmark_between(source, named, [0.0, f64::INFINITY], told)
}

/// As [`landmark`], of the beats whose anchor lies between two times, in seconds from the
/// recording's start; what lies just outside is looked at for what belongs to them.
///
/// # Errors
/// As [`landmark`].
pub fn landmark_between<S: Source + ?Sized>(
    source: &mut S,
    named: &[Named],
    span_s: [f64; 2],
    told: &mut dyn FnMut(Beat),
) -> Result<(), ReadError> {
    let [start_s, until_s] = [span_s[0].max(0.0), span_s[1].min(end_s(source, named))];
    let finder = Finder { named };
    let mut last: Option<f64> = None;
    let mut tell = |mut beat: Beat| {
        let rr = last.map(|last| beat.anchor_s - last);
        if rr.is_some_and(|rr| rr < SAME_S) {
            return;
        }
        last = Some(beat.anchor_s);
        // Whoever keeps a day's beats need not keep the room in which they grew.
        beat.marks.shrink_to_fit();
        beat.rr_s = rr.filter(|rr| *rr <= LONGEST_RR_S);
        told(beat);
    };
    let count = ((until_s - start_s) / PIECE_S).ceil().max(0.0) as usize;
    let mut pieces = vec![Piece::default(); AT_A_TIME.min(count)];
    for first in (0..count).step_by(AT_A_TIME) {
        let here = AT_A_TIME.min(count - first);
        for (index, piece) in pieces.iter_mut().take(here).enumerate() {
            read(source, named, start_s + (first + index) as f64 * PIECE_S, piece)?;
            piece.to_s = piece.to_s.min(until_s);
        }
        for beats in worked(&finder, &mut pieces[..here]) {
            beats.into_iter().for_each(&mut tell);
        }
    }
    Ok(())
}

/// All beats of a recording that is short enough to hold them.
///
/// # Errors
/// As [`landmark`].
pub fn beats<S: Source + ?Sized>(source: &mut S, named: &[Named]) -> Result<Vec<Beat>, ReadError> {
    let mut all = Vec::new();
    landmark(source, named, &mut |beat| all.push(beat))?;
    Ok(all)
}

/// Works on pieces at the same time, the first on this thread.
fn worked(finder: &Finder, pieces: &mut [Piece]) -> Vec<Vec<Beat>> {
    let Some((first, others)) = pieces.split_first_mut() else { return Vec::new() };
    std::thread::scope(|scope| {
        let running: Vec<_> =
            others.iter_mut().map(|piece| scope.spawn(|| finder.beats(piece))).collect();
        let mut all = vec![finder.beats(first)];
        for thread in running {
            match thread.join() {
                Ok(beats) => all.push(beats),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        all
    })
}

/// When the longest of the channels ends.
fn end_s<S: Source + ?Sized>(source: &S, named: &[Named]) -> f64 {
    let signals = source.signals();
    let all = named.iter().filter_map(|named| signals.get(named.signal));
    let lasts = all.map(|signal| signal.samples as f64 / signal.rate_hz);
    lasts.filter(|end| end.is_finite()).fold(0.0, f64::max)
}

/// Reads a stretch of one channel.
pub(crate) fn stretch<S: Source + ?Sized>(
    source: &mut S,
    named: &Named,
    [from_s, to_s]: [f64; 2],
    into: &mut Stretch,
) -> Result<(), ReadError> {
    into.samples.clear();
    let Some(signal) = source.signals().get(named.signal).cloned() else {
        into.missing.clear();
        return Ok(());
    };
    let from = (from_s.max(0.0) * signal.rate_hz).floor();
    let count = ((to_s * signal.rate_hz).ceil() - from).max(0.0) as usize;
    (into.rate_hz, into.range) = (signal.rate_hz, signal.range);
    into.start_s = from / signal.rate_hz;
    source.read(named.signal, from as u64, count, &mut into.samples)?;
    into.fill(named.turned);
    Ok(())
}

fn read<S: Source + ?Sized>(
    source: &mut S,
    named: &[Named],
    from_s: f64,
    piece: &mut Piece,
) -> Result<(), ReadError> {
    (piece.from_s, piece.to_s) = (from_s, from_s + PIECE_S);
    stretches(source, named, [from_s - MARGIN_S, from_s + PIECE_S + MARGIN_S], piece)
}

/// Reads the same stretch of all channels.
fn stretches<S: Source + ?Sized>(
    source: &mut S,
    named: &[Named],
    span_s: [f64; 2],
    piece: &mut Piece,
) -> Result<(), ReadError> {
    piece.stretches.resize_with(named.len(), Stretch::default);
    for (named, into) in named.iter().zip(&mut piece.stretches) {
        stretch(source, named, span_s, into)?;
    }
    Ok(())
}

/// The beat that has its R peak at `at_s` because a person says so, with what else is found of it;
/// `others` are the anchors of all other beats.
pub(crate) fn beat_at<S: Source + ?Sized>(
    source: &mut S,
    named: &[Named],
    at_s: f64,
    others: &[f64],
) -> Result<Beat, ReadError> {
    let [from_s, to_s] = [at_s - MARGIN_S, at_s + MARGIN_S];
    let mut piece = Piece { from_s, to_s, ..Piece::default() };
    stretches(source, named, [from_s, to_s], &mut piece)?;
    Ok(Finder { named }.beat_at(&mut piece, at_s, others))
}

/// Which way the waves of each ECG point is looked at over this long, seconds.
const LOOKED_AT_S: f64 = 60.0;
/// Fewer beats say nothing.
const FEW: usize = 3;

/// Looks which way the waves of each ECG point: sets `upright` and `inverted`, and where P, QRS
/// and T all point downwards says so and, if `turn`, has the signal turned.
///
/// # Errors
/// What the source could not read.
pub fn look<S: Source + ?Sized>(
    source: &mut S,
    named: &mut [Named],
    turn: bool,
) -> Result<(), ReadError> {
    look_from(source, named, turn, 0.0)
}

/// As [`look`], at the minute that begins at `from_s`.
///
/// # Errors
/// As [`look`].
pub fn look_from<S: Source + ?Sized>(
    source: &mut S,
    named: &mut [Named],
    turn: bool,
    from_s: f64,
) -> Result<(), ReadError> {
    let mut piece = Stretch::default();
    for named in named.iter_mut().filter(|named| named.is_ecg()) {
        stretch(source, named, [from_s, from_s + LOOKED_AT_S], &mut piece)?;
        let Some([qrs, p, t]) = directions(&piece) else { continue };
        named.upright = qrs > 0.0;
        // In aVR all waves point downwards by its definition.
        let by_nature = named.lead.as_deref() == Some("AVR");
        named.inverted = qrs < 0.0 && p < 0.0 && t < 0.0 && !by_nature;
        if named.inverted {
            let done = if turn { "it was turned" } else { "it is shown as recorded" };
            named.warnings.push(format!(
                "P, QRS and T all point downwards, as with exchanged electrodes; {done}"
            ));
        }
        if named.inverted && turn {
            (named.turned, named.upright) = (!named.turned, true);
        }
    }
    Ok(())
}

/// The middle heights of QRS, P and T above the level before them; 0 of waves not found.
fn directions(stretch: &Stretch) -> Option<[f64; 3]> {
    let (samples, rate_hz) = (&stretch.samples[..], stretch.rate_hz);
    let peaks = BeatPeaks::default().find(samples, rate_hz, None);
    if peaks.len() < FEW {
        return None;
    }
    let qrs = percentile(&mut peaks.iter().map(|peak| peak.height).collect::<Vec<_>>(), 0.5);
    let mut waves = Waves::default();
    waves.prepare(samples, rate_hz, grain(samples, &mut Vec::new()));
    let mut heights: [Vec<f64>; 2] = Default::default();
    let mut marks = Vec::new();
    for (index, peak) in peaks.iter().enumerate() {
        marks.clear();
        let near = Neighbours {
            before: index.checked_sub(1).map(|before| peaks[before].place),
            t_end_before: None,
            after: peaks.get(index + 1).map(|after| after.place),
        };
        waves.find(samples, peak.place, qrs > 0.0, 1.0, &near, &mut marks);
        let value = |name: &str| marks.iter().find(|mark| mark.name == name).map(|m| m.value);
        for (wave, names) in [["p_peak", "p_onset"], ["t_peak", "t_end"]].iter().enumerate() {
            if let (Some(top), Some(level)) = (value(names[0]), value(names[1])) {
                heights[wave].push(top - level);
            }
        }
    }
    let [mut p, mut t] = heights;
    Some([qrs, percentile(&mut p, 0.5), percentile(&mut t, 0.5)])
}
