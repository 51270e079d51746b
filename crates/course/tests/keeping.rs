//! What is added comes back, and what counts is the latest.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

mod common;

use common::*;
use course::{
    By, Course, CourseFault, Decision, Json, Marking, Outcome, ReviewCursor, Ruling, SheetVerdicts,
    What,
};

fn filled() -> Course {
    let course = Course::in_memory().unwrap();
    fill(&course);
    course
}

fn rule(rule: &str, ruling: Ruling) -> What {
    What::Rule { rule: rule.to_owned(), ruling }
}

fn whats(decisions: Vec<Decision>) -> Vec<What> {
    decisions.into_iter().map(|decision| decision.what).collect()
}

fn marking(rubric: &str) -> Marking {
    let (rubric, program) = (rubric.to_owned(), "0.1.0".to_owned());
    Marking { test: TEST.to_owned(), rubric, program, at: AT.to_owned() }
}

fn verdicts(sheet: u32, measured_mm: f64) -> SheetVerdicts {
    let verdict = |rule: &str, mm: f64| (rule.to_owned(), Json::of(&mm).unwrap());
    SheetVerdicts { sheet, verdicts: vec![verdict("s2", measured_mm), verdict("notch", 0.1 + 0.2)] }
}

#[test]
fn tests_and_students_take_their_latest_texts() {
    let course = filled();
    assert!(!course.add_test(&test(), AT).unwrap(), "the same again");
    assert_eq!(course.tests().unwrap(), [test()]);
    let other = course::Test { title: "Week 4".into(), ..test() };
    assert!(course.add_test(&other, AT).unwrap());
    assert_eq!(course.test(TEST).unwrap(), Some(other));
    assert!(course.add_test(&test(), AT).unwrap(), "back to the first");
    assert_eq!(course.tests().unwrap(), [test()]);
    assert_eq!(course.test("A00000").unwrap(), None);

    let students = [student("17", "Ada Brook"), student("18", "Ben Ø. Carr")];
    assert_eq!(course.add_students(&students, AT).unwrap(), 1);
    assert_eq!(course.students().unwrap(), students);
}

#[test]
fn sheets_change_hands_with_a_reason() {
    let course = filled();
    let to = |key: Option<&str>| What::Student(key.map(str::to_owned));
    course.decide(TEST, 3, &to(Some("17")), None, &by("took a spare sheet")).unwrap();
    let lost = course.decide(TEST, 1, &to(None), None, &by("left empty")).unwrap();
    let wanted = [sheet(1, 'A', None), sheet(2, 'B', Some("18")), sheet(3, 'A', Some("17"))];
    assert_eq!(course.sheets(TEST).unwrap(), wanted);
    // Printing again gives nothing back to whom it was taken from.
    course.add_sheets(TEST, &[sheet(1, 'A', Some("17"))], &by("as printed")).unwrap();
    assert_eq!(course.sheets(TEST).unwrap(), wanted);
    course.decide(TEST, 1, &What::Withdrawn(lost), None, &by("it was hers")).unwrap();
    assert_eq!(course.sheets(TEST).unwrap()[0].student.as_deref(), Some("17"));
    let history = course.history(TEST, 1).unwrap();
    let whys: Vec<&str> = history.iter().map(|decision| decision.by.why.as_str()).collect();
    assert_eq!(whys, ["as printed", "left empty", "it was hers"]);

    let error = course.add_sheets(TEST, &[sheet(1, 'B', None)], &by("as printed")).unwrap_err();
    assert!(error.to_string().contains("sheet 1 of test K7M2QX is there with form A, not B"));
    let error = course.decide(TEST, 1, &to(Some("99")), None, &by("hers")).unwrap_err();
    assert_eq!(error.fault, CourseFault::Unknown("student 99".into()));
}

#[test]
fn a_page_that_was_read_need_not_be_read_again() {
    let course = filled();
    let drawing = Json::parse(r#"{"traces": [0.1, 1e-7, "é"]}"#).unwrap();
    let add = |input, picture| course.add_page(&input, &place(7, 2), &drawing, picture, AT);
    assert_eq!(course.page_of("a1", 3, "reader 1").unwrap(), None);
    let id = add(input("a1", 3), Some(&[0, 255, 7][..])).unwrap();
    let page = course.page_of("a1", 3, "reader 1").unwrap().unwrap();
    assert_eq!((page.id, page.place, page.unreadable), (id, Some(place(7, 2)), None));
    assert_eq!((page.input, page.added_at.as_str()), (input("a1", 3), AT));
    assert_eq!(course.drawing(id).unwrap(), Some(drawing.clone()));
    assert_eq!(course.picture(id).unwrap(), Some(vec![0, 255, 7]));
    assert_eq!(course.page_of("a1", 3, "reader 2").unwrap(), None);
    assert_eq!(course.page_of("a1", 2, "reader 1").unwrap(), None);
    // Its sheet is there now, and nobody's.
    assert_eq!(course.sheets(TEST).unwrap()[3], sheet(7, 'A', None));

    let renamed = course::Input { file: "copy of a1.pdf".into(), ..input("a1", 3) };
    assert_eq!(add(renamed, Some(&[0, 255, 7][..])).unwrap(), id, "the same again");
    assert_ne!(add(input("a1", 3), None).unwrap(), id, "another picture");
    let error = course
        .add_page(
            &input("b", 1),
            &course::Place { test: "A00000".into(), ..place(1, 1) },
            &drawing,
            None,
            AT,
        )
        .unwrap_err();
    assert!(
        error.to_string().contains("test A00000 is not in the course; add it first"),
        "{error}"
    );
}

#[test]
fn of_duplicates_the_first_counts_until_another_is_chosen() {
    let course = filled();
    let (first, second) = (add(&course, "a", 1), add(&course, "b", 1));
    let alone = add(&course, "c", 2);
    let counting = || -> Vec<_> {
        let pages = course.sheet_pages(TEST).unwrap();
        let ids = |page: &course::SheetPage| page.others.iter().map(|other| other.id).collect();
        pages
            .iter()
            .map(|page| (page.sheet, page.counts.id, ids(page)))
            .collect::<Vec<(_, _, Vec<_>)>>()
    };
    assert_eq!(counting(), [(1, first, vec![second]), (2, alone, vec![])]);
    let choice = course.decide(TEST, 1, &What::Page(second), None, &by("sharper")).unwrap();
    assert_eq!(counting(), [(1, second, vec![first]), (2, alone, vec![])]);

    // A later version reads the chosen one again: it is still the chosen one.
    let later = course::Input { reader: "reader 2".into(), ..input("b", 1) };
    let drawing = Json::parse("[2]").unwrap();
    let again = course.add_page(&later, &place(1, 1), &drawing, None, AT).unwrap();
    assert_eq!(counting(), [(1, again, vec![first]), (2, alone, vec![])]);
    course.decide(TEST, 1, &What::Withdrawn(choice), None, &by("a slip")).unwrap();
    assert_eq!(counting(), [(1, first, vec![again]), (2, alone, vec![])]);

    let error = course.decide(TEST, 2, &What::Page(first), None, &by("sharper")).unwrap_err();
    assert!(matches!(error.fault, CourseFault::Conflict(_)), "{error}");
}

#[test]
fn what_is_set_aside_does_not_count_until_it_is_brought_back() {
    let course = filled();
    let (first, second) = (add(&course, "a", 1), add(&course, "b", 1));
    let counting = || -> Vec<_> {
        let pages = course.sheet_pages(TEST).unwrap();
        pages.iter().map(|page| (page.sheet, page.counts.id, page.others.len())).collect()
    };
    let why = by("of another class");
    let aside = course.decide(TEST, 1, &What::Aside(first), None, &why).unwrap();
    assert_eq!(counting(), [(1, second, 0)]);
    let told = course.aside_pages(TEST).unwrap();
    assert_eq!((told[0].page.id, told[0].decision, &told[0].by), (first, aside, &why));
    // Neither is it set aside twice, nor chosen.
    for what in [What::Aside(first), What::Page(first)] {
        let error = course.decide(TEST, 1, &what, None, &why).unwrap_err();
        assert!(error.to_string().contains("set aside by R. Amsel"), "{error}");
    }
    let other = course.decide(TEST, 1, &What::Aside(second), None, &why).unwrap();
    assert_eq!(counting(), []);

    // A later version reads it again: it stays aside.
    let later = course::Input { reader: "reader 2".into(), ..input("a", 1) };
    let drawing = Json::parse("[2]").unwrap();
    let again = course.add_page(&later, &place(1, 1), &drawing, None, AT).unwrap();
    assert_eq!(counting(), []);
    let told = course.aside_pages(TEST).unwrap();
    assert_eq!(told.iter().map(|one| one.page.id).collect::<Vec<_>>(), [again, second]);
    course.decide(TEST, 1, &What::Withdrawn(aside), None, &by("ours after all")).unwrap();
    assert_eq!(counting(), [(1, again, 0)]);
    course.decide(TEST, 1, &What::Withdrawn(other), None, &by("ours, too")).unwrap();
    assert_eq!(counting(), [(1, again, 1)]);
    assert_eq!(course.aside_pages(TEST).unwrap(), []);
    assert_eq!(course.page(first).unwrap().input, input("a", 1));
    let error = course.decide(TEST, 2, &What::Aside(second), None, &why).unwrap_err();
    assert!(matches!(error.fault, CourseFault::Conflict(_)), "{error}");
}

#[test]
fn unreadable_pages_are_kept_with_the_reason() {
    let course = filled();
    let unreadable = |hash, place, reason| {
        course.add_unreadable_page(&input(hash, 1), place, reason, None, AT).unwrap()
    };
    let blurred = unreadable("a", None, "blurred");
    let second = place(2, 1);
    let marks = unreadable("b", Some(&second), "two marks were found");
    assert_eq!(unreadable("a", None, "blurred"), blurred);
    let listed: Vec<_> = course.unreadable_pages().unwrap();
    assert_eq!(listed.iter().map(|page| page.id).collect::<Vec<_>>(), [blurred, marks]);
    assert_eq!(listed[1].unreadable.as_deref(), Some("two marks were found"));
    assert_eq!(listed[1].place, Some(second.clone()));
    assert_eq!(course.drawing(marks).unwrap(), None);
    assert_eq!(course.sheet_pages(TEST).unwrap(), []);
    let error = course.decide(TEST, 2, &What::Page(marks), None, &by("good enough")).unwrap_err();
    assert!(error.to_string().contains("could not be read as one of sheet 2"), "{error}");
    // Once it is read, it is no longer among them.
    let read = add(&course, "b", 2);
    assert_eq!(course.unreadable_pages().unwrap().len(), 1);
    assert_eq!(course.sheet_pages(TEST).unwrap()[0].counts.id, read);
}

#[test]
fn the_marking_accepted_last_counts() {
    let course = filled();
    let first = [verdicts(2, 1.5), verdicts(1, 0.25)];
    let second = [verdicts(1, 0.5)];
    let old = course.add_marking(&marking("old"), &first, Some(&by("first run"))).unwrap();
    let new = course.add_marking(&marking("new"), &second, None).unwrap();
    let counting = || course.marking(TEST).unwrap().unwrap();
    assert_eq!((counting().id, counting().marking), (old, marking("old")));
    assert_eq!(course.verdicts(old).unwrap(), first);
    assert_eq!(course.verdicts(new).unwrap(), second);
    assert_eq!(course.verdicts(old).unwrap()[0].verdicts[1].1.to::<f64>().unwrap(), 0.1 + 0.2);

    let accept = |id, why| course.accept_marking(id, &by(why)).unwrap();
    accept(new, "wider tolerance");
    accept(new, "clicked twice");
    assert_eq!((counting().id, counting().accepted), (new, vec![by("wider tolerance")]));
    accept(old, "the old one was fairer");
    let ids: Vec<_> = course.markings(TEST).unwrap().iter().map(|known| known.id).collect();
    assert_eq!((counting().id, ids), (old, vec![old, new]));
    assert_eq!(counting().accepted.len(), 2);
}

#[test]
fn a_marking_is_whole_or_absent() {
    let course = filled();
    for (bad, message) in [
        (verdicts(99, 1.0), "sheet 99 of test K7M2QX is not in the course"),
        (verdicts(1, 2.0), "sheet 1 of test K7M2QX has two verdicts on “s2”"),
    ] {
        let sheets = [verdicts(1, 1.0), bad];
        let error = course.add_marking(&marking("m"), &sheets, None).unwrap_err();
        assert!(error.to_string().contains(message), "{error}");
    }
    let nameless = By::new(" ", AT, "first run");
    let error = course.add_marking(&marking("m"), &[verdicts(1, 1.0)], Some(&nameless));
    assert_eq!(error.unwrap_err().fault, CourseFault::Missing("who"));
    assert_eq!(course.markings(TEST).unwrap(), []);
}

#[test]
fn decisions_count_until_the_next_or_until_they_are_taken_back() {
    let course = filled();
    let seen = course.add_marking(&marking("m"), &[verdicts(1, 1.0)], None).unwrap();
    let decide = |what: &What| course.decide(TEST, 1, what, Some(seen), &by("seen")).unwrap();
    let met = rule("s2", Ruling::Outcome(Outcome::Met));
    let half = rule("s2", Ruling::Outcome(Outcome::Half));
    let points = rule("s2", Ruling::Points(1.5));
    let waived = rule("s2", Ruling::Waived);
    let reweighted = rule("s2", Ruling::Reweighted(3.0));
    let elsewhere = rule("notch", Ruling::Outcome(Outcome::NotMet));
    let now = || {
        let mut now = whats(course.decisions(TEST).unwrap());
        now.retain(|what| !matches!(what, What::Student(_)));
        now
    };
    decide(&met);
    decide(&elsewhere);
    let last = decide(&half);
    assert_eq!(now(), [elsewhere.clone(), half.clone()]);
    decide(&rule("s2", Ruling::Blind(Outcome::NotMet)));
    assert_eq!(now(), [elsewhere.clone(), half.clone()], "a blind judgement never counts");
    let weight = decide(&waived);
    decide(&reweighted);
    let replaced = decide(&points);
    assert_eq!(now(), [elsewhere.clone(), reweighted.clone(), points.clone()]);
    decide(&What::Withdrawn(replaced));
    decide(&What::Withdrawn(last));
    decide(&What::Withdrawn(weight));
    assert_eq!(now(), [met.clone(), elsewhere.clone(), reweighted.clone()]);

    let history = course.history(TEST, 1).unwrap();
    assert_eq!(history.len(), 11);
    assert_eq!(history[1].what, met);
    assert_eq!((history[1].seen, &history[1].by), (Some(seen), &by("seen")));
    assert_eq!(history[10].what, What::Withdrawn(weight));
    assert_eq!(course.history(TEST, 3).unwrap(), []);
}

#[test]
fn decisions_need_who_when_and_why_and_what_they_name() {
    let course = filled();
    let met = rule("s2", Ruling::Outcome(Outcome::Met));
    let refuse =
        |sheet, what: &What, by: &By| course.decide(TEST, sheet, what, None, by).unwrap_err().fault;
    assert_eq!(refuse(1, &met, &By::new("", AT, "seen")), CourseFault::Missing("who"));
    assert_eq!(refuse(1, &met, &By::new("R.", AT, "\t")), CourseFault::Missing("why"));
    assert_eq!(refuse(1, &met, &By::new("R.", "today", "seen")), CourseFault::Time("today".into()));
    assert!(matches!(refuse(9, &met, &by("seen")), CourseFault::Unknown(_)));
    for points in [Ruling::Points(f64::NAN), Ruling::Reweighted(-1.0)] {
        assert_eq!(refuse(1, &rule("s2", points), &by("seen")), CourseFault::Points);
    }
    let id = course.decide(TEST, 1, &met, None, &by("seen")).unwrap();
    let withdraw = What::Withdrawn(id);
    assert!(matches!(refuse(2, &withdraw, &by("slip")), CourseFault::Unknown(_)), "another sheet");
    let withdrawal = course.decide(TEST, 1, &withdraw, None, &by("slip")).unwrap();
    assert_eq!(
        refuse(1, &withdraw, &by("slip")).to_string(),
        format!("decision {} was already taken back by R. Amsel at {AT}", id.0)
    );
    let fault = refuse(1, &What::Withdrawn(withdrawal), &by("slip"));
    assert!(fault.to_string().contains("decide again instead"), "{fault}");
}

#[test]
fn a_review_resumes_where_it_stopped() {
    let course = filled();
    let cursor = |who: &str, rule: &str, sheet| ReviewCursor {
        who: who.to_owned(),
        test: TEST.to_owned(),
        rule: rule.to_owned(),
        sheet,
    };
    assert_eq!(course.review_cursor("R. Amsel", TEST).unwrap(), None);
    for stop in [("R. Amsel", "s2", 1), ("T. Finch", "s2", 2), ("R. Amsel", "notch", 3)] {
        course.set_review_cursor(&cursor(stop.0, stop.1, stop.2)).unwrap();
    }
    let of = |who| course.review_cursor(who, TEST).unwrap().unwrap();
    assert_eq!(of("R. Amsel"), cursor("R. Amsel", "notch", 3));
    assert_eq!(of("T. Finch"), cursor("T. Finch", "s2", 2));
}

#[test]
fn only_json_is_taken_for_json() {
    assert!(Json::parse("{").is_err());
    assert!(Json::parse("{} {}").is_err());
    assert_eq!(Json::parse("{ }").unwrap().text(), "{ }");
    assert_eq!(Json::of(&[1.0, f64::NAN]).unwrap().text(), "[1.0,null]");
    assert!(Json::parse("[1]").unwrap().to::<String>().is_err());
}
