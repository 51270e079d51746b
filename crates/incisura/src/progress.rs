//! A sign of life for work that takes longer than a moment.

use std::cell::RefCell;
use std::rc::Rc;
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

/// Work that is done sooner leaves no trace on the terminal.
const PATIENCE: Duration = Duration::from_secs(1);
const TICK: Duration = Duration::from_millis(120);

/// Whoever else wants to know how far work on this thread is.
pub(crate) trait Watcher {
    /// Work of so many pieces begins; of how many is not always known.
    fn begin(&self, message: &str, of: Option<usize>);
    /// So many pieces are done.
    fn at(&self, done: usize);
}

thread_local! {
    static WATCHER: RefCell<Option<Rc<dyn Watcher>>> = const { RefCell::new(None) };
}

/// Does `work`, telling `watcher` how far it is.
pub(crate) fn watched<T>(watcher: Rc<dyn Watcher>, work: impl FnOnce() -> T) -> T {
    let before = WATCHER.replace(Some(watcher));
    let result = work();
    WATCHER.set(before);
    result
}

fn tell(told: impl FnOnce(&dyn Watcher)) {
    // What is told may begin work of its own, so the watcher is not held meanwhile.
    let watcher = WATCHER.with_borrow(Clone::clone);
    if let Some(watcher) = watcher {
        told(&*watcher);
    }
}

/// Does `work`; from the second second on, says `message` with a moving sign.
///
/// The sign goes to standard error and only to a terminal, so that it never gets into files.
pub(crate) fn during<T>(message: &str, work: impl FnOnce() -> T) -> T {
    tell(|watcher| watcher.begin(message, None));
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

/// A bar on the terminal, for work that is counted.
pub(crate) struct Bar(ProgressBar);

impl Bar {
    /// So many more are done.
    pub(crate) fn inc(&self, count: u64) {
        self.set_position(self.0.position() + count);
    }

    /// So many are done.
    pub(crate) fn set_position(&self, done: u64) {
        self.0.set_position(done);
        tell(|watcher| watcher.at(done as usize));
    }

    pub(crate) fn finish_and_clear(&self) {
        self.0.finish_and_clear();
    }
}

/// A bar that counts up to `length`.
pub(crate) fn bar(message: &'static str, length: usize) -> Bar {
    tell(|watcher| watcher.begin(message, Some(length)));
    let style = ProgressStyle::with_template("{msg} {bar:30} {pos} of {len}")
        .expect("the template is well formed");
    Bar(ProgressBar::new(length as u64).with_message(message).with_style(style))
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
