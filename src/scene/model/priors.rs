//! What is known before any photo, with its standard uncertainties. The standard values are our
//! estimates, open to the job (common practice, no source).

use std::collections::BTreeSet;

use crate::scene::model::state::TurningPart;
/// Standard uncertainties of what is known beforehand.
#[derive(Clone, Debug)]
pub struct Priors {
    /// Printed over designed size, along and across, with standard uncertainties.
    pub print: [f64; 2],
    pub print_sigma: [f64; 2],
    /// How far one sheet's scale may lie from the common one. Sheets of one printer agree far
    /// better than printers do.
    pub sheet_sigma: f64,
    /// Sheets whose scale was seen to differ from the others': the common scale does not apply to
    /// theirs.
    pub loose_sheets: Vec<u8>,
    /// Measured scale of single sheets: number, along and across over designed, standard
    /// uncertainty.
    pub measured_sheets: Vec<MeasuredSheet>,
    /// Height of a card's middle over its edges, mm.
    pub bow_sigma: f64,
    /// A tab's own print scale.
    pub tab_scale_sigma: f64,
    /// Tabs and flags that are not as large as the job says: photos alone tell their size.
    pub unlike_tabs: BTreeSet<u8>,
    /// What is usual of the two below, and the least that is taken.
    pub usual_drift: Drift,
    /// Refocusing from photo to photo (relative) and wander of the principal point (px), per lens.
    pub zoom_sigma: Vec<f64>,
    pub shift_sigma: Vec<f64>,
    /// How far the hand turns (radians) and shifts (mm) while a photo's rows are read out.
    pub sweep_sigma: [f64; 2],
    /// Start focal length and picture size per lens, for weak priors on the lens itself, and how
    /// weak they are.
    pub lens_start: Vec<LensStart>,
    pub lens_spread: LensSpread,
    /// Flags: distance of the pattern's centre from the line, mm.
    pub flag_sigma: f64,
    /// Tabs of one face.
    pub face_sigma: FaceSigma,
    /// Turning parts that did not turn, tied to their place.
    pub still_bodies: Vec<TurningPart>,
    /// Cord between set-ups, mm; larger when it was seen to move.
    pub cord_moved_sigma: f64,
    /// Sagitta of the cord sideways over half its seen length, mm.
    pub cord_straight_sigma: f64,
}

/// How closely a tab lies in its face.
#[derive(Clone, Copy, Debug)]
pub struct FaceSigma {
    /// Along the normal.
    pub off_mm: f64,
    /// Radians.
    pub tilt: f64,
}

impl FaceSigma {
    /// As many times as large.
    pub fn times(self, times: f64) -> Self {
        Self { off_mm: times * self.off_mm, tilt: times * self.tilt }
    }
}

/// Refocusing, as a part of the focal length, and wander of the principal point.
#[derive(Clone, Copy, Debug)]
pub struct Drift {
    pub zoom: f64,
    pub shift_px: f64,
}

/// What is known of a lens before any corner: where its focal length starts, and the size of its
/// pictures.
#[derive(Clone, Copy, Debug)]
pub struct LensStart {
    /// px.
    pub focal: f64,
    pub width: usize,
    pub height: usize,
}

/// A card whose check lines were measured on their own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasuredSheet {
    pub number: u8,
    /// Printed over designed size, along and across.
    pub scale: [f64; 2],
    /// Standard uncertainty of both.
    pub sigma: f64,
}

/// How far a lens may lie from what is expected of any lens, as standard uncertainties.
#[derive(Clone, Debug)]
pub struct LensSpread {
    /// Focal lengths about the start value, as a part of it.
    pub focal: f64,
    /// Difference between fx and fy, as a part of the start value.
    pub aspect: f64,
    /// Principal point about the picture's middle, as a part of the longer side.
    pub middle: f64,
    /// k1, k2, p1, p2, k3 about zero.
    pub distortion: [f64; 5],
}

impl LensSpread {
    /// Weak: a phone's principal point lies within a few hundredths of the picture's size of its
    /// middle, and distortion coefficients are below one; together they only hold what photos
    /// leave open. Pixels of phones are square.
    pub const USUAL: Self =
        Self { focal: 0.3, aspect: 1e-3, middle: 0.03, distortion: [0.5, 1.0, 0.005, 0.005, 2.0] };
}
