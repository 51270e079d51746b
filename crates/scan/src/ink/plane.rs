//! A rectangle of numbers.

/// A rectangle of numbers, row by row.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Plane {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) data: Vec<f32>,
}

impl Plane {
    pub(crate) fn new(width: usize, height: usize) -> Self {
        Self { width, height, data: vec![0.0; width * height] }
    }

    #[inline]
    pub(crate) fn row(&self, y: usize) -> &[f32] {
        &self.data[y * self.width..(y + 1) * self.width]
    }

    /// The value at a place between pixels, whose centres are at whole numbers; edges repeat.
    #[inline]
    pub(crate) fn between(&self, x: f32, y: f32) -> f32 {
        let x = x.clamp(0.0, (self.width - 1) as f32);
        let y = y.clamp(0.0, (self.height - 1) as f32);
        let (left, top) = (x as usize, y as usize);
        let (right, below) = ((left + 1).min(self.width - 1), (top + 1).min(self.height - 1));
        let (across, down) = (x - left as f32, y - top as f32);
        let mix = |row: &[f32]| row[left] + across * (row[right] - row[left]);
        let (upper, lower) = (mix(self.row(top)), mix(self.row(below)));
        upper + down * (lower - upper)
    }

    /// Each value with its neighbours, by `join` along rows and then along columns.
    fn joined(&self, join: impl Fn(f32, f32, f32) -> f32) -> Self {
        let mut out = self.clone();
        let mut across = self.clone();
        let last = self.width - 1;
        for y in 0..self.height {
            let from = self.row(y);
            let to = &mut across.data[y * self.width..(y + 1) * self.width];
            for x in 1..last {
                to[x] = join(from[x - 1], from[x], from[x + 1]);
            }
        }
        for y in 1..self.height - 1 {
            let (above, here, below) = (across.row(y - 1), across.row(y), across.row(y + 1));
            let to = &mut out.data[y * self.width..(y + 1) * self.width];
            for x in 0..self.width {
                to[x] = join(above[x], here[x], below[x]);
            }
        }
        out
    }

    /// Smoothed by the binomial weights 1, 2, 1.
    pub(crate) fn smoothed(&self) -> Self {
        self.joined(|a, b, c| 0.25 * (a + c) + 0.5 * b)
    }

    /// The greatest of each pixel and its eight neighbours.
    pub(crate) fn spread(&self) -> Self {
        self.joined(|a, b, c| a.max(b).max(c))
    }
}
