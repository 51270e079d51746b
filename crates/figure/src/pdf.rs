//! Pages as a vector PDF: text as text, tagged, pictures with their alternative text.

use std::num::NonZeroU16;
use std::sync::OnceLock;

use krilla::color::rgb;
use krilla::configure::{Accessibility, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::error::KrillaError;
use krilla::geom::{Path, PathBuilder, Point, Rect, Size, Transform};
use krilla::image::{BitsPerComponent, CustomImage, Image, ImageColorspace};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, LineJoin, Stroke as PdfStroke, StrokeDash};
use krilla::surface::Surface;
use krilla::tagging::{
    Artifact, ContentTag, ListNumbering, TableHeaderScope, Tag as PdfTag, TagGroup, TagKind,
    TagTree,
};
use krilla::text::{Font, GlyphId, KrillaGlyph};
use krilla::{Document, SerializeSettings};

use crate::document::{Block, Page, words};
use crate::font::FaceId;
use crate::picture::{Align, Shape, Stroke};
use crate::style::Colour;
use crate::{Figure, FigureError, font, image};

/// PDF's unit: 72 to the inch.
const POINTS_PER_MM: f64 = 72.0 / 25.4;

fn points(mm: f64) -> f32 {
    (mm * POINTS_PER_MM) as f32
}

impl Figure {
    /// The figure as a PDF of one page of its size; see [`pdf_of`].
    ///
    /// # Errors
    /// [`FigureError::Output`] where the file cannot be written.
    pub fn pdf(&self) -> Result<Vec<u8>, FigureError> {
        pdf_of(&[self.into()], &self.title)
    }
}

/// A document called `title` as a PDF, its structure tagged and its titled pages in the outline.
///
/// The file conforms to PDF/UA-1 (ISO 14289-1), as far as the library that writes it can
/// tell: it refuses what does not.
///
/// # Errors
/// [`FigureError::NoLetter`] where there is no letter to write something with,
/// [`FigureError::Output`] where the file cannot be written.
pub fn pdf_of(pages: &[Page], title: &str) -> Result<Vec<u8>, FigureError> {
    let said: Vec<String> = pages.iter().map(Page::said).collect();
    if let Some(text) = said.iter().flat_map(|said| said.lines()).find(|text| !font::covers(text)) {
        return Err(FigureError::NoLetter { text: text.to_owned(), letters: font::lacking(text) });
    }
    let failed = |error: KrillaError| FigureError::Output(format!("{error:?}"));
    let configuration = ConfigurationBuilder::new()
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .expect("one standard cannot contradict another");
    let settings =
        SerializeSettings { enable_tagging: true, configuration, ..SerializeSettings::default() };
    let mut document = Document::new_with(settings);
    let mut outline = Outline::new();
    let mut tree = TagTree::new().with_lang(Some("en".to_owned()));
    for (index, page) in pages.iter().enumerate() {
        let name = if pages.len() == 1 { title } else { &page.title };
        if !name.is_empty() {
            let top = XyzDestination::new(index, Point::from_xy(0.0, 0.0));
            outline.push_child(OutlineNode::new(name.to_owned(), top));
        }
        let size = PageSettings::from_wh(points(page.width_mm), points(page.height_mm))
            .ok_or_else(|| FigureError::Output("the page has no size".to_owned()))?;
        let mut sheet = document.start_page_with(size);
        let mut surface = sheet.surface();
        for block in &page.blocks {
            if let Some(group) = tagged(&mut surface, block) {
                tree.push(group);
            }
        }
        surface.finish();
        sheet.finish();
    }
    document.set_outline(outline);
    document.set_tag_tree(tree);
    document.set_metadata(
        Metadata::new()
            .title(title.to_owned())
            .language("en".to_owned())
            .document_id(format!("{title}\n{}", said.join("\n"))),
    );
    document.finish().map_err(failed)
}

/// Draws a block; gives its place in the structure, or `None` for an ornament.
fn tagged(surface: &mut Surface<'_>, block: &Block) -> Option<TagGroup> {
    let group = match block {
        Block::Heading(level, lines) => {
            let level = NonZeroU16::new(u16::from(*level)).unwrap_or(NonZeroU16::MIN);
            leaf(surface, PdfTag::Hn(level, Some(words(lines))), lines)
        }
        Block::Paragraph(lines) => leaf(surface, PdfTag::P, lines),
        Block::List(items) => {
            let mut list = TagGroup::new(PdfTag::L(ListNumbering::Decimal));
            for item in items {
                let mut group = TagGroup::new(PdfTag::LI);
                group.push(leaf(surface, PdfTag::Lbl, &item.label));
                group.push(leaf(surface, PdfTag::LBody, &item.body));
                list.push(group);
            }
            list
        }
        Block::Table(rows) => {
            let mut table = TagGroup::new(PdfTag::Table);
            for row in rows {
                let mut group = TagGroup::new(PdfTag::TR);
                for cell in row {
                    group.push(if cell.head {
                        leaf(surface, PdfTag::TH(TableHeaderScope::Column), &cell.shapes)
                    } else {
                        leaf(surface, PdfTag::TD, &cell.shapes)
                    });
                }
                table.push(group);
            }
            table
        }
        Block::Picture { alt, shapes } => leaf(surface, PdfTag::Figure(Some(alt.clone())), shapes),
        Block::Ornament(shapes) => {
            surface.start_tagged(ContentTag::Artifact(Artifact::default()));
            draw_all(surface, shapes);
            surface.end_tagged();
            return None;
        }
    };
    Some(group)
}

/// Draws what belongs to one tag.
fn leaf(surface: &mut Surface<'_>, tag: impl Into<TagKind>, shapes: &[Shape]) -> TagGroup {
    let mut group = TagGroup::new(tag);
    // An empty cell has its tag and no content.
    if !shapes.is_empty() {
        let content = surface.start_tagged(ContentTag::Other);
        draw_all(surface, shapes);
        surface.end_tagged();
        group.push(content);
    }
    group
}

fn draw_all(surface: &mut Surface<'_>, shapes: &[Shape]) {
    for shape in shapes {
        draw(surface, shape);
    }
}

fn draw(surface: &mut Surface<'_>, shape: &Shape) {
    match shape {
        Shape::Fill { area, colour } => {
            let rect =
                Rect::from_xywh(points(area.x), points(area.y), points(area.w), points(area.h));
            let Some(rect) = rect else { return };
            let mut builder = PathBuilder::new();
            builder.push_rect(rect);
            fill(surface, builder.finish(), *colour);
        }
        Shape::Polygon { points, colour } => {
            fill(surface, path(std::slice::from_ref(points), true), *colour)
        }
        Shape::Lines { parts, stroke } => outline(surface, path(parts, false), stroke),
        Shape::Image { area, width, height, grey } => {
            let picture = Grey::of(*width, *height, grey)
                .and_then(|picture| Image::from_custom(picture, true).ok());
            let size = Size::from_wh(points(area.w), points(area.h));
            let (Some(picture), Some(size)) = (picture, size) else { return };
            surface.push_transform(&Transform::from_translate(points(area.x), points(area.y)));
            surface.draw_image(picture, size);
            surface.pop();
        }
        Shape::Text { at, text, size, bold, align, colour } => {
            let width = font::width(text, *size, *bold);
            let left = match align {
                Align::Start => at[0],
                Align::Middle => at[0] - width / 2.0,
                Align::End => at[0] - width,
            };
            surface.set_stroke(None);
            surface.set_fill(Some(paint(*colour)));
            let mut x = left;
            for (face_id, from, to) in runs(text, *bold) {
                let run = &text[from..to];
                let start = Point::from_xy(points(x), points(at[1]));
                let glyphs = glyphs(run, *bold);
                surface.draw_glyphs(start, &glyphs, face(face_id), run, points(*size), false);
                x += font::width(run, *size, *bold);
            }
        }
    }
}

/// A grey picture as it is: there is no need to make a file of it first.
#[derive(Clone, Hash)]
struct Grey {
    size: (u32, u32),
    level: Vec<u8>,
}

impl Grey {
    fn of(width: usize, height: usize, grey: &[u8]) -> Option<Self> {
        image::size(width, height, grey).map(|size| Self { size, level: grey.to_vec() })
    }
}

impl CustomImage for Grey {
    fn color_channel(&self) -> &[u8] {
        &self.level
    }

    fn alpha_channel(&self) -> Option<&[u8]> {
        None
    }

    fn bits_per_component(&self) -> BitsPerComponent {
        BitsPerComponent::Eight
    }

    fn size(&self) -> (u32, u32) {
        self.size
    }

    fn icc_profile(&self) -> Option<&[u8]> {
        None
    }

    fn color_space(&self) -> ImageColorspace {
        ImageColorspace::Luma
    }
}

fn paint(colour: Colour) -> Fill {
    let [r, g, b] = colour;
    Fill {
        paint: rgb::Color::new(r, g, b).into(),
        opacity: NormalizedF32::ONE,
        rule: FillRule::NonZero,
    }
}

fn fill(surface: &mut Surface<'_>, path: Option<Path>, colour: Colour) {
    surface.set_stroke(None);
    surface.set_fill(Some(paint(colour)));
    if let Some(path) = path {
        surface.draw_path(&path);
    }
}

fn outline(surface: &mut Surface<'_>, path: Option<Path>, stroke: &Stroke) {
    let dash = (!stroke.dash.is_empty()).then(|| StrokeDash {
        array: stroke.dash.iter().map(|&length| points(length)).collect(),
        offset: 0.0,
    });
    surface.set_fill(None);
    surface.set_stroke(Some(PdfStroke {
        paint: paint(stroke.colour).paint,
        width: points(stroke.width),
        line_join: LineJoin::Round,
        dash,
        ..PdfStroke::default()
    }));
    if let Some(path) = path {
        surface.draw_path(&path);
    }
}

fn path(parts: &[Vec<[f64; 2]>], closed: bool) -> Option<Path> {
    let mut builder = PathBuilder::new();
    for part in parts {
        for (index, point) in part.iter().enumerate() {
            let (x, y) = (points(point[0]), points(point[1]));
            if index == 0 { builder.move_to(x, y) } else { builder.line_to(x, y) }
        }
        if closed {
            builder.close();
        }
    }
    builder.finish()
}

/// The stretches of `text` that are drawn from one font file: which, from where to where.
fn runs(text: &str, bold: bool) -> Vec<(FaceId, usize, usize)> {
    let mut runs: Vec<(FaceId, usize, usize)> = Vec::new();
    for (at, letter) in text.char_indices() {
        let (id, ..) = font::glyph(letter, bold);
        let end = at + letter.len_utf8();
        match runs.last_mut() {
            Some((last, _, to)) if *last == id => *to = end,
            _ => runs.push((id, at, end)),
        }
    }
    runs
}

fn glyphs(text: &str, bold: bool) -> Vec<KrillaGlyph> {
    text.char_indices()
        .map(|(at, letter)| {
            let (_, id, advance) = font::glyph(letter, bold);
            let range = at..at + letter.len_utf8();
            let id = GlyphId::new(u32::from(id));
            KrillaGlyph::new(id, advance as f32, 0.0, 0.0, 0.0, range, None)
        })
        .collect()
}

fn face(id: FaceId) -> Font {
    static FACES: OnceLock<[Font; 4]> = OnceLock::new();
    let load = |data: &'static [u8]| {
        Font::new(data.to_vec().into(), 0).expect("the bundled font is sound; a test reads it")
    };
    FACES.get_or_init(|| font::FILES.map(load))[id.index()].clone()
}
