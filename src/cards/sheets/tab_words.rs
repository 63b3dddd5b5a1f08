//! What each tab stands for, in the words printed under it.
//!
//! The roles are those of [`crate::job`]; here they only get words for the person who sticks the
//! tab on.

use crate::job::{Role, Side, TabRole};

/// Words for a tab, 1 to 64, in two short lines to go next to its number.
pub fn tab_words(number: u8) -> [String; 2] {
    let lines = |first: &str, second: &str| [first.to_owned(), second.to_owned()];
    match TabRole::of_number(number).role {
        Role::RearRim { side } => [format!("rear rim, {},", side.word()), "at the mark".to_owned()],
        Role::FrontRim { side } => {
            [format!("front rim, {},", side.word()), "at the mark".to_owned()]
        }
        Role::RimPlace { side, place } => {
            [format!("rear rim, {},", side.word()), format!("further place {place}")]
        }
        Role::GearboxSprocket => lines("gearbox sprocket,", "outside face"),
        Role::RearSprocket => lines("rear sprocket,", "outside face"),
        Role::SpindleEnd { side } => lines("spindle end,", side.word()),
        Role::Station { letter, side } => {
            [format!("frame station {letter},"), side.word().to_owned()]
        }
        Role::PlumbFlag { line, upper } => [
            format!("plumb line {line},"),
            format!("{} flag", if upper { "upper" } else { "lower" }),
        ],
        Role::BackboneFlag { front } => {
            lines("backbone cord,", if front { "front flag" } else { "rear flag" })
        }
        // Tab 32 is the one for faces that do not turn with the wheel, unless a job gives it
        // another role.
        Role::HubFace => {
            lines("drum or hub face,", if number == 32 { "does not turn" } else { "turns" })
        }
        Role::CordRider { rider, side } => {
            [format!("rider {rider} on the"), format!("cord, {}", side.word())]
        }
        Role::Free => lines("free: name it", "in the job"),
    }
}

/// Whether the tab is a flag: fixed to a line that runs along its middle column.
pub fn is_flag(number: u8) -> bool {
    TabRole::of_number(number).role.is_flag()
}

/// Whether the tab is one face of a rider on the datum cord.
pub fn is_rider(number: u8) -> bool {
    matches!(TabRole::of_number(number).role, Role::CordRider { .. })
}

/// Whether it is the left one.
pub fn is_left_face(number: u8) -> bool {
    matches!(TabRole::of_number(number).role, Role::CordRider { side: Side::Left, .. })
}
