//! Lines of a table: reading them, cutting them into cells, and numbers in cells.

use std::borrow::Cow;
use std::io::{BufRead, BufReader, Read, SeekFrom};

use super::super::error::{Place, ReadError, ReadFault};
use super::super::files::Stream;

/// Longer lines are no rows of a table.
const LONGEST_LINE: u64 = 65_536;

/// How cells are divided, and decimals written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Dialect {
    /// A space stands for any number of spaces and tabs; none where there is one column.
    pub(super) separator: Option<char>,
    pub(super) decimal_comma: bool,
}

/// What stands in a cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Cell {
    Number(f64),
    /// Nothing, or a word for nothing.
    Empty,
    Text,
}

impl Dialect {
    /// A line's cells without quotation marks and spaces around them.
    pub(super) fn cells<'a>(&self, line: &'a str) -> Cells<'a> {
        let spaces = self.separator == Some(' ');
        let rest = if spaces { line.trim() } else { line };
        Cells { rest: Some(rest), separator: self.separator }
    }

    pub(super) fn cell(&self, text: &str) -> Cell {
        match self.number(text) {
            Some(value) => Cell::Number(value),
            None if is_empty(text) => Cell::Empty,
            None => Cell::Text,
        }
    }

    /// A number as tables write it: digits, a sign, a decimal mark, an exponent.
    pub(super) fn number(&self, text: &str) -> Option<f64> {
        let bytes = text.as_bytes();
        let mark = if self.decimal_comma { b',' } else { b'.' };
        let allowed = |byte: &u8| {
            byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'e' | b'E') || *byte == mark
        };
        // A comma needs digits on both sides: “1,” is the end of a cell.
        let loose =
            self.decimal_comma && (bytes.first() == Some(&mark) || bytes.last() == Some(&mark));
        if bytes.is_empty() || loose || !bytes.iter().all(allowed) {
            return None;
        }
        let value: f64 = if self.decimal_comma && text.contains(',') {
            text.replacen(',', ".", 1).parse().ok()?
        } else {
            text.parse().ok()?
        };
        value.is_finite().then_some(value)
    }

    /// Whether a line is a row: some cell of it is a number, a time, or empty.
    pub(super) fn is_row(&self, line: &str) -> bool {
        !is_comment(line)
            && !line.trim().is_empty()
            && self.cells(line).any(|text| {
                self.cell(text) != Cell::Text
                    || super::time::clock(text, self.decimal_comma).is_some()
            })
    }
}

/// Comments begin with a number sign or a per cent sign.
pub(super) fn is_comment(line: &str) -> bool {
    line.trim_start().trim_start_matches(['"', '\'']).starts_with(['#', '%'])
}

fn is_empty(text: &str) -> bool {
    const WORDS: [&str; 9] = ["", "-", "--", "nan", "na", "n/a", "null", "none", "inf"];
    text.len() <= 4 && WORDS.iter().any(|word| word.eq_ignore_ascii_case(text))
}

pub(super) struct Cells<'a> {
    rest: Option<&'a str>,
    separator: Option<char>,
}

impl<'a> Iterator for Cells<'a> {
    type Item = &'a str;

    fn next(&mut self) -> Option<&'a str> {
        let rest = self.rest?;
        let end = match self.separator {
            None => None,
            Some(separator) => end_of_cell(rest, separator),
        };
        let cell = match end {
            None => {
                self.rest = None;
                rest
            }
            Some((end, after)) => {
                let next = &rest[after..];
                self.rest =
                    Some(if self.separator == Some(' ') { next.trim_start() } else { next });
                &rest[..end]
            }
        };
        Some(bare(cell))
    }
}

/// Where a cell ends and the next begins; a separator inside quotation marks divides nothing.
fn end_of_cell(text: &str, separator: char) -> Option<(usize, usize)> {
    let begin = text.len() - text.trim_start_matches(' ').len();
    let quoted = text[begin..].chars().next().filter(|first| matches!(first, '"' | '\''));
    let inside =
        quoted.and_then(|mark| text[begin + 1..].find(mark)).map_or(0, |end| begin + end + 2);
    let rest = &text[inside..];
    let at = match separator {
        ' ' => rest.find(char::is_whitespace)?,
        _ => rest.find(separator)?,
    };
    let width = rest[at..].chars().next().map_or(1, char::len_utf8);
    Some((inside + at, inside + at + width))
}

/// Without spaces and quotation marks around.
fn bare(cell: &str) -> &str {
    let cell = cell.trim();
    for mark in ['"', '\''] {
        if let Some(inside) = cell.strip_prefix(mark).and_then(|cell| cell.strip_suffix(mark)) {
            return inside.trim();
        }
    }
    cell
}

/// A line without its end, its number from 1, and the byte where it begins.
pub(super) struct Line<'a> {
    pub(super) text: Cow<'a, str>,
    pub(super) number: u64,
    pub(super) start: u64,
}

/// Lines one after another.
pub(super) struct Lines<'a> {
    reader: BufReader<&'a mut dyn Stream>,
    file: &'a str,
    line: Vec<u8>,
    /// The number of the line given last, from 1, and where the next begins.
    pub(super) number: u64,
    next: u64,
}

impl<'a> Lines<'a> {
    /// From a byte that begins the line after line `number`.
    pub(super) fn from(
        stream: &'a mut dyn Stream,
        file: &'a str,
        byte: u64,
        number: u64,
    ) -> Result<Self, ReadError> {
        stream.seek(SeekFrom::Start(byte)).map_err(|error| ReadFault::from(error).of(file))?;
        let reader = BufReader::with_capacity(16_384, stream);
        Ok(Self { reader, file, line: Vec::new(), number, next: byte })
    }

    pub(super) fn next(&mut self) -> Result<Option<Line<'_>>, ReadError> {
        self.line.clear();
        let start = self.next;
        let mut limited = (&mut self.reader).take(LONGEST_LINE);
        let read = limited.read_until(b'\n', &mut self.line);
        let length = read
            .map_err(|error| ReadFault::from(error).at(self.file, Place::Line(self.number + 1)))?;
        if length == 0 {
            return Ok(None);
        }
        self.number += 1;
        self.next += length as u64;
        if length as u64 == LONGEST_LINE {
            let what = format!(
                "the line has more than {LONGEST_LINE} bytes, which no table of numbers has"
            );
            return Err(ReadFault::Damaged(what).at(self.file, Place::Line(self.number)));
        }
        let line = self.line.strip_suffix(b"\n").unwrap_or(&self.line);
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        // A mark that some programs put before UTF-8.
        let line =
            if start == 0 { line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line) } else { line };
        Ok(Some(Line { text: decoded(line), number: self.number, start }))
    }
}

/// UTF-8, or else Latin-1, in which older programs write µV.
fn decoded(line: &[u8]) -> Cow<'_, str> {
    match str::from_utf8(line) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => Cow::Owned(line.iter().map(|&byte| char::from(byte)).collect()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dialect(separator: char, decimal_comma: bool) -> Dialect {
        Dialect { separator: Some(separator), decimal_comma }
    }

    #[test]
    fn cells_are_divided() {
        let cells = |separator, line| dialect(separator, false).cells(line).collect::<Vec<_>>();
        assert_eq!(cells(',', "1, 2,,\"a, b\" ,'c'"), ["1", "2", "", "a, b", "c"]);
        assert_eq!(cells(' ', "  1 \t 2   3 "), ["1", "2", "3"]);
        assert_eq!(cells('\t', "1\t\t2\t"), ["1", "", "2", ""]);
        assert_eq!(cells(';', "it's;1"), ["it's", "1"]);
    }

    #[test]
    fn numbers_are_told_from_texts() {
        let point = dialect(',', false);
        for (text, value) in [("1", 1.0), ("-1.5e3", -1500.0), ("+.5", 0.5), ("1.", 1.0)] {
            assert_eq!(point.number(text), Some(value), "{text}");
        }
        for text in ["", "1,5", "nan", "inf", "1e999", "0x10", "1 2", "--1", "12:00"] {
            assert_eq!(point.number(text), None, "{text}");
        }
        let comma = dialect(';', true);
        assert_eq!(comma.number("-0,25"), Some(-0.25));
        for text in ["1,", ",5", "1.5", "1,2,3"] {
            assert_eq!(comma.number(text), None, "{text}");
        }
        assert_eq!(point.cell("NaN"), Cell::Empty);
        assert_eq!(point.cell("lead"), Cell::Text);
    }
}
