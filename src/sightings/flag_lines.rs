//! Plumb lines and the backbone cord between the flags that hang on them.

use nalgebra::Vector2;

use crate::cards::Pattern;
use crate::photo::LinearImage;

use super::follow_line::{ExpectedLine, STATION_PX, follow};
use super::line_ridge::LEAST_STATIONS;
use super::plane_map::{Node, PlaneMap};
use super::seen::{LineSighting, PatternSighting, StringKind};

/// Upper and lower flag of each line.
const FLAGS: [(u8, u8, StringKind); 5] = [
    (21, 22, StringKind::Plumb(0)),
    (23, 24, StringKind::Plumb(1)),
    (25, 26, StringKind::Plumb(2)),
    (27, 28, StringKind::Plumb(3)),
    (29, 30, StringKind::Backbone),
];

/// How far to either side of the expected path a line is looked for when both flags tell it, px
/// (our choice).
const REACH: f64 = 6.0;

/// Paper of a flag that covers the line, in pattern sides from its centre (our choice: the paper
/// itself ends 0.7 to 1 side from it).
const FLAG_PAPER: f64 = 0.95;

/// Lines between flags that were read in this photo.
pub fn find_lines(image: &LinearImage, patterns: &[PatternSighting]) -> Vec<LineSighting> {
    let flag = |number: u8| {
        let mut seen = patterns.iter().filter(|p| p.pattern == Pattern::Tab(number));
        // A flag seen twice (a reflection) is no use.
        seen.next().filter(|_| seen.next().is_none()).and_then(flag_place)
    };
    let mut lines = Vec::new();
    for (upper, lower, kind) in FLAGS {
        let (Some((a, side_a)), Some((b, side_b))) = (flag(upper), flag(lower)) else { continue };
        let length = (b - a).norm();
        let (from, to) = (FLAG_PAPER * side_a, length - FLAG_PAPER * side_b);
        if to - from > STATION_PX * LEAST_STATIONS as f64 {
            let along = (b - a) / length;
            let path = [a + along * from, a + along * to].map(|p| [p.x, p.y]).to_vec();
            lines.extend(follow(
                image,
                &ExpectedLine { kind, path, covered: Vec::new(), reach: [REACH; 2], whole: true },
            ));
        }
    }
    lines
}

/// A flag's centre and the length of its pattern's side in the photo, px.
fn flag_place(sighting: &PatternSighting) -> Option<(Vector2<f64>, f64)> {
    let node = |c: &super::seen::CornerSighting| Node {
        lattice: [f64::from(c.col), f64::from(c.row)],
        at: c.at,
    };
    let nodes: Vec<Node> = sighting.corners.iter().map(node).collect();
    let map = PlaneMap::near(&nodes, [2.5, 2.5])?;
    let place = |c: f64, r: f64| map.at([c, r]).map(Vector2::from);
    let (top, bottom) = (place(2.5, 0.0)?, place(2.5, 5.0)?);
    Some((place(2.5, 2.5)?, (bottom - top).norm()))
}
