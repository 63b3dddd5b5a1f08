//! Where the parts of the bike are drawn: the solved scene's places, and how far each is out of
//! true.
//!
//! A millimetre out of true can't be seen on a drawing of a motorcycle. So what is out of true is
//! drawn larger by a stated factor: across the bike, a part is drawn at `base + factor (true -
//! base)`, where `base` is the place it would have if the wheel stood square, upright and over the
//! cord, the sprockets in one plane, and the frame over the cord. Along the bike and up, and for
//! whatever has no such place (cards, cameras), everything is true to scale.

use crate::bench::figures::{Layout, Mark};
use crate::figure::{Figure, Side};
use crate::report::result::ResultDocument;

/// Half the width of a rim where it was not measured, mm; only for the drawing.
const HALF_WIDTH: f64 = 30.0;
/// The rim is drawn this much larger than the circle its tabs lie on, mm.
const BEYOND_TABS: f64 = 14.0;
/// A sprocket is drawn this much larger than the circle its tabs lie on, mm.
const BEYOND_SPROCKET_TABS: f64 = 14.0;
/// The factors to choose from, and how far the drawing may bulge for them, mm.
const FACTORS: [f64; 7] = [100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0];
const MOST_BULGE: f64 = 64.0;

/// The rear wheel as a plane with a rim.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wheel {
    /// Where the axis meets the wheel's mid-plane.
    pub axle: [f64; 3],
    /// Unit vector, pointing left.
    pub axis: [f64; 3],
    pub radius: f64,
    pub half_width: f64,
}

impl Wheel {
    /// Where the mid-plane stands across the bike at a place along it and above the bench, mm, +
    /// left.
    pub fn across(&self, x: f64, z: f64) -> f64 {
        let [ax, ay, az] = self.axis;
        self.axle[1] - (ax * (x - self.axle[0]) + az * (z - self.axle[2])) / ay
    }

    /// Distance of a point from the mid-plane along the axis, + left.
    pub fn axial(&self, p: [f64; 3]) -> f64 {
        (0..3).map(|i| (p[i] - self.axle[i]) * self.axis[i]).sum()
    }

    /// Distance of a point from the axis.
    fn radial(&self, p: [f64; 3]) -> f64 {
        let axial = self.axial(p);
        (0..3).map(|i| (p[i] - self.axle[i] - axial * self.axis[i]).powi(2)).sum::<f64>().sqrt()
    }
}

/// A sprocket's outside face.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sprocket {
    pub centre: [f64; 3],
    /// Where its face would stand across the bike if all were true.
    pub base: f64,
    pub radius: f64,
    /// Slopes of its face: across over along, and across over up.
    pub along: f64,
    pub up: f64,
}

/// Everything that is drawn of the bike.
pub struct Bike<'a> {
    pub document: &'a ResultDocument,
    pub wheel: Option<Wheel>,
    pub rear_sprocket: Option<Sprocket>,
    pub gearbox_sprocket: Option<Sprocket>,
    /// By what the out-of-true is drawn larger.
    pub factor: f64,
}

impl<'a> Bike<'a> {
    pub fn new(document: &'a ResultDocument) -> Self {
        let layout = &document.layout;
        let wheel = wheel(document);
        let rear_sprocket = wheel.zip(layout.rear_sprocket).map(|(wheel, centre)| Sprocket {
            centre,
            base: wheel.axial(centre),
            radius: tab_radius(layout, 8..=10, centre, wheel.axis),
            along: -wheel.axis[0] / wheel.axis[1],
            up: -wheel.axis[2] / wheel.axis[1],
        });
        let gearbox_sprocket = layout.gearbox_sprocket.map(|centre| {
            let angle = |figure: &Figure| document.figure(figure);
            let slope = |relative: Option<f64>, rear: f64| {
                relative.map_or(0.0, |angle| angle.to_radians().tan()) + rear
            };
            let rear = rear_sprocket.map_or((0.0, 0.0), |rear| (rear.along, rear.up));
            Sprocket {
                centre,
                base: rear_sprocket.map_or(centre[1], |rear| rear.base),
                radius: tab_radius(layout, 5..=7, centre, [0.0, 1.0, 0.0]),
                along: slope(angle(&Figure::ChainYaw).map(|m| m.value), rear.0),
                up: slope(angle(&Figure::ChainLean).map(|m| m.value), rear.1),
            }
        });
        let mut bike = Self { document, wheel, rear_sprocket, gearbox_sprocket, factor: 1.0 };
        let bulge = bike.largest_departure();
        bike.factor =
            FACTORS.into_iter().find(|factor| factor * bulge <= MOST_BULGE).unwrap_or(1.0);
        bike
    }

    /// How far, at most, anything that is drawn larger stands from where it should, mm.
    fn largest_departure(&self) -> f64 {
        let mut departures = Vec::new();
        if let Some(wheel) = self.wheel {
            for (x, z) in [
                (wheel.radius, 0.0),
                (-wheel.radius, 0.0),
                (0.0, wheel.radius),
                (0.0, -wheel.radius),
            ] {
                departures.push(wheel.across(wheel.axle[0] + x, wheel.axle[2] + z));
            }
        }
        if let Some(gearbox) = self.gearbox_sprocket {
            departures.push(gearbox.centre[1] - gearbox.base);
        }
        if let (Some(wheel), Some(gearbox)) = (self.wheel, self.gearbox_sprocket) {
            departures.push(wheel.across(gearbox.centre[0], gearbox.centre[2]));
        }
        for x in [-300.0, 600.0] {
            departures.extend(self.frame_across(x));
        }
        departures.extend(
            self.document
                .measured
                .table
                .measured()
                .filter(|(figure, _)| matches!(figure, Figure::PlumbOffset(_)))
                .map(|(_, m)| m.value),
        );
        departures.into_iter().map(f64::abs).filter(|d| d.is_finite()).fold(0.05, f64::max)
    }

    /// Across the bike as drawn, from the base and the true place.
    pub fn drawn(&self, base: f64, true_place: f64) -> f64 {
        base + self.factor * (true_place - base)
    }

    /// Where the frame's centre plane stands across the bike at a place along it, where the frame
    /// was measured.
    pub fn frame_across(&self, x: f64) -> Option<f64> {
        let offset = self.document.figure(&Figure::FrameOffset)?.value;
        let yaw = self.document.figure(&Figure::FrameYaw).map_or(0.0, |yaw| yaw.value);
        Some(offset + x * yaw.to_radians().tan())
    }

    /// The place across the bike that a card or tab would have if all were true: its own where
    /// there is none.
    pub fn base(&self, mark: &Mark) -> f64 {
        if mark.kind != "tab" {
            return mark.at[1];
        }
        match (mark.number, self.wheel) {
            (1 | 2 | 8..=10 | 31..=38, Some(wheel)) => wheel.axial(mark.at),
            (5..=7, _) => self.gearbox_sprocket.map_or(mark.at[1], |sprocket| sprocket.base),
            (11..=20, _) => {
                self.half_of_pair(mark).map_or(mark.at[1], |half| half * mark.at[1].signum())
            }
            // Flags: a line that hangs true hangs over the cord.
            (21..=30, _) => 0.0,
            _ => mark.at[1],
        }
    }

    /// Half the distance between the two tabs of a pair, odd number left and even number right.
    fn half_of_pair(&self, mark: &Mark) -> Option<f64> {
        let other = if mark.number % 2 == 1 { mark.number + 1 } else { mark.number - 1 };
        let other = self
            .document
            .layout
            .marks
            .iter()
            .find(|m| m.kind == "tab" && m.number == other && m.setup == mark.setup)?;
        Some((mark.at[1] - other.at[1]).abs() / 2.0)
    }

    /// The tabs' place when there are several set-ups: its number and set-up, as a reader of the
    /// drawing finds it.
    pub fn mark_name(mark: &Mark) -> String {
        if mark.setup.is_empty() {
            format!("{} {}", mark.kind, mark.number)
        } else {
            format!("{} {}, {}", mark.kind, mark.number, mark.setup)
        }
    }

    /// +1 where the chain runs on the left, -1 where on the right; from the sprockets where the job
    /// does not say.
    pub fn chain_sign(&self) -> f64 {
        let side = self.document.chain_side();
        side.map(Side::sign)
            .unwrap_or_else(|| self.rear_sprocket.map_or(1.0, |sprocket| sprocket.base.signum()))
    }
}

fn wheel(document: &ResultDocument) -> Option<Wheel> {
    let layout = &document.layout;
    let axle = layout.axle?;
    let axis = match (layout.wheel_axis, document.figure(&Figure::WheelYaw)) {
        (Some(axis), _) => axis,
        (None, Some(yaw)) => {
            let lean =
                document.figure(&Figure::WheelLean).map_or(0.0, |lean| lean.value).to_radians();
            let yaw = yaw.value.to_radians();
            [-yaw.sin() * lean.cos(), yaw.cos() * lean.cos(), -lean.sin()]
        }
        (None, None) => [0.0, 1.0, 0.0],
    };
    // An axis that lies along the bike is none that could be drawn.
    if !axis.iter().chain(&axle).all(|x| x.is_finite()) || axis[1] < 0.5 {
        return None;
    }
    let mut wheel = Wheel { axle, axis, radius: 0.0, half_width: HALF_WIDTH };
    let rim_tabs: Vec<f64> = layout
        .marks
        .iter()
        .filter(|m| m.kind == "tab" && matches!(m.number, 1 | 2))
        .map(|m| wheel.radial(m.at))
        .collect();
    // No tab on the rim: a wheel of a common size, so that the rest has something to stand by.
    const COMMON_RADIUS: f64 = 240.0;
    wheel.radius = mean(&rim_tabs).unwrap_or(COMMON_RADIUS) + BEYOND_TABS;
    let all = document.measured.table.measured();
    let widths: Vec<f64> = all
        .filter(|(figure, _)| matches!(figure, Figure::RimWidth(_)))
        .map(|(_, m)| m.value / 2.0)
        .filter(|w| *w > 0.0)
        .collect();
    wheel.half_width = mean(&widths).unwrap_or(HALF_WIDTH);
    Some(wheel)
}

fn tab_radius(
    layout: &Layout,
    numbers: std::ops::RangeInclusive<u8>,
    centre: [f64; 3],
    axis: [f64; 3],
) -> f64 {
    let around = Wheel { axle: centre, axis, radius: 0.0, half_width: 0.0 };
    let tabs: Vec<f64> = layout
        .marks
        .iter()
        .filter(|m| m.kind == "tab" && numbers.contains(&m.number))
        .map(|m| around.radial(m.at))
        .collect();
    const COMMON_RADIUS: f64 = 50.0;
    mean(&tabs).unwrap_or(COMMON_RADIUS) + BEYOND_SPROCKET_TABS
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty())
        .then(|| values.iter().sum::<f64>() / values.len() as f64)
        .filter(|mean| mean.is_finite())
}
