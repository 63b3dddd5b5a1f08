//! The scene in drawings: from above, from behind and from the side to scale, and a small one for
//! each step.

mod above;
mod behind;
mod bike;
mod canvas;
mod labels;
mod side;
mod steps;

pub use above::above;
pub use behind::behind;
pub use bike::Bike;
pub use canvas::{DRAWING_CSS, Drawing};
pub use side::side;
pub use steps::step;
