//! What was found, in words and numbers to read.

use std::fmt::Write as _;

use convention::{Convention, Verdict};
use cycle::Subject;
use recording::{
    Anchor, Average, CAUTION, Change, Format, LeftOut, Measurement, Named, Quality, Signal,
    Source as _, late_pulse,
};

use super::beside::Beside;
use super::lab::Lab;
use super::tables::qualities;
use crate::convention_command::{verdict_lines, wrapped};

/// All that the report is made of.
pub(crate) struct Told<'a> {
    pub(crate) lab: &'a Lab,
    pub(crate) subject: &'a Subject,
    pub(crate) beside: Option<&'a Beside>,
    /// Whose heart it was laid beside.
    pub(crate) heart: &'a str,
    pub(crate) convention: Option<(&'a Convention, &'a [Verdict])>,
}

/// So many beats that were left out are told one by one.
const LEFT_OUT: usize = 6;

/// The report, in the order in which a person wants to know.
pub(crate) fn report(told: &Told<'_>) -> String {
    let mut text = wrapped(CAUTION, "");
    text += "\n";
    text += &file(told.lab);
    text += &signals(told.lab);
    text += &beats(told);
    text += &by_hand(told.lab);
    text += &measurements(told);
    if let Some(why) = late_pulse(&told.lab.measured) {
        text += "\nWhy the finger's pulse is late\n";
        text += &wrapped(&why, "  ");
    }
    text += &departures(told);
    text += &judged(told);
    text
}

fn file(lab: &Lab) -> String {
    let format = format_words(lab.recording.format);
    let mut text = format!("{}: {format}, {}", lab.file(), lasting(lab.recording.duration_s()));
    match lab.recording.annotations.len() {
        0 => {}
        1 => text += ", 1 annotation",
        count => {
            let _ = write!(text, ", {count} annotations");
        }
    }
    text += "\n";
    for remark in &lab.recording.remarks {
        text += &wrapped(&remark.to_string(), "  ");
    }
    text
}

/// A format for people.
pub(crate) fn format_words(format: Format) -> &'static str {
    match format {
        Format::Edf => "EDF",
        Format::EdfPlusContinuous => "EDF+",
        Format::EdfPlusDiscontinuous => "EDF+ with gaps",
        Format::Wfdb => "WFDB",
        Format::Csv => "a table (CSV)",
        Format::Wav => "a sound file (WAV)",
        _ => "a recording",
    }
}

/// A length of time for people.
pub(crate) fn lasting(seconds: f64) -> String {
    match seconds {
        s if s < 120.0 => format!("{s:.1} s"),
        s if s < 7200.0 => format!("{:.0} min {:.0} s", (s / 60.0).floor(), s % 60.0),
        s => format!("{:.0} h {:.0} min", (s / 3600.0).floor(), (s % 3600.0) / 60.0),
    }
}

fn signals(lab: &Lab) -> String {
    let mut text = String::from("\nSignals\n");
    let all = lab.recording.signals();
    let longest = |of: &dyn Fn(&Signal) -> usize| all.iter().map(of).max().unwrap_or(0);
    let (wide, units) = (
        longest(&|signal| signal.label.chars().count()),
        longest(&|signal| signal.unit.chars().count()),
    );
    for (index, signal) in all.iter().enumerate() {
        let named = lab.named.iter().find(|named| named.signal == index);
        let taken = named.map_or_else(|| "not used".to_owned(), taken);
        let rate = format!("{} Hz", (100.0 * signal.rate_hz).round() / 100.0);
        let (label, unit) = (&signal.label, &signal.unit);
        let _ = writeln!(
            text,
            "  {:>2}  {label:<wide$}  {unit:<units$}  {rate:>9}  {taken}",
            index + 1
        );
        for warning in named.iter().flat_map(|named| &named.warnings) {
            text += &wrapped(&capital(warning), "        ");
        }
        if let Some(otherwise) = named.and_then(|named| otherwise(named, index)) {
            text += &wrapped(&otherwise, "        ");
        }
    }
    text
}

fn taken(named: &Named) -> String {
    let mut text = format!("taken for {}", named.channel);
    if let Some(lead) = &named.lead {
        let _ = write!(text, ", lead {lead}");
    }
    if named.turned {
        text += ", turned upside down";
    }
    if !named.sure {
        text += " (a guess)";
    }
    text
}

/// How to say that a guess is wrong.
fn otherwise(named: &Named, index: usize) -> Option<String> {
    let number = index + 1;
    let how = match named.channel.as_str() {
        _ if named.sure && !named.inverted => return None,
        _ if named.inverted && !named.turned => "to turn it: --turn".to_owned(),
        "radial_pressure" => format!(
            "if it is another pressure: --pressure {number}=aortic_pressure; if none: --pressure none"
        ),
        channel if channel.ends_with("_pressure") => {
            format!("if it is another pressure: --pressure {number}=CHANNEL")
        }
        "ecg" => "if another signal is the ECG: --ecg SIGNAL; if none is: --ecg none".to_owned(),
        "finger_pulse" => "if another signal is the pulse: --pulse SIGNAL".to_owned(),
        "heart_sounds" => "if another signal has the sounds: --sounds SIGNAL".to_owned(),
        _ => return None,
    };
    Some(capital(&how))
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().collect::<String>());
    first.unwrap_or_default() + letters.as_str()
}

fn beats(told: &Told<'_>) -> String {
    let lab = told.lab;
    let by = match lab.beats.first().map(|beat| beat.anchor) {
        Some(Anchor::Upstroke) => "by the steepest rise of the pulse; there is no ECG",
        Some(Anchor::FirstSound) => "by the first sound; there is neither ECG nor pulse",
        _ => "by their R peaks",
    };
    let mut text = format!("\nBeats\n  {} found, {by}\n", lab.beats.len());
    match &lab.average {
        Some(average) => {
            text += &wrapped(&average.provenance, "  ");
            for left in left_out_words(average) {
                text += &wrapped(&left, "    ");
            }
            let more = average.left_out.len().saturating_sub(LEFT_OUT);
            if more > 0 {
                let _ = writeln!(text, "    and {more} more, which --json lists with the reasons");
            }
        }
        None => text += "  There is no average beat: fewer than three are alike.\n",
    }
    text += "\nSignal quality\n";
    for (channel, named) in lab.named.iter().enumerate() {
        let all = qualities(&lab.beats, channel);
        let words: Vec<String> =
            all.iter().map(|(quality, count, why)| quality_words(*quality, *count, why)).collect();
        text += &wrapped(&format!("{}: {}", named.channel, words.join("; ")), "  ");
    }
    text
}

/// The first beats that were left out of the average, and why.
pub(crate) fn left_out_words(average: &Average) -> impl Iterator<Item = String> {
    let words = |left: &LeftOut| format!("left out at {:.2} s: {}", left.anchor_s, left.why);
    average.left_out.iter().take(LEFT_OUT).map(words)
}

/// In how many beats a quality was found, in words.
pub(crate) fn quality_words(quality: Quality, count: usize, why: &str) -> String {
    let beats = if count == 1 { "beat" } else { "beats" };
    match quality {
        Quality::Good => format!("good in {count} {beats}"),
        Quality::Noisy => format!("too noisy to measure in {count} (the first: {why})"),
        Quality::Flat => format!("a flat line in {count}"),
        Quality::Saturated => format!("cut off in {count} ({why})"),
        Quality::Missing => format!("not recorded in {count}"),
    }
}

fn by_hand(lab: &Lab) -> String {
    let Some(by_hand) = &lab.by_hand else { return String::new() };
    let mut text = format!("\nCorrected by hand ({})\n", by_hand.path.display());
    let first = by_hand.corrections.len() - by_hand.added;
    for (index, one) in by_hand.corrections.iter().enumerate() {
        let what = match one.change {
            Change::Moved { from_s, to_s } => format!("moved from {from_s} s to {to_s} s"),
            Change::Removed { from_s } => format!("at {from_s} s removed"),
            Change::Added { to_s } => format!("put at {to_s} s"),
        };
        let new = if index >= first { " (new)" } else { "" };
        let line =
            format!("{} {} {what} by {}: {}{new}", one.channel, one.landmark, one.who, one.why);
        text += &wrapped(&line, "  ");
    }
    text
}

fn measurements(told: &Told<'_>) -> String {
    let measured = &told.lab.measured;
    let mut text = format!(
        "\nMeasurements\n  {:<30} {:<5} {:>5} {:>7} {:>7} {:>6} {:>15} {:>15}\n",
        "", "", "beats", "median", "mean", "SD", "range", "published"
    );
    let mut channel = "";
    for one in &measured.measurements {
        if one.channel != channel {
            channel = &one.channel;
            let title = told.subject.channel(channel).map_or(channel, |kind| &kind.title);
            let _ = writeln!(text, "  {title}");
        }
        text += &line(one);
    }
    text += "\nPublished ranges\n";
    for line in published(&measured.measurements) {
        text += &wrapped(&line, "  ");
    }
    text += &wrapped(measured.note, "  ");
    text
}

/// What the published ranges are, each once with all that it stands beside.
pub(crate) fn published(measurements: &[Measurement]) -> Vec<String> {
    let mut all: Vec<(String, Vec<String>)> = Vec::new();
    for one in measurements {
        let Some(published) = &one.published else { continue };
        let words = format!("{}. {} [{}]", published.about, published.source, published.status);
        let on = if one.channel.is_empty() { String::new() } else { format!(" ({})", one.channel) };
        let title = format!("{}{on}", one.title);
        match all.iter_mut().find(|(same, _)| *same == words) {
            Some((_, titles)) => titles.push(title),
            None => all.push((words, vec![title])),
        }
    }
    let lines = all.iter().map(|(words, titles)| format!("{}: {words}", titles.join(", ")));
    lines.map(|line| capital(&line)).collect()
}

fn line(one: &Measurement) -> String {
    let values = &one.values;
    let digits = usize::from(values.max.abs() < 10.0);
    let number = |value: f64| format!("{value:.digits$}");
    let published = one.published.as_ref();
    let published =
        published.map_or_else(String::new, |p| format!("{:.0} to {:.0}", p.low, p.high));
    // Of a single number for the whole recording there is neither spread nor range.
    let single = matches!(one.id, "sdnn" | "rmssd");
    let (count, mean, sd, range) = if single {
        let none = String::new;
        (none(), none(), none(), none())
    } else {
        (
            values.count.to_string(),
            number(values.mean),
            format!("{:.1}", values.sd),
            format!("{} to {}", number(values.min), number(values.max)),
        )
    };
    let row = format!(
        "  {:<30} {:<5} {count:>5} {:>7} {mean:>7} {sd:>6} {range:>15} {published:>15}",
        one.title,
        one.unit,
        number(values.median)
    );
    row.trim_end().to_owned() + "\n"
}

/// Where the average beat departs from the computed heart.
fn departures(told: &Told<'_>) -> String {
    let Some(average) = &told.lab.average else { return String::new() };
    let mut text = format!("\nThe average beat beside {}\n", told.heart);
    let Some(beside) = told.beside else {
        return text + "  They share no landmark on which they could be aligned.\n";
    };
    let title = |id: &str| told.subject.title_of(id).unwrap_or(id).to_owned();
    text += &wrapped(
        &format!(
            "Milliseconds after the {}; ≠ where they differ by more than 20 ms and by more than the beats scatter. {:.0} beats a minute recorded, {:.0} computed.",
            title(beside.aligned_on),
            beside.recorded_bpm,
            beside.computed_bpm
        ),
        "  ",
    );
    let mut channel = "";
    for row in &beside.rows {
        if row.channel != channel {
            channel = &row.channel;
            let title = told.subject.channel(channel).map_or(channel, |kind| &kind.title);
            let _ = writeln!(text, "  {title:<42} {:>8} {:>6} {:>9}", "recorded", "SD", "computed");
        }
        let sd = row.sd_ms.map_or_else(String::new, |sd| format!("{sd:.0}"));
        let mark = if row.departs { "≠" } else { " " };
        let (name, recorded, computed) = (title(row.name), row.recorded_ms, row.computed_ms);
        let _ = write!(text, "  {mark} {name:<40} {recorded:>8.0} {sd:>6} {computed:>9.0}");
        let off = (row.recorded_ms - row.computed_ms).round();
        let which = if off < 0.0 { "earlier" } else { "later" };
        text += &if row.departs {
            format!("   {:.0} ms {which}\n", off.abs())
        } else {
            "\n".to_owned()
        };
    }
    if average.cycle.trace("ecg").is_some() && beside.rows.iter().all(|row| !row.departs) {
        text += "  They agree.\n";
    }
    text += &wrapped(
        "The computed heart is one resting adult among many: a difference is something to ask about in class, not a finding about a person.",
        "  ",
    );
    text
}

fn judged(told: &Told<'_>) -> String {
    let Some((rules, verdicts)) = told.convention else { return String::new() };
    let mut text = format!("\nThe average beat held to the convention “{}”\n", rules.title);
    let (untold, told): (Vec<Verdict>, Vec<Verdict>) = verdicts
        .iter()
        .cloned()
        .partition(|verdict| verdict.outcome == convention::Outcome::CannotTell);
    text += &verdict_lines(&told);
    if !untold.is_empty() {
        let rules: Vec<&str> = untold.iter().map(|verdict| verdict.rule.as_str()).collect();
        text += &wrapped(&format!("Not shown by this recording: {}", rules.join(", ")), "");
    }
    text
}
