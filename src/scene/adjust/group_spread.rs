//! What errors that come in groups add to the covariance.
//!
//! A shadow shifts the cord alike in all photos that show one card from one side; light on a thin
//! line shifts its whole image. The points' own scatter does not show it. Leaving out one group
//! at a time does: the jackknife over groups (Tukey 1958; Quenouille 1956), with Student's t for
//! their small number, is the least that the covariance may be. What it has more than the points'
//! own is kept apart and added to the figures.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};

use crate::math::robust::student;
use crate::scene::model::observe::{Block, CardSide, SeenPoint};
use crate::scene::model::solution::GroupSpread;
use crate::scene::model::state::State;

use super::solve::Problem;
use super::{block_normal, prior};

/// Holds what a left-out group leaves open: mm or radians, far more than any of the unknowns
/// changes by.
const WIDE: f64 = 20.0;

/// One group's share of the normal equations of the unknowns concerned.
struct Share {
    information: DMatrix<f64>,
    gradient: DVector<f64>,
}

impl Share {
    fn none(n: usize) -> Self {
        Self { information: DMatrix::zeros(n, n), gradient: DVector::zeros(n) }
    }
}

/// What groups add to the covariance of the unknowns at `slots`, all else held. `group_of` names
/// the group of each point, None for points that each count as a group of their own. None with
/// fewer than three groups, which show no spread.
pub fn of_groups(
    state: &State,
    problem: &Problem,
    slots: &[usize],
    source: &'static str,
    group_of: impl Fn(&Block, &SeenPoint) -> Option<CardSide>,
) -> Option<GroupSpread> {
    let shares = shares_of_groups(state, problem, slots, group_of);
    let Share { information: mut total, mut gradient } = known_beforehand(state, problem, slots);
    for share in shares.values() {
        total += &share.information;
        gradient += &share.gradient;
    }
    let own = total.clone().cholesky()?.inverse();
    // What all of them together would still move by is no group's doing.
    let moved: Vec<DVector<f64>> = shares
        .iter()
        .filter(|(group, _)| group.is_some())
        .filter_map(|(_, share)| {
            let rest = (&total - &share.information).cholesky()?;
            Some(rest.solve(&(&share.gradient - &gradient)) + &own * &gradient)
        })
        .collect();
    if moved.len() < 3 {
        return None;
    }
    let count = moved.len() as f64;
    let mean = moved.iter().sum::<DVector<f64>>() / count;
    let factor = (count - 1.0) / count * student(moved.len() - 1).powi(2);
    let spread: DMatrix<f64> =
        moved.iter().map(|m| (m - &mean) * (m - &mean).transpose()).sum::<DMatrix<f64>>() * factor;
    Some(GroupSpread { slots: slots.to_vec(), covariance: beyond(&own, &spread)?, source })
}

/// Each group's share in what is known of the unknowns at `slots`.
fn shares_of_groups(
    state: &State,
    problem: &Problem,
    slots: &[usize],
    group_of: impl Fn(&Block, &SeenPoint) -> Option<CardSide>,
) -> BTreeMap<Option<CardSide>, Share> {
    let mut shares: BTreeMap<Option<CardSide>, Share> = BTreeMap::new();
    for block in problem.blocks.iter().filter(|block| !block.points.is_empty()) {
        let mut by_group: BTreeMap<Option<CardSide>, Vec<SeenPoint>> = BTreeMap::new();
        for point in block.points.iter().filter(|point| point.used) {
            by_group.entry(group_of(block, point)).or_default().push(point.clone());
        }
        for (group, points) in by_group {
            let part = Block { points, corners: Vec::new(), ..block.clone() };
            let normal = block_normal::normal(state, problem.slots, &part);
            let places: Vec<(usize, usize)> = normal
                .kept
                .iter()
                .enumerate()
                .filter_map(|(i, slot)| {
                    slots.iter().position(|s| s == slot).map(|at| (at, normal.local.len() + i))
                })
                .collect();
            if places.is_empty() {
                continue;
            }
            let share = shares.entry(group).or_insert_with(|| Share::none(slots.len()));
            for &(a, i) in &places {
                share.gradient[a] += normal.gradient[i];
                for &(b, j) in &places {
                    // Only the upper triangle is filled.
                    share.information[(a, b)] += normal.normal[(i.min(j), i.max(j))];
                }
            }
        }
    }
    shares
}

/// What is known of the unknowns at `slots` without any group.
fn known_beforehand(state: &State, problem: &Problem, slots: &[usize]) -> Share {
    let n = slots.len();
    let mut known = Share::none(n);
    known.information = DMatrix::identity(n, n) * WIDE.powi(-2);
    for row in prior::rows(state, problem.slots, problem.priors) {
        let own: Vec<(usize, f64)> = row
            .by
            .iter()
            .filter_map(|(slot, d)| slots.iter().position(|s| s == slot).map(|at| (at, *d)))
            .collect();
        for &(a, da) in &own {
            known.gradient[a] += da * row.residual;
            for &(b, db) in &own {
                known.information[(a, b)] += da * db;
            }
        }
    }
    known
}

/// By how much one covariance exceeds another, in the directions in which it does.
pub fn beyond(own: &DMatrix<f64>, spread: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let root = own.clone().cholesky()?.l();
    let whitened = root.clone().solve_lower_triangular(spread)?;
    let whitened = root.clone().solve_lower_triangular(&whitened.transpose())?;
    let eigen = ((&whitened + whitened.transpose()) * 0.5).symmetric_eigen();
    let more = DMatrix::from_diagonal(&eigen.eigenvalues.map(|value| (value - 1.0).max(0.0)));
    let back = root * &eigen.eigenvectors;
    Some(&back * more * back.transpose())
}
