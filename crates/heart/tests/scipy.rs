//! The integrator against an outside one: the same equations, written out once more in
//! `scipy_check.py` and solved by SciPy at tight tolerance.
#![allow(clippy::print_stdout, reason = "a test says what it found, and why it is skipped")]
#![allow(clippy::unwrap_used, reason = "in a test, what fails should stop it")]

use std::io::Write as _;
use std::process::{Command, Stdio};

use heart::{Equations, Heart, condition, conditions};
use serde_json::{Value, json};

/// The variable that names a Python with SciPy; without it these tests are skipped.
const PYTHON: &str = "INCISURA_PYTHON";

/// Largest difference anywhere over a group of beats, in mmHg and in mL.
const AGREEMENT: f64 = 0.1;

/// Largest relative difference between the two right-hand sides.
const SAME_EQUATIONS: f64 = 1e-9;

#[test]
fn both_right_hand_sides_are_the_same_equations() {
    let hearts = conditions().into_iter().map(|one| (one.name, one.heart)).collect::<Vec<_>>();
    let given = hearts.iter().map(|(name, heart)| {
        let equations = Equations::new(heart);
        let states = random_states(&equations.start(), 60);
        (name.clone(), described(&equations, &states))
    });
    for (name, found) in checked(given) {
        same_equations(&name, &found);
    }
}

#[test]
fn the_integrator_agrees_with_scipy() {
    let heart = |name: &str| condition(name).unwrap().heart;
    let at_rate = |rate_bpm| {
        let mut heart = Heart::default();
        heart.parameters.set("rate_bpm", rate_bpm).unwrap();
        heart
    };
    // The longest first: the script works on several at a time.
    let hearts = [
        ("atrial fibrillation", heart("atrial_fibrillation")),
        ("rest", Heart::default()),
        ("50 a minute", at_rate(50.0)),
        ("110 a minute", at_rate(110.0)),
        ("aortic stenosis", heart("aortic_stenosis")),
        ("mitral regurgitation", heart("mitral_regurgitation")),
    ];
    let given = hearts.map(|(name, heart)| {
        let equations = Equations::new(&heart);
        let states = equations.states(&equations.steady().unwrap());
        let mut given = described(&equations, &states);
        given["states"] = json!(states);
        (name.to_owned(), given)
    });
    for (name, found) in checked(given.into_iter()) {
        same_equations(&name, &found);
        for (what, unit) in [
            ("pressure", "mmHg"),
            ("volume", "mL"),
            ("pressure_return", "mmHg"),
            ("volume_return", "mL"),
        ] {
            let worst = &found[what];
            let by = worst["by"].as_f64().unwrap();
            println!("{name}: {what} {by:.5} {unit} ({} at {} s)", worst["place"], worst["time_s"]);
            assert!(by <= AGREEMENT, "{name}: {what} differs by {worst} {unit}");
        }
    }
}

fn same_equations(name: &str, found: &Value) {
    let relative = found["rate"]["relative"].as_f64().unwrap();
    println!("{name}: rates {relative:.1e}");
    assert!(relative <= SAME_EQUATIONS, "{name}: rates differ: {}", found["rate"]);
}

/// What the script needs of one heart, with rates at some of `states` to compare.
fn described(equations: &Equations, states: &[[f64; Equations::STATES]]) -> Value {
    let period_s = equations.period_s();
    let last = (states.len() - 1) as f64;
    let samples = states.iter().enumerate().step_by((states.len() / 60).max(1));
    let samples = samples.map(|(index, state)| {
        let time_s = period_s * index as f64 / last;
        json!({ "time_s": time_s, "state": state, "rate": equations.rate(time_s, state) })
    });
    json!({
        "constants": serde_json::to_value(equations.constants()).unwrap(),
        "period_s": period_s,
        "samples": samples.collect::<Value>(),
    })
}

/// States all over what a circulation can be in and a little beyond.
fn random_states(start: &[f64; Equations::STATES], count: usize) -> Vec<[f64; Equations::STATES]> {
    let mut seed = 0x2545_f491_4f6c_dd1d_u64;
    let mut between = |low: f64, high: f64| {
        seed ^= seed << 13;
        seed ^= seed >> 7;
        seed ^= seed << 17;
        low + (high - low) * (seed >> 11) as f64 / (1_u64 << 53) as f64
    };
    let mut state = || {
        std::array::from_fn(|i| match i {
            0..15 => start[i] * between(0.3, 2.2),
            15..26 => between(-300.0, 600.0),
            _ => between(-0.05, 1.05),
        })
    };
    (0..count).map(|_| state()).collect()
}

/// What the script finds for each heart; nothing where no Python is named.
fn checked(given: impl Iterator<Item = (String, Value)>) -> Vec<(String, Value)> {
    let Some(python) = std::env::var_os(PYTHON) else {
        println!("skipped: set {PYTHON} to a Python with SciPy; `cargo xtask test` does");
        return Vec::new();
    };
    let (names, hearts): (Vec<_>, Vec<_>) = given.unzip();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/scipy_check.py");
    let mut run = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the Python that the variable names can be started");
    let mut input = run.stdin.take().unwrap();
    // The script reads all before it writes, so writing first cannot block for ever.
    input.write_all(Value::from(hearts).to_string().as_bytes()).unwrap();
    drop(input);
    let output = run.wait_with_output().unwrap();
    assert!(output.status.success(), "the script failed; its words are above");
    let found: Vec<Value> = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(found.len(), names.len());
    names.into_iter().zip(found).collect()
}
