//! Any text as a convention.
#![no_main]

use std::sync::LazyLock;

use convention::Convention;
use cycle::Subject;
use libfuzzer_sys::fuzz_target;

static SUBJECT: LazyLock<Subject> = LazyLock::new(heart::subject);

fuzz_target!(|text: &str| {
    if let Err(faults) = Convention::from_toml(text, &SUBJECT) {
        assert!(!faults.to_string().is_empty());
    }
});
