//! Lines, planes and the bike's figures in the bench frame. Never sees a pixel.

pub mod advice;
mod assemble;
mod contradiction;
mod crosscheck;
pub mod datum;
mod datum_findings;
mod datum_trial;
pub mod evaluate;
pub mod figures;
mod flatness;
pub mod from_job;
pub mod ground;
pub mod measure;
mod missing;
pub mod nuisance;
pub mod propagate;
pub mod riders;
mod rim_width;
mod seating;
pub mod settings;
pub mod turning;
pub mod upright;
pub mod views;

pub use figures::Figures;
pub use measure::measure;
pub use settings::BenchSettings;
