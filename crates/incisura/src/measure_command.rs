//! `incisura measure`: a recording's beats, their average, and what is measured on them.

use std::path::Path;

use convention::{Convention, Scale, Verdict, judge};
use figure::FontEmbedding;

use crate::args;
use crate::failure::Failure;
use crate::measure::{
    Lab, Told, average_figure, beats_csv, beats_json, beside, json, measurements_csv, report,
    spread_csv,
};
use crate::{files, schematics, simulate, worksheet};

pub(crate) fn run(args: &args::Measure) -> Result<(), Failure> {
    // What is cheap to find wrong is looked at before anything long begins.
    let heart = args.against.as_deref().map(simulate::read_heart).transpose()?;
    let convention = args.convention.as_deref().map(schematics::read).transpose()?;
    let mut lab = Lab::open(args)?;
    if let Some(path) = &args.worksheet {
        print_worksheet(&mut lab, args, path)?;
    }
    let subject = lab.subject();
    let average = lab.average.as_ref();
    let laid = average.map(|average| beside(average, heart.as_ref(), &subject)).transpose()?;
    let laid = laid.flatten();
    let verdicts = convention
        .as_ref()
        .zip(average)
        .map(|(convention, average)| judge(&average.cycle, convention, &subject, &Scale::Measured));
    let whose = args.against.as_deref().map_or_else(
        || "a computed resting heart at the same rate".to_owned(),
        |path| format!("the computed heart of {}", path.display()),
    );
    let held: Option<(&Convention, &[Verdict])> = convention.as_ref().zip(verdicts.as_deref());
    let beside = laid.as_ref();
    let told = Told { lab: &lab, subject: &subject, beside, heart: &whose, convention: held };
    let text = report(&told);
    if let Some(folder) = &args.output {
        write_all(&lab, &text, folder)?;
    }
    if args.json {
        let text = json(&lab, beside, verdicts.as_deref())?;
        return files::write_or_print(None, text.as_bytes());
    }
    let mut text = text;
    if let Some(folder) = &args.output {
        text += &written(&lab, folder);
    }
    files::write_or_print(None, text.as_bytes())
}

/// Prints a strip to measure by hand, and its key.
fn print_worksheet(lab: &mut Lab, args: &args::Measure, path: &Path) -> Result<(), Failure> {
    let title = lab.recording.name.clone();
    let options = worksheet::Options {
        title: &title,
        paper: args.paper.map(Into::into).unwrap_or_default(),
        from_s: args.from,
        length_s: worksheet::LENGTH_S,
        correction: "qtc_bazett",
        caution: recording::CAUTION,
        spelling: None,
    };
    let key = worksheet::write(&mut lab.recording, &lab.named, &lab.beats, &options, path)?;
    files::tell(&format!("worksheet: {}; key: {}", path.display(), key.display()));
    Ok(())
}

/// Writes everything into `folder`.
fn write_all(lab: &Lab, text: &str, folder: &Path) -> Result<(), Failure> {
    files::make_folder(folder)?;
    let out = |name: &str, text: &str| files::replace(&folder.join(name), text.as_bytes());
    out("report.txt", text)?;
    out("beats.csv", &beats_csv(lab))?;
    out("beats.json", &beats_json(lab)?)?;
    out("measurements.csv", &measurements_csv(&lab.measured))?;
    let Some(average) = &lab.average else { return Ok(()) };
    let cycle = &average.cycle;
    out("average.json", &(cycle.to_json() + "\n"))?;
    out("average.csv", &simulate::traces_csv(cycle)?)?;
    out("average-marks.csv", &cycle.marks_csv())?;
    if let Some(spread) = spread_csv(average) {
        out("average-spread.csv", &spread)?;
    }
    if let Some(figure) = average_figure(&lab.recording.name, average, &lab.subject())? {
        out("average.svg", &figure.svg(FontEmbedding::Embedded))?;
    }
    Ok(())
}

/// What was written, in a line or two.
fn written(lab: &Lab, folder: &Path) -> String {
    let average = if lab.average.is_some() {
        "; average.svg, average.json, average.csv, average-marks.csv, average-spread.csv"
    } else {
        ""
    };
    let all = format!("report.txt, beats.csv, beats.json, measurements.csv{average}");
    format!("\nIn {}: {all}\n", folder.display())
}
