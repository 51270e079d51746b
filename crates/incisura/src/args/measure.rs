//! What `incisura measure` takes.

use std::path::PathBuf;

use super::Paper;

/// What its help ends with.
pub(super) const HELP: &str = "\
A SIGNAL is its label in the file, or its number. --pressure and --pulse may say which channel it
is: --pressure ABP=aortic_pressure; “none” takes none. A PLACE is LANDMARK@SECONDS, or
CHANNEL:LANDMARK@SECONDS where several channels have it. What is corrected is appended to the
table of corrections; the recording is never changed.";

#[derive(Debug, clap::Args)]
pub(crate) struct Measure {
    /// An EDF, WFDB, CSV or WAV file; a WFDB record by its header
    #[arg(value_name = "RECORDING")]
    pub(crate) recording: PathBuf,
    /// Which signal is the ECG
    #[arg(long, value_name = "SIGNAL")]
    pub(crate) ecg: Option<String>,
    /// Which signal is a pressure, and which; may be given more than once
    #[arg(long, value_name = "SIGNAL")]
    pub(crate) pressure: Vec<String>,
    /// Which signal has the heart sounds
    #[arg(long, value_name = "SIGNAL")]
    pub(crate) sounds: Option<String>,
    /// Which signal is the pulse at the finger
    #[arg(long, value_name = "SIGNAL")]
    pub(crate) pulse: Option<String>,
    /// Folder to write into: report.txt, beats.csv and .json, average.json, .csv and .svg,
    /// measurements.csv
    #[arg(short, long, value_name = "DIR")]
    pub(crate) output: Option<PathBuf>,
    /// Print a worksheet to measure by hand to a PDF file, and its key beside it as FILE-key.pdf;
    /// it begins at --from, or at the quietest stretch
    #[arg(long, value_name = "FILE.pdf")]
    pub(crate) worksheet: Option<PathBuf>,
    /// Paper of the worksheet
    #[arg(long, value_enum, requires = "worksheet")]
    pub(crate) paper: Option<Paper>,
    /// Everything as JSON in place of the report
    #[arg(long)]
    pub(crate) json: bool,
    /// Compare with another heart than the resting one at the recording's rate
    #[arg(long, value_name = "HEART.toml")]
    pub(crate) against: Option<PathBuf>,
    /// Hold the average beat to a convention: its name, or a file of rules
    #[arg(long, value_name = "CONVENTION")]
    pub(crate) convention: Option<String>,
    /// Beats from this second on
    #[arg(long, value_name = "S", value_parser = second)]
    pub(crate) from: Option<f64>,
    /// Beats before this second
    #[arg(long, value_name = "S", value_parser = second)]
    pub(crate) to: Option<f64>,
    /// Turn an ECG whose P, QRS and T all point downwards
    #[arg(long)]
    pub(crate) turn: bool,
    #[command(flatten)]
    pub(crate) stored: Stored,
    #[command(flatten)]
    pub(crate) by_hand: ByHand,
}

/// How a recording is stored, where its file does not say.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "How the file is stored")]
pub(crate) struct Stored {
    /// CSV: samples per second
    #[arg(long, value_name = "HZ", value_parser = hertz)]
    pub(crate) rate: Option<f64>,
    /// CSV: the column of times, by name or number; “none” if there is none
    #[arg(long, value_name = "COLUMN")]
    pub(crate) time: Option<String>,
    /// CSV: what separates columns: a character, “tab” or “space”
    #[arg(long, value_name = "C", value_parser = separator)]
    pub(crate) separator: Option<char>,
    /// CSV: decimals are written with a comma
    #[arg(long)]
    pub(crate) decimal_comma: bool,
    /// The unit of a signal; may be given more than once
    #[arg(long, value_name = "SIGNAL=UNIT", value_parser = pair)]
    pub(crate) unit: Vec<(String, String)>,
    /// WFDB: the ending of the file of annotations, such as atr
    #[arg(long, value_name = "EXT")]
    pub(crate) annotations: Option<String>,
}

/// Corrections by hand.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Corrections by hand")]
pub(crate) struct ByHand {
    /// A table of corrections, read and added to
    #[arg(long, value_name = "FILE")]
    pub(crate) corrections: Option<PathBuf>,
    /// The course's folder: RECORDING.corrections.csv in it is read and added to
    #[arg(long, value_name = "DIR", conflicts_with = "corrections")]
    pub(crate) course: Option<PathBuf>,
    /// Move a landmark from one second to another; may be given more than once
    #[arg(long = "move", value_name = "PLACE=SECONDS", value_parser = moved, requires_all = ["who", "why"])]
    pub(crate) moved: Vec<Edit>,
    /// Take away what is none; an R peak takes its beat with it
    #[arg(long, value_name = "PLACE", value_parser = place, requires_all = ["who", "why"])]
    pub(crate) remove: Vec<Edit>,
    /// Put a landmark where none was found; an R peak where no beat is brings one
    #[arg(long, value_name = "PLACE", value_parser = place, requires_all = ["who", "why"])]
    pub(crate) add: Vec<Edit>,
    /// Who corrects
    #[arg(long, value_name = "NAME")]
    pub(crate) who: Option<String>,
    /// Why
    #[arg(long, value_name = "TEXT")]
    pub(crate) why: Option<String>,
}

/// A landmark at a time, as typed, and where it belongs.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Edit {
    pub(crate) channel: Option<String>,
    pub(crate) landmark: String,
    pub(crate) at_s: f64,
    /// The same as `at_s` where nothing is moved.
    pub(crate) to_s: f64,
}

fn pair(typed: &str) -> Result<(String, String), String> {
    let (name, value) = typed
        .split_once('=')
        .ok_or("expected a signal, an equals sign and a unit, like ABP=mmHg")?;
    Ok((name.trim().to_owned(), value.trim().to_owned()))
}

/// Reads a time in seconds.
pub(crate) fn second(typed: &str) -> Result<f64, String> {
    let number = typed.trim().parse::<f64>().ok().filter(|s| s.is_finite() && *s >= 0.0);
    number.ok_or_else(|| format!("“{typed}” is no time in seconds, like 12.345"))
}

/// Reads a sampling rate.
pub(crate) fn hertz(typed: &str) -> Result<f64, String> {
    let number = typed.trim().parse::<f64>().ok().filter(|hz| hz.is_finite() && *hz > 0.0);
    number.ok_or_else(|| format!("“{typed}” is no number of samples per second, like 500"))
}

/// Reads what stands between columns.
pub(crate) fn separator(typed: &str) -> Result<char, String> {
    let mut letters = typed.chars();
    match (typed, letters.next(), letters.next()) {
        ("tab", ..) => Ok('\t'),
        ("space", ..) => Ok(' '),
        (_, Some(one), None) => Ok(one),
        _ => Err(format!("“{typed}” is not one character, “tab” or “space”")),
    }
}

fn place(typed: &str) -> Result<Edit, String> {
    let wrong =
        || format!("“{typed}” is no place, like t_end@12.345 or finger_pulse:pressure_foot@12.6");
    let (name, at) = typed.split_once('@').ok_or_else(wrong)?;
    let (channel, landmark) = match name.split_once(':') {
        Some((channel, landmark)) => (Some(channel.trim().to_owned()), landmark),
        None => (None, name),
    };
    let at_s = second(at)?;
    Ok(Edit { channel, landmark: landmark.trim().to_owned(), at_s, to_s: at_s })
}

fn moved(typed: &str) -> Result<Edit, String> {
    let (from, to) = typed
        .split_once('=')
        .ok_or_else(|| format!("“{typed}” does not say where to, like r_peak@12.345=12.350"))?;
    Ok(Edit { to_s: second(to)?, ..place(from)? })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_landmarks_at_times() {
        let edit = moved("finger_pulse:pressure_foot@1.5=1.25").unwrap();
        assert_eq!(edit.channel.as_deref(), Some("finger_pulse"));
        assert_eq!((edit.landmark.as_str(), edit.at_s, edit.to_s), ("pressure_foot", 1.5, 1.25));
        assert_eq!(place("r_peak@2").unwrap().channel, None);
        for wrong in ["r_peak", "r_peak@", "r_peak@soon", "r_peak@-1", "r_peak@NaN"] {
            assert!(place(wrong).is_err(), "{wrong}");
        }
        assert!(moved("r_peak@1").unwrap_err().contains("where to"));
        assert_eq!(separator("tab"), Ok('\t'));
        assert!(separator(";;").is_err() && separator("").is_err());
    }
}
