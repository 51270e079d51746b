//! Which of a recording's bursts are first and which second heart sounds, without an ECG.

use super::largest;

/// What is usual for the stretch, in samples.
#[derive(Clone, Copy, Debug)]
pub(super) struct Usual {
    /// From first to second sound, and from second to first.
    pub(super) systole: f64,
    pub(super) diastole: f64,
    /// How much of the outline repeats after a beat, 0 … 1.
    pub(super) regular: f64,
}

/// A beat's period lies between these, seconds (40 to 150 beats a minute).
const PERIOD_S: [f64; 2] = [0.4, 1.5];
/// Systole is at least so long, and at most so much of the period: the shorter interval.
const SYSTOLE_S: f64 = 0.18;
const SYSTOLE_SHARE: f64 = 0.5;
/// The outline is looked at so many times a second.
const COARSE_HZ: f64 = 100.0;

/// The usual intervals: where an outline is most like itself later on, as Schmidt et al. (Physiol
/// Meas 2010;31:513–529) and Springer et al. (2016) find them.
pub(super) fn usual(outline: &[f64], rate_hz: f64) -> Option<Usual> {
    let step = (rate_hz / COARSE_HZ).round().max(1.0) as usize;
    let hz = rate_hz / step as f64;
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let mut coarse: Vec<f64> = outline.chunks_exact(step).map(mean).collect();
    let level = coarse.iter().sum::<f64>() / coarse.len().max(1) as f64;
    // A knock on the microphone counts no more than a sound.
    let top = 2.0 * super::percentile(&mut coarse.clone(), 0.95);
    coarse.iter_mut().for_each(|value| *value = value.min(top) - level);
    let like = |lag: usize| -> f64 {
        coarse.iter().zip(coarse.get(lag..).unwrap_or_default()).map(|(a, b)| a * b).sum()
    };
    let lags = |from_s: f64, to_s: f64| (from_s * hz) as usize..(to_s * hz) as usize + 1;
    let whole = like(0);
    // Two beats are as like one another as one; the shorter period is meant.
    let shortened = |lag: usize| like(lag) * (1.0 - 0.1 * lag as f64 / hz);
    let period = largest(lags(PERIOD_S[0], PERIOD_S[1]), shortened)?;
    let longest = SYSTOLE_SHARE * period as f64 / hz;
    let systole = largest(lags(SYSTOLE_S, longest.max(SYSTOLE_S)), like)?;
    let samples = |lag: usize| (lag * step) as f64;
    let diastole = samples(period) - samples(systole);
    let regular = (like(period) / whole.max(1e-300)).clamp(0.0, 1.0);
    (whole > 0.0).then_some(Usual { systole: samples(systole), diastole, regular })
}

/// A burst as first (0) or second (1) sound: best sum of rewards up to it, and what came before.
type Best = [(f64, Option<(usize, usize)>); 2];

/// Spreads of systole and diastole as shares of their length; diastole takes up what beats differ
/// by (no source).
const SPREAD: [f64; 2] = [0.12, 0.25];
/// What it costs to begin anew after a burst that fits nothing.
const ANEW: f64 = 3.0;

/// Which of the bursts at `places` of these `heights` are first and second sounds: the assignment
/// of most bursts with intervals nearest to the usual ones. Each first sound's index with the
/// second's.
pub(super) fn alternate(
    places: &[f64],
    heights: &[f64],
    usual: &Usual,
) -> Vec<(usize, Option<usize>)> {
    let middle = super::percentile(&mut heights.to_vec(), 0.5).max(1e-300);
    let reward = |index: usize| (heights[index] / middle).min(1.0);
    let mut best: Vec<Best> = Vec::with_capacity(places.len());
    let mut highest = (0.0_f64, None);
    for index in 0..places.len() {
        let mut here: Best = [(highest.0 - ANEW, highest.1); 2];
        if highest.1.is_none() {
            here = [(0.0, None); 2];
        }
        for before in (0..index).rev() {
            let gap = places[index] - places[before];
            if gap > 2.0 * (usual.systole + usual.diastole) {
                break;
            }
            for (from, to, length) in [(0, 1, usual.systole), (1, 0, usual.diastole)] {
                let off = (gap - length) / (SPREAD[from] * length);
                let total = best[before][from].0 - 0.5 * off * off;
                if total > here[to].0 {
                    here[to] = (total, Some((before, from)));
                }
            }
        }
        for (state, one) in here.iter_mut().enumerate() {
            one.0 += reward(index);
            if one.0 > highest.0 {
                highest = (one.0, Some((index, state)));
            }
        }
        best.push(here);
    }
    let mut at = highest.1;
    let mut chain = Vec::new();
    while let Some((index, state)) = at {
        chain.push((index, state));
        at = best[index][state].1;
    }
    chain.reverse();
    let second = |place: usize| chain.get(place + 1).filter(|next| next.1 == 1).map(|next| next.0);
    let firsts = chain.iter().enumerate().filter(|(_, one)| one.1 == 0);
    firsts.map(|(place, one)| (one.0, second(place))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_extra_burst_changes_no_other_beat() {
        let mut places: Vec<f64> =
            (0..10).flat_map(|beat| [0.0, 320.0].map(|s| f64::from(beat) * 850.0 + s)).collect();
        places.insert(7, 3.0 * 850.0 + 150.0);
        let usual = Usual { systole: 320.0, diastole: 530.0, regular: 1.0 };
        let found = alternate(&places, &vec![1.0; places.len()], &usual);
        assert_eq!(found.len(), 10);
        for (first, second) in found {
            assert_eq!(places[first] % 850.0, 0.0);
            assert_eq!(places[second.unwrap()] % 850.0, 320.0);
        }
        assert_eq!(alternate(&[], &[], &usual), []);
    }
}
