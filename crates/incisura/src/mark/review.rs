//! What a person is asked: `review.csv`, and a picture for each question.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Cursor;
use std::path::Path;

use convention::Convention;
use course::{Course, PageId, SheetPage};
use marking::{Outcome, RuleMark};

use crate::failure::Failure;
use crate::files;
use crate::mark::class::{Class, Record};
use crate::mark::reading::Kept;
use crate::mark::results::rounded;
use crate::progress;

const COLUMNS: [&str; 10] = [
    "sheet",
    "rule",
    "question",
    "proposal",
    "measured_mm",
    "tolerance_mm",
    "crop",
    "decision",
    "why",
    "test",
];

/// Room about what is looked at, in millimetres.
const ROOM_MM: f64 = 3.0;
/// What is shown to the left and right of a landmark at least, in millimetres.
const BESIDE_MM: f64 = 14.0;
/// White above and below a crop, with room for the triangles, in millimetres.
const MARGIN_MM: f64 = 3.5;
/// Height of the triangles, in millimetres.
const TRIANGLE_MM: f64 = 2.5;

/// One question.
#[derive(Clone, Copy)]
pub(crate) struct Question<'a> {
    pub(crate) record: &'a Record,
    pub(crate) rule: &'a RuleMark,
}

impl Question<'_> {
    /// The page to look at: what is kept of it, and the stretch to be shown, in millimetres.
    fn place(&self) -> Option<(&SheetPage, &Kept, [f64; 4])> {
        let (number, look) = self.rule.look?;
        let pages = &self.record.pages.as_ref()?.pages;
        let (page, kept) = pages.iter().find(|(page, _)| page.page == u32::from(number))?;
        Some((page, kept, look))
    }

    /// The page whose picture is looked at.
    pub(crate) fn page(&self) -> Option<PageId> {
        self.place().map(|(page, ..)| page.counts.id)
    }

    /// Name of its picture.
    fn crop(&self, several: bool) -> String {
        let Record { test, sheet, .. } = self.record;
        let print = if several { format!("-{test}") } else { String::new() };
        format!("{}{print}-{sheet:05}.png", self.rule.id)
    }
}

/// Writes `review.csv` and `review/` into `folder`; gives how many questions there are.
pub(crate) fn write(
    class: &Class,
    course: &Course,
    convention: &Convention,
    folder: &Path,
) -> Result<usize, Failure> {
    let asked = questions(class);
    let several = asked.iter().any(|one| one.record.test != class.test);
    let pictures = folder.join("review");
    files::make_folder(&pictures)?;
    let mut pages: BTreeMap<PageId, Vec<&Question<'_>>> = BTreeMap::new();
    for question in &asked {
        if let Some(page) = question.page() {
            pages.entry(page).or_default().push(question);
        }
    }
    let with_picture = |(page, asked)| Ok((course.picture(page)?, asked));
    let pages = pages.into_iter().map(with_picture).collect::<Result<Vec<_>, Failure>>()?;
    let crops = progress::together("cutting pictures out", &pages, |(png, asked)| {
        let mut names = Vec::new();
        let Some(picture) = png.as_ref().and_then(|png| GreyPicture::of_png(png)) else {
            return Ok(names);
        };
        for question in asked {
            if let Some(png) = crop(question, convention, &picture) {
                let name = question.crop(several);
                files::replace(&pictures.join(&name), &png)?;
                names.push(name);
            }
        }
        Ok::<_, Failure>(names)
    })?;
    let crops: BTreeSet<String> = crops.into_iter().flatten().collect();
    let mut writer = csv::Writer::from_writer(Vec::new());
    let mut row = |fields: [&str; 10]| {
        writer.write_record(fields).expect("writing to memory succeeds and rows have one length");
    };
    row(COLUMNS);
    for question in &asked {
        let Question { record, rule } = question;
        let proposal = match rule.proposal {
            Some(Outcome::Met) => "met",
            Some(Outcome::NotMet) if rule.proposes_half() => "half",
            Some(Outcome::NotMet) => "not met",
            Some(Outcome::Review) | None => "",
        };
        let name = question.crop(several);
        let crop = if crops.contains(&name) { format!("review/{name}") } else { String::new() };
        row([
            &record.sheet.to_string(),
            &rule.id,
            rule.question.as_deref().unwrap_or_default(),
            proposal,
            &rule.measured_mm.map(|mm| rounded(mm).to_string()).unwrap_or_default(),
            &rounded(rule.tolerance_mm).to_string(),
            &crop,
            "",
            "",
            &record.test,
        ]);
    }
    let bytes = writer.into_inner().expect("flushing to memory succeeds");
    files::replace(&folder.join("review.csv"), &bytes)?;
    tidy(&pictures, &crops)?;
    Ok(asked.len())
}

/// All open questions: rule by rule across the class, so that one rule is judged alike on all.
fn questions(class: &Class) -> Vec<Question<'_>> {
    let mut asked = Vec::new();
    for id in class.rules() {
        for record in &class.records {
            let rules = record.marks().into_iter().flat_map(|marks| marks.open());
            asked.extend(rules.filter(|rule| rule.id == id).map(|rule| Question { record, rule }));
        }
    }
    asked
}

/// Removes the pictures of questions that are no longer asked; other files stay.
fn tidy(pictures: &Path, crops: &BTreeSet<String>) -> Result<(), Failure> {
    let unreadable = |reason| Failure::unreadable(pictures, reason);
    for entry in fs::read_dir(pictures).map_err(unreadable)? {
        let entry = entry.map_err(unreadable)?;
        let name = entry.file_name().to_string_lossy().into_owned();
        // A run that was stopped may have left a file that was not yet whole.
        let whole = name.strip_suffix(".new").unwrap_or(&name);
        let number = whole.strip_suffix(".png").and_then(|name| name.rsplit_once('-'));
        let ours = number.is_some_and(|(_, number)| {
            number.len() == 5 && number.bytes().all(|digit| digit.is_ascii_digit())
        });
        if ours && !crops.contains(&name) {
            let path = entry.path();
            fs::remove_file(&path).map_err(|reason| Failure::unwritable(&path, reason))?;
        }
    }
    Ok(())
}

/// A grey picture.
#[derive(Clone)]
pub(crate) struct GreyPicture {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) level: Vec<u8>,
}

impl GreyPicture {
    /// A grey picture, as pages are kept.
    pub(crate) fn of_png(bytes: &[u8]) -> Option<Self> {
        let mut decoder = png::Decoder::new(Cursor::new(bytes));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().ok()?;
        let mut level = vec![0; reader.output_buffer_size()?];
        let info = reader.next_frame(&mut level).ok()?;
        let (width, height) = (info.width as usize, info.height as usize);
        let grey = info.color_type == png::ColorType::Grayscale
            && info.bit_depth == png::BitDepth::Eight
            && level.len() >= width * height;
        level.truncate(width * height);
        grey.then_some(Self { width, height, level })
    }

    pub(crate) fn png(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, self.width as u32, self.height as u32);
        encoder.set_color(png::ColorType::Grayscale);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_compression(png::Compression::Fast);
        let mut writer = encoder.write_header().expect("writing to memory succeeds");
        writer.write_image_data(&self.level).expect("there are as many pixels as was said");
        writer.finish().expect("writing to memory succeeds");
        bytes
    }

    /// Without its first `rows`, which become white.
    pub(crate) fn blanked(&self, rows: usize) -> Self {
        let mut blanked = self.clone();
        let count = (rows * self.width).min(blanked.level.len());
        blanked.level[..count].fill(255);
        blanked
    }

    /// The part from left, top to right, bottom in pixels, with `margin` rows of white above and
    /// below. Beyond the picture it is white.
    fn part(&self, [left, top, right, bottom]: [i64; 4], margin: usize) -> Self {
        let (width, rows) = ((right - left).max(1) as usize, (bottom - top).max(1) as usize);
        let height = rows + 2 * margin;
        let mut level = vec![255; width * height];
        for row in 0..rows {
            let y = top + row as i64;
            if !(0..self.height as i64).contains(&y) {
                continue;
            }
            for column in 0..width {
                let x = left + column as i64;
                if (0..self.width as i64).contains(&x) {
                    level[(row + margin) * width + column] =
                        self.level[y as usize * self.width + x as usize];
                }
            }
        }
        Self { width, height, level }
    }

    /// A black triangle of `size` rows whose tip is at (`x`, `y`), pointing down or up.
    fn triangle(&mut self, x: i64, y: i64, size: i64, down: bool) {
        for step in 0..size {
            let row = if down { y - step } else { y + step };
            for column in x - step / 2..=x + step / 2 {
                let inside = (0..self.width as i64).contains(&column)
                    && (0..self.height as i64).contains(&row);
                if inside {
                    self.level[row as usize * self.width + column as usize] = 0;
                }
            }
        }
    }
}

/// What a question is about, cut from the picture of its page. Triangles above and below point to
/// where the rule's landmarks were found.
pub(crate) fn crop(
    question: &Question<'_>,
    convention: &Convention,
    picture: &GreyPicture,
) -> Option<Vec<u8>> {
    let (page, kept, look) = question.place()?;
    let finding = question.record.finding.as_ref()?;
    let points = convention.rules.iter().find(|one| one.id == question.rule.id);
    let points = points.map(|one| one.says.points()).unwrap_or_default();
    let here = |mark: &&marking::Mark| {
        u32::from(mark.page) == page.page && points.contains(&&mark.point())
    };
    let marks: Vec<&marking::Mark> = finding.located.marks.iter().filter(here).collect();
    let scale = f64::from(kept.px_per_mm);
    let px = |mm: f64| (mm * scale).round() as i64;
    let [left, top, right, bottom] = look;
    // All beats: what is in question may be any of them.
    let x = marks.iter().map(|mark| mark.at_mm[0]);
    let left = x.clone().fold(left, |left, x| left.min(x - BESIDE_MM));
    let right = x.fold(right, |right, x| right.max(x + BESIDE_MM));
    let sides = [left - ROOM_MM, top - ROOM_MM, right + ROOM_MM, bottom + ROOM_MM].map(px);
    let limits = [picture.width as i64, picture.height as i64];
    let sides = [
        sides[0].clamp(0, limits[0]),
        sides[1].clamp(0, limits[1]),
        sides[2].clamp(0, limits[0]),
        sides[3].clamp(0, limits[1]),
    ];
    let margin = px(MARGIN_MM);
    let mut part = picture.part(sides, margin as usize);
    for mark in marks {
        let x = px(mark.at_mm[0]) - sides[0];
        if (0..part.width as i64).contains(&x) {
            let foot = part.height as i64 - margin;
            part.triangle(x, margin - 1, px(TRIANGLE_MM), true);
            part.triangle(x, foot, px(TRIANGLE_MM), false);
        }
    }
    Some(part.png())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_of_a_picture_is_the_same_pixels_with_white_around() {
        let level: Vec<u8> = (0..12).collect();
        let picture = GreyPicture { width: 4, height: 3, level };
        let part = picture.part([2, 1, 5, 3], 1);
        assert_eq!((part.width, part.height), (3, 4));
        let white = [255; 3];
        assert_eq!(part.level[..3], white);
        assert_eq!(part.level[3..6], [6, 7, 255]);
        assert_eq!(part.level[6..9], [10, 11, 255]);
        assert_eq!(part.level[9..], white);
        let again = GreyPicture::of_png(&part.png()).unwrap();
        assert_eq!((again.width, again.level), (part.width, part.level));
    }
}
