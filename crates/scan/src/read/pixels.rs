//! Samples as files store them, to pixels.

use crate::picture::lightness;
use crate::{Picture, ReadFault};

/// What samples mean.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Space {
    Grey,
    Rgb,
    Cmyk,
    /// The lightness of each colour of a table.
    Table(Vec<u8>),
}

impl Space {
    pub(super) fn samples(&self) -> usize {
        match self {
            Self::Grey | Self::Table(_) => 1,
            Self::Rgb => 3,
            Self::Cmyk => 4,
        }
    }
}

/// How samples are packed into bytes; each row begins with a byte.
#[derive(Clone, Copy, Debug)]
pub(super) struct Packing {
    pub(super) width: usize,
    pub(super) height: usize,
    /// 1, 2, 4, 8 or 16.
    pub(super) bits: usize,
}

/// The picture that `data` holds.
pub(super) fn picture(
    data: &[u8],
    packing: Packing,
    space: &Space,
    inverted: bool,
) -> Result<Picture, ReadFault> {
    let Packing { width, height, bits } = packing;
    if !matches!(bits, 1 | 2 | 4 | 8 | 16) {
        return Err(ReadFault::Unknown("bits per sample"));
    }
    let samples = space.samples();
    let stride = (width * samples * bits).div_ceil(8);
    if data.len() < stride * height {
        return Err(ReadFault::Damaged("the picture"));
    }
    if let (Space::Grey, 8, false) = (space, bits, inverted) {
        return Ok(Picture::from_grey(width, height, &data[..stride * height]));
    }
    let raw = matches!(space, Space::Table(_));
    let mut level = Vec::with_capacity(width * height);
    let mut row = vec![0_u8; width * samples];
    for line in data.chunks_exact(stride).take(height) {
        unpack(line, bits, raw, &mut row);
        if inverted && !raw {
            row.iter_mut().for_each(|one| *one = 255 - *one);
        }
        match space {
            Space::Grey => level.extend_from_slice(&row),
            Space::Rgb => level.extend(row.as_chunks().0.iter().map(|&of| lightness(of))),
            Space::Cmyk => {
                level.extend(row.as_chunks().0.iter().map(|&of| lightness(cmyk(of))));
            }
            Space::Table(colours) => level.extend(
                row.iter().map(|&at| colours.get(usize::from(at)).copied().unwrap_or_default()),
            ),
        }
    }
    Ok(Picture { width, height, level })
}

/// One row's samples, as 0 to 255 or as they are.
fn unpack(line: &[u8], bits: usize, raw: bool, row: &mut [u8]) {
    match bits {
        8 => row.copy_from_slice(&line[..row.len()]),
        16 => row.iter_mut().zip(line.chunks_exact(2)).for_each(|(to, of)| *to = of[0]),
        _ => {
            let most = (1_u8 << bits) - 1;
            let scale = if raw { 1 } else { 255 / most };
            for (at, to) in row.iter_mut().enumerate() {
                let bit = at * bits;
                *to = (line[bit / 8] >> (8 - bits - bit % 8) & most) * scale;
            }
        }
    }
}

/// Printing inks to light, as if they were ideal.
pub(super) fn cmyk([c, m, y, k]: [u8; 4]) -> [u8; 3] {
    [c, m, y].map(|ink| (u32::from(255 - ink) * u32::from(255 - k) / 255) as u8)
}
