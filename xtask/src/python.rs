//! A Python with libraries that measure and check what we compute, write and print.

use std::path::PathBuf;
use std::process::Command;

use crate::run::{need, quietly};
use crate::target;

/// The interpreter of a virtual environment that has them; made when first needed.
pub(crate) fn with_libraries() -> Result<PathBuf, String> {
    let folder = target().join("python");
    let python = folder.join(if cfg!(windows) { "Scripts/python.exe" } else { "bin/python" });
    let works = || {
        quietly(Command::new(&python).args([
            "-c",
            "import scipy.integrate, jsonschema, cv2, zxingcpp, pikepdf, wfdb, pyedflib",
        ]))
        .is_ok()
    };
    if !works() {
        need("python3", &["python3", "python3-venv"])?;
        quietly(Command::new("python3").args(["-m", "venv", "--clear"]).arg(&folder))?;
        let wanted = [
            "numpy",
            "scipy",
            "jsonschema",
            "opencv-python-headless",
            "zxing-cpp",
            "pikepdf",
            "wfdb",
            "pyedflib",
        ];
        quietly(Command::new(&python).args(["-m", "pip", "install", "--quiet"]).args(wanted))?;
    }
    works()
        .then_some(python)
        .ok_or_else(|| "Python's libraries were installed but cannot be imported".to_owned())
}
