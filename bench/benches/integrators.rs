//! The heart's fixed-step integrator beside a library's and SciPy's, on the same equations in
//! the same run: time and accuracy over one beat, then the way to the steady state.
#![allow(clippy::print_stdout, reason = "the comparison is what this program is for")]

use std::cell::Cell;
use std::hint::black_box;
use std::io::Write as _;
use std::process::{Command, Stdio};
use std::time::Instant;

use diffsol::{
    DiffsolError, MatrixCommon as _, NalgebraMat, OdeBuilder, OdeEquations, OdeSolverMethod,
};
use heart::{Equations, Heart};
use serde::Deserialize;

const STATES: usize = Equations::STATES;
const VOLUMES: usize = 15;
type State = [f64; STATES];

/// The variable that names a Python with SciPy.
const PYTHON: &str = "INCISURA_PYTHON";

/// Largest change of any number of the state over a beat that counts as steady, as in `heart`.
const STEADY: f64 = 1e-5;

/// Each of SciPy's two searches ends after so many seconds, steady or not.
const SCIPY_BUDGET_S: f64 = 40.0;

/// Steps of the reference for each of ours. Its error at kinks falls with the square of this.
const FINER: usize = 64;

const OURS: &str = "ours: RK4, fixed steps";

/// One way to integrate a beat from the steady state.
struct Row {
    name: String,
    evaluations: usize,
    beat_ms: f64,
    error_ml: f64,
    /// Only known when SciPy's side has worked it out.
    error_mmhg: Option<f64>,
}

fn main() {
    let equations = Equations::new(&Heart::default());
    let steady = equations.steady().expect("the resting heart settles");
    let ours = equations.states(&steady);
    let reference = reference(&equations, &steady, ours.len() - 1);
    println!("resting heart, {} ms a beat", 1000.0 * equations.period_s());

    let mut rows = vec![Row {
        name: OURS.to_owned(),
        evaluations: 4 * (ours.len() - 1),
        beat_ms: best_ms(|| black_box(equations.states(&steady))),
        error_ml: error_ml(&ours, &reference),
        error_mmhg: None,
    }];
    let mut trajectories = vec![(OURS.to_owned(), ours)];
    for tolerance in [1e-4, 1e-6] {
        for (method, solve) in LIBRARY {
            let name = format!("diffsol {method}, {tolerance:.0e}");
            let count = Cell::new(0);
            let times = times(&equations, reference.len());
            match solve(&equations, &steady, tolerance, &count, &times) {
                Ok(states) => {
                    rows.push(Row {
                        name: name.clone(),
                        evaluations: count.get(),
                        beat_ms: best_ms(|| {
                            black_box(solve(&equations, &steady, tolerance, &count, &times))
                        }),
                        error_ml: error_ml(&states, &reference),
                        error_mmhg: None,
                    });
                    trajectories.push((name, states));
                }
                Err(error) => println!("{name} gives up: {error}"),
            }
        }
    }

    let scipy = scipy(&equations, &reference, &trajectories);
    if let Some(scipy) = &scipy {
        for row in &mut rows {
            row.error_mmhg = scipy.errors.get(&row.name).map(|error| error.mmhg);
        }
        rows.extend(scipy.methods.iter().map(|found| Row {
            name: format!("SciPy {}, {:.0e}", found.method, found.tolerance),
            evaluations: found.evaluations,
            beat_ms: 1000.0 * found.beat_s,
            error_ml: found.error.ml,
            error_mmhg: Some(found.error.mmhg),
        }));
    }
    print_beats(&rows);
    print_steady(&equations, scipy.as_ref());
}

/// Times at which trajectories are compared: `count` of them, both ends included.
fn times(equations: &Equations, count: usize) -> Vec<f64> {
    let last = (count - 1) as f64;
    (0..count).map(|index| equations.period_s() * index as f64 / last).collect()
}

/// The trajectory at `steps` equal steps, each made of many small ones.
fn reference(equations: &Equations, start: &State, steps: usize) -> Vec<State> {
    let h = equations.period_s() / (steps * FINER) as f64;
    let mut states = vec![*start];
    let mut y = *start;
    for step in 0..steps * FINER {
        let t = step as f64 * h;
        let moved = |k: &State, by: f64| -> State { std::array::from_fn(|i| y[i] + by * k[i]) };
        let k1 = equations.rate(t, &y);
        let k2 = equations.rate(t + h / 2.0, &moved(&k1, h / 2.0));
        let k3 = equations.rate(t + h / 2.0, &moved(&k2, h / 2.0));
        let k4 = equations.rate(t + h, &moved(&k3, h));
        y = std::array::from_fn(|i| y[i] + h / 6.0 * (k1[i] + 2.0 * (k2[i] + k3[i]) + k4[i]));
        if (step + 1) % FINER == 0 {
            states.push(y);
        }
    }
    states
}

/// Solves one beat with a library's method, counting how often it needs the rate.
type Solve = fn(&Equations, &State, f64, &Cell<usize>, &[f64]) -> Result<Vec<State>, DiffsolError>;

/// The library's explicit method, and the implicit one for stiff equations.
const LIBRARY: [(&str, Solve); 2] = [("tsit45", explicit), ("BDF", implicit)];

fn explicit(
    equations: &Equations,
    start: &State,
    tolerance: f64,
    count: &Cell<usize>,
    times: &[f64],
) -> Result<Vec<State>, DiffsolError> {
    let problem = OdeBuilder::<NalgebraMat<f64>>::new()
        .rtol(tolerance)
        .atol([tolerance])
        .rhs(|y: &[f64], _: &[f64], t: f64, rate: &mut [f64]| {
            counted_rate(equations, count, t, y, rate);
        })
        .init(|_: &[f64], _: f64, y: &mut [f64]| y.copy_from_slice(start), STATES)
        .build()?;
    columns(problem.tsit45()?, times)
}

fn implicit(
    equations: &Equations,
    start: &State,
    tolerance: f64,
    count: &Cell<usize>,
    times: &[f64],
) -> Result<Vec<State>, DiffsolError> {
    let problem = OdeBuilder::<NalgebraMat<f64>>::new()
        .rtol(tolerance)
        .atol([tolerance])
        .rhs_implicit(
            |y: &[f64], _: &[f64], t: f64, rate: &mut [f64]| {
                counted_rate(equations, count, t, y, rate);
            },
            |y: &[f64], _: &[f64], t: f64, along: &[f64], product: &mut [f64]| {
                derivative(equations, count, t, y, along, product);
            },
        )
        .init(|_: &[f64], _: f64, y: &mut [f64]| y.copy_from_slice(start), STATES)
        .build()?;
    columns(problem.bdf::<diffsol::NalgebraLU<f64>>()?, times)
}

fn counted_rate(equations: &Equations, count: &Cell<usize>, t: f64, y: &[f64], rate: &mut [f64]) {
    count.set(count.get() + 1);
    let state = std::array::from_fn(|i| y[i]);
    // A step may look a little past the beat's end, where the contractions are not known.
    rate.copy_from_slice(&equations.rate(t.min(equations.period_s()), &state));
}

/// The Jacobian times `along`, by central differences.
fn derivative(
    equations: &Equations,
    count: &Cell<usize>,
    t: f64,
    y: &[f64],
    along: &[f64],
    product: &mut [f64],
) {
    let size = along.iter().fold(0.0_f64, |size, x| size.max(x.abs()));
    let step = if size > 0.0 { 1e-5 / size } else { 1.0 };
    let moved = |by: f64| -> Vec<f64> { y.iter().zip(along).map(|(y, v)| y + by * v).collect() };
    let (mut above, mut below) = ([0.0; STATES], [0.0; STATES]);
    counted_rate(equations, count, t, &moved(step), &mut above);
    counted_rate(equations, count, t, &moved(-step), &mut below);
    for (product, (above, below)) in product.iter_mut().zip(above.iter().zip(below)) {
        *product = (above - below) / (2.0 * step);
    }
}

fn columns<'a, E, S>(mut solver: S, times: &[f64]) -> Result<Vec<State>, DiffsolError>
where
    E: OdeEquations<T = f64, V = diffsol::NalgebraVec<f64>, M = NalgebraMat<f64>> + 'a,
    S: OdeSolverMethod<'a, E>,
{
    let (solved, _) = solver.solve_dense(times)?;
    let column = |index| std::array::from_fn(|i| solved.inner()[(i, index)]);
    Ok((0..times.len()).map(column).collect())
}

fn error_ml(states: &[State], reference: &[State]) -> f64 {
    let pairs = states.iter().zip(reference);
    let differences =
        pairs.flat_map(|(a, b)| a[..VOLUMES].iter().zip(&b[..VOLUMES]).map(|(a, b)| (a - b).abs()));
    differences.fold(0.0, f64::max)
}

/// The shortest of many times of `work`.
fn best_ms<T>(work: impl Fn() -> T) -> f64 {
    let timed = || {
        let began = Instant::now();
        let result = work();
        let spent = began.elapsed();
        drop(result);
        1000.0 * spent.as_secs_f64()
    };
    (0..30).map(|_| timed()).fold(f64::INFINITY, f64::min)
}

/// What SciPy's side reports; see `scipy_steady.py`.
#[derive(Deserialize)]
struct Scipy {
    errors: std::collections::BTreeMap<String, Error>,
    methods: Vec<Method>,
}

#[derive(Deserialize)]
struct Error {
    ml: f64,
    mmhg: f64,
}

#[derive(Deserialize)]
struct Method {
    method: String,
    tolerance: f64,
    error: Error,
    beat_s: f64,
    evaluations: usize,
    steady: Search,
}

#[derive(Deserialize)]
struct Search {
    s: f64,
    beats: usize,
    change: f64,
}

fn scipy(
    equations: &Equations,
    reference: &[State],
    trajectories: &[(String, Vec<State>)],
) -> Option<Scipy> {
    let Some(python) = std::env::var_os(PYTHON) else {
        println!(
            "SciPy is left out: set {PYTHON} to a Python that has it; `cargo xtask bench` does"
        );
        return None;
    };
    println!("SciPy is at work; this takes at most some {} s", 2.0 * SCIPY_BUDGET_S + 20.0);
    let trajectories: serde_json::Map<_, _> = trajectories
        .iter()
        .map(|(name, states)| (name.clone(), serde_json::json!(states)))
        .collect();
    let samples = times(equations, reference.len()).into_iter().zip(reference).step_by(10);
    let samples = samples.map(|(time_s, state)| {
        let rate = equations.rate(time_s, state);
        serde_json::json!({ "time_s": time_s, "state": state, "rate": rate })
    });
    let given = serde_json::json!({
        "samples": samples.collect::<serde_json::Value>(),
        "constants": serde_json::to_value(equations.constants()).expect("numbers become JSON"),
        "period_s": equations.period_s(),
        "start": equations.start(),
        "reference": reference,
        "trajectories": trajectories,
        "ours": OURS,
        "change": STEADY,
        "budget_s": SCIPY_BUDGET_S,
    });
    let here = env!("CARGO_MANIFEST_DIR");
    let mut run = Command::new(python)
        .arg(format!("{here}/scipy_steady.py"))
        .arg(format!("{here}/../crates/heart/tests"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the Python that the variable names can be started");
    let mut input = run.stdin.take().expect("its input is a pipe");
    input.write_all(given.to_string().as_bytes()).expect("the script reads all of its input");
    drop(input);
    let output = run.wait_with_output().expect("the script ends");
    assert!(output.status.success(), "the script failed; its words are above");
    Some(serde_json::from_slice(&output.stdout).expect("the script writes what it promises"))
}

fn print_beats(rows: &[Row]) {
    println!(
        "\nOne beat from the steady state, state given every millisecond; largest errors against"
    );
    println!(
        "fixed steps {FINER} times finer. The contractions are tabulated beforehand for ours and"
    );
    println!("worked out at each evaluation for the others.");
    println!("{:28}{:>8}{:>12}{:>10}{:>12}{:>12}", "", "rates", "ms", "times", "mL", "mmHg");
    for row in rows {
        let mmhg = row.error_mmhg.map_or_else(|| "-".to_owned(), |error| format!("{error:.5}"));
        let ratio = row.beat_ms / rows[0].beat_ms;
        println!(
            "{:28}{:>8}{:>12.3}{:>10.1}{:>12.5}{:>12}",
            row.name, row.evaluations, row.beat_ms, ratio, row.error_ml, mmhg
        );
    }
}

/// Passes through a beat until the state changes by less than [`STEADY`], one after another.
fn plain_beats(equations: &Equations) -> usize {
    let mut state = equations.start();
    for beat in 1..1000 {
        let after = *equations.states(&state).last().expect("a beat has states");
        let steady = state.iter().zip(&after).all(|(a, b)| (a - b).abs() < STEADY);
        if steady {
            return beat;
        }
        state = after;
    }
    1000
}

fn print_steady(equations: &Equations, scipy: Option<&Scipy>) {
    let ours_ms = best_ms(|| black_box(equations.steady()));
    let plain = plain_beats(equations);
    let began = Instant::now();
    black_box(plain_beats(equations));
    let plain_ms = 1000.0 * began.elapsed().as_secs_f64();
    println!(
        "\nThe steady state from the same start: no number changes by {STEADY:.0e} over a beat."
    );
    println!("{:28}{:>8}{:>12}{:>10}", "", "beats", "ms", "times");
    println!("{:28}{:>8}{ours_ms:>12.2}{:>10.1}", "ours: with acceleration", "-", 1.0);
    println!(
        "{:28}{plain:>8}{plain_ms:>12.2}{:>10.1}",
        "ours: beat after beat",
        plain_ms / ours_ms
    );
    let Some(scipy) = scipy else { return };
    for found in &scipy.methods {
        let search = &found.steady;
        let ms = 1000.0 * search.s;
        let name = format!("SciPy {}, {:.0e}", found.method, found.tolerance);
        println!("{name:28}{:>8}{ms:>12.0}{:>10.0}", search.beats, ms / ours_ms);
        if search.change >= STEADY {
            let enough_ms = 1000.0 * found.beat_s * plain as f64;
            println!(
                "  not steady by then: its choice of steps changes a number by {:.0e} from beat to",
                search.change
            );
            println!("  beat; the {plain} beats that would do take {enough_ms:.0} ms");
        }
    }
    println!("SciPy goes beat after beat, so part of the ratio is the acceleration, which SciPy's");
    println!("solvers could be given too; compare with ours beat after beat for the rest.");
}
