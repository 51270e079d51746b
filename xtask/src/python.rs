//! A Python with SciPy, for second opinions on the model.

use std::path::PathBuf;
use std::process::Command;

use crate::run::{need, quietly};
use crate::target;

/// The interpreter of a virtual environment that has SciPy; made when first needed.
pub(crate) fn with_scipy() -> Result<PathBuf, String> {
    let folder = target().join("python");
    let python = folder.join(if cfg!(windows) { "Scripts/python.exe" } else { "bin/python" });
    let works = || quietly(Command::new(&python).args(["-c", "import scipy.integrate"])).is_ok();
    if !works() {
        need("python3", &["python3", "python3-venv"])?;
        quietly(Command::new("python3").args(["-m", "venv", "--clear"]).arg(&folder))?;
        quietly(Command::new(&python).args(["-m", "pip", "install", "--quiet", "numpy", "scipy"]))?;
    }
    works().then_some(python).ok_or_else(|| "SciPy was installed but cannot be imported".to_owned())
}
