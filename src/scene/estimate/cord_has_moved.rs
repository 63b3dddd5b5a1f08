//! Whether the cord moved between set-ups.

use nalgebra::DVector;

use crate::scene::adjust::solve::{Problem, covariance};
use crate::scene::model::state::{Cord, State};
use crate::scene::strings::weak_cord::movement_is_determined;

/// Whether some set-up's cord lies farther from the first one's than cords left alone do and than
/// the photos leave open (k = 3 both).
pub fn cord_has_moved(state: &State, problem: &Problem, sigma: f64) -> bool {
    let Some(first) = state.cords.first() else { return false };
    let places = [-0.7, 0.0, 0.7];
    let apart = |cord: &Cord, s: f64| {
        let x = cord.middle + s * cord.half;
        (cord.at(x).y - first.at(x).y).abs()
    };
    let bound = (3.0 * sigma).max(0.35);
    // A few edges that are a shadow's would seem to move it.
    let determined = |cord: usize| movement_is_determined(state, problem.blocks, cord);
    let far: Vec<(usize, f64)> = (1..state.cords.len())
        .filter(|&i| determined(0) && determined(i))
        .flat_map(|i| places.map(|s| (i, s)))
        .filter(|&(i, s)| apart(&state.cords[i], s) > bound)
        .collect();
    if far.is_empty() {
        return false;
    }
    // Where one side alone is photographed, a cord that seems to lie to one side may as well lie
    // higher.
    let Some(covariance) = covariance(state, problem) else { return true };
    far.iter().any(|&(i, s)| {
        let mut gradient = DVector::zeros(problem.slots.n);
        for (k, power) in first.basis(first.middle + s * first.half).into_iter().enumerate() {
            gradient[problem.slots.cords[i] + k] += power;
            gradient[problem.slots.cords[0] + k] -= power;
        }
        apart(&state.cords[i], s) > 3.0 * gradient.dot(&(&covariance * &gradient)).sqrt()
    })
}
