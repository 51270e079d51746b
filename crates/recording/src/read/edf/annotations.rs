//! The annotation lists of EDF+ (Kemp, Olivan, Clin Neurophysiol 2003;114:1755–1761): onset,
//! duration and texts, divided by the bytes 20 and 21 and ended by 0.

/// One list: a time, and what is said of it.
#[derive(Debug, PartialEq)]
pub(super) struct List {
    pub(super) onset_s: f64,
    pub(super) duration_s: f64,
    pub(super) texts: Vec<String>,
    /// Whether it tells when its data record starts.
    pub(super) keeps_time: bool,
}

/// The lists in an annotation signal's bytes of one record; an error is where one is not of this form.
pub(super) fn lists(bytes: &[u8]) -> impl Iterator<Item = Result<List, usize>> + '_ {
    let mut at = 0;
    let parts = bytes.split(|&byte| byte == 0).map(move |part| {
        let start = at;
        at += part.len() + 1;
        (start, part)
    });
    parts.filter(|(_, part)| !part.is_empty()).map(|(start, part)| list(part).ok_or(start))
}

fn list(bytes: &[u8]) -> Option<List> {
    let mut parts = bytes.split(|&byte| byte == 20);
    let mut times = parts.next()?.split(|&byte| byte == 21);
    let onset = times.next()?;
    if !matches!(onset.first(), Some(b'+' | b'-')) {
        return None;
    }
    let onset_s = seconds(onset)?;
    let duration_s = match times.next() {
        None | Some(b"") => 0.0,
        Some(text) => seconds(text).filter(|&duration| duration >= 0.0)?,
    };
    let mut texts: Vec<String> =
        parts.map(|text| String::from_utf8_lossy(text).trim().to_owned()).collect();
    // The last text is ended, not divided; a list that was cut off has no such end.
    if !texts.pop()?.is_empty() {
        return None;
    }
    let keeps_time = texts.first().is_some_and(String::is_empty);
    texts.retain(|text| !text.is_empty());
    Some(List { onset_s, duration_s, texts, keeps_time })
}

fn seconds(bytes: &[u8]) -> Option<f64> {
    let value: f64 = str::from_utf8(bytes).ok()?.parse().ok()?;
    value.is_finite().then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(bytes: &[u8]) -> Vec<(f64, f64, Vec<String>, bool)> {
        let all = lists(bytes).map(|list| list.expect("each is of the form"));
        all.map(|list| (list.onset_s, list.duration_s, list.texts, list.keeps_time)).collect()
    }

    #[test]
    fn lists_are_taken_apart() {
        let bytes =
            b"+0\x14\x14\0+1.5\x150.25\x14exercise\x14pause\x14\0-0.5\x14\xc3\xa9\x14\0\0\0";
        let texts = |all: &[&str]| all.iter().map(|&text| text.to_owned()).collect::<Vec<_>>();
        assert_eq!(
            told(bytes),
            [
                (0.0, 0.0, vec![], true),
                (1.5, 0.25, texts(&["exercise", "pause"]), false),
                (-0.5, 0.0, texts(&["é"]), false),
            ]
        );
    }

    #[test]
    fn what_is_no_list_is_told_with_its_place() {
        let bad = |bytes: &[u8]| lists(bytes).filter_map(Result::err).collect::<Vec<_>>();
        assert_eq!(bad(b"+0\x14\x14\0text\0\0"), [5]);
        assert_eq!(bad(b"1\x14a\x14\0"), [0], "the onset needs a sign");
        assert_eq!(bad(b"+1\x14cut off"), [0]);
        assert_eq!(bad(b"+inf\x14a\x14\0+1\x15-2\x14a\x14\0"), [0, 8]);
        assert_eq!(bad(b""), [0usize; 0]);
    }
}
