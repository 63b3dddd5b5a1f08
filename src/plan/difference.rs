//! By how much one figure differs between two evenings.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::outcome::{Decision, Unit};
use crate::figure::Figure;
use crate::measurement::Measurement;

/// One figure in both results.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Difference {
    /// JSON pointer of the figure.
    pub field: Figure,
    pub unit: Unit,
    pub before: Option<Measurement>,
    pub after: Option<Measurement>,
    /// After minus before. Its U counts what both share once; null where one of them is.
    pub change: Option<Measurement>,
    /// The U that the change would have if the two results shared nothing.
    pub u_if_nothing_shared: Option<f64>,
    /// Whether the change is larger than its U; null where there is none, or where a figure was
    /// seen too poorly to say.
    pub changed: Option<bool>,
    pub verdict_before: Option<Decision>,
    pub verdict_after: Option<Decision>,
}

/// What a comparison of one figure comes to, for people.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seen {
    Changed,
    /// The change is within its U.
    Alike,
    /// One of the two was seen in one photo or from one direction only: its U vouches for nothing.
    CantSay,
}

impl Difference {
    /// None where one of the two evenings has no such figure.
    pub fn seen(&self) -> Option<Seen> {
        self.change?;
        Some(match self.changed {
            Some(true) => Seen::Changed,
            Some(false) => Seen::Alike,
            None => Seen::CantSay,
        })
    }
}

impl Seen {
    pub fn word(self) -> &'static str {
        match self {
            Self::Changed => "changed",
            Self::Alike => "same",
            Self::CantSay => "can't say",
        }
    }
}

/// What the three words mean.
pub const SAME: &str = "same: no change beyond the ±";
pub const CANT_SAY: &str = "can't say: before or after, it was seen in one photo or from one direction only, or counted from a cord seen so, so that its ± can't be relied on";
