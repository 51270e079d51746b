//! A sign of life for work that takes longer than a moment.

use std::cell::RefCell;
use std::rc::Rc;
use std::sync::atomic::{AtomicUsize, Ordering};
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

/// As [`counted`], on all cores.
pub(crate) fn together<T: Sync, R: Send, E: Send>(
    message: &'static str,
    all: &[T],
    work: impl Fn(&T) -> Result<R, E> + Sync,
) -> Result<Vec<R>, E> {
    let bar = bar(message, all.len());
    let threads = thread::available_parallelism().map_or(1, usize::from).min(all.len());
    let next = AtomicUsize::new(0);
    let mut done: Vec<Option<Result<R, E>>> = all.iter().map(|_| None).collect();
    thread::scope(|scope| {
        let (send, results) = mpsc::channel();
        for _ in 0..threads {
            let (send, next, work) = (send.clone(), &next, &work);
            scope.spawn(move || {
                while let Some((n, one)) = next_of(all, next) {
                    let _ = send.send((n, work(one)));
                }
            });
        }
        drop(send);
        for (n, result) in results {
            done[n] = Some(result);
            bar.inc(1);
        }
    });
    bar.finish_and_clear();
    done.into_iter().flatten().collect()
}

/// The next piece of work that nobody has taken.
fn next_of<'a, T>(all: &'a [T], next: &AtomicUsize) -> Option<(usize, &'a T)> {
    let n = next.fetch_add(1, Ordering::Relaxed);
    all.get(n).map(|one| (n, one))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn work_on_all_cores_comes_back_in_its_order_or_with_its_first_fault() {
        let all: Vec<u32> = (0..200).collect();
        let doubled = together("doubling", &all, |one| Ok::<_, u32>(2 * one));
        assert_eq!(doubled, Ok(all.iter().map(|one| 2 * one).collect()));
        let odd =
            together("halving", &all, |one| if one % 2 == 0 { Ok(one / 2) } else { Err(*one) });
        assert_eq!(odd, Err(1));
        assert_eq!(together("nothing", &[], |one: &u32| Ok::<_, u32>(*one)), Ok(Vec::new()));
    }
}
