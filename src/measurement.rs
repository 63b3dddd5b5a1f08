//! A measured quantity: value, expanded uncertainty and quality.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Whether a figure may be used for a verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Quality {
    Good,
    /// Seen in one photo only, or under less than 10 degrees between rays: shown, never used for a
    /// verdict.
    Single,
}

/// A value with its expanded uncertainty (k = 2). Unit as its place says: millimetres for lengths,
/// degrees for angles.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Measurement {
    pub value: f64,
    /// Expanded uncertainty, k = 2, same unit as `value`.
    pub u: f64,
    pub quality: Quality,
}
