//! A class's work: everyone's sheets, filled in, handed in and scanned.

use convention::Convention;
use cycle::{Cycle, Subject};
use figure::{FigureError, Page};
use image::ImageError;
use serde::Serialize;

use crate::capture::{Capture, Copier, Cover, Covered, Phone};
use crate::chance::Chance;
use crate::draw::{Drawing, draw};
use crate::encode::{PdfPage, jpeg, pdf};
use crate::form::{Geometry, Handout};
use crate::mapping::Mapping;
use crate::mistake::mistakes;
use crate::raster::{Picture, Sheet};
use crate::student::Student;
use crate::truth::Truth;

/// What can go wrong.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ClassError {
    /// The description of the pages is not as expected.
    #[error("geometry.json: {0}")]
    Geometry(#[from] serde_json::Error),
    /// A page cannot be printed.
    #[error("a sheet cannot be printed: {0}")]
    Print(#[from] FigureError),
    /// A picture cannot be encoded.
    #[error("a picture cannot be encoded: {0}")]
    Encode(#[from] ImageError),
}

/// What a class is given.
#[derive(Clone, Copy, Debug)]
pub struct Exercise<'a> {
    /// `geometry.json` of all copies' pages.
    pub geometry: &'a Geometry,
    /// The printed pages, in the same order.
    pub pages: &'a [Page],
    /// The completed cycle of each form, form A first.
    pub models: &'a [Cycle],
    /// The rules.
    pub convention: &'a Convention,
    /// What things are called.
    pub subject: &'a Subject,
}

/// One file that was handed in, and what is in it.
#[derive(Clone, Debug)]
pub struct HandedIn {
    /// Name of the file.
    pub name: String,
    /// The file.
    pub bytes: Vec<u8>,
    /// Its pages.
    pub pages: Vec<ScanTruth>,
}

/// One page of a file.
#[derive(Clone, Debug, Serialize)]
pub struct ScanTruth {
    /// Name of the file.
    pub file: String,
    /// Number of the page in it, from 1.
    pub page: usize,
    /// Code of the sheet.
    pub code: String,
    /// Which of `sheets` it belongs to, from 0.
    pub sheet: usize,
    /// Width and height in pixels, as they are stored.
    pub size_px: [usize; 2],
    /// EXIF's orientation; 1 for none.
    pub orientation: u8,
    /// How it was captured.
    pub capture: Capture,
    /// From millimetres on the page to pixels as they are stored.
    pub mapping: Mapping,
}

/// `truth.json`.
#[derive(Debug, Serialize)]
struct TruthFile<'a> {
    test: &'a str,
    seed: u64,
    scans: Vec<&'a ScanTruth>,
    sheets: &'a [Truth],
}

/// Everything that a class has handed in.
#[derive(Clone, Debug)]
pub struct Class {
    seed: u64,
    test: String,
    /// The files.
    pub files: Vec<HandedIn>,
    /// What each has drawn, sheet by sheet.
    pub sheets: Vec<Truth>,
}

impl Class {
    /// `truth.json`, described at the top of this crate.
    pub fn truth_json(&self) -> String {
        let scans = self.files.iter().flat_map(|file| &file.pages).collect();
        let file = TruthFile { test: &self.test, seed: self.seed, scans, sheets: &self.sheets };
        serde_json::to_string(&file).expect("plain data") + "\n"
    }
}

/// Most pages of a copier's file.
const MOST_PAGES: usize = 12;
/// Pixels to the inch at which pages are printed before they are captured.
const PRINT_DPI: f64 = 300.0;
/// Of so many one is photographed rather than copied.
const PHOTOGRAPHED: usize = 3;

/// Lets a class fill in its copies: drawn, marked wrong here and there and captured as `seed`
/// has it. Two thirds of the sheets come as the files of a copier, the others as photographs.
///
/// # Errors
/// [`ClassError`] where pages cannot be printed or encoded.
pub fn class(exercise: &Exercise<'_>, seed: u64) -> Result<Class, ClassError> {
    let geometry = exercise.geometry;
    let mut class =
        Class { seed, test: geometry.test.clone(), files: Vec::new(), sheets: Vec::new() };
    let mut copied: Vec<(ScanTruth, Picture, Vec<u8>)> = Vec::new();
    let mut from = 0;
    while from < geometry.pages.len() {
        let own = |other: &&crate::form::PagePlaces| {
            let first = &geometry.pages[from];
            (other.sheet, other.form) == (first.sheet, first.form)
                && (other.page > first.page || other.code == first.code)
        };
        let to = from + geometry.pages[from..].iter().take_while(own).count();
        let index = class.sheets.len();
        let seed = Chance::new(seed, &format!("sheet {index}")).below(1 << 40) as u64;
        let drawing = fill_in(exercise, from..to, seed);
        for (page, strokes) in (from..to).zip(&drawing.pages) {
            let mut sheet = Sheet::print(&exercise.pages[page], PRINT_DPI)?;
            sheet.draw(strokes, seed);
            let photo = index % PHOTOGRAPHED == PHOTOGRAPHED - 1;
            // One machine copies a whole pile.
            let pile = copied.len() / MOST_PAGES + class.files.len() / (2 * MOST_PAGES);
            let capture = captured(geometry, seed, pile as u64 + class.seed, photo);
            let taken = capture.take(&sheet);
            let bytes = jpeg(&taken.picture, capture.quality(), taken.orientation)?;
            let truth = ScanTruth {
                file: String::new(),
                page: 1,
                code: geometry.pages[page].code.clone(),
                sheet: index,
                size_px: [taken.picture.width, taken.picture.height],
                orientation: taken.orientation,
                capture,
                mapping: taken.mapping,
            };
            if photo {
                let name = format!("photo-{:03}.jpg", page + 1);
                let truth = ScanTruth { file: name.clone(), ..truth };
                class.files.push(HandedIn { name, bytes, pages: vec![truth] });
            } else {
                copied.push((truth, taken.picture, bytes));
            }
        }
        class.sheets.push(drawing.truth);
        from = to;
    }
    for (number, pile) in copied.chunks(MOST_PAGES).enumerate() {
        class.files.push(bound(number + 1, pile));
    }
    Ok(class)
}

fn fill_in(exercise: &Exercise<'_>, pages: std::ops::Range<usize>, seed: u64) -> Drawing {
    let places = &exercise.geometry.pages[pages.clone()];
    let form = (u32::from(places[0].form) - u32::from('A')) as usize;
    let handout = Handout {
        pages: &exercise.pages[pages],
        places,
        mm_per_s: exercise.geometry.mm_per_s,
        model: &exercise.models[form],
        convention: exercise.convention,
        subject: exercise.subject,
    };
    let chance = &mut Chance::new(seed, "how many");
    // Some get all of it right, most miss a few things.
    let count = chance.pick(&[0, 1, 1, 2, 2, 3, 3, 4, 5, 7]);
    draw(&handout, &Student::anyone(seed), &mistakes(&handout, count, seed))
}

/// How a page is captured; pages of one `pile` by the same machine.
fn captured(geometry: &Geometry, seed: u64, pile: u64, photo: bool) -> Capture {
    let chance = &mut Chance::new(seed, "capture");
    let mut capture = if photo {
        Capture::Phone(Phone::any(seed))
    } else {
        let machine = &mut Chance::new(pile, "machine");
        let (dpi, colour) = machine.pick(&[(300.0, true), (300.0, false), (150.0, false)]);
        let mut copier = Copier::any(seed, dpi, colour);
        copier.upside_down = chance.often(0.08);
        Capture::Copier(copier)
    };
    if chance.often(0.08) && !geometry.marks.is_empty() {
        let mark = chance.pick(&geometry.marks);
        let by = if photo && chance.often(0.7) { Cover::Thumb } else { Cover::Torn };
        capture.cover(Covered { mark: mark.id, at_mm: [mark.x_mm, mark.y_mm], by });
    }
    capture
}

/// A copier's file.
fn bound(number: usize, pile: &[(ScanTruth, Picture, Vec<u8>)]) -> HandedIn {
    let name = format!("scan-{number:02}.pdf");
    let dpi = |capture: &Capture| match capture {
        Capture::Copier(copier) => copier.dpi,
        Capture::Phone(_) => PRINT_DPI,
    };
    let pages: Vec<PdfPage<'_>> = pile
        .iter()
        .map(|(truth, picture, jpeg)| PdfPage { jpeg, picture, dpi: dpi(&truth.capture) })
        .collect();
    let truths = pile.iter().enumerate().map(|(index, (truth, ..))| ScanTruth {
        file: name.clone(),
        page: index + 1,
        ..truth.clone()
    });
    HandedIn { bytes: pdf(&pages), pages: truths.collect(), name }
}
