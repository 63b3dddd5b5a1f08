//! Levenberg-Marquardt for small dense problems, and an honest word on how it ended.

use nalgebra::{DMatrix, DVector};

/// How a minimisation ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// The last steps changed neither cost nor parameters any more.
    Converged,
    /// The allowed number of steps was used up while the cost was still falling.
    StillFalling,
    /// No step lowers the cost although the gradient is not zero, or values overflowed.
    Stuck,
    /// Parameters ran away by many orders of magnitude while the cost hardly fell: no finite
    /// minimum in this direction.
    Diverged,
}

/// The outcome of [`minimise`].
#[derive(Clone, Debug)]
pub struct Minimum {
    pub parameters: DVector<f64>,
    /// Half of the sum of squared residuals.
    pub cost: f64,
    pub steps: usize,
    pub ending: Ending,
    /// J^T J at the end.
    pub normal: DMatrix<f64>,
}

impl Minimum {
    /// (J^T J)^-1: the covariance of the parameters for residuals of unit variance. None when J^T J
    /// is singular.
    pub fn covariance(&self) -> Option<DMatrix<f64>> {
        // Scaling to unit diagonal keeps parameters of very different sizes from spoiling the
        // factorisation.
        let scale = self.normal.diagonal().map(|d| 1.0 / d.sqrt());
        if scale.iter().any(|s| !s.is_finite()) {
            return None;
        }
        let scaled = DMatrix::from_fn(scale.len(), scale.len(), |i, j| {
            self.normal[(i, j)] * scale[i] * scale[j]
        });
        let inverse = scaled.cholesky()?.inverse();
        Some(DMatrix::from_fn(scale.len(), scale.len(), |i, j| {
            inverse[(i, j)] * scale[i] * scale[j]
        }))
    }
}

/// Steps in a row after which a cost that does not fall any more is at its rounding.
const MOST_QUIET_STEPS: usize = 20;

/// Minimises half the sum of squared residuals.
///
/// `evaluate` fills residuals and Jacobian at given parameters, or returns false where the model
/// has no value there. Damping is that of Marquardt (1963, diagonal of J^T J) with the gain-ratio
/// update of Nielsen (1999).
pub fn minimise(
    start: DVector<f64>,
    n_residuals: usize,
    max_steps: usize,
    mut evaluate: impl FnMut(&DVector<f64>, &mut DVector<f64>, &mut DMatrix<f64>) -> bool,
) -> Minimum {
    let n = start.len();
    let mut x = start;
    let mut residuals = DVector::zeros(n_residuals);
    let mut jacobian = DMatrix::zeros(n_residuals, n);
    if !evaluate(&x, &mut residuals, &mut jacobian) || !finite(&residuals, &jacobian) {
        return Minimum {
            parameters: x,
            cost: f64::INFINITY,
            steps: 0,
            ending: Ending::Stuck,
            normal: DMatrix::zeros(n, n),
        };
    }
    let start_size: Vec<f64> = x.iter().map(|v| v.abs()).collect();
    let mut cost = residuals.norm_squared() / 2.0;
    let mut normal = jacobian.tr_mul(&jacobian);
    let mut gradient = jacobian.tr_mul(&residuals);
    // With a tenth of it the first step from a far start of MGH10 (NIST StRD) already leaps out of
    // the valley.
    let (mut damping, mut growth) = (1e-3, 2.0);
    let (mut trial_residuals, mut trial_jacobian) = (residuals.clone(), jacobian.clone());
    let mut ending = Ending::StillFalling;
    let mut steps = 0;
    let mut quiet = 0;
    while steps < max_steps {
        steps += 1;
        let scale = normal.diagonal().map(|d| if d > 0.0 { 1.0 / d.sqrt() } else { 1.0 });
        let mut damped = DMatrix::from_fn(n, n, |i, j| normal[(i, j)] * scale[i] * scale[j]);
        for i in 0..n {
            damped[(i, i)] += damping;
        }
        let right = DVector::from_fn(n, |i, _| -gradient[i] * scale[i]);
        let Some(factor) = damped.cholesky() else {
            damping *= growth;
            growth *= 2.0;
            if damping > 1e12 {
                ending = Ending::Stuck;
                break;
            }
            continue;
        };
        let scaled_step = factor.solve(&right);
        let step = scaled_step.component_mul(&scale);
        let trial = &x + &step;
        let valid = evaluate(&trial, &mut trial_residuals, &mut trial_jacobian)
            && finite(&trial_residuals, &trial_jacobian);
        let trial_cost = if valid { trial_residuals.norm_squared() / 2.0 } else { f64::INFINITY };
        let foreseen = scaled_step.dot(&(&right + &scaled_step * damping)) / 2.0;
        let small_step = (0..n).all(|i| step[i].abs() <= 1e-12 * (x[i].abs() + 1e-12));
        // Where the cost has come down to its rounding, the gradient still tells the way: such
        // steps are taken until they promise nothing any more.
        let at_rounding = foreseen <= 1e-12 * cost;
        if trial_cost <= cost || at_rounding && trial_cost <= cost * (1.0 + 1e-13) {
            let gain = if at_rounding {
                1.0
            } else {
                (cost - trial_cost) / foreseen.max(f64::MIN_POSITIVE)
            };
            let is_quiet = (cost - trial_cost) < 1e-15 * cost;
            x = trial;
            cost = trial_cost;
            std::mem::swap(&mut residuals, &mut trial_residuals);
            std::mem::swap(&mut jacobian, &mut trial_jacobian);
            normal = jacobian.tr_mul(&jacobian);
            gradient = jacobian.tr_mul(&residuals);
            damping *= (1.0 - (2.0 * gain - 1.0).powi(3)).max(1.0 / 3.0);
            damping = damping.max(1e-16);
            growth = 2.0;
            quiet = if is_quiet { quiet + 1 } else { 0 };
            if small_step || foreseen <= 1e-22 * cost || quiet >= MOST_QUIET_STEPS || cost == 0.0 {
                ending = Ending::Converged;
                break;
            }
        } else {
            if small_step || foreseen <= 1e-15 * cost {
                ending = Ending::Converged;
                break;
            }
            damping *= growth;
            growth *= 2.0;
            if damping > 1e16 {
                ending = Ending::Stuck;
                break;
            }
        }
    }
    // A runaway is recognised by size: no parameter of ours, nor of the published problems, ends a
    // thousand times its start.
    let ran_away = (0..n).any(|i| x[i].abs() > 1e3 * start_size[i].max(1e-3) && x[i].abs() > 1e4);
    // It is no minimum even when the cost no longer falls: it flattens out on the way to infinity.
    if ran_away || x.iter().any(|v| !v.is_finite()) {
        ending = Ending::Diverged;
    }
    Minimum { parameters: x, cost, steps, ending, normal }
}

fn finite(residuals: &DVector<f64>, jacobian: &DMatrix<f64>) -> bool {
    residuals.iter().all(|v| v.is_finite()) && jacobian.iter().all(|v| v.is_finite())
}
