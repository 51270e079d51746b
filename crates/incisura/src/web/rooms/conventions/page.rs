//! The pages of the room: the list, a convention to read, a convention to edit.

use cardiac::{CONVENTIONS, Shipped};
use convention::Convention;
use maud::{Markup, html};

use super::{ROOM, words};
use crate::web::desk::Desk;
use crate::web::editing::{self, State};
use crate::web::editor;
use crate::web::folder::{Folder, Listed};
use crate::web::query::address;
use crate::web::shell::{Page, shell};

/// What the list shows of a convention.
struct Summary {
    title: String,
    simplifies: String,
    count: String,
}

impl Summary {
    fn of(read: &Convention) -> Self {
        let points = read.worth(read.rules.iter());
        Self {
            title: read.title.clone(),
            simplifies: read.simplifies.clone(),
            count: words::count(read.rules.len(), points),
        }
    }
}

fn whole(desk: &Desk, title: &str, skip_to: (&str, &str), body: Markup) -> Markup {
    shell(
        desk,
        &Page {
            room: &ROOM,
            title,
            styles: &["/editor.css", "/conventions.css"],
            scripts: &["/editor.js", "/conventions.js"],
            skip_to,
            keys: words::KEYS,
            body,
        },
    )
}

/// The conventions of the course and of the program.
pub(super) fn list(desk: &Desk) -> Markup {
    let folder = desk.folder();
    let own = folder.conventions();
    let removed = editing::taken_away(&folder, super::is_convention);
    let body = html! {
        div.room {
            div.roomhead { h1 { (ROOM.title) } }
            p.prose.soft { (words::ABOUT) }
            section aria-labelledby="own-title" {
                h2 #own-title { (words::IN_COURSE) }
                @if own.is_empty() {
                    div.empty { p { (words::NONE) } p { (words::NONE_NEXT) } }
                }
                ul.listing { @for listed in &own { (own_row(&folder, listed)) } }
                @if !removed.is_empty() { (editor::removed("/conventions/restore", &removed)) }
            }
            section aria-labelledby="shipped-title" {
                h2 #shipped-title { (words::SHIPPED) }
                p.soft { (words::SHIPPED_ABOUT) }
                ul.listing { @for shipped in CONVENTIONS { (shipped_row(shipped)) } }
            }
        }
    };
    whole(desk, ROOM.title, ("own-title", words::SKIP), body)
}

fn own_row(folder: &Folder, listed: &Listed) -> Markup {
    let Listed { file, title } = listed;
    let text = folder.text(file).map(|text| text.text).unwrap_or_default();
    let read = Convention::from_toml(&text, &heart::subject()).ok();
    let summary = read.as_ref().map(Summary::of);
    let tests = folder.tests();
    let uses = |test: &&Listed| {
        let text = folder.text(&test.file).map(|text| text.text).unwrap_or_default();
        let table = text.parse::<toml::Table>().unwrap_or_default();
        table.get("convention").and_then(toml::Value::as_str) == Some(file)
    };
    let tests: Vec<String> = tests.iter().filter(uses).map(|test| test.title.clone()).collect();
    let own = address("/conventions", &[("file", file)]);
    html! {
        li.card {
            div.what {
                h3 { a href=(own) { (title) } }
                @match summary {
                    Some(summary) => { p { (summary.simplifies) } p.soft { (summary.count) @if !tests.is_empty() { "; " (words::used_by(&tests)) } } },
                    None => p { span.tag { (words::HAS_FAULTS) } },
                }
            }
            div.actions {
                a.button href=(own) { (words::EDIT) span.unseen { " " (title) } }
                a.button href=(address("/board", &[("convention", file)])) { (words::BOARD) span.unseen { ": " (title) } }
                (copy(&[("file", file)], title, words::COPY))
                form action="/conventions/remove" method="post" {
                    input type="hidden" name="file" value=(file);
                    button { (words::REMOVE) span.unseen { " " (title) } }
                }
            }
        }
    }
}

fn shipped_row(shipped: Shipped) -> Markup {
    let Summary { title, simplifies, count } = Summary::of(&shipped.convention());
    html! {
        li.card {
            div.what {
                h3 { a href=(address("/conventions", &[("program", shipped.name)])) { (title) } }
                p { (simplifies) }
                p.soft { (count) }
            }
            div.actions {
                a.button href=(address("/conventions", &[("program", shipped.name)])) { (words::READ) span.unseen { " " (title) } }
                a.button href=(address("/board", &[("convention", shipped.name)])) { (words::BOARD) span.unseen { ": " (title) } }
                (copy(&[("program", shipped.name)], &title, words::COPY_INTO))
            }
        }
    }
}

/// A button that opens where the copy is named.
fn copy(of: &[(&str, &str)], title: &str, label: &str) -> Markup {
    editor::copy("/conventions/copy", of, &words::copy_of(title), label, words::COPY_NAME)
}

/// A convention that comes with the program, to read.
pub(super) fn read(desk: &Desk, shipped: Shipped, against: &str) -> Markup {
    let convention = shipped.convention();
    let body = html! {
        div.room.editing data-view=(address("/conventions/view", &[("program", shipped.name)])) {
            div.roomhead {
                h1 { (convention.title) }
                div.actions {
                    (copy(&[("program", shipped.name)], &convention.title, words::COPY_INTO))
                    a.button href=(address("/board", &[("convention", shipped.name)])) { (words::BOARD) }
                    a.button href="/conventions" { (words::ALL) }
                }
            }
            div.halves {
                section #rules tabindex="-1" aria-label=(words::RULES) {
                    p.prose { (convention.about) }
                    p.prose { b { (words::SIMPLIFIES) ": " } (convention.simplifies) }
                    @if let Some(missing) = convention.reference_missing.words() { p.prose { (missing) } }
                    ol.rules.reading {
                        @for (index, rule) in convention.rules.iter().enumerate() {
                            li.card id={ "rules-" (index) } tabindex="-1" {
                                p { b { (rule.text) } }
                                p { (words::CAUSE) ": " (rule.cause) "." }
                                p.soft { (rule.id) ", " (words::kind(rule.says.kind())) ", " (words::count_points(rule.points)) }
                                p.outside data-slot={ "outside-" (index) } {}
                            }
                        }
                    }
                }
                (beside(against))
            }
        }
    };
    whole(desk, &convention.title, ("rules", words::SKIP), body)
}

/// A convention of the course, to edit.
pub(super) fn edit(desk: &Desk, file: &str, state: &State, against: &str, as_text: bool) -> Markup {
    let more =
        html! { a.button href=(address("/board", &[("convention", file)])) { (words::BOARD) } };
    let body = html! {
        div.room.editing data-view=(address("/conventions/view", &[("file", file)])) {
            (editor::head(state, &more, "/conventions", words::ALL))
            div.halves {
                (editor::editor(file, "/conventions/change", state, as_text, false))
                (beside(against))
            }
        }
    };
    whole(desk, &state.title, ("forms", words::SKIP), body)
}

/// What is shown beside the rules: whether they agree, the figure, the comparison, the build.
fn beside(against: &str) -> Markup {
    html! {
        section.beside aria-label=(words::SHOW) {
            div.verdict aria-live="polite" {
                h2 { (words::CONSISTENCY) }
                div data-slot="consistency" {}
            }
            div.showing {
                div.tabs role="group" aria-label=(words::SHOW) {
                    @for (name, title) in [("figure", words::FIGURE), ("comparison", words::COMPARISON), ("build", words::BUILD)] {
                        button type="button" data-show=(name) aria-pressed="false" { (title) }
                    }
                }
                label.choice {
                    span { (words::AGAINST) }
                    select #against {
                        @for condition in heart::conditions() {
                            option value=(condition.name) selected[condition.name == against] { (condition.title) }
                        }
                    }
                }
            }
            @for name in ["figure", "comparison", "build"] {
                div.shown data-shown=(name) data-slot=(name) hidden {}
            }
        }
    }
}
