//! Grid paper as electrocardiographs use it, and ticks on what is drawn on it.

use figure::style::{self, Colour};
use figure::{Box2, Item, Shape, Stroke, Tag};

/// Side of a large square.
pub(crate) const LARGE_MM: f64 = 5.0;
/// Lines of the small squares and of the large: a copier keeps both, and both stay behind the
/// trace.
const SMALL_LINE: (Colour, f64) = ([190, 190, 190], 0.1);
const LARGE_LINE: (Colour, f64) = ([142, 142, 142], 0.22);
/// Half the length of the ticks at a key's landmarks.
const TICKED_MM: f64 = 1.3;

/// The lines of grid paper: every millimetre, and every fifth thicker.
pub(crate) fn grid(area: &Box2) -> [Item; 2] {
    let Box2 { x, y, w, h } = *area;
    let (right, bottom) = (area.right(), area.bottom());
    let lines = |length: f64, large: bool| {
        (0..=length.round() as u32).filter(move |mm| (mm % 5 == 0) == large).map(f64::from)
    };
    [(false, SMALL_LINE), (true, LARGE_LINE)].map(|(large, (colour, width))| {
        let across = lines(w, large).map(|mm| vec![[x + mm, y], [x + mm, bottom]]);
        let down = lines(h, large).map(|mm| vec![[x, y + mm], [right, y + mm]]);
        let parts = across.chain(down).collect();
        let shape = Shape::Lines { parts, stroke: Stroke::solid(colour, width) };
        Item { tag: Tag::Grid, shape }
    })
}

/// Short lines through points of a trace.
pub(crate) fn landmark_ticks(at: impl Iterator<Item = [f64; 2]>) -> Shape {
    let tick = |[x, y]: [f64; 2]| vec![[x, y - TICKED_MM], [x, y + TICKED_MM]];
    let stroke = Stroke::solid(style::ACCENT, 0.3);
    Shape::Lines { parts: at.map(tick).collect(), stroke }
}
