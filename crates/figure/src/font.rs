//! The bundled typeface, Atkinson Hyperlegible (SIL Open Font License), and its measures.
//!
//! The files join the Latin and Latin Extended subsets of version 1.006 of the typeface;
//! its licence lies beside them. Text is set without kerning or ligatures in every output, so that the widths measured
//! here are the widths drawn.

use std::sync::OnceLock;

use ttf_parser::Face;

/// Family name of the typeface, as style sheets need it.
pub const FAMILY: &str = "Atkinson Hyperlegible";
/// The regular weight as TrueType.
pub const REGULAR_TTF: &[u8] = include_bytes!("../fonts/AtkinsonHyperlegible-Regular.ttf");
/// The bold weight as TrueType.
pub const BOLD_TTF: &[u8] = include_bytes!("../fonts/AtkinsonHyperlegible-Bold.ttf");
/// The regular weight as WOFF2, for a page to serve.
pub const REGULAR_WOFF2: &[u8] = include_bytes!("../fonts/AtkinsonHyperlegible-Regular.woff2");
/// The bold weight as WOFF2, for a page to serve.
pub const BOLD_WOFF2: &[u8] = include_bytes!("../fonts/AtkinsonHyperlegible-Bold.woff2");

/// Height of a capital or an ascender above the baseline, in parts of the size.
pub(crate) const ABOVE: f64 = 0.74;
/// Depth of a descender below the baseline, in parts of the size.
pub(crate) const BELOW: f64 = 0.22;
/// Distance of baselines in text of several lines, in parts of the size.
pub(crate) const LEADING: f64 = 1.18;

fn face(bold: bool) -> &'static Face<'static> {
    static FACES: OnceLock<[Face<'static>; 2]> = OnceLock::new();
    let load = |data| Face::parse(data, 0).expect("the bundled font is sound; a test reads it");
    &FACES.get_or_init(|| [load(REGULAR_TTF), load(BOLD_TTF)])[usize::from(bold)]
}

/// Glyph of `letter` and its advance in parts of the size; the font's empty box if absent.
pub(crate) fn glyph(letter: char, bold: bool) -> (u16, f64) {
    let face = face(bold);
    let id = face.glyph_index(letter).unwrap_or_default();
    let advance = f64::from(face.glyph_hor_advance(id).unwrap_or_default());
    (id.0, advance / f64::from(face.units_per_em()))
}

/// Width of one line of `text` at `size`, in the unit of `size`.
pub fn width(text: &str, size: f64, bold: bool) -> f64 {
    text.chars().map(|letter| glyph(letter, bold).1).sum::<f64>() * size
}

/// Whether the typeface has every letter of `text`.
pub fn covers(text: &str) -> bool {
    text.chars().all(|letter| face(false).glyph_index(letter).is_some())
}

/// `text` in lines no wider than `room` at `size`, but for words that are wider themselves.
pub fn wrap(text: &str, size: f64, bold: bool, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let longer = lines.last().map(|line| format!("{line} {word}"));
        match longer {
            Some(longer) if width(&longer, size, bold) <= room => {
                lines.pop();
                lines.push(longer);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// As [`wrap`], with the lines as even as their number allows.
pub(crate) fn wrap_evenly(text: &str, size: f64, bold: bool, room: f64) -> Vec<String> {
    let mut lines = wrap(text, size, bold, room);
    loop {
        let narrower = widest(&lines, size, bold) - 0.01 * size;
        let next = wrap(text, size, bold, narrower);
        if next.len() > lines.len() || widest(&next, size, bold) > narrower {
            return lines;
        }
        lines = next;
    }
}

/// Width of the widest of `lines` at `size`.
pub(crate) fn widest(lines: &[String], size: f64, bold: bool) -> f64 {
    lines.iter().map(|line| width(line, size, bold)).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_letters_that_figures_use_are_there() {
        assert!(covers("AZaz09 –−·×°±²’“”…µéüøñł()%/,.:;"));
        assert!(!covers("₂"));
        assert!((width("0", 10.0, false) - width("9", 10.0, false)).abs() < 1.0);
    }

    #[test]
    fn lines_are_no_wider_than_their_room() {
        let lines = wrap("isovolumic contraction of the ventricles", 3.0, false, 22.0);
        assert!(lines.len() > 1 && widest(&lines, 3.0, false) <= 22.0, "{lines:?}");
        assert_eq!(wrap("", 3.0, false, 10.0), Vec::<String>::new());
    }
}
