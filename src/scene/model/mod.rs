//! The model: the unknowns, what was observed of them, what is known beforehand, and the solution.

pub mod input;
pub mod observe;
pub mod priors;
pub mod solution;
pub mod state;
pub mod unknowns;
pub mod view;
