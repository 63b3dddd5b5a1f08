//! Lines, planes and the bike's figures in the bench frame. Never sees a pixel.

pub mod figures;

pub use figures::Figures;
