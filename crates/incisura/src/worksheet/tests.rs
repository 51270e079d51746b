//! Worksheets of computed hearts, whose landmarks are known, and of real recordings.

#![allow(clippy::print_stdout, reason = "a test says why it is skipped")]

use std::path::Path;

use figure::{Block, Page, Shape, pdf_of, style};
use recording::{Asked, Beat, Held, Named, Recording, Source, beats, guess, look};
use sheet::Paper;

use super::{LENGTH_S, Options, worksheet, write};

const CAUTION: &str = "For teaching; not a medical device.";

fn options(title: &str) -> Options<'_> {
    let (from_s, correction, paper) = (None, "qtc_bazett", Paper::A4);
    Options {
        title,
        paper,
        from_s,
        length_s: LENGTH_S,
        correction,
        caution: CAUTION,
        spelling: None,
    }
}

/// Some beats of the resting heart over and over, at 500 Hz.
fn computed(channels: &[(&str, &str)]) -> Held {
    let heart = heart::Heart::default();
    let cycle = heart::simulate(&heart, 5).unwrap();
    let mut held = Held::default();
    for (channel, label) in channels {
        let trace = cycle.trace(channel).unwrap();
        let (start, end) = cycle.span_s().unwrap();
        let count = ((end - start) * 500.0 * 8.0) as usize;
        let at = |i: usize| trace.at(start + (i as f64 / 500.0) % (end - start)).unwrap();
        held.add(label, &trace.unit, 500.0, None, (0..count).map(at).collect());
    }
    held
}

fn all() -> Held {
    computed(&[
        ("ecg", "II"),
        ("heart_sounds", "PCG"),
        ("aortic_pressure", "Ao"),
        ("finger_pulse", "PPG"),
    ])
}

fn found(source: &mut dyn Source) -> (Vec<Named>, Vec<Beat>) {
    let mut named = guess(source.signals());
    look(source, &mut named, false).unwrap();
    let beats = beats(source, &named).unwrap();
    (named, beats)
}

fn made(source: &mut dyn Source, options: &Options<'_>) -> [Vec<Page>; 2] {
    let (named, beats) = found(source);
    worksheet(source, &named, &beats, options).unwrap()
}

fn said(pages: &[Page]) -> String {
    pages.iter().map(Page::said).collect::<Vec<_>>().join("\n")
}

/// The pictures of some pages: what each draws.
fn pictures(pages: &[Page]) -> Vec<Vec<Shape>> {
    let blocks = pages.iter().flat_map(|page| &page.blocks);
    let picture = |block: &Block| match block {
        Block::Picture { shapes, .. } => Some(shapes.clone()),
        _ => None,
    };
    blocks.filter_map(picture).collect()
}

/// Runs of points that are drawn in black, as traces and the calibration pulse are.
fn black(shapes: &[Shape]) -> Vec<Vec<[f64; 2]>> {
    let lines = shapes.iter().filter_map(|shape| match shape {
        Shape::Lines { parts, stroke } if stroke.colour == [0, 0, 0] => Some(parts.clone()),
        _ => None,
    });
    lines.flatten().collect()
}

/// Places across of the thick lines of the first grid.
fn thick_across(shapes: &[Shape]) -> Vec<f64> {
    let grids = shapes.iter().filter_map(|shape| match shape {
        Shape::Lines { parts, stroke } if stroke.width == 0.22 => Some(parts),
        _ => None,
    });
    let first = grids.take(1).flatten();
    first.filter(|part| part[0][0] == part[1][0]).map(|part| part[0][0]).collect()
}

/// R peaks of a heart at 75 beats a minute are 20 mm apart, and each stands where its time puts it;
/// so do the feet of the pressure under it.
#[test]
fn time_is_true_to_scale_in_every_channel() {
    let mut source = all();
    let (named, beats) = found(&mut source);
    let from_s = 4.0;
    let options = Options { from_s: Some(from_s), ..options("computed") };
    let pages = worksheet(&mut source, &named, &beats, &options).unwrap();
    for pages in pages {
        let rows = pictures(&pages);
        assert_eq!(rows.len(), 2, "10 s are two rows of 5 s");
        for (row, shapes) in rows.iter().enumerate() {
            let thick = thick_across(shapes);
            assert!(thick.windows(2).all(|pair| (pair[1] - pair[0] - 5.0).abs() < 1e-9));
            // 15 mm for the calibration pulse, then 5 s.
            assert_eq!(thick.len(), (15 + 125) / 5 + 1);
            let left = thick[0] + 15.0;
            let start_s = from_s + 5.0 * row as f64;
            let traces: Vec<_> = black(shapes).into_iter().filter(|run| run.len() > 20).collect();
            assert_eq!(traces.len(), 4);
            // How high a trace is drawn at a place, and its highest point nearby.
            let at = |trace: &[[f64; 2]], x: f64| {
                let pair = trace.windows(2).find(|w| (w[0][0]..=w[1][0]).contains(&x)).unwrap();
                let share = (x - pair[0][0]) / (pair[1][0] - pair[0][0]).max(1e-12);
                pair[0][1] + share * (pair[1][1] - pair[0][1])
            };
            let highest = |trace: &[[f64; 2]], x: f64| {
                let near = trace.iter().filter(|point| (point[0] - x).abs() < 2.5);
                *near.min_by(|a, b| a[1].total_cmp(&b[1])).unwrap()
            };
            for (trace, name) in [(0, "r_peak"), (2, "systolic_peak")] {
                let channel = named
                    .iter()
                    .position(|n| n.channel == ["ecg", "", "aortic_pressure"][trace])
                    .unwrap();
                let marks = beats.iter().filter_map(|beat| beat.mark(name, channel));
                let inside = marks.filter(|m| (start_s + 0.1..start_s + 4.9).contains(&m.time_s));
                let mut count = 0;
                for mark in inside {
                    let x = left + 25.0 * (mark.time_s - start_s);
                    let off = at(&traces[trace], x) - highest(&traces[trace], x)[1];
                    assert!(off <= 0.05, "{name} at {x} mm is {off} mm below the top there");
                    if name == "r_peak" {
                        let drawn = highest(&traces[trace], x)[0];
                        assert!((x - drawn).abs() <= 0.05, "R of {x} mm is drawn at {drawn} mm");
                    }
                    count += 1;
                }
                assert!(count >= 5);
            }
        }
    }
}

#[test]
fn the_key_has_the_values_that_the_heart_was_given() {
    let [blank, key] = made(&mut all(), &options("computed"));
    let (blank, key) = (said(&blank), said(&key));
    // The resting heart: 75 a minute, PR 160 ms.
    for value in ["800 ms = 20.0 mm", "75 per min", "PR 16", "± 20 ms", "R–S1", "S1–S2", "Systolic"]
    {
        assert!(key.contains(value), "{value} in {key}");
    }
    for value in ["800 ms", "75 per min", "PR 16"] {
        assert!(!blank.contains(value), "{value} is told to students: {blank}");
    }
    // ± half a small square of 20 ms at R–R 0.8 s: 60/0.78 − 75 = 1.9.
    assert!(key.contains("± 2 per min"), "{key}");
}

#[test]
fn the_caution_stands_on_every_page_and_the_pages_are_accessible() {
    for paper in [Paper::A4, Paper::Letter] {
        for pages in made(&mut all(), &Options { paper, ..options("computed") }) {
            assert!(pages.len() >= 2);
            for page in &pages {
                assert_eq!(page.said().matches(CAUTION).count(), 1);
            }
            // PDF/UA-1, or an error.
            assert!(pdf_of(&pages, "Worksheet").unwrap().starts_with(b"%PDF"));
            let words =
                pages.iter().flat_map(|page| &page.blocks).filter_map(|block| match block {
                    Block::Picture { alt, .. } => Some(alt),
                    _ => None,
                });
            assert!(words.into_iter().all(|alt| alt.contains("Heart sounds") && alt.contains("R")));
        }
    }
}

/// No letter stands on a trace, and nothing reaches beyond the page's margins.
#[test]
fn words_keep_off_the_traces_and_the_margins() {
    let [blank, key] = made(&mut all(), &options("computed"));
    for page in blank.iter().chain(&key) {
        for shape in page.blocks.iter().flat_map(Block::shapes) {
            // A line's end is a space that nobody sees.
            let mut shape = shape.clone();
            if let Shape::Text { text, .. } = &mut shape {
                text.truncate(text.trim_end().len());
            }
            if let Some(area) = shape.text_box() {
                assert!(area.x >= 17.9 && area.right() <= 210.0 - 17.9, "{shape:?}");
                assert!(area.y >= 10.0 && area.bottom() <= 297.0 - 10.0, "{shape:?}");
            }
        }
    }
    for shapes in pictures(&blank).iter().chain(&pictures(&key)) {
        let traces: Vec<_> = black(shapes);
        for text in shapes.iter().filter(|shape| shape.text_box().is_some()) {
            let Shape::Text { at, size, .. } = text else { continue };
            let mut area = text.text_box().unwrap();
            // From the baseline to the height of a capital.
            (area.y, area.h) = (at[1] - 0.72 * size, 0.72 * size);
            let crossed =
                traces.iter().any(|run| run.windows(2).any(|w| area.crossed_by(w[0], w[1])));
            assert!(!crossed, "{text:?}");
        }
    }
    assert!(pictures(&key).iter().flatten().any(|shape| matches!(
        shape,
        Shape::Lines { stroke, .. } if stroke.colour == style::ACCENT
    )));
}

#[test]
fn worksheet_and_key_are_written_beside_one_another() {
    let folder = std::env::temp_dir().join(format!("incisura-worksheet-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let mut source = computed(&[("ecg", "II")]);
    let (named, beats) = found(&mut source);
    let path = folder.join("lab 1.pdf");
    let key = write(&mut source, &named, &beats, &options("computed"), &path).unwrap();
    assert_eq!(key, folder.join("lab 1-key.pdf"));
    let [blank, key] = [path, key].map(|path| std::fs::read(path).unwrap());
    assert!(blank.starts_with(b"%PDF") && key.starts_with(b"%PDF") && blank != key);
    std::fs::remove_dir_all(&folder).unwrap();
}

#[test]
fn a_stretch_without_beats_is_refused() {
    let mut source = computed(&[("ecg", "II")]);
    let (named, beats) = found(&mut source);
    let options = Options { from_s: Some(500.0), ..options("computed") };
    let failure = worksheet(&mut source, &named, &beats, &options).unwrap_err().to_string();
    assert!(failure.contains("500.0 s") && failure.contains("32.0 s long"), "{failure}");
}

/// The quietest stretch is one without the noise that was added to the first half.
#[test]
fn a_quiet_stretch_is_chosen() {
    let mut noisy = Held::default();
    let source = computed(&[("ecg", "II")]);
    let (mut samples, mut random) = (Vec::new(), cycle::Random::new(3));
    source.clone().read(0, 0, usize::MAX, &mut samples).unwrap();
    let half = samples.len() / 2;
    samples[..half].iter_mut().for_each(|v| *v += random.below(1000) as f64 / 2500.0 - 0.2);
    noisy.add("II", "mV", 500.0, None, samples);
    let (named, beats) = found(&mut noisy);
    let from_s = super::quiet::from_s(&beats, &named, 10.0, 32.0);
    assert!((15.5..=22.0).contains(&from_s), "{from_s}");
}

/// Real recordings of every kind: with a pulse alone, without a unit, with many channels.
#[test]
fn real_recordings_make_worksheets() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    for name in [
        "100.hea",
        "s0010_re.hea",
        "biosppy_ecg.txt",
        "biosppy_pcg.txt",
        "mixedsignals.hea",
        "041s/041s.hea",
    ] {
        let path = folder.join(name);
        if !path.exists() {
            println!("skipped: {name} is not in shared/data");
            continue;
        }
        let mut source = Recording::open(&path, &Asked::default()).unwrap();
        let mut named = guess(source.signals());
        look(&mut source, &mut named, false).unwrap();
        let beats = beats(&mut source, &named).unwrap();
        let title = source.name.clone();
        let pages = worksheet(&mut source, &named, &beats, &options(&title)).unwrap();
        for (pages, which) in pages.iter().zip(["blank", "key"]) {
            assert!(pages.len() <= 5, "{name}, {which}: {} pages", pages.len());
            assert!(pdf_of(pages, "Worksheet").unwrap().starts_with(b"%PDF"));
        }
    }
}

#[test]
fn a_worksheet_is_spelled_as_the_course_says() {
    let spelling = heart::subject().spelling("EKG").unwrap();
    let said = |options: &Options<'_>| -> String {
        let unnamed = computed(&[("ecg", "ECG"), ("finger_pulse", "PPG")]);
        let pages = made(&mut { unnamed }, options).concat();
        pages.iter().map(Page::said).collect()
    };
    let usual = said(&options("My ECG"));
    let other = said(&Options { spelling: Some(&spelling), ..options("My ECG") });
    let typed = usual.matches("My ECG").count();
    assert!(typed > 0 && usual.matches("ECG").count() > typed);
    assert_eq!(other.matches("My ECG").count(), typed);
    assert_eq!(other.matches("ECG").count(), typed, "{other}");
    assert_eq!(other.matches("EKG").count(), usual.matches("ECG").count() - typed);
}
