//! The catalogue: every figure once, in the order in which the result holds them.
//!
//! A block names the figure's place in the result, its unit and what + means, its one name for
//! people and the short one for tables (`*` stands for the part it belongs to), what it means at
//! the bench, what must be on the bench and in the photos for it to be measured, under which
//! heading and in which place it is shown; where they differ from the usual (`USUAL`), whether a
//! tolerance or a hand value may be given, and the figure that comes from the same marks.

use super::member::{Group, Section, catalogue};
use super::part::{Letter, Part, RiderId, RimPlace};
use super::sense::Sense;
use super::unit::Kind;

const NEEDS_TWO_SETUPS: &str = "It needs two set-ups with the wheel turned between them, and three or more tabs that turn with the wheel (1, 2, 8 to 10) seen in both.";
const NEEDS_OPPOSITE_MARKS: &str = "It needs two set-ups with tabs 1 and 2 in both, the mark \
    forward in one and rearward in the other.";
const NEEDS_RIM: &str =
    "It needs the cord, and tabs 1 and 2 on the rim's two sides, seen from two places at least.";
const NEEDS_CHAIN: &str =
    "It needs tabs 5 to 7 on the gearbox sprocket's face and 8 to 10 on the rear sprocket's.";
const NEEDS_SPINDLE: &str = "It needs tabs 11 and 12 on the spindle's two ends.";
const NEEDS_FRAME: &str = "It needs plumb lines or pairs of frame tabs (13 to 20) at two places 200 mm or more apart along the bike.";
const NEEDS_PLUMB: &str = "It needs a plumb line with a flag (21 to 28).";
const NEEDS_LEVEL: &str = "It needs a plumb line, or a level's reading under [bench] in job.toml.";
const NEEDS_STATION: &str =
    "It needs a pair of like points on the frame marked with tabs (13 to 20).";
const NEEDS_BACKBONE: &str = "It needs a cord along the backbone with flags 29 and 30.";
const NEEDS_FACE: &str = "It needs three tabs at least on that face, named in job.toml.";
const NEEDS_FRONT: &str = "It needs tabs 3 and 4 on the front rim's two sides.";
const NEEDS_RIDERS: &str = "Two riders alone are the datum: a third one on the cord, or the cord's own edges, would show how far they are off.";
const NEEDS_CARDS: &str =
    "It needs two cards or more on the bench, overlapping from photo to photo.";

/// One line of the catalogue.
#[derive(Debug)]
pub struct Line {
    /// The figure of the part of this name; the name counts for nothing where there is one figure.
    pub make: fn(&str) -> Option<Figure>,
    pub section: Section,
    /// The last key of its pointer.
    pub member: &'static str,
    pub kind: Kind,
    pub sense: Sense,
    /// In a sentence; `*` stands for the part.
    pub name: &'static str,
    /// In a table under its group's heading.
    pub short: &'static str,
    /// What it means at the bench, in a few words.
    pub meaning: &'static str,
    /// What must be on the bench and in the photos for it to be measured.
    pub needs: &'static str,
    pub group: Group,
    /// Its place in the group; figures of one place keep the order of the result.
    pub place: u8,
    /// Whether a tolerance or a hand value may be given for it.
    pub is_judged: bool,
    /// The figure that the same marks give in another unit, if any: what makes that one
    /// doubtful makes this one doubtful.
    pub twin: fn() -> Option<Figure>,
    /// Its description in the result's schema.
    pub definition: &'static str,
}

/// What a block need not say.
const USUAL: Line = Line {
    make: |_| None,
    section: Section::Pattern,
    member: "",
    kind: Kind::Length,
    sense: Sense::Size,
    name: "",
    short: "",
    meaning: "",
    needs: "",
    group: Group::BenchAndPrint,
    place: 0,
    is_judged: true,
    twin: || None,
    definition: "",
};

impl Line {
    /// Its pointer, `*` standing for the name of a part.
    pub fn pattern(&self) -> String {
        self.pointer("*")
    }

    /// Its pointer for the part of a name.
    pub fn pointer(&self, name: &str) -> String {
        let key = self.section.key();
        match (self.section.is_list(), self.member) {
            (false, member) => format!("/{key}/{member}"),
            (true, "") => format!("/{key}/{name}"),
            (true, member) => format!("/{key}/{name}/{member}"),
        }
    }
}

catalogue! {
    /// Printed over designed size along the card's long side; 1 is exact.
    ScaleAlong {
        section: Section::Pattern, member: "scale_along", kind: Kind::Ratio, sense: Sense::Larger,
        name: "the print's scale along the cards", short: "print scale along",
        meaning: "how far the printer missed the drawn size",
        needs: NEEDS_CARDS, group: Group::BenchAndPrint, place: 2, is_judged: false,
    }
    /// The same along its short side.
    ScaleAcross {
        section: Section::Pattern, member: "scale_across", kind: Kind::Ratio, sense: Sense::Larger,
        name: "the print's scale across the cards", short: "print scale across",
        meaning: "how far the printer missed the drawn size",
        needs: NEEDS_CARDS, group: Group::BenchAndPrint, place: 2, is_judged: false,
    }
    /// Horizontal distance from the datum plane, + on its own side.
    RimOffset(RimPlace) {
        section: Section::Rim, member: "offset", kind: Kind::Length, sense: Sense::OwnSide,
        name: "*", short: "*",
        meaning: "from the cord's upright plane to the rim's outside face",
        needs: NEEDS_RIM, group: Group::Rim, place: 1,
    }
    /// Height above the bench at the axle's foot.
    RimHeight(RimPlace) {
        section: Section::Rim, member: "height", kind: Kind::Length, sense: Sense::Size,
        name: "the height of *", short: "*, height",
        meaning: "above the bench",
        needs: NEEDS_RIM, group: Group::Rim, place: 1,
    }
    /// Left plus right at the marked place, by set-up.
    RimWidth(String) {
        section: Section::RimWidth, member: "", kind: Kind::Length, sense: Sense::Size,
        name: "the rim's width in *", short: "width, *",
        meaning: "left plus right: the same in every set-up, and what a caliper reads",
        needs: NEEDS_RIM, group: Group::Rim, place: 2,
    }
    WheelOffset {
        section: Section::Wheel, member: "offset", kind: Kind::Length, sense: Sense::Sideways,
        name: "the rear wheel's offset", short: "sideways, at the axle",
        meaning: "the rim's middle plane against the cord",
        needs: NEEDS_RIM, group: Group::RearWheel, place: 2,
    }
    WheelOffsetAtMark {
        section: Section::Wheel, member: "offset_at_mark", kind: Kind::Length, sense: Sense::Sideways,
        name: "the rear wheel's offset at the mark", short: "sideways, at the mark",
        meaning: "as a square shows it at the marked place; run-out is still in it",
        needs: "It needs two set-ups with tabs 1 and 2 in both.",
        group: Group::RearWheel, place: 3,
    }
    WheelYaw {
        section: Section::Wheel, member: "yaw", kind: Kind::Angle, sense: Sense::Yaw,
        name: "the rear wheel's squareness", short: "square (yaw)",
        meaning: "it points that way; the adjusters put it right",
        needs: NEEDS_TWO_SETUPS, group: Group::RearWheel, place: 4,
    }
    WheelLean {
        section: Section::Wheel, member: "lean", kind: Kind::Angle, sense: Sense::Lean,
        name: "the rear wheel's lean", short: "upright (lean)",
        meaning: "no adjuster puts it right: fork ends or frame",
        needs: NEEDS_TWO_SETUPS, group: Group::RearWheel, place: 6,
    }
    WheelYawFromOffsets {
        section: Section::Wheel, member: "yaw_from_offsets", kind: Kind::Angle, sense: Sense::Yaw,
        name: "the rear wheel's squareness from the rim's offsets", short: "square, from offsets",
        meaning: "the same as a square gives it, front against rear",
        needs: NEEDS_OPPOSITE_MARKS, group: Group::RearWheel, place: 5,
    }
    /// The rim's middle at the front mark less that at the rear mark.
    WheelToe {
        section: Section::Wheel, member: "toe", kind: Kind::Length, sense: Sense::Yaw,
        name: "the rear wheel's toe from mark to mark", short: "toe, mark to mark",
        meaning: "what a straight-edge along the rim shows between the marks",
        needs: NEEDS_OPPOSITE_MARKS, group: Group::RearWheel, place: 5,
        twin: || Some(Figure::WheelYawFromOffsets),
    }
    FrameOffset {
        section: Section::Frame, member: "offset", kind: Kind::Length, sense: Sense::Sideways,
        name: "the frame's offset", short: "sideways, at the axle",
        meaning: "how the frame hangs over the cord",
        needs: NEEDS_PLUMB, group: Group::Frame, place: 1,
    }
    FrameYaw {
        section: Section::Frame, member: "yaw", kind: Kind::Angle, sense: Sense::Yaw,
        name: "the frame's direction", short: "direction (yaw)",
        meaning: "how the frame points along the cord",
        needs: NEEDS_FRAME, group: Group::Frame, place: 1,
    }
    WheelInFrameOffset {
        section: Section::WheelInFrame, member: "offset", kind: Kind::Length, sense: Sense::Sideways,
        name: "the wheel's offset in the frame", short: "sideways, in the frame",
        meaning: "the rim's middle against the frame's middle",
        needs: NEEDS_PLUMB, group: Group::RearWheel, place: 1,
    }
    WheelInFrameYaw {
        section: Section::WheelInFrame, member: "yaw", kind: Kind::Angle, sense: Sense::Yaw,
        name: "the wheel's squareness in the frame", short: "square in the frame",
        meaning: "it points that way in the frame; the adjusters put it right",
        needs: NEEDS_FRAME, group: Group::RearWheel, place: 1,
    }
    /// Peak to peak along the axis, as a dial gauge shows it.
    RunoutLateral {
        section: Section::Runout, member: "lateral", kind: Kind::Length, sense: Sense::Size,
        name: "the rim's lateral run-out", short: "run-out, sideways",
        meaning: "peak to peak, as a dial gauge shows it",
        needs: "It needs three places at least round the rim: tab 1 and two or more of 33 to 38.",
        group: Group::RearWheel, place: 7,
    }
    /// Not measured by this method; always null.
    RunoutRadial {
        section: Section::Runout, member: "radial", kind: Kind::Length, sense: Sense::Size,
        name: "the rim's radial run-out", short: "run-out, up and down",
        meaning: "",
        needs: "This method can't measure it: use a dial gauge.",
        group: Group::RearWheel, place: 7, is_judged: false,
    }
    /// Along the axis, from the hub's reference face to the rim's outside face on the same side;
    /// + = rim further outboard.
    RimFromFace {
        section: Section::Hub, member: "rim_from_face", kind: Kind::Length, sense: Sense::RimOutboard,
        name: "the rim's distance from the hub face", short: "rim from hub face",
        meaning: "the number a wheel builder works to",
        needs: "It needs tab 31 or 32 on the brake drum's or hub's reference face.",
        group: Group::RearWheel, place: 8,
    }
    ChainCentres {
        section: Section::Chain, member: "centres", kind: Kind::Length, sense: Sense::Size,
        name: "the sprockets' centre distance", short: "centres",
        meaning: "from sprocket to sprocket",
        needs: NEEDS_CHAIN, group: Group::Chain, place: 7,
    }
    ChainAtGearbox {
        section: Section::Chain, member: "offset_at_gearbox", kind: Kind::Length, sense: Sense::Outboard,
        name: "the chain line at the gearbox", short: "gearbox sprocket",
        meaning: "what a straight-edge on the rear sprocket shows at the gearbox",
        needs: NEEDS_CHAIN, group: Group::Chain, place: 1,
    }
    ChainAtRear {
        section: Section::Chain, member: "offset_at_rear", kind: Kind::Length, sense: Sense::Outboard,
        name: "the chain line at the rear", short: "at the rear sprocket",
        meaning: "the gearbox sprocket's plane, where it passes the rear sprocket",
        needs: NEEDS_CHAIN, group: Group::Chain, place: 2,
    }
    ChainYaw {
        section: Section::Chain, member: "yaw", kind: Kind::Angle, sense: Sense::Yaw,
        name: "the sprockets' yaw against each other", short: "yaw between them",
        meaning: "gearbox sprocket against rear sprocket",
        needs: NEEDS_CHAIN, group: Group::Chain, place: 3,
    }
    ChainLean {
        section: Section::Chain, member: "lean", kind: Kind::Angle, sense: Sense::Lean,
        name: "the sprockets' lean against each other", short: "lean between them",
        meaning: "gearbox sprocket against rear sprocket",
        needs: NEEDS_CHAIN, group: Group::Chain, place: 4,
    }
    GearboxLean {
        section: Section::Chain, member: "gearbox_lean", kind: Kind::Angle, sense: Sense::Lean,
        name: "the gearbox sprocket's lean", short: "gearbox, lean",
        meaning: "against upright, as an angle gauge shows it",
        needs: NEEDS_CHAIN, group: Group::Chain, place: 6,
    }
    RearLean {
        section: Section::Chain, member: "rear_lean", kind: Kind::Angle, sense: Sense::Lean,
        name: "the rear sprocket's lean", short: "rear, lean",
        meaning: "against upright, as an angle gauge shows it",
        needs: NEEDS_CHAIN, group: Group::Chain, place: 5,
    }
    /// Left end's height minus the right's.
    SpindleHeights {
        section: Section::Spindle, member: "height_difference", kind: Kind::Length, sense: Sense::LeftHigh,
        name: "the spindle ends' height difference", short: "ends' heights",
        meaning: "a twisted swing arm or fork shows here",
        needs: NEEDS_SPINDLE, group: Group::Spindle, place: 1,
    }
    SpindleLeft {
        section: Section::Spindle, member: "left", kind: Kind::Length, sense: Sense::OwnSide,
        name: "the spindle's left end", short: "left end",
        meaning: "from the cord, on its own side",
        needs: NEEDS_SPINDLE, group: Group::Spindle, place: 1,
    }
    SpindleRight {
        section: Section::Spindle, member: "right", kind: Kind::Length, sense: Sense::OwnSide,
        name: "the spindle's right end", short: "right end",
        meaning: "from the cord, on its own side",
        needs: NEEDS_SPINDLE, group: Group::Spindle, place: 1,
    }
    PlumbOffset(Letter) {
        section: Section::Plumb, member: "offset", kind: Kind::Length, sense: Sense::Sideways,
        name: "plumb line *", short: "plumb line *",
        meaning: "where the line hangs against the cord",
        needs: NEEDS_PLUMB, group: Group::Frame, place: 2,
    }
    StationOffset(Letter) {
        section: Section::Stations, member: "offset", kind: Kind::Length, sense: Sense::Sideways,
        name: "frame station *'s offset", short: "station *, middle",
        meaning: "the pair's middle against the cord",
        needs: NEEDS_STATION, group: Group::Frame, place: 3,
    }
    StationHeights(Letter) {
        section: Section::Stations, member: "height_difference", kind: Kind::Length, sense: Sense::LeftHigh,
        name: "frame station *'s height difference", short: "station *, heights",
        meaning: "left point against right point",
        needs: NEEDS_STATION, group: Group::Frame, place: 3,
    }
    BackboneFront {
        section: Section::Backbone, member: "front", kind: Kind::Length, sense: Sense::Sideways,
        name: "the backbone cord's front flag", short: "backbone, front",
        meaning: "against the cord on the bench",
        needs: NEEDS_BACKBONE, group: Group::Frame, place: 4,
    }
    BackboneRear {
        section: Section::Backbone, member: "rear", kind: Kind::Length, sense: Sense::Sideways,
        name: "the backbone cord's rear flag", short: "backbone, rear",
        meaning: "against the cord on the bench",
        needs: NEEDS_BACKBONE, group: Group::Frame, place: 4,
    }
    BackboneYaw {
        section: Section::Backbone, member: "yaw", kind: Kind::Angle, sense: Sense::Yaw,
        name: "the backbone's direction", short: "backbone, direction",
        meaning: "along the cord",
        needs: NEEDS_BACKBONE, group: Group::Frame, place: 4,
    }
    FaceOffset(String) {
        section: Section::Faces, member: "offset", kind: Kind::Length, sense: Sense::Sideways,
        name: "*'s offset", short: "*, offset",
        meaning: "the face against the cord",
        needs: NEEDS_FACE, group: Group::Frame, place: 5,
    }
    FaceYaw(String) {
        section: Section::Faces, member: "yaw", kind: Kind::Angle, sense: Sense::Yaw,
        name: "*'s direction", short: "*, yaw",
        meaning: "along the cord",
        needs: NEEDS_FACE, group: Group::Frame, place: 5,
    }
    FaceLean(String) {
        section: Section::Faces, member: "lean", kind: Kind::Angle, sense: Sense::Lean,
        name: "*'s lean", short: "*, lean",
        meaning: "against upright",
        needs: NEEDS_FACE, group: Group::Frame, place: 5,
    }
    TrackOffset {
        section: Section::Track, member: "offset", kind: Kind::Length, sense: Sense::Sideways,
        name: "the front wheel's offset from the rear's", short: "front wheel, sideways",
        meaning: "the front rim's middle against the rear wheel's plane",
        needs: NEEDS_FRONT, group: Group::RearWheel, place: 9,
    }
    TrackLean {
        section: Section::Track, member: "lean", kind: Kind::Angle, sense: Sense::Lean,
        name: "the front wheel's lean", short: "front wheel, lean",
        meaning: "how upright the front wheel is",
        needs: NEEDS_FRONT, group: Group::RearWheel, place: 9,
    }
    LevelAlong {
        section: Section::Bench, member: "level_along", kind: Kind::Angle, sense: Sense::FrontHigh,
        name: "the bench's level along the bike", short: "level along",
        meaning: "against upright: with a plumb line in the photos it changes no figure",
        needs: NEEDS_LEVEL, group: Group::BenchAndPrint, place: 1,
    }
    LevelAcross {
        section: Section::Bench, member: "level_across", kind: Kind::Angle, sense: Sense::LeftHigh,
        name: "the bench's level across the bike", short: "level across",
        meaning: "against upright: with a plumb line in the photos it changes no figure",
        needs: NEEDS_LEVEL, group: Group::BenchAndPrint, place: 1,
    }
    CordStraightness {
        section: Section::Bench, member: "cord_straightness", kind: Kind::Length, sense: Sense::Size,
        name: "the cord's straightness", short: "cord straight to",
        meaning: "sideways, from end to end",
        needs: NEEDS_CARDS, group: Group::BenchAndPrint, place: 1,
    }
    CordMoved {
        section: Section::Bench, member: "cord_moved", kind: Kind::Length, sense: Sense::Size,
        name: "the cord's movement between set-ups", short: "cord moved by",
        meaning: "between set-ups",
        needs: "It needs the cord in two set-ups.",
        group: Group::BenchAndPrint, place: 1,
    }
    Flatness {
        section: Section::Bench, member: "flatness", kind: Kind::Length, sense: Sense::Size,
        name: "how flat the cards lie to each other", short: "cards flat to",
        meaning: "up and down",
        needs: NEEDS_CARDS, group: Group::BenchAndPrint, place: 1,
    }
    /// Where it has the cord, from the datum plane, + to the left: what it disagrees by. Null
    /// where the plane comes from this rider itself.
    RiderOffset(RiderId) {
        section: Section::Riders, member: "offset", kind: Kind::Length, sense: Sense::Sideways,
        name: "the cord's place by the rider with tabs *", short: "rider *",
        meaning: "where this rider has the cord, against the datum",
        needs: NEEDS_RIDERS, group: Group::BenchAndPrint, place: 1,
    }
}
