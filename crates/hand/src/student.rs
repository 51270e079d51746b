//! Who draws, with what and how.

use serde::Serialize;

use crate::chance::Chance;

/// What is drawn with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Tool {
    /// An HB pencil.
    Pencil,
    /// A hard pencil held lightly.
    FaintPencil,
    /// A blue ball pen.
    BluePen,
    /// A black ball pen.
    BlackPen,
    /// A red ball pen.
    RedPen,
    /// A black felt pen.
    FeltPen,
}

impl Tool {
    /// All tools.
    pub const ALL: [Self; 6] = [
        Self::Pencil,
        Self::FaintPencil,
        Self::BluePen,
        Self::BlackPen,
        Self::RedPen,
        Self::FeltPen,
    ];

    /// Whether what it draws can be rubbed out.
    pub fn can_be_erased(self) -> bool {
        matches!(self, Self::Pencil | Self::FaintPencil)
    }
}

/// How sounds are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SoundStyle {
    /// Up and down in one go.
    Zigzag,
    /// Up and down in one go, rounded.
    Wave,
    /// Upright lines side by side.
    Hatching,
    /// The outline of a lozenge.
    Lozenge,
    /// The outline of a lozenge, filled with upright lines.
    FilledLozenge,
}

/// How alignment lines are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LineStyle {
    /// Along a ruler.
    Solid,
    /// Along a ruler, dashed.
    Dashed,
    /// Along a ruler, dotted.
    Dotted,
    /// By hand.
    Freehand,
    /// By hand, dashed.
    FreehandDashed,
}

/// How exactly a hand goes where it is meant to go; lengths in millimetres.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Skill {
    /// Standard deviation of where a landmark is put, along and across.
    pub placing_mm: f64,
    /// Slow wandering off the way that is meant.
    pub drift_mm: f64,
    /// Trembling, at 8 to 12 Hz (physiological tremor; from memory, no source).
    pub tremor_mm: f64,
    /// Radius over which corners are rounded.
    pub rounding_mm: f64,
    /// How far a sharp turn is overshot.
    pub overshoot_mm: f64,
}

impl Skill {
    /// A hand that errs nowhere.
    pub const PERFECT: Self = Self {
        placing_mm: 0.0,
        drift_mm: 0.0,
        tremor_mm: 0.0,
        rounding_mm: 0.0,
        overshoot_mm: 0.0,
    };

    /// From a careless hand, 0, to a careful one, 1.
    pub fn new(care: f64) -> Self {
        let from = |careless: f64, careful: f64| careless + care * (careful - careless);
        Self {
            placing_mm: from(0.9, 0.2),
            drift_mm: from(0.6, 0.1),
            tremor_mm: from(0.12, 0.03),
            rounding_mm: from(0.35, 0.1),
            overshoot_mm: from(0.6, 0.0),
        }
    }
}

/// What a student does besides drawing the traces.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Habits {
    /// How the own alignment lines are drawn, if at all.
    pub lines: Option<LineStyle>,
    /// Standard deviation of an alignment line from its landmark, in millimetres.
    pub lines_off_mm: f64,
    /// How sounds are drawn.
    pub sounds: SoundStyle,
    /// Whether what rules ask for is labelled.
    pub labels: bool,
    /// Chance that another landmark with a short name is labelled, 0 to 1.
    pub more_labels: f64,
    /// Length drawn without lifting the pen, in millimetres; 0 for all in one go.
    pub run_mm: f64,
    /// Chance that a trace is gone over again somewhere, 0 to 1.
    pub doubles: f64,
    /// Chance that part of a trace is a second try, 0 to 1.
    pub corrections: f64,
    /// How much later than its panel a trace may start and earlier end, in millimetres.
    pub ends_mm: f64,
    /// How much of the tool's ink goes on paper, 0.8 to 1.2.
    pub press: f64,
    /// Width of the line in millimetres, times what is usual for the tool.
    pub width: f64,
    /// Height of a capital letter in millimetres.
    pub letters_mm: f64,
    /// How far letters lean to the right for each millimetre of height.
    pub slant: f64,
    /// Whether the name's line is filled in.
    pub name: bool,
}

impl Habits {
    /// One who draws what is asked for and no more.
    pub const PLAIN: Self = Self {
        lines: None,
        lines_off_mm: 0.0,
        sounds: SoundStyle::Zigzag,
        labels: true,
        more_labels: 0.0,
        run_mm: 0.0,
        doubles: 0.0,
        corrections: 0.0,
        ends_mm: 0.0,
        press: 1.0,
        width: 1.0,
        letters_mm: 3.0,
        slant: 0.1,
        name: false,
    };
}

/// One who draws.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Student {
    /// What everything that is left to chance depends on.
    pub seed: u64,
    /// How exact the hand is.
    pub skill: Skill,
    /// What is drawn with.
    pub tool: Tool,
    /// What is done besides.
    pub habits: Habits,
}

impl Student {
    /// One who errs nowhere, with a pencil.
    pub fn perfect(seed: u64) -> Self {
        Self { seed, skill: Skill::PERFECT, tool: Tool::Pencil, habits: Habits::PLAIN }
    }

    /// Anyone in a class.
    pub fn anyone(seed: u64) -> Self {
        let chance = &mut Chance::new(seed, "student");
        let skill = Skill::new(chance.share());
        // Common practice, no source: most draw in pencil.
        let tool = chance.pick(&[
            Tool::Pencil,
            Tool::Pencil,
            Tool::Pencil,
            Tool::Pencil,
            Tool::FaintPencil,
            Tool::BluePen,
            Tool::BlackPen,
            Tool::RedPen,
            Tool::FeltPen,
        ]);
        let lines = [
            None,
            Some(LineStyle::Solid),
            Some(LineStyle::Dashed),
            Some(LineStyle::Dotted),
            Some(LineStyle::Freehand),
            Some(LineStyle::FreehandDashed),
        ];
        let sounds = [
            SoundStyle::Zigzag,
            SoundStyle::Zigzag,
            SoundStyle::Wave,
            SoundStyle::Hatching,
            SoundStyle::Lozenge,
            SoundStyle::FilledLozenge,
        ];
        let habits = Habits {
            lines: chance.pick(&lines),
            lines_off_mm: chance.between(0.15, 0.7),
            sounds: chance.pick(&sounds),
            labels: chance.often(0.9),
            more_labels: if chance.often(0.5) { chance.between(0.2, 0.7) } else { 0.0 },
            run_mm: if chance.often(0.8) { chance.between(30.0, 110.0) } else { 0.0 },
            doubles: chance.between(0.0, 0.5),
            corrections: chance.between(0.0, 0.35),
            ends_mm: if chance.often(0.3) { chance.between(1.0, 5.0) } else { 0.6 },
            press: chance.between(0.8, 1.2),
            width: chance.between(0.8, 1.25),
            letters_mm: chance.between(2.3, 4.0),
            slant: chance.between(-0.1, 0.35),
            name: chance.often(0.9),
        };
        Self { seed, skill, tool, habits }
    }
}
