//! A table's time column: its unit, the samples' rate, and where time breaks off.

use super::super::error::{Place, ReadError, ReadFault, Remark};
use super::guess::Layout;
use super::line::{Cell, Dialect};
use super::time::{TimeUnit, clock, over_midnight};

/// A time column with more breaks than this has no rate.
const MOST_BREAKS: usize = 10_000;
/// A step longer than this many usual ones is a break, where steps are even ...
const EVEN_BREAK: f64 = 1.5;
/// ... and where they are not, as from a clock of whole milliseconds.
const UNEVEN_BREAK: f64 = 3.0;
/// Steps that differ by less than this share of the usual one are even.
const EVEN: f64 = 0.25;
/// In a column of unknown unit, a step of this much or more is counted in milliseconds: what is
/// recorded here has more than two samples a second.
const LEAST_STEP_MS: f64 = 0.5;

/// Rows that follow one another without a break.
#[derive(Clone, Copy, Debug)]
struct Run {
    row: u64,
    start_s: f64,
    end_s: f64,
}

/// Sees the times of all rows, one after another.
#[derive(Debug)]
pub(super) struct Times {
    pub(super) column: usize,
    file: String,
    dialect: Dialect,
    scale_s: f64,
    /// The usual step, its least and most in the first rows, in seconds; and what is a break.
    step_s: f64,
    steps_s: [f64; 2],
    break_s: f64,
    /// The last place that times are written to, in seconds.
    resolution_s: f64,
    runs: Vec<Run>,
    rows: u64,
    /// Line of the first row whose time is not after the one before, and how many there are.
    back: Option<(u64, u64)>,
}

/// Which samples belong to which rows.
#[derive(Debug)]
pub(super) struct Axis {
    pub(super) rate_hz: f64,
    /// Sample and row with which each run begins, in order.
    runs: Vec<(u64, u64)>,
    rows: u64,
}

impl Axis {
    /// All rows, evenly spaced.
    pub(super) fn even(rate_hz: f64, rows: u64) -> Self {
        Self { rate_hz, runs: vec![(0, 0)], rows }
    }

    pub(super) fn samples(&self) -> u64 {
        self.runs.last().map_or(0, |&(sample, row)| sample + (self.rows - row))
    }

    /// The row of a sample, if one was recorded, and how many samples follow in the same way.
    pub(super) fn locate(&self, sample: u64) -> (Option<u64>, u64) {
        let place = self.runs.partition_point(|&(start, _)| start <= sample).max(1) - 1;
        let (start, row) = self.runs[place];
        let next = self.runs.get(place + 1).copied();
        let rows = next.map_or(self.rows, |(_, row)| row) - row;
        let at = sample - start;
        if at < rows {
            (Some(row + at), rows - at)
        } else {
            (None, next.map_or(u64::MAX, |(start, _)| start - sample))
        }
    }
}

/// The time in a cell, in its own unit.
pub(super) fn value(dialect: Dialect, text: &str) -> Option<f64> {
    match dialect.cell(text) {
        Cell::Number(value) => Some(value),
        _ => clock(text, dialect.decimal_comma),
    }
}

/// The values of a column in the first rows.
pub(super) fn first_values(layout: &Layout, column: usize) -> Vec<Option<f64>> {
    let dialect = layout.dialect;
    let cells = layout.sample.iter().filter(|line| dialect.is_row(line));
    cells
        .map(|line| dialect.cells(line).nth(column).and_then(|text| value(dialect, text)))
        .collect()
}

/// Middle, least and most of the steps between values that follow one another.
pub(super) fn steps(values: &[Option<f64>]) -> Option<[f64; 3]> {
    let pairs = values.windows(2).filter_map(|pair| Some(pair[1]? - pair[0]?));
    let mut steps: Vec<f64> = pairs.collect();
    steps.sort_by(f64::total_cmp);
    let middle = steps.get(steps.len() / 2)?;
    Some([*middle, *steps.first()?, *steps.last()?])
}

impl Times {
    /// Looks at a column's first rows; an error is where they do not go forward.
    pub(super) fn new(
        file: &str,
        layout: &Layout,
        column: usize,
        unit: Option<TimeUnit>,
        remarks: &mut Vec<Remark>,
    ) -> Result<Self, ReadError> {
        let values = first_values(layout, column);
        let line = Place::Line(layout.first_row);
        let [middle, least, most] = steps(&values).filter(|[middle, ..]| *middle > 0.0).ok_or_else(|| {
            let what = "the times in the time column do not increase; say which column holds the times, or how many samples there are per second";
            ReadFault::Asked(what.into()).at(file, line)
        })?;
        let texts: Vec<&str> = layout
            .sample
            .iter()
            .filter_map(|line| layout.dialect.cells(line).nth(column))
            .collect();
        let clocked = texts.iter().any(|text| text.contains(':'));
        let scale_s = match unit {
            _ if clocked => 1.0,
            Some(TimeUnit::Seconds(scale)) => scale,
            _ => {
                let (scale, name) =
                    if middle >= LEAST_STEP_MS { (1e-3, "milliseconds") } else { (1.0, "seconds") };
                remarks.push(Remark::new(file, line, format!("the times are taken as {name}")));
                scale
            }
        };
        let mark = if layout.dialect.decimal_comma { ',' } else { '.' };
        let decimals = texts
            .iter()
            .map(|text| text.split_once(mark).map_or(0, |(_, after)| after.len().min(15)))
            .max();
        let even = spread(&values, middle) <= EVEN;
        let break_s = middle * scale_s * if even { EVEN_BREAK } else { UNEVEN_BREAK };
        Ok(Self {
            column,
            file: file.to_owned(),
            dialect: layout.dialect,
            scale_s,
            step_s: middle * scale_s,
            steps_s: [least * scale_s, most * scale_s],
            break_s,
            resolution_s: scale_s * 10f64.powi(-(decimals.unwrap_or(0) as i32)),
            runs: Vec::new(),
            rows: 0,
            back: None,
        })
    }

    /// The next row's time. A row without one follows the one before.
    pub(super) fn add(&mut self, row: u64, line: u64, text: &str) -> Result<(), ReadError> {
        self.rows = row + 1;
        let Some(value) = value(self.dialect, text) else { return Ok(()) };
        let mut time_s = value * self.scale_s;
        let Some(run) = self.runs.last_mut() else {
            // Rows before the first time, if any, are counted back from it.
            let start_s = time_s - row as f64 * self.step_s;
            self.runs.push(Run { row: 0, start_s, end_s: time_s });
            return Ok(());
        };
        if text.contains(':') {
            time_s = over_midnight(run.end_s, time_s);
        }
        let step_s = time_s - run.end_s;
        if step_s <= 0.0 {
            self.back = Some(self.back.map_or((line, 1), |(line, count)| (line, count + 1)));
        }
        // Rows without times may lie between.
        let rows = (row - run.row) as f64 * self.step_s;
        if step_s > self.break_s && time_s > run.start_s + rows + self.break_s - self.step_s {
            self.runs.push(Run { row, start_s: time_s, end_s: time_s });
        } else {
            run.end_s = run.end_s.max(time_s);
        }
        if self.runs.len() <= MOST_BREAKS {
            return Ok(());
        }
        let what = "the time column has too many breaks; say how many samples there are per second";
        Err(ReadFault::Asked(what.into()).at(&self.file, Place::Line(line)))
    }

    /// The rate, and where samples lie.
    pub(super) fn axis(self, remarks: &mut Vec<Remark>) -> Result<Axis, ReadError> {
        let ends = self.runs.iter().skip(1).map(|run| run.row).chain([self.rows]);
        let (mut steps, mut span_s) = (0u64, 0.0);
        for (run, end) in self.runs.iter().zip(ends) {
            steps += end - run.row - 1;
            span_s += run.end_s - run.start_s;
        }
        let rate_hz = self.rate(steps, span_s);
        let first_s = self.runs.first().map_or(0.0, |run| run.start_s);
        let mut runs: Vec<(u64, u64)> = Vec::new();
        for run in &self.runs {
            let sample = ((run.start_s - first_s) * rate_hz).round() as u64;
            let after =
                runs.last().map_or(0, |&(sample, row)| sample.saturating_add(run.row - row));
            runs.push((sample.max(after), run.row));
        }
        let most = runs.last().map_or(0, |&(sample, _)| sample);
        if !(rate_hz.is_finite() && rate_hz > 0.0 && most < 1 << 50) {
            return Err(ReadFault::NeedsRate.of(&self.file));
        }
        self.tell(rate_hz, remarks);
        Ok(Axis { rate_hz, runs, rows: self.rows })
    }

    /// Samples per second over all that has no breaks; a whole number if the times, as they are written, allow it.
    fn rate(&self, steps: u64, span_s: f64) -> f64 {
        if steps == 0 || span_s <= 0.0 {
            return 1.0 / self.step_s;
        }
        let rate = steps as f64 / span_s;
        let unsure = rate * self.resolution_s * self.runs.len() as f64 / span_s;
        if (rate - rate.round()).abs() <= unsure.max(rate * 1e-9) && rate >= 1.0 {
            rate.round()
        } else {
            rate
        }
    }

    fn tell(&self, rate_hz: f64, remarks: &mut Vec<Remark>) {
        let mut told = |place, text| remarks.push(Remark::new(&self.file, place, text));
        let [least, most] = self.steps_s;
        let mut text = format!("{rate_hz} samples a second, from the time column");
        if most - least > 2.5 * self.resolution_s + 1e-9 {
            text += &format!(
                "; its steps vary from {:.3} to {:.3} ms (median {:.3} ms) and are taken as even",
                least * 1e3,
                most * 1e3,
                self.step_s * 1e3
            );
        }
        told(Place::Whole, text);
        if self.runs.len() > 1 {
            let text = format!(
                "time breaks off {} times; what lies between counts as not recorded",
                self.runs.len() - 1
            );
            told(Place::Whole, text);
        }
        if let Some((line, count)) = self.back {
            told(
                Place::Line(line),
                format!("{count} times do not come after the one before; the rows' order is kept"),
            );
        }
    }
}

/// How far nine of ten steps lie from the middle one, as a share of it.
fn spread(values: &[Option<f64>], middle: f64) -> f64 {
    let pairs = values.windows(2).filter_map(|pair| Some(pair[1]? - pair[0]?));
    let mut off: Vec<f64> = pairs.map(|step| (step / middle - 1.0).abs()).collect();
    off.sort_by(f64::total_cmp);
    off.get(off.len().saturating_sub(1) * 9 / 10).copied().unwrap_or(0.0)
}
