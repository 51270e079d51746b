//! Memory for whole pages, used again for the next page that a thread reads: to get as much anew
//! from the system takes longer than most of what is done with it.

use std::cell::RefCell;

/// Fewer numbers than these are not worth keeping.
const LEAST: usize = 1 << 20;
/// A page in work needs no more at a time: flat, smoothed, its print and its ink.
const MOST: usize = 4;

thread_local! {
    static KEPT: RefCell<Vec<Vec<i16>>> = const { RefCell::new(Vec::new()) };
}

/// Room for `count` numbers, without any.
pub(crate) fn room(count: usize) -> Vec<i16> {
    let mut room = Vec::new();
    if count >= LEAST {
        // There is none where the thread is about to end.
        let kept = KEPT.try_with(|kept| kept.borrow_mut().pop());
        room = kept.ok().flatten().unwrap_or_default();
    }
    room.clear();
    room.reserve_exact(count);
    room
}

/// Keeps the room of numbers that are no longer needed.
pub(crate) fn keep(numbers: Vec<i16>) {
    if numbers.capacity() >= LEAST {
        let _ended = KEPT.try_with(|kept| {
            let mut kept = kept.borrow_mut();
            if kept.len() < MOST {
                kept.push(numbers);
            }
        });
    }
}
