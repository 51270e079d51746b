//! What stands around every room: the masthead with the way to the others, and the list of keys.

use maud::{DOCTYPE, Markup, html};

use super::desk::Desk;
use super::rooms::ROOMS;
use super::words;

/// A room of the app.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Room {
    pub(crate) path: &'static str,
    pub(crate) title: &'static str,
}

/// A page in a room.
#[derive(Debug)]
pub(crate) struct Page<'a> {
    pub(crate) room: &'a Room,
    pub(crate) title: &'a str,
    /// Style sheets and modules of the room, besides those that every page has.
    pub(crate) styles: &'a [&'a str],
    pub(crate) scripts: &'a [&'a str],
    /// Where the link past the masthead leads.
    pub(crate) skip_to: (&'a str, &'a str),
    /// Keys that do something here, and what they do.
    pub(crate) keys: &'a [(&'a str, &'a str)],
    pub(crate) body: Markup,
}

/// What every page of the app begins with.
pub(crate) fn head(title: &str, styles: &[&str], scripts: &[&str]) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            title { (title) " – incisura" }
            link rel="icon" href="/icon.svg" type="image/svg+xml";
            link rel="stylesheet" href="/app.css";
            @for style in styles { link rel="stylesheet" href=(style); }
            script src="/theme.js" {}
            @for script in scripts { script type="module" src=(script) {} }
        }
    }
}

/// The whole page.
pub(crate) fn shell(desk: &Desk, page: &Page<'_>) -> Markup {
    let settings = desk.folder().settings();
    html! {
        (DOCTYPE)
        html lang="en" {
            (head(page.title, page.styles, &[&["/shell.js"], page.scripts].concat()))
            body data-room=(page.room.path) data-silent=(words::shell::SILENT) {
                a.skip href={ "#" (page.skip_to.0) } { (page.skip_to.1) }
                header.masthead {
                    p.brand { a href="/" { "incisura" } }
                    nav aria-label=(words::shell::ROOMS) {
                        ul {
                            @for room in ROOMS {
                                li { a href=(room.path) aria-current=[(room == page.room).then_some("page")] { (room.title) } }
                            }
                        }
                    }
                    p.coursename {
                        (settings.title)
                        @if settings.invented { " " span.tag { (words::shell::INVENTED) } }
                    }
                    div.tools {
                        button #keys-button type="button" aria-haspopup="dialog" { (words::shell::KEYS) }
                        button #theme-button type="button" data-light=(words::shell::LIGHT) data-dark=(words::shell::DARK) { (words::shell::DARK) }
                    }
                }
                main { (page.body) }
                footer.foot { p { (words::shell::PLAINLY) } }
                dialog #keys aria-labelledby="keys-title" {
                    h2 #keys-title { (words::shell::KEYS) }
                    dl {
                        @for (key, does) in page.keys.iter().chain(words::shell::ALL_KEYS) {
                            div { dt { kbd { (key) } } dd { (does) } }
                        }
                    }
                    form method="dialog" { button { (words::shell::CLOSE) } }
                }
                p #spoken .unseen role="status" {}
            }
        }
    }
}
