//! Picking beats from a curve that is high once a beat.

use super::smooth::percentile;

/// A beat, or what was not taken for one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pick {
    pub(super) at: usize,
    pub(super) height: f64,
    /// How high what was refused between its neighbours is, as a share of its own height.
    pub(super) rival: f64,
}

/// How beats are told from the rest.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rules {
    /// Two beats are at least this far apart, seconds.
    pub(super) apart_s: f64,
    /// What comes within this time after a beat and reaches less than half its height belongs to
    /// it, as a T wave does (Pan and Tompkins 1985), seconds.
    pub(super) echo_s: f64,
    /// Share of the usual height that a beat reaches ...
    pub(super) share: f64,
    /// ... and where one is due and none found.
    pub(super) due_share: f64,
}

/// The usual height is taken from the highest values of so many blocks of so many seconds: one of
/// them the highest artefact would spoil, and slow hearts leave some without a beat.
const BLOCKS: usize = 7;
const BLOCK_S: f64 = 2.0;
const USUAL: f64 = 0.6;

/// A beat is due when so many usual intervals are over (Pan and Tompkins 1985).
const DUE: f64 = 1.66;

/// The usual height at each block.
fn usual(curve: &[f64], block: usize) -> Vec<f64> {
    let highest = |part: &[f64]| part.iter().copied().fold(0.0, f64::max);
    let mut tops: Vec<f64> = curve.chunks(block).map(highest).collect();
    // A short last block may hold no beat.
    if tops.len() > 1 && !curve.len().is_multiple_of(block) {
        let count = tops.len();
        tops[count - 1] = tops[count - 1].max(tops[count - 2]);
    }
    let reach = BLOCKS / 2;
    let around = |at: usize| {
        let from = at.saturating_sub(reach).min(tops.len().saturating_sub(BLOCKS));
        let mut some = tops[from..(from + BLOCKS).min(tops.len())].to_vec();
        percentile(&mut some, USUAL)
    };
    (0..tops.len()).map(around).collect()
}

/// The highest points that are `apart` samples from one another.
fn summits(curve: &[f64], apart: usize, floor: impl Fn(usize) -> f64, into: &mut Vec<Pick>) {
    into.clear();
    for at in 1..curve.len().saturating_sub(1) {
        let height = curve[at];
        if height < curve[at - 1] || height <= curve[at + 1] || height < floor(at) {
            continue;
        }
        let pick = Pick { at, height, rival: 0.0 };
        match into.last_mut() {
            Some(last) if at - last.at < apart => {
                if height > last.height {
                    *last = pick;
                }
            }
            _ => into.push(pick),
        }
    }
}

/// The beats of `curve`, in the order of time.
pub(super) fn pick(curve: &[f64], rate_hz: f64, rules: &Rules) -> Vec<Pick> {
    let block = ((BLOCK_S * rate_hz) as usize).max(1);
    let usual = usual(curve, block);
    let usual = |at: usize| usual[(at / block).min(usual.len() - 1)];
    let mut all = Vec::new();
    let apart = (rules.apart_s * rate_hz) as usize;
    summits(curve, apart, |at| 0.5 * rules.due_share * usual(at), &mut all);
    let echo = (rules.echo_s * rate_hz) as usize;
    let mut taken: Vec<bool> =
        all.iter().map(|pick| pick.height >= rules.share * usual(pick.at)).collect();
    refuse_echoes(&all, &mut taken, echo);
    take_due(&all, &mut taken, |pick| pick.height >= rules.due_share * usual(pick.at), echo);
    with_rivals(&all, &taken)
}

/// Refuses what only echoes the beat before it.
fn refuse_echoes(all: &[Pick], taken: &mut [bool], echo: usize) {
    let mut last: Option<usize> = None;
    for index in 0..all.len() {
        if !taken[index] {
            continue;
        }
        let echoes = |before: usize| {
            all[index].at - all[before].at < echo && all[index].height < 0.5 * all[before].height
        };
        if last.is_some_and(echoes) {
            taken[index] = false;
        } else {
            last = Some(index);
        }
    }
}

/// Takes the highest of what was refused where a beat is due.
fn take_due(all: &[Pick], taken: &mut [bool], enough: impl Fn(&Pick) -> bool, echo: usize) {
    let beats: Vec<usize> = (0..all.len()).filter(|&index| taken[index]).collect();
    let gap = |pair: &[usize]| (all[pair[1]].at - all[pair[0]].at) as f64;
    let gaps: Vec<f64> = beats.windows(2).map(gap).collect();
    for (place, pair) in beats.windows(2).enumerate() {
        let from = place.saturating_sub(4);
        let mut near = gaps[from..(from + 9).min(gaps.len())].to_vec();
        let interval = percentile(&mut near, 0.5);
        if gaps[place] < DUE * interval {
            continue;
        }
        let clear = |index: &usize| {
            let pick = &all[*index];
            pick.at - all[pair[0]].at >= echo.max((0.4 * interval) as usize)
                && (all[pair[1]].at - pick.at) as f64 >= 0.4 * interval
                && enough(pick)
        };
        let best = (pair[0] + 1..pair[1])
            .filter(clear)
            .max_by(|a, b| all[*a].height.total_cmp(&all[*b].height));
        if let Some(best) = best {
            taken[best] = true;
        }
    }
}

/// The beats, each with the highest of what was refused on either side.
fn with_rivals(all: &[Pick], taken: &[bool]) -> Vec<Pick> {
    let mut beats: Vec<Pick> = Vec::new();
    let mut refused = 0.0_f64;
    for (pick, taken) in all.iter().zip(taken) {
        if !taken {
            refused = refused.max(pick.height);
            if let Some(last) = beats.last_mut() {
                last.rival = last.rival.max(pick.height / last.height);
            }
            continue;
        }
        beats.push(Pick { rival: refused / pick.height, ..*pick });
        refused = 0.0;
    }
    beats
}
