//! What a solution is worth and would be with more: halves compared, photos foreseen, the other
//! reading of the cord.

pub mod cross_validation;
pub mod forecast;
pub mod predict;
pub mod rival_cord;
