//! The spindle's ends: their heights and how far they stand from the cord.

use nalgebra::Vector3;

use crate::figure::Figure;

use super::evaluate::Evaluation;
use super::figures::Side;
use super::nuisance::Nuisance;
use super::settings::Part;
use super::turning::Axis;

impl Evaluation<'_> {
    pub(super) fn spindle(&mut self, axis: Option<&Axis>) {
        let Some(datum) = self.datum else { return };
        let mut ends = [Vec::new(), Vec::new()];
        for (t, mark) in self.tabs_of(|part| matches!(part, Part::SpindleEnd(_))) {
            let Part::SpindleEnd(side) = mark.part else { continue };
            let Some(p) =
                self.first_setup(t).and_then(|setup| self.point(t, setup, mark.thickness))
            else {
                continue;
            };
            // The axis gives the spindle's line better than a tab set on it by eye.
            let p = axis.map_or(p, |axis| axis.foot(&p));
            ends[usize::from(side == Side::Right)].push(p);
        }
        // An end that stood elsewhere in another set-up has no one place.
        self.spindle_apart = [&ends[0], &ends[1]].map(|places| half_apart(places));
        let ends = [0_u8, 1].map(|end| {
            let places = &ends[usize::from(end)];
            let mean = places.iter().sum::<Vector3<f64>>() / places.len() as f64;
            let shift =
                Vector3::from_fn(|way, _| self.shift.of(Nuisance::SpindleApart(end, way as u8)));
            (!places.is_empty()).then_some(mean + shift)
        });
        if let [Some(l), Some(r)] = ends {
            self.record(Figure::SpindleHeights, (l - r).dot(&self.up));
        }
        for (end, side) in ends.into_iter().zip([Side::Left, Side::Right]) {
            if let Some(p) = end {
                let figure =
                    if side == Side::Left { Figure::SpindleLeft } else { Figure::SpindleRight };
                self.record(figure, side.sign() * datum.offset(&p));
            }
        }
    }
}

/// By how much places differ along each axis from the middle between those farthest apart.
fn half_apart(places: &[Vector3<f64>]) -> Vector3<f64> {
    let Some(first) = places.first() else { return Vector3::zeros() };
    let low = places.iter().fold(*first, |low, p| low.inf(p));
    let high = places.iter().fold(*first, |high, p| high.sup(p));
    (high - low) / 2.0
}
