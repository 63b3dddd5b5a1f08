//! What each figure is called, which way its sign points and what it means: one catalogue for the terminal and the page.

use super::json::is_angle;
use super::units::{self, Kind, Show, Shown};
use crate::measurement::Measurement;

/// What a figure's sign says, in words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sense {
    /// + = to the left.
    Sideways,
    /// + = on its own side of the datum plane, as it nearly always is.
    OwnSide,
    /// + = front to the left.
    Yaw,
    /// + = top to the left.
    Lean,
    /// + = the gearbox sprocket, or its plane, stands further outboard.
    Outboard,
    /// + = the rim stands further outboard than the face.
    RimOutboard,
    /// + = left end higher.
    LeftHigh,
    /// + = front higher.
    FrontHigh,
    /// + = printed larger than drawn.
    Larger,
    /// A size or distance: no direction.
    Size,
}

impl Sense {
    /// The direction of a value with this sign, behind the amount; empty for a size and for nought.
    fn words(self, sign: i8) -> &'static str {
        match (self, sign) {
            (_, 0) | (Self::Size, _) | (Self::OwnSide, 1) => "",
            (Self::Sideways, 1) => "to the left",
            (Self::Sideways, _) => "to the right",
            (Self::OwnSide, _) => "beyond the cord",
            (Self::Yaw, 1) => "front to the left",
            (Self::Yaw, _) => "front to the right",
            (Self::Lean, 1) => "top to the left",
            (Self::Lean, _) => "top to the right",
            (Self::Outboard | Self::RimOutboard, 1) => "outboard",
            (Self::Outboard | Self::RimOutboard, _) => "inboard",
            (Self::LeftHigh, 1) => "left high",
            (Self::LeftHigh, _) => "right high",
            (Self::FrontHigh, 1) => "front high",
            (Self::FrontHigh, _) => "rear high",
            (Self::Larger, 1) => "too large",
            (Self::Larger, _) => "too small",
        }
    }
}

/// A figure in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Field {
    /// In a sentence: "the rear wheel's offset at the axle".
    pub name: String,
    /// In a table under its group's heading: "sideways, at the axle".
    pub short: String,
    pub sense: Sense,
    pub kind: Kind,
    /// What it means at the bench, in a few words.
    pub meaning: &'static str,
    /// What must be on the bench and in the photos for it to be measured.
    pub needs: &'static str,
}

impl Field {
    /// The value with its sign in words: "3.20 mm to the left", "0.35 deg, front to the left".
    pub fn in_words(&self, measured: &Measurement, show: Show) -> String {
        self.say(&Shown::of(measured, self.kind, show))
    }

    /// A stated number, such as a hand value without an uncertainty, in the same words.
    pub fn exact_in_words(&self, value: f64, show: Show) -> String {
        self.say(&Shown::exact(value, self.kind, show))
    }

    fn say(&self, shown: &Shown) -> String {
        let words = self.sense.words(shown.sign);
        let comma = if self.kind == Kind::Angle || shown.fraction.is_some() { "," } else { "" };
        if words.is_empty() { shown.with_unit() } else { format!("{}{comma} {words}", shown.with_unit()) }
    }

    /// A limit or another stated amount of this kind, without a sign.
    pub fn amount(&self, value: f64, show: Show) -> String {
        match self.kind {
            Kind::Angle => units::angle(value),
            Kind::Length => units::length(value, show),
            Kind::Ratio => Shown::exact(value, Kind::Ratio, show).with_unit(),
        }
    }
}

const NEEDS_TWO_SETUPS: &str = "It needs two set-ups with the wheel turned between them, and three or more tabs that turn with the wheel (1, 2, 8 to 10) seen in both.";
const NEEDS_RIM: &str = "It needs the cord, and tabs 1 and 2 on the rim's two sides, seen from two places at least.";
const NEEDS_CHAIN: &str = "It needs tabs 5 to 7 on the gearbox sprocket's face and 8 to 10 on the rear sprocket's.";
const NEEDS_SPINDLE: &str = "It needs tabs 11 and 12 on the spindle's two ends.";
const NEEDS_FRAME: &str =
    "It needs plumb lines or pairs of frame tabs (13 to 20) at two places 200 mm or more apart along the bike.";
const NEEDS_PLUMB: &str = "It needs a plumb line with a flag (21 to 28).";
const NEEDS_LEVEL: &str = "It needs a plumb line, or a level's reading under [bench] in job.toml.";
const NEEDS_STATION: &str = "It needs a pair of like points on the frame marked with tabs (13 to 20).";
const NEEDS_BACKBONE: &str = "It needs a cord along the backbone with flags 29 and 30.";
const NEEDS_FACE: &str = "It needs three tabs at least on that face, named in job.toml.";
const NEEDS_FRONT: &str = "It needs tabs 3 and 4 on the front rim's two sides.";
const NEEDS_RIDERS: &str =
    "Two riders alone are the datum: a third one on the cord, or the cord's own edges, would show by what they are off.";
const NEEDS_CARDS: &str = "It needs two cards or more on the bench, overlapping from photo to photo.";

/// The words for the figure at a JSON pointer; for a pointer this program does not know, the pointer itself.
pub fn describe(pointer: &str) -> Field {
    let parts: Vec<&str> = pointer.trim_start_matches('/').split('/').collect();
    let last = parts.last().copied().unwrap_or("");
    let field = |name: &str, short: &str, sense, meaning, needs| Field {
        name: name.to_owned(),
        short: short.to_owned(),
        sense,
        kind: if is_angle(last) { Kind::Angle } else { Kind::Length },
        meaning,
        needs,
    };
    use Sense::{FrontHigh, Larger, Lean, LeftHigh, Outboard, OwnSide, RimOutboard, Sideways, Size, Yaw};
    match parts.as_slice() {
        ["pattern", "scale_along" | "scale_across"] => {
            let along = last == "scale_along";
            let name = if along { "the print's scale along the cards" } else { "the print's scale across the cards" };
            let short = if along { "print scale along" } else { "print scale across" };
            let meaning = "how far the printer missed the drawn size";
            Field { kind: Kind::Ratio, ..field(name, short, Larger, meaning, NEEDS_CARDS) }
        }
        ["rim", id @ .., "offset"] => {
            let (name, short) = rim_name(id);
            field(&name, &short, OwnSide, "from the cord's upright plane to the rim's outside face", NEEDS_RIM)
        }
        ["rim", id @ .., "height"] => {
            let (name, short) = rim_name(id);
            field(&format!("the height of {name}"), &format!("{short}, height"), Size, "above the bench", NEEDS_RIM)
        }
        ["rim_width", setup @ ..] => {
            let setup = setup.join("/");
            let (name, short) = (format!("the rim's width in {setup}"), format!("width, {setup}"));
            field(&name, &short, Size, "left plus right: the same in every set-up, and what a caliper reads", NEEDS_RIM)
        }
        ["wheel", "offset"] => field(
            "the rear wheel's offset",
            "sideways, at the axle",
            Sideways,
            "the rim's middle plane against the cord",
            NEEDS_RIM,
        ),
        ["wheel", "offset_at_mark"] => field(
            "the rear wheel's offset at the mark",
            "sideways, at the mark",
            Sideways,
            "as a square shows it at the marked place; run-out is still in it",
            "It needs two set-ups with tabs 1 and 2 in both.",
        ),
        ["wheel", "yaw"] => field(
            "the rear wheel's squareness",
            "square (yaw)",
            Yaw,
            "it points that way; the adjusters put it right",
            NEEDS_TWO_SETUPS,
        ),
        ["wheel", "lean"] => field(
            "the rear wheel's lean",
            "upright (lean)",
            Lean,
            "no adjuster puts it right: fork ends or frame",
            NEEDS_TWO_SETUPS,
        ),
        ["wheel", "yaw_from_offsets"] => field(
            "the rear wheel's squareness from the rim's offsets",
            "square, from offsets",
            Yaw,
            "the same as a square gives it, front against rear",
            "It needs two set-ups with tabs 1 and 2 in both, the mark forward in one and rearward in the other.",
        ),
        ["frame", "offset"] => {
            field("the frame's offset", "sideways, at the axle", Sideways, "how the frame hangs over the cord", NEEDS_PLUMB)
        }
        ["frame", "yaw"] => {
            field("the frame's direction", "direction (yaw)", Yaw, "how the frame points along the cord", NEEDS_FRAME)
        }
        ["wheel_in_frame", "offset"] => field(
            "the wheel's offset in the frame",
            "sideways, in the frame",
            Sideways,
            "the rim's middle against the frame's middle",
            NEEDS_PLUMB,
        ),
        ["wheel_in_frame", "yaw"] => field(
            "the wheel's squareness in the frame",
            "square in the frame",
            Yaw,
            "it points that way in the frame; the adjusters put it right",
            NEEDS_FRAME,
        ),
        ["runout", "lateral"] => field(
            "the rim's lateral run-out",
            "run-out, sideways",
            Size,
            "peak to peak, as a dial gauge shows it",
            "It needs three places at least round the rim: tab 1 and two or more of 33 to 38.",
        ),
        ["runout", "radial"] => {
            field("the rim's radial run-out", "run-out, up and down", Size, "", "This method can't measure it: use a dial gauge.")
        }
        ["hub", "rim_from_face"] => field(
            "the rim's distance from the hub face",
            "rim from hub face",
            RimOutboard,
            "the number a wheel builder works to",
            "It needs tab 31 or 32 on the brake drum's or hub's reference face.",
        ),
        ["chain", "centres"] => {
            field("the sprockets' centre distance", "centres", Size, "from sprocket to sprocket", NEEDS_CHAIN)
        }
        ["chain", "offset_at_gearbox"] => field(
            "the chain line at the gearbox",
            "gearbox sprocket",
            Outboard,
            "what a straight-edge on the rear sprocket shows at the gearbox",
            NEEDS_CHAIN,
        ),
        ["chain", "offset_at_rear"] => field(
            "the chain line at the rear",
            "told at the rear",
            Outboard,
            "the gearbox sprocket's plane, where it passes the rear sprocket",
            NEEDS_CHAIN,
        ),
        ["chain", "yaw"] => field(
            "the sprockets' yaw against each other",
            "yaw between them",
            Yaw,
            "gearbox sprocket against rear sprocket",
            NEEDS_CHAIN,
        ),
        ["chain", "lean"] => field(
            "the sprockets' lean against each other",
            "lean between them",
            Lean,
            "gearbox sprocket against rear sprocket",
            NEEDS_CHAIN,
        ),
        ["chain", "gearbox_lean"] => field(
            "the gearbox sprocket's lean",
            "gearbox, lean",
            Lean,
            "against upright, as an angle gauge shows it",
            NEEDS_CHAIN,
        ),
        ["chain", "rear_lean"] => {
            field("the rear sprocket's lean", "rear, lean", Lean, "against upright, as an angle gauge shows it", NEEDS_CHAIN)
        }
        ["spindle", "height_difference"] => field(
            "the spindle ends' height difference",
            "ends' heights",
            LeftHigh,
            "a twisted swing arm or fork shows here",
            NEEDS_SPINDLE,
        ),
        ["spindle", side @ ("left" | "right")] => {
            let (name, short) = (format!("the spindle's {side} end"), format!("{side} end"));
            field(&name, &short, OwnSide, "from the cord, on its own side", NEEDS_SPINDLE)
        }
        ["plumb", line, "offset"] => {
            let (name, short) = (format!("plumb line {line}"), format!("plumb line {line}"));
            field(&name, &short, Sideways, "where the line hangs against the cord", NEEDS_PLUMB)
        }
        ["stations", station, "offset"] => {
            let (name, short) = (format!("frame station {station}'s offset"), format!("station {station}, middle"));
            field(&name, &short, Sideways, "the pair's middle against the cord", NEEDS_STATION)
        }
        ["stations", station, "height_difference"] => {
            let (name, short) = (format!("frame station {station}'s height difference"), format!("station {station}, heights"));
            field(&name, &short, LeftHigh, "left point against right point", NEEDS_STATION)
        }
        ["backbone", "front"] => {
            field("the backbone cord's front flag", "backbone, front", Sideways, "against the cord on the bench", NEEDS_BACKBONE)
        }
        ["backbone", "rear"] => {
            field("the backbone cord's rear flag", "backbone, rear", Sideways, "against the cord on the bench", NEEDS_BACKBONE)
        }
        ["backbone", "yaw"] => field("the backbone's direction", "backbone, direction", Yaw, "along the cord", NEEDS_BACKBONE),
        ["faces", name @ .., "offset"] => {
            let name = name.join("/");
            field(&format!("{name}'s offset"), &format!("{name}, offset"), Sideways, "the face against the cord", NEEDS_FACE)
        }
        ["faces", name @ .., "yaw"] => {
            let name = name.join("/");
            field(&format!("{name}'s direction"), &format!("{name}, yaw"), Yaw, "along the cord", NEEDS_FACE)
        }
        ["faces", name @ .., "lean"] => {
            let name = name.join("/");
            field(&format!("{name}'s lean"), &format!("{name}, lean"), Lean, "against upright", NEEDS_FACE)
        }
        ["track", "offset"] => field(
            "the front wheel's offset from the rear's",
            "front wheel, sideways",
            Sideways,
            "the front rim's middle against the rear wheel's plane",
            NEEDS_FRONT,
        ),
        ["track", "lean"] => {
            field("the front wheel's lean", "front wheel, lean", Lean, "how the front wheel stands", NEEDS_FRONT)
        }
        ["bench", "level_along"] => {
            field("the bench's level along the bike", "level along", FrontHigh, "no figure suffers from it", NEEDS_LEVEL)
        }
        ["bench", "level_across"] => {
            field("the bench's level across the bike", "level across", LeftHigh, "no figure suffers from it", NEEDS_LEVEL)
        }
        ["bench", "cord_straightness"] => {
            field("the cord's straightness", "cord straight to", Size, "sideways, from end to end", NEEDS_CARDS)
        }
        ["bench", "cord_moved"] => field(
            "the cord's movement between set-ups",
            "cord moved by",
            Size,
            "between set-ups",
            "It needs the cord in two set-ups.",
        ),
        ["bench", "flatness"] => field("how flat the cards lie to each other", "cards flat to", Size, "up and down", NEEDS_CARDS),
        ["bench", "riders", id, "offset"] => field(
            &format!("what the rider with tabs {} tells of the cord", id.replace('-', " and ")),
            &format!("rider {}", id.replace('-', ", ")),
            Sideways,
            "where this rider has the cord, against the datum",
            NEEDS_RIDERS,
        ),
        _ => field(pointer, pointer, Size, "", ""),
    }
}

/// The rim's place from its id, `set-up/side` or `set-up/side/place`, for a sentence and for a table.
fn rim_name(id: &[&str]) -> (String, String) {
    let side = id.iter().rposition(|part| *part == "left" || *part == "right");
    match side {
        Some(at) => {
            let (setup, side, place) = (id[..at].join("/"), id[at], id[at + 1..].join("/"));
            if place.is_empty() {
                (format!("the rim's {side} face in {setup}"), format!("{setup}, {side}"))
            } else {
                (format!("the rim's {side} face at place {place} in {setup}"), format!("{setup}, {side}, place {place}"))
            }
        }
        None => (format!("the rim at {}", id.join("/")), id.join("/")),
    }
}
