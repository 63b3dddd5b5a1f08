//! What was observed, tied to the unknowns it depends on.

use nalgebra::{Matrix2, Vector2};

/// What a block of observations shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Shown {
    /// Index into `State::cards`.
    Card(usize),
    /// Index into `State::tabs`, and of its body there if it is carried by one.
    Tab { tab: usize, body: Option<usize> },
    /// Index into `State::flags`, and the place of its turn among the view's flags.
    Flag { flag: usize, turn: usize },
    /// Index into `State::cords`.
    Cord(usize),
    /// Index into `State::lines`.
    Line(usize),
}

/// A class of observations that share a noise level.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum NoiseClass {
    Cards,
    Tabs,
    Cord,
    Lines,
}

impl Shown {
    pub fn noise_class(self) -> NoiseClass {
        match self {
            Self::Card(_) => NoiseClass::Cards,
            Self::Tab { .. } | Self::Flag { .. } => NoiseClass::Tabs,
            Self::Cord(_) => NoiseClass::Cord,
            Self::Line(_) => NoiseClass::Lines,
        }
    }
}

/// A corner seen in a photo.
#[derive(Clone, Debug)]
pub struct SeenCorner {
    /// Lattice node.
    pub row: u8,
    pub col: u8,
    /// Designed place in the pattern frame, in cells.
    pub cells: [f64; 2],
    pub at: Vector2<f64>,
    /// Upper triangular W with W^T W = inverse of the corner's covariance: the residual W (seen -
    /// foreseen) has unit variance.
    pub whiten: Matrix2<f64>,
    pub cell_px: f64,
    pub used: bool,
}

/// A card seen from one side: what points of the cord share light and shadow by, in all set-ups.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct CardSide {
    /// The card's number.
    pub card: u8,
    /// Whether the camera stands on the side of the world's +y.
    pub from_left: bool,
}

/// A point of a line's image.
#[derive(Clone, Debug)]
pub struct SeenPoint {
    pub at: Vector2<f64>,
    pub normal: Vector2<f64>,
    pub sigma: f64,
    /// What shares light and shadow with it; None for points that don't say.
    pub group: Option<CardSide>,
    /// Whether it was found by one edge alone: such points never found a slope or a movement.
    pub lone: bool,
    pub used: bool,
}

/// Corners of one pattern, or points of one line, in one photo.
#[derive(Clone, Debug)]
pub struct Block {
    /// Index into `State::views`.
    pub view: usize,
    pub shown: Shown,
    pub corners: Vec<SeenCorner>,
    pub points: Vec<SeenPoint>,
    /// Factor on the stated standard deviations, found from the residuals.
    pub noise: f64,
}

/// W of a 2 x 2 covariance [uu, uv, vv] in px^2, with `floor` (px) added to both directions in
/// quadrature.
pub fn whitener(cov: [f64; 3], floor: f64) -> Option<Matrix2<f64>> {
    let (uu, uv, vv) = (cov[0] + floor * floor, cov[1], cov[2] + floor * floor);
    let determinant = uu * vv - uv * uv;
    if !(determinant > 0.0 && uu > 0.0 && vv > 0.0 && determinant.is_finite()) {
        return None;
    }
    // Inverse covariance [a b; b c] = W^T W with W = [sqrt(a) b/sqrt(a); 0 sqrt(c - b^2/a)].
    let (a, b, c) = (vv / determinant, -uv / determinant, uu / determinant);
    let top = a.sqrt();
    let low = c - b * b / a;
    (low > 0.0).then(|| Matrix2::new(top, b / top, 0.0, low.sqrt()))
}
