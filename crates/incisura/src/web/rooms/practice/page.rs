//! The practice page. Everything inside it works the same in the app, in the classroom, and on its
//! own: modules find the task by the data block alone.

use maud::{DOCTYPE, Markup, PreEscaped, html};
use practice::{Definition, Task};
use serde_json::{Value, json};

use super::words;
use crate::practice_page;
use crate::web::classroom::Invitation;
use crate::web::folder::Listed;
use crate::web::query::address;
use crate::web::shell::head;
use crate::web::words::classroom as class_words;
use crate::web::words::shell as shell_words;

/// The room in the app.
pub(super) fn room(
    tests: &[Listed],
    chosen: Option<&Listed>,
    code_said: Option<&str>,
    invitation: Option<&Invitation>,
) -> Markup {
    html! {
        div.room {
            @match chosen {
                Some(test) => {
                    (task_of(tests, test))
                    (for_home(test, code_said))
                }
                None => {
                    div.roomhead { h1 { (words::TITLE) } }
                    div.empty #stage { p { strong { (words::EMPTY) } } p { (words::EMPTY_HOW) } }
                }
            }
            (classroom(invitation))
        }
    }
}

/// The page by itself.
pub(super) fn alone(tests: &[Listed], chosen: Option<&Listed>) -> Markup {
    let scripts: &[&str] = if chosen.is_some() { &["/practice/page.js"] } else { &[] };
    html! {
        (DOCTYPE)
        html lang="en" {
            (head(words::TITLE, &["/practice/practice.css"], scripts))
            body {
                a.skip href="#stage" { (words::SKIP) }
                main { (room_alone(tests, chosen)) }
                p #spoken .unseen role="status" {}
            }
        }
    }
}

fn room_alone(tests: &[Listed], chosen: Option<&Listed>) -> Markup {
    html! {
        div.room {
            @match chosen {
                Some(test) => { (task_of(tests, test)) (keys()) }
                None => { h1 { (words::TITLE) } div.empty #stage { p { (words::EMPTY) } } }
            }
        }
    }
}

/// The page in a file of its own, about one test.
pub(crate) struct InFile<'a> {
    pub(crate) title: &'a str,
    /// What tries are kept under.
    pub(crate) name: &'a str,
    pub(crate) definition: &'a Definition,
    /// What result codes are signed with.
    pub(crate) key: &'a str,
    /// The core, packed and written as letters.
    pub(crate) core: &'a str,
    /// Tasks that can be drawn before the core has started, one of which it opens with.
    pub(crate) tasks: &'a [Task],
    /// The content security policy.
    pub(crate) policy: &'a str,
}

/// Where the core stands in such a page.
const CORE: &str = "practice-core";

impl InFile<'_> {
    /// The whole file.
    pub(crate) fn html(&self, style: &str, script: &str) -> Markup {
        html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta http-equiv="Content-Security-Policy" content=(self.policy);
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="referrer" content="no-referrer";
                    title { (self.title) " – " (words::TITLE) }
                    link rel="icon" href="data:,";
                    style { (PreEscaped(style)) }
                }
                body {
                    a.skip href="#stage" { (words::SKIP) }
                    main {
                        div.room {
                            noscript { p.fault { (words::NO_SCRIPT) } }
                            (task(&self.data(), html! { h1 { (self.title) } }, result_code()))
                            (keys())
                        }
                    }
                    p #spoken .unseen role="status" {}
                    script #(CORE) type="application/gzip" { (self.core) }
                    script type="module" { (PreEscaped(script)) }
                }
            }
        }
    }

    fn data(&self) -> Value {
        let mut said = said();
        said["silent"] = json!(words::SILENT_IN_FILE);
        json!({
            "core": format!("#{CORE}"),
            "definition": self.definition,
            "name": self.name,
            "key": self.key,
            "said": said,
            "tasks": self.tasks,
        })
    }
}

/// The keys, where no masthead has their list.
fn keys() -> Markup {
    html! {
        details.keylist {
            summary { (shell_words::KEYS) }
            dl { @for (key, does) in words::KEYS { div { dt { kbd { (key) } } dd { (does) } } } }
        }
    }
}

/// Where the code stands that says what a try came to.
fn result_code() -> Markup {
    html! {
        p #result hidden { (words::RESULT_CODE) ": " code #code {} }
    }
}

/// The task of a test of the course.
fn task_of(tests: &[Listed], chosen: &Listed) -> Markup {
    let data = json!({
        "core": "/practice/core/",
        "definition": { "file": chosen.file },
        "name": chosen.file,
        "said": said(),
    });
    let head = html! {
        h1 { (words::TITLE) }
        div.choice {
            label for="test" { (words::TEST) }
            select #test {
                @for test in tests {
                    option value=(test.file) selected[test.file == chosen.file] { (test.title) }
                }
            }
        }
    };
    task(&data, head, html! {})
}

/// The task with all that belongs to it.
fn task(data: &Value, head: Markup, result: Markup) -> Markup {
    html! {
        (data_block(data))
        div.roomhead.practicehead {
            (head)
            div.choice {
                label for="level" { (words::HELP) }
                select #level { @for level in 1..=4 { option value=(level) { (level) } } }
            }
            div.actions {
                button #variant type="button" { (words::VARIANT) }
            }
        }
        p #told .prose {}
        p #problem .fault role="alert" {}
        div #bench {
            section.board aria-label=(words::STAGE) {
                (tools())
                div #stage tabindex="0" role="application" aria-label=(words::STAGE) aria-describedby="told" {}
                (points())
                (hearing())
            }
            div.side {
                div.actions.checking {
                    button #check .primary type="button" { (words::CHECK) }
                    p #score role="status" {}
                }
                details name="side" open #feedback {
                    summary { (words::FEEDBACK) }
                    p #feedback-empty .soft { (words::NOT_YET) }
                    (result)
                    button #harder .primary type="button" hidden { (words::NEXT_LEVEL) }
                    ol #findings {}
                }
                (build())
                (quiz())
                (progress())
            }
            svg #leader aria-hidden="true" { line {} }
        }
    }
}

fn tools() -> Markup {
    let modes = [
        ("draw", words::DRAW),
        ("erase", words::ERASE),
        ("line", words::LINE),
        ("move", words::MOVE),
        ("points", words::POINTS),
    ];
    html! {
        div.tools role="toolbar" aria-label=(words::TOOLS) {
            div.modes role="group" {
                @for (mode, name) in modes {
                    button type="button" data-mode=(mode) aria-pressed=(mode == "draw") { (name) }
                }
            }
            div.modes role="group" {
                button #undo type="button" { (words::UNDO) }
                button #redo type="button" { (words::REDO) }
                button #smooth type="button" { (words::SMOOTH) }
                button #clear type="button" { (words::CLEAR) }
            }
            div.modes role="group" {
                button #nearer type="button" aria-label=(words::NEARER) { "+" }
                button #farther type="button" aria-label=(words::FARTHER) { "−" }
                button #whole type="button" { (words::WHOLE) }
            }
        }
    }
}

fn points() -> Markup {
    html! {
        div #points hidden {
            p.soft #points-how { (words::POINTS_HOW) }
            label { input #alike type="checkbox" checked; " " (words::ALIKE) }
            p { strong { (words::GIVEN_MARKS) ": " } span #given-marks {} }
            div #point-list role="group" aria-label=(words::PLACED) {}
        }
    }
}

fn hearing() -> Markup {
    html! {
        div.hearing role="group" aria-label=(words::HEARING) {
            button #hear type="button" { (words::HEAR) }
            select #heard aria-label=(words::HEARD) { option value="" { (words::SOUNDS) } }
            label { input #slowly type="checkbox"; " " (words::SLOWLY) }
        }
    }
}

fn build() -> Markup {
    html! {
        details name="side" #build {
            summary { (words::BUILD) }
            p #build-title aria-live="polite" { }
            p #build-text {}
            p #build-cause .soft hidden {}
            div.actions {
                button #build-back type="button" { (words::BACK) }
                button #build-next type="button" { (words::NEXT) }
                button #build-show type="button" aria-pressed="false" { (words::SHOW) }
                button #build-why type="button" aria-expanded="false" aria-controls="build-cause" { (words::WHY) }
            }
        }
    }
}

fn quiz() -> Markup {
    html! {
        details name="side" #quiz {
            summary { (words::QUESTIONS) }
            p #quiz-number .soft {}
            p #quiz-prompt {}
            div #quiz-choices {}
            div.actions {
                button #quiz-answer type="button" { (words::ANSWER) }
                button #quiz-next type="button" { (words::NEXT) }
            }
            p #quiz-said role="status" {}
        }
    }
}

fn progress() -> Markup {
    html! {
        details name="side" #progress {
            summary { (words::PROGRESS) }
            p.soft { (words::PRIVATE) }
            label { input #keep type="checkbox"; " " (words::KEEP) }
            p #progress-said role="status" {}
            ol #tries {}
            div.actions {
                button #export type="button" { (words::EXPORT) }
                button #forget type="button" { (words::FORGET) }
            }
        }
    }
}

/// What the modules say.
fn said() -> Value {
    words::SAID.iter().map(|(key, text)| ((*key).to_owned(), json!(text))).collect()
}

/// What the modules are told: where the core is, which test it is about, and what they say.
fn data_block(data: &Value) -> Markup {
    // Inside a script nothing but its end tag is markup.
    let text = data.to_string().replace('<', "\\u003c");
    html! { script #practice-data type="application/json" { (PreEscaped(text)) } }
}

/// The page for home, and what its codes say.
fn for_home(test: &Listed, code_said: Option<&str>) -> Markup {
    let page = address("/practice/page", &[("test", &test.file)]);
    let package =
        |name| address("/practice/page", &[("test", test.file.as_str()), ("package", name)]);
    html! {
        section.card.athome aria-labelledby="athome-title" {
            h2 #athome-title { (words::AT_HOME) }
            @if practice_page::can_be_made() {
                p { (words::AT_HOME_HOW) }
                ul.downloads {
                    li { a.button href=(page) download { (words::ONE_FILE) } }
                    @for (key, name) in words::PACKAGES {
                        li { a.button href=(package(key)) download { (name) } }
                    }
                }
                form action="/practice" method="get" {
                    input type="hidden" name="test" value=(test.file);
                    label for="result-code" { (words::RESULT_CODE) }
                    input #result-code type="text" name="code" required autocomplete="off" spellcheck="false";
                    button type="submit" { (words::VERIFY) }
                }
                @if let Some(said) = code_said { p #code-said role="status" { strong { (said) } } }
            } @else {
                p.soft { (words::NO_PAGES) " " code { "cargo xtask run" } "." }
            }
        }
    }
}

/// How a class comes in, for the instructor.
fn classroom(invitation: Option<&Invitation>) -> Markup {
    html! {
        @if let Some(invitation) = invitation {
            section.card.classroom aria-labelledby="classroom-title" {
                div {
                    h2 #classroom-title { (class_words::OPEN) }
                    p { (class_words::COME_IN) }
                    dl.facts {
                        div { dt { (class_words::ADDRESS) } dd { code { (invitation.address()) } } }
                        div { dt { (class_words::CODE) } dd { code.joincode { (invitation.code()) } } }
                    }
                }
                (invitation.qr())
            }
        } @else {
            p.soft.classroom { (class_words::CLOSED) " " code { "incisura open --classroom" } "." }
        }
    }
}
