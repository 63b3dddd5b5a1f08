//! Propagation of uncertainty: examples H.1 to H.3 of JCGM 100 (GUM). Inputs and published results
//! seen in the examples of an uncertainty calculator's repository; values to more digits computed
//! with it.
//!
//! They go through `bench::propagate` itself: the input quantities play the part of a scene's
//! unknowns or nuisances.

use nalgebra::{DMatrix, DVector};
use sightcord::bench::nuisance::{Nuisance, Shift};
use sightcord::bench::propagate::{Propagated, propagate};
use sightcord::math::Rigid;
use sightcord::scene::model::state::{Card, Ground};
use sightcord::scene::model::unknowns::Slots;
use sightcord::scene::{Solution, State};

use crate::outside::fit::{assert_near, fit};
use crate::outside::planar;

/// A scene with `n` unknowns that mean nothing: shifts of cards.
fn carrier(n: usize) -> Solution {
    let card = |_| Card {
        sheet: 0,
        world_from_card: Rigid::identity(),
        ground: Ground::Bench,
        fixed: false,
    };
    let state = State {
        print: [1.0; 2],
        cards: (0..n.div_ceil(3)).map(card).collect(),
        ..State::default()
    };
    Solution {
        slots: Slots::of(&state),
        state,
        blocks: Vec::new(),
        priors: planar::priors(0, [true; 5]),
        view_of: Vec::new(),
        covariance: None,
        undetermined: false,
        findings: Vec::new(),
        cards_of_unlike_size: Default::default(),
        moved_cards: Default::default(),
        loose_tabs: Default::default(),
        cord_moved: false,
        cord_unsettled: false,
        cord_reading: Default::default(),
        cord_findings: Vec::new(),
        group_spreads: Vec::new(),
        readings: Vec::new(),
        converged: true,
        regular: true,
    }
}

fn inputs(state: &State, n: usize) -> Vec<f64> {
    state
        .cards
        .iter()
        .flat_map(|card| card.world_from_card.t.iter().copied().collect::<Vec<_>>())
        .take(n)
        .collect()
}

/// Propagates the covariance of deviations from the inputs' values to what `model` gives at given
/// deviations.
pub fn propagated(
    covariance: &DMatrix<f64>,
    n_figures: usize,
    model: impl Fn(&[f64]) -> Vec<f64> + Sync,
) -> Propagated {
    let n = covariance.nrows();
    let solution = carrier(n);
    let slot = |i: usize| solution.slots.cards[i / 3] + 3 + i % 3;
    let mut of_slots = DMatrix::zeros(solution.slots.n, solution.slots.n);
    for i in 0..n {
        for j in 0..n {
            of_slots[(slot(i), slot(j))] = covariance[(i, j)];
        }
    }
    propagate(&solution, &of_slots, &[], n_figures, |state, _| model(&inputs(state, n)))
}

/// The same for inputs that are nuisances: independent, with these standard deviations.
fn propagated_nuisances(
    sigma: &[f64],
    n_figures: usize,
    model: impl Fn(&[f64]) -> Vec<f64> + Sync,
) -> Propagated {
    let solution = carrier(1);
    let nuisances: Vec<_> =
        sigma.iter().enumerate().map(|(i, sigma)| (Nuisance::Paper(i), *sigma)).collect();
    let none = DMatrix::zeros(solution.slots.n, solution.slots.n);
    propagate(&solution, &none, &nuisances, n_figures, |_, shift: Shift| {
        model(&nuisances.iter().map(|(nuisance, _)| shift.of(*nuisance)).collect::<Vec<_>>())
    })
}

pub fn correlation(covariance: &DMatrix<f64>, i: usize, j: usize) -> f64 {
    covariance[(i, j)] / (covariance[(i, i)] * covariance[(j, j)]).sqrt()
}

/// H.1, an end gauge: deviation of l = ls + d - ls (da theta + as dt) from 50 mm, nm, at deviations
/// of ls, d, as, theta, da, dt from their values, each in its standard uncertainties.
fn end_gauge(off: &[f64]) -> Vec<f64> {
    const VALUES: [f64; 6] = [623.0, 215.0, 11.5e-6, -0.1, 0.0, 0.0];
    const SIGMA: [f64; 6] = [25.0, 9.7, 1.2e-6, 0.41, 0.58e-6, 0.029];
    let [ls, d, alpha, theta, d_alpha, d_theta] =
        std::array::from_fn(|i| VALUES[i] + off[i] * SIGMA[i]);
    vec![ls + d - (5e7 + ls) * (d_alpha * theta + alpha * d_theta)]
}

/// Published: 838 nm, u = 32 nm (31.710609640431848 computed), of which 25, 9.7, 0, 0, 2.9 and
/// 16.7. With terms of second order u is 34: an input whose value is zero times another one adds to
/// the first order only by its value, which is why 32 is too small.
#[test]
fn the_end_gauges_uncertainty_is_the_published_one() {
    assert!((end_gauge(&[0.0; 6])[0] - 838.0).abs() < 1e-6);
    let unit = DMatrix::identity(6, 6);
    let as_unknowns = propagated(&unit, 1, end_gauge);
    let as_nuisances = propagated_nuisances(&[1.0; 6], 1, end_gauge);
    for told in [&as_unknowns, &as_nuisances] {
        assert_near("u", &[told.covariance[(0, 0)].sqrt()], &[31.710609640431848], 1e-8);
    }
    for (input, published) in [25.0, 9.7, 0.0, 0.0, 2.9, 16.7].into_iter().enumerate() {
        let mut alone = DMatrix::zeros(6, 6);
        alone[(input, input)] = 1.0;
        let u = propagated(&alone, 1, end_gauge).covariance[(0, 0)].sqrt();
        assert!((u - published).abs() < 0.05, "input {input}: {u} for {published}");
    }
}

const VOLTS: [f64; 5] = [5.007, 4.994, 5.005, 4.990, 4.999];
const MILLIAMPERES: [f64; 5] = [19.663, 19.639, 19.640, 19.685, 19.678];
const RADIANS: [f64; 5] = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433];

/// Resistance, reactance and impedance, ohms.
fn impedance(v: f64, i: f64, phi: f64) -> Vec<f64> {
    let z = 1e3 * v / i;
    vec![z * phi.cos(), z * phi.sin(), z]
}

/// H.2: three inputs observed together. Published to three digits (seen); the exact values were
/// computed.
#[test]
fn correlated_inputs_give_the_published_impedance() {
    let observed = [VOLTS, MILLIAMPERES, RADIANS];
    let mean = observed.map(|values| values.iter().sum::<f64>() / 5.0);
    let covariance = DMatrix::from_fn(3, 3, |i, j| {
        (0..5).map(|k| (observed[i][k] - mean[i]) * (observed[j][k] - mean[j])).sum::<f64>() / 20.0
    });
    let r_inputs = [(0, 1), (0, 2), (1, 2)].map(|(i, j)| correlation(&covariance, i, j));
    assert_near(
        "r of inputs",
        &r_inputs,
        &[-0.355311219817512, 0.857624210839962, -0.6451112176892568],
        1e-9,
    );
    let model = |off: &[f64]| impedance(mean[0] + off[0], mean[1] + off[1], mean[2] + off[2]);
    let exact = [127.73216992810208, 219.84651191263848, 254.25970194801894];
    assert_near("ohms", &model(&[0.0; 3]), &exact, 1e-12);
    let told = propagated(&covariance, 3, model).covariance;
    let sigma: Vec<f64> = (0..3).map(|i| told[(i, i)].sqrt()).collect();
    assert_near("u", &sigma, &[0.0710714073969954, 0.29558167735864405, 0.23633613008237758], 1e-8);
    let r = [(0, 1), (0, 2), (1, 2)].map(|(i, j)| correlation(&told, i, j));
    assert_near("r", &r, &[-0.5884297844235162, -0.4852592242099277, 0.9925116489490168], 1e-7);
    for (value, published) in
        sigma.iter().chain(&r).zip([0.071, 0.295, 0.236, -0.588, -0.485, 0.993])
    {
        assert!((value - published).abs() < 0.6e-3, "{value} for {published}");
    }
}

/// H.2 with the inputs' uncertainties and correlations rounded as printed: other values (seen),
/// which nothing that rounds on the way meets.
#[test]
fn rounded_correlations_give_the_values_that_belong_to_them() {
    let sigma = [0.0032, 0.0095, 0.00075];
    let r = [[1.0, -0.36, 0.86], [-0.36, 1.0, -0.65], [0.86, -0.65, 1.0]];
    let covariance = DMatrix::from_fn(3, 3, |i, j| sigma[i] * sigma[j] * r[i][j]);
    let told = propagated(&covariance, 3, |off| {
        impedance(4.9990 + off[0], 19.6610 + off[1], 1.04446 + off[2])
    })
    .covariance;
    let sigma: Vec<f64> = (0..3).map(|i| told[(i, i)].sqrt()).collect();
    assert_near("u", &sigma, &[0.0699787279884, 0.295716826846, 0.236602971835], 1e-7);
    let r = [(0, 1), (0, 2), (1, 2)].map(|(i, j)| correlation(&told, i, j));
    assert_near("r", &r, &[-0.591484610819, -0.490623905441, 0.992797472722], 1e-6);
}

/// H.3: a line through the errors of a thermometer, and its value at 30 degrees. Published: -0.1712
/// (0.0029), 0.00218 (0.00067), r -0.930, b(30) -0.1494 (0.0041) (seen); exact values computed.
#[test]
fn a_fitted_lines_covariance_reaches_what_is_derived_from_it() {
    let t =
        [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
    let b =
        [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
    let minimum = fit(&[0.0, 0.0], |y| {
        t.iter().zip(b).map(|(t, b)| y[1].clone() * (t - 20.0) + y[0].clone() - b).collect()
    });
    let line: DVector<f64> = minimum.parameters.clone();
    assert_near("line", line.as_slice(), &[-0.17120379013135004, 0.0021826977398872894], 1e-10);
    let variance = 2.0 * minimum.cost / 9.0;
    assert_near("s", &[variance.sqrt()], &[0.003497563963505287], 1e-10);
    let covariance = minimum.covariance().expect("eleven points determine a line") * variance;
    let told = propagated(&covariance, 3, |off| {
        let [y1, y2] = [line[0] + off[0], line[1] + off[1]];
        vec![y1, y2, y1 + y2 * 10.0]
    });
    let sigma: Vec<f64> = (0..3).map(|i| told.covariance[(i, i)].sqrt()).collect();
    assert_near(
        "u",
        &sigma,
        &[0.0028775978351599563, 0.0006679387732278323, 0.004138595752854951],
        1e-7,
    );
    assert_near("r", &[correlation(&told.covariance, 0, 1)], &[-0.9304296030934459], 1e-7);
    assert_near("b(30)", &[line[0] + 10.0 * line[1]], &[-0.14937681273247713], 1e-10);
}
