//! Any text as a heart's description.
#![no_main]

use heart::Heart;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    if let Err(error) = Heart::from_toml(text) {
        assert!(!error.to_string().is_empty());
    }
});
