//! Left and right, as the rider sits.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A side of the bike as its rider names it.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    Left,
    Right,
}

impl Side {
    /// +1 for left, -1 for right: the sign of y on that side.
    pub fn sign(self) -> f64 {
        match self {
            Self::Left => 1.0,
            Self::Right => -1.0,
        }
    }

    /// The side on which y is, or which a sign names: left for what is above zero.
    pub fn of_sign(sign: f64) -> Self {
        if sign > 0.0 { Self::Left } else { Self::Right }
    }

    pub fn other(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }

    /// "left" or "right".
    pub fn word(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }
}
