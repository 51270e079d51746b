//! The page's modules as one script.
//!
//! A page that is opened from a disk cannot import modules, so each becomes a scope of its own in a
//! single one, after those that it imports. For that they hold to a few rules, which [`script`]
//! checks: imports stand at the margin and name what they import; nothing is renamed, nothing is a
//! default, and what is exported is declared where it is exported and does not change.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

/// Modules by their names, such as `page.js`; they import one another as `./page.js`.
pub(crate) type Modules<'a> = BTreeMap<&'a str, &'a str>;

/// The module `first` and all that it imports, each after those that it imports.
pub(crate) fn script(first: &str, modules: &Modules<'_>) -> Result<String, String> {
    let mut bundle = Bundle { modules, done: BTreeSet::new(), script: String::new() };
    bundle.add(first, &mut Vec::new())?;
    // What would end or hide a script that stands in a page.
    match ["</script", "<!--"].iter().find(|markup| bundle.script.contains(**markup)) {
        Some(markup) => Err(format!("a module has “{markup}” in it")),
        None => Ok(bundle.script),
    }
}

struct Bundle<'a> {
    modules: &'a Modules<'a>,
    done: BTreeSet<String>,
    script: String,
}

impl Bundle<'_> {
    fn add(&mut self, name: &str, within: &mut Vec<String>) -> Result<(), String> {
        if self.done.contains(name) {
            return Ok(());
        }
        if within.iter().any(|one| one == name) {
            return Err(format!("{name} imports itself by way of {}", within.join(", ")));
        }
        let text = self.modules.get(name).ok_or_else(|| format!("there is no module {name}"))?;
        let module = Module::read(text).map_err(|what| format!("{name}: {what}"))?;
        within.push(name.to_owned());
        for (_, from) in &module.imports {
            self.add(from, within)?;
        }
        within.pop();
        self.done.insert(name.to_owned());
        self.write(name, &module);
        Ok(())
    }

    fn write(&mut self, name: &str, module: &Module) {
        // Writing to a string does not fail.
        let _ = writeln!(self.script, "const {} = (() => {{", variable(name));
        for (names, from) in &module.imports {
            let _ = writeln!(self.script, "const {{ {names} }} = {};", variable(from));
        }
        let exports = module.exports.join(", ");
        let _ = writeln!(self.script, "{}return {{ {exports} }};\n}})();", module.body);
    }
}

/// What the scope of a module is called.
fn variable(name: &str) -> String {
    let plain = |c: char| if c.is_ascii_alphanumeric() { c } else { '_' };
    format!("$${}", name.chars().map(plain).collect::<String>())
}

/// A module taken apart.
#[derive(Default)]
struct Module {
    /// What is imported, and from where.
    imports: Vec<(String, String)>,
    exports: Vec<String>,
    /// All but imports, without `export`.
    body: String,
}

impl Module {
    fn read(text: &str) -> Result<Self, String> {
        let mut module = Self::default();
        let mut lines = text.lines();
        while let Some(line) = lines.next() {
            if line.starts_with("import ") {
                let mut whole = line.to_owned();
                while !whole.trim_end().ends_with(';') {
                    whole.push_str(lines.next().ok_or("an import does not end")?);
                }
                module.imports.push(import(&whole)?);
                continue;
            }
            let declared = line.strip_prefix("export ");
            if let Some(declared) = declared {
                let name = name(declared)
                    .ok_or_else(|| format!("“{line}” is an export that cannot be put together"))?;
                module.exports.push(name);
            }
            module.body.push_str(declared.unwrap_or(line));
            module.body.push('\n');
        }
        Ok(module)
    }
}

/// The names and the module of `import { a, b } from "./c.js";`.
fn import(whole: &str) -> Result<(String, String), String> {
    let odd = || format!("“{whole}” is an import that cannot be put together");
    let (names, from) = whole
        .strip_prefix("import {")
        .and_then(|rest| rest.split_once('}'))
        .filter(|(names, _)| !names.contains(" as "))
        .ok_or_else(odd)?;
    let from = from.trim().strip_prefix("from \"./").and_then(|from| from.strip_suffix("\";"));
    Ok((names.trim().trim_end_matches(',').to_owned(), from.ok_or_else(odd)?.to_owned()))
}

/// What a declaration declares that does not change.
fn name(declared: &str) -> Option<String> {
    let declared = declared.strip_prefix("async ").unwrap_or(declared);
    let kinds = ["const ", "function ", "class "];
    let rest = kinds.iter().find_map(|kind| declared.strip_prefix(kind))?;
    let end = rest.find(|c: char| !(c.is_alphanumeric() || c == '_' || c == '$'))?;
    (end > 0).then(|| rest[..end].to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_imported_comes_first_and_once() {
        let modules = Modules::from([
            ("a.js", "import { b } from \"./b.js\";\nimport { c } from \"./c.js\";\nb(c);\n"),
            ("b.js", "import {\n  c,\n} from \"./c.js\";\nexport function b() { return c; }\n"),
            ("c.js", "const d = 1;\nexport const c = d;\n"),
        ]);
        let script = script("a.js", &modules).unwrap();
        assert_eq!(
            script,
            "const $$c_js = (() => {\nconst d = 1;\nconst c = d;\nreturn { c };\n})();\n\
             const $$b_js = (() => {\nconst { c } = $$c_js;\nfunction b() { return c; }\nreturn { b };\n})();\n\
             const $$a_js = (() => {\nconst { b } = $$b_js;\nconst { c } = $$c_js;\nb(c);\nreturn {  };\n})();\n"
        );
    }

    #[test]
    fn what_cannot_be_put_together_is_refused() {
        for (text, words) in [
            ("import { x as y } from \"./c.js\";\n", "cannot be put together"),
            ("import x from \"./c.js\";\n", "cannot be put together"),
            ("import { x } from \"/c.js\";\n", "cannot be put together"),
            ("export default 1;\n", "cannot be put together"),
            ("export { x };\n", "cannot be put together"),
            ("export let x = 1;\n", "cannot be put together"),
            ("import { x } from \"./nowhere.js\";\n", "no module nowhere.js"),
            ("import { x } from \"./a.js\";\n", "imports itself"),
            ("import { x\n", "does not end"),
            ("const x = \"</script>\";\n", "has “</script” in it"),
        ] {
            let modules = Modules::from([("a.js", text), ("c.js", "export const c = 1;\n")]);
            let refused = script("a.js", &modules).unwrap_err();
            assert!(refused.contains(words), "{text}: {refused}");
        }
    }
}
