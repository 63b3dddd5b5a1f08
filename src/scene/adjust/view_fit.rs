//! How well each photo's corners fit the solved scene.

use std::collections::BTreeMap;

use crate::scene::model::solution::Solution;

impl Solution {
    /// Number of used corners, and rms of their residuals in px, of each view.
    pub fn view_fit(&self) -> BTreeMap<usize, (usize, f64)> {
        let mut sums: BTreeMap<usize, (usize, f64)> = BTreeMap::new();
        for block in &self.blocks {
            for corner in block.corners.iter().filter(|corner| corner.used) {
                if let Some(pixel) =
                    super::residual::foreseen(&self.state, &self.slots, block, corner.cells)
                {
                    let entry = sums.entry(block.view).or_default();
                    entry.0 += 1;
                    entry.1 += (pixel - corner.at).norm_squared();
                }
            }
        }
        // Rms per coordinate, as calibration results are usually reported.
        sums.values_mut().for_each(|(n, sum)| *sum = (*sum / (2.0 * *n as f64)).sqrt());
        sums
    }
}
