//! What it costs to read a trace one way and not another.

/// What the parts of an assignment cost; its likelihood is the exponential of minus their sum.
///
/// [`Costs::ALONE`] was set by hand on computed hearts. [`Costs::GUIDED`] was fitted: a search along
/// one cost after the other for the greatest likelihood of where landmarks truly are on 299
/// invented drawings that were captured and read (`accuracy --fit`). Most of what those students
/// draw is nearly right; some costs were then taken back, so that what is drawn far from its place
/// is still told for what it is (`tests/drawn.rs`).
#[derive(Clone, Debug, PartialEq)]
pub struct Costs {
    /// To leave a landmark out that a good trace has.
    pub absent: f64,
    /// To leave one out that it may lack.
    pub absent_optional: f64,
    /// To find what a good trace does not have.
    pub unexpected: f64,
    /// That a wave has a beginning or an end alone.
    pub broken: f64,
    /// To find a landmark of a beat whose anchor is not shown.
    pub beyond: f64,
    /// To see a rise begin before a nearly level stretch.
    pub early: f64,
    /// Movement that no landmark explains: for the root of its share of the curve's height.
    pub unexplained: f64,
    /// The most that one stretch of such movement costs.
    pub unexplained_most: f64,
    /// The share of that before the first landmark and after the last.
    pub ends: f64,
    /// The share of that between two beats.
    pub next_beat: f64,
    /// To lie off the expected time.
    pub off: f64,
    /// How far off is usual, seconds.
    pub off_s: f64,
    /// To lie off the expected value.
    pub value: f64,
    /// How far off is usual there, as a share of the curve's height.
    pub value_share: f64,
    /// To be weak.
    pub weak: f64,
    /// To have another shape.
    pub shape: f64,
    /// To be a peak or a trough with a level beside it.
    pub plateau: f64,
    /// To go down to a peak, or up to a trough.
    pub against: f64,
    /// To change level where none is due.
    pub level_change: f64,
    /// To lie nearer to the landmark before than expected, or farther.
    pub apart: f64,
    /// How much is usual there, as a share of what is expected.
    pub apart_share: f64,
    /// To change more or less from the landmark before than expected.
    pub change: f64,
    /// How much is usual there, as a share of what is expected.
    pub change_share: f64,
    /// To lie where nothing is known.
    pub hidden: f64,
    /// To lie elsewhere than in the other beats.
    pub beats: f64,
    /// How far elsewhere is usual, seconds.
    pub beats_s: f64,
    /// To leave a burst out, as so many times what it costs to leave out another landmark.
    pub burst_absent: f64,
    /// For a burst to lie off its expected time.
    pub burst_off: f64,
    /// How far off is usual, seconds.
    pub burst_off_s: f64,
    /// For a burst to be higher or lower than usual.
    pub burst_height: f64,
    /// How much is usual there, as a natural logarithm.
    pub burst_height_log: f64,
    /// For a burst not to stand out of what is around it.
    pub burst_faint: f64,
    /// To leave a burst unnamed, for its share of the highest.
    pub burst_left_out: f64,
    /// The most that this costs in one stretch.
    pub burst_left_out_most: f64,
    /// To take two bursts for one.
    pub burst_joined: f64,
    /// To leave out what is in doubt at a burst's end.
    pub burst_trimmed: f64,
    /// To take for a burst what may be none.
    pub burst_perhaps: f64,
}

impl Costs {
    /// Where nothing is known of what a good trace looks like.
    pub const ALONE: Self = Self {
        absent: 3.0,
        absent_optional: 1.2,
        unexpected: 1.0,
        broken: 4.0,
        beyond: 0.5,
        early: 2.5,
        unexplained: 2.5,
        unexplained_most: 4.0,
        ends: 0.8,
        next_beat: 0.6,
        off: 0.8,
        off_s: 0.05,
        value: 0.0,
        value_share: 0.2,
        weak: 2.0,
        shape: 1.0,
        plateau: 1.5,
        against: 2.5,
        level_change: 3.0,
        apart: 0.5,
        apart_share: 0.4,
        change: 0.5,
        change_share: 0.5,
        hidden: 1.0,
        beats: 0.0,
        beats_s: 0.015,
        burst_absent: 1.0,
        burst_off: 0.8,
        burst_off_s: 0.05,
        burst_height: 0.7,
        burst_height_log: 0.9,
        burst_faint: 2.0,
        burst_left_out: 2.0,
        burst_left_out_most: 3.0,
        burst_joined: 0.5,
        burst_trimmed: 0.7,
        burst_perhaps: 1.5,
    };

    /// Where a good trace guides.
    pub const GUIDED: Self = Self {
        absent: 4.0,
        absent_optional: 1.2,
        unexpected: 1.0,
        broken: 4.0,
        beyond: 0.5,
        early: 8.4,
        unexplained: 2.3,
        unexplained_most: 5.0,
        ends: 1.0,
        next_beat: 0.9,
        off: 1.0,
        off_s: 0.05,
        value: 0.1,
        value_share: 0.059,
        weak: 1.5,
        shape: 1.0,
        plateau: 0.67,
        against: 2.0,
        level_change: 2.5,
        apart: 0.75,
        apart_share: 0.4,
        change: 0.32,
        change_share: 0.25,
        hidden: 0.44,
        beats: 0.5,
        beats_s: 0.019,
        burst_absent: 1.2,
        burst_off: 0.8,
        burst_off_s: 0.027,
        burst_height: 0.87,
        burst_height_log: 0.6,
        burst_faint: 2.0,
        burst_left_out: 0.59,
        burst_left_out_most: 6.75,
        burst_joined: 0.5,
        burst_trimmed: 1.6,
        burst_perhaps: 1.04,
    };

    /// Each cost with its name, to be fitted.
    pub fn each(&mut self) -> [(&'static str, &mut f64); 37] {
        [
            ("absent", &mut self.absent),
            ("absent_optional", &mut self.absent_optional),
            ("unexpected", &mut self.unexpected),
            ("broken", &mut self.broken),
            ("beyond", &mut self.beyond),
            ("early", &mut self.early),
            ("unexplained", &mut self.unexplained),
            ("unexplained_most", &mut self.unexplained_most),
            ("ends", &mut self.ends),
            ("next_beat", &mut self.next_beat),
            ("off", &mut self.off),
            ("off_s", &mut self.off_s),
            ("value", &mut self.value),
            ("value_share", &mut self.value_share),
            ("weak", &mut self.weak),
            ("shape", &mut self.shape),
            ("plateau", &mut self.plateau),
            ("against", &mut self.against),
            ("level_change", &mut self.level_change),
            ("apart", &mut self.apart),
            ("apart_share", &mut self.apart_share),
            ("change", &mut self.change),
            ("change_share", &mut self.change_share),
            ("hidden", &mut self.hidden),
            ("beats", &mut self.beats),
            ("beats_s", &mut self.beats_s),
            ("burst_absent", &mut self.burst_absent),
            ("burst_off", &mut self.burst_off),
            ("burst_off_s", &mut self.burst_off_s),
            ("burst_height", &mut self.burst_height),
            ("burst_height_log", &mut self.burst_height_log),
            ("burst_faint", &mut self.burst_faint),
            ("burst_left_out", &mut self.burst_left_out),
            ("burst_left_out_most", &mut self.burst_left_out_most),
            ("burst_joined", &mut self.burst_joined),
            ("burst_trimmed", &mut self.burst_trimmed),
            ("burst_perhaps", &mut self.burst_perhaps),
        ]
    }
}
