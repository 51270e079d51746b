//! The practice core as a WebAssembly module for browsers.
//!
//! A page writes a question (what is asked, then its request in JSON) where [`question`] says,
//! calls [`answer`], and reads so many bytes where [`answered`] says. Nothing is imported, so
//! the module can reach nothing but its own memory.

use std::cell::RefCell;

use practice::Core;

#[derive(Default)]
struct Desk {
    core: Core,
    question: Vec<u8>,
    answer: Vec<u8>,
}

thread_local! {
    static DESK: RefCell<Desk> = RefCell::default();
}

/// Makes room for a question of so many bytes; gives where it goes.
#[allow(unsafe_code, reason = "the page calls this by its name")]
#[unsafe(no_mangle)]
pub extern "C" fn question(bytes: usize) -> *mut u8 {
    DESK.with_borrow_mut(|desk| {
        desk.question = vec![0; bytes];
        desk.question.as_mut_ptr()
    })
}

/// Answers the question, of which the first `what` bytes say what is asked. Gives the number of
/// bytes of the answer, below nought where it is a refusal in words.
#[allow(unsafe_code, reason = "the page calls this by its name")]
#[unsafe(no_mangle)]
pub extern "C" fn answer(what: usize) -> isize {
    DESK.with_borrow_mut(|desk| {
        let Desk { core, question, answer } = desk;
        let text = String::from_utf8_lossy(question);
        let (what, json) = text.split_at_checked(what).unwrap_or((&text, ""));
        let (told, sign) = match core.ask(what, json) {
            Ok(told) => (told, 1),
            Err(refused) => (refused.to_string(), -1),
        };
        *answer = told.into_bytes();
        sign * answer.len() as isize
    })
}

/// Where the answer lies.
#[allow(unsafe_code, reason = "the page calls this by its name")]
#[unsafe(no_mangle)]
pub extern "C" fn answered() -> *const u8 {
    DESK.with_borrow(|desk| desk.answer.as_ptr())
}
