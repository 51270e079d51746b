//! The average beat beside a computed one, landmark by landmark.

use cycle::{Cycle, Subject};
use heart::{Heart, PARAMETERS};
use recording::Average;
use serde::Serialize;

use crate::failure::Failure;

/// A recorded landmark and the computed heart's.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Row {
    pub(crate) name: &'static str,
    pub(crate) channel: String,
    /// After the landmark that both are aligned on, on the average beat.
    pub(crate) recorded_ms: f64,
    /// One standard deviation of the single beats.
    pub(crate) sd_ms: Option<f64>,
    pub(crate) computed_ms: f64,
    /// Whether they differ by more than 20 ms and by more than the beats scatter.
    pub(crate) departs: bool,
}

/// An average beat beside a computed heart.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Beside {
    /// The landmark that both are aligned on.
    pub(crate) aligned_on: &'static str,
    /// The channel that it is on.
    #[serde(skip)]
    pub(crate) channel: &'static str,
    pub(crate) recorded_bpm: f64,
    pub(crate) computed_bpm: f64,
    pub(crate) rows: Vec<Row>,
}

/// What differs by no more than this is not told, in milliseconds: the square of paper on which a
/// student measures by hand is 40 ms wide (common practice, no source).
const DEPARTS_MS: f64 = 20.0;
/// Nor what differs by no more than so many standard deviations of the beats.
const DEPARTS_SD: f64 = 2.0;

/// On what an average and a computed beat can be aligned, the best first.
const ANCHORS: [(&str, &str); 5] = [
    ("r_peak", "ecg"),
    ("s1_onset", "heart_sounds"),
    ("pressure_foot", "aortic_pressure"),
    ("pressure_foot", "radial_pressure"),
    ("pressure_foot", "finger_pulse"),
];

/// Lays an average beat beside `heart`, or beside a resting adult at the same rate; nothing where
/// they share no landmark to align them on.
pub(crate) fn beside(
    average: &Average,
    heart: Option<&Heart>,
    subject: &Subject,
) -> Result<Option<Beside>, Failure> {
    Ok(beside_cycle(average, &computed(average, heart)?, subject))
}

/// The cycle of `heart`, or of a resting adult at the average beat's rate.
pub(crate) fn computed(average: &Average, heart: Option<&Heart>) -> Result<Cycle, Failure> {
    let heart = heart.cloned().unwrap_or_else(|| resting(60.0 / average.cycle.period_s));
    Ok(heart::simulate(&heart, heart::natural_beats(&heart))?)
}

/// Lays an average beat beside a `computed` cycle.
pub(crate) fn beside_cycle(
    average: &Average,
    computed: &Cycle,
    subject: &Subject,
) -> Option<Beside> {
    let recorded_bpm = 60.0 / average.cycle.period_s;
    let both = |(name, channel): &&(&str, &str)| {
        average.cycle.landmark_on(name, channel).is_some()
            && computed.landmark_on(name, channel).is_some()
    };
    let &(aligned_on, channel) = ANCHORS.iter().find(both)?;
    let at = |cycle: &Cycle| cycle.landmark_on(aligned_on, channel).map_or(0.0, |l| l.time_s);
    let zeros = [at(&average.cycle), at(computed)];
    let mut rows: Vec<Row> = average
        .marks
        .iter()
        .filter(|mark| (mark.name, mark.channel.as_str()) != (aligned_on, channel))
        .filter(|mark| subject.channel(&mark.channel).is_some())
        .filter_map(|mark| row(mark, computed, zeros))
        .collect();
    let order = |row: &Row| subject.channels.iter().position(|kind| kind.id == row.channel);
    rows.sort_by(|a, b| order(a).cmp(&order(b)).then(a.recorded_ms.total_cmp(&b.recorded_ms)));
    let computed_bpm = 60.0 / computed.period_s;
    Some(Beside { aligned_on, channel, recorded_bpm, computed_bpm, rows })
}

/// A resting adult at `bpm`, or at the nearest rate that the model has.
fn resting(bpm: f64) -> Heart {
    let rate = PARAMETERS.iter().find(|parameter| parameter.name == "rate_bpm");
    let [low, high] = rate.map_or([40.0, 180.0], |parameter| [parameter.low, parameter.high]);
    let mut heart = Heart::default();
    heart.parameters.rate_bpm = bpm.clamp(low, high);
    heart
}

fn row(mark: &recording::AverageMark, computed: &Cycle, zeros: [f64; 2]) -> Option<Row> {
    let recorded_ms = 1000.0 * (mark.time_s - zeros[0]);
    let period_ms = 1000.0 * computed.period_s;
    let same = computed.landmarks.iter();
    let same = same.filter(|l| l.name == mark.name && l.channel == mark.channel);
    // A computed cycle comes round again: the occurrence nearest to the recorded one is meant.
    let near = same.map(|landmark| {
        let ms = 1000.0 * (landmark.time_s - zeros[1]);
        ms + period_ms * ((recorded_ms - ms) / period_ms).round()
    });
    let off = |ms: &f64| (ms - recorded_ms).abs();
    let computed_ms = near.min_by(|a, b| off(a).total_cmp(&off(b)))?;
    let sd_ms = mark.beats_ms.filter(|beats| beats.count > 1).map(|beats| beats.sd);
    let least = DEPARTS_MS.max(DEPARTS_SD * sd_ms.unwrap_or(0.0));
    let (name, channel) = (mark.name, mark.channel.clone());
    let departs = off(&computed_ms) > least;
    Some(Row { name, channel, recorded_ms, sd_ms, computed_ms, departs })
}
