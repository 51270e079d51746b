//! `incisura convention`: whether rules hold together, what they imply, and how they compare.

use std::fmt::Write as _;
use std::path::Path;

use convention::{Convention, Point, Scale, Verdict, judge, partial, questions};
use cycle::Cycle;
use figure::FontEmbedding;
use heart::Heart;
use serde::Serialize;

use crate::args;
use crate::failure::Failure;
use crate::figure_command::{format_of, written};
use crate::schematics::{self, Findings, RATES, capitalised};
use crate::{files, progress, simulate};

pub(crate) fn run(args: &args::Convention) -> Result<(), Failure> {
    if args.list {
        return files::say(&list());
    }
    if args.schema {
        let schema = convention::schema(&heart::subject());
        return files::say(&format!("{schema:#}"));
    }
    let Some(named) = &args.convention else {
        let what = "name a convention or its file; `incisura convention --list` lists those that come with the program";
        return Err(Failure::Other(what.into()));
    };
    if args.source {
        let shipped = cardiac::Shipped::find(named);
        let what = format!("“{named}” does not come with the program; it is a file already");
        let shipped = shipped.ok_or(Failure::Other(what))?;
        return files::write_or_print(None, shipped.toml.as_bytes());
    }
    let convention = schematics::read(named)?;
    let heart =
        args.against.as_deref().map_or_else(|| Ok(Heart::default()), simulate::read_heart)?;
    if let Some(path) = &args.judge {
        return judged(&convention, path, args.json);
    }
    let found = progress::during("checking the rules", || Findings::new(&convention, &heart))?;
    if let Some(path) = &args.schematic {
        return draw(&convention, &found, path, f64::from(args.dpi));
    }
    if let Some(folder) = &args.steps {
        return draw_steps(&convention, &found, folder);
    }
    if let Some(count) = args.questions {
        return ask(&convention, &found, args.seed, usize::from(count), args.json);
    }
    let text = if args.json { json(&convention, &found)? } else { report(&convention, &found) };
    files::write_or_print(None, text.as_bytes())?;
    if !found.contradictions().is_empty() {
        return Err(refusal(&found));
    }
    found.steps.as_ref().map(|_| ()).map_err(|error| Failure::Other(format!("{named}, {error}")))
}

fn refusal(found: &Findings) -> Failure {
    let sets = found.contradictions();
    let sets: Vec<String> = sets.iter().map(|rules| rules.join(", ")).collect();
    Failure::Other(format!("these rules cannot hold together: {}", sets.join("; ")))
}

fn list() -> String {
    let mut text = String::new();
    for shipped in cardiac::CONVENTIONS {
        let convention = shipped.convention();
        let _ = writeln!(text, "{:<26} {}", shipped.name, convention.title);
        text += &wrapped(&convention.simplifies, &" ".repeat(27));
    }
    text.trim_end().to_owned()
}

#[derive(Serialize)]
struct Report<'a> {
    title: &'a str,
    simplifies: &'a str,
    points: f64,
    consistent: bool,
    contradictions: Vec<Vec<String>>,
    explanations: Vec<&'a str>,
    /// Pairs of points, the earlier first; what follows from others is left out.
    order: Vec<[String; 2]>,
    together: Vec<Vec<String>>,
    drawn_at_bpm: &'a [u16],
    /// Rules that the ECG of the heart compared with does not allow together.
    refused_by_this_ecg: Vec<&'a [String]>,
    comparison: &'a [convention::Row],
    steps: Vec<StepReport<'a>>,
}

#[derive(Serialize)]
struct StepReport<'a> {
    title: &'a str,
    draw: Vec<String>,
    lines: Vec<String>,
    rules: &'a [String],
    text: &'a str,
    cause: &'a str,
}

fn json(convention: &Convention, found: &Findings) -> Result<String, Failure> {
    let subject = heart::subject();
    let id = |point: &Point| convention.id_of(point, &subject);
    let check = found.check();
    let steps = found.steps.as_deref().unwrap_or_default();
    let contradictions = found.contradictions();
    let report = Report {
        title: &convention.title,
        simplifies: &convention.simplifies,
        points: convention.worth(convention.rules.iter()),
        consistent: contradictions.is_empty(),
        contradictions,
        explanations: found.conflicts().iter().map(|conflict| conflict.words.as_str()).collect(),
        order: check.order().into_iter().map(|(a, b)| [id(a), id(b)]).collect(),
        together: check.together().into_iter().map(|g| g.into_iter().map(id).collect()).collect(),
        drawn_at_bpm: &found.drawn_at,
        refused_by_this_ecg: found.on_ecg.conflicts.iter().map(|c| &c.rules[..]).collect(),
        comparison: &found.comparison.rows,
        steps: steps
            .iter()
            .map(|step| StepReport {
                title: &step.title,
                draw: step.draw.iter().map(id).collect(),
                lines: step.lines.iter().map(id).collect(),
                rules: &step.rules,
                text: &step.text,
                cause: &step.cause,
            })
            .collect(),
    };
    plain_json(&report)
}

fn plain_json<T: Serialize>(value: &T) -> Result<String, Failure> {
    let text = serde_json::to_string(value).map_err(|error| Failure::Other(error.to_string()))?;
    Ok(text + "\n")
}

/// Width to which sentences are broken.
const WIDTH: usize = 92;

/// `text` in lines of at most [`WIDTH`] letters, each begun with `indent`.
pub(crate) fn wrapped(text: &str, indent: &str) -> String {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let last = lines.last_mut().expect("there is always a line");
        if !last.is_empty() && last.chars().count() + word.chars().count() >= WIDTH - indent.len() {
            lines.push(word.to_owned());
        } else {
            if !last.is_empty() {
                last.push(' ');
            }
            last.push_str(word);
        }
    }
    lines.iter().map(|line| format!("{indent}{line}\n")).collect()
}

/// How points hang together, in a sentence each.
fn tied(convention: &Convention) -> Vec<String> {
    let caps = convention.caps.iter().map(|cap| {
        let own = convention.rules.iter().filter(|rule| rule.cap.as_ref() == Some(&cap.name));
        let own: Vec<&str> = own.map(|rule| rule.id.as_str()).collect();
        let unit = if cap.points == 1.0 { "point" } else { "points" };
        format!("{} earn at most {} {unit} together.", own.join(", "), cap.points)
    });
    let rules = convention.rules.iter().filter(|rule| !rule.depends_on.is_empty());
    let needs = rules.map(|rule| format!("{} depends on {}.", rule.id, rule.depends_on.join(", ")));
    let missing = convention.reference_missing.words().map(str::to_owned);
    caps.chain(needs).chain(missing).collect()
}

fn report(convention: &Convention, found: &Findings) -> String {
    let points = convention.worth(convention.rules.iter());
    let mut text = format!("{}\n", convention.title);
    text += &wrapped(&format!("Simplifies: {}", convention.simplifies), "  ");
    let count = match convention.rules.len() {
        1 => "1 rule".to_owned(),
        count => format!("{count} rules"),
    };
    let contradictions = found.contradictions();
    if contradictions.is_empty() {
        let _ = writeln!(text, "\n{count}, {points} points. They can all hold.");
        for words in tied(convention) {
            text += &wrapped(&words, "  ");
        }
    } else {
        let _ = writeln!(text, "\n{count}, {points} points. They cannot all hold:");
        for conflict in found.conflicts() {
            text += &wrapped(&format!("{}: {}", conflict.rules.join(", "), conflict.words), "  ");
        }
        if !found.heights.is_empty() {
            let heights = found.heights.join(", ");
            text += &wrapped(&format!("{heights}: these heights contradict one another."), "  ");
        }
        return text;
    }
    for conflict in &found.on_ecg.conflicts {
        let words = format!("Not on this heart's ECG: {}", conflict.words);
        text += &wrapped(&words, "  ");
    }
    let drawable = found.on_ecg.consistent() && found.steps.is_ok();
    if let (true, Err(why)) = (drawable, &found.schematic) {
        text += &wrapped(&format!("There is no schematic: {why}"), "  ");
    }
    match (found.drawn_at.first(), found.drawn_at.last()) {
        (Some(low), Some(high)) if found.drawn_at.len() == RATES.len() => {
            let _ = writeln!(
                text,
                "A schematic was drawn for a resting adult at every rate tried, {low} to {high} bpm."
            );
        }
        (Some(_), Some(_)) => {
            let rates: Vec<String> = found.drawn_at.iter().map(u16::to_string).collect();
            let _ = writeln!(
                text,
                "For a resting adult a schematic could only be drawn at {} bpm.",
                rates.join(", ")
            );
        }
        _ => {}
    }
    text += "\nRule by rule, beside the computed cycle and published measurement\n\
             (≠ the computed cycle differs, ? it cannot say):\n";
    for row in &found.comparison.rows {
        let mark = match row.computed.outcome {
            convention::Outcome::Met => " ",
            convention::Outcome::NotMet => "≠",
            convention::Outcome::CannotTell => "?",
        };
        let _ = writeln!(text, "{mark} {}: {}", row.rule, row.text);
        text += &wrapped(&row.sentence, "    ");
        for source in row.published.iter().flat_map(|band| &band.sources) {
            text += &wrapped(&format!("— {source}"), "      ");
        }
    }
    match &found.steps {
        Ok(steps) => {
            text += "\nThe build:\n";
            for (index, step) in steps.iter().enumerate() {
                let _ = writeln!(text, "{:>3}. {}", index + 1, step.title);
                text += &wrapped(&step.text, "     ");
                text += &wrapped(&format!("Why: {}", step.cause), "     ");
            }
        }
        Err(why) => text += &wrapped(&format!("There is no build: {why}."), "  "),
    }
    text
}

/// The schematic, or the failure that says why there is none.
fn model(found: &Findings) -> Result<&Cycle, Failure> {
    if let Some(conflict) = found.conflicts().first() {
        return Err(Failure::Other(format!("the rules cannot all hold: {}", conflict.words)));
    }
    found.schematic.as_ref().map_err(|why| Failure::Other(why.to_string()))
}

fn draw(convention: &Convention, found: &Findings, path: &Path, dpi: f64) -> Result<(), Failure> {
    let format = format_of(path)?;
    let subject = heart::subject();
    let model = model(found)?;
    let spec = sheet::convention_figure(convention, &subject, model);
    let figure = figure::lay_out(model, &subject, &spec)?;
    files::write(path, &written(&figure, format, dpi)?)
}

fn draw_steps(convention: &Convention, found: &Findings, folder: &Path) -> Result<(), Failure> {
    let subject = heart::subject();
    let model = model(found)?;
    let steps = found.steps.as_ref().map_err(|why| Failure::Other(why.to_string()))?;
    let whole = sheet::convention_figure(convention, &subject, model);
    let span = model.span_s();
    let whole = figure::FigureSpec {
        start_s: span.map(|(start, _)| start),
        end_s: span.map(|(_, end)| end),
        ..whole
    };
    files::make_folder(folder)?;
    let mut drawn: Vec<Point> = Vec::new();
    let mut page = format!("# {}\n", convention.title);
    for (index, step) in steps.iter().enumerate() {
        let number = index + 1;
        drawn.extend(step.draw.iter().cloned());
        let part = partial(convention, &subject, model, &drawn);
        let spec = sheet::step_figure(&whole, step, &drawn, number, steps.len());
        let figure = figure::lay_out(&part, &subject, &spec)?;
        let file = schematics::step_file(folder, number);
        files::write(&file, figure.svg(FontEmbedding::Embedded).as_bytes())?;
        let _ = write!(
            page,
            "\n## {number}. {}\n\n{}\n\n*Why:* {}\n\n![{}]({})\n",
            capitalised(&step.title),
            step.text,
            step.cause,
            figure.alt.replace(['[', ']'], ""),
            file.file_name().unwrap_or_default().to_string_lossy()
        );
    }
    files::write(&folder.join("steps.md"), page.as_bytes())
}

fn judged(convention: &Convention, path: &Path, as_json: bool) -> Result<(), Failure> {
    let cycle = files::read_cycle(path)?;
    let verdicts = judge(&cycle, convention, &heart::subject(), &Scale::Measured);
    let text = if as_json { plain_json(&verdicts)? } else { verdict_lines(&verdicts) };
    files::write_or_print(None, text.as_bytes())
}

pub(crate) fn verdict_lines(verdicts: &[Verdict]) -> String {
    let mut text = String::new();
    for verdict in verdicts {
        let outcome = match verdict.outcome {
            convention::Outcome::Met => "met",
            convention::Outcome::NotMet => "not met",
            convention::Outcome::CannotTell => "cannot tell",
        };
        let _ = writeln!(text, "{}: {outcome}", verdict.rule);
        text += &wrapped(&verdict.why, "    ");
    }
    text
}

/// How choices are told apart.
const LETTERS: std::ops::RangeInclusive<char> = 'a'..='z';

fn ask(
    convention: &Convention,
    found: &Findings,
    seed: u64,
    count: usize,
    as_json: bool,
) -> Result<(), Failure> {
    let model = Some(model(found)?);
    let subject = heart::subject();
    let asked = questions::questions(convention, &subject, found.check(), model, seed, count);
    let text = if as_json {
        plain_json(&asked)?
    } else {
        let mut text = String::new();
        for (index, question) in asked.iter().enumerate() {
            text += &wrapped(&format!("{}. {}", index + 1, question.prompt), "");
            for (letter, choice) in LETTERS.zip(&question.choices) {
                let _ = writeln!(text, "   {letter}) {}", choice.text);
            }
            let right: Vec<String> = question
                .answer
                .iter()
                .filter_map(|&index| LETTERS.clone().nth(index))
                .map(String::from)
                .collect();
            let right = if right.is_empty() { "none".to_owned() } else { right.join(", ") };
            text += &wrapped(&format!("Answer: {right}. {}", question.explanation), "   ");
        }
        text
    };
    files::write_or_print(None, text.as_bytes())
}
