//! What others own, kept as they wrote it.

use rusqlite::types::{FromSql, FromSqlResult, ToSql, ToSqlOutput, ValueRef};
use serde::Serialize;
use serde::de::{DeserializeOwned, IgnoredAny};

/// A text in JSON whose meaning is its owner's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Json(String);

impl Json {
    /// `value` in JSON; the error is serde's.
    pub fn of<T: Serialize + ?Sized>(value: &T) -> Result<Self, serde_json::Error> {
        serde_json::to_string(value).map(Self)
    }

    /// `text` as it is, if it is JSON; the error says where it is not.
    pub fn parse(text: impl Into<String>) -> Result<Self, serde_json::Error> {
        let text = text.into();
        serde_json::from_str::<IgnoredAny>(&text)?;
        Ok(Self(text))
    }

    /// The text.
    pub fn text(&self) -> &str {
        &self.0
    }

    /// What the text says, as its owner's type; the error says where it says something else.
    pub fn to<T: DeserializeOwned>(&self) -> Result<T, serde_json::Error> {
        serde_json::from_str(&self.0)
    }
}

impl ToSql for Json {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        self.0.to_sql()
    }
}

impl FromSql for Json {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        // The schema lets nothing else into these columns.
        String::column_result(value).map(Self)
    }
}
