//! From a steady circulation to a cycle: traces, landmarks, events, phases and summary.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use cycle::{Cycle, Event, Landmark, Phase, Subject, Trace};

use crate::beats::{self, AtrialWaves, Beat, Pulse, ValveTimes};
use crate::circulation::{AORTIC, MITRAL, at};
use crate::record::Record;
use crate::run::Run;
use crate::sounds::{BeatSounds, Slopes};
use crate::turn::{Point, Turn};
use crate::{Heart, HeartError, ecg, sounds, timing};

/// The subject, read once.
static SUBJECT: LazyLock<Subject> = LazyLock::new(crate::subject);

/// Computes `beats` ventricular beats of the heart in its steady state as one cycle.
///
/// Time 0 is the start of the group of beats that repeats; where `beats` is more than the
/// group has, it repeats. [`crate::natural_beats`] says how many show the rhythm.
///
/// # Errors
/// [`HeartError::NoSteadyState`] where the circulation cannot settle with these parameters.
pub fn simulate(heart: &Heart, beats: usize) -> Result<Cycle, HeartError> {
    let run = Run::new(heart);
    let states = run.steady(heart)?;
    Ok(Group::new(heart, &run, Record::new(&run, states)).cycle(beats.max(1)))
}

/// A group of beats with all that is found on it.
struct Group {
    rate_bpm: f64,
    run_schedule: crate::schedule::Schedule,
    record: Record,
    beats: Vec<Beat>,
    sounds: Vec<BeatSounds>,
    aortic: Vec<Pulse>,
    ecg: Turn,
    heard: Turn,
    finger_pulse: Turn,
}

impl Group {
    fn new(heart: &Heart, run: &Run, record: Record) -> Self {
        let beats = beats::beats(&record, &run.schedule);
        let aortic: Vec<Pulse> = beats
            .iter()
            .map(|beat| beat.central_pulse(&record.pressure[at::ROOT], &beat.left))
            .collect();
        let slopes = Slopes::new(&record);
        let sounds: Vec<BeatSounds> = beats
            .iter()
            .zip(&aortic)
            .map(|(beat, aortic)| {
                let pulmonary = beat.central_pulse(&record.pressure[at::PA], &beat.right);
                let notches = [aortic.notch.map(|n| n.time_s), pulmonary.notch.map(|n| n.time_s)];
                BeatSounds::new(beat, &record, &slopes, &heart.parameters, notches)
            })
            .collect();
        Self {
            rate_bpm: heart.parameters.rate_bpm,
            ecg: ecg::trace(&run.schedule, run.steps),
            heard: sounds::trace(&record, &sounds),
            finger_pulse: record.finger_pulse(),
            run_schedule: run.schedule.clone(),
            record,
            beats,
            sounds,
            aortic,
        }
    }

    /// All channels, in the order in which a cycle has them.
    fn traces(&self) -> [(&'static str, &Turn); 16] {
        let Record { pressure, volume, flow, .. } = &self.record;
        [
            ("ecg", &self.ecg),
            ("heart_sounds", &self.heard),
            ("aortic_pressure", &pressure[at::ROOT]),
            ("lv_pressure", &pressure[at::LV]),
            ("la_pressure", &pressure[at::LA]),
            ("rv_pressure", &pressure[at::RV]),
            ("pa_pressure", &pressure[at::PA]),
            ("ra_pressure", &pressure[at::RA]),
            ("radial_pressure", &pressure[at::ARM[2]]),
            ("lv_volume", &volume[at::LV]),
            ("rv_volume", &volume[at::RV]),
            ("la_volume", &volume[at::LA]),
            ("ra_volume", &volume[at::RA]),
            ("aortic_flow", &flow[AORTIC]),
            ("mitral_flow", &flow[MITRAL]),
            ("finger_pulse", &self.finger_pulse),
        ]
    }

    fn trace(&self, channel: &str) -> &Turn {
        let found = self.traces().into_iter().find(|(name, _)| *name == channel);
        found.expect("only channels that there are are asked for").1
    }

    /// The first `count` beats; more than the group has repeat it.
    fn cycle(&self, count: usize) -> Cycle {
        let period_s = self.record.period_s;
        let group = self.beats.len();
        let start_of = |beat: usize| {
            (beat / group) as f64 * period_s + self.beats[beat % group].qrs_s - self.beats[0].qrs_s
        };
        let length_s = start_of(count);
        // A run that ends within the group may end between samples; it is cut at the last.
        let samples = (length_s / self.record.step_s + 1e-6).floor() as usize;
        let span_s = samples as f64 * self.record.step_s;
        let traces = self.traces().map(|(channel, turn)| {
            let unit = SUBJECT.channel(channel).map_or("relative", |kind| kind.unit.as_str());
            let all = turn.samples.iter().copied().cycle().take(samples).collect();
            Trace::new(channel, unit, 1.0 / self.record.step_s, 0.0, all)
        });
        let within = |time_s: f64| (0.0..span_s).contains(&time_s);
        Cycle {
            period_s: length_s / count as f64,
            traces: traces.into(),
            landmarks: repeated(self.landmarks(), period_s, span_s, |l| &mut l.time_s),
            events: repeated(self.events(), period_s, span_s, |e| &mut e.time_s),
            phases: self.phases_within(span_s).into_iter().filter(|p| within(p.start_s)).collect(),
            labels: Vec::new(),
            repeats: count.is_multiple_of(group),
            summary: self.summary(),
        }
    }

    fn landmarks(&self) -> Vec<Landmark> {
        let mut all = ecg::landmarks(&self.run_schedule);
        let slopes = ["radial_pressure", "finger_pulse"]
            .map(|channel| (channel, self.trace(channel).slope()));
        for (index, beat) in self.beats.iter().enumerate() {
            all.extend(self.sounds[index].landmarks(self.trace("heart_sounds")));
            all.extend(pulse_landmarks("aortic_pressure", &self.aortic[index]));
            let pulmonary = beat.central_pulse(self.trace("pa_pressure"), &beat.right);
            all.extend(pulse_landmarks("pa_pressure", &pulmonary));
            for (channel, slope) in &slopes {
                all.extend(pulse_landmarks(
                    channel,
                    &beat.distant_pulse(self.trace(channel), slope),
                ));
            }
            all.extend(atrial_landmarks(
                "la_pressure",
                &beat.atrial_waves(self.trace("la_pressure"), &beat.left),
            ));
            all.extend(atrial_landmarks(
                "ra_pressure",
                &beat.atrial_waves(self.trace("ra_pressure"), &beat.right),
            ));
            all.extend(self.ventricular_landmarks(beat));
        }
        all
    }

    fn ventricular_landmarks(&self, beat: &Beat) -> Vec<Landmark> {
        let pressure = self.trace("lv_pressure");
        let end_diastole = Point { time_s: beat.contracts_s, value: pressure.at(beat.contracts_s) };
        let mut all = marks("lv_pressure", [("lv_end_diastole", Some(end_diastole))]);
        let sides = [("lv_volume", beat.left), ("rv_volume", beat.right)];
        for (channel, times) in sides {
            let extremes = volume_extremes(self.trace(channel), beat, &times);
            all.extend(marks(
                channel,
                [("end_diastolic_volume", extremes.0), ("end_systolic_volume", extremes.1)],
            ));
        }
        all.extend(marks(
            "lv_pressure",
            [("lv_peak", pressure.highest(beat.qrs_s, contraction_ends(beat)))],
        ));
        all
    }

    fn events(&self) -> Vec<Event> {
        let atrial = self.run_schedule.atrial.iter().map(|beat| {
            let time_s = beat.p_s + timing::ATRIAL_DELAY_S;
            Event { name: "atrial_systole_begins".into(), time_s }
        });
        let valves = self.beats.iter().flat_map(|beat| {
            let (l, r) = (beat.left, beat.right);
            [
                ("mitral_closes", l.inlet_closes),
                ("tricuspid_closes", r.inlet_closes),
                ("pulmonary_opens", r.outlet_opens),
                ("aortic_opens", l.outlet_opens),
                ("aortic_closes", l.outlet_closes),
                ("pulmonary_closes", r.outlet_closes),
                ("tricuspid_opens", r.inlet_opens),
                ("mitral_opens", l.inlet_opens),
            ]
        });
        let valves =
            valves.filter_map(|(name, time)| Some(Event { name: name.into(), time_s: time? }));
        atrial.chain(valves).collect()
    }

    /// The left heart's phases, beat by beat, until `span_s`.
    fn phases_within(&self, span_s: f64) -> Vec<Phase> {
        let period_s = self.record.period_s;
        let one_turn: Vec<Phase> =
            self.beats.iter().flat_map(|beat| self.phases_of(beat)).collect();
        let turns = (span_s / period_s).ceil() as i32;
        let mut all: Vec<Phase> = (-1..=turns)
            .flat_map(|turn| one_turn.iter().map(move |p| (f64::from(turn) * period_s, p)))
            .map(|(by, p)| Phase {
                name: p.name.clone(),
                start_s: p.start_s + by,
                end_s: p.end_s + by,
            })
            .filter(|p| p.end_s > 0.0 && p.start_s < span_s)
            .map(|p| Phase { start_s: p.start_s.max(0.0), end_s: p.end_s.min(span_s), ..p })
            .filter(|p| p.end_s - p.start_s > self.record.step_s)
            .collect();
        all.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
        all
    }

    /// From the end of filling before the beat to the end of filling after it.
    fn phases_of(&self, beat: &Beat) -> Vec<Phase> {
        let t = &beat.left;
        // A valve that closes early leaves the atrium's work done but the ventricle's not begun.
        let contracts = t.inlet_closes.map(|closes| closes.max(beat.contracts_s));
        let relaxed = beat.atrial_s.map(|kick| kick + timing::atrial_length_s(self.rate_bpm));
        let emptied = contracts.zip(relaxed).map(|(contracts, relaxed)| contracts.min(relaxed));
        let next = beat.next_atrial_s.or_else(|| self.next_contraction(beat));
        let filled = beat
            .early_filling(&self.record)
            .map(|(_, ends)| next.map_or(ends, |next| ends.min(next)));
        let rapid = beat.rapid_ejection_ends(&self.record);
        let spans = [
            ("atrial_systole", beat.atrial_s, emptied),
            // A long PR interval leaves the ventricle waiting again.
            ("diastasis", emptied, contracts),
            ("isovolumic_contraction", contracts, t.outlet_opens),
            ("rapid_ejection", t.outlet_opens, rapid),
            ("reduced_ejection", rapid, t.outlet_closes),
            ("isovolumic_relaxation", t.outlet_closes, t.inlet_opens),
            ("rapid_filling", t.inlet_opens, filled.or(next)),
            ("diastasis", filled, next),
        ];
        let span = |(name, start, end): (&str, Option<f64>, Option<f64>)| {
            let (start_s, end_s) = (start?, end?);
            (end_s > start_s).then(|| Phase { name: name.to_owned(), start_s, end_s })
        };
        spans.into_iter().filter_map(span).collect()
    }

    /// When the ventricle next contracts.
    fn next_contraction(&self, beat: &Beat) -> Option<f64> {
        let place = self.beats.iter().position(|other| other.qrs_s == beat.qrs_s)?;
        let (next, by) = match self.beats.get(place + 1) {
            Some(next) => (next, 0.0),
            None => (self.beats.first()?, self.record.period_s),
        };
        Some(next.left.inlet_closes?.max(next.contracts_s) + by)
    }

    fn summary(&self) -> BTreeMap<String, f64> {
        let count = self.beats.len() as f64;
        let period_s = self.record.period_s;
        let rate = 60.0 * count / period_s;
        let stroke = self.record.flow[AORTIC].mean() * period_s / count;
        let output = stroke * rate / 1000.0;
        let extremes: Vec<_> = self
            .beats
            .iter()
            .map(|beat| volume_extremes(self.trace("lv_volume"), beat, &beat.left))
            .collect();
        let edv = mean(extremes.iter().map(|(edv, _)| edv.map(|p| p.value)));
        let esv = mean(extremes.iter().map(|(_, esv)| esv.map(|p| p.value)));
        let pressure = |channel: &str| self.trace(channel).mean();
        let pa: Vec<Pulse> = self
            .beats
            .iter()
            .map(|beat| beat.central_pulse(self.trace("pa_pressure"), &beat.right))
            .collect();
        let lv = self.trace("lv_pressure");
        let each = |value: &dyn Fn(usize) -> Option<f64>| mean((0..self.beats.len()).map(value));
        let foot = |i: usize| self.aortic[i].foot.map(|p| p.time_s);
        let ends =
            |i: usize| self.aortic[i].notch.map(|p| p.time_s).or(self.beats[i].left.outlet_closes);
        let gap = |to: Option<f64>, from: Option<f64>| Some(1000.0 * (to? - from?));
        let resistance = (pressure("aortic_pressure") - pressure("ra_pressure")) / output;
        let named = [
            ("heart_rate_bpm", Some(rate)),
            ("stroke_volume_ml", Some(stroke)),
            ("cardiac_output_l_min", Some(output)),
            ("ejection_fraction", edv.zip(esv).map(|(edv, esv)| (edv - esv) / edv)),
            ("edv_ml", edv),
            ("esv_ml", esv),
            ("aortic_systolic_mmhg", each(&|i| self.aortic[i].peak.map(|p| p.value))),
            ("aortic_diastolic_mmhg", each(&|i| self.aortic[i].foot.map(|p| p.value))),
            ("aortic_mean_mmhg", Some(pressure("aortic_pressure"))),
            (
                "lv_systolic_mmhg",
                each(&|i| {
                    lv.highest(self.beats[i].qrs_s, contraction_ends(&self.beats[i]))
                        .map(|p| p.value)
                }),
            ),
            ("lv_end_diastolic_mmhg", each(&|i| Some(lv.at(self.beats[i].contracts_s)))),
            ("la_mean_mmhg", Some(pressure("la_pressure"))),
            ("pa_systolic_mmhg", each(&|i| pa[i].peak.map(|p| p.value))),
            ("pa_diastolic_mmhg", each(&|i| pa[i].foot.map(|p| p.value))),
            ("pa_mean_mmhg", Some(pressure("pa_pressure"))),
            ("ra_mean_mmhg", Some(pressure("ra_pressure"))),
            ("pep_ms", each(&|i| gap(foot(i), Some(self.beats[i].qrs_s)))),
            ("lvet_ms", each(&|i| gap(ends(i), foot(i)))),
            ("qs2_ms", each(&|i| gap(self.sounds[i].a2_s(), Some(self.beats[i].qrs_s)))),
            (
                "ivct_ms",
                each(&|i| gap(self.beats[i].left.outlet_opens, self.beats[i].left.inlet_closes)),
            ),
            (
                "ivrt_ms",
                each(&|i| gap(self.beats[i].left.inlet_opens, self.beats[i].left.outlet_closes)),
            ),
            ("dpdt_max_mmhg_s", Some(lv.slope().samples.iter().copied().fold(f64::MIN, f64::max))),
            ("systemic_resistance_wood", Some(resistance)),
            ("aortic_mean_gradient_mmhg", each(&|i| self.aortic_gradient(&self.beats[i]))),
            ("aortic_peak_velocity_m_s", each(&|i| self.aortic_velocity(&self.beats[i]))),
        ];
        named.into_iter().filter_map(|(name, value)| Some((name.to_owned(), value?))).collect()
    }

    /// Mean pressure drop across the open aortic valve, mmHg.
    fn aortic_gradient(&self, beat: &Beat) -> Option<f64> {
        let (opens, closes) = (beat.left.outlet_opens?, beat.left.outlet_closes?);
        let (lv, aorta) = (self.trace("lv_pressure"), self.trace("aortic_pressure"));
        let steps = ((closes - opens) / self.record.step_s).max(1.0) as usize;
        let times = (0..steps).map(|step| opens + step as f64 * self.record.step_s);
        Some(times.map(|t| (lv.at(t) - aorta.at(t)).max(0.0)).sum::<f64>() / steps as f64)
    }

    /// Highest velocity of the jet through the open aortic valve, m/s.
    fn aortic_velocity(&self, beat: &Beat) -> Option<f64> {
        let (opens, closes) = (beat.left.outlet_opens?, beat.left.outlet_closes?);
        // As the leaflets part, little blood moves, and its velocity is not a jet's.
        self.record.velocity[AORTIC].highest(opens + 0.03, closes).map(|p| p.value / 100.0)
    }
}

/// By when the left ventricle's contraction is over.
fn contraction_ends(beat: &Beat) -> f64 {
    let fallback = (beat.qrs_s + 0.45).min(beat.next_qrs_s);
    beat.left.inlet_opens.unwrap_or(fallback)
}

/// End-diastolic and end-systolic volume of one beat.
fn volume_extremes(
    volume: &Turn,
    beat: &Beat,
    times: &ValveTimes,
) -> (Option<Point>, Option<Point>) {
    let ejects = times.outlet_opens.unwrap_or(beat.contracts_s + 0.06);
    let largest = volume.highest(beat.qrs_s - 0.08, ejects);
    let smallest = times
        .outlet_closes
        .and_then(|t| volume.lowest(t - 0.08, times.inlet_opens.unwrap_or(t + 0.1).max(t)));
    (largest, smallest)
}

fn mean(values: impl Iterator<Item = Option<f64>>) -> Option<f64> {
    let known: Vec<f64> = values.flatten().collect();
    (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
}

fn marks<const N: usize>(channel: &str, points: [(&str, Option<Point>); N]) -> Vec<Landmark> {
    let place = |(name, point): (&str, Option<Point>)| {
        let Point { time_s, value } = point?;
        Some(Landmark { name: name.to_owned(), channel: channel.to_owned(), time_s, value })
    };
    points.into_iter().filter_map(place).collect()
}

fn pulse_landmarks(channel: &str, p: &Pulse) -> Vec<Landmark> {
    marks(
        channel,
        [
            ("pressure_foot", p.foot),
            ("systolic_peak", p.peak),
            ("dicrotic_notch", p.notch),
            ("dicrotic_peak", p.dicrotic),
        ],
    )
}

fn atrial_landmarks(channel: &str, w: &AtrialWaves) -> Vec<Landmark> {
    marks(
        channel,
        [("a_wave", w.a), ("c_wave", w.c), ("x_descent", w.x), ("v_wave", w.v), ("y_descent", w.y)],
    )
}

/// What occurs once a period, for as many periods as `span_s` holds, in the order of time.
fn repeated<T: Clone>(
    items: Vec<T>,
    period_s: f64,
    span_s: f64,
    time: impl Fn(&mut T) -> &mut f64,
) -> Vec<T> {
    let turns = (span_s / period_s).ceil() as i32;
    let mut all = Vec::new();
    for mut item in items {
        let first = *time(&mut item);
        for turn in -2..=turns {
            let t = first + f64::from(turn) * period_s;
            if (0.0..span_s).contains(&t) {
                *time(&mut item) = t;
                all.push(item.clone());
            }
        }
    }
    let mut keyed: Vec<(f64, T)> =
        all.into_iter().map(|mut item| (*time(&mut item), item)).collect();
    keyed.sort_by(|a, b| a.0.total_cmp(&b.0));
    keyed.into_iter().map(|(_, item)| item).collect()
}
