//! How a table is laid out, from its first lines.

use std::collections::BTreeMap;

use super::super::Asked;
use super::super::error::{Place, ReadError, ReadFault, Remark};
use super::header::{self, Clue};
use super::line::{Cell, Dialect, Lines, is_comment};
use super::time::clock;

/// So many lines are looked at.
const LINES: usize = 2_000;
/// And of the rows among them, so many, the last: what stands before the table counts for nothing.
const ROWS: usize = 200;
/// Separators in the order in which they are preferred when equally good.
const SEPARATORS: [char; 5] = ['\t', ';', ',', '|', ' '];

/// What the first lines tell.
#[derive(Debug)]
pub(super) struct Layout {
    pub(super) dialect: Dialect,
    /// Name and unit of each column, as far as they are told.
    pub(super) columns: Vec<(String, String)>,
    pub(super) clue: Option<Clue>,
    /// Number of the first row's line.
    pub(super) first_row: u64,
    /// The first rows.
    pub(super) sample: Vec<String>,
}

/// A line and its number.
type Numbered = (u64, String);

impl Layout {
    pub(super) fn guess(
        lines: &mut Lines<'_>,
        file: &str,
        how: &Asked,
        remarks: &mut Vec<Remark>,
    ) -> Result<Self, ReadError> {
        let mut head: Vec<Numbered> = Vec::new();
        while head.len() < LINES {
            let Some(line) = lines.next()? else { break };
            head.push((line.number, line.text.into_owned()));
        }
        let (comments, rest): (Vec<_>, Vec<_>) = head
            .into_iter()
            .filter(|(_, line)| !line.trim().is_empty())
            .partition(|(_, line)| is_comment(line));
        let (dialect, count) =
            dialect(&rest, how).ok_or_else(|| no_table(file, &rest, &comments))?;
        let Some(first) = first_row(&rest, dialect, count) else {
            return Err(no_table(file, &rest, &comments));
        };
        let (before, rows) = rest.split_at(first);
        let (names, units) = names(before, &comments, dialect, count);
        let named = names.is_some();
        let columns = columns(count, names.unwrap_or_default(), &units);
        let clue = comments
            .iter()
            .chain(before)
            .filter(|(number, _)| *number < rows[0].0)
            .find_map(|(_, line)| header::clue(line));
        tell(file, dialect, named, before, rows, how, remarks);
        let sample = rows.iter().map(|(_, line)| line.clone()).collect();
        Ok(Self { dialect, columns, clue, first_row: rows[0].0, sample })
    }
}

/// The separator and decimal mark with which most rows are numbers alone, in most columns.
fn dialect(rest: &[Numbered], how: &Asked) -> Option<(Dialect, usize)> {
    let rows = &rest[rest.len().saturating_sub(ROWS)..];
    let separators: Vec<Option<char>> = match how.separator {
        Some(asked) => vec![Some(asked)],
        None => SEPARATORS.into_iter().map(Some).chain([None]).collect(),
    };
    let mut best: Option<(usize, usize, Dialect)> = None;
    for separator in separators {
        for decimal_comma in [false, true] {
            let clash = decimal_comma && separator == Some(',');
            if clash || how.decimal_comma.is_some_and(|asked| asked != decimal_comma) {
                continue;
            }
            let dialect = Dialect { separator, decimal_comma };
            let Some((good, columns)) = score(rows, dialect) else { continue };
            // A single column with a separator is a column without one.
            if columns == 1 && separator.is_some() && how.separator.is_none() {
                continue;
            }
            if best.is_none_or(|(most, _, _)| good > most) {
                best = Some((good, columns, dialect));
            }
        }
    }
    best.filter(|_| !header_of_one(rest, how))
        .or_else(|| {
            let dialect = Dialect { separator: None, decimal_comma: true };
            score(rows, dialect).map(|(good, columns)| (good, columns, dialect)).or(best)
        })
        .map(|(_, columns, dialect)| (dialect, columns))
}

/// Whether all could be decimal commas, since the header has no comma: `ECG`, then `0,5`.
fn header_of_one(rest: &[Numbered], how: &Asked) -> bool {
    if how.separator.is_some() || how.decimal_comma == Some(false) {
        return false;
    }
    let comma = Dialect { separator: None, decimal_comma: true };
    let first = rest.iter().position(|(_, line)| comma.number(line.trim()).is_some());
    let header = first.and_then(|first| first.checked_sub(1)).map(|at| rest[at].1.as_str());
    let all = first.is_some_and(|first| {
        rest[first..].iter().all(|(_, line)| comma.number(line.trim()).is_some())
    });
    all && header.is_some_and(|line| !line.contains(','))
        && first.is_some_and(|first| rest[first..].iter().any(|(_, line)| line.contains(',')))
}

/// How many rows consist of numbers, times and empty cells alone, of those with the usual number of columns. There is
/// none where they are fewer than half of the lines from the first of them on.
fn score(rows: &[Numbered], dialect: Dialect) -> Option<(usize, usize)> {
    let widths: Vec<Option<usize>> = rows.iter().map(|(_, line)| width(line, dialect)).collect();
    let mut counts: BTreeMap<usize, usize> = BTreeMap::new();
    for width in widths.iter().flatten() {
        *counts.entry(*width).or_default() += 1;
    }
    let (usual, good) = counts.into_iter().max_by_key(|&(width, count)| (count, width))?;
    let first = widths.iter().position(|width| *width == Some(usual))?;
    (good * 2 >= rows.len() - first).then_some((good, usual))
}

/// The number of cells of a row without text.
fn width(line: &str, dialect: Dialect) -> Option<usize> {
    let (mut count, mut numbers) = (0, 0);
    for text in dialect.cells(line) {
        count += 1;
        match dialect.cell(text) {
            Cell::Number(_) => numbers += 1,
            Cell::Empty => {}
            Cell::Text => {
                clock(text, dialect.decimal_comma)?;
                numbers += 1;
            }
        }
    }
    (numbers > 0).then_some(count)
}

/// The first row of the table: what comes before has other columns, or texts.
fn first_row(rest: &[Numbered], dialect: Dialect, count: usize) -> Option<usize> {
    rest.iter().position(|(_, line)| width(line, dialect) == Some(count))
}

/// Names and units from the lines before the table, the last first; or from a comment.
fn names(
    before: &[Numbered],
    comments: &[Numbered],
    dialect: Dialect,
    count: usize,
) -> (Option<Vec<String>>, Vec<String>) {
    let cells = |line: &str| dialect.cells(line).map(str::to_owned).collect::<Vec<_>>();
    let mut fitting =
        before.iter().rev().map(|(_, line)| cells(line)).take_while(|cells| cells.len() == count);
    let (last, one_before) = (fitting.next(), fitting.next());
    match (last, one_before) {
        (Some(units), Some(names)) if header::are_units(&units) => (Some(names), units),
        (Some(names), _) => (Some(names), Vec::new()),
        (None, _) => {
            let told = comments.iter().find_map(|(_, line)| header::labels(line));
            // A comment just before the table may be its header.
            let commented = || {
                comments
                    .iter()
                    .rev()
                    .map(|(_, line)| cells(line))
                    .find(|cells| count > 1 && cells.len() == count)
            };
            (told.filter(|names| names.len() <= count).or_else(commented), Vec::new())
        }
    }
}

fn columns(count: usize, names: Vec<String>, units: &[String]) -> Vec<(String, String)> {
    // Names told for fewer columns are those of the last: times come first and go without.
    let skipped = count - names.len().min(count);
    let named = (0..count).map(|index| {
        let name = index.checked_sub(skipped).and_then(|index| names.get(index));
        let (name, unit) = header::name_and_unit(name.map_or("", String::as_str));
        match units.get(index) {
            Some(told) if unit.is_empty() => (name, header::bracketless(told).to_owned()),
            _ => (name, unit),
        }
    });
    named.collect()
}

fn no_table(file: &str, rest: &[Numbered], comments: &[Numbered]) -> ReadError {
    match rest.iter().chain(comments).next() {
        None => ReadFault::Empty.of(file),
        Some((number, line)) => {
            let expected = "rows of numbers, all with the same number of columns";
            ReadFault::field("the text", line, expected).at(file, Place::Line(*number))
        }
    }
}

/// Says what was guessed.
fn tell(
    file: &str,
    dialect: Dialect,
    named: bool,
    before: &[Numbered],
    rows: &[Numbered],
    how: &Asked,
    remarks: &mut Vec<Remark>,
) {
    let line = rows[0].0;
    if how.separator.is_none() || how.decimal_comma.is_none() {
        let columns = match dialect.separator {
            None => "one column".to_owned(),
            Some('\t') => "columns divided by tabs".to_owned(),
            Some(' ') => "columns divided by spaces".to_owned(),
            Some(other) => format!("columns divided by “{other}”"),
        };
        let mark = if dialect.decimal_comma { "comma" } else { "point" };
        let text = format!("read as {columns}, with a decimal {mark}");
        remarks.push(Remark::new(file, Place::Line(line), text));
    }
    let alone = Dialect { separator: None, decimal_comma: true };
    let either = dialect.separator == Some(',')
        && rows.iter().take(ROWS).all(|(_, line)| alone.number(line.trim()).is_some());
    if either && how.separator.is_none() {
        let text = "these could also be single numbers with a decimal comma; if so, say it";
        remarks.push(Remark::new(file, Place::Line(line), text));
    }
    if !named && before.is_empty() {
        remarks.push(Remark::new(file, Place::Line(line), "the columns have no names"));
    }
}
