//! Tabs printed at another size than the job says: two photos from different places tell how far
//! away a tab is, its size in one photo how far it would be if the job were right.

use std::borrow::Cow;
use std::collections::BTreeMap;

use nalgebra::Vector3;

use crate::cards::codes::TAB_SIDE;
use crate::finding::Finding;
use crate::math::rays::nearest_to_ray;
use crate::math::robust::median;
use crate::say;
use crate::scene::model::input::SceneSettings;
use crate::scene::model::state::State;
use crate::text::Amount;

use super::pose::locate;
use super::tabs::{NOISE, TabView, glimpses};

/// Sizes that differ by less (a part) come from printers: the adjustment finds them (our choice;
/// tabs are 12, 20 and 25 mm wide).
const UNLIKE: f64 = 0.05;
/// Two photos tell a distance from this angle between their rays on (radians, 12 degrees), and
/// where these pass each other within this part of it: else one of them shows something else.
const LEAST_ANGLE: f64 = 0.2;
const MEET: f64 = 0.01;
/// Pairs of photos that must agree about a tab's size, and how well, as a part of it (median).
const LEAST_PAIRS: usize = 2;
const AGREE: f64 = 0.01;

/// Sizes that photos show of tabs which are not as large as the job says: number, and what its size
/// there must be multiplied with.
pub fn unlike_sizes(
    state: &State,
    seen: &[TabView],
    settings: &SceneSettings,
) -> BTreeMap<u8, f64> {
    let mut sizes: BTreeMap<u8, f64> = BTreeMap::new();
    for tab in &settings.tabs {
        let of_tab: Vec<&TabView> = seen.iter().filter(|seen| seen.number == tab.number).collect();
        let sights: Vec<Sight> =
            of_tab.iter().filter_map(|seen| Sight::of(state, seen, tab.pitch)).collect();
        let pairs = || {
            let later = |i: usize| sights[i + 1..].iter().map(move |other| (i, other));
            (0..sights.len()).flat_map(later).filter_map(|(i, other)| sights[i].size_with(other))
        };
        let ratios: Vec<f64> = pairs().flatten().collect();
        let Some(ratio) = median(&ratios).filter(|_| ratios.len() >= 2 * LEAST_PAIRS) else {
            continue;
        };
        let scatter: Vec<f64> = ratios.iter().map(|other| (other - ratio).abs()).collect();
        if median(&scatter).is_some_and(|scatter| scatter < AGREE) {
            sizes.insert(tab.number, ratio);
        }
    }
    // Where most tabs seem to be of another size it is the cards that are.
    let of_all: Vec<f64> = sizes.values().copied().collect();
    if median(&of_all).is_none_or(|usual| usual.abs() > UNLIKE) {
        return BTreeMap::new();
    }
    sizes.retain(|_, ratio| ratio.abs() > UNLIKE);
    sizes.into_iter().map(|(number, ratio)| (number, ratio.exp())).collect()
}

/// Settings with the sizes that photos show.
pub fn sized<'a>(settings: &'a SceneSettings, sizes: &BTreeMap<u8, f64>) -> Cow<'a, SceneSettings> {
    if sizes.is_empty() {
        return Cow::Borrowed(settings);
    }
    let mut settings = settings.clone();
    for tab in &mut settings.tabs {
        tab.pitch *= sizes.get(&tab.number).copied().unwrap_or(1.0);
    }
    Cow::Owned(settings)
}

/// A tab as one photo shows it.
struct Sight {
    setup: usize,
    eye: Vector3<f64>,
    /// Unit vector to the tab's middle.
    toward: Vector3<f64>,
    /// How far it would be if it were as large as the job says, mm.
    distance: f64,
}

impl Sight {
    fn of(state: &State, seen: &TabView, pitch: f64) -> Option<Self> {
        let (pose, _) = locate(&glimpses(state, &[seen], pitch), NOISE)?;
        let eye = state.views[seen.view].camera_from_world.inverse().t;
        let distance = (pose.t - eye).norm();
        let toward = (pose.t - eye).try_normalize(1e-9)?;
        Some(Self { setup: seen.setup, eye, toward, distance })
    }

    /// Logarithms of the tab's true size over the job's by both photos, where these tell it.
    fn size_with(&self, other: &Self) -> Option<[f64; 2]> {
        let cos = self.toward.dot(&other.toward);
        if self.setup != other.setup || cos > LEAST_ANGLE.cos() {
            return None;
        }
        let at = nearest_to_ray(&self.eye, &self.toward, &other.eye, &other.toward)?;
        let at_other = nearest_to_ray(&other.eye, &other.toward, &self.eye, &self.toward)?;
        let here = (at - self.eye).dot(&self.toward);
        let there = (at_other - other.eye).dot(&other.toward);
        let gap = at - at_other;
        let meets = here > 0.0 && there > 0.0 && gap.norm() < MEET * here.min(there);
        meets.then(|| [(here / self.distance).ln(), (there / other.distance).ln()])
    }
}

/// What is said of such tabs.
pub fn findings<'a>(
    settings: &'a SceneSettings,
    sizes: &'a BTreeMap<u8, f64>,
) -> impl Iterator<Item = Finding> + 'a {
    let of_tab = |number: u8| settings.tabs.iter().find(move |tab| tab.number == number);
    sizes.iter().filter_map(move |(&number, ratio)| {
        let side = of_tab(number)?.pitch * TAB_SIDE as f64;
        Some(Finding::warning(
            "tab-size-wrong",
            say![
                format!("Tab {number} is "),
                Amount::tenths(side * ratio),
                " wide in the photos, and should be ",
                Amount::tenths(side),
                "; it was used as large as the photos show it.",
            ],
            format!(
                "Measure its pattern from edge to edge and state it in job.toml (side_mm of tab {number}), or print the tab again."
            ),
        ))
    })
}
