//! The bundled typeface, Atkinson Hyperlegible (SIL Open Font License), and its measures.
//!
//! Letters that it lacks (Vietnamese, Greek, Cyrillic, as in people's names) come from a subset
//! of Noto Sans 2.004, under the same licence. The files join the Latin and Latin Extended subsets of version 1.006 of the typeface;
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

/// The regular weight of the typeface for letters that the first one lacks, as TrueType.
pub(crate) const MORE_REGULAR_TTF: &[u8] = include_bytes!("../fonts/NotoSans-Regular.ttf");
/// Its bold weight as TrueType.
pub(crate) const MORE_BOLD_TTF: &[u8] = include_bytes!("../fonts/NotoSans-Bold.ttf");

/// Height of a capital or an ascender above the baseline, in parts of the size.
pub(crate) const ABOVE: f64 = 0.74;
/// Depth of a descender below the baseline, in parts of the size.
pub(crate) const BELOW: f64 = 0.22;
/// Distance of baselines in text of several lines, in parts of the size.
pub(crate) const LEADING: f64 = 1.18;

/// Which of the bundled files a letter is drawn from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct FaceId {
    pub(crate) bold: bool,
    /// Whether it is the second typeface.
    pub(crate) more: bool,
}

impl FaceId {
    /// Its place among the four files.
    pub(crate) fn index(self) -> usize {
        2 * usize::from(self.more) + usize::from(self.bold)
    }
}

/// The four files, by [`FaceId::index`].
pub(crate) const FILES: [&[u8]; 4] = [REGULAR_TTF, BOLD_TTF, MORE_REGULAR_TTF, MORE_BOLD_TTF];

fn face(id: FaceId) -> &'static Face<'static> {
    static FACES: OnceLock<[Face<'static>; 4]> = OnceLock::new();
    let load = |data| Face::parse(data, 0).expect("the bundled font is sound; a test reads it");
    &FACES.get_or_init(|| FILES.map(load))[id.index()]
}

/// A letter's file, its glyph there and its advance in parts of the size; the first typeface's
/// empty box if neither has it.
pub(crate) fn glyph(letter: char, bold: bool) -> (FaceId, u16, f64) {
    let in_face = |more: bool| {
        let id = FaceId { bold, more };
        face(id).glyph_index(letter).map(|glyph| (id, glyph))
    };
    let first = FaceId { bold, more: false };
    let (id, glyph) =
        in_face(false).or_else(|| in_face(true)).unwrap_or((first, ttf_parser::GlyphId(0)));
    let advance = f64::from(face(id).glyph_hor_advance(glyph).unwrap_or_default());
    (id, glyph.0, advance / f64::from(face(id).units_per_em()))
}

/// Width of one line of `text` at `size`, in the unit of `size`.
pub fn width(text: &str, size: f64, bold: bool) -> f64 {
    text.chars().map(|letter| advance(letter, bold)).sum::<f64>() * size
}

/// The advance of a letter as [`glyph`] gives it, with those of plain letters kept in mind: every
/// label is measured again and again while its place is sought.
fn advance(letter: char, bold: bool) -> f64 {
    static PLAIN: OnceLock<[[f64; 128]; 2]> = OnceLock::new();
    let plain = PLAIN.get_or_init(|| {
        [false, true].map(|bold| std::array::from_fn(|code| glyph(char::from(code as u8), bold).2))
    });
    match plain[usize::from(bold)].get(letter as usize) {
        Some(advance) => *advance,
        None => glyph(letter, bold).2,
    }
}

/// Whether the bundled typefaces have every letter of `text`.
pub fn covers(text: &str) -> bool {
    lacking(text).is_empty()
}

/// The letters of `text` that no bundled typeface has, each once.
pub fn lacking(text: &str) -> Vec<char> {
    let mut lacking: Vec<char> = Vec::new();
    for letter in text.chars() {
        let has = |more: bool| face(FaceId { bold: false, more }).glyph_index(letter).is_some();
        if !has(false) && !has(true) && !lacking.contains(&letter) {
            lacking.push(letter);
        }
    }
    lacking
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
        assert!(covers("Nguyễn Thị Ánh, Łukasz, Ōyama, Ştefan, Παπαδόπουλος, Иванова"));
        assert_eq!(lacking("李₂a李"), ['李', '₂']);
        assert!((width("0", 10.0, false) - width("9", 10.0, false)).abs() < 1.0);
    }

    #[test]
    fn lines_are_no_wider_than_their_room() {
        let lines = wrap("isovolumic contraction of the ventricles", 3.0, false, 22.0);
        assert!(lines.len() > 1 && widest(&lines, 3.0, false) <= 22.0, "{lines:?}");
        assert_eq!(wrap("", 3.0, false, 10.0), Vec::<String>::new());
    }
}
