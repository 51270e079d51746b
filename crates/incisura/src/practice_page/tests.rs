//! The page that is made, read as text.

use super::*;

fn definition(title: &str) -> Definition {
    let test = format!("title = \"{title}\"\nconvention = \"first_course\"\n");
    Definition { test, ..Definition::default() }
}

fn made(title: &str) -> String {
    page("QUJD", title, title, &definition(title), "key", &[]).unwrap()
}

/// What follows `before` wherever that stands.
fn after<'a>(page: &'a str, before: &'a str) -> impl Iterator<Item = &'a str> {
    page.split(before).skip(1)
}

#[test]
fn the_page_names_no_address_but_its_own_data() {
    let page = made("Quiz");
    for before in [" href=\"", " src=\"", " action=\"", "url(\""] {
        for address in after(&page, before) {
            let own = ["data:", "#"].iter().any(|start| address.starts_with(start));
            assert!(own, "{before}{}", address.chars().take(40).collect::<String>());
        }
    }
    // The name of a kind of markup is no address.
    let plain = page.replace("http://www.w3.org/2000/svg", "");
    for word in ["http:", "https:", "fetch(", "XMLHttpRequest", "sendBeacon", "@import", "import("]
    {
        let comments = plain.replace("{import(", "").replace("Promise<import(", "");
        let found = comments
            .lines()
            .find(|line| !line.trim_start().starts_with(['*', '/']) && line.contains(word));
        assert_eq!(found, None, "{word}");
    }
    assert!(page.contains("url(\"data:font/woff2;base64,"));
    assert!(!page.contains("id=\"test\""), "there is nothing to choose from");
}

#[test]
fn the_policy_lets_this_style_and_this_script_in_and_nothing_else() {
    let page = made("Quiz");
    let between = |from: &str, to: &str| {
        let (_, rest) = page.split_once(from).unwrap();
        rest.split_once(to).unwrap().0.to_owned()
    };
    let policy = between("Content-Security-Policy\" content=\"", "\"");
    assert!(policy.starts_with("default-src 'none';") && !policy.contains("unsafe-inline"));
    let hash = |text: &str| format!("'sha256-{}'", base64(&Sha256::digest(text)));
    let style = hash(&between("<style>", "</style>"));
    let script = hash(&between("<script type=\"module\">", "</script>"));
    assert!(policy.contains(&format!("style-src {style};")), "{policy}");
    assert!(policy.contains(&format!("script-src {script} 'wasm-unsafe-eval';")), "{policy}");
}

#[test]
fn markup_in_a_test_stays_text() {
    let page = made("</script><script>alert(1)</script>");
    assert!(!page.contains("<script>alert"));
    assert_eq!(after(&page, "</script>").count(), 3);
}

#[test]
fn the_script_has_the_core_inside_and_every_module_once() {
    let script = script().unwrap();
    for (name, _) in room::MODULES {
        let begin = format!("const $${} = (", name.replace('.', "_"));
        assert_eq!(script.matches(&begin).count(), 1, "{name}");
    }
    assert!(script.contains("DecompressionStream") && !script.contains("await fetch"));
    assert!(!script.lines().any(|line| line.starts_with("import ") || line.starts_with("export ")));
}

#[test]
fn a_page_is_made_small_or_it_is_said_what_is_missing() {
    let folder = std::env::temp_dir().join(format!("incisura-page-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let test = folder.join("quiz.toml");
    std::fs::write(&test, definition("Quiz").test).unwrap();
    match super::made(&test, None, None) {
        Ok(page) => {
            assert!(can_be_made());
            assert!(page.len() < 3_000_000, "{} bytes", page.len());
            assert_eq!(super::made(&test, None, None).unwrap(), page, "made twice it is another");
        }
        Err(failure) => {
            assert!(!can_be_made());
            assert!(failure.to_string().contains("cargo xtask run"), "{failure}");
        }
    }
}
