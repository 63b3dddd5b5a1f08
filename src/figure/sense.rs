//! What the sign of a figure means.

/// What a figure's sign means, in words.
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
    /// The direction of a value with this sign, behind the amount; empty for a size and for zero.
    pub fn words(self, sign: i8) -> &'static str {
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
