//! What the program noticed and the person should know: a value that travels with the result and is
//! printed in one place.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::text::Sentence;

/// How much a finding matters. Ordered: a refusal is the most severe.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Good to know; no figure suffers.
    Note,
    /// A figure is worth less than it looks, or something should be checked.
    Warning,
    /// Something could not be measured or a photo could not be used.
    Refused,
}

/// One thing noticed: what it is, where, and what to do about it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// Stable name, lower case with dashes, by which the manual explains it.
    pub id: String,
    pub severity: Severity,
    /// JSON pointer of the figure concerned, such as `/rim/1-mark-forward/left/offset`.
    #[serde(default)]
    pub field: Option<String>,
    /// The photo concerned, as `set-up/file`.
    #[serde(default)]
    pub photo: Option<String>,
    /// What happened, in a sentence.
    pub what: Sentence,
    /// What to do about it, in a sentence.
    #[serde(rename = "do")]
    pub advice: Sentence,
}

impl Finding {
    pub fn new(
        severity: Severity,
        id: &str,
        what: impl Into<Sentence>,
        advice: impl Into<Sentence>,
    ) -> Self {
        Self {
            id: id.to_owned(),
            severity,
            field: None,
            photo: None,
            what: what.into(),
            advice: advice.into(),
        }
    }

    pub fn note(id: &str, what: impl Into<Sentence>, advice: impl Into<Sentence>) -> Self {
        Self::new(Severity::Note, id, what, advice)
    }

    pub fn warning(id: &str, what: impl Into<Sentence>, advice: impl Into<Sentence>) -> Self {
        Self::new(Severity::Warning, id, what, advice)
    }

    pub fn refused(id: &str, what: impl Into<Sentence>, advice: impl Into<Sentence>) -> Self {
        Self::new(Severity::Refused, id, what, advice)
    }

    /// The same finding, about the figure at this JSON pointer.
    pub fn about(mut self, field: impl Into<String>) -> Self {
        self.field = Some(field.into());
        self
    }

    /// The same finding, about this photo.
    pub fn in_photo(mut self, photo: impl Into<String>) -> Self {
        self.photo = Some(photo.into());
        self
    }
}
