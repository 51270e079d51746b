//! The room of the conventions, asked without a port.

use axum::http::StatusCode;
use serde_json::{Value, json};

use super::change::rules;
use crate::web::desk::Desk;
use crate::web::folder::Folder;
use crate::web::tests::{answer, desk, get, post, post_json};

const FILE: &str = "rules.toml";

fn state(desk: &Desk) -> Value {
    let told = answer(desk, get(&format!("/conventions/state?file={FILE}")));
    serde_json::from_str(&told.text()).unwrap()
}

/// Makes a change to the text as it is; gives the answer's status and body.
fn change(desk: &Desk, change: Value) -> (StatusCode, String) {
    let mut request = json!({"file": FILE, "seen": state(desk)["version"]});
    request.as_object_mut().unwrap().extend(change.as_object().unwrap().clone());
    let told = post_json(desk, "/conventions/change", &request);
    (told.status, told.text())
}

fn done(desk: &Desk, what: Value) -> Value {
    let (status, body) = change(desk, what);
    assert_eq!(status, StatusCode::OK, "{body}");
    serde_json::from_str(&body).unwrap()
}

fn in_force(desk: &Desk) -> String {
    desk.folder().text(FILE).unwrap().text
}

fn set(at: &str, value: &str) -> Value {
    json!({"op": "set", "at": at, "value": [value]})
}

#[test]
fn the_list_has_the_course_s_and_the_program_s() {
    let desk = desk();
    let page = answer(&desk, get("/conventions")).text();
    for part in [
        "/conventions?file=rules.toml",
        "/conventions?program=left_heart",
        "used by Test 1",
        "/board?convention=rules.toml",
    ] {
        assert!(page.contains(part), "{part} is missing");
    }
    std::fs::remove_file(desk.folder().root().join(FILE)).unwrap();
    let empty = answer(&desk, get("/conventions")).text();
    assert!(
        empty.contains("no convention of its own")
            && empty.contains("copy the one that is nearest")
    );
}

#[test]
fn a_convention_of_the_program_is_read_and_copied() {
    let desk = desk();
    let page = answer(&desk, get("/conventions?program=left_heart"));
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.text().contains("Why it holds"));
    let made = post(&desk, "/conventions/copy", "program=left_heart&title=My+%22left%22+heart");
    assert_eq!(made.status, StatusCode::SEE_OTHER, "{}", made.text());
    assert_eq!(made.header("location"), "/conventions?file=my-left-heart.toml");
    let text = desk.folder().text("my-left-heart.toml").unwrap().text;
    let table = text.parse::<toml::Table>().unwrap();
    assert_eq!(table["title"].as_str(), Some("My \"left\" heart"));
    let again = post(&desk, "/conventions/copy", "file=my-left-heart.toml&title=My+left+heart");
    assert_eq!(again.header("location"), "/conventions?file=my-left-heart-2.toml");
    assert_eq!(
        post(&desk, "/conventions/copy", "program=left_heart&title=...").status,
        StatusCode::BAD_REQUEST
    );
}

#[test]
fn a_form_s_change_is_in_force_at_once_and_changes_nothing_else() {
    let desk = desk();
    let before = in_force(&desk);
    let state = done(&desk, set("rules.4.text", "S1 begins with R."));
    assert_eq!(state["in_force"], true);
    let after = in_force(&desk);
    assert_eq!(state["text"], after.as_str());
    assert_eq!(after, before.replace("S1 begins on the line of the R peak.", "S1 begins with R."));
    assert!(state["forms"].as_str().unwrap().contains("S1 begins with R."));
}

#[test]
fn a_text_with_faults_is_a_draft_that_outlives_the_program_and_the_last_one_stays() {
    let desk = desk();
    let before = in_force(&desk);
    let faulty = before.replace("s1_onset", "s1_onsat");
    let state = done(&desk, json!({"op": "text", "text": faulty}));
    assert_eq!(state["in_force"], false);
    let fault = &state["faults"][0];
    assert!(fault["what"].as_str().unwrap().contains("did you mean “s1_onset”"), "{fault}");
    let line = fault["line"].as_u64().unwrap() as usize;
    assert!(faulty.lines().nth(line - 1).unwrap().contains("s1_onsat"));
    assert_eq!(in_force(&desk), before);
    // The program started again.
    let again = Desk::new(Folder::new(desk.folder().root()).unwrap(), desk.library().to_owned());
    assert_eq!(self::state(&again)["text"], faulty.as_str());
    let page = answer(&again, get(&format!("/conventions?file={FILE}"))).text();
    assert!(page.contains("s1_onsat") && page.contains("Kept as a draft"));
    let view = answer(&again, get(&format!("/conventions/view?file={FILE}"))).text();
    assert!(view.contains("belongs to the last one without"), "{view}");
    let mended = done(&again, json!({"op": "text", "text": faulty.replace("s1_onsat", "s1_end")}));
    assert_eq!(mended["in_force"], true);
    assert!(in_force(&again).contains("landmark = \"s1_end\""));
}

#[test]
fn forms_mend_what_can_be_read_and_say_so_where_nothing_can() {
    let desk = desk();
    done(&desk, json!({"op": "text", "text": in_force(&desk).replace("s1_onset", "s1_onsat")}));
    let mut state = state(&desk);
    assert!(state["forms"].as_str().unwrap().contains("did you mean"));
    for _ in 0..10 {
        let Some(rule) = rules(state["text"].as_str().unwrap())
            .unwrap()
            .iter()
            .position(|rule| rule.values().any(|value| value.as_str() == Some("s1_onsat")))
        else {
            break;
        };
        let key = rules(state["text"].as_str().unwrap()).unwrap()[rule]
            .iter()
            .find(|(_, value)| value.as_str() == Some("s1_onsat"))
            .unwrap()
            .0
            .clone();
        state = done(&desk, set(&format!("rules.{rule}.{key}"), "s1_onset"));
    }
    assert_eq!(state["in_force"], true, "{}", state["faults"]);
    let broken = done(&desk, json!({"op": "text", "text": "title = \"x\n[[rules]]\n"}));
    assert!(broken["forms"].as_str().unwrap().contains("Mend the fault in the text"));
    let (status, words) = change(&desk, set("title", "y"));
    assert_eq!(status, StatusCode::BAD_REQUEST, "{words}");
}

#[test]
fn undo_and_redo_go_step_by_step_also_over_drafts() {
    let desk = desk();
    let first = in_force(&desk);
    done(&desk, set("title", "Second"));
    let second = in_force(&desk);
    let faulty = second.replace("kind = \"presence\"", "kind = \"presents\"");
    done(&desk, json!({"op": "text", "text": faulty}));
    assert_eq!(done(&desk, json!({"op": "undo"}))["text"], second.as_str());
    let state = done(&desk, json!({"op": "undo"}));
    assert_eq!((&state["text"], &state["undoable"]), (&json!(first), &json!(0)));
    assert_eq!(in_force(&desk), first);
    assert_eq!(done(&desk, json!({"op": "undo"}))["text"], first.as_str());
    assert_eq!(done(&desk, json!({"op": "redo"}))["text"], second.as_str());
    assert_eq!(in_force(&desk), second);
    let state = done(&desk, json!({"op": "redo"}));
    assert_eq!((&state["text"], &state["in_force"]), (&json!(faulty), &json!(false)));
    done(&desk, json!({"op": "undo"}));
    let state = done(&desk, set("title", "Third"));
    assert_eq!(state["redoable"], 0);
}

#[test]
fn drafts_are_undone_one_by_one_and_forgotten_once_one_is_in_force() {
    let desk = desk();
    let first = in_force(&desk);
    let faulty = |word: &str| first.replacen("kind = \"presence\"", word, 1);
    let (one, other) = (faulty("kind = \"pre"), faulty("kind = \"presents\""));
    for text in [&one, &other] {
        done(&desk, json!({"op": "text", "text": text}));
    }
    assert_eq!(state(&desk)["undoable"], 2);
    let undone = done(&desk, json!({"op": "undo"}));
    assert_eq!((&undone["text"], &undone["in_force"]), (&json!(one), &json!(false)));
    let undone = done(&desk, json!({"op": "undo"}));
    assert_eq!((&undone["text"], &undone["in_force"]), (&json!(first), &json!(true)));
    assert_eq!(undone["undoable"], 0);
    for text in [&one, &other] {
        assert_eq!(done(&desk, json!({"op": "redo"}))["text"], text.as_str());
    }
    assert_eq!(state(&desk)["undoable"], 2);
    let whole = done(&desk, json!({"op": "text", "text": first.clone() + "# more\n"}));
    assert_eq!((&whole["in_force"], &whole["undoable"]), (&json!(true), &json!(1)));
    assert_eq!(done(&desk, json!({"op": "text", "text": other}))["undoable"], 2);
}

#[test]
fn changes_at_the_same_time_are_made_one_after_the_other() {
    const WRITERS: usize = 4;
    let desk = desk();
    let seen = state(&desk)["version"].clone();
    let made: Vec<StatusCode> = std::thread::scope(|scope| {
        let writers: Vec<_> = (0..WRITERS)
            .map(|number| {
                let (desk, seen) = (&desk, &seen);
                let title = format!("Of {number}");
                let request =
                    json!({"file": FILE, "seen": seen, "op": "set", "at": "title", "value": [title]});
                scope.spawn(move || post_json(desk, "/conventions/change", &request).status)
            })
            .collect();
        writers.into_iter().map(|one| one.join().unwrap()).collect()
    });
    assert_eq!(made.iter().filter(|status| **status == StatusCode::OK).count(), 1, "{made:?}");
    assert_eq!(state(&desk)["undoable"], 1);
}

#[test]
fn what_was_changed_elsewhere_is_not_written_over() {
    let desk = desk();
    let seen = state(&desk)["version"].clone();
    let other = in_force(&desk).replace("First course", "Changed elsewhere");
    std::fs::write(desk.folder().root().join(FILE), &other).unwrap();
    let request =
        json!({"file": FILE, "seen": seen, "op": "set", "at": "title", "value": ["Mine"]});
    let told = post_json(&desk, "/conventions/change", &request);
    assert_eq!(told.status, StatusCode::CONFLICT);
    assert!(told.text().contains("changed elsewhere"));
    assert_eq!(in_force(&desk), other);
    // Also where only a draft stands between.
    done(&desk, json!({"op": "text", "text": "title = "}));
    let seen = state(&desk)["version"].clone();
    std::fs::write(desk.folder().root().join(FILE), in_force(&desk) + "# more\n").unwrap();
    let request = json!({"file": FILE, "seen": seen, "op": "text", "text": other});
    assert_eq!(post_json(&desk, "/conventions/change", &request).status, StatusCode::CONFLICT);
}

#[test]
fn rules_are_added_moved_and_removed() {
    let desk = desk();
    let ids = |desk: &Desk| -> Vec<String> {
        rules(&in_force(desk))
            .unwrap()
            .iter()
            .map(|rule| rule["id"].as_str().unwrap().to_owned())
            .collect()
    };
    let before = ids(&desk);
    done(&desk, json!({"op": "add", "table": "rules", "after": 0}));
    assert_eq!(ids(&desk).len(), before.len() + 1);
    done(&desk, json!({"op": "move", "table": "rules", "index": 1, "to": 3}));
    assert_eq!(ids(&desk)[3], "rule_20");
    done(&desk, json!({"op": "remove", "table": "rules", "index": 3}));
    assert_eq!(ids(&desk), before);
    let (status, _) = change(&desk, json!({"op": "remove", "table": "steps", "index": 0}));
    assert_eq!(status, StatusCode::BAD_REQUEST);
}

#[test]
fn a_contradiction_is_told_in_words_with_links_to_its_rules() {
    let desk = desk();
    let text = in_force(&desk).replace(
        "landmark = \"systolic_peak\"\nwith = \"t_peak\"",
        "landmark = \"systolic_peak\"\nbefore = \"r_peak\"",
    );
    done(&desk, json!({"op": "text", "text": text}));
    let view = answer(&desk, get(&format!("/conventions/view?file={FILE}"))).text();
    assert!(view.contains("They cannot all hold"), "{view}");
    assert!(view.contains("href=\"#rules-7\"") && view.contains("top_at_mid_t"));
    assert!(view.contains("comes back when the rules agree"));
}

#[test]
fn agreement_warnings_comparison_and_figure_are_shown() {
    let desk = desk();
    let late = in_force(&desk).replace(
        "between = [\"t_peak\", \"t_end\"]\naim = 0.6",
        "after = \"t_end\"\nby_ms = [120, 160]",
    );
    done(&desk, json!({"op": "text", "text": late}));
    let view = answer(&desk, get(&format!("/conventions/view?file={FILE}"))).text();
    for part in [
        "They can all hold",
        "<svg",
        "Outside the measured range",
        "(verified)",
        "1 rule leaves what has been measured",
        "data-slot=\"outside-8\"><b>",
        "≠ differs",
        "= agrees",
    ] {
        assert!(view.contains(part), "{part} is missing");
    }
    let other =
        answer(&desk, get(&format!("/conventions/view?file={FILE}&against=aortic_stenosis")))
            .text();
    assert_ne!(view, other);
    assert_eq!(
        answer(&desk, get(&format!("/conventions/view?file={FILE}&against=x"))).status,
        StatusCode::BAD_REQUEST
    );
}

#[test]
fn what_was_removed_comes_back_with_its_draft() {
    let desk = desk();
    let before = in_force(&desk);
    done(&desk, json!({"op": "text", "text": "title = \"half"}));
    assert_eq!(
        post(&desk, "/conventions/remove", &format!("file={FILE}")).status,
        StatusCode::SEE_OTHER
    );
    assert!(desk.folder().conventions().is_empty());
    assert_eq!(
        answer(&desk, get(&format!("/conventions?file={FILE}"))).status,
        StatusCode::NOT_FOUND
    );
    let page = answer(&desk, get("/conventions")).text();
    assert!(page.contains("Bring back"));
    assert_eq!(
        post(&desk, "/conventions/restore", &format!("file={FILE}")).status,
        StatusCode::SEE_OTHER
    );
    assert_eq!(in_force(&desk), before);
    assert_eq!(done(&desk, json!({"op": "redo"}))["text"], "title = \"half");
}

#[test]
fn script_in_any_field_is_shown_as_text() {
    let desk = desk();
    let odd = "</textarea></select><script>alert(1)</script>\"'";
    for at in [
        "title",
        "about",
        "simplifies",
        "rules.0.id",
        "rules.0.text",
        "rules.0.cause",
        "rules.16.label",
    ] {
        done(&desk, set(at, odd));
    }
    let pages = [
        "/conventions",
        "/conventions?file=rules.toml",
        "/conventions/view?file=rules.toml",
        "/sheets",
    ];
    for page in pages {
        let text = answer(&desk, get(page)).text();
        assert!(
            !text.contains("<script>alert") && !text.contains("</textarea></select>"),
            "{page}"
        );
    }
    assert!(answer(&desk, get(pages[1])).text().contains("&lt;script&gt;alert(1)"));
    // Also where it makes the text faulty.
    for at in ["rules.0.landmark", "rules.0.kind"] {
        let (_, body) = change(&desk, set(at, odd));
        assert!(!body.contains("<script>alert(1)</script>\\\"'</"), "{body}");
        let page = answer(&desk, get(pages[1])).text();
        assert!(!page.contains("<script>alert"), "{at}");
    }
}

#[test]
fn other_files_are_out_of_reach() {
    let desk = desk();
    for file in [
        "../secret.toml",
        "course.toml",
        "roster.csv",
        "/etc/passwd",
        "sheets/x.toml",
        "..",
        "",
        "nowhere.toml",
    ] {
        let page =
            answer(&desk, get(&crate::web::query::address("/conventions", &[("file", file)])));
        assert_ne!(page.status, StatusCode::OK, "{file}");
        let request = json!({"file": file, "seen": "", "op": "text", "text": "x"});
        assert_ne!(
            post_json(&desk, "/conventions/change", &request).status,
            StatusCode::OK,
            "{file}"
        );
        let form = format!("file={file}");
        assert_ne!(
            post(&desk, "/conventions/remove", &form).status,
            StatusCode::SEE_OTHER,
            "{file}"
        );
        assert_ne!(
            post(&desk, "/conventions/restore", &form).status,
            StatusCode::SEE_OTHER,
            "{file}"
        );
    }
}
