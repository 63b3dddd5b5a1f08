//! What kind of quantity a figure is, and the unit it is held in.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Unit of a figure in files.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Unit {
    Mm,
    Deg,
}

impl Unit {
    /// "mm" or "deg", as in key names.
    pub fn word(self) -> &'static str {
        match self {
            Self::Mm => "mm",
            Self::Deg => "deg",
        }
    }
}

/// What kind of quantity a number is, which decides how it is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Millimetres in the data; shown in millimetres or inches.
    Length,
    /// Degrees.
    Angle,
    /// A pure number near one, shown as a difference in per cent.
    Ratio,
}

impl Kind {
    /// The unit it is held in. A ratio has none and is treated as a length.
    pub fn unit(self) -> Unit {
        match self {
            Self::Angle => Unit::Deg,
            Self::Length | Self::Ratio => Unit::Mm,
        }
    }
}

impl From<Unit> for Kind {
    fn from(unit: Unit) -> Self {
        match unit {
            Unit::Mm => Self::Length,
            Unit::Deg => Self::Angle,
        }
    }
}
