//! Riders on the datum cord: folded strips that show where its axis runs, whatever the light does.
//!
//! Each face of a rider carries a tab. The cord's axis lies one pattern side below the pattern's
//! centre, along the pattern's -y, and half of the folded strip behind the pattern's plane.

use nalgebra::Vector3;

use crate::cards::codes::TAB_SIDE;
use crate::math::robust::median;
use crate::scene::model::input::{Hangs, SceneSettings};
use crate::scene::model::state::{State, Tab};
use crate::sightings::LaneEdges;

use super::lane_light::Ray;

/// The cord's axis as one face of a rider gives it, in the world, mm; `behind_mm` is how far the
/// strip's middle lies behind the pattern.
pub fn axis_below(state: &State, tab: &Tab, behind_mm: f64) -> Vector3<f64> {
    let printed = (state.print[0] + state.print[1]) / 2.0 * (1.0 + tab.scale);
    let side = tab.pitch * TAB_SIDE as f64 * printed;
    tab.carrier_from_tab.apply(&Vector3::new(0.0, -side, -behind_mm))
}

/// Riders that lean by more than this say too little of where the cord is: the cosine of 15
/// degrees.
pub const LEAST_UPRIGHT: f64 = 0.9659;
/// Riders nearer to each other than this give no direction that could choose between edges, mm.
const APART: f64 = 300.0;
/// No edge of the cord lies farther from its axis than this, mm: the thickest cord's radius (5 mm
/// across), and what riders and the start of the scene may be out by.
const REACH: f64 = 2.5 + 1.0;

/// A straight line through the riders, roughly: y and z of the world over x.
#[derive(Clone, Copy, Debug)]
pub struct RidersLine {
    /// Two of its points.
    ends: [Vector3<f64>; 2],
}

/// The line through the two riders that stand farthest apart, over all set-ups. None where there
/// are no two riders far enough apart.
pub fn riders_line(state: &State, settings: &SceneSettings) -> Option<RidersLine> {
    let on_cord = |number: u8| {
        settings.tabs.iter().any(|tab| tab.number == number && tab.hangs == Hangs::Cord)
    };
    let riders = state.tabs.iter().filter(|tab| on_cord(tab.number));
    let upright = riders.filter(|tab| tab.carrier_from_tab.r.column(1).z >= LEAST_UPRIGHT);
    // A tenth of a millimetre of paper is nothing here.
    let places: Vec<Vector3<f64>> = upright.map(|tab| axis_below(state, tab, 0.0)).collect();
    let lowest = places.iter().copied().min_by(|a, b| a.x.total_cmp(&b.x))?;
    let highest = places.iter().copied().max_by(|a, b| a.x.total_cmp(&b.x))?;
    if highest.x - lowest.x < APART {
        return None;
    }
    // Faces and set-ups of one rider stand close together: the middle one of each end speaks for
    // it.
    let near = |end: &Vector3<f64>| {
        let there: Vec<&Vector3<f64>> =
            places.iter().filter(|p| (p.x - end.x).abs() < APART / 3.0).collect();
        let middle = |way: usize| median(&there.iter().map(|p| p[way]).collect::<Vec<f64>>());
        Some(Vector3::new(middle(0)?, middle(1)?, middle(2)?))
    };
    Some(RidersLine { ends: [near(&lowest)?, near(&highest)?] })
}

impl RidersLine {
    /// World y and z of the cord's axis at a place along x.
    pub fn at(&self, x: f64) -> [f64; 2] {
        let [a, b] = self.ends;
        let part = (x - a.x) / (b.x - a.x);
        [a.y + part * (b.y - a.y), a.z + part * (b.z - a.z)]
    }

    /// The edges of a lane that may be the cord's; those of shadows and ticks farther off are left
    /// out.
    pub fn edges_near(&self, state: &State, view: usize, edges: &LaneEdges) -> LaneEdges {
        let mut near = edges.clone();
        near.edges.retain(|edge| {
            let Some(ray) = Ray::through(state, &state.views[view], edge.at) else { return false };
            // Where along the cord the ray passes it: a start from the line's own height, which is
            // nearly level.
            let z = (self.ends[0].z + self.ends[1].z) / 2.0;
            let x = ray.eye.x + (z - ray.eye.z) / ray.direction.z * ray.direction.x;
            let [y, z] = self.at(x);
            ray.off(y, z).abs() <= REACH
        });
        near
    }
}
