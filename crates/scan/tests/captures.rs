//! Sheets captured as scanners and phones do: marks, flatness and code against the truth.
#![allow(clippy::print_stdout, reason = "a test says what it measured, and why it is skipped")]
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

mod common;

use std::sync::OnceLock;

use common::{Capture, Captured, capture, sheet};
use scan::{Flattened, Model, PageFault, find_code, find_marks, flatten, read_code};

/// What is known to be possible: lines fitted to outlines put centres within 0.02 to 0.07 mm
/// in captures like these.
const CENTRE_MM: f64 = 0.07;

fn scans() -> Vec<(&'static str, Capture)> {
    let usual = Capture::default();
    let photo = Capture { blur_px: 1.2, shade: 0.4, jpeg: Some(75), ..usual.clone() };
    vec![
        ("scan, 300 dpi", Capture { dpi: 300.0, ..usual.clone() }),
        ("scan, 150 dpi, upside down", Capture { dpi: 150.0, turned: 181.3, ..usual.clone() }),
        ("scan, on its side, JPEG 40", Capture { turned: 269.2, jpeg: Some(40), ..usual.clone() }),
        ("photo, turned by 37°", Capture { turned: 37.0, tilt: [0.12, 0.06], ..photo.clone() }),
        ("photo, from below", Capture { tilt: [0.05, 0.35], ..photo.clone() }),
        ("photo, blurred, dark", Capture { blur_px: 3.0, shade: 0.6, noise: 6.0, ..photo.clone() }),
        ("photo, 150 dpi, JPEG 40", Capture { dpi: 150.0, jpeg: Some(40), blur_px: 0.8, ..photo }),
    ]
}

/// The captures, made once.
fn captured() -> &'static [(&'static str, Captured)] {
    static CAPTURED: OnceLock<Vec<(&str, Captured)>> = OnceLock::new();
    CAPTURED.get_or_init(|| {
        let seeded = scans().into_iter().zip(0..);
        seeded.map(|((name, how), seed)| (name, capture(sheet(), &how, seed))).collect()
    })
}

/// Distances in millimetres between where points of the page are seen and where they are.
fn errors(captured: &Captured, page: &Flattened) -> Vec<f64> {
    let form = &sheet().form;
    let mut errors = Vec::new();
    for row in 0..=20 {
        for column in 0..=20 {
            let mm = [
                form.width_mm * (0.04 + 0.92 * f64::from(column) / 20.0),
                form.height_mm * (0.04 + 0.92 * f64::from(row) / 20.0),
            ];
            errors.push(off_mm(captured, mm, page.map.to_picture(mm)));
        }
    }
    errors.sort_by(f64::total_cmp);
    errors
}

/// How far a pixel is from where a point of the page is, in millimetres on the page.
fn off_mm(captured: &Captured, mm: [f64; 2], seen: [f64; 2]) -> f64 {
    let o = captured.truth(mm);
    let x = captured.truth([mm[0] + 0.5, mm[1]]).map(|one| one * 2.0);
    let y = captured.truth([mm[0], mm[1] + 0.5]).map(|one| one * 2.0);
    let (a, b) = (x[0] - 2.0 * o[0], y[0] - 2.0 * o[0]);
    let (c, d) = (x[1] - 2.0 * o[1], y[1] - 2.0 * o[1]);
    let area = a * d - b * c;
    let (u, v) = (seen[0] - o[0], seen[1] - o[1]);
    let (dx, dy) = ((d * u - b * v) / area, (a * v - c * u) / area);
    (dx * dx + dy * dy).sqrt()
}

fn worst_centre(captured: &Captured, page: &Flattened) -> f64 {
    let off = page.marks.iter().map(|mark| {
        let (_, centre) = sheet().form.marks[mark.id];
        off_mm(captured, centre, mark.centre())
    });
    off.fold(0.0, f64::max)
}

#[test]
fn captured_sheets_lie_flat_and_say_their_code() {
    let sheet = sheet();
    for (name, captured) in captured() {
        let page = flatten(&captured.picture, &sheet.form).unwrap();
        let (centre, errors) = (worst_centre(captured, &page), errors(captured, &page));
        let (median, most) = (errors[errors.len() / 2], errors[errors.len() * 95 / 100]);
        let code = read_code(&page.flat, sheet.form.code.unwrap());
        println!(
            "{name}: centres {centre:.3} mm, left {:.3} mm, page {median:.3} and {most:.3} mm, \
             uncertain {:.3} mm, {:?}, {:?}",
            page.residual_mm, page.uncertainty_mm, page.warp, code
        );
        assert_eq!(page.marks.len(), 4, "{name}");
        assert_eq!((page.model, page.left_out), (Model::FourMarks, None), "{name}");
        assert!(centre <= CENTRE_MM, "{name}: a centre is {centre} mm off");
        assert!(page.residual_mm <= 0.1, "{name}: {} mm left", page.residual_mm);
        assert!(median <= 0.07 && most <= 0.15, "{name}: {median} and {most} mm");
        assert_eq!(code.as_ref(), Some(&sheet.code), "{name}");
    }
}

#[test]
fn three_marks_do_and_say_how_sure_they_are() {
    let sheet = sheet();
    let scan = Capture { covered: vec![2], ..Capture::default() };
    let captured = capture(sheet, &scan, 7);
    let page = flatten(&captured.picture, &sheet.form).unwrap();
    let errors = errors(&captured, &page);
    println!("three, scan: {:?} mm, uncertain {:.3}", errors.last(), page.uncertainty_mm);
    assert_eq!(page.model, Model::ThreeMarksFlatbed);
    assert!(*errors.last().unwrap() <= 0.2, "{:?}", errors.last());

    let photo = Capture { tilt: [0.1, 0.2], blur_px: 1.0, ..scan };
    let captured = capture(sheet, &photo, 8);
    let page = flatten(&captured.picture, &sheet.form).unwrap();
    let errors = self::errors(&captured, &page);
    println!("three, photo: {:?} mm, uncertain {:.3}", errors.last(), page.uncertainty_mm);
    assert_eq!(page.model, Model::ThreeMarks);
    // The outlines of three marks leave the fourth corner open to a millimetre or two.
    let [median, most] = [errors[errors.len() / 2], *errors.last().unwrap()];
    assert!(median <= 0.3 && most <= 4.0 * page.uncertainty_mm.max(0.1), "{median}, {most}");

    let two = Capture { covered: vec![0, 2], ..Capture::default() };
    let error = flatten(&capture(sheet, &two, 9).picture, &sheet.form).unwrap_err();
    assert_eq!(error, PageFault::FewMarks { found: 2 });
    assert!(error.to_string().starts_with("only two marks were found"), "{error}");
}

#[test]
fn bent_paper_is_laid_flat_by_the_frames() {
    let sheet = sheet();
    let how = Capture { bend_mm: 1.5, tilt: [0.03, 0.08], ..Capture::default() };
    let captured = capture(sheet, &how, 11);
    let page = flatten(&captured.picture, &sheet.form).unwrap();
    let warp = page.warp.unwrap();
    let errors = errors(&captured, &page);
    let (median, most) = (errors[errors.len() / 2], errors[errors.len() * 95 / 100]);
    println!("bent: {warp:?}, page {median:.3} and {most:.3} mm");
    assert!(warp.applied && warp.after_mm < 0.25 * warp.before_mm, "{warp:?}");
    assert!(warp.before_mm > 0.5, "{warp:?}");
    assert!(median <= 0.2 && most <= 0.6, "{median} and {most} mm");
}

#[test]
fn what_cannot_be_flattened_is_told_with_its_reason() {
    let sheet = sheet();
    let failed = |how: Capture| flatten(&capture(sheet, &how, 5).picture, &sheet.form).unwrap_err();
    assert_eq!(failed(Capture { mirrored: true, ..Capture::default() }), PageFault::Mirrored);
    let blurred = failed(Capture { blur_px: 14.0, dpi: 100.0, ..Capture::default() });
    assert!(matches!(blurred, PageFault::Blurred { .. }), "{blurred:?}");
    let small = failed(Capture { dpi: 40.0, ..Capture::default() });
    assert!(matches!(small, PageFault::TooSmall { .. }), "{small:?}");
    let blank = scan::Picture::from_grey(900, 1200, &vec![230; 900 * 1200]);
    assert_eq!(flatten(&blank, &sheet.form).unwrap_err(), PageFault::NoMarks);
}

#[test]
fn a_code_is_found_without_marks() {
    let sheet = sheet();
    let how = Capture { dpi: 150.0, turned: 12.0, ..Capture::default() };
    let captured = capture(sheet, &how, 3);
    assert_eq!(find_code(&captured.picture), std::slice::from_ref(&sheet.code));
}

#[test]
fn one_wrong_mark_is_left_out() {
    let sheet = sheet();
    let captured = capture(sheet, &Capture::default(), 4);
    let mut marks = find_marks(&captured.picture, &sheet.form.marks).unwrap();
    for corner in &mut marks[3].corners {
        corner[0] += 40.0;
    }
    let page = scan::flatten_with(&captured.picture, marks, &sheet.form, 8.0).unwrap();
    assert_eq!(page.left_out, Some(3));
    assert!(*errors(&captured, &page).last().unwrap() < 0.2);
}

/// OpenCV on the same pictures: its detector and fit do no better.
#[test]
fn outlines_are_as_exact_as_opencvs() {
    let Some(python) = std::env::var_os("INCISURA_PYTHON") else {
        println!("skipped: set INCISURA_PYTHON to a Python with OpenCV; `cargo xtask test` does");
        return;
    };
    let sheet = sheet();
    let marks = serde_json::json!(sheet.form.marks);
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR"));
    let mut ours = Vec::new();
    let mut pictures = Vec::new();
    for (seed, (name, captured)) in captured().iter().enumerate() {
        let page = flatten(&captured.picture, &sheet.form).unwrap();
        let grey = &captured.picture;
        let file = folder.join(format!("capture-{seed}.pgm"));
        let mut bytes = format!("P5 {} {} 255\n", grey.width, grey.height).into_bytes();
        bytes.extend_from_slice(&grey.level);
        std::fs::write(&file, bytes).unwrap();
        pictures.push(serde_json::json!({ "file": file, "map": captured.map }));
        ours.push((name, page.residual_mm, worst_centre(captured, &page)));
    }
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/flatten_check.py");
    let task =
        serde_json::json!({ "marks": marks, "side": sheet.form.mark_mm, "pictures": pictures });
    let file = folder.join("captures.json");
    std::fs::write(&file, task.to_string()).unwrap();
    let output = std::process::Command::new(python).arg(script).arg(&file).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let theirs: Vec<Option<(f64, f64, [f64; 9])>> = serde_json::from_slice(&output.stdout).unwrap();
    for ((name, residual, centre), theirs) in ours.into_iter().zip(theirs) {
        println!("{name}: left {residual:.3} mm, centre {centre:.3} mm; OpenCV {theirs:?}");
        let Some((their_residual, ..)) = theirs else { continue };
        assert!(residual <= their_residual + 0.005, "{name}: {residual} and {their_residual} mm");
    }
}
