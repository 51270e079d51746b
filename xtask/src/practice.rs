//! The practice core compiled for browsers, which the program puts into every practice page.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::run::{cargo, need, run};
use crate::target;

/// What the core is called as a package and as a file.
const PACKAGE: &str = "practice-wasm";
const FILE: &str = "practice_wasm.wasm";
/// What the program's build reads to find the core.
pub(crate) const VARIABLE: &str = "INCISURA_PRACTICE_CORE";
pub(crate) const BROWSER_TARGET: &str = "wasm32-unknown-unknown";
/// The distribution's compiler, which has no library for browsers but its source.
const DEBIAN: [&str; 4] = ["rustc-web", "cargo-web", "rust-web-src", "lld-19"];
const LINKER: &str = "wasm-ld-19";

/// Builds the core; gives its file, or what is missing.
pub(crate) fn core() -> Result<PathBuf, String> {
    let folder = target().join("practice");
    let build = |mut cargo: Command| {
        run(cargo
            .args(["build", "--quiet", "--profile", "practice", "--package", PACKAGE])
            .args(["--target", BROWSER_TARGET])
            .env("CARGO_TARGET_DIR", &folder))
    };
    if has_target() {
        build(cargo())?;
    } else {
        need(LINKER, &DEBIAN).map_err(|why| {
            format!("{why}, or, where rustup is, `rustup target add {BROWSER_TARGET}`")
        })?;
        build(debian_cargo())?;
    }
    let file = folder.join(BROWSER_TARGET).join("practice").join(FILE);
    file.is_file().then_some(file).ok_or_else(|| format!("the build left no {FILE}"))
}

/// The core, if it could be built.
pub(crate) struct Built(Option<PathBuf>);

impl Built {
    /// Builds it, or says why it is left out.
    pub(crate) fn new() -> Self {
        let core = core();
        if let Err(why) = &core {
            println!("practice pages are left out: {why}");
        }
        Self(core.ok())
    }

    /// Lets `cargo` build the program with the core in it. Every build of the program is told the
    /// same, or it would be built anew each time.
    pub(crate) fn include<'a>(&self, cargo: &'a mut Command) -> &'a mut Command {
        match &self.0 {
            Some(file) => cargo.env(VARIABLE, file),
            None => cargo.env_remove(VARIABLE),
        }
    }
}

/// Whether the compiler that runs this has the library for browsers.
pub(crate) fn has_target() -> bool {
    let rustc = std::env::var_os("RUSTC").unwrap_or_else(|| "rustc".into());
    let asked =
        Command::new(rustc).args(["--print", "target-libdir", "--target", BROWSER_TARGET]).output();
    let folder = asked.map(|output| String::from_utf8_lossy(&output.stdout).trim().to_owned());
    folder.is_ok_and(|folder| !folder.is_empty() && Path::new(&folder).is_dir())
}

/// Debian's cargo, allowed to build the standard library from its source.
fn debian_cargo() -> Command {
    let mut command = Command::new("/usr/bin/cargo");
    command
        .current_dir(crate::root())
        .args(["-Zbuild-std=std,panic_abort"])
        .env("RUSTC", "/usr/bin/rustc")
        .env("RUSTC_BOOTSTRAP", "1")
        .env("CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_LINKER", LINKER);
    // What rustup sets for its own compiler would lead astray.
    for variable in ["RUSTUP_TOOLCHAIN", "RUSTUP_HOME", "CARGO", "RUSTFLAGS"] {
        command.env_remove(variable);
    }
    command
}
