//! What can be wrong with a file or a page.

/// A file or one of its pages that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}{}: {fault}", page.map(|page| format!(", page {page}")).unwrap_or_default())]
pub struct ReadError {
    /// The file's name.
    pub file: String,
    /// The page, from 1; none where it is the whole file.
    pub page: Option<usize>,
    /// What is wrong.
    pub fault: ReadFault,
}

/// What is wrong with a file, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ReadFault {
    /// No bytes.
    #[error("the file is empty; copy it again from the scanner or the phone")]
    Empty,
    /// Contents of no known kind.
    #[error(
        "this is neither a PDF nor a JPEG, PNG or TIFF picture, whatever its name says; scan to one of these"
    )]
    Kind,
    /// A picture in the format of some phones.
    #[error("this is a HEIC or AVIF picture; export it as JPEG, or let the phone take JPEG")]
    Heic,
    /// A password is needed.
    #[error("the PDF is encrypted; save it without a password")]
    Encrypted,
    /// Cut off or spoiled.
    #[error("{0} is damaged or cut off; copy the file again, or scan the page again")]
    Damaged(&'static str),
    /// The end of a PDF that ends too early.
    #[error(
        "the file ends here, before its end: what comes after this is missing; copy the file again"
    )]
    CutOff,
    /// A PDF page without a picture.
    #[error(
        "there is no scanned picture on this page; if it was drawn or typed on a device, export it as a picture"
    )]
    NoPicture,
    /// Lines drawn on top of a scan, which are not part of the picture.
    #[error(
        "something was drawn or written on this page on a device, beside its picture; export the page as a picture, so that nothing is lost"
    )]
    Drawn,
    /// Too many pixels.
    #[error("the page has {width} by {height} pixels, more than {most} million; scan at 300 dpi")]
    Pixels {
        /// Pixels in a row.
        width: u64,
        /// Rows.
        height: u64,
        /// How many are allowed, in millions.
        most: usize,
    },
    /// Too many pages.
    #[error("the file has {pages} pages, more than {most}; split it")]
    Pages {
        /// How many there are.
        pages: usize,
        /// How many are allowed.
        most: usize,
    },
    /// Contents that unpack to more than a page can hold.
    #[error(
        "{0} unpacks to far more than a page needs; print the file to PDF again, or scan the page again"
    )]
    Unpacked(&'static str),
    /// A way of storing pictures that is not read.
    #[error(
        "the picture is stored in a way that is not read here ({0}); export the page as JPEG or PNG"
    )]
    Unknown(&'static str),
}

/// Why a page's picture cannot be flattened.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PageFault {
    /// No mark was found, and nothing suggests why.
    #[error("no corner marks were found; is this a sheet, whole and in the picture?")]
    NoMarks,
    /// Too few marks.
    #[error(
        "only {} found, of the four in the corners; three are needed: take the picture again with all corners in it",
        if *found == 1 { "one mark was" } else { "two marks were" }
    )]
    FewMarks {
        /// How many were found.
        found: usize,
    },
    /// No mark was found in a picture without sharp edges.
    #[error(
        "no corner marks were found, and the picture is blurred (edges are {edge_px:.0} pixels wide); take it again, still and in focus"
    )]
    Blurred {
        /// Width of the sharpest edges in pixels, from a tenth to nine tenths of the step.
        edge_px: f64,
    },
    /// Too few pixels for marks to be read.
    #[error(
        "the picture has only {width} by {height} pixels, which is too few; scan at 150 dpi at least"
    )]
    TooSmall {
        /// Pixels in a row.
        width: usize,
        /// Rows.
        height: usize,
    },
    /// The marks are mirrored.
    #[error("the page is seen in a mirror or from behind; scan or photograph it as it is")]
    Mirrored,
    /// A mark more than once.
    #[error("the mark of corner {id} is there twice: one sheet to a picture, please")]
    Twice {
        /// The mark's number.
        id: usize,
    },
    /// The marks do not lie as on the page.
    #[error(
        "the marks do not lie as they do on the sheet ({off_mm:.1} mm off); is the page folded, torn or printed at another scale?"
    )]
    Misplaced {
        /// Root mean square of what is left between marks and page, in millimetres.
        off_mm: f64,
    },
}
