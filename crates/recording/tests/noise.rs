//! Landmarks of computed hearts with noise, against what the model states.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

mod support;

use recording::{Source as _, beats, guess, look};
use support::errors::{CHANNELS, Tallies, add, cycles};
use support::synthetic::{NOISES, Noise, recording, truth};
use support::{say, score};

fn tallies(added: Option<(Noise, f64)>) -> Tallies {
    let mut tallies = Tallies::default();
    for (index, cycle) in cycles().iter().enumerate() {
        let (start, end) = cycle.span_s().unwrap();
        let turns = (30.0 / (end - start)).ceil() as usize;
        add(&mut tallies, cycle, turns, added, 7 + index as u64);
    }
    tallies
}

/// Twice the standard deviation between referees in ms (CSE working party; Willems et al., Eur
/// Heart J 1985;6:815–825; from memory).
const REFEREES_MS: [(&str, f64); 5] =
    [("p_onset", 10.2), ("p_end", 12.7), ("qrs_onset", 6.5), ("qrs_end", 11.6), ("t_end", 30.6)];

#[test]
fn at_20_db_an_ecg_is_read_as_closely_as_referees_agree() {
    for noise in NOISES {
        let tallies = tallies(Some((noise, 20.0)));
        for (name, limit) in REFEREES_MS {
            let tally = &tallies[&("ecg".to_owned(), name.to_owned())];
            say(&format!(
                "{noise:?} {name}: found {:.1} %, mean {:.1}, twice the standard deviation {:.1}, limit {limit}",
                tally.found(),
                tally.mean(),
                tally.twice_sd()
            ));
            assert!(tally.twice_sd() <= limit, "{noise:?} {name}: {}", tally.twice_sd());
            assert!(tally.mean().abs() <= 0.5 * limit, "{noise:?} {name}: {}", tally.mean());
            assert!(tally.found() >= 98.0 && tally.invented == 0, "{noise:?} {name}");
        }
    }
}

/// Half the standard deviations that were published for the QT database (Martínez et al., IEEE
/// Trans Biomed Eng 2004;51:570–581; from memory), ms, as for a clean synthetic ECG.
const CLEAN_MS: [(&str, f64); 7] = [
    ("p_onset", 7.4),
    ("p_peak", 6.6),
    ("p_end", 6.4),
    ("qrs_onset", 3.8),
    ("qrs_end", 4.3),
    ("t_peak", 6.9),
    ("t_end", 9.0),
];

#[test]
fn without_noise_all_is_found_where_it_is() {
    let tallies = tallies(None);
    let get = |channel: &str, name: &str| &tallies[&(channel.to_owned(), name.to_owned())];
    for (name, limit) in CLEAN_MS {
        let tally = get("ecg", name);
        assert_eq!((tally.errors_ms.len(), tally.invented), (tally.truths, 0), "{name}");
        assert!(tally.errors_ms.iter().all(|error| error.abs() <= limit), "{name}");
    }
    // Onsets of pressure within 5 ms on clean synthetic (after Zong et al., Computers in
    // Cardiology 2003:259–262, whose limit is 20 ms).
    for channel in ["aortic_pressure", "radial_pressure", "finger_pulse"] {
        let tally = get(channel, "pressure_foot");
        assert_eq!((tally.errors_ms.len(), tally.invented), (tally.truths, 0), "{channel}");
        assert!(tally.errors_ms.iter().all(|error| error.abs() <= 5.0), "{channel}");
    }
    // LVET by the notch within 10 ms of the valve's closing (Lewis et al., Circulation
    // 1977;56:146–158).
    let notch = get("aortic_pressure", "dicrotic_notch");
    assert_eq!((notch.errors_ms.len(), notch.invented), (notch.truths, 0));
    assert!(notch.errors_ms.iter().all(|error| error.abs() <= 10.0));
    let s1 = get("heart_sounds", "s1_onset");
    assert_eq!((s1.errors_ms.len(), s1.invented), (s1.truths, 0));
    assert!(s1.mean().abs() <= 5.0 && s1.twice_sd() <= 10.0, "{} {}", s1.mean(), s1.twice_sd());
}

#[test]
fn at_20_db_feet_are_found_within_20_ms() {
    // 96.41 % within 20 ms on edited records (Zong et al. 2003).
    for noise in NOISES {
        let tallies = tallies(Some((noise, 20.0)));
        for channel in ["aortic_pressure", "radial_pressure", "finger_pulse"] {
            let tally = &tallies[&(channel.to_owned(), "pressure_foot".to_owned())];
            let close = tally.errors_ms.iter().filter(|error| error.abs() <= 20.0).count();
            assert!(close as f64 >= 0.9641 * tally.truths as f64, "{noise:?} {channel}: {close}");
        }
    }
}

/// Sensitivity and predictive value of beats down to 5 dB: 100 and more than 98 % (Kim and Shin,
/// PLoS One 2016;11:e0150144), and all of them without noise.
#[test]
fn beats_are_found_down_to_5_db() {
    let cases = NOISES.into_iter().flat_map(|noise| [5.0, 10.0].map(|db| Some((noise, db))));
    for added in cases.chain([None]) {
        for (index, cycle) in cycles().iter().enumerate() {
            let (start, end) = cycle.span_s().unwrap();
            let turns = (60.0 / (end - start)).ceil() as usize;
            let mut memory = recording(cycle, &CHANNELS[..1], turns, added, index as u64);
            let mut named = guess(memory.signals());
            look(&mut memory, &mut named, false).unwrap();
            let found = beats(&mut memory, &named).unwrap();
            let times: Vec<f64> = found.iter().map(|beat| beat.anchor_s).collect();
            let mut truths = truth(cycle, "r_peak", "ecg", turns);
            // A beat cut off by the recording's ends may be found or not.
            let length = (end - start) * turns as f64;
            truths.retain(|t| (0.1..length - 0.1).contains(t));
            let score = score(&times, &truths, 0.15);
            let clean = added.is_none();
            let least = if clean { 100.0 } else { 98.0 };
            assert!(score.sensitivity >= 100.0, "{added:?} heart {index}: {score:?}");
            assert!(score.predictive >= least, "{added:?} heart {index}: {score:?}");
        }
    }
}
