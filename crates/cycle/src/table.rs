//! A cycle as two tables of comma-separated values (RFC 4180), for spreadsheets.
//!
//! Traces make a wide table: a time column, then a column for each channel headed
//! `channel (unit)`. Landmarks, events, phases, labels and the summary make a second, long one.

use crate::{Cycle, Error, Event, Label, Landmark, Phase, Trace};

const TIME_HEADER: &str = "time_s";
const MARK_HEADERS: [&str; 5] = ["kind", "name", "channel", "time_s", "value"];

impl Cycle {
    /// The traces as a table, or `None` where they do not share one rate and start.
    ///
    /// Two comment lines at the top carry the period, rate and start, so that
    /// [`Cycle::from_csv`] gives back the same bits.
    pub fn traces_csv(&self) -> Option<String> {
        let (rate_hz, start_s, count) =
            self.traces.first().map_or((1.0, 0.0, 0), |t| (t.rate_hz, t.start_s, t.samples.len()));
        let same =
            |t: &Trace| t.rate_hz == rate_hz && t.start_s == start_s && t.samples.len() == count;
        if !self.traces.iter().all(same) {
            return None;
        }
        let mut writer = csv::Writer::from_writer(Vec::new());
        let headers = self.traces.iter().map(|t| format!("{} ({})", t.channel, t.unit));
        put(&mut writer, std::iter::once(TIME_HEADER.to_owned()).chain(headers));
        for index in 0..count {
            let time_s = start_s + index as f64 / rate_hz;
            let values = self.traces.iter().map(|t| t.samples[index].to_string());
            put(&mut writer, std::iter::once(time_s.to_string()).chain(values));
        }
        let repeats = if self.repeats { " repeats=true" } else { "" };
        let period_s = self.period_s;
        let head = format!("# period_s={period_s} rate_hz={rate_hz} start_s={start_s}{repeats}\n");
        Some(head + &finish(writer))
    }

    /// Landmarks, events, phases, labels and summary as a table with the columns `kind`, `name`,
    /// `channel`, `time_s` and `value`; a phase's value is its end in seconds.
    pub fn marks_csv(&self) -> String {
        let mut writer = csv::Writer::from_writer(Vec::new());
        put(&mut writer, MARK_HEADERS.map(str::to_owned));
        let mut row =
            |kind: &str, name: &str, channel: &str, time_s: Option<f64>, value: Option<f64>| {
                let number = |n: Option<f64>| n.map_or(String::new(), |n| n.to_string());
                put(
                    &mut writer,
                    [kind.into(), name.into(), channel.into(), number(time_s), number(value)],
                );
            };
        for l in &self.landmarks {
            row("landmark", &l.name, &l.channel, Some(l.time_s), Some(l.value));
        }
        for e in &self.events {
            row("event", &e.name, "", Some(e.time_s), None);
        }
        for p in &self.phases {
            row("phase", &p.name, "", Some(p.start_s), Some(p.end_s));
        }
        for l in &self.labels {
            row("label", &l.text, &l.channel, Some(l.time_s), None);
        }
        for (name, &value) in &self.summary {
            row("summary", name, "", None, Some(value));
        }
        finish(writer)
    }

    /// Reads the two tables that [`Cycle::traces_csv`] and [`Cycle::marks_csv`] write.
    ///
    /// # Errors
    /// [`Error::Table`] with the line at fault, [`Error::Inconsistent`] as for JSON.
    pub fn from_csv(traces: &str, marks: &str) -> Result<Self, Error> {
        let mut cycle = read_traces(traces)?;
        read_marks(marks, &mut cycle)?;
        cycle.check()?;
        Ok(cycle)
    }
}

fn put(writer: &mut csv::Writer<Vec<u8>>, fields: impl IntoIterator<Item = String>) {
    writer.write_record(fields).expect("writing to memory succeeds and rows have one length");
}

fn finish(writer: csv::Writer<Vec<u8>>) -> String {
    let bytes = writer.into_inner().expect("flushing to memory succeeds");
    String::from_utf8(bytes).expect("fields are text")
}

fn wrong(line: u64, what: impl Into<String>) -> Error {
    Error::Table { line, what: what.into() }
}

fn number(text: &str, line: u64) -> Result<f64, Error> {
    text.trim()
        .parse()
        .map_err(|_| wrong(line, format!("“{text}” is not a number; write it like 0.125")))
}

fn records(text: &str) -> impl Iterator<Item = Result<(u64, csv::StringRecord), Error>> {
    let reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    reader.into_records().map(|record| {
        let record = record.map_err(|error| {
            let line = error.position().map_or(1, csv::Position::line);
            wrong(line, format!("{error}; every row needs as many fields as the header"))
        })?;
        Ok((record.position().map_or(1, csv::Position::line), record))
    })
}

fn read_traces(text: &str) -> Result<Cycle, Error> {
    const HEAD: &str = "expected a first line such as “# period_s=0.8 rate_hz=1000 start_s=0”";
    let head = text
        .lines()
        .next()
        .and_then(|line| line.strip_prefix('#'))
        .ok_or_else(|| wrong(1, HEAD))?;
    let field = |name: &str| {
        let found = head
            .split_whitespace()
            .filter_map(|word| word.split_once('='))
            .find(|(key, _)| *key == name);
        number(found.ok_or_else(|| wrong(1, format!("{name} is missing; {HEAD}")))?.1, 1)
    };
    let (period_s, rate_hz, start_s) = (field("period_s")?, field("rate_hz")?, field("start_s")?);
    let repeats = head.split_whitespace().any(|word| word == "repeats=true");

    let mut rows = records(text);
    let (line, header) =
        rows.next().unwrap_or_else(|| Err(wrong(2, "the header line is missing")))?;
    if header.get(0) != Some(TIME_HEADER) {
        return Err(wrong(line, format!("the first column must be headed {TIME_HEADER}")));
    }
    let mut traces = Vec::new();
    for field in header.iter().skip(1) {
        let parts = field.strip_suffix(')').and_then(|field| field.rsplit_once(" ("));
        let (channel, unit) = parts.ok_or_else(|| {
            wrong(line, format!("“{field}” must be a channel and its unit, like “ecg (mV)”"))
        })?;
        traces.push(Trace::new(channel, unit, rate_hz, start_s, Vec::new()));
    }
    for row in rows {
        let (line, record) = row?;
        for (trace, field) in traces.iter_mut().zip(record.iter().skip(1)) {
            trace.samples.push(number(field, line)?);
        }
    }
    Ok(Cycle { period_s, traces, repeats, ..Cycle::default() })
}

fn read_marks(text: &str, cycle: &mut Cycle) -> Result<(), Error> {
    let mut rows = records(text);
    let (line, header) =
        rows.next().unwrap_or_else(|| Err(wrong(1, "the header line is missing")))?;
    if header.iter().ne(MARK_HEADERS) {
        return Err(wrong(line, format!("the columns must be {}", MARK_HEADERS.join(","))));
    }
    for row in rows {
        let (line, record) = row?;
        let [kind, name, channel, time, value] =
            [0, 1, 2, 3, 4].map(|i| record.get(i).unwrap_or_default());
        let name = name.to_owned();
        match kind {
            "landmark" => cycle.landmarks.push(Landmark {
                name,
                channel: channel.to_owned(),
                time_s: number(time, line)?,
                value: number(value, line)?,
            }),
            "event" => cycle.events.push(Event { name, time_s: number(time, line)? }),
            "phase" => {
                cycle.phases.push(Phase {
                    name,
                    start_s: number(time, line)?,
                    end_s: number(value, line)?,
                });
            }
            "label" => {
                let (text, channel) = (name, channel.to_owned());
                cycle.labels.push(Label { text, channel, time_s: number(time, line)? });
            }
            "summary" => {
                cycle.summary.insert(name, number(value, line)?);
            }
            other => {
                return Err(wrong(
                    line,
                    format!("“{other}” is no kind; use landmark, event, phase, label or summary"),
                ));
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn finite() -> impl Strategy<Value = f64> {
        prop_oneof![
            4 => -1e3..1e3f64,
            1 => any::<f64>().prop_filter("finite", |v| v.is_finite()),
            1 => Just(-0.0),
            1 => Just(f64::MIN_POSITIVE),
        ]
    }

    prop_compose! {
        fn any_cycle()(
            period_s in 1e-3..1e3f64, rate_hz in 1e-3..1e5f64, start_s in finite(),
            samples in prop::collection::vec((finite(), finite()), 0..20),
            marks in prop::collection::vec(("[a-z_,\" ]{1,12}", finite(), finite()), 0..6),
        ) -> Cycle {
            let (a, b): (Vec<f64>, Vec<f64>) = samples.into_iter().unzip();
            Cycle {
                period_s,
                traces: vec![
                    Trace::new("ecg", "mV", rate_hz, start_s, a),
                    Trace::new("lv_pressure", "mmHg", rate_hz, start_s, b),
                ],
                landmarks: marks.iter().map(|(name, time_s, value)| Landmark {
                    name: name.clone(), channel: "ecg".into(), time_s: *time_s, value: *value,
                }).collect(),
                events: marks.iter().map(|(name, time_s, _)| Event { name: name.clone(), time_s: *time_s }).collect(),
                phases: marks.iter().map(|(name, start_s, end_s)| Phase {
                    name: name.clone(), start_s: *start_s, end_s: *end_s,
                }).collect(),
                labels: marks.iter().map(|(text, time_s, _)| Label {
                    text: text.clone(), channel: "lv_pressure".into(), time_s: *time_s,
                }).collect(),
                repeats: marks.len() % 2 == 1,
                summary: marks.into_iter().map(|(name, value, _)| (name, value)).collect(),
            }
        }
    }

    proptest! {
        #[test]
        fn json_and_csv_read_back_to_the_same_bits(cycle in any_cycle()) {
            prop_assert_eq!(&Cycle::from_json(&cycle.to_json()).unwrap(), &cycle);
            let traces = cycle.traces_csv().unwrap();
            prop_assert_eq!(&Cycle::from_csv(&traces, &cycle.marks_csv()).unwrap(), &cycle);
        }

        #[test]
        fn no_text_makes_the_readers_panic(text in "(# period_s=1 rate_hz=1 start_s=0\n)?[ -~\n]{0,80}") {
            let _ = Cycle::from_json(&text).is_ok();
            let _ = Cycle::from_csv(&text, &text).is_ok();
        }
    }

    #[test]
    fn a_word_among_the_numbers_is_named_with_its_line() {
        let traces = "# period_s=1 rate_hz=2 start_s=0\ntime_s,ecg (mV)\n0,0.5\n0.5,high\n";
        let error =
            Cycle::from_csv(traces, "kind,name,channel,time_s,value\n").unwrap_err().to_string();
        assert_eq!(error, "line 4: “high” is not a number; write it like 0.125");
    }
}
