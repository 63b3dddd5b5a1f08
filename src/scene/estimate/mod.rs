//! The whole way to a solved scene: start, adjust, weigh, reject, check, adjust again.

pub mod cord_has_moved;
pub mod covariance;
pub mod from_start;
pub mod refine;
pub mod second_look;
pub mod solve_scene;
