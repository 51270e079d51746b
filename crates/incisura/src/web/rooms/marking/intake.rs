//! Dropping scans, and what became of them.

use axum::extract::{Query, State};
use maud::{Markup, html};

use super::super::super::words::marking as words;
use super::captures::{self, Decision};
use super::scans::{Known, Scan, listed};
use super::work::Work;
use super::{OfTest, Opened, job};
use crate::mark::reading::REMEDY;
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::jobs::JobState;
use crate::web::off_thread;
use crate::web::refusal::Refusal;

/// Dropping scans, and reading them.
pub(super) fn intake(desk: &Desk, folder: &Folder, file: &str, work: &Work) -> Markup {
    let job = job::name(folder, file);
    let running =
        desk.jobs().progress(&job).is_some_and(|progress| progress.state == JobState::Running);
    let scans = listed(work);
    let count = |wanted: fn(&Known) -> bool| scans.iter().map(|one| one.count(wanted)).sum();
    let waiting: usize = count(|known| *known == Known::Waiting);
    let read: usize = count(|known| matches!(known, Known::Read(_)));
    let button = match (waiting, read) {
        (0, 0) | (_, 0) => words::READ_AND_MARK,
        (0, _) => words::MARK_AGAIN,
        _ => words::GO_ON,
    };
    html! {
        section.intake aria-labelledby="scans-title" {
            div #drop .drop data-sending=(words::SENDING) {
                h2 #scans-title { (words::SCANS) }
                p { (words::DROP) }
                label.button.choose { (words::CHOOSE)
                    input #choose type="file" multiple accept=".pdf,.jpg,.jpeg,.png,.tif,.tiff";
                }
                ul #sent .sent aria-live="polite" {}
            }
            div.reading {
                div data-slot="scans" { (summary(folder, &scans, file)) }
                form #mark action="/marking/mark" method="post" data-job=[running.then_some(&job)] {
                    input type="hidden" name="test" value=(file);
                    button .primary[waiting > 0] disabled[scans.is_empty() && read == 0] { (button) }
                    p.fault role="alert" {}
                }
                div #working hidden[!running] {
                    p.doing role="status" { (words::WORKING) }
                    progress aria-label=(words::WORKING) {}
                    p.soft { (words::STOPPABLE) }
                }
            }
        }
    }
}

/// The scans as the page shows them, for when some were added.
pub(super) async fn scans(
    State(desk): State<Desk>,
    Query(OfTest { test }): Query<OfTest>,
) -> Result<Markup, Refusal> {
    off_thread(move || {
        let Opened { folder, file, work } = Opened::of(&desk, &test)?;
        Ok(html! { div data-slot="scans" { (summary(&folder, &listed(&work), &file)) } })
    })
    .await
}

fn summary(folder: &Folder, scans: &[Scan], file: &str) -> Markup {
    if scans.is_empty() {
        return html! { p { (words::NO_SCANS) } };
    }
    let count = |wanted: fn(&Known) -> bool| scans.iter().map(|one| one.count(wanted)).sum();
    let pages: usize = scans.iter().map(|scan| scan.pages.len()).sum();
    let [waiting, read, twice, aside, odd, other]: [usize; 6] = [
        count(|known| *known == Known::Waiting),
        count(|known| matches!(known, Known::Read(_))),
        count(|known| matches!(known, Known::Duplicate(_))),
        count(|known| matches!(known, Known::Aside(_))),
        count(|known| matches!(known, Known::Unreadable(_))),
        count(|known| *known == Known::Other),
    ];
    let mut parts = vec![words::files(scans.len()), words::pages(pages)];
    if read > 0 {
        parts.push(words::read(read));
    }
    if twice > 0 {
        parts.push(words::duplicates(twice));
    }
    if aside > 0 {
        parts.push(words::aside(aside));
    }
    if odd > 0 {
        parts.push(words::unreadable(odd));
    }
    if other > 0 {
        parts.push(words::others(other));
    }
    html! {
        p.counts { (parts.join(" · ")) }
        @if waiting > 0 { p.counts { strong { (words::waiting(waiting)) } } }
        @let remarks = remarks(scans);
        @if !remarks.is_empty() { ul.plain.remarks { @for one in remarks { li { (one) } } } }
        details data-keep={ "files-" (file) } {
            summary { (words::FILES_IN_DETAIL) }
            div.scroll { table.scans {
                thead { tr {
                    th scope="col" { (words::FILE) } th.number scope="col" { (words::PAGES) }
                    th scope="col" { (words::STATE) } td {}
                } }
                tbody { @for scan in scans {
                    tr {
                        th scope="row" { (scan.name) }
                        td.number { (scan.pages.len()) }
                        td { (state(scan)) }
                        td {
                            @if !scan.there.is_empty() { (captures::ask(folder, file, &scan.there, Decision::Aside, &scan.name)) }
                            @if !scan.aside.is_empty() { (captures::ask(folder, file, &scan.aside, Decision::Back, &scan.name)) }
                        }
                    }
                } }
            } }
        }
    }
}

/// The reason for each page that is not simply read.
fn remarks(scans: &[Scan]) -> Vec<String> {
    let of = |scan: &Scan| {
        let said = |(number, known): &(u32, Known)| match known {
            Known::Waiting | Known::Read(_) => None,
            Known::Duplicate(why) | Known::Aside(why) | Known::Unreadable(why) => {
                let why = why.replace(REMEDY, words::REMEDY);
                Some(words::on_page(&scan.name, *number, &why))
            }
            Known::Other => Some(words::on_page(&scan.name, *number, words::OTHER_TEST)),
        };
        scan.pages.iter().filter_map(said).collect::<Vec<String>>()
    };
    scans.iter().flat_map(of).collect()
}

/// What is known of a file.
fn state(scan: &Scan) -> String {
    let count = |wanted: fn(&Known) -> bool| scan.count(wanted);
    let parts = [
        (count(|known| matches!(known, Known::Read(_))), words::read as fn(usize) -> String),
        (count(|known| *known == Known::Waiting), words::waiting),
        (count(|known| matches!(known, Known::Duplicate(_))), words::duplicates),
        (count(|known| matches!(known, Known::Aside(_))), words::aside),
        (count(|known| matches!(known, Known::Unreadable(_))), words::unreadable),
        (count(|known| *known == Known::Other), words::others),
    ];
    let said = parts.iter().filter(|(count, _)| *count > 0).map(|(count, say)| say(*count));
    said.collect::<Vec<String>>().join(", ")
}
