//! A convention in TOML.

use std::collections::BTreeMap;
use std::fmt;
use std::ops::Range;

use cycle::Subject;
use serde::Deserialize;
use toml::Spanned;

use crate::rule::{
    Cap, Convention, Form, Level, ReferenceMissing, Relation, Relative, Rule, Says, StepText,
    Tolerance,
};
use crate::{Point, schema};

/// How much later "after" is where no distance is given, in milliseconds.
pub(crate) const ORDER_MS: f64 = 1.0;
/// How much higher "above" is where no distance is given, as a share of the channel's range.
pub(crate) const ORDER_SHARE: f64 = 0.005;
/// Tolerances where a file gives none: twice a pencil line on paper, which is 20 ms at
/// 100 mm a second; a twentieth of the trace's height.
pub(crate) const TOLERANCE: Tolerance =
    Tolerance { mm: 2.0, half_mm: None, ms: 20.0, percent: 5.0 };
/// Time scale on paper where a file gives none.
pub(crate) const MM_PER_S: f64 = 100.0;

/// Largest distance or aim: far more than a beat lasts, or a pressure or volume is.
const MOST: f64 = 100_000.0;

/// Something wrong in a convention's text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Line, from 1.
    pub line: usize,
    /// The line itself.
    pub text: String,
    /// What is wrong and what was expected.
    pub what: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}\n    {}", self.line, self.what, self.text)
    }
}

/// Everything that is wrong in a convention's text, in the order of lines.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}", .0.iter().map(Fault::to_string).collect::<Vec<_>>().join("\n"))]
pub struct Faults(pub Vec<Fault>);

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ConventionText {
    title: String,
    #[serde(default)]
    about: String,
    simplifies: String,
    panels: Vec<Vec<Spanned<String>>>,
    #[serde(default)]
    bars: Vec<Spanned<String>>,
    mm_per_s: Option<Spanned<f64>>,
    tolerance_mm: Option<Spanned<f64>>,
    half_tolerance_mm: Option<Spanned<f64>>,
    tolerance_ms: Option<Spanned<f64>>,
    tolerance_percent: Option<Spanned<f64>>,
    #[serde(default)]
    caps: BTreeMap<String, Spanned<f64>>,
    reference_missing: Text,
    rules: Vec<Spanned<RuleText>>,
    #[serde(default)]
    steps: Vec<Spanned<StepFile>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StepFile {
    draw: Vec<Spanned<String>>,
    text: Option<String>,
    cause: Option<String>,
}

/// One number, or a least and a most.
#[derive(Clone, Copy, Deserialize)]
#[serde(untagged, expecting = "expected a number, or a least and a most like [20, 60]")]
enum Amount {
    One(f64),
    Span([f64; 2]),
}

impl Amount {
    fn span(self) -> [f64; 2] {
        match self {
            Self::One(value) => [value, value],
            Self::Span(span) => span,
        }
    }
}

/// One word, or several that are all accepted.
#[derive(Deserialize)]
#[serde(untagged, expecting = "expected a word, or a list of those that are accepted")]
enum Words {
    One(String),
    Several(Vec<String>),
}

type Text = Option<Spanned<String>>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RuleText {
    id: Spanned<String>,
    kind: Spanned<String>,
    text: String,
    cause: String,
    points: Option<Spanned<f64>>,
    #[serde(default)]
    depends_on: Vec<Spanned<String>>,
    cap: Text,
    tolerance_mm: Option<Spanned<f64>>,
    half_tolerance_mm: Option<Spanned<f64>>,
    tolerance_ms: Option<Spanned<f64>>,
    tolerance_percent: Option<Spanned<f64>>,
    landmark: Text,
    with: Text,
    before: Text,
    after: Text,
    above: Text,
    below: Text,
    level_with: Text,
    between: Option<Spanned<Vec<Spanned<String>>>>,
    by_ms: Option<Spanned<Amount>>,
    by_mm: Option<Spanned<Amount>>,
    by: Option<Spanned<Amount>>,
    share: Option<Spanned<Amount>>,
    aim: Option<Spanned<f64>>,
    channel: Text,
    at: Text,
    level: Text,
    from: Text,
    to: Text,
    shape: Text,
    label: Option<Spanned<Words>>,
}

impl RuleText {
    /// The keys that only some kinds have, with where they are given.
    fn given(&self) -> Vec<(&'static str, Range<usize>)> {
        fn span<T>(value: &Option<Spanned<T>>) -> Option<Range<usize>> {
            value.as_ref().map(Spanned::span)
        }
        let all = [
            ("landmark", span(&self.landmark)),
            ("with", span(&self.with)),
            ("before", span(&self.before)),
            ("after", span(&self.after)),
            ("above", span(&self.above)),
            ("below", span(&self.below)),
            ("level_with", span(&self.level_with)),
            ("between", span(&self.between)),
            ("by_ms", span(&self.by_ms)),
            ("by_mm", span(&self.by_mm)),
            ("by", span(&self.by)),
            ("share", span(&self.share)),
            ("aim", span(&self.aim)),
            ("channel", span(&self.channel)),
            ("at", span(&self.at)),
            ("level", span(&self.level)),
            ("from", span(&self.from)),
            ("to", span(&self.to)),
            ("shape", span(&self.shape)),
            ("label", span(&self.label)),
        ];
        all.into_iter().filter_map(|(key, span)| Some((key, span?))).collect()
    }
}

/// What is wrong, and where in the text.
struct Wrong {
    at: usize,
    what: String,
}

type Read<T> = Result<T, Wrong>;

fn wrong<T>(span: Range<usize>, what: impl Into<String>) -> Read<T> {
    Err(Wrong { at: span.start, what: what.into() })
}

/// Reads a convention about `subject`; all faults are collected.
pub(crate) fn convention(text: &str, subject: &Subject) -> Result<Convention, Faults> {
    let fault = |at: usize, what: String| {
        let line = text.get(..at).unwrap_or(text).matches('\n').count() + 1;
        let shown = text.lines().nth(line - 1).unwrap_or_default().trim().to_owned();
        Fault { line, text: shown, what }
    };
    let file: ConventionText = toml::from_str(text).map_err(|error| {
        let what = in_words(error.message());
        Faults(vec![fault(error.span().map_or(0, |span| span.start), what)])
    })?;
    let mut faults = Vec::new();
    let mut note = |wrong: Wrong| faults.push(fault(wrong.at, wrong.what));

    for channel in file.panels.iter().flatten() {
        if let Err(wrong) = known_channel(channel, subject) {
            note(wrong);
        }
    }
    for bar in &file.bars {
        let known = || subject.bars.iter().map(|bar| bar.id.as_str());
        if !known().any(|id| id == bar.as_ref()) {
            let what = unknown("bar", bar.as_ref(), known());
            note(Wrong { at: bar.span().start, what });
        }
    }
    for panel in &file.panels {
        if let Err(wrong) = one_unit(panel, subject) {
            note(wrong);
        }
    }
    if let (true, Err(wrong)) = (faults.is_empty(), all_panels(&file.panels, subject)) {
        faults.push(fault(wrong.at, wrong.what));
    }
    // What the rules say about a channel that is misspelt would only repeat the fault.
    if !faults.is_empty() {
        faults.sort_by_key(|fault| fault.line);
        return Err(Faults(faults));
    }
    let mut note = |wrong: Wrong| faults.push(fault(wrong.at, wrong.what));
    let panels: Vec<Vec<String>> = file
        .panels
        .iter()
        .map(|panel| panel.iter().map(|channel| channel.as_ref().clone()).collect())
        .collect();
    let channels: Vec<String> = panels.concat();
    let mm_per_s = positive(file.mm_per_s.as_ref(), "mm_per_s", MM_PER_S, &mut note);
    let mut base = Tolerance {
        mm: positive(file.tolerance_mm.as_ref(), "tolerance_mm", TOLERANCE.mm, &mut note),
        half_mm: None,
        ms: positive(file.tolerance_ms.as_ref(), "tolerance_ms", TOLERANCE.ms, &mut note),
        percent: positive(
            file.tolerance_percent.as_ref(),
            "tolerance_percent",
            TOLERANCE.percent,
            &mut note,
        ),
    };
    base.half_mm = half_mm(file.half_tolerance_mm.as_ref(), base.mm, &mut note);
    let mut rules: Vec<Rule> = Vec::new();
    for (index, spanned) in file.rules.iter().enumerate() {
        let rule = spanned.as_ref();
        let earlier = file.rules[..index].iter().map(|other| other.as_ref().id.as_ref());
        if earlier.into_iter().any(|id| id == rule.id.as_ref()) {
            let what =
                format!("the id “{}” is used twice; give each rule its own", rule.id.as_ref());
            note(Wrong { at: rule.id.span().start, what });
        }
        let mut tolerance = Tolerance {
            mm: positive(rule.tolerance_mm.as_ref(), "tolerance_mm", base.mm, &mut note),
            half_mm: None,
            ms: positive(rule.tolerance_ms.as_ref(), "tolerance_ms", base.ms, &mut note),
            percent: positive(
                rule.tolerance_percent.as_ref(),
                "tolerance_percent",
                base.percent,
                &mut note,
            ),
        };
        // A rule that is given more room than the file's half marks has none.
        let file_half = base.half_mm.filter(|half| *half > tolerance.mm);
        tolerance.half_mm =
            half_mm(rule.half_tolerance_mm.as_ref(), tolerance.mm, &mut note).or(file_half);
        let points = match &rule.points {
            Some(points) if !(points.as_ref().is_finite() && *points.as_ref() >= 0.0) => {
                note(Wrong { at: points.span().start, what: "points must be 0 or more".into() });
                0.0
            }
            points => points.as_ref().map_or(1.0, |points| *points.as_ref()),
        };
        for needed in &rule.depends_on {
            if let Err(wrong) = stands_before(needed, &file.rules, index) {
                note(wrong);
            }
        }
        if let Some(cap) = &rule.cap
            && !file.caps.contains_key(cap.as_ref())
        {
            let name = cap.as_ref();
            let what = match cycle::nearest(name, file.caps.keys().map(String::as_str)) {
                Some(near) => format!("there is no cap “{name}”; did you mean “{near}”?"),
                None => format!(
                    "there is no cap “{name}”; say what it comes to before the rules, like \
                     caps = {{ notch = 2 }}"
                ),
            };
            note(Wrong { at: cap.span().start, what });
        }
        match (Reader { rule, channels: &channels, subject, mm_per_s }).says() {
            Err(wrong) => note(wrong),
            Ok(says) => rules.push(Rule {
                id: rule.id.as_ref().clone(),
                text: rule.text.clone(),
                cause: rule.cause.clone(),
                points,
                depends_on: rule.depends_on.iter().map(|id| id.as_ref().clone()).collect(),
                cap: rule.cap.as_ref().map(|cap| cap.as_ref().clone()),
                tolerance,
                says,
                line: fault(spanned.span().start, String::new()).line,
            }),
        }
    }
    if file.rules.is_empty() {
        note(Wrong { at: 0, what: "there are no rules; add one under [[rules]]".into() });
    }
    let caps = caps(&file, &mut note);
    let reference_missing = file.reference_missing.as_ref().map(reference_missing);
    let reference_missing = reference_missing.and_then(|read| read.map_err(&mut note).ok());
    let mut steps = Vec::new();
    for spanned in &file.steps {
        let step = spanned.as_ref();
        for drawn in &step.draw {
            let typed = drawn.as_ref();
            let strokes = || subject.strokes.iter().map(|stroke| stroke.id.as_str());
            if strokes().any(|id| id == typed) {
                continue;
            }
            if let Err(what) = Point::find(typed, &channels, subject) {
                let near = cycle::nearest(typed, strokes()).filter(|_| !what.contains("did you"));
                let what = near.map_or(what, |near| {
                    format!("there is no “{typed}” to draw; did you mean “{near}”?")
                });
                note(Wrong { at: drawn.span().start, what });
            }
        }
        if step.draw.is_empty() {
            let what = "a step needs something to draw, like draw = [\"s1\"]";
            note(Wrong { at: spanned.span().start, what: what.into() });
        }
        steps.push(StepText {
            draw: step.draw.iter().map(|drawn| drawn.as_ref().clone()).collect(),
            text: step.text.clone(),
            cause: step.cause.clone(),
            line: fault(spanned.span().start, String::new()).line,
        });
    }
    if !faults.is_empty() {
        faults.sort_by_key(|fault| fault.line);
        return Err(Faults(faults));
    }
    let bars = file.bars.into_iter().map(Spanned::into_inner).collect();
    let ConventionText { title, about, simplifies, .. } = file;
    Ok(Convention {
        title,
        about,
        simplifies,
        panels,
        bars,
        mm_per_s,
        caps,
        reference_missing: reference_missing.unwrap_or_default(),
        rules,
        steps,
    })
}

fn reference_missing(text: &Spanned<String>) -> Read<ReferenceMissing> {
    match text.as_ref().as_str() {
        "ask" => Ok(ReferenceMissing::Ask),
        "not_met" => Ok(ReferenceMissing::NotMet),
        "does_not_count" => Ok(ReferenceMissing::DoesNotCount),
        _ => wrong(
            text.span(),
            "reference_missing must be \"ask\", \"not_met\" or \"does_not_count\"",
        ),
    }
}

/// Refuses a rule to depend on what is no rule before it: so rules never depend on each other in a
/// circle.
fn stands_before(needed: &Spanned<String>, rules: &[Spanned<RuleText>], index: usize) -> Read<()> {
    let ids = || rules.iter().map(|rule| rule.as_ref().id.as_ref().as_str());
    let id = needed.as_ref().as_str();
    match ids().position(|one| one == id) {
        Some(place) if place < index => Ok(()),
        Some(place) if place == index => {
            wrong(needed.span(), "a rule cannot depend on itself; take it away")
        }
        Some(place) if depends(&rules[place], rules[index].as_ref().id.as_ref()) => wrong(
            needed.span(),
            format!("this rule and “{id}” depend on each other; take it away from one of them"),
        ),
        Some(_) => wrong(
            needed.span(),
            format!("a rule can depend on those above it only; move “{id}” above this one"),
        ),
        None => wrong(needed.span(), unknown("rule", id, ids())),
    }
}

/// Whether a rule names another that it depends on.
fn depends(rule: &Spanned<RuleText>, id: &str) -> bool {
    rule.as_ref().depends_on.iter().any(|needed| needed.as_ref() == id)
}

/// The caps of a file, each shared by rules that could earn more.
fn caps(file: &ConventionText, note: &mut impl FnMut(Wrong)) -> Vec<Cap> {
    let mut caps = Vec::new();
    for (name, points) in &file.caps {
        let at = points.span().start;
        let own = file.rules.iter().map(Spanned::as_ref);
        let own = own.filter(|rule| rule.cap.as_ref().is_some_and(|cap| cap.as_ref() == name));
        let worth = own.clone().map(|rule| rule.points.as_ref().map_or(1.0, |p| *p.as_ref()));
        let worth: f64 = worth.sum();
        let points = *points.as_ref();
        if !(points.is_finite() && points > 0.0) {
            note(Wrong { at, what: format!("the cap “{name}” must be more than 0") });
        } else if own.count() < 2 {
            let what = format!(
                "no two rules share the cap “{name}”; write cap = \"{name}\" into those that do"
            );
            note(Wrong { at, what });
        } else if points >= worth {
            let what = format!(
                "the cap “{name}” never takes effect: it is {points}, and its rules are worth \
                 {worth} together"
            );
            note(Wrong { at, what });
        }
        caps.push(Cap { name: name.clone(), points });
    }
    caps
}

/// Refuses a panel whose channels cannot share an axis.
fn one_unit(panel: &[Spanned<String>], subject: &Subject) -> Read<()> {
    let unit = |channel: &Spanned<String>| {
        subject.channel(channel.as_ref()).map(|kind| kind.unit.as_str())
    };
    let mut units = panel.iter().filter_map(|channel| Some((channel, unit(channel)?)));
    let Some((first, unit)) = units.next() else { return Ok(()) };
    match units.find(|(_, other)| *other != unit) {
        None => Ok(()),
        Some((channel, other)) => {
            let (a, b) = (first.as_ref(), channel.as_ref());
            let what = format!("{a} is in {unit} and {b} in {other}; give each a panel of its own");
            wrong(channel.span(), what)
        }
    }
}

/// Refuses panels without the channel that the others are aligned to, or with one twice.
fn all_panels(panels: &[Vec<Spanned<String>>], subject: &Subject) -> Read<()> {
    let channels: Vec<&Spanned<String>> = panels.iter().flatten().collect();
    for (index, channel) in channels.iter().enumerate() {
        if channels[..index].iter().any(|other| other.as_ref() == channel.as_ref()) {
            let what = format!("{} is drawn twice; give each channel once", channel.as_ref());
            return wrong(channel.span(), what);
        }
    }
    let reference = &subject.reference_channel;
    if channels.iter().any(|channel| channel.as_ref() == reference) {
        return Ok(());
    }
    let at = channels.first().map_or(0..0, |channel| channel.span());
    wrong(at, format!("no panel has {reference}, to which all others are aligned; add it first"))
}

/// The TOML reader's message in words that say what to write.
fn in_words(message: &str) -> String {
    for key in ["caps", "reference_missing"] {
        if message.starts_with(&format!("unknown field `{key}`")) {
            return format!("“{key}” is about the whole file; write it before the first [[rules]]");
        }
    }
    if let Some(what) = cycle::unknown_key(message, &[]) {
        return what;
    }
    for (expected, plain) in [
        ("expected f64", "a number without quotation marks, like 2 or 0.5"),
        ("expected a string", "text in quotation marks"),
        ("expected a map", "names with what they come to, in braces, like { notch = 2 }"),
    ] {
        if message.starts_with("invalid type") && message.ends_with(expected) {
            return format!("expected {plain}");
        }
    }
    if let Some(key) = message.strip_prefix("missing field ") {
        return format!("“{} = …” is missing; add it", key.replace('`', ""));
    }
    let plain = match message {
        other if other.starts_with("invalid type") && other.ends_with("expected a sequence") => {
            r#"expected a list in brackets, like ["s1_on_r"]; panels are a list of lists, like [["ecg"], ["heart_sounds"]]"#
        }
        "duplicate key" => {
            "this is given twice; every rule begins with [[rules]], in double brackets"
        }
        other => other,
    };
    plain.to_owned()
}

fn known_channel(channel: &Spanned<String>, subject: &Subject) -> Read<()> {
    if subject.channel(channel.as_ref()).is_some() {
        return Ok(());
    }
    let known = subject.channels.iter().map(|kind| kind.id.as_str());
    wrong(channel.span(), unknown("channel", channel.as_ref(), known))
}

fn unknown<'a>(what: &str, typed: &str, known: impl Iterator<Item = &'a str> + Clone) -> String {
    match cycle::nearest(typed, known.clone()) {
        Some(near) => format!("there is no {what} “{typed}”; did you mean “{near}”?"),
        None => {
            let known: Vec<&str> = known.collect();
            format!("there is no {what} “{typed}”; known are {}", known.join(", "))
        }
    }
}

fn positive(
    value: Option<&Spanned<f64>>,
    key: &str,
    default: f64,
    note: &mut impl FnMut(Wrong),
) -> f64 {
    let Some(value) = value else { return default };
    if value.as_ref().is_finite() && *value.as_ref() > 0.0 {
        return *value.as_ref();
    }
    note(Wrong { at: value.span().start, what: format!("{key} must be more than 0") });
    default
}

/// How far off something may be for half its points, where that is given; it must be more than
/// `full`.
fn half_mm(value: Option<&Spanned<f64>>, full: f64, note: &mut impl FnMut(Wrong)) -> Option<f64> {
    let value = value?;
    let half = positive(Some(value), "half_tolerance_mm", f64::INFINITY, note);
    if half <= full {
        let what = format!("half_tolerance_mm must be more than tolerance_mm, which is {full}");
        note(Wrong { at: value.span().start, what });
    }
    Some(half)
}

/// Reads one rule.
struct Reader<'a> {
    rule: &'a RuleText,
    channels: &'a [String],
    subject: &'a Subject,
    mm_per_s: f64,
}

impl Reader<'_> {
    fn says(&self) -> Read<Says> {
        let rule = self.rule;
        let kind = rule.kind.as_ref().as_str();
        let Some((_, keys)) = schema::KINDS.iter().find(|(name, _)| *name == kind) else {
            let known = schema::KINDS.iter().map(|(name, _)| *name);
            return wrong(rule.kind.span(), unknown("kind of rule", kind, known));
        };
        for (key, span) in rule.given() {
            if !keys.contains(&key) {
                let what = format!(
                    "“{key}” has no place in a rule of kind {kind}; it may have {}",
                    keys.join(", ")
                );
                return wrong(span, what);
            }
        }
        match kind {
            "presence" => Ok(Says::Presence { point: self.landmark()? }),
            "timing" => Ok(Says::Timing { point: self.landmark()?, timing: self.timing()? }),
            "height" => self.height(),
            "level" => self.level(),
            "shape" => self.shape(),
            _ => self.label(),
        }
    }

    fn need<'b, T>(&self, value: &'b Option<Spanned<T>>, key: &str) -> Read<&'b Spanned<T>> {
        value.as_ref().map_or_else(
            || {
                let kind = self.rule.kind.as_ref();
                wrong(self.rule.id.span(), format!("a rule of kind {kind} needs “{key} = …”"))
            },
            Ok,
        )
    }

    fn point(&self, typed: &Spanned<String>) -> Read<Point> {
        let found = Point::find(typed.as_ref(), self.channels, self.subject);
        found.or_else(|what| wrong(typed.span(), what))
    }

    fn landmark(&self) -> Read<Point> {
        self.point(self.need(&self.rule.landmark, "landmark")?)
    }

    fn other(&self, typed: &Spanned<String>, point: &Point) -> Read<Point> {
        let other = self.point(typed)?;
        if other == *point {
            return wrong(typed.span(), "a landmark cannot be placed by itself; name another");
        }
        Ok(other)
    }

    /// The two points of `between`.
    fn two(&self, point: &Point) -> Read<[Point; 2]> {
        let between = self.need(&self.rule.between, "between")?;
        let [from, to] = between.as_ref().as_slice() else {
            return wrong(between.span(), "between needs two, like [\"t_peak\", \"t_end\"]");
        };
        Ok([self.other(from, point)?, self.other(to, point)?])
    }

    /// Exactly one of several keys.
    fn one_of<'b>(
        &self,
        choices: &[(&'static str, Option<&'b Spanned<String>>)],
    ) -> Read<Option<(&'static str, &'b Spanned<String>)>> {
        let mut given = choices.iter().filter_map(|&(key, value)| Some((key, value?)));
        let first = given.next();
        let between = self.rule.between.as_ref().map(Spanned::span);
        let names = || choices.iter().map(|(key, _)| *key).collect::<Vec<_>>().join(", ");
        match (first, given.next(), between) {
            (Some((one, _)), Some((two, at)), _) => {
                wrong(at.span(), format!("both “{one}” and “{two}” are given; keep one"))
            }
            (Some((one, _)), None, Some(at)) => {
                wrong(at, format!("both “{one}” and “between” are given; keep one"))
            }
            (None, _, None) => {
                let what =
                    format!("it does not say relative to what; add one of {}, between", names());
                wrong(self.rule.id.span(), what)
            }
            (first, ..) => Ok(first),
        }
    }

    /// Refuses a key that goes only with others.
    fn only_with<T>(&self, value: &Option<Spanned<T>>, key: &str, with: &str) -> Read<()> {
        match value {
            Some(value) => wrong(value.span(), format!("“{key}” goes only with {with}")),
            None => Ok(()),
        }
    }

    fn ordered(&self, amount: &Spanned<Amount>) -> Read<[f64; 2]> {
        let [low, high] = amount.as_ref().span();
        if low.is_finite() && high.is_finite() && low <= high {
            if low.abs().max(high.abs()) > MOST {
                return wrong(amount.span(), format!("a distance is at most {MOST}"));
            }
            return Ok([low, high]);
        }
        let what = if low > high {
            "the least comes first: expected a least and a most like [20, 60]"
        } else {
            "expected a number, or a least and a most like [20, 60]"
        };
        wrong(amount.span(), what)
    }

    fn shares(&self) -> Read<[f64; 2]> {
        let Some(share) = &self.rule.share else { return Ok([0.0, 1.0]) };
        let [low, high] = self.ordered(share)?;
        if low < 0.0 || high > 1.0 {
            return wrong(share.span(), "a share lies from 0, the first, to 1, the second");
        }
        Ok([low, high])
    }

    fn aim(&self, window: [Option<f64>; 2]) -> Read<Option<f64>> {
        let Some(aim) = &self.rule.aim else { return Ok(None) };
        let value = *aim.as_ref();
        if !(value.is_finite() && value.abs() <= MOST) {
            return wrong(aim.span(), format!("an aim is a number of at most {MOST}"));
        }
        if window[0].is_some_and(|low| value < low) || window[1].is_some_and(|high| value > high) {
            return wrong(aim.span(), "the aim lies outside what the rule itself allows");
        }
        Ok(Some(value))
    }

    /// Least and most later or higher, from a distance that is given as more than 0 either way.
    fn window(
        &self,
        relation: Relation,
        distance: Option<[f64; 2]>,
        order: f64,
    ) -> [Option<f64>; 2] {
        match (relation, distance) {
            (Relation::With, _) => [Some(0.0), Some(0.0)],
            (Relation::After, None) => [Some(order), None],
            (Relation::Before, None) => [None, Some(-order)],
            (Relation::After, Some([low, high])) => [Some(low), Some(high)],
            (Relation::Before, Some([low, high])) => [Some(-high), Some(-low)],
        }
    }

    fn signed_aim(&self, relation: Relation, window: [Option<f64>; 2]) -> Read<Option<f64>> {
        match relation {
            Relation::Before => {
                let mirrored = [window[1].map(|v| -v), window[0].map(|v| -v)];
                Ok(self.aim(mirrored)?.map(|aim| -aim))
            }
            _ => self.aim(window),
        }
    }

    fn timing(&self) -> Read<Relative> {
        let rule = self.rule;
        let point = self.landmark()?;
        let choices = [
            ("with", rule.with.as_ref()),
            ("before", rule.before.as_ref()),
            ("after", rule.after.as_ref()),
        ];
        let Some((key, typed)) = self.one_of(&choices)? else {
            self.only_with(&rule.by_ms, "by_ms", "before and after")?;
            self.only_with(&rule.by_mm, "by_mm", "before and after")?;
            let [from, to] = self.two(&point)?;
            let shares = self.shares()?;
            if let Some(share) = &rule.share
                && !(from.is_reference(self.subject) && to.is_reference(self.subject))
            {
                let reference = &self.subject.reference_channel;
                let what = format!(
                    "a share is taken of an interval of {reference}, which is drawn before anything else; give a distance in ms, or leave share out"
                );
                return wrong(share.span(), what);
            }
            let aim = self.aim([Some(shares[0]), Some(shares[1])])?;
            return Ok(Relative::Between { from, to, shares, aim });
        };
        self.only_with(&rule.share, "share", "between")?;
        let relation = match key {
            "with" => Relation::With,
            "before" => Relation::Before,
            _ => Relation::After,
        };
        let distance = match (&rule.by_ms, &rule.by_mm) {
            (Some(_), Some(mm)) => {
                return wrong(mm.span(), "both by_ms and by_mm are given; keep one");
            }
            (Some(ms), None) => Some((self.ordered(ms)?, ms.span())),
            (None, Some(mm)) => {
                let distance = self.ordered(mm)?.map(|mm| mm / self.mm_per_s * 1000.0);
                if distance[1] > MOST {
                    let what = format!("at {} mm a second this is too long", self.mm_per_s);
                    return wrong(mm.span(), what);
                }
                Some((distance, mm.span()))
            }
            (None, None) => None,
        };
        if let Some((_, span)) = distance.clone().filter(|_| relation == Relation::With) {
            return wrong(
                span,
                "“with” means at the same time; for a distance use before or after",
            );
        }
        if let Some((_, span)) = distance.clone().filter(|(distance, _)| distance[0] < 0.0) {
            return wrong(span, "a distance is 0 or more; before and after say which way");
        }
        let window = self.window(relation, distance.map(|(distance, _)| distance), ORDER_MS);
        let aim = self.signed_aim(relation, window)?;
        Ok(Relative::Offset { to: self.other(typed, &point)?, relation, window, aim })
    }

    fn unit_of(&self, point: &Point) -> Option<(&str, f64)> {
        let kind = self.subject.channel(point.channel.as_deref()?)?;
        Some((kind.unit.as_str(), kind.range[1] - kind.range[0]))
    }

    /// Refuses to compare heights in different units.
    fn same_unit(&self, point: &Point, others: &[&Point], span: Range<usize>) -> Read<f64> {
        let Some((unit, range)) = self.unit_of(point) else {
            return wrong(span, format!("{} is an event and has no height", point.name));
        };
        for other in others {
            match self.unit_of(other) {
                None => {
                    return wrong(span, format!("{} is an event and has no height", other.name));
                }
                Some((theirs, _)) if theirs != unit => {
                    let what = format!(
                        "{} is in {unit} and {} in {theirs}; their heights cannot be compared",
                        point.name, other.name
                    );
                    return wrong(span, what);
                }
                Some(_) => {}
            }
        }
        Ok(range)
    }

    fn height(&self) -> Read<Says> {
        let rule = self.rule;
        let point = self.landmark()?;
        let choices = [
            ("level_with", rule.level_with.as_ref()),
            ("below", rule.below.as_ref()),
            ("above", rule.above.as_ref()),
        ];
        let Some((key, typed)) = self.one_of(&choices)? else {
            self.only_with(&rule.by, "by", "above and below")?;
            let [from, to] = self.two(&point)?;
            let span = self.need(&rule.between, "between")?.span();
            self.same_unit(&point, &[&from, &to], span)?;
            let shares = self.shares()?;
            let aim = self.aim([Some(shares[0]), Some(shares[1])])?;
            return Ok(Says::Height { point, height: Relative::Between { from, to, shares, aim } });
        };
        self.only_with(&rule.share, "share", "between")?;
        let relation = match key {
            "level_with" => Relation::With,
            "below" => Relation::Before,
            _ => Relation::After,
        };
        if relation == Relation::With {
            self.only_with(&rule.by, "by", "above and below")?;
        }
        let to = self.other(typed, &point)?;
        let range = self.same_unit(&point, &[&to], typed.span())?;
        let distance = rule.by.as_ref().map(|by| self.ordered(by)).transpose()?;
        if let (Some(by), Some([low, _])) = (&rule.by, distance)
            && low < 0.0
        {
            return wrong(by.span(), "a distance is 0 or more; above and below say which way");
        }
        let window = self.window(relation, distance, ORDER_SHARE * range);
        let aim = self.signed_aim(relation, window)?;
        Ok(Says::Height { point, height: Relative::Offset { to, relation, window, aim } })
    }

    /// The channel that is named, which must be drawn.
    fn channel(&self, typed: &Spanned<String>) -> Read<String> {
        known_channel(typed, self.subject)?;
        let channel = typed.as_ref();
        if !self.channels.contains(channel) {
            let what = format!("no panel has {channel}; add it to panels");
            return wrong(typed.span(), what);
        }
        Ok(channel.clone())
    }

    fn level(&self) -> Read<Says> {
        let rule = self.rule;
        let channel = self.channel(self.need(&rule.channel, "channel")?)?;
        let at = self.point(self.need(&rule.at, "at")?)?;
        let typed = self.need(&rule.level, "level")?;
        let level = if typed.as_ref() == "baseline" {
            Level::Baseline
        } else {
            let with_channel = format!("{}@{channel}", typed.as_ref());
            let point = if typed.as_ref().contains('@') { typed.as_ref() } else { &with_channel };
            let found = Point::find(point, self.channels, self.subject);
            let found = found.or_else(|what| wrong(typed.span(), what))?;
            if found.channel.as_ref() != Some(&channel) {
                let what = format!("the level must be “baseline” or a landmark of {channel}");
                return wrong(typed.span(), what);
            }
            Level::Of(found)
        };
        Ok(Says::Level { channel, at, level })
    }

    fn shape(&self) -> Read<Says> {
        let rule = self.rule;
        let (from, to) = (self.need(&rule.from, "from")?, self.need(&rule.to, "to")?);
        let start = self.point(from)?;
        let end = self.other(to, &start)?;
        let channel = match (&rule.channel, &start.channel, &end.channel) {
            (Some(typed), ..) => self.channel(typed)?,
            (None, Some(channel), _) | (None, None, Some(channel)) => channel.clone(),
            (None, None, None) => {
                let what = "events lie on no channel; add “channel = …”";
                return wrong(from.span(), what);
            }
        };
        let typed = self.need(&rule.shape, "shape")?;
        let form = match typed.as_ref().as_str() {
            "rising" => Form::Rising,
            "falling" => Form::Falling,
            "flat" => Form::Flat,
            other => {
                let known = ["rising", "falling", "flat"];
                return wrong(typed.span(), unknown("shape", other, known.into_iter()));
            }
        };
        Ok(Says::Shape { channel, from: start, to: end, form })
    }

    fn label(&self) -> Read<Says> {
        let point = self.landmark()?;
        let typed = self.need(&self.rule.label, "label")?;
        let accepted: Vec<String> = match typed.as_ref() {
            Words::One(word) => vec![word.trim().to_owned()],
            Words::Several(words) => words.iter().map(|word| word.trim().to_owned()).collect(),
        };
        if point.channel.is_none() {
            return wrong(typed.span(), "an event lies on no trace; label a landmark");
        }
        if accepted.is_empty() || accepted.iter().any(String::is_empty) {
            return wrong(typed.span(), "the label is empty; give the word that is expected");
        }
        Ok(Says::Label { point, accepted })
    }
}
