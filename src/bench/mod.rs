//! Lines, planes and the bike's figures in the bench frame. Never sees a pixel.

pub mod evaluate;
pub mod figures;
pub mod ground;
pub mod nuisance;
pub mod propagate;
pub mod settings;
pub mod turning;

pub use figures::Figures;
