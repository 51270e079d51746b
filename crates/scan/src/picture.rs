//! Pictures of pages, as they come from a file.

/// The lightness of a page's picture, row by row: nothing on a sheet is told by colour. Pixel
/// (0, 0) covers 0 to 1 in both directions, so its centre is at (0.5, 0.5).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// 0 black to 255 white.
    pub level: Vec<u8>,
}

/// A turn by quarters, with or without a mirror: the mirrors come after the exchange of rows
/// and columns.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Turn {
    /// Rows become columns.
    pub(crate) swap: bool,
    /// Left becomes right.
    pub(crate) flip_x: bool,
    /// Top becomes bottom.
    pub(crate) flip_y: bool,
}

impl Turn {
    /// What the orientation in a photo's EXIF record asks for, so that the photo is seen as it
    /// was taken.
    ///
    /// Source: CIPA DC-008 (Exif 2.32), tag 274.
    pub(crate) fn exif(orientation: u16) -> Self {
        let [swap, flip_x, flip_y] = match orientation {
            2 => [false, true, false],
            3 => [false, true, true],
            4 => [false, false, true],
            5 => [true, false, false],
            6 => [true, true, false],
            7 => [true, true, true],
            8 => [true, false, true],
            _ => [false, false, false],
        };
        Self { swap, flip_x, flip_y }
    }

    /// Quarter turns to the right, as a PDF page's `Rotate` asks for.
    pub(crate) fn quarters(right: u32) -> Self {
        Self::exif([1, 6, 3, 8][right as usize % 4])
    }
}

/// The lightness of a colour, weighed as in ITU-R BT.601.
pub(crate) fn lightness([r, g, b]: [u8; 3]) -> u8 {
    ((77 * u32::from(r) + 150 * u32::from(g) + 29 * u32::from(b) + 128) >> 8) as u8
}

impl Picture {
    /// A picture of `width` times `height` levels.
    pub fn from_grey(width: usize, height: usize, level: &[u8]) -> Self {
        Self { width, height, level: level.to_vec() }
    }

    pub(crate) fn turned(self, turn: Turn) -> Self {
        if turn == Turn::default() {
            return self;
        }
        let (width, height) =
            if turn.swap { (self.height, self.width) } else { (self.width, self.height) };
        let mut level = Vec::with_capacity(self.level.len());
        for y in 0..height {
            let row = if turn.flip_y { height - 1 - y } else { y };
            for x in 0..width {
                let column = if turn.flip_x { width - 1 - x } else { x };
                let from =
                    if turn.swap { column * self.width + row } else { row * self.width + column };
                level.push(self.level[from]);
            }
        }
        Self { width, height, level }
    }

    /// The lightness at a point, between the centres of four pixels; beyond the edge, that of
    /// the edge.
    #[inline]
    pub fn at(&self, [x, y]: [f64; 2]) -> f64 {
        if self.level.is_empty() {
            return 255.0;
        }
        let x = (x - 0.5).clamp(0.0, (self.width - 1) as f64);
        let y = (y - 0.5).clamp(0.0, (self.height - 1) as f64);
        let (left, top) = (x as usize, y as usize);
        let (across, down) = (x - left as f64, y - top as f64);
        let right = (left + 1).min(self.width - 1);
        let below = (top + 1).min(self.height - 1) * self.width;
        let top = top * self.width;
        let level = |at: usize| f64::from(self.level[at]);
        let upper = level(top + left) * (1.0 - across) + level(top + right) * across;
        let lower = level(below + left) * (1.0 - across) + level(below + right) * across;
        upper * (1.0 - down) + lower * down
    }

    /// The picture at a whole fraction of its size: each pixel the mean of `by` times `by`. What
    /// is left over at the right and the bottom is dropped.
    pub(crate) fn reduced(&self, by: usize) -> Self {
        if by <= 1 {
            return self.clone();
        }
        let (width, height) = (self.width / by, self.height / by);
        let mut level = Vec::with_capacity(width * height);
        let mut sums = vec![0_u16; width * by];
        let area = (by * by) as u32;
        for rows in self.level.chunks_exact((by * self.width).max(1)) {
            sums.fill(0);
            for row in rows.chunks_exact(self.width) {
                sums.iter_mut().zip(row).for_each(|(sum, &one)| *sum += u16::from(one));
            }
            let mean = |part: &[u16]| {
                let sum: u32 = part.iter().map(|&one| u32::from(one)).sum();
                ((sum + area / 2) / area) as u8
            };
            // Scans at 300 dpi are searched at a quarter: 16 pixels are a sum of 12 bits.
            if let (4, (parts, _)) = (by, sums.as_chunks::<4>()) {
                level.extend(parts.iter().map(|&[a, b, c, d]| ((a + b + c + d + 8) >> 4) as u8));
            } else {
                level.extend(sums.chunks_exact(by).map(mean));
            }
        }
        Self { width, height, level }
    }
}
