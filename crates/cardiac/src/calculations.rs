//! Questions that ask for a calculation, with the numbers of one heart.
//!
//! What is asked rests on the printed numbers alone: they are rounded first, and the answer is
//! computed from them in whole numbers, so that a student who calculates rightly gets exactly
//! what the key says.

use std::ops::RangeInclusive;

use cycle::{Cycle, Random};
use serde::Serialize;

use crate::exact::Exact;

/// The kinds of calculation, in the order in which [`calculations`] gives them.
pub const CALCULATION_KINDS: [&str; 16] = [
    "rate_from_rr_ms",
    "rate_from_rr_mm",
    "rate_from_squares",
    "rate_by_counting",
    "cycle_length_from_rate",
    "diastole_duration",
    "diastole_share",
    "pulse_pressure",
    "mean_pressure",
    "stroke_volume",
    "ejection_fraction",
    "esv_from_ef",
    "cardiac_output_from_sv",
    "cardiac_output_from_volumes",
    "stroke_volume_from_output",
    "systemic_resistance",
];

/// A number as it is printed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Quantity {
    /// What it is, in words.
    pub name: &'static str,
    /// Its symbol in worked solutions.
    pub symbol: &'static str,
    /// The printed, rounded value.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
    /// How many decimals are printed.
    pub decimals: usize,
}

impl Quantity {
    /// `value` rounded, half away from zero.
    fn new(
        name: &'static str,
        symbol: &'static str,
        value: f64,
        unit: &'static str,
        decimals: usize,
    ) -> Self {
        let value = Exact::printed(value, decimals).to_f64();
        Self { name, symbol, value, unit, decimals }
    }

    fn exact(&self) -> Exact {
        Exact::printed(self.value, self.decimals)
    }

    /// The number with its unit, as it is printed.
    pub fn text(&self) -> String {
        format!("{:.*} {}", self.decimals, self.value, self.unit)
    }
}

/// A question that asks for a calculation, with its solution.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Calculation {
    /// One of [`CALCULATION_KINDS`].
    pub kind: &'static str,
    /// The question, in complete sentences.
    pub prompt: String,
    /// The numbers that the prompt prints.
    pub given: Vec<Quantity>,
    /// Symbol of what is asked for.
    pub asks: &'static str,
    /// How the student is to round.
    pub rounding: String,
    /// The solution: the formula in words, with the numbers, and the result.
    pub worked: Vec<String>,
    /// The answer, rounded as the student is told to.
    pub answer: f64,
    /// Unit of the answer.
    pub unit: &'static str,
    /// Decimals of the answer.
    pub decimals: usize,
    /// For the key: how far the simplified answer is from what this heart does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

impl Calculation {
    /// The answer with its unit, as it is printed.
    pub fn answer_text(&self) -> String {
        format!("{:.*} {}", self.decimals, self.answer, self.unit)
    }

    /// Whether the two must not stand on one page: both ask for the same, one prints what the
    /// other asks for, or they print stroke volumes that differ by what flows back through
    /// closing or leaking valves.
    pub fn clashes(&self, other: &Self) -> bool {
        self.asks == other.asks
            || self.gives(other.asks)
            || other.gives(self.asks)
            || (self.by_volumes() && other.by_flow())
            || (self.by_flow() && other.by_volumes())
    }

    fn gives(&self, symbol: &str) -> bool {
        self.given.iter().any(|quantity| quantity.symbol == symbol)
    }

    fn by_volumes(&self) -> bool {
        self.gives("EDV")
    }

    fn by_flow(&self) -> bool {
        self.gives("SV") || self.gives("CO")
    }
}

/// Up to `count` of `calculations` that can stand on one page, in their own order; which ones,
/// the seed decides. There are fewer where the others would give an answer away.
pub fn choose(calculations: &[Calculation], seed: u64, count: usize) -> Vec<Calculation> {
    let mut order: Vec<usize> = (0..calculations.len()).collect();
    Random::new(seed).shuffle(&mut order);
    let mut chosen: Vec<usize> = Vec::new();
    for index in order {
        let clashes = |&other: &usize| calculations[index].clashes(&calculations[other]);
        if chosen.len() < count && !chosen.iter().any(clashes) {
            chosen.push(index);
        }
    }
    chosen.sort_unstable();
    chosen.into_iter().map(|index| calculations[index].clone()).collect()
}

/// All calculations that `cycle` gives numbers for, in the order of [`CALCULATION_KINDS`];
/// `mm_per_s` is how fast the paper runs on which its ECG is measured.
///
/// A kind is left out where it would make no sense: what speaks of one beat where beats differ,
/// the R–R interval where beats are uneven, output from volumes where a valve leaks much, and
/// all that the cycle's summary does not hold. A single beat out of several that differ is
/// no sound basis, so only what holds on average is asked there.
pub fn calculations(cycle: &Cycle, mm_per_s: f64) -> Vec<Calculation> {
    let source = Source::new(cycle);
    [
        source.rate_from_rr_ms(),
        source.rate_from_rr_mm(mm_per_s),
        source.rate_from_squares(mm_per_s),
        source.rate_by_counting(),
        source.cycle_length_from_rate(),
        source.diastole_duration(),
        source.diastole_share(),
        source.pulse_pressure(),
        source.mean_pressure(),
        source.stroke_volume(),
        source.ejection_fraction(),
        source.esv_from_ef(),
        source.cardiac_output_from_sv(),
        source.cardiac_output_from_volumes(),
        source.stroke_volume_from_output(),
        source.systemic_resistance(),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Below this share of what leaves the ventricle, too much flows back for its volumes to tell
/// what the body gets. With tight valves the model stays above 0.89, at 30 to 200 beats a minute
/// and in all conditions; leaks that matter, and a PR interval so long that blood flows back
/// before the mitral valve is shut, fall below.
pub(crate) const FORWARD_SHARE: f64 = 0.88;

/// Periods of beats that are asked about, seconds; a cycle from elsewhere may have any.
const PERIODS_S: RangeInclusive<f64> = 0.1..=10.0;

/// Largest number that is asked about: far beyond any heart's, and small enough to reckon with.
const MOST: f64 = 1e5;

/// The model's beats are alike to a part in 1e5; a rhythm's differ by some per cent.
const EVEN: f64 = 0.01;

/// Length of the strip on which beats are counted, seconds (common practice, no source).
const STRIP_S: f64 = 6.0;

/// How an answer is rounded.
struct Rounding {
    decimals: usize,
    /// What a whole number is one of.
    whole: &'static str,
    /// Whether intermediate results must be kept as they are.
    only_result: bool,
}

/// What an answer is made of.
struct Asked {
    symbol: &'static str,
    unit: &'static str,
    /// `None` where the printed numbers give the answer without a remainder by themselves.
    rounding: Option<Rounding>,
}

impl Asked {
    fn exactly(symbol: &'static str, unit: &'static str) -> Self {
        Self { symbol, unit, rounding: None }
    }

    fn whole(symbol: &'static str, unit: &'static str, whole: &'static str) -> Self {
        let rounding = Some(Rounding { decimals: 0, whole, only_result: false });
        Self { symbol, unit, rounding }
    }

    fn one_decimal(symbol: &'static str, unit: &'static str) -> Self {
        let rounding = Some(Rounding { decimals: 1, whole: "", only_result: false });
        Self { symbol, unit, rounding }
    }

    /// How many decimals the answer has: one more where it would end in a 5 that some round up
    /// and others to the even digit.
    fn decimals(&self, answer: Exact) -> usize {
        let stated = self.rounding.as_ref().map_or(0, |rounding| rounding.decimals);
        stated + usize::from(answer.is_tie(stated))
    }

    fn sentence(&self, decimals: usize) -> String {
        let Some(rounding) = &self.rounding else { return "No rounding is needed.".to_owned() };
        let to = match decimals {
            0 => format!("to {}", rounding.whole),
            1 => "to one decimal".to_owned(),
            _ => "to two decimals".to_owned(),
        };
        if rounding.only_result {
            format!("Round only the result, {to}.")
        } else {
            format!("Round {to}.")
        }
    }

    /// The last line of a solution.
    fn result(&self, answer: Exact, decimals: usize) -> String {
        let Self { symbol, unit, .. } = self;
        let rounded = format!("{:.*} {unit}", decimals, answer.round(decimals).to_f64());
        if answer.round(decimals) == answer {
            return format!("{symbol} = {rounded}");
        }
        format!("{symbol} = {} {unit}, rounded to {rounded}", answer.shown(decimals + 2))
    }
}

/// Puts a calculation together. `words` is the formula in words, `numbers` with numbers.
fn calculation(
    kind: &'static str,
    prompt: String,
    given: Vec<Quantity>,
    asked: &Asked,
    lines: Vec<String>,
    answer: Exact,
) -> Calculation {
    let decimals = asked.decimals(answer);
    let mut worked = lines;
    worked.push(asked.result(answer, decimals));
    Calculation {
        kind,
        prompt,
        given,
        asks: asked.symbol,
        rounding: asked.sentence(decimals),
        worked,
        answer: answer.round(decimals).to_f64(),
        unit: asked.unit,
        decimals,
        note: None,
    }
}

/// End-diastolic and end-systolic volume, and what of their difference goes forward.
struct Volumes {
    edv: Quantity,
    esv: Quantity,
    forward_ml: Option<f64>,
}

impl Volumes {
    fn stroke(&self) -> Exact {
        self.edv.exact() - self.esv.exact()
    }

    fn share(&self) -> Option<f64> {
        Some(self.forward_ml? / self.stroke().to_f64())
    }

    fn leaks(&self) -> bool {
        self.share().is_some_and(|share| share < FORWARD_SHARE)
    }

    /// Whole millilitres that go forward, where they are fewer than all.
    fn forward(&self) -> Option<f64> {
        self.forward_ml.map(f64::round).filter(|&forward| forward < self.stroke().to_f64())
    }

    fn sentence(&self) -> String {
        format!(
            "The left ventricle holds {} at the end of diastole and {} at the end of systole",
            self.edv.text(),
            self.esv.text()
        )
    }
}

/// What of a cycle can be asked about.
struct Source<'a> {
    cycle: &'a Cycle,
    /// Whether each beat is like the next, in time and in what it does.
    alike: bool,
    rr_s: Option<f64>,
}

impl<'a> Source<'a> {
    fn new(cycle: &'a Cycle) -> Self {
        let rr_s = even_interval(cycle);
        let alike = rr_s.is_some()
            && [
                ("systolic_peak", "aortic_pressure"),
                ("pressure_foot", "aortic_pressure"),
                ("end_diastolic_volume", "lv_volume"),
                ("end_systolic_volume", "lv_volume"),
            ]
            .iter()
            .all(|(landmark, channel)| same_each_beat(cycle, landmark, channel));
        Self { cycle, alike, rr_s }
    }

    fn summary(&self, name: &str) -> Option<f64> {
        self.cycle.summary.get(name).copied().filter(|value| (0.0..=MOST).contains(value))
    }

    /// A number of the summary that describes every beat.
    fn of_each_beat(&self, name: &str) -> Option<f64> {
        self.summary(name).filter(|_| self.alike)
    }

    fn rr(&self) -> Option<Quantity> {
        Some(Quantity::new("R–R interval", "RR", 1000.0 * self.rr_s?, "ms", 0))
    }

    fn rate(&self) -> Option<Quantity> {
        let rate = self.summary("heart_rate_bpm").or_else(|| Some(60.0 / self.rr_s?))?;
        Some(Quantity::new("heart rate", "HR", rate, "beats/min", 0))
    }

    fn pressures(&self) -> Option<[Quantity; 2]> {
        let systolic = self.of_each_beat("aortic_systolic_mmhg")?;
        let diastolic = self.of_each_beat("aortic_diastolic_mmhg")?;
        let pair = [
            Quantity::new("systolic pressure", "SP", systolic, "mmHg", 0),
            Quantity::new("diastolic pressure", "DP", diastolic, "mmHg", 0),
        ];
        (pair[0].value > pair[1].value).then_some(pair)
    }

    fn volumes(&self) -> Option<Volumes> {
        let edv =
            Quantity::new("end-diastolic volume", "EDV", self.of_each_beat("edv_ml")?, "mL", 0);
        let esv =
            Quantity::new("end-systolic volume", "ESV", self.of_each_beat("esv_ml")?, "mL", 0);
        let forward_ml = self.summary("stroke_volume_ml");
        (edv.value > esv.value).then_some(Volumes { edv, esv, forward_ml })
    }

    /// Blood that each beat adds to the arteries, and what to call it.
    fn stroke_volume_quantity(&self) -> Option<Quantity> {
        let volumes = self.volumes();
        let leaks = volumes.as_ref().is_some_and(Volumes::leaks);
        let name = if leaks { "forward stroke volume" } else { "stroke volume" };
        // What closing valves let back is not counted, as where volumes are subtracted.
        let value = match &volumes {
            Some(volumes) if !leaks => volumes.stroke().to_f64(),
            _ => self.summary("stroke_volume_ml")?,
        };
        Some(Quantity::new(name, "SV", value, "mL", 0)).filter(|sv| sv.value > 0.0)
    }

    fn output(&self) -> Option<Quantity> {
        let value = self.summary("cardiac_output_l_min")?;
        Some(Quantity::new("cardiac output", "CO", value, "L/min", 1)).filter(|co| co.value > 0.0)
    }

    /// How a sentence begins that speaks of averages where beats differ.
    fn the(&self) -> &'static str {
        if self.alike { "The" } else { "Averaged over many beats, the" }
    }

    /// Says the heart's own rate where a rate measured or counted differs from it.
    fn with_rate_note(&self, mut of: Calculation, why: &str) -> Calculation {
        of.note = self
            .rate()
            .filter(|rate| rate.value != of.answer)
            .map(|rate| format!("{why} This heart's own rate is {}.", rate.text()));
        of
    }

    /// 60 seconds over the interval between beats. Source: common practice, no source.
    fn rate_from_rr_ms(&self) -> Option<Calculation> {
        let rr = self.rr()?;
        let answer = Exact::whole(60_000) / rr.exact();
        Some(calculation(
            "rate_from_rr_ms",
            format!(
                "Two R peaks that follow one another are {} apart. What is the heart rate?",
                rr.text()
            ),
            vec![rr.clone()],
            &beats_a_minute(),
            vec![
                "Heart rate = 60 s/min ÷ R–R interval in seconds".to_owned(),
                format!("HR = 60 s/min ÷ {}", in_seconds(&rr)),
            ],
            answer,
        ))
    }

    /// The interval is the distance over the paper's speed. Source: common practice, no source.
    fn rate_from_rr_mm(&self, mm_per_s: f64) -> Option<Calculation> {
        let speed = paper_speed(mm_per_s)?;
        let distance = mm_per_s * self.rr_s?;
        // A ruler tells half a millimetre, which matters where beats are close together.
        let decimals = usize::from(distance < 50.0);
        let distance = Quantity::new("distance from R to R", "d", distance, "mm", decimals);
        let answer =
            (distance.value > 0.0).then(|| Exact::whole(60) * speed.exact() / distance.exact())?;
        let found = calculation(
            "rate_from_rr_mm",
            format!(
                "On an ECG drawn at {}, two R peaks that follow one another are {} apart. What is the heart rate?",
                speed.text(),
                distance.text()
            ),
            vec![speed.clone(), distance.clone()],
            &beats_a_minute(),
            vec![
                "R–R interval = distance ÷ paper speed, and heart rate = 60 s/min ÷ R–R interval"
                    .to_owned(),
                format!("HR = 60 s/min × {} ÷ {}", speed.text(), distance.text()),
            ],
            answer,
        );
        Some(self.with_rate_note(found, "A distance is only as good as the ruler."))
    }

    /// 300 large squares of 0.2 s make a minute. Source: common practice, no source.
    fn rate_from_squares(&self, mm_per_s: f64) -> Option<Calculation> {
        let squares = self.rr_s.filter(|_| mm_per_s == 25.0)? / 0.2;
        let squares = Quantity::new("distance from R to R", "n", squares, "large squares", 1);
        // Nearer than two squares, a tenth of a square is too coarse.
        let answer = (squares.value >= 2.0).then(|| Exact::whole(300) / squares.exact())?;
        let found = calculation(
            "rate_from_squares",
            format!(
                "On ECG paper a large square is 5 mm wide. At 25 mm/s, two R peaks that follow one another are {} apart. What is the heart rate?",
                squares.text()
            ),
            vec![
                Quantity::new("width of a large square", "w", 5.0, "mm", 0),
                Quantity::new("paper speed", "v", 25.0, "mm/s", 0),
                squares.clone(),
            ],
            &beats_a_minute(),
            vec![
                "A large square lasts 5 mm ÷ 25 mm/s = 0.2 s, so 300 of them make a minute: heart rate = 300 ÷ number of large squares from R to R".to_owned(),
                format!("HR = 300 ÷ {:.1}", squares.value),
            ],
            answer,
        );
        Some(self.with_rate_note(found, "A tenth of a square is as much as the eye can tell."))
    }

    /// Beats in six seconds, times ten. Source: common practice, no source.
    fn rate_by_counting(&self) -> Option<Calculation> {
        let count = beats_within(self.cycle, STRIP_S).filter(|&count| count > 1)?;
        let strip = Quantity::new("length of the strip", "t", STRIP_S, "s", 0);
        let peaks = Quantity::new("R peaks on the strip", "n", count as f64, "R peaks", 0);
        let answer = Exact::whole(60) * peaks.exact() / strip.exact();
        let found = calculation(
            "rate_by_counting",
            format!(
                "A strip of ECG that lasts {} shows {}. What heart rate does that give?",
                strip.text(),
                peaks.text()
            ),
            vec![strip.clone(), peaks],
            &Asked::exactly("HR", "beats/min"),
            vec![
                "Heart rate = R peaks on the strip × 60 s/min ÷ length of the strip".to_owned(),
                format!("HR = {count} × 60 s/min ÷ {}", strip.text()),
            ],
            answer,
        );
        let why = if self.rr_s.is_some() {
            "One beat more or less on the strip changes the result by 10 beats/min."
        } else {
            "Where beats are uneven, counting gives a mean rate, and a longer strip a better one."
        };
        Some(self.with_rate_note(found, why))
    }

    /// Source: common practice, no source.
    fn cycle_length_from_rate(&self) -> Option<Calculation> {
        self.rr_s?;
        let rate = self.rate().filter(|rate| rate.value > 0.0)?;
        let answer = Exact::whole(60_000) / rate.exact();
        Some(calculation(
            "cycle_length_from_rate",
            format!(
                "A heart beats evenly at {}. How long does one cardiac cycle last, in milliseconds?",
                rate.text()
            ),
            vec![rate.clone()],
            &Asked::whole("RR", "ms", "a whole number of milliseconds"),
            vec![
                "Length of a cycle = 60 s/min ÷ heart rate, and 1 s = 1000 ms".to_owned(),
                format!("RR = 60 s/min × 1000 ms/s ÷ {}", rate.text()),
            ],
            answer,
        ))
    }

    /// Length of a cycle, and of systole from the onset of S1 to the onset of S2.
    fn systole(&self) -> Option<[Quantity; 2]> {
        let rr_s = self.rr_s.filter(|_| self.alike)?;
        let gap = self.cycle.time_of("s2_onset")? - self.cycle.time_of("s1_onset")?;
        let systole = Quantity::new("systole", "TS", 1000.0 * gap.rem_euclid(rr_s), "ms", 0);
        let rr = Quantity { name: "length of a cycle", ..self.rr()? };
        // A cycle that is no heart's may have its sounds anywhere.
        (0.1..0.9).contains(&(systole.value / rr.value)).then_some([rr, systole])
    }

    /// Source: heart sounds mark the ends of ventricular systole; common practice, no source.
    fn diastole_duration(&self) -> Option<Calculation> {
        let [rr, systole] = self.systole()?;
        let answer = rr.exact() - systole.exact();
        Some(calculation(
            "diastole_duration",
            format!("{} How long is ventricular diastole?", systole_sentence(&rr, &systole)),
            vec![rr.clone(), systole.clone()],
            &Asked::exactly("TD", "ms"),
            vec![
                "Diastole = length of a cycle − systole".to_owned(),
                format!("TD = {} − {}", rr.text(), systole.text()),
            ],
            answer,
        ))
    }

    /// As [`Self::diastole_duration`].
    fn diastole_share(&self) -> Option<Calculation> {
        let [rr, systole] = self.systole()?;
        let answer = Exact::whole(100) * (rr.exact() - systole.exact()) / rr.exact();
        Some(calculation(
            "diastole_share",
            format!(
                "{} What percentage of the cycle is ventricular diastole?",
                systole_sentence(&rr, &systole)
            ),
            vec![rr.clone(), systole.clone()],
            &Asked::whole("share of diastole", "%", "a whole per cent"),
            vec![
                "Share of diastole = (length of a cycle − systole) ÷ length of a cycle × 100 %"
                    .to_owned(),
                format!(
                    "share of diastole = ({} − {}) ÷ {} × 100 %",
                    rr.text(),
                    systole.text(),
                    rr.text()
                ),
            ],
            answer,
        ))
    }

    /// Source: definition.
    fn pulse_pressure(&self) -> Option<Calculation> {
        let [systolic, diastolic] = self.pressures()?;
        let answer = systolic.exact() - diastolic.exact();
        Some(calculation(
            "pulse_pressure",
            format!("{} What is the pulse pressure?", pressure_sentence(&systolic, &diastolic)),
            vec![systolic.clone(), diastolic.clone()],
            &Asked::exactly("PP", "mmHg"),
            vec![
                "Pulse pressure = systolic pressure − diastolic pressure".to_owned(),
                format!("PP = {} − {}", systolic.text(), diastolic.text()),
            ],
            answer,
        ))
    }

    /// The diastolic pressure and a third of the pulse pressure. Source: common practice, no
    /// source; at the arm it is 5.0 ± 2.3 mmHg low (Bos et al., J Hypertens 2007;25:751), and in
    /// the aorta the mean lies at 0.45 of the pulse (Chemla et al., Clin Sci 2002;103:7).
    fn mean_pressure(&self) -> Option<Calculation> {
        let [systolic, diastolic] = self.pressures()?;
        let pulse = systolic.exact() - diastolic.exact();
        let mut found = calculation(
            "mean_pressure",
            format!(
                "{} Estimate the mean arterial pressure from these two.",
                pressure_sentence(&systolic, &diastolic)
            ),
            vec![systolic.clone(), diastolic.clone()],
            &Asked::whole("MAP", "mmHg", "a whole number of mmHg"),
            vec![
                "Mean pressure = diastolic pressure + (systolic pressure − diastolic pressure) ÷ 3"
                    .to_owned(),
                format!(
                    "MAP = {} + ({} − {}) ÷ 3",
                    diastolic.text(),
                    systolic.text(),
                    diastolic.text()
                ),
            ],
            diastolic.exact() + pulse / Exact::whole(3),
        );
        found.note = self.of_each_beat("aortic_mean_mmhg").map(|mean| {
            let also = if mean.round() == found.answer { "is also" } else { "is" };
            format!(
                "A third of the way up is an approximation. Averaged over the whole beat, this heart's mean aortic pressure {also} {mean:.0} mmHg."
            )
        });
        Some(found)
    }

    /// Source: definition; OpenStax, Anatomy and Physiology, section 19.4.
    fn stroke_volume(&self) -> Option<Calculation> {
        let volumes = self.volumes()?;
        let stroke = volumes.stroke();
        let mut found = calculation(
            "stroke_volume",
            format!("{}. What is the stroke volume?", volumes.sentence()),
            vec![volumes.edv.clone(), volumes.esv.clone()],
            &Asked::exactly("SV", "mL"),
            vec![
                "Stroke volume = end-diastolic volume − end-systolic volume".to_owned(),
                format!("SV = {} − {}", volumes.edv.text(), volumes.esv.text()),
            ],
            stroke,
        );
        found.note = volumes.forward().map(|forward| {
            format!(
                "Of these {:.0} mL, {forward:.0} mL reach the arteries for good; the rest flows back through the valves.",
                stroke.to_f64()
            )
        });
        Some(found)
    }

    /// Source: definition (from memory).
    fn ejection_fraction(&self) -> Option<Calculation> {
        let volumes = self.volumes()?;
        let (edv, esv) = (volumes.edv.text(), volumes.esv.text());
        let mut found = calculation(
            "ejection_fraction",
            format!("{}. What is the ejection fraction, in per cent?", volumes.sentence()),
            vec![volumes.edv.clone(), volumes.esv.clone()],
            &Asked::whole("EF", "%", "a whole per cent"),
            vec![
                "Ejection fraction = stroke volume ÷ end-diastolic volume × 100 %, and stroke volume = end-diastolic volume − end-systolic volume".to_owned(),
                format!("EF = ({edv} − {esv}) ÷ {edv} × 100 %"),
            ],
            Exact::whole(100) * volumes.stroke() / volumes.edv.exact(),
        );
        found.note = volumes.forward().filter(|_| volumes.leaks()).map(|forward| {
            format!(
                "The ejection fraction counts all that leaves the ventricle: of these {:.0} mL, only {forward:.0} mL reach the arteries for good.",
                volumes.stroke().to_f64()
            )
        });
        Some(found)
    }

    /// Source: the definition of the ejection fraction, turned round.
    fn esv_from_ef(&self) -> Option<Calculation> {
        let volumes = self.volumes()?;
        let edv = &volumes.edv;
        let fraction = 100.0 * volumes.stroke().to_f64() / edv.value;
        let fraction = Quantity::new("ejection fraction", "EF", fraction, "%", 0);
        let left = Exact::whole(100) - fraction.exact();
        Some(calculation(
            "esv_from_ef",
            format!(
                "The left ventricle holds {} at the end of diastole, and its ejection fraction is {}. How much blood is left in it at the end of systole?",
                edv.text(),
                fraction.text()
            ),
            vec![edv.clone(), fraction.clone()],
            &Asked::whole("ESV", "mL", "a whole number of millilitres"),
            vec![
                "End-systolic volume = end-diastolic volume × (100 % − ejection fraction) ÷ 100 %"
                    .to_owned(),
                format!("ESV = {} × (100 % − {}) ÷ 100 %", edv.text(), fraction.text()),
            ],
            edv.exact() * left / Exact::whole(100),
        ))
    }

    /// Source: definition; OpenStax, Anatomy and Physiology, section 19.4.
    fn cardiac_output_from_sv(&self) -> Option<Calculation> {
        let (stroke, rate) = (self.stroke_volume_quantity()?, self.rate()?);
        Some(calculation(
            "cardiac_output_from_sv",
            format!(
                "{} {} is {} and the heart rate is {}. What is the cardiac output, in litres a minute?",
                self.the(),
                stroke.name,
                stroke.text(),
                rate.text()
            ),
            vec![stroke.clone(), rate.clone()],
            &Asked::one_decimal("CO", "L/min"),
            vec![
                "Cardiac output = stroke volume × heart rate, and 1 L = 1000 mL".to_owned(),
                format!("CO = {} × {} ÷ 1000 mL/L", stroke.text(), rate.text()),
            ],
            stroke.exact() * rate.exact() / Exact::whole(1000),
        ))
    }

    /// As [`Self::stroke_volume`], [`Self::rate_from_rr_ms`] and
    /// [`Self::cardiac_output_from_sv`], one after the other.
    fn cardiac_output_from_volumes(&self) -> Option<Calculation> {
        let volumes = self.volumes().filter(|volumes| !volumes.leaks())?;
        let rr = self.rr()?;
        let stroke = volumes.stroke();
        let rounding = Some(Rounding { decimals: 1, whole: "", only_result: true });
        let mut found = calculation(
            "cardiac_output_from_volumes",
            format!(
                "{}. Two R peaks that follow one another are {} apart. What is the cardiac output, in litres a minute?",
                volumes.sentence(),
                rr.text()
            ),
            vec![volumes.edv.clone(), volumes.esv.clone(), rr.clone()],
            &Asked { symbol: "CO", unit: "L/min", rounding },
            vec![
                "Stroke volume = end-diastolic volume − end-systolic volume, heart rate = 60 s/min ÷ R–R interval, and cardiac output = stroke volume × heart rate".to_owned(),
                format!(
                    "SV = {} − {} = {:.0} mL",
                    volumes.edv.text(),
                    volumes.esv.text(),
                    stroke.to_f64()
                ),
                format!(
                    "CO = {:.0} mL × 60 s/min ÷ {} ÷ 1000 mL/L",
                    stroke.to_f64(),
                    in_seconds(&rr)
                ),
            ],
            stroke * Exact::whole(60) / rr.exact(),
        );
        found.note = volumes.forward().zip(self.output()).and_then(|(forward, output)| {
            (output.value < found.answer).then(|| {
                format!(
                    "Of these {:.0} mL, {forward:.0} mL reach the arteries for good, so that the body gets {} from this heart.",
                    stroke.to_f64(),
                    output.text()
                )
            })
        });
        Some(found)
    }

    /// Source: the definition of the cardiac output, turned round.
    fn stroke_volume_from_output(&self) -> Option<Calculation> {
        let (output, rate) = (self.output()?, self.rate().filter(|rate| rate.value > 0.0)?);
        Some(calculation(
            "stroke_volume_from_output",
            format!(
                "{} cardiac output is {} and the heart rate is {}. How much blood does the left ventricle add to the arteries with each beat, in millilitres?",
                self.the(),
                output.text(),
                rate.text()
            ),
            vec![output.clone(), rate.clone()],
            &Asked::whole("SV", "mL", "a whole number of millilitres"),
            vec![
                "Stroke volume = cardiac output ÷ heart rate, and 1 L = 1000 mL".to_owned(),
                format!("SV = {} × 1000 mL/L ÷ {}", output.text(), rate.text()),
            ],
            Exact::whole(1000) * output.exact() / rate.exact(),
        ))
    }

    /// Pressure difference over flow. Source: common practice; reference ranges in Murgo et al.,
    /// Circulation 1980;62:105, whose 1137 dyn·s/cm⁵ are 14.2 mmHg·min/L.
    fn systemic_resistance(&self) -> Option<Calculation> {
        let mean = self.summary("aortic_mean_mmhg")?;
        let mean = Quantity::new("mean aortic pressure", "MAP", mean, "mmHg", 0);
        let right = self.summary("ra_mean_mmhg")?;
        let right = Quantity::new("mean right atrial pressure", "RAP", right, "mmHg", 0);
        let output = self.output().filter(|_| mean.value > right.value)?;
        Some(calculation(
            "systemic_resistance",
            format!(
                "{} mean aortic pressure is {}, the mean right atrial pressure is {} and the cardiac output is {}. What is the systemic vascular resistance, in mmHg·min/L?",
                self.the(),
                mean.text(),
                right.text(),
                output.text()
            ),
            vec![mean.clone(), right.clone(), output.clone()],
            &Asked::one_decimal("SVR", "mmHg·min/L"),
            vec![
                "Systemic vascular resistance = (mean aortic pressure − mean right atrial pressure) ÷ cardiac output".to_owned(),
                format!("SVR = ({} − {}) ÷ {}", mean.text(), right.text(), output.text()),
            ],
            (mean.exact() - right.exact()) / output.exact(),
        ))
    }
}

fn beats_a_minute() -> Asked {
    Asked::whole("HR", "beats/min", "a whole number of beats a minute")
}

fn systole_sentence(rr: &Quantity, systole: &Quantity) -> String {
    format!(
        "One cardiac cycle lasts {}. Ventricular systole, from the onset of S1 to the onset of S2, takes {} of it.",
        rr.text(),
        systole.text()
    )
}

fn pressure_sentence(systolic: &Quantity, diastolic: &Quantity) -> String {
    format!(
        "The aortic pressure rises to {} in systole and falls to {} in diastole.",
        systolic.text(),
        diastolic.text()
    )
}

/// A time in milliseconds, in seconds.
fn in_seconds(time: &Quantity) -> String {
    format!("{:.3} s", time.value / 1000.0)
}

/// The paper's speed as it can be printed, or `None` where it would have to be rounded.
fn paper_speed(mm_per_s: f64) -> Option<Quantity> {
    let printed = |decimals| Quantity::new("paper speed", "v", mm_per_s, "mm/s", decimals);
    let faithful = (0..=2).map(printed).find(|speed| (speed.value - mm_per_s).abs() < 1e-9);
    faithful.filter(|speed| speed.value > 0.0 && speed.value <= MOST)
}

/// The interval between R peaks where it is always the same.
fn even_interval(cycle: &Cycle) -> Option<f64> {
    let peaks = cycle.times_of("r_peak");
    let first = *peaks.first().filter(|_| PERIODS_S.contains(&cycle.period_s))?;
    // What follows the last beat is known only where the cycle repeats.
    let turn_s = cycle.repeats.then_some(cycle.period_s * peaks.len() as f64)?;
    let following = peaks.iter().skip(1).copied().chain([first + turn_s]);
    let even = |(peak, next): (&f64, f64)| ((next - peak) / cycle.period_s - 1.0).abs() < EVEN;
    peaks.iter().zip(following).all(even).then_some(cycle.period_s)
}

/// Whether a landmark's value is the same in each beat, to the unit that is printed.
fn same_each_beat(cycle: &Cycle, landmark: &str, channel: &str) -> bool {
    let values = || {
        cycle
            .landmarks
            .iter()
            .filter(|l| l.name == landmark && l.channel == channel)
            .map(|l| l.value)
    };
    values().fold(f64::MIN, f64::max) - values().fold(f64::MAX, f64::min) < 1.0
}

/// How many R peaks there are in the first `length_s`.
fn beats_within(cycle: &Cycle, length_s: f64) -> Option<usize> {
    let peaks = cycle.times_of("r_peak");
    let turn_s = cycle.period_s * peaks.len() as f64;
    if !PERIODS_S.contains(&cycle.period_s) || !(cycle.repeats || turn_s >= length_s) {
        return None;
    }
    let within = |peak: &f64| ((length_s - peak) / turn_s).max(0.0).ceil() as usize;
    Some(peaks.iter().map(within).sum())
}
