//! Questions against enumeration of the network, and bars against a cycle made by hand.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::collections::BTreeSet;

use convention::network::Minimal;
use convention::questions::{Kind, Question, Stands, questions};
use convention::{Check, Convention, Point, check, check_on};
use cycle::{Cycle, Event, Landmark, Subject, Trace};

const RULES: &str = r#"
title = "A test"
about = "Timing rules of every form."
simplifies = "Everything."
panels = [["ecg"], ["heart_sounds"], ["aortic_pressure"]]
bars = ["mitral", "aortic", "tricuspid", "pulmonary"]

[[rules]]
id = "s1_on_r"
kind = "timing"
landmark = "s1_onset"
with = "r_peak"
text = "S1 begins on the line of the R peak."
cause = "The ventricles contract"

[[rules]]
id = "s1_has_an_end"
kind = "presence"
landmark = "s1_end"
text = "S1 ends."
cause = "The walls come to rest"

[[rules]]
id = "rise_after_s1"
kind = "timing"
landmark = "pressure_foot"
after = "s1_onset"
by_ms = [20, 60]
text = "A short delay after S1 begins, the pressure starts to rise."
cause = "The ventricle must first raise its own pressure"

[[rules]]
id = "opens_at_rise"
kind = "timing"
landmark = "aortic_opens"
with = "pressure_foot"
text = "The pressure rises as soon as the aortic valve is open."
cause = "Blood enters the aorta"

[[rules]]
id = "mitral_before_rise"
kind = "timing"
landmark = "mitral_closes"
before = "pressure_foot"
text = "The mitral valve is shut before the pressure rises."
cause = "No blood may flow back"

[[rules]]
id = "top_near_t"
kind = "timing"
landmark = "systolic_peak"
before = "t_end"
by_ms = [10, 200]
text = "The pressure's top is before the end of T."
cause = "The ventricles begin to relax"

[[rules]]
id = "s2_in_t"
kind = "timing"
landmark = "s2_onset"
between = ["t_peak", "t_end"]
text = "S2 begins between the middle and the end of the T wave."
cause = "The aortic valve shuts"

[[rules]]
id = "notch_with_s2"
kind = "timing"
landmark = "dicrotic_notch"
with = "s2_onset"
text = "The notch is on the line of S2."
cause = "One closing makes both"

[[rules]]
id = "wave_after_notch"
kind = "timing"
landmark = "dicrotic_peak"
after = "dicrotic_notch"
text = "After the notch comes the dicrotic wave."
cause = "Blood rebounds from the closed valve"

[[rules]]
id = "t_is_there"
kind = "presence"
landmark = "p_peak"
text = "There is a P wave."
cause = "The atria depolarise"
"#;

fn subject() -> Subject {
    toml::from_str(include_str!("../../heart/data/cardiac.toml")).unwrap()
}

fn convention() -> Convention {
    match Convention::from_toml(RULES, &subject()) {
        Ok(convention) => convention,
        Err(faults) => panic!("{faults}"),
    }
}

/// One beat that repeats every second.
fn cycle() -> Cycle {
    let landmarks = [
        ("p_peak", "ecg", 0.10),
        ("r_peak", "ecg", 0.25),
        ("t_peak", "ecg", 0.50),
        ("t_end", "ecg", 0.58),
        ("s1_onset", "heart_sounds", 0.25),
        ("s1_end", "heart_sounds", 0.33),
        ("s2_onset", "heart_sounds", 0.56),
        ("pressure_foot", "aortic_pressure", 0.29),
        ("systolic_peak", "aortic_pressure", 0.45),
        ("dicrotic_notch", "aortic_pressure", 0.56),
        // Wrapped round: of the beat before, so 1.03 of this one.
        ("dicrotic_peak", "aortic_pressure", 0.03),
    ];
    let events = [
        ("mitral_closes", 0.252),
        ("aortic_opens", 0.29),
        ("aortic_closes", 0.557),
        ("mitral_opens", 0.64),
        ("tricuspid_closes", 0.22),
        ("tricuspid_opens", 0.60),
    ];
    let trace = |channel: &str| Trace::new(channel, "mV", 100.0, 0.0, vec![0.0; 100]);
    let mut landmarks: Vec<Landmark> = landmarks
        .into_iter()
        .map(|(name, channel, time_s)| Landmark {
            name: name.into(),
            channel: channel.into(),
            time_s,
            value: 0.0,
        })
        .collect();
    landmarks.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    Cycle {
        period_s: 1.0,
        traces: ["ecg", "heart_sounds", "aortic_pressure"].map(trace).into(),
        landmarks,
        events: events.map(|(name, time_s)| Event { name: name.into(), time_s }).into(),
        repeats: true,
        ..Cycle::default()
    }
}

/// The checks without and with a given reference channel.
fn checks() -> [Check; 2] {
    let (convention, subject) = (convention(), subject());
    let checks = [check(&convention, &subject), check_on(&convention, &subject, &cycle())];
    for check in &checks {
        assert!(check.consistent(), "{:?}", check.conflicts);
    }
    checks
}

fn asked(check: &Check, seed: u64, count: usize) -> Vec<Question> {
    questions(&convention(), &subject(), check, Some(&cycle()), seed, count)
}

/// Questions of one kind from several seeds.
fn of_kind(check: &Check, kind: Kind) -> Vec<Question> {
    let all = (0..12).flat_map(|seed| asked(check, seed, 40));
    let these: Vec<Question> = all.filter(|question| question.kind == kind).collect();
    assert!(these.len() > 20, "{} of {kind:?}", these.len());
    these
}

fn indices(question: &Question, check: &Check) -> Vec<usize> {
    let points = question.choices.iter().filter_map(|choice| match &choice.stands {
        Stands::Point(point) => check.index(point),
        Stands::Bar(_) | Stands::Together => None,
    });
    points.collect()
}

fn permutations(count: usize) -> Vec<Vec<usize>> {
    let Some(less) = count.checked_sub(1) else { return vec![Vec::new()] };
    let inserted = |shorter: Vec<usize>| {
        (0..count).map(move |place| {
            let mut longer = shorter.clone();
            longer.insert(place, less);
            longer
        })
    };
    permutations(less).into_iter().flat_map(inserted).collect()
}

/// Every set of choices.
fn sets(count: usize) -> impl Iterator<Item = Vec<usize>> {
    (0..1_usize << count).map(move |bits| (0..count).filter(|i| bits >> i & 1 == 1).collect())
}

/// Whether `later` may be written before `earlier`: unless it is at least as late in every
/// solution, and later in some.
fn may_swap(minimal: &Minimal, earlier: usize, later: usize) -> bool {
    let (least, most) = (minimal.least(earlier, later), minimal.most(earlier, later));
    match (least, most) {
        (Some(0), Some(0)) => true,
        (Some(least), _) => least < 0,
        (None, _) => true,
    }
}

/// The points that a question names besides its choices, by their indices.
fn about(question: &Question, check: &Check) -> Vec<usize> {
    question.about.iter().map(|point| check.index(point).unwrap()).collect()
}

#[test]
fn an_order_is_right_exactly_if_it_extends_what_the_rules_imply() {
    for check in &checks() {
        let minimal = check.minimal.as_ref().unwrap();
        let mut sizes = BTreeSet::new();
        for question in of_kind(check, Kind::Order) {
            let points = indices(&question, check);
            assert_eq!(points.len(), question.choices.len());
            sizes.insert(points.len());
            let given: Vec<usize> = (0..points.len()).collect();
            assert!(!question.check(&given).right, "given in order: {question:#?}");
            assert!(question.check(&question.answer).right);
            if points.len() > 6 {
                continue;
            }
            for order in permutations(points.len()) {
                let first_wrong = order.iter().enumerate().find_map(|(place, &late)| {
                    let early = order[..place].iter().rev();
                    let wrong = |&&early: &&usize| !may_swap(minimal, points[late], points[early]);
                    early.clone().find(wrong).map(|&early| (early, late))
                });
                let marked = question.check(&order);
                assert_eq!(marked.right, first_wrong.is_none(), "{order:?} of {question:#?}");
                if let Some((early, late)) = first_wrong {
                    let (early, late) = (&question.choices[early], &question.choices[late]);
                    let start = format!("“{}” is put before “{}”", early.text, late.text);
                    assert!(marked.why.starts_with(&start), "{}", marked.why);
                }
            }
            assert!(!question.check(&given[1..]).right, "one left out");
            let twice: Vec<usize> = given[1..].iter().chain(&given[1..2]).copied().collect();
            assert!(!question.check(&twice).right, "one twice");
        }
        assert!(sizes.iter().all(|size| (3..=7).contains(size)) && sizes.len() > 2, "{sizes:?}");
    }
}

#[test]
fn which_comes_first_is_asked_where_it_is_decided_and_decided_by_the_network() {
    for check in &checks() {
        let minimal = check.minimal.as_ref().unwrap();
        let mut answers = BTreeSet::new();
        for question in of_kind(check, Kind::First) {
            let [a, b] = indices(&question, check)[..] else { panic!("{question:#?}") };
            assert_eq!(question.choices[2].stands, Stands::Together);
            let right = match (minimal.least(a, b), minimal.least(b, a)) {
                (Some(least), _) if least > 0 => 0,
                (_, Some(least)) if least > 0 => 1,
                (Some(0), Some(0)) => 2,
                _ => panic!("not decided: {question:#?}"),
            };
            answers.insert(right);
            for set in sets(3) {
                assert_eq!(question.check(&set).right, set == [right], "{set:?} {question:#?}");
            }
        }
        assert_eq!(answers, BTreeSet::from([0, 1, 2]));
    }
}

#[test]
fn what_must_come_between_is_decided_by_the_network() {
    for check in &checks() {
        let minimal = check.minimal.as_ref().unwrap();
        let later = |a, b| minimal.least(a, b).is_some_and(|least| least > 0);
        for question in of_kind(check, Kind::Between) {
            let [from, to] = about(&question, check)[..] else { panic!("{question:#?}") };
            let points = indices(&question, check);
            let right: Vec<usize> = (0..points.len())
                .filter(|&i| later(from, points[i]) && later(points[i], to))
                .collect();
            assert!(!right.is_empty() && right.len() < points.len(), "{question:#?}");
            for (index, &point) in points.iter().enumerate() {
                let outside = later(point, from) || later(to, point);
                assert!(outside || right.contains(&index), "may be between: {question:#?}");
            }
            for set in sets(points.len()) {
                assert_eq!(question.check(&set).right, set == right, "{set:?} of {question:#?}");
            }
        }
    }
}

/// Whether a bar is on, from the times in the hand-made cycle, written out.
fn on(bar: &str, time_s: f64) -> bool {
    let time_s = time_s.rem_euclid(1.0);
    match bar {
        "mitral" => !(0.252..0.64).contains(&time_s),
        "aortic" => (0.29..0.557).contains(&time_s),
        "tricuspid" => !(0.22..0.60).contains(&time_s),
        _ => panic!("the cycle has no {bar}"),
    }
}

#[test]
fn bars_are_on_as_the_events_say_also_round_the_end_of_the_beat() {
    let (check, cycle) = (&checks()[0], cycle());
    let mut points = BTreeSet::new();
    for question in of_kind(check, Kind::Bars) {
        let [at] = about(&question, check)[..] else { panic!("{question:#?}") };
        let point = &check.points[at];
        let time_s = cycle.time_of(&point.name).unwrap();
        points.insert(point.name.as_str());
        let bars: Vec<&str> = question
            .choices
            .iter()
            .map(|choice| match &choice.stands {
                Stands::Bar(bar) => bar.as_str(),
                _ => panic!("{question:#?}"),
            })
            .collect();
        assert_eq!(bars, ["mitral", "aortic", "tricuspid"], "the cycle has no pulmonary valve");
        let right: Vec<usize> = (0..3).filter(|&index| on(bars[index], time_s)).collect();
        for set in sets(3) {
            assert_eq!(question.check(&set).right, set == right, "{set:?} of {question:#?}");
        }
    }
    // R and S1 are 2 ms before the mitral valve closes; the foot is where the aortic opens,
    // and the notch is 3 ms after it closes.
    let clear = ["p_peak", "t_peak", "t_end", "s1_end", "systolic_peak", "dicrotic_peak"];
    assert_eq!(points, BTreeSet::from(clear));
}

#[test]
fn bars_of_a_cycle_that_does_not_repeat_go_on_to_its_ends() {
    let (convention, subject, check) = (convention(), subject(), &checks()[0]);
    let mut cycle = cycle();
    cycle.repeats = false;
    let all = questions(&convention, &subject, check, Some(&cycle), 1, 5000);
    let bars: Vec<&Question> = all.iter().filter(|q| q.kind == Kind::Bars).collect();
    assert_eq!(bars.len(), 6);
    for question in bars {
        let at = about(question, check)[0];
        let time_s = cycle.time_of(&check.points[at].name).unwrap();
        let bar = |index: &usize| on(["mitral", "aortic", "tricuspid"][*index], time_s);
        assert_eq!(question.answer, (0..3).filter(bar).collect::<Vec<usize>>(), "{question:#?}");
    }
}

#[test]
fn without_a_model_or_with_contradictory_rules_less_is_asked() {
    let (convention, subject) = (convention(), subject());
    let without = questions(&convention, &subject, &checks()[0], None, 5, 500);
    assert!(!without.is_empty() && without.iter().all(|q| q.kind != Kind::Bars));
    let absurd = RULES.replace("after = \"dicrotic_notch\"", "before = \"s1_onset\"");
    let absurd = Convention::from_toml(&absurd, &subject).unwrap();
    let found = check(&absurd, &subject);
    assert!(!found.consistent());
    let bars = questions(&absurd, &subject, &found, Some(&cycle()), 5, 500);
    assert!(!bars.is_empty() && bars.iter().all(|q| q.kind == Kind::Bars));
    assert_eq!(questions(&absurd, &subject, &found, None, 5, 500), []);
}

#[test]
fn a_seed_decides_the_questions() {
    let check = &checks()[0];
    for seed in 0..20 {
        let once = asked(check, seed, 8);
        assert_eq!(once.len(), 8);
        assert_eq!(once, asked(check, seed, 8));
        assert_ne!(once, asked(check, seed + 1, 8));
        let kinds: Vec<Kind> = once.iter().map(|question| question.kind).collect();
        for kind in [Kind::Order, Kind::First, Kind::Between, Kind::Bars] {
            assert_eq!(kinds.iter().filter(|&&other| other == kind).count(), 2, "{kinds:?}");
        }
    }
    assert_eq!(asked(check, 3, 0), []);
    // On every platform alike: written down once.
    let written: Vec<String> = asked(check, 1, 4).iter().map(brief).collect();
    let before = [
        "Order s1_end dicrotic_peak p_peak r_peak t_peak [2, 3, 0, 4, 1]",
        "Bars p_peak mitral aortic tricuspid [0, 2]",
        "Between r_peak systolic_peak aortic_opens dicrotic_notch dicrotic_peak t_end s2_onset [0]",
        "First t_end s1_end together [1]",
    ];
    assert_eq!(written, before);
}

/// A question without its wording.
fn brief(question: &Question) -> String {
    let choices = question.choices.iter().map(|choice| match &choice.stands {
        Stands::Point(point) => point.name.as_str(),
        Stands::Bar(bar) => bar.as_str(),
        Stands::Together => "together",
    });
    let about = question.about.iter().map(|point| point.name.as_str());
    let names: Vec<&str> = about.chain(choices).collect();
    format!("{:?} {} {:?}", question.kind, names.join(" "), question.answer)
}

#[test]
fn no_question_is_asked_twice() {
    for check in &checks() {
        let all = asked(check, 9, 5000);
        let keys: BTreeSet<String> = all
            .iter()
            .map(|question| {
                let mut named: Vec<&str> =
                    question.choices.iter().map(|choice| choice.text.as_str()).collect();
                named.sort_unstable();
                // The two of a pair may come either way round in the prompt.
                match question.kind {
                    Kind::Order | Kind::First => format!("{:?} {named:?}", question.kind),
                    Kind::Between | Kind::Bars => question.prompt.clone(),
                }
            })
            .collect();
        assert_eq!(keys.len(), all.len());
    }
}

#[test]
fn what_is_trivial_comes_only_when_nothing_else_is_left() {
    let check = &checks()[0];
    let trivial = |question: &&Question| {
        let points = indices(question, check);
        let name = |index: usize| check.points[index].name.as_str();
        question.kind == Kind::First
            && points.iter().all(|&index| ["s1_onset", "s1_end"].contains(&name(index)))
    };
    assert_eq!(asked(check, 2, 5000).iter().filter(trivial).count(), 1);
    for seed in 0..50 {
        assert_eq!(asked(check, seed, 30).iter().filter(trivial).count(), 0);
    }
}

#[test]
fn explanations_name_the_rules_of_the_chains_and_no_others() {
    let convention = convention();
    let named = |text: &str| -> BTreeSet<String> {
        let ids = convention.rules.iter().map(|rule| rule.id.clone());
        ids.filter(|id| text.contains(&format!("rule {id}"))).collect()
    };
    for check in &checks() {
        let minimal = check.minimal.as_ref().unwrap();
        let chain = |a: usize, b: usize| {
            let links = minimal.why_least(a, b).into_iter().chain(minimal.why_least(b, a));
            links.filter_map(|link| link.rule).map(|rule| convention.rules[rule].id.clone())
        };
        for question in of_kind(check, Kind::First) {
            let [a, b] = indices(&question, check)[..] else { panic!("{question:#?}") };
            let (first, then) = if question.answer == [1] { (b, a) } else { (a, b) };
            let wanted: BTreeSet<String> = minimal
                .why_least(first, then)
                .iter()
                .filter_map(|link| link.rule)
                .map(|rule| convention.rules[rule].id.clone())
                .collect();
            let rules: BTreeSet<String> = question.rules.iter().cloned().collect();
            assert_eq!(rules, named(&question.explanation), "{question:#?}");
            assert_eq!(rules, wanted, "{question:#?}");
            for id in rules {
                let text = convention.rule(&id).unwrap().text.trim_end_matches('.');
                assert!(question.explanation.contains(text), "{question:#?}");
            }
        }
        for kind in [Kind::Order, Kind::Between] {
            for question in of_kind(check, kind) {
                let mut points = indices(&question, check);
                if kind == Kind::Between {
                    points.extend(about(&question, check));
                }
                let pairs = points.iter().flat_map(|&a| points.iter().map(move |&b| (a, b)));
                let allowed: BTreeSet<String> = pairs.flat_map(|(a, b)| chain(a, b)).collect();
                let rules: BTreeSet<String> = question.rules.iter().cloned().collect();
                assert_eq!(rules, named(&question.explanation), "{question:#?}");
                assert!(rules.is_subset(&allowed), "{question:#?}");
                for pair in &question.pairs {
                    let (first, then) = (points[pair.first], points[pair.then]);
                    let chain: BTreeSet<String> = chain(first, then).collect();
                    assert!(named(&pair.why).is_subset(&chain), "{pair:#?}");
                }
            }
        }
        for question in of_kind(check, Kind::Bars) {
            assert_eq!(named(&question.explanation), BTreeSet::new());
        }
    }
}

#[test]
fn a_wrong_choice_is_told_why() {
    let check = &checks()[0];
    let question = of_kind(check, Kind::Between).swap_remove(0);
    let marked = question.check(&[]);
    let first = question.choices[question.answer[0]].why.as_deref().unwrap();
    assert!(!marked.right && marked.why.contains(first), "{}", marked.why);
    let wrong = (0..question.choices.len()).find(|i| !question.answer.contains(i)).unwrap();
    let mut more = question.answer.clone();
    more.push(wrong);
    assert_eq!(Some(question.check(&more).why), question.choices[wrong].why);
    assert!(!question.check(&[99]).right);
}

#[test]
fn a_wrong_order_is_told_why_in_the_rules_own_words() {
    let check = &checks()[1];
    let questions = of_kind(check, Kind::Order);
    let mut whys = questions.iter().flat_map(|question| &question.pairs).filter(|pair| {
        pair.why.starts_with("The R peak comes before the foot of the pressure rise.")
    });
    assert_eq!(
        whys.next().unwrap().why,
        "The R peak comes before the foot of the pressure rise. “S1 begins on the line of the R \
         peak” (rule s1_on_r): the onset of the first heart sound is at the same time as the R \
         peak. The ventricles contract. “A short delay after S1 begins, the pressure starts to \
         rise” (rule rise_after_s1): the foot of the pressure rise comes after the onset of the \
         first heart sound. The ventricle must first raise its own pressure."
    );
}

#[test]
fn a_question_can_be_written_down() {
    let all = asked(&checks()[0], 4, 8);
    let bars = all.iter().find(|question| question.kind == Kind::Bars).unwrap();
    let json = serde_json::to_value(bars).unwrap();
    assert_eq!(json["kind"], "bars");
    assert_eq!(json["choices"][0]["stands"]["bar"], "mitral");
    let first = all.iter().find(|question| question.kind == Kind::First).unwrap();
    let json = serde_json::to_value(first).unwrap();
    assert_eq!(json["choices"][2]["stands"], "together");
    let point = Point::new(json["choices"][0]["stands"]["point"]["name"].as_str().unwrap(), None);
    assert!(subject().title_of(&point.name).is_some());
}
