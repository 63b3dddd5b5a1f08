//! In which colour the cord differs from its shadow most.
//!
//! A shadow is as dark in every colour as in brightness; a cord is not. Yellow, orange and red ones
//! are nearly as bright as paper in shade, and all but black in blue. Whether a cord was found in a
//! colour shows by what no shadow on bowed paper and no mixture of cord and shadow does: it lies in
//! one straight line over all cards and in all set-ups.

use crate::scene::model::solution::Solution;
use crate::scene::model::state::mean_card_height;
use crate::sightings::LaneEdges;

use super::cord_choice::{LaneView, choose, slope_along};

/// In a colour the cord must lie this many times straighter than in brightness for the colour to be
/// taken: it is seen at half the resolution.
const STRAIGHTER: f64 = 2.0;

impl Solution {
    /// Whether light in the lanes leaves open where the cord runs.
    pub fn cord_is_doubtful(&self) -> bool {
        self.state.cords.is_empty() || !self.cord_findings.is_empty()
    }

    /// Makes the next solution choose its cord again instead of keeping this one's.
    pub fn forget_cord(&mut self) {
        self.regular = false;
    }

    /// Which of these ways of seeing the lanes of all photos shows the cord best. The first is the
    /// one that counts unless another has it clearly straighter.
    pub fn clearest(&self, ways: &[Vec<Lanes>]) -> usize {
        let crookedness: Vec<f64> =
            ways.iter().map(|photos| self.crookedness(photos).unwrap_or(f64::INFINITY)).collect();
        let best = (0..ways.len())
            .min_by(|&a, &b| crookedness[a].total_cmp(&crookedness[b]).then(a.cmp(&b)));
        best.filter(|&best| STRAIGHTER * crookedness[best] < crookedness[0]).unwrap_or(0)
    }

    fn crookedness(&self, photos: &[Lanes]) -> Option<f64> {
        let seen = photos
            .iter()
            .enumerate()
            .filter_map(|(idx, lanes)| Some((self.view_of.get(idx).copied().flatten()?, lanes)));
        let lanes: Vec<(usize, &LaneEdges, f64)> = seen
            .flat_map(|(view, lanes)| {
                lanes.edges.iter().map(move |edges| (view, edges, lanes.blur_px))
            })
            .collect();
        let slope = slope_along(
            &self.state,
            &lanes.iter().map(|(view, edges, _)| (*view, *edges)).collect::<Vec<_>>(),
        );
        let views: Vec<LaneView> = lanes
            .iter()
            .filter_map(|(view, edges, blur)| {
                LaneView::new(&self.state, *view, edges, slope, *blur)
            })
            .collect();
        choose(&views, mean_card_height(&self.state))?.off_one_line()
    }
}

/// The lanes of one photo's cards.
#[derive(Clone, Debug, Default)]
pub struct Lanes {
    pub edges: Vec<LaneEdges>,
    pub blur_px: f64,
}
