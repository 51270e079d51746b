//! What is read off an ECG strip, with how it is worked out.
//!
//! Everything is taken from the landmarks on the `ecg` channel, nothing from a rhythm's name:
//! the readings are what the paper shows. A small square is 1 mm or 40 ms, a large one 5 mm or
//! 200 ms (25 mm/s; IEC 60601-2-25, from memory). A student reads to half a small square, so
//! each end of an interval is off by 10 ms at most, and the interval by 20 (common practice,
//! no source).

use cycle::Cycle;
use heart::{Heart, Rhythm};

/// One thing that is read off a strip.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Identifier, such as `pr_interval`.
    pub id: &'static str,
    /// Name shown to people.
    pub name: &'static str,
    /// The value, where there is one.
    pub value: Option<f64>,
    /// Its unit, `ms` or `/min`; empty where nothing is measured.
    pub unit: &'static str,
    /// Decimals worth giving.
    pub decimals: usize,
    /// The value in small squares, for an interval: millimetres at 25 mm/s.
    pub small_squares: Option<f64>,
    /// How far an answer may lie from the value, or from each number of the answer, in its unit.
    pub tolerance: Option<f64>,
    /// The answer in words.
    pub answer: String,
    /// How a student gets it.
    pub worked: String,
    /// Where on the strip it is measured.
    pub shown: Vec<Span>,
}

/// A stretch of the strip that a key marks.
#[derive(Clone, Debug, PartialEq)]
pub struct Span {
    /// What is written beside it, such as "PR 160 ms = 4 small squares".
    pub label: String,
    /// Where it begins, in the cycle's seconds.
    pub from_s: f64,
    /// Where it ends.
    pub to_s: f64,
}

/// A question about a strip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Question {
    /// The reading that answers it; for `rhythm`, [`named`] does.
    pub id: &'static str,
    /// The question.
    pub text: &'static str,
}

/// What a strip is asked for, in the order in which a strip is usually read (common practice,
/// no source).
pub const QUESTIONS: [Question; 8] = [
    Question { id: "rate", text: "What is the heart rate, in beats a minute?" },
    Question { id: "rhythm_regular", text: "Is the rhythm regular?" },
    Question {
        id: "p_before_each_qrs",
        text: "Is there a P wave before each QRS complex, always at the same distance?",
    },
    Question { id: "qrs_after_each_p", text: "Is there a QRS complex after each P wave?" },
    Question { id: "pr_interval", text: "How long is the PR interval? If it varies, say how." },
    Question { id: "qrs_duration", text: "How long does the QRS complex last? Is each alike?" },
    Question { id: "qt_interval", text: "How long is the QT interval?" },
    Question { id: "rhythm", text: "Name the rhythm." },
];

/// What a rhythm is called and what to look for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Named {
    /// Its name.
    pub title: String,
    /// What to look for.
    pub about: String,
}

/// Small squares a second.
const SQUARES_PER_S: f64 = 25.0;
/// How far off an interval may be read, in milliseconds.
const INTERVAL_MS: f64 = 20.0;
/// The same for QT: referees differ by 31 ms (two standard deviations) about the end of T (CSE
/// working party, Willems et al., Eur Heart J 1985;6:815, from memory), which with 20 ms of
/// reading makes a small square.
const QT_MS: f64 = 40.0;
/// Intervals that differ by no more than a small square are alike: what two readings to half
/// a square can tell apart (common practice, no source).
const ALIKE_S: f64 = 0.040;
/// A QRS complex is wide from here on (textbook, from memory).
const WIDE_S: f64 = 0.120;
/// A beat is early whose interval is this share of the median or less (no source: between
/// the 88 % of a breathing young adult and the 60 % of the premature beats).
const EARLY: f64 = 0.80;
/// Beats of the longest pattern that is seen on a strip; what repeats after more is without
/// order to the eye (no source).
const PATTERN: usize = 5;
/// Seconds in which R peaks are counted where R–R varies (common practice, no source).
const COUNTED_S: f64 = 6.0;

/// What can be read off the strip of `cycle` between two times, in seconds.
///
/// A cycle that repeats is continued, any other ends where it ends. Intervals are the median
/// over the beats that the strip holds whole. Where a strip has no P waves, or PR is not the
/// same in all beats, the PR interval has no value and its answer says so.
pub fn readings(cycle: &Cycle, start_s: f64, end_s: f64) -> Vec<Reading> {
    let strip = Strip::new(&cycle.continued(end_s), start_s, end_s);
    let mut all = vec![strip.rate(), strip.regular(), strip.rr_interval()];
    all.extend(strip.rr_range());
    all.extend(strip.atrial_rate());
    all.extend([strip.p_before_each_qrs(), strip.qrs_after_each_p(), strip.pr_interval()]);
    all.extend([strip.qrs_duration(), strip.qt_interval()]);
    all.extend(strip.early_beats());
    all
}

/// What the rhythm of `heart` is called. Sinus rhythm has its name from the strip's own rate
/// and PR interval (bradycardia below 60 a minute, tachycardia above 100, first-degree block
/// above 200 ms: textbook, from memory); any other from the condition that teaches it.
pub fn named(heart: &Heart, readings: &[Reading]) -> Named {
    let taught = heart::conditions()
        .into_iter()
        .find(|condition| heart.rhythm != Rhythm::Sinus && condition.heart.rhythm == heart.rhythm);
    if let Some(condition) = taught {
        return Named { title: condition.title, about: condition.about };
    }
    let value = |id: &str| readings.iter().find(|reading| reading.id == id)?.value;
    let (rhythm, why) = match value("rate") {
        Some(rate) if rate < 59.5 => ("Sinus bradycardia", " The rate is below 60 a minute."),
        Some(rate) if rate >= 100.5 => ("Sinus tachycardia", " The rate is above 100 a minute."),
        _ => ("Sinus rhythm", ""),
    };
    let late = value("pr_interval").is_some_and(|pr| pr > 200.5);
    let (block, long) =
        if late { (" with first-degree AV block", " PR is longer than 200 ms.") } else { ("", "") };
    Named {
        title: format!("{rhythm}{block}"),
        about: format!(
            "A P wave before each QRS complex and a QRS complex after each P wave, always at the same distance; R–R is regular.{why}{long}"
        ),
    }
}

/// One QRS complex with what belongs to it, by what stands where.
struct Beat {
    onset_s: f64,
    r_s: Option<f64>,
    end_s: Option<f64>,
    t_end_s: Option<f64>,
    /// Onset of the last P wave since the QRS complex before.
    p_s: Option<f64>,
}

/// The waves between two times.
struct Strip {
    start_s: f64,
    end_s: f64,
    beats: Vec<Beat>,
    /// R peaks.
    r_s: Vec<f64>,
    /// Onsets of P waves.
    p_s: Vec<f64>,
    p_end_s: Vec<f64>,
    /// Whether a P wave begins before the T wave or QRS complex in its way has ended.
    hidden_p: bool,
}

/// An interval in the strip, from one time to another.
type Pair = (f64, f64);

impl Strip {
    fn new(cycle: &Cycle, start_s: f64, end_s: f64) -> Self {
        let times = |name: &str| -> Vec<f64> {
            let own = cycle.landmarks.iter().filter(|l| l.channel == "ecg" && l.name == name);
            own.map(|l| l.time_s).filter(|t| (start_s..end_s).contains(t)).collect()
        };
        let (onsets, r_s, ends) = (times("qrs_onset"), times("r_peak"), times("qrs_end"));
        let (t_ends, p_s, p_end_s) = (times("t_end"), times("p_onset"), times("p_end"));
        let between = |times: &[f64], from: f64, to: f64| {
            times.iter().copied().find(|t| (from..to).contains(t))
        };
        let beat = |(index, &onset_s): (usize, &f64)| {
            let next = onsets.get(index + 1).copied().unwrap_or(f64::INFINITY);
            let last = index.checked_sub(1).map_or(f64::NEG_INFINITY, |last| onsets[last]);
            Beat {
                onset_s,
                r_s: between(&r_s, onset_s, next),
                end_s: between(&ends, onset_s, next),
                t_end_s: between(&t_ends, onset_s, next),
                p_s: p_s.iter().copied().rfind(|&p| p > last && p < onset_s),
            }
        };
        let beats: Vec<Beat> = onsets.iter().enumerate().map(beat).collect();
        let busy = |p: &f64| {
            beats.iter().any(|beat| {
                let end = beat.t_end_s.or(beat.end_s).unwrap_or(beat.onset_s);
                (beat.onset_s..end).contains(p)
            })
        };
        let hidden_p = p_s.iter().any(busy);
        Self { start_s, end_s, beats, r_s, p_s, p_end_s, hidden_p }
    }

    fn rr(&self) -> Vec<Pair> {
        steps(&self.r_s)
    }

    /// P–R of each beat that has a P wave.
    fn pr(&self) -> Vec<Pair> {
        self.beats.iter().filter_map(|beat| Some((beat.p_s?, beat.onset_s))).collect()
    }

    /// P waves after which the next P wave comes first.
    fn unanswered(&self) -> Vec<f64> {
        let answered = |p: f64, next: f64| {
            self.beats.iter().any(|beat| beat.onset_s > p && beat.onset_s < next)
        };
        steps(&self.p_s).into_iter().filter(|&(p, n)| !answered(p, n)).map(|(p, _)| p).collect()
    }

    /// P waves and QRS complexes each keep their own time: both are regular, at different
    /// intervals, and PR is not.
    fn apart(&self) -> bool {
        let (rr, pp, pr) = (self.rr(), steps(&self.p_s), self.pr());
        let different = median(&rr).zip(median(&pp)).is_some_and(|(r, p)| (r - p).abs() > ALIKE_S);
        different && alike(&rr) && alike(&pp) && !alike(&pr)
    }

    fn rate(&self) -> Reading {
        let mut reading = Reading::new("rate", "Heart rate");
        let rr = self.rr();
        let Some(rr_s) = median(&rr) else {
            reading.answer = "cannot be read: fewer than two QRS complexes".to_owned();
            return reading;
        };
        if alike(&rr) {
            reading.rate_of("R–R", rr_s);
            return reading;
        }
        let length_s = self.end_s - self.start_s;
        let counted_s = if length_s >= COUNTED_S { COUNTED_S } else { length_s };
        let until = self.start_s + counted_s;
        let count = self.r_s.iter().filter(|&&r| r < until).count();
        let factor = 60.0 / counted_s;
        let rate = count as f64 * factor;
        let (seconds, times) = (short(counted_s, 1), short(factor, 1));
        reading.set(rate, "/min", 0);
        // A peak at the edge may be counted or not.
        reading.tolerance = Some(factor.ceil());
        reading.answer = format!("{} beats a minute, on average", short(rate, 0));
        reading.worked =
            format!("{count} R peaks in {seconds} s; {count} × {times} = {}", short(rate, 0));
        let label =
            format!("{count} R peaks in {seconds} s, × {times} = {} a minute", short(rate, 0));
        reading.shown = vec![Span { label, from_s: self.start_s, to_s: until }];
        reading
    }

    fn regular(&self) -> Reading {
        let mut reading = Reading::new("rhythm_regular", "Regularity");
        let rr = self.rr();
        let group = repeating(&rr);
        reading.answer = match (rr.len(), alike(&rr), group) {
            (0 | 1, ..) => "cannot be told: fewer than three QRS complexes".to_owned(),
            (_, true, _) => "regular".to_owned(),
            (_, false, Some(beats)) if beats <= PATTERN => {
                format!("irregular, in a pattern that repeats every {beats} beats")
            }
            (_, false, _) => "irregular".to_owned(),
        };
        reading.worked = format!("R–R {} mm", list(&rr, SQUARES_PER_S, 1));
        reading
    }

    fn rr_interval(&self) -> Reading {
        let mut reading = Reading::new("rr_interval", "R–R interval");
        let rr = self.rr();
        let Some(rr_s) = median(&rr) else {
            reading.answer = "cannot be read: fewer than two QRS complexes".to_owned();
            return reading;
        };
        reading.interval(rr_s, INTERVAL_MS);
        reading.worked = format!("from R peak to R peak: {}", squares(rr_s));
        if alike(&rr) {
            reading.shown = typical(&rr, rr_s, 0.0).map(|rr| span("R–R", rr)).into_iter().collect();
        } else {
            reading.answer = format!("varies; median {}", reading.answer);
        }
        reading
    }

    /// Longest less shortest R–R, where they are not alike.
    fn rr_range(&self) -> Option<Reading> {
        let mut rr = self.rr();
        if alike(&rr) {
            return None;
        }
        rr.sort_by(|a, b| length(a).total_cmp(&length(b)));
        let (shortest, longest) = (*rr.first()?, *rr.last()?);
        let [least, most] = [shortest, longest].map(|pair| length(&pair));
        let mut reading = Reading::new("rr_range", "Range of R–R");
        reading.interval(most - least, 2.0 * INTERVAL_MS);
        reading.answer = format!("{} to {} ms", ms(least), ms(most));
        reading.worked = format!("shortest R–R {}; longest {}", squares(least), squares(most));
        reading.shown = vec![span("shortest R–R", shortest), span("longest R–R", longest)];
        Some(reading)
    }

    /// The rate of the P waves, where it is not that of the QRS complexes.
    fn atrial_rate(&self) -> Option<Reading> {
        if self.unanswered().is_empty() {
            return None;
        }
        let pp = steps(&self.p_s);
        let pp_s = median(&pp)?;
        let mut reading = Reading::new("atrial_rate", "Rate of the P waves");
        reading.rate_of("P–P", pp_s);
        reading.shown = typical(&pp, pp_s, 0.5).map(|pp| span("P–P", pp)).into_iter().collect();
        if self.hidden_p {
            reading.worked += "; some P waves lie in a QRS complex or a T wave";
        }
        Some(reading)
    }

    fn p_before_each_qrs(&self) -> Reading {
        let mut reading = Reading::new("p_before_each_qrs", "A P wave before each QRS complex");
        // The strip's edge may have cut off the first beat's P wave.
        let judged = self.beats.iter().enumerate();
        let judged: Vec<&Beat> = judged
            .filter(|(index, beat)| *index > 0 || beat.p_s.is_some())
            .map(|(_, beat)| beat)
            .collect();
        let without: Vec<&&Beat> = judged.iter().filter(|beat| beat.p_s.is_none()).collect();
        reading.answer = if self.p_s.is_empty() {
            "no: there are no P waves".to_owned()
        } else if self.apart() {
            "no: P waves lie before, in and after the QRS complexes, at no fixed distance"
                .to_owned()
        } else if !without.is_empty() {
            let (count, all) = (without.len(), judged.len());
            format!("no: {count} of {all} QRS complexes {} none", has(count))
        } else if alike(&self.pr()) {
            "yes, always at the same distance".to_owned()
        } else {
            "yes, but not always at the same distance".to_owned()
        };
        reading.worked = self.counted();
        reading
    }

    fn qrs_after_each_p(&self) -> Reading {
        let mut reading = Reading::new("qrs_after_each_p", "A QRS complex after each P wave");
        let (p, qrs) = (self.p_s.len(), self.beats.len());
        let unanswered = self.unanswered();
        reading.answer = if p == 0 {
            "there are no P waves".to_owned()
        } else if self.apart() {
            format!("no: {p} P waves to {qrs} QRS complexes, each at their own rate")
        } else if unanswered.is_empty() {
            "yes".to_owned()
        } else {
            let count = unanswered.len();
            format!("no: {count} of {p} P waves {} none", has(count))
        };
        reading.worked = self.counted();
        if !self.apart() {
            let ends = |p: f64| self.p_end_s.iter().copied().find(|&end| end > p);
            let marks = unanswered.iter().filter_map(|&p| Some((p, ends(p)?)));
            let label = "P, no QRS".to_owned();
            reading.shown =
                marks.map(|(from_s, to_s)| Span { label: label.clone(), from_s, to_s }).collect();
        }
        reading
    }

    fn counted(&self) -> String {
        let (p, qrs) = (self.p_s.len(), self.beats.len());
        format!("P waves on the strip: {p}; QRS complexes: {qrs}")
    }

    fn pr_interval(&self) -> Reading {
        let mut reading = Reading::new("pr_interval", "PR interval");
        let pr = self.pr();
        let Some(pr_s) = median(&pr) else {
            reading.answer = "cannot be read: no P wave before a QRS complex".to_owned();
            return reading;
        };
        reading.worked = "from the onset of P to the onset of QRS: ".to_owned();
        if alike(&pr) {
            reading.interval(pr_s, INTERVAL_MS);
            reading.worked += &squares(pr_s);
            reading.shown = typical(&pr, pr_s, 0.0).map(|pr| span("PR", pr)).into_iter().collect();
        } else {
            let beats = self.pr_beat_by_beat();
            (reading.unit, reading.tolerance) = ("ms", Some(INTERVAL_MS));
            reading.answer = if self.apart() {
                format!("no fixed PR interval; in ms: {beats}")
            } else {
                format!("varies; in ms: {beats}")
            };
            reading.worked += &format!("{} small squares of 40 ms", list(&pr, SQUARES_PER_S, 1));
            if !self.apart() {
                reading.shown = pr.iter().map(|&pair| brief("PR", pair)).collect();
            }
        }
        if self.hidden_p {
            reading.worked += "; where P begins on a T wave, its onset is the bend in the slope";
        }
        reading
    }

    /// "180, 270, 310, dropped, 180": the PR interval of each beat in milliseconds, and the P
    /// waves that none follows.
    fn pr_beat_by_beat(&self) -> String {
        let mut all: Vec<(f64, String)> =
            self.pr().iter().map(|pair| (pair.0, ms(length(pair)))).collect();
        if !self.apart() {
            all.extend(self.unanswered().into_iter().map(|p| (p, "dropped".to_owned())));
        }
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let words: Vec<String> = all.into_iter().map(|(_, word)| word).collect();
        words.join(", ")
    }

    fn qrs_duration(&self) -> Reading {
        let mut reading = Reading::new("qrs_duration", "QRS duration");
        let all: Vec<Pair> =
            self.beats.iter().filter_map(|beat| Some((beat.onset_s, beat.end_s?))).collect();
        let Some(qrs_s) = median(&all) else {
            reading.answer = "cannot be read: no whole QRS complex".to_owned();
            return reading;
        };
        reading.interval(qrs_s, INTERVAL_MS);
        reading.worked = format!("from the onset of QRS to where it ends: {}", squares(qrs_s));
        reading.shown =
            typical(&all, qrs_s, 0.33).map(|qrs| span("QRS", qrs)).into_iter().collect();
        let wide: Vec<Pair> = all.iter().copied().filter(|pair| length(pair) > WIDE_S).collect();
        if let Some(wide_s) = median(&wide).filter(|wide_s| wide_s - qrs_s > ALIKE_S) {
            let (count, of) = (wide.len(), all.len());
            let are = if count == 1 { "is" } else { "are" };
            reading.answer += &format!("; {count} of {of} {are} wide: {} ms", ms(wide_s));
            reading.shown.extend(wide.first().map(|&pair| span("QRS", pair)));
        }
        reading
    }

    fn qt_interval(&self) -> Reading {
        let mut reading = Reading::new("qt_interval", "QT interval");
        let all: Vec<Pair> =
            self.beats.iter().filter_map(|beat| Some((beat.onset_s, beat.t_end_s?))).collect();
        let Some(qt_s) = median(&all) else {
            reading.answer =
                "cannot be read: no T wave ends after its QRS complex and before the next"
                    .to_owned();
            return reading;
        };
        reading.interval(qt_s, QT_MS);
        reading.worked = format!("from the onset of QRS to the end of T: {}", squares(qt_s));
        if !alike(&all) {
            reading.answer = format!("median {}; varies with R–R", reading.answer);
        }
        reading.shown = typical(&all, qt_s, 0.67).map(|qt| span("QT", qt)).into_iter().collect();
        reading
    }

    /// Beats that come early, by their own P wave, or without one among beats that have it.
    fn early_beats(&self) -> Option<Reading> {
        let (rr_s, pp_s) = (median(&self.rr())?, median(&steps(&self.p_s))?);
        let early: Vec<(&Beat, Pair)> = self
            .beats
            .windows(2)
            .filter_map(|pair| {
                let rr = (pair[0].r_s?, pair[1].r_s?);
                let by_p = pair[0].p_s.zip(pair[1].p_s).is_some_and(|(a, b)| b - a <= EARLY * pp_s);
                let is = length(&rr) <= EARLY * rr_s && (by_p || pair[1].p_s.is_none());
                is.then_some((&pair[1], rr))
            })
            .collect();
        let ((first, _), count) = (early.first()?, early.len());
        let wide = first.end_s.is_some_and(|end| end - first.onset_s > WIDE_S);
        let qrs = if wide { "wide" } else { "narrow" };
        let p = if first.p_s.is_some() {
            "after an early P wave"
        } else {
            "without a P wave before it"
        };
        let mut reading = Reading::new("early_beats", "Early beats");
        reading.answer = format!("{count}: QRS {qrs}, {p}");
        let shares: Vec<String> =
            early.iter().map(|(_, rr)| short(100.0 * length(rr) / rr_s, 0)).collect();
        reading.worked =
            format!("R–R before it {} % of the median {} ms", shares.join(", "), ms(rr_s));
        Some(reading)
    }
}

impl Reading {
    fn new(id: &'static str, name: &'static str) -> Self {
        Self {
            id,
            name,
            value: None,
            unit: "",
            decimals: 0,
            small_squares: None,
            tolerance: None,
            answer: String::new(),
            worked: String::new(),
            shown: Vec::new(),
        }
    }

    fn set(&mut self, value: f64, unit: &'static str, decimals: usize) {
        (self.value, self.unit, self.decimals) = (Some(value), unit, decimals);
    }

    fn interval(&mut self, length_s: f64, tolerance_ms: f64) {
        self.set(1000.0 * length_s, "ms", 0);
        self.small_squares = Some(SQUARES_PER_S * length_s);
        self.tolerance = Some(tolerance_ms);
        self.answer = format!("{} ms", ms(length_s));
    }

    /// 1500 small squares, or 300 large ones, go by in a minute (common practice, from 25 mm/s).
    fn rate_of(&mut self, what: &str, interval_s: f64) {
        let mm = SQUARES_PER_S * interval_s;
        let rate = 1500.0 / mm;
        self.set(rate, "/min", 0);
        self.tolerance = Some((1500.0 / (mm - 0.5) - rate).ceil());
        self.answer = format!("{} beats a minute", short(rate, 0));
        let (mm_text, rate_text) = (short(mm, 1), short(rate, 0));
        self.worked = format!("{what} {mm_text} mm; 1500 / {mm_text} = {rate_text} a minute");
        let large = mm / 5.0;
        if (large - large.round()).abs() < 0.01 {
            self.worked += &format!(", or 300 / {} large squares", short(large, 0));
        }
    }
}

/// From each time to the next.
fn steps(times: &[f64]) -> Vec<Pair> {
    times.windows(2).map(|pair| (pair[0], pair[1])).collect()
}

fn length(pair: &Pair) -> f64 {
    pair.1 - pair.0
}

/// The median length; of an even number the lower of the two in the middle, so that a beat on
/// the strip has it.
fn median(pairs: &[Pair]) -> Option<f64> {
    let mut lengths: Vec<f64> = pairs.iter().map(length).collect();
    lengths.sort_by(f64::total_cmp);
    lengths.get(lengths.len().saturating_sub(1) / 2).copied()
}

/// Whether no two differ by more than a small square.
fn alike(pairs: &[Pair]) -> bool {
    let lengths = || pairs.iter().map(length);
    lengths().fold(f64::MIN, f64::max) - lengths().fold(f64::MAX, f64::min) <= ALIKE_S
}

/// The smallest number of intervals after which they come again, where the strip shows two of
/// them again at least.
fn repeating(pairs: &[Pair]) -> Option<usize> {
    let again = |by: usize| {
        let both = pairs.iter().zip(pairs.iter().skip(by));
        both.into_iter().all(|(a, b)| (length(a) - length(b)).abs() <= ALIKE_S)
    };
    (2..=pairs.len().saturating_sub(2)).find(|&by| again(by))
}

/// One of the intervals that are nearest to `length_s`; which of them, by a share from 0 to 1,
/// so that a key's brackets stand apart.
fn typical(pairs: &[Pair], length_s: f64, share: f64) -> Option<Pair> {
    let off = |pair: &Pair| (length(pair) - length_s).abs();
    let least = pairs.iter().map(off).reduce(f64::min)?;
    let near: Vec<&Pair> = pairs.iter().filter(|pair| off(pair) <= least + 1e-3).collect();
    near.get((share * near.len() as f64) as usize).map(|pair| **pair)
}

fn span(what: &str, pair: Pair) -> Span {
    let length_s = length(&pair);
    let label = format!(
        "{what} {} ms = {} small squares",
        ms(length_s),
        short(SQUARES_PER_S * length_s, 1)
    );
    Span { label, from_s: pair.0, to_s: pair.1 }
}

/// A span with a short label, for where there are many.
fn brief(what: &str, pair: Pair) -> Span {
    Span { label: format!("{what} {} ms", ms(length(&pair))), from_s: pair.0, to_s: pair.1 }
}

fn squares(length_s: f64) -> String {
    let count = short(SQUARES_PER_S * length_s, 1);
    format!("{count} small squares of 40 ms, {} ms", ms(length_s))
}

fn ms(length_s: f64) -> String {
    short(1000.0 * length_s, 0)
}

fn list(pairs: &[Pair], factor: f64, decimals: usize) -> String {
    let all: Vec<String> =
        pairs.iter().map(|pair| short(factor * length(pair), decimals)).collect();
    all.join(", ")
}

fn has(count: usize) -> &'static str {
    if count == 1 { "has" } else { "have" }
}

/// A number with `decimals` places, without the zeros at its end.
fn short(value: f64, decimals: usize) -> String {
    // Halves are rounded up, whatever rounding has left of them.
    let text = format!("{:.decimals$}", value + 1e-9);
    if !text.contains('.') {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
