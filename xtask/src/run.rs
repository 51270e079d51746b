//! Running other programs.

use std::process::{Command, Stdio};

use crate::{Done, root};

/// The cargo that runs this task, in the workspace's folder.
pub(crate) fn cargo() -> Command {
    let mut cargo = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    cargo.current_dir(root());
    cargo
}

/// Runs `command` with its output shown.
pub(crate) fn run(command: &mut Command) -> Done {
    let name = command.get_program().to_string_lossy().into_owned();
    let status = command.status().map_err(|error| format!("cannot run {name}: {error}"))?;
    let arguments: Vec<_> = command.get_args().map(|one| one.to_string_lossy()).collect();
    status.success().then_some(()).ok_or_else(|| format!("`{name} {}` failed", arguments.join(" ")))
}

/// Runs `command` without a word unless it fails.
pub(crate) fn quietly(command: &mut Command) -> Done {
    let name = command.get_program().to_string_lossy().into_owned();
    let output = command.output().map_err(|error| format!("cannot run {name}: {error}"))?;
    let said = String::from_utf8_lossy(&output.stderr);
    let last = said.lines().rfind(|line| !line.trim().is_empty()).unwrap_or_default();
    output.status.success().then_some(()).ok_or_else(|| format!("{name}: {last}"))
}

/// Whether `program` can be run at all.
pub(crate) fn exists(program: &str) -> bool {
    // Poppler's programs know only the short form.
    ["--version", "-v"].into_iter().any(|ask| {
        let mut command = Command::new(program);
        command.arg(ask).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
        command.status().is_ok_and(|status| status.success())
    })
}

/// Whether Debian packages can be installed here without asking anyone.
fn may_install() -> bool {
    let user = Command::new("id").arg("-u").output();
    user.is_ok_and(|output| output.stdout.trim_ascii() == b"0") && exists("apt-get")
}

/// Makes sure that `program` exists, installing the Debian packages that bring it if possible.
pub(crate) fn need(program: &str, packages: &[&str]) -> Done {
    if exists(program) {
        return Ok(());
    }
    let packages = packages.join(" ");
    if may_install() {
        let script = format!(
            "apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -qq --no-install-recommends {packages}"
        );
        quietly(Command::new("sh").args(["-c", &script]))?;
    }
    let missing =
        || format!("{program} is missing; install it (Debian: apt-get install {packages})");
    exists(program).then_some(()).ok_or_else(missing)
}
