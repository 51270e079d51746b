//! Which stretch of a recording is fit to be measured by hand.

use recording::{Beat, Named, Quality};

/// So long before its first beat a strip begins, for that beat's P wave, seconds.
const BEFORE_S: f64 = 0.4;
/// What a beat that is not good on a channel counts, against doubts of 0 to 1 about a landmark.
const NOT_GOOD: f64 = 10.0;

/// Where the quietest stretch of `length_s` begins: with the fewest beats of poor quality, then
/// the surest landmarks; of equal ones the first.
pub(super) fn from_s(beats: &[Beat], named: &[Named], length_s: f64, end_s: f64) -> f64 {
    let last = (end_s - length_s).max(0.0);
    let usual = usual_marks(beats);
    let mut best = (f64::INFINITY, 0.0);
    for (index, first) in beats.iter().enumerate() {
        let from_s = (first.anchor_s - BEFORE_S).clamp(0.0, last);
        let inside = beats[index..].iter().take_while(|beat| beat.anchor_s < from_s + length_s);
        let (sum, count) = inside
            .fold((0.0, 0.0), |(sum, count), beat| (sum + doubt(beat, named, usual), count + 1.0));
        let doubt: f64 = sum / f64::max(count, 1.0);
        if doubt < best.0 - 1e-9 {
            best = (doubt, from_s);
        }
    }
    best.1
}

/// As many landmarks as the best beats have.
fn usual_marks(beats: &[Beat]) -> usize {
    beats.iter().map(|beat| beat.marks.len()).max().unwrap_or(0)
}

/// How unfit a beat is.
fn doubt(beat: &Beat, named: &[Named], usual: usize) -> f64 {
    let poor = beat.quality.iter().filter(|one| one.quality != Quality::Good);
    // A poor signal that nobody measures on spoils nothing.
    let poor =
        poor.filter(|one| named.get(one.channel).is_some_and(super::strip::is_shown)).count();
    let sure: f64 = beat.marks.iter().map(|mark| mark.confidence).sum();
    NOT_GOOD * poor as f64 + 1.0 - sure / usual.max(1) as f64
}
