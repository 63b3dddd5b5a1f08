//! What the job says that figures depend on.

use crate::job::Assumed;
use crate::scene::model::state::TurningPart;

use super::figures::Side;
use super::known_wheel::KnownWheel;

/// What a tab marks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// Outside face of a rim; place 0 is the marked one.
    Rim {
        front_wheel: bool,
        side: Side,
        place: u8,
    },
    GearboxSprocket,
    RearSprocket,
    SpindleEnd(Side),
    /// One of a pair of like points on the frame: station 0 to 3 for A to D.
    Station(u8, Side),
    HubFace,
    /// One face of a rider on the datum cord.
    CordRider {
        rider: u8,
        side: Side,
    },
    /// Hangs on a line, or marks nothing of its own.
    Other,
}

impl Part {
    /// What it turns with.
    pub fn turning(self) -> Option<TurningPart> {
        match self {
            Self::Rim { front_wheel: true, .. } => Some(TurningPart::FrontWheel),
            Self::Rim { .. } | Self::RearSprocket | Self::HubFace => Some(TurningPart::Wheel),
            Self::GearboxSprocket => Some(TurningPart::Gearbox),
            Self::SpindleEnd(_) | Self::Station(..) | Self::CordRider { .. } | Self::Other => None,
        }
    }
}

/// One tab's meaning.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Marked {
    pub number: u8,
    pub part: Part,
    /// Paper and backing between the pattern and the face, mm.
    pub thickness: f64,
}

/// Settings of the bench stage.
#[derive(Clone, Debug)]
pub struct BenchSettings {
    /// Names of the set-ups, in order; lens-only ones included.
    pub setups: Vec<String>,
    pub lens_only: Vec<bool>,
    pub marks: Vec<Marked>,
    pub chain_side: Option<Side>,
    /// Slope of the bench by a level: along (+ front high) and across (+ left high), degrees, and
    /// standard uncertainty.
    pub level: [f64; 2],
    pub level_sigma: f64,
    /// Whether `level` was read on a level (if not, the bench is taken as level to
    /// `level_sigma`).
    pub level_was_read: bool,
    /// Whether a spirit level was laid, though no reading was written down.
    pub level_was_laid: bool,
    /// Sprocket outside face to tooth centre, mm: rear and gearbox.
    pub tooth_centres: Option<[f64; 2]>,
    pub hub_side: Option<Side>,
    /// Lateral run-out of the rim, peak to peak, as the job gives it, mm.
    pub lateral_tir: Option<f64>,
    /// Width of the rear rim over its outside faces by caliper, mm: it checks the photographed one
    /// and enters no figure.
    pub rim_width_mm: Option<f64>,
    /// Names of faces in the scene that the job asks figures of.
    pub faces: Vec<String>,
    /// What no photo shows, expanded uncertainties.
    pub assumed: Assumed,
    /// Whether a rule was laid on the check lines along and across.
    pub print_measured: [bool; 2],
    /// The wheel as an earlier evening found it, for photos that show no axis; None in a measurement
    /// by itself.
    pub known_wheel: Option<KnownWheel>,
}

/// Names of the two faces that the scene ties for us.
pub const GEARBOX_FACE: &str = "gearbox sprocket";
pub const REAR_FACE: &str = "rear sprocket";
