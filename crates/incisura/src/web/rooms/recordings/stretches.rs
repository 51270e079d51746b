//! Stretches in which nothing can be measured, hatched on the strip.

use maud::{Markup, html};
use recording::{Beat, Quality};

use super::strip::{Axis, LEFT, Lane, hundredth};
use crate::web::words::recordings as words;

/// A beat reaches so far before and after its anchor, as its quality is judged, in seconds.
const BEAT_S: [f64; 2] = [0.2, 0.6];
/// A bad stretch narrower than this has no words, in pixels; a letter's width.
const LETTER: f64 = 5.8;

/// The stretches in which a channel is not good, hatched, with what is wrong.
pub(crate) fn bad(
    beats: &[Beat],
    channel: usize,
    lane: &Lane<'_>,
    axis: &Axis,
    right: f64,
) -> Markup {
    let stretches = bad_stretches(beats, channel);
    html! {
        @for (quality, [from_s, to_s]) in stretches {
            @let from = axis.x(from_s).max(LEFT);
            @let to = axis.x(to_s).min(right);
            @if to > from { (hatch(from, to, lane, words::quality(quality))) }
        }
    }
}

/// Runs of beats of one poor quality on a channel.
pub(crate) fn bad_stretches(beats: &[Beat], channel: usize) -> Vec<(Quality, [f64; 2])> {
    let mut all: Vec<(Quality, [f64; 2])> = Vec::new();
    let mut before = Quality::Good;
    for (index, beat) in beats.iter().enumerate() {
        let of = beat.quality.iter().find(|one| one.channel == channel);
        let quality = of.map_or(Quality::Good, |one| one.quality);
        let next = beats.get(index + 1).map_or(f64::INFINITY, |next| next.anchor_s - BEAT_S[0]);
        let to_s = (beat.anchor_s + BEAT_S[1]).min(next);
        match all.last_mut().filter(|_| quality == before && quality != Quality::Good) {
            Some(last) => last.1[1] = to_s,
            None if quality != Quality::Good => {
                all.push((quality, [beat.anchor_s - BEAT_S[0], to_s]));
            }
            None => {}
        }
        before = quality;
    }
    all
}

/// A hatched area on a lane, with words where they have room.
pub(crate) fn hatch(from: f64, to: f64, lane: &Lane<'_>, says: &str) -> Markup {
    let [x, width] = [from, to - from].map(hundredth);
    let wide = LETTER * says.chars().count() as f64 + 8.0;
    html! {
        g.bad {
            title { (says) }
            rect x=(x) y=(lane.top) width=(width) height=(lane.height) fill="url(#hatch)" {}
            @if width > wide {
                rect.under x=(x + 3.0) y=(lane.top + lane.height - 19.0) width=(wide - 2.0) height="16" {}
                text x=(x + 6.0) y=(lane.top + lane.height - 7.0) { (says) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use recording::{Anchor, ChannelQuality};

    use super::*;

    fn beat(anchor_s: f64, quality: Quality) -> Beat {
        Beat {
            anchor_s,
            found_s: anchor_s,
            anchor: Anchor::RPeak,
            confidence: 1.0,
            rr_s: None,
            marks: Vec::new(),
            means: Vec::new(),
            quality: vec![ChannelQuality { channel: 0, quality, why: String::new() }],
        }
    }

    #[test]
    fn bad_beats_side_by_side_are_one_stretch() {
        let all = [
            beat(1.0, Quality::Good),
            beat(2.0, Quality::Flat),
            beat(3.0, Quality::Flat),
            beat(4.0, Quality::Noisy),
            beat(5.0, Quality::Good),
            beat(6.0, Quality::Noisy),
        ];
        let found = bad_stretches(&all, 0);
        let wanted = [
            (Quality::Flat, [1.8, 3.6]),
            (Quality::Noisy, [3.8, 4.6]),
            (Quality::Noisy, [5.8, 6.6]),
        ];
        assert_eq!(found.len(), 3);
        for (found, wanted) in found.iter().zip(wanted) {
            assert_eq!(found.0, wanted.0);
            assert!(
                (found.1[0] - wanted.1[0]).abs() < 1e-9 && (found.1[1] - wanted.1[1]).abs() < 1e-9
            );
        }
        assert!(bad_stretches(&all, 1).is_empty());
    }
}
