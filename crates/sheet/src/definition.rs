//! A test's definition in TOML.

use std::collections::BTreeMap;

use convention::{Convention, Fault, Faults};
use cycle::Subject;
use serde::Deserialize;
use toml::Spanned;

/// What an instructor asks for on paper.
#[derive(Clone, Debug, PartialEq)]
pub struct Test {
    /// Title, printed on every page.
    pub title: String,
    /// The course, printed beside the title; may be empty.
    pub course: String,
    /// What the student is told to do, above the panels.
    pub instructions: String,
    /// The rules by which it is drawn and marked.
    pub convention: Convention,
    /// The paper it is printed on.
    pub paper: Paper,
    /// Which side of the paper is up.
    pub orientation: Orientation,
    /// Repetitions on the time axis.
    pub beats: usize,
    /// Time scale in millimetres a second.
    pub mm_per_s: f64,
    /// The pages of one sheet, each with its panels.
    pub pages: Vec<PageText>,
    /// How many parallel forms there are, 1 to 26.
    pub forms: usize,
    /// What the forms' values are drawn by: the same seed gives the same forms.
    pub seed: u64,
    /// Settings of the model by name: fixed, or varied between two values from form to form.
    pub settings: BTreeMap<String, Setting>,
}

/// One page of a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct PageText {
    /// Channels, one panel each, from top to bottom.
    pub panels: Vec<String>,
    /// Those of them whose trace is printed; the others are asked for.
    pub given: Vec<String>,
    /// How much help is printed besides.
    pub scaffold: Scaffold,
}

/// A setting of the model.
#[derive(Clone, Debug, PartialEq)]
pub enum Setting {
    /// The same in every form.
    Number(f64),
    /// From form to form another, from the first to the second.
    Between(f64, f64),
    /// A name, such as that of a condition.
    Name(String),
}

/// Paper sizes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Paper {
    /// 215.9 by 279.4 mm.
    #[default]
    Letter,
    /// 210 by 297 mm (ISO 216).
    A4,
}

/// Which side of the paper is up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Orientation {
    /// The long side.
    #[default]
    Landscape,
    /// The short side.
    Portrait,
}

/// How much help a page gives, from most to least.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scaffold {
    /// Every trace and every alignment line.
    Everything,
    /// The given traces and the alignment lines.
    Lines,
    /// The given traces, and baselines in the other panels.
    #[default]
    Given,
    /// Baselines only.
    Baselines,
    /// Empty panels.
    Blank,
}

/// Time scale where a file gives none: the clinical 25 mm a second leaves 2 mm for what is
/// to be marked.
const MM_PER_S: f64 = 100.0;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TestText {
    title: String,
    #[serde(default)]
    course: String,
    instructions: Option<String>,
    convention: Spanned<String>,
    #[serde(default)]
    paper: Paper,
    #[serde(default)]
    orientation: Orientation,
    beats: Option<Spanned<usize>>,
    mm_per_s: Option<Spanned<f64>>,
    panels: Option<Vec<Spanned<String>>>,
    given: Option<Vec<Spanned<String>>>,
    scaffold: Option<Scaffold>,
    #[serde(default)]
    pages: Vec<PageFile>,
    forms: Option<Spanned<usize>>,
    #[serde(default)]
    seed: u64,
    #[serde(default)]
    heart: BTreeMap<String, SettingText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PageFile {
    panels: Option<Vec<Spanned<String>>>,
    given: Option<Vec<Spanned<String>>>,
    scaffold: Option<Scaffold>,
}

#[derive(Clone, Deserialize)]
#[serde(untagged, expecting = "expected a number, two numbers like [65, 85], or a name")]
enum SettingText {
    Number(f64),
    Between([f64; 2]),
    Name(String),
}

/// Most panels on a page: more are too low to draw in.
const MOST_PANELS: usize = 6;

impl Test {
    /// Reads a test about `subject`; `conventions` finds a convention by its name or file.
    ///
    /// # Errors
    /// Everything that is wrong with it, each with its line and what was expected.
    pub fn from_toml(
        text: &str,
        subject: &Subject,
        conventions: &dyn Fn(&str) -> Result<Convention, String>,
    ) -> Result<Self, Faults> {
        let fault = |at: usize, what: String| {
            let line = text.get(..at).unwrap_or(text).matches('\n').count() + 1;
            let shown = text.lines().nth(line - 1).unwrap_or_default().trim().to_owned();
            Fault { line, text: shown, what }
        };
        let file: TestText = toml::from_str(text).map_err(|error| {
            let what = cycle::unknown_key(error.message(), &[]);
            let what = what.unwrap_or_else(|| error.message().to_owned());
            Faults(vec![fault(error.span().map_or(0, |span| span.start), what)])
        })?;
        let mut faults: Vec<Fault> = Vec::new();
        let convention = conventions(file.convention.as_ref());
        let convention =
            convention.map_err(|what| Faults(vec![fault(file.convention.span().start, what)]))?;

        let own = PageFile { panels: file.panels, given: file.given, scaffold: file.scaffold };
        let whole = own.panels.is_some() || own.given.is_some() || own.scaffold.is_some();
        if whole && !file.pages.is_empty() {
            let what = "panels, given and scaffold stand either at the top, for one page, or under [[pages]]";
            faults.push(fault(0, what.to_owned()));
        }
        let texts = if file.pages.is_empty() { vec![own] } else { file.pages };
        let mut pages = Vec::new();
        for page in &texts {
            let known: Vec<String> = convention.channels().map(str::to_owned).collect();
            let panels = match &page.panels {
                None => known.clone(),
                Some(panels) => panels.iter().map(|channel| channel.as_ref().clone()).collect(),
            };
            for channel in page.panels.iter().flatten() {
                if !known.contains(channel.as_ref()) {
                    let near = cycle::nearest(channel.as_ref(), known.iter().map(String::as_str));
                    let offer = near.map_or_else(
                        || format!("it has {}", known.join(", ")),
                        |near| format!("did you mean “{near}”?"),
                    );
                    let what = format!("the convention draws no “{}”; {offer}", channel.as_ref());
                    faults.push(fault(channel.span().start, what));
                }
            }
            if let Some(first) = page.panels.iter().flatten().nth(MOST_PANELS) {
                let what = format!("a page holds {MOST_PANELS} panels at most; use [[pages]]");
                faults.push(fault(first.span().start, what));
            }
            let reference = subject.reference_channel.clone();
            let given = match &page.given {
                None => panels.iter().filter(|channel| **channel == reference).cloned().collect(),
                Some(given) => given.iter().map(|channel| channel.as_ref().clone()).collect(),
            };
            for channel in page.given.iter().flatten() {
                if !panels.contains(channel.as_ref()) {
                    let what = format!("{} is given but in no panel of the page", channel.as_ref());
                    faults.push(fault(channel.span().start, what));
                }
            }
            pages.push(PageText { panels, given, scaffold: page.scaffold.unwrap_or_default() });
        }
        let mut within = |value: Option<&Spanned<usize>>,
                          name: &str,
                          low: usize,
                          high: usize,
                          default: usize| {
            let Some(value) = value else { return default };
            if !(low..=high).contains(value.as_ref()) {
                let what = format!("{name} must be {low} to {high}");
                faults.push(fault(value.span().start, what));
            }
            *value.as_ref()
        };
        let beats = within(file.beats.as_ref(), "beats", 1, 6, 2);
        let forms = within(file.forms.as_ref(), "forms", 1, 26, 1);
        let mm_per_s = file.mm_per_s.as_ref().map_or(MM_PER_S, |value| *value.as_ref());
        if !(25.0..=400.0).contains(&mm_per_s) {
            let at = file.mm_per_s.as_ref().map_or(0, |value| value.span().start);
            faults.push(fault(at, "mm_per_s must be 25 to 400".to_owned()));
        }
        let settings = file.heart.into_iter().map(|(name, value)| {
            let value = match value {
                SettingText::Number(value) => Setting::Number(value),
                SettingText::Between([a, b]) => Setting::Between(a.min(b), a.max(b)),
                SettingText::Name(name) => Setting::Name(name),
            };
            (name, value)
        });
        let settings = settings.collect();
        if !faults.is_empty() {
            faults.sort_by_key(|fault| fault.line);
            return Err(Faults(faults));
        }
        let instructions = file.instructions.unwrap_or_else(|| INSTRUCTIONS.to_owned());
        let TestText { title, course, paper, orientation, seed, .. } = file;
        Ok(Self {
            title,
            course,
            instructions,
            convention,
            paper,
            orientation,
            beats,
            mm_per_s,
            pages,
            forms,
            seed,
            settings,
        })
    }
}

/// What a student is told where the file says nothing.
const INSTRUCTIONS: &str = "Draw what is missing, each trace in its panel. Draw alignment lines first, with a ruler, and label what you know.";

impl Paper {
    /// Width and height in millimetres, this way up.
    pub fn size_mm(self, orientation: Orientation) -> [f64; 2] {
        let [short, long] = match self {
            Self::Letter => [215.9, 279.4],
            Self::A4 => [210.0, 297.0],
        };
        match orientation {
            Orientation::Landscape => [long, short],
            Orientation::Portrait => [short, long],
        }
    }
}
