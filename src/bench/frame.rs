//! The frame's centre plane from plumb lines and stations, the backbone, and the wheel against the
//! frame.

use nalgebra::Vector3;

use crate::figure::Figure;
use crate::figure::part::Letter;
use crate::sightings::StringKind;

use super::evaluate::Evaluation;
use super::figures::Side;
use super::ground::Datum;
use super::nuisance::Nuisance;
use super::settings::Part;

impl Evaluation<'_> {
    /// A line's points nearest to its flags.
    fn feet_of_flags(&self, line: usize) -> Vec<Vector3<f64>> {
        let flags = self.state.flags.iter().filter(|flag| flag.line == line);
        flags.map(|flag| self.state.lines[line].foot(&flag.centre)).collect()
    }

    /// A line's point half-way between its flags, or the point nearest to one flag.
    pub(super) fn line_middle(&self, line: usize) -> Vector3<f64> {
        let feet = self.feet_of_flags(line);
        feet.iter().sum::<Vector3<f64>>() / feet.len().max(1) as f64
    }

    pub(super) fn lines(&mut self) {
        let Some(datum) = self.datum else { return };
        for line in 0..self.state.lines.len() {
            match self.state.lines[line].kind {
                StringKind::Plumb(_) if self.choices.up.contradicted.contains(&line) => {}
                StringKind::Plumb(letter) => {
                    let offset = datum.offset(&self.line_middle(line))
                        + self.shift.of(Nuisance::LineLight(line));
                    self.record(Figure::PlumbOffset(Letter::of(letter)), offset);
                }
                StringKind::Backbone => {
                    let mut feet = self.feet_of_flags(line);
                    feet.sort_by(|a, b| b.dot(&datum.forward).total_cmp(&a.dot(&datum.forward)));
                    if let [front, .., rear] = feet[..] {
                        self.record(Figure::BackboneFront, datum.offset(&front));
                        self.record(Figure::BackboneRear, datum.offset(&rear));
                        let d = datum.components(&(front - rear));
                        self.record(Figure::BackboneYaw, (d.y / d.x).atan().to_degrees());
                    }
                }
                StringKind::Cord => {}
            }
        }
    }

    /// Midpoint and height difference of a station's pair, with the midpoint's place along the
    /// bike.
    pub(super) fn station_pair(&self, station: u8, datum: &Datum) -> Option<(f64, f64, f64)> {
        let mut pair = [None, None];
        for (t, mark) in self.tabs_of(|part| matches!(part, Part::Station(s, _) if *s == station)) {
            let Part::Station(_, side) = mark.part else { continue };
            pair[usize::from(side == Side::Right)] =
                self.first_setup(t).and_then(|setup| self.point(t, setup, mark.thickness));
        }
        let [Some(l), Some(r)] = pair else { return None };
        let middle = (l + r) / 2.0;
        Some((middle.dot(&datum.forward), datum.offset(&middle), (l - r).dot(&self.up)))
    }

    pub(super) fn frame(&mut self) {
        let Some(datum) = self.datum else { return };
        // Places of the frame's centre plane: forward coordinate, offset.
        let mut centre: Vec<(f64, f64)> = Vec::new();
        let contradicted = &self.choices.up.contradicted;
        let believed = |line: &usize| !contradicted.contains(line);
        for line in super::ground::plumb_lines(self.state).into_iter().filter(believed) {
            let p = self.line_middle(line);
            centre.push((
                p.dot(&datum.forward),
                datum.offset(&p) + self.shift.of(Nuisance::LineLight(line)),
            ));
        }
        for station in 0..4 {
            if let Some((x, offset, height)) = self.station_pair(station, &datum) {
                self.record(Figure::StationOffset(Letter::of(station)), offset);
                self.record(Figure::StationHeights(Letter::of(station)), height);
                centre.push((x, offset));
            }
        }
        let axle = self.recorded_value(&Figure::WheelOffset);
        let yaw = self.recorded_value(&Figure::WheelYaw);
        let axle_x = self.hub_forward(&datum);
        let frame = match (centre_line(&centre), axle_x) {
            (Some((middle, offset, slope)), Some(x)) => {
                let at_axle = offset + slope * (x - middle);
                let frame_yaw = slope.atan().to_degrees();
                self.record(Figure::FrameOffset, at_axle);
                self.record(Figure::FrameYaw, frame_yaw);
                (at_axle, frame_yaw)
            }
            // One line alone gives the offset; its yaw is taken as none, and a finding says so.
            _ if !centre.is_empty() => {
                let offset = centre.iter().map(|(_, y)| y).sum::<f64>() / centre.len() as f64;
                self.record(Figure::FrameOffset, offset);
                (offset, self.shift.of(Nuisance::FrameYaw))
            }
            // Without any, the cord is taken for the frame, its direction as surely as above.
            _ => (0.0, self.shift.of(Nuisance::FrameYaw)),
        };
        if let Some(offset) = axle {
            self.record(Figure::WheelInFrameOffset, offset - frame.0);
        }
        if let Some(yaw) = yaw {
            self.record(Figure::WheelInFrameYaw, yaw - frame.1);
        }
    }

    pub(super) fn hub_forward(&self, datum: &Datum) -> Option<f64> {
        let axis = self.wheel_axis();
        let rim = self.tabs_of(|part| matches!(part, Part::Rim { front_wheel: false, .. }));
        self.hub_point(axis.as_ref(), &rim)
            .or_else(|| self.fallback_foot())
            .map(|p| p.dot(&datum.forward))
    }
}

/// Weighted line y = offset + slope (x - middle) through places 200 mm or more apart; None when
/// they are not.
fn centre_line(places: &[(f64, f64)]) -> Option<(f64, f64, f64)> {
    let (low, high) =
        places.iter().fold((f64::MAX, f64::MIN), |(low, high), (x, _)| (low.min(*x), high.max(*x)));
    if places.len() < 2 || high - low < 200.0 {
        return None;
    }
    let n = places.len() as f64;
    let middle = places.iter().map(|(x, _)| x).sum::<f64>() / n;
    let offset = places.iter().map(|(_, y)| y).sum::<f64>() / n;
    let spread: f64 = places.iter().map(|(x, _)| (x - middle).powi(2)).sum();
    let slope = places.iter().map(|(x, y)| (x - middle) * (y - offset)).sum::<f64>() / spread;
    Some((middle, offset, slope))
}
