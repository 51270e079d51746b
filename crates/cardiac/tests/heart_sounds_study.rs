//! The study behind `docs/heart-sounds-study.md`: do two real heart-sound recordings support the
//! alignment rules that classes learn? Every figure of that paper is computed here and must stand
//! in it, so neither can go stale. The recordings may not be passed on; without them it is skipped.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use std::f64::consts::{PI, SQRT_2};
use std::fs;
use std::path::Path;

use serde_json::Value;

const DATA: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared/data");
const PAPER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/heart-sounds-study.md");

/// Sounds are 1 kHz, so that one sample is one millisecond and all times below are in samples.
const RATE_HZ: f64 = 1000.0;
/// A silence of up to this long inside a sound does not end it: the parts of a split sound are one.
const GAP_MS: usize = 30;
/// A burst below this many times the beat's floor is not told from noise ...
const FAINT: f64 = 3.0;
/// ... and one this many times as loud as the recording's median is a knock on the microphone.
const LOUD: f64 = 2.0;
const LONGEST_MS: f64 = 180.0;
/// Wide, so that it drops clicks but no beat for being at odds with a rule.
const FAR_MS: f64 = 60.0;
/// How far from a rule a beat may be and still follow it.
const TOLERANCE_MS: f64 = 20.0;
/// What the marks' unknown shift (20 ms) and the envelope's blur (10 ms) could explain on top.
const UNKNOWN_MS: f64 = 30.0;

struct Setup {
    low_hz: f64,
    high_hz: f64,
    width: usize,
    fraction: f64,
    reject: bool,
}

const MAIN: Setup = Setup { low_hz: 25.0, high_hz: 150.0, width: 20, fraction: 0.25, reject: true };

fn setups() -> Vec<Setup> {
    let mut all = Vec::new();
    for (low_hz, high_hz) in [(25.0, 150.0), (25.0, 400.0), (40.0, 200.0)] {
        for width in [10, 20, 30] {
            for fraction in [0.10, 0.25, 0.50] {
                all.push(Setup { low_hz, high_hz, width, fraction, reject: true });
            }
        }
    }
    all
}

struct Recording {
    sound: Vec<f64>,
    r: Vec<usize>,
    t_end: Vec<usize>,
}

fn read(number: usize) -> Recording {
    let path = |ending| format!("{DATA}/heart_sounds_{number}.{ending}");
    let notes: Value = serde_json::from_slice(&fs::read(path("json")).unwrap()).unwrap();
    let marks = |name: &str| -> Vec<usize> {
        let seconds = notes[name].as_array().unwrap().iter().map(|s| s.as_f64().unwrap());
        seconds.map(|s| (s * RATE_HZ).round() as usize).collect()
    };
    let sound = samples(&fs::read(path("wav")).unwrap());
    Recording { sound, r: marks("r_peak_s"), t_end: marks("t_end_s") }
}

/// The samples of a 16-bit mono WAV file at 1 kHz; other files are refused, not misread.
fn samples(file: &[u8]) -> Vec<f64> {
    let word = |at: usize| u32::from_le_bytes(file[at..at + 4].try_into().unwrap());
    assert_eq!((&file[..4], &file[8..12]), (&b"RIFF"[..], &b"WAVE"[..]));
    let mut at = 12;
    loop {
        let (name, length) = (&file[at..at + 4], word(at + 4) as usize);
        let body = at + 8;
        match name {
            b"fmt " => {
                assert_eq!(word(body), 0x0001_0001, "one channel of plain PCM");
                assert_eq!(f64::from(word(body + 4)), RATE_HZ);
                assert_eq!(word(body + 12), 0x0010_0002, "16 bits");
            }
            b"data" => {
                let pairs = file[body..body + length].chunks_exact(2);
                return pairs.map(|p| f64::from(i16::from_le_bytes([p[0], p[1]]))).collect();
            }
            _ => {}
        }
        // Chunks are padded to an even length.
        at = body + length + length % 2;
    }
}

enum Pass {
    High,
    Low,
}

/// A second-order Butterworth filter run forwards and backwards, which leaves no delay.
fn filter(x: &[f64], pass: Pass, cut_hz: f64) -> Vec<f64> {
    let k = libm::tan(PI * cut_hz / RATE_HZ);
    let scale = 1.0 / (1.0 + SQRT_2 * k + k * k);
    let (gain, middle) = match pass {
        Pass::High => (scale, -2.0),
        Pass::Low => (k * k * scale, 2.0),
    };
    let (a1, a2) = (2.0 * (k * k - 1.0) * scale, (1.0 - SQRT_2 * k + k * k) * scale);
    let run = |x: &mut [f64]| {
        let (mut s1, mut s2) = (0.0, 0.0);
        for value in x {
            let out = gain * *value + s1;
            s1 = gain * middle * *value - a1 * out + s2;
            s2 = gain * *value - a2 * out;
            *value = out;
        }
    };
    let mut y = x.to_vec();
    run(&mut y);
    y.reverse();
    run(&mut y);
    y.reverse();
    y
}

/// Moving root mean square of the band-passed sound, centred on each sample.
fn envelope(sound: &[f64], setup: &Setup) -> Vec<f64> {
    let banded = filter(&filter(sound, Pass::High, setup.low_hz), Pass::Low, setup.high_hz);
    let half = setup.width / 2;
    let rms = |i: usize| {
        let part = &banded[i.saturating_sub(half)..(i + half + 1).min(banded.len())];
        (part.iter().map(|v| v * v).sum::<f64>() / part.len() as f64).sqrt()
    };
    (0..banded.len()).map(rms).collect()
}

struct Burst {
    onset: f64,
    end: f64,
    peak: f64,
    height: f64,
    window: (f64, f64),
}

impl Burst {
    fn centre(&self) -> f64 {
        f64::midpoint(self.onset, self.end)
    }

    /// The loudest sound within the window and all of its parts.
    fn find(envelope: &[f64], from: usize, to: usize, floor: f64, fraction: f64) -> Self {
        let to = to.min(envelope.len() - 1);
        let louder = |a: &usize, b: &usize| envelope[*a].total_cmp(&envelope[*b]);
        let peak = (from..=to).max_by(louder).unwrap();
        let threshold = floor + fraction * (envelope[peak] - floor);
        let last = |found: usize, i: usize| {
            if i.abs_diff(found) <= GAP_MS && envelope[i] > threshold { i } else { found }
        };
        let onset = (from..=peak).rev().fold(peak, last);
        let end = (peak..=to).fold(peak, last);
        let [onset, end, peak_ms, from, to] = [onset, end, peak, from, to].map(|i| i as f64);
        Self { onset, end, peak: peak_ms, height: envelope[peak], window: (from, to) }
    }
}

struct Beat {
    r: f64,
    t_end: f64,
    next_r: Option<f64>,
    s1: Result<Burst, &'static str>,
    s2: Result<Burst, &'static str>,
}

/// The burst, or why it is not taken to be the sound looked for. The recording's usual sound is
/// given by its height and its delay after R.
fn check(burst: Burst, r: f64, floor: f64, usual: (f64, f64)) -> Result<Burst, &'static str> {
    let (height, delay) = usual;
    if burst.height < FAINT * floor {
        Err("too faint")
    } else if burst.height > LOUD * height {
        Err("far louder than its like")
    } else if burst.onset <= burst.window.0 || burst.end >= burst.window.1 {
        Err("runs out of its window")
    } else if burst.end - burst.onset > LONGEST_MS {
        Err("too long")
    } else if (burst.onset - r - delay).abs() > FAR_MS {
        Err("far from its usual place")
    } else {
        Ok(burst)
    }
}

fn beats(recording: &Recording, setup: &Setup) -> Vec<Beat> {
    let envelope = envelope(&recording.sound, setup);
    let mut found = Vec::new();
    for (i, (&r, &t_end)) in recording.r.iter().zip(&recording.t_end).enumerate() {
        let next = recording.r.get(i + 1).copied();
        let stop = next.unwrap_or(envelope.len());
        assert!(r < t_end && t_end < stop, "one T end for each R");
        let floor = quantile(&envelope[r..stop], 0.5);
        let find = |from, to| Burst::find(&envelope, from, to, floor, setup.fraction);
        let marks = (r as f64, t_end as f64, next.map(|n| n as f64), floor);
        found.push((marks, find(r - 60, r + 200), find(t_end - 150, t_end + 150)));
    }
    let usual =
        |heights: Vec<f64>, delays: Vec<f64>| (quantile(&heights, 0.5), quantile(&delays, 0.5));
    let usual_s1 = usual(
        found.iter().map(|(_, s1, _)| s1.height).collect(),
        found.iter().map(|((r, ..), s1, _)| s1.onset - r).collect(),
    );
    let usual_s2 = usual(
        found.iter().map(|(.., s2)| s2.height).collect(),
        found.iter().map(|((r, ..), _, s2)| s2.onset - r).collect(),
    );
    let beat = |((r, t_end, next_r, floor), s1, s2)| {
        let judge = |burst, usual| {
            if setup.reject { check(burst, r, floor, usual) } else { Ok(burst) }
        };
        let (s1, s2) = (judge(s1, usual_s1), judge(s2, usual_s2));
        Beat { r, t_end, next_r, s1, s2 }
    };
    found.into_iter().map(beat).collect()
}

type Measure = fn(&Beat) -> Option<f64>;

const S1_ONSET: Measure = |b| Some(b.s1.as_ref().ok()?.onset - b.r);
const S1_CENTRE: Measure = |b| Some(b.s1.as_ref().ok()?.centre() - b.r);
const S2_ONSET: Measure = |b| Some(b.s2.as_ref().ok()?.onset - b.t_end);
const S2_CENTRE: Measure = |b| Some(b.s2.as_ref().ok()?.centre() - b.t_end);
const S2_FROM_R: Measure = |b| Some(b.s2.as_ref().ok()?.onset - b.r);
const S1_TO_S2: Measure = |b| Some(b.s2.as_ref().ok()?.onset - b.s1.as_ref().ok()?.onset);

const MEASURES: [(&str, Measure); 11] = [
    ("S1 onset − R", S1_ONSET),
    ("S1 centre − R", S1_CENTRE),
    ("S1 loudest − R", |b| Some(b.s1.as_ref().ok()?.peak - b.r)),
    ("S1 end − R", |b| Some(b.s1.as_ref().ok()?.end - b.r)),
    ("S2 onset − T end", S2_ONSET),
    ("S2 centre − T end", S2_CENTRE),
    ("S2 loudest − T end", |b| Some(b.s2.as_ref().ok()?.peak - b.t_end)),
    ("S2 onset − R", S2_FROM_R),
    ("S1 onset to S2 onset", S1_TO_S2),
    ("R to T end (marks alone)", |b| Some(b.t_end - b.r)),
    ("R to next R (marks alone)", |b| Some(b.next_r? - b.r)),
];

struct Rule {
    says: &'static str,
    measure: Measure,
    from: f64,
    to: f64,
    /// A wave that the rule speaks of is neither marked nor bounded, so it cannot be supported.
    unmarked: bool,
    verdicts: [&'static str; 2],
}

const YES: &str = "supported";
const NO: &str = "contradicted";
const OPEN: &str = "cannot be told";

const fn rule(
    says: &'static str,
    measure: Measure,
    (from, to): (f64, f64),
    verdicts: [&'static str; 2],
) -> Rule {
    Rule { says, measure, from, to, unmarked: false, verdicts }
}

fn rules() -> Vec<Rule> {
    let after_s = "S1 is centred just after S (30 to 60 ms after R)";
    let (mid_t, late_t) = ((-85.0, -85.0), (-63.0, -63.0));
    vec![
        rule("S1 is on the R peak", S1_CENTRE, (0.0, 0.0), [NO; 2]),
        rule("S1 begins with the R peak", S1_ONSET, (0.0, 0.0), [YES, OPEN]),
        rule("S1 begins 10 to 30 ms after R", S1_ONSET, (10.0, 30.0), [YES; 2]),
        Rule { unmarked: true, ..rule(after_s, S1_CENTRE, (30.0, 60.0), [OPEN; 2]) },
        rule("S2 begins at the middle of T (−85 ms)", S2_ONSET, mid_t, [NO; 2]),
        rule("the same with a late middle of T (−63 ms)", S2_ONSET, late_t, [OPEN; 2]),
        rule("S2 is centred on the middle of T (−85 ms)", S2_CENTRE, mid_t, [NO; 2]),
        rule("S2 begins between middle and end of T", S2_ONSET, (-85.0, 0.0), [YES; 2]),
        rule("S2 begins at the end of T", S2_ONSET, (0.0, 0.0), [OPEN; 2]),
        rule("S2 is centred on the end of T", S2_CENTRE, (0.0, 0.0), [YES; 2]),
        rule("S2 begins 0 to 52 ms after the end of T", S2_ONSET, (0.0, 52.0), [OPEN; 2]),
        rule("S2 begins 2 to 24 ms after the end of T", S2_ONSET, (2.0, 24.0), [OPEN; 2]),
    ]
}

impl Rule {
    fn miss(&self, value: f64) -> f64 {
        value - value.clamp(self.from, self.to)
    }

    fn share(&self, values: &[f64]) -> f64 {
        let within = values.iter().filter(|v| self.miss(**v).abs() <= TOLERANCE_MS).count();
        within as f64 / values.len() as f64
    }

    fn verdict(&self, values: &[f64]) -> &'static str {
        let miss = self.miss(mean(values)).abs();
        if miss > TOLERANCE_MS + UNKNOWN_MS {
            NO
        } else if miss <= TOLERANCE_MS && self.share(values) > 0.5 && !self.unmarked {
            YES
        } else {
            OPEN
        }
    }
}

fn of(measure: Measure, beats: &[Beat]) -> Vec<f64> {
    beats.iter().filter_map(measure).collect()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn sd(values: &[f64]) -> f64 {
    let m = mean(values);
    let squares: f64 = values.iter().map(|v| (v - m) * (v - m)).sum();
    (squares / (values.len() - 1) as f64).sqrt()
}

fn correlation(pairs: &[(f64, f64)]) -> f64 {
    let (x, y): (Vec<f64>, Vec<f64>) = pairs.iter().copied().unzip();
    let (mx, my) = (mean(&x), mean(&y));
    let products: f64 = pairs.iter().map(|(x, y)| (x - mx) * (y - my)).sum();
    products / (pairs.len() - 1) as f64 / sd(&x) / sd(&y)
}

fn quantile(values: &[f64], p: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = p * (sorted.len() - 1) as f64;
    let below = at.floor() as usize;
    let above = (below + 1).min(sorted.len() - 1);
    sorted[below] + (at - at.floor()) * (sorted[above] - sorted[below])
}

/// Whole milliseconds: no more is in the marks. With a true minus sign, and never a minus zero.
fn ms(value: f64) -> String {
    (value.round() as i64).to_string().replace('-', "−")
}

fn span(from: f64, to: f64) -> String {
    let (from, to) = (ms(from), ms(to));
    if from == to { from } else { format!("{from} to {to}") }
}

/// A table row with both recordings in each cell, or one entry where they agree.
fn row(name: &str, [one, two]: [Vec<String>; 2]) -> String {
    let both = |(a, b): (String, String)| if a == b { a } else { format!("{a} / {b}") };
    let cells: Vec<_> = one.into_iter().zip(two).map(both).collect();
    format!("| {name} | {} |", cells.join(" | "))
}

fn rejected(beats: &[Beat]) -> String {
    let mut parts = Vec::new();
    for (sound, get) in [
        ("S1", (|b| b.s1.as_ref().err().copied()) as fn(&Beat) -> Option<&'static str>),
        ("S2", |b| b.s2.as_ref().err().copied()),
    ] {
        let mut reasons: Vec<&str> = beats.iter().filter_map(get).collect();
        let total = reasons.len();
        reasons.sort_unstable();
        let mut each = Vec::new();
        for group in reasons.chunk_by(|a, b| a == b) {
            each.push(format!("{} {}", group.len(), group[0]));
        }
        let list = if each.is_empty() { String::new() } else { format!(" ({})", each.join(", ")) };
        parts.push(format!("{sound}: {} used, {total} rejected{list}", beats.len() - total));
    }
    parts.join("; ")
}

fn missing(lines: &[String]) -> String {
    let paper = fs::read_to_string(PAPER).unwrap();
    let absent = |line: &&str| paper.lines().all(|l| l != *line);
    lines.iter().map(String::as_str).filter(absent).collect::<Vec<_>>().join("\n")
}

/// How early an abrupt 60 Hz tone in silence is found, on average over its starting phase.
fn blur(fraction: f64) -> f64 {
    let early = |phase: f64| {
        let tone = |i: u32| {
            let t = f64::from(i) - 500.0;
            let on = (0.0..100.0).contains(&t);
            if on { libm::sin(2.0 * PI * (60.0 * t / RATE_HZ + phase)) } else { 0.0 }
        };
        let sound: Vec<f64> = (0..1000).map(tone).collect();
        500.0 - Burst::find(&envelope(&sound, &MAIN), 400, 700, 0.0, fraction).onset
    };
    mean(&[0.0, 0.125, 0.25, 0.375].map(early))
}

#[test]
#[allow(clippy::print_stderr, reason = "a skipped study must not look like a passed one")]
fn the_paper_says_what_the_recordings_say() {
    if !Path::new(DATA).join("heart_sounds_1.wav").exists() {
        eprintln!("skipped: the recordings are not at {DATA}");
        return;
    }
    let recordings = [read(1), read(2)];
    let main = recordings.each_ref().map(|r| beats(r, &MAIN));
    let variants: Vec<_> =
        setups().iter().map(|s| recordings.each_ref().map(|r| beats(r, s))).collect();
    let mut lines = Vec::new();

    for (i, beats) in main.iter().enumerate() {
        lines.push(format!("- Recording {}: {} beats. {}.", i + 1, beats.len(), rejected(beats)));
    }
    for (name, measure) in MEASURES {
        let cells = [0, 1].map(|i| {
            let v = of(measure, &main[i]);
            let (low, high) = (quantile(&v, 0.05), quantile(&v, 0.95));
            let means: Vec<_> = variants.iter().map(|b| mean(&of(measure, &b[i]))).collect();
            vec![
                v.len().to_string(),
                ms(mean(&v)),
                ms(quantile(&v, 0.5)),
                ms(sd(&v)),
                span(low, high),
                span(quantile(&means, 0.0), quantile(&means, 1.0)),
            ]
        });
        lines.push(row(name, cells));
    }

    for fraction in [0.10, 0.25, 0.50] {
        let setup = Setup { fraction, ..MAIN };
        let at = recordings.each_ref().map(|r| beats(r, &setup));
        let cell = |measure| at.each_ref().map(|b| ms(mean(&of(measure, b)))).join(" / ");
        lines.push(format!(
            "| {} % | {} | {} | {} | {} | {} |",
            ms(100.0 * fraction),
            cell(S1_ONSET),
            cell(S1_CENTRE),
            cell(S2_ONSET),
            cell(S2_CENTRE),
            cell(S1_TO_S2)
        ));
    }

    for rule in rules() {
        let cells = [0, 1].map(|i| {
            let v = of(rule.measure, &main[i]);
            let (miss, verdict) = (rule.miss(mean(&v)), rule.verdict(&v));
            assert_eq!(verdict, rule.verdicts[i], "{}, recording {}", rule.says, i + 1);
            let side = match ms(miss.abs()).as_str() {
                "0" => "0".to_owned(),
                by if miss < 0.0 => format!("{by} early"),
                by => format!("{by} late"),
            };
            let alike = |b: &&[Vec<Beat>; 2]| rule.verdict(&of(rule.measure, &b[i])) == verdict;
            let count = variants.iter().filter(alike).count();
            let share = format!("{} %", ms(100.0 * rule.share(&v)));
            vec![share, side, verdict.to_owned(), count.to_string()]
        });
        lines.push(row(rule.says, cells));
    }

    for (i, beats) in main.iter().enumerate() {
        let both = |b: &Beat| Some((S1_ONSET(b)?, S2_FROM_R(b)?));
        let marks = |b: &Beat| Some((S1_ONSET(b)?, b.t_end - b.r));
        let sounds: Vec<_> = beats.iter().filter_map(both).collect();
        let waves: Vec<_> = beats.iter().filter_map(marks).collect();
        let [sounds, waves] =
            [sounds, waves].map(|p| format!("{:.2}", correlation(&p)).replace('-', "−"));
        lines.push(format!(
            "- Recording {}: S1 onset − R correlates {sounds} with S2 onset − R \
                 and {waves} with R to T end.",
            i + 1,
        ));
    }

    let everything = recordings.each_ref().map(|r| beats(r, &Setup { reject: false, ..MAIN }));
    let medians = [("S1 onset − R", S1_ONSET), ("S2 onset − T end", S2_ONSET)].map(|(name, m)| {
        let cell = everything.each_ref().map(|b| ms(quantile(&of(m, b), 0.5)));
        format!("{name} {} ms", cell.join(" / "))
    });
    lines.push(format!("- With no burst rejected the medians are {}.", medians.join(", ")));
    let early = main.each_ref().map(|b| {
        let v = of(S2_ONSET, b);
        let inside = v.iter().filter(|v| (-85.0..=0.0).contains(*v)).count();
        format!("{} %", ms(100.0 * inside as f64 / v.len() as f64))
    });
    let early = early.join(" and ");
    lines.push(format!("- S2 begins 0 to 85 ms before the end of T in {early} of the beats."));

    let missing = missing(&lines);
    assert!(missing.is_empty(), "the paper lacks:\n{missing}");

    for beats in &main {
        assert!((-35.0..-5.0).contains(&mean(&of(S2_ONSET, beats))), "S2 begins before T ends");
        assert!(mean(&of(S2_CENTRE, beats)).abs() < 15.0, "and is centred on it");
        assert!((0.0..35.0).contains(&mean(&of(S1_ONSET, beats))), "S1 begins with or after R");
    }
}

#[test]
fn the_paper_says_how_much_an_onset_is_blurred() {
    let [at10, at25, at50] = [0.10, 0.25, 0.50].map(blur).map(ms);
    let line = format!(
        "- An abrupt 60 Hz tone is found {at10}, {at25} and {at50} ms too early at 10, 25 and 50 %."
    );
    let missing = missing(&[line]);
    assert!(missing.is_empty(), "the paper lacks:\n{missing}");
}
