//! Landmarks moved, removed and added by hand.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

mod support;

use recording::{
    Beat, Correction, CorrectionError, Held, Named, Source as _, beats, correct, corrections,
    guess, landmarks_of, makes_beat, measure,
};
use support::errors::CHANNELS;
use support::synthetic::recording;

const HEAD: &str = "channel,landmark,beat,from_s,to_s,who,when,why\n";

fn found() -> (Held, Vec<Named>, Vec<Beat>) {
    let rest = heart::simulate(&heart::Heart::default(), 4).unwrap();
    let mut memory = recording(&rest, &CHANNELS, 5, None, 1);
    let named = guess(memory.signals());
    let found = beats(&mut memory, &named).unwrap();
    (memory, named, found)
}

fn wrong(text: &str) -> Vec<String> {
    let (mut memory, named, mut found) = found();
    let before = found.clone();
    let error = match corrections(text) {
        Ok(rows) => correct(&mut memory, &named, &mut found, &rows).unwrap_err(),
        Err(error) => error,
    };
    assert_eq!(found, before, "nothing is changed where something is wrong");
    let CorrectionError::Wrong(faults) = error else { panic!("{error}") };
    faults.iter().map(ToString::to_string).collect()
}

#[test]
fn a_moved_landmark_is_sure_and_says_that_it_was_moved() {
    let (mut memory, named, mut found) = found();
    let before = found.clone();
    let t_end = *before[5].mark("t_end", 0).unwrap();
    let anchor_s = before[5].anchor_s;
    let to_s = t_end.time_s + 0.02;
    let text = format!("{HEAD}ecg,t_end,{anchor_s:.2},{:.3},{to_s},R. A.,,by eye\n", t_end.time_s);
    let rows = corrections(&text).unwrap();
    correct(&mut memory, &named, &mut found, &rows).unwrap();
    let moved = found[5].mark("t_end", 0).unwrap();
    assert!(moved.by_hand && moved.confidence == 1.0 && moved.time_s == to_s);
    let mut samples = Vec::new();
    let rate_hz = memory.signals()[0].rate_hz;
    memory.read(0, (to_s * rate_hz) as u64, 2, &mut samples).unwrap();
    let (low, high) = (samples[0].min(samples[1]), samples[0].max(samples[1]));
    assert!((low..=high).contains(&moved.value), "{} in {samples:?}", moved.value);
    for (index, (a, b)) in before.iter().zip(&found).enumerate() {
        assert!(index == 5 || a == b, "beat {index} was not to change");
    }
    let mean = |beats: &[Beat]| measure(beats, &named).get("qt", "").unwrap().values;
    let more = mean(&found).mean - mean(&before).mean;
    assert!((more - 20.0 / mean(&before).count as f64).abs() < 1e-6, "{more}");
}

/// Moved R peaks align their beats anew; a removed one is no beat, and the interval spans it.
#[test]
fn r_peaks_carry_their_beats_with_them() {
    let (mut memory, named, mut found) = found();
    let before = found.clone();
    let (third, fifth) = (before[3].anchor_s, before[5].anchor_s);
    let text = format!(
        "{HEAD}ecg,r_peak,#4,{third},{},R. A.,,by eye\necg,r_peak,{fifth},{fifth},removed,R. A.,,a spike\n",
        third + 0.01
    );
    correct(&mut memory, &named, &mut found, &corrections(&text).unwrap()).unwrap();
    assert_eq!(found.len(), before.len() - 1);
    assert_eq!(found[3].anchor_s, third + 0.01);
    let rr = |index: usize| found[index].rr_s.unwrap();
    assert!((rr(3) - before[3].rr_s.unwrap() - 0.01).abs() < 1e-9);
    assert!((rr(4) - before[4].rr_s.unwrap() + 0.01).abs() < 1e-9);
    assert!((rr(5) - before[5].rr_s.unwrap() - before[6].rr_s.unwrap()).abs() < 1e-9);
    assert_eq!(found[6].rr_s, before[7].rr_s);
    assert_eq!(found[0].rr_s, None);
}

/// Where the program missed a beat, an R peak brings it, with what else is found of it, and later
/// rows name it by that time.
#[test]
fn a_missed_beat_is_brought_by_its_r_peak() {
    let (mut memory, named, whole) = found();
    let missed = &whole[5];
    let at = (1000.0 * missed.anchor_s).round() / 1000.0;
    let correct_all = |memory: &mut Held, rows: &[String]| {
        let mut beats = whole.clone();
        beats.remove(5);
        let rows = corrections(&format!("{HEAD}{}\n", rows.join("\n"))).unwrap();
        correct(memory, &named, &mut beats, &rows).map(|()| beats)
    };
    let added = format!("ecg,r_peak,{at},added,{at},R. A.,,missed");
    let beats = correct_all(&mut memory, std::slice::from_ref(&added)).unwrap();
    assert_eq!(beats.len(), whole.len());
    let new = &beats[5];
    assert_eq!((new.anchor_s, new.found_s, new.confidence), (at, at, 1.0));
    assert!(new.mark("r_peak", 0).unwrap().by_hand);
    assert_eq!(new.quality.len(), named.len());
    for (old, new) in whole.iter().zip(&beats) {
        let gap = old.rr_s.zip(new.rr_s).map_or(0.0, |(old, new)| (old - new).abs());
        assert!(gap < 0.002 && old.rr_s.is_some() == new.rr_s.is_some(), "{:?}", new.rr_s);
    }
    assert!(missed.marks.len() > 15, "there is something to find");
    for mark in &missed.marks {
        let again = new.mark(mark.name, mark.channel).unwrap();
        assert!((again.time_s - mark.time_s).abs() < 0.005, "{} {}", mark.name, again.time_s);
        assert!(again.by_hand == (mark.name == "r_peak" && mark.channel == 0), "{}", mark.name);
    }

    let moved = format!("ecg,r_peak,{at},{at},{},R. A.,,by eye", at + 0.2);
    let t_end = format!("ecg,t_end,{at},{at},{},R. A.,,by eye", at + 0.5);
    let removed = format!("ecg,r_peak,{at},{at},removed,R. A.,,none after all");
    let rows = [added.clone(), moved, t_end];
    let beats = correct_all(&mut memory, &rows).unwrap();
    assert_eq!((beats[5].anchor_s, beats[5].found_s), (at + 0.2, at));
    assert_eq!(beats[5].mark("t_end", 0).unwrap().time_s, at + 0.5);
    let beats = correct_all(&mut memory, &[added.clone(), removed.clone()]).unwrap();
    assert_eq!(beats.len(), whole.len() - 1);
    let beats = correct_all(&mut memory, &[added.clone(), removed, added]).unwrap();
    assert_eq!((beats.len(), beats[5].anchor_s), (whole.len(), at));
}

/// A beat that was removed comes back with its R peak, too.
#[test]
fn a_removed_beat_is_brought_back_by_its_r_peak() {
    let (mut memory, named, mut beats) = found();
    let before = beats.clone();
    let at = before[4].anchor_s;
    let text = format!("{HEAD}ecg,r_peak,#5,{at},removed,A,,b\necg,r_peak,{at},added,{at},A,,c\n");
    correct(&mut memory, &named, &mut beats, &corrections(&text).unwrap()).unwrap();
    let times = |beats: &[Beat]| beats.iter().map(|beat| beat.anchor_s).collect::<Vec<_>>();
    assert_eq!(times(&beats), times(&before));
    assert!(beats[4].mark("r_peak", 0).unwrap().by_hand);
}

#[test]
fn an_r_peak_makes_a_beat_only_where_none_is() {
    let (_, named, beats) = found();
    let between = 0.5 * (beats[3].anchor_s + beats[4].anchor_s);
    assert!(makes_beat(&named, &beats, 0, "r_peak", between));
    assert!(!makes_beat(&named, &beats, 0, "r_peak", beats[3].anchor_s + 0.1));
    assert!(!makes_beat(&named, &beats, 0, "t_peak", between));
    assert!(!makes_beat(&named, &beats, 1, "r_peak", between), "another channel's");
    let mut moved = beats.clone();
    moved[3].anchor_s = between;
    for taken in [between, beats[3].anchor_s] {
        assert!(!makes_beat(&named, &moved, 0, "r_peak", taken), "it has a name there");
    }
}

#[test]
fn landmarks_are_added_and_taken_away_and_the_last_row_counts() {
    let (mut memory, named, mut found) = found();
    let at = found[2].anchor_s;
    let text = format!(
        "\u{feff}channel;landmark;beat;from_s;to_s;who;when;why\n\
         heart_sounds;s3;#3;added;{};R. A.;;heard\n\
         ecg;t_peak;#3;{at};removed;R. A.;;noise\n\
         heart_sounds;s3;#3;{at};{};R. A.;;heard again\n",
        format!("{:.3}", at + 0.5).replace('.', ","),
        at + 0.52
    );
    correct(&mut memory, &named, &mut found, &corrections(&text).unwrap()).unwrap();
    let sounds = named.iter().position(|n| n.channel == "heart_sounds").unwrap();
    assert_eq!(found[2].mark("s3", sounds).unwrap().time_s, at + 0.52);
    assert_eq!(found[2].mark("t_peak", 0), None);
}

#[test]
fn what_is_wrong_is_told_by_line_and_changes_nothing() {
    assert!(wrong("")[0].contains("no column “channel”"));
    assert!(wrong("channel,landmark\n")[0].contains("no column “beat”"));
    let rows = [
        ("ecg,t_edn,#1,1,1,a,,b", "“t_edn” is no landmark on ecg"),
        ("eeg,t_end,#1,1,1,a,,b", "“eeg” is no channel"),
        ("ecg,t_end,#0,1,1,a,,b", "“#0” is no beat"),
        ("ecg,t_end,first,1,1,a,,b", "“first” is no time in seconds"),
        ("ecg,t_end,#1,1,NaN,a,,b", "“NaN” is no time"),
        ("ecg,t_end,#1,added,removed,a,,b", "cannot be added and removed"),
        ("ecg,t_end,#1,1,1.1,,,b", "“who”"),
    ];
    let text: String = rows.iter().map(|(row, _)| format!("{row}\n")).collect();
    let said = wrong(&format!("{HEAD}{text}"));
    assert_eq!(said.len(), rows.len());
    for (index, (fault, (_, words))) in said.iter().zip(rows).enumerate() {
        assert!(fault.starts_with(&format!("line {}: ", index + 2)), "{fault}");
        assert!(fault.contains(words), "{fault}");
    }
    let rows = [
        ("ecg_v5,t_end,#1,1,1.1,a,,b", "“ecg_v5” is not in this recording"),
        ("ecg,t_end,#900,1,1.1,a,,b", "there is no beat #900"),
        ("ecg,t_end,500,1,1.1,a,,b", "there is no beat at 500 s; the nearest is at"),
        ("ecg,t_end,#2,1,9,a,,b", "too far from the beat"),
        ("ecg,r_peak,500,added,500,a,,b", "nothing was recorded on ecg at 500 s"),
        ("ecg,r_peak,500,added,400,a,,b", "there is no beat at 500 s; to add one"),
    ];
    let text: String = rows.iter().map(|(row, _)| format!("{row}\n")).collect();
    for (fault, (_, words)) in wrong(&format!("{HEAD}{text}")).iter().zip(rows) {
        assert!(fault.contains(words), "{fault}");
    }
}

#[test]
fn rows_are_written_as_they_are_read() {
    let text = format!(
        "{HEAD}ecg,t_end,#7,1.5,1.25,A,2026-01-02,\"b, c\"\nheart_sounds,s3,2.5,added,3,A,,d\necg,p_peak,2.5,2.25,removed,A,,e\n"
    );
    let rows = corrections(&text).unwrap();
    let mut again = HEAD.to_owned();
    for row in rows.iter().map(Correction::fields) {
        let quoted = row.map(|f| if f.contains(',') { format!("\"{f}\"") } else { f });
        again += &(quoted.join(",") + "\n");
    }
    assert_eq!(again, text);
}

#[test]
fn the_landmarks_are_the_subjects() {
    let subject = heart::subject();
    for channel in ["ecg", "heart_sounds", "aortic_pressure", "radial_pressure", "pa_pressure"] {
        assert!(!landmarks_of(channel).is_empty());
        for name in landmarks_of(channel) {
            let kind = subject.landmark(name).unwrap();
            assert!(kind.channels.iter().any(|id| id == channel), "{name} on {channel}");
        }
    }
    assert_eq!(landmarks_of("ecg_v5"), landmarks_of("ecg"));
    assert_eq!(landmarks_of("lv_volume"), [""; 0]);
}
