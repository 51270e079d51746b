//! What a convention is made of.

use cycle::{Spelling, Subject};

use crate::{Faults, Point, read};

/// The alignment rules that a class learns, with all that is needed to draw and judge by them.
#[derive(Clone, Debug, PartialEq)]
pub struct Convention {
    /// Title shown to people.
    pub title: String,
    /// What the convention is for.
    pub about: String,
    /// What it simplifies, in a sentence an instructor can say.
    pub simplifies: String,
    /// The channels to draw, panel by panel from top to bottom.
    pub panels: Vec<Vec<String>>,
    /// Bars below the panels, by the subject's identifiers.
    pub bars: Vec<String>,
    /// Time scale on paper in millimetres a second, for what rules say in millimetres.
    pub mm_per_s: f64,
    /// What rules earn together at most.
    pub caps: Vec<Cap>,
    /// What becomes of a rule that measures by what was not drawn.
    pub reference_missing: ReferenceMissing,
    /// The rules, in the order in which they are written.
    pub rules: Vec<Rule>,
    /// Steps that the instructor ordered or worded; the others follow from the rules.
    pub steps: Vec<StepText>,
}

/// What the rules that share it earn together at most.
#[derive(Clone, Debug, PartialEq)]
pub struct Cap {
    /// The name by which rules share it.
    pub name: String,
    /// How many points.
    pub points: f64,
}

/// What becomes of a rule that places something by what a student did not draw: by what is missing
/// it can be neither met nor missed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ReferenceMissing {
    /// A person is asked each time.
    #[default]
    Ask,
    /// It is not met.
    NotMet,
    /// It does not count: what is missing has cost once already.
    DoesNotCount,
}

impl ReferenceMissing {
    /// That in a sentence; none where a person is asked.
    pub fn words(self) -> Option<&'static str> {
        match self {
            Self::Ask => None,
            Self::NotMet => Some("What is measured by something that was not drawn is not met."),
            Self::DoesNotCount => {
                Some("What is measured by something that was not drawn does not count.")
            }
        }
    }
}

/// One rule.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// Identifier.
    pub id: String,
    /// What the student reads.
    pub text: String,
    /// Why it holds, in one sentence.
    pub cause: String,
    /// What it is worth.
    pub points: f64,
    /// Rules before it without which it earns nothing.
    pub depends_on: Vec<String>,
    /// The cap that it shares.
    pub cap: Option<String>,
    /// By how much it may be missed.
    pub tolerance: Tolerance,
    /// What it says.
    pub says: Says,
    /// Line in the file on which the rule begins, from 1.
    pub line: usize,
}

/// By how much a rule may be missed before it counts as not met.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// On paper, in millimetres, for times and heights alike.
    pub mm: f64,
    /// On paper, in millimetres: what is off by more than `mm` and no more than this earns half
    /// the points. None where there are no half marks.
    pub half_mm: Option<f64>,
    /// In a measured or computed cycle: times, in milliseconds.
    pub ms: f64,
    /// In a measured or computed cycle: heights, in hundredths of the trace's own height.
    pub percent: f64,
}

/// What a rule says.
#[derive(Clone, Debug, PartialEq)]
#[expect(missing_docs, reason = "the fields are what the variants' texts name")]
pub enum Says {
    /// The landmark is there.
    Presence { point: Point },
    /// When the landmark is, relative to one or two others.
    Timing { point: Point, timing: Relative },
    /// How high the landmark is, relative to one or two others.
    Height { point: Point, height: Relative },
    /// The trace of `channel` is, at the time of `at`, at a level.
    Level { channel: String, at: Point, level: Level },
    /// The trace of `channel` rises, falls or stays level from one point to another.
    Shape { channel: String, from: Point, to: Point, form: Form },
    /// One of the `accepted` words is written at the landmark.
    Label { point: Point, accepted: Vec<String> },
}

/// How a rule words a relation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Relation {
    /// At the same time, or at the same height.
    With,
    /// Earlier, or lower.
    Before,
    /// Later, or higher.
    After,
}

/// Where a landmark is, relative to one or two others: in time, in milliseconds later; or in
/// height, in the channel's unit higher.
#[derive(Clone, Debug, PartialEq)]
pub enum Relative {
    /// At a distance from another point.
    Offset {
        /// The other point.
        to: Point,
        /// How the rule words it.
        relation: Relation,
        /// Least and most that the landmark is later or higher.
        window: [Option<f64>; 2],
        /// Where the schematic draws it if it has the choice: how much later or higher.
        aim: Option<f64>,
    },
    /// Between two others.
    Between {
        /// The earlier or lower.
        from: Point,
        /// The later or higher.
        to: Point,
        /// Least and most of the way from the one to the other, 0 to 1.
        shares: [f64; 2],
        /// Where the schematic draws it if it has the choice, as a share of the way.
        aim: Option<f64>,
    },
}

/// A level that a trace returns to.
#[derive(Clone, Debug, PartialEq)]
pub enum Level {
    /// The channel's baseline.
    Baseline,
    /// The height of a landmark, such as the diastolic level at the foot of the pressure rise.
    Of(Point),
}

/// How a trace runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// Upward throughout.
    Rising,
    /// Downward throughout.
    Falling,
    /// Level.
    Flat,
}

/// A step of the build as an instructor ordered or worded it.
#[derive(Clone, Debug, PartialEq)]
pub struct StepText {
    /// Strokes, landmarks or events that the step draws.
    pub draw: Vec<String>,
    /// What to draw, if not what the rules say.
    pub text: Option<String>,
    /// Why, if not what the rules say.
    pub cause: Option<String>,
    /// Line in the file, from 1.
    pub line: usize,
}

impl Convention {
    /// Reads a convention in TOML about `subject`.
    ///
    /// # Errors
    /// Everything that is wrong with it, each with its line and what was expected.
    pub fn from_toml(text: &str, subject: &Subject) -> Result<Self, Faults> {
        read::convention(text, subject)
    }

    /// The same with all that people read written in another way; identifiers, and what a student
    /// may write, stay.
    #[must_use]
    pub fn spelled(mut self, spelling: &Spelling) -> Self {
        let own = [&mut self.title, &mut self.about, &mut self.simplifies].into_iter();
        let rules = self.rules.iter_mut().flat_map(|rule| [&mut rule.text, &mut rule.cause]);
        let steps = self.steps.iter_mut().flat_map(|step| [&mut step.text, &mut step.cause]);
        for text in own.chain(rules).chain(steps.flatten()) {
            spelling.spell(text);
        }
        self
    }

    /// The channels to draw, from top to bottom.
    pub fn channels(&self) -> impl Iterator<Item = &str> {
        self.panels.iter().flatten().map(String::as_str)
    }

    /// The rule called `id`.
    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.rules.iter().find(|rule| rule.id == id)
    }

    /// The cap of a rule.
    pub fn cap_of(&self, rule: &Rule) -> Option<&Cap> {
        self.caps.iter().find(|cap| rule.cap.as_ref() == Some(&cap.name))
    }

    /// What `rules` of this convention are worth together.
    pub fn worth<'a>(&self, rules: impl Iterator<Item = &'a Rule> + Clone) -> f64 {
        let free = rules.clone().filter(|rule| self.cap_of(rule).is_none());
        let shared = self.caps.iter().map(|cap| {
            let own = rules.clone().filter(|rule| rule.cap.as_ref() == Some(&cap.name));
            own.fold(0.0, |sum, rule| sum + rule.points).min(cap.points)
        });
        free.fold(0.0, |sum, rule| sum + rule.points) + shared.fold(0.0, |sum, points| sum + points)
    }

    /// The identifier of `point` as this convention writes it: with its channel only where
    /// several of the channels drawn can have it.
    pub fn id_of(&self, point: &Point, subject: &Subject) -> String {
        match &point.channel {
            Some(channel) if self.several(point, subject) => format!("{}@{channel}", point.name),
            _ => point.name.clone(),
        }
    }

    /// Whether several of the channels drawn can have the landmark.
    pub(crate) fn several(&self, point: &Point, subject: &Subject) -> bool {
        let Some(kind) = subject.landmark(&point.name) else { return false };
        self.channels().filter(|channel| kind.channels.iter().any(|c| c == channel)).count() > 1
    }

    /// All points that the rules are about, each once, in the order of first mention.
    pub fn points(&self) -> Vec<Point> {
        let mut all: Vec<Point> = Vec::new();
        for point in self.rules.iter().flat_map(|rule| rule.says.points()) {
            if !all.contains(point) {
                all.push(point.clone());
            }
        }
        all
    }
}

impl Says {
    /// The kind's name, as in a file.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Presence { .. } => "presence",
            Self::Timing { .. } => "timing",
            Self::Height { .. } => "height",
            Self::Level { .. } => "level",
            Self::Shape { .. } => "shape",
            Self::Label { .. } => "label",
        }
    }

    /// The points it is about: first what is placed, then what it is placed by.
    pub fn points(&self) -> Vec<&Point> {
        match self {
            Self::Presence { point } | Self::Label { point, .. } => vec![point],
            Self::Timing { point, timing: Relative::Offset { to, .. } }
            | Self::Height { point, height: Relative::Offset { to, .. } } => vec![point, to],
            Self::Timing { point, timing: Relative::Between { from, to, .. } }
            | Self::Height { point, height: Relative::Between { from, to, .. } } => {
                vec![point, from, to]
            }
            Self::Level { at, level: Level::Baseline, .. } => vec![at],
            Self::Level { at, level: Level::Of(point), .. } => vec![at, point],
            Self::Shape { from, to, .. } => vec![to, from],
        }
    }
}
