//! What stands between the upper marks of a drawing sheet: title, name, what to do.

use figure::{Align, Block, Shape, font};

use crate::print::{self, Sizes};

/// Parts of its size to which a long name may shrink before it is cut.
const SMALLEST_NAME: f64 = 0.65;

/// The head of a drawing sheet.
pub(crate) struct Head<'a> {
    pub(crate) sizes: Sizes,
    pub(crate) title: &'a str,
    pub(crate) course: &'a str,
    pub(crate) told: &'a str,
}

impl Head<'_> {
    /// The head from `y` down, as wide as `width`, with a name or a line to write it on; and
    /// where it ends.
    pub(crate) fn blocks(
        &self,
        [x, y]: [f64; 2],
        width: f64,
        name: Option<&str>,
    ) -> (Vec<Block>, f64) {
        let sizes = self.sizes;
        let words = |at: [f64; 2], words: &str, size: f64, bold: bool| {
            print::paragraph(at, words, size, bold, width, 1.15 * size)
        };
        let mut baseline = y + sizes.title;
        let title = words([x, baseline], self.title, sizes.title, true);
        baseline += title.len() as f64 * 1.15 * sizes.title - 0.15 * sizes.title;
        let mut blocks = vec![Block::Heading(1, title)];
        if !self.course.is_empty() {
            let course = words([x, baseline], self.course, sizes.small, false);
            baseline += course.len() as f64 * 1.15 * sizes.small;
            blocks.push(Block::Paragraph(course));
        }
        let line = baseline + 1.2 * sizes.text;
        blocks.extend(name_and_date([x, line], width, sizes.text, name).map(Block::Paragraph));
        let told = words([x, line + 1.9 * sizes.text], self.told, sizes.text, false);
        let bottom = line + (0.9 + 1.15 * told.len() as f64) * sizes.text;
        blocks.push(Block::Paragraph(told));
        (blocks, bottom)
    }
}

/// Name and date on a baseline, each with its label, or with a line to be written on.
pub(crate) fn name_and_date(
    [x, line]: [f64; 2],
    width: f64,
    size: f64,
    name: Option<&str>,
) -> [Vec<Shape>; 2] {
    let date = x + width - (20.0 + 5.0 * size);
    let after = |label: &str| font::width(label, size, false) + 1.5;
    let (from, to) = (x + after("Name"), date - 4.0);
    let mut shapes = vec![print::text([x, line], "Name ", size, Align::Start, false)];
    shapes.push(match name {
        Some(name) => {
            let (name, size) = fitted(name, size, to - from);
            print::text([from, line], &(name + " "), size, Align::Start, true)
        }
        None => print::rule([from, line + 0.6], [to, line + 0.6]),
    });
    let date_shapes = vec![
        print::text([date, line], "Date ", size, Align::Start, false),
        print::rule([date + after("Date"), line + 0.6], [x + width, line + 0.6]),
    ];
    [shapes, date_shapes]
}

/// A name in bold that is no wider than `room`: smaller, and cut where that is not enough.
fn fitted(name: &str, size: f64, room: f64) -> (String, f64) {
    let wide = font::width(name, size, true);
    if wide <= room {
        return (name.to_owned(), size);
    }
    if wide * SMALLEST_NAME <= room {
        return (name.to_owned(), size * room / wide);
    }
    let size = size * SMALLEST_NAME;
    let mut short = name.to_owned();
    while font::width(&format!("{short}…"), size, true) > room && short.pop().is_some() {}
    (short + "…", size)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_name_shrinks_and_is_cut_only_then() {
        let room = 60.0;
        for letters in [5, 40, 60, 120] {
            let name = "n".repeat(letters);
            let (printed, size) = fitted(&name, 3.4, room);
            assert!(font::width(&printed, size, true) <= room + 1e-9, "{printed} at {size}");
            assert!((3.4 * SMALLEST_NAME..=3.4).contains(&size));
        }
        assert_eq!(fitted("Ada Brook", 3.4, room), ("Ada Brook".to_owned(), 3.4));
    }
}
