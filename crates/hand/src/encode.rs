//! Pictures as files.

use image::codecs::jpeg::JpegEncoder;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ExtendedColorType, ImageEncoder, ImageError};

use crate::raster::Picture;

/// Whether all pixels of a picture are grey.
fn is_grey(picture: &Picture) -> bool {
    picture.rgb.iter().all(|[r, g, b]| r == g && g == b)
}

fn grey(picture: &Picture) -> Vec<u8> {
    picture.rgb.iter().map(|pixel| pixel[0]).collect()
}

/// Encodes a picture in grey where all of it is, else in colour.
fn with(encoder: impl ImageEncoder, picture: &Picture) -> Result<(), ImageError> {
    let (width, height) = (picture.width as u32, picture.height as u32);
    if is_grey(picture) {
        encoder.write_image(&grey(picture), width, height, ExtendedColorType::L8)
    } else {
        let bytes = picture.rgb.as_flattened();
        encoder.write_image(bytes, width, height, ExtendedColorType::Rgb8)
    }
}

/// A JPEG file of this quality, 1 to 100, whose EXIF says how it is to be turned where
/// `orientation` is not 1.
///
/// # Errors
/// [`ImageError`] where the picture is larger than the format allows.
pub fn jpeg(picture: &Picture, quality: u8, orientation: u8) -> Result<Vec<u8>, ImageError> {
    let mut bytes = Vec::new();
    with(JpegEncoder::new_with_quality(&mut bytes, quality), picture)?;
    if orientation != 1 {
        // After the two bytes that begin every JPEG file.
        bytes.splice(2..2, exif(orientation));
    }
    Ok(bytes)
}

/// A PNG file.
///
/// # Errors
/// [`ImageError`] where it cannot be encoded.
pub fn png(picture: &Picture) -> Result<Vec<u8>, ImageError> {
    let mut bytes = Vec::new();
    let encoder = PngEncoder::new_with_quality(&mut bytes, CompressionType::Fast, FilterType::Up);
    with(encoder, picture)?;
    Ok(bytes)
}

/// The application segment that holds one EXIF field, the orientation (0x0112), in little-endian
/// TIFF form (Exif 2.3, 4.5 and 4.6).
fn exif(orientation: u8) -> Vec<u8> {
    let mut segment = vec![0xff, 0xe1, 0, 34];
    segment.extend_from_slice(b"Exif\0\0II*\0");
    segment.extend_from_slice(&8_u32.to_le_bytes());
    segment.extend_from_slice(&1_u16.to_le_bytes());
    for field in [0x0112_u16, 3] {
        segment.extend_from_slice(&field.to_le_bytes());
    }
    segment.extend_from_slice(&1_u32.to_le_bytes());
    segment.extend_from_slice(&u32::from(orientation).to_le_bytes());
    segment.extend_from_slice(&0_u32.to_le_bytes());
    segment
}

/// A page of a PDF: a JPEG file, the picture that it holds, and its pixels to the inch.
#[derive(Clone, Copy, Debug)]
pub struct PdfPage<'a> {
    /// The JPEG file.
    pub jpeg: &'a [u8],
    /// What it shows.
    pub picture: &'a Picture,
    /// Pixels to the inch.
    pub dpi: f64,
}

/// A PDF of one picture on each page, as a copier makes it (ISO 32000-1, 7.5 and 8.9).
pub fn pdf(pages: &[PdfPage<'_>]) -> Vec<u8> {
    let mut bytes = b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n".to_vec();
    let mut starts = Vec::new();
    let mut object = |bytes: &mut Vec<u8>, parts: [&[u8]; 3]| {
        starts.push(bytes.len());
        bytes.extend_from_slice(format!("{} 0 obj\n", starts.len()).as_bytes());
        parts.into_iter().for_each(|part| bytes.extend_from_slice(part));
        bytes.extend_from_slice(b"\nendobj\n");
    };
    object(&mut bytes, [b"<< /Type /Catalog /Pages 2 0 R >>", b"", b""]);
    let kids: Vec<String> =
        (0..pages.len()).map(|index| format!("{} 0 R", 3 + 3 * index)).collect();
    let tree = format!("<< /Type /Pages /Count {} /Kids [{}] >>", pages.len(), kids.join(" "));
    object(&mut bytes, [tree.as_bytes(), b"", b""]);
    for (index, page) in pages.iter().enumerate() {
        let [own, content, picture] = [3, 4, 5].map(|number| number + 3 * index);
        let points = |px: usize| px as f64 / page.dpi * 72.0;
        let (width, height) = (points(page.picture.width), points(page.picture.height));
        let entry = format!(
            "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {width:.3} {height:.3}] /Contents {content} 0 R /Resources << /XObject << /I {picture} 0 R >> >> >>"
        );
        debug_assert_eq!(own + 2, picture);
        object(&mut bytes, [entry.as_bytes(), b"", b""]);
        let drawing = format!("q {width:.3} 0 0 {height:.3} 0 0 cm /I Do Q");
        let head = format!("<< /Length {} >>\nstream\n", drawing.len());
        object(&mut bytes, [head.as_bytes(), drawing.as_bytes(), b"\nendstream"]);
        let space = if is_grey(page.picture) { "DeviceGray" } else { "DeviceRGB" };
        let head = format!(
            "<< /Type /XObject /Subtype /Image /Width {} /Height {} /ColorSpace /{space} /BitsPerComponent 8 /Filter /DCTDecode /Length {} >>\nstream\n",
            page.picture.width,
            page.picture.height,
            page.jpeg.len()
        );
        object(&mut bytes, [head.as_bytes(), page.jpeg, b"\nendstream"]);
    }
    let table = bytes.len();
    bytes.extend_from_slice(
        format!("xref\n0 {}\n0000000000 65535 f \n", starts.len() + 1).as_bytes(),
    );
    for start in &starts {
        bytes.extend_from_slice(format!("{start:010} 00000 n \n").as_bytes());
    }
    let count = starts.len() + 1;
    let trailer = format!("trailer\n<< /Size {count} /Root 1 0 R >>\nstartxref\n{table}\n%%EOF\n");
    bytes.extend_from_slice(trailer.as_bytes());
    bytes
}
