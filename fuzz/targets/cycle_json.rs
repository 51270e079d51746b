//! Any text as a cycle; what can be read can be written and read again.
#![no_main]

use cycle::Cycle;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    match Cycle::from_json(text) {
        Ok(cycle) => assert_eq!(Cycle::from_json(&cycle.to_json()).ok().as_ref(), Some(&cycle)),
        Err(error) => assert!(!error.to_string().is_empty()),
    }
});
