//! The known name that a mistyped one most resembles.

/// The name among `known` that differs from `typed` in the fewest letters, if near enough
/// to be worth offering; or one that begins as `typed`.
pub fn nearest<'a>(typed: &str, known: impl Iterator<Item = &'a str>) -> Option<String> {
    let typed = typed.to_lowercase();
    let of = |name: &'a str| {
        // The beginning of a name is as good as one letter that is wrong.
        let begun = typed.len() >= 3 && name.starts_with(&typed);
        (if begun { 1 } else { edits(&typed, name) }, name)
    };
    let (distance, name) = known.map(of).min()?;
    let near = distance <= 2 + typed.len() / 3;
    near.then(|| name.to_owned())
}

/// What to say instead where `message`, from reading TOML, says that a key is unknown: the
/// nearest key among those it expected and `more`.
pub fn unknown_key(message: &str, more: &[&str]) -> Option<String> {
    let (unknown, expected) = message.strip_prefix("unknown field `")?.split_once('`')?;
    let expected = expected.split('`').skip(1).step_by(2);
    let known: Vec<&str> = expected.chain(more.iter().copied()).collect();
    Some(match nearest(unknown, known.iter().copied()) {
        Some(near) => format!("there is no key “{unknown}”; did you mean “{near}”?"),
        None => format!("there is no key “{unknown}”; known are {}", known.join(", ")),
    })
}

/// Levenshtein distance in bytes: letters to insert, delete or replace.
fn edits(a: &str, b: &str) -> usize {
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.bytes().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.bytes().enumerate() {
            let replace = diagonal + usize::from(x != y);
            diagonal = row[j + 1];
            row[j + 1] = replace.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edits_are_counted() {
        assert_eq!(edits("kitten", "sitting"), 3);
        assert_eq!(edits("", "abc"), 3);
    }

    #[test]
    fn a_slip_finds_its_name_and_nonsense_finds_none() {
        let known = ["rate_bpm", "pr_interval_ms", "blood_volume"];
        assert_eq!(nearest("rate_bmp", known.into_iter()).as_deref(), Some("rate_bpm"));
        assert_eq!(nearest("bloodvolume", known.into_iter()).as_deref(), Some("blood_volume"));
        assert_eq!(nearest("rate", known.into_iter()).as_deref(), Some("rate_bpm"));
        assert_eq!(nearest("xyz", known.into_iter()), None);
    }
}
