//! Beats and measurements as tables.

use cycle::{Cycle, Trace};
use recording::Source as _;
use recording::{Beat, BeatMark, Measurements, Quality};

use super::lab::Lab;

/// A row for each landmark of each beat, and one for each channel of a beat that has none.
pub(crate) fn beats_csv(lab: &Lab) -> String {
    let mut table = Table::new(&[
        "beat",
        "anchor_s",
        "anchor",
        "rr_s",
        "channel",
        "landmark",
        "time_s",
        "value",
        "unit",
        "confidence",
        "by_hand",
        "quality",
        "why",
    ]);
    for (index, beat) in lab.beats.iter().enumerate() {
        for channel in 0..lab.named.len() {
            let own: Vec<&BeatMark> =
                beat.marks.iter().filter(|mark| mark.channel == channel).collect();
            for mark in &own {
                table.row(&row(lab, index, beat, channel, Some(mark)));
            }
            if own.is_empty() {
                table.row(&row(lab, index, beat, channel, None));
            }
        }
    }
    table.text()
}

fn row(
    lab: &Lab,
    index: usize,
    beat: &Beat,
    channel: usize,
    mark: Option<&BeatMark>,
) -> Vec<String> {
    let named = &lab.named[channel];
    let unit = lab.recording.signals().get(named.signal).map_or("", |signal| &signal.unit);
    let quality = beat.quality.iter().find(|quality| quality.channel == channel);
    let of = |number: Option<f64>, digits: usize| {
        number.map_or_else(String::new, |number| format!("{number:.digits$}"))
    };
    vec![
        (index + 1).to_string(),
        of(Some(beat.anchor_s), 4),
        word(&beat.anchor),
        of(beat.rr_s, 4),
        named.channel.clone(),
        mark.map_or_else(String::new, |mark| mark.name.to_owned()),
        of(mark.map(|mark| mark.time_s), 4),
        mark.map_or_else(String::new, |mark| significant(mark.value)),
        mark.map_or_else(String::new, |_| unit.to_owned()),
        of(mark.map(|mark| mark.confidence), 2),
        mark.map_or_else(String::new, |mark| mark.by_hand.to_string()),
        quality.map_or_else(String::new, |quality| word(&quality.quality)),
        quality.map_or_else(String::new, |quality| quality.why.clone()),
    ]
}

/// As JSON has it, without the quotation marks.
fn word<T: serde::Serialize>(value: &T) -> String {
    let text = serde_json::to_value(value).ok();
    text.and_then(|text| text.as_str().map(str::to_owned)).unwrap_or_default()
}

/// So many digits as a recorder has, whatever the unit.
fn significant(value: f64) -> String {
    let digits = if value.abs() >= 100.0 { 2 } else { 4 };
    format!("{value:.digits$}")
}

/// A row for each measurement.
pub(crate) fn measurements_csv(measured: &Measurements) -> String {
    let mut table = Table::new(&[
        "id",
        "channel",
        "title",
        "unit",
        "count",
        "median",
        "mean",
        "sd",
        "min",
        "max",
        "published_low",
        "published_high",
        "about",
        "source",
        "status",
        "definition",
    ]);
    for one in &measured.measurements {
        let values = &one.values;
        let numbers = [values.median, values.mean, values.sd, values.min, values.max];
        let numbers = numbers.map(|value| format!("{value:.2}"));
        let published = one.published.as_ref();
        let bounds = [published.map(|p| p.low), published.map(|p| p.high)];
        let bounds = bounds.map(|b| b.map_or_else(String::new, |b| format!("{b:.1}")));
        let words = published.map_or(["", "", ""], |p| [p.about, p.source, p.status]);
        let mut row = vec![one.id.to_owned(), one.channel.clone(), one.title.to_owned()];
        row.extend([one.unit.clone(), values.count.to_string()]);
        row.extend(numbers);
        row.extend(bounds);
        row.extend(words.map(str::to_owned));
        row.push(one.definition.to_owned());
        table.row(&row);
    }
    table.text()
}

/// One standard deviation of the beats at each sample of the average, as its traces are written.
pub(crate) fn spread_csv(average: &recording::Average) -> Option<String> {
    let traces = average.spread.iter().filter_map(|spread| {
        let trace = average.cycle.trace(&spread.channel)?;
        let sd = spread.sd.clone();
        Some(Trace::new(&spread.channel, &trace.unit, trace.rate_hz, trace.start_s, sd))
    });
    let cycle =
        Cycle { period_s: average.cycle.period_s, traces: traces.collect(), ..Cycle::default() };
    cycle.traces_csv()
}

/// In how many beats each quality was found on a channel.
pub(crate) fn qualities(beats: &[Beat], channel: usize) -> Vec<(Quality, usize, &str)> {
    use Quality::{Flat, Good, Missing, Noisy, Saturated};
    let of = |wanted: Quality| {
        let all = beats.iter().flat_map(|beat| &beat.quality);
        let mut all = all.filter(|q| q.channel == channel && q.quality == wanted).peekable();
        let why = all.peek().map_or("", |first| first.why.as_str());
        (wanted, all.count(), why)
    };
    [Good, Noisy, Flat, Saturated, Missing].map(of).into_iter().filter(|(_, n, _)| *n > 0).collect()
}

/// A table of comma-separated values.
struct Table(csv::Writer<Vec<u8>>);

impl Table {
    fn new(headers: &[&str]) -> Self {
        let mut table = Self(csv::Writer::from_writer(Vec::new()));
        table.row(&headers.iter().map(|header| (*header).to_owned()).collect::<Vec<_>>());
        table
    }

    fn row(&mut self, fields: &[String]) {
        self.0.write_record(fields).expect("writing to memory succeeds and rows have one length");
    }

    fn text(self) -> String {
        let bytes = self.0.into_inner().expect("flushing to memory succeeds");
        String::from_utf8(bytes).expect("fields are text")
    }
}
