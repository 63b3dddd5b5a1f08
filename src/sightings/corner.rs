//! An X-corner before and after its fit: where it is thought to be, and where it was found.

/// Where a corner is thought to be, and how the lattice runs there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CornerGuess {
    /// Position, px; good to a pixel or two.
    pub at: [f64; 2],
    /// Step of one cell in the direction of rising columns, px.
    pub along_row: [f64; 2],
    /// Step of one cell in the direction of rising rows (down the pattern), px.
    pub along_col: [f64; 2],
    /// Whether the cell (r-1, c-1) before the corner in both directions is dark.
    pub first_dark: bool,
}

/// A fitted corner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CornerFit {
    /// Position, px.
    pub at: [f64; 2],
    /// Covariance of the position [uu, uv, vv], px^2, from the residuals within the window. On
    /// sharpened photos it is somewhat too large (errors are 0.66 to 0.9 of it), since the
    /// halo of sharpening counts as noise.
    pub cov: [f64; 3],
    /// Standard deviation of the Gaussian blur, the pixel's own box included, px.
    pub blur: f64,
    /// Bright minus dark level, linear light.
    pub contrast: f64,
    /// Root mean square residual divided by the contrast.
    pub residual: f64,
}

impl CornerFit {
    /// Standard uncertainty of the position, both directions together, px.
    pub fn sigma(&self) -> f64 {
        (self.cov[0] + self.cov[2]).sqrt()
    }
}
