//! How much there is in a PDF's streams, found out before anything is unpacked.
//!
//! The decoders take their sizes from the data and know no limits, and a few bytes can ask for
//! more memory than a computer has, which no program survives.

use flate2::read::{DeflateDecoder, ZlibDecoder};
use hayro_syntax::Filter;

use super::Limits;
use crate::ReadFault;

const DAMAGED: ReadFault = ReadFault::Damaged("the page");
/// Longest description of a stream that is looked at, in bytes.
const LONGEST_HEAD: usize = 4_096;
/// Colours and transparency of one picture.
const MOST_COMPONENTS: u16 = 5;
/// JPEG 2000 pictures in more pieces than this are no scans: pages have some 100.
const MOST_TILES: u64 = 10_000;

/// How many bytes a filter makes of one at most; the pictures' own filters are held by the
/// picture's size. Deflate: 258 bytes from 2 bits; LZW: 4,096 from 12 bits at the very end;
/// run lengths: 128 from 2 bytes; base 85: 4 from one `z`.
pub(super) fn growth(filter: &Filter) -> usize {
    match filter {
        Filter::FlateDecode => 1_032,
        Filter::LzwDecode => 2_731,
        Filter::RunLengthDecode => 64,
        Filter::Ascii85Decode => 4,
        _ => 1,
    }
}

/// How long inflated data is; it stops counting beyond `most`.
pub(super) fn inflated(data: &[u8], most: usize) -> usize {
    let zlib = data.len() >= 2
        && data[0] & 0x0f == 8
        && u16::from_be_bytes([data[0], data[1]]).is_multiple_of(31);
    let mut reader: Box<dyn std::io::Read + '_> =
        if zlib { Box::new(ZlibDecoder::new(data)) } else { Box::new(DeflateDecoder::new(data)) };
    let mut part = vec![0; 1 << 16];
    let mut total = 0;
    while total <= most {
        match reader.read(&mut part) {
            Ok(0) | Err(_) => break,
            Ok(more) => total += more,
        }
    }
    total
}

/// Refuses a file whose tables and packed objects unpack to more than a page can hold: the
/// library unpacks them when it opens the file. Pictures are left for when their page is read.
pub(super) fn check_packed_objects(bytes: &[u8], limits: &Limits) -> Result<(), ReadFault> {
    let too_much = ReadFault::Unpacked("the PDF");
    let mut room = limits.bytes();
    let mut from = 0;
    while let Some(found) = find(&bytes[from..], b"stream") {
        let start = from + found;
        from = start + b"stream".len();
        let head = head(&bytes[..start]);
        if bytes[..start].ends_with(b"end") || is_picture(head) {
            continue;
        }
        let count = |name: &[u8]| head.windows(name.len()).filter(|part| *part == name).count();
        let data = &bytes[from..];
        let data = data.trim_ascii_start();
        // A name can be written in another way, with `#`.
        let flate = count(b"/Fl") + count(b"#");
        let others = count(b"/LZW") + count(b"/RunLength") + count(b"/RL");
        let unpacked = match (flate, others) {
            (0, 0) => continue,
            (1, 0) => inflated(data, room),
            _ => {
                let length = find(data, b"endstream").unwrap_or(data.len());
                let each = growth(&Filter::LzwDecode);
                (0..flate + others).fold(length, |length, _| length.saturating_mul(each))
            }
        };
        room = room.checked_sub(unpacked).ok_or_else(|| too_much.clone())?;
    }
    Ok(())
}

/// Where `part` first is.
fn find(bytes: &[u8], part: &[u8]) -> Option<usize> {
    let mut from = 0;
    loop {
        // Looking for one byte is what is quick.
        from += bytes.get(from..)?.iter().position(|&one| one == part[0])?;
        if bytes[from..].starts_with(part) {
            return Some(from);
        }
        from += 1;
    }
}

/// The description before a stream: what follows the last `obj`.
fn head(before: &[u8]) -> &[u8] {
    let near = &before[before.len().saturating_sub(LONGEST_HEAD)..];
    let start = near.windows(3).rposition(|three| three == b"obj").map_or(0, |at| at + 3);
    &near[start..]
}

/// Whether a stream's description is a picture's and cannot also be that of a table or of
/// packed objects, which need `W` or `First`.
fn is_picture(head: &[u8]) -> bool {
    let names = |name: &[u8]| {
        let after = |at: usize| head.get(at + name.len()).copied().unwrap_or(b' ');
        let mut places = head.windows(name.len()).enumerate();
        places.any(|(at, part)| part == name && !after(at).is_ascii_alphanumeric())
    };
    names(b"/Image") && !names(b"/W") && !names(b"/First") && !head.contains(&b'#')
}

/// Refuses JBIG2 data with a page, or a part of one, that is larger than a page can be.
///
/// Source: ITU-T T.88 (2000), 7.2 for a segment's header, 7.3.1 for the kinds of segments,
/// 7.4.1 for regions and 7.4.8 for the page.
pub(super) fn check_jbig2(data: &[u8], limits: &Limits) -> Result<(), ReadFault> {
    const PAGE: u8 = 48;
    /// Kinds that begin with the size of a region.
    const REGIONS: [u8; 12] = [4, 6, 7, 20, 22, 23, 36, 38, 39, 40, 42, 43];
    let long = |at: usize| Some(u32::from_be_bytes(data.get(at..at + 4)?.try_into().ok()?));
    let segment = |mut at: usize| {
        let number = long(at)?;
        let flags = *data.get(at + 4)?;
        let short_count = data.get(at + 5)? >> 5;
        at += 5;
        let (count, held) = if short_count == 7 {
            let count = (long(at)? & 0x1fff_ffff) as usize;
            (count, 4 + (count + 8) / 8)
        } else {
            (usize::from(short_count), 1)
        };
        let size = match number {
            0..=256 => 1,
            257..=65_536 => 2,
            _ => 4,
        };
        at += held + count * size + if flags & 0x40 == 0 { 1 } else { 4 };
        Some((flags & 0x3f, at + 4, long(at)? as usize))
    };
    let mut at = 0;
    while let Some((kind, start, length)) = segment(at) {
        if kind == PAGE || REGIONS.contains(&kind) {
            let (Some(width), Some(height)) = (long(start), long(start + 4)) else { break };
            // An unknown height (all ones) grows with the data; nobody scans that way.
            limits.check(u64::from(width), u64::from(height))?;
        }
        at = start.saturating_add(length);
    }
    Ok(())
}

/// Refuses JPEG 2000 data of more pixels than a page can have, or in too many pieces.
///
/// Source: ITU-T T.800 (2002), A.5.1: the size marker follows the start of the codestream. The
/// same four bytes elsewhere may be the ones that count, so that all are looked at.
pub(super) fn check_jpx(data: &[u8], limits: &Limits) -> Result<(), ReadFault> {
    let size = |start: usize| -> Result<(), ReadFault> {
        let long = |at: usize| {
            let four = data.get(start + 8 + 4 * at..)?.first_chunk::<4>()?;
            Some(u64::from(u32::from_be_bytes(*four)))
        };
        let all = [0, 1, 2, 3, 4, 5, 6, 7].map(long);
        let [Some(right), Some(bottom), Some(x), Some(y), Some(wide), Some(high), ..] = all else {
            return Err(DAMAGED);
        };
        let (width, height) = (right.saturating_sub(x), bottom.saturating_sub(y));
        limits.check(width, height)?;
        let tiles = right.div_ceil(wide.max(1)).saturating_mul(bottom.div_ceil(high.max(1)));
        let components = data.get(start + 40..start + 42).ok_or(DAMAGED)?;
        let components = u16::from_be_bytes([components[0], components[1]]);
        if components > MOST_COMPONENTS || tiles > MOST_TILES {
            return Err(ReadFault::Unknown("as JPEG 2000 in many pieces or colours"));
        }
        Ok(())
    };
    let begins = |four: &[u8]| four == [0xff, 0x4f, 0xff, 0x51];
    let starts = data.windows(4).enumerate().filter(|(_, four)| begins(four));
    starts.map(|(at, _)| at).try_for_each(size)
}
