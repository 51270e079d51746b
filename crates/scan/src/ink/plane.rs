//! Rectangles of numbers.

use crate::memory;

/// A rectangle of numbers, row by row: of ink, where nothing else is said.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Plane<T = i16> {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) data: Vec<T>,
}

/// A product of two numbers without its lower 16 bits: a part of one of them.
pub(crate) fn part(of: i16, share: i16) -> i16 {
    ((i32::from(of) * i32::from(share)) >> 16) as i16
}

impl<T: Copy + Default> Plane<T> {
    pub(crate) fn new(width: usize, height: usize) -> Self {
        Self { width, height, data: vec![T::default(); width * height] }
    }

    #[inline]
    pub(crate) fn row(&self, y: usize) -> &[T] {
        &self.data[y * self.width..(y + 1) * self.width]
    }
}

impl Plane {
    /// The value at a place between pixels, whose centres are at whole numbers; edges repeat.
    #[inline]
    pub(crate) fn between(&self, x: f32, y: f32) -> f32 {
        let x = x.clamp(0.0, (self.width - 1) as f32);
        let y = y.clamp(0.0, (self.height - 1) as f32);
        let (left, top) = (x as usize, y as usize);
        let (right, below) = ((left + 1).min(self.width - 1), (top + 1).min(self.height - 1));
        let (across, down) = (x - left as f32, y - top as f32);
        let mix = |row: &[i16]| {
            let [left, right] = [row[left], row[right]].map(f32::from);
            left + across * (right - left)
        };
        let (upper, lower) = (mix(self.row(top)), mix(self.row(below)));
        upper + down * (lower - upper)
    }

    /// The rows that `row` gives, each value joined with its neighbours by `join`, along rows and
    /// then along columns; the outermost values are not.
    fn joined<'a>(
        [width, height]: [usize; 2],
        row: impl Fn(usize) -> &'a [i16],
        join: impl Fn(i16, i16, i16) -> i16,
    ) -> Self {
        let mut data = memory::room(width * height);
        // The last three rows, joined along.
        let mut across = [vec![0; width], vec![0; width], vec![0; width]];
        for y in 0..height {
            across.rotate_left(1);
            let (from, to) = (row(y), &mut across[2]);
            (to[0], to[width - 1]) = (from[0], from[width - 1]);
            let inner = from.iter().zip(&from[1..]).zip(&from[2..]);
            to[1..].iter_mut().zip(inner).for_each(|(to, ((&a, &b), &c))| *to = join(a, b, c));
            if y >= 2 {
                let [above, here, below] = &across;
                let rows = above.iter().zip(here).zip(below);
                data.extend(rows.map(|((&a, &b), &c)| join(a, b, c)));
            }
            if y == 0 || y + 1 == height {
                data.extend_from_slice(from);
            }
        }
        Self { width, height, data }
    }

    /// The rows that `row` gives, smoothed by the binomial weights 1, 2, 1.
    pub(crate) fn smoothed_of<'a>(size: [usize; 2], row: impl Fn(usize) -> &'a [i16]) -> Self {
        Self::joined(size, row, |a, b, c| (a + 2 * b + c + 2) >> 2)
    }

    /// Smoothed by the binomial weights 1, 2, 1.
    pub(crate) fn smoothed(&self) -> Self {
        Self::smoothed_of([self.width, self.height], |y| self.row(y))
    }

    /// The greatest of each pixel and its eight neighbours.
    pub(crate) fn spread(&self) -> Self {
        Self::spread_of([self.width, self.height], |y| self.row(y))
    }

    /// As [`Self::spread`], of the rows that `row` gives.
    pub(crate) fn spread_of<'a>(size: [usize; 2], row: impl Fn(usize) -> &'a [i16]) -> Self {
        Self::joined(size, row, |a, b, c| a.max(b).max(c))
    }
}
