//! Plane to plane in perspective, fitted to points.

/// A map of the plane that keeps lines straight.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Homography {
    /// Row by row; the last is 1.
    rows: [f64; 9],
    /// The points from which it maps are moved and scaled by this before: x, y, factor.
    from: [f64; 3],
    /// And those to which it maps are moved and scaled back by this after.
    to: [f64; 3],
}

/// A fitted map and how well it fits.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    pub(super) map: Homography,
    /// Root mean square of what is left, in the unit from which it maps.
    pub(super) rms_mm: f64,
    /// Which of the eight parameters were free.
    free: usize,
    /// Inverse of the normal equations' matrix, for the free parameters.
    spread: Vec<Vec<f64>>,
    /// Standard deviation of one coordinate in normalised pixels.
    noise: f64,
}

type Pair = ([f64; 2], [f64; 2]);

impl Homography {
    /// The map that fits pairs of points best.
    pub(crate) fn fit(points: &[Pair]) -> Option<Self> {
        Some(fit_homography(points)?.map)
    }

    pub(crate) fn apply(&self, at: [f64; 2]) -> [f64; 2] {
        let [u, v] = self.normalised(normal(at, self.from));
        [u / self.to[2] + self.to[0], v / self.to[2] + self.to[1]]
    }

    fn normalised(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let [a, b, c, d, e, f, g, h, i] = self.rows;
        let under = g * x + h * y + i;
        let under = if under.abs() < 1e-9 { 1e-9 } else { under };
        [(a * x + b * y + c) / under, (d * x + e * y + f) / under]
    }

    /// Lengths there for a length here, at a point.
    pub(crate) fn scale(&self, at: [f64; 2]) -> f64 {
        let [o, x, y] = [at, [at[0] + 0.5, at[1]], [at[0], at[1] + 0.5]].map(|at| self.apply(at));
        let area = (x[0] - o[0]) * (y[1] - o[1]) - (x[1] - o[1]) * (y[0] - o[0]);
        (4.0 * area.abs()).sqrt()
    }

    /// Where the point is that is seen at `there`, starting at `near`.
    pub(crate) fn back(&self, there: [f64; 2], near: [f64; 2]) -> [f64; 2] {
        let mut at = near;
        for _ in 0..8 {
            let o = self.apply(at);
            let x = self.apply([at[0] + 0.5, at[1]]);
            let y = self.apply([at[0], at[1] + 0.5]);
            let (a, b) = (2.0 * (x[0] - o[0]), 2.0 * (y[0] - o[0]));
            let (c, d) = (2.0 * (x[1] - o[1]), 2.0 * (y[1] - o[1]));
            let area = a * d - b * c;
            if area.abs() < 1e-12 {
                break;
            }
            let (u, v) = (there[0] - o[0], there[1] - o[1]);
            at = [at[0] + (d * u - b * v) / area, at[1] + (a * v - c * u) / area];
        }
        at
    }
}

fn normal(at: [f64; 2], [x, y, factor]: [f64; 3]) -> [f64; 2] {
    [(at[0] - x) * factor, (at[1] - y) * factor]
}

/// Moves the points' middle to (0, 0) and their mean distance from it to √2, without which the
/// equations lose half their digits.
///
/// Source: R. Hartley, "In defense of the eight-point algorithm", IEEE PAMI 19 (1997).
fn normalising(points: impl Iterator<Item = [f64; 2]> + Clone) -> Option<[f64; 3]> {
    let count = points.clone().count() as f64;
    let sum = points.clone().fold([0.0; 2], |sum, at| [sum[0] + at[0], sum[1] + at[1]]);
    let [x, y] = [sum[0] / count, sum[1] / count];
    let far = points.map(|at| ((at[0] - x) * (at[0] - x) + (at[1] - y) * (at[1] - y)).sqrt());
    let mean = far.sum::<f64>() / count;
    (mean > 0.0 && mean.is_finite()).then(|| [x, y, 2.0_f64.sqrt() / mean])
}

/// A map in perspective: linear first (direct linear transformation with the last parameter
/// 1, which is safe where the points' middle is (0, 0)), then least squares of the distances
/// in the picture by Gauss and Newton.
pub(super) fn fit_homography(points: &[Pair]) -> Option<Fit> {
    fit(points, 8)
}

/// A map without perspective.
pub(super) fn fit_affine(points: &[Pair]) -> Option<Fit> {
    fit(points, 6)
}

fn fit(points: &[Pair], free: usize) -> Option<Fit> {
    /// Steps of Gauss and Newton; the second is already below a thousandth of a pixel.
    const STEPS: usize = 5;
    if 2 * points.len() < free {
        return None;
    }
    let from = normalising(points.iter().map(|(from, _)| *from))?;
    let to = normalising(points.iter().map(|(_, to)| *to))?;
    let pairs: Vec<Pair> = points.iter().map(|(a, b)| (normal(*a, from), normal(*b, to))).collect();
    let mut rows = linear(&pairs, free)?;
    let mut spread = Vec::new();
    for _ in 0..STEPS {
        let map = Homography { rows, from, to };
        let mut equations = Normal::new(free);
        for (here, there) in &pairs {
            let seen = map.normalised(*here);
            for (slopes, axis) in slopes(&rows, *here).iter().zip(0..2) {
                equations.add(&slopes[..free], there[axis] - seen[axis]);
            }
        }
        let (step, inverse) = equations.solve()?;
        rows.iter_mut().zip(&step).for_each(|(value, step)| *value += step);
        spread = inverse;
    }
    let map = Homography { rows, from, to };
    let mut sum_mm = 0.0;
    let mut sum = 0.0;
    for ((here, there), (a, b)) in points.iter().zip(&pairs) {
        let seen = map.apply(*here);
        let scale = map.scale(*here).max(1e-9);
        let (dx, dy) = ((seen[0] - there[0]) / scale, (seen[1] - there[1]) / scale);
        sum_mm += dx * dx + dy * dy;
        let near = map.normalised(*a);
        sum += (near[0] - b[0]) * (near[0] - b[0]) + (near[1] - b[1]) * (near[1] - b[1]);
    }
    let rms_mm = (sum_mm / points.len() as f64).sqrt();
    let noise = (sum / (2 * points.len() - free).max(1) as f64).sqrt();
    rms_mm.is_finite().then_some(Fit { map, rms_mm, free, spread, noise })
}

/// How the mapped point moves with each parameter.
fn slopes(rows: &[f64; 9], [x, y]: [f64; 2]) -> [[f64; 8]; 2] {
    let [a, b, c, d, e, f, g, h, i] = *rows;
    let under = g * x + h * y + i;
    let (u, v) = ((a * x + b * y + c) / under, (d * x + e * y + f) / under);
    let [x, y, one] = [x / under, y / under, 1.0 / under];
    [[x, y, one, 0.0, 0.0, 0.0, -u * x, -u * y], [0.0, 0.0, 0.0, x, y, one, -v * x, -v * y]]
}

fn linear(pairs: &[Pair], free: usize) -> Option<[f64; 9]> {
    let mut equations = Normal::new(free);
    for &([x, y], [u, v]) in pairs {
        let first = [x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y];
        let second = [0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y];
        equations.add(&first[..free], u);
        equations.add(&second[..free], v);
    }
    let (solution, _) = equations.solve()?;
    let mut rows = [0.0; 9];
    rows[..free].copy_from_slice(&solution);
    rows[8] = 1.0;
    Some(rows)
}

impl Fit {
    /// Standard deviation of the place of the least certain corner of a page of this size, in
    /// millimetres; edges are taken to be known no better than `least_mm`.
    pub(super) fn uncertainty_mm(&self, [width, height]: [f64; 2], least_mm: f64) -> f64 {
        let corners = [[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]];
        let at = |corner: [f64; 2]| {
            let slopes = slopes(&self.map.rows, normal(corner, self.map.from));
            let variance: f64 = slopes.iter().map(|row| self.variance(&row[..self.free])).sum();
            let pixels = self.map.to[2] * self.map.scale(corner).max(1e-9);
            let noise = self.noise.max(least_mm * pixels);
            variance.max(0.0).sqrt() * noise / pixels
        };
        corners.into_iter().map(at).fold(0.0, f64::max)
    }

    fn variance(&self, row: &[f64]) -> f64 {
        let times = |line: &Vec<f64>| line.iter().zip(row).map(|(a, b)| a * b).sum::<f64>();
        self.spread.iter().zip(row).map(|(line, of)| of * times(line)).sum()
    }
}

/// Normal equations of least squares.
pub(super) struct Normal {
    matrix: Vec<Vec<f64>>,
    right: Vec<f64>,
}

impl Normal {
    pub(super) fn new(unknowns: usize) -> Self {
        Self { matrix: vec![vec![0.0; unknowns]; unknowns], right: vec![0.0; unknowns] }
    }

    /// One equation: the row times the unknowns is `value`.
    pub(super) fn add(&mut self, row: &[f64], value: f64) {
        for (at, &of) in row.iter().enumerate() {
            self.right[at] += of * value;
            for (sum, &other) in self.matrix[at].iter_mut().zip(row) {
                *sum += of * other;
            }
        }
    }

    /// The unknowns and the inverse of the matrix (Gauss and Jordan, with pivots); none where
    /// the equations do not settle them.
    pub(super) fn solve(self) -> Option<(Vec<f64>, Vec<Vec<f64>>)> {
        let Self { mut matrix, right } = self;
        let count = right.len();
        let largest = matrix.iter().flatten().fold(0.0_f64, |most, one| most.max(one.abs()));
        let mut inverse: Vec<Vec<f64>> = (0..count)
            .map(|at| (0..count).map(|other| f64::from(u8::from(at == other))).collect())
            .collect();
        for at in 0..count {
            let pivot =
                (at..count).max_by(|a, b| matrix[*a][at].abs().total_cmp(&matrix[*b][at].abs()))?;
            let under = matrix[pivot][at];
            let settled = under.is_finite() && under.abs() > 1e-12 * largest;
            if !settled {
                return None;
            }
            matrix.swap(at, pivot);
            inverse.swap(at, pivot);
            for value in matrix[at].iter_mut().chain(&mut inverse[at]) {
                *value /= under;
            }
            let (line, other) = (matrix[at].clone(), inverse[at].clone());
            for row in (0..count).filter(|row| *row != at) {
                let factor = matrix[row][at];
                matrix[row].iter_mut().zip(&line).for_each(|(a, b)| *a -= factor * b);
                inverse[row].iter_mut().zip(&other).for_each(|(a, b)| *a -= factor * b);
            }
        }
        let times = |line: &Vec<f64>| line.iter().zip(&right).map(|(a, b)| a * b).sum();
        Some((inverse.iter().map(times).collect(), inverse))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_map_in_perspective_is_found_exactly_and_back() {
        let truth = |[x, y]: [f64; 2]| {
            let under = 1.0 + 0.0007 * x - 0.0004 * y;
            [(9.0 * x + 1.5 * y + 40.0) / under, (-1.2 * x + 8.5 * y + 300.0) / under]
        };
        let points: Vec<Pair> = (0..16)
            .map(|at| [f64::from(at % 4) * 60.0, f64::from(at / 4) * 80.0])
            .map(|at| (at, truth(at)))
            .collect();
        let fit = fit_homography(&points).unwrap();
        assert!(fit.rms_mm < 1e-9, "{}", fit.rms_mm);
        for at in [[3.0, 5.0], [210.0, 270.0], [100.0, 20.0]] {
            let (seen, wanted) = (fit.map.apply(at), truth(at));
            assert!((seen[0] - wanted[0]).abs() < 1e-6 && (seen[1] - wanted[1]).abs() < 1e-6);
            let back = fit.map.back(seen, [100.0, 100.0]);
            assert!((back[0] - at[0]).abs() < 1e-6 && (back[1] - at[1]).abs() < 1e-6);
        }
    }

    #[test]
    fn points_on_one_line_fit_no_map() {
        let points: Vec<Pair> =
            (0..12).map(f64::from).map(|at| ([at, 2.0 * at], [at, at])).collect();
        assert!(fit_homography(&points).is_none());
    }
}
