//! Everything that is known of a class's sheets, for all that is written.

use std::collections::{BTreeMap, BTreeSet};

use course::{AsidePage, Course, Page, SheetPage, Student};
use marking::{Marks, Outcome, RuleMark};

use crate::failure::Failure;
use crate::mark::inputs::{Inputs, State};
use crate::mark::prints::Books;
use crate::mark::reading::FIRST_COPY;
use crate::mark::results::{
    Drawing, PageImage, PageResult, PageStatus, Results, Status, drawn, landmarks, rounded, rules,
};
use crate::mark::sheets::{Finding, Marked, SheetPages, form_index, rulings};

/// A trace that is followed with less than this is said to be hardly legible (tuned by eye).
const LEGIBLE: f64 = 0.5;

/// What is said of a page that was read as one of another test.
const ELSEWHERE: &str = "it was read as a sheet of another test of this course";

/// One sheet.
pub(crate) struct Record {
    pub(crate) test: String,
    pub(crate) sheet: u32,
    pub(crate) form: char,
    pub(crate) student: Option<Student>,
    /// Pages that could be read; none where none could.
    pub(crate) pages: Option<SheetPages>,
    /// What counts about it, decisions taken in.
    pub(crate) finding: Option<Finding>,
    /// Pages of this sheet that a person set aside.
    pub(crate) aside: Vec<AsidePage>,
    /// Pages that are of this sheet and could not be read.
    unreadable: Vec<Page>,
    /// Numbers of pages that are not there, of how many.
    missing: (Vec<u32>, usize),
}

impl Record {
    /// None where nothing was handed in.
    pub(crate) fn status(&self) -> Option<Status> {
        match &self.finding {
            Some(finding) => {
                let open = finding.marks.open().next().is_some() || !self.missing.0.is_empty();
                Some(if open { Status::Review } else { Status::Marked })
            }
            None => (!self.unreadable.is_empty()).then_some(Status::Unreadable),
        }
    }

    pub(crate) fn marks(&self) -> Option<&Marks> {
        self.finding.as_ref().map(|finding| &finding.marks)
    }

    /// The student's name and number; of those without one, the number is empty.
    pub(crate) fn whose(&self) -> Option<(&str, &str)> {
        self.student.as_ref().map(|student| {
            let id = if student.key == student.name { "" } else { student.key.as_str() };
            (student.name.as_str(), id)
        })
    }

    /// Which pages are missing, in words.
    pub(crate) fn missing_pages(&self) -> Vec<String> {
        let (missing, of) = &self.missing;
        missing.iter().map(|page| format!("page {page} of {of} is missing")).collect()
    }

    fn reasons(&self) -> Vec<String> {
        let mut reasons = self.remarks();
        let open = self.marks().map_or(0, |marks| marks.open().count());
        if open > 0 {
            let rules = if open == 1 { "rule is" } else { "rules are" };
            reasons.push(format!("{open} {rules} for a person to say"));
        }
        reasons.extend(self.unknown().map(str::to_owned));
        reasons
    }

    /// Why nobody is known to whom it belongs.
    pub(crate) fn unknown(&self) -> Option<&'static str> {
        if self.student.is_some() || self.status().is_none() {
            return None;
        }
        Some(if self.sheet >= FIRST_COPY {
            "a copy of a master: its number names nobody"
        } else {
            "the student is not known: the sheet's number is not in the list"
        })
    }

    /// What is to be known about its pages.
    pub(crate) fn remarks(&self) -> Vec<String> {
        let mut reasons = self.missing_pages();
        for one in &self.aside {
            let Page { input, .. } = &one.page;
            reasons.push(format!("{}, page {}: {}", input.file, input.number, set_aside(one)));
        }
        for Page { input, unreadable, .. } in &self.unreadable {
            let why = unreadable.as_deref().unwrap_or_default();
            reasons.push(format!("{}, page {}: {why}", input.file, input.number));
        }
        for (page, kept) in self.pages.iter().flat_map(|pages| &pages.pages) {
            let on = format!("page {}", page.page);
            reasons.extend(kept.remarks.iter().map(|remark| format!("{on}: {remark}")));
            let drawn = &kept.drawn;
            let sounds = drawn.sounds.iter().filter(|one| !one.envelope_mm.is_empty());
            let sounds = sounds.map(|one| (&one.channel, one.sure));
            let traces = drawn.traces.iter().filter(|one| !one.points_mm.is_empty());
            let traces = traces.map(|one| (&one.channel, one.sure));
            for (channel, _) in traces.chain(sounds).filter(|(_, sure)| *sure < LEGIBLE) {
                reasons.push(format!("{on}: what is drawn for {channel} is hardly legible"));
            }
        }
        reasons
    }

    fn drawing(&self, status: Status) -> Drawing {
        let pages = self.pages.as_ref().map_or(&[][..], |pages| &pages.pages);
        let (traces, sounds, bars) =
            self.pages.as_ref().map(|pages| drawn(&pages.drawn())).unwrap_or_default();
        let squares: f64 = pages.iter().map(|(_, kept)| kept.residual_mm.powi(2)).sum();
        let nothing = Marks::default();
        let marks = self.marks().unwrap_or(&nothing);
        let image = |(page, _): &(SheetPage, _)| PageImage {
            page: page.page,
            file: page.counts.input.file.clone(),
            file_page: page.counts.input.number,
        };
        Drawing {
            test: self.test.clone(),
            sheet: self.sheet,
            form: self.form,
            student: self.whose().map(|(name, _)| name.to_owned()),
            student_id: self.whose().map(|(_, id)| id.to_owned()).filter(|id| !id.is_empty()),
            page_images: pages.iter().map(image).collect(),
            registration_rms_mm: (!pages.is_empty())
                .then(|| rounded((squares / pages.len() as f64).sqrt())),
            status,
            reasons: self.reasons(),
            traces,
            sounds,
            bars,
            landmarks: self.finding.as_ref().map(|f| landmarks(&f.located)).unwrap_or_default(),
            rules: rules(marks),
            points: rounded(marks.points()),
            max_points: rounded(marks.max_points()),
            open_points: rounded(marks.open_points()),
        }
    }
}

/// A class's work on a test.
pub(crate) struct Class {
    /// What codes call the test as its file describes it.
    pub(crate) test: String,
    pub(crate) title: String,
    /// Sheet by sheet, the test's own print first.
    pub(crate) records: Vec<Record>,
    pub(crate) pages: Vec<PageResult>,
}

impl Class {
    /// Takes everything together; `marked` has the prints in their order.
    pub(crate) fn new(
        course: &Course,
        books: &Books<'_>,
        title: &str,
        marked: Vec<(String, Marked)>,
        inputs: &Inputs,
    ) -> Result<Self, Failure> {
        let students: BTreeMap<String, Student> =
            course.students()?.into_iter().map(|one| (one.key.clone(), one)).collect();
        let unreadable = course.unreadable_pages()?;
        let (mut places, mut all_aside) = (BTreeMap::new(), BTreeMap::new());
        let mut records = Vec::new();
        for (test, Marked { sheets, mut findings, .. }) in marked {
            let rulings = rulings(course, &test)?;
            for page in sheets.iter().flat_map(|sheet| &sheet.pages) {
                for own in std::iter::once(&page.0.counts).chain(&page.0.others) {
                    let key = (own.input.hash.clone(), own.input.number);
                    places.insert(key, page.0.clone());
                }
            }
            let aside = course.aside_pages(&test)?;
            for one in &aside {
                let key = (one.page.input.hash.clone(), one.page.input.number);
                all_aside.insert(key, one.clone());
            }
            let mut pages: BTreeMap<u32, SheetPages> =
                sheets.into_iter().map(|sheet| (sheet.sheet, sheet)).collect();
            for sheet in course.sheets(&test)? {
                let pages = pages.remove(&sheet.sheet);
                let of = books.book(&test).map_or(0, |book| {
                    book.layouts(form_index(sheet.form).min(book.forms() - 1)).len()
                });
                let missing = pages.as_ref().map(|pages| pages.missing(of)).unwrap_or_default();
                let mut finding = findings.remove(&sheet.sheet);
                if let Some(finding) = &mut finding {
                    rulings.take_in(sheet.sheet, &mut finding.marks);
                }
                let own = |page: &&Page| {
                    let place = page.place.as_ref();
                    place.is_some_and(|place| {
                        (&place.test, place.sheet) == (&test, sheet.sheet)
                            && (pages.is_none() || missing.contains(&place.page))
                    })
                };
                let of_sheet = |one: &&AsidePage| {
                    one.page.place.as_ref().is_some_and(|place| place.sheet == sheet.sheet)
                };
                records.push(Record {
                    test: test.clone(),
                    sheet: sheet.sheet,
                    form: sheet.form,
                    student: sheet.student.and_then(|key| students.get(&key).cloned()),
                    aside: aside.iter().filter(of_sheet).cloned().collect(),
                    unreadable: unreadable.iter().filter(own).cloned().collect(),
                    pages,
                    finding,
                    missing: (missing, of),
                });
            }
        }
        let pages = page_results(course, inputs, &places, &all_aside)?;
        let test = books.editions.own_id();
        Ok(Self { test, title: title.to_owned(), records, pages })
    }

    /// What was handed in, sheet by sheet.
    pub(crate) fn handed_in(&self) -> impl Iterator<Item = (&Record, Status)> {
        self.records.iter().filter_map(|record| Some((record, record.status()?)))
    }

    pub(crate) fn results(&self) -> Results {
        let drawings = self.handed_in().map(|(record, status)| record.drawing(status));
        Results {
            test: self.test.clone(),
            title: self.title.clone(),
            drawings: drawings.collect(),
            pages: self.pages.clone(),
        }
    }

    /// The rules of all sheets, in the order of their first sheet.
    pub(crate) fn rules(&self) -> Vec<&str> {
        let mut rules: Vec<&str> = Vec::new();
        for rule in self.records.iter().filter_map(Record::marks).flat_map(|marks| &marks.rules) {
            if !rules.contains(&rule.id.as_str()) {
                rules.push(&rule.id);
            }
        }
        rules
    }

    /// Rules by how many sheets miss them, most first: their names, and how many of how many.
    pub(crate) fn missed(&self) -> Vec<(&str, usize, usize)> {
        let count = |id: &str, wanted: &[Outcome]| {
            let rules =
                self.records.iter().filter_map(Record::marks).flat_map(|marks| &marks.rules);
            let counts = |rule: &&RuleMark| rule.id == id && rule.max_points > 0.0;
            rules.filter(counts).filter(|rule| wanted.contains(&rule.outcome)).count()
        };
        let settled = [Outcome::Met, Outcome::NotMet];
        let mut missed: Vec<(&str, usize, usize)> = self
            .rules()
            .into_iter()
            .map(|id| (id, count(id, &[Outcome::NotMet]), count(id, &settled)))
            .filter(|(_, missed, _)| *missed > 0)
            .collect();
        missed.sort_by_key(|(_, missed, _)| std::cmp::Reverse(*missed));
        missed
    }
}

/// Who set a page aside, and why, in words.
fn set_aside(AsidePage { by, .. }: &AsidePage) -> String {
    format!("set aside by {}: {}", by.who, by.why)
}

/// What became of each page that was given.
fn page_results(
    course: &Course,
    inputs: &Inputs,
    places: &BTreeMap<(String, u32), SheetPage>,
    aside: &BTreeMap<(String, u32), AsidePage>,
) -> Result<Vec<PageResult>, Failure> {
    let mut results = Vec::new();
    let mut listed = BTreeSet::new();
    for page in &inputs.pages {
        let file = &inputs.files[page.file];
        let mut result = PageResult {
            file: file.name.clone(),
            page: page.number,
            status: PageStatus::Unreadable,
            sheet: None,
            reason: None,
        };
        let key = (file.hash.clone(), page.number);
        let place = places.get(&key);
        result.sheet = place.map(|place| place.sheet);
        match (&page.state, place) {
            (State::Closed(reason), _) => result.reason = Some(reason.clone()),
            (State::Same(first), _) => {
                result.status = PageStatus::Duplicate;
                let first = &inputs.files[*first].name;
                result.reason = Some(format!("the file is the same as {first}"));
            }
            (_, Some(place)) => (result.status, result.reason) = standing(place, &key),
            (_, None) if aside.contains_key(&key) => {
                let one = &aside[&key];
                result.status = PageStatus::Aside;
                result.sheet = one.page.place.as_ref().map(|place| place.sheet);
                result.reason = Some(set_aside(one));
            }
            (_, None) => {
                let known = course.page_of(&file.hash, page.number, reader::VERSION)?;
                if let Some(known) = known {
                    let elsewhere = known.unreadable.is_none() && known.place.is_some();
                    result.sheet = known.place.map(|place| place.sheet);
                    result.reason =
                        known.unreadable.or_else(|| elsewhere.then(|| ELSEWHERE.to_owned()));
                }
            }
        }
        results.push(result);
        listed.insert(key);
    }
    // What was given on another day, and is kept.
    let mut kept = |page: &Page, sheet: Option<u32>, status, reason| {
        if listed.insert((page.input.hash.clone(), page.input.number)) {
            let (file, page) = (page.input.file.clone(), page.input.number);
            results.push(PageResult { file, page, status, sheet, reason });
        }
    };
    for (key, place) in places {
        let all = std::iter::once(&place.counts).chain(&place.others);
        for page in all.filter(|page| (&page.input.hash, page.input.number) == (&key.0, key.1)) {
            let (status, reason) = standing(place, key);
            kept(page, Some(place.sheet), status, reason);
        }
    }
    for one in aside.values() {
        let sheet = one.page.place.as_ref().map(|place| place.sheet);
        kept(&one.page, sheet, PageStatus::Aside, Some(set_aside(one)));
    }
    for page in course.unreadable_pages()? {
        let sheet = page.place.as_ref().map(|place| place.sheet);
        kept(&page, sheet, PageStatus::Unreadable, page.unreadable.clone());
    }
    Ok(results)
}

/// Whether a page that was read is the one of its sheet that counts, and which one does otherwise.
fn standing(place: &SheetPage, key: &(String, u32)) -> (PageStatus, Option<String>) {
    let SheetPage { sheet, page: number, counts: Page { input, .. }, .. } = place;
    if (&input.hash, input.number) == (&key.0, key.1) {
        return (PageStatus::Read, None);
    }
    let reason = format!(
        "page {number} of sheet {sheet} is there already: {}, page {}",
        input.file, input.number
    );
    (PageStatus::Duplicate, Some(reason))
}
