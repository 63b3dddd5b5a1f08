//! The bundle adjustment: residuals and derivatives, priors, normal equations, weights and
//! rejection.

pub mod block_normal;
pub mod group_spread;
pub mod hand;
pub mod noise;
pub mod prior;
pub mod residual;
pub mod size;
pub mod solve;
pub mod view_fit;
pub mod view_normal;
pub mod world_point;
