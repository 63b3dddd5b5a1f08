//! Where everything is: start poses, residuals, bundle adjustment, covariance. Knows no wheel.

mod card_size;
pub mod cards_first;
pub mod cord_choice;
pub mod cord_doubts;
mod cord_fit;
pub mod cord_on_card;
pub mod cord_split;
pub mod group_spread;
pub mod halves;
mod hand;
pub mod imagine;
pub mod input;
pub mod lane_colour;
mod lane_light;
mod line_choice;
pub mod line_width;
pub mod marks_next;
mod movement;
pub mod noise;
pub mod observe;
pub mod picture_bend;
pub mod pose;
pub mod predict;
pub mod prior;
pub mod residual;
pub mod riders;
mod rival_cord;
pub mod solution;
pub mod solve;
mod split;
pub mod state;
pub mod suspects;

pub use input::{Hangs, ScenePhoto, SceneSettings, TabSetting};
pub use solution::{Solution, solve, solve_again};
pub use state::{Carrier, State};
