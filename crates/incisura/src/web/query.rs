//! Addresses with names and values.

use std::fmt::Write as _;

/// Names and values as an address carries them after its `?`.
#[derive(Debug, Default)]
pub(crate) struct Query(String);

impl Query {
    pub(crate) fn add(&mut self, name: &str, value: &str) {
        if !self.0.is_empty() {
            self.0.push('&');
        }
        self.encode(name);
        self.0.push('=');
        self.encode(value);
    }

    pub(crate) fn text(self) -> String {
        self.0
    }

    fn encode(&mut self, text: &str) {
        for byte in text.bytes() {
            if byte.is_ascii_alphanumeric() || b"-_.~".contains(&byte) {
                self.0.push(char::from(byte));
            } else {
                // Writing to a text does not fail.
                let _ = write!(self.0, "%{byte:02X}");
            }
        }
    }
}

/// The names and values of `pairs`, in their order.
pub(crate) fn query<'a>(pairs: impl IntoIterator<Item = (&'a str, &'a str)>) -> String {
    let mut query = Query::default();
    for (name, value) in pairs {
        query.add(name, value);
    }
    query.text()
}

/// The address of `path` with names and values.
pub(crate) fn address(path: &str, pairs: &[(&str, &str)]) -> String {
    format!("{path}?{}", query(pairs.iter().copied()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whatever_is_in_a_name_or_value_stays_in_it() {
        let pairs = [("file", "a b/ü.toml"), ("unit:ABP", "x&y=#?%"), ("n", "")];
        let wanted = "/x?file=a%20b%2F%C3%BC.toml&unit%3AABP=x%26y%3D%23%3F%25&n=";
        assert_eq!(address("/x", &pairs), wanted);
    }
}
