//! Drawings with their truth, captured and read.

use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};

use cycle::{Cycle, Random, Subject};
use hand::{
    Capture, Copier, Drawing, Geometry, Handout, Phone, Student, Tool, Truth, draw, jpeg, mistakes,
};
use heart::Heart;
use marking::{Located, Marks, Rubric, locate, mark};
use scan::{Limits, Picture, read};
use sheet::{Book, Copy, DrawnFrom, Form, Test, forms};

/// How a drawing is made and captured.
pub(crate) const KINDS: [&str; 4] =
    ["copier, 300 dpi", "copier, 150 dpi, grey", "phone photo", "faint pencil, any capture"];

/// A sheet that is filled in.
pub(crate) struct SheetKind {
    pub(crate) title: &'static str,
    pub(crate) definition: &'static str,
}

/// The sheets: what is given and asked for differs, and so do the rules.
pub(crate) const TESTS: [SheetKind; 7] = [
    SheetKind {
        title: "first course, ECG given",
        definition: "title = \"A\"\nconvention = \"first_course\"\ngiven = [\"ecg\"]\nbeats = 2\nforms = 3\nseed = 20\n[heart]\nrate_bpm = [68, 82]\npr_interval_ms = [140, 180]\n",
    },
    SheetKind {
        title: "first course, S2 at the end of T",
        definition: "title = \"B\"\nconvention = \"first_course_s2_at_t_end\"\nforms = 3\nseed = 4\n[heart]\nrate_bpm = [60, 90]\n",
    },
    SheetKind {
        title: "left heart, ECG and volume given",
        definition: "title = \"C\"\nconvention = \"left_heart\"\ngiven = [\"ecg\", \"lv_volume\"]\nforms = 2\nseed = 8\n[heart]\nrate_bpm = [66, 78]\n",
    },
    SheetKind {
        title: "measured physiology",
        definition: "title = \"D\"\nconvention = \"measured_physiology\"\ngiven = [\"ecg\"]\nforms = 2\nseed = 5\n[heart]\nrate_bpm = [62, 84]\n",
    },
    SheetKind {
        title: "right heart",
        definition: "title = \"E\"\nconvention = \"right_heart\"\ngiven = [\"ecg\"]\nforms = 2\nseed = 6\n[heart]\nrate_bpm = [65, 80]\n",
    },
    SheetKind {
        title: "left heart, ECG given",
        definition: "title = \"F\"\nconvention = \"left_heart\"\nforms = 2\nseed = 7\n[heart]\nrate_bpm = [64, 82]\n",
    },
    SheetKind {
        title: "first course, ECG asked for",
        definition: "title = \"G\"\nconvention = \"first_course\"\ngiven = [\"aortic_pressure\"]\nforms = 2\nseed = 9\n[heart]\nrate_bpm = [66, 84]\n",
    },
];
/// Drawings of one seed at most.
pub(crate) const MOST: u64 = 1_000_000;
/// How many of ten drawings are of each test.
const OF_TEN: [usize; 10] = [0, 0, 0, 1, 1, 2, 3, 4, 5, 6];
/// Pixels to the inch at which pages are printed before they are captured.
const PRINT_DPI: f64 = 300.0;

/// A test's definition.
pub(crate) fn test(text: &str, subject: &Subject) -> Result<(String, Test), Box<dyn Error>> {
    let conventions = |named: &str| {
        cardiac::Shipped::find(named)
            .map(|one| one.convention())
            .ok_or_else(|| format!("no {named}"))
    };
    Ok((text.to_owned(), Test::from_toml(text, subject, &conventions)?))
}

/// A test, printed.
pub(crate) struct Printed<'a> {
    pub(crate) test: &'a Test,
    subject: &'a Subject,
    pub(crate) book: Book<'a>,
}

impl<'a> Printed<'a> {
    pub(crate) fn new(
        (text, test): &'a (String, Test),
        subject: &'a Subject,
    ) -> Result<Self, Box<dyn Error>> {
        let models: Vec<Cycle> =
            forms(test).iter().map(|form| model(test, form)).collect::<Result<_, _>>()?;
        let book = Book::new(test, subject, &sheet::test_id(text.as_bytes()), models)?;
        Ok(Self { test, subject, book })
    }
}

/// The completed cycle of a form.
fn model(test: &Test, form: &Form) -> Result<Cycle, Box<dyn Error>> {
    let mut heart = Heart::default();
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

/// A drawing, what is true of it, and what was made of it.
pub(crate) struct One {
    pub(crate) number: usize,
    pub(crate) kind: usize,
    pub(crate) test: usize,
    pub(crate) truth: Truth,
    /// What was read and marked, or why nothing was.
    pub(crate) made: Result<(Located, Marks), String>,
    /// Whether it was taken for another sheet.
    pub(crate) mistaken: bool,
    /// Rules about labels, which are for a person to say.
    pub(crate) labels: Vec<String>,
}

/// What is kept between runs.
pub(crate) struct Kept<'a> {
    pub(crate) folder: Option<&'a Path>,
    /// Whether what is kept is read again.
    pub(crate) again: bool,
}

impl Kept<'_> {
    fn file(&self, name: &str) -> Option<PathBuf> {
        self.folder.map(|folder| folder.join(name))
    }
}

/// A sheet, filled in.
pub(crate) struct FilledIn {
    pub(crate) kind: usize,
    pub(crate) test: usize,
    pub(crate) form: usize,
    pub(crate) geometry: Geometry,
    pages: Vec<figure::Page>,
    pub(crate) drawing: Drawing,
    chance: Random,
}

/// Fills in drawing `number`.
pub(crate) fn filled_in(
    tests: &[Printed<'_>],
    number: usize,
    seed: u64,
) -> Result<FilledIn, Box<dyn Error>> {
    let mut chance = Random::new(seed);
    let which = OF_TEN[chance.below(OF_TEN.len())];
    let kind = number % KINDS.len();
    let Printed { test, subject, book } = &tests[which];
    let form = chance.below(book.forms());
    let copies = [Copy { sheet: number as u32 + 1, form, name: None }];
    let geometry = Geometry::from_json(&book.geometry(&copies)?)?;
    let pages = book.drawing_sheets(&copies)?;
    let handout = Handout {
        pages: &pages,
        places: &geometry.pages,
        mm_per_s: geometry.mm_per_s,
        model: book.model(form),
        convention: &test.convention,
        subject,
    };
    let mut student = Student::anyone(seed);
    if kind == 3 {
        student.tool = Tool::FaintPencil;
    } else if student.tool == Tool::FaintPencil {
        student.tool = Tool::Pencil;
    }
    let count = [0, 1, 1, 2, 2, 3, 3, 4, 5, 7][chance.below(10)];
    let drawing = draw(&handout, &student, &mistakes(&handout, count, seed));
    Ok(FilledIn { kind, test: which, form, geometry, pages, drawing, chance })
}

/// The drawings of which something was kept, by their numbers and seeds.
pub(crate) fn all_kept(folder: &Path) -> Result<Vec<(usize, u64)>, Box<dyn Error>> {
    let mut seeds = Vec::new();
    for entry in fs::read_dir(folder)? {
        let name = entry?.file_name();
        let seed = name.to_str().and_then(|name| name.strip_suffix(".json")?.parse::<u64>().ok());
        seeds.extend(seed);
    }
    seeds.sort_unstable();
    Ok(seeds.into_iter().map(|seed| ((seed % MOST) as usize, seed)).collect())
}

/// What was read from a drawing before, where it was kept.
pub(crate) fn kept(folder: &Path, seed: u64) -> Option<marking::DrawnSheet> {
    serde_json::from_str(&fs::read_to_string(folder.join(format!("{seed}.json"))).ok()?).ok()
}

/// Makes drawing `number`, and reads it.
pub(crate) fn one(
    tests: &[Printed<'_>],
    number: usize,
    seed: u64,
    kept: &Kept<'_>,
) -> Result<One, Box<dyn Error>> {
    let FilledIn { kind, test: which, form, geometry, pages, drawing, mut chance } =
        filled_in(tests, number, seed)?;
    let Printed { test, book, .. } = &tests[which];
    let capture = match if kind == 3 { chance.below(3) } else { kind } {
        0 => Capture::Copier(Copier::any(seed, 300.0, chance.below(2) == 0)),
        1 => Capture::Copier(Copier::any(seed, 150.0, false)),
        _ => Capture::Phone(Phone::any(seed)),
    };
    let printed = reader::Printed::new(book);
    let rubric = Rubric::new(book, &test.convention, form);
    let mut drawn = marking::DrawnSheet::default();
    let (mut fault, mut mistaken) = (None, false);
    let known = kept.file(&format!("{seed}.json"));
    let before = known.as_ref().filter(|path| path.exists() && !kept.again);
    if let Some(path) = before {
        drawn = serde_json::from_str(&fs::read_to_string(path)?)?;
    }
    let to_read = if before.is_some() { &pages[..0] } else { &pages[..] };
    for (index, page) in to_read.iter().enumerate() {
        let taken = || -> Result<Vec<u8>, Box<dyn Error>> {
            let mut sheet = hand::Sheet::print(page, PRINT_DPI)?;
            sheet.draw(&drawing.pages[index], seed);
            let taken = capture.take(&sheet);
            Ok(jpeg(&taken.picture, capture.quality(), taken.orientation)?)
        };
        let file = match kept.file(&format!("{seed}-{index}.jpg")) {
            Some(path) if path.exists() => fs::read(path)?,
            Some(path) => {
                let file = taken()?;
                fs::write(path, &file)?;
                file
            }
            None => taken()?,
        };
        match page_of(file, &printed) {
            Ok((code, page)) => {
                mistaken |= code != geometry.pages[index].code;
                drawn.pages.push(page);
            }
            Err(error) => fault = Some(error),
        }
    }
    if let (Some(path), None) = (&known, &fault) {
        fs::write(path, serde_json::to_string(&drawn)?)?;
    }
    let made = match fault {
        Some(fault) => Err(fault),
        None => {
            let located = locate(&drawn, &rubric);
            let marks = mark(&drawn, &located, &rubric);
            Ok((located, marks))
        }
    };
    let labels = test.convention.rules.iter().filter(|rule| rule.says.kind() == "label");
    Ok(One {
        number,
        kind,
        test: which,
        truth: drawing.truth,
        made,
        mistaken,
        labels: labels.map(|rule| rule.id.clone()).collect(),
    })
}

fn page_of(
    file: Vec<u8>,
    printed: &reader::Printed<'_>,
) -> Result<(String, marking::DrawnPage), String> {
    let picture: Picture = read(file, "scan.jpg", Limits::default())
        .map_err(|error| error.to_string())?
        .next()
        .ok_or("there is no page")?
        .map_err(|error| error.to_string())?;
    let page = printed.read(&picture).map_err(|fault| fault.to_string())?;
    Ok((page.code.to_text(), page.drawn))
}
