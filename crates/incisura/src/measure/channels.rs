//! Which signal is which channel: what was guessed, and what somebody says instead.

use cycle::nearest;
use recording::{Named, Signal, guess};

use crate::args::Measure;

/// Channels that `--pressure` can name.
const PRESSURES: [&str; 7] = [
    "aortic_pressure",
    "radial_pressure",
    "pa_pressure",
    "lv_pressure",
    "la_pressure",
    "rv_pressure",
    "ra_pressure",
];

/// The channels of a recording: guessed, then as the arguments say. What cannot be is told.
pub(crate) fn channels(signals: &[Signal], args: &Measure) -> Result<Vec<Named>, String> {
    let mut named = guess(signals);
    if let Some(typed) = &args.ecg {
        say_ecg(&mut named, signals, typed)?;
    }
    if args.pressure.iter().any(|typed| typed == "none") {
        named.retain(|named| !PRESSURES.contains(&named.channel.as_str()));
    }
    for typed in args.pressure.iter().filter(|typed| *typed != "none") {
        let (signal, channel) = pressure(&named, signals, typed)?;
        say(&mut named, signal, channel);
    }
    for (typed, channel) in [(&args.sounds, "heart_sounds"), (&args.pulse, "finger_pulse")] {
        match typed.as_deref() {
            Some("none") => named.retain(|named| named.channel != channel),
            Some(typed) => say(&mut named, find(signals, typed)?, channel),
            None => {}
        }
    }
    if named.is_empty() {
        return Err(format!(
            "no signal is taken for one on which beats can be found; name one with --ecg, --pressure, --sounds or --pulse. {}",
            listed(signals)
        ));
    }
    Ok(named)
}

/// The channels of a recording: guessed, then as somebody says of single signals by their number
/// from 0; a signal that is said to be nothing is not used. Where two are said to be the same
/// channel, the later one is.
pub(crate) fn channels_said(signals: &[Signal], said: &[(usize, Option<String>)]) -> Vec<Named> {
    let mut named = guess(signals);
    for (signal, channel) in said.iter().filter(|(signal, _)| *signal < signals.len()) {
        match channel.as_deref() {
            None => named.retain(|named| named.signal != *signal),
            Some("ecg") => make_ecg(&mut named, *signal),
            Some(channel) => say(&mut named, *signal, channel),
        }
    }
    named
}

/// The channels that a signal can be said to be.
pub(crate) fn channels_known() -> impl Iterator<Item = &'static str> {
    ["ecg", "heart_sounds", "finger_pulse"].into_iter().chain(PRESSURES)
}

/// Takes a signal for a channel, and no other.
fn say(named: &mut Vec<Named>, signal: usize, channel: &str) {
    named.retain(|named| named.signal != signal && named.channel != channel);
    let at = named.iter().position(|named| named.signal > signal).unwrap_or(named.len());
    named.insert(at, Named::new(signal, channel));
}

/// Makes another lead the ECG; the one it was becomes a further lead.
fn say_ecg(named: &mut Vec<Named>, signals: &[Signal], typed: &str) -> Result<(), String> {
    if typed == "none" {
        named.retain(|named| !named.is_ecg());
        return Ok(());
    }
    make_ecg(named, find(signals, typed)?);
    Ok(())
}

fn make_ecg(named: &mut Vec<Named>, signal: usize) {
    let lead = named.iter().find(|named| named.signal == signal).and_then(|n| n.lead.clone());
    named.retain(|named| named.signal != signal);
    let names: Vec<String> = named.iter().map(|named| named.channel.clone()).collect();
    for other in named.iter_mut().filter(|named| named.channel == "ecg") {
        let lead = other.lead.as_deref().unwrap_or("further").to_lowercase();
        let name = format!("ecg_{lead}");
        let free = (2..).map(|number| format!("{name}_{number}"));
        let mut free = std::iter::once(name.clone()).chain(free);
        other.channel = free.find(|name| !names.contains(name)).unwrap_or(name);
        // They were about its being the ECG.
        other.warnings.clear();
    }
    let at = named.iter().position(|named| named.signal > signal).unwrap_or(named.len());
    named.insert(at, Named { lead, ..Named::new(signal, "ecg") });
}

/// The signal and the channel of `LABEL` or `LABEL=CHANNEL`.
fn pressure(
    named: &[Named],
    signals: &[Signal],
    typed: &str,
) -> Result<(usize, &'static str), String> {
    let (label, channel) = match (find(signals, typed), typed.rsplit_once('=')) {
        (Err(_), Some((label, channel))) => (label, Some(channel)),
        _ => (typed, None),
    };
    let signal = find(signals, label)?;
    let guessed = named.iter().find(|named| named.signal == signal).map(|n| n.channel.as_str());
    let wanted = channel.or(guessed).unwrap_or("radial_pressure");
    match (PRESSURES.iter().find(|known| **known == wanted), channel) {
        (Some(known), _) => Ok((signal, known)),
        // It was guessed to be no pressure at all.
        (None, None) => Ok((signal, "radial_pressure")),
        (None, Some(channel)) => {
            let near = nearest(channel, PRESSURES.into_iter());
            let near = near.map(|near| format!("did you mean “{near}”? "));
            let known = PRESSURES.join(", ");
            Err(format!(
                "there is no pressure “{channel}”; {}there are {known}",
                near.unwrap_or_default()
            ))
        }
    }
}

/// The signal that is called so, or has this number.
fn find(signals: &[Signal], typed: &str) -> Result<usize, String> {
    let typed = typed.trim();
    let all = |same: &dyn Fn(&str) -> bool| {
        let there = signals.iter().enumerate().filter(|(_, signal)| same(&signal.label));
        there.map(|(index, _)| index).collect::<Vec<_>>()
    };
    let exactly = all(&|label| label == typed);
    let found = if exactly.is_empty() {
        all(&|label| label.to_lowercase() == typed.to_lowercase())
    } else {
        exactly
    };
    let number = typed.parse::<usize>().ok().and_then(|number| number.checked_sub(1));
    match (&found[..], number.filter(|index| *index < signals.len())) {
        (&[one], _) | (&[], Some(one)) => Ok(one),
        ([], None) => {
            let labels: Vec<String> = signals.iter().map(|s| s.label.to_lowercase()).collect();
            let near = nearest(typed, labels.iter().map(String::as_str));
            let near = near.and_then(|near| labels.iter().position(|label| *label == near));
            let near = near.map(|at| format!("did you mean “{}”? ", signals[at].label));
            let near = near.unwrap_or_default();
            Err(format!("no signal is called “{typed}”; {near}{}", listed(signals)))
        }
        (several, _) => {
            let numbers: Vec<String> = several.iter().map(|at| (at + 1).to_string()).collect();
            Err(format!(
                "several signals are called “{typed}”; give the number of one: {}",
                numbers.join(", ")
            ))
        }
    }
}

fn listed(signals: &[Signal]) -> String {
    let labels = signals.iter().enumerate().map(|(at, s)| format!("{} “{}”", at + 1, s.label));
    format!("The signals are {}", labels.collect::<Vec<_>>().join(", "))
}
