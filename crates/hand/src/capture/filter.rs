//! Blur.

use crate::raster::Picture;

/// Weights of a blur in 256ths, from its middle outwards.
fn weights(sigma_px: f64) -> Vec<u32> {
    let reach = (2.5 * sigma_px).ceil().max(1.0) as usize;
    let bell = |far: usize| libm::exp(-0.5 * (far as f64 / sigma_px) * (far as f64 / sigma_px));
    let total = 1.0 + 2.0 * (1..=reach).map(bell).sum::<f64>();
    let mut weights: Vec<u32> =
        (0..=reach).map(|far| (bell(far) / total * 256.0).round() as u32).collect();
    let sum: u32 = weights[0] + 2 * weights[1..].iter().sum::<u32>();
    weights[0] = (weights[0] + 256).saturating_sub(sum);
    weights
}

/// How much is blurred at a time: what a processor keeps close.
const PIECE: usize = 1 << 13;

/// Blurs along a line: every pixel is averaged with those `step` pixels away, twice `step`, and
/// so on to both sides.
fn along(picture: &Picture, weights: &[u32], step: usize) -> Vec<u8> {
    let old = picture.rgb.as_flattened();
    let step = 3 * step;
    let edge = step * (weights.len() - 1);
    let mut new = old.to_vec();
    if edge * 2 >= old.len() {
        return new;
    }
    let end = old.len() - edge;
    let mut sums = vec![0_u32; PIECE];
    for from in (edge..end).step_by(PIECE) {
        let to = (from + PIECE).min(end);
        let sums = &mut sums[..to - from];
        for (sum, &value) in sums.iter_mut().zip(&old[from..to]) {
            *sum = 128 + weights[0] * u32::from(value);
        }
        for (far, &weight) in weights.iter().enumerate().skip(1) {
            let by = far * step;
            let before = &old[from - by..to - by];
            let after = &old[from + by..to + by];
            for ((sum, &a), &b) in sums.iter_mut().zip(before).zip(after) {
                *sum += weight * (u32::from(a) + u32::from(b));
            }
        }
        for (value, sum) in new[from..to].iter_mut().zip(sums) {
            *value = (*sum >> 8) as u8;
        }
    }
    new
}

/// Blurs a picture: `sigma_px` is the deviation across and down.
pub(super) fn blur(picture: &mut Picture, sigma_px: [f64; 2]) {
    let steps = [1, picture.width];
    for (sigma, step) in sigma_px.into_iter().zip(steps) {
        if sigma > 0.15 {
            let flat = along(picture, &weights(sigma), step);
            let (pixels, _) = flat.as_chunks::<3>();
            picture.rgb.copy_from_slice(pixels);
        }
    }
}
