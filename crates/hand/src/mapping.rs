//! Where a place on the page is in a picture of it.

use serde::Serialize;

/// Along which of the page's sides it is bent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Along {
    /// The way across: the left and the right side come up or go down.
    X,
    /// The way down.
    Y,
}

/// From millimetres on the page to pixels of the picture, exactly.
///
/// With `c` the page's middle and `(u, v) = (x, y) - c`, a page bent along `u` with curvature
/// `k` is at `(U, V, W) = (sin(k u) / k, v, (1 - cos(k u)) / k)`, and at `(u, v, 0)` where `k` is
/// 0; bent along `v` the same with the two changed over. Of `matrix · (U, V, W, 1)` the first two
/// divided by the third are the place in pixels; the top left corner of the first pixel is
/// (0, 0), its middle (0.5, 0.5).
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Mapping {
    /// Three rows of four.
    pub matrix: [[f64; 4]; 3],
    /// Curvature in a millimetre; 0 for flat.
    pub bend_per_mm: f64,
    /// The way along which the page is bent.
    pub bent_along: Along,
    /// The page's middle, in millimetres.
    pub middle_mm: [f64; 2],
}

impl Mapping {
    /// Where a place in millimetres on the page is in the picture, in pixels.
    pub fn to_image(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let [u, v] = [x - self.middle_mm[0], y - self.middle_mm[1]];
        let k = self.bend_per_mm;
        let bent = |way: f64| {
            if k == 0.0 {
                [way, 0.0]
            } else {
                [libm::sin(k * way) / k, (1.0 - libm::cos(k * way)) / k]
            }
        };
        let point = match self.bent_along {
            Along::X => {
                let [across, up] = bent(u);
                [across, v, up, 1.0]
            }
            Along::Y => {
                let [down, up] = bent(v);
                [u, down, up, 1.0]
            }
        };
        let row = |row: [f64; 4]| row.iter().zip(point).map(|(a, b)| a * b).sum::<f64>();
        let [px, py, far] = self.matrix.map(row);
        [px / far, py / far]
    }

    /// Which place on the page is at a place of the picture, starting from `guess` (Newton).
    pub(crate) fn page_at(&self, at: [f64; 2], guess: [f64; 2]) -> [f64; 2] {
        const STEP: f64 = 1e-3;
        let mut place = guess;
        for _ in 0..20 {
            let here = self.to_image(place);
            let off = [at[0] - here[0], at[1] - here[1]];
            if off[0].abs() + off[1].abs() < 1e-6 {
                break;
            }
            let [dx, dy] = [[STEP, 0.0], [0.0, STEP]].map(|[right, down]| {
                let there = self.to_image([place[0] + right, place[1] + down]);
                [(there[0] - here[0]) / STEP, (there[1] - here[1]) / STEP]
            });
            let area = dx[0] * dy[1] - dx[1] * dy[0];
            place[0] += (off[0] * dy[1] - off[1] * dy[0]) / area;
            place[1] += (dx[0] * off[1] - dx[1] * off[0]) / area;
        }
        place
    }

    /// Pixels for a millimetre in the middle of the page.
    pub fn px_per_mm(&self) -> f64 {
        let [x, y] = self.middle_mm;
        let [a, b] = [self.to_image([x - 0.5, y]), self.to_image([x + 0.5, y])];
        libm::hypot(b[0] - a[0], b[1] - a[1])
    }

    /// The same, with the picture's pixels moved by `change`: rows of a, b, c for
    /// `a x + b y + c`.
    pub(crate) fn then(&self, change: [[f64; 3]; 2]) -> Self {
        let [px, py, far] = self.matrix;
        let row = |[a, b, c]: [f64; 3]| std::array::from_fn(|i| a * px[i] + b * py[i] + c * far[i]);
        Self { matrix: [row(change[0]), row(change[1]), far], ..*self }
    }
}
