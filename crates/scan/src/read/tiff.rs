//! TIFF, of one or several pages.

use std::io::Cursor;

use tiff::decoder::{Decoder, DecodingResult};
use tiff::tags::Tag;
use tiff::{ColorType, TiffError};

use super::Limits;
use super::pixels::{Packing, Space};
use crate::picture::Turn;
use crate::{Picture, ReadFault};

const DAMAGED: ReadFault = ReadFault::Damaged("the TIFF picture");

fn decoder<'a>(bytes: &'a [u8], limits: &Limits) -> Result<Decoder<Cursor<&'a [u8]>>, ReadFault> {
    let mut allowed = tiff::decoder::Limits::default();
    allowed.decoding_buffer_size = limits.bytes();
    allowed.intermediate_buffer_size = limits.bytes();
    Ok(Decoder::new(Cursor::new(bytes)).map_err(|_| DAMAGED)?.with_limits(allowed))
}

/// How many pages there are; it stops counting where there are too many.
pub(super) fn count(bytes: &[u8], limits: &Limits) -> Result<usize, ReadFault> {
    let mut decoder = decoder(bytes, limits)?;
    let mut pages = 1;
    while decoder.more_images() && pages <= limits.pages {
        decoder.next_image().map_err(|_| DAMAGED)?;
        pages += 1;
    }
    Ok(pages)
}

/// The picture on page `index`, from 0.
pub(super) fn picture(bytes: &[u8], index: usize, limits: &Limits) -> Result<Picture, ReadFault> {
    let mut decoder = decoder(bytes, limits)?;
    decoder.seek_to_image(index).map_err(|_| DAMAGED)?;
    let (width, height) = decoder.dimensions().map_err(|_| DAMAGED)?;
    limits.check(u64::from(width), u64::from(height))?;
    let colours = decoder.colortype().map_err(|_| ReadFault::Unknown("a TIFF's colours"))?;
    let orientation = decoder.find_tag_unsigned::<u16>(Tag::Orientation).ok().flatten();
    let (space, bits) = match colours {
        ColorType::Gray(bits) => (Space::Grey, bits),
        ColorType::RGB(bits @ (8 | 16)) => (Space::Rgb, bits),
        ColorType::CMYK(8) => (Space::Cmyk, 8),
        ColorType::YCbCr(8) => (Space::Rgb, 8),
        _ => return Err(ReadFault::Unknown("a TIFF's colours")),
    };
    let read = decoder.read_image().map_err(|error| match error {
        TiffError::UnsupportedError(_) => ReadFault::Unknown("a TIFF's packing"),
        _ => DAMAGED,
    });
    let (data, bits) = match read? {
        DecodingResult::U8(data) => (data, bits),
        DecodingResult::U16(data) => (data.into_iter().map(|one| (one >> 8) as u8).collect(), 8),
        _ => return Err(ReadFault::Unknown("a TIFF's samples")),
    };
    let packing =
        Packing { width: width as usize, height: height as usize, bits: usize::from(bits) };
    let picture = super::pixels::picture(&data, packing, &space, false)?;
    Ok(picture.turned(Turn::exif(orientation.unwrap_or(1))))
}
