//! A sign of life for work that takes longer than a moment.

use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

/// Work that is done sooner leaves no trace on the terminal.
const PATIENCE: Duration = Duration::from_secs(1);
const TICK: Duration = Duration::from_millis(120);

/// Does `work`; from the second second on, says `message` with a moving sign.
///
/// The sign goes to standard error and only to a terminal, so that it never gets into files.
pub(crate) fn during<T>(message: &str, work: impl FnOnce() -> T) -> T {
    let (done, wait) = mpsc::channel::<()>();
    thread::scope(|scope| {
        scope.spawn(move || {
            if wait.recv_timeout(PATIENCE) == Err(mpsc::RecvTimeoutError::Timeout) {
                let sign = ProgressBar::new_spinner().with_message(message.to_owned());
                sign.enable_steady_tick(TICK);
                let _ = wait.recv();
                sign.finish_and_clear();
            }
        });
        let result = work();
        drop(done);
        result
    })
}

/// A bar that counts up to `length`.
pub(crate) fn bar(message: &'static str, length: usize) -> ProgressBar {
    let style = ProgressStyle::with_template("{msg} {bar:30} {pos} of {len}")
        .expect("the template is well formed");
    ProgressBar::new(length as u64).with_message(message).with_style(style)
}

/// Does `work` for each of `all`, with a bar that counts them.
///
/// Like the sign, the bar goes to a terminal's standard error alone and leaves no trace.
pub(crate) fn counted<T, R, E>(
    message: &'static str,
    all: &[T],
    mut work: impl FnMut(&T) -> Result<R, E>,
) -> Result<Vec<R>, E> {
    let bar = bar(message, all.len());
    let done = all.iter().map(|one| {
        let result = work(one);
        bar.inc(1);
        result
    });
    let done = done.collect();
    bar.finish_and_clear();
    done
}
