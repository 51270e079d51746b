//! Laying a page flat, in millimetres, and evening out its light.

mod homography;
mod light;
mod sample;
mod warp;

pub(crate) use homography::Homography;
pub use warp::Warp;

use homography::{Fit, fit_affine, fit_homography};
use light::Tiles;
use sample::{Frame, Source};
use warp::Bend;

use crate::marks::square;
use crate::{Mark, PageFault, PageForm, Picture, find_marks, memory};

/// Pixels for a millimetre of the flattened page where nothing else is asked for: half the
/// width of a grid line.
const PX_PER_MM: f64 = 8.0;
/// Ink is counted in so many steps from paper to black: 16 for each of a picture's 8 bits, so that
/// nothing is lost between them, and 8 numbers at once.
pub const BLACK: i16 = 4096;
/// Where more than this is left, in millimetres, one mark may be wrong. Four centres fit some
/// perspective wherever they are, so that a mark that lies elsewhere shows in the outlines
/// alone.
const SUSPECT_MM: f64 = 0.1;
/// Beyond this the marks are not the page's.
const MOST_MM: f64 = 2.0;
/// What edges are known to, in millimetres, even where three marks happen to fit exactly.
const EDGES_MM: f64 = 0.03;

/// A flattened page.
#[derive(Clone, Debug, PartialEq)]
pub struct Flat {
    /// Pixels for a millimetre.
    pub px_per_mm: f64,
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// 0 paper to [`BLACK`], light evened out; the top left corner of pixel (0, 0) is the page's.
    pub ink: Vec<i16>,
}

impl Flat {
    /// The page that a picture shows which lies flat, and evenly in the light, already.
    pub fn of(picture: &Picture, px_per_mm: f64) -> Self {
        let ink = |&level: &u8| (i32::from(255 - level) * i32::from(BLACK) / 255) as i16;
        let ink = picture.level.iter().map(ink).collect();
        Self { px_per_mm, width: picture.width, height: picture.height, ink }
    }
}

impl Drop for Flat {
    fn drop(&mut self) {
        memory::keep(std::mem::take(&mut self.ink));
    }
}

/// How the page was mapped to the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Model {
    /// In perspective, by four marks.
    FourMarks,
    /// In perspective, by three marks, which is less certain at the fourth corner.
    ThreeMarks,
    /// Without perspective, by three marks: enough for a flatbed scanner.
    ThreeMarksFlatbed,
}

/// From millimetres on the page to pixels of the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct PageMap {
    plane: Homography,
    bend: Option<Bend>,
}

impl PageMap {
    /// The pixel where a point of the page is seen.
    pub fn to_picture(&self, mm: [f64; 2]) -> [f64; 2] {
        let off = self.bend.as_ref().map_or([0.0; 2], |bend| bend.at(mm));
        self.plane.apply([mm[0] + off[0], mm[1] + off[1]])
    }
}

/// A flattened page and how well it lies.
#[derive(Clone, Debug)]
pub struct Flattened {
    /// The page.
    pub flat: Flat,
    /// The marks that were found, by number.
    pub marks: Vec<Mark>,
    /// A mark that lay elsewhere than the others say, and was left out.
    pub left_out: Option<usize>,
    /// How the page was mapped.
    pub model: Model,
    /// Where points of the page are in the picture.
    pub map: PageMap,
    /// Root mean square of the distance between the marks' corners and where they belong, in
    /// millimetres.
    pub residual_mm: f64,
    /// Standard deviation of the place of the page's least certain corner, in millimetres,
    /// where only the marks and not the paper are in doubt.
    pub uncertainty_mm: f64,
    /// What the panels' frames said about the paper's bend; none where they were not seen.
    pub warp: Option<Warp>,
}

/// Flattens the page in a picture at 8 pixels for a millimetre.
///
/// # Errors
/// Where marks are missing, doubled, mirrored, blurred or too small, or lie elsewhere than on
/// the page.
pub fn flatten(picture: &Picture, form: &PageForm) -> Result<Flattened, PageFault> {
    flatten_with(picture, find_marks(picture, &form.marks)?, form, PX_PER_MM)
}

/// Flattens the page by marks that were found in `picture`.
///
/// # Errors
/// As for [`flatten()`].
pub fn flatten_with(
    picture: &Picture,
    marks: Vec<Mark>,
    form: &PageForm,
    px_per_mm: f64,
) -> Result<Flattened, PageFault> {
    let placed = placed(&marks, form)?;
    let size = [form.width_mm, form.height_mm];
    let mut map = PageMap { plane: placed.fit.map.clone(), bend: None };
    let frame = Frame::new(size, px_per_mm);
    let scale = map.plane.scale(size.map(|side| side / 2.0)) / px_per_mm;
    let source = Source::new(picture, scale);
    let corners = corners(&marks, form, placed.left_out);
    let sight = warp::Sight { source: &source, map: &map, frame: &frame };
    let warp = warp::measure(&sight, form, &corners);
    let warp = warp.map(|(bend, warp)| {
        map.bend = warp.applied.then_some(bend);
        warp
    });
    let mut tiles = Tiles::new(&frame);
    let places = source.places(&map, &frame);
    sample::rows(&source, &places, &frame, light::EVERY, |y, line| tiles.count(y, line));
    let mut light = tiles.light();
    let mut ink = memory::room(frame.width * frame.height);
    sample::rows(&source, &places, &frame, 1, |y, line| light.add_ink(y, line, &mut ink));
    Ok(Flattened {
        flat: Flat { px_per_mm, width: frame.width, height: frame.height, ink },
        marks,
        left_out: placed.left_out,
        model: placed.model,
        residual_mm: placed.fit.rms_mm,
        uncertainty_mm: placed.fit.uncertainty_mm(size, EDGES_MM),
        map,
        warp,
    })
}

/// Where points of a page whose marks were found are in the picture, if the page lies flat.
pub(crate) fn map_of(marks: &[Mark], form: &PageForm) -> Option<PageMap> {
    let placed = placed(marks, form).ok()?;
    Some(PageMap { plane: placed.fit.map, bend: None })
}

/// Corners of the marks on the page and in the picture.
fn corners(marks: &[Mark], form: &PageForm, without: Option<usize>) -> Vec<([f64; 2], [f64; 2])> {
    let place = |id: usize| form.marks.iter().find(|(of, _)| *of == id).map(|(_, at)| *at);
    marks
        .iter()
        .filter(|mark| Some(mark.id) != without)
        .filter_map(|mark| Some((place(mark.id)?, mark.corners)))
        .flat_map(|(centre, seen)| square(centre, form.mark_mm / 2.0).into_iter().zip(seen))
        .collect()
}

struct Placed {
    fit: Fit,
    model: Model,
    left_out: Option<usize>,
}

fn placed(marks: &[Mark], form: &PageForm) -> Result<Placed, PageFault> {
    let known = |mark: &&Mark| form.marks.iter().any(|(id, _)| *id == mark.id);
    let found = marks.iter().filter(known).count();
    if found < 3 {
        return Err(if found == 0 { PageFault::NoMarks } else { PageFault::FewMarks { found } });
    }
    let degenerate = PageFault::Misplaced { off_mm: f64::INFINITY };
    let result = if found == 3 {
        three(&corners(marks, form, None)).map(|(fit, model)| Placed { fit, model, left_out: None })
    } else {
        four(marks, form)
    };
    let placed = result.ok_or(degenerate)?;
    if placed.fit.rms_mm > MOST_MM {
        return Err(PageFault::Misplaced { off_mm: placed.fit.rms_mm });
    }
    Ok(placed)
}

/// All marks, or all but one where that one alone does not fit.
fn four(marks: &[Mark], form: &PageForm) -> Option<Placed> {
    let all = fit_homography(&corners(marks, form, None))?;
    if all.rms_mm > SUSPECT_MM {
        let without = marks.iter().filter_map(|mark| {
            let (fit, model) = three(&corners(marks, form, Some(mark.id)))?;
            Some(Placed { fit, model, left_out: Some(mark.id) })
        });
        let mut without: Vec<Placed> = without.collect();
        without.sort_by(|a, b| a.fit.rms_mm.total_cmp(&b.fit.rms_mm));
        // One bad mark spoils every fit that it is in, and the fit without it alone is good.
        let clear = without.len() > 1
            && without[0].fit.rms_mm < all.rms_mm / 3.0
            && without[0].fit.rms_mm < without[1].fit.rms_mm / 2.0;
        if clear {
            return Some(without.swap_remove(0));
        }
    }
    Some(Placed { fit: all, model: Model::FourMarks, left_out: None })
}

/// Three marks leave perspective to their outlines. Where they show none, none is assumed,
/// since its noise is multiplied by the way to the fourth corner.
fn three(corners: &[([f64; 2], [f64; 2])]) -> Option<(Fit, Model)> {
    /// How much worse a fit without perspective may be.
    const WORSE: f64 = 1.3;
    let perspective = fit_homography(corners)?;
    let flat = fit_affine(corners)?;
    if flat.rms_mm <= (WORSE * perspective.rms_mm).max(EDGES_MM) {
        Some((flat, Model::ThreeMarksFlatbed))
    } else {
        Some((perspective, Model::ThreeMarks))
    }
}
