//! The figures by the names that results give them, JSON pointers such as `/wheel/offset`, and their units.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::keys::nearest;

/// Unit of a figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
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

/// Every figure; `*` stands for one name without a slash.
const FIELDS: &[(&str, Unit)] = &[
    ("/rim/*/*/offset", Unit::Mm),
    ("/rim/*/*/height", Unit::Mm),
    ("/rim/*/*/*/offset", Unit::Mm),
    ("/rim/*/*/*/height", Unit::Mm),
    ("/rim_width/*", Unit::Mm),
    ("/wheel/offset", Unit::Mm),
    ("/wheel/offset_at_mark", Unit::Mm),
    ("/wheel/yaw", Unit::Deg),
    ("/wheel/lean", Unit::Deg),
    ("/wheel/yaw_from_offsets", Unit::Deg),
    ("/frame/offset", Unit::Mm),
    ("/frame/yaw", Unit::Deg),
    ("/wheel_in_frame/offset", Unit::Mm),
    ("/wheel_in_frame/yaw", Unit::Deg),
    ("/runout/lateral", Unit::Mm),
    ("/hub/rim_from_face", Unit::Mm),
    ("/chain/centres", Unit::Mm),
    ("/chain/offset_at_gearbox", Unit::Mm),
    ("/chain/offset_at_rear", Unit::Mm),
    ("/chain/yaw", Unit::Deg),
    ("/chain/lean", Unit::Deg),
    ("/chain/gearbox_lean", Unit::Deg),
    ("/chain/rear_lean", Unit::Deg),
    ("/spindle/height_difference", Unit::Mm),
    ("/spindle/left", Unit::Mm),
    ("/spindle/right", Unit::Mm),
    ("/plumb/*/offset", Unit::Mm),
    ("/stations/*/offset", Unit::Mm),
    ("/stations/*/height_difference", Unit::Mm),
    ("/backbone/front", Unit::Mm),
    ("/backbone/rear", Unit::Mm),
    ("/backbone/yaw", Unit::Deg),
    ("/faces/*/offset", Unit::Mm),
    ("/faces/*/yaw", Unit::Deg),
    ("/faces/*/lean", Unit::Deg),
    ("/track/offset", Unit::Mm),
    ("/track/lean", Unit::Deg),
    ("/bench/level_along", Unit::Deg),
    ("/bench/level_across", Unit::Deg),
    ("/bench/cord_straightness", Unit::Mm),
    ("/bench/cord_moved", Unit::Mm),
    ("/bench/flatness", Unit::Mm),
    ("/bench/riders/*/offset", Unit::Mm),
];

/// The unit of this figure; None where there is no such figure.
pub fn field_unit(field: &str) -> Option<Unit> {
    FIELDS.iter().find(|(pattern, _)| matches(pattern, field)).map(|&(_, unit)| unit)
}

/// The figure that a mistyped name most likely stands for.
pub(super) fn nearest_field(typed: &str) -> &'static str {
    nearest(typed, FIELDS.iter().map(|&(pattern, _)| pattern)).unwrap_or_default()
}

fn matches(pattern: &str, field: &str) -> bool {
    let (mut wanted, mut given) = (pattern.split('/'), field.split('/'));
    loop {
        match (wanted.next(), given.next()) {
            (None, None) => return true,
            (Some("*"), Some(name)) if !name.is_empty() => {}
            (Some(word), Some(name)) if word == name => {}
            _ => return false,
        }
    }
}
