//! WFDB signal files compressed as FLAC: each signal is a channel.
//!
//! Frames are decoded by `claxon`, which reads from the start on; where each frame starts is kept
//! here, so that ranges can be read in any order. Metadata after xiph.org's description of the format.

use std::io;

use claxon::frame::FrameReader;
use claxon::input::ReadBytes;
use claxon::{Block, Error};

use super::super::error::{Place, ReadError, ReadFault};
use super::super::files::Bytes;

/// More metadata than this is a fault.
const MOST_METADATA: usize = 1_000;
/// So many bytes are read at a time.
const PIECE: usize = 16_384;

pub(super) struct Flac {
    input: Input,
    pub(super) channels: usize,
    pub(super) bits: u32,
    /// Samples of each channel, where the file says it.
    pub(super) samples: Option<u64>,
    /// First sample and byte of each frame seen so far.
    starts: Vec<(u64, u64)>,
    /// The frame decoded last, and its first sample.
    current: Option<(u64, Block)>,
}

impl Flac {
    pub(super) fn open(mut bytes: Bytes) -> Result<Self, ReadError> {
        let damaged = |what: &str, at, bytes: &Bytes| {
            ReadFault::Damaged(what.into()).at(&bytes.name, Place::Byte(at))
        };
        let mut head = [0; 42];
        if bytes.read_at(0, &mut head)? < 42 || !head.starts_with(b"fLaC") || head[4] & 0x7f != 0 {
            return Err(damaged("this is not a FLAC file, as the header says", 0, &bytes));
        }
        let word =
            |at: usize| u32::from_be_bytes([head[at], head[at + 1], head[at + 2], head[at + 3]]);
        // 20 bits of rate, 3 of channels, 5 of bits per sample and 36 of length.
        let fields = u64::from(word(18)) << 32 | u64::from(word(22));
        let channels = (fields >> 41 & 7) as usize + 1;
        let bits = (fields >> 36 & 31) as u32 + 1;
        let samples = Some(fields & 0xf_ffff_ffff).filter(|&samples| samples > 0);
        let mut at = 4;
        for _ in 0..MOST_METADATA {
            let mut block = [0; 4];
            if bytes.read_at(at, &mut block)? < 4 {
                return Err(damaged("the FLAC file ends before its samples", at, &bytes));
            }
            at += 4 + u64::from(u32::from_be_bytes([0, block[1], block[2], block[3]]));
            if block[0] & 0x80 != 0 {
                let input = Input { bytes, buffer: Vec::new(), start: at, next: 0 };
                let starts = vec![(0, at)];
                return Ok(Self { input, channels, bits, samples, starts, current: None });
            }
        }
        Err(damaged("the FLAC file has too much metadata", at, &bytes))
    }

    /// Appends `count` samples of a channel; fewer where the file ends.
    pub(super) fn read(
        &mut self,
        channel: usize,
        from: u64,
        count: usize,
        into: &mut Vec<i64>,
    ) -> Result<(), ReadError> {
        let (mut at, end) = (from, from + count as u64);
        while at < end {
            let Some((start, block)) = self.frame_with(at)? else {
                return self.end(at);
            };
            let first = (at - start) as usize;
            let run = (block.duration() as usize - first).min((end - at) as usize);
            let values = &block.channel(channel as u32)[first..][..run];
            into.extend(values.iter().map(|&value| i64::from(value)));
            at += run as u64;
        }
        Ok(())
    }

    /// Whether the file may end here.
    fn end(&self, at: u64) -> Result<(), ReadError> {
        match self.samples.filter(|&samples| at < samples) {
            Some(samples) => Err(self.damaged(
                self.input.position(),
                &format!("the FLAC file should have {samples} samples, and ends before"),
            )),
            None => Ok(()),
        }
    }

    /// The frame that holds a sample; none past the end.
    fn frame_with(&mut self, at: u64) -> Result<Option<(u64, &Block)>, ReadError> {
        let ends = |(start, block): &(u64, Block)| start + u64::from(block.duration());
        let place = self.starts.partition_point(|&(sample, _)| sample <= at).max(1) - 1;
        let (known, byte) = self.starts[place];
        let mut start = match &self.current {
            Some(current) if current.0 <= at && at < ends(current) => {
                return Ok(self.current.as_ref().map(|(start, block)| (*start, block)));
            }
            Some(current) if ends(current) <= at && ends(current) >= known => ends(current),
            _ => {
                self.input.go_to(byte);
                known
            }
        };
        loop {
            let Some(block) = self.decode(start)? else { return Ok(None) };
            let current = (start, block);
            let end = ends(&current);
            self.current = Some(current);
            if at < end {
                return Ok(self.current.as_ref().map(|(start, block)| (*start, block)));
            }
            start = end;
        }
    }

    /// Decodes the frame whose first sample is `start`, where the input stands.
    fn decode(&mut self, start: u64) -> Result<Option<Block>, ReadError> {
        let byte = self.input.position();
        let buffer = self.current.take().map(|(_, block)| block.into_buffer()).unwrap_or_default();
        let block = match FrameReader::new(&mut self.input).read_next_or_eof(buffer) {
            Ok(None) => return Ok(None),
            Ok(Some(block))
                if block.duration() > 0 && block.channels() as usize == self.channels =>
            {
                block
            }
            Ok(Some(_)) => {
                return Err(self.damaged(byte, "a frame has other channels than the file"));
            }
            Err(Error::IoError(error)) if error.kind() != io::ErrorKind::UnexpectedEof => {
                return Err(ReadFault::from(error).at(&self.input.bytes.name, Place::Byte(byte)));
            }
            Err(error) => {
                return Err(self.damaged(byte, &format!("a FLAC frame is spoiled ({error})")));
            }
        };
        if self.starts.last().is_some_and(|&(last, _)| last < start) {
            self.starts.push((start, byte));
        }
        Ok(Some(block))
    }

    fn damaged(&self, byte: u64, what: &str) -> ReadError {
        ReadFault::Damaged(what.into()).at(&self.input.bytes.name, Place::Byte(byte))
    }
}

/// The file's bytes in order, with the place known: a frame's start can be gone back to.
struct Input {
    bytes: Bytes,
    buffer: Vec<u8>,
    /// The byte of the file that `buffer` starts with.
    start: u64,
    next: usize,
}

impl Input {
    fn position(&self) -> u64 {
        self.start + self.next as u64
    }

    fn go_to(&mut self, byte: u64) {
        self.buffer.clear();
        (self.start, self.next) = (byte, 0);
    }

    /// Whether there is a next byte; reads on where the buffer is used up.
    fn fill(&mut self) -> io::Result<bool> {
        if self.next < self.buffer.len() {
            return Ok(true);
        }
        let at = self.position();
        self.buffer.resize(PIECE, 0);
        let filled = self.bytes.read_at(at, &mut self.buffer);
        let filled = filled.map_err(|error| io::Error::other(error.to_string()))?;
        self.buffer.truncate(filled);
        (self.start, self.next) = (at, 0);
        Ok(filled > 0)
    }
}

impl ReadBytes for Input {
    fn read_u8(&mut self) -> io::Result<u8> {
        self.read_u8_or_eof()?.ok_or_else(|| io::ErrorKind::UnexpectedEof.into())
    }

    fn read_u8_or_eof(&mut self) -> io::Result<Option<u8>> {
        if !self.fill()? {
            return Ok(None);
        }
        self.next += 1;
        Ok(Some(self.buffer[self.next - 1]))
    }

    fn read_into(&mut self, buffer: &mut [u8]) -> io::Result<()> {
        for byte in buffer {
            *byte = self.read_u8()?;
        }
        Ok(())
    }

    fn skip(&mut self, amount: u32) -> io::Result<()> {
        self.go_to(self.position() + u64::from(amount));
        Ok(())
    }
}
