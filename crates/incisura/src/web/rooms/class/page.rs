//! The class's page.

use axum::extract::{Query, State};
use axum::response::{IntoResponse, Response};
use figure::FontEmbedding;
use marking::{Item, Statistics, pages_of};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;

use super::super::super::words::class as words;
use super::super::marking::work::Work;
use super::super::marking::{marks_page, test_choice, test_file, usual_test};
use super::{ROOM, slip};
use crate::web::desk::Desk;
use crate::web::off_thread;
use crate::web::query::address;
use crate::web::refusal::Refusal;
use crate::web::shell::{Page, shell};

/// What the address says.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Shown {
    test: String,
    rule: String,
}

pub(super) async fn page(State(desk): State<Desk>, Query(shown): Query<Shown>) -> Response {
    let made = {
        let desk = desk.clone();
        off_thread(move || whole(&desk, shown)).await
    };
    match made {
        Ok(body) => page_of(&desk, body).into_response(),
        Err(refusal) => {
            let status = refusal.status();
            let body = html! {
                div.room { h1 #missed { (words::TITLE) } div.empty { pre.fault { (refusal.message) } } }
            };
            (status, page_of(&desk, body)).into_response()
        }
    }
}

fn page_of(desk: &Desk, body: Markup) -> Markup {
    shell(desk, &Page { room: &ROOM, ..marks_page(words::TITLE, ("missed", words::SKIP), body) })
}

fn whole(desk: &Desk, mut shown: Shown) -> Result<Markup, Refusal> {
    let folder = desk.folder();
    if shown.test.is_empty() {
        shown.test = usual_test(&folder)?.unwrap_or_default();
    }
    let empty = |test: &str| {
        html! {
            div.room {
                div.roomhead { h1 #missed { (words::TITLE) } (test_choice(&folder, test, ROOM.path)) }
                div.empty {
                    p { (words::EMPTY) } p { (words::EMPTY_NEXT) }
                    p { a.button href=(address("/marking", &[("test", test)])) { (words::TO_MARKING) } }
                }
            }
        }
    };
    if shown.test.is_empty() {
        return Ok(empty(""));
    }
    let file = test_file(&folder, &shown.test)?;
    let work = desk.marks().work(&folder, &file)?;
    let (Some(print), Some(statistics)) = (work.main_print(), work.statistics()?) else {
        return Ok(empty(&file));
    };
    let view = View { work: &work, file: &file, print, statistics, rule: &shown.rule };
    let chosen = statistics.items.iter().find(|item| item.id == shown.rule);
    Ok(html! {
        div.room.classroom {
            div.roomhead {
                h1 { (words::TITLE) }
                @if folder.tests().len() > 1 { (test_choice(&folder, &file, ROOM.path)) }
                @else { p.testtitle { (work.title()) } }
            }
            p.prose { (marking::results_words(statistics)) }
            div.classparts {
                div {
                    @match chosen {
                        Some(item) => { (slip::shown(&work, &file, print, item, &folder)?) }
                        None => { (view.pictures()?) }
                    }
                }
                div {
                    (view.missed()?)
                    (view.points())
                    (view.exports())
                }
            }
            @if chosen.is_none() { (view.landmarks()?) }
            (view.rules())
        }
    })
}

struct View<'a> {
    work: &'a Work,
    file: &'a str,
    print: &'a str,
    statistics: &'a Statistics,
    rule: &'a str,
}

fn svg(figure: &figure::Figure) -> Markup {
    html! { div.paper { (PreEscaped(figure.svg(FontEmbedding::Referenced))) } }
}

impl View<'_> {
    fn text<'a>(&'a self, item: &'a Item) -> &'a str {
        let rule = self.work.convention().rule(&item.id);
        rule.map_or(item.id.as_str(), |rule| rule.text.as_str())
    }

    fn of_rule(&self, id: &str) -> String {
        address(ROOM.path, &[("test", self.file), ("rule", id)])
    }

    /// All drawings over the key: each form, each page.
    fn pictures(&self) -> Result<Markup, Refusal> {
        let figures = self.work.with_class(self.print, |class| {
            let mut figures = Vec::new();
            for (form, one) in class.forms.iter().enumerate() {
                let drawn = class.sheets.iter().filter(|sheet| sheet.form == form).count();
                let pages = pages_of(one.rubric);
                for &page in pages.iter().filter(|_| drawn > 0) {
                    if let Some(figure) = marking::class_figure(class, form, page) {
                        let several = (pages.len() > 1).then_some(page);
                        figures.push((form, one.letter, page, several, drawn, figure));
                    }
                }
            }
            figures
        })?;
        Ok(html! {
            section aria-labelledby="picture" {
                h2 #picture { (words::PICTURE) }
                p.soft.prose { (words::PICTURE_ABOUT) }
                @for (form, letter, page, several, drawn, figure) in &figures {
                    p {
                        @if let Some(letter) = letter { (words::FORM) " " (letter) " · " }
                        @if let Some(page) = several { (words::PAGE) " " (page) " · " }
                        (words::drawings(*drawn)) " · "
                        a href=(address("/class/picture.svg", &[("test", self.file), ("form", &form.to_string()), ("page", &page.to_string())])) download { (words::AS_SVG) }
                    }
                    (svg(figure))
                }
            }
        })
    }

    fn missed(&self) -> Result<Markup, Refusal> {
        let mut missed: Vec<&Item> =
            self.statistics.items.iter().filter(|item| item.not_met > 0).collect();
        let share = |item: &Item| item.not_met as f64 / (item.met + item.not_met) as f64;
        missed
            .sort_by(|a, b| share(b).total_cmp(&share(a)).then_with(|| b.not_met.cmp(&a.not_met)));
        let told: Vec<String> = self.work.with_rubrics(self.print, |rubrics| {
            missed.iter().map(|item| marking::item_words(item, &rubrics[0])).collect()
        })?;
        Ok(html! {
            section aria-labelledby="missed" {
                h2 #missed { (words::MISSED) }
                @if missed.is_empty() { p { (words::NOTHING_MISSED) } } @else {
                    ol.missed {
                        @for (item, told) in missed.iter().zip(&told) {
                            li {
                                a href=(self.of_rule(&item.id)) aria-current=[(item.id == self.rule).then_some("true")] { (self.text(item)) }
                                progress.share max=(item.met + item.not_met) value=(item.not_met) aria-label=(words::missed_of(item.not_met, item.met + item.not_met)) {}
                                p.soft { (told) }
                            }
                        }
                    }
                }
            }
        })
    }

    fn points(&self) -> Markup {
        html! {
            section aria-labelledby="points" {
                h2 #points { (words::POINTS) }
                (svg(&marking::points_figure(self.statistics)))
            }
        }
    }

    fn exports(&self) -> Markup {
        html! {
            section aria-labelledby="exports" {
                h2 #exports { (words::EXPORT) }
                p.actions {
                    a.button href=(address("/marking/file", &[("test", self.file), ("name", "class.pdf")])) download { (words::AS_PDF) }
                    a.button href=(address("/class/rules.csv", &[("test", self.file)])) download { (words::AS_CSV) }
                }
            }
        }
    }

    fn landmarks(&self) -> Result<Markup, Refusal> {
        let figures = self.work.with_rubrics(self.print, |rubrics| {
            marking::landmark_figures(self.statistics, &rubrics[0])
        })?;
        Ok(html! {
            section aria-labelledby="landmarks" {
                h2 #landmarks { (words::LANDMARKS) }
                p.soft.prose { (words::LANDMARKS_ABOUT) }
                @for (number, (title, figure)) in figures.iter().enumerate() {
                    h3 { (title) }
                    (svg(figure))
                    p { a href=(address("/class/landmarks.svg", &[("test", self.file), ("page", &number.to_string())])) download { (words::DOTS_SVG) } }
                }
            }
        })
    }

    fn rules(&self) -> Markup {
        html! {
            section aria-labelledby="rules" {
                h2 #rules { (words::RULES) }
                p.soft.prose { (words::RULES_ABOUT) }
                div.scroll { table.wide {
                    thead { tr {
                        th scope="col" { (words::RULE) } th.number scope="col" { (words::SHEETS) }
                        th.number scope="col" { (words::MET) } th.number scope="col" { (words::NOT_MET) }
                        th.number scope="col" { (words::OPEN) } th.number scope="col" { (words::DIFFICULTY) }
                        th.number scope="col" { (words::DISCRIMINATION) }
                    } }
                    tbody { @for item in &self.statistics.items {
                        tr {
                            th scope="row" { a href=(self.of_rule(&item.id)) { (self.text(item)) } }
                            td.number { (item.sheets) } td.number { (item.met) } td.number { (item.not_met) }
                            td.number { (item.open) } td.number { (decimal(item.difficulty)) }
                            td.number { (decimal(item.discrimination)) }
                        }
                    } }
                } }
            }
        }
    }
}

fn decimal(value: Option<f64>) -> String {
    value.map_or_else(|| "–".to_owned(), |value| format!("{value:.2}").replace('-', "−"))
}

/// The rules and their counts, for any spreadsheet.
pub(super) fn rules_csv(work: &Work, statistics: &Statistics) -> Vec<u8> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let mut row = |fields: &[String]| {
        writer.write_record(fields).expect("writing to memory succeeds and rows have one length");
    };
    let heads = [
        "rule",
        "text",
        "sheets",
        "met",
        "not_met",
        "open",
        "difficulty",
        "discrimination",
        "too_late_or_high",
        "too_early_or_low",
        "median_mm",
    ];
    row(&heads.map(str::to_owned));
    let exact = |value: Option<f64>| {
        value.map(|value| crate::mark::results::rounded(value).to_string()).unwrap_or_default()
    };
    for item in &statistics.items {
        let text = work.convention().rule(&item.id).map(|rule| rule.text.clone());
        let miss = item.miss.as_ref();
        row(&[
            item.id.clone(),
            text.unwrap_or_default(),
            item.sheets.to_string(),
            item.met.to_string(),
            item.not_met.to_string(),
            item.open.to_string(),
            exact(item.difficulty),
            exact(item.discrimination),
            miss.map(|miss| miss.more.to_string()).unwrap_or_default(),
            miss.map(|miss| miss.less.to_string()).unwrap_or_default(),
            exact(miss.map(|miss| miss.median_mm)),
        ]);
    }
    writer.into_inner().expect("flushing to memory succeeds")
}
