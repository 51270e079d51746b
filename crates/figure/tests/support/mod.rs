//! An invented cycle, good for testing layout and nothing else: its shapes are drawn by
//! hand from a few knots and its numbers come from no heart.

use cycle::{Cycle, Event, Landmark, Phase, Subject, Trace};
use figure::{FigureSpec, PanelSpec};

/// The cardiac subject, as its own crate ships it.
pub(crate) fn subject() -> Subject {
    toml::from_str(include_str!("../../../heart/data/cardiac.toml"))
        .expect("the subject is well formed")
}

/// How an invented cycle departs from the plainest one.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shape {
    pub(crate) beats: usize,
    /// Multiplies all times.
    pub(crate) stretch: f64,
    /// Multiplies arterial and ventricular pressure.
    pub(crate) pressure: f64,
    pub(crate) p_wave: bool,
}

impl Default for Shape {
    fn default() -> Self {
        Self { beats: 1, stretch: 1.0, pressure: 1.0, p_wave: true }
    }
}

const PERIOD: f64 = 0.833;

/// A value on smooth steps through `knots` of time and value.
fn through(knots: &[[f64; 2]], time: f64) -> f64 {
    let after = knots.iter().position(|knot| knot[0] > time);
    match after {
        None => knots[knots.len() - 1][1],
        Some(0) => knots[0][1],
        Some(i) => {
            let ([t0, v0], [t1, v1]) = (knots[i - 1], knots[i]);
            let u = (time - t0) / (t1 - t0);
            v0 + (v1 - v0) * u * u * (3.0 - 2.0 * u)
        }
    }
}

fn bump(time: f64, centre: f64, width: f64) -> f64 {
    let z = (time - centre) / width;
    libm::exp(-z * z)
}

fn ecg(t: f64, p: bool) -> f64 {
    let p = if p { 0.15 * bump(t, 0.08, 0.022) } else { 0.0 };
    p - 0.1 * bump(t, 0.218, 0.007) + 1.2 * bump(t, 0.24, 0.010) - 0.25 * bump(t, 0.262, 0.008)
        + 0.3 * bump(t, 0.48, 0.04)
}

fn sounds(t: f64) -> f64 {
    let wave = |hertz: f64| libm::sin(2.0 * std::f64::consts::PI * hertz * t);
    0.8 * bump(t, 0.29, 0.025) * wave(70.0) + 0.6 * bump(t, 0.585, 0.018) * wave(110.0)
}

const LV: &[[f64; 2]] = &[
    [0.0, 7.0],
    [0.08, 7.5],
    [0.16, 12.0],
    [0.22, 9.0],
    [0.25, 10.0],
    [0.305, 80.0],
    [0.41, 121.0],
    [0.54, 102.0],
    [0.56, 92.0],
    [0.64, 7.0],
    [0.68, 3.0],
    [0.76, 6.0],
    [0.833, 7.0],
];
const AORTA: &[[f64; 2]] = &[
    [0.0, 84.0],
    [0.30, 78.0],
    [0.42, 119.0],
    [0.55, 100.0],
    [0.57, 93.0],
    [0.60, 99.0],
    [0.833, 84.0],
];
const ATRIUM: &[[f64; 2]] = &[
    [0.0, 7.6],
    [0.08, 8.0],
    [0.16, 12.5],
    [0.23, 8.0],
    [0.28, 10.5],
    [0.36, 5.0],
    [0.62, 12.0],
    [0.70, 5.0],
    [0.833, 7.6],
];
const VOLUME: &[[f64; 2]] = &[
    [0.0, 107.0],
    [0.09, 108.0],
    [0.20, 125.0],
    [0.30, 125.0],
    [0.36, 95.0],
    [0.45, 63.0],
    [0.56, 50.0],
    [0.64, 50.0],
    [0.74, 98.0],
    [0.833, 107.0],
];

/// An invented cycle or run of cycles.
pub(crate) fn invented(shape: Shape) -> Cycle {
    let length = PERIOD * shape.stretch * shape.beats as f64;
    let trace = |channel: &str, unit: &str, rate: f64, value: &dyn Fn(f64) -> f64| {
        let count = libm::round(length * rate) as usize;
        let sample = |i| value((i as f64 / rate / shape.stretch) % PERIOD);
        Trace::new(channel, unit, rate, 0.0, (0..count).map(sample).collect())
    };
    let traces = vec![
        trace("ecg", "mV", 1000.0, &|t| ecg(t, shape.p_wave)),
        trace("heart_sounds", "relative", 4000.0, &sounds),
        trace("lv_pressure", "mmHg", 500.0, &|t| shape.pressure * through(LV, t)),
        trace("aortic_pressure", "mmHg", 500.0, &|t| shape.pressure * through(AORTA, t)),
        trace("la_pressure", "mmHg", 500.0, &|t| through(ATRIUM, t)),
        trace("lv_volume", "mL", 500.0, &|t| through(VOLUME, t)),
    ];
    let mut cycle = Cycle { period_s: PERIOD * shape.stretch, traces, ..Cycle::default() };
    for beat in 0..shape.beats {
        name(&mut cycle, beat as f64 * PERIOD, shape);
    }
    cycle.summary.insert("stroke_volume_ml".into(), 75.0);
    cycle.summary.insert("aortic_systolic_mmhg".into(), 119.0 * shape.pressure);
    cycle
}

const MARKS: &[(&str, &str, f64)] = &[
    ("p_onset", "ecg", 0.04),
    ("p_peak", "ecg", 0.08),
    ("p_end", "ecg", 0.12),
    ("a_wave", "la_pressure", 0.16),
    ("qrs_onset", "ecg", 0.2),
    ("q_peak", "ecg", 0.216),
    ("end_diastolic_volume", "lv_volume", 0.24),
    ("r_peak", "ecg", 0.24),
    ("lv_end_diastole", "lv_pressure", 0.25),
    ("s1_onset", "heart_sounds", 0.256),
    ("s_peak", "ecg", 0.263),
    ("c_wave", "la_pressure", 0.28),
    ("qrs_end", "ecg", 0.285),
    ("pressure_foot", "aortic_pressure", 0.3),
    ("s1_end", "heart_sounds", 0.33),
    ("x_descent", "la_pressure", 0.36),
    ("t_onset", "ecg", 0.39),
    ("systolic_peak", "aortic_pressure", 0.42),
    ("t_peak", "ecg", 0.48),
    ("t_end", "ecg", 0.55),
    ("s2_onset", "heart_sounds", 0.563),
    ("dicrotic_notch", "aortic_pressure", 0.57),
    ("a2", "heart_sounds", 0.575),
    ("p2", "heart_sounds", 0.595),
    ("dicrotic_peak", "aortic_pressure", 0.6),
    ("end_systolic_volume", "lv_volume", 0.6),
    ("v_wave", "la_pressure", 0.62),
    ("y_descent", "la_pressure", 0.7),
];
const EVENTS: &[(&str, f64)] = &[
    ("atrial_systole_begins", 0.09),
    ("mitral_closes", 0.25),
    ("aortic_opens", 0.3),
    ("aortic_closes", 0.56),
    ("mitral_opens", 0.64),
];
const PHASES: &[(&str, f64, f64)] = &[
    ("diastasis", 0.0, 0.09),
    ("atrial_systole", 0.09, 0.25),
    ("isovolumic_contraction", 0.25, 0.3),
    ("rapid_ejection", 0.3, 0.42),
    ("reduced_ejection", 0.42, 0.56),
    ("isovolumic_relaxation", 0.56, 0.64),
    ("rapid_filling", 0.64, 0.76),
    ("diastasis", 0.76, PERIOD),
];

fn name(cycle: &mut Cycle, start: f64, shape: Shape) {
    let at = |time: f64| (start + time) * shape.stretch;
    for &(name, channel, time) in MARKS {
        if name.starts_with("p_") && !shape.p_wave {
            continue;
        }
        let value = cycle.trace(channel).and_then(|trace| trace.at(at(time))).unwrap_or_default();
        let (name, channel) = (name.to_owned(), channel.to_owned());
        cycle.landmarks.push(Landmark { name, channel, time_s: at(time), value });
    }
    for &(name, time) in EVENTS {
        cycle.events.push(Event { name: name.to_owned(), time_s: at(time) });
    }
    for &(name, from, to) in PHASES {
        cycle.phases.push(Phase { name: name.to_owned(), start_s: at(from), end_s: at(to) });
    }
}

/// The figure that a class usually sees.
pub(crate) fn usual() -> FigureSpec {
    FigureSpec {
        title: Some("The cardiac cycle at rest".into()),
        panels: vec![
            PanelSpec::new(&["ecg"], 26.0),
            PanelSpec::new(&["heart_sounds"], 18.0),
            PanelSpec::new(&["lv_pressure", "aortic_pressure", "la_pressure"], 62.0),
            PanelSpec::new(&["lv_volume"], 34.0),
        ],
        lines: ["r_peak", "s1_onset", "s2_onset", "t_end"].map(String::from).into(),
        bars: ["mitral", "aortic"].map(String::from).into(),
        ..FigureSpec::default()
    }
}

/// Cycles and specifications that between them strain the layout.
pub(crate) fn cases() -> Vec<(&'static str, Cycle, FigureSpec)> {
    let plain = Shape::default();
    let around = Some(["lv_volume".to_owned(), "lv_pressure".to_owned()]);
    let wide = FigureSpec { width_mm: 260.0, loop_channels: around.clone(), ..usual() };
    let large = FigureSpec { scale: 1.6, width_mm: 300.0, grid: true, ..usual() };
    vec![
        ("usual", invented(plain), usual()),
        (
            "grid-loop-below",
            invented(plain),
            FigureSpec { grid: true, loop_channels: around.clone(), ..usual() },
        ),
        ("loop-beside", invented(plain), wide),
        ("four-beats", invented(Shape { beats: 4, ..plain }), usual()),
        ("large", invented(plain), large),
        ("large-narrow", invented(plain), FigureSpec { scale: 1.6, ..usual() }),
        ("slow", invented(Shape { stretch: 1.6, pressure: 1.5, ..plain }), usual()),
        (
            "fast-no-p",
            invented(Shape { stretch: 0.5, pressure: 0.8, p_wave: false, ..plain }),
            FigureSpec {
                lines: ["p_onset", "r_peak", "aortic_opens", "aortic_closes", "mitral_opens"]
                    .map(String::from)
                    .into(),
                ..usual()
            },
        ),
        ("small", invented(plain), FigureSpec { width_mm: 110.0, ..usual() }),
        (
            "part",
            invented(Shape { beats: 3, ..plain }),
            FigureSpec { start_s: Some(0.7), end_s: Some(1.75), ..usual() },
        ),
    ]
}
