//! Many small tables: what is guessed, and what is asked.

use super::super::error::{Place, ReadFault};
use super::super::files::Memory;
use super::super::{Asked, Recording, TimeColumn};
use crate::{ReadError, Signal, Source};

fn open(text: impl Into<Vec<u8>>, how: &Asked) -> Result<Recording, ReadError> {
    Recording::open_in(Box::new(Memory::one("a.csv", text.into())), "a.csv", how)
}

/// Label, unit, rate and all samples of each signal.
fn read(text: &str) -> Vec<(String, String, f64, Vec<f64>)> {
    asked(text, &Asked::default())
}

fn asked(text: &str, how: &Asked) -> Vec<(String, String, f64, Vec<f64>)> {
    let mut recording = open(text, how).unwrap_or_else(|error| panic!("{text:?}: {error}"));
    let signals = recording.signals().to_vec();
    let read = signals.into_iter().enumerate().map(|(index, signal)| {
        let mut samples = Vec::new();
        recording.read(index, 0, usize::MAX, &mut samples).expect("it was opened");
        let Signal { label, unit, rate_hz, samples: count, .. } = signal;
        assert_eq!(samples.len() as u64, count);
        (label, unit, rate_hz, samples)
    });
    read.collect()
}

fn one(label: &str, unit: &str, rate_hz: f64, samples: &[f64]) -> (String, String, f64, Vec<f64>) {
    (label.to_owned(), unit.to_owned(), rate_hz, samples.to_vec())
}

fn remarks(text: &str) -> Vec<String> {
    let recording =
        open(text, &Asked::default()).unwrap_or_else(|error| panic!("{text:?}: {error}"));
    recording.remarks.iter().map(ToString::to_string).collect()
}

fn rated(rate_hz: f64) -> Asked {
    Asked { rate_hz: Some(rate_hz), ..Asked::default() }
}

/// The same two signals in many forms.
#[test]
fn forms_of_the_same_table() {
    let expected = [
        one("ECG", "mV", 250.0, &[0.5, -0.25, 1.0]),
        one("ABP", "mmHg", 250.0, &[80.0, 81.5, 83.0]),
    ];
    for text in [
        "time_s,ECG_mV,ABP_mmHg\n0,0.5,80\n0.004,-0.25,81.5\n0.008,1,83\n",
        "time (s),ECG (mV),ABP (mmHg)\r\n0,0.5,80\r\n0.004,-0.25,81.5\r\n0.008,1,83",
        "\u{feff}Time [ms];ECG [mV];ABP [mmHg]\n0;0,5;80\n4;-0,25;81,5\n8;1;83\n",
        "t [s]\tECG [mV]\tABP [mmHg]\n0\t0.5\t80\n0.004\t-0.25\t81.5\n0.008\t1.0\t83\n",
        "t/s ECG/mV ABP/mmHg\n 0.000   0.50  80.0\n 0.004  -0.25  81.5\n 0.008   1.00  83.0\n",
        "Time,ECG,ABP\ns,mV,mmHg\n0,0.5,80\n0.004,-0.25,81.5\n0.008,1,83\n",
        "'Elapsed time','ECG','ABP'\n'hh:mm:ss.mmm','mV','mmHg'\n'0:00.000',0.5,80\n'0:00.004',-0.25,81.5\n'0:00.008',1,83\n",
        "time;ECG (mV);ABP (mmHg)\n23:59:59,996;0,5;80\n00:00:00,000;-0,25;81,5\n00:00:00,004;1;83\n",
        "timestamp,ECG (mV),ABP (mmHg)\n2024-02-29 10:00:00.000,0.5,80\n2024-02-29 10:00:00.004,-0.25,81.5\n2024-02-29 10:00:00.008,1,83\n",
        "ECG (mV),ABP (mmHg),time (s)\n0.5,80,7.000\n-0.25,81.5,7.004\n1,83,7.008\n",
        "# sampling rate: 250 Hz\nECG (mV),ABP (mmHg)\n0.5,80\n-0.25,81.5\n1,83\n",
        "Subject;A. Nonymous\nSampling interval;4 ms\n\nECG (mV);ABP (mmHg)\n0,5;80\n-0,25;81,5\n1;83\n",
        "sample,ECG (mV),ABP (mmHg)\n0,0.5,80\n1,-0.25,81.5\n2,1,83\n# fs=250\n",
        "# fs=250\nsample,ECG (mV),ABP (mmHg)\n0,0.5,80\n1,-0.25,81.5\n2,1,83\n",
        "# fs = 0.25 kHz\n# ECG (mV),ABP (mmHg)\n0.5,80\n-0.25,81.5\n1,83\n",
        "\"time (s)\",\"ECG (mV)\",\"ABP (mmHg)\"\n\"0\",\"0.5\",\"80\"\n\"0.004\",\"-0.25\",\"81.5\"\n\"0.008\",\"1\",\"83\"\n",
        "time (ms)|ECG (mV)|ABP (mmHg)\n0|0.5|80\n4|-0.25|81.5\n8|1|83\n",
    ] {
        // A rate that stands behind the table is not looked for.
        if text.ends_with("fs=250\n") {
            assert_eq!(open(text, &Asked::default()).expect_err(text).fault, ReadFault::NeedsRate);
            continue;
        }
        assert_eq!(read(text), expected, "{text:?}");
    }
}

#[test]
fn one_column_needs_a_rate() {
    let plain = "0.5\n0.25\n";
    let error = open(plain, &Asked::default()).expect_err("there is no rate");
    assert_eq!(error.fault, ReadFault::NeedsRate);
    assert_eq!(asked(plain, &rated(100.0)), [one("column 1", "", 100.0, &[0.5, 0.25])]);
    assert_eq!(
        asked("0,5\n0,25\n", &Asked { decimal_comma: Some(true), ..rated(10.0) }),
        [one("column 1", "", 10.0, &[0.5, 0.25])]
    );
    assert_eq!(
        read("# Sampling Rate (Hz):= 1000.00\n# Labels:= PCG\n1.0\n2.0\n"),
        [one("PCG", "", 1000.0, &[1.0, 2.0])]
    );
}

#[test]
fn a_single_comma_is_a_decimal_only_where_the_header_says_so() {
    assert_eq!(asked("EKG\n0,5\n0,7\n", &rated(10.0)), [one("EKG", "", 10.0, &[0.5, 0.7])]);
    let two = asked("a,b\n0,5\n0,7\n", &rated(10.0));
    assert_eq!(two, [one("a", "", 10.0, &[0.0, 0.0]), one("b", "", 10.0, &[5.0, 7.0])]);
    let recording = open("0,5\n0,7\n", &rated(10.0)).expect("it can be read");
    assert_eq!(recording.signals().len(), 2);
    assert!(
        recording.remarks.iter().any(|remark| remark.text.contains("decimal comma")),
        "{:?}",
        recording.remarks
    );
}

#[test]
fn what_is_asked_for_goes_before_what_is_guessed() {
    let text = "time_s,ECG_mV\n0,1\n0.5,2\n1,3\n";
    assert_eq!(asked(text, &rated(500.0)), [one("ECG", "mV", 500.0, &[1.0, 2.0, 3.0])]);
    let none = Asked { time_column: Some(TimeColumn::None), ..rated(5.0) };
    assert_eq!(asked(text, &none)[0], one("time", "s", 5.0, &[0.0, 0.5, 1.0]));
    let second = Asked { time_column: Some(TimeColumn::Number(2)), ..Asked::default() };
    assert_eq!(asked(text, &second), [one("time", "s", 1000.0, &[0.0, 0.5, 1.0])]);
    let named = Asked { time_column: Some(TimeColumn::Named("clock".into())), ..Asked::default() };
    let error = open(text, &named).expect_err("there is no such column");
    assert!(error.to_string().contains("the columns are: time, ECG"), "{error}");
    let units = Asked { units: [("ECG".to_owned(), "V".to_owned())].into(), ..Asked::default() };
    assert_eq!(asked(text, &units)[0].1, "V");
    for rate_hz in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(open(text, &rated(rate_hz)).is_err());
    }
}

#[test]
fn a_first_column_of_even_steps_is_time() {
    let rows = |step: f64| {
        (0..10).map(|row| format!("{:.3};{}\n", f64::from(row) * step, row % 3)).collect::<String>()
    };
    assert_eq!(read(&rows(0.002))[0].2, 500.0);
    let told = remarks(&rows(4.0));
    assert!(told.iter().any(|text| text.contains("taken as milliseconds")), "{told:?}");
    assert_eq!(read(&rows(4.0))[0].2, 250.0);
    // Steps of one could be anything.
    assert_eq!(
        open(rows(1.0), &Asked::default()).expect_err("it is unknown").fault,
        ReadFault::NeedsRate
    );
}

/// 360 Hz written with five decimals: the median step is 0.00278, which would be 359.7 Hz.
#[test]
fn rounded_times_give_the_true_rate() {
    let rows: String =
        (0..2_000).map(|row| format!("{:.5},0.1\n", f64::from(row) / 360.0)).collect();
    assert_eq!(read(&format!("time_s,ecg\n{rows}"))[0].2, 360.0);
    let rows: String =
        (0..2_000).map(|row| format!("{:.0},0.1\n", f64::from(row) / 0.36)).collect();
    assert_eq!(read(&format!("time_ms,ecg\n{rows}"))[0].2, 360.0);
}

#[test]
fn a_break_in_time_is_a_gap() {
    let text = "t [ms],x\n0,1\n4,2\n8,3\n20,4\n24,5\n";
    let [(_, _, rate_hz, samples)] = &read(text)[..] else { panic!("there is one signal") };
    assert_eq!((*rate_hz, samples.len()), (250.0, 7));
    assert_eq!([samples[2], samples[5], samples[6]], [3.0, 4.0, 5.0]);
    assert!(samples[3].is_nan() && samples[4].is_nan());
    assert!(remarks(text).iter().any(|text| text.contains("breaks off 1 times")));
}

#[test]
fn jitter_is_told_and_taken_as_even() {
    let text: String = (0..50)
        .map(|row| {
            format!("{:.4},{row}\n", f64::from(row) * 0.01 + if row % 3 == 1 { 0.004 } else { 0.0 })
        })
        .collect();
    let text = format!("time (s),x\n{text}");
    let signals = read(&text);
    assert_eq!(signals[0].3.len(), 50);
    assert!((signals[0].2 - 100.0).abs() < 1.0, "{}", signals[0].2);
    assert!(remarks(&text).iter().any(|text| text.contains("vary from")), "{:?}", remarks(&text));
}

#[test]
fn cells_without_numbers_are_not_recorded() {
    let text = "t [s],a,b\n0,1,2\n1,NaN,\n2,-,x7\n3,4\n4,5,6,7\nthe end\n5,6,7\n6,7,8\n";
    let signals = read(text);
    let missing = |samples: &[f64]| samples.iter().map(|value| value.is_nan()).collect::<Vec<_>>();
    assert_eq!(missing(&signals[0].3), [false, true, true, false, false, false, false]);
    assert_eq!(missing(&signals[1].3), [false, true, true, true, false, false, false]);
    let told = remarks(text);
    assert!(
        told.iter()
            .any(|text| text.starts_with("a.csv, line 4: 1 cells are no numbers, first “x7”")),
        "{told:?}"
    );
    assert!(told.iter().any(|text| text.starts_with("a.csv, line 5: 2 rows have more or fewer than 3 columns")), "{told:?}");
    assert!(
        told.iter().any(|text| text
            .starts_with("a.csv, line 7: 1 lines are no rows of the table, first “the end”")),
        "{told:?}"
    );
}

#[test]
fn what_is_no_table_is_told_with_its_line() {
    let told = |text: &str| open(text, &Asked::default()).expect_err(text);
    let error = told("\nhello world\nmore\n");
    assert_eq!(error.place, Place::Line(2));
    assert_eq!(
        error.to_string(),
        "a.csv, line 2: the text is “hello world”; expected rows of numbers, all with the same number of columns"
    );
    assert_eq!(told("time,x\n").place, Place::Line(1));
    assert!(told("\n\n").to_string().contains("empty"));
    assert!(told("time,x\n5,1\n4,1\n3,1\n").to_string().contains("do not increase"));
    assert!(told(&"1,".repeat(100_000)).to_string().contains("more than 65536 bytes"));
    assert!(told("time_s\n0\n1\n2\n").to_string().contains("nothing else"));
    let wide: Vec<u8> =
        [0xff, 0xfe].into_iter().chain("1,2\n".encode_utf16().flat_map(u16::to_le_bytes)).collect();
    assert!(
        open(wide, &Asked::default()).expect_err("it is UTF-16").to_string().contains("UTF-16")
    );
}

#[test]
fn a_short_table_may_have_much_before_it() {
    let before: String = (0..30).map(|line| format!("Note {line};nothing\n")).collect();
    let text = format!("{before}sampling rate;100\n\nx;y\n0,5;1\n0,7;2\n");
    assert_eq!(read(&text), [one("x", "", 100.0, &[0.5, 0.7]), one("y", "", 100.0, &[1.0, 2.0])]);
}

#[test]
fn latin_1_is_read() {
    let text = b"# fs=100\nPuls [\xb5V]\n1\n2\n".to_vec();
    let recording = open(text, &Asked::default()).expect("it can be read");
    assert_eq!(
        (recording.signals()[0].label.as_str(), recording.signals()[0].unit.as_str()),
        ("Puls", "µV")
    );
}

/// More rows than places are kept for, read from anywhere.
#[test]
fn ranges_of_a_long_table_are_found() {
    let rows: String = (0..5_000)
        .map(|row| format!("{row}\n{}", if row % 700 == 3 { "# a comment\n\n" } else { "" }))
        .collect();
    let mut recording =
        open(format!("# fs = 100\n{rows}"), &Asked::default()).expect("it can be read");
    for from in [0, 1, 1023, 1024, 1025, 2047, 4096, 4990] {
        let mut samples = Vec::new();
        recording.read(0, from, 20, &mut samples).expect("it is there");
        let expected: Vec<f64> = (from..(from + 20).min(5_000)).map(|row| row as f64).collect();
        assert_eq!(samples, expected);
    }
}
