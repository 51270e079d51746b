//! `incisura simulate`: a heart to a summary, a file of numbers or a sound.

use std::path::Path;

use cycle::Cycle;
use heart::{Heart, Rhythm};

use crate::args::{Form, Simulate};
use crate::failure::Failure;
use crate::{files, progress, summary};

/// How long a sound lasts at least, in seconds; it ends with a whole cycle.
const SOUND_S: f64 = 10.0;

pub(crate) fn run(args: &Simulate) -> Result<(), Failure> {
    let heart = describe(args)?;
    let beats = args.beats.map_or_else(|| heart::natural_beats(&heart), usize::from);
    let cycle = progress::during("computing the heart", || heart::simulate(&heart, beats))?;
    if let Some(path) = &args.form.wav {
        return files::write(path, &sound(&cycle));
    }
    files::write_or_print(args.output.as_deref(), written(&cycle, &args.form)?.as_bytes())
}

fn describe(args: &Simulate) -> Result<Heart, Failure> {
    let mut heart = match (&args.heart, &args.condition) {
        (Some(path), _) => read_heart(path)?,
        (None, Some(name)) => heart::condition(name)?.heart,
        (None, None) => Heart::default(),
    };
    if let Some(name) = &args.rhythm {
        heart.rhythm = Rhythm::from_name(name)?;
    }
    for (name, value) in &args.set {
        heart.parameters.set(name, *value)?;
    }
    Ok(heart)
}

pub(crate) fn read_heart(path: &Path) -> Result<Heart, Failure> {
    let text = files::read(path)?;
    Heart::from_toml(&text).map_err(|error| Failure::heart_in(path, error))
}

fn written(cycle: &Cycle, form: &Form) -> Result<String, Failure> {
    if form.json {
        Ok(cycle.to_json() + "\n")
    } else if form.csv {
        traces_csv(cycle)
    } else if form.marks {
        Ok(cycle.marks_csv())
    } else {
        Ok(summary::table(cycle, &heart::subject()))
    }
}

/// The traces as one table.
pub(crate) fn traces_csv(cycle: &Cycle) -> Result<String, Failure> {
    let apart = "the traces are sampled at different times and make no one table; use JSON";
    cycle.traces_csv().ok_or_else(|| Failure::Other(apart.into()))
}

/// The heart sounds of `cycle`, repeated whole so that the end runs into the beginning.
pub(crate) fn sound(cycle: &Cycle) -> Vec<u8> {
    let (start_s, end_s) = cycle.span_s().unwrap_or((0.0, 1.0));
    let span_s = end_s - start_s;
    heart::sounds_wav(cycle, (SOUND_S / span_s).ceil() * span_s)
}
