//! What is found out about a convention, and how its figures look.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use cardiac::Shipped;
use convention::{
    Check, Comparison, Conflict, Convention, SchematicError, Step, check, check_on, compare,
    schematic, steps,
};
use cycle::Cycle;
use heart::{Heart, Rhythm};

use crate::failure::Failure;
use crate::files;

/// Rates at which a convention is tried, in beats a minute.
pub(crate) const RATES: [u16; 8] = [50, 60, 70, 80, 90, 100, 110, 120];

/// Reads the convention that `named` names: one that comes with the program, or a file.
pub(crate) fn read(named: &str) -> Result<Convention, Failure> {
    if let Some(shipped) = Shipped::find(named) {
        return Ok(shipped.convention());
    }
    let path = file_of(named)?;
    let text = files::read(&path)?;
    Convention::from_toml(&text, &heart::subject())
        .map_err(|faults| Failure::Faults { path, faults })
}

/// The file that `named` names, if it can be one.
fn file_of(named: &str) -> Result<PathBuf, Failure> {
    let path = PathBuf::from(named);
    if path.extension().is_none() && !path.exists() {
        let known = cardiac::CONVENTIONS.iter().map(|shipped| shipped.name);
        let near = cycle::nearest(named, known);
        let offer = near.map_or_else(
            || "`incisura convention --list` lists them; a file's name ends with .toml".to_owned(),
            |near| format!("did you mean “{near}”?"),
        );
        return Err(Failure::Other(format!("no convention is called “{named}”; {offer}")));
    }
    Ok(path)
}

/// The text of the convention that `named` names: a shipped one, or a file in or below `folder`.
pub(crate) fn source_beside(named: &str, folder: &Path) -> Result<String, Failure> {
    match Shipped::find(named) {
        Some(shipped) => Ok(shipped.toml.to_owned()),
        None if named.ends_with(".toml") => files::read(&folder.join(named)),
        None => files::read(&file_of(named)?),
    }
}

/// A step's title or a rule's words, as a sentence begins.
pub(crate) fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(char::to_uppercase);
    first.into_iter().flatten().chain(letters).collect()
}

/// A resting adult with the rate and PR interval of `heart`, in sinus rhythm, for one beat.
pub(crate) fn normal_beat(heart: &Heart) -> Result<Cycle, Failure> {
    let mut normal = Heart { rhythm: Rhythm::default(), ..Heart::default() };
    normal.parameters.rate_bpm = heart.parameters.rate_bpm;
    normal.parameters.pr_interval_ms = heart.parameters.pr_interval_ms;
    Ok(heart::simulate(&normal, 1)?)
}

/// The beat of a resting adult at each of [`RATES`], computed once.
fn beats_at_rates() -> Result<&'static [Cycle], Failure> {
    static BEATS: OnceLock<Vec<Cycle>> = OnceLock::new();
    if let Some(made) = BEATS.get() {
        return Ok(made);
    }
    let at = |rate: u16| {
        let mut heart = Heart::default();
        heart.parameters.rate_bpm = f64::from(rate);
        normal_beat(&heart)
    };
    let made = RATES.into_iter().map(at).collect::<Result<Vec<_>, _>>()?;
    Ok(BEATS.get_or_init(|| made))
}

/// Everything that can be said about a convention and a heart.
pub(crate) struct Findings {
    /// The timing rules by themselves.
    pub(crate) alone: Check,
    /// The timing rules on the ECG of a normal heart at the given heart's rate.
    pub(crate) on_ecg: Check,
    /// Sets of rules about heights that cannot hold together.
    pub(crate) heights: Vec<String>,
    /// The schematic, or why there is none.
    pub(crate) schematic: Result<Cycle, SchematicError>,
    /// The build, or why there is none.
    pub(crate) steps: Result<Vec<Step>, convention::StepError>,
    /// Rates among [`RATES`] at which the rules can be drawn from a resting adult's ECG.
    pub(crate) drawn_at: Vec<u16>,
    pub(crate) comparison: Comparison,
}

impl Findings {
    /// Finds out everything about `convention`, held to `heart`.
    pub(crate) fn new(convention: &Convention, heart: &Heart) -> Result<Self, Failure> {
        let subject = heart::subject();
        let base = normal_beat(heart)?;
        let computed = heart::simulate(heart, heart::natural_beats(heart))?;
        let drawn = schematic(convention, &subject, &base, 1);
        let heights = match &drawn {
            Err(SchematicError::Heights(rules)) => rules.clone(),
            _ => Vec::new(),
        };
        let mut drawn_at = Vec::new();
        for (rate, beat) in RATES.into_iter().zip(beats_at_rates()?) {
            if schematic(convention, &subject, beat, 1).is_ok() {
                drawn_at.push(rate);
            }
        }
        let model = drawn.as_ref().unwrap_or(&base);
        Ok(Self {
            alone: check(convention, &subject),
            on_ecg: check_on(convention, &subject, &base),
            heights,
            steps: steps(convention, &subject, model),
            schematic: drawn,
            drawn_at,
            comparison: compare(convention, &subject, &computed, &cardiac::published()),
        })
    }

    /// The check that speaks for the rules: on an ECG, unless they contradict one another or
    /// this ECG contradicts them.
    pub(crate) fn check(&self) -> &Check {
        if self.on_ecg.consistent() { &self.on_ecg } else { &self.alone }
    }

    /// What cannot hold together about times: by the rules alone, or on the ECG of a resting
    /// adult at whatever rate.
    pub(crate) fn conflicts(&self) -> &[Conflict] {
        if self.alone.consistent() && self.drawn_at.is_empty() {
            &self.on_ecg.conflicts
        } else {
            &self.alone.conflicts
        }
    }

    /// Sets of rules that cannot hold together.
    pub(crate) fn contradictions(&self) -> Vec<Vec<String>> {
        let timing = self.conflicts().iter().map(|conflict| conflict.rules.clone());
        let heights = (!self.heights.is_empty()).then(|| self.heights.clone());
        timing.chain(heights).collect()
    }
}

/// The folder's file for a step, such as `step-03.svg`.
pub(crate) fn step_file(folder: &Path, number: usize) -> PathBuf {
    folder.join(format!("step-{number:02}.svg"))
}
