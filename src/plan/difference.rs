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
