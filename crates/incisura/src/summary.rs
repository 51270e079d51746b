//! A cycle in words and numbers, for the terminal and for the page.

use std::fmt::Write as _;

use cycle::{Cycle, Subject};

/// How a number of the summary is shown to people.
#[derive(Debug)]
pub(crate) struct Measure {
    id: &'static str,
    pub(crate) title: &'static str,
    pub(crate) unit: &'static str,
    decimals: usize,
    factor: f64,
}

const fn measure(
    id: &'static str,
    title: &'static str,
    unit: &'static str,
    decimals: usize,
) -> Measure {
    Measure { id, title, unit, decimals, factor: 1.0 }
}

/// The groups of the summary, in the order in which they are shown.
pub(crate) const GROUPS: &[(&str, &[Measure])] = &[
    (
        "Pump",
        &[
            measure("heart_rate_bpm", "Heart rate", "/min", 0),
            measure("stroke_volume_ml", "Stroke volume", "mL", 0),
            measure("cardiac_output_l_min", "Cardiac output", "L/min", 1),
            Measure { factor: 100.0, ..measure("ejection_fraction", "Ejection fraction", "%", 0) },
            measure("edv_ml", "End-diastolic volume", "mL", 0),
            measure("esv_ml", "End-systolic volume", "mL", 0),
            measure("dpdt_max_mmhg_s", "Steepest rise of LV pressure", "mmHg/s", 0),
        ],
    ),
    (
        "Left heart and aorta",
        &[
            measure("aortic_systolic_mmhg", "Aorta, systolic", "mmHg", 0),
            measure("aortic_diastolic_mmhg", "Aorta, diastolic", "mmHg", 0),
            measure("aortic_mean_mmhg", "Aorta, mean", "mmHg", 0),
            measure("lv_systolic_mmhg", "Left ventricle, systolic", "mmHg", 0),
            measure("lv_end_diastolic_mmhg", "Left ventricle, end-diastolic", "mmHg", 0),
            measure("la_mean_mmhg", "Left atrium, mean", "mmHg", 0),
            measure("aortic_mean_gradient_mmhg", "Mean gradient, aortic valve", "mmHg", 0),
            measure("aortic_peak_velocity_m_s", "Peak velocity, aortic valve", "m/s", 1),
            measure("systemic_resistance_wood", "Systemic resistance", "Wood units", 1),
        ],
    ),
    (
        "Right heart",
        &[
            measure("pa_systolic_mmhg", "Pulmonary artery, systolic", "mmHg", 0),
            measure("pa_diastolic_mmhg", "Pulmonary artery, diastolic", "mmHg", 0),
            measure("pa_mean_mmhg", "Pulmonary artery, mean", "mmHg", 0),
            measure("ra_mean_mmhg", "Right atrium, mean", "mmHg", 0),
        ],
    ),
    (
        "Time intervals",
        &[
            measure("pep_ms", "Pre-ejection period (PEP)", "ms", 0),
            measure("lvet_ms", "LV ejection time (LVET)", "ms", 0),
            measure("qs2_ms", "QRS onset to S2 (QS2)", "ms", 0),
            measure("ivct_ms", "Isovolumic contraction", "ms", 0),
            measure("ivrt_ms", "Isovolumic relaxation", "ms", 0),
        ],
    ),
];

impl Measure {
    /// The number as shown, without its unit, or `None` where the cycle does not have it.
    pub(crate) fn shown(&self, cycle: &Cycle) -> Option<String> {
        Some(self.text(cycle.summary.get(self.id)? * self.factor))
    }

    /// How much more the second cycle has than the first, with its sign. It is what lies between
    /// the two numbers as they are shown, so that whoever subtracts them finds the same.
    pub(crate) fn difference(&self, first: &Cycle, second: &Cycle) -> Option<String> {
        let shown = |cycle: &Cycle| self.shown(cycle)?.parse::<f64>().ok();
        let text = self.text(shown(second)? - shown(first)?);
        let nothing = text.trim_start_matches(['0', '.']).is_empty();
        Some(if nothing || text.starts_with('-') {
            text.replace('-', "−")
        } else {
            format!("+{text}")
        })
    }

    fn text(&self, value: f64) -> String {
        let text = format!("{value:.*}", self.decimals);
        // A tiny negative number would otherwise be shown as minus nothing.
        if text.trim_start_matches(['-', '0', '.']).is_empty() {
            text.trim_start_matches('-').to_owned()
        } else {
            text
        }
    }
}

/// The numbers that are named first when a circulation is described.
pub(crate) fn key_numbers(cycle: &Cycle) -> [(&'static str, String); 4] {
    let number = |id: &str| cycle.summary.get(id).copied().unwrap_or(f64::NAN);
    let aorta = [number("aortic_systolic_mmhg"), number("aortic_diastolic_mmhg")];
    [
        ("Heart rate", format!("{:.0} /min", number("heart_rate_bpm"))),
        ("Stroke volume", format!("{:.0} mL", number("stroke_volume_ml"))),
        ("Cardiac output", format!("{:.1} L/min", number("cardiac_output_l_min"))),
        ("Aorta", format!("{:.0}/{:.0} mmHg", aorta[0], aorta[1])),
    ]
}

/// The key numbers in one line.
pub(crate) fn headline(cycle: &Cycle) -> String {
    key_numbers(cycle).map(|(title, value)| format!("{title} {value}")).join(", ")
}

/// The summary and, in the order of time, all landmarks and events, as a table to read.
pub(crate) fn table(cycle: &Cycle, subject: &Subject) -> String {
    let mut text = format!("{}\n", headline(cycle));
    for (title, measures) in GROUPS {
        let _ = writeln!(text, "\n{title}");
        for measure in *measures {
            if let Some(value) = measure.shown(cycle) {
                let _ = writeln!(text, "  {:<34} {value:>7} {}", measure.title, measure.unit);
            }
        }
    }
    text += "\nIn time                                   ms   value\n";
    let mut moments = moments(cycle, subject);
    moments.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    for moment in moments {
        let _ = writeln!(
            text,
            "  {:<34} {:>7.0}   {}",
            moment.title,
            moment.time_s * 1000.0,
            moment.value
        );
    }
    text
}

struct Moment {
    title: String,
    time_s: f64,
    value: String,
}

fn moments(cycle: &Cycle, subject: &Subject) -> Vec<Moment> {
    let title = |id: &str| subject.title_of(id).unwrap_or(id).to_owned();
    let landmarks = cycle.landmarks.iter().map(|landmark| {
        let kind = subject.channel(&landmark.channel);
        let unit = kind.map_or("", |kind| kind.unit.as_str());
        let unit = if unit == "relative" { "" } else { unit };
        let on = kind.map_or(landmark.channel.as_str(), |kind| kind.title.as_str());
        let value = format!("{:>7.2} {unit:<5} {on}", landmark.value);
        Moment { title: title(&landmark.name), time_s: landmark.time_s, value }
    });
    let events = cycle.events.iter().map(|event| Moment {
        title: title(&event.name),
        time_s: event.time_s,
        value: String::new(),
    });
    landmarks.chain(events).collect()
}
