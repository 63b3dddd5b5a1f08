//! Cord and plumb lines: which of what is seen in a lane or along a line is theirs, and how sure
//! that is.

pub mod card_row;
pub mod cord_choice;
pub mod cord_fit;
pub mod cord_reading;
pub mod cord_search;
pub mod fine_lane;
pub mod lane_colour;
pub mod lane_light;
pub mod lane_light_fit;
pub mod line_choice;
pub mod line_width;
pub mod riders;
pub mod weak_cord;
