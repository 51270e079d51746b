//! The page of all tests and of the class list.

use figure::font;
use maud::{Markup, html};

use super::{ROOM, form, is_test, words};
use crate::roster::{self, Meaning, Understood};
use crate::web::desk::Desk;
use crate::web::editing;
use crate::web::editor;
use crate::web::folder::{Folder, Listed};
use crate::web::printed;
use crate::web::query::address;
use crate::web::shell::{Page, shell};

pub(super) fn whole(desk: &Desk, title: &str, skip_to: (&str, &str), body: Markup) -> Markup {
    shell(
        desk,
        &Page {
            room: &ROOM,
            title,
            styles: &["/editor.css", "/sheets.css"],
            scripts: &["/editor.js", "/sheets.js"],
            skip_to,
            keys: words::KEYS,
            body,
        },
    )
}

pub(super) fn page(desk: &Desk) -> Markup {
    let folder = desk.folder();
    let tests = folder.tests();
    let removed = editing::taken_away(&folder, is_test);
    let body = html! {
        div.room {
            div.roomhead { h1 { (ROOM.title) } }
            p.prose.soft { (words::ABOUT) }
            div.listparts {
                div {
                    section aria-labelledby="tests-title" {
                        h2 #tests-title { (words::TESTS) }
                        @if tests.is_empty() { div.empty { p { (words::NONE) } p { (words::NONE_NEXT) } } }
                        ul.listing { @for test in &tests { (row(&folder, test)) } }
                        @if !removed.is_empty() { (editor::removed("/sheets/restore", &removed)) }
                    }
                    (new(&folder))
                }
                section.roster aria-labelledby="roster-title" {
                    h2 #roster-title { (words::ROSTER) }
                    div data-slot="roster" { (class_list(&folder)) }
                    (choose())
                }
            }
        }
    };
    whole(desk, ROOM.title, ("tests-title", words::SKIP), body)
}

fn row(folder: &Folder, test: &Listed) -> Markup {
    let Listed { file, title } = test;
    let text = folder.text(file).map(|text| text.text).unwrap_or_default();
    let read = text.parse::<toml::Table>().ok();
    let of =
        |key: &str| read.as_ref().and_then(|table| table.get(key)?.as_str()).unwrap_or_default();
    let printed = printed::printed_folder(folder, file).is_some();
    let own = address("/sheets", &[("file", file)]);
    html! {
        li.card {
            div.what {
                h3 { a href=(own) { (title) } @if printed { " " span.tag { (words::PRINTED) } } @if read.is_none() { " " span.tag { (words::HAS_FAULTS) } } }
                p.soft { (of("course")) @if !of("course").is_empty() { "; " } (words::BY) " " (form::convention_title(folder, of("convention"))) }
            }
            div.actions {
                a.button href=(own) { (words::OPEN) span.unseen { " " (title) } }
                (editor::copy("/sheets/copy", &[("file", file)], &words::copy_of(title), words::COPY, words::COPY_NAME))
                form action="/sheets/remove" method="post" {
                    input type="hidden" name="file" value=(file);
                    button { (words::REMOVE) span.unseen { " " (title) } }
                }
            }
        }
    }
}

fn new(folder: &Folder) -> Markup {
    html! {
        section aria-labelledby="new-title" {
            h2 #new-title { (words::NEW) }
            form.card.newtest action="/sheets/new" method="post" autocomplete="off" {
                label.choice { span { (words::NEW_TITLE) } input type="text" name="title" required maxlength="120"; }
                label.choice { span { (words::CONVENTION) } select name="convention" { (form::conventions(folder, "")) } }
                button.primary { (words::BEGIN) }
            }
        }
    }
}

/// The class list as it is, to be seen, undone or removed.
pub(super) fn class_list(folder: &Folder) -> Markup {
    let there = folder.path(roster::FILE).is_ok_and(|path| path.is_file());
    let undoable = folder.undoable(roster::FILE).unwrap_or(0) > 0;
    let read = folder.path(roster::FILE).ok().filter(|_| there).map(|path| roster::read(&path));
    html! {
        @match read {
            None => p { (words::NO_ROSTER) },
            Some(Err(failure)) => p.fault { (words::UNREADABLE_ROSTER) (failure) },
            Some(Ok(students)) => {
                p { b { (words::students(students.len())) } }
                details { summary { (words::SEE_ROSTER) } (table(&students)) }
            },
        }
        div.actions {
            @if undoable { button type="button" data-roster="undo" { (words::UNDO_ROSTER) } }
            @if there { button type="button" data-roster="remove" { (words::REMOVE_ROSTER) } }
        }
    }
}

fn table(students: &[roster::Student]) -> Markup {
    html! {
        div.scrolled tabindex="0" role="region" aria-label=(words::ROSTER) {
            table {
                thead { tr { th scope="col" { "#" } th scope="col" { (words::NAME) } th scope="col" { (words::ID) } } }
                tbody {
                    @for (index, student) in students.iter().enumerate() {
                        tr { td { (index + 1) } td { (student.name) } td { (student.id) } }
                    }
                }
            }
        }
    }
}

fn choose() -> Markup {
    html! {
        div #drop .drop {
            label.button for="roster-file" { (words::CHOOSE) }
            input #roster-file .unseen type="file" accept=".csv,.tsv,.txt,text/csv";
            p.soft { (words::DROP) }
        }
        p #roster-said .fault role="alert" {}
        div #understood data-slot="understood" aria-live="polite" {}
    }
}

/// What was understood of a class list, to be taken or left.
pub(super) fn understood(read: &Understood, encoding: &str) -> Markup {
    let lacking: Vec<&str> = read
        .students
        .iter()
        .filter(|student| !font::lacking(&student.name).is_empty())
        .map(|student| student.name.as_str())
        .collect();
    let meaning = |meaning: Option<Meaning>| match meaning {
        Some(Meaning::Name) => words::NAME,
        Some(Meaning::First) => words::FIRST_NAME,
        Some(Meaning::Last) => words::LAST_NAME,
        Some(Meaning::Id) => words::ID,
        None => words::NOT_USED,
    };
    html! {
        div data-slot="understood" {
            div.card {
                h3 { (words::UNDERSTOOD) }
                p { (words::read_as(encoding, read.separator, read.students.len())) }
                table.columns {
                    thead { tr { th scope="col" { (words::HEADER) } th scope="col" { (words::TAKEN_FOR) } } }
                    tbody { @for (header, is) in &read.columns { tr { td { (header) } td { (meaning(*is)) } } } }
                }
                @if !read.left_out.is_empty() {
                    p { b { (words::LEFT_OUT_LINES) } }
                    ul { @for (line, why) in &read.left_out { li { (words::line(*line, why)) } } }
                }
                @if !read.alike.is_empty() {
                    p.fault { (words::ALIKE) }
                    ul { @for alike in &read.alike { li { (alike) } } }
                }
                @if !lacking.is_empty() {
                    p { b { (words::NO_LETTERS) } }
                    ul { @for name in lacking { li { (name) } } }
                }
                (table(&read.students))
                div.actions {
                    @if read.alike.is_empty() && !read.students.is_empty() { button.primary type="button" data-roster="take" { (words::TAKE) } }
                    button type="button" data-roster="leave" { (words::LEAVE) }
                }
            }
        }
    }
}
