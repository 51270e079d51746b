//! The room of recordings.

use recording::{BeatMark, Quality};

pub(crate) const TITLE: &str = "Recordings";
pub(crate) const SKIP: &str = "Skip to the recordings";
pub(crate) const SKIP_TO_STRIP: &str = "Skip to the strip";
pub(crate) const CAUTION: &str = "Before you begin";
pub(crate) const ABOUT: &str = "A recording from the lab beside the same figure: its beats, their average, what is measured on them. It is read and never changed; what its header says about the person is neither shown nor kept.";
pub(crate) const HERE: &str = "Recordings of this course";
pub(crate) const NONE: &str = "There is no recording yet. Drop one here, or choose its file. It is copied into this course's folder.";
pub(crate) const DROP: &str = "Drop a recording here, or";
pub(crate) const CHOOSE: &str = "choose files";
pub(crate) const KINDS: &str = "EDF, EDF+, WFDB, CSV and other tables, WAV; up to 2 GB a file. A WFDB record is several files: choose its header (.hea), its signals (.dat) and its annotations (.atr) together.";
pub(crate) const BRINGING: &str = "Copying";
pub(crate) const BROUGHT: &str = "Copied.";
pub(crate) const NO_HEADER: &str = "Copied. These are parts of a WFDB record; choose its header (.hea), too, and it can be opened.";
pub(crate) const OTHERS: &str = "All recordings";
pub(crate) const TOO_LARGE: &str =
    "this file is larger than 2 GB; export a part of the recording and choose that";
pub(crate) const CUT_OFF: &str = "the file did not arrive whole; choose it again";
pub(crate) const EMPTY_FILE: &str = "the file is empty; copy or export it again";
pub(crate) const CORRECTIONS_NOT_TAKEN: &str =
    "this is a table of corrections and no recording; put it into the course folder itself";

pub(crate) fn not_taken(name: &str) -> String {
    format!(
        "“{name}” is no kind of file that recordings are made of; export the recording as EDF+, WFDB, CSV or WAV"
    )
}

pub(crate) fn already(name: &str) -> String {
    format!(
        "a file called “{name}” is in this course already and stays as it is; if this is another one, rename the record's files before you choose them"
    )
}

/// Of a record's header, whose name is that of another recording.
pub(crate) fn name_taken(name: &str, recording: &str) -> String {
    format!(
        "“{name}” would have the same name as the recording “{recording}” of this course, and share \
         its corrections; rename the record's files, and what the header says of them, before you \
         choose them"
    )
}

pub(crate) const WORKING: &str = "The recording is being looked through.";
/// What is being done meanwhile.
pub(crate) const OPENING: &str = "opening the recording";
pub(crate) const READING: &str = "reading the recording, signal";
pub(crate) const STILL: &str = "beats are still being looked for; wait until it is done";
pub(crate) const NEEDS_RATE: &str = "How fast was it recorded?";
pub(crate) const RATE_ABOUT: &str = "The table has no column of times. The recorder's manual or its export settings say how many samples it takes a second; if you know how long the recording lasts, divide its number of rows by that.";
pub(crate) const RATE: &str = "Samples per second";
pub(crate) const OPEN: &str = "Open";
pub(crate) const CANNOT: &str = "This recording cannot be read";
pub(crate) const CHOOSE_ONE: &str = "choose a recording";
pub(crate) const PART_BACKWARDS: &str = "the part ends before it begins; exchange the two";

pub(crate) fn no_such_file(name: &str) -> String {
    format!("there is no file “{name}” in the course folder")
}

pub(crate) fn no_channel(name: &str) -> String {
    format!("“{name}” is no channel; choose one from the list")
}

/// A file's size.
pub(crate) fn size(bytes: u64) -> String {
    match bytes as f64 {
        b if b < 1e6 => format!("{:.0} kB", (b / 1e3).max(1.0)),
        b if b < 1e9 => format!("{:.1} MB", b / 1e6),
        b => format!("{:.1} GB", b / 1e9),
    }
}

pub(crate) fn annotations(count: usize) -> String {
    match count {
        0 => String::new(),
        1 => ", 1 annotation".to_owned(),
        count => format!(", {count} annotations"),
    }
}

pub(crate) const STRIP_TITLE: &str = "Strip";
pub(crate) const STRIP: &str = "The recording over time, with its landmarks";
pub(crate) const STRIP_KEYS: &str =
    "Arrow keys scroll, + and − zoom, Home and End go to the ends, Enter chooses a landmark.";
pub(crate) const OVERVIEW: &str = "Where in the recording";
pub(crate) const CLOSER: &str = "Closer";
pub(crate) const FARTHER: &str = "Farther";
pub(crate) const EARLIER: &str = "Earlier";
pub(crate) const LATER: &str = "Later";
pub(crate) const WHOLE: &str = "All of it";
pub(crate) const ZOOM_IN: &str = "Landmarks are shown on strips of 12 seconds and less: go closer.";
pub(crate) const NO_BEATS: &str =
    "No beat was found. Look at the signals, say below which is which, or choose another part.";
pub(crate) const NOT_RECORDED: &str = "not recorded";
pub(crate) const SYMBOLS: &str = "Circle: a peak. Tick: where a wave begins or ends. Square: put there by hand. Hatched: nothing is measured there. The dashed lines mark the beats. Go closer for the names of where waves begin and end, or point at one.";

pub(crate) const CORRECT: &str = "Correct";
pub(crate) const CHOSEN_NONE: &str = "No landmark is chosen. Click one, or press Enter on the strip and go on with the up and down keys.";
pub(crate) const CORRECT_ABOUT: &str = "Drag it, or move it with the left and right keys by one sample, with Shift by ten. Every correction is kept at once.";
pub(crate) const REMOVE: &str = "Remove it";
pub(crate) const ADD: &str = "Add";
pub(crate) const ADD_WHAT: &str = "What was not found";
pub(crate) const ADD_ABOUT: &str = "It is put where you clicked last, or into the middle of the strip; \
    move it from there. An R peak brings its beat, with what is found of it, and takes it away when \
    it is removed.";
/// Said of an R peak that can be added.
pub(crate) const MISSED_BEAT: &str = " (of a beat that was missed)";
pub(crate) const UNDO: &str = "Undo";
pub(crate) const WHO: &str = "Who corrects";
pub(crate) const WHY: &str = "Why";
pub(crate) const BY_EYE: &str = "by eye";
pub(crate) const WHO_LACKS: &str =
    "a correction is kept with who made it; write your name under “Who corrects”";
pub(crate) const WHY_LACKS: &str =
    "a correction is kept with its reason; write it under “Why”, such as: by eye";
pub(crate) const NOTHING_TO_UNDO: &str = "there is no correction to undo";
pub(crate) const CHANGED: &str = "the corrections were changed elsewhere meanwhile and are shown as \
    they are now; look at them, and do this again if it is still right";
pub(crate) const CORRECTIONS: &str = "Corrected by hand";
pub(crate) const NOTHING_CORRECTED: &str = "Nothing yet.";
pub(crate) const SAVED: &str = "Kept.";
pub(crate) const UNDONE: &str = "Undone.";

pub(crate) fn kept_in(table: &str) -> String {
    format!("Kept in {table} in the course folder itself; the recording stays as it is.")
}

pub(crate) fn table_at_fault(table: &str, fault: &str) -> String {
    format!("The corrections in {table} are not made, since a row does not fit. {fault}")
}

pub(crate) fn moved(from_s: f64, to_s: f64) -> String {
    format!("moved from {from_s} s to {to_s} s")
}

pub(crate) fn removed(from_s: f64) -> String {
    format!("at {from_s} s removed")
}

pub(crate) fn added(to_s: f64) -> String {
    format!("put at {to_s} s")
}

pub(crate) const SAME_NAME: &str = "Another recording of this course has the same name, and corrections are kept by that name. Rename one of the two files.";

pub(crate) fn there_already(time_s: f64) -> String {
    format!("this beat has one already, at {time_s:.3} s; choose that and move it")
}

pub(crate) const ECG: &str = "ECG";

pub(crate) fn further_lead(lead: &str) -> String {
    match lead {
        "further" => "ECG, a further lead".to_owned(),
        lead => format!("ECG, lead {}", lead.to_uppercase()),
    }
}

/// Which lead it is, after the channel's name.
pub(crate) fn lead(lead: &str) -> String {
    format!(", lead {lead}")
}

pub(crate) fn from_lead(lead: &str) -> String {
    format!("Lead {lead}.")
}

pub(crate) fn quality(quality: Quality) -> &'static str {
    match quality {
        Quality::Good => "good",
        Quality::Noisy => "too noisy to measure",
        Quality::Flat => "a flat line",
        Quality::Saturated => "cut off at the recorder's limit",
        Quality::Missing => NOT_RECORDED,
    }
}

/// A landmark's name where there is little room, and whether it is where something begins or ends.
pub(crate) fn short_name(landmark: &str) -> (&'static str, bool) {
    match landmark {
        "p_onset" => ("P begins", true),
        "p_peak" => ("P", false),
        "p_end" => ("P ends", true),
        "qrs_onset" => ("QRS begins", true),
        "q_peak" => ("Q", false),
        "r_peak" => ("R", false),
        "s_peak" => ("S", false),
        "qrs_end" => ("QRS ends", true),
        "t_onset" => ("T begins", true),
        "t_peak" => ("T", false),
        "t_end" => ("T ends", true),
        "s1_onset" => ("S1", true),
        "s1_end" => ("S1 ends", true),
        "s2_onset" => ("S2", true),
        "s2_end" => ("S2 ends", true),
        "a2" => ("A2", true),
        "p2" => ("P2", true),
        "s3" => ("S3", true),
        "s4" => ("S4", true),
        "pressure_foot" => ("foot", false),
        "systolic_peak" => ("peak", false),
        "dicrotic_notch" => ("notch", false),
        "dicrotic_peak" => ("dicrotic wave", false),
        _ => ("", true),
    }
}

pub(crate) fn seconds(time_s: f64) -> String {
    format!("{time_s:.3} seconds")
}

/// A landmark called `name` for who cannot see it.
pub(crate) fn mark(mark: &BeatMark, name: &str, channel: &str) -> String {
    let hand = if mark.by_hand { ", put there by hand" } else { "" };
    format!("{name}, {channel}{hand}")
}

/// What is told of a chosen landmark.
pub(crate) fn reading(mark: &BeatMark, said: &str) -> String {
    let sure = if mark.by_hand {
        String::new()
    } else {
        format!("; {:.0} % sure", 100.0 * mark.confidence)
    };
    format!("{said}{sure}")
}

pub(crate) const SIGNALS: &str = "Signals";
pub(crate) const SIGNALS_ABOUT: &str = "What was guessed, and what you say instead.";
pub(crate) const SIGNAL: &str = "Signal";
pub(crate) const UNIT: &str = "Unit";
pub(crate) const SAMPLING: &str = "Samples a second";
pub(crate) const TAKEN: &str = "Taken for";
pub(crate) const SHOWN: &str = "On the strip";
pub(crate) const GUESSED: &str = "as guessed";
pub(crate) const UNUSED: &str = "not used";
pub(crate) const A_GUESS: &str = "The label leaves room for doubt.";
pub(crate) const SAID: &str = "You said so.";
pub(crate) const TURN: &str = "Turn an ECG whose P, QRS and T all point downwards";
pub(crate) const PART_FROM: &str = "Only the beats from second";
pub(crate) const PART_TO: &str = "to second";
pub(crate) const STORED: &str = "How the table is written";
pub(crate) const TIME_COLUMN: &str = "Column of times (name, number, or none)";
pub(crate) const SEPARATOR: &str = "Between columns (a character, tab, or space)";
pub(crate) const DECIMAL_COMMA: &str = "Decimals are written with a comma";
pub(crate) const APPLY: &str = "Apply";
pub(crate) const ODD: &str = "What was guessed or found odd in the file";
pub(crate) const QUALITY: &str = "Signal quality";

pub(crate) const MEASURED: &str = "Measurements";
pub(crate) const QUANTITY: &str = "Quantity";
pub(crate) const BEATS: &str = "Beats";
pub(crate) const MEDIAN: &str = "Median";
pub(crate) const MEAN: &str = "Mean";
pub(crate) const SD: &str = "SD";
pub(crate) const RANGE: &str = "Range";
pub(crate) const PUBLISHED: &str = "Published";
pub(crate) const PUBLISHED_RANGES: &str = "Where the published ranges come from";
pub(crate) const NOTHING_MEASURED: &str = "Nothing could be measured.";
pub(crate) const PER_BEAT: &str = "Every beat (CSV)";
pub(crate) const PER_BEAT_JSON: &str = "Every beat (JSON)";
pub(crate) const TABLE_CSV: &str = "This table (CSV)";
pub(crate) const REPORT: &str = "The report (text)";

pub(crate) const AVERAGE: &str = "The average beat beside a computed heart";
pub(crate) const NO_AVERAGE: &str = "There is no average beat: fewer than three are alike.";
pub(crate) const HEART: &str = "Computed heart";
pub(crate) const SAME_RATE: &str = "Resting adult at the same rate";
pub(crate) const THIN: &str = "Thick: the average of the recorded beats. Thin: the computed heart, with its R peak on theirs; a trace without a unit, or in another one, is drawn as high as the recorded one.";
pub(crate) const NOT_ALIGNED: &str = "They share no landmark on which they could be aligned.";
pub(crate) const LANDMARK: &str = "Landmark";
pub(crate) const RECORDED: &str = "Recorded, ms";
pub(crate) const COMPUTED: &str = "Computed, ms";
pub(crate) const DIFFERENCE: &str = "Difference";
pub(crate) const AGREE: &str = "alike";
pub(crate) const ONE_AMONG_MANY: &str = "The computed heart is one resting adult among many: a difference is something to ask about in class, not a finding about a person.";

pub(crate) fn aligned(on: &str, recorded_bpm: f64, computed_bpm: f64) -> String {
    format!(
        "Milliseconds after the {on}. ≠: they differ by more than 20 ms and by more than the beats scatter. {recorded_bpm:.0} beats a minute recorded, {computed_bpm:.0} computed."
    )
}

pub(crate) fn differs(ms: f64) -> String {
    let which = if ms < 0.0 { "earlier" } else { "later" };
    format!("≠ recorded {:.0} ms {which}", ms.abs())
}

pub(crate) const RESTING_HEART: &str = "a computed resting heart at the same rate";

pub(crate) fn computed_heart(condition: &str) -> String {
    format!("the computed heart “{condition}”")
}

/// With so many decimals, a true minus sign, and no minus before nothing.
pub(crate) fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let nothing = text.trim_start_matches(['-', '0', '.']).is_empty();
    text.replace('-', if nothing { "" } else { "−" })
}

/// Of a range that was measured or published.
pub(crate) fn between(low: &str, high: &str) -> String {
    format!("{low} to {high}")
}

pub(crate) fn left_out(beats: usize) -> String {
    format!("{beats} left out")
}

pub(crate) const RULES: &str = "The average beat and the rules that your class learns";
pub(crate) const CONVENTION: &str = "Convention";
pub(crate) const RULE: &str = "Rule";
pub(crate) const ON_RECORDING: &str = "This recording";
pub(crate) const ON_COMPUTED: &str = "Computed heart";
pub(crate) const MET: &str = "✓ met";
pub(crate) const NOT_MET: &str = "✗ not met";
pub(crate) const CANNOT_TELL: &str = "– cannot tell";
pub(crate) const NOT_SHOWN: &str = "Not shown by this recording:";

pub(crate) const LATE: &str = "Why the finger's pulse is late";

pub(crate) const WORKSHEET: &str = "Worksheet";
pub(crate) const WORKSHEET_ABOUT: &str =
    "A strip on grid paper (25 mm/s, 10 mm/mV) to measure by hand, and its key. Print at 100 %.";
pub(crate) const STRETCH: &str = "Which part";
pub(crate) const QUIETEST: &str = "The quietest ten seconds";
pub(crate) const VISIBLE: &str = "What the strip shows";
pub(crate) const PAPER: &str = "Paper";
pub(crate) const LETTER: &str = "Letter";
pub(crate) const A4: &str = "A4";
pub(crate) const CORRECTION: &str = "QTc by";
/// How QT is corrected for the rate: the measurement, and what it is called; the usual one first.
pub(crate) const CORRECTIONS_OF_QT: [(&str, &str); 4] = [
    ("qtc_bazett", "Bazett"),
    ("qtc_fridericia", "Fridericia"),
    ("qtc_framingham", "Framingham"),
    ("qtc_hodges", "Hodges"),
];
pub(crate) const SHEET_PDF: &str = "Worksheet (PDF)";
pub(crate) const KEY_PDF: &str = "Key (PDF)";
pub(crate) const AVERAGE_SVG: &str = "The figure (SVG)";
pub(crate) const AVERAGE_CSV: &str = "The average's traces (CSV)";
pub(crate) const AVERAGE_JSON: &str = "The average as a cycle (JSON)";

/// Keys of the room.
pub(crate) const KEYS: &[(&str, &str)] = &[
    ("← →", "on the strip: scroll; with Shift by a whole strip"),
    ("+ −", "on the strip: closer, farther"),
    ("Home End", "on the strip: to the beginning, to the end"),
    ("Enter", "on the strip: choose a landmark"),
    ("↑ ↓", "on a landmark: the one before, the next"),
    ("← →", "on a landmark: move it by a sample; with Shift by ten"),
    ("Delete", "on a landmark: remove it"),
    ("Esc", "on a landmark: back to the strip"),
    ("Ctrl + Z", "undo the last correction"),
];

#[cfg(test)]
mod tests {
    use super::number;

    #[test]
    fn numbers_have_a_true_minus_sign_and_none_before_nothing() {
        let texts = [(-194.2, 0), (-0.04, 1), (-0.06, 1), (3.0, 1)].map(|(v, d)| number(v, d));
        assert_eq!(texts, ["−194", "0.0", "−0.1", "3.0"]);
    }
}
