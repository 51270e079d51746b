//! Reading a heart's description: what is accepted, and what is said of mistakes.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use heart::{
    Heart, HeartError, PARAMETERS, Rhythm, condition, conditions, simulate, sounds_wav, subject,
};

fn complaint(text: &str) -> String {
    Heart::from_toml(text).unwrap_err().to_string()
}

#[test]
fn a_heart_is_a_condition_with_changes() {
    let heart = Heart::from_toml("rate_bpm = 60\ncondition = \"atrial_fibrillation\"\n").unwrap();
    assert_eq!(heart.rhythm, Rhythm::AtrialFibrillation);
    assert_eq!(heart.parameters.rate_bpm, 60.0);
    assert_eq!(Heart::from_toml("").unwrap(), Heart::default());
}

#[test]
fn a_mistyped_parameter_is_shown_with_its_line_and_the_nearest_name() {
    let said = complaint("# a heart\nrate_bmp = 60\n");
    assert_eq!(
        said,
        "line 2: there is no parameter “rate_bmp”; did you mean “rate_bpm”?\n    rate_bmp = 60"
    );
}

#[test]
fn a_value_out_of_range_is_shown_with_the_range() {
    let said = complaint("rate_bpm = 500\n");
    assert!(
        said.starts_with("line 1: rate_bpm = 500 is outside")
            && said.contains("from 30 to 200 /min"),
        "{said}"
    );
    for value in [f64::NAN, f64::INFINITY, -1.0] {
        assert!(matches!(
            Heart::default().parameters.set("rate_bpm", value),
            Err(HeartError::OutOfRange { .. })
        ));
    }
}

#[test]
fn text_that_is_not_toml_is_shown_with_its_line() {
    let said = complaint("rate_bpm = 60\nblood_volume = = 1\n");
    assert!(said.starts_with("line 2: ") && said.contains("blood_volume = = 1"), "{said}");
}

#[test]
fn a_word_in_place_of_a_number_is_named() {
    let said = complaint("rate_bpm = \"fast\"\n");
    assert!(said.contains("rate_bpm must be a number") && said.contains("line 1"), "{said}");
    let said = complaint("rhythm = 3\n");
    assert!(said.contains("rhythm must be a name in quotes"), "{said}");
}

#[test]
fn unknown_names_offer_the_nearest() {
    assert!(condition("aortic_stenosys").unwrap_err().to_string().contains("aortic_stenosis"));
    assert!(complaint("rhythm = \"sinis\"\n").contains("“sinus”"));
}

#[test]
fn every_shipped_value_lies_within_its_parameters_range() {
    for condition in conditions() {
        for parameter in PARAMETERS {
            let value = condition.heart.parameters.get(parameter.name).unwrap();
            assert!(
                (parameter.low..=parameter.high).contains(&value),
                "{}: {}",
                condition.name,
                parameter.name
            );
        }
    }
}

/// Identifiers that scripts rely on.
#[test]
fn names_are_those_of_the_subject() {
    let (subject, cycle) = (subject(), simulate(&Heart::default(), 1).unwrap());
    let channels = "ecg heart_sounds aortic_pressure lv_pressure la_pressure rv_pressure pa_pressure ra_pressure \
        radial_pressure lv_volume rv_volume la_volume ra_volume aortic_flow mitral_flow finger_pulse";
    let made: Vec<&str> = cycle.traces.iter().map(|trace| trace.channel.as_str()).collect();
    assert_eq!(made, channels.split_whitespace().collect::<Vec<_>>());
    for trace in &cycle.traces {
        assert_eq!(subject.channel(&trace.channel).unwrap().unit, trace.unit);
    }
    for landmark in &cycle.landmarks {
        let kind = subject
            .landmark(&landmark.name)
            .unwrap_or_else(|| panic!("{} is unknown", landmark.name));
        assert!(
            kind.channels.contains(&landmark.channel),
            "{} on {}",
            landmark.name,
            landmark.channel
        );
    }
    for event in &cycle.events {
        assert!(subject.event(&event.name).is_some(), "{}", event.name);
    }
    for phase in &cycle.phases {
        assert!(subject.phase(&phase.name).is_some(), "{}", phase.name);
    }
    let summary = "heart_rate_bpm stroke_volume_ml cardiac_output_l_min ejection_fraction edv_ml esv_ml \
        aortic_systolic_mmhg aortic_diastolic_mmhg aortic_mean_mmhg lv_systolic_mmhg lv_end_diastolic_mmhg \
        la_mean_mmhg pa_systolic_mmhg pa_diastolic_mmhg pa_mean_mmhg ra_mean_mmhg pep_ms lvet_ms qs2_ms ivct_ms \
        ivrt_ms dpdt_max_mmhg_s systemic_resistance_wood aortic_mean_gradient_mmhg aortic_peak_velocity_m_s";
    for name in summary.split_whitespace() {
        assert!(cycle.summary.contains_key(name), "the summary lacks {name}");
    }
}

/// All the design's landmarks but S3 and S4, which a resting adult does not have.
#[test]
fn a_resting_cycle_has_every_landmark() {
    let cycle = simulate(&Heart::default(), 2).unwrap();
    for kind in subject().landmarks.iter().filter(|kind| kind.id != "s3" && kind.id != "s4") {
        for channel in &kind.channels {
            assert!(cycle.landmark_on(&kind.id, channel).is_some(), "{} on {channel}", kind.id);
        }
    }
    for kind in subject().events {
        assert_eq!(cycle.times_of(&kind.id).len(), 2, "{} in two beats", kind.id);
    }
}

#[test]
fn the_phases_of_a_resting_beat_follow_one_another_without_a_gap() {
    let cycle = simulate(&Heart::default(), 1).unwrap();
    let subject = subject();
    assert_eq!(cycle.phases.first().map(|p| p.start_s), Some(0.0));
    for pair in cycle.phases.windows(2) {
        assert!(
            (pair[0].end_s - pair[1].start_s).abs() < 1e-9,
            "{} to {}",
            pair[0].name,
            pair[1].name
        );
        let place = |name: &str| subject.phases.iter().position(|kind| kind.id == name).unwrap();
        assert_eq!(
            (place(&pair[0].name) + 1) % 7,
            place(&pair[1].name),
            "{} to {}",
            pair[0].name,
            pair[1].name
        );
    }
    let covered: f64 = cycle.phases.iter().map(|p| p.end_s - p.start_s).sum();
    assert!((covered - cycle.period_s).abs() < 2e-3);
}

#[test]
fn tables_read_back() {
    let cycle = simulate(&Heart::default(), 1).unwrap();
    let again = cycle::Cycle::from_csv(&cycle.traces_csv().unwrap(), &cycle.marks_csv()).unwrap();
    assert_eq!(again.landmarks, cycle.landmarks);
    for (a, b) in again.traces.iter().zip(&cycle.traces) {
        assert_eq!(a.samples, b.samples);
    }
    assert_eq!(cycle::Cycle::from_json(&cycle.to_json()).unwrap(), cycle);
}

/// Header of a WAV file: RIFF, PCM, one channel, 16 bit (Microsoft/IBM 1991, from memory).
#[test]
fn sounds_are_a_wav_file_of_the_length_asked_for() {
    let cycle = simulate(&Heart::default(), 1).unwrap();
    let wav = sounds_wav(&cycle, 2.0);
    assert_eq!(
        (&wav[..4], &wav[8..16], &wav[36..40]),
        (&b"RIFF"[..], &b"WAVEfmt "[..], &b"data"[..])
    );
    let word = |at: usize| u32::from_le_bytes(wav[at..at + 4].try_into().unwrap());
    assert_eq!((word(24), word(40), wav.len()), (8000, 32_000, 32_044));
    let loudest =
        wav[44..].chunks(2).map(|b| i16::from_le_bytes([b[0], b[1]]).unsigned_abs()).max().unwrap();
    assert!((8_000..32_767).contains(&loudest), "loudest sample {loudest}");
    // The same second every time: two cycles of 0.8 s lie 6,400 samples apart.
    assert_eq!(wav[44..44 + 2000], wav[44 + 12_800..44 + 14_800]);
}

/// At fast rates the a wave rides on the fall of the v wave and has no peak of its own.
#[test]
fn the_a_wave_is_found_at_every_rate() {
    for rate_bpm in (50..=120).step_by(2) {
        let mut heart = Heart::default();
        heart.parameters.rate_bpm = f64::from(rate_bpm);
        let cycle = simulate(&heart, 1).unwrap();
        for (channel, closes) in
            [("la_pressure", "mitral_closes"), ("ra_pressure", "tricuspid_closes")]
        {
            let a = cycle.landmark_on("a_wave", channel);
            let a = a.unwrap_or_else(|| panic!("no a wave on {channel} at {rate_bpm}"));
            let systole = cycle.time_of("atrial_systole_begins").unwrap();
            let within = systole..=cycle.time_of(closes).unwrap();
            assert!(within.contains(&a.time_s), "{channel} at {rate_bpm}: {}", a.time_s);
        }
    }
}

/// Whoever reads it has the program, not its source.
#[test]
fn conditions_name_sources_and_not_files() {
    for condition in heart::conditions() {
        assert!(!condition.source.contains(".rs"), "{}: {}", condition.name, condition.source);
    }
}

/// What people read is written in the other way, and nothing else is another.
#[test]
fn the_subject_is_written_in_either_way() {
    let usual = subject();
    let spelling = usual.spelling("EKG").unwrap();
    assert_eq!(spelling.word(), "EKG");
    assert_eq!(usual.spelling("EEG"), None);
    let text = |subject: &cycle::Subject| {
        let all = cycle::Subject { spellings: Vec::new(), ..subject.clone() };
        serde_json::to_string(&all).unwrap()
    };
    let spelled = usual.clone().spelled(&spelling);
    assert!(text(&usual).contains("ECG") && !text(&usual).contains("EKG"));
    assert_eq!(text(&spelled), text(&usual).replace("ECG", "EKG"));
    assert_eq!(spelled.reference_channel, "ecg");
    let same = usual.spelling("ECG").unwrap();
    assert_eq!(usual.clone().spelled(&same), usual);
}
