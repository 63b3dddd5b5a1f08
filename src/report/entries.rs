//! What a result lists besides the figures: the job, its cameras and its photos.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::bench::figures::Side;
use crate::measurement::Measurement;

/// What was measured.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct JobEntry {
    /// SHA-256 of the inputs: the photos and the settings, not the folder's name.
    pub id: String,
    /// The bike's name in its owner's words.
    pub bike: Option<String>,
    pub chain_side: Option<Side>,
}

/// A lens, as the photos taken with it showed it. The model is that of the manual's page on
/// conventions.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CameraEntry {
    /// The photos taken with it, as `set-up/file`.
    pub photos: Vec<String>,
    /// Size of its photos, px.
    pub width: u32,
    pub height: u32,
    /// Focal lengths and principal point, px.
    pub fx: Option<Measurement>,
    pub fy: Option<Measurement>,
    pub cx: Option<Measurement>,
    pub cy: Option<Measurement>,
    /// Lens coefficients; no unit.
    pub k1: f64,
    pub k2: f64,
    pub p1: f64,
    pub p2: f64,
    pub k3: f64,
    /// Root mean square distance of corners from where the solved scene puts them, px.
    pub rms_px: Option<f64>,
}

/// A photo and what it gave.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PhotoEntry {
    /// `set-up/file`, with a forward slash.
    pub file: String,
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub sha256: String,
    pub setup: String,
    /// Whether anything of it entered the solution.
    pub used: bool,
    /// Numbers of the cards and tabs that were read, ascending.
    pub cards: Vec<u8>,
    pub tabs: Vec<u8>,
    /// Corners that entered the solution.
    pub corners: usize,
    /// Root mean square distance of its corners from where the solved scene puts them, px.
    pub rms_px: Option<f64>,
    /// Where the camera stood in the bench frame, mm.
    pub position: Option<[f64; 3]>,
    /// The day it was taken, as the camera wrote it: "2026-05-16".
    #[serde(default)]
    pub taken: Option<String>,
}

/// Folders whose name begins so hold photos of cards only, for the lens; their cards do not lie
/// on the bench.
const CARDS_ONLY_PREFIX: &str = crate::photo::job_photos::CAMERA_FOLDER;

impl PhotoEntry {
    /// Whether it was taken for the lens alone.
    pub fn is_of_cards_only(&self) -> bool {
        self.setup.starts_with(CARDS_ONLY_PREFIX)
    }
}

/// The comparison of odd with even photos.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Crosscheck {
    /// By how much their solutions differ, over what their uncertainties allow; 1 and below is as
    /// it should be.
    pub ratio: Option<f64>,
    /// The same of photos from the left against those from the right. Null where they show too
    /// different things.
    #[serde(default)]
    pub left_right: Option<f64>,
}
