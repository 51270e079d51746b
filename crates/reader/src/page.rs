//! Reading one page.

use marking::DrawnPage;
use scan::{
    BLACK, Flat, Mark, PageFault, Picture, find_code, find_marks, flatten_with, read_code,
    read_code_in,
};
use sheet::SheetCode;

use crate::{PX_PER_MM, Printed, convert};

/// What reads the same picture otherwise than before has another number.
pub const VERSION: &str = "10";

/// Pixels for a millimetre at which a page's code is looked at.
const CODE_PX_PER_MM: f64 = 5.0;
/// A pencil is faint where the middle of its ink is lighter than this, of 1. (In 100 invented
/// drawings, 0.06 to 0.15 in faint pencil, and 0.14 to 0.8 in others.)
const FAINT: f32 = 0.14;
/// A trace that was drawn, however faintly, is followed this surely. (0.9 and more in invented
/// drawings; 0.5 to 0.8 where there was only grain.)
const FIRM: f32 = 0.85;
/// Traces that are followed for so much longer in fainter ink are drawn in it.
const MORE: f64 = 1.2;
/// Pixels of a flat page that make one of the picture that is kept, along each side.
const KEPT: usize = 2;
/// The lightest of the 16 levels of grey in the picture that is kept.
const WHITE: u32 = 15;

/// A page that was read.
#[derive(Clone, Debug)]
pub struct ReadPage {
    /// Which page of which sheet it is.
    pub code: SheetCode,
    /// What is drawn on it.
    pub drawn: DrawnPage,
    /// Root mean square of the distance between the corner marks and where they belong.
    pub residual_mm: f64,
    /// What there is to say of it: a mark that is missing or not in its place.
    pub remarks: Vec<String>,
    /// The page, flat, to look at.
    pub picture: PagePicture,
}

/// A flat page in grey, to look at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PagePicture {
    /// A PNG file.
    pub png: Vec<u8>,
    /// Pixels for a millimetre.
    pub px_per_mm: u32,
}

/// Why a page could not be read.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Fault {
    /// It could not be laid flat.
    #[error("{}{fault}", code.as_ref().map(|code| format!("{}: ", said(code))).unwrap_or_default())]
    Page {
        /// What is wrong.
        fault: PageFault,
        /// Which page it is, where its code could be read all the same.
        code: Option<SheetCode>,
    },
    /// It has no code that can be read.
    #[error("the code of the sheet cannot be read; is it covered, torn off or blurred?")]
    NoCode,
    /// Its code is none of ours.
    #[error("the code says “{text}”, which is not a sheet's; is this another paper?")]
    UnknownCode {
        /// What it says.
        text: String,
    },
    /// It belongs to another test.
    #[error("{} belongs to another test ({})", said(code), code.test())]
    OtherTest {
        /// Which page it is.
        code: SheetCode,
    },
    /// The test has no such page.
    #[error(
        "{}: the test has no such form or page; is this the test that was printed?",
        said(code)
    )]
    NoSuchPage {
        /// Which page it is.
        code: SheetCode,
    },
}

/// A code in words.
fn said(code: &SheetCode) -> String {
    format!("sheet {}, page {} (form {})", code.sheet(), code.page(), code.form())
}

impl Fault {
    /// Which page it is, where that could be read.
    pub fn code(&self) -> Option<&SheetCode> {
        match self {
            Self::Page { code, .. } => code.as_ref(),
            Self::OtherTest { code } | Self::NoSuchPage { code } => Some(code),
            Self::NoCode | Self::UnknownCode { .. } => None,
        }
    }
}

impl Printed<'_> {
    /// Finds out which of several printed tests a page belongs to, and reads it. Gives the
    /// number of the test, too.
    ///
    /// # Errors
    /// [`Fault`] where it cannot be read, with the reason.
    pub fn read_one_of(tests: &[Self], picture: &Picture) -> Result<(usize, ReadPage), Fault> {
        let Some(first) = tests.first() else { return Err(Fault::NoCode) };
        let marks = find_marks(picture, &first.outline().marks)
            .map_err(|fault| Fault::Page { fault, code: any_code(picture) })?;
        let (code, number) = identified(tests, picture, &marks)?;
        let test = &tests[number];
        let Some((form, print)) = test.page(&code) else {
            return Err(Fault::NoSuchPage { code });
        };
        let flattened = flatten_with(picture, marks, form, PX_PER_MM)
            .map_err(|fault| Fault::Page { fault, code: Some(code.clone()) })?;
        let Some(ink) = scan::ink::student_ink(&flattened.flat, print) else {
            return Err(Fault::NoSuchPage { code });
        };
        let mut drawing = scan::trace::drawing(&ink, form);
        let mut remarks = Vec::new();
        // Where nothing seems to be drawn, or little of a trace, it may be so faint that it was taken
        // for grain; but not where what else is drawn is dark.
        let is_faint = ink.darkness().is_none_or(|darkness| darkness < FAINT);
        if is_faint
            && (drawing.empty() > 0 || drawing.is_sparse(form))
            && let Some(ink) = scan::ink::faint_ink(&flattened.flat, print)
        {
            let faint = scan::trace::drawing(&ink, form);
            let more = faint.followed_mm() > MORE * drawing.followed_mm();
            let better =
                faint.empty() < drawing.empty() || faint.empty() == drawing.empty() && more;
            // A way through grain keeps leaving its ink.
            if better && faint.traces.iter().all(|trace| trace.sure > FIRM) {
                drawing = faint;
                remarks.push("what is drawn is very faint".to_owned());
            }
        }
        if flattened.marks.len() < form.marks.len() {
            remarks.push("one corner mark was not found".to_owned());
        }
        if let Some(id) = flattened.left_out {
            remarks.push(format!("the mark of corner {id} is not in its place and was left out"));
        }
        let drawn = convert::drawn(drawing, form, code.page(), flattened.uncertainty_mm);
        let read = ReadPage {
            code,
            drawn,
            residual_mm: flattened.residual_mm,
            remarks,
            picture: kept(&flattened.flat),
        };
        Ok((number, read))
    }

    /// Reads a page of this test.
    ///
    /// # Errors
    /// [`Fault`] where it cannot be read, with the reason.
    pub fn read(&self, picture: &Picture) -> Result<ReadPage, Fault> {
        Self::read_one_of(std::slice::from_ref(self), picture).map(|(_, read)| read)
    }
}

/// The code of any sheet in a picture.
fn any_code(picture: &Picture) -> Option<SheetCode> {
    find_code(picture).iter().find_map(|text| SheetCode::parse(text).ok())
}

/// The page's code, and which of the tests it belongs to.
fn identified(
    tests: &[Printed<'_>],
    picture: &Picture,
    marks: &[Mark],
) -> Result<(SheetCode, usize), Fault> {
    let mut fault = None;
    let mut seen: Option<String> = None;
    let mut tried = Vec::new();
    for test in tests {
        // Tests on the same paper have code and marks in the same place.
        let outline = test.outline();
        if tried.contains(&outline) {
            continue;
        }
        tried.push(outline.clone());
        seen = read_code_in(picture, marks, &outline);
        if seen.is_some() {
            break;
        }
        let flat = flatten_with(picture, marks.to_vec(), &outline, CODE_PX_PER_MM);
        match flat {
            Ok(flat) => {
                seen = outline.code.and_then(|place| read_code(&flat.flat, place));
                if seen.is_some() {
                    break;
                }
            }
            Err(other) => fault = Some(other),
        }
    }
    let text = seen.or_else(|| find_code(picture).into_iter().next());
    let Some(text) = text else {
        return Err(fault.map_or(Fault::NoCode, |fault| Fault::Page { fault, code: None }));
    };
    let Ok(code) = SheetCode::parse(&text) else { return Err(Fault::UnknownCode { text }) };
    let own = tests.iter().position(|test| test.book().id() == code.test());
    own.map(|number| (code.clone(), number)).ok_or(Fault::OtherTest { code })
}

/// A smaller picture of a flat page, in few greys.
fn kept(flat: &Flat) -> PagePicture {
    let (width, height) = (flat.width / KEPT, flat.height / KEPT);
    let mut grey = Vec::with_capacity(width.div_ceil(2) * height);
    let mut levels = vec![WHITE as u8; width.next_multiple_of(2)];
    let black = BLACK as u32 * (KEPT * KEPT) as u32;
    for y in 0..height {
        for (x, level) in levels[..width].iter_mut().enumerate() {
            let rows = (0..KEPT).map(|v| (y * KEPT + v) * flat.width + x * KEPT);
            let pixels = rows.flat_map(|at| &flat.ink[at..at + KEPT]);
            let ink = pixels.map(|&ink| ink as u32).sum::<u32>();
            *level = (((black - ink) * WHITE + black / 2) / black) as u8;
        }
        grey.extend(levels.chunks_exact(2).map(|pair| pair[0] << 4 | pair[1]));
    }
    let mut png = Vec::new();
    let mut encoder = png::Encoder::new(&mut png, width as u32, height as u32);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Four);
    // An eighth larger than the best, in a fifth of the time.
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header().expect("writing to memory succeeds");
    writer.write_image_data(&grey).expect("there are as many pixels as was said");
    writer.finish().expect("writing to memory succeeds");
    PagePicture { png, px_per_mm: (flat.px_per_mm / KEPT as f64).round() as u32 }
}
