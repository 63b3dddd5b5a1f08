//! Sentences made of words and amounts.
//!
//! The code that writes a sentence marks its amounts, so that no code has to search it for numbers
//! afterwards. Files hold a sentence in millimetres, as a string like any other; for people it is
//! shown in the unit they asked for.

use std::borrow::Cow;
use std::cmp::Ordering;
use std::fmt;
use std::hash::{Hash, Hasher};
use std::ops::{Deref, Range};

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::visible::one_line;

use super::amount::Amount;
use super::units::Show;

/// Words and amounts, read as one text. What is compared is its text in millimetres.
#[derive(Clone, Default)]
pub struct Sentence {
    /// The whole in millimetres.
    plain: String,
    /// Where in it amounts stand, ascending.
    amounts: Vec<(Range<usize>, Amount)>,
}

impl Sentence {
    /// The sentence with its amounts in the unit asked for.
    pub fn shown(&self, show: Show) -> Cow<'_, str> {
        if show == Show::Mm || self.amounts.is_empty() {
            return Cow::Borrowed(&self.plain);
        }
        let mut text = String::with_capacity(self.plain.len() + 16);
        let mut from = 0;
        for (range, amount) in &self.amounts {
            text.push_str(&self.plain[from..range.start]);
            text.push_str(&amount.shown(show));
            from = range.end;
        }
        text.push_str(&self.plain[from..]);
        Cow::Owned(text)
    }

    /// The same with names from outside shown so that no terminal or page obeys them.
    pub fn visible(&self) -> Self {
        let mut shown = Self::default();
        let mut from = 0;
        for (range, amount) in &self.amounts {
            shown.plain.push_str(&one_line(&self.plain[from..range.start]));
            amount.add_to(&mut shown);
            from = range.end;
        }
        shown.plain.push_str(&one_line(&self.plain[from..]));
        shown
    }

    /// This sentence and another behind it, with a blank between them.
    pub fn and(mut self, other: impl Into<Self>) -> Self {
        let other = other.into();
        if !self.plain.is_empty() && !other.plain.is_empty() {
            self.plain.push(' ');
        }
        other.add_to(&mut self);
        self
    }
}

/// What a sentence can be put together from.
pub trait Say {
    fn add_to(self, sentence: &mut Sentence);
}

impl Say for &str {
    fn add_to(self, sentence: &mut Sentence) {
        sentence.plain.push_str(self);
    }
}

impl Say for String {
    fn add_to(self, sentence: &mut Sentence) {
        sentence.plain.push_str(&self);
    }
}

impl Say for &String {
    fn add_to(self, sentence: &mut Sentence) {
        sentence.plain.push_str(self);
    }
}

impl Say for &Amount {
    fn add_to(self, sentence: &mut Sentence) {
        let start = sentence.plain.len();
        sentence.plain.push_str(&self.shown(Show::Mm));
        sentence.amounts.push((start..sentence.plain.len(), *self));
    }
}

impl Say for Amount {
    fn add_to(self, sentence: &mut Sentence) {
        (&self).add_to(sentence);
    }
}

impl Say for Sentence {
    fn add_to(self, sentence: &mut Sentence) {
        let before = sentence.plain.len();
        sentence.plain.push_str(&self.plain);
        let moved = self
            .amounts
            .into_iter()
            .map(|(at, amount)| (at.start + before..at.end + before, amount));
        sentence.amounts.extend(moved);
    }
}

impl<T: Say> Say for Option<T> {
    fn add_to(self, sentence: &mut Sentence) {
        if let Some(part) = self {
            part.add_to(sentence);
        }
    }
}

/// A sentence from its parts in order: words, amounts and sentences.
#[macro_export]
macro_rules! say {
    ($($part:expr),* $(,)?) => {{
        let mut sentence = $crate::text::Sentence::default();
        $($crate::text::Say::add_to($part, &mut sentence);)*
        sentence
    }};
}

impl From<&str> for Sentence {
    fn from(words: &str) -> Self {
        Self::from(words.to_owned())
    }
}

impl From<String> for Sentence {
    fn from(words: String) -> Self {
        Self { plain: words, amounts: Vec::new() }
    }
}

impl From<&String> for Sentence {
    fn from(words: &String) -> Self {
        Self::from(words.clone())
    }
}

impl From<&Self> for Sentence {
    fn from(sentence: &Self) -> Self {
        sentence.clone()
    }
}

impl From<Sentence> for String {
    fn from(sentence: Sentence) -> Self {
        sentence.plain
    }
}

/// Its text in millimetres.
impl Deref for Sentence {
    type Target = str;

    fn deref(&self) -> &str {
        &self.plain
    }
}

impl fmt::Display for Sentence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.plain)
    }
}

impl fmt::Debug for Sentence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", self.plain)
    }
}

impl PartialEq for Sentence {
    fn eq(&self, other: &Self) -> bool {
        self.plain == other.plain
    }
}

impl Eq for Sentence {}

impl PartialEq<str> for Sentence {
    fn eq(&self, other: &str) -> bool {
        self.plain == other
    }
}

impl PartialEq<&str> for Sentence {
    fn eq(&self, other: &&str) -> bool {
        self.plain == *other
    }
}

impl PartialOrd for Sentence {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Sentence {
    fn cmp(&self, other: &Self) -> Ordering {
        self.plain.cmp(&other.plain)
    }
}

impl Hash for Sentence {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.plain.hash(state);
    }
}

impl Serialize for Sentence {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.plain)
    }
}

impl<'de> Deserialize<'de> for Sentence {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer).map(Self::from)
    }
}

impl JsonSchema for Sentence {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        "Sentence".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        String::json_schema(generator)
    }
}
