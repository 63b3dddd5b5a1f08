//! What one photo shows, in pixels: corners, lattices, cards, tabs, cord and lines. Knows no
//! camera.

pub mod cells;
pub mod cord;
pub mod corner;
pub mod corner_fit;
pub mod corner_links;
pub mod corner_model;
pub mod corner_verdict;
mod corner_window;
pub mod edge_fit;
pub mod flag_lines;
pub mod follow_line;
pub mod grow;
pub mod lane;
pub mod lattice;
pub mod line_edges;
pub mod line_light;
mod line_path;
pub mod line_ridge;
pub mod line_strips;
pub mod look;
pub mod look_again;
pub mod noise;
pub mod plane_map;
pub mod plate;
pub mod pyramid;
pub mod read_card;
pub mod read_tab;
pub mod round_line;
pub mod saddles;
pub mod seen;
pub mod weak_dots;
pub mod x_corners;

pub use line_path::StrandPoint;
pub use look::look;
pub use look_again::{PredictedPattern, look_again};
pub use seen::{
    CornerSighting, LaneEdge, LaneEdges, LaneLight, LineSighting, PatternSighting, PhotoSightings,
    StringKind,
};
