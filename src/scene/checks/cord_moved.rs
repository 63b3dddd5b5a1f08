//! A cord that was pushed sideways in the middle of a set-up: its photos before and after show it
//! at two places.
//!
//! One cord for all photos of the set-up then fits none of them: its noise grows, or the fewer
//! photos count as outliers and the datum lies between both. So the set-up is split between
//! any two photos, in their order, and a shift of the cord from there on is estimated. What lies on
//! one side of the bench before and on the other after determines a shift no better than another
//! height of the cord, and the covariance knows.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::{Matrix2, SMatrix, SVector, Vector2};

use crate::scene::adjust::residual::point_residual;
use crate::scene::model::observe::{Block, CardSide, Shown};
use crate::scene::model::solution::Solution;
use crate::scene::model::state::State;

/// What light does to one place of the cord in one photo besides its own standard uncertainty, px:
/// as much as half of all places show.
const LIGHT_PX: f64 = 0.3;
/// Part of its square that it is at the least, and places in excess of unknowns from which on the
/// places themselves tell it: two thirds of all sound set-ups show less than a tenth.
const LEAST_LIGHT: f64 = 0.1;
const LEAST_FREEDOM: usize = 10;
/// From here on a residual counts linearly, in standard deviations.
const HUBER: f64 = 2.0;
const ROUNDS: usize = 8;
/// A shift is believed beyond this at some place of the cord, mm: three times what light does
/// there.
const LEAST_MM: f64 = 0.45;
/// And where its squared size over its covariance, for each of its two unknowns, is more than this.
/// (As with a wheel's knock in `body_split`.)
const CERTAIN: f64 = 15.0;
/// What one place left unexplained must fall by this factor.
const FITS_BETTER: f64 = 1.6;
/// Photos that show the cord before and after (our choice).
const LEAST_PHOTOS: usize = 2;

/// A cord that moved.
#[derive(Clone, Debug, PartialEq)]
pub struct CordMoved {
    pub setup: usize,
    /// The first photo after it moved.
    pub from: usize,
    /// Photos whose sightings of the cord are left out.
    pub left_out: Vec<usize>,
    /// Whether the photos before it moved are used, not those after.
    pub before_used: bool,
    /// The farthest that any place of it seems to have moved, mm.
    pub by_mm: f64,
}

/// The unknowns: y and z of the cord's middle and their change along, and a shift in y and its
/// change from some photo on.
const N: usize = 6;
/// What they are held by beforehand, mm: a cord may lie anywhere within the lane, and its height is
/// known to its gap.
const HELD: [f64; N] = [20.0, 20.0, 3.0, 3.0, 20.0, 20.0];

/// A place of the cord in one photo: which photo of the set-up, residual and its change with y and
/// z (standard deviations a mm), place along.
struct Seen {
    nth: usize,
    residual: f64,
    by: Vector2<f64>,
    s: f64,
    group: CardSide,
}

/// Cords that moved within a set-up, one for each set-up at the most.
pub fn cord_moved_within(solution: &Solution, photo_of: &BTreeMap<usize, usize>) -> Vec<CordMoved> {
    let cords = 0..solution.state.cords.len();
    cords.filter_map(|cord| moved(solution, photo_of, cord)).collect()
}

fn moved(solution: &Solution, photo_of: &BTreeMap<usize, usize>, cord: usize) -> Option<CordMoved> {
    let state = &solution.state;
    let mut blocks: Vec<(usize, &Block)> = Vec::new();
    for block in solution.blocks.iter().filter(|block| block.shown == Shown::Cord(cord)) {
        blocks.push((*photo_of.get(&block.view)?, block));
    }
    blocks.sort_by_key(|(photo, _)| *photo);
    let seen: Vec<Seen> = blocks
        .iter()
        .enumerate()
        .flat_map(|(nth, (_, block))| places(state, cord, nth, block))
        .collect();
    if blocks.len() < 2 * LEAST_PHOTOS {
        return None;
    }
    let together = fitted(&seen, None)?;
    let splits = LEAST_PHOTOS..=blocks.len() - LEAST_PHOTOS;
    let tried = splits.filter_map(|k| fitted(&seen, Some(k)).map(|fit| (k, fit)));
    let (k, split) = tried.min_by(|a, b| a.1.cost.total_cmp(&b.1.cost))?;
    let shift = split.values.fixed_rows::<2>(4).into_owned();
    let by_mm =
        [-1.0, 1.0].map(|s: f64| (shift[0] + s * shift[1]).abs()).into_iter().fold(0.0, f64::max);
    let spread: Matrix2<f64> = split.covariance.fixed_view::<2, 2>(4, 4).into_owned();
    // Light does to the places of this set-up what one shift leaves unexplained of them.
    let freedom = seen.len().saturating_sub(N);
    let light = if freedom < LEAST_FREEDOM {
        1.0
    } else {
        (split.cost / freedom as f64).clamp(LEAST_LIGHT, 1.0)
    };
    let significance = shift.dot(&(spread.try_inverse()? * shift)) / 2.0 / light;
    if !(by_mm > LEAST_MM && significance > CERTAIN && FITS_BETTER * split.cost < together.cost) {
        return None;
    }
    // The datum is the cord as it lay first, if the photos before it moved determine it.
    let groups = |of: &dyn Fn(usize) -> bool| {
        seen.iter().filter(|p| of(p.nth)).map(|p| p.group).collect::<BTreeSet<CardSide>>()
    };
    let well_seen = from_both_sides(&groups(&|nth| nth < k))
        >= from_both_sides(&groups(&|nth| nth >= k)).min(2);
    let before_used = well_seen || lay_as_elsewhere(state, cord, &split.values);
    let out = if before_used { &blocks[k..] } else { &blocks[..k] };
    Some(CordMoved {
        setup: state.cords[cord].setup,
        from: blocks[k].0,
        left_out: out.iter().map(|(photo, _)| *photo).collect(),
        before_used,
        by_mm,
    })
}

/// Whether another set-up shows the cord where it lay before it moved, and not where it lay after.
/// `values` are the unknowns of the cord's own places, mm.
pub fn lay_as_elsewhere(state: &State, cord: usize, values: &SVector<f64, N>) -> bool {
    let known = &state.cords[cord];
    let apart = |other: usize, later: f64| {
        let at_end = |s: f64| {
            let x = known.middle + s * known.half;
            let moved = values[0] + s * values[1] + later * (values[4] + s * values[5]);
            (known.at(x).y + moved - state.cords[other].at(x).y).abs()
        };
        at_end(-1.0).max(at_end(1.0))
    };
    (0..state.cords.len())
        .filter(|&other| other != cord)
        .any(|other| apart(other, 0.0) + LEAST_MM < apart(other, 1.0))
}

/// Cards seen from both sides.
fn from_both_sides(groups: &BTreeSet<CardSide>) -> usize {
    let from_right = groups.iter().filter(|group| !group.from_left);
    from_right.filter(|group| groups.contains(&CardSide { from_left: true, ..**group })).count()
}

/// The places of the cord that one photo shows by both edges, those that were rejected included.
fn places(state: &State, cord: usize, nth: usize, block: &Block) -> Vec<Seen> {
    // mm: far below what photos determine, far above rounding.
    const STEP: f64 = 1e-3;
    let moved = |y: f64, z: f64| {
        let mut state = state.clone();
        state.cords[cord].y[0] += y;
        state.cords[cord].z[0] += z;
        state
    };
    let [aside, above] = [moved(STEP, 0.0), moved(0.0, STEP)];
    let known = &state.cords[cord];
    let points = block.points.iter().filter(|point| !point.lone);
    let place = |point: &crate::scene::model::observe::SeenPoint| {
        let group = point.group?;
        let (residual, at) = point_residual(state, block, point)?;
        let (y, _) = point_residual(&aside, block, point)?;
        let (z, _) = point_residual(&above, block, point)?;
        let worse = point.sigma / point.sigma.hypot(LIGHT_PX);
        let by = Vector2::new((y - residual) / STEP, (z - residual) / STEP) * worse;
        Some(Seen {
            nth,
            residual: residual * worse,
            by,
            s: (at.x - known.middle) / known.half,
            group,
        })
    };
    points.filter_map(place).collect()
}

struct Fit {
    values: SVector<f64, N>,
    covariance: SMatrix<f64, N, N>,
    cost: f64,
}

/// Robust least squares, with a shift from the photo `from` on or without.
fn fitted(seen: &[Seen], from: Option<usize>) -> Option<Fit> {
    let row = |p: &Seen| {
        let after = if from.is_some_and(|from| p.nth >= from) { 1.0 } else { 0.0 };
        let (y, z) = (p.by[0], p.by[1]);
        SVector::<f64, N>::from([y, y * p.s, z, z * p.s, y * after, y * p.s * after])
    };
    let rows: Vec<SVector<f64, N>> = seen.iter().map(row).collect();
    let left = |values: &SVector<f64, N>, i: usize| seen[i].residual + rows[i].dot(values);
    let mut values = SVector::zeros();
    let mut covariance = SMatrix::identity();
    for _ in 0..ROUNDS {
        let mut normal = SMatrix::<f64, N, N>::from_diagonal(
            &SVector::from(HELD).map(|sigma: f64| sigma.powi(-2)),
        );
        let mut right = SVector::<f64, N>::zeros();
        for (i, row) in rows.iter().enumerate() {
            let r = left(&values, i).abs();
            let weight = if r <= HUBER { 1.0 } else { HUBER / r };
            normal += row * row.transpose() * weight;
            right -= row * (seen[i].residual * weight);
        }
        let factor = normal.cholesky()?;
        values = factor.solve(&right);
        covariance = factor.inverse();
    }
    let cost = (0..seen.len()).map(|i| rho(left(&values, i))).sum();
    Some(Fit { values, covariance, cost })
}

/// Robust square of a residual in standard deviations.
fn rho(r: f64) -> f64 {
    if r.abs() <= HUBER { r * r } else { HUBER * (2.0 * r.abs() - HUBER) }
}
