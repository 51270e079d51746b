//! One beat of a recording.

use serde::Serialize;

use crate::quality::ChannelQuality;

/// What tells that there is a beat.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Anchor {
    /// The main deflection of the QRS complex.
    RPeak,
    /// The steepest rise of a pressure or pulse, where there is no ECG.
    Upstroke,
    /// The first heart sound, where there is nothing else.
    FirstSound,
}

/// A landmark of a beat.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct BeatMark {
    /// Landmark identifier.
    pub name: &'static str,
    /// Number of the channel among those named.
    pub channel: usize,
    /// When, in seconds from the recording's start.
    pub time_s: f64,
    /// The value there, in the signal's unit; of a burst its height.
    pub value: f64,
    /// How sure it is that this is the landmark, 0 … 1.
    pub confidence: f64,
    /// Whether a person put it there.
    pub by_hand: bool,
}

/// One beat.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Beat {
    /// When its anchor is, in seconds from the recording's start.
    pub anchor_s: f64,
    /// When it was found, or first put there by hand: by this the table of corrections names the
    /// beat, wherever its anchor was moved since.
    #[serde(skip)]
    pub found_s: f64,
    /// What the anchor is.
    pub anchor: Anchor,
    /// How sure it is that a beat is there, 0 … 1; at most 0.7 without an ECG.
    pub confidence: f64,
    /// Time since the anchor of the beat before; `None` of the first, and where a beat between
    /// them may have been missed because nothing was recorded.
    pub rr_s: Option<f64>,
    /// The landmarks, by channel and in the order of time.
    pub marks: Vec<BeatMark>,
    /// The mean of each channel named from this beat's anchor to the next; `None` where the
    /// channel is not good there or there is no next beat.
    pub means: Vec<Option<f64>>,
    /// The quality of each channel.
    pub quality: Vec<ChannelQuality>,
}

impl Beat {
    /// The landmark `name` on the channel numbered `channel`.
    pub fn mark(&self, name: &str, channel: usize) -> Option<&BeatMark> {
        self.marks.iter().find(|mark| mark.channel == channel && mark.name == name)
    }
}
