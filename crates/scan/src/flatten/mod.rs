//! Laying a page flat, in millimetres, and evening out its light.

mod homography;
mod light;
mod warp;

pub(crate) use homography::Homography;
pub use warp::Warp;

use homography::{Fit, fit_affine, fit_homography};
use warp::Bend;

use crate::marks::square;
use crate::{Grey, Mark, PageFault, PageForm, Picture, find_marks};

/// Pixels for a millimetre of the flattened page where nothing else is asked for: half the
/// width of a grid line.
const PX_PER_MM: f64 = 8.0;
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
    /// 0 paper to 1 black, light evened out; the top left corner of pixel (0, 0) is the page's.
    pub ink: Vec<f32>,
    /// How strong the colour is, 0 grey to 255, for coloured inks.
    pub colour: Vec<u8>,
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
    let grey = picture.grey();
    let marks = find_marks(&grey, &form.marks)?;
    flatten_with(picture, &grey, marks, form, PX_PER_MM)
}

/// Flattens the page by marks that were found in `grey`, which is the lightness of `picture`.
///
/// # Errors
/// As for [`flatten()`].
pub fn flatten_with(
    picture: &Picture,
    grey: &Grey,
    marks: Vec<Mark>,
    form: &PageForm,
    px_per_mm: f64,
) -> Result<Flattened, PageFault> {
    let placed = placed(&marks, form)?;
    let coloured = !picture.is_grey();
    let size = [form.width_mm, form.height_mm];
    let mut map = PageMap { plane: placed.fit.map.clone(), bend: None };
    let frame = Frame::new(size, px_per_mm);
    let mut flat = sampled(grey, &map, &frame);
    let corners = corners(&marks, form, placed.left_out);
    let warp = warp::measure(&flat, form, &corners, &map.plane);
    let warp = warp.map(|(bend, warp)| {
        if warp.applied {
            map.bend = Some(bend);
            flat = sampled(grey, &map, &frame);
        }
        warp
    });
    if coloured {
        flat.colour = saturation(picture, &map, &frame);
    }
    Ok(Flattened {
        flat,
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

/// The flattened page's pixels.
struct Frame {
    px_per_mm: f64,
    width: usize,
    height: usize,
}

impl Frame {
    fn new([width, height]: [f64; 2], px_per_mm: f64) -> Self {
        let pixels = |mm: f64| (mm * px_per_mm).round().max(1.0) as usize;
        Self { px_per_mm, width: pixels(width), height: pixels(height) }
    }

    /// Goes through the rows: for each the pixels' centres in the picture, and the steps that
    /// a pixel across and down makes there.
    fn rows(&self, map: &PageMap, mut row: impl FnMut(usize, &[[f64; 2]])) {
        /// Pixels between places that are mapped exactly. Between them, perspective and bend
        /// are straight to a hundredth of a pixel.
        const STEP: usize = 16;
        let mut line = vec![[0.0; 2]; self.width];
        for y in 0..self.height {
            let mm = |x: usize| [x, y].map(|at| (at as f64 + 0.5) / self.px_per_mm);
            let mut from = map.to_picture(mm(0));
            for x in (0..self.width).step_by(STEP) {
                let to = map.to_picture(mm(x + STEP));
                let step = [(to[0] - from[0]) / STEP as f64, (to[1] - from[1]) / STEP as f64];
                for (at, place) in line[x..].iter_mut().take(STEP).enumerate() {
                    *place = [from[0] + step[0] * at as f64, from[1] + step[1] * at as f64];
                }
                from = to;
            }
            row(y, &line);
        }
    }
}

fn sampled(grey: &Grey, map: &PageMap, frame: &Frame) -> Flat {
    let scale = map.plane.scale([
        frame.width as f64 / frame.px_per_mm / 2.0,
        frame.height as f64 / frame.px_per_mm / 2.0,
    ]) / frame.px_per_mm;
    // Where the picture is finer than the page to be made, the mean over the pixel's area.
    let inner = (scale.ceil() as usize).clamp(1, 4);
    let mut level = Vec::with_capacity(frame.width * frame.height);
    let mut before: Option<Vec<[f64; 2]>> = None;
    frame.rows(map, |_, line| {
        let down = match (&before, line) {
            (Some(above), [first, ..]) => [first[0] - above[0][0], first[1] - above[0][1]],
            _ => [0.0, scale],
        };
        let across = match line {
            [first, second, ..] => [second[0] - first[0], second[1] - first[1]],
            _ => [scale, 0.0],
        };
        let places = offsets(inner, across, down);
        let quick: Vec<[i32; 2]> =
            places.iter().map(|place| place.map(|one| (one * 256.0) as i32)).collect();
        let reach = places.iter().flatten().fold(0.0_f64, |most, one| most.max(one.abs())) + 2.0;
        let (right, bottom) = (grey.width as f64 - reach, grey.height as f64 - reach);
        level.extend(line.iter().map(|&[x, y]| {
            if x > reach && y > reach && x < right && y < bottom {
                mean_inside(grey, [x, y], &quick)
            } else {
                mean(grey, [x, y], &places)
            }
        }));
        before = Some(line.to_vec());
    });
    let ink = light::evened(level, frame.width, frame.height, frame.px_per_mm);
    Flat {
        px_per_mm: frame.px_per_mm,
        width: frame.width,
        height: frame.height,
        colour: vec![0; ink.len()],
        ink,
    }
}

/// Places around a pixel's centre at which it is sampled.
fn offsets(inner: usize, across: [f64; 2], down: [f64; 2]) -> Vec<[f64; 2]> {
    let share = |at: usize| (at as f64 + 0.5) / inner as f64 - 0.5;
    (0..inner * inner)
        .map(|at| {
            let (u, v) = (share(at % inner), share(at / inner));
            [across[0] * u + down[0] * v, across[1] * u + down[1] * v]
        })
        .collect()
}

fn mean(grey: &Grey, [x, y]: [f64; 2], places: &[[f64; 2]]) -> f32 {
    let sum: f64 = places.iter().map(|[dx, dy]| grey.at([x + dx, y + dy])).sum();
    (sum / places.len() as f64) as f32
}

/// As [`mean`], quickly, for a pixel that is well inside.
#[inline]
fn mean_inside(grey: &Grey, at: [f64; 2], places: &[[i32; 2]]) -> f32 {
    let [x, y] = at.map(|one| (one * 256.0) as i32 - 128);
    // At most 16 places of 255 times 65,536 each.
    let sum: u32 = places.iter().map(|[dx, dy]| grey.at_inside([x + dx, y + dy])).sum();
    sum as f32 / (65_536.0 * places.len() as f32)
}

/// How strong the colour is: the distance between the strongest and the weakest part.
fn saturation(picture: &Picture, map: &PageMap, frame: &Frame) -> Vec<u8> {
    let mut colour = Vec::with_capacity(frame.width * frame.height);
    let limit = |at: f64, most: usize| (at.max(0.0) as usize).min(most - 1);
    frame.rows(map, |_, line| {
        colour.extend(line.iter().map(|[x, y]| {
            let at = limit(*y, picture.height) * picture.width + limit(*x, picture.width);
            let [r, g, b] = picture.rgb[at];
            r.max(g).max(b) - r.min(g).min(b)
        }));
    });
    colour
}
