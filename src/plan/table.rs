//! Every figure by its JSON pointer, for whatever names figures: tolerances, hand values, comparisons.

use std::collections::BTreeMap;

use serde_json::Value;

use super::input::PlanInput;
use crate::job::keys::nearest;
use crate::job::{Unit, field_unit};
use crate::measurement::Measurement;

/// Keys that stand among figures and are none.
const NOT_FIGURES: [&str; 11] =
    ["id", "wheel", "setup", "side", "place", "station", "x", "source", "reference", "places", "name"];

/// All figures in the order of their pointers; `None` for one that could not be measured.
///
/// Members of lists go by their own name: `/rim/1-mark-forward/left/offset`, `/plumb/A/offset`, `/faces/engine plate/yaw`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FigureTable {
    pub entries: BTreeMap<String, Option<Measurement>>,
}

impl FigureTable {
    /// The figure at this pointer, where it was measured and its numbers are numbers.
    pub fn get(&self, field: &str) -> Option<Measurement> {
        self.entries.get(field).copied().flatten()
    }

    /// Whether there is a figure of this name, measured or not.
    pub fn knows(&self, field: &str) -> bool {
        self.entries.contains_key(field)
    }

    /// The known name that a mistyped one most likely stands for.
    pub fn nearest(&self, field: &str) -> &str {
        nearest(field, self.entries.keys().map(String::as_str)).unwrap_or("none")
    }
}

impl From<&PlanInput> for FigureTable {
    fn from(input: &PlanInput) -> Self {
        let mut entries = BTreeMap::new();
        if let Ok(Value::Object(sections)) = serde_json::to_value(input) {
            for (section, value) in sections {
                if !matches!(section.as_str(), "up" | "budget" | "correlation" | "layout" | "scale_sensitivity") {
                    collect(&format!("/{section}"), &value, &mut entries);
                }
            }
        }
        Self { entries }
    }
}

/// Walks one section of the result and puts down what is a figure.
fn collect(pointer: &str, value: &Value, entries: &mut BTreeMap<String, Option<Measurement>>) {
    match value {
        Value::Null => {
            entries.insert(pointer.to_owned(), None);
        }
        Value::Object(object) if object.contains_key("value") && object.contains_key("u") => {
            let measurement = serde_json::from_value::<Measurement>(value.clone()).ok();
            entries.insert(pointer.to_owned(), measurement.filter(is_usable));
        }
        Value::Object(object) => {
            for (key, inner) in object.iter().filter(|(key, _)| !NOT_FIGURES.contains(&key.as_str())) {
                // The letter of a plumb line names its entry and is no figure of its own.
                if !(key == "line" && inner.is_string()) {
                    collect(&format!("{pointer}/{key}"), inner, entries);
                }
            }
        }
        Value::Array(list) => {
            for entry in list {
                let name = ["id", "line", "station", "name"].iter().find_map(|key| entry.get(key).and_then(Value::as_str));
                if let Some(name) = name {
                    collect(&format!("{pointer}/{name}"), entry, entries);
                }
            }
        }
        Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

/// Whether both numbers are finite and the uncertainty is not negative.
pub fn is_usable(measurement: &Measurement) -> bool {
    measurement.value.is_finite() && measurement.u.is_finite() && measurement.u >= 0.0
}

/// Unit of the figure at a pointer.
pub fn unit_of(field: &str) -> Unit {
    field_unit(field).unwrap_or(Unit::Mm)
}
