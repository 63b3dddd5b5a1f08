//! Start values: poses of cards, cameras and tabs, turning bodies, lines and cords.

pub mod bodies;
pub mod card_size;
pub mod cards;
pub mod cords;
pub mod faces;
pub mod glimpses;
pub mod lenses;
pub mod lines;
pub mod marks;
pub mod pose;
pub mod tab_size;
pub mod tabs;
pub mod world_axes;
