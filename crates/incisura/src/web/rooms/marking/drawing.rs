//! One drawing: the student's own page with what was found on it, every rule with its measurement,
//! and what people decided.

use axum::extract::{Query, State};
use course::{Course, Decision, DecisionId, PageId, What};
use figure::{Box2, FontEmbedding};
use marking::{DrawnSheet, Feedback, Outcome, PagePicture, RuleMark, pages_of};
use maud::{Markup, PreEscaped, html};

use super::super::super::words::marking as words;
use super::captures;
use super::decide::decided_word;
use super::table::status_word;
use super::work::{Work, database};
use super::{OfSheet, Opened, ROOM, address, marks_page};
use crate::failure::Failure;
use crate::mark::class::Record;
use crate::mark::sheets::form_index;
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::off_thread;
use crate::web::refusal::Refusal;
use crate::web::shell::{Page, shell};

pub(super) async fn page(
    State(desk): State<Desk>,
    Query(of): Query<OfSheet>,
) -> Result<Markup, Refusal> {
    off_thread(move || {
        let Opened { folder, file, work } = Opened::of(&desk, &of.test)?;
        let record = work.record(of.print.as_deref(), of.sheet)?;
        let hidden = of.names == "hidden";
        let name = record.whose().map(|(name, _)| name.to_owned()).filter(|_| !hidden);
        let title = name.unwrap_or_else(|| words::sheet(record.sheet));
        let sheet = View { desk: &desk, folder: &folder, file: &file, work: &work, record, hidden };
        let body = sheet.whole(&title)?;
        Ok(shell(
            &desk,
            &Page {
                keys: &[("← →", "previous and next drawing"), ("T", "all drawings")],
                ..marks_page(&title, ("rules", words::SKIP_TO_RULES), body)
            },
        ))
    })
    .await
}

/// Why a rule is not met, in words to the student, and which beat its number is from and of how many.
type Told = (String, Option<(usize, usize)>);

/// A drawing, and where it is shown.
struct View<'a> {
    desk: &'a Desk,
    folder: &'a Folder,
    file: &'a str,
    work: &'a Work,
    record: &'a Record,
    hidden: bool,
}

impl View<'_> {
    fn address(&self, record: &Record) -> String {
        let sheet = record.sheet.to_string();
        let mut pairs = vec![("test", self.file), ("print", &record.test), ("sheet", &sheet)];
        if self.hidden {
            pairs.push(("names", "hidden"));
        }
        address("/marking/sheet", &pairs)
    }

    fn whole(&self, title: &str) -> Result<Markup, Refusal> {
        let record = self.record;
        let nothing = marking::Marks::default();
        let marks = record.marks().unwrap_or(&nothing);
        Ok(html! {
            div.room.drawing {
                div.roomhead {
                    h1 { (title) }
                    p { (words::sheet(record.sheet)) " · " (words::FORM) " " (record.form) " · " (status_word(record.status())) }
                    p.total { strong { (words::of_points(marks.points(), marks.max_points())) " " (words::POINTS.to_lowercase()) }
                        @if marks.open_points() > 0.0 { " · " (words::still_open(marks.open_points())) }
                    }
                    (self.ways())
                }
                @for reason in record.remarks() { p.remark { (reason) } }
                (self.pictures()?)
                (self.rules(marks)?)
                (captures::section(self.folder, self.file, self.record, self.hidden))
                (self.history()?)
                (self.whose()?)
            }
        })
    }

    /// To the drawings before and after, and to all.
    fn ways(&self) -> Markup {
        let all: Vec<&Record> = self.work.class.handed_in().map(|(record, _)| record).collect();
        let own = |one: &&Record| (&one.test, one.sheet) == (&self.record.test, self.record.sheet);
        let at = all.iter().position(own);
        let before = at.and_then(|at| at.checked_sub(1)).map(|at| all[at]);
        let after = at.and_then(|at| all.get(at + 1)).copied();
        let names = if self.hidden { "hidden" } else { "" };
        html! {
            nav.actions aria-label=(words::DRAWINGS) {
                @if let Some(before) = before { a.button href=(self.address(before)) data-key="ArrowLeft" { (words::EARLIER) } }
                @if let Some(after) = after { a.button href=(self.address(after)) data-key="ArrowRight" { (words::LATER) } }
                a.button href=(address(ROOM.path, &[("test", self.file), ("names", names)])) data-key="t" { (words::BACK_TO_TABLE) }
            }
        }
    }

    /// Each page with what was found on it.
    fn pictures(&self) -> Result<Markup, Refusal> {
        let (Some(pages), Some(finding)) = (&self.record.pages, &self.record.finding) else {
            return Ok(html! {});
        };
        let drawn: DrawnSheet = pages.drawn();
        let size = self.work.editions().test(&self.record.test);
        let [w, h] = size.map_or([279.4, 215.9], |test| test.paper.size_mm(test.orientation));
        let mut pictures = Vec::new();
        for (page, _) in &pages.pages {
            let picture = self.desk.marks().picture(self.folder, page.counts.id)?;
            let number = u8::try_from(page.page).unwrap_or(u8::MAX);
            let area = Box2 { x: 0.0, y: 0.0, w, h };
            let grey = picture.level.clone();
            pictures.push(PagePicture::new(number, area, picture.width, picture.height, grey));
        }
        let svgs = self.work.with_rubrics(&self.record.test, |rubrics| {
            let form = form_index(self.record.form).min(rubrics.len() - 1);
            let feedback = Feedback {
                sheet: self.record.sheet,
                name: None,
                form: None,
                rubric: &rubrics[form],
                drawn: &drawn,
                located: &finding.located,
                marks: &finding.marks,
                pictures: &pictures,
            };
            let figure = |page: u8| marking::drawing_figure(&feedback, page);
            pages_of(&rubrics[form])
                .into_iter()
                .filter_map(figure)
                .map(|figure| figure.svg(FontEmbedding::Referenced))
                .collect::<Vec<String>>()
        })?;
        Ok(html! {
            @for svg in svgs { div.paper.found { (PreEscaped(svg)) } }
            p.soft.prose { (words::LEGEND) }
            p.soft {
                (words::PAGE_FROM) " "
                @for (index, (page, _)) in pages.pages.iter().enumerate() {
                    @if index > 0 { "; " }
                    @let number = page.page.to_string();
                    @let sheet = self.record.sheet.to_string();
                    a href=(address("/marking/page.png", &[("test", self.file), ("print", &self.record.test), ("sheet", &sheet), ("page", &number), ("names", if self.hidden { "hidden" } else { "" })])) {
                        (words::file_page(&page.counts.input.file, page.counts.input.number))
                    }
                }
            }
        })
    }

    fn rules(&self, marks: &marking::Marks) -> Result<Markup, Refusal> {
        if marks.rules.is_empty() {
            return Ok(html! { span #rules {} });
        }
        let found = self.record.finding.as_ref().zip(self.record.pages.as_ref());
        let told: Vec<Told> = match found {
            Some((finding, pages)) => self.work.with_rubrics(&self.record.test, |rubrics| {
                let form = form_index(self.record.form).min(rubrics.len() - 1);
                let told = |mark: &RuleMark| match mark.outcome {
                    Outcome::NotMet => {
                        marking::missed_words(mark, &finding.located, &rubrics[form])
                    }
                    _ => String::new(),
                };
                let beats = marking::beats_told(
                    &marks.rules,
                    &pages.drawn(),
                    &finding.located,
                    &rubrics[form],
                );
                marks.rules.iter().map(told).zip(beats).collect()
            })?,
            None => Vec::new(),
        };
        Ok(html! {
            section aria-labelledby="rules" {
                h2 #rules { (words::RULES) }
                div.scroll { table.wide.rules {
                    thead { tr {
                        th scope="col" { "No." } th scope="col" { (words::RULE) }
                        th.number scope="col" { (words::MEASURED) } th.number scope="col" { (words::ASKED) }
                        th.number scope="col" { (words::TOLERATED) } th scope="col" { (words::OUTCOME) }
                        th.number scope="col" { (words::SURE) } th.number scope="col" { (words::POINTS) }
                        th scope="col" { (words::OVERRULE) }
                    } }
                    tbody {
                        @for index in 0..marks.rules.len() {
                            (self.rule(index + 1, marks, told.get(index)))
                        }
                    }
                    tfoot { tr {
                        th scope="row" colspan="7" { (words::TOTAL) }
                        td.number { (words::of_points(marks.points(), marks.max_points())) }
                        td { @if marks.open_points() > 0.0 { (words::still_open(marks.open_points())) } }
                    } }
                } }
            }
        })
    }

    fn rule(&self, number: usize, marks: &marking::Marks, told: Option<&Told>) -> Markup {
        let mark = &marks.rules[number - 1];
        let (told, beat) = told.map_or(("", None), |(told, beat)| (told.as_str(), *beat));
        let rule = self.work.convention().rule(&mark.id);
        let text = rule.map_or(mark.id.as_str(), |rule| rule.text.as_str());
        let cause = rule.map_or("", |rule| rule.cause.as_str());
        let (sign, word) = match mark.outcome {
            _ if mark.uncounted.is_some() => ("–", words::NOT_COUNTED),
            Outcome::Met => ("✓", words::MET),
            Outcome::NotMet => ("✗", words::NOT_MET),
            Outcome::Review if mark.is_open() => ("?", words::TO_SAY),
            Outcome::Review => ("–", words::NOT_ASKED),
        };
        let measured = mark.measured_mm.is_some();
        let withheld = marking::withheld_words(mark, marks, self.work.convention());
        html! {
            tr id={ "rule-" (number) } {
                td { (number) }
                th scope="row" {
                    strong { (text) }
                    p {
                        @if !told.is_empty() { (told) } @else { (mark.why) }
                        @if mark.off_mm.abs() >= 0.05 && measured { " (" (words::OFF) " " (mm(mark.off_mm)) ")" }
                        @if mark.is_open() { @if let Some(question) = &mark.question { " " em { (question) } } }
                    }
                    @if !cause.is_empty() { p.soft.cause { (cause) "." } }
                    @if !withheld.is_empty() { p { (withheld) } }
                }
                td.number {
                    (mark.measured_mm.map_or_else(|| "–".to_owned(), mm))
                    @if let Some((beat, of)) = beat { span.soft.cause { (words::beat(beat, of)) } }
                }
                td.number { (asked(mark)) }
                td.number { @if measured { "± " (mm(mark.tolerance_mm)) } @else { "–" } }
                td { span.sign aria-hidden="true" { (sign) } " " (word)
                    @if mark.decided.is_some() { span.soft.cause { (words::BY_YOU) ": " (decided_word(mark).unwrap_or_default()) } }
                }
                td.number { @if mark.proposal.is_some() || measured { (format!("{:.0} %", 100.0 * mark.confidence)) } @else { "–" } }
                td.number { (points(mark)) }
                td { (self.overrule(mark)) }
            }
        }
    }

    fn overrule(&self, mark: &RuleMark) -> Markup {
        let id = |what: &str| format!("{what}-{}", mark.id);
        html! {
            details.overrule {
                summary aria-label={ (words::OVERRULE) ": " (mark.id) } { (words::OVERRULE) }
                form action="/marking/decide" method="post" data-post="" {
                    (self.hidden_fields())
                    input type="hidden" name="rule" value=(mark.id);
                    span.choice {
                        label for=(id("decision")) { (words::DECISION) }
                        select id=(id("decision")) name="decision" {
                            @for (word, title) in words::DECISIONS { option value=(word) { (title) } }
                        }
                    }
                    span.choice {
                        label for=(id("number")) { (words::NUMBER) }
                        input id=(id("number")) name="number" type="number" min="0" step="0.25" max="1000";
                    }
                    span.choice {
                        label for=(id("why")) { (words::REASON) }
                        input id=(id("why")) name="why" type="text" maxlength="300";
                    }
                    (self.who())
                    button { (words::KEEP) }
                    p.fault role="alert" {}
                }
            }
        }
    }

    /// Asks who decides where that is not known yet; the page keeps it before it keeps the
    /// decision.
    fn who(&self) -> Markup {
        let known = !self.folder.settings().who.trim().is_empty();
        html! {
            @if !known {
                label.choice { (words::YOUR_NAME) input name="who" type="text" maxlength="120" required data-who=""; }
            }
        }
    }

    fn hidden_fields(&self) -> Markup {
        html! {
            input type="hidden" name="test" value=(self.file);
            input type="hidden" name="print" value=(self.record.test);
            input type="hidden" name="sheet" value=(self.record.sheet);
        }
    }

    fn history(&self) -> Result<Markup, Refusal> {
        let course = database(self.folder)?;
        let history =
            course.history(&self.record.test, self.record.sheet).map_err(Failure::from)?;
        let back: Vec<DecisionId> = history
            .iter()
            .filter_map(|one| match one.what {
                What::Withdrawn(id) => Some(id),
                _ => None,
            })
            .collect();
        Ok(html! {
            section aria-labelledby="history" {
                h2 #history { (words::HISTORY) }
                @if history.is_empty() { p { (words::NO_HISTORY) } } @else {
                    div.scroll { table.wide {
                        thead { tr {
                            th scope="col" { (words::WHEN) } th scope="col" { (words::WHO) }
                            th scope="col" { (words::WHAT) } th scope="col" { (words::REASON) } td {}
                        } }
                        tbody { @for one in history.iter().rev() {
                            tr {
                                td.time { time datetime=(one.by.at) { (one.by.at.replace(['T', 'Z'], " ").trim_end()) } }
                                td { (one.by.who) }
                                td { (self.what(&course, one, &history)?) @if back.contains(&one.id) { " " span.tag { (words::TAKEN_BACK) } } }
                                td { (one.by.why) }
                                td { @if !matches!(one.what, What::Student(_) | What::Withdrawn(_)) && !back.contains(&one.id) { (self.take_back(one)) } }
                            }
                        } }
                    } }
                }
            }
        })
    }

    fn take_back(&self, one: &Decision) -> Markup {
        html! {
            form action="/marking/takeback" method="post" data-post="" {
                (self.hidden_fields())
                input type="hidden" name="decision" value=(one.id.0);
                (self.who())
                button { (words::TAKE_BACK) }
                p.fault role="alert" {}
            }
        }
    }

    /// A decision in words.
    fn what(&self, course: &Course, one: &Decision, all: &[Decision]) -> Result<String, Refusal> {
        let scan = |id: PageId| -> Result<String, Refusal> {
            let input = course.page(id).map_err(Failure::from)?.input;
            Ok(words::file_page(&input.file, input.number))
        };
        Ok(match &one.what {
            What::Rule { rule, ruling } => {
                let said = match ruling {
                    course::Ruling::Outcome(course::Outcome::Met) => "met".to_owned(),
                    course::Ruling::Outcome(course::Outcome::Half) => "half".to_owned(),
                    course::Ruling::Outcome(course::Outcome::NotMet) => "not met".to_owned(),
                    course::Ruling::Points(points) => {
                        format!("{} points", words::number(*points))
                    }
                    course::Ruling::Waived => "does not count".to_owned(),
                    course::Ruling::Reweighted(most) => {
                        format!("is worth {} points", words::number(*most))
                    }
                    course::Ruling::Blind(_) => "judged once more, blind".to_owned(),
                };
                format!("{rule}: {said}")
            }
            What::Student(Some(_)) if self.hidden => words::WHOSE.to_owned(),
            What::Student(Some(key)) => format!("{}: {key}", words::WHOSE),
            What::Student(None) => format!("{}: {}", words::WHOSE, words::NOBODY),
            What::Page(id) => format!("{}: {}", scan(*id)?, words::COUNTS),
            What::Aside(id) => format!("{}: {}", scan(*id)?, words::IS_ASIDE),
            What::Withdrawn(id) => {
                let taken = all.iter().find(|one| one.id == *id);
                let taken = taken.map(|one| self.what(course, one, all)).transpose()?;
                format!("{}: {}", words::TAKEN_BACK, taken.unwrap_or_default())
            }
        })
    }

    /// To say whose the sheet is.
    fn whose(&self) -> Result<Markup, Refusal> {
        let students = database(self.folder)?.students().map_err(Failure::from)?;
        if self.hidden || students.is_empty() {
            return Ok(html! {});
        }
        let own = self.record.student.as_ref().map(|student| student.key.as_str());
        Ok(html! {
            section aria-labelledby="whose" {
                h2 #whose { (words::WHOSE) }
                form.actions action="/marking/student" method="post" data-post="" {
                    (self.hidden_fields())
                    label.unseen for="student" { (words::STUDENT) }
                    select #student name="student" {
                        option value="" { (words::NOBODY) }
                        @for student in &students {
                            option value=(student.key) selected[own == Some(student.key.as_str())] { (student.name) }
                        }
                    }
                    (self.who())
                    button { (words::GIVE) }
                    p.fault role="alert" {}
                }
            }
        })
    }
}

/// Such as "1.24 mm".
fn mm(value: f64) -> String {
    format!("{} mm", words::number(value))
}

fn points(mark: &RuleMark) -> String {
    match mark.earned() {
        _ if mark.uncounted.is_some() => "–".to_owned(),
        Some(points) => words::of_points(points, mark.max_points),
        None => format!("? of {}", words::number(mark.max_points)),
    }
}

/// What a rule asks for, in millimetres.
fn asked(mark: &RuleMark) -> String {
    let number = words::number;
    match mark.window_mm {
        _ if mark.measured_mm.is_none() => "–".to_owned(),
        [Some(low), Some(high)] if (low - high).abs() < 0.005 => mm(low),
        [Some(low), Some(high)] => format!("{} to {}", number(low), mm(high)),
        [Some(low), None] => format!("at least {}", mm(low)),
        [None, Some(high)] => format!("at most {}", mm(high)),
        [None, None] => "–".to_owned(),
    }
}
