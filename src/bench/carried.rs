//! The wheel's axis on an evening that shows one position of the wheel alone: where an earlier
//! evening found it beside the tabs that stay with it.
//!
//! The tabs on the rear sprocket and on the hub sit on the wheel as they sat then, and the axis
//! among them. The motion that takes them from where they stood to where they stand now takes the
//! axis along, however the wheel was moved and turned between. The rim's tabs take no part: pulling
//! the rim by its spokes moves them against the hub, and half a millimetre of that, half a rim
//! away, would pass for a tenth of a degree.

use nalgebra::{Matrix3, Vector3};

use crate::math::rigid::fit_rigid;
use crate::scene::model::state::{Carrier, TurningPart};
use crate::scene::{Solution, State};

use super::known_wheel::KnownWheel;
use super::nuisance::{Nuisance, Shift};
use super::settings::{BenchSettings, Part};
use super::turning::Axis;
use super::views::Views;

/// Tabs that make a plane.
const LEAST_TABS: usize = 3;
/// Tabs that stand farther than this from where they stood among each other, mm, were stuck on anew
/// (our choice: several times what few photos leave open).
const MOST_MISFIT_MM: f64 = 0.5;
/// How well the earlier evening knew where a tab sits among the others, mm, k = 1 (our estimate:
/// a few hundredths from a dozen photos).
const PLACE_SIGMA_MM: f64 = 0.05;
/// How well it knew a point of the axis, mm, k = 1 (our estimate, rather too large).
const AXIS_PLACE_SIGMA_MM: f64 = 0.2;

/// The earlier evening's wheel with the tabs that tell where it stands now.
#[derive(Clone, Debug)]
pub struct Carried {
    wheel: KnownWheel,
    /// Index into `State::tabs`, and where it stood.
    tabs: Vec<(usize, Vector3<f64>)>,
    setup: usize,
}

impl Carried {
    /// None where too few of the tabs were seen well, or where they don't stand as they stood.
    pub fn choose(
        solution: &Solution,
        settings: &BenchSettings,
        views: &Views,
        wheel: &KnownWheel,
    ) -> Option<Self> {
        let state = &solution.state;
        let stays = |number: u8| {
            settings.marks.iter().any(|mark| {
                mark.number == number && matches!(mark.part, Part::RearSprocket | Part::HubFace)
            })
        };
        let in_setup = |setup: usize| -> Vec<(usize, Vector3<f64>)> {
            let body = state.body(TurningPart::Wheel, setup);
            let tabs = state.tabs.iter().enumerate().filter(|(idx, tab)| {
                body.is_some()
                    && tab.carrier == Carrier::Turning(TurningPart::Wheel)
                    && tab.only_setup.is_none_or(|only| only == setup)
                    && stays(tab.number)
                    && views.tab_is_good(solution, *idx)
            });
            tabs.filter_map(|(idx, tab)| Some((idx, *wheel.tabs.get(&tab.number)?))).collect()
        };
        let setups = (0..settings.setups.len()).filter(|&s| !settings.lens_only[s]);
        let (setup, tabs) =
            setups.map(|s| (s, in_setup(s))).rev().max_by_key(|(_, tabs)| tabs.len())?;
        let carried = Self { wheel: wheel.clone(), tabs, setup };
        let is_plane = carried.tabs.len() >= LEAST_TABS && is_wide(&carried.tabs);
        (is_plane && carried.misfit(state)? <= MOST_MISFIT_MM).then_some(carried)
    }

    /// Where the tabs stand now and stood then.
    fn places(
        &self,
        state: &State,
        shift: &Shift,
    ) -> Option<(Vec<Vector3<f64>>, Vec<Vector3<f64>>)> {
        let now = self
            .tabs
            .iter()
            .map(|(idx, _)| Some(state.world_from_tab(&state.tabs[*idx], self.setup)?.t));
        let then = self.tabs.iter().map(|(idx, at)| {
            at + Vector3::from_fn(|way, _| shift.of(Nuisance::KnownTab(*idx, way as u8)))
        });
        Some((now.collect::<Option<_>>()?, then.collect()))
    }

    /// The largest distance between where a tab stands and where the others say that it should, mm.
    fn misfit(&self, state: &State) -> Option<f64> {
        let (now, then) = self.places(state, &Shift(None))?;
        let motion = fit_rigid(&now, &then)?;
        let apart = now.iter().zip(&then).map(|(now, then)| (motion.apply(then) - now).norm());
        apart.max_by(f64::total_cmp)
    }

    /// The axis in the world.
    pub fn axis(&self, state: &State, shift: &Shift) -> Option<Axis> {
        let (now, then) = self.places(state, shift)?;
        let motion = fit_rigid(&now, &then)?;
        Some(Axis {
            direction: motion.r * self.wheel.direction,
            point: motion.apply(&self.wheel.point),
            turn: std::f64::consts::PI,
        })
    }

    /// What the earlier evening leaves open, and how a tab that has come up a little since shows.
    pub fn nuisances(&self, settings: &BenchSettings) -> Vec<(Nuisance, f64)> {
        let place = PLACE_SIGMA_MM.hypot(settings.assumed.flat_u_mm / 2.0);
        let of_tabs = self
            .tabs
            .iter()
            .flat_map(|(idx, _)| [0, 1, 2].map(|way| (Nuisance::KnownTab(*idx, way), place)));
        let of_axis = [0, 1].into_iter().flat_map(|way| {
            [
                (Nuisance::AxisTilt(way), self.wheel.tilt_sigma_deg),
                (Nuisance::AxisPlace(way), AXIS_PLACE_SIGMA_MM),
            ]
        });
        of_tabs.chain(of_axis).collect()
    }
}

/// Whether the tabs stand 10 mm or more off one line (rms): else they make no plane.
fn is_wide(tabs: &[(usize, Vector3<f64>)]) -> bool {
    let n = tabs.len() as f64;
    let mean = tabs.iter().map(|(_, at)| at).sum::<Vector3<f64>>() / n.max(1.0);
    let spread: Matrix3<f64> =
        tabs.iter().map(|(_, at)| (at - mean) * (at - mean).transpose()).sum();
    let mut values: Vec<f64> = spread.symmetric_eigenvalues().iter().copied().collect();
    values.sort_by(f64::total_cmp);
    values[1] / n > 100.0
}
