//! The cord of each set-up to start from: as sighted, or as chosen from the edges in the lanes.

use std::borrow::Cow;
use std::collections::BTreeMap;

use nalgebra::Vector3;

use crate::scene::model::input::ScenePhoto;
use crate::scene::model::observe::{Block, SeenPoint, Shown};
use crate::scene::model::solution::{CordReading, RivalCord};
use crate::scene::model::state::{Cord, State, mean_card_height};
use crate::scene::model::view::on_plane;
use crate::scene::strings::cord_choice::{LaneView, choose, mid_points, slope_along};
use crate::scene::strings::cord_reading::Chosen;
use crate::scene::strings::riders::RidersLine;
use crate::sightings::{LaneEdges, StringKind};

use super::glimpses::seen_points;

/// The cord of each set-up: its mid-line as sighted, or as chosen from the edges in the lanes;
/// where its rays meet a plane a little above the cards. Returns what the light says of it, with the
/// other reading where it bears one out nearly as well.
pub fn start_cords(
    state: &mut State,
    photos: &[ScenePhoto],
    view_of: &[Option<usize>],
    riders: Option<&RidersLine>,
    blocks: &mut Vec<Block>,
) -> CordReading {
    let ground = mean_card_height(state);
    let mut seen = CordPoints::new();
    let mut seen_lanes: Vec<(usize, Cow<LaneEdges>, f64)> = Vec::new();
    for (photo, view) in photos.iter().zip(view_of) {
        let (Some(view), false) = (view, photo.lens_only) else { continue };
        for sighting in photo.sightings.lines.iter().filter(|l| l.kind == StringKind::Cord) {
            seen.entry((photo.setup, *view)).or_default().extend(seen_points(sighting));
        }
        seen_lanes.extend(photo.sightings.lanes.iter().map(|edges| {
            let edges = match riders {
                Some(riders) => Cow::Owned(riders.edges_near(state, *view, edges)),
                None => Cow::Borrowed(edges),
            };
            (*view, edges, photo.sightings.blur_px)
        }));
    }
    let slope = slope_along(
        state,
        &seen_lanes.iter().map(|(view, edges, _)| (*view, edges.as_ref())).collect::<Vec<_>>(),
    );
    let lane = |(view, edges, blur_px): &(usize, Cow<LaneEdges>, f64)| {
        LaneView::new(state, *view, edges, slope, *blur_px)
    };
    let lanes: Vec<LaneView> = seen_lanes.iter().filter_map(lane).collect();
    // A cord on two blocks lies some millimetres above the paper; the exact height is found later.
    let mut height = ground + 2.5;
    let mut reading = CordReading::default();
    if seen.is_empty()
        && let Some(chosen) = choose(&lanes, ground)
    {
        height = chosen.height();
        seen = chosen_points(&lanes, &chosen);
        reading.off_one_line = chosen.off_one_line();
        reading.off_own_lines = chosen.off_own_lines();
        reading.rival = chosen.rival.as_ref().and_then(|rival| {
            let points = chosen_points(&lanes, &rival.chosen);
            let (cords, blocks) = cords_through(state, points, rival.chosen.height())?;
            Some(RivalCord { apart_mm: rival.apart_mm, cords, blocks })
        });
    }
    if let Some((cords, of_cords)) = cords_through(state, seen, height) {
        state.cords.extend(cords);
        blocks.extend(of_cords);
    }
    reading
}

/// Points of the cord by set-up and view.
type CordPoints = BTreeMap<(usize, usize), Vec<SeenPoint>>;

fn chosen_points(lanes: &[LaneView], chosen: &Chosen) -> CordPoints {
    let mut seen = CordPoints::new();
    for point in mid_points(lanes, chosen) {
        let seen_point = SeenPoint {
            at: point.at,
            normal: point.normal,
            sigma: point.sigma_px,
            group: Some(point.group()),
            lone: point.lone,
            used: true,
        };
        seen.entry((point.setup, point.view)).or_default().push(seen_point);
    }
    seen
}

/// The cord of each set-up that runs through these points, and the points as observations. None
/// with too few of them.
fn cords_through(state: &State, seen: CordPoints, height: f64) -> Option<(Vec<Cord>, Vec<Block>)> {
    let above = Vector3::new(0.0, 0.0, height);
    let mut by_setup: BTreeMap<usize, Vec<Vector3<f64>>> = BTreeMap::new();
    for ((setup, view), points) in &seen {
        let lens = state.lens_of(&state.views[*view]);
        let on_plane = |p: &SeenPoint| {
            on_plane(&lens, &state.views[*view], p.at.into(), &Vector3::z(), &above)
        };
        by_setup.entry(*setup).or_default().extend(points.iter().filter_map(on_plane));
    }
    let all: Vec<f64> =
        by_setup.values().flatten().map(|p| p.x).filter(|x| x.abs() < 3000.0).collect();
    if all.len() < 4 {
        return None;
    }
    let (low, high) =
        all.iter().fold((f64::MAX, f64::MIN), |(low, high), x| (low.min(*x), high.max(*x)));
    let (middle, half) = ((low + high) / 2.0, ((high - low) / 2.0).max(50.0));
    let cord = |(setup, points): (usize, Vec<Vector3<f64>>)| {
        let ys: Vec<f64> = points.iter().map(|p| p.y).collect();
        let y = crate::math::robust::median(&ys)?;
        Some(Cord { setup, middle, half, y: [y, 0.0, 0.0], z: [above.z, 0.0, 0.0] })
    };
    let cords: Vec<Cord> = by_setup.into_iter().filter_map(cord).collect();
    let block = |((setup, view), points): ((usize, usize), Vec<SeenPoint>)| {
        let cord = cords.iter().position(|c| c.setup == setup)?;
        Some(Block { view, shown: Shown::Cord(cord), corners: Vec::new(), points, noise: 1.0 })
    };
    let blocks = seen.into_iter().filter_map(block).collect();
    Some((cords, blocks))
}
