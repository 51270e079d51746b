//! One pass over a table: where its rows are, how even its times are, and what is no number.

use super::super::error::{Place, ReadError, ReadFault, Remark, excerpt};
use super::line::{Cell, Dialect, Lines, is_comment};
use super::times::Times;

/// At first, every so manyth row's place is kept; twice as many when there are too many.
const EVERY: u64 = 1_024;
/// So many places are kept at most: a megabyte.
const MOST_PLACES: usize = 65_536;

/// Where every so manyth row is.
#[derive(Debug)]
pub(super) struct Index {
    every: u64,
    places: Vec<LinePlace>,
    pub(super) rows: u64,
}

/// A byte that begins a line, and the number of lines before it.
#[derive(Clone, Copy, Debug)]
pub(super) struct LinePlace {
    pub(super) byte: u64,
    pub(super) lines: u64,
}

impl Index {
    fn new() -> Self {
        Self { every: EVERY, places: Vec::new(), rows: 0 }
    }

    fn add(&mut self, byte: u64, lines: u64) {
        if self.rows.is_multiple_of(self.every) {
            if self.places.len() == MOST_PLACES {
                let mut odd = false;
                self.places.retain(|_| {
                    odd = !odd;
                    odd
                });
                self.every *= 2;
            }
            // Thinning out may have made this row one that is not kept.
            if self.rows.is_multiple_of(self.every) {
                self.places.push(LinePlace { byte, lines });
            }
        }
        self.rows += 1;
    }

    /// The last place kept at or before a row, and how many rows lie between.
    pub(super) fn before(&self, row: u64) -> Option<(LinePlace, u64)> {
        let at = usize::try_from(row / self.every).ok()?.min(self.places.len().checked_sub(1)?);
        Some((self.places[at], row - at as u64 * self.every))
    }
}

/// What is odd about the rows: how often, and where first.
#[derive(Debug, Default)]
struct Odd(Option<(u64, u64, String)>);

impl Odd {
    fn count(&mut self, line: u64, text: &str) {
        match &mut self.0 {
            Some((count, _, _)) => *count += 1,
            None => self.0 = Some((1, line, excerpt(text))),
        }
    }

    fn tell(self, file: &str, remarks: &mut Vec<Remark>, what: impl Fn(u64, &str) -> String) {
        if let Some((count, line, text)) = self.0 {
            remarks.push(Remark::new(file, Place::Line(line), what(count, &text)));
        }
    }
}

/// Goes over all rows.
pub(super) fn build(
    lines: &mut Lines<'_>,
    file: &str,
    dialect: Dialect,
    columns: usize,
    mut times: Option<&mut Times>,
    remarks: &mut Vec<Remark>,
) -> Result<Index, ReadError> {
    let mut index = Index::new();
    let (mut texts, mut skipped, mut uneven) = (Odd::default(), Odd::default(), Odd::default());
    while let Some(line) = lines.next()? {
        if !dialect.is_row(&line.text) {
            if !line.text.trim().is_empty() && !is_comment(&line.text) {
                skipped.count(line.number, &line.text);
            }
            continue;
        }
        let mut width = 0;
        for (column, text) in dialect.cells(&line.text).enumerate() {
            width += 1;
            match &mut times {
                Some(times) if times.column == column => {
                    times.add(index.rows, line.number, text)?
                }
                _ if column < columns && dialect.cell(text) == Cell::Text => {
                    texts.count(line.number, text);
                }
                _ => {}
            }
        }
        if width != columns {
            uneven.count(line.number, &line.text);
        }
        index.add(line.start, line.number - 1);
    }
    if index.rows == 0 {
        return Err(ReadFault::Empty.of(file));
    }
    texts.tell(file, remarks, |count, text| {
        format!("{count} cells are no numbers, first “{text}”; they count as not recorded")
    });
    skipped.tell(file, remarks, |count, text| {
        format!("{count} lines are no rows of the table, first “{text}”; they are passed over")
    });
    uneven.tell(file, remarks, |count, text| {
        format!("{count} rows have more or fewer than {columns} columns, first “{text}”")
    });
    Ok(index)
}
