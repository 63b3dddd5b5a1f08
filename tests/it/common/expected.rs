//! The figures a faultless measurement of a scene would print, by JSON pointer, worked out from
//! their definitions and from the scene's own geometry: no line of this is shared with the program.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};
use sightcord::figure::Side;

use super::geometry::{V3, angles_from_axis};
use super::scene::{SetUp, Shows, TruthScene};

/// Figures by JSON pointer: millimetres and degrees.
pub type Expected = BTreeMap<String, f64>;

/// Stations and plumb lines this far apart along x show the frame's yaw.
const FRAME_BASE_MM: f64 = 200.0;

impl TruthScene {
    /// Every figure that this scene has a true value for, as long as the tabs that show it are on.
    pub fn expected(&self) -> Expected {
        let mut out = Expected::new();
        let setups: Vec<&SetUp> = self.setups.iter().filter(|s| s.shows == Shows::Bike).collect();
        if setups.is_empty() {
            return out;
        }
        self.rim_figures(&setups, &mut out);
        self.wheel_figures(&setups, &mut out);
        self.chain_figures(&setups, &mut out);
        self.frame_figures(&mut out);
        self.bench_figures(&mut out);
        out
    }

    fn has(&self, tabs: impl IntoIterator<Item = u8>) -> bool {
        tabs.into_iter().all(|number| !self.missing_tabs.contains(&number))
    }

    fn rim_figures(&self, setups: &[&SetUp], out: &mut Expected) {
        for setup in setups {
            let mut width = 0.0;
            for (tab, side) in [(1, Side::Left), (2, Side::Right)] {
                let offset = side.sign() * self.rim_point(setup, side, 0.0).y;
                width += offset;
                if self.has([tab]) {
                    out.insert(format!("/rim/{}/{}/offset", setup.name, side.word()), offset);
                }
            }
            if self.has([1, 2]) {
                out.insert(format!("/rim_width/{}", setup.name), width);
            }
        }
    }

    fn wheel_figures(&self, setups: &[&SetUp], out: &mut Expected) {
        let wheel = &self.bike.wheel;
        let mean_offset =
            setups.iter().map(|s| self.wheel_in(s).centre.y).sum::<f64>() / setups.len() as f64;
        out.insert("/wheel/offset".into(), mean_offset);
        out.insert("/wheel/yaw".into(), wheel.yaw_deg);
        out.insert("/wheel/lean".into(), wheel.lean_deg);
        if setups.len() >= 2 && self.has([1, 2]) {
            // Half the difference of the sides, at the mean place of the two marks, for each
            // set-up.
            let mid = |setup: &SetUp| {
                let (l, r) = (
                    self.rim_point(setup, Side::Left, 0.0),
                    self.rim_point(setup, Side::Right, 0.0),
                );
                V3::new((l.x + r.x) / 2.0, (l.y + r.y) / 2.0, (l.z + r.z) / 2.0)
            };
            let mids: Vec<V3> = setups.iter().map(|setup| mid(setup)).collect();
            // Marks a third of a turn apart have their middle at the axle only all together.
            out.insert(
                "/wheel/offset_at_mark".into(),
                mids.iter().map(|mid| mid.y).sum::<f64>() / mids.len() as f64,
            );
            let by_x = |a: &&V3, b: &&V3| a.x.total_cmp(&b.x);
            let front = mids.iter().max_by(by_x).copied().unwrap_or_default();
            let rear = mids.iter().min_by(by_x).copied().unwrap_or_default();
            // A mark that moved straight up and down says nothing about yaw.
            if front.x - rear.x > 100.0 {
                let rise = (front.z - rear.z) * wheel.lean_deg.to_radians().tan();
                let yaw = ((front.y - rear.y - rise) / (front.x - rear.x)).atan().to_degrees();
                out.insert("/wheel/yaw_from_offsets".into(), yaw);
                if mids.len() == 2 {
                    out.insert("/wheel/toe".into(), front.y - rear.y);
                }
            }
        }
        if wheel.further_places.len() >= 3 {
            out.insert("/runout/lateral".into(), 2.0 * wheel.runout_mm);
        }
        if self.has([11, 12]) {
            let [left, right] =
                wheel.spindle_ends_mm.map(|axial| wheel.centre + wheel.axis() * axial);
            out.insert("/spindle/height_difference".into(), left.z - right.z);
            out.insert("/spindle/left".into(), left.y);
            out.insert("/spindle/right".into(), -right.y);
        }
        if let Some(face) = &self.bike.hub_face {
            out.insert("/hub/rim_from_face".into(), wheel.rim_width_mm / 2.0 - face.face_mm);
        }
        if let Some(front) = &self.bike.front_wheel {
            let (a, at) = (wheel.axis(), front.centre - wheel.centre);
            let rear_plane_y = mean_offset - (a.x * at.x + a.z * at.z) / a.y;
            out.insert("/track/offset".into(), front.centre.y - rear_plane_y);
        }
    }

    fn chain_figures(&self, setups: &[&SetUp], out: &mut Expected) {
        if !self.has(5..=10) {
            return;
        }
        let bike = &self.bike;
        let outward = bike.chain_outward();
        let float = setups.iter().map(|s| s.end_float_mm).sum::<f64>() / setups.len() as f64;
        let rear = bike.rear_sprocket_centre()
            + bike.wheel.axis() * float
            + outward * self.wobble_left(setups);
        let gearbox_outward = bike.gearbox.axis() * bike.chain_side.sign();
        let between = bike.gearbox.centre - rear;
        out.insert("/chain/offset_at_gearbox".into(), between.dot(&outward));
        out.insert("/chain/offset_at_rear".into(), between.dot(&gearbox_outward));
        out.insert("/chain/centres".into(), (between - outward * between.dot(&outward)).norm());
        out.insert("/chain/yaw".into(), bike.gearbox.yaw_deg - bike.wheel.yaw_deg);
        out.insert("/chain/lean".into(), bike.gearbox.lean_deg - bike.wheel.lean_deg);
        out.insert("/chain/gearbox_lean".into(), bike.gearbox.lean_deg);
        out.insert("/chain/rear_lean".into(), bike.wheel.lean_deg);
    }

    /// The rear plane goes through the mean of tabs 8-10 over the set-ups: what a wobble leaves in
    /// that mean, axially.
    fn wobble_left(&self, setups: &[&SetUp]) -> f64 {
        let centre = self.bike.rear_sprocket_centre();
        let outward = self.bike.chain_outward();
        let axial = |setup: &&SetUp| {
            let float = self.bike.wheel.axis() * setup.end_float_mm;
            let faces: Vec<f64> = self
                .marks(setup)
                .iter()
                .filter(|mark| (8..=10).contains(&mark.number))
                .map(|mark| (mark.point() - centre - float).dot(&outward))
                .collect();
            faces.iter().sum::<f64>() / faces.len() as f64
        };
        setups.iter().map(axial).sum::<f64>() / setups.len() as f64
    }

    fn frame_figures(&self, out: &mut Expected) {
        let frame = &self.bike.frame;
        let letter = |index: u8| char::from(b'A' + index);
        // Places of the frame's centre plane in plan: x and y.
        let mut plan: Vec<[f64; 2]> = Vec::new();
        for line in &frame.plumb_lines {
            if self.has([21 + 2 * line.letter, 22 + 2 * line.letter]) {
                out.insert(format!("/plumb/{}/offset", letter(line.letter)), line.y_mm);
                plan.push([line.x_mm, line.y_mm]);
            }
        }
        for station in &frame.stations {
            let middle = (station.left + station.right) / 2.0;
            if self.has([13 + 2 * station.letter, 14 + 2 * station.letter]) {
                let pointer = format!("/stations/{}", letter(station.letter));
                out.insert(format!("{pointer}/offset"), middle.y);
                out.insert(
                    format!("{pointer}/height_difference"),
                    station.left.z - station.right.z,
                );
                plan.push([middle.x, middle.y]);
            }
        }
        if let Some(cord) = frame.backbone.as_ref().filter(|_| self.has([29, 30])) {
            let along = cord.front - cord.rear;
            out.insert("/backbone/front".into(), cord.front.y);
            out.insert("/backbone/rear".into(), cord.rear.y);
            out.insert("/backbone/yaw".into(), along.y.atan2(along.x).to_degrees());
        }
        if let Some([offset, slope]) = straight_in_plan(&plan) {
            let yaw = slope.atan().to_degrees();
            let axle = self.bike.wheel.centre;
            let at_axle = offset + slope * axle.x;
            out.insert("/frame/offset".into(), at_axle);
            out.insert("/frame/yaw".into(), yaw);
            let wheel_offset = out["/wheel/offset"];
            out.insert("/wheel_in_frame/offset".into(), wheel_offset - at_axle);
            out.insert("/wheel_in_frame/yaw".into(), self.bike.wheel.yaw_deg - yaw);
        }
        for face in &self.bike.faces {
            let tabs: Vec<_> =
                self.bike.free_tabs.iter().filter(|tab| face.tabs.contains(&tab.number)).collect();
            if tabs.len() >= 3 && self.has(face.tabs.iter().copied()) {
                let centre = tabs.iter().map(|tab| tab.point).sum::<V3>() / tabs.len() as f64;
                let normal =
                    (tabs[1].point - tabs[0].point).cross(&(tabs[2].point - tabs[0].point));
                let [yaw, lean] = angles_from_axis(normal);
                out.insert(format!("/faces/{}/offset", face.name), centre.y);
                out.insert(format!("/faces/{}/yaw", face.name), yaw);
                out.insert(format!("/faces/{}/lean", face.name), lean);
            }
        }
    }

    /// Level of the cards' common plane: a least-squares plane through each card's middle column
    /// and both ends of it.
    fn bench_figures(&self, out: &mut Expected) {
        let mut points = Vec::new();
        for card in self.cards_in(&self.setups[0]) {
            // Centres of the outermost and the middle cells: six places a card.
            for r in [0.5, 17.5] {
                points.extend([0.5, 13.0, 25.5].map(|c| card.world(r, c)));
            }
        }
        if self.bench.cards.len() < 2 {
            return;
        }
        if let Some([along, across]) = self.bench.level_deg {
            out.insert("/bench/level_along".into(), along);
            out.insert("/bench/level_across".into(), across);
            return;
        }
        let design = DMatrix::from_fn(points.len(), 3, |i, j| [points[i].x, points[i].y, 1.0][j]);
        let heights = DVector::from_fn(points.len(), |i, _| points[i].z);
        let plane = (design.tr_mul(&design))
            .lu()
            .solve(&design.tr_mul(&heights))
            .expect("cards that are not in one line");
        out.insert("/bench/level_along".into(), plane[0].atan().to_degrees());
        out.insert("/bench/level_across".into(), plane[1].atan().to_degrees());
    }
}

/// Intercept and slope of places that lie on one straight line in plan, far enough apart; `None`
/// where the frame disagrees with itself, since then its plane has no true value.
fn straight_in_plan(places: &[[f64; 2]]) -> Option<[f64; 2]> {
    let first = places.iter().min_by(|a, b| a[0].total_cmp(&b[0]))?;
    let last = places.iter().max_by(|a, b| a[0].total_cmp(&b[0]))?;
    let base = last[0] - first[0];
    if base < FRAME_BASE_MM {
        return None;
    }
    let slope = (last[1] - first[1]) / base;
    let offset = first[1] - slope * first[0];
    places.iter().all(|p| (offset + slope * p[0] - p[1]).abs() < 1e-6).then_some([offset, slope])
}
