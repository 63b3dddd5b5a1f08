//! What each tab stands for and what it moves with: the table printed with the tabs.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Side;

/// Name of a plumb line or of a pair of frame stations.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
pub enum Letter {
    A,
    B,
    C,
    D,
}

impl Letter {
    pub const ALL: [Self; 4] = [Self::A, Self::B, Self::C, Self::D];

    /// 0 for A to 3 for D.
    pub fn index(self) -> u8 {
        self as u8
    }

    pub fn from_text(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|letter| letter.to_string() == text)
    }
}

impl fmt::Display for Letter {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{self:?}")
    }
}

/// What a tab marks.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(tag = "role", rename_all = "kebab-case")]
pub enum Role {
    /// Rear rim, outside face, at the one marked place.
    RearRim { side: Side },
    /// Rear rim, outside face, at a further place (1 and up) for run-out.
    RimPlace { side: Side, place: u8 },
    /// Front rim, outside face, at the one marked place.
    FrontRim { side: Side },
    /// Gearbox sprocket, outside face, or a straight-edge held to it.
    GearboxSprocket,
    /// Rear sprocket, outside face.
    RearSprocket,
    /// Spindle end, on the spindle's axis.
    SpindleEnd { side: Side },
    /// One of a pair of like points on the frame.
    Station { letter: Letter, side: Side },
    /// Flag on a plumb line, read as a point of the line.
    PlumbFlag { line: Letter, upper: bool },
    /// Flag on the backbone cord.
    BackboneFlag { front: bool },
    /// The brake drum's or hub's reference face.
    HubFace,
    /// One face of a rider on the datum cord: a strip folded round the cord, one pattern to each
    /// side. Riders count from 1.
    CordRider { rider: u8, side: Side },
    /// Named by the job, or not at all.
    Free,
}

impl Role {
    /// Whether the tab is fixed to a line, which may hide its middle column.
    pub fn is_flag(self) -> bool {
        matches!(self, Self::PlumbFlag { .. } | Self::BackboneFlag { .. })
    }

    /// Whether one tab alone can stand for it: two would be two places, and their mean is neither.
    pub fn is_of_one_tab(self) -> bool {
        !matches!(self, Self::GearboxSprocket | Self::RearSprocket | Self::HubFace | Self::Free)
    }
}

/// The role in plain words, such as "rear rim, left".
impl fmt::Display for Role {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::RearRim { side } => write!(out, "rear rim, {}", side.word()),
            Self::RimPlace { side, place } => {
                write!(out, "rear rim, {}, place {place}", side.word())
            }
            Self::FrontRim { side } => write!(out, "front rim, {}", side.word()),
            Self::GearboxSprocket => out.write_str("gearbox sprocket"),
            Self::RearSprocket => out.write_str("rear sprocket"),
            Self::SpindleEnd { side } => write!(out, "spindle end, {}", side.word()),
            Self::Station { letter, side } => {
                write!(out, "frame station {letter}, {}", side.word())
            }
            Self::PlumbFlag { line, upper } => {
                write!(out, "plumb line {line}, {} flag", if upper { "upper" } else { "lower" })
            }
            Self::BackboneFlag { front } => {
                write!(out, "backbone cord, {} flag", if front { "front" } else { "rear" })
            }
            Self::HubFace => out.write_str("brake drum or hub face"),
            Self::CordRider { rider, side } => {
                write!(out, "rider {rider} on the cord, {}", side.word())
            }
            Self::Free => out.write_str("free"),
        }
    }
}

/// What a tab moves with: tabs of one group keep their places to each other over all set-ups.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum MovesWith {
    Wheel,
    FrontWheel,
    /// May turn between set-ups.
    Gearbox,
    Frame,
    /// A line that hangs or is stretched: gives points, never a direction.
    Line,
}

/// Everything a tab means.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TabRole {
    #[serde(flatten)]
    pub role: Role,
    pub moves_with: MovesWith,
    /// Side of the printed pattern, mm.
    pub side_mm: f64,
    /// Thickness of the plate between the face and the paper, mm; the paper comes on top.
    pub backing_mm: f64,
    /// The named face that it is stuck to, if any.
    pub face: Option<String>,
}

impl TabRole {
    /// What this tab stands for unless a job says otherwise. Numbers outside 1 to 64 are on no tab
    /// and count as free.
    pub fn of_number(number: u8) -> Self {
        let role = default_role(number);
        Self {
            role,
            moves_with: default_moves_with(number, role),
            side_mm: designed_side_mm(number),
            backing_mm: 0.0,
            face: None,
        }
    }

    /// The role in plain words.
    pub fn words(&self) -> String {
        match &self.face {
            Some(face) if self.role == Role::Free => face.clone(),
            _ => self.role.to_string(),
        }
    }
}

/// Numbers of the tabs that are riders on the datum cord unless the job says otherwise: left and
/// right face in turn.
pub const FIRST_RIDER: u8 = 39;
pub const LAST_RIDER: u8 = 44;

fn default_role(number: u8) -> Role {
    let left_first = |first: u8| if number == first { Side::Left } else { Side::Right };
    let pair = |first: u8| ((number - first) / 2, (number - first).is_multiple_of(2));
    match number {
        1 | 2 => Role::RearRim { side: left_first(1) },
        3 | 4 => Role::FrontRim { side: left_first(3) },
        5..=7 => Role::GearboxSprocket,
        8..=10 => Role::RearSprocket,
        11 | 12 => Role::SpindleEnd { side: left_first(11) },
        13..=20 => {
            let (letter, left) = pair(13);
            Role::Station {
                letter: Letter::ALL[letter as usize],
                side: if left { Side::Left } else { Side::Right },
            }
        }
        21..=28 => {
            let (letter, upper) = pair(21);
            Role::PlumbFlag { line: Letter::ALL[letter as usize], upper }
        }
        29 | 30 => Role::BackboneFlag { front: number == 29 },
        31 | 32 => Role::HubFace,
        33..=38 => Role::RimPlace { side: Side::Left, place: number - 32 },
        FIRST_RIDER..=LAST_RIDER => {
            let (rider, left) = pair(FIRST_RIDER);
            Role::CordRider { rider: rider + 1, side: if left { Side::Left } else { Side::Right } }
        }
        _ => Role::Free,
    }
}

pub(super) fn default_moves_with(number: u8, role: Role) -> MovesWith {
    match role {
        Role::RearRim { .. } | Role::RimPlace { .. } | Role::RearSprocket => MovesWith::Wheel,
        Role::FrontRim { .. } => MovesWith::FrontWheel,
        Role::GearboxSprocket => MovesWith::Gearbox,
        Role::SpindleEnd { .. } | Role::Station { .. } | Role::Free => MovesWith::Frame,
        Role::PlumbFlag { .. } | Role::BackboneFlag { .. } | Role::CordRider { .. } => {
            MovesWith::Line
        }
        // Tab 31 is the one for drums, which turn; 32 for brake plates, which don't.
        Role::HubFace => {
            if number == 32 {
                MovesWith::Frame
            } else {
                MovesWith::Wheel
            }
        }
    }
}

/// Side of a tab's pattern as designed, mm.
fn designed_side_mm(number: u8) -> f64 {
    match number {
        1..=4 => 25.0,
        5..=48 => 20.0,
        _ => 12.0,
    }
}
