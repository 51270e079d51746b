//! The board asked without a port.

use axum::http::StatusCode;
use figure::{Shape, Tag, style};

use super::build::Build;
use crate::web::tests::{answer, ask, desk, get, post};
use crate::web::words::board as words;

#[test]
fn every_shipped_convention_is_built_step_by_step() {
    let folder = desk().folder();
    for shipped in cardiac::CONVENTIONS {
        for rate in [60.0, 75.0, 100.0] {
            let build = Build::of(&folder, shipped.name, rate).unwrap();
            let mut light = Vec::new();
            for (index, step) in build.steps.iter().enumerate() {
                let figure = build.figure(index + 1).unwrap();
                assert!(figure.height_mm <= figure.width_mm / build.ratio + 1e-6);
                let smallest = figure.items.iter().filter_map(|item| match &item.shape {
                    Shape::Text { size, .. } => Some(*size),
                    _ => None,
                });
                // On a screen of 1280 pixels the figure is 860 wide at least: a label of 3 mm has 24 pixels.
                let smallest = smallest.fold(f64::MAX, f64::min) * 860.0 / figure.width_mm;
                assert!(
                    smallest >= 21.5,
                    "{smallest} px in step {} of {}",
                    index + 1,
                    shipped.name
                );
                let draws = step.draw.iter().any(|point| point.channel.is_some());
                if draws && !has_heavy(&figure) {
                    light.extend(step.draw.iter().map(|point| point.name.as_str()));
                }
            }
            // The one landmark that is placed before its trace has come so far.
            let known: &[&str] = match shipped.name {
                "measured_physiology" => &["dicrotic_notch"],
                _ => &[],
            };
            assert_eq!(light, known, "{} at {rate}", shipped.name);
        }
    }
}

/// Whether some trace has a stretch that is at least twice as thick as another part of it.
fn has_heavy(figure: &figure::Figure) -> bool {
    let traces = figure.items.iter().filter_map(|item| match (&item.tag, &item.shape) {
        (Tag::Trace(id), Shape::Lines { parts, stroke }) if !parts.is_empty() => {
            Some((id, stroke.width))
        }
        _ => None,
    });
    let traces: Vec<_> = traces.collect();
    let twice = |width: f64, usual: f64| width >= 2.0 * usual - 1e-9;
    traces
        .iter()
        .any(|(id, width)| traces.iter().any(|(other, usual)| other == id && twice(*width, *usual)))
}

#[test]
fn the_frame_stands_still_from_step_to_step() {
    let build = Build::of(&desk().folder(), "left_heart", 75.0).unwrap();
    let last = build.figure(build.steps.len()).unwrap();
    let axis = |figure: &figure::Figure| -> Vec<[f64; 2]> {
        let frames = figure.items.iter().filter(|item| item.tag == Tag::Panel);
        let corners = frames.filter_map(|item| match &item.shape {
            Shape::Lines { parts, .. } => Some(parts[0][0]),
            _ => None,
        });
        // The figures are set on the board by their feet.
        corners.map(|[x, y]| [x, figure.height_mm - y]).collect()
    };
    let wanted = axis(&last);
    for number in 1..build.steps.len() {
        for (a, b) in axis(&build.figure(number).unwrap()).iter().zip(&wanted) {
            assert!((a[0] - b[0]).abs() < 1e-6 && (a[1] - b[1]).abs() < 1e-6, "step {number}");
        }
    }
}

#[test]
fn a_question_does_not_give_its_answer_away() {
    let folder = desk().folder();
    for shipped in cardiac::CONVENTIONS {
        let build = Build::of(&folder, shipped.name, 75.0).unwrap();
        for step in &build.steps {
            let question = words::question(step, &build.convention, &build.subject);
            assert!(question.ends_with('?'), "{question}");
            for line in &step.lines {
                let title = build.subject.title_of(&line.name).unwrap();
                assert!(!question.contains(title), "{question}");
            }
            let ecg = step.draw[0].channel.as_deref() == Some("ecg");
            assert!(!(ecg && question.contains(&step.title)), "{question}");
        }
    }
    let build = Build::of(&folder, "first_course", 75.0).unwrap();
    let asked = words::question(&build.steps[4], &build.convention, &build.subject);
    assert_eq!(asked, "Where does the second heart sound go, and why?");
}

#[test]
fn the_entry_offers_the_courses_conventions_and_those_of_the_program() {
    let page = ask("/board");
    assert_eq!(page.status, StatusCode::OK);
    for part in ["value=\"rules.toml\"", "value=\"first_course\"", "name=\"rate\"", "PageDown"] {
        assert!(page.text().contains(part), "{part}");
    }
}

#[test]
fn an_address_leads_to_its_step_and_a_rule_to_the_step_that_carries_it_out() {
    for (query, step) in [
        ("convention=first_course", 1),
        ("convention=first_course&step=4", 4),
        ("convention=first_course&rule=s2_in_t", 5),
        ("convention=first_course&rate=60&rule=notch_with_s2", 8),
        ("convention=rules.toml&step=2", 2),
    ] {
        let page = ask(&format!("/board?{query}"));
        assert_eq!(page.status, StatusCode::OK, "{query}: {}", page.text());
        let text = page.text();
        assert!(text.contains(&format!("data-step=\"{step}\"")), "{query}");
        assert!(text.contains(&format!("Step {step} of ")), "{query}");
        assert!(text.contains("<svg"), "{query}");
    }
}

#[test]
fn what_the_build_does_not_have_is_told_and_shown_as_text() {
    let page = ask("/board?convention=first_course&rule=%3Cscript%3Ealert(1)%3C/script%3E").text();
    assert!(page.contains("&lt;script&gt;alert(1)") && !page.contains("<script>alert"));
    assert!(page.contains("data-step=\"1\""));
    let page = ask("/board?convention=first_course&step=99").text();
    assert!(page.contains("There is no step “99”") && page.contains("data-step=\"1\""));
    for step in ["0", "99", "x", ""] {
        let picture = ask(&format!("/board/step.svg?convention=first_course&step={step}"));
        assert_eq!(picture.status, StatusCode::NOT_FOUND, "{step}");
    }
}

#[test]
fn names_that_lead_elsewhere_and_rates_out_of_range_are_refused() {
    for query in [
        "convention=nothing",
        "convention=../course.toml",
        "convention=/etc/passwd",
        "convention=%3Cscript%3E.toml",
        "convention=first_course&rate=900",
        "convention=first_course&rate=fast",
    ] {
        for path in ["/board", "/board/step.svg"] {
            let answer = ask(&format!("{path}?{query}&step=1"));
            assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{path}?{query}");
            assert!(!answer.text().contains("root:"), "{path}?{query}");
            assert!(!(path == "/board" && answer.text().contains("<script>.toml")), "{query}");
        }
    }
}

#[test]
fn rules_that_contradict_one_another_are_told_in_words() {
    let desk = desk();
    let rule = |id: &str, says: &str| {
        format!(
            "[[rules]]\nid = \"{id}\"\nkind = \"timing\"\nlandmark = \"s1_onset\"\n{says}\ntext = \"T.\"\ncause = \"C\"\n"
        )
    };
    let text = format!(
        "title = \"Odd\"\nsimplifies = \"All.\"\npanels = [[\"ecg\"], [\"heart_sounds\"]]\n{}{}",
        rule("one", "before = \"r_peak\"\nby_ms = [50, 60]"),
        rule("two", "after = \"r_peak\"\nby_ms = [50, 60]")
    );
    desk.folder().save("odd.toml", &text, None).unwrap();
    let page = answer(&desk, get("/board?convention=odd.toml"));
    assert_eq!(page.status, StatusCode::BAD_REQUEST);
    assert!(page.text().contains(words::NO_FIGURE), "{}", page.text());
    assert!(page.text().contains("/conventions?file=odd.toml"));
}

#[test]
fn an_open_question_is_veiled_until_the_page_is_ready() {
    let stage = |query: &str| {
        let page = ask(&format!("/board?convention=first_course&step=5{query}")).text();
        page.split("id=\"stage\"").nth(1).unwrap().split('>').next().unwrap().to_owned()
    };
    let veiled = |query: &str| {
        let page = ask(&format!("/board?convention=first_course&step=5{query}")).text();
        page.contains("class=\"stage veiled\"")
    };
    assert!(veiled("&ask=on"), "{}", stage("&ask=on"));
    assert!(!veiled("") && !veiled("&ask=on&revealed=on"));
}

#[test]
fn steps_are_spelled_as_the_course_says() {
    let desk = desk();
    assert_eq!(post(&desk, "/course/settings", "title=A&who=&spelling=EKG").status, StatusCode::OK);
    let page = answer(&desk, get("/board?convention=first_course")).text();
    let json = page.split("id=\"steps-data\"").nth(1).unwrap();
    assert!(json.contains("on the EKG") && !json.contains("on the ECG"));
}

/// What stands for `colour` on black, as `property` is set in the style sheet.
fn on_black(property: &str, colour: style::Colour) -> Option<style::Colour> {
    let css = include_str!("../../assets/board.css");
    let [r, g, b] = colour;
    let selector = format!(".black .picture [{property}=\"#{r:02x}{g:02x}{b:02x}\"]");
    let hex = css.split(&selector).nth(1)?.split('#').nth(1)?.get(..6)?;
    let part = |at: usize| u8::from_str_radix(&hex[at..at + 2], 16).ok();
    Some([part(0)?, part(2)?, part(4)?])
}

#[test]
fn white_on_black_is_as_easy_to_see() {
    const BLACK: style::Colour = [0; 3];
    assert_eq!(on_black("fill", style::PAPER), Some(BLACK));
    for text in [style::INK, style::SOFT_INK, style::ACCENT, style::GHOST] {
        assert!(style::contrast(on_black("fill", text).unwrap(), BLACK) >= 4.5, "{text:?}");
    }
    for line in [style::INK, style::ACCENT, style::GHOST] {
        assert!(style::contrast(on_black("stroke", line).unwrap(), BLACK) >= 4.5, "{line:?}");
    }
    for line in [style::HAIRLINE, style::GRID] {
        assert!(style::contrast(on_black("stroke", line).unwrap(), BLACK) >= 3.0, "{line:?}");
    }
    for trace in style::TRACES {
        for property in ["fill", "stroke"] {
            let colour = on_black(property, trace.colour).unwrap();
            assert!(style::contrast(colour, BLACK) >= 4.5, "{trace:?}");
            let tint = on_black("fill", style::TINT).unwrap();
            assert!(style::contrast(colour, tint) >= 4.5, "{trace:?}");
        }
    }
}
