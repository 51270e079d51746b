//! The editor that rooms share: forms and text of one file, saved by itself, with undo and redo.

use axum::Json;
use axum::response::{IntoResponse, Response};
use maud::{Markup, PreEscaped, html};

use super::desk::Desk;
use super::editing::{self, Edited, Kind, Request, State};
use super::off_thread;
use super::refusal::Refusal;
use super::settings::Spelling;
use super::spelling;
use super::words::conventions as words;
use super::words::editing as said;

/// How a text stands.
pub(crate) async fn state(
    desk: Desk,
    file: String,
    kind: &'static (dyn Kind + Sync),
) -> Result<Response, Refusal> {
    let state = off_thread(move || {
        let state = Edited::new(&desk.folder(), &file, kind)?.state()?;
        spelled(&desk, state)
    });
    Ok(Json(state.await?).into_response())
}

/// Makes a change; gives how the text stands then.
pub(crate) async fn change(
    desk: Desk,
    request: Request,
    kind: &'static (dyn Kind + Sync),
) -> Result<Response, Refusal> {
    let state =
        off_thread(move || spelled(&desk, editing::answer(&desk.folder(), kind, &request)?));
    Ok(Json(state.await?).into_response())
}

/// How a text stands, its forms with the electrocardiogram's name as the course spells it.
fn spelled(desk: &Desk, state: State) -> Result<State, Refusal> {
    let forms = match desk.folder().settings().spelling {
        Spelling::Ecg => state.forms,
        Spelling::Ekg => spelling::respelled(&state.forms),
    };
    Ok(State { forms, ..state })
}

/// The head of the page: title, undo, redo, and what else there is to do.
pub(crate) fn head(state: &State, more: &Markup, list: &str, list_title: &str) -> Markup {
    html! {
        div.roomhead {
            h1 #title { (state.title) }
            p #saved .soft role="status" {}
            div.actions {
                button #undo type="button" disabled[state.undoable == 0] { (words::UNDO) }
                button #redo type="button" disabled[state.redoable == 0] { (words::REDO) }
                (more)
                a.button href=(list) { (list_title) }
            }
        }
        div #conflict .card hidden role="alert" {
            p { (said::CONFLICT) }
            div.actions {
                button #keep-mine type="button" { (said::KEEP_MINE) }
                button #show-theirs type="button" { (said::SHOW_THEIRS) }
            }
        }
    }
}

/// Forms and text of `file`; changes go to `action`. What is `locked` waits to be unlocked.
pub(crate) fn editor(
    file: &str,
    action: &str,
    state: &State,
    as_text: bool,
    locked: bool,
) -> Markup {
    html! {
        section #editor data-file=(file) data-action=(action) data-version=(state.version)
            data-locked[locked] data-saved=(said::SAVED) data-saving=(said::SAVING)
            data-draft=(said::DRAFT) data-not-saved=(said::NOT_SAVED) data-line=(said::LINE) {
            div.tabs role="group" aria-label=(words::AS) {
                button type="button" data-as="forms" aria-pressed=(!as_text) { (words::FORMS) }
                button type="button" data-as="text" aria-pressed=(as_text) { (words::TEXT) }
            }
            div #draft-note .fault hidden[state.in_force] { @if !state.in_force { (said::DRAFT) } }
            fieldset #forms .forms hidden[as_text] disabled[locked] tabindex="-1" aria-label=(words::FORMS) {
                (PreEscaped(&state.forms))
            }
            div #as-text hidden[!as_text] {
                p.soft { (words::TEXT_HELP) }
                div.lined {
                    pre #numbers aria-hidden="true" {}
                    textarea #text spellcheck="false" autocomplete="off" wrap="off" readonly[locked] aria-label=(words::THE_TEXT) aria-describedby="faults" {
                        "\n" (state.text)
                    }
                }
                ol #faults .plain aria-live="polite" {
                    @for fault in &state.faults {
                        li { button type="button" data-line=(fault.line) { (said::LINE) " " (fault.line) } " " (fault.what) code { (fault.text) } }
                    }
                }
            }
        }
    }
}

/// A button that opens where a copy is named.
pub(crate) fn copy(
    action: &str,
    of: &[(&str, &str)],
    title: &str,
    label: &str,
    name: &str,
) -> Markup {
    html! {
        details.naming {
            summary.button aria-label={ (label) ": " (title) } { (label) }
            form.card action=(action) method="post" autocomplete="off" {
                @for (key, value) in of { input type="hidden" name=(key) value=(value); }
                label.choice { span { (name) } input type="text" name="title" value=(title) required maxlength="120"; }
                button.primary { (label) }
            }
        }
    }
}

/// What was removed and can be brought back, as titles and files.
pub(crate) fn removed(action: &str, removed: &[(String, String)]) -> Markup {
    html! {
        details.removed {
            summary { (words::REMOVED) " (" (removed.len()) ")" }
            ul.plain {
                @for (title, file) in removed {
                    li {
                        form action=(action) method="post" {
                            input type="hidden" name="file" value=(file);
                            button aria-label={ (words::BRING_BACK) " " (title) } { (words::BRING_BACK) }
                            " " (title) " " span.soft { (file) }
                        }
                    }
                }
            }
        }
    }
}
