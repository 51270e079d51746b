//! The key's pages: what the drawings show and how they are read, in braille.

use figure::{Figure, Tag};

use super::marks::{dashes, steps};
use super::{
    AXIS_MM, DASH, Drawing, LINE_MM_WIDE, MARGIN, TICK, TRACE_MM, entry, line_entry, rise, write,
};
use crate::braille::{self, BrailleError, CELL_MM, HEIGHT_MM, LINE_MM};

/// Cells by which an entry's further lines are indented.
const INDENT: usize = 2;
/// Cells that a sample of a line takes, with the space after it.
const SAMPLE: usize = 5;

/// What stands in the key, from top to bottom.
enum Entry {
    /// What must not stand alone at the foot of a page.
    Heading(&'static str),
    Text(String),
    Sample(Texture, &'static str),
    /// An empty line, but for the top of a page.
    Space,
}

#[derive(Clone, Copy)]
enum Texture {
    Trace,
    Line,
    Axis,
}

/// One line of braille.
struct Row {
    indent: usize,
    cells: Vec<u8>,
    sample: Option<Texture>,
}

impl Drawing<'_> {
    /// The key's pages, without their numbers.
    pub(super) fn key(&self) -> Result<Vec<Figure>, BrailleError> {
        let across = self.size_mm[0] - 2.0 * MARGIN - braille::width_mm(1);
        let room = (across / CELL_MM).floor() as usize + 1;
        // The first line of a page has its number.
        let top = MARGIN + LINE_MM;
        let down = self.size_mm[1] - MARGIN - top - HEIGHT_MM;
        let lines = (down / LINE_MM).floor() as usize + 1;
        let mut pages = Vec::new();
        let mut left = 0;
        for entry in self.entries() {
            let rows = rows(&entry, room)?;
            if rows.is_empty() {
                if left < lines {
                    left = left.saturating_sub(1);
                }
                continue;
            }
            // An entry begins on the page that holds it whole, if a page can.
            let together = rows.len() + entry.holds();
            if left == 0 || together > left && together <= lines {
                pages.push(self.blank());
                left = lines;
            }
            for row in rows {
                if left == 0 {
                    pages.push(self.blank());
                    left = lines;
                }
                if let Some(page) = pages.last_mut() {
                    draw(page, &row, top + (lines - left) as f64 * LINE_MM);
                }
                left -= 1;
            }
            if let Some(page) = pages.last_mut() {
                page.alt += &entry.words();
            }
        }
        Ok(pages)
    }

    fn entries(&self) -> Vec<Entry> {
        let length_ms = (self.window[1] - self.window[0]) * 1000.0;
        let mut entries = vec![
            Entry::Text(self.title.clone()),
            Entry::Text(self.test.convention.title.clone()),
            Entry::Space,
            Entry::Heading("How to read the drawings"),
            Entry::Text(
                "A thick slanting bar is in the top right corner of every page.".to_owned(),
            ),
            Entry::Text(format!(
                "Time runs from left to right: one beat, {length_ms:.0} ms. Panels lie one below the other, each with its key at the left. Each has a scale of its own, from its lowest to its highest value."
            )),
        ];
        if let Some(sounds) = self.channels.iter().find(|channel| channel.swings) {
            entries.push(Entry::Text(format!(
                "In {} the trace opens into an outline for each burst: the higher, the stronger.",
                sounds.key
            )));
        }
        entries.push(Entry::Space);
        entries.push(Entry::Sample(Texture::Trace, "trace"));
        entries.push(Entry::Sample(
            Texture::Line,
            "alignment line: what lies on it happens at the same time. It is broken near traces and axes.",
        ));
        entries.push(Entry::Sample(Texture::Axis, "axis below a panel, with a tick every 100 ms"));
        entries.push(Entry::Space);
        entries.push(Entry::Heading("Panels from top to bottom"));
        entries.extend(self.channels.iter().map(|channel| Entry::Text(entry(channel))));
        for (number, group) in self.groups.iter().enumerate().filter(|_| self.groups.len() > 1) {
            let keys: Vec<&str> = group.iter().map(|i| self.channels[*i].key.as_str()).collect();
            entries.push(Entry::Text(format!("Drawing {}: {}", number + 1, keys.join(", "))));
        }
        if !self.lines.is_empty() {
            entries.push(Entry::Space);
            entries.push(Entry::Heading(
                "Alignment lines from left to right, with times from the left",
            ));
        }
        for line in &self.lines {
            let said = line.texts.join(" ");
            let full_stop = if said.is_empty() { "" } else { ". " };
            entries.push(Entry::Text(format!("{}{full_stop}{said}", line_entry(line))));
        }
        entries
    }
}

impl Entry {
    /// How many lines after the entry must stand on the same page.
    fn holds(&self) -> usize {
        match self {
            Self::Heading(_) => 2,
            // The samples are compared with one another.
            Self::Sample(Texture::Trace, _) => 4,
            _ => 0,
        }
    }

    /// The entry in print, for a page's description.
    fn words(&self) -> String {
        match self {
            Self::Heading(text) => format!("{text}. "),
            Self::Text(text) => format!("{text}{} ", full_stop(text)),
            Self::Sample(texture, text) => {
                let look = match texture {
                    Texture::Trace => "Thick solid line",
                    Texture::Line => "Dashed line",
                    Texture::Axis => "Thin line with ticks",
                };
                format!("{look}: {text}{} ", full_stop(text))
            }
            Self::Space => String::new(),
        }
    }
}

fn full_stop(text: &str) -> &'static str {
    if text.ends_with(['.', '!', '?']) { "" } else { "." }
}

/// An entry in lines of `room` cells.
fn rows(entry: &Entry, room: usize) -> Result<Vec<Row>, BrailleError> {
    let (text, sample, indents) = match entry {
        Entry::Space => return Ok(Vec::new()),
        Entry::Heading(text) => (*text, None, [0, INDENT]),
        Entry::Text(text) => (text.as_str(), None, [0, INDENT]),
        Entry::Sample(texture, text) => (*text, Some(*texture), [SAMPLE, SAMPLE]),
    };
    let cells = braille::cells(text)?;
    let lines = braille::wrap(&cells, room - indents[0], room - indents[1]);
    let rows = lines.into_iter().enumerate().map(|(index, cells)| Row {
        indent: indents[index.min(1)],
        cells,
        sample: sample.filter(|_| index == 0),
    });
    Ok(rows.collect())
}

fn draw(page: &mut Figure, row: &Row, y: f64) {
    write(page, &row.cells, [MARGIN + row.indent as f64 * CELL_MM, y]);
    let Some(sample) = row.sample else { return };
    let y = y + HEIGHT_MM / 2.0;
    let (left, right) = (MARGIN + 1.0, MARGIN + (SAMPLE as f64 - 1.0) * CELL_MM);
    let mut parts = vec![vec![[left, y], [right, y]]];
    match sample {
        Texture::Trace => rise(page, Tag::Panel, parts, TRACE_MM),
        Texture::Line => {
            let dashes = dashes(&steps(&parts[0]), DASH);
            rise(page, Tag::Panel, dashes, LINE_MM_WIDE);
        }
        Texture::Axis => {
            let tick = |x: f64| vec![[x, y], [x, y + TICK]];
            parts.extend([tick(left + AXIS_MM / 2.0), tick(right - AXIS_MM / 2.0)]);
            rise(page, Tag::Panel, parts, AXIS_MM);
        }
    }
}
