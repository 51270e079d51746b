//! What is drawn is what the truth says, and a picture shows it where the mapping says.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use convention::{Convention, Outcome, Says, Verdict};
use cycle::{Cycle, Subject};
use figure::Page;
use hand::{
    Along, Capture, Copier, Drawing, Geometry, Handout, Mistake, Phone, Sheet, Skill, Student,
    draw, jpeg, mistakes,
};
use heart::Heart;
use sheet::marks::{Corner, MARK_MODULES, MARK_SIZE_MM, mark};
use sheet::{Book, Test};

struct Printed {
    subject: Subject,
    convention: Convention,
    model: Cycle,
    geometry: Geometry,
    pages: Vec<Page>,
}

impl Printed {
    /// A sheet of two beats with the ECG printed.
    fn new(convention: &str) -> Self {
        let subject = heart::subject();
        let text = format!(
            "title = \"Test\"\nconvention = \"{convention}\"\ngiven = [\"ecg\"]\nbeats = 2\norientation = \"portrait\"\nmm_per_s = 80"
        );
        let conventions = |named: &str| Ok(cardiac::Shipped::find(named).unwrap().convention());
        let test = Test::from_toml(&text, &subject, &conventions).unwrap();
        let base = heart::simulate(&Heart::default(), 1).unwrap();
        let model = convention::schematic(&test.convention, &subject, &base, 2).unwrap();
        let book =
            Book::new(&test, &subject, &sheet::test_id(text.as_bytes()), vec![model.clone()])
                .unwrap();
        let copies = book.masters();
        let geometry = Geometry::from_json(&book.geometry(&copies).unwrap()).unwrap();
        let pages = book.drawing_sheets(&copies).unwrap();
        Self { convention: test.convention.clone(), model, geometry, pages, subject }
    }

    fn handout(&self) -> Handout<'_> {
        Handout {
            pages: &self.pages,
            places: &self.geometry.pages,
            mm_per_s: self.geometry.mm_per_s,
            model: &self.model,
            convention: &self.convention,
            subject: &self.subject,
        }
    }

    /// What a student draws who gets some of it wrong.
    fn anyone(&self, seed: u64) -> Drawing {
        let handout = self.handout();
        draw(&handout, &Student::anyone(seed), &mistakes(&handout, (seed % 6) as usize, seed))
    }
}

fn verdict<'a>(drawing: &'a Drawing, rule: &str) -> &'a Verdict {
    drawing.truth.verdicts.iter().find(|verdict| verdict.rule == rule).unwrap()
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let printed = Printed::new("first_course");
    let picture = || {
        let drawing = printed.anyone(5);
        let mut sheet = Sheet::print(&printed.pages[0], 150.0).unwrap();
        sheet.draw(&drawing.pages[0], 5);
        let scan = Capture::Copier(Copier::any(5, 150.0, false)).take(&sheet);
        (jpeg(&scan.picture, 80, 1).unwrap(), serde_json::to_string(&drawing.truth).unwrap())
    };
    assert_eq!(picture(), picture());
}

#[test]
fn who_errs_nowhere_meets_every_rule() {
    for convention in ["first_course", "left_heart", "right_heart"] {
        let printed = Printed::new(convention);
        let drawing = draw(&printed.handout(), &Student::perfect(1), &[]);
        assert!(drawing.truth.asked.len() > 10, "{convention}");
        for rule in &drawing.truth.asked {
            let verdict = verdict(&drawing, rule);
            assert_eq!(verdict.outcome, Outcome::Met, "{convention}: {verdict:?}");
            assert!(verdict.off_by.abs() < 0.2, "{convention}: {verdict:?}");
        }
    }
}

#[test]
fn a_mistake_is_as_large_as_it_is_meant() {
    for convention in ["first_course", "left_heart"] {
        let printed = Printed::new(convention);
        let handout = printed.handout();
        let careful = Student { skill: Skill::new(1.0), ..Student::perfect(3) };
        let mut tried = 0;
        for rule in printed.convention.rules.iter().filter(|rule| handout.is_asked(rule)) {
            let Says::Timing { .. } = rule.says else { continue };
            let points = rule.says.points();
            // On one trace no landmark can pass another.
            if points[0].channel.is_some() && points.iter().all(|p| p.channel == points[0].channel)
            {
                continue;
            }
            // What follows by its meaning counts as the next beat's where it is drawn before.
            let follows = printed
                .subject
                .sequences
                .iter()
                .any(|names| points.iter().take(2).all(|point| names.contains(&point.name)));
            let sides: &[f64] = if follows { &[1.0] } else { &[-1.0, 1.0] };
            for side in sides {
                let off_mm = 2.0 * side * rule.tolerance.mm;
                let mistake = Mistake::Shifted { rule: rule.id.clone(), off_mm };
                let exact = draw(&handout, &Student::perfect(2), std::slice::from_ref(&mistake));
                let found = verdict(&exact, &rule.id);
                if found.outcome == Outcome::CannotTell {
                    continue;
                }
                tried += 1;
                assert_eq!(found.outcome, Outcome::NotMet, "{convention}: {found:?}");
                let off = found.off_by.abs() - off_mm.abs();
                assert!(off.abs() < 0.12, "{convention}: {off} {found:?}");
                // The random part: twice the placing, at most 2.5 deviations, and the drift.
                let skill = careful.skill;
                let random = 2.0 * (2.5 * skill.placing_mm + 1.6 * skill.drift_mm) + 0.5;
                let drawn = draw(&handout, &careful, &[mistake]);
                let off = verdict(&drawn, &rule.id).off_by.abs() - off_mm.abs();
                assert!(off.abs() < random, "{convention}: {off} {}", rule.id);
            }
        }
        assert!(tried >= 8, "{convention}: {tried}");
    }
}

#[test]
fn an_absent_landmark_is_told_as_absent() {
    let printed = Printed::new("first_course");
    let rule = "notch_with_s2".to_owned();
    let drawing = draw(&printed.handout(), &Student::perfect(1), &[Mistake::Absent { rule }]);
    let trace = drawing.truth.pages[0].traces.iter().find(|t| t.channel == "aortic_pressure");
    let trace = trace.unwrap();
    assert!(trace.landmarks.iter().all(|mark| mark.name != "dicrotic_notch"));
    assert_eq!(trace.absent.iter().filter(|mark| mark.name == "dicrotic_notch").count(), 2);
    assert_ne!(verdict(&drawing, "notch_with_s2").outcome, Outcome::Met);
    assert_eq!(verdict(&drawing, "s1_on_r").outcome, Outcome::Met);
}

/// Without the peak and the notch after it a single hump is left, which everybody takes for the peak.
#[test]
fn a_single_hump_is_told_as_the_peak() {
    let printed = Printed::new("first_course");
    let rule = "top_at_mid_t".to_owned();
    let drawing = draw(&printed.handout(), &Student::perfect(1), &[Mistake::Absent { rule }]);
    let trace = drawing.truth.pages[0].traces.iter().find(|t| t.channel == "aortic_pressure");
    let trace = trace.unwrap();
    let drawn = |name: &str| trace.landmarks.iter().filter(|mark| mark.name == name).count();
    assert_eq!(["systolic_peak", "dicrotic_notch", "dicrotic_peak"].map(drawn), [2, 0, 0]);
    let absent: Vec<&str> = trace.absent.iter().map(|mark| mark.name.as_str()).collect();
    assert!(absent.contains(&"dicrotic_peak") && !absent.contains(&"systolic_peak"), "{absent:?}");
}

#[test]
fn landmarks_lie_on_the_line_and_ink_on_the_page() {
    for convention in ["first_course", "left_heart"] {
        let printed = Printed::new(convention);
        for seed in 0..30 {
            let drawing = printed.anyone(seed);
            for trace in drawing.truth.pages.iter().flat_map(|page| &page.traces) {
                for mark in &trace.landmarks {
                    let points = trace.parts.iter().flatten();
                    let on = points.clone().any(|point| *point == mark.at_mm);
                    assert!(on, "{convention} {seed} {} {mark:?}", trace.channel);
                }
            }
            for point in drawing.pages.iter().flatten().flat_map(|stroke| &stroke.points) {
                let [width, height] =
                    [printed.geometry.page_width_mm, printed.geometry.page_height_mm];
                assert!((0.0..=width).contains(&point[0]) && (0.0..=height).contains(&point[1]));
                assert!((0.0..=1.0).contains(&point[2]));
            }
        }
    }
}

/// The middle of a mark's black, in millimetres from its centre.
fn black_middle(corner: Corner) -> [f64; 2] {
    let black = mark(corner);
    let mut sum = [0.0, 0.0, 0.0];
    for (row, modules) in black.iter().enumerate() {
        for column in (0..MARK_MODULES).filter(|&column| modules[column]) {
            sum = [sum[0] + column as f64, sum[1] + row as f64, sum[2] + 1.0];
        }
    }
    let module = MARK_SIZE_MM / MARK_MODULES as f64;
    [0, 1].map(|axis| (sum[axis] / sum[2] + 0.5) * module - MARK_SIZE_MM / 2.0)
}

#[test]
fn a_picture_shows_the_marks_where_the_mapping_says() {
    let printed = Printed::new("first_course");
    let sheet = Sheet::print(&printed.pages[0], 300.0).unwrap();
    let bent =
        Phone { sag_mm: 4.0, bent_along: Along::Y, shadow: 0.0, moire: 0.0, ..Phone::any(11) };
    let captures = [
        (Capture::Copier(Copier::perfect(300.0)), 0.0),
        (Capture::Copier(Copier { turned_deg: 3.0, dust: 0, ..Copier::any(1, 300.0, true) }), 1.0),
        (
            Capture::Copier(Copier { upside_down: true, dust: 0, ..Copier::any(2, 150.0, false) }),
            1.0,
        ),
        (Capture::Phone(Phone { quarters: 1, ..bent }), bent.blur_px[1]),
        (Capture::Phone(Phone { quarters: 2, bent_along: Along::X, ..bent }), bent.blur_px[1]),
        (Capture::Phone(Phone { quarters: 3, by_exif: true, ..bent }), bent.blur_px[1]),
    ];
    for (index, (capture, blur)) in captures.into_iter().enumerate() {
        let taken = capture.take(&sheet);
        for place in &printed.geometry.marks {
            let off = black_middle(Corner::from_id(place.id).unwrap());
            let [x, y] = taken.mapping.to_image([place.x_mm + off[0], place.y_mm + off[1]]);
            // All that is dark within the mark's white border.
            let corners = [[-5.8, -5.8], [5.8, -5.8], [5.8, 5.8], [-5.8, 5.8]];
            let corners =
                corners.map(|[dx, dy]| taken.mapping.to_image([place.x_mm + dx, place.y_mm + dy]));
            let within = |px: f64, py: f64| {
                (0..4).all(|side| {
                    let (a, b) = (corners[side], corners[(side + 1) % 4]);
                    (b[0] - a[0]) * (py - a[1]) - (b[1] - a[1]) * (px - a[0]) >= 0.0
                })
            };
            let range = |axis: usize| {
                let all = corners.iter().map(|corner| corner[axis]);
                let low = all.clone().fold(f64::INFINITY, f64::min).max(0.0) as usize;
                let limit = [taken.picture.width, taken.picture.height][axis];
                low..limit.min(all.fold(0.0, f64::max) as usize)
            };
            let grey = |column: usize, row: usize| {
                f64::from(taken.picture.rgb[row * taken.picture.width + column][1])
            };
            let seen: Vec<[f64; 3]> = range(1)
                .flat_map(|row| range(0).map(move |column| (column, row)))
                .filter(|&(column, row)| within(column as f64 + 0.5, row as f64 + 0.5))
                .map(|(column, row)| [column as f64 + 0.5, row as f64 + 0.5, grey(column, row)])
                .collect();
            let white = seen.iter().map(|pixel| pixel[2]).fold(0.0, f64::max);
            let dark = |pixel: &[f64; 3]| (0.75 * white - pixel[2]).clamp(0.0, 0.5 * white);
            let total: f64 = seen.iter().map(dark).sum();
            let mean = |axis: usize| seen.iter().map(|p| dark(p) * p[axis]).sum::<f64>() / total;
            let far = libm::hypot(mean(0) - x, mean(1) - y);
            assert!(far <= 0.3 + 0.2 * blur, "capture {index}, mark {}: {far} px", place.id);
        }
    }
}

#[test]
fn a_file_says_how_it_is_to_be_turned() {
    use image::ImageDecoder;
    let picture = hand::Picture { width: 8, height: 8, rgb: vec![[90; 3]; 64] };
    for orientation in [3, 6, 8] {
        let bytes = jpeg(&picture, 90, orientation).unwrap();
        let mut read = image::codecs::jpeg::JpegDecoder::new(std::io::Cursor::new(bytes)).unwrap();
        assert_eq!(read.orientation().unwrap().to_exif(), orientation);
    }
}
