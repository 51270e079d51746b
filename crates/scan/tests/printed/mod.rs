//! A printed sheet as a scan of it is read: its page, its form and its print.

use cycle::{Cycle, Subject};
use figure::Page;
use hand::{Geometry, Handout};
use heart::Heart;
use scan::ink::Print;
use scan::{Flat, Limits, PageForm, PanelForm, read};
use sheet::marks::MARK_SIZE_MM;
use sheet::{Book, Test};

/// Pixels for a millimetre of a flattened page.
pub(crate) const PX_PER_MM: f64 = 8.0;

/// A printed sheet, and what is known of it.
pub(crate) struct Printed {
    pub(crate) test: Test,
    pub(crate) model: Cycle,
    pub(crate) geometry: Geometry,
    pub(crate) form: PageForm,
    pub(crate) page: Page,
    pub(crate) print: Print,
}

impl Printed {
    /// The sheet as a student is handed it.
    pub(crate) fn handout<'a>(&'a self, subject: &'a Subject) -> Handout<'a> {
        Handout {
            pages: std::slice::from_ref(&self.page),
            places: &self.geometry.pages,
            mm_per_s: self.geometry.mm_per_s,
            model: &self.model,
            convention: &self.test.convention,
            subject,
        }
    }
}

/// The first course's test.
pub(crate) fn printed() -> Printed {
    let subject = heart::subject();
    let text = "title = \"Test\"\nconvention = \"first_course\"\n";
    let conventions = |named: &str| Ok(cardiac::Shipped::find(named).unwrap().convention());
    let test = Test::from_toml(text, &subject, &conventions).unwrap();
    let base = heart::simulate(&Heart::default(), 1).unwrap();
    let model = convention::schematic(&test.convention, &subject, &base, test.beats).unwrap();
    let id = sheet::test_id(text.as_bytes());
    let book = Book::new(&test, &subject, &id, vec![model.clone()]).unwrap();
    let copies = book.masters();
    let json = book.geometry(&copies).unwrap();
    let page = book.drawing_sheets(&copies).unwrap().remove(0);
    let form = form(&json);
    let print = Print::of(&raster(&page), &form).unwrap();
    let geometry = Geometry::from_json(&json).unwrap();
    Printed { geometry, form, print, page, model, test }
}

fn form(json: &str) -> PageForm {
    let json: serde_json::Value = serde_json::from_str(json).unwrap();
    let number = |of: &serde_json::Value, name: &str| of[name].as_f64().unwrap();
    let place = |of: &serde_json::Value| {
        ["x_mm", "y_mm", "width_mm", "height_mm"].map(|name| number(of, name))
    };
    let marks = json["marks"].as_array().unwrap().iter();
    let panels = json["pages"][0]["panels"].as_array().unwrap().iter();
    PageForm {
        width_mm: number(&json, "page_width_mm"),
        height_mm: number(&json, "page_height_mm"),
        marks: marks
            .map(|mark| {
                let id = mark["id"].as_u64().unwrap() as usize;
                (id, [number(mark, "x_mm"), number(mark, "y_mm")])
            })
            .collect(),
        mark_mm: MARK_SIZE_MM,
        code: Some(place(&json["code"])),
        panels: panels
            .map(|panel| {
                let [x_mm, y_mm, width_mm, height_mm] = place(panel);
                let channel = panel["channel"].as_str().unwrap().to_owned();
                let sounds = channel == "heart_sounds";
                let given = panel["given"].as_bool().unwrap();
                PanelForm {
                    channel,
                    x_mm,
                    y_mm,
                    width_mm,
                    height_mm,
                    given,
                    sounds,
                    small_sounds: false,
                    narrow_waves: false,
                }
            })
            .collect(),
        bars: Vec::new(),
    }
}

/// The page as it was printed, as a flattened scan would show it.
fn raster(page: &Page) -> Flat {
    let png = page.figure().png(PX_PER_MM * 25.4).unwrap();
    let picture = read(png, "blank.png", Limits::default()).unwrap().next().unwrap().unwrap();
    Flat::of(&picture, PX_PER_MM)
}
