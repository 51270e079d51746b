//! A test as forms.

use convention::{Convention, Fault};
use cycle::Subject;
use heart::{PARAMETERS, Parameter, Rhythm};
use maud::{Markup, html};
use toml::{Table, Value};

use super::change::{HEART, PAGES, Parts, QUESTIONS, STRIPS};
use super::words;
use crate::web::fields::{Field, faulty, field, text_of};
use crate::web::folder::Folder;
use crate::web::settings::Spelling;
use crate::web::words::conventions::CANNOT_READ;
use crate::web::{rules, toml_text};

/// Parameters of the heart that a test usually varies.
const USUAL: [&str; 2] = ["rate_bpm", "pr_interval_ms"];
const SCAFFOLDS: [&str; 5] = ["given", "lines", "everything", "baselines", "blank"];
const HANDOUTS: [&str; 5] = ["model_copy", "steps", "labelled", "cloze", "raised_line"];

/// The channels and bars of the convention that a test names.
pub(super) fn parts(folder: &Folder, text: &str) -> Parts {
    let table = text.parse::<Table>().unwrap_or_default();
    let named = table.get("convention").and_then(Value::as_str).unwrap_or_default();
    let read = read_convention(folder, named);
    let channels = read.iter().flat_map(Convention::channels).map(str::to_owned).collect();
    Parts { channels, bars: read.map(|read| read.bars).unwrap_or_default() }
}

/// How a convention that a test names is called.
pub(super) fn convention_title(folder: &Folder, named: &str) -> String {
    read_convention(folder, named).map_or_else(|| named.to_owned(), |read| read.title)
}

fn read_convention(folder: &Folder, named: &str) -> Option<Convention> {
    if let Some(shipped) = cardiac::Shipped::find(named) {
        return Some(shipped.convention());
    }
    Convention::from_toml(&folder.text(named).ok()?.text, &heart::subject()).ok()
}

pub(super) fn forms(folder: &Folder, text: &str, faults: &[Fault]) -> Markup {
    let Ok(table) = text.parse::<Table>() else {
        return html! { p.empty { (CANNOT_READ) } };
    };
    let strips = toml_text::lines(text, STRIPS);
    let own = |fault: &&Fault| !strips.iter().any(|lines| lines.contains(&fault.line));
    let form = Form { table: &table, parts: parts(folder, text), subject: heart::subject() };
    html! {
        section.whole {
            (faulty(faults.iter().filter(own)))
            (form.head())
        }
        fieldset { legend { (words::RULES) } (form.rules(folder)) }
        fieldset { legend { (words::PAPER_TITLE) } (form.paper()) }
        fieldset { legend { (words::FORMS_TITLE) } (form.hearts()) }
        fieldset { legend { (words::HANDOUTS) } (form.handouts()) }
        fieldset { legend { (words::QUESTIONS) } (form.questions()) }
        fieldset { legend { (words::STRIPS) } (form.strips(&strips, faults)) }
    }
}

struct Form<'a> {
    table: &'a Table,
    parts: Parts,
    subject: Subject,
}

fn choices(all: &[&str], name: impl for<'n> Fn(&'n str) -> &'n str) -> Vec<(String, String)> {
    all.iter().map(|one| ((*one).to_owned(), name(one).to_owned())).collect()
}

fn items<'t>(table: &'t Table, key: &str) -> Vec<&'t Table> {
    let array = table.get(key).and_then(Value::as_array);
    array.into_iter().flatten().filter_map(Value::as_table).collect()
}

impl Form<'_> {
    fn of(&self, key: &str) -> String {
        text_of(self.table.get(key))
    }

    fn number(&self, key: &str, name: &str, usual: &str) -> Markup {
        field(&Field::number(key, name, &self.of(key)).placeholder(usual))
    }

    /// One of several values, the first where there is none.
    fn select(
        &self,
        key: &str,
        name: &str,
        all: &[&str],
        title: impl for<'n> Fn(&'n str) -> &'n str,
    ) -> Markup {
        let now = self.table.get(key).and_then(Value::as_str).or(all.first().copied());
        field(&Field::select(key, name, now.unwrap_or_default(), choices(all, title)))
    }

    fn head(&self) -> Markup {
        html! {
            div.fields {
                (field(&Field::text("title", words::T_TITLE, &self.of("title")).wide()))
                (field(&Field::text("course", words::T_COURSE, &self.of("course")).wide()))
                (field(&Field::lines("instructions", words::INSTRUCTIONS, &self.of("instructions"))))
            }
        }
    }

    fn rules(&self, folder: &Folder) -> Markup {
        let pages = items(self.table, PAGES);
        html! {
            div.fields {
                label.choice.wide {
                    span { (words::CONVENTION) }
                    select data-at="convention" data-redraw { (conventions(folder, &self.of("convention"))) }
                }
            }
            @if pages.is_empty() {
                (self.page(self.table, ""))
            } @else {
                @for (index, page) in pages.iter().enumerate() {
                    div.card id={ (PAGES) "-" (index) } data-list=(PAGES) data-index=(index) tabindex="-1" {
                        div.rulehead {
                            b { (words::PAGE) " " (index + 1) }
                            div.actions { button type="button" data-remove=(PAGES) data-index=(index) aria-label={ (words::REMOVE_PAGE) ": " (index + 1) } title=(words::REMOVE_PAGE) { "×" } }
                        }
                        (self.page(page, &format!("{PAGES}.{index}.")))
                    }
                }
            }
            p { button type="button" data-add=(PAGES) { (words::ADD_PAGE) } }
        }
    }

    /// What is on one page.
    fn page(&self, page: &Table, at: &str) -> Markup {
        let scaffold = page.get("scaffold").and_then(Value::as_str).unwrap_or(SCAFFOLDS[0]);
        let scaffolds = choices(&SCAFFOLDS, words::scaffold);
        html! {
            (self.traces(page, at))
            div.fields { (field(&Field::select(&format!("{at}scaffold"), words::SCAFFOLD, scaffold, scaffolds).wide())) }
        }
    }

    /// For each trace and bar, whether it is printed, asked for or left out.
    fn traces(&self, page: &Table, at: &str) -> Markup {
        let names = |key: &str| -> Option<Vec<&str>> {
            let all = page.get(key)?.as_array()?;
            Some(all.iter().filter_map(Value::as_str).collect())
        };
        let by_form = page
            .get("given")
            .and_then(Value::as_array)
            .is_some_and(|given| given.iter().any(Value::is_array));
        if by_form {
            return html! { p.soft { (words::GIVEN_BY_FORM) } };
        }
        let given = names("given").unwrap_or_else(|| vec![self.subject.reference_channel.as_str()]);
        let how = |id: &str, shown: Option<Vec<&str>>| {
            if shown.is_some_and(|shown| !shown.contains(&id)) {
                "none"
            } else if given.contains(&id) {
                "given"
            } else {
                "asked"
            }
        };
        let channels = self.parts.channels.iter().map(|id| {
            let title = self.subject.channel(id).map_or(id.as_str(), |kind| kind.title.as_str());
            (id, title, how(id, names("panels")))
        });
        let bars = self.parts.bars.iter().map(|id| {
            let title = self.subject.bar(id).map_or(id.as_str(), |bar| bar.title.as_str());
            (id, title, how(id, names("bars")))
        });
        let ways = [("given", words::GIVEN), ("asked", words::ASKED), ("none", words::LEFT_OUT)];
        html! {
            div.traces role="group" aria-label=(words::TRACES) {
                @for (id, title, now) in channels.chain(bars) {
                    label.choice {
                        span { (title) }
                        select data-at={ (at) "traces" } {
                            @for (way, name) in ways { option value={ (id) ":" (way) } selected[way == now] { (name) } }
                        }
                    }
                }
            }
        }
    }

    fn paper(&self) -> Markup {
        let now = self.table.get("spelling").and_then(Value::as_str);
        let spelling = now.unwrap_or(Spelling::default().word());
        let spellings = Spelling::ALL.map(|one| (one.word().to_owned(), one.word().to_owned()));
        html! {
            div.fields {
                (self.select("paper", words::PAPER, &["letter", "a4"], words::paper))
                (self.select("orientation", words::ORIENTATION, &["landscape", "portrait"], words::paper))
                (self.number("beats", words::BEATS, "2"))
                (self.number("mm_per_s", words::SCALE, "100"))
                (field(&Field::select("spelling", words::SPELLING, spelling, spellings).verbatim()))
            }
        }
    }

    fn hearts(&self) -> Markup {
        let heart = self.table.get(HEART).and_then(Value::as_table).cloned().unwrap_or_default();
        let (usual, more): (Vec<&Parameter>, Vec<&Parameter>) =
            PARAMETERS.iter().partition(|one| USUAL.contains(&one.name));
        let any_more = more.iter().any(|one| heart.contains_key(one.name));
        html! {
            div.fields {
                (self.number("forms", words::FORMS, "1"))
                (self.number("seed", words::SEED, "0"))
                (conditions(&format!("{HEART}.condition"), &text_of(heart.get("condition"))))
                (rhythms(&format!("{HEART}.rhythm"), &text_of(heart.get("rhythm"))))
                (self.select("drawn_from", words::DRAWN_FROM, &["rules", "heart"], words::drawn_from))
            }
            p.soft { (words::RANGES) }
            div.ranges { @for one in usual { (range(&heart, one)) } }
            details data-keep="heart" open[any_more] {
                summary { (words::MORE_HEART) }
                div.ranges { @for one in more { (range(&heart, one)) } }
            }
        }
    }

    fn handouts(&self) -> Markup {
        let chosen = self.table.get("handouts").and_then(Value::as_array);
        let has =
            |name: &str| chosen.is_some_and(|all| all.iter().any(|one| one.as_str() == Some(name)));
        let word_list = self.table.get("word_list").and_then(Value::as_bool).unwrap_or(false);
        html! {
            div.ticks {
                @for name in HANDOUTS {
                    label.tick { input type="checkbox" data-at="handouts" value=(name) checked[has(name)]; (words::handout(name)) }
                }
                label.tick { input type="checkbox" data-at="word_list" data-flag checked[word_list]; (words::WORD_LIST) }
            }
        }
    }

    fn questions(&self) -> Markup {
        let asked = self.table.get(QUESTIONS).and_then(Value::as_table);
        let of = |key: &str| text_of(asked.and_then(|asked| asked.get(key)));
        let kinds = ["order", "first", "between", "open", "calculate", "predict"];
        html! {
            div.fields {
                @for kind in kinds { (field(&Field::number(&format!("{QUESTIONS}.{kind}"), words::question(kind), &of(kind)).placeholder("0"))) }
                (field(&Field::number(&format!("{QUESTIONS}.points"), words::EACH, &of("points")).placeholder("2")))
            }
        }
    }

    fn strips(&self, lines: &[std::ops::Range<usize>], faults: &[Fault]) -> Markup {
        let strips = items(self.table, STRIPS);
        html! {
            @for (index, (strip, lines)) in strips.iter().zip(lines).enumerate() {
                div.card.strip id={ (STRIPS) "-" (index) } data-list=(STRIPS) data-index=(index) tabindex="-1" {
                    div.rulehead {
                        b { (index + 1) }
                        (conditions(&format!("{STRIPS}.{index}.condition"), &text_of(strip.get("condition"))))
                        (rhythms(&format!("{STRIPS}.{index}.rhythm"), &text_of(strip.get("rhythm"))))
                        (field(&Field::number(&format!("{STRIPS}.{index}.rate_bpm"), words::RATE, &text_of(strip.get("rate_bpm"))).placeholder(words::USUAL)))
                        div.actions { button type="button" data-remove=(STRIPS) data-index=(index) aria-label={ (words::REMOVE_STRIP) ": " (index + 1) } title=(words::REMOVE_STRIP) { "×" } }
                    }
                    (faulty(faults.iter().filter(|fault| lines.contains(&fault.line))))
                }
            }
            p { button type="button" data-add=(STRIPS) { (words::ADD_STRIP) } }
        }
    }
}

/// The conventions that a test can name, and the one that it names.
pub(super) fn conventions(folder: &Folder, now: &str) -> Markup {
    html! {
        @if !now.is_empty() && !rules::is_known(folder, now) { option value=(now) selected { (now) } }
        (rules::options(folder, now))
    }
}

fn conditions(at: &str, now: &str) -> Markup {
    let usual = (String::new(), words::USUAL.to_owned());
    let all = heart::conditions().into_iter().map(|one| (one.name.to_owned(), one.title));
    field(&Field::select(at, words::CONDITION, now, std::iter::once(usual).chain(all)))
}

fn rhythms(at: &str, now: &str) -> Markup {
    let usual = (String::new(), words::USUAL.to_owned());
    let all = Rhythm::ALL.iter().map(|(name, _)| ((*name).to_owned(), name.replace('_', " ")));
    field(&Field::select(at, words::RHYTHM, now, std::iter::once(usual).chain(all)))
}

/// The values between which the forms lie.
fn range(heart: &Table, one: &Parameter) -> Markup {
    let at = format!("{HEART}.{}", one.name);
    let both = match heart.get(one.name) {
        Some(Value::Array(two)) => [text_of(two.first()), text_of(two.get(1))],
        value => [text_of(value), String::new()],
    };
    let unit = if one.unit.is_empty() { "× normal" } else { one.unit };
    let usual = one.default.to_string();
    html! {
        div.range role="group" aria-label=(one.title) title=(one.about) {
            span { (one.title) }
            @for (name, value) in [words::FROM, words::TO].iter().zip(&both) {
                input type="text" inputmode="decimal" maxlength="20" data-at=(at) value=(value) aria-label={ (one.title) ", " (name) } placeholder=[(*name == words::FROM).then_some(&usual)];
            }
            span.soft { (unit) }
        }
    }
}
