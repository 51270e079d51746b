//! Times of the parts that a person waits for: a heart's steady state, its cycle, its figure.

use convention::Scale;
use convention::network::Network;
use cycle::Cycle;
use divan::Bencher;
use figure::{Figure, FigureSpec, FontEmbedding, PanelSpec};
use heart::{Equations, Heart, condition, conditions, simulate};
use sheet::{Book, Copy, Test};

fn main() {
    divan::main();
}

fn resting_cycle() -> Cycle {
    simulate(&Heart::default(), 1).expect("the resting heart settles")
}

/// A figure like the one that the program draws unasked.
fn spec() -> FigureSpec {
    let names = |list: &[&str]| list.iter().map(|&name| name.to_owned()).collect();
    FigureSpec {
        panels: vec![
            PanelSpec::new(&["ecg"], 24.0),
            PanelSpec::new(&["heart_sounds"], 16.0),
            PanelSpec::new(&["lv_pressure", "aortic_pressure", "la_pressure"], 46.0),
            PanelSpec::new(&["lv_volume"], 26.0),
        ],
        lines: names(&["r_peak", "s1_onset", "s2_onset", "t_end"]),
        bars: names(&["mitral", "aortic"]),
        ..FigureSpec::default()
    }
}

fn resting_figure() -> Figure {
    figure::lay_out(&resting_cycle(), &heart::subject(), &spec())
        .expect("the figure can be laid out")
}

fn condition_names() -> Vec<String> {
    conditions().into_iter().map(|condition| condition.name).collect()
}

/// The search for the resting heart's steady state: the time that the project aims at.
#[divan::bench]
fn resting_steady_state(bencher: Bencher) {
    let equations = Equations::new(&Heart::default());
    bencher.bench(|| equations.steady().expect("the resting heart settles"));
}

/// The same for every condition. A group of irregular beats is as long as ten or so regular ones.
#[divan::bench(args = condition_names(), max_time = 0.5)]
fn steady_state(bencher: Bencher, name: &str) {
    let heart = condition(name).expect("its name comes from the list").heart;
    let equations = Equations::new(&heart);
    // Whether a condition settles is for the tests to say; here it is only timed.
    bencher.bench(|| equations.steady());
}

/// From parameters to all traces, landmarks and the summary.
#[divan::bench]
fn resting_cycle_computed() -> Cycle {
    resting_cycle()
}

#[divan::bench]
fn cycle_to_json(bencher: Bencher) {
    let cycle = resting_cycle();
    bencher.bench(|| cycle.to_json());
}

#[divan::bench]
fn figure_laid_out(bencher: Bencher) {
    let (cycle, subject, spec) = (resting_cycle(), heart::subject(), spec());
    bencher.bench(|| figure::lay_out(&cycle, &subject, &spec));
}

#[divan::bench]
fn figure_to_svg(bencher: Bencher) {
    let figure = resting_figure();
    bencher.bench(|| figure.svg(FontEmbedding::Embedded));
}

#[divan::bench(max_time = 3)]
fn figure_to_png_200_dpi(bencher: Bencher) {
    let figure = resting_figure();
    bencher.bench(|| figure.png(200.0).expect("200 dpi is in range"));
}

#[divan::bench(max_time = 3)]
fn figure_to_pdf(bencher: Bencher) {
    let figure = resting_figure();
    bencher.bench(|| figure.pdf().expect("the figure can be written"));
}

/// A first course's test on one page, in three forms, with its models.
fn test_and_models() -> (Test, Vec<Cycle>) {
    let subject = heart::subject();
    let conventions = |named: &str| match cardiac::Shipped::find(named) {
        Some(shipped) => Ok(shipped.convention()),
        None => Err(format!("no convention is called {named}")),
    };
    let text = "title = \"T\"\nconvention = \"first_course\"\nforms = 3\n";
    let test = Test::from_toml(text, &subject, &conventions).expect("the test is well formed");
    let base = heart::simulate(&Heart::default(), 1).expect("a resting heart is simulated");
    let model = convention::schematic(&test.convention, &subject, &base, test.beats)
        .expect("the first course is drawn");
    (test, vec![model; 3])
}

fn sheets_as_pdf(book: &Book<'_>, sheets: u32) -> Vec<u8> {
    let copy = |sheet: u32| Copy { sheet, form: sheet as usize % 3, name: Some("A name".into()) };
    let copies: Vec<Copy> = (1..=sheets).map(copy).collect();
    let pages = book.drawing_sheets(&copies).expect("the codes can name them");
    figure::pdf_of(&pages, "Sheets").expect("the pages can be written")
}

/// Drawing sheets as one PDF: the aims are 3 s for 120 and 150 ms for one.
#[divan::bench(args = [1, 120], max_time = 3)]
fn drawing_sheets(bencher: Bencher, sheets: u32) {
    let (test, models) = test_and_models();
    let subject = heart::subject();
    let book = Book::new(&test, &subject, "K7M2QX", models).expect("two beats fit");
    bencher.bench(|| sheets_as_pdf(&book, sheets));
}

/// A network of 60 points with 200 rules that can all hold: around a hidden solution, so that
/// they bind one another. Without them the answer would be found at once.
fn rules() -> Network {
    let mut network = Network::new(60);
    let mut state = 7u64;
    let mut random = |below: u64| {
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % below
    };
    let times: Vec<i64> = (0..60).map(|_| random(800_000_000) as i64).collect();
    for rule in 0..200 {
        let (from, to) = (random(60) as usize, random(60) as usize);
        if from == to {
            continue;
        }
        let apart = times[to] - times[from];
        let (early, late) = (random(50_000_000) as i64, random(50_000_000) as i64);
        network.limit(from, to, Some(apart - early), Some(apart + late), Some(rule));
    }
    network
}

/// Whether 200 rules can all hold, and the tightest limits between all points.
#[divan::bench]
fn check_of_200_rules(bencher: Bencher) {
    let network = rules();
    bencher.bench(|| network.solve().expect("the rules were made around a solution"));
}

#[divan::bench(args = cardiac::CONVENTIONS.map(|shipped| shipped.name))]
fn schematic(bencher: Bencher, name: &str) {
    let shipped = cardiac::Shipped::find(name).expect("its name comes from the list");
    let (convention, subject, base) = (shipped.convention(), heart::subject(), resting_cycle());
    bencher.bench(|| convention::schematic(&convention, &subject, &base, 1));
}

#[divan::bench]
fn judgement(bencher: Bencher) {
    let shipped = cardiac::Shipped::find("measured_physiology").expect("it is shipped");
    let (convention, subject, base) = (shipped.convention(), heart::subject(), resting_cycle());
    bencher.bench(|| convention::judge(&base, &convention, &subject, &Scale::Measured));
}
