//! The landmarks on the strip: what can be chosen and moved.

use maud::{Markup, html};
use recording::{Beat, BeatMark};

use super::shelf::Bench;
use super::strip::{Axis, LEFT, Lane, channel_name, landmark_name};
use crate::web::words::recordings as words;

/// A letter's width and a line's height of the names on the strip, in pixels.
const LETTER: f64 = 6.3;
const LINE: f64 = 12.0;
/// Where a name may stand above or below its landmark, in pixels from it, the best first; of what
/// points downwards below or above it.
const PLACES: [f64; 6] = [-9.0, 18.0, -21.0, 30.0, -33.0, 42.0];
const PLACES_BELOW: [f64; 6] = [18.0, -9.0, 30.0, -21.0, 42.0, -33.0];
const DOWNWARDS: [&str; 4] = ["q_peak", "s_peak", "pressure_foot", "dicrotic_notch"];
/// Only on strips of so many pixels a second there is room for the names of where waves begin and
/// end, and for names away from their landmarks.
const ROOMY: f64 = 300.0;
const NEAREST: usize = 2;
/// Names are told below the room of a lane's own name.
const HEAD: f64 = 14.0;

/// A landmark of a beat on a lane.
struct Placed<'a> {
    mark: &'a BeatMark,
    beat: &'a Beat,
    lane: &'a Lane<'a>,
    x: f64,
    y: f64,
    name: Option<(&'static str, f64)>,
}

/// Every landmark on the strip, in the order of time.
pub(crate) fn marks(
    bench: &Bench,
    beats: &[Beat],
    lanes: &[Lane<'_>],
    axis: &Axis,
    right: f64,
) -> Markup {
    let all = placed(beats, lanes, axis, right);
    html! {
        g #marks {
            @for one in &all {
                @let rate_hz = bench.signals[one.lane.signal].rate_hz;
                (mark(one, rate_hz))
            }
        }
    }
}

fn placed<'a>(
    beats: &'a [Beat],
    lanes: &'a [Lane<'a>],
    axis: &Axis,
    right: f64,
) -> Vec<Placed<'a>> {
    let mut all = Vec::new();
    for beat in beats {
        for mark in &beat.marks {
            let lane =
                lanes.iter().find(|lane| lane.named.is_some_and(|(at, _)| at == mark.channel));
            let Some(lane) = lane else { continue };
            let x = axis.x(mark.time_s);
            if !(LEFT..=right).contains(&x) {
                continue;
            }
            let is_sound = lane.named.is_some_and(|(_, named)| named.channel == "heart_sounds");
            // Of a burst the value is its height, and its line is the baseline.
            let y = lane.y(if is_sound { 0.0 } else { mark.value });
            all.push(Placed { mark, beat, lane, x, y, name: None });
        }
    }
    all.sort_by(|a, b| a.x.total_cmp(&b.x));
    name(&mut all, right, axis.per_s() >= ROOMY);
    all
}

/// Gives names to as many landmarks as have room: peaks first, then where they begin and end.
fn name(all: &mut [Placed<'_>], right: f64, roomy: bool) {
    let mut taken: Vec<[f64; 4]> = Vec::new();
    let count = if roomy { PLACES.len() } else { NEAREST };
    for minor in if roomy { &[false, true][..] } else { &[false] } {
        for one in all.iter_mut() {
            let (name, is_edge) = words::short_name(one.mark.name);
            // A sound is called by where it begins.
            if (is_edge && name.contains(' ')) != *minor {
                continue;
            }
            let half = 0.5 * LETTER * name.chars().count() as f64 + 1.0;
            let free = |dy: &&f64| {
                let y = one.y + **dy;
                let area = [one.x - half, y - LINE + 2.0, one.x + half, y + 2.0];
                let inside = area[0] >= LEFT
                    && area[2] <= right
                    && area[1] >= one.lane.top + HEAD
                    && area[3] <= one.lane.top + one.lane.height + 6.0;
                inside && taken.iter().all(|other| apart(&area, other))
            };
            let below = DOWNWARDS.contains(&one.mark.name);
            let places = if below { PLACES_BELOW } else { PLACES };
            if let Some(dy) = places.iter().take(count).find(free) {
                let y = one.y + dy;
                taken.push([one.x - half, y - LINE + 2.0, one.x + half, y + 2.0]);
                one.name = Some((name, y));
            }
        }
    }
}

fn apart(one: &[f64; 4], other: &[f64; 4]) -> bool {
    one[2] < other[0] || other[2] < one[0] || one[3] < other[1] || other[3] < one[1]
}

fn mark(one: &Placed<'_>, rate_hz: f64) -> Markup {
    let Placed { mark, beat, lane, .. } = one;
    let [x, y] = [one.x, one.y].map(|value| (100.0 * value).round() / 100.0);
    let channel = lane.named.map_or("", |(_, named)| named.channel.as_str());
    let (_, is_edge) = words::short_name(mark.name);
    let said = words::mark(mark, &landmark_name(mark.name), &channel_name(channel));
    let [least, most] = [beat.anchor_s - 1.0, beat.anchor_s + 1.5];
    html! {
        g.mark.edge[is_edge].byhand[mark.by_hand] role="slider" tabindex="-1" aria-label=(said)
            aria-valuemin=(short(least)) aria-valuemax=(short(most)) aria-valuenow=(short(mark.time_s))
            aria-valuetext=(words::seconds(mark.time_s))
            data-channel=(channel) data-landmark=(mark.name) data-time=(mark.time_s)
            data-step=(1.0 / rate_hz) data-says=(words::reading(mark, &said)) {
            title { (said) }
            circle.grip cx=(x) cy=(y) r="12" {}
            line.whole x1=(x) y1=(lane.top) x2=(x) y2=(lane.top + lane.height) {}
            @if mark.by_hand {
                rect.sign x=(x - 4.0) y=(y - 4.0) width="8" height="8" {}
            } @else if is_edge {
                line.sign x1=(x) y1=(y - 6.0) x2=(x) y2=(y + 6.0) {}
            } @else {
                circle.sign cx=(x) cy=(y) r="3.2" {}
            }
            @if let Some((name, at)) = one.name { text x=(x) y=(at) text-anchor="middle" { (name) } }
        }
    }
}

fn short(time_s: f64) -> f64 {
    (1e4 * time_s).round() / 1e4
}
