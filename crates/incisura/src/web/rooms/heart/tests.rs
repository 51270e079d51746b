//! The room of the heart asked without a port.

use axum::http::StatusCode;
use serde_json::Value;

use super::view::View;
use crate::summary;
use crate::web::tests::{answer, ask, desk, get, pairs, post};

/// The texts of the cells in the row that `title` heads.
fn cells(page: &str, title: &str) -> Vec<String> {
    let row = page.split(&format!("<th scope=\"row\">{title}")).nth(1).unwrap();
    let row = row.split("</tr>").next().unwrap();
    row.split("<td>").skip(1).map(|cell| cell.split('<').next().unwrap().to_owned()).collect()
}

#[test]
fn a_kept_heart_is_drawn_beneath_and_compared_in_numbers() {
    let page = ask("/heart/view?condition=aortic_stenosis&ghost=condition%3Drest").text();
    assert!(page.contains("<g class=\"ghost\" data-channel=\"lv_pressure\">"));
    assert!(page.contains(">kept</text>"));
    assert!(page.contains("A second cycle (kept) is drawn beneath"));
    let cells = cells(&page, "Left ventricle, systolic");
    let number = |text: &String| text.replace('−', "-").parse::<f64>().unwrap();
    let [kept, now, difference] = &cells[..] else { panic!("{cells:?}") };
    assert!(number(now) > number(kept) + 30.0, "{cells:?}");
    assert!((number(now) - number(kept) - number(difference)).abs() < 1e-9, "{cells:?}");
    assert!(difference.starts_with('+'));
    let alone = ask("/heart/view?condition=aortic_stenosis").text();
    assert!(!alone.contains("class=\"ghost\"") && !alone.contains("difference"));
}

#[test]
fn at_every_rate_both_sounds_have_their_names() {
    for rate in [60, 100, 110, 115, 120, 125, 130, 140, 160] {
        let page = ask(&format!("/heart/view?rate_bpm={rate}")).text();
        for landmark in ["s1_onset", "a2", "s2_onset", "r_peak", "t_peak"] {
            let label = format!("<g class=\"landmark-label\" data-landmark=\"{landmark}\">");
            assert!(page.contains(&label), "{landmark} at {rate}/min");
        }
    }
}

#[test]
fn a_slower_kept_heart_fills_the_time_that_is_shown_and_a_faster_one_too() {
    for kept in
        ["condition%3Dbradycardia", "condition%3Dheavy_exercise", "condition%3Datrial_fibrillation"]
    {
        let page = ask(&format!("/heart/view?ghost={kept}&show=&show=loop"));
        assert_eq!(page.status, StatusCode::OK, "{kept}: {}", page.text());
        assert!(page.text().contains("<g class=\"ghost\" data-channel=\"ecg\">"), "{kept}");
    }
}

#[test]
fn an_address_with_a_kept_heart_and_lines_reads_back() {
    let asked = [
        ("condition", "mitral_stenosis"),
        ("line", ""),
        ("line", "r_peak"),
        ("line", "mitral_opens"),
        ("ghost", "condition=rest&rate_bpm=60"),
    ]
    .map(|(name, value)| (name.to_owned(), value.to_owned()));
    let query = View::read(&asked).unwrap().query();
    assert_eq!(
        query,
        "condition=mitral_stenosis&line=&line=r_peak&line=mitral_opens&ghost=condition%3Drest%26rate_bpm%3D60"
    );
    let decoded = pairs(&query)
        .into_iter()
        .map(|(name, value)| (name, value.replace("%3D", "=").replace("%26", "&")));
    assert_eq!(View::read(&decoded.collect::<Vec<_>>()).unwrap().query(), query);
}

#[test]
fn what_is_wrong_with_a_kept_heart_or_a_line_is_told() {
    for (query, words, control) in [
        ("ghost=condition%3Dspleen", "the heart that was kept: ", ""),
        ("ghost=rate_bpm%3D900", "to 200", ""),
        ("line=r_peek", "did you mean “r_peak”", "line"),
    ] {
        let answer = ask(&format!("/heart/view?{query}"));
        assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{query}");
        assert!(answer.text().contains(words), "{query}: {}", answer.text());
        assert_eq!(answer.header("x-control"), control, "{query}");
    }
}

#[test]
fn the_lines_that_were_chosen_are_drawn_and_no_others() {
    let line = |id: &str| format!("<g class=\"line\" data-landmark=\"{id}\">");
    let chosen = ask("/heart/figure.svg?line=&line=a2&line=mitral_opens").text();
    assert!(chosen.contains(&line("a2")) && chosen.contains(&line("mitral_opens")));
    assert!(!chosen.contains(&line("r_peak")));
    let none = ask("/heart/figure.svg?line=").text();
    assert!(!none.contains("class=\"line\""));
    let usual = ask("/heart/figure.svg?at=120&speed=0.5").text();
    assert!(usual.contains(&line("r_peak")), "where the sweep line stands changes nothing");
}

/// The data of the beat in a page.
fn beat(query: &str) -> Value {
    let page = ask(&format!("/heart/view?{query}")).text();
    let json = page.split("<script id=\"beat-data\" type=\"application/json\">").nth(1).unwrap();
    serde_json::from_str(json.split("</script>").next().unwrap()).unwrap()
}

#[test]
fn the_beat_in_the_page_is_the_computed_one() {
    let beat = beat("condition=aortic_stenosis");
    let heart = heart::condition("aortic_stenosis").unwrap().heart;
    let cycle = heart::simulate(&heart, 1).unwrap();
    let channels = beat["channels"].as_array().unwrap();
    assert_eq!(channels.len(), 10);
    for channel in channels {
        let trace = cycle.trace(channel["id"].as_str().unwrap()).unwrap();
        for (step, value) in channel["values"].as_array().unwrap().iter().enumerate() {
            let Some(computed) = trace.at(step as f64 * 0.01) else { continue };
            assert!(
                (value.as_f64().unwrap() - computed).abs() <= 0.0501,
                "{} at {step}",
                trace.channel
            );
        }
    }
    let valves = beat["valves"].as_array().unwrap();
    assert_eq!(valves.len(), 4);
    for valve in valves {
        let id = valve["id"].as_str().unwrap();
        let opens = cycle.time_of(&format!("{id}_opens")).unwrap();
        let ends = valve["open"].as_array().unwrap();
        assert!(ends.iter().any(|end| (end[0].as_f64().unwrap() - opens).abs() < 1e-9), "{id}");
        let narrow = valve["area"].as_f64().unwrap() < 0.5;
        assert_eq!(narrow, id == "aortic", "{id}");
    }
}

#[test]
fn a_leaking_valve_stays_ajar() {
    let beat = beat("condition=mitral_regurgitation");
    for valve in beat["valves"].as_array().unwrap() {
        let leaks = valve["leak"].as_f64().unwrap() > 0.0;
        assert_eq!(leaks, valve["id"] == "mitral", "{valve}");
    }
}

#[test]
fn a_difference_has_its_sign_and_agrees_with_what_is_shown() {
    let cycle = |output: f64| {
        let summary = [("cardiac_output_l_min".to_owned(), output)].into();
        cycle::Cycle { summary, ..cycle::Cycle::default() }
    };
    let measure = summary::GROUPS[0].1.iter().find(|measure| measure.unit == "L/min").unwrap();
    let difference = |a: f64, b: f64| measure.difference(&cycle(a), &cycle(b)).unwrap();
    assert_eq!(difference(5.0, 6.24), "+1.2");
    assert_eq!(difference(5.0, 4.0), "−1.0");
    assert_eq!(difference(5.01, 5.04), "0.0");
    assert_eq!(difference(5.04, 5.06), "+0.1");
    assert!(measure.difference(&cycle(5.0), &cycle::Cycle::default()).is_none());
}

#[test]
fn a_heart_becomes_a_test_that_can_be_printed() {
    let desk = desk();
    let address = "/heart/sheet?condition=aortic_stenosis&rate_bpm=66";
    let form = "title=Stenosis+at+66&convention=measured_physiology";
    let made = post(&desk, address, form);
    assert_eq!(made.status, StatusCode::OK, "{}", made.text());
    let told: Value = serde_json::from_str(&made.text()).unwrap();
    assert_eq!(told["file"], "stenosis-at-66.toml");
    let folder = desk.folder();
    let text = folder.text("stenosis-at-66.toml").unwrap().text;
    let table: toml::Table = text.parse().unwrap();
    assert_eq!(table["heart"]["condition"].as_str(), Some("aortic_stenosis"));
    assert_eq!(table["heart"]["rate_bpm"].as_float(), Some(66.0));
    assert_eq!(table["heart"].as_table().unwrap().len(), 2, "only what was changed: {text}");
    assert!(folder.tests().iter().any(|test| test.title == "Stenosis at 66"));
    let again: Value = serde_json::from_str(&post(&desk, address, form).text()).unwrap();
    assert_eq!(again["file"], "stenosis-at-66-2.toml", "nothing is overwritten");
    let plain = post(&desk, "/heart/sheet", "title=Plain&convention=rules.toml");
    assert_eq!(plain.status, StatusCode::OK, "{}", plain.text());
    assert!(!folder.text("plain.toml").unwrap().text.contains("drawn_from"));
}

#[test]
fn a_heart_that_breaks_the_rules_is_drawn_as_it_is() {
    let desk = desk();
    let made = post(
        &desk,
        "/heart/sheet?condition=atrial_fibrillation",
        "title=Fibrillation&convention=first_course",
    );
    assert_eq!(made.status, StatusCode::OK, "{}", made.text());
    assert!(made.text().contains("breaks some of the rules"), "{}", made.text());
    let text = desk.folder().text("fibrillation.toml").unwrap().text;
    assert!(text.contains("drawn_from = \"heart\"") && text.contains("beats = 4"), "{text}");
}

#[test]
fn hostile_names_make_no_file_outside_the_course() {
    let desk = desk();
    for (form, control) in [
        ("title=&convention=first_course", "sheet-title"),
        ("title=a%0Ab&convention=first_course", "sheet-title"),
        ("title=Test&convention=../course.toml", "sheet-convention"),
        ("title=Test&convention=/etc/passwd", "sheet-convention"),
        ("title=Test", "sheet-convention"),
    ] {
        let refused = post(&desk, "/heart/sheet", form);
        assert_eq!(refused.status, StatusCode::BAD_REQUEST, "{form}");
        assert_eq!(refused.header("x-control"), control, "{form}");
    }
    let made = post(&desk, "/heart/sheet", "title=../../evil&convention=first_course");
    let told: Value = serde_json::from_str(&made.text()).unwrap();
    let path = desk.folder().path(told["file"].as_str().unwrap()).unwrap();
    assert!(path.is_file() && path.parent() == Some(desk.folder().root()));
    let script = "title=%3Cscript%3Ealert(1)%3C%2Fscript%3E&convention=first_course";
    assert_eq!(post(&desk, "/heart/sheet", script).status, StatusCode::OK);
    let page = answer(&desk, get("/heart")).text();
    assert!(!page.contains("<script>alert"));
}
