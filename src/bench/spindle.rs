//! The spindle's ends: their heights and how far they stand from the cord.

use crate::figure::Figure;

use super::evaluate::Evaluation;
use super::figures::Side;
use super::settings::Part;
use super::turning::Axis;

impl Evaluation<'_> {
    pub(super) fn spindle(&mut self, axis: Option<&Axis>) {
        let Some(datum) = self.datum else { return };
        let mut ends = [None, None];
        for (t, mark) in self.tabs_of(|part| matches!(part, Part::SpindleEnd(_))) {
            let Part::SpindleEnd(side) = mark.part else { continue };
            let Some(p) =
                self.first_setup(t).and_then(|setup| self.point(t, setup, mark.thickness))
            else {
                continue;
            };
            // The axis gives the spindle's line better than a tab set on it by eye.
            let p = axis.map_or(p, |axis| axis.foot(&p));
            ends[usize::from(side == Side::Right)] = Some(p);
        }
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
