//! Where propagation of first order is too small: JCGM 101:2008, 9.2 to 9.4 (inputs seen in two
//! public implementations; results of 9.2 seen there too, those of 9.3 and 9.4 remembered and
//! confirmed by four million trials with another tool); and whether it is too small for figures of
//! ours.
//!
//! Ours could suffer where a figure holds a product of two quantities whose expected values are
//! both near zero, as 9.4 does: its first-order part vanishes. Offsets are heights times the tilt
//! of up (a height is far from zero: linear), the chain's offset at the gearbox holds the sprocket'
//! s tilt times where on its face the centre is (both near zero: the one candidate), yaws and leans
//! are arc tangents of slopes of a few thousandths (linear to parts in 10^5), run-out and its share
//! are amplitudes of a curve (a length of two components, not linear where both are near zero).

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;
use sightcord::bench::BenchSettings;
use sightcord::bench::choose::choices_of;
use sightcord::bench::evaluate::{Choices, Evaluation};
use sightcord::bench::from_job::bench_settings;
use sightcord::bench::nuisance::{self, Nuisance, Shift};
use sightcord::bench::propagate::propagate;
use sightcord::figure::Figure;
use sightcord::job::Job;
use sightcord::scene::{Solution, State};

use crate::common::solving::{scene_photos, solved};
use crate::common::{Budget, Random, SightingKnobs, TruthScene};
use crate::outside::fit::assert_near;
use crate::outside::gum::propagated;

const TRIALS: usize = 400_000;

/// Mean, standard deviation and the shortest-tailed 95 % interval (2.5 % on either side) of what is
/// drawn.
fn drawn(mut draw: impl FnMut(&mut Random) -> f64) -> (f64, f64, [f64; 2]) {
    let mut random = Random::new(101);
    let mut values: Vec<f64> = (0..TRIALS).map(|_| draw(&mut random)).collect();
    values.sort_by(f64::total_cmp);
    let (mean, sigma) = mean_and_sigma(&values);
    (mean, sigma, [values[TRIALS / 40], values[TRIALS - TRIALS / 40]])
}

fn mean_and_sigma(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (mean, (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt())
}

fn diagonal(sigma: &[f64]) -> DMatrix<f64> {
    DMatrix::from_diagonal(&DVector::from_iterator(sigma.len(), sigma.iter().map(|s| s * s)))
}

/// 9.2: a sum of four; here first order is exact. Intervals: 3.92 for normal inputs, 2 sqrt 3 (2 -
/// (3/5)^(1/4)) = 3.8794 for rectangular ones.
#[test]
fn a_sum_is_propagated_exactly() {
    let told = propagated(&diagonal(&[1.0; 4]), 1, |x| vec![x.iter().sum()]);
    assert_near("u", &[told.covariance[(0, 0)].sqrt()], &[2.0], 1e-9);
    let (_, sigma, interval) = drawn(|random| (0..4).map(|_| random.normal()).sum());
    assert!(
        (sigma - 2.0).abs() < 0.01 && (interval[1] - 3.92).abs() < 0.03,
        "{sigma} {interval:?}"
    );
    let half = 3.0_f64.sqrt();
    let (_, sigma, interval) = drawn(|random| (0..4).map(|_| random.between(-half, half)).sum());
    assert!(
        (sigma - 2.0).abs() < 0.01 && (interval[1] - 3.8794).abs() < 0.03,
        "{sigma} {interval:?}"
    );
}

/// 9.3, calibration of a mass: deviation from 100 g, mg, at deviations of mass, added mass, air
/// density and both densities.
fn mass(off: &[f64]) -> f64 {
    let (total, air) = (100_001.234 + off[0] + off[1], 1.2 + off[2]);
    total * (air - 1.2) * (1.0 / (8000.0 + off[3]) - 1.0 / (8000.0 + off[4])) + (total - 100_000.0)
}

/// Published: first order 0.0539, truly 0.0754 with 95 % between 1.0834 and 1.3825: the air's
/// deviation from 1.2 and the densities' difference are both zero by expectation, so their product
/// has no first-order part at all.
#[test]
fn first_order_misses_a_product_of_two_zeros() {
    let rectangular = |half: f64| half / 3.0_f64.sqrt();
    let sigma = [0.050, 0.020, rectangular(0.10), rectangular(1000.0), rectangular(50.0)];
    let told = propagated(&diagonal(&sigma), 1, |off| vec![mass(off)]);
    let first_order = told.covariance[(0, 0)].sqrt();
    assert!((first_order - 0.0539).abs() < 5e-5, "{first_order}");
    let (mean, true_sigma, interval) = drawn(|random| {
        let off = [
            random.gauss(0.050),
            random.gauss(0.020),
            random.between(-0.10, 0.10),
            random.between(-1000.0, 1000.0),
            random.between(-50.0, 50.0),
        ];
        mass(&off)
    });
    println!("9.3: first order {first_order:.4}, drawn {mean:.4} u {true_sigma:.4} {interval:.4?}");
    assert!(
        (mean - 1.2341).abs() < 5e-4 && (true_sigma - 0.0754).abs() < 5e-4,
        "{mean} {true_sigma}"
    );
    assert!(
        (interval[0] - 1.0834).abs() < 3e-3 && (interval[1] - 1.3825).abs() < 3e-3,
        "{interval:?}"
    );
}

/// 9.4: a length squared whose second component is expected to be zero. Published: first order
/// 2500e-6 with u 500e-6, truly 2551e-6 with 502e-6 (exactly 2550e-6 and 502.494e-6).
#[test]
fn first_order_misses_the_shift_of_a_length_squared() {
    let square = |off: &[f64]| (0.050 + off[0]).powi(2) + off[1].powi(2);
    let told = propagated(&diagonal(&[0.005; 2]), 1, |off| vec![square(off)]);
    assert_near("first order", &[told.covariance[(0, 0)].sqrt()], &[500e-6], 1e-8);
    let (mean, sigma, _) = drawn(|random| square(&[random.gauss(0.005), random.gauss(0.005)]));
    println!("9.4: drawn {mean:.3e} u {sigma:.3e}");
    assert!((mean - 2550e-6).abs() < 3e-6 && (sigma - 502.494e-6).abs() < 3e-6, "{mean} {sigma}");
}

/// A solved scene and how its figures are evaluated.
struct Told {
    solution: Solution,
    settings: BenchSettings,
    choices: Choices,
}

impl Told {
    fn figures(&self, state: &State, shift: Shift) -> Vec<(Figure, f64)> {
        Evaluation::new(&self.settings, &self.choices, state, shift).run().recorded
    }

    fn values(&self, state: &State, shift: Shift) -> Vec<f64> {
        self.figures(state, shift).into_iter().map(|(_, value)| value).collect()
    }
}

fn told() -> Told {
    let job = Job::default();
    let truth = TruthScene::full().with_errors(&Budget::standard(), 3);
    let (solution, _) =
        solved(&truth, &SightingKnobs::default(), &job).expect("the scene can be solved");
    let (_, setups, lens_only) = scene_photos(&truth, &SightingKnobs::default());
    let settings = bench_settings(&job, &setups, &lens_only);
    let choices = choices_of(&solution, &settings);
    Told { solution, settings, choices }
}

/// Figures that first order does not suit: a height of an arc and a distance without their signs,
/// near zero. Drawn, they scatter less (0.75 to 0.78 of first order), so their U is too large
/// rather than too small.
const MAGNITUDES: [&str; 2] = ["/bench/cord_straightness", "/bench/cord_moved"];

/// Every figure of a whole job, by first order and by drawing the scene's unknowns from their
/// covariance together with those nuisances that other quantities multiply: where the gearbox
/// sprocket's centre is, the sprocket's wobble, the level.
#[test]
fn first_order_is_enough_for_our_figures() {
    let told = told();
    let (solution, state) = (&told.solution, &told.solution.state);
    let covariance = solution.covariance.as_ref().expect("the photos determine everything");
    let nuisances: Vec<(Nuisance, f64)> = [0, 1]
        .into_iter()
        .flat_map(|way| {
            [
                (Nuisance::GearboxCentre(way), told.settings.assumed.gearbox_centre_u_mm / 2.0),
                (Nuisance::Wobble(way), nuisance::WOBBLE),
                (Nuisance::Level(way), told.settings.level_sigma),
                (Nuisance::CardTilt(way), 0.05),
            ]
        })
        .collect();
    let pointers: Vec<String> =
        told.figures(state, Shift(None)).into_iter().map(|(figure, _)| figure.pointer()).collect();
    let best = told.values(state, Shift(None));
    // Unknowns of very different sizes: drawn by the factor of the correlations.
    let n = covariance.nrows();
    let scale = covariance.diagonal().map(f64::sqrt);
    let correlations = DMatrix::from_fn(n, n, |i, j| covariance[(i, j)] / (scale[i] * scale[j]));
    let factor = correlations.cholesky().expect("a covariance is positive definite").l();
    for nuisance in std::iter::once(None).chain(nuisances.into_iter().map(Some)) {
        let list: Vec<_> = nuisance.into_iter().collect();
        let first_order = propagate(solution, covariance, &list, best.len(), |state, shift| {
            told.values(state, shift)
        })
        .covariance;
        let draws: Vec<Vec<f64>> = (0..2000_u64)
            .into_par_iter()
            .map(|trial| {
                let mut random = Random::stream(94, &[trial]);
                let normal = DVector::from_fn(n, |_, _| random.normal());
                let mut state = state.clone();
                state.nudge_kept(
                    &solution.slots,
                    (&factor * normal).component_mul(&scale).as_slice(),
                );
                told.values(
                    &state,
                    Shift(nuisance.map(|(nuisance, sigma)| (nuisance, random.gauss(sigma)))),
                )
            })
            .collect();
        let mut worst = (1.0_f64, "");
        let mut farthest = (0.0_f64, "");
        for (i, pointer) in pointers.iter().enumerate() {
            let values: Vec<f64> = draws.iter().map(|draw| draw[i]).collect();
            let (mean, sigma) = mean_and_sigma(&values);
            let linear = first_order[(i, i)].sqrt();
            let (ratio, shift) = (sigma / linear, (mean - best[i]).abs() / linear);
            if MAGNITUDES.contains(&pointer.as_str()) {
                assert!(
                    ratio < 1.07,
                    "{pointer} with {nuisance:?}: drawn {sigma}, first order {linear}"
                );
                continue;
            }
            if (ratio - 1.0).abs() > (worst.0 - 1.0).abs() {
                worst = (ratio, pointer);
            }
            if shift > farthest.0 {
                farthest = (shift, pointer);
            }
            // Two thousand draws tell a standard deviation to 1.6 %, a mean to 2.2 % of it.
            assert!(
                (0.93..1.07).contains(&ratio),
                "{pointer} with {nuisance:?}: drawn {sigma}, first order {linear}"
            );
            assert!(shift < 0.1, "{pointer} with {nuisance:?}: {mean} drawn, {} told", best[i]);
        }
        println!(
            "{nuisance:?}: drawn over first order {worst:.3?}, mean off by {farthest:.3?} standard deviations"
        );
    }
}
