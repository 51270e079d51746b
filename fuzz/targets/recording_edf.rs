//! Any bytes as an EDF file.
#![no_main]

use fuzz::recordings::open;
use libfuzzer_sys::fuzz_target;
use recording::{Asked, Memory};

fuzz_target!(|data: &[u8]| {
    let name = "any.edf";
    open(Memory::one(name, data.to_vec()), name, &Asked::default());
});
