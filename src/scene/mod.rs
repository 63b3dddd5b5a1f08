//! Where everything is: start poses, residuals, bundle adjustment, covariance. Knows no wheel.

pub mod adjust;
pub mod assess;
pub mod checks;
pub mod estimate;
pub mod model;
pub mod start;
pub mod strings;

pub use estimate::second_look::solve_again;
pub use estimate::solve_scene::solve;
pub use model::input::{Hangs, ScenePhoto, SceneSettings, TabSetting};
pub use model::solution::Solution;
pub use model::state::{Carrier, State};
