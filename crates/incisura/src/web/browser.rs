//! Opening a page in the browser that the person uses.

use std::process::{Command, Stdio};

#[cfg(target_os = "macos")]
const OPENER: &[&str] = &["open"];
#[cfg(target_os = "windows")]
const OPENER: &[&str] = &["cmd", "/C", "start", ""];
#[cfg(not(any(target_os = "macos", target_os = "windows")))]
const OPENER: &[&str] = &["xdg-open"];

/// Asks the system to show `address`. The address is printed in any case, so that nothing
/// is lost on a machine without a browser.
pub(crate) fn show(address: &str) {
    let Some((program, arguments)) = OPENER.split_first() else { return };
    let _ = Command::new(program)
        .args(arguments)
        .arg(address)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
}
