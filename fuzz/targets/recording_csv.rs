//! Any bytes as a table; a rate is asked for with every other length.
#![no_main]

use fuzz::recordings::open;
use libfuzzer_sys::fuzz_target;
use recording::{Asked, Memory};

fuzz_target!(|data: &[u8]| {
    let rate_hz = (data.len() % 2 == 1).then_some(250.0);
    let name = "any.csv";
    open(Memory::one(name, data.to_vec()), name, &Asked { rate_hz, ..Asked::default() });
});
