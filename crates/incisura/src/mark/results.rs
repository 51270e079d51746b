//! What `results.json` says.

use marking::{DrawnSheet, Located, Marks, Outcome, RuleMark, Ruling, Withheld};
use serde::Serialize;

/// The whole file.
#[derive(Debug, Serialize)]
pub(crate) struct Results {
    /// What codes call the test as its file describes it.
    pub(crate) test: String,
    pub(crate) title: String,
    pub(crate) drawings: Vec<Drawing>,
    /// Every page that was given, in order.
    pub(crate) pages: Vec<PageResult>,
}

/// What became of a page that was given.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct PageResult {
    pub(crate) file: String,
    /// The page in the file, from 1.
    pub(crate) page: u32,
    pub(crate) status: PageStatus,
    pub(crate) sheet: Option<u32>,
    pub(crate) reason: Option<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum PageStatus {
    Read,
    Duplicate,
    /// A person set it aside.
    Aside,
    Unreadable,
}

impl PageStatus {
    pub(crate) fn text(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Duplicate => "duplicate",
            Self::Aside => "set aside",
            Self::Unreadable => "unreadable",
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Status {
    Marked,
    Review,
    Unreadable,
}

impl Status {
    pub(crate) fn text(self) -> &'static str {
        match self {
            Self::Marked => "marked",
            Self::Review => "review",
            Self::Unreadable => "unreadable",
        }
    }
}

/// What is said of one sheet.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct Drawing {
    /// What its code calls the test.
    pub(crate) test: String,
    pub(crate) sheet: u32,
    pub(crate) form: char,
    pub(crate) student: Option<String>,
    pub(crate) student_id: Option<String>,
    pub(crate) page_images: Vec<PageImage>,
    pub(crate) registration_rms_mm: Option<f64>,
    pub(crate) status: Status,
    pub(crate) reasons: Vec<String>,
    pub(crate) traces: Vec<TraceResult>,
    pub(crate) sounds: Vec<SoundsResult>,
    pub(crate) bars: Vec<BarResult>,
    pub(crate) landmarks: Vec<LandmarkResult>,
    pub(crate) rules: Vec<RuleResult>,
    pub(crate) points: f64,
    pub(crate) max_points: f64,
    pub(crate) open_points: f64,
}

/// Where a page of a sheet was scanned.
#[derive(Clone, Debug, Serialize)]
pub(crate) struct PageImage {
    /// The page of the sheet, from 1.
    pub(crate) page: u32,
    pub(crate) file: String,
    /// The page in the file, from 1.
    pub(crate) file_page: u32,
}

#[derive(Clone, Debug, Serialize)]
pub(crate) struct TraceResult {
    channel: String,
    page: u8,
    points_mm: Vec<[f64; 2]>,
}

#[derive(Clone, Debug, Serialize)]
pub(crate) struct SoundsResult {
    channel: String,
    page: u8,
    bursts: Vec<BurstResult>,
}

#[derive(Clone, Debug, Serialize)]
struct BurstResult {
    from_mm: f64,
    to_mm: f64,
    height_mm: f64,
}

#[derive(Clone, Debug, Serialize)]
pub(crate) struct BarResult {
    bar: String,
    page: u8,
    stretches_mm: Vec<[f64; 2]>,
}

#[derive(Clone, Debug, Serialize)]
pub(crate) struct LandmarkResult {
    name: String,
    channel: Option<String>,
    page: u8,
    x_mm: f64,
    y_mm: f64,
    time_s: f64,
    confidence: f64,
}

#[derive(Clone, Debug, Serialize)]
pub(crate) struct RuleResult {
    pub(crate) id: String,
    pub(crate) outcome: Outcome,
    measured_mm: Option<f64>,
    tolerance_mm: f64,
    pub(crate) points: Option<f64>,
    max_points: f64,
    /// Whether it counts for this student.
    pub(crate) counts: bool,
    why: String,
    question: Option<String>,
    confidence: f64,
    decided: Option<Ruling>,
    /// What it does not earn because of other rules.
    #[serde(skip_serializing_if = "Option::is_none")]
    withheld: Option<Withheld>,
}

/// To a thousandth: far finer than it is known.
pub(crate) fn rounded(value: f64) -> f64 {
    // Adding nought makes nought of what is a little below it.
    (value * 1e3).round() / 1e3 + 0.0
}

/// Traces, sounds and bars as they were drawn.
pub(crate) fn drawn(sheet: &DrawnSheet) -> (Vec<TraceResult>, Vec<SoundsResult>, Vec<BarResult>) {
    let (mut traces, mut sounds, mut bars) = (Vec::new(), Vec::new(), Vec::new());
    for page in &sheet.pages {
        traces.extend(page.traces.iter().map(|trace| TraceResult {
            channel: trace.channel.clone(),
            page: page.page,
            points_mm: trace.points_mm.clone(),
        }));
        sounds.extend(page.sounds.iter().map(|sounds| {
            SoundsResult {
                channel: sounds.channel.clone(),
                page: page.page,
                bursts: sounds
                    .bursts
                    .iter()
                    .map(|burst| BurstResult {
                        from_mm: rounded(burst.from_mm),
                        to_mm: rounded(burst.to_mm),
                        height_mm: rounded(burst.height_mm),
                    })
                    .collect(),
            }
        }));
        bars.extend(page.bars.iter().map(|bar| BarResult {
            bar: bar.bar.clone(),
            page: page.page,
            stretches_mm: bar.stretches_mm.iter().map(|ends| ends.map(rounded)).collect(),
        }));
    }
    (traces, sounds, bars)
}

pub(crate) fn landmarks(located: &Located) -> Vec<LandmarkResult> {
    let one = |mark: &marking::Mark| LandmarkResult {
        name: mark.name.clone(),
        channel: mark.channel.clone(),
        page: mark.page,
        x_mm: rounded(mark.at_mm[0]),
        y_mm: rounded(mark.at_mm[1]),
        time_s: (mark.time_s * 1e5).round() / 1e5,
        confidence: rounded(mark.confidence),
    };
    located.marks.iter().map(one).collect()
}

pub(crate) fn rules(marks: &Marks) -> Vec<RuleResult> {
    let one = |rule: &RuleMark| RuleResult {
        id: rule.id.clone(),
        outcome: rule.outcome,
        measured_mm: rule.measured_mm.map(rounded),
        tolerance_mm: rounded(rule.tolerance_mm),
        points: rule.earned().map(rounded),
        max_points: rounded(rule.max_points),
        counts: rule.uncounted.is_none(),
        why: rule.why.clone(),
        question: rule.question.clone().filter(|_| rule.is_open()),
        confidence: rounded(rule.confidence),
        decided: rule.decided.clone(),
        withheld: rule.withheld.clone(),
    };
    marks.rules.iter().map(one).collect()
}
