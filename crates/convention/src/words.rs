//! Rules and what was found, in words.

use cycle::Subject;

use crate::rule::{Convention, Form, Level, Relative, Says};
use crate::{Place, Point};

/// Speaks about points of one convention.
#[derive(Clone, Copy)]
pub(crate) struct Words<'a> {
    pub(crate) subject: &'a Subject,
    pub(crate) convention: &'a Convention,
}

impl Words<'_> {
    /// Such as "the end of the T wave".
    pub(crate) fn the(&self, point: &Point) -> String {
        let title = self.subject.title_of(&point.name).unwrap_or(&point.name);
        let event = self.subject.event(&point.name);
        let name = match event.map(|event| &event.noun) {
            Some(Some(noun)) => format!("the {noun}"),
            Some(None) => format!("the moment when the {title}"),
            None => format!("the {title}"),
        };
        match &point.channel {
            Some(channel) if self.convention.several(point, self.subject) => {
                format!("{name} ({})", self.channel(channel))
            }
            _ => name,
        }
    }

    /// A channel as it is spoken of, such as "the ECG" or "aortic pressure".
    pub(crate) fn channel(&self, channel: &str) -> String {
        let Some(kind) = self.subject.channel(channel) else { return channel.to_owned() };
        if kind.label.chars().all(char::is_uppercase) {
            return format!("the {}", kind.label);
        }
        let mut letters = kind.title.chars();
        let first = letters.next().map(char::to_lowercase);
        first.into_iter().flatten().chain(letters).collect()
    }

    /// What a rule asks for, such as "0 to 20 ms after the end of the T wave".
    pub(crate) fn wants(&self, says: &Says) -> String {
        match says {
            Says::Presence { point } => format!("{} is there", self.the(point)),
            Says::Timing { point, timing } => match timing {
                Relative::Offset { to, window, .. } => {
                    format!(
                        "{} {}",
                        self.the(point),
                        self.apart(*window, "ms", "after", "before", to)
                    )
                }
                Relative::Between { from, to, shares, .. } => {
                    format!("{} {}", self.the(point), self.between(*shares, from, to))
                }
            },
            Says::Height { point, height } => {
                let unit = self.unit(point);
                match height {
                    Relative::Offset { to, window, .. } => format!(
                        "{} {}",
                        self.the(point),
                        self.apart(*window, unit, "above", "below", to)
                    ),
                    Relative::Between { from, to, shares, .. } => format!(
                        "the height of {} {}",
                        self.the(point),
                        self.between(*shares, from, to)
                    ),
                }
            }
            Says::Level { channel, at, level } => {
                let level = match level {
                    Level::Baseline => "on its baseline".to_owned(),
                    Level::Of(point) => format!("at the level of {}", self.the(point)),
                };
                format!("{} {level} at {}", self.channel(channel), self.the(at))
            }
            Says::Shape { channel, from, to, form } => {
                let form = match form {
                    Form::Rising => "rising",
                    Form::Falling => "falling",
                    Form::Flat => "level",
                };
                let label = self.channel(channel);
                format!("{label} {form} from {} to {}", self.the(from), self.the(to))
            }
            Says::Label { point, accepted } => {
                format!("“{}” written at {}", accepted.join("” or “"), self.the(point))
            }
        }
    }

    pub(crate) fn unit(&self, point: &Point) -> &str {
        let kind = point.channel.as_deref().and_then(|channel| self.subject.channel(channel));
        kind.map_or("", |kind| if kind.unit == "relative" { "" } else { kind.unit.as_str() })
    }

    fn between(&self, shares: [f64; 2], from: &Point, to: &Point) -> String {
        let [low, high] = shares;
        let ends = format!("{} and {}", self.the(from), self.the(to));
        if low == 0.0 && high == 1.0 {
            return format!("between {ends}");
        }
        let way = format!("of the way from {} to {}", self.the(from), self.the(to));
        if low == high { format!("{low:.2} {way}") } else { format!("{low:.2} to {high:.2} {way}") }
    }

    /// Such as "20 to 60 ms after the R peak".
    pub(crate) fn apart(
        &self,
        window: [Option<f64>; 2],
        unit: &str,
        more: &str,
        less: &str,
        to: &Point,
    ) -> String {
        let to = self.the(to);
        match window {
            [Some(0.0), Some(0.0)] if more == "after" => format!("with {to}"),
            [Some(0.0), Some(0.0)] => format!("level with {to}"),
            window => format!("{} {to}", distance(window, unit, more, less)),
        }
    }
}

/// A window of distances in words that end in "after" or "before", or their like.
pub(crate) fn distance(window: [Option<f64>; 2], unit: &str, more: &str, less: &str) -> String {
    match window {
        [None, None] => format!("anywhere, {more} or {less}"),
        [Some(low), None] if low >= 0.0 && low <= order(unit) => more.to_owned(),
        [None, Some(high)] if high <= 0.0 && -high <= order(unit) => less.to_owned(),
        [Some(low), None] if low >= 0.0 => format!("at least {} {more}", amount(low, unit)),
        [None, Some(high)] if high <= 0.0 => format!("at least {} {less}", amount(-high, unit)),
        [Some(low), None] => format!("at most {} {less}", amount(-low, unit)),
        [None, Some(high)] => format!("at most {} {more}", amount(high, unit)),
        [Some(low), Some(high)] if low == high && low >= 0.0 => {
            format!("{} {more}", amount(low, unit))
        }
        [Some(low), Some(high)] if low == high => format!("{} {less}", amount(-low, unit)),
        [Some(low), Some(high)] if low >= 0.0 => {
            format!("{} to {} {more}", number(low), amount(high, unit))
        }
        [Some(low), Some(high)] if high <= 0.0 => {
            format!("{} to {} {less}", number(-high), amount(-low, unit))
        }
        [Some(low), Some(high)] => {
            format!("{} {less} to {} {more}", amount(-low, unit), amount(high, unit))
        }
    }
}

/// A distance so small that it only says which comes first.
fn order(unit: &str) -> f64 {
    // A pencil line is as wide as a millimetre.
    if unit == "ms" || unit == "mm" { 1.0 } else { 0.0 }
}

/// Such as "12 ms" or "0.4 mm": whole numbers where a tenth would say nothing.
pub(crate) fn amount(value: f64, unit: &str) -> String {
    if unit.is_empty() { number(value) } else { format!("{} {unit}", number(value)) }
}

pub(crate) fn number(value: f64) -> String {
    // Two figures of what is small, such as 0.025 mV; no more than a decimal of what is not.
    let digits = match value.abs() {
        size if size >= 9.95 => 0,
        size if size >= 0.95 => 1,
        size if size >= 0.095 => 2,
        _ => 3,
    };
    let text = format!("{value:.digits$}");
    let text = if digits > 0 { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// With a capital first letter.
pub(crate) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().collect::<String>() + letters.as_str()
    })
}

/// When `place` is relative to another, in milliseconds later.
pub(crate) fn later_ms(place: Place, than: Place) -> f64 {
    (place.time_s - than.time_s) * 1000.0
}
