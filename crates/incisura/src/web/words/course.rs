//! The room of the course: what there is, and the way through the job.

pub(crate) const TITLE: &str = "Course";
pub(crate) const INVENTED: &str = "Everything here is invented: the college, the course, all students and their drawings, and the recording. Change what you like.";
pub(crate) const MAKING: &str =
    "The class is filling in its sheets. You can look around meanwhile.";
pub(crate) const TOUR: &str = "The job in two minutes";
pub(crate) const HERE: &str = "What lies in this course";
pub(crate) const FOLDER: &str = "It is a folder, which you can copy, back up and share:";
pub(crate) const OTHERS: &str = "Courses";
pub(crate) const OPEN: &str = "Open";
pub(crate) const NEW: &str = "New course";
pub(crate) const NAME: &str = "Name of the course";
pub(crate) const MAKE: &str = "Make it and open it";
pub(crate) const SETTINGS: &str = "Settings";
pub(crate) const COURSE_TITLE: &str = "The course is called";
pub(crate) const WHO: &str = "Your name, which is kept with each decision";
pub(crate) const SPELLING: &str = "The electrocardiogram is called";
pub(crate) const UNDO: &str = "Undo the last change";
pub(crate) const SAVED: &str = "Saved.";
pub(crate) const NOTHING: &str = "nothing yet";

/// What each stop of the tour says: the room's address, what is done there.
pub(crate) const STOPS: &[(&str, &str)] = &[
    (
        "/heart",
        "Change a heart and see every trace change with it. Hear it, compare two, keep the figure.",
    ),
    ("/board", "Build the cycle step by step before the class: ask, reveal, say why."),
    (
        "/conventions",
        "Choose the rules that your class learns, see whether they agree, and where measured hearts differ.",
    ),
    ("/sheets", "Print drawing sheets in parallel forms, with their key and rubric."),
    (
        "/marking",
        "Drop the scans. What can be measured is marked; what only a person can say is asked.",
    ),
    ("/class", "See what the class as a whole misunderstands, and teach to that."),
    ("/recordings", "Bring a recording from the lab to the same figure."),
    ("/practice", "Let students draw on screen, with feedback at once, as often as they like."),
];
