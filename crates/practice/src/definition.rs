//! A test's file, a level and a seed to a drawing task.

use std::collections::BTreeMap;

use cardiac::Shipped;
use convention::{Convention, Outcome, Rule, Says, schematic};
use cycle::{Cycle, Random, Subject};
use heart::Heart;
use marking::{On, Rubric};
use serde::{Deserialize, Serialize};
use sheet::{BarPlace, Book, DrawnFrom, Form, PanelPlace, Scaffold, Setting, SheetError, Test};

use crate::PracticeError;
use crate::page;

/// The texts that a task is made of.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Definition {
    /// The test's file.
    pub test: String,
    /// The conventions that it names and that do not come with the program, by name.
    #[serde(default)]
    pub conventions: BTreeMap<String, String>,
    /// How a word is written that the subject writes in several ways, where the test does not say.
    #[serde(default)]
    pub spelling: Option<String>,
}

impl Definition {
    /// A short name that other texts do not have.
    pub fn id(&self) -> String {
        let mut all = self.test.clone();
        for (name, text) in &self.conventions {
            all.extend(["\0", name, "\0", text]);
        }
        sheet::test_id(all.as_bytes())
    }
}

/// How much help there is, from most to least.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "u8", into = "u8")]
pub enum Level {
    /// Everything but one trace is given, with alignment lines.
    OneTrace,
    /// What the test gives, with alignment lines.
    Lines,
    /// What the test gives.
    #[default]
    Given,
    /// Nothing but baselines.
    Baselines,
}

impl Level {
    /// Every level, the easiest first.
    pub const ALL: [Self; 4] = [Self::OneTrace, Self::Lines, Self::Given, Self::Baselines];

    /// 1 to 4.
    pub fn number(self) -> u8 {
        self as u8 + 1
    }

    fn scaffold(self) -> Scaffold {
        match self {
            Self::OneTrace | Self::Lines => Scaffold::Lines,
            Self::Given => Scaffold::Given,
            Self::Baselines => Scaffold::Baselines,
        }
    }

    /// Whether alignment lines are given.
    pub fn has_lines(self) -> bool {
        self.scaffold() == Scaffold::Lines
    }
}

impl TryFrom<u8> for Level {
    type Error = String;

    fn try_from(number: u8) -> Result<Self, String> {
        let found = Self::ALL.into_iter().find(|level| level.number() == number);
        found.ok_or_else(|| format!("there is no level {number}; choose 1 to 4"))
    }
}

impl From<Level> for u8 {
    fn from(level: Level) -> Self {
        level.number()
    }
}

/// A drawing task: one variant of a test at one level of help.
#[derive(Clone, Debug)]
pub struct Practice {
    pub(crate) test: Test,
    pub(crate) subject: Subject,
    pub(crate) level: Level,
    pub(crate) seed: u64,
    /// What a student who keeps to the rules draws.
    pub(crate) model: Cycle,
    /// The heart as it is, for its sound.
    pub(crate) computed: Cycle,
    pub(crate) panels: Vec<On<PanelPlace>>,
    pub(crate) bars: Vec<On<BarPlace>>,
    /// The rules that are judged, by their identifiers.
    pub(crate) asked: Vec<String>,
    pub(crate) size_mm: [f64; 2],
}

/// Between which values the rate and the PR interval lie where the test leaves them open: resting
/// adults (common practice, no source).
const VARIED: [(&str, f64, f64); 2] = [("rate_bpm", 62.0, 82.0), ("pr_interval_ms", 140.0, 180.0)];
/// As many forms as there are letters: so many different values has each setting.
const VARIANTS: usize = 26;
/// How many variants are tried where rules cannot be drawn on a heart.
const TRIED: usize = 6;

impl Practice {
    /// The variant of `definition` that `seed` gives, at `level`.
    ///
    /// # Errors
    /// [`PracticeError`] where the test cannot be read, drawn or laid out.
    pub fn new(definition: &Definition, level: Level, seed: u64) -> Result<Self, PracticeError> {
        let subject = heart::subject();
        let mut test = read(definition, &subject)?;
        if let (None, Some(word)) = (&test.spelling, &definition.spelling)
            && let Some(spelling) = subject.spelling(word)
        {
            test.spell(spelling);
        }
        let subject = test.subject(&subject).into_owned();
        test.seed = seed;
        test.forms = VARIANTS;
        vary(&mut test);
        help(&mut test, &subject, level, seed)?;
        let forms = sheet::forms(&test);
        let mut refused = PracticeError::NothingAsked;
        let mut best: Option<(usize, Self)> = None;
        for form in forms.iter().take(TRIED) {
            match Self::of_form(&test, &subject, form, level, seed) {
                // Rules may leave no room at one rate and enough at another.
                Err(PracticeError::Schematic(error)) => {
                    refused = PracticeError::Schematic(error);
                }
                Err(other) => return Err(other),
                Ok(practice) => {
                    let open = practice.illegible()?;
                    if open == 0 {
                        return Ok(practice);
                    }
                    if best.as_ref().is_none_or(|(least, _)| open < *least) {
                        best = Some((open, practice));
                    }
                }
            }
        }
        best.map(|(_, practice)| practice).ok_or(refused)
    }

    /// How many rules even the key's own drawing leaves in doubt: at some rates a small wave is
    /// hardly one. Such a variant would be no fair task.
    fn illegible(&self) -> Result<usize, PracticeError> {
        let verdict = self.judge(&self.key())?;
        Ok(verdict.rules.iter().filter(|rule| rule.outcome != Outcome::Met).count())
    }

    fn of_form(
        test: &Test,
        subject: &Subject,
        form: &Form,
        level: Level,
        seed: u64,
    ) -> Result<Self, PracticeError> {
        let numbers = form.numbers.iter().map(|(name, value)| (name.as_str(), *value));
        let names = form.names.iter().map(|(name, value)| (name.as_str(), value.as_str()));
        let heart = Heart::of_settings(numbers, &names.collect())?;
        let computed = heart::simulate(&heart, heart::natural_beats(&heart))?;
        let mut test = Test { forms: 1, ..test.clone() };
        loop {
            let model = model(&test, subject, &heart)?;
            let one = one_form(&test, form);
            let id = sheet::test_id(b"");
            let book = match Book::new(&one, subject, &id, vec![model.clone()]) {
                // A slower heart than on paper: a beat less, rather than another scale.
                Err(SheetError::TooWide { .. }) if test.beats > 1 => {
                    test.beats -= 1;
                    continue;
                }
                book => book?,
            };
            let judged = |rule: &&Rule| book.is_asked(rule, 0) && is_judged(rule, &one, subject);
            let asked: Vec<String> =
                one.convention.rules.iter().filter(judged).map(|rule| rule.id.clone()).collect();
            if asked.is_empty() {
                return Err(PracticeError::NothingAsked);
            }
            let (panels, bars, size_mm) = page::virtual_page(book.layouts(0));
            let (subject, test) = (subject.clone(), one.clone());
            return Ok(Self {
                test,
                subject,
                level,
                seed,
                model,
                computed,
                panels,
                bars,
                asked,
                size_mm,
            });
        }
    }

    /// What it is judged by: the same as a sheet's.
    pub fn rubric(&self) -> Rubric<'_> {
        Rubric {
            subject: &self.subject,
            convention: &self.test.convention,
            model: &self.model,
            mm_per_s: self.test.mm_per_s,
            panels: self.panels.clone(),
            bars: self.bars.clone(),
            asked: self.asked.clone(),
            // What is drawn on a screen is taken as it was drawn.
            rounded_mm: 0.0,
        }
    }

    /// What a student who keeps to the rules draws.
    pub fn model(&self) -> &Cycle {
        &self.model
    }
}

fn read(definition: &Definition, subject: &Subject) -> Result<Test, PracticeError> {
    let conventions = |named: &str| -> Result<Convention, String> {
        if let Some(text) = definition.conventions.get(named) {
            return Convention::from_toml(text, subject)
                .map_err(|faults| format!("in {named}: {faults}"));
        }
        let shipped = Shipped::find(named).map(|shipped| shipped.convention());
        shipped.ok_or_else(|| format!("the convention “{named}” did not come with this test"))
    };
    Test::from_toml(&definition.test, subject, &conventions).map_err(PracticeError::Test)
}

/// Lets rate and PR interval vary where the test says nothing about the heart's kind.
fn vary(test: &mut Test) {
    let named = |name: &str| matches!(test.settings.get(name), Some(Setting::Name(_)));
    if named("condition") || named("rhythm") {
        return;
    }
    for (name, low, high) in VARIED {
        let setting = Setting::Between(low, high);
        test.settings.entry(name.to_owned()).or_insert(setting);
    }
}

/// Makes every page give as much help as `level` says.
fn help(test: &mut Test, subject: &Subject, level: Level, seed: u64) -> Result<(), PracticeError> {
    let open = open(test, subject);
    if open.is_empty() {
        return Err(PracticeError::NothingAsked);
    }
    let one = &open[Random::new(seed).below(open.len())];
    let reference = &subject.reference_channel;
    let all_given = test.pages.iter().all(|page| {
        page.given.iter().all(|set| page.panels.iter().all(|channel| set.contains(channel)))
    });
    for page in &mut test.pages {
        page.scaffold = level.scaffold();
        if level == Level::OneTrace {
            let all = page.panels.iter().chain(&page.bars);
            page.given = vec![all.filter(|place| *place != one).cloned().collect()];
        } else if all_given {
            page.given = vec![vec![reference.clone()]];
        }
    }
    Ok(())
}

/// The channels and bars that can be asked for: those that the test does not give and that rules
/// are about; where it gives all, any but the reference.
fn open(test: &Test, subject: &Subject) -> Vec<String> {
    let mut places: Vec<&String> = Vec::new();
    for page in &test.pages {
        for place in page.panels.iter().chain(&page.bars) {
            if !places.contains(&place) {
                places.push(place);
            }
        }
    }
    places.retain(|place| test.convention.rules.iter().any(|rule| is_about(rule, place, subject)));
    let given = |place: &&String| {
        test.pages.iter().any(|page| page.given.iter().any(|set| set.contains(place)))
    };
    let (given, asked): (Vec<&String>, Vec<&String>) = places.into_iter().partition(given);
    let chosen = if asked.is_empty() {
        given.into_iter().filter(|place| **place != subject.reference_channel).collect()
    } else {
        asked
    };
    chosen.into_iter().cloned().collect()
}

/// Whether a rule can be judged where nobody can be asked: nothing is written on a screen, and
/// what is never looked for on a drawing, such as the parts of a split sound, is never found.
fn is_judged(rule: &Rule, test: &Test, subject: &Subject) -> bool {
    if matches!(rule.says, Says::Label { .. }) {
        return false;
    }
    let given = |channel: &str| {
        test.pages.iter().any(|page| {
            let shown = page.scaffold != Scaffold::Baselines;
            shown && page.given.iter().any(|set| set.iter().any(|place| place == channel))
        })
    };
    rule.says.points().iter().all(|point| {
        let Some(channel) = &point.channel else { return true };
        let looked_for =
            subject.landmark(&point.name).is_some_and(|kind| kind.feature_on(channel).is_some());
        let of_stroke = subject.stroke_of(&point.name).is_some_and(|stroke| {
            stroke.landmarks.last() == Some(&point.name)
                || stroke.centre.as_ref() == Some(&point.name)
        });
        given(channel) || looked_for || of_stroke
    })
}

/// Whether a rule that can be judged on a screen is about a channel or bar.
fn is_about(rule: &Rule, place: &str, subject: &Subject) -> bool {
    let own = match &rule.says {
        Says::Label { .. } => return false,
        Says::Level { channel, .. } | Says::Shape { channel, .. } => channel == place,
        _ => false,
    };
    own || rule.says.points().iter().any(|point| match &point.channel {
        Some(channel) => channel == place,
        None => {
            subject.bar(place).is_some_and(|bar| bar.from == point.name || bar.to == point.name)
        }
    })
}

/// The test with one form's values, and nothing left to chance.
fn one_form(test: &Test, form: &Form) -> Test {
    let mut one = Test { forms: 1, ..test.clone() };
    for (name, value) in &form.numbers {
        one.settings.insert(name.clone(), Setting::Number(*value));
    }
    for (page, given) in one.pages.iter_mut().zip(&form.given) {
        page.given = vec![given.clone()];
    }
    one
}

/// What a student who keeps to the rules draws; or the heart as it is, if the test says so.
fn model(test: &Test, subject: &Subject, heart: &Heart) -> Result<Cycle, PracticeError> {
    match test.drawn_from {
        DrawnFrom::Heart => Ok(heart::simulate(heart, test.beats)?),
        DrawnFrom::Rules => {
            let base = heart::simulate(heart, 1)?;
            Ok(schematic(&test.convention, subject, &base, test.beats)?)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever a task's first form is, nearly every rule is judged met on its own key: only
    /// waves that are hardly waves are passed over.
    #[test]
    fn the_key_is_read_on_whatever_form_comes_first() {
        let subject = heart::subject();
        let [mut rules, mut open] = [0, 0];
        for seed in 0..60 {
            let convention = ["first_course", "left_heart", "right_heart"][seed % 3];
            let text = format!("title = \"A test\"\nconvention = \"{convention}\"\n");
            let definition = Definition { test: text, ..Definition::default() };
            let mut test = read(&definition, &subject).unwrap();
            (test.seed, test.forms) = (seed as u64, VARIANTS);
            vary(&mut test);
            help(&mut test, &subject, Level::Given, seed as u64).unwrap();
            let form = &sheet::forms(&test)[0];
            match Practice::of_form(&test, &subject, form, Level::Given, seed as u64) {
                Err(PracticeError::Schematic(_)) => {}
                made => {
                    let made = made.unwrap();
                    rules += made.asked.len();
                    open += made.illegible().unwrap();
                }
            }
        }
        // Measured: 11 of 1,060.
        assert!(rules > 900 && open * 50 < rules, "{open} of {rules} left in doubt");
    }
}
