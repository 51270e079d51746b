//! A class's scans and photographs of a test, with the truth about them.
//!
//! `cargo run -p hand --example class -- TEST.toml OUTDIR --count 24 --seed 1`

use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};

use cycle::Cycle;
use hand::{Exercise, Geometry};
use heart::{Heart, Rhythm};
use sheet::{Book, Copy, DrawnFrom, Form, Test, forms};

/// What is typed.
struct Asked {
    test: PathBuf,
    folder: PathBuf,
    count: usize,
    seed: u64,
}

fn asked() -> Result<Asked, Box<dyn Error>> {
    let mut words = std::env::args().skip(1);
    let mut paths = Vec::new();
    let (mut count, mut seed) = (24, 1);
    while let Some(word) = words.next() {
        let mut number = || words.next().ok_or(format!("{word} needs a number"));
        match word.as_str() {
            "--count" => count = number()?.parse()?,
            "--seed" => seed = number()?.parse()?,
            _ => paths.push(PathBuf::from(word)),
        }
    }
    let [test, folder] =
        paths.try_into().map_err(|_| "usage: class TEST.toml OUTDIR [--count N] [--seed N]")?;
    Ok(Asked { test, folder, count, seed })
}

fn main() -> Result<(), Box<dyn Error>> {
    let asked = asked()?;
    let text = fs::read_to_string(&asked.test)?;
    let subject = heart::subject();
    let folder = asked.test.parent().unwrap_or(Path::new(""));
    let conventions = |named: &str| match cardiac::Shipped::find(named) {
        Some(shipped) => Ok(shipped.convention()),
        None => {
            let text = fs::read_to_string(folder.join(named)).map_err(|e| e.to_string())?;
            convention::Convention::from_toml(&text, &subject).map_err(|e| e.to_string())
        }
    };
    let test = Test::from_toml(&text, &subject, &conventions)?;
    let models: Vec<Cycle> =
        forms(&test).iter().map(|form| model(&test, form)).collect::<Result<_, _>>()?;
    let book = Book::new(&test, &subject, &sheet::test_id(text.as_bytes()), models.clone())?;
    let copies = (0..asked.count).map(|index| Copy {
        sheet: index as u32 + 1,
        form: index % test.forms,
        name: None,
    });
    let copies: Vec<Copy> = copies.collect();
    let geometry = book.geometry(&copies)?;
    let exercise = Exercise {
        geometry: &Geometry::from_json(&geometry)?,
        pages: &book.drawing_sheets(&copies)?,
        models: &models,
        convention: &test.convention,
        subject: &subject,
    };
    let class = hand::class(&exercise, asked.seed)?;
    fs::create_dir_all(&asked.folder)?;
    fs::write(asked.folder.join("geometry.json"), geometry)?;
    fs::write(asked.folder.join("truth.json"), class.truth_json())?;
    for file in &class.files {
        fs::write(asked.folder.join(&file.name), &file.bytes)?;
    }
    Ok(())
}

/// The completed cycle of a form, as `incisura sheet` draws it.
fn model(test: &Test, form: &Form) -> Result<Cycle, Box<dyn Error>> {
    let mut heart = match form.names.get("condition") {
        Some(name) => heart::condition(name)?.heart,
        None => Heart::default(),
    };
    if let Some(name) = form.names.get("rhythm") {
        heart.rhythm = Rhythm::from_name(name)?;
    }
    for (name, value) in &form.numbers {
        heart.parameters.set(name, *value)?;
    }
    Ok(match test.drawn_from {
        DrawnFrom::Heart => heart::simulate(&heart, test.beats)?,
        DrawnFrom::Rules => {
            let base = heart::simulate(&heart, 1)?;
            convention::schematic(&test.convention, &heart::subject(), &base, test.beats)?
        }
    })
}
