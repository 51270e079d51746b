//! What has been published of what is measured, to stand beside it.

use serde::Serialize;

/// A published range.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Published {
    /// Lowest usual value at this recording's heart rate.
    pub low: f64,
    /// Highest usual value at this recording's heart rate.
    pub high: f64,
    /// Who or what was measured, and how the range was taken.
    pub about: &'static str,
    /// Where it was published.
    pub source: &'static str,
    /// How sure it is: "verified", "second-hand", "from memory" or "computed".
    pub status: &'static str,
}

/// A line over the heart rate: the value at 0 beats a minute, and the change with each.
type Line = [f64; 2];

struct Row {
    /// What is measured, and on which channel if the range is that channel's alone.
    id: &'static str,
    channel: &'static str,
    low: Line,
    high: Line,
    about: &'static str,
    source: &'static str,
    status: &'static str,
}

/// Lines over the rate were fitted at rest; beyond these rates they say nothing.
const RATES_BPM: [f64; 2] = [40.0, 130.0];

const WEISSLER: &str = "Weissler et al., Circulation 1968;37:149–159";
const RAUTAHARJU: &str = "Rautaharju et al., J Electrocardiol 2013 (PMC3825808)";
const LUO: &str = "Luo et al., J Electrocardiol 2004;37 Suppl:81–90; lower limit AHA/ACCF/HRS part IV, J Am Coll Cardiol 2009;53:982–991";
const TABLES: &str = "catheterisation tables";

const fn flat(value: f64) -> Line {
    [value, 0.0]
}

const ROWS: [Row; 24] = [
    Row {
        id: "heart_rate",
        channel: "",
        low: flat(60.0),
        high: flat(100.0),
        about: "resting adults",
        source: "textbooks",
        status: "from memory",
    },
    Row {
        id: "sdnn",
        channel: "",
        low: flat(32.0),
        high: flat(93.0),
        about: "healthy adults, five minutes at rest",
        source: "Nunan et al., Pacing Clin Electrophysiol 2010;33:1407–1417",
        status: "from memory",
    },
    Row {
        id: "rmssd",
        channel: "",
        low: flat(19.0),
        high: flat(75.0),
        about: "healthy adults, five minutes at rest",
        source: "Nunan et al., Pacing Clin Electrophysiol 2010;33:1407–1417",
        status: "from memory",
    },
    Row {
        id: "pr",
        channel: "",
        low: flat(118.0),
        high: flat(212.0),
        about: "2nd to 98th centile of 36,299 healthy women",
        source: RAUTAHARJU,
        status: "verified",
    },
    Row {
        id: "qrs",
        channel: "",
        low: flat(70.0),
        high: flat(114.0),
        about: "women 70 to 104 ms and men 74 to 114 ms",
        source: "Rautaharju et al. 2013; Surawicz et al., J Am Coll Cardiol 2009;53:976–981",
        status: "verified (women), second-hand (men)",
    },
    Row {
        id: "qt",
        channel: "",
        low: [491.0, -1.8],
        high: [541.0, -2.0],
        about: "lines of 100 men and 100 women at rest, 20 ms either side",
        source: "Chest 1981;80:613–617",
        status: "verified",
    },
    Row {
        id: "qtc_bazett",
        channel: "",
        low: flat(390.0),
        high: flat(483.0),
        about: "98 % of 10,303 normal ECGs below",
        source: LUO,
        status: "verified (upper), from memory (lower)",
    },
    Row {
        id: "qtc_fridericia",
        channel: "",
        low: flat(390.0),
        high: flat(460.0),
        about: "98 % of 10,303 normal ECGs below",
        source: LUO,
        status: "verified (upper), from memory (lower)",
    },
    Row {
        id: "qtc_framingham",
        channel: "",
        low: flat(390.0),
        high: flat(457.0),
        about: "98 % of 10,303 normal ECGs below",
        source: LUO,
        status: "verified (upper), from memory (lower)",
    },
    Row {
        id: "qtc_hodges",
        channel: "",
        low: flat(390.0),
        high: flat(457.0),
        about: "98 % of 10,303 normal ECGs below",
        source: LUO,
        status: "verified (upper), from memory (lower)",
    },
    Row {
        id: "r_s1",
        channel: "",
        low: flat(0.0),
        high: flat(40.0),
        about: "onset of QRS to S1 50 to 70 ms, less onset of QRS to R 30 to 50 ms",
        source: "Am J Cardiol 1975;35:346; textbooks",
        status: "computed",
    },
    Row {
        id: "s1_s2",
        channel: "",
        low: [457.0, -2.2],
        high: [513.0, -2.0],
        about: "QS2 of two laboratories, less onset of QRS to S1",
        source: "Weissler et al. 1968; Chest 1981;80:613–617; Am J Cardiol 1975;35:346",
        status: "computed",
    },
    Row {
        id: "qs2",
        channel: "",
        low: [527.0, -2.2],
        high: [563.0, -2.0],
        about: "lines of two laboratories, 14 ms either side",
        source: "Weissler et al. 1968; Chest 1981;80:613–617",
        status: "from memory (first), verified (second)",
    },
    Row {
        id: "pep",
        channel: "aortic_pressure",
        low: [118.0, -0.4],
        high: [144.0, -0.4],
        about: "lines of men and women, one SD either side",
        source: WEISSLER,
        status: "from memory",
    },
    Row {
        id: "pep_from_s2",
        channel: "",
        low: [118.0, -0.4],
        high: [144.0, -0.4],
        about: "lines of men and women, one SD either side",
        source: WEISSLER,
        status: "from memory",
    },
    Row {
        id: "lvet",
        channel: "",
        low: [403.0, -1.7],
        high: [428.0, -1.6],
        about: "lines of men and women, one SD either side, on the pulse near the heart",
        source: WEISSLER,
        status: "from memory",
    },
    Row {
        id: "pulse_arrival",
        channel: "finger_pulse",
        low: [158.0, -0.4],
        high: [264.0, -0.4],
        about: "PEP less onset of QRS to R, and 90 to 150 ms from the aortic foot to the finger's",
        source: "Weissler et al. 1968; textbooks (Nichols & O'Rourke)",
        status: "computed from memory",
    },
    Row {
        id: "pulse_arrival",
        channel: "radial_pressure",
        low: [138.0, -0.4],
        high: [214.0, -0.4],
        about: "PEP less onset of QRS to R, and 70 to 100 ms from the aortic foot to the wrist's",
        source: "Weissler et al. 1968; textbooks (Nichols & O'Rourke)",
        status: "computed from memory",
    },
    Row {
        id: "systolic",
        channel: "",
        low: flat(90.0),
        high: flat(140.0),
        about: "aorta, adults at rest",
        source: TABLES,
        status: "from memory",
    },
    Row {
        id: "diastolic",
        channel: "",
        low: flat(60.0),
        high: flat(90.0),
        about: "aorta, adults at rest",
        source: TABLES,
        status: "from memory",
    },
    Row {
        id: "mean_pressure",
        channel: "",
        low: flat(70.0),
        high: flat(105.0),
        about: "aorta, adults at rest",
        source: TABLES,
        status: "from memory",
    },
    Row {
        id: "systolic",
        channel: "pa_pressure",
        low: flat(13.0),
        high: flat(29.0),
        about: "21 and SD 4 mmHg, two SD either side",
        source: "review, PMC8936511",
        status: "verified",
    },
    Row {
        id: "diastolic",
        channel: "pa_pressure",
        low: flat(4.0),
        high: flat(12.0),
        about: "healthy adults",
        source: TABLES,
        status: "from memory",
    },
    Row {
        id: "mean_pressure",
        channel: "pa_pressure",
        low: flat(7.4),
        high: flat(20.6),
        about: "1,187 healthy people lying, mean 14.0 and SD 3.3 mmHg, two SD either side",
        source: "Kovacs et al., Eur Respir J 2009;34:888–894",
        status: "verified",
    },
];

/// What has been published of `id` on `channel` at a heart rate; the arteries of the body share
/// their ranges, the lungs' have their own.
pub(crate) fn published(id: &str, channel: &str, rate_bpm: f64) -> Option<Published> {
    let own = |row: &&Row| row.id == id && row.channel == channel;
    let shared = |row: &&Row| row.id == id && row.channel.is_empty() && channel != "pa_pressure";
    let row = ROWS.iter().find(own).or_else(|| ROWS.iter().find(shared))?;
    let level = row.low[1] == 0.0 && row.high[1] == 0.0;
    let [low, high] = [row.low, row.high].map(|[value, slope]| value + slope * rate_bpm);
    let holds = level || (RATES_BPM[0]..=RATES_BPM[1]).contains(&rate_bpm);
    let (about, source, status) = (row.about, row.source, row.status);
    holds.then_some(Published { low, high, about, source, status })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_follow_the_rate_and_end_with_it() {
        let lvet = published("lvet", "aortic_pressure", 75.0).unwrap();
        assert!((lvet.low - 275.5).abs() < 1e-9 && (lvet.high - 308.0).abs() < 1e-9);
        assert_eq!(published("lvet", "aortic_pressure", 180.0), None);
        assert_eq!(published("lvet", "pa_pressure", 75.0), None);
        assert_eq!(published("systolic", "pa_pressure", 75.0).unwrap().high, 29.0);
        assert_eq!(published("systolic", "radial_pressure", 75.0).unwrap().high, 140.0);
        assert_eq!(published("unknown", "", 75.0), None);
    }

    #[test]
    fn each_range_is_a_range_and_says_where_it_is_from() {
        for row in &ROWS {
            for rate in RATES_BPM {
                let [low, high] = [row.low, row.high].map(|[value, slope]| value + slope * rate);
                assert!(low < high, "{}", row.id);
            }
            assert!(!row.about.is_empty() && !row.source.is_empty() && !row.status.is_empty());
        }
    }
}
