//! Feedback and class pages of invented classes.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

mod support;

use std::fs;
use std::path::Path;

use figure::{Block, Page, Shape};
use marking::{
    Class, ClassForm, ClassSheet, Feedback, Head, Outcome, Ruling, class_pages, feedback_pages,
    statistics,
};
use support::{Done, Exam, Hand, class};

const FIRST: &str = r#"
title = "Test 1: sounds and pressure"
course = "Human Anatomy and Physiology I"
convention = "first_course"
given = ["ecg"]
beats = 2
forms = 2
seed = 20

[heart]
rate_bpm = [68, 82]
"#;

const ONE_BEAT: &str = r#"
title = "Test 1: all three traces"
course = "Human Anatomy and Physiology I"
convention = "first_course"
given = []
beats = 1
mm_per_s = 200
"#;

const LEFT_HEART: &str = r#"
title = "Test 2: the left heart"
course = "Human Anatomy and Physiology I"
convention = "left_heart"
given = ["ecg"]
beats = 2
"#;

const TWO_PAGES: &str = r#"
title = "Test 3: pressure, then volume"
convention = "left_heart"

[[pages]]
panels = ["ecg", "heart_sounds", "aortic_pressure"]
bars = ["aortic"]
given = ["ecg"]

[[pages]]
panels = ["lv_pressure", "la_pressure", "lv_volume"]
bars = ["mitral"]
given = []
"#;

const LETTER: [f64; 2] = [215.9, 279.4];

fn head<'a>(exam: &'a Exam) -> Head<'a> {
    Head {
        test: &exam.test.title,
        course: &exam.test.course,
        size_mm: LETTER,
        large_print: exam.test.large_print,
    }
}

fn feedback<'a>(exam: &'a Exam, done: &'a Done, name: Option<&'a str>) -> Feedback<'a> {
    Feedback {
        sheet: 12,
        name,
        form: Some('A'),
        rubric: &exam.rubrics[done.form],
        drawn: &done.drawn,
        located: &done.located,
        marks: &done.marks,
        pictures: &[],
    }
}

fn of_class(done: &Done) -> ClassSheet<'_> {
    ClassSheet { form: done.form, drawn: &done.drawn, located: &done.located, marks: &done.marks }
}

fn pages_of_class(exam: &Exam, all: &[Done], large_print: bool) -> Vec<Page> {
    let letter = |index: usize| (exam.rubrics.len() > 1).then(|| char::from(b'A' + index as u8));
    let form = |(index, rubric)| ClassForm { letter: letter(index), rubric };
    let forms: Vec<ClassForm<'_>> = exam.rubrics.iter().enumerate().map(form).collect();
    let sheets: Vec<ClassSheet<'_>> = all.iter().map(of_class).collect();
    let class = Class { forms: &forms, sheets: &sheets };
    class_pages(&class, &statistics(&class), &Head { large_print, ..head(exam) })
}

/// Writes pages of every kind for a person to look at.
#[test]
#[ignore = "writes pages to look at"]
fn pages_to_look_at() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("marking");
    fs::create_dir_all(&folder).unwrap();
    let write = |name: &str, pages: &[Page]| {
        let pdf = figure::pdf_of(pages, name).unwrap();
        fs::write(folder.join(format!("{name}.pdf")), pdf).unwrap();
    };
    for (kind, text) in [
        ("first", FIRST),
        ("one_beat", ONE_BEAT),
        ("left_heart", LEFT_HEART),
        ("two_pages", TWO_PAGES),
    ] {
        let exam = Exam::new(text);
        let all = class(&exam, 24);
        write(&format!("{kind}-class-large"), &pages_of_class(&exam, &all[..12], true));
        write(&format!("{kind}-class"), &pages_of_class(&exam, &all, false));
        let mut pages = Vec::new();
        let names = [
            Some("Maria Lindqvist"),
            None,
            Some("Wilhelmina Alexandrina Featherstonehaugh-Cholmondeley van den Oudenrijn"),
            Some("李"),
        ];
        for (done, name) in all[2..6].iter().zip(names) {
            let pictures = exam.pictures(done);
            let one = Feedback { pictures: &pictures, ..feedback(&exam, done, name) };
            pages.extend(feedback_pages(&[one], &head(&exam)));
        }
        for hand in hands(&exam) {
            let done = exam.draw(0, &hand);
            let pictures = exam.pictures(&done);
            let one = Feedback { pictures: &pictures, ..feedback(&exam, &done, Some("Jo Sand")) };
            pages.extend(feedback_pages(&[one], &head(&exam)));
        }
        let done = &all[8];
        pages.extend(feedback_pages(&[feedback(&exam, done, Some("Without Scan"))], &head(&exam)));
        let large = Head { large_print: true, ..head(&exam) };
        pages.extend(feedback_pages(&[feedback(&exam, done, Some("Large Print"))], &large));
        write(&format!("{kind}-feedback"), &pages);
    }
}

/// Texts that leave the page, and texts of pictures that cover one another.
fn faults(pages: &[Page]) -> Vec<String> {
    let mut faults = Vec::new();
    for page in pages {
        let whole = figure::Box2::new(0.0, 0.0, page.width_mm, page.height_mm);
        for block in &page.blocks {
            let texts: Vec<(String, figure::Box2)> = block
                .shapes()
                .into_iter()
                .filter_map(|shape| match shape {
                    Shape::Text { text, .. } => Some((text.clone(), shape.text_box()?)),
                    _ => None,
                })
                .collect();
            for (index, (text, area)) in texts.iter().enumerate() {
                if !whole.holds(area) {
                    faults.push(format!("{text} leaves the page: {area:?}"));
                }
                let is_crowded = matches!(block, Block::Picture { .. } | Block::Table(_));
                for (other, covered) in &texts[..index] {
                    if is_crowded && area.overlaps(covered) {
                        faults.push(format!("{text} covers {other}"));
                    }
                }
            }
        }
    }
    faults
}

/// The numbers before the items of all lists.
fn numbers(pages: &[Page]) -> Vec<usize> {
    let items = pages.iter().flat_map(|page| &page.blocks).filter_map(|block| match block {
        Block::List(items) => Some(items),
        _ => None,
    });
    let mut numbers: Vec<usize> = items
        .flatten()
        .flat_map(|item| &item.label)
        .filter_map(|shape| match shape {
            Shape::Text { text, .. } => text.parse().ok(),
            _ => None,
        })
        .collect();
    numbers.sort_unstable();
    numbers
}

fn hands(exam: &Exam) -> Vec<Hand> {
    let rubric = &exam.rubrics[0];
    let panels = rubric.panels.iter().map(|on| on.place.channel.clone());
    let all: Vec<String> =
        panels.chain(rubric.bars.iter().map(|on| on.place.bar.clone())).collect();
    let far =
        |(index, name): (usize, &String)| (name.clone(), if index % 2 == 0 { 9.0 } else { -9.0 });
    vec![
        Hand { seed: 2, ..Hand::default() },
        Hand { without: all.clone(), ..Hand::default() },
        Hand {
            shift_mm: all.iter().enumerate().map(far).collect(),
            second_mm: 12.0,
            ..Hand::default()
        },
    ]
}

#[test]
fn every_rule_asked_is_told_once_and_everything_has_its_room() {
    for text in [FIRST, ONE_BEAT, LEFT_HEART, TWO_PAGES] {
        let exam = Exam::new(text);
        for hand in hands(&exam) {
            let done = exam.draw(0, &hand);
            let asked = exam.rubrics[0].asked.len();
            assert_eq!(done.marks.rules.len(), asked);
            let one = feedback(&exam, &done, Some("Maria Lindqvist"));
            for large_print in [false, true] {
                let pages = feedback_pages(&[one], &Head { large_print, ..head(&exam) });
                assert_eq!(numbers(&pages), (1..=asked).collect::<Vec<_>>(), "{text} {hand:?}");
                assert_eq!(faults(&pages), Vec::<String>::new(), "{text} {hand:?} {large_print}");
                figure::pdf_of(&pages, "Feedback").unwrap();
            }
        }
    }
}

#[test]
fn a_miss_is_told_with_its_size_and_cause() {
    let exam = Exam::new(FIRST);
    let late = [("aortic_pressure".to_owned(), 6.0)].into_iter().collect();
    let done = exam.draw(0, &Hand { shift_mm: late, ..Hand::default() });
    let mark = done.marks.rules.iter().find(|rule| rule.id == "notch_with_s2").unwrap();
    assert_eq!(mark.outcome, Outcome::NotMet);
    assert!((mark.off_mm - 6.0).abs() < 0.5, "{mark:?}");
    let pages = feedback_pages(&[feedback(&exam, &done, None)], &head(&exam));
    let said: String = pages.iter().map(Page::said).collect::<Vec<_>>().join(" ");
    let told = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("it belongs on the same line:"), "{told}");
    assert!(told.contains("further left. The same closing of the aortic valve makes"), "{told}");
    assert!(told.contains("mm too late)"), "the picture's words say it, too: {told}");
    assert!(told.contains("Sheet 12 · Test 1"), "{told}");
}

#[test]
fn what_earns_nothing_because_of_others_is_said_to_be_unmarked() {
    let exam = Exam::new(FIRST);
    let mut done = exam.draw(0, &Hand::default());
    let label = done.marks.rules.iter_mut().find(|rule| rule.id == "label_s2").unwrap();
    (label.outcome, label.points, label.decided) = (Outcome::Review, None, None);
    label.depends_on = vec!["s1_on_r".to_owned()];
    done.marks.decide("s1_on_r", &Ruling::NotMet);
    let pages = feedback_pages(&[feedback(&exam, &done, None)], &head(&exam));
    let said: String = pages.iter().map(Page::said).collect::<Vec<_>>().join(" ");
    let told = said.split_whitespace().collect::<Vec<_>>().join(" ");
    let (_, unmarked) = told.split_once("Not marked, as nothing can be earned by them").unwrap();
    assert!(unmarked.contains("The second sound is labelled S2. It depends on"), "{unmarked}");
    assert!(unmarked.contains("which is not met. 0 of 1 point."), "{unmarked}");
}

#[test]
fn a_name_without_letters_gives_way_to_the_number() {
    let exam = Exam::new(FIRST);
    let done = exam.draw(0, &Hand::default());
    let title = |name| {
        let pages = feedback_pages(&[feedback(&exam, &done, Some(name))], &head(&exam));
        pages[0].title.clone()
    };
    assert!(title("李").starts_with("Sheet 12 ·"));
    assert!(title("Nguyễn Thị Ánh").starts_with("Nguyễn Thị Ánh ·"));
}

#[test]
fn what_a_person_decided_is_told() {
    let exam = Exam::new(FIRST);
    let mut done = exam.draw(0, &Hand::default());
    done.marks.decide("label_s1", &Ruling::NotMet);
    done.marks.decide("label_s2", &Ruling::Waived);
    let number = |id: &str| 1 + done.marks.rules.iter().position(|rule| rule.id == id).unwrap();
    let [met, waived] = ["s1_on_r", "notch_with_s2"].map(number);
    done.marks.decide("notch_with_s2", &Ruling::Waived);
    let pages = feedback_pages(&[feedback(&exam, &done, None)], &head(&exam));
    let said: String = pages.iter().map(Page::said).collect::<Vec<_>>().join(" ");
    assert!(said.contains("It does not count for you."), "{said}");
    assert!(!said.contains("0 of 0"), "{said}");
    // The picture has no tick for what does not count.
    let (_, ticked) = said.split_once("with the numbers of the rules. Met: ").unwrap();
    let (ticked, _) = ticked.split_once(". Not met").unwrap();
    let ticked: Vec<usize> = ticked.split(", ").map(|number| number.parse().unwrap()).collect();
    assert!(ticked.contains(&met) && !ticked.contains(&waived), "{ticked:?}");
    assert!(said.contains("Your instructor decided this. 0 of 1 point."), "{said}");
}

#[test]
fn class_pages_name_nobody_and_everything_has_its_room() {
    for text in [FIRST, LEFT_HEART, TWO_PAGES] {
        let exam = Exam::new(text);
        let all = class(&exam, 12);
        let pages = [false, true].map(|large| pages_of_class(&exam, &all, large)).concat();
        let said: String = pages.iter().map(Page::said).collect::<Vec<_>>().join(" ");
        // Sheets are not named either: their numbers lead to names.
        for word in ["Lindqvist", "Sheet 1", "sheet 1"] {
            assert!(!said.contains(word), "{word}");
        }
        assert_eq!(faults(&pages), Vec::<String>::new(), "{text}");
        figure::pdf_of(&pages, "Class").unwrap();
    }
}

#[test]
fn a_class_of_none_and_of_one_has_pages() {
    let exam = Exam::new(FIRST);
    for count in [0, 1] {
        let pages = pages_of_class(&exam, &class(&exam, count), false);
        figure::pdf_of(&pages, "Class").unwrap();
        assert!(!pages.is_empty());
    }
}

#[test]
fn a_shift_of_the_whole_class_is_found() {
    let exam = Exam::new(FIRST);
    let draw = |index: u32| {
        let by = f64::from(index) - 1.0;
        let shift = [("aortic_pressure".to_owned(), by)].into_iter().collect();
        exam.draw(0, &Hand { shift_mm: shift, ..Hand::default() })
    };
    let all: Vec<Done> = (0..5).map(draw).collect();
    let form = [ClassForm { letter: None, rubric: &exam.rubrics[0] }];
    let sheets: Vec<ClassSheet<'_>> = all.iter().map(of_class).collect();
    let numbers = statistics(&Class { forms: &form, sheets: &sheets });
    let foot = numbers.landmarks.iter().find(|one| one.name == "pressure_foot").unwrap();
    // Drawn 1 mm too early to 3 mm too late.
    let [low, middle, high] = foot.quartiles_mm.unwrap();
    assert!((low - 0.0).abs() < 0.5 && (middle - 1.0).abs() < 0.5 && (high - 2.0).abs() < 0.5);
    assert_eq!((foot.offsets_mm.len(), foot.missing), (5, 0));
    let [low, high] = foot.band_mm.unwrap();
    assert!(low.unwrap() < 0.0 && high.unwrap() > 0.0);
    let items: Vec<&str> = numbers.items.iter().map(|item| item.id.as_str()).collect();
    assert_eq!(items, exam.rubrics[0].asked);
    assert!(numbers.items.iter().all(|item| item.met + item.not_met + item.open == 5));
}
