//! What the targets and the program that makes their first inputs share.

pub mod recordings;

use std::sync::OnceLock;

use scan::ink::Print;
use scan::{BLACK, Flat, PageForm, PanelForm, Picture};

/// Pixels for a millimetre at which pages are flattened here: coarse, so that many are tried.
pub const PX_PER_MM: f64 = 3.0;
/// Most pixels of a small picture.
const MOST_PIXELS: usize = 1_500_000;
/// Levels of grey in a small picture.
const LEVELS: u8 = 8;

/// Panics that a reader catches itself are no failures; those that it lets through are.
pub fn let_caught_panics_pass() {
    std::panic::set_hook(Box::new(|what| eprintln!("{what}")));
}

/// A small picture from bytes: width and height (2 bytes each), how many pixels in both
/// directions each of its cells has, then runs of cells, row by row: 3 bits for the level and 5
/// for the length, 0 for as long as the next two bytes say. What is missing is white.
pub fn picture(data: &[u8]) -> Option<Picture> {
    let (head, runs) = data.split_at_checked(5)?;
    let size = |at: usize| usize::from(u16::from_be_bytes([head[at], head[at + 1]]));
    let (width, height) = (size(0), size(2));
    let by = usize::from(head[4] % 6) + 1;
    if width == 0 || height == 0 || width * height * by * by > MOST_PIXELS {
        return None;
    }
    let mut cells = Vec::with_capacity(width * height);
    let mut runs = runs.iter();
    while let Some(&run) = runs.next() {
        let long = match run & 31 {
            0 => {
                let mut next = || runs.next().copied().unwrap_or_default();
                usize::from(u16::from_be_bytes([next(), next()]))
            }
            short => usize::from(short),
        };
        let room = width * height - cells.len();
        cells.resize(cells.len() + long.min(room), (run >> 5) * (255 / (LEVELS - 1)));
    }
    cells.resize(width * height, 255);
    let mut level = Vec::with_capacity(width * height * by * by);
    for row in cells.chunks_exact(width) {
        let row: Vec<u8> = row.iter().flat_map(|&cell| std::iter::repeat_n(cell, by)).collect();
        (0..by).for_each(|_| level.extend_from_slice(&row));
    }
    Some(Picture::from_grey(width * by, height * by, &level))
}

/// The bytes of which [`picture`] makes cells of these levels, `width` to a row.
pub fn bytes_of(width: usize, level: &[u8], by: u8) -> Vec<u8> {
    let height = level.len() / width.max(1);
    let mut bytes = Vec::new();
    for side in [width, height] {
        bytes.extend_from_slice(&(side as u16).to_be_bytes());
    }
    bytes.push(by - 1);
    let coarse: Vec<u8> = level.iter().map(|level| level / (255 / LEVELS + 1)).collect();
    for run in coarse.chunk_by(|a, b| a == b) {
        for part in run.chunks(usize::from(u16::MAX)) {
            if let short @ 1..=31 = part.len() {
                bytes.push(part[0] << 5 | short as u8);
            } else {
                bytes.push(part[0] << 5);
                bytes.extend_from_slice(&(part.len() as u16).to_be_bytes());
            }
        }
    }
    bytes
}

/// A page like those that are printed: marks in the corners, a code, three panels.
pub fn form() -> PageForm {
    let panel = |channel: &str, y_mm, height_mm, sounds| PanelForm {
        channel: channel.to_owned(),
        x_mm: 32.0,
        y_mm,
        width_mm: 160.0,
        height_mm,
        given: false,
        sounds,
        small_sounds: false,
        narrow_waves: false,
    };
    PageForm {
        width_mm: 215.9,
        height_mm: 279.4,
        marks: vec![(0, [13.0, 13.0]), (1, [202.9, 13.0]), (2, [202.9, 266.4]), (3, [13.0, 266.4])],
        mark_mm: 10.0,
        code: Some([170.0, 12.0, 16.0, 16.0]),
        panels: vec![
            panel("ecg", 60.0, 40.0, false),
            panel("heart_sounds", 104.0, 30.0, true),
            panel("aortic_pressure", 138.0, 70.0, false),
        ],
        bars: Vec::new(),
    }
}

/// What is taken away from the page.
pub fn print() -> &'static Print {
    static PRINT: OnceLock<Print> = OnceLock::new();
    PRINT.get_or_init(|| Print::of(blank(), &form()).expect("the form has panels"))
}

/// The page as it is printed, without the code: marks are not printed either, frames are.
pub fn blank() -> &'static Flat {
    static BLANK: OnceLock<Flat> = OnceLock::new();
    BLANK.get_or_init(|| {
        let form = form();
        let pixels = |mm: f64| (mm * PX_PER_MM).round() as usize;
        let (width, height) = (pixels(form.width_mm), pixels(form.height_mm));
        let mut ink = vec![0; width * height];
        for panel in &form.panels {
            let (left, right) = (pixels(panel.x_mm), pixels(panel.x_mm + panel.width_mm));
            let (top, bottom) = (pixels(panel.y_mm), pixels(panel.y_mm + panel.height_mm));
            for y in top..=bottom {
                for x in left..=right {
                    if x == left || x == right || y == top || y == bottom {
                        ink[y * width + x] = BLACK / 5 * 4;
                    }
                }
            }
        }
        Flat { px_per_mm: PX_PER_MM, width, height, ink }
    })
}
