//! Two hearts beside one another: the one that was kept and the one that is changed.

use cycle::Cycle;
use maud::{Markup, html};

use super::view::{Kept, View};
use crate::summary::{self, Measure};
use crate::web::words::heart as words;

/// The numbers of the heart, or of both hearts and what is between them.
pub(super) fn numbers(cycle: &Cycle, kept: Option<&Cycle>) -> Markup {
    html! {
        @for (title, measures) in summary::GROUPS {
            table.compared[kept.is_some()] {
                caption { (title) }
                @if kept.is_some() {
                    thead {
                        tr {
                            td {}
                            @for column in [words::KEPT_COLUMN, words::NOW_COLUMN, words::DIFFERENCE] {
                                th scope="col" { (column) }
                            }
                        }
                    }
                }
                tbody {
                    @for measure in *measures { (row(measure, cycle, kept)) }
                }
            }
        }
    }
}

fn row(measure: &Measure, cycle: &Cycle, kept: Option<&Cycle>) -> Markup {
    let unit = html! { span.unit { (measure.unit) } };
    let shown = |cycle: &Cycle| measure.shown(cycle).unwrap_or_else(|| "–".to_owned());
    html! {
        @if let Some(kept) = kept {
            @if measure.shown(cycle).is_some() || measure.shown(kept).is_some() {
                tr {
                    th scope="row" { (measure.title) " " (unit) }
                    td { (shown(kept)) }
                    td { (shown(cycle)) }
                    td { (measure.difference(kept, cycle).unwrap_or_else(|| "–".to_owned())) }
                }
            }
        } @else if let Some(value) = measure.shown(cycle) {
            tr { th scope="row" { (measure.title) } td { (value) " " (unit) } }
        }
    }
}

/// What can be done about comparing, by the state of the view.
pub(super) fn controls(view: &View) -> Markup {
    let kept = view.kept.as_ref().map(Kept::query);
    html! {
        input #ghost type="hidden" name="ghost" value=(kept.as_deref().unwrap_or_default()) data-usual="";
        button #keep type="button" data-first=(words::KEEP) data-again=(words::KEEP_AGAIN) {
            (if kept.is_some() { words::KEEP_AGAIN } else { words::KEEP })
        }
        button #forget type="button" hidden[kept.is_none()] { (words::FORGET) }
    }
}
