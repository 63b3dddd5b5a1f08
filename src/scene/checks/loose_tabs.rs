//! Tabs that do not lie flat on the face that they share with others: half peeled off, or on
//! something.
//!
//! A tie between the tabs of a face would hide it: it is stronger than what photos show of a tab,
//! so that the plane bends to all of them. They are freed from each other first, and then each is
//! asked whether it lies in the plane that the others show.

use std::collections::BTreeSet;

use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

use crate::math::robust::student;
use crate::scene::adjust::noise::{REJECT, reject, weigh};
use crate::scene::adjust::solve::{Problem, adjust, loose_covariance};
use crate::scene::model::observe::Shown;
use crate::scene::model::priors::FaceSigma;
use crate::scene::model::solution::{LooseTab, Solution};
use crate::scene::model::state::{Face, State};
use crate::scene::model::unknowns::{Slots, line_axes};

use super::exceptions::Exceptions;

/// How much more than the tie allows a tab may be off its face, or tilted against it, before
/// anything is made of it (standard deviations of 0.1 mm and 0.1 degrees by the standard values). With
/// more, a plane that leans over to a tab which is off without a tilt seems possible.
const ALLOWED: f64 = 2.0;
/// A tab this many times as far off its face, or tilted against it, as is allowed is not stuck
/// flat: 0.6 mm or 2 degrees by the standard values. Tabs that are stuck on well, by the budget of
/// drawn benches, were off by up to 0.5 mm and 1.2 degrees.
const LOOSE_OFF: f64 = 6.0;
const LOOSE_TILT: f64 = 17.5;
/// And the tabs must contradict a common plane: their squared distances from it exceed what chance
/// makes them by this much, in standard deviations of their own.
const CONTRADICTION: f64 = 25.0;
/// A tab without which the contradiction is greater by this much than without another is not the
/// one.
const NOT_THE_ONE: f64 = 16.0;
/// Tabs that lie farther off a plane than the tie allows loosen it from this many times the expected
/// squared distance on: of two tabs chance exceeds that in one face of twelve, of three in one of
/// thirty.
const ROUGH: f64 = 2.25;
/// As far as the tie is loosened: what is farther off is a loose tab.
const MOST_ROUGH: f64 = 20.0;
const BISECTIONS: usize = 12;
const STEPS: usize = 6;
const ROUNDS: usize = 2;
/// The plane turns with what it is compared with.
const TURNS: usize = 3;

/// Frees the tab of each face that does not lie in it, or all those of which one does not where
/// nothing shows which. Of the others it notes how many times as far off a plane as is usual they
/// lie.
pub fn find_loose_tabs(solution: &Solution, exceptions: &mut Exceptions) {
    exceptions.rough_faces.clear();
    let faces = &solution.state.faces;
    if faces.iter().all(|face| face.tabs.len() < 2) {
        return;
    }
    let Some(freed) = Freed::of(solution) else { return };
    for face in faces.iter().filter(|face| face.tabs.len() >= 2) {
        let loose = freed.loose_in(face);
        if loose.is_empty()
            && let Some(roughness) = freed.roughness_of(face)
        {
            exceptions.rough_faces.insert(face.name.clone(), roughness);
        }
        exceptions.loose_tabs.extend(loose);
    }
}

/// The scene without the ties between tabs of a face.
struct Freed {
    state: State,
    slots: Slots,
    covariance: DMatrix<f64>,
    /// What the tie allows.
    tie: FaceSigma,
}

/// A tab (index into `State::tabs`) of a face, and how much farther off it what it is glued to puts
/// it, mm.
#[derive(Clone, Copy)]
struct OnFace {
    tab: usize,
    backing: f64,
}

impl OnFace {
    fn all_of(face: &Face) -> Vec<Self> {
        let both = face.tabs.iter().zip(&face.backings);
        both.map(|(&tab, &backing)| Self { tab, backing }).collect()
    }
}

/// What chance makes of the squared distances of so many tabs from one plane: two tilts and one
/// distance each, less the plane's own.
fn shown(tabs: &[OnFace]) -> f64 {
    3.0 * (tabs.len() - 1) as f64
}

/// A plane through tabs, and their squared distances from it in standard deviations.
struct Plane {
    normal: Vector3<f64>,
    about: Vector3<f64>,
    contradiction: f64,
}

impl Freed {
    fn of(solution: &Solution) -> Option<Self> {
        let (mut state, mut blocks) = (solution.state.clone(), solution.blocks.clone());
        state.faces.clear();
        let (slots, priors) = (Slots::of(&state), &solution.priors);
        let of_faces: BTreeSet<usize> =
            solution.state.faces.iter().flat_map(|face| face.tabs.iter().copied()).collect();
        // What the ties had left out counts again.
        for block in &mut blocks {
            if matches!(block.shown, Shown::Tab { tab, .. } if of_faces.contains(&tab)) {
                block.corners.iter_mut().for_each(|corner| corner.used = true);
            }
        }
        for _ in 0..ROUNDS {
            adjust(&mut state, &Problem { blocks: &blocks, priors, slots: &slots }, STEPS);
            weigh(&state, &slots, &mut blocks);
            reject(&state, &slots, &mut blocks, REJECT);
        }
        let problem = Problem { blocks: &blocks, priors, slots: &slots };
        let covariance = loose_covariance(&state, &problem)?;
        Some(Self { state, slots, covariance, tie: priors.face_sigma })
    }

    fn loose_in(&self, face: &Face) -> Vec<(u8, LooseTab)> {
        let tabs: Vec<OnFace> = OnFace::all_of(face);
        let allowed = self.tie.times(ALLOWED);
        let together = self.plane(&tabs, allowed);
        if together.is_none_or(|plane| plane.contradiction < shown(&tabs) + CONTRADICTION) {
            return Vec::new();
        }
        // What is left without each of them.
        let without = |tab: &OnFace| {
            let others: Vec<OnFace> =
                tabs.iter().copied().filter(|other| other.tab != tab.tab).collect();
            Some((*tab, self.plane(&others, allowed)?))
        };
        let planes: Vec<(OnFace, Plane)> = tabs.iter().filter_map(without).collect();
        let least = planes.iter().map(|(_, plane)| plane.contradiction).fold(f64::MAX, f64::min);
        let suspects: Vec<(u8, LooseTab)> = planes
            .into_iter()
            .filter(|(_, plane)| plane.contradiction < least + NOT_THE_ONE)
            .map(|(OnFace { tab, backing }, plane)| {
                let pose = &self.state.tabs[tab].carrier_from_tab;
                let off_mm = (plane.normal.dot(&(pose.t - plane.about)) - backing).abs();
                let tilt = pose.r.column(2).cross(&plane.normal).norm().clamp(0.0, 1.0).asin();
                let number = self.state.tabs[tab].number;
                (number, LooseTab { off_mm, tilt, among: Vec::new() })
            })
            .collect();
        let is_loose = |tab: &LooseTab| {
            tab.off_mm > LOOSE_OFF * allowed.off_mm || tab.tilt > LOOSE_TILT * allowed.tilt
        };
        if !suspects.iter().any(|(_, tab)| is_loose(tab)) {
            return Vec::new();
        }
        let among: Vec<u8> = suspects.iter().map(|(number, _)| *number).collect();
        let told = |(number, tab)| (number, LooseTab { among: among.clone(), ..tab });
        suspects.into_iter().map(told).collect()
    }

    /// How many times the tie must allow for the tabs to contradict a common plane no more than
    /// chance makes them; None where the tie does.
    fn roughness_of(&self, face: &Face) -> Option<f64> {
        let tabs: Vec<OnFace> = OnFace::all_of(face);
        let expected = shown(&tabs);
        let contradiction =
            |times: f64| self.plane(&tabs, self.tie.times(times)).map(|plane| plane.contradiction);
        if contradiction(1.0)? < ROUGH * expected {
            return None;
        }
        let (mut low, mut high) = (1.0, MOST_ROUGH);
        for _ in 0..BISECTIONS {
            let middle = f64::sqrt(low * high);
            if contradiction(middle)? > expected { low = middle } else { high = middle }
        }
        // Of few tabs chance makes the distances small too often.
        Some(high * student(expected as usize))
    }

    /// The plane that the normals and centres of these tabs show, by generalised least squares,
    /// where each may lie so far off it.
    fn plane(&self, tabs: &[OnFace], allowed: FaceSigma) -> Option<Plane> {
        let poses = || tabs.iter().map(|on| &self.state.tabs[on.tab].carrier_from_tab);
        let mut about = poses().map(|pose| pose.t).sum::<Vector3<f64>>() / tabs.len() as f64;
        let mut normal = poses().map(|pose| pose.r.column(2).into_owned()).sum::<Vector3<f64>>();
        let mut contradiction = 0.0;
        for _ in 0..TURNS {
            normal = normal.try_normalize(1e-9)?;
            let [a, b] = line_axes(&normal);
            let n = 3 * tabs.len();
            let (mut seen, mut by_plane) = (DVector::zeros(n), DMatrix::zeros(n, 3));
            let mut by_tabs = DMatrix::zeros(n, 6 * tabs.len());
            for (i, (pose, OnFace { backing, .. })) in poses().zip(tabs).enumerate() {
                let (own, from) = (pose.r.column(2).into_owned(), pose.t - about);
                let (row, column) = (3 * i, 6 * i);
                seen.fixed_rows_mut::<3>(row).copy_from(&Vector3::new(
                    own.dot(&a),
                    own.dot(&b),
                    normal.dot(&from) - backing,
                ));
                by_plane.fixed_view_mut::<3, 3>(row, 0).copy_from(&Matrix3::new(
                    1.0,
                    0.0,
                    0.0, //
                    0.0,
                    1.0,
                    0.0, //
                    -a.dot(&from),
                    -b.dot(&from),
                    1.0,
                ));
                // A turn w moves the tab's normal by w x normal.
                for (k, by_turn) in [own.cross(&a), own.cross(&b)].into_iter().enumerate() {
                    by_tabs.fixed_view_mut::<1, 3>(row + k, column).copy_from(&by_turn.transpose());
                }
                by_tabs.fixed_view_mut::<1, 3>(row + 2, column + 3).copy_from(&normal.transpose());
            }
            let mut variance = &by_tabs * self.covariance_of(tabs) * by_tabs.transpose();
            for i in 0..tabs.len() {
                for (k, sigma) in [allowed.tilt, allowed.tilt, allowed.off_mm].iter().enumerate() {
                    variance[(3 * i + k, 3 * i + k)] += sigma * sigma;
                }
            }
            let weights = variance.cholesky()?;
            let weighted = weights.solve(&by_plane);
            let found = (by_plane.transpose() * &weighted)
                .cholesky()?
                .solve(&(weighted.transpose() * &seen));
            let left = &seen - &by_plane * &found;
            contradiction = left.dot(&weights.solve(&left));
            about += normal * found[2];
            normal += a * found[0] + b * found[1];
        }
        Some(Plane { normal: normal.try_normalize(1e-9)?, about, contradiction })
    }

    /// Covariance of the tabs' turns and places.
    fn covariance_of(&self, tabs: &[OnFace]) -> DMatrix<f64> {
        let slots: Vec<usize> =
            tabs.iter().flat_map(|on| (0..6).map(|i| self.slots.tabs[on.tab] + i)).collect();
        self.covariance.select_rows(&slots).select_columns(&slots)
    }
}
