//! Any bytes as the files of a WFDB record, divided by a mark.
#![no_main]

use fuzz::recordings::{FILES, divided, open};
use libfuzzer_sys::fuzz_target;
use recording::{Asked, Memory};

fuzz_target!(|data: &[u8]| {
    let names = FILES.map(str::to_owned);
    let files: Memory = names.into_iter().zip(divided(data).map(<[u8]>::to_vec)).collect();
    open(files, FILES[0], &Asked::default());
});
