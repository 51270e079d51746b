//! An invented subject, a press that strikes once a second, with cycles whose truth is known.
#![allow(dead_code, reason = "each file of tests uses its own part")]

use convention::{Convention, Point, Scale, Verdict, judge};
use cycle::{Cycle, Event, Landmark, Subject, Trace};

const SUBJECT: &str = r#"
name = "press"
title = "The press"
reference_channel = "drive"
anchor = "top"

landmarks = [
    { id = "start", title = "start of the pulse", label = "", channels = ["drive"] },
    { id = "top", title = "top of the pulse", label = "T", channels = ["drive"] },
    { id = "stop", title = "stop of the pulse", label = "", channels = ["drive"] },
    { id = "late_top", title = "top of the echo", label = "", channels = ["drive"] },
    { id = "late_end", title = "end of the echo", label = "", channels = ["drive"] },
    { id = "clack_onset", title = "onset of the clack", label = "C", channels = ["knock"] },
    { id = "clack_centre", title = "middle of the clack", label = "", channels = ["knock"] },
    { id = "clack_end", title = "end of the clack", label = "", channels = ["knock"] },
    { id = "clunk_onset", title = "onset of the clunk", label = "K", channels = ["knock"] },
    { id = "clunk_centre", title = "middle of the clunk", label = "", channels = ["knock"] },
    { id = "clunk_end", title = "end of the clunk", label = "", channels = ["knock"] },
    { id = "tick", title = "tick", label = "", channels = ["knock"] },
    { id = "foot", title = "foot", label = "", channels = ["force", "recoil"] },
    { id = "crest", title = "crest", label = "", channels = ["force", "recoil"] },
    { id = "dip", title = "dip", label = "dip", channels = ["force", "recoil"] },
    { id = "bump", title = "bump", label = "", channels = ["force", "recoil"] },
    { id = "turn", title = "turn", label = "", channels = ["travel"] },
    { id = "glow", title = "glow", label = "", channels = ["heat"] },
]

events = [
    { id = "opens", title = "gate opens" },
    { id = "closes", title = "gate closes" },
]

bars = [{ id = "gate", title = "Gate", from = "opens", to = "closes", state = "open" }]

sequences = [
    ["start", "top", "stop", "late_top", "late_end"],
    ["clack_onset", "clack_centre", "clack_end", "clunk_onset", "clunk_centre", "clunk_end"],
    ["foot", "crest", "dip", "bump"],
    ["opens", "closes"],
]

[[channels]]
id = "drive"
title = "Drive"
label = "drive"
unit = "V"
range = [-1, 2]
baseline = ["start", "stop"]

[[channels]]
id = "knock"
title = "Knocks"
label = "knocks"
unit = "relative"
range = [-1, 1]

[[channels]]
id = "force"
title = "Force"
label = "force"
unit = "N"
range = [0, 100]

[[channels]]
id = "recoil"
title = "Recoil"
label = "recoil"
unit = "N"
range = [0, 50]

[[channels]]
id = "travel"
title = "Travel"
label = "travel"
unit = "mm"
range = [0, 10]

[[channels]]
id = "heat"
title = "Heat"
label = "heat"
unit = "K"
range = [0, 10]

[[strokes]]
id = "pulse"
title = "pulse"
channel = "drive"
landmarks = ["start", "top", "stop"]
draw = "a tall peak"
cause = "The motor pulls."

[[strokes]]
id = "echo"
title = "echo"
channel = "drive"
landmarks = ["late_top", "late_end"]
draw = "a low peak"
cause = "The motor lets go."

[[strokes]]
id = "clack"
title = "clack"
channel = "knock"
landmarks = ["clack_onset", "clack_end"]
centre = "clack_centre"
burst = { height = 1.0, length_ms = 80, frequency_hz = 125 }
draw = "a burst"
cause = "The press strikes."

[[strokes]]
id = "clunk"
title = "clunk"
channel = "knock"
landmarks = ["clunk_onset", "clunk_end"]
centre = "clunk_centre"
burst = { height = 0.6, length_ms = 60, frequency_hz = 125 }
draw = "a lower burst"
cause = "The gate falls shut."

[[strokes]]
id = "tick"
title = "tick"
channel = "knock"
landmarks = ["tick"]
burst = { height = 0.4, length_ms = 40, frequency_hz = 125 }
draw = "a small burst"
cause = "A spring slips."
"#;

/// What begins every text that [`headed`] makes.
pub(crate) const HEAD: &str = "title = \"T\"\nsimplifies = \"S\"\n";
const PANELS: &str = "panels = [[\"drive\"], [\"knock\"], [\"force\"], [\"travel\"]]\n";

/// Samples a second of every trace.
pub(crate) const RATE_HZ: f64 = 500.0;

/// Knots of each curve at a period of one second, joined by straight lines.
const CURVES: [(&str, &str, &[[f64; 2]]); 4] = [
    ("drive", "V", &[[0.1, 0.0], [0.15, 1.5], [0.2, 0.0], [0.4, 0.0], [0.45, 0.5], [0.55, 0.0]]),
    ("force", "N", &[[0.2, 10.0], [0.4, 90.0], [0.56, 60.0], [0.6, 70.0]]),
    ("recoil", "N", &[[0.2, 5.0], [0.38, 40.0], [0.6, 20.0], [0.64, 24.0]]),
    ("travel", "mm", &[[0.2, 2.0], [0.4, 8.0], [0.56, 8.0]]),
];

/// Landmarks of the curves, with their times and heights.
const MARKS: [(&str, &str, f64, f64); 14] = [
    ("start", "drive", 0.1, 0.0),
    ("top", "drive", 0.15, 1.5),
    ("stop", "drive", 0.2, 0.0),
    ("late_top", "drive", 0.45, 0.5),
    ("late_end", "drive", 0.55, 0.0),
    ("foot", "force", 0.2, 10.0),
    ("crest", "force", 0.4, 90.0),
    ("dip", "force", 0.56, 60.0),
    ("bump", "force", 0.6, 70.0),
    ("foot", "recoil", 0.2, 5.0),
    ("crest", "recoil", 0.38, 40.0),
    ("dip", "recoil", 0.6, 20.0),
    ("bump", "recoil", 0.64, 24.0),
    ("turn", "travel", 0.4, 8.0),
];

/// From when to when each burst lasts, and how high it is at its middle.
const BURSTS: [(&str, &str, [f64; 2], f64); 2] = [
    ("clack_onset", "clack_end", [0.16, 0.24], 1.0),
    ("clunk_onset", "clunk_end", [0.56, 0.62], 0.6),
];

const EVENTS: [(&str, f64); 2] = [("opens", 0.2), ("closes", 0.54)];

pub(crate) fn subject() -> Subject {
    toml::from_str(SUBJECT).unwrap()
}

/// A text with the usual head and panels.
pub(crate) fn headed(rest: &str) -> String {
    format!("{HEAD}{PANELS}{rest}")
}

/// One rule with the keys that all have.
pub(crate) fn rule(id: &str, body: &str) -> String {
    format!("[[rules]]\nid = \"{id}\"\ntext = \"T\"\ncause = \"C\"\n{body}\n")
}

/// Reads a text that must be right.
pub(crate) fn read(text: &str) -> Convention {
    Convention::from_toml(text, &subject()).unwrap_or_else(|faults| panic!("{faults}\n{text}"))
}

/// A convention of rules given as identifier and keys.
pub(crate) fn rules(given: &[(&str, &str)]) -> Convention {
    read(&headed(&given.iter().map(|(id, body)| rule(id, body)).collect::<String>()))
}

pub(crate) fn mark(name: &str, channel: &str) -> Point {
    Point::new(name, Some(channel))
}

pub(crate) fn judged(cycle: &Cycle, convention: &Convention) -> Vec<Verdict> {
    judge(cycle, convention, &subject(), &Scale::Measured)
}

/// The usual cycle, at a period of one second.
pub(crate) fn base() -> Cycle {
    at_period(1.0)
}

/// The usual times at another period: what lies past its end has wrapped round.
pub(crate) fn at_period(period_s: f64) -> Cycle {
    // The grid is in whole samples, so that times in the tables fall on it.
    let count = (period_s * RATE_HZ).round() as usize;
    let wrapped = |time_s: f64| time_s.rem_euclid(period_s);
    let curve = |knots: &[[f64; 2]]| {
        let mut around = knots.to_vec();
        around.push([knots[0][0] + period_s, knots[0][1]]);
        let at = |index: usize| {
            let mut time_s = index as f64 / RATE_HZ;
            if time_s < knots[0][0] - 1e-9 {
                time_s += period_s;
            }
            let next = around.iter().position(|knot| knot[0] > time_s).unwrap();
            let (a, b) = (around[next.max(1) - 1], around[next.max(1)]);
            a[1] + (time_s - a[0]) / (b[0] - a[0]) * (b[1] - a[1])
        };
        (0..count).map(at).collect::<Vec<f64>>()
    };
    let mut traces: Vec<Trace> = CURVES
        .iter()
        .map(|(channel, unit, knots)| Trace::new(channel, unit, RATE_HZ, 0.0, curve(knots)))
        .collect();
    let mut knock = vec![0.0; count];
    let mut landmarks = Vec::new();
    for (first, last, [start, end], height) in BURSTS {
        let (from, to) = ((start * RATE_HZ).round() as usize, (end * RATE_HZ).round() as usize);
        let half = (to - from) / 2;
        for step in 0..=2 * half {
            let swell = 1.0 - (step as f64 / half as f64 - 1.0).abs();
            let sign = if (step + half) % 2 == 0 { 1.0 } else { -1.0 };
            knock[(from + step) % count] = height * swell * sign;
        }
        landmarks.push(landmark(first, "knock", wrapped(start), 0.0));
        landmarks.push(landmark(last, "knock", wrapped(end), 0.0));
    }
    traces.insert(1, Trace::new("knock", "relative", RATE_HZ, 0.0, knock));
    for (name, channel, time_s, value) in MARKS {
        landmarks.push(landmark(name, channel, wrapped(time_s), value));
    }
    landmarks.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    let mut events: Vec<Event> = EVENTS
        .iter()
        .map(|&(name, time_s)| Event { name: name.to_owned(), time_s: wrapped(time_s) })
        .collect();
    events.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    Cycle { period_s, traces, landmarks, events, repeats: true, ..Cycle::default() }
}

pub(crate) fn landmark(name: &str, channel: &str, time_s: f64, value: f64) -> Landmark {
    Landmark { name: name.to_owned(), channel: channel.to_owned(), time_s, value }
}

/// Puts a landmark elsewhere in time, as a drawing may have it.
pub(crate) fn put(cycle: &mut Cycle, name: &str, channel: &str, time_s: f64) {
    let place = cycle.landmarks.iter_mut().find(|l| l.name == name && l.channel == channel);
    place.unwrap().time_s = time_s;
}

/// The whole cycle so many seconds later.
pub(crate) fn later(mut cycle: Cycle, by_s: f64) -> Cycle {
    cycle.traces.iter_mut().for_each(|trace| trace.start_s += by_s);
    cycle.landmarks.iter_mut().for_each(|l| l.time_s += by_s);
    cycle.events.iter_mut().for_each(|event| event.time_s += by_s);
    cycle.labels.iter_mut().for_each(|label| label.time_s += by_s);
    cycle
}
