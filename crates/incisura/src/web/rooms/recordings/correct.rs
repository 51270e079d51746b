//! Landmarks put right by hand: each correction is a row of the recording's table at once.

use axum::extract::{Form, Query, State};
use maud::{Markup, html};
use recording::{Change, Correction, Named, correct, is_anchor, landmarks_of, makes_beat};
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
    let row = row(how, &edit, [&who, &why], &bench.named, &now.beats).map_err(Refusal::of_all)?;
    // All rows together must fit, as they will be read again.
    let mut rows = now.rows.to_vec();
    rows.push(row.clone());
    correct(&mut *bench.reading(), &bench.named, &mut Vec::clone(found), &rows)
        .map_err(|error| Refusal::of_all(error.to_string()))?;
    let old = table(bench, folder, &now)?;
    let new = addition(&old, &[row]).map_err(Refusal::of_all)?;
    folder.save(&bench.table(), &(old + &new), Some(&now.version)).map(drop)
}

/// As exact as the table and the tables of beats have it.
fn tenths(time_s: f64) -> f64 {
    (10_000.0 * time_s).round() / 10_000.0
}

/// A beat has a landmark once: what it has is to be moved.
fn refuse_second(named: &[Named], now: &Now, edit: &Edit) -> Result<(), Refusal> {
    let channel = named.iter().position(|named| Some(&named.channel) == edit.channel.as_ref());
    let new = |channel| makes_beat(named, &now.beats, channel, &edit.landmark, edit.at_s);
    if channel.is_some_and(new) {
        return Ok(());
    }
    let beat = now.beats.iter().rev().find(|beat| beat.anchor_s <= edit.at_s + BEFORE_S);
    let beat = beat.or(now.beats.first());
    let there = beat.zip(channel).and_then(|(beat, channel)| beat.mark(&edit.landmark, channel));
    there.map_or(Ok(()), |mark| Err(Refusal::of_all(words::there_already(mark.time_s))))
}

/// The table's text, empty where there is none yet; it must be the one of `now`.
fn table(bench: &Bench, folder: &Folder, now: &Now) -> Result<String, Refusal> {
    let name = bench.table();
    let there = folder.path(&name)?.exists().then(|| folder.text(&name)).transpose()?;
    let (text, version) = there.map_or_else(Default::default, |there| (there.text, there.version));
    if version == now.version { Ok(text) } else { Err(Refusal::conflict(words::CHANGED)) }
}

#[derive(Deserialize)]
pub(crate) struct Seen {
    /// The version of the table whose last row the person sees.
    seen: String,
}

/// `POST /recordings/undo?CHOICES`: takes the last correction back.
pub(crate) async fn undo(
    State(desk): State<Desk>,
    Query(pairs): Query<Pairs>,
    Form(Seen { seen }): Form<Seen>,
) -> Result<Markup, Refusal> {
    let choices = Choices::read(&pairs)?;
    let view = View::read(&pairs)?;
    let bench = super::bench(&desk, &choices).await?;
    off_thread(move || {
        let folder = desk.folder();
        take_back(&bench, &folder, &seen)?;
        super::strip_parts(&bench, &folder, view)
    })
    .await
}

/// Takes the table's last row out; the table as it was is kept in the course's history.
fn take_back(bench: &Bench, folder: &Folder, seen: &str) -> Result<(), Refusal> {
    let now = bench.now(folder)?.ok_or_else(|| Refusal::of_all(words::STILL))?;
    if let Some(fault) = &now.fault {
        return Err(Refusal::conflict(words::table_at_fault(&bench.table(), fault)));
    }
    if seen != now.version {
        return Err(Refusal::conflict(words::CHANGED));
    }
    let last = now.rows.last().ok_or_else(|| Refusal::of_all(words::NOTHING_TO_UNDO))?;
    let old = table(bench, folder, &now)?;
    // It begins on this line, counted from 1, and nothing follows it.
    let kept: String = old.split_inclusive('\n').take(last.line as usize - 1).collect();
    folder.save(&bench.table(), &kept, Some(&now.version)).map(drop)
}

/// What was corrected, the last first, and the way back.
pub(crate) fn list(now: &Now, bench: &Bench) -> Markup {
    html! {
        input #seen type="hidden" value=(now.version);
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

/// What can be added: each channel's landmarks, of R peaks those by which beats are found.
pub(crate) fn addable(named: &[Named]) -> Vec<(String, &'static str)> {
    let of = |(index, one): (usize, &Named)| {
        let all = landmarks_of(&one.channel).iter().copied();
        let all = all.filter(move |name| *name != "r_peak" || is_anchor(named, index, name));
        let channel = one.channel.clone();
        all.map(move |name| (channel.clone(), name)).collect::<Vec<_>>()
    };
    named.iter().enumerate().flat_map(of).collect()
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::web::rooms::recordings::shelf::Stage;
    use crate::web::tests::desk;

    #[test]
    fn a_table_that_was_changed_meanwhile_is_not_written_over() {
        let desk = desk();
        let folder = desk.folder();
        let csv = crate::demo_recording::csv().unwrap();
        std::fs::write(folder.path("lab.csv").unwrap(), csv).unwrap();
        let choices = Choices::read(&[("file".to_owned(), "lab.csv".to_owned())]).unwrap();
        let place = desk.recordings().place(&desk, &choices).unwrap();
        let stage = place.at_the_end(Duration::from_secs(60));
        let Stage::Found(bench) = stage else { panic!("it is not found") };
        let before = bench.now(&folder).unwrap().unwrap();
        assert_eq!(table(&bench, &folder, &before).unwrap(), "");
        let text = Correction::HEADER.join(",") + "\n";
        folder.save(&bench.table(), &text, None).unwrap();
        let refused = table(&bench, &folder, &before).unwrap_err();
        assert_eq!(refused.message, words::CHANGED);
        let now = bench.now(&folder).unwrap().unwrap();
        assert_eq!(table(&bench, &folder, &now).unwrap(), text);
        // One that comes between looking and writing is not written over, either.
        assert!(folder.save(&bench.table(), "lost", Some(&before.version)).is_err());
    }
}
