//! Running pages: headings, paragraphs, lists, tables and pictures from top to bottom.

use figure::{Align, Block, Cell, Figure, ListItem, Page, Shape, font};

use crate::head::name_and_date;
use crate::print::{self, Sizes};

/// Margin on all sides: wider than what printers cannot reach, and room for a binder.
const MARGIN: f64 = 18.0;

/// A part of a page that stands by itself, drawn from its own top.
#[derive(Clone, Debug)]
pub struct Piece {
    height: f64,
    block: Block,
}

impl Piece {
    /// Its height, with the space below it.
    pub fn height(&self) -> f64 {
        self.height
    }

    /// The lines of a paragraph that fit into `room`, at least one, and the others; anything
    /// else stays whole.
    fn cut(self, room: f64) -> (Self, Option<Self>) {
        let height = self.height;
        let (lines, leading) = match self.block {
            Block::Paragraph(lines) if height > room => match line_distance(&lines) {
                Some(leading) => (lines, leading),
                None => return (Self { height, block: Block::Paragraph(lines) }, None),
            },
            block => return (Self { height, block }, None),
        };
        let most = (1..lines.len()).take_while(|&count| count as f64 * leading <= room);
        let fitting = most.last().unwrap_or(1);
        let (first, others) = lines.split_at(fitting);
        let up = fitting as f64 * leading;
        let others = others.iter().map(|line| line.moved(0.0, -up)).collect();
        let first = Self { height: up, block: Block::Paragraph(first.to_vec()) };
        (first, Some(Self { height: height - up, block: Block::Paragraph(others) }))
    }
}

/// Distance of the first two baselines, where there are lines of text alone.
fn line_distance(lines: &[Shape]) -> Option<f64> {
    let baselines: Option<Vec<f64>> = lines
        .iter()
        .map(|line| match line {
            Shape::Text { at, .. } => Some(at[1]),
            _ => None,
        })
        .collect();
    match baselines?.as_slice() {
        [first, second, ..] => Some(second - first),
        _ => None,
    }
}

/// A column of a table.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// What stands over it.
    pub head: &'static str,
    /// Its share of the width, against the others'.
    pub share: f64,
}

/// Pages that are filled from top to bottom; lengths in millimetres.
#[derive(Debug)]
pub struct Flow {
    sizes: Sizes,
    size_mm: [f64; 2],
    title: String,
    pages: Vec<Page>,
    y: f64,
    /// What stands at the foot of every page, above its number.
    foot: String,
}

impl Flow {
    /// Pages of `size_mm` with `title` at the top of the first and at the foot of all.
    pub fn new(size_mm: [f64; 2], sizes: Sizes, title: &str) -> Self {
        let pages = vec![Page::new(size_mm, title)];
        let mut flow =
            Self { sizes, size_mm, title: title.to_owned(), pages, y: MARGIN, foot: String::new() };
        let lines = flow.lines(title, sizes.title, true, 0.0);
        flow.put(vec![Piece { height: lines.1, block: Block::Heading(1, lines.0) }]);
        flow.space(0.6 * sizes.text);
        flow
    }

    /// The same pages with `words` at the foot of each, which are read after all else on it.
    pub fn with_foot(mut self, words: &str) -> Self {
        words.clone_into(&mut self.foot);
        self
    }

    /// The lines at the foot of every page from the top of the first, and their height.
    fn foot_lines(&self) -> (Vec<Shape>, f64) {
        if self.foot.is_empty() {
            return (Vec::new(), 0.0);
        }
        let (lines, height) = self.lines(&self.foot, self.sizes.small, false, 0.0);
        (lines, height + self.sizes.small)
    }

    /// The sizes that it is set in.
    pub fn sizes(&self) -> Sizes {
        self.sizes
    }

    /// Width of the text.
    pub fn width(&self) -> f64 {
        self.size_mm[0] - 2.0 * MARGIN
    }

    /// Height of a page's text.
    pub fn full_height(&self) -> f64 {
        self.bottom() - MARGIN
    }

    /// Height that is left on the page.
    pub fn room(&self) -> f64 {
        self.bottom() - self.y
    }

    fn bottom(&self) -> f64 {
        self.size_mm[1] - MARGIN - 1.4 * self.sizes.small - self.foot_lines().1
    }

    /// Lines of text from the top of a piece, indented, and their height.
    fn lines(&self, words: &str, size: f64, bold: bool, indent: f64) -> (Vec<Shape>, f64) {
        let leading = 1.28 * size;
        let at = [MARGIN + indent, 0.95 * size];
        let shapes = print::paragraph(at, words, size, bold, self.width() - indent, leading);
        let height = shapes.len() as f64 * leading;
        (shapes, height)
    }

    /// A heading within the page; level 2 is the first below the title.
    pub fn heading(&self, level: u8, words: &str) -> Piece {
        let (shapes, height) = self.lines(words, self.sizes.heading, true, 0.0);
        let before = 0.5 * self.sizes.heading;
        let shapes = shapes.iter().map(|shape| shape.moved(0.0, before)).collect();
        Piece { height: height + before, block: Block::Heading(level, shapes) }
    }

    /// A paragraph.
    pub fn paragraph(&self, words: &str) -> Piece {
        let (shapes, height) = self.lines(words, self.sizes.text, false, 0.0);
        Piece { height: height + 0.35 * self.sizes.text, block: Block::Paragraph(shapes) }
    }

    /// A line in bold.
    pub fn strong(&self, words: &str) -> Piece {
        let (shapes, height) = self.lines(words, self.sizes.text, true, 0.0);
        Piece { height: height + 0.35 * self.sizes.text, block: Block::Paragraph(shapes) }
    }

    /// Name and date, or room for them.
    pub(crate) fn name_line(&self, name: Option<&str>) -> Piece {
        let size = self.sizes.text;
        let [name, date] = name_and_date([MARGIN, 1.5 * size], self.width(), size, name);
        let shapes = [name, date].concat();
        Piece { height: 2.4 * size, block: Block::Paragraph(shapes) }
    }

    /// A list with a label before each item; labels are set in a column of their own.
    pub fn list(&self, items: &[(String, String)]) -> Piece {
        self.list_with(items, self.label_width(items))
    }

    /// Puts a list, which goes on overleaf where the page ends.
    pub fn put_list(&mut self, items: &[(String, String)]) {
        let label_width = self.label_width(items);
        let mut left = items;
        while !left.is_empty() {
            let fits =
                |count: &usize| self.list_with(&left[..*count], label_width).height <= self.room();
            let mut count = (1..=left.len()).take_while(fits).last().unwrap_or(0);
            if count == 0 && self.y > MARGIN {
                self.turn();
                continue;
            }
            count = count.max(1);
            let piece = self.list_with(&left[..count], label_width);
            self.put(vec![piece]);
            left = &left[count..];
        }
    }

    /// Width of the widest label.
    fn label_width(&self, items: &[(String, String)]) -> f64 {
        let widths = items.iter().map(|(label, _)| font::width(label, self.sizes.text, true));
        widths.fold(0.0, f64::max)
    }

    fn list_with(&self, items: &[(String, String)], label_width: f64) -> Piece {
        let size = self.sizes.text;
        let indent = size + label_width + 0.7 * size;
        let mut y = 0.0;
        let mut list = Vec::new();
        for (label, words) in items {
            let (body, height) = self.lines(words, size, false, indent);
            let at = [MARGIN + size, y + 0.95 * size];
            list.push(ListItem {
                label: vec![print::text(at, label, size, Align::Start, true)],
                body: body.iter().map(|shape| shape.moved(0.0, y)).collect(),
            });
            y += height + 0.2 * size;
        }
        Piece { height: y + 0.2 * size, block: Block::List(list) }
    }

    /// Empty lines to write on.
    pub(crate) fn blank_lines(&self, count: usize) -> Piece {
        let step = (2.0 * self.sizes.text).max(8.0);
        let right = MARGIN + self.width();
        let rules = (1..=count).map(|row| {
            let y = row as f64 * step;
            print::rule([MARGIN, y], [right, y])
        });
        let height = count as f64 * step + 0.6 * self.sizes.text;
        Piece { height, block: Block::Ornament(rules.collect()) }
    }

    /// Numbered lines in columns that are read downwards, empty or with what stands on them; a
    /// piece for each page that they take.
    pub(crate) fn numbered(&self, count: usize, filled: &[String]) -> Vec<Piece> {
        let across = if self.sizes == Sizes::LARGE { 1 } else { 2 };
        let most = ((self.full_height() - self.sizes.text) / self.numbered_step()).floor();
        let on_page = across * (most as usize).max(1);
        (0..count)
            .step_by(on_page)
            .map(|first| self.numbered_from(first, on_page.min(count - first), across, filled))
            .collect()
    }

    /// Distance of numbered lines.
    fn numbered_step(&self) -> f64 {
        (2.0 * self.sizes.text).max(8.0)
    }

    fn numbered_from(&self, first: usize, count: usize, across: usize, filled: &[String]) -> Piece {
        let size = self.sizes.text;
        let step = self.numbered_step();
        let rows = count.div_ceil(across);
        let width = self.width() / across as f64;
        let mut list = Vec::new();
        for index in 0..count {
            let (column, row) = (index / rows, index % rows);
            let x = MARGIN + column as f64 * width;
            let y = (row + 1) as f64 * step;
            let from = x + 3.0 * size;
            let number = format!("{}.", first + index + 1);
            let mut body = vec![print::rule([from, y + 0.8], [x + width - 2.0 * size, y + 0.8])];
            let words = filled.get(first + index).map(String::as_str).unwrap_or_default();
            if !words.is_empty() {
                body.push(print::text([from, y], words, size, Align::Start, false));
            }
            let label = print::text([x, y], &number, size, Align::Start, true);
            list.push(ListItem { label: vec![label], body });
        }
        Piece { height: rows as f64 * step + size, block: Block::List(list) }
    }

    /// A picture, in the middle of the width.
    pub fn picture(&self, figure: &Figure) -> Piece {
        let left = MARGIN + ((self.width() - figure.width_mm) / 2.0).max(0.0);
        let shapes = figure.items.iter().map(|item| item.shape.moved(left, 0.0)).collect();
        let block = Block::Picture { alt: figure.alt.clone(), shapes };
        Piece { height: figure.height_mm + 0.6 * self.sizes.text, block }
    }

    /// Room between groups.
    pub fn space(&mut self, height: f64) {
        self.y += height;
    }

    /// Puts pieces that belong together on one page, where they fit on one; a paragraph that is
    /// longer than a page goes on overleaf.
    pub fn put(&mut self, pieces: Vec<Piece>) {
        let whole: f64 = pieces.iter().map(|piece| piece.height).sum();
        if self.y + whole > self.bottom() && whole <= self.full_height() {
            self.turn();
        }
        for piece in pieces {
            let mut left = Some(piece);
            while let Some(piece) = left.take() {
                if self.y + piece.height > self.bottom() && self.y > MARGIN {
                    self.turn();
                }
                let (piece, others) = piece.cut(self.room());
                let block = moved(piece.block, self.y);
                self.page().blocks.push(block);
                self.y += piece.height;
                left = others;
            }
        }
    }

    /// Begins a new page.
    pub fn turn(&mut self) {
        self.pages.push(Page::new(self.size_mm, ""));
        self.y = MARGIN;
    }

    fn page(&mut self) -> &mut Page {
        self.pages.last_mut().expect("there is always a page")
    }

    /// A table; its head is repeated on every page it reaches.
    pub fn table(&mut self, columns: &[Column], rows: &[Vec<String>]) {
        self.table_of(columns, rows, 1);
    }

    /// A table to be filled in: each row is at least `lines` lines high.
    pub(crate) fn table_of(&mut self, columns: &[Column], rows: &[Vec<String>], lines: usize) {
        let heads = columns.iter().map(|column| column.head.to_owned()).collect::<Vec<_>>();
        let head = self.row(columns, &heads, 1, true);
        let mut rules = Vec::new();
        let mut table: Vec<Vec<Cell>> = Vec::new();
        for cells in rows {
            let row = self.row(columns, cells, lines, false);
            let first = table.is_empty();
            let needed = row.1 + if first { head.1 } else { 0.0 };
            if self.y + needed > self.bottom() && self.y > MARGIN {
                self.close_table(&mut table, &mut rules);
                self.turn();
            }
            if table.is_empty() {
                self.place(&mut table, &mut rules, &head);
            }
            self.place(&mut table, &mut rules, &row);
        }
        self.close_table(&mut table, &mut rules);
        self.space(0.6 * self.sizes.text);
    }

    fn place(
        &mut self,
        table: &mut Vec<Vec<Cell>>,
        rules: &mut Vec<Shape>,
        row: &(Vec<Cell>, f64),
    ) {
        let (cells, height) = row;
        let down = |cell: &Cell| Cell {
            head: cell.head,
            shapes: cell.shapes.iter().map(|shape| shape.moved(0.0, self.y)).collect(),
        };
        table.push(cells.iter().map(down).collect());
        self.y += height;
        let y = self.y - 0.2 * self.sizes.text;
        rules.push(print::rule([MARGIN, y], [MARGIN + self.width(), y]));
    }

    fn close_table(&mut self, table: &mut Vec<Vec<Cell>>, rules: &mut Vec<Shape>) {
        if !table.is_empty() {
            let (table, rules) = (std::mem::take(table), std::mem::take(rules));
            self.page().blocks.extend([Block::Table(table), Block::Ornament(rules)]);
        }
    }

    /// A row's cells, drawn from its own top, and its height, of `least` lines or more.
    fn row(
        &self,
        columns: &[Column],
        cells: &[String],
        least: usize,
        head: bool,
    ) -> (Vec<Cell>, f64) {
        let size = self.sizes.text;
        let whole: f64 = columns.iter().map(|column| column.share).sum();
        let mut x = MARGIN;
        let mut row = Vec::new();
        let mut most = least;
        for (column, words) in columns.iter().zip(cells) {
            let width = column.share / whole * self.width();
            let at = [x, 1.25 * size];
            let lines = print::paragraph(at, words, size, head, width - size, self.sizes.leading());
            most = most.max(lines.len());
            row.push(Cell { head, shapes: lines });
            x += width;
        }
        (row, most as f64 * self.sizes.leading() + 0.9 * size)
    }

    /// The pages, numbered.
    pub fn finish(self) -> Vec<Page> {
        let of = self.pages.len();
        let [width, height] = self.size_mm;
        let y = height - MARGIN;
        let size = self.sizes.small;
        let (foot, foot_height) = self.foot_lines();
        let top = height - MARGIN - 1.4 * size - foot_height + 0.5 * size;
        let foot: Vec<Shape> = foot.iter().map(|line| line.moved(0.0, top)).collect();
        let mut pages = self.pages;
        for (index, page) in pages.iter_mut().enumerate() {
            let number = format!("{} of {of}", index + 1);
            let room = width - 2.0 * MARGIN - font::width(&number, size, false) - size;
            let name = font::wrap(&self.title, size, false, room);
            let left = name.first().map(String::as_str).unwrap_or_default();
            if !foot.is_empty() {
                page.blocks.push(Block::Paragraph(foot.clone()));
            }
            page.blocks.push(Block::Ornament(vec![
                print::text([MARGIN, y], left, size, Align::Start, false),
                print::text([width - MARGIN, y], &number, size, Align::End, false),
            ]));
        }
        pages
    }
}

/// The block lower by `dy`.
fn moved(block: Block, dy: f64) -> Block {
    let all = |shapes: Vec<Shape>| -> Vec<Shape> {
        shapes.iter().map(|shape| shape.moved(0.0, dy)).collect()
    };
    match block {
        Block::Heading(level, shapes) => Block::Heading(level, all(shapes)),
        Block::Paragraph(shapes) => Block::Paragraph(all(shapes)),
        Block::Ornament(shapes) => Block::Ornament(all(shapes)),
        Block::Picture { alt, shapes } => Block::Picture { alt, shapes: all(shapes) },
        Block::List(items) => {
            let item = |item: ListItem| ListItem { label: all(item.label), body: all(item.body) };
            Block::List(items.into_iter().map(item).collect())
        }
        Block::Table(rows) => {
            let cell = |cell: Cell| Cell { head: cell.head, shapes: all(cell.shapes) };
            let row = |row: Vec<Cell>| row.into_iter().map(cell).collect();
            Block::Table(rows.into_iter().map(row).collect())
        }
    }
}
