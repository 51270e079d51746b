//! Sheets drawn as the key has them, and with one thing changed.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use convention::Convention;
use cycle::{Cycle, Subject};
use heart::Heart;
use marking::{
    Absent, DrawnBurst, DrawnPage, DrawnSheet, DrawnSounds, DrawnTrace, Marks, Outcome, Rubric,
    RuleMark, Ruling, Written, locate, mark,
};
use sheet::{Book, Test};

/// A test of the first course with one beat, its ECG printed.
fn read(subject: &Subject, change: &dyn Fn(&str) -> String) -> Test {
    let shipped = cardiac::Shipped::find("first_course").unwrap();
    let text = change(shipped.toml);
    let conventions = |_: &str| Ok(Convention::from_toml(&text, subject).unwrap());
    let test = String::from("title = \"T\"\nconvention = \"c\"\ngiven = [\"ecg\"]\nbeats = 2\n");
    Test::from_toml(&test, subject, &conventions).unwrap()
}

fn model(test: &Test, subject: &Subject) -> Cycle {
    let base = heart::simulate(&Heart::default(), 1).unwrap();
    convention::schematic(&test.convention, subject, &base, test.beats).unwrap()
}

/// The key's traces as they would be read from paper; `warp` moves places, in millimetres.
fn drawn(rubric: &Rubric<'_>, warp: &dyn Fn(&str, [f64; 2]) -> [f64; 2]) -> DrawnSheet {
    let mut page = DrawnPage { page: 1, uncertainty_mm: 0.05, ..DrawnPage::default() };
    for on in rubric.panels.iter().filter(|on| !on.place.given) {
        let panel = &on.place;
        let (trace, map) = (rubric.model.trace(&panel.channel).unwrap(), panel.map());
        let steps = (panel.area.w * 5.0) as usize;
        let place = |step: usize| {
            let time_s = panel.time_s[0] + step as f64 / 5.0 / rubric.mm_per_s;
            [map.x(time_s), map.y(trace.at(time_s).unwrap())]
        };
        let places = (0..steps).map(place).map(|place| warp(&panel.channel, place));
        if marking::has_bursts(rubric.subject, &panel.channel) {
            page.sounds.push(sounds(rubric, &panel.channel, warp));
        } else {
            page.traces.push(DrawnTrace {
                channel: panel.channel.clone(),
                points_mm: places.collect(),
                width_mm: 0.5,
                sure: 1.0,
                ..DrawnTrace::default()
            });
        }
    }
    DrawnSheet { pages: vec![page] }
}

/// Lozenges from each sound's beginning to its end, the first higher than the second.
fn sounds(
    rubric: &Rubric<'_>,
    channel: &str,
    warp: &dyn Fn(&str, [f64; 2]) -> [f64; 2],
) -> DrawnSounds {
    let panel = &rubric.panel(channel).unwrap().place;
    let map = panel.map();
    let times = |name: &str| {
        let marks = rubric.model.landmarks.iter().filter(|mark| mark.name == name);
        marks.map(|mark| mark.time_s).collect::<Vec<_>>()
    };
    let mut sounds = DrawnSounds {
        channel: channel.to_owned(),
        width_mm: 0.5,
        sure: 1.0,
        ..DrawnSounds::default()
    };
    for (from, high) in [("s1_onset", 20.0), ("s2_onset", 14.0)] {
        for start in times(from) {
            let from_mm = warp(channel, [map.x(start), 0.0])[0];
            let to_mm = from_mm + 9.0;
            sounds.bursts.push(DrawnBurst {
                from_mm,
                to_mm,
                height_mm: high,
                sure: 1.0,
                ..DrawnBurst::default()
            });
        }
    }
    sounds.bursts.sort_by(|a, b| a.from_mm.total_cmp(&b.from_mm));
    let base = map.y(0.0);
    for step in 0..(panel.area.w * 8.0) as usize {
        let x = panel.area.x + step as f64 / 8.0;
        let burst = sounds.bursts.iter().find(|burst| (burst.from_mm..=burst.to_mm).contains(&x));
        let half = burst.map_or(0.0, |burst| {
            let share = (x - burst.from_mm) / (burst.to_mm - burst.from_mm);
            burst.height_mm * share.min(1.0 - share)
        });
        sounds.envelope_mm.push([x, base - half - 0.25, base + half + 0.25]);
    }
    sounds
}

fn marked(
    change: &dyn Fn(&str) -> String,
    warp: &dyn Fn(&str, [f64; 2]) -> [f64; 2],
    and: &dyn Fn(&mut DrawnSheet),
) -> Marks {
    let subject = heart::subject();
    let test = read(&subject, change);
    let book = Book::new(&test, &subject, "ABCDEF", vec![model(&test, &subject)]).unwrap();
    let rubric = Rubric::new(&book, &test.convention, 0);
    let mut sheet = drawn(&rubric, warp);
    and(&mut sheet);
    mark(&sheet, &locate(&sheet, &rubric), &rubric)
}

fn rule<'a>(marks: &'a Marks, id: &str) -> &'a RuleMark {
    marks.rules.iter().find(|rule| rule.id == id).unwrap()
}

fn same(text: &str) -> String {
    text.to_owned()
}

fn still(_: &str, place: [f64; 2]) -> [f64; 2] {
    place
}

/// Moves the sounds later.
fn later(by_mm: f64) -> impl Fn(&str, [f64; 2]) -> [f64; 2] {
    move |channel, [x, y]| if channel == "heart_sounds" { [x + by_mm, y] } else { [x, y] }
}

/// A reader finds the foot of the key's own pressure early: that is not the student's doing.
#[test]
fn a_foot_that_is_drawn_as_the_key_has_it_is_found_there() {
    let subject = heart::subject();
    let test = read(&subject, &same);
    let book = Book::new(&test, &subject, "ABCDEF", vec![model(&test, &subject)]).unwrap();
    let rubric = Rubric { rounded_mm: 0.0, ..Rubric::new(&book, &test.convention, 0) };
    let located = locate(&drawn(&rubric, &still), &rubric);
    let own = |mark: &&cycle::Landmark| mark.name == "pressure_foot";
    let mut compared = 0;
    for mark in rubric.model.landmarks.iter().filter(own) {
        let found = located.marks.iter().filter(|found| found.name == mark.name);
        let off = found.map(|found| rubric.mm_per_s * (found.time_s - mark.time_s));
        let off = off.min_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap();
        assert!(off.abs() < 0.1, "{} {off} mm", mark.name);
        compared += 1;
    }
    assert_eq!(compared, 2);
}

/// The marks of one landmark of aortic pressure on a drawing of `toml`'s convention that is warped.
fn pressure_marks(
    toml: &str,
    name: &str,
    warp: impl Fn([f64; 2], &[[f64; 2]]) -> [f64; 2],
) -> (Vec<[f64; 2]>, Vec<[f64; 2]>) {
    let subject = heart::subject();
    let test = read(&subject, &|_| toml.to_owned());
    let book = Book::new(&test, &subject, "ABCDEF", vec![model(&test, &subject)]).unwrap();
    let rubric = Rubric::new(&book, &test.convention, 0);
    let map = rubric.panel("aortic_pressure").unwrap().place.map();
    let key = |name: &str| -> Vec<[f64; 2]> {
        let own = rubric.model.landmarks.iter();
        let own = own.filter(|mark| mark.name == name && mark.channel == "aortic_pressure");
        own.map(|mark| [map.x(mark.time_s), map.y(mark.value)]).collect()
    };
    let feet = key("pressure_foot");
    let warp = |channel: &str, place: [f64; 2]| {
        if channel == "aortic_pressure" { warp(place, &feet) } else { place }
    };
    let located = locate(&drawn(&rubric, &warp), &rubric);
    let own = located.marks.iter();
    let own = own.filter(|m| m.name == name && m.channel.as_deref() == Some("aortic_pressure"));
    (own.map(|mark| mark.at_mm).collect(), feet)
}

/// The foot is the lowest place before the rise; what a hand drifts is none.
#[test]
fn a_foot_is_where_pressure_is_lowest() {
    for (deep_mm, early_mm) in [(5.0, 4.0), (1.5, 0.0)] {
        // Lowest 4 mm before the key's foot, and back on its level there.
        let dip = |[x, y]: [f64; 2], feet: &[[f64; 2]]| {
            let off = |foot: &[f64; 2]| (x - (foot[0] - 4.0)).abs();
            let nearest = feet.iter().map(off).fold(f64::MAX, f64::min);
            [x, y + deep_mm * (1.0 - nearest / 3.5).max(0.0)]
        };
        let toml = cardiac::Shipped::find("first_course").unwrap().toml;
        let (found, feet) = pressure_marks(toml, "pressure_foot", dip);
        assert_eq!(found.len(), 2, "{found:?}");
        for (found, foot) in found.iter().zip(&feet) {
            let early = foot[0] - found[0];
            assert!((early - early_mm).abs() < 1.0, "{deep_mm} mm deep: {early} mm early");
        }
    }
}

/// However early pressure is at its top, that is the systolic peak.
#[test]
fn a_peak_far_from_its_place_is_the_highest_between_its_neighbours() {
    let toml = cardiac::Shipped::find("left_heart").unwrap().toml;
    let (_, feet) = pressure_marks(toml, "systolic_peak", |place, _| place);
    let (notches, _) = pressure_marks(toml, "dicrotic_notch", |place, _| place);
    let steep = |[x, y]: [f64; 2], feet: &[[f64; 2]]| {
        let mut spans = feet.iter().zip(&notches);
        let span = spans.find(|(foot, notch)| (foot[0] + 0.6..notch[0]).contains(&x));
        let Some((foot, notch)) = span else { return [x, y] };
        // From its top slowly down to the notch.
        let share = (x - foot[0]) / (notch[0] - foot[0]);
        [x, notch[1] - 5.0 * (1.0 - share * share)]
    };
    let (found, _) = pressure_marks(toml, "systolic_peak", steep);
    assert_eq!(found.len(), 2, "{found:?}");
    for (found, foot) in found.iter().zip(&feet) {
        assert!((found[0] - foot[0] - 0.6).abs() < 2.5, "{found:?} {foot:?}");
    }
}

#[test]
fn what_is_drawn_as_the_key_has_it_meets_every_rule() {
    let marks = marked(&same, &still, &|_| {});
    assert!(marks.rules.len() >= 12, "{}", marks.rules.len());
    for rule in marks.rules.iter().filter(|rule| !rule.id.starts_with("label")) {
        assert_eq!(rule.outcome, Outcome::Met, "{rule:?}");
        assert_eq!(rule.points, Some(rule.max_points), "{rule:?}");
    }
    let labels: Vec<_> = marks.open().map(|rule| rule.id.as_str()).collect();
    assert_eq!(labels, ["label_s1", "label_s2", "label_notch"]);
    assert!(marks.points() + marks.open_points() == marks.max_points());
    // The ECG is printed: nobody is marked for it.
    assert!(marks.rules.iter().all(|rule| rule.id != "t_wave"));
}

#[test]
fn a_distance_is_told_in_millimetres_and_by_its_way() {
    let marks = marked(&same, &later(5.0), &|_| {});
    let late = rule(&marks, "s1_on_r");
    assert_eq!((late.outcome, late.points), (Outcome::NotMet, Some(0.0)));
    assert!((late.off_mm - 5.0).abs() < 0.4, "{late:?}");
    assert!(late.why.contains("too late"), "{}", late.why);
    // The pressure was left where it was, so that it now comes too soon after the sound.
    assert_eq!(rule(&marks, "notch_with_s2").outcome, Outcome::NotMet);
    assert!(rule(&marks, "notch_with_s2").off_mm < -4.0);
    assert_eq!(rule(&marks, "dicrotic_wave").outcome, Outcome::Met);
}

#[test]
fn what_is_aligned_to_something_misplaced_is_right() {
    // Sounds and pressure both 5 mm late: what is measured from the sounds is met.
    let marks = marked(&same, &|_, [x, y]| [x + 5.0, y], &|_| {});
    assert_eq!(rule(&marks, "s1_on_r").outcome, Outcome::NotMet);
    for id in ["rise_after_s1", "notch_with_s2", "dicrotic_wave", "steep_rise"] {
        assert_eq!(rule(&marks, id).outcome, Outcome::Met, "{:?}", rule(&marks, id));
    }
}

#[test]
fn what_is_near_its_tolerance_is_for_a_person() {
    // 2 mm are tolerated; what would cost points must be the surer.
    for (by, outcome) in [
        (1.4, Outcome::Met),
        (1.6, Outcome::Review),
        (2.7, Outcome::Review),
        (3.1, Outcome::NotMet),
    ] {
        let marks = marked(&same, &later(by), &|_| {});
        let one = rule(&marks, "s1_on_r");
        assert_eq!(one.outcome, outcome, "{by}: {one:?}");
        assert_eq!(one.points.is_none(), outcome == Outcome::Review);
        assert_eq!(one.question.is_some(), outcome == Outcome::Review);
        assert!(one.proposal.is_some() && one.look.is_some());
    }
}

/// A line that trembles where the T wave belongs lacks it.
#[test]
fn tremor_is_no_wave() {
    let subject = heart::subject();
    let shipped = cardiac::Shipped::find("first_course").unwrap();
    let conventions = |_: &str| Ok(shipped.convention());
    let text = "title = \"T\"\nconvention = \"c\"\ngiven = [\"aortic_pressure\"]\nbeats = 2\n";
    let test = Test::from_toml(text, &subject, &conventions).unwrap();
    let book = Book::new(&test, &subject, "ABCDEF", vec![model(&test, &subject)]).unwrap();
    let rubric = Rubric::new(&book, &test.convention, 0);
    let map = rubric.panel("ecg").unwrap().place.map();
    let marks = |name: &str| {
        let own = rubric.model.landmarks.iter().filter(|mark| mark.name == name);
        own.map(|mark| [map.x(mark.time_s), map.y(mark.value)]).collect::<Vec<_>>()
    };
    let waves: Vec<_> = marks("t_onset").into_iter().zip(marks("t_end")).collect();
    // So high, in millimetres, in place of the seven of the key.
    for (high_mm, drawn_at_all) in [(0.4, false), (3.0, true)] {
        let low = |channel: &str, [x, y]: [f64; 2]| {
            let wave = waves.iter().find(|(from, to)| (from[0]..to[0]).contains(&x));
            let Some((from, to)) = wave.filter(|_| channel == "ecg") else { return [x, y] };
            let share = (x - from[0]) / (to[0] - from[0]);
            [x, from[1] - high_mm * libm::sin(std::f64::consts::PI * share)]
        };
        let sheet = drawn(&rubric, &low);
        let located = locate(&sheet, &rubric);
        let found = located.marks.iter().any(|mark| mark.name == "t_peak");
        assert_eq!(found, drawn_at_all, "{high_mm} mm");
        let marks = mark(&sheet, &located, &rubric);
        let wave = rule(&marks, "t_wave");
        let outcome = if drawn_at_all { Outcome::Met } else { Outcome::NotMet };
        assert_eq!(wave.outcome, outcome, "{high_mm} mm: {wave:?}");
    }
}

/// All its other places may give the same, and yet it may not be there at all.
#[test]
fn what_hangs_on_a_doubtful_landmark_is_for_a_person() {
    let subject = heart::subject();
    let test = read(&subject, &same);
    let book = Book::new(&test, &subject, "ABCDEF", vec![model(&test, &subject)]).unwrap();
    let rubric = Rubric::new(&book, &test.convention, 0);
    let sheet = drawn(&rubric, &still);
    for (sure, outcome) in [(0.05, Outcome::Review), (0.2, Outcome::Met)] {
        let mut located = locate(&sheet, &rubric);
        for notch in located.marks.iter_mut().filter(|mark| mark.name == "dicrotic_notch") {
            (notch.confidence, notch.alternatives) =
                (sure, vec![[notch.time_s + 0.001, 1.0 - sure]]);
        }
        let marks = mark(&sheet, &located, &rubric);
        assert_eq!(rule(&marks, "notch_with_s2").outcome, outcome, "{sure}");
    }
}

/// One beat that meets a rule says that the other may have been misread.
#[test]
fn two_beats_that_differ_are_asked_about() {
    let early = |by_mm: [f64; 2]| {
        move |channel: &str, [x, y]: [f64; 2]| {
            let by = by_mm[usize::from(x > 110.0)];
            if channel == "heart_sounds" { [x - by, y] } else { [x, y] }
        }
    };
    let both = marked(&same, &early([6.0, 6.0]), &|_| {});
    assert_eq!(rule(&both, "s1_on_r").outcome, Outcome::NotMet, "{:?}", rule(&both, "s1_on_r"));
    for by_mm in [[6.0, 0.0], [0.0, 6.0]] {
        let marks = marked(&same, &early(by_mm), &|_| {});
        let one = rule(&marks, "s1_on_r");
        assert_eq!(
            (one.outcome, one.proposal),
            (Outcome::Review, Some(Outcome::NotMet)),
            "{one:?}"
        );
        assert!(one.question.as_ref().unwrap().contains("One beat meets it"), "{one:?}");
    }
    // Nor is a mistake in one of two beats passed over, whichever way it goes.
    for by_mm in [[-6.0, 0.0], [0.0, -6.0]] {
        let marks = marked(&same, &early(by_mm), &|_| {});
        let one = rule(&marks, "s1_on_r");
        assert_eq!((one.outcome, one.proposal), (Outcome::Review, Some(Outcome::Met)), "{one:?}");
        assert!(one.question.as_ref().unwrap().contains("One beat meets it"), "{one:?}");
    }
    // But one that misses it by less than can be drawn says nothing.
    for by_mm in [[-2.3, 0.0], [0.0, -2.3]] {
        let marks = marked(&same, &early(by_mm), &|_| {});
        assert_eq!(rule(&marks, "s1_on_r").outcome, Outcome::Met, "{:?}", rule(&marks, "s1_on_r"));
    }
}

#[test]
fn half_marks_are_given_where_the_rubric_has_them() {
    let half = |text: &str| text.replacen("[[rules]]", "half_tolerance_mm = 6\n\n[[rules]]", 1);
    let points = |by: f64| rule(&marked(&half, &later(by), &|_| {}), "s1_on_r").points;
    assert_eq!(points(0.0), Some(2.0));
    assert_eq!(points(4.0), Some(1.0));
    assert_eq!(points(6.0), None);
    assert_eq!(points(8.0), Some(0.0));
    // What is asked is whether it is half, where that is what was measured.
    let proposes = |by: f64| rule(&marked(&half, &later(by), &|_| {}), "s1_on_r").proposes_half();
    assert_eq!([proposes(2.5), proposes(5.5), proposes(6.5)], [true, true, false]);
}

/// A panel that was left out is plain to see where something else is drawn on the page.
#[test]
fn a_panel_that_was_left_out_is_not_met() {
    let marks = marked(&same, &still, &|sheet| leave_out_sounds(&mut sheet.pages[0]));
    for id in ["s1_on_r", "s2_in_t", "s1_taller"] {
        let one = rule(&marks, id);
        assert_eq!((one.outcome, one.points), (Outcome::NotMet, Some(0.0)), "{one:?}");
        assert_eq!(one.why, "Nothing is drawn in the panel of Heart sounds.");
    }
    // The notch was drawn: what it would be measured by has cost already.
    let one = rule(&marks, "notch_with_s2");
    assert_eq!((one.outcome, one.points, one.max_points), (Outcome::Met, Some(0.0), 0.0));
    assert_eq!(rule(&marks, "dicrotic_wave").outcome, Outcome::Met);
}

/// A dicrotic wave without a notch before it may be the pressure's only wave.
#[test]
fn what_is_placed_by_its_missing_neighbour_is_asked() {
    let subject = heart::subject();
    let test = read(&subject, &same);
    let book = Book::new(&test, &subject, "ABCDEF", vec![model(&test, &subject)]).unwrap();
    let rubric = Rubric::new(&book, &test.convention, 0);
    let sheet = drawn(&rubric, &still);
    let mut located = locate(&sheet, &rubric);
    located.marks.retain(|mark| mark.name != "dicrotic_notch");
    located.absent.push(Absent {
        name: "dicrotic_notch".to_owned(),
        channel: Some("aortic_pressure".to_owned()),
        confidence: 0.999,
        evident: true,
        something: false,
    });
    let marks = mark(&sheet, &located, &rubric);
    let one = rule(&marks, "dicrotic_wave");
    let asked = Some("Was the dicrotic notch (incisura) drawn?".to_owned());
    assert_eq!((one.outcome, &one.question), (Outcome::Review, &asked), "{one:?}");
    assert_eq!(rule(&marks, "notch_with_s2").outcome, Outcome::NotMet);
}

#[test]
fn a_convention_says_what_becomes_of_rules_that_measure_by_what_is_missing() {
    let with = |word: &'static str| {
        move |text: &str| {
            text.replacen(
                "reference_missing = \"does_not_count\"",
                &format!("reference_missing = \"{word}\""),
                1,
            )
        }
    };
    let leave_out = |sheet: &mut DrawnSheet| leave_out_sounds(&mut sheet.pages[0]);
    let asked = marked(&with("ask"), &still, &leave_out);
    let one = rule(&asked, "notch_with_s2");
    assert_eq!((one.outcome, one.proposal), (Outcome::Review, Some(Outcome::NotMet)), "{one:?}");
    assert!(one.question.as_ref().unwrap().ends_with("Does this rule count?"), "{one:?}");
    let left_out = |text: &str| text.replacen("reference_missing = \"does_not_count\"\n", "", 1);
    assert_eq!(asked, marked(&left_out, &still, &leave_out));
    let not_met = marked(&with("not_met"), &still, &leave_out);
    let one = rule(&not_met, "notch_with_s2");
    assert_eq!((one.outcome, one.points, one.max_points), (Outcome::NotMet, Some(0.0), 2.0));
    let mut not_counted = marked(&with("does_not_count"), &still, &leave_out);
    let one = rule(&not_counted, "notch_with_s2");
    assert_eq!((one.outcome, one.points, one.max_points), (Outcome::Met, Some(0.0), 0.0));
    assert!(one.why.ends_with("does not count."), "{one:?}");
    // Sounds that are missing cost either way, and nobody is asked about either.
    for marks in [&not_met, &not_counted] {
        assert_eq!(rule(marks, "s1_on_r").points, Some(0.0));
        let about: Vec<&RuleMark> =
            marks.open().filter(|rule| rule.id == "notch_with_s2").collect();
        assert_eq!(about, [] as [&RuleMark; 0]);
    }
    let worth = not_counted.max_points();
    not_counted.decide("notch_with_s2", &Ruling::Met);
    assert_eq!(not_counted.max_points(), worth + 2.0);
}

#[test]
fn what_depends_on_a_missed_rule_earns_nothing_on_a_sheet() {
    let tied = |text: &str| {
        let dependent = "id = \"s1_taller\"\ndepends_on = [\"s1_on_r\"]";
        assert!(text.contains("id = \"s1_taller\""));
        text.replacen("id = \"s1_taller\"", dependent, 1)
    };
    let [right, late] = [0.0, 6.0].map(|by| marked(&tied, &later(by), &|_| {}));
    let free = marked(&same, &later(6.0), &|_| {});
    let one = rule(&late, "s1_taller");
    assert_eq!((one.outcome, one.earned()), (Outcome::Met, Some(0.0)));
    assert_eq!(rule(&right, "s1_taller").earned(), Some(one.max_points));
    assert_eq!(late.points(), free.points() - one.max_points);
    assert_eq!(late.max_points(), free.max_points());
}

#[test]
fn an_empty_panel_is_asked_about_where_it_may_not_have_been_left_out() {
    let blank = |sheet: &mut DrawnSheet| {
        leave_out_sounds(&mut sheet.pages[0]);
        sheet.pages[0].traces[0].points_mm.clear();
    };
    let along = |sheet: &mut DrawnSheet| {
        leave_out_sounds(&mut sheet.pages[0]);
        sheet.pages[0].written.extend([50.0, 60.0].map(sounds_written_at));
    };
    // A stroke as tall as that may be all that is left of a trace.
    let tall = |sheet: &mut DrawnSheet| {
        leave_out_sounds(&mut sheet.pages[0]);
        let bounds_mm = [50.0, 85.0, 52.0, 97.0];
        sheet.pages[0].written.push(Written { bounds_mm, ..sounds_written_at(50.0) });
    };
    for change in [&blank as &dyn Fn(&mut DrawnSheet), &along, &tall] {
        let marks = marked(&same, &still, change);
        for id in ["s1_on_r", "s2_in_t", "notch_with_s2"] {
            let one = rule(&marks, id);
            let asked = (Outcome::Review, Some(Outcome::NotMet));
            assert_eq!((one.outcome, one.proposal), asked, "{one:?}");
        }
    }
}

/// A name, and dashes of a line however many, are no trace.
#[test]
fn a_panel_with_a_name_in_it_and_a_dashed_line_is_left_out() {
    let little = |sheet: &mut DrawnSheet| {
        leave_out_sounds(&mut sheet.pages[0]);
        sheet.pages[0].written.push(sounds_written_at(50.0));
        sheet.pages[0].written.extend((0..20).map(|down| Written {
            bounds_mm: [80.0, 90.0 + f64::from(down), 80.5, 90.6 + f64::from(down)],
            ..sounds_written_at(80.0)
        }));
    };
    let marks = marked(&same, &still, &little);
    let one = rule(&marks, "s1_on_r");
    assert_eq!((one.outcome, one.points), (Outcome::NotMet, Some(0.0)), "{one:?}");
}

/// Something 5 mm long in the panel of the heart sounds.
fn sounds_written_at(x_mm: f64) -> Written {
    Written {
        bounds_mm: [x_mm, 90.0, x_mm + 5.0, 95.0],
        channel: "heart_sounds".to_owned(),
        writing: false,
    }
}

fn leave_out_sounds(page: &mut DrawnPage) {
    page.sounds[0].bursts.clear();
    page.sounds[0].envelope_mm.clear();
}

/// Keeps some of the sounds; in place of the others the resting line is so high.
fn sounds_kept(page: &mut DrawnPage, keep: &dyn Fn(usize) -> bool, high_mm: f64) {
    let sounds = &mut page.sounds[0];
    let all = std::mem::take(&mut sounds.bursts);
    let (kept, gone): (Vec<_>, Vec<_>) = all.into_iter().enumerate().partition(|(n, _)| keep(*n));
    sounds.bursts = kept.into_iter().map(|(_, burst)| burst).collect();
    for (_, burst) in gone {
        for [x, top, bottom] in &mut sounds.envelope_mm {
            if (burst.from_mm..=burst.to_mm).contains(x) {
                let middle = f64::midpoint(*top, *bottom);
                (*top, *bottom) = (middle - high_mm / 2.0, middle + high_mm / 2.0);
            }
        }
    }
}

/// Sounds may be drawn to one side of their line, where they look as letters do.
#[test]
fn sounds_of_which_none_is_sure_are_proposed_and_asked_about() {
    let marks = marked(&same, &still, &|sheet| {
        let sounds = &mut sheet.pages[0].sounds[0];
        sounds.bursts.iter_mut().for_each(|burst| burst.sure = 0.2);
        sounds.perhaps = std::mem::take(&mut sounds.bursts);
    });
    for id in ["s1_on_r", "s2_in_t"] {
        let one = rule(&marks, id);
        assert_eq!((one.outcome, one.proposal), (Outcome::Review, Some(Outcome::Met)), "{one:?}");
    }
}

/// Makes pressure fall from its top to its next foot without rising: in one go, or with a bend
/// where the notch is, so far (as a share) down to it from the straight way.
fn without_dicrotic_wave(sheet: &mut DrawnSheet, bend: f64) {
    let traces = &mut sheet.pages[0].traces;
    let trace = traces.iter_mut().find(|trace| trace.channel == "aortic_pressure").unwrap();
    let y: Vec<f64> = trace.points_mm.iter().map(|point| point[1]).collect();
    let turns = |sign: f64| {
        let near = |n: usize| n - 8..n + 9;
        let inner = 8..y.len() - 8;
        let all = inner.filter(|&n| near(n).all(|m| sign * y[m] <= sign * y[n])).collect();
        let mut all: Vec<usize> = all;
        all.dedup_by(|next, one| *next < *one + 20);
        all
    };
    let (lows, tops) = (turns(1.0), turns(-1.0));
    let middle = f64::midpoint(
        lows.iter().map(|&n| y[n]).fold(f64::MIN, f64::max),
        tops.iter().map(|&n| y[n]).fold(f64::MAX, f64::min),
    );
    for &notch in lows.iter().filter(|&&n| y[n] < middle) {
        let top = *tops.iter().rfind(|&&n| n < notch).unwrap();
        let foot = lows.iter().find(|&&n| n > notch).copied().unwrap_or(y.len() - 1);
        let way = |n: usize, from: (usize, f64), to: (usize, f64)| {
            let share = (n - from.0) as f64 / (to.0 - from.0) as f64;
            from.1 + share * (to.1 - from.1)
        };
        let (from, to) = ((top, y[top]), (foot, y[foot]));
        let straight = way(notch, from, to);
        let middle = (notch, straight + bend * (y[notch] - straight));
        for n in top..foot {
            trace.points_mm[n][1] =
                if n < notch { way(n, from, middle) } else { way(n, middle, to) };
        }
    }
}

#[test]
fn a_notch_drawn_as_a_bend_is_asked_about() {
    let smooth = marked(&same, &still, &|sheet| without_dicrotic_wave(sheet, 0.0));
    let one = rule(&smooth, "notch_with_s2");
    assert_eq!((one.outcome, one.points), (Outcome::NotMet, Some(0.0)), "{one:?}");
    let bent = marked(&same, &still, &|sheet| without_dicrotic_wave(sheet, 0.6));
    let one = rule(&bent, "notch_with_s2");
    assert_eq!((one.outcome, one.proposal), (Outcome::Review, None), "{one:?}");
    assert!(one.question.as_ref().unwrap().contains("There is something"), "{one:?}");
}

#[test]
fn sounds_that_evidently_were_not_drawn_are_not_met() {
    let first = |n: usize| n.is_multiple_of(2);
    let marks = marked(&same, &still, &|sheet| sounds_kept(&mut sheet.pages[0], &first, 0.5));
    let one = rule(&marks, "s2_in_t");
    assert_eq!((one.outcome, one.points), (Outcome::NotMet, Some(0.0)), "{one:?}");
    for id in ["s2_in_t", "notch_with_s2"] {
        let why = &rule(&marks, id).why;
        assert!(why.starts_with("The onset of the second heart sound was not drawn."), "{why}");
    }
    assert_eq!(rule(&marks, "notch_with_s2").max_points, 0.0);
    assert_eq!(rule(&marks, "s1_on_r").outcome, Outcome::Met);
    // Nobody is asked whether it is labelled.
    assert_eq!(rule(&marks, "label_s2").max_points, 0.0);
    let asked: Vec<&str> = marks.open().map(|rule| rule.id.as_str()).collect();
    assert_eq!(asked, ["label_s1", "label_notch"]);
    // Something low is drawn there, which may be meant for it; and it is there in one beat.
    let low = |sheet: &mut DrawnSheet| sounds_kept(&mut sheet.pages[0], &first, 1.5);
    let one_beat = |sheet: &mut DrawnSheet| {
        sounds_kept(&mut sheet.pages[0], &|n| first(n) || n == 1, 0.5);
    };
    for change in [&low as &dyn Fn(&mut DrawnSheet), &one_beat] {
        let marks = marked(&same, &still, change);
        let one = rule(&marks, "s2_in_t");
        assert_ne!(one.outcome, Outcome::NotMet, "{one:?}");
    }
}

/// A sound's name beside another sound is that one's; by itself it says that something is there.
#[test]
fn names_are_told_from_sounds() {
    let name = |sheet: &mut DrawnSheet, after_mm: f64, long_mm: f64, perhaps: bool| {
        sounds_kept(&mut sheet.pages[0], &|n| n % 2 == 1, 0.5);
        let page = &mut sheet.pages[0];
        let from_mm = page.sounds[0].bursts[0].from_mm + after_mm;
        let to_mm = from_mm + 4.0;
        page.written.push(Written {
            bounds_mm: [from_mm, 90.0, from_mm + long_mm, 94.0],
            channel: "heart_sounds".to_owned(),
            writing: true,
        });
        if perhaps {
            let [height_mm, sure] = [4.0, 0.2];
            let letters = DrawnBurst { from_mm, to_mm, height_mm, sure, ..DrawnBurst::default() };
            page.sounds[0].perhaps.push(letters);
        }
    };
    let s1 = |change: &dyn Fn(&mut DrawnSheet)| {
        let marks = marked(&same, &still, change);
        let one = rule(&marks, "s1_on_r");
        (one.outcome, one.points)
    };
    let gone = (Outcome::NotMet, Some(0.0));
    assert_eq!(s1(&|sheet| name(sheet, -6.0, 4.0, false)), gone);
    assert_eq!(s1(&|sheet| name(sheet, -6.0, 4.0, true)), gone);
    // S1 belongs some 30 mm before S2. A sentence from there to S2 hides nothing.
    assert_eq!(s1(&|sheet| name(sheet, -30.0, 4.0, false)).0, Outcome::Review);
    let sentence = |sheet: &mut DrawnSheet| {
        name(sheet, -30.0, 28.0, false);
        let sounds = &mut sheet.pages[0].sounds[0];
        let s1_mm = sounds.bursts[0].from_mm - 28.0;
        for [x, top, _] in &mut sounds.envelope_mm {
            *top -= if (s1_mm..s1_mm + 6.0).contains(x) { 1.0 } else { 0.0 };
        }
    };
    assert_eq!(s1(&sentence).0, Outcome::Review);
}

/// In a low panel a faint sound may be too low to be seen.
#[test]
fn a_sound_missing_from_a_low_panel_is_asked_about() {
    let toml = cardiac::Shipped::find("measured_physiology").unwrap().toml;
    let second = |sheet: &mut DrawnSheet| sounds_kept(&mut sheet.pages[0], &|n| n % 2 == 1, 0.5);
    let marks = marked(&|_| toml.to_owned(), &still, &second);
    let one = rule(&marks, "s1_after_q");
    assert_eq!((one.outcome, one.proposal), (Outcome::Review, Some(Outcome::NotMet)), "{one:?}");
}

#[test]
fn a_level_line_has_no_waves() {
    let marks = marked(&same, &still, &|sheet| {
        for (n, point) in sheet.pages[0].traces[0].points_mm.iter_mut().enumerate() {
            // As high as waves that are small may be, but here none is.
            point[1] = 150.0 + 0.5 * libm::sin(n as f64 / 30.0);
        }
    });
    for id in ["rise_after_s1", "top_at_mid_t", "notch_with_s2", "dicrotic_wave"] {
        let one = rule(&marks, id);
        assert_eq!((one.outcome, one.points), (Outcome::NotMet, Some(0.0)), "{one:?}");
    }
}

/// Draws the pressure straight from each top to the next foot, and so much lower on the way as told
/// for each share of it.
fn straighten(trace: &mut DrawnTrace, lower_mm: &dyn Fn(f64) -> f64) {
    for top in tops(trace) {
        let to = (top + 260).min(trace.points_mm.len() - 1);
        let feet =
            (top..=to).max_by(|a, b| trace.points_mm[*a][1].total_cmp(&trace.points_mm[*b][1]));
        let foot = feet.unwrap();
        let (a, b) = (trace.points_mm[top], trace.points_mm[foot]);
        for n in top..foot {
            let share = (n - top) as f64 / (foot - top) as f64;
            trace.points_mm[n][1] = a[1] + share * (b[1] - a[1]) + lower_mm(share);
        }
    }
}

/// The points at which a trace is highest for 12 mm on both sides.
fn tops(trace: &DrawnTrace) -> Vec<usize> {
    let y = |n: usize| trace.points_mm[n][1];
    let inner = 1..trace.points_mm.len() - 1;
    let highest = |n: &usize| {
        let mut around = n.saturating_sub(60)..(n + 60).min(trace.points_mm.len());
        around.all(|m| y(m) >= y(*n))
    };
    inner.filter(highest).collect()
}

#[test]
fn a_notch_that_was_not_drawn_is_said_to_be_missing() {
    let marks = marked(&same, &still, &|sheet| straighten(&mut sheet.pages[0].traces[0], &|_| 0.0));
    for id in ["notch_with_s2", "notch_height", "dicrotic_wave"] {
        let one = rule(&marks, id);
        assert_eq!((one.outcome, one.points), (Outcome::NotMet, Some(0.0)), "{one:?}");
    }
}

/// Whatever is before the systolic peak cannot be the notch, which comes after it.
#[test]
fn a_dent_in_the_rise_is_not_asked_about_as_a_notch() {
    let marks = marked(&same, &still, &|sheet| {
        let trace = &mut sheet.pages[0].traces[0];
        straighten(trace, &|_| 0.0);
        for n in tops(trace) {
            // The rise takes 20 mm, and a point stands for 0.2 mm.
            for back in 0..60_usize {
                let off = (back as f64 - 32.0) / 12.0;
                trace.points_mm[n - back][1] += 9.0 * libm::exp(-off * off);
            }
        }
    });
    for id in ["notch_with_s2", "notch_height", "dicrotic_wave"] {
        let one = rule(&marks, id);
        assert_eq!((one.outcome, one.points), (Outcome::NotMet, Some(0.0)), "{one:?}");
    }
    assert_eq!(rule(&marks, "top_at_mid_t").outcome, Outcome::Met);
}

/// What is drawn in one beat is mostly drawn in the others: where one cannot be read, another says.
#[test]
fn one_beat_says_what_was_not_drawn() {
    let marks = marked(&same, &still, &|sheet| {
        let trace = &mut sheet.pages[0].traces[0];
        straighten(trace, &|_| 0.0);
        let right = trace.points_mm.last().unwrap()[0];
        trace.points_mm.retain(|point| point[0] < right - 30.0 || point[0] > right - 5.0);
        trace.gaps_mm.push([right - 30.0, right - 5.0]);
    });
    let one = rule(&marks, "notch_with_s2");
    assert_eq!((one.outcome, one.points), (Outcome::NotMet, Some(0.0)), "{one:?}");
}

/// It may be the notch, and then the rules about what follows it are met.
#[test]
fn a_notch_that_was_drawn_far_off_is_not_said_to_be_missing() {
    for place in [0.55, 0.7] {
        let dip = |share: f64| 6.0 * (1.0 - (share - place).abs() / 0.06).max(0.0);
        let marks = marked(&same, &still, &|sheet| straighten(&mut sheet.pages[0].traces[0], &dip));
        for id in ["notch_with_s2", "notch_height", "dicrotic_wave"] {
            let one = rule(&marks, id);
            let measured = one.measured_mm.is_some();
            assert!(measured || one.outcome == Outcome::Review, "{place}: {one:?}");
        }
    }
}

#[test]
fn a_persons_decisions_count() {
    let mut marks = marked(&same, &still, &|_| {});
    let (points, all) = (marks.points(), marks.max_points());
    marks.decide("label_s1", &Ruling::Met);
    marks.decide("label_s2", &Ruling::Half);
    marks.decide("label_notch", &Ruling::Waived);
    assert_eq!(marks.points(), points + 1.5);
    assert_eq!(marks.max_points(), all - 1.0);
    assert_eq!(marks.open().count(), 0);
    marks.decide("s1_on_r", &Ruling::Reweighted { max_points: 1.0 });
    assert_eq!(marks.points(), points + 0.5);
    marks.decide("s1_on_r", &Ruling::Points { points: 0.25 });
    assert_eq!(marks.points(), points - 0.25);
    assert_eq!(rule(&marks, "s1_on_r").decided, Some(Ruling::Points { points: 0.25 }));
}

#[test]
fn nobody_is_given_more_points_than_a_rule_is_worth() {
    let given = |rulings: &[Ruling]| {
        let mut marks = marked(&same, &still, &|_| {});
        for ruling in rulings {
            marks.decide("s1_on_r", ruling);
        }
        let one = rule(&marks, "s1_on_r");
        (one.points.unwrap(), one.max_points)
    };
    let points = |points: f64| Ruling::Points { points };
    let worth = |max_points: f64| Ruling::Reweighted { max_points };
    assert_eq!(given(&[points(2.0)]), (2.0, 2.0));
    assert_eq!(given(&[points(3.0)]), (2.0, 2.0), "what made it worth 3 was taken back");
    assert_eq!(given(&[worth(3.0), points(3.0)]), (3.0, 3.0));
    assert_eq!(given(&[worth(1.0), points(2.0)]), (1.0, 1.0));
    assert_eq!(given(&[points(2.0), Ruling::Waived]), (0.0, 0.0));
    assert_eq!(given(&[Ruling::Waived, points(2.0)]), (2.0, 2.0), "what is judged counts again");
    assert_eq!(given(&[points(3.0), worth(1.0)]), (1.0, 1.0));
}

#[test]
fn what_was_read_and_found_is_kept_as_json() {
    let subject = heart::subject();
    let test = read(&subject, &same);
    let book = Book::new(&test, &subject, "ABCDEF", vec![model(&test, &subject)]).unwrap();
    let rubric = Rubric::new(&book, &test.convention, 0);
    let sheet = drawn(&rubric, &still);
    let located = locate(&sheet, &rubric);
    let again: DrawnSheet = serde_json::from_str(&serde_json::to_string(&sheet).unwrap()).unwrap();
    assert_eq!(again, sheet);
    let again: marking::Located =
        serde_json::from_str(&serde_json::to_string(&located).unwrap()).unwrap();
    assert_eq!(again, located);
    assert!(!located.marks.is_empty());
}
