//! Landmarks put right by hand: each correction is a row of the recording's table at once.

use axum::extract::{Form, Query, State};
use maud::{Markup, html};
use recording::{Change, Correction, Named, correct, landmarks_of};
use serde::Deserialize;

use super::choices::{Choices, View};
use super::shelf::{Bench, Now};
use super::strip;
use crate::args::{Edit, second};
use crate::measure::{How, addition, row};
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::refusal::Refusal;
use crate::web::words::recordings as words;
use crate::web::{Pairs, off_thread};

/// The longest reason, in letters.
const LONGEST: usize = 200;
/// A beat begins so long before its anchor, for what is put between two.
const BEFORE_S: f64 = 0.3;

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(crate) enum What {
    Move,
    Remove,
    Add,
}

#[derive(Deserialize)]
pub(crate) struct Asked {
    what: What,
    channel: String,
    landmark: String,
    at: String,
    #[serde(default)]
    to: String,
    who: String,
    why: String,
}

fn line(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(LONGEST).collect::<String>().trim().to_owned()
}

/// `POST /recordings/correct?CHOICES`: gives the strip as it is now.
pub(crate) async fn post(
    State(desk): State<Desk>,
    Query(pairs): Query<Pairs>,
    Form(asked): Form<Asked>,
) -> Result<Markup, Refusal> {
    let choices = Choices::read(&pairs)?;
    let view = View::read(&pairs)?;
    let bench = super::bench(&desk, &choices).await?;
    off_thread(move || {
        let folder = desk.folder();
        add(&bench, &folder, &asked)?;
        super::strip_parts(&bench, &folder, view)
    })
    .await
}

/// Adds a row to the table, if it fits the recording.
fn add(bench: &Bench, folder: &Folder, asked: &Asked) -> Result<(), Refusal> {
    let (who, why) = (line(&asked.who), line(&asked.why));
    if who.is_empty() {
        return Err(Refusal::of("who", words::WHO_LACKS));
    }
    if why.is_empty() {
        return Err(Refusal::of("why", words::WHY_LACKS));
    }
    let at_s = second(&asked.at).map_err(Refusal::of_all)?;
    let to_s = if matches!(asked.what, What::Move) {
        second(&asked.to).map_err(Refusal::of_all)?
    } else {
        at_s
    };
    let (Some(now), Some(found)) = (bench.now(folder)?, bench.found()) else {
        return Err(Refusal::of_all(words::STILL));
    };
    if let Some(fault) = &now.fault {
        return Err(Refusal::conflict(words::table_at_fault(&bench.table(), fault)));
    }
    let edit = Edit {
        channel: Some(asked.channel.clone()),
        landmark: asked.landmark.clone(),
        at_s,
        to_s: tenths(to_s),
    };
    let how = match asked.what {
        What::Move => How::Move,
        What::Remove => How::Remove,
        What::Add => {
            refuse_second(&bench.named, &now, &edit)?;
            How::Add
        }
    };
    let row =
        row(how, &edit, [&who, &why], &bench.named, found, &now.beats).map_err(Refusal::of_all)?;
    // All rows together must fit, as they will be read again.
    let mut rows = now.rows.to_vec();
    rows.push(row.clone());
    correct(&mut *bench.reading(), &bench.named, &mut Vec::clone(found), &rows)
        .map_err(|error| Refusal::of_all(error.to_string()))?;
    let (old, version) = table(bench, folder)?;
    let new = addition(&old, &[row]).map_err(Refusal::of_all)?;
    folder.save(&bench.table(), &(old + &new), version.as_deref()).map(drop)
}

/// As exact as the table and the tables of beats have it.
fn tenths(time_s: f64) -> f64 {
    (10_000.0 * time_s).round() / 10_000.0
}

/// A beat has a landmark once: what it has is to be moved.
fn refuse_second(named: &[Named], now: &Now, edit: &Edit) -> Result<(), Refusal> {
    let channel = named.iter().position(|named| Some(&named.channel) == edit.channel.as_ref());
    let beat = now.beats.iter().rev().find(|beat| beat.anchor_s <= edit.at_s + BEFORE_S);
    let beat = beat.or(now.beats.first());
    let there = beat.zip(channel).and_then(|(beat, channel)| beat.mark(&edit.landmark, channel));
    there.map_or(Ok(()), |mark| Err(Refusal::of_all(words::there_already(mark.time_s))))
}

/// The table's text and version; empty where there is none yet.
fn table(bench: &Bench, folder: &Folder) -> Result<(String, Option<String>), Refusal> {
    let name = bench.table();
    if !folder.path(&name)?.exists() {
        return Ok((String::new(), None));
    }
    let text = folder.text(&name)?;
    Ok((text.text, Some(text.version)))
}

/// `POST /recordings/undo?CHOICES`: takes the last correction back.
pub(crate) async fn undo(
    State(desk): State<Desk>,
    Query(pairs): Query<Pairs>,
) -> Result<Markup, Refusal> {
    let choices = Choices::read(&pairs)?;
    let view = View::read(&pairs)?;
    let bench = super::bench(&desk, &choices).await?;
    off_thread(move || {
        let folder = desk.folder();
        take_back(&bench, &folder)?;
        super::strip_parts(&bench, &folder, view)
    })
    .await
}

/// Takes the table's last row out; the table as it was is kept in the course's history.
fn take_back(bench: &Bench, folder: &Folder) -> Result<(), Refusal> {
    let now = bench.now(folder)?.ok_or_else(|| Refusal::of_all(words::STILL))?;
    if let Some(fault) = &now.fault {
        return Err(Refusal::conflict(words::table_at_fault(&bench.table(), fault)));
    }
    let last = now.rows.last().ok_or_else(|| Refusal::of_all(words::NOTHING_TO_UNDO))?;
    let (old, version) = table(bench, folder)?;
    // It begins on this line, counted from 1, and nothing follows it.
    let kept: String = old.split_inclusive('\n').take(last.line as usize - 1).collect();
    folder.save(&bench.table(), &kept, version.as_deref()).map(drop)
}

/// What was corrected, the last first, and the way back.
pub(crate) fn list(now: &Now, bench: &Bench) -> Markup {
    html! {
        @if let Some(fault) = &now.fault {
            p.fault { (words::table_at_fault(&bench.table(), fault)) }
        } @else if now.rows.is_empty() {
            p.soft { (words::NOTHING_CORRECTED) }
        } @else {
            ol.corrections reversed {
                @for row in now.rows.iter().rev() { li { (told(row)) } }
            }
            p.soft { (words::kept_in(&bench.table())) }
        }
    }
}

fn told(row: &Correction) -> Markup {
    let what = match row.change {
        Change::Moved { from_s, to_s } => words::moved(from_s, to_s),
        Change::Removed { from_s } => words::removed(from_s),
        Change::Added { to_s } => words::added(to_s),
    };
    html! {
        (strip::landmark_name(row.landmark)) ", " (strip::channel_name(&row.channel)) ": " (what)
        ". " span.soft { (row.who) ", " (row.when.replacen('T', " ", 1)) ": " (row.why) }
    }
}

/// What can be added: each channel's landmarks, but for the R peaks by which beats are found.
pub(crate) fn addable(named: &[Named]) -> Vec<(String, &'static str)> {
    let of = |named: &Named| {
        let all = landmarks_of(&named.channel).iter().filter(|name| **name != "r_peak");
        let channel = named.channel.clone();
        all.map(move |name| (channel.clone(), *name)).collect::<Vec<_>>()
    };
    named.iter().flat_map(of).collect()
}
