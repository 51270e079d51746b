//! A worksheet of a recording: strips to be measured by hand, and the key to them.

use figure::{Figure, Page};

use crate::definition::{Orientation, Paper};
use crate::flow::{Column, Flow};
use crate::print::Sizes;

/// Lines that a student has to work in.
const LINES: usize = 2;

/// What a worksheet shows and asks.
#[derive(Clone, Debug, PartialEq)]
pub struct Worksheet {
    /// Its title.
    pub title: String,
    /// What it is printed on.
    pub paper: Paper,
    /// What was recorded, and what the student does.
    pub about: String,
    /// What the paper's squares are worth, and how exactly they can be read.
    pub scale: String,
    /// What stands at the foot of every page.
    pub caution: String,
    /// The strip, in rows.
    pub rows: Vec<WorksheetRow>,
    /// What is measured, in order.
    pub questions: Vec<WorksheetQuestion>,
    /// What else the key says.
    pub notes: Vec<String>,
}

/// A row of the strip.
#[derive(Clone, Debug, PartialEq)]
pub struct WorksheetRow {
    /// As the student gets it.
    pub blank: Figure,
    /// With landmarks and what is measured marked.
    pub marked: Figure,
}

/// Something to be measured on the strip.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WorksheetQuestion {
    /// What is measured, from where to where.
    pub text: String,
    /// Its unit.
    pub unit: String,
    /// The value of the beat that the key brackets; empty where it lacks it.
    pub this_beat: String,
    /// The middle of the beats shown, with how many they are.
    pub middle: String,
    /// How far a reading may lie from it.
    pub accept: String,
}

/// The student's pages and the key's.
pub fn worksheet_pages(worksheet: &Worksheet) -> [Vec<Page>; 2] {
    [blank_pages(worksheet), key_pages(worksheet)]
}

fn begun(worksheet: &Worksheet, title: &str) -> Flow {
    let size_mm = worksheet.paper.size_mm(Orientation::Portrait);
    Flow::new(size_mm, Sizes::USUAL, title).with_foot(&worksheet.caution)
}

fn columns(shares: &[(&'static str, f64)]) -> Vec<Column> {
    shares.iter().map(|&(head, share)| Column { head, share }).collect()
}

fn blank_pages(worksheet: &Worksheet) -> Vec<Page> {
    let mut flow = begun(worksheet, &worksheet.title);
    flow.put(vec![flow.name_line(None)]);
    flow.put(vec![flow.paragraph(&worksheet.about), flow.paragraph(&worksheet.scale)]);
    for row in &worksheet.rows {
        flow.put(vec![flow.picture(&row.blank)]);
    }
    let to_fill =
        columns(&[("Measure", 72.0), ("Working", 62.0), ("Answer", 22.0), ("Unit", 18.0)]);
    let rows = worksheet
        .questions
        .iter()
        .map(|one| vec![one.text.clone(), String::new(), String::new(), one.unit.clone()]);
    flow.table_of(&to_fill, &rows.collect::<Vec<_>>(), LINES);
    flow.finish()
}

fn key_pages(worksheet: &Worksheet) -> Vec<Page> {
    let mut flow = begun(worksheet, &format!("Key: {}", worksheet.title));
    flow.put(vec![flow.paragraph(&worksheet.scale)]);
    for row in &worksheet.rows {
        flow.put(vec![flow.picture(&row.marked)]);
    }
    let filled = columns(&[
        ("Measure", 62.0),
        ("Bracketed beat", 34.0),
        ("Middle of the beats shown", 54.0),
        ("Accept", 24.0),
    ]);
    let rows = worksheet.questions.iter().map(|one| {
        vec![one.text.clone(), one.this_beat.clone(), one.middle.clone(), one.accept.clone()]
    });
    flow.table(&filled, &rows.collect::<Vec<_>>());
    for note in &worksheet.notes {
        flow.put(vec![flow.paragraph(note)]);
    }
    flow.finish()
}
