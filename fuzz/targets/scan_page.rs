//! Any small picture as a page: marks, code, flattening, ink and what is drawn.
#![no_main]

use fuzz::{PX_PER_MM, form, let_caught_panics_pass, picture, print};
use libfuzzer_sys::fuzz_target;
use scan::{find_code, find_marks, flatten_with, read_code};

fuzz_target!(init: let_caught_panics_pass(), |data: &[u8]| {
    let Some(picture) = picture(data) else { return };
    let form = form();
    find_code(&picture);
    let Ok(marks) = find_marks(&picture, &form.marks) else { return };
    let Ok(page) = flatten_with(&picture, marks, &form, PX_PER_MM) else { return };
    form.code.map(|place| read_code(&page.flat, place));
    let Some(ink) = scan::ink::student_ink(&page.flat, print()) else { return };
    let drawing = scan::trace::drawing(&ink, &form);
    for trace in drawing.traces {
        assert!(trace.points_mm.iter().flatten().all(|one| one.is_finite()));
    }
});
