//! Which conventions there are to choose from: the course's own, and those that come with the program.

use maud::{Markup, html};

use super::folder::Folder;
use super::query::address;
use super::refusal::Refusal;
use super::words::conventions as words;

/// Whether `named` is a convention of the course or of the program.
pub(crate) fn is_known(folder: &Folder, named: &str) -> bool {
    cardiac::Shipped::find(named).is_some()
        || folder.conventions().iter().any(|one| one.file == named)
}

/// The text of the convention that the page calls `named`. Nothing but what can be chosen is read,
/// whatever is asked for.
pub(crate) fn source(folder: &Folder, named: &str) -> Result<String, Refusal> {
    if let Some(shipped) = cardiac::Shipped::find(named) {
        return Ok(shipped.toml.to_owned());
    }
    if !is_known(folder, named) {
        return Err(Refusal::of("convention", words::NO_SUCH));
    }
    folder.text(named).map(|text| text.text)
}

/// Where its rules can be read, or all conventions where there is none of that name.
pub(crate) fn page(folder: &Folder, named: &str) -> String {
    let room = super::rooms::conventions::ROOM.path;
    match cardiac::Shipped::find(named) {
        Some(_) => address(room, &[("program", named)]),
        None if is_known(folder, named) => address(room, &[("file", named)]),
        None => room.to_owned(),
    }
}

/// What is chosen where nobody chose: the course's first, or else the program's.
pub(crate) fn usual(folder: &Folder) -> String {
    let own = folder.conventions().into_iter().next().map(|one| one.file);
    own.unwrap_or_else(|| cardiac::CONVENTIONS[0].name.to_owned())
}

/// A control to choose one with.
pub(crate) fn choice(id: &str, folder: &Folder, chosen: &str) -> Markup {
    html! { select id=(id) name="convention" { (options(folder, chosen)) } }
}

/// The options of such a control.
pub(crate) fn options(folder: &Folder, chosen: &str) -> Markup {
    let own = folder.conventions();
    html! {
        @if !own.is_empty() {
            optgroup label=(words::IN_COURSE) {
                @for one in &own { option value=(one.file) selected[one.file == chosen] { (one.title) } }
            }
        }
        optgroup label=(words::SHIPPED) {
            @for one in cardiac::CONVENTIONS {
                option value=(one.name) selected[one.name == chosen] { (one.convention().title) }
            }
        }
    }
}
