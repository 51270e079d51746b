//! What can be typed, and the help that says so.

mod measure;

use std::fmt::Write as _;
use std::path::PathBuf;

use clap::{Parser, Subcommand};
use heart::{PARAMETERS, Parameter, Rhythm};

use crate::practice_page::Package;

pub(crate) use measure::{ByHand, Edit, Measure, Stored, hertz, second, separator};

/// Draw and hear the cardiac cycle, computed. For teaching; not a medical device.
#[derive(Debug, Parser)]
#[command(name = "incisura", version, about, after_help = EXIT_CODES)]
pub(crate) struct Args {
    #[command(subcommand)]
    pub(crate) command: Option<Command>,
}

const EXIT_CODES: &str =
    "Without a command, incisura opens.\nExit codes: 0 done, 1 could not, 2 wrong usage.";

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Open a course in the browser; it is served to this computer alone
    Open(Open),
    /// Compute a heart: a summary to read, or the whole cycle as JSON, CSV or sound
    #[command(after_help = describe_hearts())]
    Simulate(Simulate),
    /// Check alignment rules, draw the schematic they imply, and compare them with a heart
    Convention(Convention),
    /// Draw a figure as SVG, PDF or PNG
    Figure(Figure),
    /// Print drawing sheets, their key and their rubric, handouts and questions
    Sheet(Sheet),
    /// Read scanned drawing sheets and mark them: marks, feedback, and what only a person can say
    #[command(after_help = MARK)]
    Mark(Mark),
    /// Find and measure the beats of a recording from the lab, and average them. For teaching;
    /// not a medical device
    #[command(after_help = measure::HELP)]
    Measure(Box<Measure>),
    /// Write a test as one HTML file that students practise with at home, without a network
    #[command(after_help = PRACTICE_PAGE)]
    PracticePage(PracticePage),
    /// Write an invented course with a class's filled-in sheets, to try everything on
    Demo(Demo),
}

const MARK: &str = "\
Everything that is read, found and decided is kept in marks.sqlite in the folder; what was read is
not read again, so a run that was stopped goes on where it was. Without scans, what is there is
marked again. Exit code 1 where no page could be read, and where a file that is named is not there:
then nothing is written.";

const PRACTICE_PAGE: &str = "\
The page signs its result codes with a key that is kept beside the test, in practice/. The key also
stands in the page: a code that fits says which page made it, not who drew.";

impl Default for Command {
    fn default() -> Self {
        Self::Open(Open::default())
    }
}

#[derive(Debug, Default, clap::Args)]
pub(crate) struct Open {
    /// The course's folder, which is made if it is not there; the invented course if not given
    #[arg(value_name = "COURSE")]
    pub(crate) course: Option<PathBuf>,
    /// Port to serve on; the usual one, or any free one, if not given
    #[arg(long)]
    pub(crate) port: Option<u16>,
    /// Print the address and leave the browser alone
    #[arg(long)]
    pub(crate) no_browser: bool,
    /// Also serve practice, and nothing else, to this network: whoever types the code that is
    /// shown can draw; nothing of the class can be reached
    #[arg(long)]
    pub(crate) classroom: bool,
    /// Port for the classroom; any free one if not given
    #[arg(long, value_name = "PORT", requires = "classroom")]
    pub(crate) classroom_port: Option<u16>,
}

#[derive(Debug, clap::Args)]
pub(crate) struct Simulate {
    /// A heart's description; a resting adult if not given
    #[arg(value_name = "HEART.toml")]
    pub(crate) heart: Option<PathBuf>,
    /// Change one parameter; may be given more than once
    #[arg(long, value_name = "NAME=VALUE", value_parser = assignment)]
    pub(crate) set: Vec<(String, f64)>,
    /// Start from a condition, instead of from a file
    #[arg(long, value_name = "NAME", conflicts_with = "heart")]
    pub(crate) condition: Option<String>,
    /// Take another rhythm
    #[arg(long, value_name = "NAME")]
    pub(crate) rhythm: Option<String>,
    /// Number of beats; as many as the rhythm needs to show itself if not given
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=MOST_BEATS))]
    pub(crate) beats: Option<u16>,
    #[command(flatten)]
    pub(crate) form: Form,
    /// Write to a file instead of to standard output
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,
}

/// Most beats in one cycle: a minute and more of any rhythm.
pub(crate) const MOST_BEATS: i64 = 200;

#[derive(Debug, clap::Args)]
#[group(multiple = false)]
pub(crate) struct Form {
    /// The whole cycle as JSON
    #[arg(long)]
    pub(crate) json: bool,
    /// The traces as a table of comma-separated values
    #[arg(long)]
    pub(crate) csv: bool,
    /// Landmarks, events, phases and summary as a table of comma-separated values
    #[arg(long)]
    pub(crate) marks: bool,
    /// The heart sounds as a WAV file of about ten seconds
    #[arg(long, value_name = "FILE", conflicts_with = "output")]
    pub(crate) wav: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub(crate) struct Figure {
    /// What to draw
    #[arg(value_name = "FIGURE.toml")]
    pub(crate) figure: PathBuf,
    /// Where to; the extension says how: .svg, .pdf or .png
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: PathBuf,
    /// Dots per inch of a PNG
    #[arg(long, default_value_t = 200, value_parser = clap::value_parser!(u16).range(20..=1200))]
    pub(crate) dpi: u16,
}

#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("what").multiple(false))]
pub(crate) struct Convention {
    /// A file of rules, or the name of a convention that comes with the program
    #[arg(value_name = "CONVENTION.toml")]
    pub(crate) convention: Option<String>,
    /// The heart to compare with; a resting adult if not given
    #[arg(long, value_name = "HEART.toml")]
    pub(crate) against: Option<PathBuf>,
    /// Findings, verdicts or questions as JSON
    #[arg(long, conflicts_with_all = ["schematic", "steps", "list", "source", "schema"])]
    pub(crate) json: bool,
    /// Draw the schematic; the extension says how: .svg, .pdf or .png
    #[arg(long, value_name = "FILE", group = "what")]
    pub(crate) schematic: Option<PathBuf>,
    /// Dots per inch of a PNG
    #[arg(long, default_value_t = 200, value_parser = clap::value_parser!(u16).range(20..=1200))]
    pub(crate) dpi: u16,
    /// Write the build, step by step with a figure each, into a folder
    #[arg(long, value_name = "DIR", group = "what")]
    pub(crate) steps: Option<PathBuf>,
    /// Judge a cycle, as `incisura simulate --json` writes it, by the rules
    #[arg(long, value_name = "CYCLE.json", group = "what")]
    pub(crate) judge: Option<PathBuf>,
    /// Ask so many questions that the rules imply, with answers
    #[arg(long, value_name = "N", group = "what", value_parser = clap::value_parser!(u16).range(1..=200))]
    pub(crate) questions: Option<u16>,
    /// Which questions; the same number asks the same
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(crate) seed: u64,
    /// List the conventions that come with the program
    #[arg(long, group = "what")]
    pub(crate) list: bool,
    /// Print a convention that comes with the program, to start one's own from
    #[arg(long, group = "what", requires = "convention")]
    pub(crate) source: bool,
    /// Print the JSON Schema of the rule language, for an editor
    #[arg(long, group = "what")]
    pub(crate) schema: bool,
}

#[derive(Debug, clap::Args)]
pub(crate) struct Sheet {
    /// What to print
    #[arg(value_name = "TEST.toml")]
    pub(crate) test: PathBuf,
    /// Folder to write into: drawing-sheets.pdf, key.pdf, rubric.pdf, geometry.json, and what
    /// else the test asks for
    #[arg(short, long, value_name = "DIR")]
    pub(crate) output: PathBuf,
    /// A class list in CSV: one sheet for each student, and sheets.csv with who has which
    #[arg(long, value_name = "ROSTER.csv")]
    pub(crate) roster: Option<PathBuf>,
    /// Numbered sheets without a name, besides those of the class list
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=2000))]
    pub(crate) spare: Option<u16>,
    /// Number of parallel forms, in place of the file's
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=26))]
    pub(crate) forms: Option<u8>,
    /// Paper, in place of the file's
    #[arg(long)]
    pub(crate) paper: Option<Paper>,
    /// Everything in large print: letters of 18 points, one beat, a longer second
    #[arg(long)]
    pub(crate) large_print: bool,
    /// Besides the PDF for the copier, one for each sheet in the folder per-student
    #[arg(long)]
    pub(crate) per_student: bool,
}

#[derive(Debug, clap::Args)]
pub(crate) struct Mark {
    /// The test
    #[arg(value_name = "TEST.toml")]
    pub(crate) test: PathBuf,
    /// Scans: PDF, JPEG, PNG and TIFF files, and folders of them
    #[arg(value_name = "SCAN")]
    pub(crate) scans: Vec<PathBuf>,
    /// Folder to write into: results.json, gradebook.csv, review.csv and review/, feedback.pdf,
    /// class.pdf
    #[arg(short, long, value_name = "DIR")]
    pub(crate) output: PathBuf,
    /// Who has which sheet, as `incisura sheet --roster` wrote it; may be given more than once
    #[arg(long, value_name = "sheets.csv")]
    pub(crate) sheets: Vec<PathBuf>,
    /// Keep marks.sqlite in this folder, in place of the one to write into
    #[arg(long, value_name = "DIR")]
    pub(crate) course: Option<PathBuf>,
    /// The test's file as it was when the sheets were printed, if it was changed since
    #[arg(long, value_name = "OLD.toml")]
    pub(crate) printed: Vec<PathBuf>,
    /// Take in what was decided: a review.csv with its column “decision” filled in
    #[arg(long, value_name = "review.csv", requires = "who")]
    pub(crate) decisions: Option<PathBuf>,
    /// Who decided, or accepts
    #[arg(long, value_name = "NAME")]
    pub(crate) who: Option<String>,
    /// Let marks count that changed rules give, in place of those that counted before
    #[arg(long)]
    pub(crate) accept: bool,
    /// Print results.json in place of a summary
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, clap::Args)]
pub(crate) struct PracticePage {
    /// What is to be practised
    #[arg(value_name = "TEST.toml")]
    pub(crate) test: PathBuf,
    /// Where to
    #[arg(short, long, value_name = "FILE", required_unless_present = "verify")]
    pub(crate) output: Option<PathBuf>,
    /// Write a package for a learning-management system, in place of the page alone
    #[arg(long)]
    pub(crate) package: Option<Package>,
    /// Say what a student's result code says, if a page of this test made it
    #[arg(long, value_name = "CODE", conflicts_with_all = ["output", "package"])]
    pub(crate) verify: Option<String>,
}

#[derive(Debug, clap::Args)]
pub(crate) struct Demo {
    /// A new or an empty folder
    #[arg(value_name = "DIR")]
    pub(crate) folder: PathBuf,
    /// Only the invented recording from the lab
    #[arg(long)]
    pub(crate) recording_only: bool,
}

/// Paper sizes.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
pub(crate) enum Paper {
    /// 8½ by 11 inches
    Letter,
    /// 210 by 297 mm
    A4,
}

impl From<Paper> for sheet::Paper {
    fn from(paper: Paper) -> Self {
        match paper {
            Paper::Letter => Self::Letter,
            Paper::A4 => Self::A4,
        }
    }
}

fn assignment(typed: &str) -> Result<(String, f64), String> {
    let (name, value) = typed
        .split_once('=')
        .ok_or("expected a name, an equals sign and a number, like rate_bpm=60")?;
    let number = value.trim().parse();
    let number = number.map_err(|_| format!("“{value}” is not a number, like 60 or 0.8"))?;
    Ok((name.trim().to_owned(), number))
}

/// All that a heart can be made of, as `incisura simulate --help` lists it.
fn describe_hearts() -> String {
    let mut text = String::from("Parameters (default, range):\n");
    for parameter in PARAMETERS {
        let _ = writeln!(text, "  {:<26} {}", parameter.name, describe(parameter));
    }
    text += "\nConditions:\n";
    for condition in heart::conditions() {
        let _ = writeln!(text, "  {:<32} {}", condition.name, condition.title);
    }
    text += "\nRhythms:\n";
    for (name, _) in Rhythm::ALL {
        let _ = writeln!(text, "  {name}");
    }
    text + "\nA heart's description is a TOML file with any of condition, rhythm and the parameters:\n\n  \
            condition = \"aortic_stenosis\"\n  rate_bpm = 60"
}

fn describe(parameter: &Parameter) -> String {
    let unit = if parameter.unit.is_empty() { "× normal" } else { parameter.unit };
    let Parameter { default, low, high, about, .. } = parameter;
    format!("{default} {unit}, {low} to {high}. {about}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_arguments_are_well_formed() {
        Args::command().debug_assert();
    }

    #[test]
    fn help_lists_every_parameter_condition_and_rhythm() {
        let help = describe_hearts();
        let names = PARAMETERS.iter().map(|parameter| parameter.name.to_owned());
        let conditions = heart::conditions().into_iter().map(|condition| condition.name);
        let rhythms = Rhythm::ALL.iter().map(|(name, _)| (*name).to_owned());
        for name in names.chain(conditions).chain(rhythms) {
            assert!(help.contains(&name), "{name} is missing");
        }
    }

    #[test]
    fn the_guide_lists_every_parameter_as_it_is() {
        let guide = include_str!("../../../docs/guide.md");
        for Parameter { name, default, unit, low, high, .. } in PARAMETERS {
            let unit = if unit.is_empty() { "× normal" } else { unit };
            let row = format!("| `{name}` | {default} {unit} | {low} to {high} |");
            assert!(guide.contains(&row), "docs/guide.md lacks {row}");
        }
        for condition in heart::conditions() {
            let row = format!("| `{}` | {} |", condition.name, condition.title);
            assert!(guide.contains(&row), "docs/guide.md lacks {row}");
        }
    }

    #[test]
    fn an_assignment_needs_a_name_and_a_number() {
        assert_eq!(assignment("rate_bpm=60"), Ok(("rate_bpm".to_owned(), 60.0)));
        assert!(assignment("rate_bpm").unwrap_err().contains("rate_bpm=60"));
        assert!(assignment("rate_bpm=fast").unwrap_err().contains("“fast”"));
    }
}
