//! Changes to the text of a TOML file that leave comments and layout as they are.
//!
//! Only the part that changes is written anew; all else is copied letter by letter. Messages say
//! why something cannot be changed here, so that it can be changed in the text.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Where a value stands: at the top, in a table, or in one of several tables of a name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct At {
    table: Option<String>,
    item: Option<usize>,
    pub(crate) key: String,
}

impl At {
    /// Reads `title`, `heart.rate_bpm` or `rules.3.text`.
    pub(crate) fn read(written: &str) -> Option<Self> {
        let parts: Vec<&str> = written.split('.').collect();
        let (table, item, key) = match parts[..] {
            [key] => (None, None, key),
            [table, key] => (Some(table), None, key),
            [table, item, key] => (Some(table), Some(item.parse().ok()?), key),
            _ => return None,
        };
        let plain = |part: &str| {
            !part.is_empty() && part.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_')
        };
        let all_plain = plain(key) && table.is_none_or(plain);
        all_plain.then(|| Self { table: table.map(str::to_owned), item, key: key.to_owned() })
    }

    /// The number of the item of `table` in which it stands.
    pub(crate) fn number(&self, table: &str) -> Option<usize> {
        self.item.filter(|_| self.table.as_deref() == Some(table))
    }

    /// Whether it stands in `table`, which has no items.
    pub(crate) fn is_in(&self, table: &str) -> bool {
        self.item.is_none() && self.table.as_deref() == Some(table)
    }

    /// The value `key` of item number `item` of `table`.
    pub(crate) fn item(table: &str, item: usize, key: &str) -> Self {
        Self { table: Some(table.to_owned()), item: Some(item), key: key.to_owned() }
    }

    /// Another value of the same table.
    pub(crate) fn beside(&self, key: &str) -> Self {
        Self { key: key.to_owned(), ..self.clone() }
    }

    /// A value at the top.
    pub(crate) fn top(key: &str) -> Self {
        Self { table: None, item: None, key: key.to_owned() }
    }
}

/// A file's text with the places of its parts.
struct Parts<'a> {
    text: &'a str,
    root: DeTable<'a>,
}

/// A table whose values are to be changed.
struct Found<'p, 'a> {
    values: &'p DeTable<'a>,
    /// Its header or its braces; none for what stands at the top.
    span: Option<Range<usize>>,
}

const IN_ONE_LINE: &str = "this is written within braces in the file; change it in the text";

impl<'a> Parts<'a> {
    fn read(text: &'a str) -> Result<Self, String> {
        let root = DeTable::parse(text).map_err(|error| error.message().to_owned())?;
        Ok(Self { text, root: root.into_inner() })
    }

    fn is_header(&self, span: &Range<usize>) -> bool {
        self.text[span.clone()].starts_with('[')
    }

    /// The tables of an array whose items have headers of their own.
    fn items(&self, table: &str) -> Result<Vec<Found<'_, 'a>>, String> {
        let Some(value) = self.root.get(table) else { return Ok(Vec::new()) };
        let array = value.as_ref().as_array();
        let item = |item: &'_ Spanned<DeValue<'a>>| item.as_ref().as_table().map(|_| item.span());
        let spans: Option<Vec<Range<usize>>> =
            array.and_then(|array| array.iter().map(item).collect());
        match (array, spans) {
            (Some(array), Some(spans)) if spans.iter().all(|span| self.is_header(span)) => {
                let tables = array.iter().filter_map(|item| item.as_ref().as_table());
                let found = |(values, span)| Found { values, span: Some(span) };
                Ok(tables.zip(spans).map(found).collect())
            }
            _ => Err(format!(
                "“{table}” is not written as [[{table}]] in the file; change it in the text"
            )),
        }
    }

    /// The table in which `at` stands, if it is there.
    fn table(&self, at: &At) -> Result<Option<Found<'_, 'a>>, String> {
        match (&at.table, at.item) {
            (None, _) => Ok(Some(Found { values: &self.root, span: None })),
            (Some(table), Some(item)) => {
                let found = self.items(table)?.into_iter().nth(item);
                found.map(Some).ok_or_else(|| "this is no longer there; reload the page".to_owned())
            }
            (Some(table), None) => {
                let Some(value) = self.root.get(table.as_str()) else { return Ok(None) };
                let Some(values) = value.as_ref().as_table() else {
                    return Err(format!(
                        "“{table}” is no table in the file; change it in the text"
                    ));
                };
                Ok(Some(Found { values, span: Some(value.span()) }))
            }
        }
    }

    /// Where headers begin, in their order.
    fn headers(&self) -> Vec<usize> {
        let mut starts = Vec::new();
        visit(&self.root, &mut |value| {
            if value.as_ref().is_table() && self.is_header(&value.span()) {
                starts.push(value.span().start);
            }
        });
        starts.sort_unstable();
        starts.dedup();
        starts
    }

    /// Where what belongs to the header at `header` begins: with the comment directly above it.
    fn lead(&self, header: usize) -> usize {
        let mut floor = 0;
        visit(&self.root, &mut |value| {
            let end = value.span().end;
            if end <= header {
                floor = floor.max(end);
            }
        });
        let mut lead = self.line_start(header);
        while lead > 0 {
            let above = self.line_start(lead - 1);
            let line = self.text[above..lead].trim();
            if above < floor || !line.starts_with('#') {
                break;
            }
            lead = above;
        }
        lead
    }

    fn line_start(&self, at: usize) -> usize {
        self.text[..at].rfind('\n').map_or(0, |end| end + 1)
    }

    /// Where the line after that of `at` begins.
    fn line_end(&self, at: usize) -> usize {
        self.text[at..].find('\n').map_or(self.text.len(), |end| at + end + 1)
    }

    /// What belongs to each item of `table`, with its comment and the white space after it.
    fn blocks(&self, table: &str) -> Result<Vec<Range<usize>>, String> {
        let headers = self.headers();
        let block = |item: Found<'_, 'a>| {
            let start = item.span.map_or(0, |span| span.start);
            let next = headers.iter().find(|header| **header > start);
            self.lead(start)..next.map_or(self.text.len(), |next| self.lead(*next))
        };
        Ok(self.items(table)?.into_iter().map(block).collect())
    }

    /// The end of the line in which the value under `key` ends.
    fn after_value(&self, found: &Found<'_, 'a>, key: &str) -> Option<usize> {
        let value = found.values.get(key)?;
        let whole = value.as_ref().is_table() || self.is_table_array(value);
        (!whole).then(|| self.line_end(value.span().end))
    }

    fn is_table_array(&self, value: &Spanned<DeValue<'_>>) -> bool {
        let first = value.as_ref().as_array().and_then(|array| array.iter().next());
        first.is_some_and(|first| first.as_ref().is_table() && self.is_header(&first.span()))
    }

    /// Where a new value of a table goes: behind what comes before it in `order`, else last.
    fn room(&self, found: &Found<'_, 'a>, key: &str, order: &[&str]) -> usize {
        let place = order.iter().position(|known| *known == key).unwrap_or(0);
        let earlier = order[..place].iter().rev();
        let mut behind = earlier.filter_map(|known| self.after_value(found, known));
        let last = || {
            let ends = found.values.keys().filter_map(|key| self.after_value(found, key.as_ref()));
            let header = || found.span.as_ref().map_or(0, |span| self.line_end(span.end));
            ends.max().unwrap_or_else(header)
        };
        behind.next().unwrap_or_else(last)
    }

    fn replaced(&self, span: Range<usize>, with: &str) -> String {
        format!("{}{with}{}", &self.text[..span.start], &self.text[span.end..])
    }

    /// The text with a line put in at `at`.
    fn with_line(&self, at: usize, line: &str) -> String {
        let open = at > 0 && !self.text[..at].ends_with('\n');
        self.replaced(at..at, &format!("{}{line}\n", if open { "\n" } else { "" }))
    }
}

fn visit<'a>(table: &DeTable<'a>, see: &mut dyn FnMut(&Spanned<DeValue<'a>>)) {
    for value in table.values() {
        visit_value(value, see);
    }
}

fn visit_value<'a>(value: &Spanned<DeValue<'a>>, see: &mut dyn FnMut(&Spanned<DeValue<'a>>)) {
    see(value);
    match value.as_ref() {
        DeValue::Table(table) => visit(table, see),
        DeValue::Array(array) => array.iter().for_each(|item| visit_value(item, see)),
        _ => {}
    }
}

/// `text` with `value`, in TOML, at `at`. What is new is put where `order` has it.
pub(crate) fn set(text: &str, at: &At, value: &str, order: &[&str]) -> Result<String, String> {
    let parts = Parts::read(text)?;
    let line = format!("{} = {value}", at.key);
    let Some(found) = parts.table(at)? else {
        let table = at.table.as_deref().unwrap_or_default();
        return Ok(format!("{}\n\n[{table}]\n{line}\n", text.trim_end()).trim_start().to_owned());
    };
    if let Some(old) = found.values.get(at.key.as_str()) {
        if parts.is_table_array(old) {
            return Err(format!("“{}” is a table in the file; change it in the text", at.key));
        }
        return Ok(parts.replaced(old.span(), value));
    }
    if let Some(span) = found.span.as_ref().filter(|span| !parts.is_header(span)) {
        let open = text[span.clone()].starts_with('{');
        let comma = if found.values.is_empty() { " " } else { "," };
        let inside = span.start + 1;
        return match open {
            true => Ok(parts.replaced(inside..inside, &format!(" {line}{comma}"))),
            false => Err(IN_ONE_LINE.to_owned()),
        };
    }
    Ok(parts.with_line(parts.room(&found, &at.key, order), &line))
}

/// `text` without what stands at `at`, and without its line.
pub(crate) fn remove(text: &str, at: &At) -> Result<String, String> {
    let parts = Parts::read(text)?;
    let Some(found) = parts.table(at)? else { return Ok(text.to_owned()) };
    let Some((key, value)) = found.values.get_key_value(at.key.as_str()) else {
        return Ok(text.to_owned());
    };
    if found.span.as_ref().is_some_and(|span| !parts.is_header(span)) {
        return Err(IN_ONE_LINE.to_owned());
    }
    let line = parts.line_start(key.span().start)..parts.line_end(value.span().end);
    Ok(parts.replaced(line, ""))
}

/// `text` with the value at `at` under another key, if it is there.
pub(crate) fn rename(text: &str, at: &At, key: &str) -> Result<String, String> {
    let parts = Parts::read(text)?;
    let Some(found) = parts.table(at)? else { return Ok(text.to_owned()) };
    let old = found.values.get_key_value(at.key.as_str());
    Ok(old.map_or_else(|| text.to_owned(), |(old, _)| parts.replaced(old.span(), key)))
}

/// The value at `at` as it is written, if it is there.
pub(crate) fn written(text: &str, at: &At) -> Result<Option<String>, String> {
    let parts = Parts::read(text)?;
    let Some(found) = parts.table(at)? else { return Ok(None) };
    Ok(found.values.get(at.key.as_str()).map(|value| text[value.span()].to_owned()))
}

/// `text` with a new item in `table`, after item number `after`, or last.
pub(crate) fn add(
    text: &str,
    table: &str,
    after: Option<usize>,
    body: &str,
) -> Result<String, String> {
    let parts = Parts::read(text)?;
    let blocks = parts.blocks(table)?;
    let block = after.map_or_else(|| blocks.last(), |after| blocks.get(after));
    let end = block.map_or(text.len(), |block| block.end);
    let (before, behind) = (text[..end].trim_end(), text[end..].trim_start_matches('\n'));
    let gap = if before.is_empty() { "" } else { "\n\n" };
    let last = if behind.is_empty() { "" } else { "\n" };
    Ok(format!("{before}{gap}[[{table}]]\n{}\n{last}{behind}", body.trim_end()))
}

/// `text` without item number `item` of `table`, and without the comment directly above it.
pub(crate) fn remove_item(text: &str, table: &str, item: usize) -> Result<String, String> {
    let parts = Parts::read(text)?;
    let block = parts.blocks(table)?.get(item).cloned();
    let block = block.ok_or("this is no longer there; reload the page")?;
    let is_last = block.end == text.len();
    let without = parts.replaced(block, "");
    Ok(if is_last { format!("{}\n", without.trim_end()) } else { without })
}

/// `text` with item number `from` of `table` at place number `to`.
pub(crate) fn move_item(text: &str, table: &str, from: usize, to: usize) -> Result<String, String> {
    let parts = Parts::read(text)?;
    let blocks = parts.blocks(table)?;
    if from >= blocks.len() || to >= blocks.len() {
        return Err("this is no longer there; reload the page".to_owned());
    }
    let mut order: Vec<usize> = (0..blocks.len()).collect();
    let moved = order.remove(from);
    order.insert(to, moved);
    let mut new = String::with_capacity(text.len() + 2);
    let mut at = 0;
    for (slot, &source) in blocks.iter().zip(&order) {
        new.push_str(&text[at..slot.start]);
        new.push_str(text[blocks[source].clone()].trim_end());
        let whole = &text[slot.clone()];
        let gap = &whole[whole.trim_end().len()..];
        new.push_str(if gap.is_empty() { "\n" } else { gap });
        at = slot.end;
    }
    new.push_str(&text[at..]);
    Ok(new)
}

/// The line, from 1, in which each item of `table` begins and the last that belongs to it.
pub(crate) fn lines(text: &str, table: &str) -> Vec<Range<usize>> {
    let line = |at: usize| text[..at].matches('\n').count() + 1;
    let blocks = Parts::read(text).and_then(|parts| parts.blocks(table)).unwrap_or_default();
    let range = |block: Range<usize>| {
        let end = block.start + text[block.clone()].trim_end().len();
        line(block.start)..line(end) + 1
    };
    blocks.into_iter().map(range).collect()
}

/// A text in TOML, on one line.
pub(crate) fn quoted(text: &str) -> String {
    let line: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    toml::Value::String(line.trim().to_owned()).to_string()
}

/// Texts in TOML, as a list on one line.
pub(crate) fn list<'t>(texts: impl IntoIterator<Item = &'t str>) -> String {
    let quoted: Vec<String> = texts.into_iter().map(quoted).collect();
    format!("[{}]", quoted.join(", "))
}

/// A number that a person typed, as TOML has it.
pub(crate) fn number(typed: &str) -> Result<String, String> {
    let value = typed.trim().replace(',', ".").replace('−', "-").parse::<f64>();
    let value = value.ok().filter(|value| value.is_finite());
    value
        .map(|value| value.to_string())
        .ok_or_else(|| format!("“{}” is not a number, like 2 or 0.5", typed.trim()))
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILE: &str = "# On top.\ntitle = \"T\" # said aloud\npanels = [\n  [\"ecg\"], # first\n]\n\n\
        # About a.\n[[rules]]\nid = \"a\" # short\nby_ms = [20, 60]\ntext = \"\"\"\nOne\n# two\"\"\"\n\n\
        [[rules]]\nid = \"b\"\n\n# The steps.\n[[steps]]\ndraw = [\"s1\"]\n";

    fn at(written: &str) -> At {
        At::read(written).unwrap()
    }

    #[test]
    fn places_are_read_and_odd_ones_are_not() {
        assert_eq!(at("rules.3.text"), At::item("rules", 3, "text"));
        for odd in ["", "a.b.c.d", "rules.x.text", "a]\n[b", "rules.-1.text", "a..b", "é"] {
            assert!(At::read(odd).is_none(), "{odd}");
        }
    }

    #[test]
    fn only_the_value_changes() {
        let changed = set(FILE, &at("title"), "\"U\"", &[]).unwrap();
        assert_eq!(changed, FILE.replace("\"T\"", "\"U\""));
        let changed = set(FILE, &at("rules.0.by_ms"), "40", &[]).unwrap();
        assert_eq!(changed, FILE.replace("[20, 60]", "40"));
        let changed = set(FILE, &at("rules.0.text"), "\"x\"", &[]).unwrap();
        assert_eq!(changed, FILE.replace("\"\"\"\nOne\n# two\"\"\"", "\"x\""));
    }

    #[test]
    fn what_is_new_goes_where_it_belongs() {
        let changed = set(FILE, &at("rules.0.points"), "2", &["id", "points", "text"]).unwrap();
        assert_eq!(changed, FILE.replace("# short\n", "# short\npoints = 2\n"));
        let changed = set(FILE, &at("bars"), "[]", &[]).unwrap();
        assert_eq!(changed, FILE.replace("\n]\n", "\n]\nbars = []\n"));
        let changed = set(FILE, &at("rules.1.text"), "\"x\"", &[]).unwrap();
        assert_eq!(changed, FILE.replace("\"b\"\n", "\"b\"\ntext = \"x\"\n"));
        let changed = set("a = 1", &at("heart.rate_bpm"), "70", &[]).unwrap();
        assert_eq!(changed, "a = 1\n\n[heart]\nrate_bpm = 70\n");
        assert_eq!(set("a = 1", &at("b"), "2", &[]).unwrap(), "a = 1\nb = 2\n");
        assert_eq!(set("", &at("b"), "2", &[]).unwrap(), "b = 2\n");
        let inline = set("heart = {}", &at("heart.rate_bpm"), "70", &[]).unwrap();
        assert_eq!(
            inline.parse::<toml::Table>().unwrap()["heart"]["rate_bpm"].as_integer(),
            Some(70)
        );
    }

    #[test]
    fn a_removed_value_takes_its_line_along() {
        let changed = remove(FILE, &at("rules.0.by_ms")).unwrap();
        assert_eq!(changed, FILE.replace("by_ms = [20, 60]\n", ""));
        let changed = remove(FILE, &at("panels")).unwrap();
        assert_eq!(changed, FILE.replace("panels = [\n  [\"ecg\"], # first\n]\n", ""));
        assert_eq!(remove(FILE, &at("rules.1.points")).unwrap(), FILE);
        assert!(remove("heart = {a = 1}", &at("heart.a")).unwrap_err().contains("braces"));
    }

    #[test]
    fn items_are_added_removed_and_moved_with_their_comments() {
        let one = remove_item(FILE, "rules", 0).unwrap();
        assert!(
            !one.contains("About a.") && one.contains("id = \"b\"") && one.contains("# On top.")
        );
        let none = remove_item(&one, "rules", 0).unwrap();
        assert!(none.contains("# The steps.\n[[steps]]") && !none.contains("rules"), "{none}");
        let swapped = move_item(FILE, "rules", 0, 1).unwrap();
        let (a, b) = (swapped.find("# About a.").unwrap(), swapped.find("\"b\"").unwrap());
        assert!(b < a && a < swapped.find("# The steps.").unwrap(), "{swapped}");
        assert_eq!(move_item(&swapped, "rules", 1, 0).unwrap(), FILE);
        let added = add(FILE, "rules", Some(0), "id = \"c\"").unwrap();
        let ids: Vec<String> = added.parse::<toml::Table>().unwrap()["rules"]
            .as_array()
            .unwrap()
            .iter()
            .map(|rule| rule["id"].as_str().unwrap().to_owned())
            .collect();
        assert_eq!(ids, ["a", "c", "b"]);
        assert_eq!(add("", "rules", None, "id = \"c\"").unwrap(), "[[rules]]\nid = \"c\"\n");
        assert!(add("rules = [{id = 1}]", "rules", None, "").unwrap_err().contains("[[rules]]"));
    }

    #[test]
    fn lines_belong_to_their_items() {
        assert_eq!(lines(FILE, "rules"), [7..14, 15..17]);
    }

    #[test]
    fn texts_and_numbers_are_written_as_toml() {
        for text in ["plain", "a \"b\" \\ 'c'", "two\nlines", "\"\"\" # '''", "]\n[x]"] {
            let line = format!("a = {}", quoted(text));
            assert_eq!(line.lines().count(), 1, "{line}");
            let read = line.parse::<toml::Table>().unwrap();
            assert_eq!(read["a"].as_str().unwrap(), text.replace('\n', " "));
        }
        assert_eq!(
            list(["a", "b\""]).matches('"').count() + list(["a", "b\""]).matches('\'').count(),
            5
        );
        assert_eq!(number(" 2,50 "), Ok("2.5".to_owned()));
        assert_eq!(number("2"), Ok("2".to_owned()));
        assert!(number("two").is_err() && number("inf").is_err() && number("nan").is_err());
    }
}
