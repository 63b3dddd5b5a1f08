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
        if let Some(ratio) = size_shown(&sights) {
            sizes.insert(tab.number, ratio);
        }
    }
    // Where most tabs seem to be of another size it is the cards that are.
    let of_all: Vec<f64> = sizes.values().copied().collect();
    let Some(usual) = median(&of_all).filter(|usual| usual.abs() <= UNLIKE) else {
        return BTreeMap::new();
    };
    sizes.retain(|_, ratio| ratio.abs() > UNLIKE && (*ratio - usual).abs() > UNLIKE);
    sizes.into_iter().map(|(number, ratio)| (number, ratio.exp())).collect()
}

/// Logarithm of a tab's size over the job's, where pairs of photos agree about it and would without
/// any one of them: one that shows something else makes a wrong pair with each of the others.
fn size_shown(sights: &[Sight]) -> Option<f64> {
    let pairs: Vec<([usize; 2], [f64; 2])> = (0..sights.len())
        .flat_map(|i| (i + 1..sights.len()).map(move |j| [i, j]))
        .filter_map(|[i, j]| Some(([i, j], sights[i].size_with(&sights[j])?)))
        .collect();
    let without = |photo: Option<usize>| -> Vec<f64> {
        let left = pairs.iter().filter(|(both, _)| photo.is_none_or(|out| !both.contains(&out)));
        left.flat_map(|(_, sizes)| *sizes).collect()
    };
    let all = without(None);
    let ratio = median(&all).filter(|_| pairs.len() >= LEAST_PAIRS)?;
    let scatter: Vec<f64> = all.iter().map(|other| (other - ratio).abs()).collect();
    let stays = |photo: usize| {
        median(&without(Some(photo))).is_some_and(|other| (other - ratio).abs() < 2.0 * AGREE)
    };
    (median(&scatter)? < AGREE && (0..sights.len()).all(stays)).then_some(ratio)
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

/// What is said of such tabs, in mm as a ruler shows them.
pub fn findings<'a>(
    settings: &'a SceneSettings,
    sizes: &'a BTreeMap<u8, f64>,
) -> impl Iterator<Item = Finding> + 'a {
    let printed = (settings.print[0] + settings.print[1]) / 2.0;
    sizes.iter().map(move |(&number, ratio)| {
        let side = printed * settings.pitch_of(number) * TAB_SIDE as f64;
        Finding::warning(
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
        )
    })
}
