//! Every figure as a plain function of the scene: told once at the solution and again beside it for uncertainties.

use nalgebra::{Vector2, Vector3};

use crate::scene::State;
use crate::scene::state::{Carrier, Face};
use crate::sightings::StringKind;

use super::datum::DatumChoice;
use super::figures::{Side, Station};
use super::ground::{CardPlane, Datum, UpWeights, card_plane};
use super::nuisance::{Nuisance, Shift};
use super::seating::Unsteady;
use super::settings::{BenchSettings, FRONT_WHEEL, GEARBOX, GEARBOX_FACE, Marked, Part, REAR_FACE, WHEEL};
use super::turning::{Axis, turning_axis};

/// What was decided once, at the solution, and must not change while figures are told beside it.
#[derive(Clone, Debug)]
pub struct Choices {
    pub up: UpWeights,
    /// What tells the datum; None where nothing does, or where what tells it contradicts itself.
    pub datum: Option<DatumChoice>,
    /// Cards that make the common plane.
    pub cards: Vec<usize>,
    /// Roughly to the bike's left, in the world; None when no rim tab tells sides.
    pub left: Option<Vector3<f64>>,
    /// Whether the wheel's tabs tell its axis (three or more, not in one line, in two set-ups).
    pub wheel_axis: bool,
    /// By how much three set-ups or more contradict each other about it.
    pub unsteady: Option<Unsteady>,
    pub front_axis: bool,
    pub gearbox_axis: bool,
    pub chain_side: Option<Side>,
    pub hub_side: Option<Side>,
    /// Degrees of the run-out curve: 0 none, 1 once round.
    pub run_out: bool,
    /// Tabs that do not lie flat on their face.
    pub loose: std::collections::BTreeSet<u8>,
}

/// Figures by JSON pointer, in a fixed order.
pub type Told = Vec<(String, f64)>;

/// The places that drawings need, in the bench frame.
#[derive(Clone, Copy, Debug, Default)]
pub struct Places {
    pub wheel_axis: Option<Vector3<f64>>,
    pub axle: Option<Vector3<f64>>,
    pub rear_sprocket: Option<Vector3<f64>>,
    pub gearbox_sprocket: Option<Vector3<f64>>,
}

/// One telling of the figures.
pub struct Evaluation<'a> {
    pub settings: &'a BenchSettings,
    pub choices: &'a Choices,
    pub state: &'a State,
    pub shift: Shift,
    pub told: Told,
    pub plane: Option<CardPlane>,
    pub up: Vector3<f64>,
    /// The datum plane.
    pub datum: Option<Datum>,
    pub places: Places,
    /// Station of each rim figure and its place along the cord from the axle (mm, + forward), by its id.
    pub stations: Vec<(String, Station, f64)>,
    /// Riders on the cord: id, place along the cord from the axle (mm, + forward), number of faces that tell it.
    pub riders: Vec<(String, f64, u8)>,
}

/// A face as a plane in the world: unit normal pointing outboard of its pattern, and a point on the metal.
#[derive(Clone, Copy)]
struct Plane {
    normal: Vector3<f64>,
    point: Vector3<f64>,
}

impl<'a> Evaluation<'a> {
    pub fn new(settings: &'a BenchSettings, choices: &'a Choices, state: &'a State, shift: Shift) -> Self {
        let plane = card_plane(state, &choices.cards);
        let forward = choices.left.map_or(Vector2::x(), |left| if left.y >= 0.0 { Vector2::x() } else { -Vector2::x() });
        let up = choices.up.up(state, plane.as_ref(), &forward, settings, &shift);
        let left = choices.left.unwrap_or(Vector3::y());
        let datum = choices.datum.as_ref().and_then(|datum| datum.plane(state, &up, &left, &shift));
        Self {
            settings,
            choices,
            state,
            shift,
            told: Vec::new(),
            plane,
            up,
            datum,
            places: Places::default(),
            stations: Vec::new(),
            riders: Vec::new(),
        }
    }

    fn tell(&mut self, pointer: impl Into<String>, value: f64) {
        self.told.push((pointer.into(), value));
    }

    /// Tells all figures.
    pub fn run(mut self) -> Self {
        self.bench_figures();
        if self.choices.left.is_some() {
            self.sided_figures();
        }
        self
    }

    // ---- places -----------------------------------------------------------------------------------------------------

    /// The tab's measured point, in the world in a set-up: the pattern's centre put back onto the face.
    fn point(&self, tab_idx: usize, setup: usize, thickness: f64) -> Option<Vector3<f64>> {
        let pose = self.state.world_from_tab(&self.state.tabs[tab_idx], setup)?;
        let depth = thickness + self.shift.of(Nuisance::Paper(tab_idx)) + self.shift.of(Nuisance::Flat(tab_idx));
        let (sx, sy) = (self.shift.of(Nuisance::Sideways(tab_idx, 0)), self.shift.of(Nuisance::Sideways(tab_idx, 1)));
        Some(pose.apply(&Vector3::new(sx, sy, -depth)))
    }

    /// Tabs with a meaning: index, mark.
    fn tabs_of(&self, wanted: impl Fn(&Part) -> bool) -> Vec<(usize, Marked)> {
        let mut found = Vec::new();
        for mark in self.settings.marks.iter().filter(|mark| wanted(&mark.part)) {
            for (idx, tab) in self.state.tabs.iter().enumerate().filter(|(_, tab)| tab.number == mark.number) {
                debug_assert_eq!(tab.number, mark.number);
                found.push((idx, *mark));
            }
        }
        found
    }

    /// Set-ups in which a tab has a place, in order.
    fn setups_of(&self, tab_idx: usize) -> Vec<usize> {
        let tab = &self.state.tabs[tab_idx];
        (0..self.settings.setups.len())
            .filter(|&s| !self.settings.lens_only[s] && tab.only_setup.is_none_or(|only| only == s))
            .filter(|&s| match tab.carrier {
                Carrier::Still => true,
                Carrier::Turning(kind) => self.state.body(kind, s).is_some(),
            })
            .collect()
    }

    fn first_setup(&self, tab_idx: usize) -> Option<usize> {
        self.setups_of(tab_idx).first().copied()
    }

    pub fn wheel_axis(&self) -> Option<Axis> {
        let left = self.choices.left?;
        let axis = self.choices.wheel_axis.then(|| turning_axis(self.state, WHEEL, &left)).flatten()?;
        let shift = |nuisance: fn(u8) -> Nuisance| [0, 1].map(|way| self.shift.of(nuisance(way)));
        Some(axis.moved(shift(Nuisance::AxisTilt), shift(Nuisance::AxisPlace)))
    }

    /// Height above the cards' plane at the axle's foot.
    fn height(&self, p: &Vector3<f64>, foot: &Vector3<f64>) -> f64 {
        let Some(plane) = self.plane else { return (p - foot).dot(&self.up) };
        // The plane's height straight below or above `foot`.
        let ground = foot + self.up * ((plane.point - foot).dot(&plane.normal) / self.up.dot(&plane.normal));
        (p - ground).dot(&self.up)
    }

    /// A face tied by the scene, as a plane in the world in a set-up, with paper and glue of its own tabs allowed for.
    fn face_plane(&self, name: &str, setup: usize) -> Option<Plane> {
        let face: &Face = self.state.faces.iter().find(|face| face.name == name)?;
        let first = *face.tabs.first()?;
        let world_from_carrier = match self.state.tabs[first].carrier {
            Carrier::Still => crate::math::Rigid::identity(),
            Carrier::Turning(kind) => self.state.bodies[self.state.body(kind, setup)?].world_from_body,
        };
        let mean =
            face.tabs.iter().map(|&t| self.state.tabs[t].carrier_from_tab.t).sum::<Vector3<f64>>() / face.tabs.len() as f64;
        let on_plane = mean - face.normal * (face.normal.dot(&mean) - face.offset);
        let depths: Vec<(Vector3<f64>, f64)> = face
            .tabs
            .iter()
            .map(|&t| {
                let number = self.state.tabs[t].number;
                let thickness = self.settings.marks.iter().find(|m| m.number == number).map_or(0.1, |m| m.thickness);
                (self.state.tabs[t].carrier_from_tab.t - mean, thickness + self.shift.of(Nuisance::Paper(t)))
            })
            .collect();
        let (depth, tilt) = plane_through(&depths, &face.normal);
        let normal = (face.normal + tilt).normalize();
        let point = on_plane - face.normal * depth;
        Some(Plane { normal: world_from_carrier.r * normal, point: world_from_carrier.apply(&point) })
    }

    // ---- figures that need no sides -----------------------------------------------------------------------------------

    fn bench_figures(&mut self) {
        let Some(plane) = self.plane else { return };
        let level_is_known = !self.choices.up.lines.is_empty() || self.settings.level_was_read;
        if let Some(left) = self.choices.left.filter(|_| level_is_known) {
            // Without a cord the row of cards serves as forward.
            let datum = self.datum.unwrap_or_else(|| Datum::along(&Vector3::x(), plane.point, &self.up, &left));
            let n = datum.components(&plane.normal);
            // The bench lies as the cards do, less the cards' own tilt on it.
            self.tell("/bench/level_along", (-n.x / n.z).atan().to_degrees() - self.shift.of(Nuisance::CardTilt(0)));
            self.tell("/bench/level_across", (-n.y / n.z).atan().to_degrees() - self.shift.of(Nuisance::CardTilt(1)));
        }
        self.tell("/bench/flatness", plane.flatness);
        let cords = &self.state.cords;
        let bulge = cords.iter().map(|cord| cord.y[2].abs()).fold(f64::NAN, f64::max);
        if bulge.is_finite() {
            self.tell("/bench/cord_straightness", bulge);
        }
        if let [first, rest @ ..] = &cords[..]
            && !rest.is_empty()
        {
            let moved = |x: f64| rest.iter().map(|c| (c.at(x).y - first.at(x).y).abs()).fold(0.0, f64::max);
            let most = [-0.7, 0.0, 0.7].map(|s| moved(first.middle + s * first.half)).into_iter().fold(0.0, f64::max);
            self.tell("/bench/cord_moved", most);
        }
    }

    // ---- figures with sides -------------------------------------------------------------------------------------------

    fn sided_figures(&mut self) {
        let axis = self.wheel_axis();
        let rear_rim = self.tabs_of(|part| matches!(part, Part::Rim { front_wheel: false, .. }));
        let hub = self.hub_point(axis.as_ref(), &rear_rim);
        let foot = hub.or_else(|| self.fallback_foot()).unwrap_or(Vector3::zeros());
        self.rims(&rear_rim, &foot, hub.as_ref(), "rear");
        let front_rim = self.tabs_of(|part| matches!(part, Part::Rim { front_wheel: true, .. }));
        self.rims(&front_rim, &foot, None, "front");
        self.wheel(axis.as_ref(), hub.as_ref());
        self.run_out(axis.as_ref(), &rear_rim);
        self.hub_face(axis.as_ref(), &rear_rim);
        self.chain(axis.as_ref(), &foot);
        self.spindle(axis.as_ref());
        self.lines();
        self.frame();
        self.faces();
        self.track(axis.as_ref(), hub.as_ref(), &front_rim);
        self.riders(&foot);
        if let (Some(datum), Some(hub)) = (self.datum, hub) {
            let origin = self.origin(&datum, &foot);
            let to_bench = |p: Vector3<f64>| datum.rotation() * (p - origin);
            self.places.axle = Some(to_bench(hub));
            self.places.wheel_axis = axis.map(|a| datum.rotation() * a.direction);
            self.places.rear_sprocket = self.places.rear_sprocket.map(to_bench);
            self.places.gearbox_sprocket = self.places.gearbox_sprocket.map(to_bench);
        }
    }

    /// Where each rider has the cord, from the datum plane.
    fn riders(&mut self, foot: &Vector3<f64>) {
        let (Some(datum), Some(choice)) = (self.datum, &self.choices.datum) else { return };
        let origin = self.origin(&datum, foot);
        for (rider, place) in choice.rider_places(self.state, &self.shift) {
            let faces = choice.faces_of(rider.rider);
            let id = faces.iter().map(u8::to_string).collect::<Vec<String>>().join("-");
            self.told.push((format!("/bench/riders/{id}/offset"), datum.offset(&place)));
            self.riders.push((id, (place - origin).dot(&datum.forward), faces.len() as u8));
        }
    }

    /// Where the axle's foot meets the cord, on the cards' plane.
    pub fn origin(&self, datum: &Datum, foot: &Vector3<f64>) -> Vector3<f64> {
        let on_plane = foot - self.up * self.height(foot, foot);
        on_plane - datum.left * datum.offset(&on_plane)
    }

    fn fallback_foot(&self) -> Option<Vector3<f64>> {
        let tabs = self.tabs_of(|part| matches!(part, Part::RearSprocket | Part::SpindleEnd(_)));
        let points: Vec<_> = tabs.iter().filter_map(|(t, m)| self.point(*t, self.first_setup(*t)?, m.thickness)).collect();
        (!points.is_empty()).then(|| points.iter().sum::<Vector3<f64>>() / points.len() as f64)
    }

    /// Axial coordinate of a rim face at its tabs, told against the axis: (angle round the axis, axial coordinate) of each tab.
    fn rim_around(&self, axis: &Axis, tabs: &[(usize, Marked)], wanted: Side) -> Vec<(u8, f64, f64)> {
        let mut found = Vec::new();
        let e1 = crate::math::rigid::any_normal(&axis.direction);
        let e2 = axis.direction.cross(&e1);
        for (t, mark) in tabs {
            let Part::Rim { side, place, .. } = mark.part else { continue };
            let Some(setup) = self.first_setup(*t).filter(|_| side == wanted) else { continue };
            let Some(p) = self.point(*t, setup, mark.thickness) else { continue };
            let Some(axial) = self.axial(axis, *t, mark) else { continue };
            // In the wheel's own frame: the angle is that of the first set-up.
            let Carrier::Turning(kind) = self.state.tabs[*t].carrier else { continue };
            let Some(body) = self.state.body(kind, setup) else { continue };
            let q = self.state.bodies[body].world_from_body.inverse().apply(&p);
            let d = q - axis.point;
            found.push((place, d.dot(&e2).atan2(d.dot(&e1)), axial));
        }
        found
    }

    /// Where a tab's face lies along the axis, from the axis' point: the mean over set-ups, between which end float may have moved it.
    fn axial(&self, axis: &Axis, tab_idx: usize, mark: &Marked) -> Option<f64> {
        let setups = self.setups_of(tab_idx);
        let points = setups.iter().filter_map(|&setup| self.point(tab_idx, setup, mark.thickness));
        let axials: Vec<f64> = points.map(|p| (p - axis.point).dot(&axis.direction)).collect();
        (!axials.is_empty()).then(|| axials.iter().sum::<f64>() / axials.len() as f64)
    }

    /// Mean axial coordinates of the left and right rim face at the marked place and free of run-out: ((left, right), run-out curve).
    fn rim_faces(&self, axis: &Axis, tabs: &[(usize, Marked)]) -> Option<RimFaces> {
        let left = self.rim_around(axis, tabs, Side::Left);
        let right = self.rim_around(axis, tabs, Side::Right);
        let at_mark = |list: &[(u8, f64, f64)]| list.iter().find(|(place, ..)| *place == 0).map(|(_, _, axial)| *axial);
        let (mark_left, mark_right) = (at_mark(&left), at_mark(&right));
        let width = mark_left? - mark_right?;
        let curve = if self.choices.run_out { once_round(&left) } else { None };
        let mean_left = match curve {
            Some((mean, _)) => mean,
            None => mark_left? + self.shift.of(Nuisance::RunOut),
        };
        Some(RimFaces { mean_left, width, amplitude: curve.map(|(_, amplitude)| amplitude) })
    }

    fn hub_point(&self, axis: Option<&Axis>, rim: &[(usize, Marked)]) -> Option<Vector3<f64>> {
        let axis = axis?;
        let faces = self.rim_faces(axis, rim)?;
        let middle = faces.mean_left - faces.width / 2.0;
        Some(axis.point + axis.direction * middle)
    }

    fn rims(&mut self, tabs: &[(usize, Marked)], foot: &Vector3<f64>, hub: Option<&Vector3<f64>>, wheel: &str) {
        for setup in 0..self.settings.setups.len() {
            let Some(datum) = self.datum.filter(|_| !self.settings.lens_only[setup]) else { continue };
            let mut width = 0.0;
            let mut sides = 0;
            for (t, mark) in tabs {
                let Part::Rim { side, place, .. } = mark.part else { continue };
                if !self.setups_of(*t).contains(&setup) {
                    continue;
                }
                let Some(p) = self.point(*t, setup, mark.thickness) else { continue };
                let offset = side.sign() * datum.offset(&p);
                let id = rim_id(&self.settings.setups[setup], side, place, wheel);
                self.tell(format!("/rim/{id}/offset"), offset);
                self.tell(format!("/rim/{id}/height"), self.height(&p, foot));
                let from = hub.copied().unwrap_or(*foot);
                let d = datum.components(&(p - from));
                if wheel == "rear" {
                    self.stations.push((id, station(d.x, d.z), d.x));
                }
                if place == 0 {
                    width += offset;
                    sides += 1;
                }
            }
            if sides == 2 && wheel == "rear" {
                let name = self.settings.setups[setup].clone();
                self.tell(format!("/rim_width/{name}"), width);
            }
        }
    }

    /// Marked place in each set-up: bench components of the mean of both sides' points, and half the difference of the offsets.
    fn marks(&self, front_wheel: bool) -> Vec<(usize, Vector3<f64>, f64)> {
        let tabs = self.tabs_of(|p| matches!(p, Part::Rim { front_wheel: f, place: 0, .. } if *f == front_wheel));
        let mut found = Vec::new();
        for setup in 0..self.settings.setups.len() {
            let Some(datum) = self.datum.filter(|_| !self.settings.lens_only[setup]) else { continue };
            let mut points = [None, None];
            for (t, mark) in &tabs {
                let Part::Rim { side, .. } = mark.part else { continue };
                if self.setups_of(*t).contains(&setup) {
                    points[usize::from(side == Side::Right)] = self.point(*t, setup, mark.thickness);
                }
            }
            if let [Some(l), Some(r)] = points {
                let y = (datum.offset(&l) + datum.offset(&r)) / 2.0;
                found.push((setup, datum.components(&((l + r) / 2.0)), y));
            }
        }
        found
    }

    fn wheel(&mut self, axis: Option<&Axis>, hub: Option<&Vector3<f64>>) {
        let Some(datum) = self.datum else { return };
        let marks = self.marks(false);
        let front_and_rear = opposite(&marks);
        if let Some((front, rear)) = front_and_rear {
            self.tell("/wheel/offset_at_mark", (marks[front].2 + marks[rear].2) / 2.0);
        }
        let mut lean = 0.0;
        if let Some(axis) = axis {
            let a = datum.components(&axis.direction);
            self.tell("/wheel/yaw", (-a.x).atan2(a.y).to_degrees());
            lean = (-a.z).asin();
            self.tell("/wheel/lean", lean.to_degrees());
        }
        if let Some((front, rear)) = front_and_rear {
            let ((_, pf, yf), (_, pr, yr)) = (&marks[front], &marks[rear]);
            let (dx, dz) = (pf.x - pr.x, pf.z - pr.z);
            if dx.abs() > 50.0 {
                // A wheel that leans to the left stands further left at its higher mark.
                let yaw = ((yf - yr - dz * lean.tan()) / dx).atan().to_degrees();
                self.tell("/wheel/yaw_from_offsets", yaw);
                if axis.is_none() {
                    self.tell("/wheel/yaw", yaw);
                }
            }
        }
        match (hub, front_and_rear) {
            (Some(hub), _) => {
                let offset = datum.offset(hub);
                self.tell("/wheel/offset", offset);
            }
            (None, Some((front, rear))) => {
                let offset = (marks[front].2 + marks[rear].2) / 2.0 + self.shift.of(Nuisance::RunOut);
                self.tell("/wheel/offset", offset);
            }
            _ => {}
        }
    }

    fn run_out(&mut self, axis: Option<&Axis>, rim: &[(usize, Marked)]) {
        if let Some(faces) = axis.and_then(|axis| self.rim_faces(axis, rim))
            && let Some(amplitude) = faces.amplitude
        {
            self.tell("/runout/lateral", 2.0 * amplitude);
        }
    }

    fn hub_face(&mut self, axis: Option<&Axis>, rim: &[(usize, Marked)]) {
        let (Some(axis), Some(side)) = (axis, self.choices.hub_side) else { return };
        let Some(faces) = self.rim_faces(axis, rim) else { return };
        let tabs = self.tabs_of(|part| matches!(part, Part::HubFace));
        let faces_of_hub: Vec<f64> = tabs.iter().filter_map(|(t, mark)| self.axial(axis, *t, mark)).collect();
        if faces_of_hub.is_empty() {
            return;
        }
        let face = faces_of_hub.iter().sum::<f64>() / faces_of_hub.len() as f64;
        let rim_face = match side {
            Side::Left => faces.mean_left,
            Side::Right => faces.mean_left - faces.width,
        };
        self.tell("/hub/rim_from_face", side.sign() * (rim_face - face));
    }

    /// The rear sprocket's outside face as a plane in the world.
    fn rear_plane(&self, axis: Option<&Axis>) -> Option<Plane> {
        let mut tabs = self.tabs_of(|part| matches!(part, Part::RearSprocket));
        // A tab that came off its face tells nothing of it, unless it is the only one.
        if tabs.iter().any(|(_, mark)| !self.choices.loose.contains(&mark.number)) {
            tabs.retain(|(_, mark)| !self.choices.loose.contains(&mark.number));
        }
        let left = self.choices.left?;
        if let Some(axis) = axis {
            let mut sum = 0.0;
            let mut n = 0;
            for (t, mark) in &tabs {
                for setup in self.setups_of(*t) {
                    sum += (self.point(*t, setup, mark.thickness)? - axis.point).dot(&axis.direction);
                    n += 1;
                }
            }
            return (n > 0).then(|| Plane { normal: axis.direction, point: axis.point + axis.direction * (sum / n as f64) });
        }
        let setup = tabs.first().and_then(|(t, _)| self.first_setup(*t))?;
        let plane = self.face_plane(REAR_FACE, setup)?;
        let normal = if plane.normal.dot(&left) < 0.0 { -plane.normal } else { plane.normal };
        let e1 = crate::math::rigid::any_normal(&normal);
        let e2 = normal.cross(&e1);
        let tilt = e1 * self.shift.of(Nuisance::Wobble(0)).to_radians() + e2 * self.shift.of(Nuisance::Wobble(1)).to_radians();
        Some(Plane { normal: (normal + tilt).normalize(), point: plane.point })
    }

    /// Places of the gearbox sprocket's tabs that its face rests on, in the first set-up that shows one.
    pub fn gearbox_tabs(&self) -> Vec<Vector3<f64>> {
        let face = self.state.faces.iter().find(|face| face.name == GEARBOX_FACE);
        let mut tabs = self.tabs_of(|part| matches!(part, Part::GearboxSprocket));
        tabs.retain(|(t, _)| face.is_some_and(|face| face.tabs.contains(t)));
        let Some(setup) = tabs.first().and_then(|(t, _)| self.first_setup(*t)) else { return Vec::new() };
        tabs.iter().filter_map(|(t, mark)| self.point(*t, setup, mark.thickness)).collect()
    }

    /// The gearbox sprocket's plane and its centre on the face.
    fn gearbox(&self) -> Option<Plane> {
        let left = self.choices.left?;
        let tabs = self.tabs_of(|part| matches!(part, Part::GearboxSprocket));
        let setup = tabs.first().and_then(|(t, _)| self.first_setup(*t))?;
        let face = self.face_plane(GEARBOX_FACE, setup)?;
        let face_normal = if face.normal.dot(&left) < 0.0 { -face.normal } else { face.normal };
        if self.choices.gearbox_axis
            && let Some(axis) = turning_axis(self.state, GEARBOX, &left)
        {
            // On the axis, level with the face; the axis is free of the sprocket's own wobble.
            let centre =
                axis.point + axis.direction * ((face.point - axis.point).dot(&face_normal) / axis.direction.dot(&face_normal));
            return Some(Plane { normal: axis.direction, point: centre });
        }
        let e1 = crate::math::rigid::any_normal(&face_normal);
        let e2 = face_normal.cross(&e1);
        let off = e1 * self.shift.of(Nuisance::GearboxCentre(0)) + e2 * self.shift.of(Nuisance::GearboxCentre(1));
        let [tilt1, tilt2] = [0, 1].map(|way| self.shift.of(Nuisance::GearboxTilt(way)).to_radians());
        Some(Plane { normal: (face_normal + e1 * tilt1 + e2 * tilt2).normalize(), point: face.point + off })
    }

    fn chain(&mut self, axis: Option<&Axis>, foot: &Vector3<f64>) {
        let (Some(datum), Some(side)) = (self.datum, self.choices.chain_side) else { return };
        let rear = self.rear_plane(axis);
        let gearbox = self.gearbox();
        let angles = |normal: &Vector3<f64>| {
            let n = datum.components(normal);
            ((-n.x).atan2(n.y).to_degrees(), (-n.z).asin().to_degrees())
        };
        if let Some(rear) = rear {
            self.tell("/chain/rear_lean", angles(&rear.normal).1);
            let on_axis = axis.map_or(rear.point, |a| a.point + a.direction * (rear.point - a.point).dot(&a.direction));
            self.places.rear_sprocket = Some(on_axis);
        }
        if let Some(gearbox) = gearbox {
            self.tell("/chain/gearbox_lean", angles(&gearbox.normal).1);
            self.places.gearbox_sprocket = Some(gearbox.point);
        }
        let (Some(rear), Some(gearbox), Some(rear_centre)) = (rear, gearbox, self.places.rear_sprocket) else { return };
        // Tooth centres lie inboard of the outside faces.
        let [inboard_rear, inboard_gearbox] = self.settings.tooth_centres.unwrap_or([0.0, 0.0]);
        let outboard = side.sign();
        let gearbox_tooth = gearbox.point - gearbox.normal * (outboard * inboard_gearbox);
        let rear_tooth = rear_centre - rear.normal * (outboard * inboard_rear);
        self.tell("/chain/offset_at_gearbox", outboard * rear.normal.dot(&(gearbox_tooth - rear_tooth)));
        // The gearbox plane seen from the rear sprocket's centre, along the rear axis.
        let beyond = gearbox.normal.dot(&(gearbox_tooth - rear_tooth)) / gearbox.normal.dot(&rear.normal);
        self.tell("/chain/offset_at_rear", outboard * beyond);
        let (rear_yaw, rear_lean) = angles(&rear.normal);
        let (gearbox_yaw, gearbox_lean) = angles(&gearbox.normal);
        self.tell("/chain/yaw", gearbox_yaw - rear_yaw);
        self.tell("/chain/lean", gearbox_lean - rear_lean);
        self.tell("/chain/centres", (gearbox.point - rear_centre).norm());
        let _ = foot;
    }

    fn spindle(&mut self, axis: Option<&Axis>) {
        let Some(datum) = self.datum else { return };
        let mut ends = [None, None];
        for (t, mark) in self.tabs_of(|part| matches!(part, Part::SpindleEnd(_))) {
            let Part::SpindleEnd(side) = mark.part else { continue };
            let Some(p) = self.first_setup(t).and_then(|setup| self.point(t, setup, mark.thickness)) else { continue };
            // The axis tells the spindle's line better than a tab set on it by eye.
            let p = axis.map_or(p, |axis| axis.foot(&p));
            ends[usize::from(side == Side::Right)] = Some(p);
        }
        if let [Some(l), Some(r)] = ends {
            self.tell("/spindle/height_difference", (l - r).dot(&self.up));
        }
        for (end, side) in ends.into_iter().zip([Side::Left, Side::Right]) {
            if let Some(p) = end {
                self.tell(format!("/spindle/{}", side.word()), side.sign() * datum.offset(&p));
            }
        }
    }

    /// A line's point half-way between its flags, or the point nearest to one flag.
    fn line_middle(&self, line: usize) -> Vector3<f64> {
        let feet: Vec<_> =
            self.state.flags.iter().filter(|f| f.line == line).map(|f| self.state.lines[line].foot(&f.centre)).collect();
        feet.iter().sum::<Vector3<f64>>() / feet.len().max(1) as f64
    }

    fn lines(&mut self) {
        let Some(datum) = self.datum else { return };
        for line in 0..self.state.lines.len() {
            match self.state.lines[line].kind {
                StringKind::Plumb(letter) => {
                    let offset = datum.offset(&self.line_middle(line)) + self.shift.of(Nuisance::LineLight(line));
                    self.tell(format!("/plumb/{}/offset", line_letter(letter)), offset);
                }
                StringKind::Backbone => {
                    let mut feet: Vec<Vector3<f64>> = self
                        .state
                        .flags
                        .iter()
                        .filter(|f| f.line == line)
                        .map(|f| self.state.lines[line].foot(&f.centre))
                        .collect();
                    feet.sort_by(|a, b| b.dot(&datum.forward).total_cmp(&a.dot(&datum.forward)));
                    if let [front, .., rear] = feet[..] {
                        self.tell("/backbone/front", datum.offset(&front));
                        self.tell("/backbone/rear", datum.offset(&rear));
                        let d = datum.components(&(front - rear));
                        self.tell("/backbone/yaw", (d.y / d.x).atan().to_degrees());
                    }
                }
                StringKind::Cord => {}
            }
        }
    }

    /// Midpoint and height difference of a station's pair, with the midpoint's place along the bike.
    fn station_pair(&self, station: u8, datum: &Datum) -> Option<(f64, f64, f64)> {
        let mut pair = [None, None];
        for (t, mark) in self.tabs_of(|part| matches!(part, Part::Station(s, _) if *s == station)) {
            let Part::Station(_, side) = mark.part else { continue };
            pair[usize::from(side == Side::Right)] = self.first_setup(t).and_then(|setup| self.point(t, setup, mark.thickness));
        }
        let [Some(l), Some(r)] = pair else { return None };
        let middle = (l + r) / 2.0;
        Some((middle.dot(&datum.forward), datum.offset(&middle), (l - r).dot(&self.up)))
    }

    fn frame(&mut self) {
        let Some(datum) = self.datum else { return };
        // Places of the frame's centre plane: forward coordinate, offset.
        let mut centre: Vec<(f64, f64)> = Vec::new();
        for line in super::ground::plumb_lines(self.state) {
            let p = self.line_middle(line);
            centre.push((p.dot(&datum.forward), datum.offset(&p) + self.shift.of(Nuisance::LineLight(line))));
        }
        for station in 0..4 {
            if let Some((x, offset, height)) = self.station_pair(station, &datum) {
                self.tell(format!("/stations/{}/offset", line_letter(station)), offset);
                self.tell(format!("/stations/{}/height_difference", line_letter(station)), height);
                centre.push((x, offset));
            }
        }
        let axle = self.told.iter().find(|(field, _)| field == "/wheel/offset").map(|(_, value)| *value);
        let yaw = self.told.iter().find(|(field, _)| field == "/wheel/yaw").map(|(_, value)| *value);
        let axle_x = self.hub_forward(&datum);
        let frame = match (centre_line(&centre), axle_x) {
            (Some((middle, offset, slope)), Some(x)) => {
                let at_axle = offset + slope * (x - middle);
                let frame_yaw = slope.atan().to_degrees();
                self.tell("/frame/offset", at_axle);
                self.tell("/frame/yaw", frame_yaw);
                (at_axle, frame_yaw)
            }
            // One line alone tells the offset; its yaw is taken as none, and a finding says so.
            _ if !centre.is_empty() => {
                let offset = centre.iter().map(|(_, y)| y).sum::<f64>() / centre.len() as f64;
                self.tell("/frame/offset", offset);
                (offset, 0.0)
            }
            // Without any, the cord stands for the frame.
            _ => (0.0, 0.0),
        };
        if let Some(offset) = axle {
            self.tell("/wheel_in_frame/offset", offset - frame.0);
        }
        if let Some(yaw) = yaw {
            self.tell("/wheel_in_frame/yaw", yaw - frame.1);
        }
    }

    fn hub_forward(&self, datum: &Datum) -> Option<f64> {
        let axis = self.wheel_axis();
        let rim = self.tabs_of(|part| matches!(part, Part::Rim { front_wheel: false, .. }));
        self.hub_point(axis.as_ref(), &rim).or_else(|| self.fallback_foot()).map(|p| p.dot(&datum.forward))
    }

    fn faces(&mut self) {
        let Some(datum) = self.datum else { return };
        for name in &self.settings.faces {
            let Some(face) = self.state.faces.iter().find(|face| face.name == *name) else { continue };
            let Some(setup) = face.tabs.first().and_then(|t| self.first_setup(*t)) else { continue };
            let Some(plane) = self.face_plane(name, setup) else { continue };
            let n = datum.components(&plane.normal);
            let n = if n.y < 0.0 { -n } else { n };
            self.tell(format!("/faces/{name}/offset"), datum.offset(&plane.point));
            self.tell(format!("/faces/{name}/yaw"), (-n.x).atan2(n.y).to_degrees());
            self.tell(format!("/faces/{name}/lean"), (-n.z).asin().to_degrees());
        }
    }

    fn track(&mut self, axis: Option<&Axis>, hub: Option<&Vector3<f64>>, front_rim: &[(usize, Marked)]) {
        let (Some(datum), Some(left)) = (self.datum, self.choices.left) else { return };
        // Steered or leaning, the front rim shows its mid-plane at its axle only to who knows where that axle is.
        let Some(front) = self.choices.front_axis.then(|| turning_axis(self.state, FRONT_WHEEL, &left)).flatten() else { return };
        let a = datum.components(&front.direction);
        self.tell("/track/lean", (-a.z).asin().to_degrees());
        let (Some(axis), Some(hub)) = (axis, hub) else { return };
        let Some(faces) = self.rim_faces(&front, front_rim) else { return };
        let middle = front.point + front.direction * (faces.mean_left - faces.width / 2.0);
        self.tell("/track/offset", axis.direction.dot(&(middle - hub)));
    }
}

/// The rim's two outside faces along the axis.
struct RimFaces {
    /// Mean axial coordinate of the left face, free of run-out where places round the rim tell it.
    mean_left: f64,
    width: f64,
    /// Amplitude of the once-round curve.
    amplitude: Option<f64>,
}

/// JSON-pointer part of a rim figure: `set-up/side`, `/place` behind it beyond the marked place.
pub fn rim_id(setup: &str, side: Side, place: u8, wheel: &str) -> String {
    let wheel = if wheel == "front" { "/front-wheel" } else { "" };
    match place {
        0 => format!("{setup}/{}{wheel}", side.word()),
        _ => format!("{setup}/{}{wheel}/{place}", side.word()),
    }
}

/// "A" to "D".
pub fn line_letter(index: u8) -> char {
    char::from(b'A' + index.min(3))
}

/// 45-degree sectors about the axle.
fn station(x: f64, z: f64) -> Station {
    if x.abs() >= z.abs() {
        if x >= 0.0 { Station::Front } else { Station::Rear }
    } else if z >= 0.0 {
        Station::Top
    } else {
        Station::Bottom
    }
}

/// The two set-ups whose marked places lie farthest apart along the bike: (front, rear), as indices into `marks`.
fn opposite(marks: &[(usize, Vector3<f64>, f64)]) -> Option<(usize, usize)> {
    let front = (0..marks.len()).max_by(|&a, &b| marks[a].1.x.total_cmp(&marks[b].1.x))?;
    let rear = (0..marks.len()).min_by(|&a, &b| marks[a].1.x.total_cmp(&marks[b].1.x))?;
    (front != rear).then_some((front, rear))
}

/// Mean and amplitude of axial = mean + c cos(angle) + s sin(angle), least squares. None for fewer than three places.
fn once_round(places: &[(u8, f64, f64)]) -> Option<(f64, f64)> {
    if places.len() < 3 {
        return None;
    }
    let (mut normal, mut right) = (nalgebra::Matrix3::zeros(), Vector3::zeros());
    for (_, angle, axial) in places {
        let row = Vector3::new(1.0, angle.cos(), angle.sin());
        normal += row * row.transpose();
        right += row * *axial;
    }
    let solution = normal.try_inverse()? * right;
    // Three places within a few degrees of each other tell no curve: the inverse is then large.
    (normal.try_inverse()?.trace() < 20.0).then(|| (solution[0], solution.yz().norm()))
}

/// Weighted line y = offset + slope (x - middle) through places 200 mm or more apart; None when they are not.
fn centre_line(places: &[(f64, f64)]) -> Option<(f64, f64, f64)> {
    let (low, high) = places.iter().fold((f64::MAX, f64::MIN), |(low, high), (x, _)| (low.min(*x), high.max(*x)));
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

/// Mean depth and tilt of a plane through depths at several places of a face: depth below the patterns' plane, as an offset at the
/// places' mean and a change of the normal.
fn plane_through(depths: &[(Vector3<f64>, f64)], normal: &Vector3<f64>) -> (f64, Vector3<f64>) {
    let mean = depths.iter().map(|(_, depth)| depth).sum::<f64>() / depths.len().max(1) as f64;
    let e1 = crate::math::rigid::any_normal(normal);
    let e2 = normal.cross(&e1);
    let (mut spread, mut right) = (nalgebra::Matrix2::zeros(), Vector2::zeros());
    for (place, depth) in depths {
        let p = Vector2::new(place.dot(&e1), place.dot(&e2));
        spread += p * p.transpose();
        right += p * (depth - mean);
    }
    // Tabs in one line tell no plane: their depths then only shift it.
    let eigen = spread.symmetric_eigenvalues();
    if eigen.min() < 100.0 {
        return (mean, Vector3::zeros());
    }
    let slope = spread.try_inverse().map_or(Vector2::zeros(), |inverse| inverse * right);
    // Metal lies deeper by slope: the metal's normal leans towards where it lies deeper.
    (mean, e1 * slope.x + e2 * slope.y)
}
