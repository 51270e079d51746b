//! Puts the practice core into the program, where it was built before (`cargo xtask practice`).

use std::env;
use std::fs;
use std::path::PathBuf;

/// Where `cargo xtask` says that the core is.
const VARIABLE: &str = "INCISURA_PRACTICE_CORE";

fn main() {
    println!("cargo:rerun-if-env-changed={VARIABLE}");
    println!("cargo:rerun-if-changed=build.rs");
    let core = match env::var(VARIABLE) {
        Ok(path) => {
            println!("cargo:rerun-if-changed={path}");
            format!("Some(include_bytes!({path:?}))")
        }
        Err(_) => "None".to_owned(),
    };
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo says where to write"));
    let text = format!(
        "/// The practice core, if the program was built with it.\npub(crate) const CORE: Option<&[u8]> = {core};\n"
    );
    fs::write(out.join("practice_core.rs"), text).expect("cargo's folder can be written");
}
