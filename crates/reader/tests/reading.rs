//! Sounds, bars and faint pencil on sheets that crate `hand` filled in and copied.
//!
//! The limits are the project's own aims for landmarks: half within 0.5 mm, 95 of 100 within
//! 1 mm; sounds beside which something is written may be farther off, and must then say so.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]
#![allow(clippy::print_stdout, reason = "a test says what it measured")]

use cycle::Cycle;
use hand::{Capture, Copier, Geometry, Handout, Mistake, Phone, Student, Tool, Truth, draw};
use heart::Heart;
use marking::{DrawnPage, DrawnSheet, Rubric, locate};
use reader::Printed;
use scan::{Limits, read};
use sheet::{Book, Copy, Test};

struct Sheets {
    test: Test,
    model: Cycle,
}

impl Sheets {
    fn new(text: &str) -> Self {
        let subject = heart::subject();
        let conventions = |named: &str| Ok(cardiac::Shipped::find(named).unwrap().convention());
        let test = Test::from_toml(text, &subject, &conventions).unwrap();
        let base = heart::simulate(&Heart::default(), 1).unwrap();
        let model = convention::schematic(&test.convention, &subject, &base, test.beats).unwrap();
        Self { test, model }
    }

    /// What is read from the sheets that `students` draw without mistakes, with the truth.
    fn read(&self, students: impl IntoIterator<Item = Student>) -> Vec<(DrawnPage, Truth)> {
        self.read_by(students, &[], &|seed| Capture::Copier(Copier::any(seed, 300.0, true)))
    }

    fn read_by(
        &self,
        students: impl IntoIterator<Item = Student>,
        mistakes: &[Mistake],
        capture: &dyn Fn(u64) -> Capture,
    ) -> Vec<(DrawnPage, Truth)> {
        let subject = heart::subject();
        let book = Book::new(&self.test, &subject, "K7M2QX", vec![self.model.clone()]).unwrap();
        let copies = book.masters();
        let pages = book.drawing_sheets(&copies).unwrap();
        let geometry = Geometry::from_json(&book.geometry(&copies).unwrap()).unwrap();
        let handout = Handout {
            pages: &pages,
            places: &geometry.pages,
            mm_per_s: geometry.mm_per_s,
            model: &self.model,
            convention: &self.test.convention,
            subject: &subject,
        };
        let printed = Printed::new(&book);
        let one = |student: Student| {
            let drawing = draw(&handout, &student, mistakes);
            let mut paper = hand::Sheet::print(&pages[0], 300.0).unwrap();
            paper.draw(&drawing.pages[0], student.seed);
            let taken = capture(student.seed).take(&paper);
            let file = hand::jpeg(&taken.picture, 80, taken.orientation).unwrap();
            let mut pictures = read(file, "page.jpg", Limits::default()).unwrap();
            let page = printed.read(&pictures.next().unwrap().unwrap()).unwrap();
            (page.drawn, drawing.truth)
        };
        students.into_iter().map(one).collect()
    }
}

fn share(values: &mut [f64], share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values[((values.len() - 1) as f64 * share).round() as usize]
}

#[test]
fn sounds_begin_where_they_were_drawn_whatever_is_written_beside() {
    let sheets = Sheets::new("title = \"T\"\nconvention = \"first_course\"\n");
    let students = (1..=10).map(|seed| Student { tool: Tool::Pencil, ..Student::anyone(seed) });
    let (mut off, mut unsaid) = (Vec::new(), 0);
    for (page, truth) in sheets.read(students) {
        let sounds = &page.sounds[0];
        let drawn = truth.pages[0].traces.iter().find(|t| t.channel == "heart_sounds").unwrap();
        for mark in drawn.landmarks.iter().filter(|mark| mark.name.ends_with("_onset")) {
            let from = |burst: &marking::DrawnBurst| (burst.from_mm - mark.at_mm[0]).abs();
            let near = sounds.bursts.iter().min_by(|a, b| from(a).total_cmp(&from(b))).unwrap();
            let said = near.doubt_mm[0] > 0.0 || near.sure < 0.8;
            unsaid += usize::from(from(near) > 1.5 && !said);
            off.push(from(near));
        }
    }
    let (middle, most) = (share(&mut off, 0.5), share(&mut off, 0.9));
    println!("{} sounds: half within {middle:.2} mm, 9 of 10 within {most:.2} mm", off.len());
    println!("{unsaid} more than 1.5 mm off without a word");
    assert!(off.len() >= 20, "{}", off.len());
    assert!(middle <= 0.5 && most <= 1.5, "{middle}, {most}");
    assert!(unsaid * 20 <= off.len(), "{unsaid} of {}", off.len());
}

/// Where the second sound is drawn as two, the second of them begins with P2.
#[test]
fn a_split_sound_has_two_components() {
    let sheets = Sheets::new("title = \"T\"\nconvention = \"right_heart\"\ngiven = [\"ecg\"]\n");
    let subject = heart::subject();
    let book = Book::new(&sheets.test, &subject, "K7M2QX", vec![sheets.model.clone()]).unwrap();
    let rubric = Rubric::new(&book, &sheets.test.convention, 0);
    let students = (1..=8).map(|seed| Student { tool: Tool::BlackPen, ..Student::anyone(seed) });
    let (mut off, mut drawn) = (Vec::new(), 0);
    for (page, truth) in sheets.read(students) {
        let located = locate(&DrawnSheet { pages: vec![page] }, &rubric);
        let sounds = truth.pages[0].traces.iter().find(|t| t.channel == "heart_sounds").unwrap();
        for mark in sounds.landmarks.iter().filter(|mark| mark.name == "p2") {
            drawn += 1;
            let found = located.marks.iter().filter(|found| found.name == "p2");
            let far = found.map(|found| (found.at_mm[0] - mark.at_mm[0]).abs());
            off.extend(far.filter(|mm| *mm < 20.0).min_by(f64::total_cmp));
        }
        // A2 begins the sound.
        let at = |name: &str| {
            let own = located.marks.iter().filter(|found| found.name == name);
            own.map(|found| found.at_mm[0]).collect::<Vec<_>>()
        };
        assert_eq!(at("a2"), at("s2_onset"));
    }
    let (middle, most) = (share(&mut off, 0.5), share(&mut off, 0.95));
    println!("{} of {drawn} P2: half within {middle:.2} mm, 95 of 100 {most:.2} mm", off.len());
    assert!(off.len() * 5 >= drawn * 4, "{} of {drawn}", off.len());
    assert!(middle <= 0.5 && most <= 1.0, "{middle}, {most}");
}

#[test]
fn bars_end_where_they_were_drawn() {
    let sheets = Sheets::new("title = \"T\"\nconvention = \"left_heart\"\n");
    let students = (1..=4).map(|seed| Student { tool: Tool::BlackPen, ..Student::anyone(seed) });
    let (mut off, mut lost) = (Vec::new(), 0);
    for (page, truth) in sheets.read(students) {
        assert_eq!(page.bars.len(), 2);
        for (bar, drawn) in page.bars.iter().zip(&truth.pages[0].bars) {
            assert_eq!(bar.bar, drawn.bar);
            for end in drawn.stretches_mm.iter().flatten() {
                let ends = bar.stretches_mm.iter().flatten();
                match ends.map(|other| (other - end).abs()).min_by(f64::total_cmp) {
                    Some(near) => off.push(near),
                    None => lost += 1,
                }
            }
        }
    }
    let (middle, most) = (share(&mut off, 0.5), share(&mut off, 0.95));
    println!(
        "{} ends of bars: half within {middle:.2} mm, 95 of 100 within {most:.2} mm",
        off.len()
    );
    assert_eq!(lost, 0);
    assert!(middle <= 0.5 && most <= 1.0, "{middle}, {most}");
}

#[test]
fn faint_pencil_is_not_taken_for_an_empty_panel() {
    let sheets = Sheets::new("title = \"T\"\nconvention = \"first_course\"\n");
    let students = (1..=4).map(|seed| Student { tool: Tool::FaintPencil, ..Student::anyone(seed) });
    for (page, truth) in sheets.read(students) {
        let seed = truth.student.seed;
        assert!(page.traces.iter().all(|trace| trace.points_mm.len() > 300), "{seed}");
        assert!(page.sounds[0].bursts.len() >= 3, "{seed}: {:?}", page.sounds[0].bursts);
    }
}

/// A copier that makes paper white leaves little of a pencil, and of a frame more than of the
/// trace in it. Of what is followed a tenth may lie aside, where a second try is; a frame would lie
/// aside as a whole. One of these cannot be read and counts as not followed.
#[test]
fn what_a_copier_leaves_of_faint_pencil_is_followed_and_no_frame() {
    let sheets = Sheets::new("title = \"T\"\nconvention = \"first_course\"\n");
    let seeds = [1, 2, 143, 475, 1_000_143, 1_000_227, 1_000_475, 1_000_503];
    let students = seeds.map(|seed| Student { tool: Tool::FaintPencil, ..Student::anyone(seed) });
    let copier = |seed| Capture::Copier(Copier::any(seed, 150.0, false));
    let (mut all_mm, mut drawn_mm) = (0.0, 0.0);
    for (page, truth) in sheets.read_by(students, &[], &copier) {
        let seed = truth.student.seed;
        let (trace, drawn) = (&page.traces[0], &truth.pages[0].traces);
        let drawn = drawn.iter().find(|drawn| drawn.channel == trace.channel).unwrap();
        let xs = || drawn.parts.iter().flatten().map(|point| point[0]);
        drawn_mm += xs().fold(f64::MIN, f64::max) - xs().fold(f64::MAX, f64::min);
        let gaps: f64 = trace.gaps_mm.iter().map(|[from, to]| to - from).sum();
        let whole = trace.points_mm.first().zip(trace.points_mm.last());
        let followed = whole.map_or(0.0, |(first, last)| last[0] - first[0] - gaps);
        println!("{seed}: {followed:.0} mm");
        all_mm += followed;
        let near = |a: &[f64; 2], b: &[f64; 2]| {
            let [x, y] = [a[0] - b[0], a[1] - b[1]];
            x * x + y * y < 1.5 * 1.5
        };
        let on_it =
            |point: &&[f64; 2]| drawn.parts.iter().flatten().any(|other| near(point, other));
        let far = trace.points_mm.iter().filter(|point| !on_it(point)).count();
        assert!(far * 10 <= trace.points_mm.len(), "{seed}: {far} of {}", trace.points_mm.len());
    }
    assert!(all_mm > 0.7 * drawn_mm, "{all_mm} of {drawn_mm}");
}

/// Fainter ink is looked for where a panel seems empty, but the grain of a photograph is none.
#[test]
fn a_panel_that_was_left_out_beside_dark_strokes_is_empty() {
    let sheets = Sheets::new("title = \"T\"\nconvention = \"left_heart\"\n");
    let channel = "lv_volume".to_owned();
    let mistakes = [Mistake::LeftOut { channel: channel.clone() }];
    let seeds = [94, 1, 2_000_094];
    let students = seeds.map(|seed| Student { tool: Tool::RedPen, ..Student::anyone(seed) });
    let phone = |seed| Capture::Phone(Phone::any(seed));
    for (page, truth) in sheets.read_by(students, &mistakes, &phone) {
        let seed = truth.student.seed;
        for trace in &page.traces {
            let empty = trace.points_mm.is_empty();
            assert_eq!(empty, trace.channel == channel, "{seed}: {}", trace.channel);
        }
    }
}

#[test]
fn a_sheet_with_nothing_on_it_reads_as_empty() {
    let sheets = Sheets::new("title = \"T\"\nconvention = \"first_course\"\n");
    let subject = heart::subject();
    let book = Book::new(&sheets.test, &subject, "K7M2QX", vec![sheets.model.clone()]).unwrap();
    let copy = Copy { sheet: 3, form: 0, name: None };
    let page = book.drawing_sheets(&[copy]).unwrap().remove(0);
    let paper = hand::Sheet::print(&page, 300.0).unwrap();
    let printed = Printed::new(&book);
    for seed in 1..=2 {
        let taken = Capture::Copier(Copier::any(seed, 300.0, false)).take(&paper);
        let file = hand::jpeg(&taken.picture, 80, taken.orientation).unwrap();
        let mut pictures = read(file, "page.jpg", Limits::default()).unwrap();
        let read = printed.read(&pictures.next().unwrap().unwrap()).unwrap();
        let drawn = read.drawn;
        assert!(drawn.traces.iter().all(|trace| trace.points_mm.is_empty()), "{seed}");
        assert!(drawn.sounds.iter().all(|sounds| sounds.bursts.is_empty()), "{seed}");
    }
}

/// The page that is taken away from the scan is the one that was printed, however it is spelled.
#[test]
fn a_sheet_that_says_ekg_is_read_as_well() {
    let text = "title = \"T\"\nconvention = \"first_course\"\n";
    let [usual, other] = ["ECG", "EKG"].map(|word| {
        let sheets = Sheets::new(&format!("{text}spelling = \"{word}\"\n"));
        let subject = heart::subject();
        let book = Book::new(&sheets.test, &subject, "K7M2QX", vec![sheets.model.clone()]).unwrap();
        let page = book.drawing_sheets(&book.masters()).unwrap().remove(0);
        assert!(format!("{:?}", page.blocks).contains(&format!("\"{word}\"")), "it says {word}");
        let students = (1..=3).map(|seed| Student { tool: Tool::Pencil, ..Student::anyone(seed) });
        sheets.read(students)
    });
    for ((usual, truth), (other, _)) in usual.iter().zip(&other) {
        let seed = truth.student.seed;
        assert_eq!(usual.traces.len(), other.traces.len(), "{seed}");
        for (one, two) in usual.traces.iter().zip(&other.traces) {
            let near = |at: &[f64; 2]| {
                let off = |other: &[f64; 2]| (at[0] - other[0]).hypot(at[1] - other[1]);
                two.points_mm.iter().map(off).fold(f64::INFINITY, f64::min)
            };
            let mut off: Vec<f64> = one.points_mm.iter().map(near).collect();
            assert!(off.len() > 300 && share(&mut off, 0.95) <= 0.1, "{seed} {}", one.channel);
        }
        let bursts = |page: &DrawnPage| page.sounds[0].bursts.clone();
        let (one, two) = (bursts(usual), bursts(other));
        assert_eq!(one.len(), two.len(), "{seed}");
        for (one, two) in one.iter().zip(&two) {
            assert!((one.from_mm - two.from_mm).abs() <= 0.1, "{seed}: {one:?} {two:?}");
        }
    }
}
