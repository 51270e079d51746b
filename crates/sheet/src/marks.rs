//! The marks in the corners of a sheet, by which a scan is turned upright and flattened.
//!
//! They are AprilTags of the family 36h11 (Olson, "AprilTag: a robust and flexible visual
//! fiducial system", ICRA 2011; codewords as first published, read row by row). Each
//! says which corner it is and which way up, so that three are enough and a page upside down
//! is no special case; any two differ in at least 11 of 36 modules however they are turned,
//! so neither a smudge makes one into another nor does a drawing look like one. The square
//! outline gives four more points each, to a fraction of a pixel. The plain finder squares of
//! a 2-D code would be smaller, but all alike and easily drawn by hand. Other programs find
//! the family too (OpenCV's `aruco` module has it as `DICT_APRILTAG_36h11`), which is how the
//! tests check it.
//!
//! At 10 mm a module is 1.25 mm: 7 pixels in a scan at 150 dpi, 4 where a photo has 900
//! pixels along the page's shorter side, both above the 2 to 3 that a decoder needs.

use std::collections::BTreeSet;

use figure::Box2;

/// Modules along a side of a mark, its black border of one module included.
pub const MARK_MODULES: usize = 8;

/// Side of a mark's black square in millimetres.
pub const MARK_SIZE_MM: f64 = 10.0;

/// White that must stay around a mark, in modules of the mark.
pub const MARK_QUIET: f64 = 1.0;

/// Shorter and longer side of the area that Letter and A4 share inside a copier's margin of
/// 6 mm, in millimetres.
pub const FRAME_MM: [f64; 2] = [198.0, 267.4];

/// Distance between neighbouring marks' centres along the page's shorter and longer side, in
/// millimetres: whole numbers, to be checked with a ruler, that keep the marks with their
/// white inside [`FRAME_MM`].
pub const MARK_CENTRES_MM: [f64; 2] = [185.0, 254.0];

/// A corner of a sheet that is held upright.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Corner {
    /// Top left.
    TopLeft,
    /// Top right.
    TopRight,
    /// Bottom right.
    BottomRight,
    /// Bottom left.
    BottomLeft,
}

impl Corner {
    /// All corners, clockwise from the top left: in the order of their marks' numbers.
    pub const ALL: [Self; 4] = [Self::TopLeft, Self::TopRight, Self::BottomRight, Self::BottomLeft];

    /// The number of the corner's mark in the family 36h11.
    pub fn id(self) -> usize {
        self as usize
    }

    /// The corner whose mark has this number.
    pub fn from_id(id: usize) -> Option<Self> {
        Self::ALL.get(id).copied()
    }

    /// The mark's 36 inner modules as the family defines them, a white module being 1.
    fn codeword(self) -> u64 {
        match self {
            Self::TopLeft => 0xd_5d62_8584,
            Self::TopRight => 0xd_97f1_8b49,
            Self::BottomRight => 0xd_d280_910e,
            Self::BottomLeft => 0xe_479e_9c98,
        }
    }
}

/// The mark for `corner`: rows from the top, modules from the left, `true` where black.
///
/// Upright is what OpenCV takes for upright: the codeword's lowest bit comes first, so that
/// the family's own drawings are upside down beside ours.
pub fn mark(corner: Corner) -> [[bool; MARK_MODULES]; MARK_MODULES] {
    let inner = 1..MARK_MODULES - 1;
    let black = |row: usize, column: usize| {
        let bit = (row - 1) * inner.len() + column - 1;
        corner.codeword() >> bit & 1 == 0
    };
    std::array::from_fn(|row| {
        std::array::from_fn(|column| {
            !inner.contains(&row) || !inner.contains(&column) || black(row, column)
        })
    })
}

/// What to fill with black for the mark for `corner` around `centre`. Boxes overlap rather
/// than touch, so that no hairlines show between them.
pub fn mark_boxes(corner: Corner, centre: [f64; 2]) -> Vec<Box2> {
    let mark = mark(corner);
    let origin = centre.map(|at| at - MARK_SIZE_MM / 2.0);
    cover(MARK_MODULES, MARK_SIZE_MM, origin, |row, column| mark[row][column])
}

/// The area of a page of `size` (width and height in millimetres) that is left on both papers
/// and by every copier: the same size for Letter and A4, in the middle of the page.
pub fn frame(size: [f64; 2]) -> Box2 {
    centred(size, FRAME_MM)
}

/// Where the centre of the mark for `corner` goes on a page of `size`.
pub fn mark_centre(corner: Corner, size: [f64; 2]) -> [f64; 2] {
    let area = centred(size, MARK_CENTRES_MM);
    match corner {
        Corner::TopLeft => [area.x, area.y],
        Corner::TopRight => [area.right(), area.y],
        Corner::BottomRight => [area.right(), area.bottom()],
        Corner::BottomLeft => [area.x, area.bottom()],
    }
}

/// The area with these shorter and longer sides in the middle of a page, turned as the page is.
fn centred(size: [f64; 2], [short, long]: [f64; 2]) -> Box2 {
    let [w, h] = if size[0] > size[1] { [long, short] } else { [short, long] };
    Box2::new((size[0] - w) / 2.0, (size[1] - h) / 2.0, w, h)
}

/// Boxes in millimetres that together cover the black among `count` by `count` modules.
///
/// Any two black neighbours lie together in one of the boxes, so that boxes overlap rather
/// than touch: where they touch, printers and viewers leave a pale hairline.
pub(crate) fn cover(
    count: usize,
    size_mm: f64,
    [x, y]: [f64; 2],
    black: impl Fn(usize, usize) -> bool,
) -> Vec<Box2> {
    let along = runs(count, &black).map(|[row, from, to]| [row, from, row, to]);
    let turned = |column, row| black(row, column);
    let down = runs(count, &turned).map(|[column, from, to]| [from, column, to, column]);
    let all_black = |[top, left, bottom, right]: [usize; 4]| {
        (top..=bottom).all(|row| (left..=right).all(|column| black(row, column)))
    };
    let grown = |mut area: [usize; 4]| {
        for side in 0..4 {
            let limit = if side < 2 { 0 } else { count - 1 };
            while area[side] != limit {
                let mut wider = area;
                wider[side] = if side < 2 { area[side] - 1 } else { area[side] + 1 };
                if !all_black(wider) {
                    break;
                }
                area = wider;
            }
        }
        area
    };
    let areas = along.chain(down).map(grown).collect::<BTreeSet<_>>();
    let module = size_mm / count as f64;
    areas
        .into_iter()
        .map(|[top, left, bottom, right]| {
            Box2::new(
                x + left as f64 * module,
                y + top as f64 * module,
                (right + 1 - left) as f64 * module,
                (bottom + 1 - top) as f64 * module,
            )
        })
        .collect()
}

/// The longest runs of black: line, first and last module of each.
fn runs(count: usize, black: &impl Fn(usize, usize) -> bool) -> impl Iterator<Item = [usize; 3]> {
    let starts = move |line, at: usize| black(line, at) && (at == 0 || !black(line, at - 1));
    (0..count).flat_map(move |line| {
        (0..count).filter(move |&at| starts(line, at)).map(move |from| {
            let to = (from..count).take_while(|&at| black(line, at)).last().unwrap_or(from);
            [line, from, to]
        })
    })
}
