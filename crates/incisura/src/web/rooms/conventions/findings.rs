//! What is found out about a convention, as its page shows it.

use convention::{Convention, Outcome, Row};
use figure::FontEmbedding;
use heart::Heart;
use maud::{Markup, PreEscaped, html};

use crate::failure::Failure;
use crate::schematics::{Findings, RATES, capitalised};
use crate::web::words::conventions as words;

/// Everything that is shown beside the rules, each part with the place that it belongs to.
/// `in_force` says whether it is of the text that is being edited.
pub(super) fn parts(
    convention: &Convention,
    heart: &Heart,
    in_force: bool,
) -> Result<Markup, Failure> {
    let found = Findings::new(convention, heart)?;
    let shown = Shown { convention, found: &found };
    let figure = shown.figure()?;
    Ok(html! {
        div data-slot="consistency" {
            @if !in_force { p.fault { (words::IN_FORCE_SHOWN) } }
            (shown.consistency())
        }
        div data-slot="figure" { (figure) }
        div data-slot="comparison" { (shown.comparison()) }
        div data-slot="build" { (shown.build()) }
        @if in_force {
            @for (index, row) in found.comparison.rows.iter().enumerate() {
                div data-slot={ "outside-" (index) } { (outside(row)) }
            }
        }
    })
}

/// What is said beside a rule that leaves the measured range.
fn outside(row: &Row) -> Markup {
    html! {
        @if row.leaves_published == Some(true) {
            b { (words::OUTSIDE_HERE) } " " (row.sentence)
        }
    }
}

struct Shown<'a> {
    convention: &'a Convention,
    found: &'a Findings,
}

impl Shown<'_> {
    /// A link to the card of a rule.
    fn link(&self, id: &str) -> Markup {
        let index = self.convention.rules.iter().position(|rule| rule.id == id);
        html! {
            @if let Some(index) = index {
                a href={ "#rules-" (index) } data-rule=(index) { (self.convention.rules[index].text) " (" (id) ")" }
            } @else { (id) }
        }
    }

    fn links(&self, ids: &[String]) -> Markup {
        html! { ul { @for id in ids { li { (self.link(id)) } } } }
    }

    fn consistency(&self) -> Markup {
        let found = self.found;
        let points = self.convention.worth(self.convention.rules.iter());
        let outside = found.comparison.rows.iter().filter(|row| row.leaves_published == Some(true));
        let outside: Vec<String> = outside.map(|row| row.rule.clone()).collect();
        let agree = found.contradictions().is_empty();
        html! {
            p {
                b { (words::count(self.convention.rules.len(), points)) ". "
                    @if agree { (words::ALL_HOLD) } @else { (words::CANNOT_HOLD) } }
            }
            @for conflict in found.conflicts() {
                div.conflict {
                    p { (words::LOOSEN) }
                    (self.links(&conflict.rules))
                    p { (capitalised(&conflict.words)) }
                }
            }
            @if !found.heights.is_empty() {
                div.conflict { p { (words::HEIGHTS) } (self.links(&found.heights)) }
            }
            @if agree {
                @for conflict in &found.on_ecg.conflicts {
                    div.conflict {
                        p { (words::NOT_ON_ECG) }
                        (self.links(&conflict.rules))
                        p { (capitalised(&conflict.words)) }
                    }
                }
                p.soft { (words::drawn_at(&found.drawn_at, RATES.len())) }
            }
            @if !outside.is_empty() {
                details {
                    summary { (words::outside(outside.len())) " " (words::OUTSIDE) }
                    (self.links(&outside))
                }
            }
        }
    }

    fn figure(&self) -> Result<Markup, Failure> {
        if !self.found.contradictions().is_empty() {
            return Ok(html! { p.empty { (words::NO_FIGURE_YET) } });
        }
        Ok(match &self.found.schematic {
            Err(why) => html! { p.empty { (words::NO_FIGURE) (why) } },
            Ok(model) => {
                let subject = heart::subject();
                let spec = sheet::convention_figure(self.convention, &subject, model);
                let figure = figure::lay_out(model, &subject, &spec)?;
                html! { div.paper { (PreEscaped(figure.svg(FontEmbedding::Referenced))) } }
            }
        })
    }

    fn comparison(&self) -> Markup {
        html! {
            table.compared {
                caption { (words::COMPARED_CAPTION) }
                thead { tr {
                    th scope="col" { (words::RULE) }
                    th scope="col" { (words::COMPUTED) }
                    th scope="col" { (words::MEASURED) }
                } }
                tbody { @for row in &self.found.comparison.rows { (self.row(row)) } }
            }
        }
    }

    fn row(&self, row: &Row) -> Markup {
        let outcome = match row.computed.outcome {
            Outcome::Met => words::AGREES,
            Outcome::NotMet => words::DIFFERS,
            Outcome::CannotTell => words::CANNOT_SAY,
        };
        html! {
            tr {
                th scope="row" { (self.link(&row.rule)) p.soft { (capitalised(&row.says)) } }
                td { b { (outcome) } p.soft { (row.computed.why) } }
                td {
                    @if let Some(band) = &row.published {
                        (band.words)
                        @if band.added_up { ", " (words::ADDED_UP) }
                        @if row.leaves_published == Some(true) { p { b { "! " (words::OUT_OF_STEP) } } }
                        details { summary { (words::SOURCES) } ul { @for source in &band.sources { li { (source) } } } }
                    } @else { span.soft { (words::NOTHING_PUBLISHED) } }
                }
            }
        }
    }

    fn build(&self) -> Markup {
        match &self.found.steps {
            Err(why) => html! { p.empty { (words::NO_BUILD) (why) } },
            Ok(steps) => html! {
                ol.build {
                    @for step in steps {
                        li { b { (capitalised(&step.title)) } p { (step.text) } p.soft { (step.cause) } }
                    }
                }
            },
        }
    }
}
