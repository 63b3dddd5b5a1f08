//! The bundle adjustment: Levenberg-Marquardt on block normal equations.
//!
//! Each view's own unknowns (camera pose, lens drift, how its flags hang) meet no other view's, so
//! their block is eliminated view by view (Schur complement; Brown 1958, Triggs et al. 2000); what
//! is left grows with cards, tabs and lines, not with photos. Work is spread over views and added
//! up in their order, so the result does not depend on the number of threads.

use std::collections::BTreeMap;

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use rayon::prelude::*;

use crate::scene::model::observe::Block;
use crate::scene::model::priors::Priors;
use crate::scene::model::state::State;
use crate::scene::model::unknowns::Slots;

use super::size::as_large_as_printed;
use super::view_normal::{ViewNormal, view_normal};
use super::{prior, residual};

/// All normal equations at one state.
struct Normal {
    views: Vec<ViewNormal>,
    /// Priors' share of the kept unknowns.
    kept: DMatrix<f64>,
    kept_gradient: DVector<f64>,
    cost: f64,
}

/// Observations and prior knowledge of one adjustment.
pub struct Problem<'a> {
    pub blocks: &'a [Block],
    pub priors: &'a Priors,
    pub slots: &'a Slots,
}

impl Problem<'_> {
    fn by_view(&self, n_views: usize) -> Vec<Vec<&Block>> {
        let mut by_view = vec![Vec::new(); n_views];
        for block in self.blocks {
            by_view[block.view].push(block);
        }
        by_view
    }

    fn normal(&self, state: &State) -> Normal {
        let by_view = self.by_view(state.views.len());
        let views: Vec<ViewNormal> = by_view
            .par_iter()
            .enumerate()
            .map(|(view, blocks)| view_normal(state, self.slots, blocks, view, self.priors))
            .collect();
        let n = self.slots.n;
        let mut kept = DMatrix::zeros(n, n);
        let mut kept_gradient = DVector::zeros(n);
        let mut cost: f64 = views.iter().map(|view| view.cost).sum();
        for row in prior::rows(state, self.slots, self.priors) {
            cost += row.residual * row.residual / 2.0;
            for &(i, di) in &row.by {
                kept_gradient[i] += di * row.residual;
                for &(j, dj) in &row.by {
                    kept[(i, j)] += di * dj;
                }
            }
        }
        Normal { views, kept, kept_gradient, cost }
    }

    /// The robust cost: half the sum of squares of what is not contradicted.
    pub fn cost(&self, state: &State) -> f64 {
        let by_view = self.by_view(state.views.len());
        let per_view: Vec<f64> = by_view
            .par_iter()
            .enumerate()
            .map(|(view, blocks)| {
                let seen: f64 =
                    blocks.iter().map(|block| residual::cost(state, self.slots, block)).sum();
                let own: f64 = prior::view_rows(state, view, self.priors)
                    .iter()
                    .map(|(r, _, _)| r * r / 2.0)
                    .sum();
                seen + own
            })
            .collect();
        let priors: f64 = prior::rows(state, self.slots, self.priors)
            .iter()
            .map(|row| row.residual * row.residual / 2.0)
            .sum();
        per_view.iter().sum::<f64>() + priors
    }
}

/// One view's own unknowns eliminated.
struct Eliminated {
    /// own^-1 cross and own^-1 gradient: what is needed to find the view's step afterwards.
    solved: DMatrix<f64>,
    solved_gradient: DVector<f64>,
    /// What is left for the kept unknowns that the view meets.
    kept: DMatrix<f64>,
    gradient: DVector<f64>,
}

/// None when the view does not determine its own unknowns.
fn eliminate(view: &ViewNormal, damping: f64, loose: f64) -> Option<Eliminated> {
    let mut own = view.own.clone();
    for i in 0..own.nrows() {
        own[(i, i)] += damping * own[(i, i)] + loose + 1e-300;
    }
    let factor = own.cholesky()?;
    let solved = factor.solve(&view.cross);
    let solved_gradient = factor.solve(&view.own_gradient);
    let mut kept = view.kept.clone();
    kept.gemm_tr(-1.0, &view.cross, &solved, 1.0);
    let mut gradient = view.kept_gradient.clone();
    gradient.gemv_tr(-1.0, &view.cross, &solved_gradient, 1.0);
    Some(Eliminated { solved, solved_gradient, kept, gradient })
}

/// The reduced system: kept unknowns only.
#[derive(Clone)]
struct Reduced {
    matrix: DMatrix<f64>,
    right: DVector<f64>,
}

impl Reduced {
    fn of_priors(normal: &Normal) -> Self {
        Reduced { matrix: normal.kept.clone(), right: -normal.kept_gradient.clone() }
    }

    fn add(&mut self, meets: &[usize], part: &Eliminated) {
        for (b, &j) in meets.iter().enumerate() {
            self.right[j] -= part.gradient[b];
            for (a, &i) in meets.iter().enumerate() {
                self.matrix[(i, j)] += part.kept[(a, b)];
            }
        }
    }
}

fn reduce(normal: &Normal, damping: f64, loose: f64) -> Option<(Reduced, Vec<Eliminated>)> {
    let parts: Option<Vec<Eliminated>> = normal
        .views
        .par_iter()
        .map(|view| eliminate(view, damping, loose))
        .collect::<Vec<_>>()
        .into_iter()
        .collect();
    let parts = parts?;
    let mut reduced = Reduced::of_priors(normal);
    for (view, part) in normal.views.iter().zip(&parts) {
        reduced.add(&view.meets, part);
    }
    let matrix = &mut reduced.matrix;
    if damping > 0.0 {
        // Marquardt's diagonal is that of the full system, not of the reduced one.
        let mut diagonal = normal.kept.diagonal();
        for view in &normal.views {
            for (a, &i) in view.meets.iter().enumerate() {
                diagonal[i] += view.kept[(a, a)];
            }
        }
        for i in 0..diagonal.len() {
            matrix[(i, i)] += damping * diagonal[i];
        }
    }
    Some((reduced, parts))
}

/// What one view alone determines of the kept unknowns, its own unknowns eliminated: what its
/// blocks add to the inverse covariance. None when the view does not determine its own pose.
pub fn information(state: &State, problem: &Problem, view: usize) -> Option<DMatrix<f64>> {
    let blocks: Vec<&Block> = problem.blocks.iter().filter(|block| block.view == view).collect();
    let normal = view_normal(state, problem.slots, &blocks, view, problem.priors);
    let kept = eliminate(&normal, 0.0, 0.0)?.kept;
    let mut all = DMatrix::zeros(problem.slots.n, problem.slots.n);
    for (b, &j) in normal.meets.iter().enumerate() {
        for (a, &i) in normal.meets.iter().enumerate() {
            all[(i, j)] = kept[(a, b)];
        }
    }
    Some(all)
}

/// g^T M^-1 g for each vector, M symmetric positive definite; None when it is not.
pub fn quadratic_forms(matrix: &DMatrix<f64>, vectors: &[DVector<f64>]) -> Option<Vec<f64>> {
    let (scale, factor) = factored(matrix)?;
    let form = |vector: &DVector<f64>| {
        let right = vector.component_mul(&scale);
        right.dot(&factor.solve(&right))
    };
    Some(vectors.iter().map(form).collect())
}

/// Inverse of a symmetric positive definite matrix; None when it is not.
pub fn inverse(matrix: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let (scale, factor) = factored(matrix)?;
    let mut inverse = factor.inverse();
    let n = scale.len();
    (0..n).for_each(|j| (0..n).for_each(|i| inverse[(i, j)] *= scale[i] * scale[j]));
    inverse.iter().all(|x| x.is_finite()).then_some(inverse)
}

/// What holds unknowns that no photo shows, as information: a tenth of a metre, or of a radian and
/// more.
const LOOSE: f64 = 1e-4;

/// How an adjustment ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Adjusted {
    pub cost: f64,
    pub steps: usize,
    pub converged: bool,
}

/// Moves `state` to the minimum of the robust cost. Every accepted step lowers the cost.
pub fn adjust(state: &mut State, problem: &Problem, max_steps: usize) -> Adjusted {
    let ended = descend(state, problem, max_steps, 0.0);
    match as_large_as_printed(state, problem.priors) {
        Some(sized) if problem.cost(&sized) < ended.cost => {
            *state = sized;
            descend(state, problem, max_steps, 0.0)
        }
        _ => ended,
    }
}

/// The same where photos may leave unknowns open: these stay about where they are.
pub fn adjust_loose(state: &mut State, problem: &Problem, max_steps: usize) -> Adjusted {
    descend(state, problem, max_steps, LOOSE)
}

fn descend(state: &mut State, problem: &Problem, max_steps: usize, loose: f64) -> Adjusted {
    let normal_of = |state: &State| {
        let mut normal = problem.normal(state);
        (0..normal.kept.nrows()).for_each(|i| normal.kept[(i, i)] += loose);
        normal
    };
    let mut damping = 1e-5;
    let mut growth = 2.0;
    let mut normal = normal_of(state);
    let mut cost = normal.cost;
    for step_idx in 0..max_steps {
        let ending = |converged| Adjusted { cost, steps: step_idx, converged };
        let Some((kept_step, view_steps)) = step(&normal, damping) else {
            damping = (damping * growth).max(1e-8);
            growth *= 2.0;
            if damping > 1e10 {
                return ending(false);
            }
            continue;
        };
        let mut trial = state.clone();
        trial.nudge_kept(problem.slots, kept_step.as_slice());
        for (view, own_step) in view_steps.iter().enumerate() {
            trial.nudge_view(view, own_step.as_slice());
        }
        let trial_cost = problem.cost(&trial);
        if trial_cost.is_finite() && trial_cost < cost {
            let fall = (cost - trial_cost) / cost.max(f64::MIN_POSITIVE);
            *state = trial;
            cost = trial_cost;
            damping = (damping / 10.0).max(1e-9);
            growth = 2.0;
            // A millionth of the cost moves no figure by a hundredth of its uncertainty. Under
            // strong damping a small fall means nothing: closely correlated unknowns
            // hardly move then.
            if fall < 1e-7 && damping <= 1e-7 {
                return Adjusted { cost, steps: step_idx + 1, converged: true };
            }
            normal = normal_of(state);
        } else {
            let expected =
                kept_step.amax().max(view_steps.iter().map(|s| s.amax()).fold(0.0, f64::max));
            if expected < 1e-9 || damping > 1e8 {
                return ending(true);
            }
            damping *= growth * 4.0;
            growth *= 2.0;
        }
    }
    Adjusted { cost, steps: max_steps, converged: false }
}

fn step(normal: &Normal, damping: f64) -> Option<(DVector<f64>, Vec<DVector<f64>>)> {
    let (reduced, eliminated) = reduce(normal, damping, 0.0)?;
    let kept_step = solve_scaled(&reduced.matrix, &reduced.right)?;
    let view_steps = normal
        .views
        .iter()
        .zip(&eliminated)
        .map(|(view, Eliminated { solved, solved_gradient, .. })| {
            let met = DVector::from_iterator(
                view.meets.len(),
                view.meets.iter().map(|&slot| kept_step[slot]),
            );
            -(solved_gradient + solved * met)
        })
        .collect();
    Some((kept_step, view_steps))
}

/// Cholesky factor of a symmetric matrix scaled to unit diagonal, and the scale; None when it is
/// not positive definite.
fn factored(matrix: &DMatrix<f64>) -> Option<(DVector<f64>, Cholesky<f64, Dyn>)> {
    let scale = matrix.diagonal().map(|d| 1.0 / d.sqrt());
    if scale.iter().any(|s| !s.is_finite()) {
        return None;
    }
    let n = scale.len();
    let scaled = DMatrix::from_fn(n, n, |i, j| matrix[(i, j)] * scale[i] * scale[j]);
    Some((scale, scaled.cholesky()?))
}

fn solve_scaled(matrix: &DMatrix<f64>, right: &DVector<f64>) -> Option<DVector<f64>> {
    let (scale, factor) = factored(matrix)?;
    let step = factor.solve(&right.component_mul(&scale)).component_mul(&scale);
    step.iter().all(|x| x.is_finite()).then_some(step)
}

/// Covariance of the kept unknowns where photos may leave some open: these come out as enormous,
/// and all others as they are.
pub fn loose_covariance(state: &State, problem: &Problem) -> Option<DMatrix<f64>> {
    let mut matrix = reduce(&problem.normal(state), 0.0, LOOSE)?.0.matrix;
    (0..matrix.nrows()).for_each(|i| matrix[(i, i)] += LOOSE);
    inverse(&matrix)
}

/// Covariance of the kept unknowns, the views' own unknowns marginalised: inverse of the undamped
/// reduced matrix. It holds for the gauge in which one card is fixed; functions that do not depend
/// on where the world frame lies have the same variance in any gauge. None when the photos leave
/// something undetermined.
pub fn covariance(state: &State, problem: &Problem) -> Option<DMatrix<f64>> {
    inverse(&reduce(&problem.normal(state), 0.0, 0.0)?.0.matrix)
}

/// Steps from one state under many assignments of what some views show, the normal equations of
/// each view made once. Right to first order only.
pub struct Trials {
    priors: Reduced,
    /// Of each view the kept unknowns that it meets, and its share.
    views: Vec<Share>,
    /// The same of the views that may show something else.
    others: BTreeMap<usize, Share>,
}

type Share = (Vec<usize>, Eliminated);

fn share(view: ViewNormal) -> Option<Share> {
    let part = eliminate(&view, 0.0, LOOSE)?;
    Some((view.meets, part))
}

impl Trials {
    /// Of a problem and another with the same priors and slots, whose blocks differ in these views
    /// alone. None when a view does not determine its own unknowns.
    pub fn of(state: &State, problem: &Problem, other: &Problem, views: &[usize]) -> Option<Self> {
        let normal = problem.normal(state);
        let priors = Reduced::of_priors(&normal);
        let by_view = other.by_view(state.views.len());
        let other_share = |&view: &usize| {
            let normal = view_normal(state, other.slots, &by_view[view], view, other.priors);
            Some((view, share(normal)?))
        };
        Some(Trials {
            priors,
            views: normal.views.into_iter().map(share).collect::<Option<_>>()?,
            others: views.iter().map(other_share).collect::<Option<_>>()?,
        })
    }

    /// Step of the kept unknowns, and their covariance, where these of the differing views are as
    /// the other problem has them. What photos leave open stays about where it is.
    pub fn step(&self, as_other: &[usize]) -> Option<(DVector<f64>, DMatrix<f64>)> {
        let mut reduced = self.priors.clone();
        for (view, own) in self.views.iter().enumerate() {
            let other = self.others.get(&view).filter(|_| as_other.contains(&view));
            let (meets, part) = other.unwrap_or(own);
            reduced.add(meets, part);
        }
        (0..reduced.matrix.nrows()).for_each(|i| reduced.matrix[(i, i)] += LOOSE);
        let covariance = inverse(&reduced.matrix)?;
        let step = solve_scaled(&reduced.matrix, &reduced.right)?;
        Some((step, covariance))
    }
}
