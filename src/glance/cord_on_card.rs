//! Where the cord runs in each card's lane, read from one photo in the card's own millimetres.
//!
//! The grid of a card is its own measure: what lies in its plane is measured in millimetres by the
//! pitch, whatever the lens. The cord lies a little above that plane: at a height h it appears h
//! tan(a) farther from the camera than it is, a being the angle of the view off the card's upright,
//! across the lane. One photo can't show h; it is taken from what the guide asks for, and what that
//! leaves open is in the uncertainty. tan(a) follows from the card's own image and the focal
//! length.
//!
//! Nor can one photo tell the cord from its shadow for certain. Seen obliquely the cord appears
//! farther from the camera than a shadow on the paper does, unless the lamp stands lower than the
//! camera and on its side; a shadow that is taken for the cord then is like a cord that lies
//! higher. Where several pairs of edges could be the cord's, the reading is the middle of all of
//! them and the uncertainty spans them.

use crate::measurement::Measurement;

/// Expanded uncertainty of what an edge's fit can't know: a round cord's shading and contact shadow
/// (our estimate), mm.
pub const EDGE_U_MM: f64 = 0.2;

/// Height of the cord's axis above the paper, mm: the guide asks for a cord "a few millimetres
/// above the paper", and no cord's axis can lie lower than the radius of a thin one. The middle,
/// and how far to either side it may lie.
pub const HEIGHT_MM: (f64, f64) = (3.0, 2.0);

/// Expanded uncertainty of the view's slope: a part of itself (a focal length that is up to 7 %
/// off) and a share for the lens's bend.
pub const VIEW_U_PART: f64 = 0.10;
pub const VIEW_U_LENS: f64 = 0.05;

/// The cord in one card's lane.
#[derive(Clone, Debug, PartialEq)]
pub struct CordOnCard {
    /// From the lane's middle to the cord at the card's middle column, + towards the card's upper
    /// edge, mm.
    pub offset: Measurement,
    /// Of the cord to the lane, + anticlockwise as the card is read upright, degrees.
    pub angle: Measurement,
    /// Slope of the view across the lane: how far, in millimetres, a point one millimetre up
    /// appears from its place; + when the camera stands on the side of the card's upper edge.
    pub view: f64,
    /// False where several pairs of edges could be the cord's.
    pub told_apart: bool,
    /// The cord as it appears, px: its mid-line along the lane, in order of columns.
    pub path: Vec<[f64; 2]>,
}

/// Why a lane gives no reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotRead {
    #[error("nothing is seen to run along it")]
    Nothing,
    #[error("only one edge of the cord is seen")]
    OneEdge,
    #[error("what runs along it leaves the lane, or is cut off by its edge")]
    LeavesLane,
    #[error("it is seen too flatly, so that the cord's height would swamp the reading")]
    TooFlat,
    #[error("what runs along it is not in line with the cord at the other cards")]
    OutOfLine,
    #[error("how the card lies in the photo is not clear")]
    NoPose,
}

impl NotRead {
    /// What to do about it.
    pub fn advice(self) -> &'static str {
        match self {
            Self::Nothing => {
                "If the cord runs there, make it clearly brighter or darker than the paper."
            }
            Self::OneEdge | Self::NoPose => {
                "Go closer, and let light fall on the lane from both sides."
            }
            Self::LeavesLane => {
                "Shift the card so that the cord runs in the middle of its lane, or look from higher up."
            }
            Self::OutOfLine => {
                "Take away what lies on the card or throws its shadow there, or stretch the cord straight."
            }
            Self::TooFlat => "Take a photo from higher up, nearly straight down on the lane.",
        }
    }
}

/// One card's lane.
#[derive(Clone, Debug, PartialEq)]
pub struct LaneReading {
    pub card: u8,
    pub cord: Result<CordOnCard, NotRead>,
}

/// How far the cord at one card lies off the straight line from its place at one card to that at
/// another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Straightness {
    pub card: u8,
    pub from: u8,
    pub to: u8,
    /// Across the lane, in the card's plane, never negative, mm.
    pub off: Measurement,
}

/// All that one photo shows of the cord.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CordReading {
    /// In the order of the cards' numbers.
    pub lanes: Vec<LaneReading>,
    /// For each card between two others, where three are read in one photo.
    pub straightness: Vec<Straightness>,
}
