//! WAV sound files: PCM of 8, 16, 24 and 32 bits and floating point of 32 and 64.
//!
//! Format from memory of the published RIFF and `WAVE_FORMAT_EXTENSIBLE` descriptions, checked
//! against what `scipy.io.wavfile` writes and reads.

use super::error::{Place, ReadError, ReadFault, Remark};
use super::files::Bytes;
use super::{Format, Opened, Samples};
use crate::Signal;

/// So many bytes are read at a time.
const PIECE: usize = 65_536;
const PCM: u16 = 1;
const FLOAT: u16 = 3;
const EXTENSIBLE: u16 = 0xfffe;
/// More channels than this are a fault: a small file could announce 65 535.
const MOST_CHANNELS: usize = 1_024;
/// More chunks before the sound than this are no sound file.
const MOST_CHUNKS: usize = 10_000;

/// Whether a file begins like this format. `RF64` is the same with sizes of 64 bits.
pub(super) fn is(head: &[u8]) -> bool {
    (head.starts_with(b"RIFF") || head.starts_with(b"RF64")) && head.get(8..12) == Some(b"WAVE")
}

/// How samples are stored.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Coding {
    /// Signed integers of so many bytes; of one byte, with 128 added.
    Integer(usize),
    /// Floating point of so many bytes.
    Float(usize),
}

impl Coding {
    fn width(self) -> usize {
        match self {
            Self::Integer(width) | Self::Float(width) => width,
        }
    }

    /// A sample as a share of full scale; NaN where a floating-point one is no number.
    fn value(self, bytes: &[u8]) -> f64 {
        let mut eight = [0; 8];
        eight[8 - bytes.len()..].copy_from_slice(bytes);
        match self {
            Self::Integer(1) => (f64::from(eight[7]) - 128.0) / 128.0,
            // Shifted to the top of 64 bits, a sample carries its sign.
            Self::Integer(_) => i64::from_le_bytes(eight) as f64 / 2f64.powi(63),
            Self::Float(4) => {
                f64::from(f32::from_le_bytes([eight[4], eight[5], eight[6], eight[7]]))
            }
            Self::Float(_) => f64::from_le_bytes(eight),
        }
    }

    fn range(self) -> Option<[f64; 2]> {
        match self {
            Self::Integer(width) => Some([-1.0, 1.0 - 2f64.powi(1 - 8 * width as i32)]),
            Self::Float(_) => None,
        }
    }
}

/// What the `fmt ` chunk says.
#[derive(Clone, Copy, Debug)]
struct Form {
    coding: Coding,
    channels: usize,
    rate_hz: u32,
}

struct Wav {
    bytes: Bytes,
    form: Form,
    start: u64,
}

/// Opens a sound file.
pub(super) fn open(mut bytes: Bytes) -> Result<Opened, ReadError> {
    let mut remarks = Vec::new();
    let head = bytes.head(12)?;
    if !is(&head) {
        let text = String::from_utf8_lossy(&head[..head.len().min(4)]).into_owned();
        let fault = ReadFault::field("the file's kind", &text, "“RIFF” and “WAVE”");
        return Err(fault.at(&bytes.name, Place::Byte(0)));
    }
    let (form, start, size) = chunks(&mut bytes, &mut remarks)?;
    let frame = (form.channels * form.coding.width()) as u64;
    let samples = size / frame;
    if size % frame != 0 {
        let text = format!("{} bytes after the last whole sample are left out", size % frame);
        remarks.push(Remark::new(&bytes.name, Place::Byte(start + samples * frame), text));
    }
    let signals = (1..=form.channels)
        .map(|number| Signal {
            label: if form.channels == 1 { "sound".into() } else { format!("sound {number}") },
            unit: "relative".into(),
            rate_hz: f64::from(form.rate_hz),
            samples,
            range: form.coding.range(),
        })
        .collect();
    let samples = Box::new(Wav { bytes, form, start });
    Ok(Opened { format: Format::Wav, signals, annotations: Vec::new(), remarks, samples })
}

/// Goes from chunk to chunk until the sound: its form, where it starts, and its bytes.
fn chunks(bytes: &mut Bytes, remarks: &mut Vec<Remark>) -> Result<(Form, u64, u64), ReadError> {
    let (mut at, mut form, mut long) = (12, None, None);
    let mut data = None;
    for _ in 0..MOST_CHUNKS {
        let mut head = [0; 8];
        if bytes.read_at(at, &mut head)? < 8 || (form.is_some() && data.is_some()) {
            break;
        }
        let size = u64::from(u32::from_le_bytes([head[4], head[5], head[6], head[7]]));
        let body = at + 8;
        let mut length = size;
        match &head[..4] {
            b"fmt " => form = Some(read_form(bytes, body, size)?),
            b"ds64" => long = read_long(bytes, body)?,
            b"data" => {
                length = sound_size(
                    bytes,
                    body,
                    long.filter(|_| size == 0xffff_ffff).unwrap_or(size),
                    remarks,
                );
                data = Some((body, length));
            }
            _ => {}
        }
        // A chunk of odd length is followed by one more byte.
        at = body.saturating_add(length).saturating_add(length % 2);
    }
    let missing = |what: &str| {
        ReadFault::Damaged(format!("the {what} is missing")).at(&bytes.name, Place::Byte(at))
    };
    let form = form.ok_or_else(|| missing("description of the sound (“fmt ”)"))?;
    let (start, size) = data.ok_or_else(|| missing("sound (“data”)"))?;
    Ok((form, start, size))
}

/// A sound's bytes. What records without knowing when it will stop writes 0 or the largest size.
fn sound_size(bytes: &Bytes, body: u64, said: u64, remarks: &mut Vec<Remark>) -> u64 {
    let left = bytes.length.saturating_sub(body);
    if said != 0 && said <= left {
        return said;
    }
    if said != left {
        let text = format!(
            "the sound is said to have {said} bytes; the {left} up to the end of the file are taken"
        );
        remarks.push(Remark::new(&bytes.name, Place::Byte(body - 4), text));
    }
    left
}

/// The size of the sound in 64 bits.
fn read_long(bytes: &mut Bytes, body: u64) -> Result<Option<u64>, ReadError> {
    let mut size = [0; 8];
    Ok((bytes.read_at(body + 8, &mut size)? == 8).then(|| u64::from_le_bytes(size)))
}

fn read_form(bytes: &mut Bytes, body: u64, size: u64) -> Result<Form, ReadError> {
    let mut form = [0; 40];
    let wanted = size.min(40) as usize;
    let filled = bytes.read_at(body, &mut form[..wanted])?;
    let place = |offset: u64| Place::Byte(body + offset);
    if filled < 16 {
        let fault = ReadFault::Damaged("the description of the sound is cut off".into());
        return Err(fault.at(&bytes.name, place(0)));
    }
    let word = |at: usize| u16::from_le_bytes([form[at], form[at + 1]]);
    // In the extensible form the kind stands in the first bytes of an identifier.
    let kind = if word(0) == EXTENSIBLE && filled >= 26 { word(24) } else { word(0) };
    let (channels, bits) = (usize::from(word(2)), word(14));
    let rate_hz = u32::from_le_bytes([form[4], form[5], form[6], form[7]]);
    if !(1..=MOST_CHANNELS).contains(&channels) {
        let fault = ReadFault::field("the number of channels", &channels.to_string(), "1 to 1024");
        return Err(fault.at(&bytes.name, place(2)));
    }
    if rate_hz == 0 {
        return Err(
            ReadFault::field("the sampling rate", "0", "1 or more").at(&bytes.name, place(4))
        );
    }
    let coding = match (kind, bits) {
        (PCM, 8 | 16 | 24 | 32) => Coding::Integer(usize::from(bits / 8)),
        (FLOAT, 32 | 64) => Coding::Float(usize::from(bits / 8)),
        _ => {
            let fault = ReadFault::Unsupported {
                what: format!("sound of kind {kind} with {bits} bits is not read"),
                remedy: "save it as uncompressed WAV (PCM) of 16 bits",
            };
            return Err(fault.at(&bytes.name, place(0)));
        }
    };
    Ok(Form { coding, channels, rate_hz })
}

impl Samples for Wav {
    fn read(
        &mut self,
        signal: usize,
        from: u64,
        count: usize,
        into: &mut Vec<f64>,
    ) -> Result<(), ReadError> {
        let width = self.form.coding.width();
        let frame = width * self.form.channels;
        let piece = (PIECE / frame).max(1);
        let mut buffer = vec![0; piece.min(count) * frame];
        let mut done = 0;
        while done < count {
            let wanted = piece.min(count - done) * frame;
            let at = self.start + (from + done as u64) * frame as u64;
            let filled = self.bytes.read_at(at, &mut buffer[..wanted])?;
            if filled < wanted {
                let fault = ReadFault::Damaged("the file has become shorter".into());
                return Err(fault.at(&self.bytes.name, Place::Byte(at)));
            }
            let frames = buffer[..wanted].chunks_exact(frame);
            into.extend(frames.map(|one| self.form.coding.value(&one[signal * width..][..width])));
            done += wanted / frame;
        }
        Ok(())
    }
}
