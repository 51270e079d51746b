//! What follows from the beats: measurements, the average beside a heart and a convention.

use convention::{Convention, Outcome, Scale, Verdict, compare, judge};
use cycle::{Cycle, Subject};
use figure::FontEmbedding;
use heart::Heart;
use maud::{Markup, PreEscaped, html};
use recording::{Average, Measurement, late_pulse};

use super::choices::{Against, REST};
use super::shelf::Bench;
use super::strip::channel_name;
use crate::failure::Failure;
use crate::measure::{
    Beside, Lab, average_over, beneath, beside_cycle, computed, left_out_words, published,
};
use crate::web::folder::Folder;
use crate::web::refusal::Refusal;
use crate::web::rules;
use crate::web::words::recordings as words;

/// A heart and a convention beside an average beat.
pub(crate) struct Laid {
    pub(crate) subject: Subject,
    pub(crate) computed: Cycle,
    pub(crate) beside: Option<Beside>,
    /// Whose heart it is, in words.
    pub(crate) heart: String,
    pub(crate) convention: Convention,
    pub(crate) verdicts: Vec<Verdict>,
}

/// Lays what `against` names beside the lab's average.
pub(crate) fn laid(
    lab: &Lab,
    average: &Average,
    folder: &Folder,
    against: &Against,
) -> Result<Laid, Refusal> {
    let subject = lab.subject();
    let condition = heart::condition(&against.condition)?;
    let resting = against.condition == REST;
    let heart: Option<&Heart> = (!resting).then_some(&condition.heart);
    let computed = computed(average, heart)?;
    let beside = beside_cycle(average, &computed, &subject);
    let convention = convention(folder, &against.convention)?;
    let verdicts = judge(&average.cycle, &convention, &subject, &Scale::Measured);
    let heart = if resting {
        words::RESTING_HEART.to_owned()
    } else {
        words::computed_heart(&condition.title)
    };
    Ok(Laid { subject, computed, beside, heart, convention, verdicts })
}

/// The convention called `name`, or the usual one where nobody says which.
fn convention(folder: &Folder, name: &str) -> Result<Convention, Refusal> {
    let name = if name.is_empty() { rules::usual(folder) } else { name.to_owned() };
    let read = Convention::from_toml(&rules::source(folder, &name)?, &heart::subject());
    // Without the folder, which is this computer's.
    read.map_err(|faults| Failure::Faults { path: name.into(), faults }.into())
}

/// Everything, each part in a place of its own.
pub(crate) fn sections(
    bench: &Bench,
    folder: &Folder,
    pairs: &[(String, String)],
) -> Result<Markup, Refusal> {
    let against = Against::read(pairs);
    let parts = made(bench, folder, &against)?;
    Ok(html! {
        section.measured aria-labelledby="measured-title" {
            h2 #measured-title { (words::MEASURED) }
            div data-slot="measured" { (parts.measured) }
            (offered(&[("beats.csv", words::PER_BEAT), ("beats.json", words::PER_BEAT_JSON), ("measurements.csv", words::TABLE_CSV), ("report.txt", words::REPORT)]))
        }
        div data-slot="late" { (parts.late) }
        section.beside aria-labelledby="average-title" {
            h2 #average-title { (words::AVERAGE) }
            div.line { (conditions(&against.condition)) }
            div data-slot="average" { (parts.average) }
            (offered(&[("average.svg", words::AVERAGE_SVG), ("average.csv", words::AVERAGE_CSV), ("average.json", words::AVERAGE_JSON)]))
        }
        section.rules aria-labelledby="rules-title" {
            h2 #rules-title { (words::RULES) }
            div.line { (conventions(folder, &against.convention)) }
            div data-slot="rules" { (parts.rules) }
        }
        (worksheet())
    })
}

/// What changes with a correction, or with another heart or convention.
pub(crate) fn parts(
    bench: &Bench,
    folder: &Folder,
    pairs: &[(String, String)],
) -> Result<Markup, Refusal> {
    let parts = made(bench, folder, &Against::read(pairs))?;
    Ok(html! {
        div data-slot="measured" { (parts.measured) }
        div data-slot="late" { (parts.late) }
        div data-slot="average" { (parts.average) }
        div data-slot="rules" { (parts.rules) }
    })
}

struct Parts {
    measured: Markup,
    late: Markup,
    average: Markup,
    rules: Markup,
}

fn made(bench: &Bench, folder: &Folder, against: &Against) -> Result<Parts, Refusal> {
    bench.with_lab(folder, |lab| {
        let measured = measured(lab);
        let late = late_pulse(&lab.measured);
        let late = html! {
            @if let Some(late) = late {
                section aria-labelledby="late-title" { h2 #late-title { (words::LATE) } p.prose { (late) } }
            }
        };
        let Some(average) = &lab.average else {
            let none = html! { p { (words::NO_AVERAGE) } };
            return Ok(Parts { measured, late, average: none.clone(), rules: none });
        };
        let laid = laid(lab, average, folder, against)?;
        Ok(Parts {
            measured,
            late,
            average: average_part(&bench.name, average, &laid)?,
            rules: rules(average, &laid),
        })
    })
}

/// Files to keep; the address's state is added where they are asked for.
fn offered(all: &[(&str, &str)]) -> Markup {
    html! {
        p.files { @for (file, says) in all { a data-file=(file) href={ "/recordings/" (file) } { (says) } " " } }
    }
}

fn measured(lab: &Lab) -> Markup {
    let all = &lab.measured.measurements;
    if all.is_empty() {
        return html! { p { (words::NOTHING_MEASURED) } };
    }
    html! {
        div.wide tabindex="0" role="group" aria-labelledby="measured-title" {
            table.numbers {
                thead { tr {
                    th scope="col" { (words::QUANTITY) }
                    @for head in [words::UNIT, words::BEATS, words::MEDIAN, words::MEAN, words::SD, words::RANGE, words::PUBLISHED] {
                        th scope="col" { (head) }
                    }
                } }
                tbody {
                    @for (index, one) in all.iter().enumerate() {
                        @if !one.channel.is_empty() && (index == 0 || all[index - 1].channel != one.channel) {
                            tr.part { th colspan="8" scope="rowgroup" { (channel_name(&one.channel)) } }
                        }
                        (line(one))
                    }
                }
            }
        }
        p.soft { (lab.measured.note) }
        details {
            summary { (words::PUBLISHED_RANGES) }
            ul { @for words in published(all) { li { (words) } } }
        }
    }
}

fn line(one: &Measurement) -> Markup {
    let values = &one.values;
    let digits = usize::from(values.max.abs() < 10.0);
    let number = |value: f64| words::number(value, digits);
    // Of a single number for the whole recording there is neither spread nor range.
    let single = matches!(one.id, "sdnn" | "rmssd");
    html! {
        tr {
            th scope="row" title=(one.definition) { (one.title) }
            td { (one.unit) }
            td { @if !single { (values.count) } }
            td { (number(values.median)) }
            td { @if !single { (number(values.mean)) } }
            td { @if !single { (format!("{:.1}", values.sd)) } }
            td { @if !single { (words::between(&number(values.min), &number(values.max))) } }
            td {
                @if let Some(p) = &one.published {
                    (words::between(&words::number(p.low, 0), &words::number(p.high, 0)))
                }
            }
        }
    }
}

fn conditions(chosen: &str) -> Markup {
    html! {
        div.choice {
            label for="condition" { (words::HEART) }
            select #condition name="condition" {
                @for one in heart::conditions() {
                    option value=(one.name) selected[one.name == chosen] {
                        @if one.name == REST { (words::SAME_RATE) } @else { (one.title) }
                    }
                }
            }
        }
    }
}

fn conventions(folder: &Folder, chosen: &str) -> Markup {
    html! {
        div.choice {
            label for="convention" { (words::CONVENTION) }
            (rules::choice("convention", folder, chosen))
        }
    }
}

/// The figure of the average over the computed heart.
pub(crate) fn figure_of(
    name: &str,
    average: &Average,
    laid: &Laid,
) -> Result<Option<figure::Figure>, Failure> {
    let under = laid.beside.as_ref();
    let under = under.and_then(|beside| beneath(average, &laid.computed, beside));
    average_over(name, average, under.as_ref(), &laid.subject)
}

fn average_part(name: &str, average: &Average, laid: &Laid) -> Result<Markup, Refusal> {
    let figure = figure_of(name, average, laid)?;
    Ok(html! {
        p.prose { (average.provenance) }
        @if !average.left_out.is_empty() {
            details {
                summary { (words::left_out(average.left_out.len())) }
                ul { @for words in left_out_words(average) { li { (words) } } }
            }
        }
        div.besides {
            @if let Some(figure) = figure {
                div {
                    div.paper.sheet { (PreEscaped(figure.svg(FontEmbedding::Referenced))) }
                    @if laid.beside.is_some() { p.soft { (words::THIN) } }
                }
            }
            div {
                @if let Some(beside) = &laid.beside { (departures(beside, &laid.subject)) } @else { p { (words::NOT_ALIGNED) } }
                p.soft { (words::ONE_AMONG_MANY) }
            }
        }
    })
}

fn departures(beside: &Beside, subject: &Subject) -> Markup {
    let title = |id: &str| subject.title_of(id).unwrap_or(id).to_owned();
    let rows = &beside.rows;
    html! {
        p { (words::aligned(&title(beside.aligned_on), beside.recorded_bpm, beside.computed_bpm)) }
        div.wide tabindex="0" role="group" aria-labelledby="average-title" {
            table.numbers {
                thead { tr { @for head in [words::LANDMARK, words::RECORDED, words::SD, words::COMPUTED, words::DIFFERENCE] { th scope="col" { (head) } } } }
                tbody {
                    @for (index, row) in rows.iter().enumerate() {
                        @if index == 0 || rows[index - 1].channel != row.channel {
                            tr.part { th colspan="5" scope="rowgroup" { (channel_name(&row.channel)) } }
                        }
                        tr {
                            th scope="row" { (title(row.name)) }
                            td { (words::number(row.recorded_ms, 0)) }
                            td { @if let Some(sd) = row.sd_ms { (format!("{sd:.0}")) } }
                            td { (words::number(row.computed_ms, 0)) }
                            td { @if row.departs { (words::differs((row.recorded_ms - row.computed_ms).round())) } @else { (words::AGREE) } }
                        }
                    }
                }
            }
        }
    }
}

fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Met => words::MET,
        Outcome::NotMet => words::NOT_MET,
        Outcome::CannotTell => words::CANNOT_TELL,
    }
}

/// Rule by rule: the recording, the computed heart, and what has been published.
fn rules(average: &Average, laid: &Laid) -> Markup {
    let Laid { subject, convention, verdicts, .. } = laid;
    let computed = judge(&laid.computed, convention, subject, &Scale::Measured);
    let rows = compare(convention, subject, &average.cycle, &cardiac::published()).rows;
    let all = verdicts.iter().zip(&computed).zip(&rows);
    let (told, untold): (Vec<_>, Vec<_>) =
        all.partition(|((verdict, _), _)| verdict.outcome != Outcome::CannotTell);
    html! {
        @if !convention.simplifies.is_empty() { p.prose.soft { (convention.simplifies) } }
        @if !told.is_empty() {
            div.wide tabindex="0" role="group" aria-labelledby="rules-title" {
                table.ruletable {
                    thead { tr { @for head in [words::RULE, words::ON_RECORDING, words::ON_COMPUTED, words::PUBLISHED] { th scope="col" { (head) } } } }
                    tbody {
                        @for ((verdict, computed), row) in &told {
                            tr {
                                th scope="row" { (row.text) }
                                td { strong { (outcome(verdict.outcome)) } br; (verdict.why) }
                                td { strong { (outcome(computed.outcome)) } br; (computed.why) }
                                td { @if let Some(band) = &row.published { (band.words) } }
                            }
                        }
                    }
                }
            }
        }
        @if !untold.is_empty() {
            p.soft { (words::NOT_SHOWN) }
            ul.soft { @for (_, row) in &untold { li { (row.text) } } }
        }
    }
}

fn worksheet() -> Markup {
    html! {
        section.worksheet aria-labelledby="worksheet-title" {
            h2 #worksheet-title { (words::WORKSHEET) }
            p.soft { (words::WORKSHEET_ABOUT) }
            form #worksheet.line autocomplete="off" {
                div.choice { label for="stretch" { (words::STRETCH) } select #stretch name="stretch" { option value="" { (words::QUIETEST) } option value="visible" { (words::VISIBLE) } } }
                div.choice {
                    label for="paper" { (words::PAPER) }
                    select #paper name="paper" {
                        option value="letter" { (words::LETTER) }
                        option value="a4" { (words::A4) }
                    }
                }
                div.choice {
                    label for="correction" { (words::CORRECTION) }
                    select #correction name="correction" {
                        @for (id, name) in words::CORRECTIONS_OF_QT { option value=(id) { (name) } }
                    }
                }
                a.button.primary data-file="worksheet.pdf" href="/recordings/worksheet.pdf" { (words::SHEET_PDF) }
                a.button data-file="worksheet-key.pdf" href="/recordings/worksheet-key.pdf" { (words::KEY_PDF) }
            }
        }
    }
}
