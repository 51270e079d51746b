//! Text as uncontracted braille, and braille as dots on paper.
//!
//! Unified English Braille, grade 1. Source: The Rules of Unified English Braille, second edition,
//! 2013, from memory: sections 3 (symbols), 4 (letters), 6 (numbers), 7 (punctuation) and
//! 8 (capitals). A test compares what is written here with another translator.
//!
//! Two simplifications. A space is a numeric space only before a group of three digits, since
//! elsewhere it parts two numbers. A straight quotation mark opens at the beginning of a word
//! and closes everywhere else.

/// Diameter of a dot in millimetres. Source of this and the next three: National Library Service
/// for the Blind, Specification 800, 2008, section 3.2, as the Braille Authority of North America
/// quotes it.
pub const DOT_MM: f64 = 1.44;
/// Distance of the centres of neighbouring dots in a cell.
pub const PITCH_MM: f64 = 2.34;
/// Distance of the same dots of neighbouring cells.
pub const CELL_MM: f64 = 6.2;
/// Distance of the same dots of neighbouring lines.
pub const LINE_MM: f64 = 10.0;

/// Height of a line's dots in millimetres.
pub const HEIGHT_MM: f64 = 2.0 * PITCH_MM + DOT_MM;

/// Corners of a dot's polygon: at this size no finger and hardly a printer tells it from a circle.
const CORNERS: usize = 24;

/// A letter that cannot be written.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("“{letter}” in “{text}” cannot be written in braille here; say it in words")]
pub struct BrailleError {
    /// The letter.
    pub letter: char,
    /// The text it stands in.
    pub text: String,
}

/// The cell with these dots, written as digits.
const fn cell(dots: u32) -> u8 {
    let (mut rest, mut cell) = (dots, 0);
    while rest > 0 {
        cell |= 1 << (rest % 10 - 1);
        rest /= 10;
    }
    cell
}

/// Cells of the letters a to z.
const LETTERS: [u8; 26] = [
    cell(1),
    cell(12),
    cell(14),
    cell(145),
    cell(15),
    cell(124),
    cell(1245),
    cell(125),
    cell(24),
    cell(245),
    cell(13),
    cell(123),
    cell(134),
    cell(1345),
    cell(135),
    cell(1234),
    cell(12345),
    cell(1235),
    cell(234),
    cell(2345),
    cell(136),
    cell(1236),
    cell(2456),
    cell(1346),
    cell(13456),
    cell(1356),
];
const SPACE: u8 = 0;
const CAPITAL: u8 = cell(6);
/// Follows a capital sign where it ends capitals before their word or passage does.
const ENDS: u8 = cell(3);
const NUMBER: u8 = cell(3456);
const GRADE_1: u8 = cell(56);
const NUMERIC_SPACE: u8 = cell(5);
/// Words in capitals from which on they are marked as one passage.
const PASSAGE: usize = 3;

/// `text` in braille: bit n − 1 of a cell is dot n, and a cell without dots is a space.
///
/// # Errors
/// [`BrailleError`] for the first letter that has no sign here. Nothing is left out.
pub fn cells(text: &str) -> Result<Vec<u8>, BrailleError> {
    let letters: Vec<char> = text.chars().collect();
    let passages = passages(&letters);
    let mut writer = Writer { letters, at: 0, quoted: false, cells: Vec::new() };
    while writer.at < writer.letters.len() {
        let passage = passages.iter().find(|[from, to]| (*from..*to).contains(&writer.at));
        let done = match passage {
            Some(&[from, to]) => writer.passage(from, to),
            None => writer.one(false),
        };
        if !done {
            return Err(BrailleError { letter: writer.letters[writer.at], text: text.to_owned() });
        }
    }
    Ok(writer.cells)
}

/// The cells as letters of Unicode's block of braille patterns.
pub fn unicode(cells: &[u8]) -> String {
    let letters = cells.iter().filter_map(|&cell| char::from_u32(0x2800 + u32::from(cell)));
    letters.collect()
}

/// `cells` in lines of at most `first` cells and then `room` cells, broken at spaces; longer
/// words are cut.
pub fn wrap(cells: &[u8], first: usize, room: usize) -> Vec<Vec<u8>> {
    let mut lines: Vec<Vec<u8>> = Vec::new();
    for word in cells.split(|&cell| cell == SPACE).filter(|word| !word.is_empty()) {
        for piece in word.chunks(room.max(1)) {
            let held = if lines.len() > 1 { room } else { first };
            match lines.last_mut() {
                Some(line) if line.len() + 1 + piece.len() <= held => {
                    line.push(SPACE);
                    line.extend(piece);
                }
                _ => lines.push(piece.to_vec()),
            }
        }
    }
    lines
}

/// Width of so many cells in millimetres, from the first dot's left to the last one's right side.
pub fn width_mm(count: usize) -> f64 {
    (count.max(1) - 1) as f64 * CELL_MM + PITCH_MM + DOT_MM
}

/// The dots of `cells` as polygons; `at` is the top left corner of the first cell in millimetres,
/// y down.
pub fn dots(cells: &[u8], at: [f64; 2]) -> Vec<Vec<[f64; 2]>> {
    let mut dots = Vec::new();
    for (index, cell) in cells.iter().enumerate() {
        for dot in (0..6).filter(|dot| cell & (1 << dot) != 0) {
            let across = index as f64 * CELL_MM + f64::from(dot / 3) * PITCH_MM;
            let down = f64::from(dot % 3) * PITCH_MM;
            let radius = DOT_MM / 2.0;
            dots.push(circle([at[0] + across + radius, at[1] + down + radius], radius));
        }
    }
    dots
}

fn circle(centre: [f64; 2], radius: f64) -> Vec<[f64; 2]> {
    let corner = |index: usize| {
        let angle = index as f64 / CORNERS as f64 * std::f64::consts::TAU;
        [centre[0] + radius * libm::cos(angle), centre[1] + radius * libm::sin(angle)]
    };
    (0..CORNERS).map(corner).collect()
}

/// From and to which letter there are three or more words in capitals.
fn passages(letters: &[char]) -> Vec<[usize; 2]> {
    let mut found = Vec::new();
    let mut open: Option<[usize; 2]> = None;
    let (mut words, mut at) = (0, 0);
    let mut close = |open: &mut Option<[usize; 2]>, words: &mut usize| {
        found.extend(open.take().filter(|_| *words >= PASSAGE));
        *words = 0;
    };
    for word in letters.split_inclusive(|letter| letter.is_whitespace()) {
        let length = word.iter().filter(|letter| !letter.is_whitespace()).count();
        let first = word.iter().position(|letter| letter.is_uppercase());
        if word.iter().any(|letter| letter.is_lowercase()) {
            close(&mut open, &mut words);
        } else if let Some(first) = first {
            words += 1;
            open.get_or_insert([at + first, 0])[1] = at + length;
        }
        at += word.len();
    }
    close(&mut open, &mut words);
    found
}

struct Writer {
    letters: Vec<char>,
    at: usize,
    /// Whether a single quotation mark is open, so that the next may close it.
    quoted: bool,
    cells: Vec<u8>,
}

impl Writer {
    fn letter(&self, index: usize) -> Option<char> {
        self.letters.get(index).copied()
    }

    fn before(&self) -> Option<char> {
        self.at.checked_sub(1).and_then(|index| self.letter(index))
    }

    fn is_digit(&self, index: usize) -> bool {
        self.letter(index).is_some_and(|letter| letter.is_ascii_digit())
    }

    /// Writes a passage in capitals, and says whether it could.
    fn passage(&mut self, from: usize, to: usize) -> bool {
        if self.at == from {
            self.cells.extend([CAPITAL; 3]);
        }
        let done = self.one(true);
        if done && self.at >= to {
            self.cells.extend([CAPITAL, ENDS]);
        }
        done
    }

    /// Writes one letter, number or run of capitals, and says whether it could.
    fn one(&mut self, in_passage: bool) -> bool {
        let letter = self.letters[self.at];
        if self.begins_number() {
            self.number();
            return true;
        }
        if letter.is_uppercase() && !in_passage {
            return self.capitals();
        }
        if letter.is_alphabetic() && letter != 'µ' {
            return self.alphabetic(letter);
        }
        let Some(cells) = self.sign(letter) else { return false };
        self.cells.extend(cells);
        self.at += 1;
        true
    }

    /// Whether a number begins here: with a digit, or with a decimal sign that nothing precedes.
    fn begins_number(&self) -> bool {
        let leads = |letter: char| letter.is_alphanumeric() || matches!(letter, '.' | ',');
        match self.letters[self.at] {
            '0'..='9' => true,
            '.' | ',' => self.is_digit(self.at + 1) && !self.before().is_some_and(leads),
            _ => false,
        }
    }

    fn number(&mut self) {
        self.cells.push(NUMBER);
        while let Some(letter) = self.letter(self.at) {
            match letter {
                '0'..='9' => self.cells.push(digit(letter)),
                '.' if self.is_digit(self.at + 1) => self.cells.push(cell(256)),
                ',' if self.is_digit(self.at + 1) => self.cells.push(cell(2)),
                ' ' if self.group_follows() => self.cells.push(NUMERIC_SPACE),
                _ => break,
            }
            self.at += 1;
        }
    }

    /// Whether exactly three digits follow the space here.
    fn group_follows(&self) -> bool {
        (1..=3).all(|step| self.is_digit(self.at + step)) && !self.is_digit(self.at + 4)
    }

    fn capitals(&mut self) -> bool {
        let run = self.letters[self.at..].iter().take_while(|letter| letter.is_uppercase()).count();
        self.cells.extend(vec![CAPITAL; run.min(2)]);
        for _ in 0..run {
            if !self.alphabetic(self.letters[self.at]) {
                return false;
            }
        }
        if run > 1 && self.letter(self.at).is_some_and(char::is_lowercase) {
            self.cells.extend([CAPITAL, ENDS]);
        }
        true
    }

    /// Writes a letter of the alphabet without regard to its case.
    fn alphabetic(&mut self, letter: char) -> bool {
        let Some((modifier, base)) = modified(letter) else { return false };
        if modifier.is_empty() && matches!(letter, 'a'..='j') && self.after_number() {
            self.cells.push(GRADE_1);
        }
        self.cells.extend(modifier.iter().map(|&dots| cell(dots)));
        self.cells.push(base);
        self.at += 1;
        true
    }

    /// Whether a letter from a to j would be read as a digit here.
    fn after_number(&self) -> bool {
        match self.before() {
            Some('0'..='9' | '²' | '³') => true,
            Some('.' | ',') => self.at.checked_sub(2).is_some_and(|index| self.is_digit(index)),
            _ => false,
        }
    }

    fn sign(&mut self, letter: char) -> Option<Vec<u8>> {
        let begins = self.before().is_none_or(|l| l.is_whitespace() || "([{“‘\"'-–—/".contains(l));
        let inside = self.letter(self.at + 1).is_some_and(char::is_alphanumeric);
        let quoted = self.quoted;
        self.quoted = match letter {
            '‘' => true,
            '’' if !inside => false,
            _ => quoted,
        };
        let dots: &[u32] = match letter {
            letter if letter.is_whitespace() => return Some(vec![SPACE]),
            // At the beginning of a word this cell would be read as an opening quotation mark.
            '?' if begins => &[56, 236],
            '?' => &[236],
            '"' if begins => &[236],
            '"' => &[356],
            '“' => &[236],
            '”' => &[356],
            '‘' => &[6, 236],
            '’' if quoted && !inside => &[6, 356],
            '\'' | '’' => &[3],
            _ => symbol(letter)?,
        };
        Some(dots.iter().map(|&dots| cell(dots)).collect())
    }
}

fn digit(digit: char) -> u8 {
    // The digits 1 to 9 and 0 are the letters a to j.
    let value = digit.to_digit(10).unwrap_or_default() as usize;
    LETTERS[(value + 9) % 10]
}

/// What is written before a letter's cell, and the cell.
fn modified(letter: char) -> Option<(&'static [u32], u8)> {
    const ACUTE: &[u32] = &[45, 34];
    const GRAVE: &[u32] = &[45, 16];
    const CIRCUMFLEX: &[u32] = &[45, 146];
    const DIAERESIS: &[u32] = &[45, 25];
    const TILDE: &[u32] = &[45, 12456];
    const RING: &[u32] = &[45, 1246];
    const CEDILLA: &[u32] = &[45, 12346];
    const STROKE: &[u32] = &[4, 16];
    let small = letter.to_lowercase().next()?;
    let (modifier, base) = match small {
        'a'..='z' => (&[][..], small),
        'á' => (ACUTE, 'a'),
        'é' => (ACUTE, 'e'),
        'í' => (ACUTE, 'i'),
        'ó' => (ACUTE, 'o'),
        'ú' => (ACUTE, 'u'),
        'à' => (GRAVE, 'a'),
        'è' => (GRAVE, 'e'),
        'ù' => (GRAVE, 'u'),
        'â' => (CIRCUMFLEX, 'a'),
        'ê' => (CIRCUMFLEX, 'e'),
        'î' => (CIRCUMFLEX, 'i'),
        'ô' => (CIRCUMFLEX, 'o'),
        'û' => (CIRCUMFLEX, 'u'),
        'ä' => (DIAERESIS, 'a'),
        'ë' => (DIAERESIS, 'e'),
        'ï' => (DIAERESIS, 'i'),
        'ö' => (DIAERESIS, 'o'),
        'ü' => (DIAERESIS, 'u'),
        'ã' => (TILDE, 'a'),
        'ñ' => (TILDE, 'n'),
        'õ' => (TILDE, 'o'),
        'å' => (RING, 'a'),
        'ç' => (CEDILLA, 'c'),
        'ø' => (STROKE, 'o'),
        'ł' => (STROKE, 'l'),
        _ => return None,
    };
    Some((modifier, LETTERS[usize::from(base as u8 - b'a')]))
}

/// Signs that are written the same wherever they stand, as the dots of each cell.
fn symbol(letter: char) -> Option<&'static [u32]> {
    Some(match letter {
        ',' => &[2],
        ';' => &[23],
        ':' => &[25],
        '.' => &[256],
        '!' => &[235],
        '…' => &[256, 256, 256],
        '-' | '\u{2010}' | '\u{2011}' => &[36],
        '–' | '—' => &[6, 36],
        '(' => &[5, 126],
        ')' => &[5, 345],
        '[' => &[46, 126],
        ']' => &[46, 345],
        '/' => &[456, 34],
        '%' => &[46, 356],
        '+' => &[5, 235],
        '−' => &[5, 36],
        '×' => &[5, 236],
        '÷' => &[5, 34],
        '=' => &[5, 2356],
        '±' => &[456, 235],
        '<' => &[4, 126],
        '>' => &[4, 345],
        '≤' => &[456, 4, 126],
        '≥' => &[456, 4, 345],
        '°' => &[45, 245],
        '&' => &[4, 12346],
        'µ' => &[46, 134],
        '²' => &[56, 35, 3456, 12],
        '³' => &[56, 35, 3456, 14],
        '½' => &[3456, 1, 34, 12],
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(text: &str) -> String {
        unicode(&cells(text).unwrap())
    }

    #[test]
    fn cells_are_numbered_by_dots() {
        assert_eq!(cells("a").unwrap(), [1]);
        assert_eq!(cells("A").unwrap(), [0b10_0000, 1]);
        assert_eq!(cells("1").unwrap(), [0b11_1100, 1]);
    }

    #[test]
    fn a_letter_after_a_number_cannot_be_taken_for_a_digit() {
        assert_eq!(written("10a"), "⠼⠁⠚⠰⠁");
        assert_eq!(written("10k"), "⠼⠁⠚⠅");
        assert_eq!(written("10A"), "⠼⠁⠚⠠⠁");
        assert_eq!(written("10 a"), "⠼⠁⠚⠀⠁");
    }

    #[test]
    fn only_a_group_of_three_digits_belongs_to_the_number_before() {
        assert_eq!(written("1 000"), "⠼⠁⠐⠚⠚⠚");
        assert_eq!(written("60 40"), "⠼⠋⠚⠀⠼⠙⠚");
    }

    #[test]
    fn what_cannot_be_written_is_named() {
        let error = cells("a → b").unwrap_err();
        assert_eq!((error.letter, error.text.as_str()), ('→', "a → b"));
        assert!(cells("Δp").is_err());
    }

    #[test]
    fn lines_are_broken_at_spaces() {
        let lines = wrap(&cells("one two three four").unwrap(), 7, 10);
        let lines: Vec<String> = lines.iter().map(|line| unicode(line)).collect();
        assert_eq!(lines, [written("one two"), written("three four")]);
        assert_eq!(wrap(&cells("abcdef").unwrap(), 4, 4).len(), 2);
    }

    #[test]
    fn dots_are_where_the_specification_has_them() {
        let dots = dots(&[cell(16), cell(4)], [10.0, 20.0]);
        let centre = |dot: &Vec<[f64; 2]>| {
            let side = |axis: usize| dot.iter().map(|p| p[axis]).sum::<f64>() / dot.len() as f64;
            [side(0), side(1)]
        };
        let expected = [[10.72, 20.72], [13.06, 25.4], [19.26, 20.72]];
        for (dot, expected) in dots.iter().zip(expected) {
            let found = centre(dot);
            assert!((found[0] - expected[0]).abs() < 1e-9 && (found[1] - expected[1]).abs() < 1e-9);
        }
        assert!((width_mm(2) - 9.98).abs() < 1e-9);
    }
}
