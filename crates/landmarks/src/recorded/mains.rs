//! The hum of the mains.

/// The frequencies that a mains supply has.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
/// The hum is fitted over this long at a time, which holds whole numbers of both periods, and
/// the beats in it lie at different phases.
const BLOCK_S: f64 = 1.0;
/// It is taken away where its middle size is so many times that of the tones 3 Hz beside it.
const STANDS_OUT: f64 = 2.5;

/// Sine and cosine part of `hz` in a block that begins at `start`.
fn tone(block: &[f64], start: usize, rate_hz: f64, hz: f64) -> [f64; 2] {
    let turn = 2.0 * std::f64::consts::PI * hz / rate_hz;
    let (step_s, step_c) = (libm::sin(turn), libm::cos(turn));
    let angle = turn * start as f64;
    let (mut s, mut c) = (libm::sin(angle), libm::cos(angle));
    let mean = block.iter().sum::<f64>() / block.len().max(1) as f64;
    let (mut sum_s, mut sum_c) = (0.0, 0.0);
    for value in block {
        (sum_s, sum_c) = (sum_s + (value - mean) * s, sum_c + (value - mean) * c);
        (s, c) = (s * step_c + c * step_s, c * step_c - s * step_s);
    }
    let scale = 2.0 / block.len().max(1) as f64;
    [sum_s * scale, sum_c * scale]
}

fn size([s, c]: [f64; 2]) -> f64 {
    (s * s + c * c).sqrt()
}

/// Takes the mains' hum out of `samples` where it stands out, and says at which frequency.
///
/// Sine and cosine are fitted second by second and taken away with the middle of five fits, so
/// that one steep beat takes no part of itself away.
pub fn remove_mains(samples: &mut [f64], rate_hz: f64) -> Option<f64> {
    let length = (BLOCK_S * rate_hz).round() as usize;
    let mut removed = None;
    for hz in MAINS_HZ.into_iter().filter(|hz| 2.2 * hz < rate_hz) {
        if length < 16 || samples.len() < 5 * length {
            continue;
        }
        let fits = |hz: f64| -> Vec<[f64; 2]> {
            let blocks = samples.chunks_exact(length).enumerate();
            blocks.map(|(index, block)| tone(block, index * length, rate_hz, hz)).collect()
        };
        let middle = |fits: &[[f64; 2]]| {
            super::percentile(&mut fits.iter().map(|fit| size(*fit)).collect::<Vec<_>>(), 0.5)
        };
        let hum = fits(hz);
        let beside = middle(&fits(hz - 3.0)).max(middle(&fits(hz + 3.0)));
        if middle(&hum) > STANDS_OUT * beside {
            subtract(samples, &hum, length, rate_hz, hz);
            removed = Some(hz);
        }
    }
    removed
}

fn subtract(samples: &mut [f64], hum: &[[f64; 2]], length: usize, rate_hz: f64, hz: f64) {
    let turn = 2.0 * std::f64::consts::PI * hz / rate_hz;
    let around = |index: usize, part: usize| {
        let from = index.saturating_sub(2).min(hum.len().saturating_sub(5));
        let near = &hum[from..(from + 5).min(hum.len())];
        super::percentile(&mut near.iter().map(|fit| fit[part]).collect::<Vec<_>>(), 0.5)
    };
    for (index, block) in samples.chunks_mut(length).enumerate() {
        let near = index.min(hum.len() - 1);
        let [a, b] = [around(near, 0), around(near, 1)];
        let (step_s, step_c) = (libm::sin(turn), libm::cos(turn));
        let angle = turn * (index * length) as f64;
        let (mut s, mut c) = (libm::sin(angle), libm::cos(angle));
        for value in block {
            *value -= a * s + b * c;
            (s, c) = (s * step_c + c * step_s, c * step_c - s * step_s);
        }
    }
}
