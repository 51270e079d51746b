//! What is said while a text saves itself.

pub(crate) const SAVED: &str = "Saved.";
pub(crate) const SAVING: &str = "Saving …";
pub(crate) const DRAFT: &str =
    "Kept as a draft, for it has faults. The last text without faults stays in force.";
pub(crate) const NOT_SAVED: &str = "Not saved: ";
pub(crate) const CONFLICT: &str = "This was changed elsewhere since you opened it, in another window or by another program. Your text is still here.";
pub(crate) const KEEP_MINE: &str = "Keep mine";
pub(crate) const SHOW_THEIRS: &str = "Show what is there now";
pub(crate) const LINE: &str = "line";
