//! The order of the build, what each step shows, and the schematic.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

mod support;

use convention::{
    Convention, Outcome, Point, SchematicError, Step, StepError, beats, partial, schematic, steps,
};
use cycle::Cycle;
use proptest::prelude::*;

use support::{at_period, base, headed, judged, mark, read, rule, rules, subject};

/// How far from exact a time may be: the rounding of nanoseconds, in milliseconds.
const EXACT_MS: f64 = 1e-5;

fn build(convention: &Convention) -> Vec<Step> {
    steps(convention, &subject(), &base()).unwrap()
}

fn titles(steps: &[Step]) -> Vec<&str> {
    steps.iter().map(|step| step.title.as_str()).collect()
}

fn draw(convention: &Convention) -> Result<Cycle, SchematicError> {
    schematic(convention, &subject(), &base(), 1)
}

/// The schematic, all rules of which must be met exactly.
#[track_caller]
fn drawn(convention: &Convention) -> Cycle {
    let cycle = draw(convention).unwrap_or_else(|error| panic!("{error}"));
    for verdict in judged(&cycle, convention) {
        assert_eq!(verdict.outcome, Outcome::Met, "{}: {}", verdict.rule, verdict.why);
        let grain = match verdict.unit {
            convention::Unit::Ms => EXACT_MS,
            // A height is met to the grain of samples, a fifth of a hundredth of the trace.
            _ => verdict.tolerance * 0.2 / percent(convention, &verdict.rule),
        };
        assert!(verdict.off_by.abs() <= grain, "{}: off by {}", verdict.rule, verdict.off_by);
    }
    cycle
}

fn percent(convention: &Convention, rule: &str) -> f64 {
    convention.rule(rule).unwrap().tolerance.percent
}

fn time(cycle: &Cycle, name: &str, channel: &str) -> f64 {
    cycle.landmark_on(name, channel).unwrap_or_else(|| panic!("no {name}")).time_s
}

fn height(cycle: &Cycle, name: &str, channel: &str) -> f64 {
    cycle.landmark_on(name, channel).unwrap().value
}

#[track_caller]
fn at(cycle: &Cycle, name: &str, channel: &str, expected_s: f64) {
    let found = time(cycle, name, channel);
    assert!((found - expected_s).abs() < 1e-8, "{name} at {found} in place of {expected_s}");
}

const CLUNK_ON_DIP: (&str, &str) =
    ("clunk_on_dip", "kind = \"timing\"\nlandmark = \"clunk_onset\"\nwith = \"dip\"");
const CREST: (&str, &str) =
    ("crest", "kind = \"timing\"\nlandmark = \"crest\"\nafter = \"late_top\"\nby_ms = [0, 20]");
const DIP: (&str, &str) =
    ("dip", "kind = \"timing\"\nlandmark = \"dip\"\nbetween = [\"late_top\", \"late_end\"]");

#[test]
fn each_piece_comes_after_those_it_is_aligned_to() {
    let built = build(&rules(&[
        ("clack", "kind = \"presence\"\nlandmark = \"clack_onset\""),
        CLUNK_ON_DIP,
        DIP,
        CREST,
        ("gate", "kind = \"timing\"\nlandmark = \"closes\"\nbefore = \"clunk_onset\""),
    ]));
    // The clunk's panel is above that of the dip, yet it hangs from the dip.
    assert_eq!(titles(&built), ["pulse", "echo", "clack", "crest", "dip", "clunk", "gate closes"]);
    let rules: Vec<&[String]> = built.iter().map(|step| step.rules.as_slice()).collect();
    let none: &[String] = &[];
    assert_eq!(
        rules,
        [
            none,
            none,
            &["clack".into()],
            &["crest".into()],
            &["dip".into()],
            &["clunk_on_dip".into()],
            &["gate".into()]
        ]
    );
    assert_eq!(built[4].lines, ["late_end", "late_top"].map(|name| mark(name, "drive")));
    assert_eq!(built[5].lines, [mark("dip", "force")]);
    assert_eq!(built[5].text, "Draw the clunk: a lower burst. T.");
    assert_eq!(built[5].cause, "C.");
    assert_eq!(built[0].text, "Draw the pulse: a tall peak.");
    assert_eq!(built[0].cause, "The motor pulls.");
    let onset = mark("clunk_onset", "knock");
    assert!(built[5].draw.contains(&onset) && built[5].draw.contains(&mark("clunk_end", "knock")));
}

#[test]
fn the_files_steps_keep_their_order_and_words() {
    let given =
        [CLUNK_ON_DIP, DIP, CREST, ("clack", "kind = \"presence\"\nlandmark = \"clack_onset\"")];
    let given: String = given.iter().map(|(id, body)| rule(id, body)).collect();
    let ordered = "[[steps]]\ndraw = [\"crest\", \"dip\"]\ntext = \"Draw the force.\"\n\
                   [[steps]]\ndraw = [\"clack\"]\ncause = \"Because.\"\n";
    let built = build(&read(&headed(&format!("{given}{ordered}"))));
    assert_eq!(titles(&built), ["pulse", "echo", "crest, dip", "clack", "clunk"]);
    assert_eq!((built[2].text.as_str(), built[2].cause.as_str()), ("Draw the force.", "C."));
    assert_eq!(
        (built[3].text.as_str(), built[3].cause.as_str()),
        ("Draw the clack: a burst.", "Because.")
    );
    assert_eq!(built[2].draw, ["crest", "dip"].map(|name| mark(name, "force")));
}

fn impossible(ordered: &[&str], given: &[(&str, &str)]) -> (StepError, String) {
    let given: String = given.iter().map(|(id, body)| rule(id, body)).collect();
    let ordered: String =
        ordered.iter().map(|name| format!("[[steps]]\ndraw = [\"{name}\"]\n")).collect();
    let text = headed(&format!("{given}{ordered}"));
    let convention = read(&text);
    let found = steps(&convention, &subject(), &base());
    let error = found.map(|built| titles(&built).join(", ")).unwrap_err();
    let error_of_schematic = draw(&convention).unwrap_err();
    assert_eq!(error_of_schematic, SchematicError::Steps(error.clone()));
    let line = text.lines().nth(error.line).unwrap().to_owned();
    (error, line)
}

#[test]
fn an_impossible_order_is_refused() {
    let (error, line) = impossible(&["clunk", "dip"], &[CLUNK_ON_DIP]);
    // The step's first line is `[[steps]]`, and what it draws stands in the next.
    assert_eq!(line, "draw = [\"clunk\"]");
    let said = error.to_string();
    assert!(said.starts_with(&format!("line {}: ", error.line)), "{said}");
    assert!(said.contains("draws “clunk”") && said.contains("placed by “dip”"), "{said}");
    let (error, line) = impossible(&["dip", "echo"], &[DIP]);
    assert_eq!(line, "draw = [\"dip\"]");
    assert!(error.what.contains("dip") && error.what.contains("echo"), "{}", error.what);
}

/// The clunk hangs from the dip, which is drawn after the crest, though the file lists only
/// the first and the last.
#[test]
fn an_order_that_is_impossible_through_a_third_piece_is_refused() {
    let (error, line) = impossible(&["clunk", "crest"], &[CLUNK_ON_DIP, CREST]);
    assert_eq!(line, "draw = [\"clunk\"]");
    assert!(error.what.contains("clunk") && error.what.contains("crest"), "{}", error.what);
}

#[test]
fn every_step_draws_something_and_nothing_twice() {
    let ordered =
        "[[steps]]\ndraw = [\"tick\"]\n[[steps]]\ndraw = [\"dip\"]\n[[steps]]\ndraw = [\"dip\"]\n";
    // Names that the rules do not draw, or that a step before has drawn, are either refused or
    // harmless: no step is empty, and none draws again what is there.
    let text = headed(&format!("{}{ordered}", rule(DIP.0, DIP.1)));
    let Ok(convention) = Convention::from_toml(&text, &subject()) else { return };
    let Ok(built) = steps(&convention, &subject(), &base()) else { return };
    let mut seen: Vec<&Point> = Vec::new();
    for step in &built {
        assert!(!step.draw.is_empty(), "an empty step in {:?}", titles(&built));
        for point in &step.draw {
            assert!(!seen.contains(&point), "{} is drawn twice", point.name);
            seen.push(point);
        }
    }
}

#[test]
fn only_what_is_drawn_is_shown() {
    let convention =
        rules(&[CREST, DIP, CLUNK_ON_DIP, ("gate", "kind = \"presence\"\nlandmark = \"opens\"")]);
    let model = base();
    let subject = subject();
    let drive = |names: &[&str]| names.iter().map(|name| mark(name, "drive")).collect::<Vec<_>>();
    let part = |points: &[Point]| partial(&convention, &subject, &model, points);
    let samples = |cycle: &Cycle, channel: &str| cycle.trace(channel).unwrap().samples.clone();

    let nothing = part(&[]);
    assert!(nothing.traces.iter().all(|trace| trace.samples.is_empty()));
    assert!(nothing.landmarks.is_empty() && nothing.events.is_empty() && !nothing.repeats);

    // Up to the stop of the pulse, at 0.2 s.
    let mut points = drive(&["start", "top", "stop"]);
    let pulse = part(&points);
    assert_eq!(samples(&pulse, "drive"), samples(&model, "drive")[..=100]);
    assert!(samples(&pulse, "force").is_empty() && samples(&pulse, "knock").is_empty());
    assert_eq!(pulse.landmarks.len(), 3);

    points.extend(drive(&["late_top", "late_end"]));
    assert_eq!(samples(&part(&points), "drive"), samples(&model, "drive"));

    // The dip alone leaves the crest as a gap before it; the crest comes as far as it is.
    let (crest, dip) = (mark("crest", "force"), mark("dip", "force"));
    assert!(samples(&part(&[dip]), "force").is_empty());
    let part_of_force = part(&[mark("foot", "force"), crest]);
    assert_eq!(samples(&part_of_force, "force"), samples(&model, "force")[..=200]);
    assert_eq!(part_of_force.landmarks.len(), 2);

    // Of the knocks the clunk alone is heard.
    let clunk = part(&[mark("clunk_onset", "knock"), mark("clunk_end", "knock")]);
    let (found, all) = (samples(&clunk, "knock"), samples(&model, "knock"));
    assert_eq!(found[280..=310], all[280..=310]);
    assert!(found[..270].iter().all(|v| *v == 0.0) && all[..270].iter().any(|v| *v != 0.0));

    let gate = part(&[Point::new("opens", None)]);
    assert_eq!(gate.events.iter().map(|e| e.name.as_str()).collect::<Vec<_>>(), ["opens"]);

    // Step by step more is shown, and in the end all of what the rules are about.
    let model = drawn(&convention);
    let mut points = Vec::new();
    let mut shown = 0;
    for step in build(&convention) {
        points.extend(step.draw);
        let part = partial(&convention, &subject, &model, &points);
        let count = part.traces.iter().map(|trace| trace.samples.len()).sum::<usize>()
            + part.landmarks.len()
            + part.events.len();
        assert!(count > shown, "{} shows nothing new", step.title);
        shown = count;
    }
    let whole = partial(&convention, &subject, &model, &points);
    for channel in ["drive", "knock"] {
        let last = if channel == "knock" { 280..310 } else { 0..500 };
        assert_eq!(samples(&whole, channel)[last.clone()], samples(&model, channel)[last]);
    }
}

#[test]
fn a_convention_that_the_base_meets_changes_nothing() {
    let convention = rules(&[
        (
            "crest",
            "kind = \"timing\"\nlandmark = \"crest\"\nbefore = \"late_top\"\nby_ms = [40, 60]",
        ),
        ("dip", "kind = \"timing\"\nlandmark = \"dip\"\nafter = \"late_end\"\nby_ms = 10"),
        ("clunk", "kind = \"timing\"\nlandmark = \"clunk_onset\"\nwith = \"dip\""),
        (
            "height",
            "kind = \"height\"\nlandmark = \"dip\"\nbetween = [\"foot\", \"crest\"]\n\
             share = [0.5, 0.7]",
        ),
        ("taller", "kind = \"height\"\nlandmark = \"clack_onset\"\nabove = \"clunk_onset\""),
        ("level", "kind = \"level\"\nchannel = \"drive\"\nat = \"late_end\"\nlevel = \"baseline\""),
        ("rise", "kind = \"shape\"\nfrom = \"foot\"\nto = \"crest\"\nshape = \"rising\""),
        ("gate", "kind = \"timing\"\nlandmark = \"closes\"\nafter = \"opens\""),
    ]);
    let (model, base) = (drawn(&convention), base());
    for trace in &model.traces {
        let was = &base.trace(&trace.channel).unwrap().samples;
        let differ = trace.samples.iter().zip(was).position(|(a, b)| a != b);
        assert_eq!((trace.samples.len(), differ), (was.len(), None), "{}", trace.channel);
    }
    for landmark in &model.landmarks {
        at(
            &model,
            &landmark.name,
            &landmark.channel,
            time(&base, &landmark.name, &landmark.channel),
        );
    }
    assert_eq!(model.events, base.events);
}

#[test]
fn a_point_goes_to_the_nearer_end_of_its_window() {
    // In the base the crest is 250 ms after the top of the pulse.
    let cases = [
        ("after = \"top\"\nby_ms = [100, 200]", 0.35),
        ("after = \"top\"\nby_ms = [270, 300]", 0.42),
        ("after = \"top\"\nby_ms = [200, 300]", 0.4),
        ("after = \"late_top\"", 0.451),
        ("before = \"late_top\"\nby_ms = [60, 80]", 0.39),
        ("with = \"late_top\"", 0.45),
        ("between = [\"late_top\", \"late_end\"]", 0.45),
        ("between = [\"late_top\", \"late_end\"]\nshare = [0.2, 0.6]", 0.47),
        ("after = \"top\"\nby_ms = [100, 400]\naim = 120", 0.27),
        ("before = \"late_top\"\nby_ms = [60, 200]\naim = 150", 0.3),
        ("between = [\"late_top\", \"late_end\"]\naim = 0.6", 0.51),
        ("with = \"closes\"", 0.54),
    ];
    for (body, expected_s) in cases {
        let body = format!("kind = \"timing\"\nlandmark = \"crest\"\n{body}");
        let model = drawn(&rules(&[("r", &body)]));
        at(&model, "crest", "force", expected_s);
        // The trace goes with its landmark: its top is there.
        let force = model.trace("force").unwrap();
        let top = force.at(expected_s).unwrap();
        assert!((force.range().unwrap().1 - top).abs() < 1.0, "{body}");
    }
}

#[test]
fn what_rules_leave_alone_stays_or_follows() {
    let model = drawn(&rules(&[
        ("crest", "kind = \"timing\"\nlandmark = \"crest\"\nwith = \"late_top\""),
        ("clunk", "kind = \"timing\"\nlandmark = \"clunk_onset\"\nwith = \"late_end\""),
    ]));
    assert_eq!(model.trace("drive").unwrap(), base().trace("drive").unwrap());
    for name in ["start", "top", "stop", "late_top", "late_end"] {
        at(&model, name, "drive", time(&base(), name, "drive"));
    }
    // A stroke moves as a whole. The clack, which no rule names, goes along by a fifth of the
    // crest's 50 ms, as it is a fifth of the way from the start of the pulse to the crest.
    at(&model, "clunk_end", "knock", 0.61);
    at(&model, "clack_onset", "knock", 0.17);
    at(&model, "clack_end", "knock", 0.25);
    assert!(model.trace("recoil").is_none());
    let [foot, crest, dip, bump] =
        ["foot", "crest", "dip", "bump"].map(|n| time(&model, n, "force"));
    assert!(foot < crest && crest < dip && dip < bump);
}

#[test]
fn a_missing_burst_is_put_in() {
    let model = drawn(&rules(&[(
        "tick",
        "kind = \"timing\"\nlandmark = \"tick\"\nafter = \"top\"\nby_ms = [100, 200]",
    )]));
    // Half-way, at 0.3 s, for 40 ms.
    at(&model, "tick", "knock", 0.3);
    let knock = model.trace("knock").unwrap();
    let most = |from: usize, to: usize| {
        knock.samples[from..to].iter().fold(0.0, |m, v| f64::max(m, v.abs()))
    };
    assert!(most(151, 170) > 0.3 && most(151, 170) <= 0.4);
    assert_eq!((most(125, 150), most(171, 279)), (0.0, 0.0));
    assert_eq!(knock.samples[80..=120], base().trace("knock").unwrap().samples[80..=120]);
}

/// A burst that the base lacks has all its landmarks, whichever of them the rules name.
#[test]
fn a_missing_burst_is_put_in_by_whichever_landmark_is_named() {
    let mut base = base();
    base.landmarks.retain(|l| !l.name.starts_with("clunk"));
    base.traces[1].samples[275..].fill(0.0);
    // It lasts 60 ms.
    for (name, onset_s) in [("clunk_onset", 0.55), ("clunk_centre", 0.52), ("clunk_end", 0.49)] {
        let body = format!("kind = \"timing\"\nlandmark = \"{name}\"\nwith = \"late_end\"");
        let model = schematic(&rules(&[("r", &body)]), &subject(), &base, 1).unwrap();
        let loud = model.trace("knock").unwrap().samples[240..310].iter().any(|v| v.abs() > 0.3);
        assert!(loud, "{name}: nothing is drawn");
        for (name, after_s) in [("clunk_onset", 0.0), ("clunk_end", 0.06)] {
            at(&model, name, "knock", onset_s + after_s);
        }
    }
}

#[test]
fn rules_of_every_kind_are_drawn_together() {
    let convention = rules(&[
        ("clack", "kind = \"timing\"\nlandmark = \"clack_centre\"\nwith = \"top\""),
        (
            "foot",
            "kind = \"timing\"\nlandmark = \"foot\"\nafter = \"clack_onset\"\nby_ms = [20, 60]\n\
             aim = 40",
        ),
        ("crest", "kind = \"timing\"\nlandmark = \"crest\"\nwith = \"late_top\""),
        (
            "clunk",
            "kind = \"timing\"\nlandmark = \"clunk_onset\"\n\
             between = [\"late_top\", \"late_end\"]\naim = 0.6",
        ),
        ("dip", "kind = \"timing\"\nlandmark = \"dip\"\nwith = \"clunk_onset\""),
        ("bump", "kind = \"timing\"\nlandmark = \"bump\"\nafter = \"dip\"\naim = 30"),
        (
            "dip_height",
            "kind = \"height\"\nlandmark = \"dip\"\nbetween = [\"foot\", \"crest\"]\n\
             share = [0.2, 0.4]",
        ),
        ("bump_height", "kind = \"height\"\nlandmark = \"bump\"\nabove = \"dip\"\naim = 4"),
        (
            "louder",
            "kind = \"height\"\nlandmark = \"clunk_onset\"\nabove = \"clack_onset\"\n\
             by = [0.1, 0.2]",
        ),
        ("runoff", "kind = \"shape\"\nfrom = \"bump\"\nto = \"foot\"\nshape = \"falling\""),
        (
            "still",
            "kind = \"shape\"\nchannel = \"travel\"\nfrom = \"foot\"\nto = \"opens\"\n\
             shape = \"flat\"",
        ),
        ("gate", "kind = \"timing\"\nlandmark = \"opens\"\nafter = \"foot\"\nby_ms = 100"),
        ("label", "kind = \"label\"\nlandmark = \"dip\"\nlabel = [\"low\", \"dip\"]"),
        ("drive", "kind = \"level\"\nchannel = \"drive\"\nat = \"late_end\"\nlevel = \"baseline\""),
    ]);
    let model = drawn(&convention);
    at(&model, "clack_onset", "knock", 0.11);
    at(&model, "foot", "force", 0.15);
    at(&model, "clunk_onset", "knock", 0.51);
    at(&model, "bump", "force", 0.54);
    assert!((height(&model, "bump", "force") - height(&model, "dip", "force") - 4.0).abs() < 0.2);
    assert_eq!(model.trace("drive").unwrap(), base().trace("drive").unwrap());
    assert_eq!(model.labels.len(), 1);
    assert_eq!((model.labels[0].text.as_str(), model.labels[0].channel.as_str()), ("low", "force"));
    assert!((model.labels[0].time_s - 0.51).abs() < 1e-8);
    // Several beats shown are the same beat several times.
    let run = schematic(&convention, &subject(), &base(), 3).unwrap();
    assert_eq!(
        run.trace("force").unwrap().samples,
        model.trace("force").unwrap().samples.repeat(3)
    );
    assert_eq!(beats(&run, &subject()).len(), 3);
    for verdict in judged(&run, &convention) {
        assert_eq!(verdict.outcome, Outcome::Met, "{}: {}", verdict.rule, verdict.why);
    }
}

#[test]
fn heights_go_no_further_than_they_must() {
    let lifted = |body: &str, name: &str| {
        let body = format!("kind = \"height\"\nlandmark = \"{name}\"\n{body}");
        height(&drawn(&rules(&[("r", &body)])), name, "force")
    };
    // Foot 10 N, crest 90 N, dip 60 N, bump 70 N.
    for (name, body, expected) in [
        ("dip", "below = \"crest\"\nby = [10, 20]", 70.0),
        ("dip", "below = \"crest\"\nby = [40, 60]", 50.0),
        ("dip", "below = \"crest\"\nby = [40, 60]\naim = 55", 35.0),
        ("dip", "above = \"bump\"\nby = 5", 75.0),
        ("bump", "level_with = \"dip\"", 60.0),
        ("dip", "between = [\"foot\", \"crest\"]\nshare = [0.75, 1]", 70.0),
    ] {
        let found = lifted(body, name);
        assert!((found - expected).abs() < 0.2, "{body}: {found} in place of {expected}");
    }
}

#[test]
fn times_that_contradict_one_another_are_named() {
    let convention = rules(&[
        ("fine", "kind = \"timing\"\nlandmark = \"foot\"\nwith = \"stop\""),
        ("early", "kind = \"timing\"\nlandmark = \"dip\"\nbefore = \"late_top\""),
        ("late", "kind = \"timing\"\nlandmark = \"crest\"\nafter = \"late_top\"\nby_ms = [5, 10]"),
    ]);
    let Err(SchematicError::Contradiction(conflicts)) = draw(&convention) else {
        panic!("drawn in spite of a contradiction")
    };
    let mut named = conflicts[0].rules.clone();
    named.sort();
    assert_eq!((conflicts.len(), named), (1, vec!["early".to_owned(), "late".to_owned()]));
    // These hold together, but not with the reference as it is: the echo takes 100 ms.
    let convention = rules(&[
        ("a", "kind = \"timing\"\nlandmark = \"dip\"\nwith = \"late_top\""),
        ("b", "kind = \"timing\"\nlandmark = \"dip\"\nbefore = \"late_end\"\nby_ms = [20, 60]"),
    ]);
    assert!(convention::check(&convention, &subject()).consistent());
    assert!(!convention::check_on(&convention, &subject(), &base()).consistent());
    assert!(matches!(draw(&convention), Err(SchematicError::Contradiction(_))));
}

#[test]
fn heights_that_contradict_one_another_are_named() {
    let convention = rules(&[
        ("fine", "kind = \"height\"\nlandmark = \"crest\"\nabove = \"foot\""),
        ("up", "kind = \"height\"\nlandmark = \"dip\"\nabove = \"bump\""),
        ("down", "kind = \"height\"\nlandmark = \"dip\"\nbelow = \"bump\"\nby = [5, 9]"),
    ]);
    let Err(SchematicError::Heights(mut named)) = draw(&convention) else {
        panic!("drawn in spite of a contradiction")
    };
    named.sort();
    assert_eq!(named, ["down", "up"]);
}

/// Distances that no cycle can have are refused, when they are read or when they are drawn.
#[test]
fn absurd_distances_are_refused() {
    for body in [
        "kind = \"timing\"\nlandmark = \"dip\"\nafter = \"crest\"\nby_ms = 1e12",
        "kind = \"timing\"\nlandmark = \"dip\"\nbefore = \"crest\"\nby_mm = 1e300",
        "kind = \"height\"\nlandmark = \"dip\"\nabove = \"crest\"\nby = 1e12",
    ] {
        let text = headed(&format!("{}{}", rule("r", body), rule("s", DIP.1)));
        let read = Convention::from_toml(&text, &subject());
        // A check that stops the program would stop this test.
        let drawn = read.ok().and_then(|convention| {
            convention::check(&convention, &subject());
            draw(&convention).ok()
        });
        assert_eq!(drawn.map(|cycle| cycle.period_s), None, "{body}");
    }
}

#[test]
fn the_base_must_be_one_beat_that_repeats() {
    let convention = rules(&[DIP]);
    let mut still = base();
    still.repeats = false;
    let mut none = base();
    none.landmarks.retain(|l| l.name != "top");
    let mut two = base();
    two.landmarks.push(support::landmark("top", "drive", 0.9, 1.5));
    for (base, count) in [(still, 0), (none, 0), (two, 2)] {
        assert_eq!(schematic(&convention, &subject(), &base, 1), Err(SchematicError::Base(count)));
    }
}

#[test]
fn what_has_wrapped_round_in_the_base_is_drawn_all_the_same() {
    let convention = rules(&[
        ("dip", "kind = \"timing\"\nlandmark = \"dip\"\nwith = \"late_end\""),
        ("clunk", "kind = \"timing\"\nlandmark = \"clunk_onset\"\nwith = \"dip\""),
        ("bump", "kind = \"timing\"\nlandmark = \"bump\"\nafter = \"dip\"\nby_ms = 20"),
    ]);
    for period_s in [0.7, 0.6, 0.56, 0.54] {
        let model = schematic(&convention, &subject(), &at_period(period_s), 1).unwrap();
        at(&model, "dip", "force", 0.55_f64.rem_euclid(period_s));
        at(&model, "bump", "force", 0.57_f64.rem_euclid(period_s));
        let (start, end) = model.span_s().unwrap();
        assert!(model.landmarks.iter().all(|l| (start..=end).contains(&l.time_s)));
    }
}

/// The points that the random rules are about, with where the base has them.
const POINTS: [(&str, Option<&str>, f64); 13] = [
    ("start", Some("drive"), 0.1),
    ("top", Some("drive"), 0.15),
    ("stop", Some("drive"), 0.2),
    ("late_top", Some("drive"), 0.45),
    ("late_end", Some("drive"), 0.55),
    ("clack_onset", Some("knock"), 0.16),
    ("clunk_onset", Some("knock"), 0.56),
    ("foot", Some("force"), 0.2),
    ("crest", Some("force"), 0.4),
    ("dip", Some("force"), 0.56),
    ("bump", Some("force"), 0.6),
    ("opens", None, 0.2),
    ("closes", None, 0.54),
];

/// Rules that all hold of times not far from the base's.
fn consistent_rules() -> impl Strategy<Value = String> {
    // Landmarks of the base are 40 ms apart or more, so that moves of 15 ms keep their order.
    let moves = prop::collection::vec(-15..=15i32, POINTS.len());
    let rule = (5..POINTS.len(), 0..POINTS.len(), 0..30u32, 0..30u32, 0..4u8, 0.0..=1.0f64);
    (moves, prop::collection::vec(rule, 1..12)).prop_map(|(moves, given)| {
        let goal = |index: usize| {
            let moved = if index < 5 { 0 } else { moves[index] };
            (POINTS[index].2 * 1000.0).round() as i32 + moved
        };
        let mut text = String::new();
        for (number, (point, other, below, above, kind, aim)) in given.into_iter().enumerate() {
            if point == other {
                continue;
            }
            let apart = goal(point) - goal(other);
            let (low, high) = (apart - below as i32, apart + above as i32);
            let relation = if apart == 0 && kind == 0 {
                "with = \"{}\"\n".replace("{}", POINTS[other].0)
            } else {
                // The same window, worded from whichever side it lies on.
                let (word, low, high) = if apart > 0 {
                    ("after", low.max(0), high)
                } else {
                    ("before", (-high).max(0), -low)
                };
                let aims = f64::from(low) + aim * f64::from(high - low);
                let aim = if kind == 1 { format!("aim = {aims}\n") } else { String::new() };
                // Some say only which comes first.
                let by = format!("by_ms = [{low}, {high}]\n{aim}");
                let by = if kind == 2 && apart != 0 { "" } else { &by };
                format!("{word} = \"{}\"\n{by}", POINTS[other].0)
            };
            let body = format!("kind = \"timing\"\nlandmark = \"{}\"\n{relation}", POINTS[point].0);
            text += &rule_of(number, &body);
        }
        text + &rule_of(99, "kind = \"presence\"\nlandmark = \"top\"")
    })
}

fn rule_of(number: usize, body: &str) -> String {
    rule(&format!("r{number}"), body)
}

proptest! {
    // The seed is fixed so that a change is judged by the same rules as the one before it;
    // PROPTEST_CASES and PROPTEST_RNG_SEED explore further.
    #![proptest_config(ProptestConfig {
        rng_seed: proptest::test_runner::RngSeed::Fixed(
            std::env::var("PROPTEST_RNG_SEED").map_or(20_261_125, |seed| seed.parse().unwrap()),
        ),
        failure_persistence: None,
        cases: ProptestConfig::default().cases.max(400),
        ..ProptestConfig::default()
    })]

    /// Rules that can all hold are all drawn, to the nanosecond, and the reference stays.
    #[test]
    fn rules_that_can_hold_are_drawn(given in consistent_rules()) {
        let convention = read(&headed(&given));
        let model = match draw(&convention) {
            Ok(model) => model,
            Err(error) => return Err(TestCaseError::fail(format!("{error}\n{given}"))),
        };
        for verdict in judged(&model, &convention) {
            prop_assert_eq!(verdict.outcome, Outcome::Met, "{}", verdict.why);
            prop_assert!(verdict.off_by.abs() <= EXACT_MS, "{}\n{}", verdict.why, given);
        }
        let base = base();
        prop_assert_eq!(model.trace("drive"), base.trace("drive"));
        let whole = model.traces.iter().all(|trace| trace.samples.iter().all(|v| v.is_finite()));
        prop_assert!(whole);
    }

    /// Whatever two heights are asked for, they are drawn or the rules are named.
    #[test]
    fn heights_are_drawn_or_refused_by_name(
        given in prop::collection::vec((0..4usize, 0..4usize, -60..60i32, 0..30u32), 1..5),
    ) {
        const NAMES: [&str; 4] = ["foot", "crest", "dip", "bump"];
        let mut text = rule("there", "kind = \"presence\"\nlandmark = \"top\"");
        for (number, (a, b, low, width)) in given.into_iter().enumerate() {
            if a != b {
                let (low, high) = (low.abs(), low.abs() + width as i32);
                let word = if low % 2 == 0 { "above" } else { "below" };
                let (a, b) = (NAMES[a], NAMES[b]);
                text += &rule_of(number, &format!(
                    "kind = \"height\"\nlandmark = \"{a}\"\n{word} = \"{b}\"\nby = [{low}, {high}]"
                ));
            }
        }
        let convention = read(&headed(&text));
        match draw(&convention) {
            Ok(model) => for verdict in judged(&model, &convention) {
                prop_assert_eq!(verdict.outcome, Outcome::Met, "{}", verdict.why);
            },
            Err(SchematicError::Heights(named)) => {
                prop_assert!(!named.is_empty());
                prop_assert!(named.iter().all(|id| convention.rule(id).is_some()));
            }
            Err(other) => prop_assert!(false, "{other}\n{text}"),
        }
    }
}
