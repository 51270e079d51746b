//! Tables of text: CSV with any separator, decimal mark and header.
//!
//! Two passes when a table is opened: over its first lines, to guess the layout, and over all,
//! to note where every thousandth row is. After that, ranges are read without what lies before.

mod guess;
mod header;
mod index;
mod line;
mod time;
mod times;

#[cfg(test)]
mod tests;

use guess::Layout;
use header::Clue;
use index::Index;
use line::{Dialect, Lines};
use time::TimeUnit;
use times::{Axis, Times};

use super::error::{Place, ReadError, ReadFault, Remark};
use super::files::Bytes;
use super::{Asked, Format, Opened, Samples, TimeColumn};
use crate::Signal;

/// A first column without a name whose steps differ by less than this share holds times.
const EVEN: f64 = 0.1;
/// And it has at least so many rows.
const LEAST_ROWS: usize = 8;

/// Whether a file begins like text: letters, and no bytes that texts do not have.
pub(super) fn is(head: &[u8]) -> bool {
    let wide = head.starts_with(b"\xff\xfe") || head.starts_with(b"\xfe\xff");
    let odd = |byte: &u8| *byte < b' ' && !matches!(byte, b'\t' | b'\n' | b'\r' | b'\x0c');
    wide || !head.iter().any(odd)
}

struct Csv {
    bytes: Bytes,
    dialect: Dialect,
    index: Index,
    axis: Axis,
    /// The column of each signal.
    columns: Vec<usize>,
}

/// What is known of the rows' times before all are read.
enum Timing {
    Rate(f64),
    Column(Times),
}

/// Opens a table.
pub(super) fn open(mut bytes: Bytes, how: &Asked) -> Result<Opened, ReadError> {
    let name = bytes.name.clone();
    let head = bytes.head(2)?;
    if matches!(head[..], [0xff, 0xfe] | [0xfe, 0xff]) {
        let what = "the text is stored as UTF-16".into();
        let remedy = "save it as CSV in UTF-8";
        return Err(ReadFault::Unsupported { what, remedy }.of(&name));
    }
    let mut remarks = Vec::new();
    let mut lines = Lines::from(&mut *bytes.stream, &name, 0, 0)?;
    let layout = Layout::guess(&mut lines, &name, how, &mut remarks)?;
    let time = time_column(&name, &layout, how)?;
    let mut timing = timing(&name, &layout, time, how, &mut remarks)?;
    let mut lines = Lines::from(&mut *bytes.stream, &name, 0, 0)?;
    while lines.number + 1 < layout.first_row && lines.next()?.is_some() {}
    let times = match &mut timing {
        Timing::Column(times) => Some(times),
        Timing::Rate(_) => None,
    };
    let (dialect, count) = (layout.dialect, layout.columns.len());
    let index = index::build(&mut lines, &name, dialect, count, times, &mut remarks)?;
    let axis = match timing {
        Timing::Rate(rate_hz) => Axis::even(rate_hz, index.rows),
        Timing::Column(times) => times.axis(&mut remarks)?,
    };
    let columns: Vec<usize> =
        (0..count).filter(|column| time.is_none_or(|(time, _)| time != *column)).collect();
    if columns.is_empty() {
        let what = "the table has times and nothing else".to_owned();
        return Err(ReadFault::Damaged(what).of(&name));
    }
    let signals = signals(&layout, &columns, &axis);
    let samples = Box::new(Csv { bytes, dialect, index, axis, columns });
    Ok(Opened { format: Format::Csv, signals, annotations: Vec::new(), remarks, samples })
}

fn signals(layout: &Layout, columns: &[usize], axis: &Axis) -> Vec<Signal> {
    let told = columns.iter().map(|&column| {
        let (label, unit) = layout.columns[column].clone();
        let label = if label.is_empty() { format!("column {}", column + 1) } else { label };
        Signal { label, unit, rate_hz: axis.rate_hz, samples: axis.samples(), range: None }
    });
    told.collect()
}

/// The column that holds times, and in what unit: as asked, by its name, or by its even steps.
fn time_column(
    file: &str,
    layout: &Layout,
    how: &Asked,
) -> Result<Option<(usize, Option<TimeUnit>)>, ReadError> {
    let unit = |column: usize| {
        let (label, unit) = &layout.columns[column];
        let told = how.units.get(label).unwrap_or(unit);
        time::of_unit(told).or_else(|| time::column(label, unit).flatten())
    };
    let found = match &how.time_column {
        Some(TimeColumn::None) => return Ok(None),
        Some(TimeColumn::Number(number)) => {
            number.checked_sub(1).filter(|at| *at < layout.columns.len())
        }
        Some(TimeColumn::Named(name)) => layout.columns.iter().position(|(label, _)| label == name),
        None => return Ok(guessed(layout)),
    };
    let column = found.ok_or_else(|| {
        let names: Vec<_> = layout.columns.iter().map(|(label, _)| label.as_str()).collect();
        let what = format!(
            "the time column that was asked for is not there; the columns are: {}",
            names.join(", ")
        );
        ReadFault::Asked(what).of(file)
    })?;
    Ok(Some((column, unit(column))))
}

fn guessed(layout: &Layout) -> Option<(usize, Option<TimeUnit>)> {
    let named =
        layout.columns.iter().enumerate().find_map(|(column, (label, unit))| {
            time::column(label, unit).map(|unit| (column, unit))
        });
    // By its values only where it has no name that says otherwise, and other columns are there.
    let silent = layout.columns.len() > 1 && layout.columns[0].0.is_empty();
    named.or_else(|| {
        let values = times::first_values(layout, 0);
        let [middle, least, most] = times::steps(&values)?;
        let even = middle > 0.0 && least >= middle * (1.0 - EVEN) && most <= middle * (1.0 + EVEN);
        let counts = middle == 1.0 && least == 1.0 && most == 1.0;
        (silent && even && values.len() >= LEAST_ROWS)
            .then_some((0, counts.then_some(TimeUnit::Count)))
    })
}

/// The rate that was asked for, or the time column, or a rate that the file tells.
fn timing(
    file: &str,
    layout: &Layout,
    time: Option<(usize, Option<TimeUnit>)>,
    how: &Asked,
    remarks: &mut Vec<Remark>,
) -> Result<Timing, ReadError> {
    if let Some(rate_hz) = how.rate_hz {
        if !(rate_hz.is_finite() && rate_hz > 0.0) {
            let what = format!("{rate_hz} samples a second were asked for; say a number above 0");
            return Err(ReadFault::Asked(what).of(file));
        }
        return Ok(Timing::Rate(rate_hz));
    }
    if let Some((column, unit)) = time.filter(|(_, unit)| *unit != Some(TimeUnit::Count)) {
        return Ok(Timing::Column(Times::new(file, layout, column, unit, remarks)?));
    }
    let rate_hz = match layout.clue {
        Some(Clue::Rate(rate_hz)) => rate_hz,
        Some(Clue::Step(step_s)) => 1.0 / step_s,
        None => return Err(ReadFault::NeedsRate.of(file)),
    };
    let text = format!("{rate_hz} samples a second, from the text before the table");
    remarks.push(Remark::new(file, Place::Whole, text));
    Ok(Timing::Rate(rate_hz))
}

impl Samples for Csv {
    fn read(
        &mut self,
        signal: usize,
        from: u64,
        count: usize,
        into: &mut Vec<f64>,
    ) -> Result<(), ReadError> {
        let Self { bytes, dialect, index, axis, columns } = self;
        let (mut at, end) = (from, from + count as u64);
        // Rows follow one another over gaps, so that they are looked up only once.
        let mut rows: Option<Rows<'_>> = None;
        let mut bytes = Some(bytes);
        while at < end {
            let (row, run) = axis.locate(at);
            let run = run.min(end - at);
            match row {
                None => into.extend(std::iter::repeat_n(f64::NAN, run as usize)),
                Some(row) => {
                    if let Some(bytes) = bytes.take() {
                        rows = Some(Rows::from(bytes, *dialect, columns[signal], index, row)?);
                    }
                    if let Some(rows) = &mut rows {
                        rows.read(run, into)?;
                    }
                }
            }
            at += run;
        }
        Ok(())
    }
}

/// One column's cells, row after row.
struct Rows<'a> {
    lines: Lines<'a>,
    file: &'a str,
    dialect: Dialect,
    column: usize,
}

impl<'a> Rows<'a> {
    /// From a row on.
    fn from(
        bytes: &'a mut Bytes,
        dialect: Dialect,
        column: usize,
        index: &Index,
        row: u64,
    ) -> Result<Self, ReadError> {
        let Bytes { name, stream, .. } = bytes;
        let (place, skip) = index.before(row).ok_or_else(|| changed(name))?;
        let lines = Lines::from(&mut **stream, name, place.byte, place.lines)?;
        let mut rows = Self { lines, file: name, dialect, column };
        for _ in 0..skip {
            rows.next(|_| ())?;
        }
        Ok(rows)
    }

    /// Appends exactly `count` cells.
    fn read(&mut self, count: u64, into: &mut Vec<f64>) -> Result<(), ReadError> {
        let (dialect, column) = (self.dialect, self.column);
        for _ in 0..count {
            let value = self.next(|line| {
                dialect.cells(line).nth(column).and_then(|text| dialect.number(text))
            })?;
            into.push(value.unwrap_or(f64::NAN));
        }
        Ok(())
    }

    /// Takes what is wanted from the next row.
    fn next<T>(&mut self, take: impl Fn(&str) -> T) -> Result<T, ReadError> {
        while let Some(line) = self.lines.next()? {
            if self.dialect.is_row(&line.text) {
                return Ok(take(&line.text));
            }
        }
        Err(changed(self.file))
    }
}

fn changed(file: &str) -> ReadError {
    ReadFault::Damaged("the file has changed since it was opened".into()).of(file)
}
