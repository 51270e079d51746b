//! A test's definition in TOML.

use std::borrow::Cow;
use std::collections::BTreeMap;

use convention::{Convention, Fault, Faults};
use cycle::{Spelling, Subject};
use figure::font;
use serde::Deserialize;
use toml::Spanned;

use crate::print::Sizes;

/// What an instructor asks for on paper.
#[derive(Clone, Debug, PartialEq)]
pub struct Test {
    /// Title, printed on every page.
    pub title: String,
    /// The course, printed beside the title; may be empty.
    pub course: String,
    /// What the student is told to do, above the panels; the usual where there is nothing.
    pub instructions: Option<String>,
    /// What the hearts are, where they are not healthy adults at rest; may be empty.
    pub about: String,
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
    /// What the key draws.
    pub drawn_from: DrawnFrom,
    /// What is printed besides.
    pub handouts: Vec<Handout>,
    /// Whether the cloze figure comes with its answers, shuffled, to choose from.
    pub word_list: bool,
    /// What is asked in words.
    pub questions: Questions,
    /// Strips on grid paper.
    pub strips: Vec<StripText>,
    /// How a word is written that the subject writes in several ways; in the usual one where the
    /// file says nothing. What a person typed as a title, a course or instructions stays.
    pub spelling: Option<Spelling>,
    /// Whether everything is printed large.
    pub large_print: bool,
}

/// What the completed cycle of a form is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DrawnFrom {
    /// The convention's schematic on the form's heart: what a student who keeps to the rules
    /// draws.
    #[default]
    Rules,
    /// The computed heart as it is, whether or not it keeps to the rules.
    Heart,
}

/// What is printed besides drawing sheets, key and rubric.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Handout {
    /// Each form's sheet completed, at true scale, to draw after.
    ModelCopy,
    /// The build, step by step, with a small figure and the cause of each step.
    Steps,
    /// The completed figure with every part named.
    Labelled,
    /// The same with numbers in place of names, to be filled in.
    Cloze,
    /// The completed figure for swell paper, in raised lines and braille.
    RaisedLine,
}

impl Handout {
    /// Every handout.
    pub const ALL: [Self; 5] =
        [Self::ModelCopy, Self::Steps, Self::Labelled, Self::Cloze, Self::RaisedLine];
}

/// How many questions of each kind are asked on every form, and what each is worth.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Questions {
    /// Put events in order.
    pub order: usize,
    /// Which of two comes first.
    pub first: usize,
    /// What comes between two.
    pub between: usize,
    /// Which valves are open, or whatever else the subject's bars say.
    pub open: usize,
    /// Work a number out from others.
    pub calculate: usize,
    /// Predict what a change does.
    pub predict: usize,
    /// What each is worth.
    pub points: f64,
}

impl Default for Questions {
    fn default() -> Self {
        Self { order: 0, first: 0, between: 0, open: 0, calculate: 0, predict: 0, points: 2.0 }
    }
}

impl Questions {
    /// The kinds and how many of each.
    pub fn counts(&self) -> [(&'static str, usize); 6] {
        [
            ("order", self.order),
            ("first", self.first),
            ("between", self.between),
            ("open", self.open),
            ("calculate", self.calculate),
            ("predict", self.predict),
        ]
    }
}

/// A strip on grid paper.
#[derive(Clone, Debug, PartialEq)]
pub struct StripText {
    /// Settings of the model by name.
    pub settings: BTreeMap<String, Setting>,
    /// Line in the file on which it begins, from 1.
    pub line: usize,
}

/// One page of a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct PageText {
    /// Channels, one panel each, from top to bottom.
    pub panels: Vec<String>,
    /// Bars below them.
    pub bars: Vec<String>,
    /// The channels and bars that are printed; the others are asked for. Where there are several
    /// sets, each form has one of them.
    pub given: Vec<Vec<String>>,
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

impl Scaffold {
    /// Whether a trace or bar is printed that is `given` or not.
    pub(crate) fn shows(self, given: bool) -> bool {
        match self {
            Self::Everything => true,
            Self::Lines | Self::Given => given,
            Self::Baselines | Self::Blank => false,
        }
    }
}

/// Time scale where a file gives none: the clinical 25 mm a second leaves 2 mm for what is
/// to be marked.
const MM_PER_S: f64 = 100.0;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TestText {
    title: Spanned<String>,
    course: Option<Spanned<String>>,
    instructions: Option<Spanned<String>>,
    convention: Spanned<String>,
    #[serde(default)]
    paper: Paper,
    #[serde(default)]
    orientation: Orientation,
    beats: Option<Spanned<usize>>,
    mm_per_s: Option<Spanned<f64>>,
    panels: Option<Vec<Spanned<String>>>,
    bars: Option<Vec<Spanned<String>>>,
    given: Option<Vec<Spanned<GivenText>>>,
    scaffold: Option<Scaffold>,
    #[serde(default)]
    pages: Vec<PageFile>,
    #[serde(default)]
    drawn_from: DrawnFrom,
    #[serde(default)]
    handouts: Vec<Handout>,
    #[serde(default)]
    word_list: bool,
    questions: Option<Spanned<Questions>>,
    #[serde(default)]
    strips: Vec<Spanned<BTreeMap<String, SettingText>>>,
    forms: Option<Spanned<usize>>,
    #[serde(default)]
    seed: u64,
    #[serde(default)]
    heart: BTreeMap<String, SettingText>,
    spelling: Option<Spanned<String>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PageFile {
    panels: Option<Vec<Spanned<String>>>,
    bars: Option<Vec<Spanned<String>>>,
    given: Option<Vec<Spanned<GivenText>>>,
    scaffold: Option<Scaffold>,
}

/// A channel or bar that is printed, or a set of them.
#[derive(Deserialize)]
#[serde(untagged, expecting = "expected a name, or a list of names for each form")]
enum GivenText {
    Name(String),
    Set(Vec<String>),
}

impl GivenText {
    fn names(&self) -> &[String] {
        match self {
            Self::Name(name) => std::slice::from_ref(name),
            Self::Set(names) => names,
        }
    }
}

#[derive(Clone, Deserialize)]
#[serde(untagged, expecting = "expected a number, two numbers like [65, 85], or a name")]
enum SettingText {
    Number(f64),
    Between([f64; 2]),
    Name(String),
}

/// How much longer a second is in large print: one beat then fills most of the page.
const LARGER_ACROSS: f64 = 2.0;
const LARGER_UPRIGHT: f64 = 1.5;

/// Most questions of one kind.
const MOST_QUESTIONS: usize = 50;

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

        let spelling = file.spelling.as_ref().and_then(|word| {
            let known = subject.spelling(word.as_ref());
            if known.is_none() {
                let what = match &subject.spellings[..] {
                    [] => "this subject has no word that is written in several ways".to_owned(),
                    all => format!("spelling is one of {}", all.join(", ")),
                };
                faults.push(fault(word.span().start, what));
            }
            known
        });
        if file.title.as_ref().trim().is_empty() {
            let what = "the title is empty; it heads every page".to_owned();
            faults.push(fault(file.title.span().start, what));
        }
        for text in [Some(&file.title), file.course.as_ref(), file.instructions.as_ref()] {
            let Some(text) = text else { continue };
            if let Some(letter) = font::lacking(text.as_ref()).first() {
                let what = format!("the typefaces have no letter “{letter}”; leave it out");
                faults.push(fault(text.span().start, what));
            }
        }
        let own = PageFile {
            panels: file.panels,
            bars: file.bars,
            given: file.given,
            scaffold: file.scaffold,
        };
        let whole = own.panels.is_some()
            || own.bars.is_some()
            || own.given.is_some()
            || own.scaffold.is_some();
        if whole && !file.pages.is_empty() {
            let what = "panels, bars, given and scaffold stand either at the top, for one page, or under [[pages]]";
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
                    let offer = offer(channel.as_ref(), known.iter().map(String::as_str));
                    let what = format!("the convention draws no “{}”; {offer}", channel.as_ref());
                    faults.push(fault(channel.span().start, what));
                }
            }
            if panels.is_empty() {
                faults.push(fault(0, "a page needs at least one panel".to_owned()));
            }
            for (index, channel) in page.panels.iter().flatten().enumerate() {
                if panels[..index].contains(channel.as_ref()) {
                    let what = format!("{} has two panels; one is enough", channel.as_ref());
                    faults.push(fault(channel.span().start, what));
                }
            }
            if let Some(first) = page.panels.iter().flatten().nth(MOST_PANELS) {
                let what = format!("a page holds {MOST_PANELS} panels at most; use [[pages]]");
                faults.push(fault(first.span().start, what));
            }
            let bars = match &page.bars {
                None => convention.bars.clone(),
                Some(bars) => bars.iter().map(|bar| bar.as_ref().clone()).collect(),
            };
            for bar in page.bars.iter().flatten() {
                if subject.bar(bar.as_ref()).is_none() {
                    let all = subject.bars.iter().map(|bar| bar.id.as_str());
                    let what =
                        format!("there is no bar “{}”; {}", bar.as_ref(), offer(bar.as_ref(), all));
                    faults.push(fault(bar.span().start, what));
                }
            }
            let reference = subject.reference_channel.clone();
            let items = page.given.as_deref();
            let sets = items
                .unwrap_or_default()
                .iter()
                .filter(|item| matches!(item.as_ref(), GivenText::Set(_)));
            let given = match items {
                None => {
                    let own = panels.iter().filter(|channel| **channel == reference);
                    vec![own.cloned().collect()]
                }
                Some(items) if sets.clone().count() == 0 => {
                    vec![items.iter().flat_map(|item| item.as_ref().names()).cloned().collect()]
                }
                Some(items) => {
                    if sets.count() < items.len() {
                        let what = "given is a list of names, or a list of such lists, one for each form; not both";
                        faults.push(fault(items[0].span().start, what.to_owned()));
                    }
                    items.iter().map(|item| item.as_ref().names().to_vec()).collect()
                }
            };
            for item in items.unwrap_or_default() {
                for name in item.as_ref().names() {
                    if !panels.contains(name) && !bars.contains(name) {
                        let all = panels.iter().chain(&bars).map(String::as_str);
                        let offer = offer(name, all);
                        let what = format!("{name} is given but in no panel of the page; {offer}");
                        faults.push(fault(item.span().start, what));
                    }
                }
            }
            let scaffold = page.scaffold.unwrap_or_default();
            pages.push(PageText { panels, bars, given, scaffold });
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
        let heart = settings(file.heart);
        let mut strips = Vec::new();
        for strip in file.strips {
            let at = strip.span().start;
            let line = fault(at, String::new()).line;
            let settings = settings(strip.into_inner());
            if settings.values().any(|setting| matches!(setting, Setting::Between(..))) {
                let what = "a strip has one heart: give each value as one number".to_owned();
                faults.push(fault(at, what));
            }
            strips.push(StripText { settings, line });
        }
        let questions = file.questions.map_or_else(Questions::default, |questions| {
            let at = questions.span().start;
            let questions = questions.into_inner();
            for (kind, count) in questions.counts() {
                if count > MOST_QUESTIONS {
                    let what = format!("{kind} must be {MOST_QUESTIONS} at most");
                    faults.push(fault(at, what));
                }
            }
            if !(questions.points > 0.0 && questions.points <= 100.0) {
                faults.push(fault(at, "points must be more than 0 and 100 at most".to_owned()));
            }
            questions
        });
        let mut handouts = file.handouts;
        handouts.sort_unstable();
        handouts.dedup();
        if !faults.is_empty() {
            faults.sort_by_key(|fault| fault.line);
            return Err(Faults(faults));
        }
        let instructions = file.instructions.map(Spanned::into_inner);
        let course = file.course.map_or_else(String::new, Spanned::into_inner);
        let title = file.title.into_inner();
        let TestText { paper, orientation, seed, drawn_from, word_list, .. } = file;
        let mut test = Self {
            title,
            course,
            instructions,
            about: String::new(),
            convention,
            paper,
            orientation,
            beats,
            mm_per_s,
            pages,
            forms,
            seed,
            settings: heart,
            drawn_from,
            handouts,
            word_list,
            questions,
            strips,
            spelling: None,
            large_print: false,
        };
        if let Some(spelling) = spelling {
            test.spell(spelling);
        }
        Ok(test)
    }

    /// The same test with the subject's word written in this way.
    pub fn spell(&mut self, spelling: Spelling) {
        self.convention = self.convention.clone().spelled(&spelling);
        self.spelling = Some(spelling);
    }

    /// `text`, which nobody typed for this test, as the test writes it.
    pub fn spelled(&self, text: &str) -> String {
        self.spelling.as_ref().map_or_else(|| text.to_owned(), |way| way.spelled(text))
    }

    /// What things are called, as the test writes it.
    pub fn subject<'a>(&self, subject: &'a Subject) -> Cow<'a, Subject> {
        match &self.spelling {
            None => Cow::Borrowed(subject),
            Some(spelling) => Cow::Owned(subject.clone().spelled(spelling)),
        }
    }

    /// The same test in large print: letters of 18 points at least, one beat, a longer second.
    pub fn enlarge(&mut self) {
        self.large_print = true;
        self.beats = 1;
        self.mm_per_s *= match self.orientation {
            Orientation::Landscape => LARGER_ACROSS,
            Orientation::Portrait => LARGER_UPRIGHT,
        };
    }

    /// What stands above the panels of `page`, at `rate` beats a minute: where the reference is
    /// not printed, nothing else would say how far apart cycles are.
    pub(crate) fn told(&self, page: &PageText, reference_given: bool, rate: f64) -> String {
        let usual = if page.scaffold == Scaffold::Everything { LOOK } else { DRAW };
        let told = self.instructions.as_deref().unwrap_or(usual);
        if page.scaffold.shows(reference_given) {
            told.to_owned()
        } else {
            format!("{told} Draw {rate:.0} beats a minute.")
        }
    }

    pub(crate) fn sizes(&self) -> Sizes {
        if self.large_print { Sizes::LARGE } else { Sizes::USUAL }
    }
}

fn settings(texts: BTreeMap<String, SettingText>) -> BTreeMap<String, Setting> {
    let one = |(name, value)| {
        let value = match value {
            SettingText::Number(value) => Setting::Number(value),
            SettingText::Between([a, b]) => Setting::Between(f64::min(a, b), f64::max(a, b)),
            SettingText::Name(name) => Setting::Name(name),
        };
        (name, value)
    };
    texts.into_iter().map(one).collect()
}

/// The nearest of what there is, or all of it.
fn offer<'a>(typed: &str, all: impl Iterator<Item = &'a str> + Clone) -> String {
    cycle::nearest(typed, all.clone()).map_or_else(
        || format!("there are {}", all.collect::<Vec<_>>().join(", ")),
        |near| format!("did you mean “{near}”?"),
    )
}

/// What a student is told where the file says nothing: to draw, or to look.
const DRAW: &str = "Draw what is missing, each trace in its panel. Draw alignment lines first, with a ruler, and label what you know.";
const LOOK: &str = "Everything is drawn. Follow each alignment line from top to bottom, and copy the figure on a blank sheet.";

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
