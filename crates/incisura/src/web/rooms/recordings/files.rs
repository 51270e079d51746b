//! What is found, as files to keep.

use axum::Router;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use axum::routing::get;
use figure::FontEmbedding;

use super::choices::{Against, Choices, View};
use super::results::{Laid, figure_of, laid};
use super::shelf::Bench;
use crate::failure::Failure;
use crate::measure::{Lab, Told, beats_csv, beats_json, measurements_csv, report};
use crate::simulate;
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::refusal::Refusal;
use crate::web::words::recordings as words;
use crate::web::{Pairs, download, off_thread};
use crate::worksheet::{self, Options};

const CSV: &str = "text/csv; charset=utf-8";
const JSON: &str = "application/json";
const PDF: &str = "application/pdf";

pub(crate) fn routes() -> Router<Desk> {
    Router::new().route("/recordings/{file}", get(file))
}

async fn file(
    State(desk): State<Desk>,
    Path(wanted): Path<String>,
    Query(pairs): Query<Pairs>,
) -> Result<Response, Refusal> {
    let choices = Choices::read(&pairs)?;
    let bench = super::bench(&desk, &choices).await?;
    off_thread(move || {
        let folder = desk.folder();
        let named = format!("{}-{wanted}", bench.name);
        let (kind, bytes) =
            bench.with_lab(&folder, |lab| written(&wanted, lab, &bench, &folder, &pairs))?;
        Ok(download(&named, kind, bytes))
    })
    .await
}

fn written(
    wanted: &str,
    lab: &mut Lab,
    bench: &Bench,
    folder: &Folder,
    pairs: &[(String, String)],
) -> Result<(&'static str, Vec<u8>), Refusal> {
    let (kind, text) = match wanted {
        "beats.csv" => (CSV, beats_csv(lab)),
        "beats.json" => (JSON, beats_json(lab)?),
        "measurements.csv" => (CSV, measurements_csv(&lab.measured)),
        "report.txt" => ("text/plain; charset=utf-8", told(lab, folder, pairs)?),
        "average.json" => (JSON, average(lab)?.cycle.to_json() + "\n"),
        "average.csv" => (CSV, simulate::traces_csv(&average(lab)?.cycle)?),
        "average.svg" => ("image/svg+xml", svg(lab, bench, folder, pairs)?),
        "worksheet.pdf" => return Ok((PDF, sheet(lab, folder, pairs, 0)?)),
        "worksheet-key.pdf" => return Ok((PDF, sheet(lab, folder, pairs, 1)?)),
        _ => return Err(Refusal::nothing_there()),
    };
    Ok((kind, text.into_bytes()))
}

fn average(lab: &Lab) -> Result<&recording::Average, Refusal> {
    lab.average.as_ref().ok_or_else(|| Refusal::of_all(words::NO_AVERAGE))
}

fn told(lab: &Lab, folder: &Folder, pairs: &[(String, String)]) -> Result<String, Refusal> {
    let laid = match &lab.average {
        Some(average) => Some(laid(lab, average, folder, &Against::read(pairs))?),
        None => None,
    };
    let subject = lab.subject();
    let laid: Option<&Laid> = laid.as_ref();
    Ok(report(&Told {
        lab,
        subject: &subject,
        beside: laid.and_then(|laid| laid.beside.as_ref()),
        heart: laid.map_or("", |laid| &laid.heart),
        convention: laid.map(|laid| (&laid.convention, &laid.verdicts[..])),
    }))
}

fn svg(
    lab: &Lab,
    bench: &Bench,
    folder: &Folder,
    pairs: &[(String, String)],
) -> Result<String, Refusal> {
    let average = average(lab)?;
    let laid = laid(lab, average, folder, &Against::read(pairs))?;
    let figure = figure_of(&bench.name, average, &laid)?;
    let figure = figure.ok_or_else(|| Refusal::of_all(words::NO_AVERAGE))?;
    Ok(figure.svg(FontEmbedding::Embedded))
}

/// The worksheet (0) or its key (1).
fn sheet(
    lab: &mut Lab,
    folder: &Folder,
    pairs: &[(String, String)],
    which: usize,
) -> Result<Vec<u8>, Refusal> {
    let one = |name: &str| {
        pairs.iter().find(|(key, _)| key == name).map_or("", |(_, value)| value.as_str())
    };
    let view = View::read(pairs)?.within(lab.recording.duration_s());
    let visible = one("stretch") == "visible";
    let known = words::CORRECTIONS_OF_QT.map(|(id, _)| id);
    let correction = known.into_iter().find(|id| *id == one("correction"));
    let title = lab.recording.name.clone();
    let spelling = folder.settings().spelling.known();
    let options = Options {
        title: &title,
        paper: if one("paper") == "a4" { sheet::Paper::A4 } else { sheet::Paper::Letter },
        from_s: visible.then_some(view.at_s),
        length_s: if visible { view.span_s } else { worksheet::LENGTH_S },
        correction: correction.unwrap_or(known[0]),
        caution: recording::CAUTION,
        spelling: spelling.as_ref(),
    };
    let pages = worksheet::worksheet(&mut lab.recording, &lab.named, &lab.beats, &options)?;
    let pdf =
        figure::pdf_of(&pages[which], &worksheet::titles(&title)[which]).map_err(Failure::from)?;
    Ok(pdf)
}
