//! What a job may change of a tab: from the keys of one `[[tab]]` to the tab's meaning.

use super::Side;
use super::roles::{Letter, MovesWith, Role, TabRole, default_moves_with};

/// What a job says in one `[[tab]]`.
#[derive(Clone, Debug, Default)]
pub(super) struct TabChange {
    pub role: Option<String>,
    pub side: Option<Side>,
    pub place: Option<Place>,
    pub moves_with: Option<MovesWith>,
    pub backing_mm: Option<f64>,
    pub side_mm: Option<f64>,
}

impl TabChange {
    /// Whether this is written for a tab that was free before numbers 39 to 44 became riders: it
    /// names no role, and says what only a tab stuck to something has.
    fn is_of_old_free_tab(&self, default: Role) -> bool {
        matches!(default, Role::CordRider { .. })
            && self.role.is_none()
            && self.side.is_none()
            && self.place.is_none()
    }
}

/// Which of several like places: a number round the rim, or words such as "A", "A upper", "front".
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Place {
    Number(i64),
    Words(String),
}

/// A change that makes no sense: the key it is about, what is wrong, and what to write instead.
pub(super) struct Nonsense {
    pub key: &'static str,
    pub what: String,
    pub advice: &'static str,
}

/// Highest number of a further place round the rim (our choice).
const MAX_PLACES: i64 = 24;

/// Highest number of a rider (our choice).
const MAX_RIDERS: i64 = 24;

/// The tab's meaning with the job's changes. `hub_turns` is `[hub] face_turns`.
pub(super) fn changed(
    number: u8,
    change: &TabChange,
    hub_turns: Option<bool>,
) -> Result<TabRole, Nonsense> {
    let mut default = TabRole::of_number(number);
    if change.is_of_old_free_tab(default.role) {
        default.role = Role::Free;
    }
    let role = changed_role(default.role, change)?;
    let mut moves_with = default_moves_with(number, role);
    if let (Role::HubFace, Some(turns)) = (role, hub_turns) {
        moves_with = if turns { MovesWith::Wheel } else { MovesWith::Frame };
    }
    if let Some(wanted) = change.moves_with {
        let possible = match role {
            Role::Free => wanted != MovesWith::Line,
            Role::HubFace => matches!(wanted, MovesWith::Wheel | MovesWith::Frame),
            Role::GearboxSprocket => matches!(wanted, MovesWith::Gearbox | MovesWith::Frame),
            _ => wanted == moves_with,
        };
        if !possible {
            return Err(Nonsense {
                key: "moves_with",
                what: format!("a tab on \"{role}\" can't move with that"),
                advice: "Leave moves_with out, or give the tab another role.",
            });
        }
        moves_with = wanted;
    }
    let side_mm = change.side_mm.unwrap_or(default.side_mm);
    Ok(TabRole {
        role,
        moves_with,
        side_mm,
        backing_mm: change.backing_mm.unwrap_or(0.0),
        face: None,
    })
}

/// Refuses a side or a place for a role that has none.
fn refuse_idle_keys(name: &str, change: &TabChange) -> Result<(), Nonsense> {
    let needs_side = matches!(name, "rim" | "front-rim" | "spindle-end" | "station" | "cord-rider");
    if !needs_side && change.side.is_some() {
        return Err(Nonsense {
            key: "side",
            what: format!("a tab with the role \"{name}\" has no side"),
            advice: "Leave side out; for the hub's face say it as face_side under [hub].",
        });
    }
    let takes_place =
        matches!(name, "rim" | "station" | "plumb-flag" | "backbone-flag" | "cord-rider");
    if !takes_place && change.place.is_some() {
        return Err(Nonsense {
            key: "place",
            what: format!("a tab with the role \"{name}\" has no place"),
            advice: "Leave place out.",
        });
    }
    Ok(())
}

fn changed_role(default: Role, change: &TabChange) -> Result<Role, Nonsense> {
    let (default_name, default_side, default_place) = parts(default);
    let name = change.role.as_deref().unwrap_or(default_name);
    let keeps_role = name == default_name;
    let side = change.side.or(default_side.filter(|_| keeps_role));
    let place = change.place.clone().or(default_place.filter(|_| keeps_role));

    refuse_idle_keys(name, change)?;
    let side = || {
        side.ok_or_else(|| Nonsense {
            key: "role",
            what: format!("a tab with the role \"{name}\" needs a side"),
            advice: "Add side = \"left\" or side = \"right\", as the rider sits.",
        })
    };
    let wrong_place = |advice| Nonsense {
        key: "place",
        what: format!("this is no place for the role \"{name}\""),
        advice,
    };
    let words = match &place {
        Some(Place::Words(words)) => Some(words.as_str()),
        _ => None,
    };
    match name {
        "rim" => match place {
            None | Some(Place::Number(0)) => Ok(Role::RearRim { side: side()? }),
            Some(Place::Number(place @ 1..=MAX_PLACES)) => {
                Ok(Role::RimPlace { side: side()?, place: place as u8 })
            }
            _ => Err(wrong_place(
                "Write 0 for the marked place, or number the further places round the rim from 1, to 24 at most.",
            )),
        },
        "front-rim" => Ok(Role::FrontRim { side: side()? }),
        "gearbox-sprocket" => Ok(Role::GearboxSprocket),
        "rear-sprocket" => Ok(Role::RearSprocket),
        "spindle-end" => Ok(Role::SpindleEnd { side: side()? }),
        "station" => {
            let letter = words.and_then(Letter::from_text);
            let letter = letter.ok_or_else(|| {
                wrong_place(
                    "Write place = \"A\", \"B\", \"C\" or \"D\": the same for both of a pair.",
                )
            })?;
            Ok(Role::Station { letter, side: side()? })
        }
        "plumb-flag" => {
            let flag =
                words.and_then(|words| words.split_once(' ')).and_then(|(letter, height)| {
                    let upper = ["lower", "upper"].iter().position(|&word| word == height)? == 1;
                    Some(Role::PlumbFlag { line: Letter::from_text(letter)?, upper })
                });
            flag.ok_or_else(|| {
                wrong_place("Write place = \"A upper\" or \"A lower\", and so on to D.")
            })
        }
        "backbone-flag" => match words {
            Some(end @ ("front" | "rear")) => Ok(Role::BackboneFlag { front: end == "front" }),
            _ => Err(wrong_place("Write place = \"front\" or place = \"rear\".")),
        },
        "hub-face" => Ok(Role::HubFace),
        "cord-rider" => match place {
            Some(Place::Number(rider @ 1..=MAX_RIDERS)) => {
                Ok(Role::CordRider { rider: rider as u8, side: side()? })
            }
            _ => Err(wrong_place(
                "Number the riders from 1, to 24 at most: the same number for both faces of one rider.",
            )),
        },
        _ => Ok(Role::Free),
    }
}

/// A role as the keys `role`, `side` and `place` would say it.
fn parts(role: Role) -> (&'static str, Option<Side>, Option<Place>) {
    match role {
        Role::RearRim { side } => ("rim", Some(side), None),
        Role::RimPlace { side, place } => {
            ("rim", Some(side), Some(Place::Number(i64::from(place))))
        }
        Role::FrontRim { side } => ("front-rim", Some(side), None),
        Role::GearboxSprocket => ("gearbox-sprocket", None, None),
        Role::RearSprocket => ("rear-sprocket", None, None),
        Role::SpindleEnd { side } => ("spindle-end", Some(side), None),
        Role::Station { letter, side } => {
            ("station", Some(side), Some(Place::Words(letter.to_string())))
        }
        Role::PlumbFlag { line, upper } => (
            "plumb-flag",
            None,
            Some(Place::Words(format!("{line} {}", if upper { "upper" } else { "lower" }))),
        ),
        Role::BackboneFlag { front } => (
            "backbone-flag",
            None,
            Some(Place::Words(if front { "front" } else { "rear" }.to_owned())),
        ),
        Role::HubFace => ("hub-face", None, None),
        Role::CordRider { rider, side } => {
            ("cord-rider", Some(side), Some(Place::Number(i64::from(rider))))
        }
        Role::Free => ("free", None, None),
    }
}
