//! The classroom on the local network: what students read before they are in, and what the
//! instructor reads about it.

pub(crate) const JOIN: &str = "Join the class";
pub(crate) const CODE: &str = "Code";
pub(crate) const TYPE: &str = "Type the code that your instructor shows.";
pub(crate) const ENTER: &str = "Join";
pub(crate) const PRIVATE: &str =
    "Nothing that you draw is kept, and nobody is told what you drew or how it was judged.";
pub(crate) const WRONG: &str = "That is not the code. Look again at what your instructor shows.";
pub(crate) const SLOWLY: &str = "There were too many wrong codes. Wait a little, then try again.";
pub(crate) const FULL: &str = "The class is full. Ask your instructor.";
pub(crate) const BUSY: &str = "Too much is being judged at once. Try again in a moment.";
pub(crate) const NOT_HERE: &str =
    "This address is not the one that your instructor shows; type that one.";
pub(crate) const NOT_IN: &str = "Join the class first: open the first page and type the code.";
pub(crate) const FROM_HERE: &str = "This can only be sent from the practice page itself.";
pub(crate) const NOTHING: &str = "There is nothing here. Practice is at /practice.";

pub(crate) const OPEN: &str = "The classroom is open";
pub(crate) const COME_IN: &str = "On this network, students open this address and type the code. They reach practice and nothing else. They can choose every test of this course and are shown how it is meant to be drawn: keep one that is still to be written in another course.";
pub(crate) const ADDRESS: &str = "Address";
pub(crate) const QR: &str = "The address as a QR code, with the join code in it";
pub(crate) const CLOSED: &str = "To let a class in on this network, start the program with";

/// What the terminal says.
pub(crate) fn said(address: &str, code: &str) -> String {
    format!("practice for this network is at {address} with the code {code}")
}
