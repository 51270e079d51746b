//! Writes the targets' first inputs into `fuzz/corpus`: what the project itself writes and ships.

use std::error::Error;
use std::fs;
use std::path::Path;

use hand::{
    Capture, Copier, Geometry, Handout, PdfPage, Phone, Sheet, Student, draw, jpeg, pdf, png,
};
use heart::Heart;
use scan::Picture;
use sheet::{Book, Test};

type Done = Result<(), Box<dyn Error>>;

/// The workspace's folder.
fn root() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
}

fn put(target: &str, name: &str, bytes: impl AsRef<[u8]>) -> Done {
    let folder = root().join("fuzz/corpus").join(target);
    fs::create_dir_all(&folder)?;
    Ok(fs::write(folder.join(name), bytes)?)
}

fn main() -> Done {
    texts()?;
    recordings()?;
    files()?;
    pages()
}

fn texts() -> Done {
    for shipped in cardiac::CONVENTIONS {
        put("convention", shipped.name, shipped.toml)?;
    }
    for entry in fs::read_dir(root().join("docs"))? {
        let path = entry?.path();
        if path.extension().is_none_or(|ending| ending != "toml") {
            continue;
        }
        let (text, name) = (fs::read(&path)?, path.file_name().unwrap_or_default());
        // Which reader a file is for is not said by its name; the others learn from it, too.
        for target in ["test_definition", "convention", "heart_toml"] {
            put(target, &name.to_string_lossy(), &text)?;
        }
    }
    for entry in fs::read_dir(root().join("crates/heart/data/conditions"))? {
        let path = entry?.path();
        put(
            "heart_toml",
            &path.file_name().unwrap_or_default().to_string_lossy(),
            fs::read(&path)?,
        )?;
    }
    let mut cycle = heart::simulate(&Heart::default(), 1)?;
    put("cycle_json", "two_traces", {
        cycle.traces.truncate(2);
        cycle.to_json()
    })
}

/// The small recordings of the tests; a WFDB record is one input, with the files of its first segment and its layout behind it.
fn recordings() -> Done {
    let folder = root().join("crates/recording/tests/files");
    let mut entries: Vec<_> = fs::read_dir(&folder)?.collect::<Result<_, _>>()?;
    entries.sort_by_key(fs::DirEntry::file_name);
    for entry in entries {
        let (path, name) = (entry.path(), entry.file_name().to_string_lossy().into_owned());
        match path.extension().and_then(|ending| ending.to_str()) {
            Some("edf") => put("recording_edf", &name, fs::read(&path)?)?,
            Some("csv" | "txt") => put("recording_csv", &name, fs::read(&path)?)?,
            Some("wav") => put("recording_wav", &name, fs::read(&path)?)?,
            Some("hea") => put("recording_wfdb", &name, record(&path)?)?,
            _ => {}
        }
    }
    Ok(())
}

/// A record's files as one input, under the names that the target gives them.
fn record(header: &Path) -> Result<Vec<u8>, Box<dyn Error>> {
    let stem = header.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let text = fs::read_to_string(header)?;
    let (segment, layout) = (format!("{stem}_1"), format!("{stem}_layout"));
    let read = |name: &str| fs::read(header.with_file_name(name)).unwrap_or_default();
    let renamed = |text: &str| {
        text.replace(&segment, "s").replace(&layout, "t").replace(&stem, "r").into_bytes()
    };
    let header = |name: &str| renamed(&String::from_utf8_lossy(&read(&format!("{name}.hea"))));
    let files = [
        renamed(&text),
        read(&format!("{stem}.dat")),
        read(&format!("{stem}.atr")),
        header(&segment),
        read(&format!("{segment}.dat")),
        header(&layout),
    ];
    Ok(fuzz::recordings::joined(&files))
}

/// Files of scans: the small ones of the tests, and a sheet as copiers and phones store it.
fn files() -> Done {
    for entry in fs::read_dir(root().join("crates/scan/tests/files"))? {
        let path = entry?.path();
        put(
            "scan_read",
            &path.file_name().unwrap_or_default().to_string_lossy(),
            fs::read(&path)?,
        )?;
    }
    let subject = heart::subject();
    let text = "title = \"Test\"\nconvention = \"first_course\"\n";
    let conventions = |named: &str| match cardiac::Shipped::find(named) {
        Some(shipped) => Ok(shipped.convention()),
        None => Err(format!("no convention is called {named}")),
    };
    let test = Test::from_toml(text, &subject, &conventions)?;
    let base = heart::simulate(&Heart::default(), 1)?;
    let model = convention::schematic(&test.convention, &subject, &base, test.beats)?;
    let book = Book::new(&test, &subject, &sheet::test_id(text.as_bytes()), vec![model.clone()])?;
    let copies = book.masters();
    let geometry = Geometry::from_json(&book.geometry(&copies)?)?;
    let pages = book.drawing_sheets(&copies)?;
    put("scan_read", "printed.pdf", figure::pdf_of(&pages, "Sheets")?)?;
    let handout = Handout {
        pages: &pages,
        places: &geometry.pages,
        mm_per_s: geometry.mm_per_s,
        model: &model,
        convention: &test.convention,
        subject: &subject,
    };
    let drawing = draw(&handout, &Student::anyone(1), &[]);
    let captures = [
        ("phone", 72.0, Capture::Phone(Phone::any(1))),
        ("copier", 72.0, Capture::Copier(Copier::any(2, 72.0, true))),
    ];
    for (name, dpi, capture) in captures {
        let mut sheet = Sheet::print(&pages[0], dpi)?;
        sheet.draw(&drawing.pages[0], 1);
        let taken = capture.take(&sheet);
        // A corner of it: the fuzzer is slow with long inputs.
        let (width, height) = (taken.picture.width.min(240), taken.picture.height.min(160));
        let rows = taken.picture.rgb.chunks_exact(taken.picture.width).take(height);
        let rgb = rows.flat_map(|row| row[..width].to_vec()).collect();
        let picture = hand::Picture { width, height, rgb };
        let file = jpeg(&picture, capture.quality(), taken.orientation)?;
        let page = PdfPage { jpeg: &file, picture: &picture, dpi };
        put("scan_read", &format!("{name}.pdf"), pdf(&[page, page]))?;
        put("scan_read", &format!("{name}.png"), png(&picture)?)?;
        put("scan_read", &format!("{name}.jpg"), file)?;
    }
    Ok(())
}

/// Printed pages as small pictures, straight, turned, and with a mark covered.
fn pages() -> Done {
    let form = fuzz::form();
    let whole = page_picture(&form)?;
    for (name, cover) in [("four", None), ("three", Some([0, 0]))] {
        let mut level = whole.grey().level;
        if let Some([left, top]) = cover {
            for y in top..top + 100 {
                level[y * whole.width + left..][..100].fill(255);
            }
        }
        put("scan_page", name, fuzz::bytes_of(whole.width, &level, 1))?;
        level.reverse();
        put("scan_page", &format!("{name}_turned"), fuzz::bytes_of(whole.width, &level, 1))?;
    }
    Ok(())
}

/// A page of this form at 3 pixels to the millimetre, with a wave in each panel.
fn page_picture(form: &scan::PageForm) -> Result<Picture, Box<dyn Error>> {
    let blank = fuzz::blank();
    let level = |&ink: &i16| 255 - (i32::from(ink) * 255 / i32::from(scan::BLACK)) as u8;
    let mut level: Vec<u8> = blank.ink.iter().map(level).collect();
    let scale = fuzz::PX_PER_MM;
    for &(id, [x, y]) in &form.marks {
        let modules = sheet::marks::mark(sheet::marks::Corner::ALL[id]);
        let (left, top) = ((x - 5.0) * scale, (y - 5.0) * scale);
        let side = form.mark_mm * scale;
        for v in 0..side as usize {
            for u in 0..side as usize {
                let at = |one: usize| ((one as f64 + 0.5) / side * 8.0) as usize;
                if modules[at(v)][at(u)] {
                    level[(top as usize + v) * blank.width + left as usize + u] = 0;
                }
            }
        }
    }
    for panel in &form.panels {
        for step in 0..4_000 {
            let share = f64::from(step) / 4_000.0;
            let wave = (share * 30.0).sin() * 0.4 + 0.5;
            let x = ((panel.x_mm + panel.width_mm * share) * scale) as usize;
            let y = ((panel.y_mm + panel.height_mm * wave) * scale) as usize;
            level[y * blank.width + x] = 70;
            level[(y + 1) * blank.width + x] = 70;
        }
    }
    Ok(Picture::from_grey(blank.width, blank.height, &level))
}
