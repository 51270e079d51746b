//! PNG.

use std::io::Cursor;

use png::{ColorType, Decoder, Transformations};

use super::Limits;
use super::pixels::{Packing, Space};
use crate::{Picture, ReadFault};

const DAMAGED: ReadFault = ReadFault::Damaged("the PNG picture");

/// The picture; what is see-through is white.
pub(super) fn picture(bytes: &[u8], limits: &Limits) -> Result<Picture, ReadFault> {
    let allowed = png::Limits { bytes: limits.bytes() };
    let mut decoder = Decoder::new_with_limits(Cursor::new(bytes), allowed);
    decoder.set_transformations(Transformations::EXPAND | Transformations::STRIP_16);
    let info = decoder.read_header_info().map_err(|_| DAMAGED)?;
    limits.check(u64::from(info.width), u64::from(info.height))?;
    let mut reader = decoder.read_info().map_err(|_| DAMAGED)?;
    let size = reader.output_buffer_size().ok_or(DAMAGED)?;
    let mut data = vec![0; size];
    let frame = reader.next_frame(&mut data).map_err(|_| DAMAGED)?;
    let packing = Packing { width: frame.width as usize, height: frame.height as usize, bits: 8 };
    let (space, data) = match frame.color_type {
        ColorType::Grayscale => (Space::Grey, data),
        ColorType::Rgb => (Space::Rgb, data),
        ColorType::GrayscaleAlpha => (Space::Grey, on_white(&data, 2)),
        ColorType::Rgba => (Space::Rgb, on_white(&data, 4)),
        ColorType::Indexed => return Err(ReadFault::Unknown("a table of colours")),
    };
    super::pixels::picture(&data, packing, &space, false)
}

/// Pixels of `samples` samples, the last being how opaque they are, on white.
fn on_white(data: &[u8], samples: usize) -> Vec<u8> {
    data.chunks_exact(samples)
        .flat_map(|pixel| {
            let opaque = u32::from(pixel[samples - 1]);
            let blend = move |&one: &u8| {
                ((u32::from(one) * opaque + 255 * (255 - opaque) + 127) / 255) as u8
            };
            pixel[..samples - 1].iter().map(blend)
        })
        .collect()
}
