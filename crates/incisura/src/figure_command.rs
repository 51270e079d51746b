//! `incisura figure`: a description to an SVG, PDF or PNG.

use std::path::Path;

use cycle::Cycle;
use figure::{Figure, FontEmbedding};

use crate::args;
use crate::failure::Failure;
use crate::figure_file::{FigureFile, Source};
use crate::{files, progress, standard};

/// What a figure is written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Format {
    Svg,
    Pdf,
    Png,
}

pub(crate) fn run(args: &args::Figure) -> Result<(), Failure> {
    // The extension is looked at first: it costs nothing to find it wrong before computing.
    let format = format_of(&args.output)?;
    let file = FigureFile::read(&args.figure)?;
    let bytes = progress::during("drawing the figure", || {
        let figure = draw(file)?;
        written(&figure, format, f64::from(args.dpi))
    })?;
    files::write(&args.output, &bytes)
}

pub(crate) fn format_of(path: &Path) -> Result<Format, Failure> {
    let extension = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
    match extension.as_str() {
        "svg" => Ok(Format::Svg),
        "pdf" => Ok(Format::Pdf),
        "png" => Ok(Format::Png),
        "" => Err(Failure::file(path, "the name has no extension; end it with .svg, .pdf or .png")),
        other => {
            let what = format!("figures are not written as .{other}; use .svg, .pdf or .png");
            Err(Failure::file(path, what))
        }
    }
}

fn draw(mut file: FigureFile) -> Result<Figure, Failure> {
    let cycle = cycle_of(&file.source)?;
    if file.standard {
        standard::keep_present(&mut file.spec, &cycle);
    }
    figure::lay_out(&cycle, &heart::subject(), &file.spec).map_err(|error| file.at_fault(error))
}

fn cycle_of(source: &Source) -> Result<Cycle, Failure> {
    match source {
        Source::Heart { heart, beats } => {
            let beats = beats.map_or_else(|| heart::natural_beats(heart), usize::from);
            Ok(heart::simulate(heart, beats)?)
        }
        Source::File(path) => files::read_cycle(path),
    }
}

pub(crate) fn written(figure: &Figure, format: Format, dpi: f64) -> Result<Vec<u8>, Failure> {
    Ok(match format {
        Format::Svg => figure.svg(FontEmbedding::Embedded).into_bytes(),
        Format::Pdf => figure.pdf()?,
        Format::Png => figure.png(dpi)?,
    })
}
