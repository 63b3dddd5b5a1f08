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

/// A place that the parameters have come to, with what is known there.
struct Place {
    x: DVector<f64>,
    residuals: DVector<f64>,
    jacobian: DMatrix<f64>,
    cost: f64,
    /// J^T J.
    normal: DMatrix<f64>,
    /// J^T r.
    gradient: DVector<f64>,
}

/// A damped step from a place.
struct Step {
    by: DVector<f64>,
    /// How far the cost falls by it where the residuals are straight.
    foreseen: f64,
}

impl Place {
    /// Of residuals and Jacobian at `x`.
    fn new(x: DVector<f64>, residuals: DVector<f64>, jacobian: DMatrix<f64>) -> Self {
        let cost = residuals.norm_squared() / 2.0;
        let normal = jacobian.tr_mul(&jacobian);
        let gradient = jacobian.tr_mul(&residuals);
        Self { x, residuals, jacobian, cost, normal, gradient }
    }

    /// None where the damping does not do to make J^T J invertible.
    fn damped_step(&self, damping: f64) -> Option<Step> {
        let n = self.x.len();
        let scale = self.normal.diagonal().map(|d| if d > 0.0 { 1.0 / d.sqrt() } else { 1.0 });
        let mut damped = DMatrix::from_fn(n, n, |i, j| self.normal[(i, j)] * scale[i] * scale[j]);
        for i in 0..n {
            damped[(i, i)] += damping;
        }
        let right = DVector::from_fn(n, |i, _| -self.gradient[i] * scale[i]);
        let scaled = damped.cholesky()?.solve(&right);
        let foreseen = scaled.dot(&(&right + &scaled * damping)) / 2.0;
        Some(Step { by: scaled.component_mul(&scale), foreseen })
    }

    fn is_small(&self, step: &Step) -> bool {
        (0..self.x.len()).all(|i| step.by[i].abs() <= 1e-12 * (self.x[i].abs() + 1e-12))
    }

    /// A runaway is recognised by size: no parameter of ours, nor of the published problems, ends a
    /// thousand times its start.
    fn ran_away(&self, start: &DVector<f64>) -> bool {
        let x = &self.x;
        let far = |i: usize| {
            x[i].abs() > 1e3 * start[i].abs().max(1e-3) && x[i].abs() > 1e4 || !x[i].is_finite()
        };
        (0..x.len()).any(far)
    }
}

/// The damping, and by how much the next refused step raises it.
struct Damping {
    by: f64,
    growth: f64,
}

impl Damping {
    /// With a tenth of it the first step from a far start of MGH10 (NIST StRD) already leaps out of
    /// the valley.
    const START: Self = Self { by: 1e-3, growth: 2.0 };

    /// After a refused step; false beyond `most`.
    fn raise(&mut self, most: f64) -> bool {
        self.by *= self.growth;
        self.growth *= 2.0;
        self.by <= most
    }

    /// After a step that lowered the cost by `gain` times what was foreseen.
    fn ease(&mut self, gain: f64) {
        self.by *= (1.0 - (2.0 * gain - 1.0).powi(3)).max(1.0 / 3.0);
        self.by = self.by.max(1e-16);
        self.growth = 2.0;
    }
}

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
    let mut evaluate_into = |x: &DVector<f64>, at: &mut (DVector<f64>, DMatrix<f64>)| {
        evaluate(x, &mut at.0, &mut at.1) && finite(&at.0, &at.1)
    };
    let mut trial = (DVector::zeros(n_residuals), DMatrix::zeros(n_residuals, n));
    if !evaluate_into(&start, &mut trial) {
        return Minimum {
            parameters: start,
            cost: f64::INFINITY,
            steps: 0,
            ending: Ending::Stuck,
            normal: DMatrix::zeros(n, n),
        };
    }
    let mut here = Place::new(start.clone(), trial.0.clone(), trial.1.clone());
    let mut damping = Damping::START;
    let (mut ending, mut steps, mut quiet) = (Ending::StillFalling, 0, 0);
    while steps < max_steps && ending == Ending::StillFalling {
        steps += 1;
        let Some(step) = here.damped_step(damping.by) else {
            if !damping.raise(1e12) {
                ending = Ending::Stuck;
            }
            continue;
        };
        let (x, cost, foreseen) = (&here.x + &step.by, here.cost, step.foreseen);
        let valid = evaluate_into(&x, &mut trial);
        let trial_cost = if valid { trial.0.norm_squared() / 2.0 } else { f64::INFINITY };
        let small_step = here.is_small(&step);
        // Where the cost has come down to its rounding, the gradient still shows the way: such
        // steps are taken until they promise nothing more.
        let at_rounding = foreseen <= 1e-12 * cost;
        if trial_cost <= cost || at_rounding && trial_cost <= cost * (1.0 + 1e-13) {
            let fell = cost - trial_cost;
            quiet = if fell < 1e-15 * cost { quiet + 1 } else { 0 };
            let left = std::mem::replace(&mut here, Place::new(x, trial.0, trial.1));
            trial = (left.residuals, left.jacobian);
            damping.ease(if at_rounding { 1.0 } else { fell / foreseen.max(f64::MIN_POSITIVE) });
            let promises_nothing = foreseen <= 1e-22 * here.cost || here.cost == 0.0;
            if small_step || promises_nothing || quiet >= MOST_QUIET_STEPS {
                ending = Ending::Converged;
            }
        } else if small_step || foreseen <= 1e-15 * cost {
            ending = Ending::Converged;
        } else if !damping.raise(1e16) {
            ending = Ending::Stuck;
        }
    }
    // It is no minimum even when the cost no longer falls: it flattens out on the way to infinity.
    if here.ran_away(&start) {
        ending = Ending::Diverged;
    }
    let Place { x, cost, normal, .. } = here;
    Minimum { parameters: x, cost, steps, ending, normal }
}

fn finite(residuals: &DVector<f64>, jacobian: &DMatrix<f64>) -> bool {
    residuals.iter().all(|v| v.is_finite()) && jacobian.iter().all(|v| v.is_finite())
}
