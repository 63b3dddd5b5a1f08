//! Every figure as a plain function of the scene: evaluated once at the solution and again near
//! it for uncertainties.

use nalgebra::{Vector2, Vector3};

use crate::figure::Figure;
use crate::figure::facts::Station;
use crate::figure::part::{RiderId, RimPlace, Wheel};
use crate::scene::State;
use crate::scene::model::state::{Carrier, TurningPart};

use super::carried::Carried;
use super::datum::DatumChoice;
use super::figures::Side;
use super::ground::{CardPlane, Datum, UpWeights, card_plane};
use super::nuisance::{Nuisance, Shift};
use super::seating::Unsteady;
use super::settings::{BenchSettings, Marked, Part};
use super::turning::{Axis, turning_axis};

/// What was decided once, at the solution, and must not change while figures are evaluated near
/// it.
#[derive(Clone, Debug)]
pub struct Choices {
    pub up: UpWeights,
    /// What gives the datum; None where nothing does, or where its sources contradict each other.
    pub datum: Option<DatumChoice>,
    /// Cards that make the common plane.
    pub cards: Vec<usize>,
    /// Roughly to the bike's left, in the world; None when no rim tab shows sides.
    pub left: Option<Vector3<f64>>,
    /// Whether the wheel's tabs tell its axis (three or more, not in one line, in two set-ups).
    pub wheel_axis: bool,
    /// Where they don't: the axis of an earlier evening, if it is to be used and its tabs are there.
    pub carried: Option<Carried>,
    /// By how much three set-ups or more contradict each other about it.
    pub unsteady: Option<Unsteady>,
    pub front_axis: bool,
    pub gearbox_axis: bool,
    pub chain_side: Option<Side>,
    pub hub_side: Option<Side>,
    /// Degrees of the run-out curve: 0 none, 1 once round.
    pub run_out: bool,
    /// Tabs that do not lie flat on their face, and those of which one does not.
    pub loose: std::collections::BTreeSet<u8>,
}

/// Figures in a fixed order.
pub type Recorded = Vec<(Figure, f64)>;

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
    pub recorded: Recorded,
    pub plane: Option<CardPlane>,
    pub up: Vector3<f64>,
    /// The datum plane.
    pub datum: Option<Datum>,
    pub places: Places,
    /// Half of how far apart the spindle's left and right end stood in different set-ups, along the
    /// world's axes, mm.
    pub spindle_apart: [Vector3<f64>; 2],
    /// Station of each rim figure and its place along the cord from the axle (mm, + forward), by
    /// its id.
    pub stations: Vec<(RimPlace, Station, f64)>,
    /// Riders on the cord: id, place along the cord from the axle (mm, + forward), number of faces
    /// that tell it.
    pub riders: Vec<(RiderId, f64, u8)>,
}

impl<'a> Evaluation<'a> {
    pub fn new(
        settings: &'a BenchSettings,
        choices: &'a Choices,
        state: &'a State,
        shift: Shift,
    ) -> Self {
        let plane = card_plane(state, &choices.cards);
        let forward = choices
            .left
            .map_or(Vector2::x(), |left| if left.y >= 0.0 { Vector2::x() } else { -Vector2::x() });
        let up = choices.up.up(state, plane.as_ref(), &forward, settings, &shift);
        let left = choices.left.unwrap_or(Vector3::y());
        let datum = choices.datum.as_ref().and_then(|datum| datum.plane(state, &up, &left, &shift));
        Self {
            settings,
            choices,
            state,
            shift,
            recorded: Vec::new(),
            plane,
            up,
            datum,
            places: Places::default(),
            spindle_apart: [Vector3::zeros(); 2],
            stations: Vec::new(),
            riders: Vec::new(),
        }
    }

    pub(super) fn record(&mut self, figure: Figure, value: f64) {
        self.recorded.push((figure, value));
    }

    /// What was recorded of a figure so far.
    pub(super) fn recorded_value(&self, figure: &Figure) -> Option<f64> {
        self.recorded.iter().find(|(recorded, _)| recorded == figure).map(|(_, value)| *value)
    }

    /// Evaluates all figures.
    pub fn run(mut self) -> Self {
        self.bench_figures();
        if self.choices.left.is_some() {
            self.sided_figures();
        }
        self
    }

    /// The tab's measured point, in the world in a set-up: the pattern's centre put back onto the
    /// face.
    pub(super) fn point(
        &self,
        tab_idx: usize,
        setup: usize,
        thickness: f64,
    ) -> Option<Vector3<f64>> {
        let pose = self.state.world_from_tab(&self.state.tabs[tab_idx], setup)?;
        let depth = thickness
            + self.shift.of(Nuisance::Paper(tab_idx))
            + self.shift.of(Nuisance::Flat(tab_idx))
            + self.shift.of(Nuisance::Torn(tab_idx));
        let (sx, sy) = (
            self.shift.of(Nuisance::Sideways(tab_idx, 0)),
            self.shift.of(Nuisance::Sideways(tab_idx, 1)),
        );
        Some(pose.apply(&Vector3::new(sx, sy, -depth)))
    }

    /// Tabs with a meaning: index, mark.
    pub(super) fn tabs_of(&self, wanted: impl Fn(&Part) -> bool) -> Vec<(usize, Marked)> {
        let mut found = Vec::new();
        for mark in self.settings.marks.iter().filter(|mark| wanted(&mark.part)) {
            for (idx, tab) in
                self.state.tabs.iter().enumerate().filter(|(_, tab)| tab.number == mark.number)
            {
                debug_assert_eq!(tab.number, mark.number);
                found.push((idx, *mark));
            }
        }
        found
    }

    /// Set-ups in which a tab has a place, in order.
    pub(super) fn setups_of(&self, tab_idx: usize) -> Vec<usize> {
        let tab = &self.state.tabs[tab_idx];
        (0..self.settings.setups.len())
            .filter(|&s| !self.settings.lens_only[s] && tab.only_setup.is_none_or(|only| only == s))
            .filter(|&s| match tab.carrier {
                Carrier::Still => true,
                Carrier::Turning(part) => self.state.body(part, s).is_some(),
            })
            .collect()
    }

    pub(super) fn first_setup(&self, tab_idx: usize) -> Option<usize> {
        self.setups_of(tab_idx).first().copied()
    }

    pub fn wheel_axis(&self) -> Option<Axis> {
        let left = self.choices.left?;
        let axis = match &self.choices.carried {
            Some(carried) => carried.axis(self.state, &self.shift)?,
            None if self.choices.wheel_axis => turning_axis(self.state, TurningPart::Wheel, &left)?,
            None => return None,
        };
        let shift = |nuisance: fn(u8) -> Nuisance| [0, 1].map(|way| self.shift.of(nuisance(way)));
        Some(axis.moved(shift(Nuisance::AxisTilt), shift(Nuisance::AxisPlace)))
    }

    /// Height above the cards' plane at the axle's foot.
    pub(super) fn height(&self, p: &Vector3<f64>, foot: &Vector3<f64>) -> f64 {
        let Some(plane) = self.plane else { return (p - foot).dot(&self.up) };
        // The plane's height straight below or above `foot`.
        let ground =
            foot + self.up * ((plane.point - foot).dot(&plane.normal) / self.up.dot(&plane.normal));
        (p - ground).dot(&self.up)
    }

    fn bench_figures(&mut self) {
        let Some(plane) = self.plane else { return };
        let level_is_known = !self.choices.up.lines.is_empty() || self.settings.level_was_read;
        if let Some(left) = self.choices.left.filter(|_| level_is_known) {
            // Without a cord the row of cards serves as forward.
            let datum = self
                .datum
                .unwrap_or_else(|| Datum::along(&Vector3::x(), plane.point, &self.up, &left));
            let n = datum.components(&plane.normal);
            // The bench lies as the cards do, less the cards' own tilt on it.
            self.record(
                Figure::LevelAlong,
                (-n.x / n.z).atan().to_degrees() - self.shift.of(Nuisance::CardTilt(0)),
            );
            self.record(
                Figure::LevelAcross,
                (-n.y / n.z).atan().to_degrees() - self.shift.of(Nuisance::CardTilt(1)),
            );
        }
        self.record(Figure::Flatness, plane.flatness);
        let cords = &self.state.cords;
        let bulge = cords.iter().map(|cord| cord.y[2].abs()).fold(f64::NAN, f64::max);
        if bulge.is_finite() {
            self.record(Figure::CordStraightness, bulge);
        }
        if let [first, rest @ ..] = &cords[..]
            && !rest.is_empty()
        {
            let moved =
                |x: f64| rest.iter().map(|c| (c.at(x).y - first.at(x).y).abs()).fold(0.0, f64::max);
            let most = [-0.7, 0.0, 0.7]
                .map(|s| moved(first.middle + s * first.half))
                .into_iter()
                .fold(0.0, f64::max);
            self.record(Figure::CordMoved, most);
        }
    }

    fn sided_figures(&mut self) {
        let axis = self.wheel_axis();
        let rear_rim = self.tabs_of(|part| matches!(part, Part::Rim { front_wheel: false, .. }));
        let hub = self.hub_point(axis.as_ref(), &rear_rim);
        let foot = hub.or_else(|| self.fallback_foot()).unwrap_or(Vector3::zeros());
        self.rims(&rear_rim, &foot, hub.as_ref(), Wheel::Rear);
        let front_rim = self.tabs_of(|part| matches!(part, Part::Rim { front_wheel: true, .. }));
        self.rims(&front_rim, &foot, None, Wheel::Front);
        self.wheel(axis.as_ref(), hub.as_ref());
        self.run_out(axis.as_ref(), &rear_rim);
        self.hub_face(axis.as_ref(), &rear_rim);
        self.chain(axis.as_ref());
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
        let choices = self.choices;
        let (Some(datum), Some(choice)) = (self.datum, &choices.datum) else { return };
        let origin = self.origin(&datum, foot);
        for (rider, place) in choice.rider_places(self.state, &self.shift) {
            let faces = choice.faces_of(rider.rider);
            let id = RiderId(faces.iter().map(u8::to_string).collect::<Vec<String>>().join("-"));
            self.record(Figure::RiderOffset(id.clone()), datum.offset(&place));
            self.riders.push((id, (place - origin).dot(&datum.forward), faces.len() as u8));
        }
    }

    /// Where the axle's foot meets the cord, on the cards' plane.
    pub fn origin(&self, datum: &Datum, foot: &Vector3<f64>) -> Vector3<f64> {
        let on_plane = foot - self.up * self.height(foot, foot);
        on_plane - datum.left * datum.offset(&on_plane)
    }

    pub(super) fn fallback_foot(&self) -> Option<Vector3<f64>> {
        let tabs = self.tabs_of(|part| matches!(part, Part::RearSprocket | Part::SpindleEnd(_)));
        let points: Vec<_> = tabs
            .iter()
            .filter_map(|(t, m)| self.point(*t, self.first_setup(*t)?, m.thickness))
            .collect();
        (!points.is_empty()).then(|| points.iter().sum::<Vector3<f64>>() / points.len() as f64)
    }
}
