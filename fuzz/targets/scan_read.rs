//! Any bytes as a file of scanned pages.
#![no_main]

use fuzz::let_caught_panics_pass;
use libfuzzer_sys::fuzz_target;
use scan::{Limits, read};

fuzz_target!(init: let_caught_panics_pass(), |data: &[u8]| {
    let small = Limits { pixels: 1_000_000, pages: 20 };
    let Ok(pages) = read(data.to_vec(), "any", small) else { return };
    for page in pages.flatten() {
        assert_eq!(page.level.len(), page.width * page.height);
    }
});
