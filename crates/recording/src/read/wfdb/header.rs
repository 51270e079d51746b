//! WFDB headers: a line about the record, then one for each signal or segment.
//!
//! Fields after the published description of the header format at physionet.org (reference row
//! 9.33 for its defaults). Comments may say who was recorded and are passed over.

use super::super::error::{Place, ReadError, ReadFault};
use super::formats::Coding;

/// Samples per second where the header does not say.
const DEFAULT_RATE_HZ: f64 = 250.0;
/// Steps per unit where the header does not say.
const DEFAULT_GAIN: f64 = 200.0;
/// More signals than this in a file are a fault.
const MOST_SIGNALS: usize = 10_000;
/// More samples of a signal in a frame are a fault.
const MOST_PER_FRAME: u32 = 65_535;

#[derive(Clone, Debug)]
pub(super) struct Header {
    /// Frames per second.
    pub(super) rate_hz: f64,
    pub(super) frames: Option<u64>,
    pub(super) body: Body,
}

#[derive(Clone, Debug)]
pub(super) enum Body {
    Signals(Vec<SignalLine>),
    Segments(Vec<SegmentLine>),
}

#[derive(Clone, Debug)]
pub(super) struct SegmentLine {
    pub(super) name: String,
    pub(super) frames: u64,
    pub(super) line: u64,
}

#[derive(Clone, Debug)]
pub(super) struct SignalLine {
    pub(super) file: String,
    pub(super) coding: Coding,
    /// Samples in a frame.
    pub(super) per_frame: u64,
    /// Frames by which the signal lags.
    pub(super) skew: u64,
    /// Bytes before the samples.
    pub(super) offset: u64,
    /// Steps per unit; whether it is only the default.
    pub(super) gain: f64,
    pub(super) uncalibrated: bool,
    pub(super) baseline: f64,
    pub(super) unit: String,
    pub(super) resolution: u32,
    pub(super) zero: i64,
    pub(super) first: Option<i64>,
    pub(super) checksum: Option<i64>,
    pub(super) label: String,
    pub(super) line: u64,
}

/// A line that is no comment, with its number.
struct Line<'a> {
    file: &'a str,
    text: &'a str,
    number: u64,
}

impl Line<'_> {
    fn fault(&self, field: &'static str, text: &str, expected: &'static str) -> ReadError {
        ReadFault::field(field, text, expected).at(self.file, Place::Line(self.number))
    }
}

impl Header {
    pub(super) fn read(file: &str, text: &str) -> Result<Self, ReadError> {
        let mut lines = text
            .lines()
            .zip(1..)
            .map(|(text, number)| Line { file, text: text.trim(), number })
            .filter(|line| !line.text.is_empty() && !line.text.starts_with('#'));
        let Some(first) = lines.next() else {
            return Err(ReadFault::Damaged("the header holds no record line".into()).of(file));
        };
        let (segments, signals, mut header) = record_line(&first)?;
        let (count, what) = match segments {
            Some(segments) => (segments, "segment"),
            None => (signals, "signal"),
        };
        let taken: Vec<Line<'_>> = lines.take(count).collect();
        if taken.len() < count {
            let there = taken.len();
            let fault = ReadFault::Damaged(format!(
                "{count} {what} lines are announced and {there} are there"
            ));
            return Err(fault.at(file, Place::Line(first.number)));
        }
        match segments {
            Some(_) => {
                let lines = taken.iter().map(segment_line).collect::<Result<_, _>>()?;
                header.body = Body::Segments(lines);
            }
            None => {
                let lines = taken.iter().zip(1..).map(signal_line).collect::<Result<_, _>>()?;
                header.body = Body::Signals(lines);
            }
        }
        Ok(header)
    }
}

/// How many segments (if any) and signals there are, and the rest.
fn record_line(line: &Line<'_>) -> Result<(Option<usize>, usize, Header), ReadError> {
    let mut fields = line.text.split_ascii_whitespace();
    let name = fields.next().unwrap_or_default();
    let segments = match name.split_once('/') {
        None => None,
        Some((_, count)) => {
            Some(count.parse().ok().filter(|&count| count > 0).ok_or_else(|| {
                line.fault("the number of segments", count, "a whole number after the “/”")
            })?)
        }
    };
    let text = fields.next().unwrap_or_default();
    let signals = text.parse().ok().filter(|&count| count <= MOST_SIGNALS);
    let signals =
        signals.ok_or_else(|| line.fault("the number of signals", text, "a whole number"))?;
    let rate_hz = match fields.next() {
        None => DEFAULT_RATE_HZ,
        Some(text) => {
            let rate = text.split('/').next().and_then(|text| text.parse().ok());
            rate.filter(|rate: &f64| rate.is_finite() && *rate > 0.0)
                .ok_or_else(|| line.fault("the sampling rate", text, "a number above 0"))?
        }
    };
    let frames = match fields.next() {
        None => None,
        Some(text) => Some(
            text.parse()
                .map_err(|_| line.fault("the number of samples", text, "a whole number"))?,
        ),
    };
    let frames = frames.filter(|&frames: &u64| frames > 0);
    Ok((segments, signals, Header { rate_hz, frames, body: Body::Signals(Vec::new()) }))
}

fn segment_line(line: &Line<'_>) -> Result<SegmentLine, ReadError> {
    let mut fields = line.text.split_ascii_whitespace();
    let name = fields.next().unwrap_or_default().to_owned();
    let text = fields.next().unwrap_or_default();
    // Below 2^48, so that sums stay exact.
    let frames = text.parse().ok().filter(|&frames| frames < 1 << 48);
    let frames = frames
        .ok_or_else(|| line.fault("the number of samples of a segment", text, "a whole number"))?;
    Ok(SegmentLine { name, frames, line: line.number })
}

fn signal_line((line, number): (&Line<'_>, usize)) -> Result<SignalLine, ReadError> {
    let mut rest = line.text;
    let mut next = || {
        let (field, after) =
            rest.split_once(|c: char| c.is_ascii_whitespace()).unwrap_or((rest, ""));
        rest = after.trim_start();
        field
    };
    let file = next().to_owned();
    let mut signal = stored(line, file, next())?;
    let scale = next();
    let baseline = if scale.is_empty() { None } else { scaled(line, scale, &mut signal)? };
    let mut whole = |field: &'static str| match next() {
        "" => Ok(None),
        text => text.parse().map(Some).map_err(|_| line.fault(field, text, "a whole number")),
    };
    let resolution: Option<i64> = whole("the resolution of the converter")?;
    signal.resolution = resolution.and_then(|bits| u32::try_from(bits).ok()).unwrap_or(0);
    signal.zero = whole("the zero of the converter")?.unwrap_or(0);
    signal.first = whole("the first value")?;
    signal.checksum = whole("the checksum")?;
    whole("the block size")?;
    signal.baseline = baseline.unwrap_or(signal.zero as f64);
    signal.label = if rest.is_empty() { format!("signal {number}") } else { rest.to_owned() };
    Ok(signal)
}

/// Format, samples per frame, skew and offset: `212x4:3+24`.
fn stored(line: &Line<'_>, file: String, text: &str) -> Result<SignalLine, ReadError> {
    let number = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    let (format, mut rest) = text.split_at(number);
    let coding = Coding::named(format).ok_or_else(|| {
        let fault = ReadFault::Unsupported {
            what: format!(
                "signals of format “{}” are not read",
                super::super::error::excerpt(text)
            ),
            remedy: "convert the record to format 16",
        };
        fault.at(line.file, Place::Line(line.number))
    })?;
    let mut part = |mark: char| -> Result<Option<u64>, ReadError> {
        let Some(after) = rest.strip_prefix(mark) else { return Ok(None) };
        let end = after.find(|c: char| !c.is_ascii_digit()).unwrap_or(after.len());
        rest = &after[end..];
        let value = after[..end].parse::<u32>().ok().map(u64::from);
        value.map(Some).ok_or_else(|| line.fault("the format", text, "such as “16x4:3+24”"))
    };
    let (per_frame, skew, offset) = (part('x')?.unwrap_or(1), part(':')?, part('+')?);
    if !rest.is_empty() || !(1..=u64::from(MOST_PER_FRAME)).contains(&per_frame) {
        return Err(line.fault("the format", text, "such as “16x4:3+24”"));
    }
    Ok(SignalLine {
        file,
        coding,
        per_frame,
        skew: skew.unwrap_or(0),
        offset: offset.unwrap_or(0),
        gain: DEFAULT_GAIN,
        uncalibrated: true,
        baseline: 0.0,
        unit: "mV".into(),
        resolution: 0,
        zero: 0,
        first: None,
        checksum: None,
        label: String::new(),
        line: line.number,
    })
}

/// Gain, baseline and unit: `200(1024)/mV`. Gives the baseline.
fn scaled(line: &Line<'_>, text: &str, signal: &mut SignalLine) -> Result<Option<f64>, ReadError> {
    let fault = || line.fault("the gain", text, "such as “200(1024)/mV”");
    let (scale, unit) = text.split_once('/').unwrap_or((text, "mV"));
    let (gain, baseline) = match scale.split_once('(') {
        None => (scale, None),
        Some((gain, baseline)) => {
            let baseline = baseline.strip_suffix(')').and_then(|text| text.parse::<i64>().ok());
            (gain, Some(baseline.ok_or_else(fault)? as f64))
        }
    };
    let gain: f64 = gain.parse().ok().filter(|gain: &f64| gain.is_finite()).ok_or_else(fault)?;
    unit.clone_into(&mut signal.unit);
    if gain != 0.0 {
        (signal.gain, signal.uncalibrated) = (gain, false);
    }
    Ok(baseline)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn signals(text: &str) -> Vec<SignalLine> {
        match Header::read("a.hea", text).expect("the header is whole").body {
            Body::Signals(signals) => signals,
            Body::Segments(_) => panic!("these are signals"),
        }
    }

    /// The defaults of reference row 9.33.
    #[test]
    fn what_is_not_said_has_its_default() {
        let header = Header::read("a.hea", "a 1\na.dat 16\n").expect("it is whole");
        assert_eq!((header.rate_hz, header.frames), (250.0, None));
        let one = &signals("a 1\na.dat 16\n")[0];
        assert_eq!((one.gain, one.baseline, one.unit.as_str()), (200.0, 0.0, "mV"));
        assert_eq!((one.per_frame, one.label.as_str()), (1, "signal 1"));
        assert!(one.uncalibrated);
    }

    #[test]
    fn all_fields_are_read() {
        let text = "# before\r\n\r\na 2 62.5/999.5(3) 100 12:00:00 1/1/2000\r\n\
                    b.dat 212x4:2+24 -1.5e2(-7)/mmHg 12 5 9 -3 0 an  arterial line \r\n\
                    # between\r\nb.dat 212 0 12 5\r\n";
        let header = Header::read("a.hea", text).expect("it is whole");
        assert_eq!((header.rate_hz, header.frames), (62.5, Some(100)));
        let [one, two] = &signals(text)[..] else { panic!("there are two") };
        assert_eq!((one.per_frame, one.skew, one.offset), (4, 2, 24));
        assert_eq!((one.gain, one.baseline, one.unit.as_str()), (-150.0, -7.0, "mmHg"));
        assert_eq!((one.first, one.checksum), (Some(9), Some(-3)));
        assert_eq!((one.label.as_str(), one.line), ("an  arterial line", 4));
        assert_eq!((two.gain, two.baseline, two.uncalibrated), (200.0, 5.0, true));
        let segments = Header::read("s.hea", "s/2 1 250 20\ns_1 10\n~ 10\n").expect("it is whole");
        assert!(matches!(segments.body, Body::Segments(ref all) if all[1].name == "~"));
    }

    #[test]
    fn faults_are_told_with_line_and_text() {
        for (text, told) in [
            ("", "a.hea: the header holds no record line; copy or export the file again"),
            ("a", "a.hea, line 1: the number of signals is “”; expected a whole number"),
            ("a 1 fast", "a.hea, line 1: the sampling rate is “fast”; expected a number above 0"),
            ("a 1 0", "a.hea, line 1: the sampling rate is “0”; expected a number above 0"),
            (
                "#\na 3\nb 16",
                "a.hea, line 2: 3 signal lines are announced and 1 are there; copy or export the file again",
            ),
            (
                "a 1\nb 17",
                "a.hea, line 2: signals of format “17” are not read; convert the record to format 16",
            ),
            ("a 1\nb 16x0", "a.hea, line 2: the format is “16x0”; expected such as “16x4:3+24”"),
            ("a 1\nb 16 x", "a.hea, line 2: the gain is “x”; expected such as “200(1024)/mV”"),
            ("a 1\nb 16 9 9 9 9 x", "a.hea, line 2: the checksum is “x”; expected a whole number"),
            (
                "a/0 1",
                "a.hea, line 1: the number of segments is “0”; expected a whole number after the “/”",
            ),
        ] {
            let error = Header::read("a.hea", text).expect_err(text);
            assert_eq!(error.to_string(), told);
        }
    }
}
