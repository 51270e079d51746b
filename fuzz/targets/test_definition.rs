//! Any text as a test, with the conventions that come with the program.
#![no_main]

use std::sync::LazyLock;

use cycle::Subject;
use libfuzzer_sys::fuzz_target;
use sheet::Test;

static SUBJECT: LazyLock<Subject> = LazyLock::new(heart::subject);

fuzz_target!(|text: &str| {
    let conventions = |named: &str| match cardiac::Shipped::find(named) {
        Some(shipped) => Ok(shipped.convention()),
        None => Err(format!("no convention is called {named}")),
    };
    if let Err(faults) = Test::from_toml(text, &SUBJECT, &conventions) {
        assert!(!faults.to_string().is_empty());
    }
});
