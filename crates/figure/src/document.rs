//! Pages of a document: what stands on them, in the order of reading, and what each part is.

use crate::Figure;
use crate::picture::{Item, Shape, Tag};

/// One page; lengths in millimetres.
#[derive(Clone, Debug, PartialEq)]
pub struct Page {
    /// Width.
    pub width_mm: f64,
    /// Height.
    pub height_mm: f64,
    /// Its entry in the document's outline; empty for a page that continues the last.
    pub title: String,
    /// What stands on it, in the order in which it is read.
    pub blocks: Vec<Block>,
}

/// One part of a page and its role; what is drawn is in millimetres from the page's top left
/// corner, y down.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// A heading of this level, from 1.
    Heading(u8, Vec<Shape>),
    /// A paragraph, line by line.
    Paragraph(Vec<Shape>),
    /// A list, item by item.
    List(Vec<ListItem>),
    /// A table, row by row.
    Table(Vec<Vec<Cell>>),
    /// A picture and what it shows, in words.
    Picture {
        /// What it shows.
        alt: String,
        /// What is drawn.
        shapes: Vec<Shape>,
    },
    /// What says nothing by itself: lines between rows, page numbers.
    Ornament(Vec<Shape>),
}

/// One item of a list.
#[derive(Clone, Debug, PartialEq)]
pub struct ListItem {
    /// Its number or letter.
    pub label: Vec<Shape>,
    /// What it says, line by line.
    pub body: Vec<Shape>,
}

/// One cell of a table.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// Whether it heads its column.
    pub head: bool,
    /// What it says, line by line.
    pub shapes: Vec<Shape>,
}

impl Page {
    /// An empty page of this size.
    pub fn new([width_mm, height_mm]: [f64; 2], title: &str) -> Self {
        Self { width_mm, height_mm, title: title.to_owned(), blocks: Vec::new() }
    }

    /// All that it says, part by part in the order of reading, with the words of pictures.
    pub fn said(&self) -> String {
        self.blocks.iter().map(Block::said).collect::<Vec<_>>().join("\n")
    }

    /// All that is drawn on it as one figure, without roles and words: what a printer makes of it.
    pub fn figure(&self) -> Figure {
        let shapes = self.blocks.iter().flat_map(Block::shapes);
        Figure {
            width_mm: self.width_mm,
            height_mm: self.height_mm,
            title: String::new(),
            alt: String::new(),
            items: shapes.map(|shape| Item { tag: Tag::Paper, shape: shape.clone() }).collect(),
        }
    }
}

impl Block {
    /// All that it draws.
    pub fn shapes(&self) -> Vec<&Shape> {
        match self {
            Self::Heading(_, shapes)
            | Self::Paragraph(shapes)
            | Self::Ornament(shapes)
            | Self::Picture { shapes, .. } => shapes.iter().collect(),
            Self::List(items) => {
                items.iter().flat_map(|item| item.label.iter().chain(&item.body)).collect()
            }
            Self::Table(rows) => rows.iter().flatten().flat_map(|cell| &cell.shapes).collect(),
        }
    }

    fn said(&self) -> String {
        match self {
            Self::Heading(_, shapes) | Self::Paragraph(shapes) | Self::Ornament(shapes) => {
                words(shapes)
            }
            Self::List(items) => {
                let item =
                    |item: &ListItem| format!("{} {}", words(&item.label), words(&item.body));
                items.iter().map(item).collect::<Vec<_>>().join("\n")
            }
            Self::Table(rows) => {
                let cells = rows.iter().flatten().map(|cell| words(&cell.shapes));
                cells.collect::<Vec<_>>().join("\n")
            }
            Self::Picture { alt, .. } => alt.clone(),
        }
    }
}

/// The texts of `shapes`, joined.
pub(crate) fn words(shapes: &[Shape]) -> String {
    let texts = shapes.iter().filter_map(|shape| match shape {
        Shape::Text { text, .. } => Some(text.trim_end()),
        _ => None,
    });
    texts.collect::<Vec<_>>().join(" ")
}

impl From<&Figure> for Block {
    fn from(figure: &Figure) -> Self {
        let shapes = figure.items.iter().map(|item| item.shape.clone()).collect();
        Self::Picture { alt: figure.alt.clone(), shapes }
    }
}

impl From<&Figure> for Page {
    fn from(figure: &Figure) -> Self {
        let mut page = Self::new([figure.width_mm, figure.height_mm], &figure.title);
        page.blocks.push(figure.into());
        page
    }
}
