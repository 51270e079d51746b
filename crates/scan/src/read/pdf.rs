//! PDF pages that are pictures: one, in strips, or in layers with masks.

use std::borrow::Cow;
use std::io::Read as _;
use std::ops::Range;

use flate2::read::ZlibDecoder;
use hayro_syntax::content::UntypedIter;
use hayro_syntax::object::stream::{ImageColorSpace, ImageDecodeParams};
use hayro_syntax::object::{Array, Dict, Name, Number, Object, Stream};
use hayro_syntax::page::{Page, Resources, Rotation};
use hayro_syntax::{Filter, LoadPdfError, Pdf};

use super::Limits;
use super::jpeg;
use super::pdf_sizes::{self, growth, inflated};
use super::pixels::{self, Packing, Space};
use crate::picture::{Turn, lightness};
use crate::{Picture, ReadFault};

/// Forms inside forms that are followed.
const DEEPEST: usize = 8;
/// Pictures on one page that are no mistake: strips of 16 rows at 600 dpi are 400.
const MOST_PICTURES: usize = 1_000;
/// Operators on one page that are no mistake; recognised text may bring some 10,000.
const MOST_OPERATORS: usize = 1_000_000;
/// How often a page may be painted over in all: scanners use three layers, strips lie side by
/// side.
const MOST_LAYERS: usize = 8;
/// Share of the page that its only picture covers to be taken as it is.
const WHOLE: f64 = 0.5;
/// Pixels per point at which a page of several pictures is put together at most: 600 dpi.
const FINEST: f64 = 600.0 / 72.0;
/// Annotations that show something on the page.
const DRAWN: [&str; 10] = [
    "FreeText",
    "Line",
    "Square",
    "Circle",
    "Polygon",
    "PolyLine",
    "Highlight",
    "Ink",
    "Stamp",
    "Caret",
];

const DAMAGED: ReadFault = ReadFault::Damaged("the page");

/// From the unit square of a picture, y up, to the page in points: x = a u + c v + e,
/// y = b u + d v + f.
type Matrix = [f64; 6];

pub(super) fn open(bytes: Vec<u8>, limits: &Limits) -> Result<Pdf, ReadFault> {
    pdf_sizes::check_packed_objects(&bytes, limits)?;
    Pdf::new(bytes).map_err(|error| match error {
        LoadPdfError::Decryption(_) => ReadFault::Encrypted,
        LoadPdfError::Invalid => ReadFault::Damaged("the PDF"),
    })
}

/// Whether a PDF lacks its last line: then so does whatever stood before that. (ISO 32000-1, 7.5.5,
/// has it last; readers look for it in the last 1024 bytes, since some programs write on.)
pub(super) fn is_cut_off(bytes: &[u8]) -> bool {
    let last = &bytes[bytes.len().saturating_sub(4096)..];
    !last.windows(5).any(|five| five == b"%%EOF")
}

/// A picture's place on the page.
struct Placed<'a> {
    stream: Stream<'a>,
    at: Matrix,
    /// The colour that a stencil lets through.
    paint: [u8; 3],
}

/// The page's picture, upright.
pub(super) fn page(page: &Page<'_>, limits: &Limits) -> Result<Picture, ReadFault> {
    let content = contents(page, limits)?;
    let room = limits.bytes().saturating_sub(content.len());
    let mut walk = Walk { limits, placed: Vec::new(), operators: 0, strokes: 0, room };
    let start = State { matrix: [1.0, 0.0, 0.0, 1.0, 0.0, 0.0], paint: [0; 3] };
    walk.content(&content, page.resources(), start, 0)?;
    if walk.placed.is_empty() {
        return Err(ReadFault::NoPicture);
    }
    if walk.strokes > 0 || has_drawn_annotation(page.raw()) {
        return Err(ReadFault::Drawn);
    }
    let quarters = match page.rotation() {
        Rotation::None => 0,
        Rotation::Horizontal => 1,
        Rotation::Flipped => 2,
        Rotation::FlippedHorizontal => 3,
    };
    let turn = Turn::quarters(quarters);
    let area = page.intersected_crop_box();
    let area = [area.x0, area.y0, area.x1, area.y1];
    if let [only] = &walk.placed[..]
        && covers(&only.at, area) >= WHOLE
        && let Layer { picture, opaque: None } = layer(only, limits)?
    {
        return Ok(picture.turned(upright(&only.at)).turned(turn));
    }
    Ok(composed(&walk.placed, area, limits)?.turned(turn))
}

/// Whether something was drawn on the page with a reader's pen.
fn has_drawn_annotation(page: &Dict<'_>) -> bool {
    let Some(all) = page.get::<Array<'_>>("Annots") else { return false };
    all.iter::<Dict<'_>>().any(|one| {
        let kind = one.get::<Name<'_>>("Subtype");
        kind.is_some_and(|kind| DRAWN.contains(&kind.as_str()))
    })
}

/// The page's content streams, one after another.
fn contents(page: &Page<'_>, limits: &Limits) -> Result<Vec<u8>, ReadFault> {
    let raw = page.raw();
    let streams: Vec<Stream<'_>> = match raw.get::<Stream<'_>>("Contents") {
        Some(one) => vec![one],
        None => raw
            .get::<Array<'_>>("Contents")
            .map(|all| all.iter::<Stream<'_>>().take(MOST_PICTURES).collect())
            .unwrap_or_default(),
    };
    let mut content = Vec::new();
    for stream in &streams {
        content.extend_from_slice(&unpacked(stream, limits)?);
        content.push(b'\n');
        if content.len() > limits.bytes() {
            return Err(ReadFault::Unpacked("the page"));
        }
    }
    Ok(content)
}

/// A stream that is no picture, unpacked within limits.
fn unpacked<'a>(stream: &Stream<'a>, limits: &Limits) -> Result<Cow<'a, [u8]>, ReadFault> {
    check_unpacked(stream, limits)?;
    stream.decoded_data().map_err(|_| DAMAGED)
}

/// Refuses a stream that unpacks to more than a page can hold, before it is unpacked.
fn check_unpacked(stream: &Stream<'_>, limits: &Limits) -> Result<(), ReadFault> {
    let filters = stream.filters();
    let raw = stream.raw_data();
    let most = filters.iter().map(growth).fold(raw.len(), usize::saturating_mul);
    let fits = most <= limits.bytes()
        || filters[..] == [Filter::FlateDecode] && inflated(&raw, limits.bytes()) <= limits.bytes();
    if fits { Ok(()) } else { Err(ReadFault::Unpacked("the page")) }
}

#[derive(Clone, Copy)]
struct State {
    matrix: Matrix,
    paint: [u8; 3],
}

/// A walk through a page's operators.
struct Walk<'a, 'l> {
    limits: &'l Limits,
    placed: Vec<Placed<'a>>,
    operators: usize,
    strokes: usize,
    /// Bytes that forms may still unpack to: one may be used again and again.
    room: usize,
}

impl<'a> Walk<'a, '_> {
    fn content<'b>(
        &mut self,
        content: &'b [u8],
        resources: &Resources<'a>,
        start: State,
        depth: usize,
    ) -> Result<(), ReadFault> {
        let mut state = start;
        let mut saved = Vec::new();
        let mut operations = UntypedIter::new(content);
        while let Some(operation) = operations.next() {
            self.operators += 1;
            if self.operators > MOST_OPERATORS || self.placed.len() > MOST_PICTURES {
                return Err(ReadFault::Unpacked("the page"));
            }
            let numbers = || {
                operation.operands().filter_map(|one| match one {
                    Object::Number(number) => Some(number.as_f64()),
                    _ => None,
                })
            };
            match &**operation.operator {
                b"q" if saved.len() < MOST_PICTURES => saved.push(state),
                b"Q" => state = saved.pop().unwrap_or(state),
                b"cm" => {
                    let all: Vec<f64> = numbers().collect();
                    if let Ok(inner) = Matrix::try_from(all) {
                        state.matrix = times(&state.matrix, &inner);
                    }
                }
                b"g" | b"rg" | b"k" | b"sc" | b"scn" => {
                    let all: Vec<u8> = numbers().map(|one| (one * 255.0) as u8).collect();
                    state.paint = match all[..] {
                        [grey] => [grey; 3],
                        [r, g, b] => [r, g, b],
                        [c, m, y, k] => pixels::cmyk([c, m, y, k]),
                        _ => state.paint,
                    };
                }
                b"S" | b"s" | b"B" | b"B*" | b"b" | b"b*" => self.strokes += 1,
                b"Do" => {
                    let name = operation.operands().find_map(|one| match one {
                        Object::Name(name) => Some(name),
                        _ => None,
                    });
                    let named = name.and_then(|name| {
                        resources.x_objects.get::<Stream<'a>>(AsRef::<[u8]>::as_ref(name))
                    });
                    if let Some(stream) = named {
                        self.object(stream, resources, state, depth)?;
                    }
                }
                b"BI" => return Err(ReadFault::Unknown("inside the page's text")),
                _ => {}
            }
        }
        Ok(())
    }

    fn object(
        &mut self,
        stream: Stream<'a>,
        resources: &Resources<'a>,
        state: State,
        depth: usize,
    ) -> Result<(), ReadFault> {
        let dict = stream.dict();
        let kind = dict.get::<Name<'_>>("Subtype");
        match kind.as_ref().map(Name::as_str) {
            Some("Image") => {
                self.placed.push(Placed { stream, at: state.matrix, paint: state.paint });
            }
            Some("Form") if depth < DEEPEST => {
                let own = dict.get::<Array<'_>>("Matrix").map(|all| floats(&all));
                let own = own.and_then(|all| Matrix::try_from(all).ok());
                let matrix = own.map_or(state.matrix, |own| times(&state.matrix, &own));
                let inner = dict.get::<Dict<'a>>("Resources").map(Resources::new);
                let content = unpacked(&stream, self.limits)?;
                let left = self.room.checked_sub(content.len());
                self.room = left.ok_or(ReadFault::Unpacked("the page"))?;
                let resources = inner.as_ref().unwrap_or(resources);
                self.content(&content, resources, State { matrix, ..state }, depth + 1)?;
            }
            _ => {}
        }
        Ok(())
    }
}

fn floats(all: &Array<'_>) -> Vec<f64> {
    all.iter::<Number>().map(|one| one.as_f64()).take(16).collect()
}

/// `inner` first, then `outer`.
fn times(outer: &Matrix, inner: &Matrix) -> Matrix {
    let [a, b, c, d, e, f] = *outer;
    let [p, q, r, s, t, u] = *inner;
    [
        a * p + c * q,
        b * p + d * q,
        a * r + c * s,
        b * r + d * s,
        a * t + c * u + e,
        b * t + d * u + f,
    ]
}

/// The share of `area` that a picture has room to cover.
fn covers(at: &Matrix, [x0, y0, x1, y1]: [f64; 4]) -> f64 {
    (at[0] * at[3] - at[1] * at[2]).abs() / ((x1 - x0) * (y1 - y0)).max(1.0)
}

/// The turn that shows a picture as its place does.
fn upright(&[a, b, c, d, ..]: &Matrix) -> Turn {
    if a.abs() >= b.abs() {
        Turn { swap: false, flip_x: a < 0.0, flip_y: d < 0.0 }
    } else {
        // Along the picture's rows the page's y runs, up for b > 0.
        Turn { swap: true, flip_x: c > 0.0, flip_y: b > 0.0 }
    }
}

/// A decoded picture and, where it does not cover its place alone, how opaque it is.
struct Layer {
    picture: Picture,
    opaque: Option<Picture>,
}

fn layer(placed: &Placed<'_>, limits: &Limits) -> Result<Layer, ReadFault> {
    let dict = placed.stream.dict();
    let picture = decoded(&placed.stream, limits)?;
    if dict.get::<bool>("ImageMask").or_else(|| dict.get::<bool>("IM")) == Some(true) {
        // The stencil's black lets the paint through; as a picture, black paint is the ink.
        if placed.paint == [0; 3] {
            return Ok(Layer { picture, opaque: None });
        }
        let opaque = Some(negative(picture));
        let picture = Picture::from_grey(1, 1, &[lightness(placed.paint)]);
        return Ok(Layer { picture, opaque });
    }
    let soft = dict.get::<Stream<'_>>("SMask").map(|mask| decoded(&mask, limits));
    let hard = || dict.get::<Stream<'_>>("Mask").map(|mask| decoded(&mask, limits).map(negative));
    let opaque = soft.or_else(hard).transpose()?;
    Ok(Layer { picture, opaque })
}

fn negative(mut picture: Picture) -> Picture {
    for level in &mut picture.level {
        *level = 255 - *level;
    }
    picture
}

/// The picture that a stream holds, as it is stored.
fn decoded(stream: &Stream<'_>, limits: &Limits) -> Result<Picture, ReadFault> {
    let dict = stream.dict();
    let size = |name| dict.get::<u32>(name).unwrap_or(0);
    let (width, height) = (size("Width"), size("Height"));
    limits.check(u64::from(width), u64::from(height))?;
    let decode = dict.get::<Array<'_>>("Decode").map(|all| floats(&all)).unwrap_or_default();
    let inverted = decode.len() >= 2 && decode[0] > decode[1];
    let filters = stream.filters();
    let raw = stream.raw_data();
    match filters[..] {
        [Filter::DctDecode] => return jpeg::embedded(&raw, limits, inverted),
        [Filter::FlateDecode, Filter::DctDecode] => {
            let inner = inflate(&raw, limits)?;
            return jpeg::embedded(&inner, limits, inverted);
        }
        [Filter::Jbig2Decode] => {
            let shared = parameters(dict).get::<Stream<'_>>("JBIG2Globals");
            if let Some(shared) = shared {
                pdf_sizes::check_jbig2(&unpacked(&shared, limits)?, limits)?;
            }
            pdf_sizes::check_jbig2(&raw, limits)?;
        }
        [Filter::JpxDecode] => pdf_sizes::check_jpx(&raw, limits)?,
        [Filter::CcittFaxDecode] => check_ccitt(dict, height, limits)?,
        _ if filters.iter().any(is_picture_filter) => {
            return Err(ReadFault::Unknown("packed twice"));
        }
        _ => check_unpacked(stream, limits)?,
    }
    let mask = dict.get::<bool>("ImageMask") == Some(true);
    let space = if mask { Some(Space::Grey) } else { space(dict, limits)? };
    let bits = if mask { 1 } else { dict.get::<u8>("BitsPerComponent").unwrap_or(8) };
    let parameters = ImageDecodeParams {
        is_indexed: matches!(space, Some(Space::Table(_))),
        bpc: Some(bits),
        num_components: space.as_ref().map(|space| space.samples() as u8),
        target_dimension: None,
        width,
        height,
    };
    let result = stream.decoded_image(&parameters).map_err(|_| DAMAGED)?;
    let mut packing =
        Packing { width: width as usize, height: height as usize, bits: usize::from(bits) };
    let mut found = None;
    if let Some(data) = &result.image_data {
        packing = Packing {
            width: data.width as usize,
            height: data.height as usize,
            bits: usize::from(data.bits_per_component),
        };
        found = match data.color_space {
            Some(ImageColorSpace::Gray) => Some(Space::Grey),
            Some(ImageColorSpace::Rgb) => Some(Space::Rgb),
            Some(ImageColorSpace::Cmyk) => Some(Space::Cmyk),
            _ => None,
        };
    }
    let space = match (space, found) {
        (Some(table @ Space::Table(_)), _) => table,
        (space, found) => found.or(space).ok_or(ReadFault::Unknown("a colour space"))?,
    };
    let table_inverted = matches!(space, Space::Table(ref colours) if colours.len() == 2);
    let picture = pixels::picture(&result.data, packing, &space, inverted)?;
    Ok(if inverted && table_inverted { exchanged(picture, &space) } else { picture })
}

/// A picture of two colours with these exchanged.
fn exchanged(mut picture: Picture, space: &Space) -> Picture {
    if let Space::Table(colours) = space
        && let [first, second] = colours[..]
    {
        for level in &mut picture.level {
            *level = if *level == first { second } else { first };
        }
    }
    picture
}

fn is_picture_filter(filter: &Filter) -> bool {
    use Filter::{CcittFaxDecode, DctDecode, Jbig2Decode, JpxDecode};
    matches!(filter, CcittFaxDecode | DctDecode | Jbig2Decode | JpxDecode)
}

fn inflate(data: &[u8], limits: &Limits) -> Result<Vec<u8>, ReadFault> {
    let mut out = Vec::new();
    let most = limits.bytes() as u64;
    ZlibDecoder::new(data).take(most + 1).read_to_end(&mut out).map_err(|_| DAMAGED)?;
    if out.len() as u64 > most { Err(ReadFault::Unpacked("the page")) } else { Ok(out) }
}

/// A stream's only, or first, decoding parameters.
fn parameters<'a>(dict: &Dict<'a>) -> Dict<'a> {
    let named = |name: &str| {
        let single = dict.get::<Dict<'a>>(name);
        single.or_else(|| dict.get::<Array<'a>>(name)?.iter::<Dict<'a>>().next())
    };
    named("DP").or_else(|| named("DecodeParms")).unwrap_or_default()
}

/// Refuses a fax whose own size is larger than a page.
fn check_ccitt(dict: &Dict<'_>, height: u32, limits: &Limits) -> Result<(), ReadFault> {
    let own = parameters(dict);
    let columns = own.get::<u32>("Columns").unwrap_or(1728);
    let rows = own.get::<u32>("Rows").unwrap_or(height).max(height);
    limits.check(u64::from(columns), u64::from(rows))
}

/// The colours of an image's samples; none where the picture itself says.
fn space(dict: &Dict<'_>, limits: &Limits) -> Result<Option<Space>, ReadFault> {
    match dict.get::<Object<'_>>("ColorSpace") {
        None => Ok(None),
        Some(object) => named_space(&object, limits, 0).map(Some),
    }
}

fn named_space(object: &Object<'_>, limits: &Limits, depth: usize) -> Result<Space, ReadFault> {
    let unknown = ReadFault::Unknown("a colour space");
    if let Object::Name(name) = object {
        return match name.as_str() {
            "DeviceGray" | "CalGray" | "G" => Ok(Space::Grey),
            "DeviceRGB" | "CalRGB" | "RGB" => Ok(Space::Rgb),
            "DeviceCMYK" | "CMYK" => Ok(Space::Cmyk),
            _ => Err(unknown),
        };
    }
    let Object::Array(array) = object else { return Err(unknown) };
    let mut parts = array.iter::<Object<'_>>();
    let Some(Object::Name(kind)) = parts.next() else { return Err(unknown) };
    match kind.as_str() {
        "ICCBased" => {
            let Some(Object::Stream(profile)) = parts.next() else { return Err(unknown) };
            match profile.dict().get::<u8>("N") {
                Some(1) => Ok(Space::Grey),
                Some(3) => Ok(Space::Rgb),
                Some(4) => Ok(Space::Cmyk),
                _ => Err(unknown),
            }
        }
        "Indexed" | "I" if depth == 0 => {
            let base = parts.next().ok_or(unknown)?;
            let base = named_space(&base, limits, depth + 1)?;
            parts.next();
            let table = match parts.next() {
                Some(Object::String(text)) => text.to_vec(),
                Some(Object::Stream(stream)) => unpacked(&stream, limits)?.into_owned(),
                _ => return Err(ReadFault::Unknown("a table of colours")),
            };
            let colours = table.len() / base.samples();
            let packing = Packing { width: colours, height: 1, bits: 8 };
            Ok(Space::Table(pixels::picture(&table, packing, &base, false)?.level))
        }
        "CalGray" => Ok(Space::Grey),
        "CalRGB" => Ok(Space::Rgb),
        _ => Err(unknown),
    }
}

/// The page put together from its pictures, in the order in which they are painted.
fn composed(
    placed: &[Placed<'_>],
    [x0, y0, x1, y1]: [f64; 4],
    limits: &Limits,
) -> Result<Picture, ReadFault> {
    let finest = |one: &Placed<'_>| {
        let dict = one.stream.dict();
        let width = f64::from(dict.get::<u32>("Width").unwrap_or(1));
        width / length(one.at[0], one.at[1]).max(0.01)
    };
    let room = |one: &&Placed<'_>| covers(&one.at, [x0, y0, x1, y1]) >= 0.01;
    let scale = placed.iter().filter(room).map(finest).fold(0.0, f64::max);
    let scale = if scale > 0.0 { scale.min(FINEST) } else { FINEST / 2.0 };
    let (width, height) = ((x1 - x0) * scale, (y1 - y0) * scale);
    if !(width >= 1.0 && height >= 1.0) {
        return Err(DAMAGED);
    }
    limits.check(width as u64, height as u64)?;
    let (width, height) = (width as usize, height as usize);
    // From pixels of the page to points, to the pictures' unit squares.
    let to_points = [1.0 / scale, 0.0, 0.0, -1.0 / scale, x0, y1];
    let to_unit = |one: &Placed<'_>| Some(times(&inverse(&one.at)?, &to_points));
    let area = |to_unit: Matrix| {
        let (columns, rows) = reached(&to_unit, width, height)?;
        Some(columns.len() * rows.len())
    };
    let painted: usize = placed.iter().filter_map(to_unit).filter_map(area).sum();
    if painted > (MOST_LAYERS * width * height).min(2 * limits.pixels) {
        return Err(ReadFault::Unpacked("the page"));
    }
    let mut page = Picture { width, height, level: vec![255; width * height] };
    let mut pixels = 0;
    for one in placed {
        let layer = layer(one, limits)?;
        pixels += layer.picture.level.len();
        if pixels > 2 * limits.pixels {
            return Err(ReadFault::Unpacked("the page"));
        }
        if let Some(to_unit) = to_unit(one) {
            let stencil = one.stream.dict().get::<bool>("ImageMask") == Some(true);
            paint(&mut page, &layer, &to_unit, stencil);
        }
    }
    Ok(page)
}

fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

fn inverse(&[a, b, c, d, e, f]: &Matrix) -> Option<Matrix> {
    let area = a * d - b * c;
    let usable = area.is_finite() && area.abs() > 1e-9;
    usable.then(|| {
        let [a, b, c, d] = [d / area, -b / area, -c / area, a / area];
        [a, b, c, d, -(a * e + c * f), -(b * e + d * f)]
    })
}

/// Columns and rows of a page that a picture reaches.
fn reached(to_unit: &Matrix, width: usize, height: usize) -> Option<(Range<usize>, Range<usize>)> {
    let [a, b, c, d, e, f] = inverse(to_unit)?;
    let ends = [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]]
        .map(|[u, v]| [a * u + c * v + e, b * u + d * v + f]);
    let span = |axis: usize, most: usize| {
        let low = ends.iter().map(|end| end[axis]).fold(f64::INFINITY, f64::min);
        let high = ends.iter().map(|end| end[axis]).fold(f64::NEG_INFINITY, f64::max);
        low.max(0.0) as usize..(high.ceil().max(0.0) as usize).min(most)
    };
    Some((span(0, width), span(1, height)))
}

/// Paints a picture; a stencil's black darkens alone.
fn paint(page: &mut Picture, layer: &Layer, to_unit: &Matrix, stencil: bool) {
    let [a, b, c, d, e, f] = *to_unit;
    let Some((columns, rows)) = reached(to_unit, page.width, page.height) else { return };
    for y in rows {
        for x in columns.clone() {
            let (px, py) = (x as f64 + 0.5, y as f64 + 0.5);
            let (u, v) = (a * px + c * py + e, 1.0 - (b * px + d * py + f));
            if !((0.0..1.0).contains(&u) && (0.0..1.0).contains(&v)) {
                continue;
            }
            let level = sample(&layer.picture, u, v);
            let share = layer.opaque.as_ref().map_or(255, |opaque| sample(opaque, u, v));
            let under = &mut page.level[y * page.width + x];
            let level = if stencil && layer.opaque.is_none() { level.min(*under) } else { level };
            let mixed =
                u32::from(level) * u32::from(share) + u32::from(*under) * u32::from(255 - share);
            *under = ((mixed + 127) / 255) as u8;
        }
    }
}

fn sample(picture: &Picture, u: f64, v: f64) -> u8 {
    let x = ((u * picture.width as f64) as usize).min(picture.width - 1);
    let y = ((v * picture.height as f64) as usize).min(picture.height - 1);
    picture.level[y * picture.width + x]
}
