//! What was found, in words to the student.

use convention::{Convention, Form, Level, Point, Relative, Rule, Says};
use cycle::Subject;

use crate::Rubric;
use crate::locate::Located;
use crate::marks::{Outcome, RuleMark, Ruling};
use crate::settle::WithheldBy;

/// Less than this is said as "on the same line", in millimetres.
const SAME_MM: f64 = 0.05;

/// Such as "3.2 mm": a tenth of a millimetre is more than can be drawn.
pub(crate) fn mm(value: f64) -> String {
    format!("{} mm", number(value.abs()))
}

/// With at most one decimal.
pub(crate) fn number(value: f64) -> String {
    let text = if value.abs() < 9.95 { format!("{value:.1}") } else { format!("{value:.0}") };
    let text = text.strip_suffix(".0").unwrap_or(&text);
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// Points without needless decimals.
pub(crate) fn points(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// With a full stop.
pub(crate) fn sentence(text: &str) -> String {
    let text = text.trim();
    if text.is_empty() || text.ends_with(['.', '!', '?']) {
        text.to_owned()
    } else {
        format!("{text}.")
    }
}

/// Which way something is to go that is off by `off_mm`: too late or too high is more.
pub(crate) fn way(says: &Says, off_mm: f64) -> &'static str {
    match (says, off_mm > 0.0) {
        (Says::Shape { form: Form::Flat, .. }, _) => "too uneven",
        (Says::Shape { .. }, _) => "not all the way",
        (Says::Timing { .. } | Says::Label { .. }, true) => "too late",
        (Says::Timing { .. } | Says::Label { .. }, false) => "too early",
        (_, true) => "too high",
        (_, false) => "too low",
    }
}

/// What points are called.
#[derive(Clone, Copy)]
pub(crate) struct Names<'a> {
    pub(crate) subject: &'a Subject,
    pub(crate) convention: &'a Convention,
}

impl<'a> Names<'a> {
    pub(crate) fn of(rubric: &Rubric<'a>) -> Self {
        Self { subject: rubric.subject, convention: rubric.convention }
    }

    /// Such as "the end of the T wave".
    pub(crate) fn the(&self, point: &Point) -> String {
        let title = self.subject.title_of(&point.name).unwrap_or(&point.name);
        // Without other names, as in "dicrotic notch (incisura)".
        let title = title.split(" (").next().unwrap_or(title);
        let name = match self.subject.event(&point.name).map(|event| &event.noun) {
            Some(Some(noun)) => format!("the {noun}"),
            Some(None) => format!("the moment when the {title}"),
            None => format!("the {title}"),
        };
        match &point.channel {
            Some(channel) if self.is_shared(point) => format!("{name} ({})", self.channel(channel)),
            _ => name,
        }
    }

    /// That nothing was found where a rule's points belong, if that is so.
    fn empty_place(&self, rule: &Rule, located: &Located) -> Option<String> {
        let is_empty = |place: &&String| located.empty.contains(place);
        if let Says::Shape { channel, .. } | Says::Level { channel, .. } = &rule.says
            && is_empty(&channel)
        {
            return Some(format!("Nothing was found in the panel of {}.", self.channel(channel)));
        }
        rule.says.points().into_iter().find_map(|point| match &point.channel {
            Some(channel) => Some(channel).filter(is_empty).map(|channel| {
                format!("Nothing was found in the panel of {}.", self.channel(channel))
            }),
            None => {
                let mut bars = self.subject.bars.iter();
                let bar = bars.find(|bar| bar.from == point.name || bar.to == point.name)?;
                let here = located.empty.contains(&bar.id);
                here.then(|| {
                    format!("Nothing was found in the row of the {}.", bar.title.to_lowercase())
                })
            }
        })
    }

    /// Whether several channels have the landmark.
    fn is_shared(&self, point: &Point) -> bool {
        self.convention.id_of(point, self.subject) != point.name
    }

    /// What is written beside a point: its label, or its title; of an event on a bar, which has
    /// the rest of its name beside it, only what happens.
    pub(crate) fn label(&self, point: &Point) -> String {
        if let Some(event) = self.subject.event(&point.name) {
            let title = event.title.as_str();
            let bars = self.subject.bars.iter().map(|bar| bar.title.to_lowercase());
            let mut short = bars.filter_map(|bar| title.strip_prefix(&bar));
            return short.next().unwrap_or(title).trim().to_owned();
        }
        let kind = self.subject.landmark(&point.name);
        match kind.map(|kind| kind.label.as_str()) {
            Some(label) if !label.is_empty() => label.to_owned(),
            _ => self.subject.title_of(&point.name).unwrap_or(&point.name).to_owned(),
        }
    }

    /// The title of a point, with its channel where several have it.
    pub(crate) fn title(&self, point: &Point) -> String {
        let the = self.the(point);
        let title = the.strip_prefix("the ").unwrap_or(&the);
        let mut letters = title.chars();
        // Names such as "a wave" keep their letter.
        if title.chars().nth(1) == Some(' ') {
            return title.to_owned();
        }
        let first = letters.next().map(char::to_uppercase);
        first.into_iter().flatten().chain(letters).collect()
    }

    /// A channel as it is spoken of, such as "ECG" or "aortic pressure".
    pub(crate) fn channel(&self, channel: &str) -> String {
        let Some(kind) = self.subject.channel(channel) else { return channel.to_owned() };
        if kind.label.chars().all(char::is_uppercase) {
            return kind.label.clone();
        }
        let mut letters = kind.title.chars();
        let first = letters.next().map(char::to_lowercase);
        first.into_iter().flatten().chain(letters).collect()
    }
}

/// What a student is told about a rule that is not met: what was drawn, and where it belongs.
pub(crate) fn missed(rule: &Rule, mark: &RuleMark, located: &Located, names: Names<'_>) -> String {
    // What a person decided about a label or a thing's presence says enough by itself.
    if matches!(rule.says, Says::Label { .. }) {
        return String::new();
    }
    let Some(measured) = mark.measured_mm else {
        let empty = names.empty_place(rule, located);
        return empty.unwrap_or_else(|| sentence(&mark.why));
    };
    // What a person says of it where it was measured as met, the measurement does not say.
    if mark.decided.is_some() && mark.off_mm.abs() < SAME_MM {
        return String::new();
    }
    let size = mm(measured);
    let off = mm(mark.off_mm);
    let left_right = if mark.off_mm > 0.0 { "further left" } else { "further right" };
    let up_down = if mark.off_mm > 0.0 { "lower" } else { "higher" };
    let told = |point: &Point, to: &Point, [more, less]: [&str; 2], same: &str| {
        let (point, to) = (names.the(point), names.the(to));
        if measured.abs() < SAME_MM {
            format!("You drew {point} {same} {to}")
        } else {
            format!("You drew {point} {size} {} {to}", if measured > 0.0 { more } else { less })
        }
    };
    let words = match &rule.says {
        Says::Timing { point, timing } => {
            let (to, belongs) = match timing {
                Relative::Offset { to, .. } => {
                    (to, belongs(mark.window_mm, ["after it", "before it"], "on the same line"))
                }
                Relative::Between { from, to, shares, .. } => {
                    (from, between(mark, [from, to], *shares, ["after", "before"], names))
                }
            };
            let drew = told(point, to, ["after", "before"], "on the line of");
            format!("{drew}; it belongs {belongs}: {off} {left_right}.")
        }
        Says::Height { point, height } => {
            let (to, belongs) = match height {
                Relative::Offset { to, .. } => {
                    (to, belongs(mark.window_mm, ["above it", "below it"], "at the same height"))
                }
                Relative::Between { from, to, shares, .. } => {
                    (from, between(mark, [from, to], *shares, ["above", "below"], names))
                }
            };
            let drew = told(point, to, ["above", "below"], "level with");
            format!("{drew}; it belongs {belongs}: {off} {up_down}.")
        }
        Says::Level { channel, at, level } => {
            let level = match level {
                Level::Baseline => "its baseline".to_owned(),
                Level::Of(point) => format!("the level of {}", names.the(point)),
            };
            let side = if measured > 0.0 { "above" } else { "below" };
            let (at, channel) = (names.the(at), names.channel(channel));
            format!(
                "At {at} your {channel} is {size} {side} {level}; it belongs on it: {off} {up_down}."
            )
        }
        Says::Shape { channel, from, to, form } => {
            let (from, to) = (names.the(from), names.the(to));
            let start = format!("From {from} to {to} your {}", names.channel(channel));
            let [verb, back] = match form {
                Form::Flat => {
                    return format!("{start} strays from level by {size}; keep it level.");
                }
                Form::Rising => ["rise", "falls back"],
                Form::Falling => ["fall", "rises again"],
            };
            if measured < 2.0 * mark.tolerance_mm {
                let least = if measured < SAME_MM {
                    "yours does not".to_owned()
                } else {
                    format!("yours does so by only {size}")
                };
                format!("{start} should {verb}; {least}.")
            } else {
                format!("{start} should {verb} all the way; yours {back} by {off}.")
            }
        }
        Says::Presence { .. } | Says::Label { .. } => return sentence(&mark.why),
    };
    if mark.points.is_some_and(|points| points > 0.0) && mark.decided.is_none() {
        return words + " That is near enough for part of the points.";
    }
    words
}

/// Where a point belongs, by a window in millimetres.
fn belongs(window: [Option<f64>; 2], [more, less]: [&str; 2], same: &str) -> String {
    let near = |value: f64| value.abs() < SAME_MM;
    match window {
        [Some(low), Some(high)] if near(low) && near(high) => same.to_owned(),
        [Some(low), Some(high)] if low >= 0.0 && near(high - low) => format!("{} {more}", mm(low)),
        [Some(low), Some(high)] if high <= 0.0 && near(high - low) => {
            format!("{} {less}", mm(low))
        }
        [Some(low), Some(high)] if low >= 0.0 => format!("{} to {} {more}", number(low), mm(high)),
        [Some(low), Some(high)] if high <= 0.0 => {
            format!("{} to {} {less}", number(-high), mm(low))
        }
        [Some(low), Some(high)] => {
            format!("between {} {less} and {} {more}", mm(low), mm(high))
        }
        // A pencil line is as wide as a millimetre: less than that only says which comes first.
        [Some(low), None] if (0.0..=1.0).contains(&low) => more.to_owned(),
        [None, Some(high)] if (-1.0..=0.0).contains(&high) => less.to_owned(),
        [Some(low), None] if low > 0.0 => format!("at least {} {more}", mm(low)),
        [None, Some(high)] if high < 0.0 => format!("at least {} {less}", mm(high)),
        [Some(low), None] => format!("no more than {} {less}", mm(low)),
        [None, Some(high)] => format!("no more than {} {more}", mm(high)),
        [None, None] => format!("anywhere, {more} or {less}"),
    }
}

fn between(
    mark: &RuleMark,
    [from, to]: [&Point; 2],
    shares: [f64; 2],
    words: [&str; 2],
    names: Names<'_>,
) -> String {
    let (from, to) = (names.the(from), names.the(to));
    if shares == [0.0, 1.0] {
        return format!("between that and {to}");
    }
    let words = words.map(|word| format!("{word} {from}"));
    belongs(mark.window_mm, [&words[0], &words[1]], &format!("with {from}"))
}

/// What a person decided, to be added to the words.
pub(crate) fn decided(mark: &RuleMark) -> &'static str {
    match (&mark.decided, mark.outcome) {
        (None, _) if mark.uncounted.is_some() => {
            "It measures by what was not drawn and does not count."
        }
        (None, _) => "",
        (Some(Ruling::Waived), _) => "It does not count for you.",
        (Some(Ruling::Reweighted { .. }), _) => "It is worth something else for you.",
        (Some(_), Outcome::Review) => "",
        (Some(_), _) => "Your instructor decided this.",
    }
}

/// Why a rule does not earn all that it could by itself; empty where it does. `all` are the rules
/// on the same sheet.
pub(crate) fn withheld(mark: &RuleMark, all: &[RuleMark], convention: &Convention) -> String {
    let text = |id: &String| {
        let rule = convention.rule(id);
        rule.map_or(id.as_str(), |rule| rule.text.as_str()).trim().trim_end_matches('.').to_owned()
    };
    match mark.withheld.as_ref().map(|withheld| &withheld.by) {
        None => String::new(),
        Some(WithheldBy::NotMet(on)) => {
            format!("It depends on “{}”, which is not met.", text(on))
        }
        Some(WithheldBy::Open(on)) => {
            format!("It depends on “{}”, which is still open.", text(on))
        }
        Some(WithheldBy::Cap) => {
            let most = mark.cap.as_ref().map_or(0.0, |cap| cap.points);
            let unit = if most == 1.0 { "point" } else { "points" };
            let shares = |other: &&RuleMark| other.cap == mark.cap && other.id != mark.id;
            let others = all.iter().filter(shares).map(|other| format!("“{}”", text(&other.id)));
            let others = others.collect::<Vec<_>>().join(" and ");
            format!("Together with {others} it earns at most {} {unit}.", points(most))
        }
    }
}

/// Such as "1 of 2 points".
pub(crate) fn earned(mark: &RuleMark) -> String {
    let most = mark.max_points;
    let unit = if most == 1.0 { "point" } else { "points" };
    match mark.earned() {
        Some(earned) => format!("{} of {} {unit}", points(earned), points(most)),
        None => format!("{} {unit} open", points(most)),
    }
}

#[cfg(test)]
#[path = "said_tests.rs"]
mod tests;
