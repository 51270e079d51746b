//! Reading a convention: what each kind of rule comes to, and what is said of faults.
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]
#![allow(clippy::print_stdout, reason = "a test says why it is skipped")]

mod support;

use std::io::Write as _;
use std::process::{Command, Stdio};

use convention::{
    Cap, Convention, Faults, Form, Level, Point, ReferenceMissing, Relation, Relative, Says,
    StepText, Tolerance, schema,
};
use cycle::Subject;
use proptest::prelude::*;
use proptest::sample::Index;
use serde_json::{Value, json};

use support::{HEAD, headed, mark, read, rule, rules, subject};

/// The variable that names a Python with jsonschema; without it that test is skipped.
const PYTHON: &str = "INCISURA_PYTHON";

/// What one rule says.
fn says(body: &str) -> Says {
    rules(&[("r", body)]).rules.remove(0).says
}

/// What a timing rule about `dip` says.
fn timing(body: &str) -> Relative {
    match says(&format!("kind = \"timing\"\nlandmark = \"dip\"\n{body}")) {
        Says::Timing { point, timing } if point == mark("dip", "force") => timing,
        other => panic!("{other:?}"),
    }
}

fn height(body: &str) -> Relative {
    match says(&format!("kind = \"height\"\nlandmark = \"dip\"\n{body}")) {
        Says::Height { point, height } if point == mark("dip", "force") => height,
        other => panic!("{other:?}"),
    }
}

#[test]
fn times_read_to_windows_of_milliseconds_later() {
    use Relation::{After, Before, With};
    let cases = [
        ("with = \"top\"", With, [Some(0.0), Some(0.0)], None),
        ("with = \"top\"\naim = 0", With, [Some(0.0), Some(0.0)], Some(0.0)),
        ("after = \"top\"", After, [Some(1.0), None], None),
        ("after = \"top\"\naim = 40", After, [Some(1.0), None], Some(40.0)),
        ("after = \"top\"\nby_ms = 30", After, [Some(30.0), Some(30.0)], None),
        ("after = \"top\"\nby_ms = [20, 60.5]", After, [Some(20.0), Some(60.5)], None),
        (
            "after = \"top\"\nby_ms = [20, 60]\naim = 60",
            After,
            [Some(20.0), Some(60.0)],
            Some(60.0),
        ),
        ("before = \"top\"", Before, [None, Some(-1.0)], None),
        ("before = \"top\"\naim = 5", Before, [None, Some(-1.0)], Some(-5.0)),
        ("before = \"top\"\nby_ms = 30", Before, [Some(-30.0), Some(-30.0)], None),
        ("before = \"top\"\nby_ms = [20, 60]", Before, [Some(-60.0), Some(-20.0)], None),
        (
            "before = \"top\"\nby_ms = [20, 60]\naim = 25",
            Before,
            [Some(-60.0), Some(-20.0)],
            Some(-25.0),
        ),
        // At 100 mm a second, a millimetre is 10 ms.
        ("after = \"top\"\nby_mm = [2, 6]", After, [Some(20.0), Some(60.0)], None),
        ("before = \"top\"\nby_mm = 3", Before, [Some(-30.0), Some(-30.0)], None),
    ];
    for (body, relation, window, aim) in cases {
        let to = mark("top", "drive");
        assert_eq!(timing(body), Relative::Offset { to, relation, window, aim }, "{body}");
    }
}

#[test]
fn millimetres_follow_the_time_scale() {
    let body = "kind = \"timing\"\nlandmark = \"dip\"\nafter = \"top\"\nby_mm = [2, 6]";
    let text = format!("mm_per_s = 25\n{}", headed(&rule("r", body)));
    let convention = read(&text);
    assert_eq!(convention.mm_per_s, 25.0);
    let Says::Timing { timing: Relative::Offset { window, .. }, .. } = &convention.rules[0].says
    else {
        panic!("{:?}", convention.rules[0].says)
    };
    assert_eq!(*window, [Some(80.0), Some(240.0)]);
}

#[test]
fn between_reads_to_shares_of_the_way() {
    let [from, to] = ["late_top", "late_end"].map(|name| mark(name, "drive"));
    let between = "between = [\"late_top\", \"late_end\"]\n";
    for (more, shares, aim) in [
        ("", [0.0, 1.0], None),
        ("aim = 0.6", [0.0, 1.0], Some(0.6)),
        ("share = [0.25, 0.75]\naim = 0.25", [0.25, 0.75], Some(0.25)),
        ("share = 0.5", [0.5, 0.5], None),
    ] {
        let expected = Relative::Between { from: from.clone(), to: to.clone(), shares, aim };
        assert_eq!(timing(&format!("{between}{more}")), expected, "{more}");
    }
    // Without a share the interval may be one of any channels, or of events.
    let expected = Relative::Between {
        from: mark("crest", "force"),
        to: Point::new("closes", None),
        shares: [0.0, 1.0],
        aim: None,
    };
    assert_eq!(timing("between = [\"crest\", \"closes\"]"), expected);
}

#[test]
fn heights_read_to_windows_of_the_unit_higher() {
    use Relation::{After, Before, With};
    // Half a hundredth of the range of 100 N is what counts as higher at all.
    let cases = [
        ("level_with = \"crest\"", With, [Some(0.0), Some(0.0)], None),
        ("above = \"crest\"", After, [Some(0.5), None], None),
        ("below = \"crest\"", Before, [None, Some(-0.5)], None),
        ("above = \"crest\"\nby = 4\naim = 4", After, [Some(4.0), Some(4.0)], Some(4.0)),
        ("below = \"crest\"\nby = [4, 24]", Before, [Some(-24.0), Some(-4.0)], None),
        ("below = \"crest\"\nby = [4, 24]\naim = 5", Before, [Some(-24.0), Some(-4.0)], Some(-5.0)),
    ];
    for (body, relation, window, aim) in cases {
        let to = mark("crest", "force");
        assert_eq!(height(body), Relative::Offset { to, relation, window, aim }, "{body}");
    }
    let body = "between = [\"foot\", \"crest\"]\nshare = [0.4, 0.9]\naim = 0.5";
    let [from, to] = ["foot", "crest"].map(|name| mark(name, "force"));
    let expected = Relative::Between { from, to, shares: [0.4, 0.9], aim: Some(0.5) };
    assert_eq!(height(body), expected);
}

#[test]
fn presence_level_shape_and_label_read_to_what_they_name() {
    let force = || "force".to_owned();
    let presence = says("kind = \"presence\"\nlandmark = \"opens\"");
    assert_eq!(presence, Says::Presence { point: Point::new("opens", None) });
    let level = "kind = \"level\"\nchannel = \"force\"\nat = \"top\"\nlevel = ";
    assert_eq!(
        says(&format!("{level}\"baseline\"")),
        Says::Level { channel: force(), at: mark("top", "drive"), level: Level::Baseline }
    );
    assert_eq!(
        says(&format!("{level}\"foot\"")),
        Says::Level {
            channel: force(),
            at: mark("top", "drive"),
            level: Level::Of(mark("foot", "force")),
        }
    );
    for (word, form) in [("rising", Form::Rising), ("falling", Form::Falling), ("flat", Form::Flat)]
    {
        // Without a channel it is that of the first landmark.
        let from_to = "from = \"foot\"\nto = \"opens\"";
        let (from, to) = (mark("foot", "force"), Point::new("opens", None));
        assert_eq!(
            says(&format!("kind = \"shape\"\n{from_to}\nshape = \"{word}\"")),
            Says::Shape { channel: force(), from: from.clone(), to: to.clone(), form }
        );
        assert_eq!(
            says(&format!("kind = \"shape\"\nchannel = \"travel\"\n{from_to}\nshape = \"{word}\"")),
            Says::Shape { channel: "travel".to_owned(), from, to, form }
        );
    }
    let label = "kind = \"label\"\nlandmark = \"dip\"\nlabel = ";
    for (words, accepted) in
        [("\" dip \"", vec!["dip"]), ("[\"dip\", \"low\"]", vec!["dip", "low"])]
    {
        let accepted = accepted.into_iter().map(str::to_owned).collect();
        let expected = Says::Label { point: mark("dip", "force"), accepted };
        assert_eq!(says(&format!("{label}{words}")), expected);
    }
}

#[test]
fn a_landmark_is_of_the_first_channel_drawn_unless_it_says_which() {
    let panels = "panels = [[\"drive\"], [\"recoil\", \"force\"]]\n";
    let body = "kind = \"timing\"\nlandmark = \"dip\"\nwith = \"dip@force\"";
    let convention = read(&format!("{HEAD}{panels}{}", rule("r", body)));
    let [recoil, force] = ["recoil", "force"].map(|channel| mark("dip", channel));
    assert_eq!(convention.rules[0].says.points(), [&recoil, &force]);
    let subject = subject();
    assert_eq!(convention.id_of(&force, &subject), "dip@force");
    assert_eq!(convention.id_of(&mark("top", "drive"), &subject), "top");
    assert_eq!(
        rules(&[("r", "kind = \"presence\"\nlandmark = \"dip\"")]).id_of(&force, &subject),
        "dip"
    );
}

#[test]
fn what_a_file_leaves_out_has_a_usual_value() {
    let body = "kind = \"presence\"\nlandmark = \"dip\"\n";
    let convention = rules(&[("r", body)]);
    assert_eq!(convention.about, "");
    assert_eq!(convention.bars, Vec::<String>::new());
    assert_eq!(convention.mm_per_s, 100.0);
    assert_eq!(convention.steps, []);
    let first = &convention.rules[0];
    assert_eq!(first.points, 1.0);
    assert_eq!(first.tolerance, Tolerance { mm: 2.0, half_mm: None, ms: 20.0, percent: 5.0 });
    assert_eq!(first.line, 4);
}

#[test]
fn a_rule_overrides_the_files_tolerances_one_by_one() {
    let body = "kind = \"presence\"\nlandmark = \"dip\"\n";
    let own = format!(
        "{body}points = 2.5\ntolerance_mm = 0.5\nhalf_tolerance_mm = 1\ntolerance_percent = 7"
    );
    let top = "about = \"A\"\nbars = [\"gate\"]\ntolerance_mm = 3\nhalf_tolerance_mm = 5\ntolerance_ms = 30\n";
    let steps = "[[steps]]\ndraw = [\"pulse\", \"dip\"]\ntext = \"Draw.\"\n";
    let text = format!("{top}{}{}{steps}", headed(&rule("a", body)), rule("b", &own));
    let convention = read(&text);
    assert_eq!(
        (convention.about.as_str(), convention.bars.as_slice()),
        ("A", &["gate".into()][..])
    );
    let [a, b] = convention.rules.as_slice() else { panic!("{:?}", convention.rules) };
    assert_eq!(a.tolerance, Tolerance { mm: 3.0, half_mm: Some(5.0), ms: 30.0, percent: 5.0 });
    assert_eq!(b.tolerance, Tolerance { mm: 0.5, half_mm: Some(1.0), ms: 30.0, percent: 7.0 });
    assert_eq!((a.points, b.points), (1.0, 2.5));
    let line = |needle: &str| text.lines().position(|line| line.contains(needle)).unwrap();
    assert_eq!([a.line, b.line], [line("\"a\""), line("\"b\"")]);
    let expected = StepText {
        draw: vec!["pulse".into(), "dip".into()],
        text: Some("Draw.".into()),
        cause: None,
        line: line("[[steps]]") + 1,
    };
    assert_eq!(convention.steps, [expected]);
}

fn faults(text: &str) -> Faults {
    match Convention::from_toml(text, &subject()) {
        Err(faults) => faults,
        Ok(convention) => panic!("accepted: {text}\n{convention:?}"),
    }
}

/// Checks that each line that ends in `#!` has the fault with the words that follow it, or
/// that the text has no other faults.
fn refuses(text: &str) {
    let expected: Vec<(usize, &str, &str)> = text
        .lines()
        .enumerate()
        .filter_map(|(index, line)| {
            let (_, words) = line.split_once("#! ")?;
            Some((index + 1, line.trim(), words))
        })
        .collect();
    assert!(!expected.is_empty(), "nothing is expected of {text}");
    let found = faults(text);
    assert_eq!(found.0.len(), expected.len(), "{found}");
    for (fault, (line, shown, words)) in found.0.iter().zip(expected) {
        assert_eq!((fault.line, fault.text.as_str()), (line, shown), "{found}");
        for part in words.split(" / ") {
            assert!(fault.what.contains(part), "“{part}” is not in: {}", fault.what);
        }
        assert!(found.to_string().contains(&format!("line {line}: {}", fault.what)));
    }
}

/// A rule's faults, on the lines that are marked.
fn refuses_rule(body: &str) {
    refuses(&headed(&rule("r", body)));
}

/// A rule that lacks something is shown by its identifier.
fn refuses_for_lack(body: &str, words: &str) {
    let text = headed(&rule("r", body));
    refuses(&text.replacen("id = \"r\"", &format!("id = \"r\" #! {words}"), 1));
}

const TIMING: &str = "kind = \"timing\"\nlandmark = \"dip\"\n";
const HEIGHT: &str = "kind = \"height\"\nlandmark = \"dip\"\n";

#[test]
fn unknown_names_offer_the_nearest() {
    for body in [
        "kind = \"presence\"\nlandmark = \"crst\" #! “crst” / did you mean “crest”?",
        "kind = \"presence\"\nlandmark = \"openz\" #! “openz” / did you mean “opens”?",
        "kind = \"presence\"\nlandmark = \"quite_something_else\" #! no landmark or event / guide",
        "landmark = \"crest\"\nkind = \"presense\" #! “presense” / did you mean “presence”?",
        "kind = \"level\"\nat = \"top\"\nlevel = \"baseline\"\n\
         channel = \"forse\" #! “forse” / did you mean “force”?",
        "kind = \"level\"\nat = \"top\"\nchannel = \"force\"\n\
         level = \"base\" #! no landmark or event “base”",
        "kind = \"shape\"\nfrom = \"foot\"\nto = \"crest\"\n\
         shape = \"risen\" #! “risen” / did you mean “rising”?",
        "kind = \"shape\"\nfrom = \"foot\"\nto = \"crest\"\n\
         shape = \"circular path\" #! known are rising, falling, flat",
    ] {
        refuses_rule(body);
    }
    let ok = rule("r", "kind = \"presence\"\nlandmark = \"dip\"");
    let panels = "panels = [[\"force\",\n\"drve\"]] #! no channel “drve” / did you mean “drive”?\n";
    refuses(&format!("{HEAD}{panels}{ok}"));
    refuses(&headed(&format!("bars = [\"gait\"] #! no bar “gait” / did you mean “gate”?\n{ok}")));
    let units = "[[\"force\",\n\"drive\"]] #! force is in N and drive in V / a panel of its own\n";
    refuses(&format!("{HEAD}panels = {units}{ok}"));
    let step = "[[steps]]\ndraw = [\"pulse\",\n\"ekho\"] #! “ekho”\n";
    refuses(&headed(&format!("{ok}{step}")));
}

#[test]
fn landmarks_on_the_wrong_channel_or_on_none_are_refused() {
    for body in [
        "kind = \"presence\"\n\
         landmark = \"glow\" #! glow lies on heat, which no panel has / add the channel",
        "kind = \"presence\"\n\
         landmark = \"glow@drive\" #! glow does not lie on drive; it lies on heat",
        "kind = \"presence\"\n\
         landmark = \"opens@drive\" #! an event and lies on no channel; write “opens”",
        "kind = \"level\"\nat = \"top\"\nlevel = \"baseline\"\n\
         channel = \"heat\" #! no panel has heat; add it to panels",
        "kind = \"level\"\nat = \"top\"\nchannel = \"force\"\n\
         level = \"turn\" #! turn does not lie on force",
        "kind = \"level\"\nat = \"top\"\nchannel = \"force\"\n\
         level = \"turn@travel\" #! “baseline” or a landmark of force",
        "kind = \"level\"\nat = \"top\"\nchannel = \"force\"\n\
         level = \"opens\" #! opens is an event",
        "kind = \"shape\"\nto = \"closes\"\nshape = \"flat\"\n\
         from = \"opens\" #! events lie on no channel; add “channel = …”",
        "kind = \"label\"\nlandmark = \"opens\"\nlabel = \"O\" #! an event lies on no trace",
    ] {
        refuses_rule(body);
    }
}

#[test]
fn keys_must_belong_to_the_kind() {
    let kinds = [
        ("presence", "landmark = \"dip\"", "with"),
        ("timing", "landmark = \"dip\"\nwith = \"top\"", "above"),
        ("height", "landmark = \"dip\"\nabove = \"foot\"", "before"),
        ("level", "channel = \"force\"\nat = \"top\"\nlevel = \"foot\"", "landmark"),
        ("shape", "from = \"foot\"\nto = \"crest\"\nshape = \"flat\"", "at"),
        ("label", "landmark = \"dip\"\nlabel = \"dip\"", "to"),
    ];
    for (kind, body, key) in kinds {
        let body = format!("kind = \"{kind}\"\n{body}");
        rules(&[("r", &body)]);
        let what = format!("“{key}” has no place in a rule of kind {kind}; it may have ");
        refuses_rule(&format!("{body}\n{key} = \"crest\" #! {what}"));
    }
    refuses_rule("kind = \"presence\"\nlandmark = \"dip\"\nby_ms = 3 #! it may have landmark");
}

#[test]
fn what_a_rule_lacks_is_named() {
    for (body, words) in [
        ("kind = \"presence\"", "a rule of kind presence needs “landmark = …”"),
        ("kind = \"timing\"\nwith = \"top\"", "timing needs “landmark = …”"),
        ("kind = \"height\"\nabove = \"foot\"", "height needs “landmark = …”"),
        (TIMING, "relative to what; add one of with, before, after, between"),
        (HEIGHT, "relative to what; add one of level_with, below, above, between"),
        ("kind = \"level\"\nat = \"top\"\nlevel = \"foot\"", "level needs “channel = …”"),
        ("kind = \"level\"\nchannel = \"force\"\nlevel = \"foot\"", "level needs “at = …”"),
        ("kind = \"level\"\nchannel = \"force\"\nat = \"top\"", "level needs “level = …”"),
        ("kind = \"shape\"\nto = \"crest\"\nshape = \"flat\"", "shape needs “from = …”"),
        ("kind = \"shape\"\nfrom = \"foot\"\nshape = \"flat\"", "shape needs “to = …”"),
        ("kind = \"shape\"\nfrom = \"foot\"\nto = \"crest\"", "shape needs “shape = …”"),
        ("kind = \"label\"\nlandmark = \"dip\"", "label needs “label = …”"),
    ] {
        refuses_for_lack(body, words);
    }
}

#[test]
fn relations_and_distances_that_do_not_go_together_are_refused() {
    for (before, body) in [
        (TIMING, "with = \"top\"\nafter = \"stop\" #! both “with” and “after” are given; keep one"),
        (TIMING, "before = \"top\"\nafter = \"stop\" #! both “before” and “after”"),
        (TIMING, "with = \"top\"\nbetween = [\"top\", \"stop\"] #! both “with” and “between”"),
        (TIMING, "with = \"top\"\nby_ms = 20 #! “with” means at the same time / before or after"),
        (TIMING, "with = \"top\"\nby_mm = [1, 2] #! “with” means at the same time"),
        (TIMING, "with = \"top\"\nshare = 0.5 #! “share” goes only with between"),
        (
            TIMING,
            "between = [\"top\", \"stop\"]\nby_ms = 20 #! “by_ms” goes only with before and after",
        ),
        (
            TIMING,
            "between = [\"top\", \"stop\"]\nby_mm = 20 #! “by_mm” goes only with before and after",
        ),
        (TIMING, "between = [\"top\"] #! between needs two"),
        (
            TIMING,
            "after = \"top\"\nby_ms = 20\nby_mm = 2 #! both by_ms and by_mm are given; keep one",
        ),
        (TIMING, "after = \"top\"\nby_ms = [60, 20] #! a least and a most like [20, 60]"),
        (TIMING, "after = \"top\"\nby_ms = inf #! expected a number"),
        (TIMING, "after = \"top\"\nby_mm = nan #! expected a number"),
        (
            TIMING,
            "after = \"top\"\n\
             by_ms = -20 #! a distance is 0 or more; before and after say which way",
        ),
        (TIMING, "between = [\"top\", \"stop\"]\nshare = [0.5, 1.2] #! a share lies from 0"),
        (TIMING, "between = [\"top\", \"stop\"]\nshare = -0.1 #! a share lies from 0"),
        (TIMING, "between = [\"top\", \"stop\"]\nshare = [0.6, 0.4] #! a least and a most"),
        (
            TIMING,
            "between = [\"foot\", \"stop\"]\n\
             share = 0.5 #! an interval of drive / a distance in ms",
        ),
        (TIMING, "with = \"dip\" #! a landmark cannot be placed by itself"),
        (TIMING, "between = [\"dip\", \"top\"] #! a landmark cannot be placed by itself"),
        (HEIGHT, "above = \"dip@force\" #! a landmark cannot be placed by itself"),
        (HEIGHT, "below = \"crest\"\nabove = \"foot\" #! both “below” and “above”"),
        (HEIGHT, "level_with = \"foot\"\nby = 3 #! “by” goes only with above and below"),
        (HEIGHT, "above = \"foot\"\nshare = 0.5 #! “share” goes only with between"),
        (HEIGHT, "between = [\"foot\", \"crest\"]\nby = 3 #! “by” goes only with above and below"),
        (HEIGHT, "between = [\"foot\", \"crest\"]\nshare = 3 #! a share lies from 0"),
        (HEIGHT, "above = \"foot\"\nby = [5, 3] #! a least and a most"),
        (HEIGHT, "above = \"foot\"\nby = -3 #! above and below say which way"),
        (HEIGHT, "above = \"opens\" #! opens is an event and has no height"),
        (HEIGHT, "above = \"top\" #! dip is in N and top in V; their heights cannot be compared"),
        (HEIGHT, "between = [\"foot\", \"turn\"] #! dip is in N and turn in mm"),
        (
            "kind = \"height\"\nlandmark = \"opens\"\n",
            "above = \"foot\" #! opens is an event and has no height",
        ),
        (
            "kind = \"shape\"\nshape = \"flat\"\nfrom = \"dip\"\n",
            "to = \"dip\" #! cannot be placed by itself",
        ),
        ("kind = \"label\"\nlandmark = \"dip\"\n", "label = \" \" #! the label is empty"),
        ("kind = \"label\"\nlandmark = \"dip\"\n", "label = [] #! the label is empty"),
        ("kind = \"label\"\nlandmark = \"dip\"\n", "label = [\"a\", \"\"] #! the label is empty"),
    ] {
        refuses_rule(&format!("{before}{body}"));
    }
}

#[test]
fn aims_outside_their_window_are_refused() {
    const OUTSIDE: &str = "#! the aim lies outside what the rule itself allows";
    for body in [
        format!("{TIMING}with = \"top\"\naim = 3 {OUTSIDE}"),
        format!("{TIMING}after = \"top\"\naim = 0.5 {OUTSIDE}"),
        format!("{TIMING}before = \"top\"\naim = -3 {OUTSIDE}"),
        format!("{TIMING}after = \"top\"\nby_ms = [20, 60]\naim = 61 {OUTSIDE}"),
        format!("{TIMING}before = \"top\"\nby_ms = [20, 60]\naim = 19 {OUTSIDE}"),
        format!("{TIMING}between = [\"top\", \"stop\"]\naim = 1.1 {OUTSIDE}"),
        format!("{TIMING}between = [\"top\", \"stop\"]\nshare = [0.2, 0.4]\naim = 0.5 {OUTSIDE}"),
        format!("{HEIGHT}above = \"foot\"\nby = [2, 3]\naim = 1 {OUTSIDE}"),
        format!("{HEIGHT}between = [\"foot\", \"crest\"]\naim = -0.1 {OUTSIDE}"),
    ] {
        refuses_rule(&body);
    }
}

/// An aim that is no number would end as a time in the schematic.
#[test]
fn aims_must_be_numbers() {
    for aim in ["nan", "inf"] {
        let text = headed(&rule("r", &format!("{TIMING}after = \"top\"\naim = {aim}")));
        let found = Convention::from_toml(&text, &subject());
        let lines = found.map(|_| ()).map_err(|faults| faults.0[0].line);
        assert_eq!(lines, Err(text.lines().count()), "aim = {aim}");
    }
}

#[test]
fn points_and_tolerances_have_bounds() {
    for (key, value, words) in [
        ("points", "-1", "points must be 0 or more"),
        ("points", "nan", "points must be 0 or more"),
        ("tolerance_ms", "0", "tolerance_ms must be more than 0"),
        ("tolerance_mm", "-2", "tolerance_mm must be more than 0"),
        ("tolerance_percent", "inf", "tolerance_percent must be more than 0"),
        ("half_tolerance_mm", "-1", "half_tolerance_mm must be more than 0"),
        ("half_tolerance_mm", "2", "half_tolerance_mm must be more than tolerance_mm, which is 2"),
    ] {
        refuses_rule(&format!("{TIMING}with = \"top\"\n{key} = {value} #! {words}"));
    }
    let ok = rule("r", "kind = \"presence\"\nlandmark = \"dip\"\npoints = 0");
    read(&headed(&ok));
    for key in ["mm_per_s", "tolerance_ms", "tolerance_mm", "tolerance_percent"] {
        refuses(&headed(&format!("{key} = 0 #! {key} must be more than 0\n{ok}")));
    }
}

#[test]
fn an_id_used_twice_is_shown_the_second_time() {
    let body = "kind = \"presence\"\nlandmark = \"dip\"\n";
    let text = headed(&format!("{}{}", rule("a", body), rule("b", body)));
    let second = "id = \"a\" #! the id “a” is used twice; give each rule its own";
    refuses(&text.replace("id = \"b\"", second));
    // Also where the first of the two has another fault.
    let text = text.replacen("\"dip\"", "\"dop\" #! did you mean “dip”?", 1);
    refuses(&text.replace("id = \"b\"", second));
}

#[test]
fn unknown_keys_and_what_is_no_toml_are_shown_where_they_are() {
    let ok = rule("r", "kind = \"presence\"\nlandmark = \"dip\"");
    refuses(&headed(&format!("abuot = \"A\" #! no key “abuot”; did you mean “about”?\n{ok}")));
    refuses(&headed(
        &ok.replace("cause =", "landmrak = \"dip\" #! did you mean “landmark”?\ncause ="),
    ));
    refuses(&headed(&format!(
        "{ok}[[steps]]\ndraw = [\"pulse\"]\ntxt = \"T\" #! did you mean “text”?"
    )));
    refuses(&headed(&ok.replace("cause = \"C\"", "cause = \"C #! string")));
    refuses(&headed(&ok.replace("cause = \"C\"", "cause = 5 #! expected text in quotation marks")));
    refuses(&headed(&format!("{ok}text = \"twice\" #! given twice")));
}

/// What is said must speak of the file, not of how the program reads it.
#[test]
fn a_distance_or_a_label_of_the_wrong_type_says_what_was_expected() {
    for (body, words) in [
        (format!("{TIMING}after = \"top\"\nby_ms = \"20\""), "number"),
        (format!("{TIMING}after = \"top\"\nby_ms = [1, 2, 3]"), "[20, 60]"),
        ("kind = \"label\"\nlandmark = \"dip\"\nlabel = 5".to_owned(), "word"),
    ] {
        let text = headed(&rule("r", &body));
        let found = faults(&text);
        assert_eq!(found.0[0].line, text.lines().count(), "{found}");
        let what = &found.0[0].what;
        assert!(what.contains(words) && !what.contains("enum"), "{what}");
    }
}

#[test]
fn what_the_file_lacks_is_named() {
    let ok = rule("r", "kind = \"presence\"\nlandmark = \"dip\"");
    let all = headed(&ok);
    for key in ["title", "simplifies", "panels"] {
        let text: String =
            all.lines().filter(|line| !line.starts_with(key)).map(|l| format!("{l}\n")).collect();
        let found = faults(&text).to_string();
        assert!(found.contains(&format!("“{key} = …” is missing")), "{found}");
    }
    assert!(faults(&headed("")).to_string().contains("“rules = …” is missing"));
    let none = faults(&headed("rules = []\n"));
    assert_eq!((none.0.len(), none.0[0].line), (1, 1));
    assert!(none.0[0].what.contains("there are no rules; add one under [[rules]]"));
    let found = faults(&all.replace("cause = \"C\"\n", ""));
    assert_eq!((found.0[0].line, found.0[0].text.as_str()), (4, "[[rules]]"), "{found}");
    assert!(found.0[0].what.contains("“cause = …” is missing"), "{found}");
}

#[test]
fn all_faults_are_told_in_the_order_of_lines() {
    refuses(&headed(
        "tolerance_ms = 0 #! must be more than 0
mm_per_s = -1 #! must be more than 0
[[rules]]
id = \"one\"
kind = \"timing\"
landmark = \"crst\" #! did you mean “crest”?
with = \"tpo\"
text = \"T\"
cause = \"C\"
points = -1 #! 0 or more
[[steps]]
draw = [
    \"puls\", #! “puls”
    \"pulse\",
    \"dop\", #! “dop”
]
[[rules]]
id = \"one_more\"
kind = \"presence\"
text = \"T\"
cause = \"C\"
label = \"L\" #! “label” has no place
",
    ));
}

/// A text with some of everything, to be mutilated.
fn full() -> String {
    let bodies = [
        "kind = \"presence\"\nlandmark = \"crest\"\npoints = 2",
        "kind = \"timing\"\nlandmark = \"dip\"\nafter = \"top\"\nby_ms = [20, 60]\naim = 30",
        "kind = \"timing\"\nlandmark = \"clunk_onset\"\nbetween = [\"late_top\", \"late_end\"]\n\
         share = 0.5",
        "kind = \"height\"\nlandmark = \"dip\"\nbelow = \"crest@force\"\nby = 4",
        "kind = \"level\"\nchannel = \"force\"\nat = \"opens\"\nlevel = \"foot\"",
        "kind = \"shape\"\nfrom = \"foot\"\nto = \"crest\"\nshape = \"rising\"",
        "kind = \"label\"\nlandmark = \"dip\"\nlabel = [\"dip\", \"Senke – tief\"]\n\
         tolerance_mm = 3",
    ];
    let rules = bodies.iter().enumerate().map(|(i, body)| rule(&format!("r{i}"), body));
    let rules: String = rules.collect();
    headed(&format!("bars = [\"gate\"]\n{rules}[[steps]]\ndraw = [\"pulse\"]\ncause = \"Ü\"\n"))
}

/// Reads a text, and checks that what is said of it points into it.
fn faults_point_into(text: &str, subject: &Subject) -> Result<(), TestCaseError> {
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    match Convention::from_toml(text, subject) {
        Ok(convention) => {
            prop_assert!(!convention.rules.is_empty());
            for rule in &convention.rules {
                prop_assert!((1..=lines.len()).contains(&rule.line));
            }
        }
        Err(faults) => {
            prop_assert!(!faults.0.is_empty());
            prop_assert!(faults.0.is_sorted_by_key(|fault| fault.line));
            for fault in &faults.0 {
                prop_assert!((1..=lines.len() + 1).contains(&fault.line), "{}", fault);
                let shown = lines.get(fault.line - 1).copied().unwrap_or_default();
                prop_assert_eq!(&fault.text, shown);
                prop_assert!(!fault.what.is_empty());
            }
        }
    }
    Ok(())
}

/// Pieces to put in where a text is cut.
const PIECES: [&str; 16] = [
    "",
    "\"",
    "[",
    "]",
    "\n",
    "=",
    "nan",
    "-1e300",
    "9e999",
    "[[rules]]\n",
    "é",
    "\u{0}",
    "#",
    "'''",
    "\"dip\"",
    "with = \"foot\"\n",
];

proptest! {
    // The seed is fixed so that a change is judged by the same texts as the one before it;
    // PROPTEST_CASES and PROPTEST_RNG_SEED explore further.
    #![proptest_config(ProptestConfig {
        rng_seed: proptest::test_runner::RngSeed::Fixed(
            std::env::var("PROPTEST_RNG_SEED").map_or(20_261_125, |seed| seed.parse().unwrap()),
        ),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]
    #[test]
    fn no_text_stops_the_reader(text in any::<String>(), lines in "([a-z]{1,8} = .{0,12}\n){0,8}") {
        let subject = subject();
        faults_point_into(&text, &subject)?;
        faults_point_into(&lines, &subject)?;
        faults_point_into(&headed(&lines), &subject)?;
    }

    #[test]
    fn no_mutilated_convention_stops_the_reader(
        cuts in prop::collection::vec((any::<Index>(), 0..12usize, 0..PIECES.len()), 1..4),
    ) {
        let mut letters: Vec<char> = full().chars().collect();
        for (at, length, piece) in cuts {
            let at = at.index(letters.len());
            let end = (at + length).min(letters.len());
            letters.splice(at..end, PIECES[piece].chars());
        }
        let text: String = letters.into_iter().collect();
        faults_point_into(&text, &subject())?;
    }

    /// Swapping whole values keeps the TOML whole, so that the rules themselves are reached.
    #[test]
    fn no_swapped_values_stop_the_reader(
        swaps in prop::collection::vec((any::<Index>(), any::<Index>()), 1..6),
    ) {
        let mut lines: Vec<String> = full().lines().map(str::to_owned).collect();
        for (a, b) in swaps {
            let (a, b) = (a.index(lines.len()), b.index(lines.len()));
            let (Some((key, _)), Some((_, value))) =
                (lines[a].split_once(" = "), lines[b].split_once(" = ")) else { continue };
            lines[a] = format!("{key} = {value}");
        }
        faults_point_into(&lines.join("\n"), &subject())?;
    }
}

/// What the schema and the reader must both refuse.
fn bad() -> Vec<String> {
    let ok = || rule("r", "kind = \"presence\"\nlandmark = \"dip\"");
    let bodies = [
        "kind = \"presense\"\nlandmark = \"dip\"",
        "landmark = \"dip\"",
        "kind = \"presence\"",
        "kind = \"presence\"\nlandmark = \"dop\"",
        "kind = \"presence\"\nlandmark = [\"dip\"]",
        "kind = \"presence\"\nlandmark = \"dip\"\nwith = \"top\"",
        "kind = \"presence\"\nlandmark = \"dip\"\nby_ms = 20",
        "kind = \"presence\"\nlandmark = \"dip\"\npoints = -1",
        "kind = \"presence\"\nlandmark = \"dip\"\ntolerance_ms = 0",
        "kind = \"presence\"\nlandmark = \"dip@drive\"",
        "kind = \"timing\"\nlandmark = \"dip\"",
        "kind = \"timing\"\nlandmark = \"dip\"\nwith = \"top\"\nafter = \"stop\"",
        "kind = \"timing\"\nlandmark = \"dip\"\nabove = \"foot\"",
        "kind = \"timing\"\nlandmark = \"dip\"\nafter = \"top\"\nby_ms = \"20\"",
        "kind = \"timing\"\nlandmark = \"dip\"\nafter = \"top\"\nby_ms = [1, 2, 3]",
        "kind = \"timing\"\nlandmark = \"dip\"\nbetween = [\"top\"]",
        "kind = \"height\"\nlandmark = \"dip\"\nwith = \"foot\"",
        "kind = \"level\"\nchannel = \"force\"\nat = \"top\"",
        "kind = \"level\"\nchannel = \"forse\"\nat = \"top\"\nlevel = \"foot\"",
        "kind = \"level\"\nchannel = \"force\"\nat = \"top\"\nlevel = \"bottom\"",
        "kind = \"shape\"\nfrom = \"foot\"\nto = \"crest\"\nshape = \"round\"",
        "kind = \"shape\"\nfrom = \"foot\"\nshape = \"flat\"",
        "kind = \"label\"\nlandmark = \"dip\"\nlabel = []",
        "kind = \"label\"\nlandmark = \"dip\"\nlabel = \"\"",
        "kind = \"label\"\nlandmark = \"dip\"",
    ];
    let rules = bodies.iter().map(|body| headed(&rule("r", body)));
    let files = [
        headed("rules = []"),
        headed(""),
        headed(&ok()).replace("title = \"T\"\n", ""),
        headed(&ok()).replace("simplifies = \"S\"\n", ""),
        headed(&ok()).replace("\"force\"", "\"forse\""),
        headed(&ok()).replace("cause = \"C\"\n", ""),
        headed(&format!("abuot = \"A\"\n{}", ok())),
        headed(&format!("mm_per_s = 0\n{}", ok())),
        headed(&format!("mm_per_s = \"100\"\n{}", ok())),
        headed(&format!("bars = [\"gait\"]\n{}", ok())),
        headed(&format!("{}[[steps]]\ntext = \"T\"\n", ok())),
        headed(&format!("{}[[steps]]\ndraw = [\"pulse\"]\nwhy = \"W\"\n", ok())),
    ];
    rules.chain(files).collect()
}

#[test]
fn the_schema_agrees_with_the_reader() {
    let workspace = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
    let text = |path: &str| std::fs::read_to_string(format!("{workspace}/{path}")).unwrap();
    let heart: Subject = toml::from_str(&text("heart/data/cardiac.toml")).unwrap();
    let shipped = std::fs::read_dir(format!("{workspace}/cardiac/data/conventions")).unwrap();
    let shipped: Vec<String> =
        shipped.map(|entry| std::fs::read_to_string(entry.unwrap().path()).unwrap()).collect();
    assert!(shipped.len() >= 5);
    for text in &shipped {
        Convention::from_toml(text, &heart).unwrap();
    }
    let press = subject();
    let good = vec![
        full(),
        headed(&rule(
            "r",
            "kind = \"timing\"\nlandmark = \"dip@recoil\"\nbefore = \"closes\"\nby_mm = 3",
        ))
        .replace("\"travel\"", "\"recoil\""),
        headed(&rule(
            "r",
            "kind = \"level\"\nchannel = \"force\"\nat = \"top\"\nlevel = \"baseline\"",
        )),
    ];
    good.iter().for_each(|text| drop(read(text)));
    let bad = bad();
    for text in &bad {
        faults(text);
    }
    let given = json!([
        { "schema": schema(&heart), "texts": shipped },
        { "schema": schema(&press), "texts": good },
        { "schema": schema(&press), "texts": bad },
    ]);
    let Some(found) = validated(&given) else { return };
    for (found, text) in found[0].iter().zip(&shipped).chain(found[1].iter().zip(&good)) {
        assert_eq!(*found, Value::Null, "{text}");
    }
    assert_eq!(found[2].len(), bad.len());
    for (found, text) in found[2].iter().zip(&bad) {
        assert!(found.is_string(), "the schema accepts {text}");
    }
}

/// What the script finds in each text; nothing where no Python is named.
fn validated(given: &Value) -> Option<Vec<Vec<Value>>> {
    let Some(python) = std::env::var_os(PYTHON) else {
        println!("skipped: set {PYTHON} to a Python with jsonschema; `cargo xtask test` does");
        return None;
    };
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/schema_check.py");
    let mut run = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the Python that the variable names can be started");
    let mut input = run.stdin.take().unwrap();
    // The script reads all before it writes, so writing first cannot block for ever.
    input.write_all(given.to_string().as_bytes()).unwrap();
    drop(input);
    let output = run.wait_with_output().unwrap();
    assert!(output.status.success(), "the script failed; its words are above");
    Some(serde_json::from_slice(&output.stdout).unwrap())
}

#[test]
fn rules_depend_on_those_above_and_share_caps() {
    let body = "kind = \"presence\"\nlandmark = \"dip\"\n";
    let b = format!("{body}points = 2\ndepends_on = [\"a\"]\ncap = \"dips\"");
    let c = format!("{body}depends_on = [\"a\", \"b\"]\ncap = \"dips\"");
    let top = "caps = { dips = 2.5 }\nreference_missing = \"does_not_count\"\n";
    let convention =
        read(&format!("{top}{}{}{}", headed(&rule("a", body)), rule("b", &b), rule("c", &c)));
    assert_eq!(convention.reference_missing, ReferenceMissing::DoesNotCount);
    assert_eq!(convention.caps, [Cap { name: "dips".to_owned(), points: 2.5 }]);
    let needs: Vec<&[String]> = convention.rules.iter().map(|rule| &rule.depends_on[..]).collect();
    assert_eq!(needs, [&[][..], &["a".to_owned()], &["a".to_owned(), "b".to_owned()]]);
    // One of its own, and two that are worth three but share a cap of two and a half.
    assert_eq!(convention.worth(convention.rules.iter()), 3.5);
    assert_eq!(convention.worth(convention.rules.iter().take(2)), 3.0);
    assert_eq!(convention.worth(convention.rules.iter().take(0)), 0.0);
}

#[test]
fn dependence_and_caps_that_cannot_work_are_refused() {
    let body = "kind = \"presence\"\nlandmark = \"dip\"\n";
    let two = |a: &str, b: &str| {
        format!("{}{}", headed(&rule("a", &format!("{body}{a}"))), rule("b", &format!("{body}{b}")))
    };
    refuses(&two("", "depends_on = [\"aa\"] #! there is no rule “aa”; did you mean “a”?"));
    let later = "a rule can depend on those above it only; move “b” above this one";
    refuses(&two(&format!("depends_on = [\"b\"] #! {later}"), ""));
    refuses(&two("", "depends_on = [\"b\"] #! a rule cannot depend on itself; take it away"));
    let circle = "this rule and “b” depend on each other; take it away from one of them";
    refuses(&two(&format!("depends_on = [\"b\"] #! {circle}"), "depends_on = [\"a\"]"));
    refuses(&two("", "cap = \"x\" #! there is no cap “x”; say what it comes to before the rules"));
    for (cap, words) in [
        ("{ x = 0 }", "the cap “x” must be more than 0"),
        (
            "{ x = 2 }",
            "the cap “x” never takes effect: it is 2, and its rules are worth 2 together",
        ),
    ] {
        let both = two("cap = \"x\"", "cap = \"x\"");
        refuses(&format!("caps = {cap} #! {words}\n{both}"));
    }
    let one = two("cap = \"x\"", "");
    refuses(&format!("caps = {{ x = 1 }} #! no two rules share the cap “x”\n{one}"));
    let misspelt = format!("caps = {{ notch = 1 }}\n{}", two("cap = \"notch\"", "cap = \"notch\""));
    let third = rule("c", &format!("{body}cap = \"notchs\" #! did you mean “notch”?"));
    refuses(&format!("{misspelt}{third}"));
    for (wrong, words) in [
        ("caps = [\"a\"]", "expected names with what they come to"),
        ("reference_missing = true", "expected text in quotation marks"),
        ("tolerance_mm = \"5 mm\"", "expected a number without quotation marks"),
    ] {
        refuses(&format!("{wrong} #! {words}\n{}", two("", "")));
    }
    refuses(&two("", "depends_on = \"a\" #! expected a list in brackets, like [\"s1_on_r\"]"));
    let late = "“caps” is about the whole file; write it before the first [[rules]]";
    refuses(&two("", &format!("caps = {{ x = 1 }} #! {late}")));
    let words = "reference_missing must be \"ask\", \"not_met\" or \"does_not_count\"";
    refuses(&format!("reference_missing = \"no\" #! {words}\n{}", two("", "")));
}
