//! Lengths in a photo and at the bench: types of their own where both meet in one place, so that
//! none is taken for the other.

use std::ops::{Div, Mul};

/// Pixels of a photo.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Px(pub f64);

/// Millimetres at the bench.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Mm(pub f64);

/// How many millimetres at the bench a pixel shows.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct MmPerPx(pub f64);

impl Mul<MmPerPx> for Px {
    type Output = Mm;

    fn mul(self, scale: MmPerPx) -> Mm {
        Mm(self.0 * scale.0)
    }
}

impl Div<MmPerPx> for Mm {
    type Output = Px;

    fn div(self, scale: MmPerPx) -> Px {
        Px(self.0 / scale.0)
    }
}
