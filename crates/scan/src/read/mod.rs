//! Files to pictures of pages, one page in memory at a time.
//!
//! PDF syntax and the decoders that scanners use inside it (JPEG, CCITT, JBIG2, JPEG 2000) are
//! a library's; which pictures a page places where is read here. A whole renderer would bring
//! fonts, curves and blending, which scans do not have, at eight minutes of CPU to build.

mod jpeg;
mod pdf;
mod pdf_sizes;
mod pixels;
mod png;
mod tiff;

use std::panic::{AssertUnwindSafe, catch_unwind};

use crate::{Picture, ReadError, ReadFault};

/// How much is read before it counts as a mistake.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Pixels of a page.
    pub pixels: usize,
    /// Pages of a file.
    pub pages: usize,
}

impl Default for Limits {
    /// 120 million pixels (Letter at 1100 dpi) and 2,000 pages.
    fn default() -> Self {
        Self { pixels: 120_000_000, pages: 2_000 }
    }
}

impl Limits {
    /// Whether a picture is small enough, and has any pixels at all.
    fn check(&self, width: u64, height: u64) -> Result<(), ReadFault> {
        if width == 0 || height == 0 {
            return Err(ReadFault::Damaged("the picture"));
        }
        if width.saturating_mul(height) > self.pixels as u64 {
            return Err(ReadFault::Pixels { width, height, most: self.pixels / 1_000_000 });
        }
        Ok(())
    }

    /// Bytes that one stream may unpack to: four samples for each pixel.
    fn bytes(&self) -> usize {
        self.pixels.saturating_mul(4)
    }
}

/// The pages of a file, one after another. A page that cannot be read does not stop the next.
pub struct Pages {
    name: String,
    limits: Limits,
    source: Source,
    next: usize,
    count: usize,
}

enum Source {
    Pdf {
        pdf: Box<hayro_syntax::Pdf>,
        /// Whether the file goes on that this is the beginning of.
        cut_off: bool,
    },
    Jpeg(Vec<u8>),
    Png(Vec<u8>),
    Tiff(Vec<u8>),
}

impl std::fmt::Debug for Pages {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Pages({:?}, {} of {})", self.name, self.next, self.count)
    }
}

/// The pages of a file with these contents; `name` is only for errors.
///
/// # Errors
/// Where the file as a whole cannot be read; a fault of one page comes with that page.
pub fn read(bytes: Vec<u8>, name: &str, limits: Limits) -> Result<Pages, ReadError> {
    let failed = |fault| ReadError { file: name.to_owned(), page: None, fault };
    let (source, count) = guarded("the file", || open(bytes, &limits)).map_err(failed)?;
    // A page more stands for those that are cut off.
    let pages = match &source {
        Source::Pdf { pdf, .. } => pdf.pages().len(),
        _ => count,
    };
    if pages > limits.pages {
        return Err(failed(ReadFault::Pages { pages, most: limits.pages }));
    }
    Ok(Pages { name: name.to_owned(), limits, source, next: 0, count })
}

fn open(bytes: Vec<u8>, limits: &Limits) -> Result<(Source, usize), ReadFault> {
    if bytes.is_empty() {
        return Err(ReadFault::Empty);
    }
    let begins = |with: &[u8]| bytes.starts_with(with);
    if begins(&[0xff, 0xd8]) {
        Ok((Source::Jpeg(bytes), 1))
    } else if begins(b"\x89PNG\r\n\x1a\n") {
        Ok((Source::Png(bytes), 1))
    } else if begins(b"II*\0") || begins(b"MM\0*") {
        let count = tiff::count(&bytes, limits)?;
        Ok((Source::Tiff(bytes), count))
    } else if bytes.get(4..8) == Some(b"ftyp") {
        Err(ReadFault::Heic)
    } else if bytes[..bytes.len().min(1024)].windows(5).any(|five| five == b"%PDF-") {
        let cut_off = pdf::is_cut_off(&bytes);
        let pdf = pdf::open(bytes, limits)?;
        let count = pdf.pages().len();
        if count == 0 {
            return Err(ReadFault::Damaged("the PDF"));
        }
        // The pages that were found are read all the same; that others are missing is told last.
        Ok((Source::Pdf { pdf: Box::new(pdf), cut_off }, count + usize::from(cut_off)))
    } else {
        Err(ReadFault::Kind)
    }
}

/// A decoder's panic is a fault of the file like any other: none is known, but the decoders
/// are large and the files come from anywhere.
fn guarded<T>(
    what: &'static str,
    work: impl FnOnce() -> Result<T, ReadFault>,
) -> Result<T, ReadFault> {
    catch_unwind(AssertUnwindSafe(work)).unwrap_or(Err(ReadFault::Damaged(what)))
}

impl Pages {
    /// How many pages the file has.
    pub fn count_of_pages(&self) -> usize {
        self.count
    }

    fn page(&self, index: usize) -> Result<Picture, ReadFault> {
        match &self.source {
            Source::Pdf { pdf, cut_off } => match pdf.pages().get(index) {
                None => Err(ReadFault::CutOff),
                Some(page) => pdf::page(page, &self.limits).map_err(|fault| match fault {
                    ReadFault::NoPicture if *cut_off => ReadFault::Damaged("the page"),
                    fault => fault,
                }),
            },
            Source::Jpeg(bytes) => jpeg::photo(bytes, &self.limits),
            Source::Png(bytes) => png::picture(bytes, &self.limits),
            Source::Tiff(bytes) => tiff::picture(bytes, index, &self.limits),
        }
    }
}

impl Iterator for Pages {
    type Item = Result<Picture, ReadError>;

    fn next(&mut self) -> Option<Self::Item> {
        let index = self.next;
        if index == self.count {
            return None;
        }
        self.next += 1;
        let page = guarded("the page", || self.page(index));
        Some(page.map_err(|fault| ReadError {
            file: self.name.clone(),
            page: (self.count > 1).then_some(index + 1),
            fault,
        }))
    }
}

#[cfg(test)]
mod tests;
