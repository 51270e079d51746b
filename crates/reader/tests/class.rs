//! A class's copies and photographs, in the wrong order, upside down and with a foreign page
//! among them: every page is told apart.
//!
//! The sheets are filled in by crate `hand`, which shares no code with what reads them.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use cycle::Cycle;
use hand::{Exercise, Geometry};
use heart::Heart;
use reader::{Fault, Printed};
use scan::{Limits, Picture, read};
use sheet::{Book, Copy, Test, forms};

fn test(text: &str) -> (Test, Vec<Cycle>) {
    let subject = heart::subject();
    let conventions = |named: &str| Ok(cardiac::Shipped::find(named).unwrap().convention());
    let test = Test::from_toml(text, &subject, &conventions).unwrap();
    let model = |form: &sheet::Form| {
        let mut heart = Heart::default();
        for (name, value) in &form.numbers {
            heart.parameters.set(name, *value).unwrap();
        }
        let base = heart::simulate(&heart, 1).unwrap();
        convention::schematic(&test.convention, &subject, &base, test.beats).unwrap()
    };
    let models = forms(&test).iter().map(model).collect();
    (test, models)
}

const FIRST: &str = "title = \"First\"\nconvention = \"first_course\"\nforms = 2\nbeats = 2\n[heart]\nrate_bpm = [70, 84]\n";
const OTHER: &str = "title = \"Other\"\nconvention = \"first_course\"\n";

fn pictures(bytes: &[u8], name: &str) -> Vec<Picture> {
    read(bytes.to_vec(), name, Limits::default()).unwrap().map(Result::unwrap).collect()
}

#[test]
fn every_page_of_a_class_is_told_apart() {
    let subject = heart::subject();
    let (test, models) = test(FIRST);
    let book = Book::new(&test, &subject, "K7M2QX", models.clone()).unwrap();
    let copies: Vec<Copy> =
        (0..6).map(|n| Copy { sheet: n as u32 + 1, form: n % 2, name: None }).collect();
    let geometry = Geometry::from_json(&book.geometry(&copies).unwrap()).unwrap();
    let exercise = Exercise {
        geometry: &geometry,
        pages: &book.drawing_sheets(&copies).unwrap(),
        models: &models,
        convention: &test.convention,
        subject: &subject,
    };
    let class = hand::class(&exercise, 3).unwrap();
    let printed = Printed::new(&book);
    let mut seen = Vec::new();
    for file in class.files.iter().rev() {
        for (picture, truth) in pictures(&file.bytes, &file.name).iter().zip(&file.pages) {
            let page = printed.read(picture).unwrap();
            assert_eq!(page.code.to_text(), truth.code, "{} {}", file.name, truth.page);
            assert!(page.residual_mm < 0.2, "{}: {}", file.name, page.residual_mm);
            assert_eq!(page.picture.px_per_mm, 4);
            let traces = &page.drawn.traces;
            assert_eq!(traces.len(), 1, "{traces:?}");
            assert!(page.drawn.sounds.len() == 1);
            seen.push(page.code.sheet());
        }
    }
    seen.sort_unstable();
    assert_eq!(seen, [1, 2, 3, 4, 5, 6]);
}

#[test]
fn what_is_no_sheet_of_the_test_is_refused_with_the_reason() {
    let subject = heart::subject();
    let (first, models) = test(FIRST);
    let book = Book::new(&first, &subject, "K7M2QX", models).unwrap();
    let (other, models) = test(OTHER);
    let others = Book::new(&other, &subject, "A7Q6XR", models).unwrap();
    let copy = Copy { sheet: 9, form: 0, name: None };
    let page = others.drawing_sheets(&[copy]).unwrap().remove(0);
    let paper = hand::Sheet::print(&page, 200.0).unwrap();
    let capture = hand::Capture::Copier(hand::Copier::any(1, 200.0, false));
    let taken = capture.take(&paper);
    let file = hand::jpeg(&taken.picture, 85, taken.orientation).unwrap();
    let picture = &pictures(&file, "other.jpg")[0];
    let printed = Printed::new(&book);
    let fault = printed.read(picture).unwrap_err();
    assert!(matches!(&fault, Fault::OtherTest { code } if code.sheet() == 9), "{fault:?}");
    assert!(fault.to_string().contains("another test (A7Q6XR)"), "{fault}");
    // Of several tests the right one is found.
    let both = [Printed::new(&book), Printed::new(&others)];
    let (number, read) = Printed::read_one_of(&both, picture).unwrap();
    assert_eq!((number, read.code.sheet()), (1, 9));
    // A page without marks says so.
    let white = Picture::from_grey(1000, 800, &vec![250; 800_000]);
    let fault = printed.read(&white).unwrap_err();
    assert!(fault.code().is_none() && fault.to_string().contains("corner marks"), "{fault}");
}
