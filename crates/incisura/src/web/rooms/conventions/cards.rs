//! A convention as forms: one card for the whole and one for each rule.

use std::ops::Range;

use convention::Fault;
use cycle::Subject;
use maud::{Markup, html};
use toml::Value;

use super::change::{HEIGHTS, RULES, Rule, TIMES, channels, rules};
use crate::web::fields::{Field, faulty, field, text_of};
use crate::web::toml_text;
use crate::web::words::conventions as words;

/// Tolerances, of a file or of one rule.
const TOLERANCES: [(&str, &str); 4] = [
    ("tolerance_mm", words::TOLERANCE_MM),
    ("half_tolerance_mm", words::HALF_MM),
    ("tolerance_ms", words::TOLERANCE_MS),
    ("tolerance_percent", words::TOLERANCE_PERCENT),
];

/// The forms of `text`, with its faults beside what they are about.
pub(super) fn forms(text: &str, faults: &[Fault]) -> Markup {
    let Ok(table) = text.parse::<toml::Table>() else {
        return html! { p.empty { (words::CANNOT_READ) } };
    };
    let rules = rules(text).unwrap_or_default();
    let lines = toml_text::lines(text, RULES);
    let subject = heart::subject();
    let cards = Cards { subject: &subject, panels: channels(&table) };
    let own = |fault: &&Fault| !lines.iter().any(|lines| lines.contains(&fault.line));
    html! {
        section.whole aria-label=(words::WHOLE) {
            (faulty(faults.iter().filter(own)))
            (cards.whole(&table))
        }
        @if lines.len() < rules.len() {
            p.empty { (words::IN_BRACES) }
        } @else {
            ol.rules {
                @for (index, (rule, lines)) in rules.iter().zip(&lines).enumerate() {
                    (cards.card(index, rules.len(), rule, faults, lines))
                }
            }
            p { button type="button" data-add=(RULES) { (words::ADD) } }
        }
    }
}

struct Cards<'a> {
    subject: &'a Subject,
    panels: Vec<Vec<String>>,
}

impl Cards<'_> {
    fn whole(&self, table: &toml::Table) -> Markup {
        let bars: Vec<&str> = listed(table.get("bars"));
        let missing = table.get("reference_missing").and_then(Value::as_str).unwrap_or("ask");
        html! {
            div.fields {
                (field(&Field::text("title", words::C_TITLE, &text_of(table.get("title"))).wide()))
                (field(&Field::lines("about", words::C_ABOUT, &text_of(table.get("about")))))
                (field(&Field::lines("simplifies", words::C_SIMPLIFIES, &text_of(table.get("simplifies")))))
            }
            details data-keep="whole" {
                summary { (words::MORE) }
                fieldset {
                    legend { (words::PANELS) }
                    div.fields { @for kind in &self.subject.channels { (self.panel_choice(kind)) } }
                }
                fieldset {
                    legend { (words::BARS) }
                    div.fields {
                        @for bar in &self.subject.bars {
                            label.tick {
                                input type="checkbox" data-at="bars" data-redraw value=(bar.id) checked[bars.contains(&bar.id.as_str())];
                                (bar.title)
                            }
                        }
                    }
                }
                fieldset {
                    legend { (words::TOLERANCES_ALL) }
                    div.fields {
                        @for (key, name) in TOLERANCES { (field(&Field::number(key, name, &text_of(table.get(key))))) }
                        (field(&Field::number("mm_per_s", words::SCALE, &text_of(table.get("mm_per_s")))))
                    }
                }
                fieldset {
                    legend { (words::MARKING) }
                    div.fields {
                        (field(&Field::select("reference_missing", words::REFERENCE_MISSING, missing, words::REFERENCES.map(|(a, b)| (a.to_owned(), b.to_owned()))).wide()))
                        (field(&Field::text("caps", words::CAPS, &caps(table)).wide().placeholder("notch 2, valves 3")))
                    }
                }
            }
        }
    }

    /// In which panel a channel is drawn.
    fn panel_choice(&self, kind: &cycle::ChannelKind) -> Markup {
        let now = self.panels.iter().position(|panel| panel.contains(&kind.id));
        let id = format!("panel-{}", kind.id);
        html! {
            div.choice {
                label for=(id) { (kind.title) }
                select id=(id) data-at="panels" data-redraw {
                    option value={ (kind.id) ":" } { (words::NOT_DRAWN) }
                    @for number in 0..=self.panels.len() {
                        option value={ (kind.id) ":" (number + 1) } selected[now == Some(number)] { (number + 1) }
                    }
                }
            }
        }
    }

    fn card(
        &self,
        index: usize,
        count: usize,
        rule: &Rule,
        faults: &[Fault],
        lines: &Range<usize>,
    ) -> Markup {
        let at = |key: &str| format!("{RULES}.{index}.{key}");
        let of = |key: &str| text_of(rule.get(key));
        let id = of("id");
        let own_tolerance = TOLERANCES.iter().any(|(key, _)| rule.contains_key(*key));
        let own: Vec<&Fault> = faults.iter().filter(|fault| lines.contains(&fault.line)).collect();
        let points =
            rule.get("points").map_or_else(|| "1".to_owned(), |points| text_of(Some(points)));
        let about = words::about_rule(&id, words::kind(&of("kind")), &points);
        html! {
            li.card.rule id={ (RULES) "-" (index) } data-list=(RULES) data-index=(index) tabindex="-1" aria-label=(id) {
                div.actions {
                    button type="button" data-move=(RULES) data-index=(index) data-to=[index.checked_sub(1)] disabled[index == 0] aria-label={ (words::UP) ": " (id) } title=(words::UP) { "↑" }
                    button type="button" data-move=(RULES) data-index=(index) data-to=(index + 1) disabled[index + 1 == count] aria-label={ (words::DOWN) ": " (id) } title=(words::DOWN) { "↓" }
                    button type="button" data-remove=(RULES) data-index=(index) aria-label={ (words::REMOVE_RULE) ": " (id) } title=(words::REMOVE_RULE) { "×" }
                }
                details data-keep={ "rule " (id) } open[!own.is_empty()] {
                    summary {
                        b.number { (index + 1) } " "
                        span data-live=(at("text")) { (of("text")) }
                        small.soft data-live=(at("about")) { (about) }
                    }
                    div.fields {
                        (self.kinds(&at("kind"), &of("kind")))
                        (field(&Field::text(&at("id"), words::ID, &id)))
                        (field(&Field::number(&at("points"), words::POINTS, &of("points")).placeholder("1")))
                    }
                    div.says { (self.says(index, rule)) }
                    div.fields {
                        (field(&Field::lines(&at("text"), words::WHAT_STUDENTS_READ, &of("text"))))
                        (field(&Field::lines(&at("cause"), words::CAUSE, &of("cause"))))
                    }
                    details data-keep=(at("tolerances")) open[own_tolerance] {
                        summary { (words::TOLERANCES) }
                        div.fields { @for (key, name) in TOLERANCES { (field(&Field::number(&at(key), name, &of(key)))) } }
                    }
                    details data-keep=(at("ties")) open[rule.contains_key("depends_on") || rule.contains_key("cap")] {
                        summary { (words::TIES) }
                        div.fields {
                            (field(&Field::text(&at("depends_on"), words::DEPENDS_ON, &listed(rule.get("depends_on")).join(", ")).wide()))
                            (field(&Field::text(&at("cap"), words::CAP, &of("cap"))))
                        }
                    }
                    p.after { button type="button" data-add=(RULES) data-after=(index) { (words::ADD_AFTER) } }
                }
                (faulty(own.into_iter()))
                p.outside data-slot={ "outside-" (index) } {}
            }
        }
    }

    fn kinds(&self, at: &str, now: &str) -> Markup {
        let kinds = convention::KINDS.iter().map(|(kind, _)| (*kind, words::kind(kind).to_owned()));
        field(&Field::select(at, words::KIND, now, kinds.map(|(a, b)| (a.to_owned(), b))).redraws())
    }

    /// The fields that only this kind of rule has.
    fn says(&self, index: usize, rule: &Rule) -> Markup {
        let at = |key: &str| format!("{RULES}.{index}.{key}");
        let of = |key: &str| text_of(rule.get(key));
        let point = |key: &str, name: &str| self.point(&at(key), name, &of(key), None);
        match of("kind").as_str() {
            "timing" => {
                html! { (point("landmark", words::LANDMARK)) (self.relation(index, rule, TIMES)) }
            }
            "height" => {
                html! { (point("landmark", words::LANDMARK)) (self.relation(index, rule, HEIGHTS)) }
            }
            "level" => html! {
                (self.channel(&at("channel"), &of("channel"), false))
                (self.point(&at("level"), words::LEVEL, &of("level"), Some(("baseline", words::BASELINE))))
                (point("at", words::AT))
            },
            "shape" => html! {
                (point("from", words::FROM))
                (point("to", words::TO))
                (field(&Field::select(&at("shape"), words::SHAPE, &of("shape"), named(&["rising", "falling", "flat"], str::to_owned))))
                (self.channel(&at("channel"), &of("channel"), true))
            },
            "label" => html! {
                (point("landmark", words::LANDMARK))
                (field(&Field::text(&at("label"), words::LABEL, &listed(rule.get("label")).join(", ")).wide()))
            },
            _ => point("landmark", words::LANDMARK),
        }
    }

    /// How the landmark lies to others, and by how much.
    fn relation(&self, index: usize, rule: &Rule, relations: &[&str]) -> Markup {
        let at = |key: &str| format!("{RULES}.{index}.{key}");
        let now = relations.iter().find(|key| rule.contains_key(**key)).copied().unwrap_or("");
        let others = listed(rule.get(now));
        let other = |number: usize| others.get(number).copied().unwrap_or("");
        let unit = if rule.contains_key("by_mm") { "by_mm" } else { "by_ms" };
        let by = if relations == TIMES { unit } else { "by" };
        let choices = named(relations, |key| words::relation(key).to_owned());
        html! {
            (field(&Field::select(&at("relation"), words::RELATION, now, choices).redraws()))
            @if !now.is_empty() { (self.point(&at(now), words::OF, other(0), None)) }
            @if now == "between" {
                (self.point(&at(now), words::AND, other(1), None))
                (span(&at("share"), [words::SHARE_LEAST, words::SHARE_MOST], rule.get("share")))
            } @else if !now.is_empty() && !now.ends_with("with") {
                (span(&at(by), [words::LEAST, words::MOST], rule.get(by)))
                @if relations == TIMES {
                    (field(&Field::select(&at("unit"), words::UNIT, unit, [("by_ms".to_owned(), "ms".to_owned()), ("by_mm".to_owned(), words::MM_ON_PAPER.to_owned())]).redraws()))
                } @else {
                    p.unit { (self.unit(rule)) }
                }
            }
            @if !now.is_empty() && !now.ends_with("with") {
                (field(&Field::number(&at("aim"), words::AIM, &text_of(rule.get("aim")))))
            }
        }
    }

    /// The unit of the heights that a rule is about.
    fn unit(&self, rule: &Rule) -> &str {
        let typed = rule.get("landmark").and_then(Value::as_str).unwrap_or_default();
        let (name, channel) = typed.split_once('@').map_or((typed, None), |(a, b)| (a, Some(b)));
        let kind = self.subject.landmark(name);
        let drawn = self.panels.iter().flatten().map(String::as_str);
        let mut own =
            drawn.filter(|c| kind.is_some_and(|kind| kind.channels.iter().any(|k| k == c)));
        let channel = channel.or_else(|| own.next());
        channel.and_then(|channel| self.subject.channel(channel)).map_or("", |kind| &kind.unit)
    }

    fn channel(&self, at: &str, now: &str, may_be_empty: bool) -> Markup {
        let drawn = self.panels.iter().flatten();
        let known = drawn.filter_map(|id| self.subject.channel(id));
        let none = may_be_empty.then(|| (String::new(), words::FIRST_OF_PANELS.to_owned()));
        let all = none.into_iter().chain(known.map(|kind| (kind.id.clone(), kind.title.clone())));
        field(&Field::select(at, words::CHANNEL, now, all))
    }

    /// A landmark or an event to choose, of the traces that are drawn.
    fn point(&self, at: &str, name: &str, now: &str, also: Option<(&str, &str)>) -> Markup {
        let channels: Vec<&String> = self.panels.iter().flatten().collect();
        let mut groups: Vec<(String, Vec<(String, String)>)> = Vec::new();
        for channel in &channels {
            let Some(kind) = self.subject.channel(channel) else { continue };
            let own = self.subject.landmarks.iter().filter(|mark| mark.channels.contains(channel));
            let option = |mark: &cycle::LandmarkKind| {
                let first = channels.iter().find(|drawn| mark.channels.contains(drawn));
                let is_first = first == Some(channel);
                let long = format!("{}@{channel}", mark.id);
                let value = if is_first && now != long { mark.id.clone() } else { long };
                (value, mark.title.clone())
            };
            groups.push((kind.title.clone(), own.map(option).collect()));
        }
        let events = self.subject.events.iter().map(|kind| (kind.id.clone(), kind.title.clone()));
        groups.push((words::EVENTS.to_owned(), events.collect()));
        let known = groups.iter().flat_map(|(_, all)| all).any(|(value, _)| value == now)
            || also.is_some_and(|(value, _)| value == now);
        html! {
            label.choice.point {
                span { (name) }
                select data-at=(at) aria-label=(name) {
                    @if !known { option value=(now) selected { (now) } }
                    @if let Some((value, title)) = also { option value=(value) selected[value == now] { (title) } }
                    @for (group, all) in &groups {
                        optgroup label=(group) {
                            @for (value, title) in all { option value=(value) selected[value == now] { (title) } }
                        }
                    }
                }
            }
        }
    }
}

fn named(keys: &[&str], name: impl Fn(&str) -> String) -> Vec<(String, String)> {
    keys.iter().map(|key| ((*key).to_owned(), name(key))).collect()
}

/// The texts of a list, or of one text alone.
fn listed(value: Option<&Value>) -> Vec<&str> {
    match value {
        Some(Value::Array(all)) => all.iter().filter_map(Value::as_str).collect(),
        Some(Value::String(one)) => vec![one],
        _ => Vec::new(),
    }
}

/// The caps of a file, like "notch 2, valves 3".
fn caps(table: &toml::Table) -> String {
    let caps = table.get("caps").and_then(Value::as_table).into_iter().flatten();
    let one = |(name, points): (&String, &Value)| format!("{name} {}", text_of(Some(points)));
    caps.map(one).collect::<Vec<_>>().join(", ")
}

/// A least and a most.
fn span(at: &str, names: [&str; 2], value: Option<&Value>) -> Markup {
    let both = match value {
        Some(Value::Array(two)) => [text_of(two.first()), text_of(two.get(1))],
        one => [text_of(one), text_of(one)],
    };
    html! {
        @for (name, value) in names.iter().zip(&both) { (field(&Field::number(at, name, value))) }
    }
}
