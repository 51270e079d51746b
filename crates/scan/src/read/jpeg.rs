//! JPEG, as files and inside PDFs.

use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use super::Limits;
use super::pixels::{Packing, Space, picture};
use crate::picture::Turn;
use crate::{Picture, ReadFault};

const DAMAGED: ReadFault = ReadFault::Damaged("the JPEG picture");

/// A photo, turned upright as its camera noted.
pub(super) fn photo(bytes: &[u8], limits: &Limits) -> Result<Picture, ReadFault> {
    let (picture, orientation) = decode(bytes, limits, false)?;
    Ok(picture.turned(Turn::exif(orientation)))
}

/// A JPEG inside another file, where nothing is turned.
pub(super) fn embedded(
    bytes: &[u8],
    limits: &Limits,
    inverted: bool,
) -> Result<Picture, ReadFault> {
    Ok(decode(bytes, limits, inverted)?.0)
}

fn decode(bytes: &[u8], limits: &Limits, inverted: bool) -> Result<(Picture, u16), ReadFault> {
    if !is_whole(bytes) {
        return Err(DAMAGED);
    }
    let options = DecoderOptions::default()
        .set_max_width(usize::from(u16::MAX))
        .set_max_height(usize::from(u16::MAX));
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder.decode_headers().map_err(|_| DAMAGED)?;
    let info = decoder.info().ok_or(DAMAGED)?;
    limits.check(u64::from(info.width), u64::from(info.height))?;
    // Lightness is stored by itself: its colours need not be unpacked.
    let (out, space) = match decoder.input_colorspace() {
        Some(ColorSpace::Luma | ColorSpace::YCbCr) => (ColorSpace::Luma, Space::Grey),
        _ => (ColorSpace::RGB, Space::Rgb),
    };
    decoder.set_options(options.jpeg_set_out_colorspace(out));
    let mut data = decoder.decode().map_err(|_| DAMAGED)?;
    let orientation = decoder.exif().map_or(1, |exif| orientation(exif));
    let packing =
        Packing { width: usize::from(info.width), height: usize::from(info.height), bits: 8 };
    if let (Space::Grey, false) = (&space, inverted) {
        let Packing { width, height, .. } = packing;
        data.truncate(width * height);
        let whole = data.len() == width * height;
        let picture = Picture { width, height, level: data };
        return if whole { Ok((picture, orientation)) } else { Err(DAMAGED) };
    }
    Ok((picture(&data, packing, &space, inverted)?, orientation))
}

/// Whether the end-of-image marker follows the first scan: a decoder fills what was cut off
/// with grey, and a drawing would end there unnoticed.
fn is_whole(bytes: &[u8]) -> bool {
    let mut at = 2;
    while let Some(&[mark, kind]) = bytes.get(at..at + 2) {
        match (mark, kind) {
            (0xff, 0xda) => {
                return bytes[at..].windows(2).any(|two| two == [0xff, 0xd9]);
            }
            (0xff, 0xff) => at += 1,
            (0xff, 0x01 | 0xd0..=0xd8) => at += 2,
            (0xff, _) => {
                let Some(&[high, low]) = bytes.get(at + 2..at + 4) else { return false };
                at += 2 + usize::from(u16::from_be_bytes([high, low]));
            }
            _ => at += 1,
        }
    }
    false
}

/// The orientation that an EXIF record notes; 1, upright, where it has none.
///
/// Source: TIFF 6.0 for the record's structure; the tag is 274.
fn orientation(exif: &[u8]) -> u16 {
    let exif = exif.strip_prefix(b"Exif\0\0").unwrap_or(exif);
    let little = exif.starts_with(b"II");
    let short = |at: usize| -> Option<u16> {
        let two = [*exif.get(at)?, *exif.get(at + 1)?];
        Some(if little { u16::from_le_bytes(two) } else { u16::from_be_bytes(two) })
    };
    let long = |at: usize| -> Option<usize> {
        let (first, second) = (short(at)?, short(at + 2)?);
        let (high, low) = if little { (second, first) } else { (first, second) };
        Some(usize::from(high) << 16 | usize::from(low))
    };
    let find = || {
        let directory = long(4)?;
        let entries = usize::from(short(directory)?);
        let entry = (0..entries).map(|entry| directory + 2 + 12 * entry);
        let found = entry.take_while(|&at| at < exif.len()).find(|&at| short(at) == Some(274))?;
        short(found + 8)
    };
    find().unwrap_or(1)
}
