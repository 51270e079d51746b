//! Published measurement, as data.

use cycle::Subject;
use serde::Deserialize;

use crate::network::Network;
use crate::{Fault, Point};

/// What has been measured and published about a subject.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Published {
    /// Lowest and highest rate, in repetitions a minute, for which lines over the rate hold.
    pub rates: [f64; 2],
    /// The measurements.
    pub measured: Vec<Measured>,
}

/// One published range: how much later, or higher, one point is than another.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// Identifier.
    pub id: String,
    /// What it is measured from.
    pub from: Point,
    /// What is measured.
    pub to: Point,
    /// Whether it is a time in milliseconds; otherwise a height in the channel's unit.
    pub time: bool,
    /// Lowest usual value, and its change with each repetition a minute.
    pub low: [f64; 2],
    /// Highest usual value, and its change with each repetition a minute.
    pub high: [f64; 2],
    /// Who or what was measured, and how the range was taken.
    pub about: String,
    /// Where it was published.
    pub source: String,
    /// How sure it is: "verified", "second-hand", "from memory" or "computed".
    pub status: String,
}

/// A fault in a file of published measurement.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct PublishedError(pub Fault);

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PublishedText {
    rates_bpm: [f64; 2],
    measured: Vec<toml::Spanned<MeasuredText>>,
}

/// A value, or a line over the rate: the value at 0 and the change with each a minute.
#[derive(Clone, Copy, Deserialize)]
#[serde(untagged, expecting = "expected a number, or the value at rate 0 and its slope")]
enum Line {
    Value(f64),
    Line([f64; 2]),
}

impl Line {
    fn line(self) -> [f64; 2] {
        match self {
            Self::Value(value) => [value, 0.0],
            Self::Line(line) => line,
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MeasuredText {
    id: String,
    from: String,
    to: String,
    low_ms: Option<Line>,
    high_ms: Option<Line>,
    low: Option<Line>,
    high: Option<Line>,
    about: String,
    source: String,
    status: String,
}

/// What published measurement says of two points.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Range {
    pub(crate) low: Option<f64>,
    pub(crate) high: Option<f64>,
    /// The measurements it rests on: one, or several added up.
    pub(crate) from: Vec<usize>,
}

impl Range {
    /// The range without a tenth at either edge.
    pub(crate) fn core(&self) -> Self {
        let edge = self.low.zip(self.high).map_or(0.0, |(low, high)| 0.1 * (high - low));
        let (low, high) = (self.low.map(|low| low + edge), self.high.map(|high| high - edge));
        Self { low, high, from: self.from.clone() }
    }
}

impl Published {
    /// Reads published measurement in TOML about `subject`.
    ///
    /// # Errors
    /// The first fault, with its line.
    pub fn from_toml(text: &str, subject: &Subject) -> Result<Self, PublishedError> {
        let fault = |at: usize, what: String| {
            let line = text.get(..at).unwrap_or(text).matches('\n').count() + 1;
            let shown = text.lines().nth(line - 1).unwrap_or_default().trim().to_owned();
            PublishedError(Fault { line, text: shown, what })
        };
        let file: PublishedText = toml::from_str(text).map_err(|error| {
            fault(error.span().map_or(0, |span| span.start), error.message().to_owned())
        })?;
        let channels: Vec<String> = subject.channels.iter().map(|kind| kind.id.clone()).collect();
        let mut measured = Vec::new();
        for spanned in file.measured {
            let at = spanned.span().start;
            let text = spanned.into_inner();
            let point = |typed: &str| {
                Point::find(typed, &channels, subject).map_err(|what| fault(at, what))
            };
            let (time, low, high) = match (text.low_ms, text.high_ms, text.low, text.high) {
                (Some(low), Some(high), None, None) => (true, low, high),
                (None, None, Some(low), Some(high)) => (false, low, high),
                _ => {
                    let what = "give either low_ms and high_ms, or low and high";
                    return Err(fault(at, what.to_owned()));
                }
            };
            measured.push(Measured {
                from: point(&text.from)?,
                to: point(&text.to)?,
                time,
                low: low.line(),
                high: high.line(),
                id: text.id,
                about: text.about,
                source: text.source,
                status: text.status,
            });
        }
        Ok(Self { rates: file.rates_bpm, measured })
    }

    /// Whether a measurement says anything about this rate.
    fn holds(&self, measured: &Measured, rate_bpm: f64) -> bool {
        let level = measured.low[1] == 0.0 && measured.high[1] == 0.0;
        level || (self.rates[0]..=self.rates[1]).contains(&rate_bpm)
    }

    /// The measurements of times that hold at this rate, with their numbers.
    fn times(&self, rate_bpm: f64) -> impl Iterator<Item = (usize, &Measured)> {
        let all = self.measured.iter().enumerate();
        all.filter(move |(_, m)| m.time && self.holds(m, rate_bpm))
    }

    /// The range of times in milliseconds by which `to` is later than `from` at `rate_bpm`.
    ///
    /// Where this pair was not measured itself, ranges are added up along the shortest way,
    /// which makes the result wider than a measurement would be.
    pub(crate) fn range_ms(&self, from: &Point, to: &Point, rate_bpm: f64) -> Option<Range> {
        let measured = |a: &Point, b: &Point| {
            let (number, m) = self.times(rate_bpm).find(|(_, m)| m.from == *a && m.to == *b)?;
            Some((m.at(rate_bpm), vec![number]))
        };
        if let Some(([low, high], sources)) = measured(from, to) {
            return Some(Range { low: Some(low), high: Some(high), from: sources });
        }
        if let Some(([low, high], sources)) = measured(to, from) {
            return Some(Range { low: Some(-high), high: Some(-low), from: sources });
        }
        let mut points: Vec<&Point> = Vec::new();
        for point in self.times(rate_bpm).flat_map(|(_, m)| [&m.from, &m.to]) {
            if !points.contains(&point) {
                points.push(point);
            }
        }
        let index = |point: &Point| points.iter().position(|other| *other == point);
        let (a, b) = (index(from)?, index(to)?);
        let mut network = Network::new(points.len());
        let ticks = |ms: f64| Some((ms * 1e6).round() as i64);
        for (number, m) in self.times(rate_bpm) {
            let [low, high] = m.at(rate_bpm);
            network.limit(index(&m.from)?, index(&m.to)?, ticks(low), ticks(high), Some(number));
        }
        // At a rate at which the sources contradict one another, nothing can be added up.
        let minimal = network.solve().ok()?;
        let ms = |ticks: Option<i64>| ticks.map(|ticks| ticks as f64 / 1e6);
        let (low, high) = (ms(minimal.least(a, b)), ms(minimal.most(a, b)));
        if low.is_none() && high.is_none() {
            return None;
        }
        let mut from: Vec<usize> = Vec::new();
        let ways = [(a, b, low.is_some()), (b, a, high.is_some())];
        for (a, b, bounded) in ways {
            if bounded {
                from.extend(minimal.why_least(a, b).iter().filter_map(|link| link.rule));
            }
        }
        from.sort_unstable();
        from.dedup();
        Some(Range { low, high, from })
    }

    /// The range of heights by which `to` is higher than `from`.
    pub(crate) fn range_of_height(&self, from: &Point, to: &Point, rate_bpm: f64) -> Option<Range> {
        self.measured.iter().enumerate().filter(|(_, m)| !m.time).find_map(|(index, m)| {
            let [low, high] = m.at(rate_bpm);
            let (low, high) = match (m.from == *from && m.to == *to, m.from == *to && m.to == *from)
            {
                (true, _) => (low, high),
                (_, true) => (-high, -low),
                _ => return None,
            };
            Some(Range { low: Some(low), high: Some(high), from: vec![index] })
        })
    }
}

impl Measured {
    /// Lowest and highest usual value at `rate_bpm`.
    pub fn at(&self, rate_bpm: f64) -> [f64; 2] {
        [self.low, self.high].map(|[value, slope]| value + slope * rate_bpm)
    }
}
