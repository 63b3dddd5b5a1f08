//! A lens told by photos whose cards may lie anywhere: each card in each photo has a place of its
//! own, so that nothing is assumed of what lies still.

use nalgebra::{Matrix6, SMatrix, SVector, Vector6};

use crate::camera::Lens;
use crate::math::Rigid;
use crate::math::rigid::skew;
use crate::scene::start::pose::{Glimpse, locate, refine};

/// Noise of a corner where the lens is only roughly known, as a multiple of what is stated.
const COARSE: f64 = 10.0;
/// Lens parameters that are told: focal length, principal point, k1 and k2.
const N: usize = 5;
/// What is known of them beforehand: a share of the focal length for the first three.
const SIGMA: [f64; N] = [0.05, 0.02, 0.02, 0.1, 0.1];
/// Rounds of lens and places in turn.
const ROUNDS: usize = 8;

/// Each glimpse's camera_from_card by the lens that all of them tell; None for one that determines
/// no place.
pub(super) fn lens_and_places(start: Lens, mut glimpses: Vec<Glimpse>) -> Vec<Option<Rigid>> {
    let mut lens = start;
    let mut places: Vec<Option<Rigid>> = glimpses
        .iter()
        .map(|glimpse| locate(std::slice::from_ref(glimpse), COARSE).map(|(pose, _)| pose))
        .collect();
    for _ in 0..ROUNDS {
        let sigma =
            SVector::<f64, N>::from_fn(|i, _| SIGMA[i] * if i < 3 { start.fx } else { 1.0 });
        let mut normal = SMatrix::<f64, N, N>::from_diagonal(&sigma.map(|sigma| sigma.powi(-2)));
        let moved = SVector::from([
            lens.fx - start.fx,
            lens.cx - start.cx,
            lens.cy - start.cy,
            lens.k1 - start.k1,
            lens.k2 - start.k2,
        ]);
        let mut gradient = -normal * moved;
        for (glimpse, place) in glimpses.iter().zip(&places) {
            if let Some(place) = place {
                let (n, g) = lens_alone(glimpse, place);
                normal += n;
                gradient += g;
            }
        }
        let Some(step) = normal.cholesky().map(|factor| factor.solve(&gradient)) else { break };
        if !step.iter().all(|x| x.is_finite()) {
            break;
        }
        lens.fx += step[0];
        lens.fy = lens.fx;
        lens.cx += step[1];
        lens.cy += step[2];
        lens.k1 += step[3];
        lens.k2 += step[4];
        for (glimpse, place) in glimpses.iter_mut().zip(&mut places) {
            glimpse.lens = lens;
            if let Some(place) = place {
                *place = refine(std::slice::from_ref(glimpse), *place, COARSE, 8).0;
            }
        }
    }
    places
}

/// What one card in one photo says of focal length and distortion, its place being free.
fn lens_alone(glimpse: &Glimpse, place: &Rigid) -> (SMatrix<f64, N, N>, SVector<f64, N>) {
    let (mut own, mut own_right) = (Matrix6::<f64>::zeros(), Vector6::zeros());
    let mut cross = SMatrix::<f64, 6, N>::zeros();
    let (mut of_lens, mut lens_right) = (SMatrix::zeros(), SVector::zeros());
    for (point, pixel, whiten) in &glimpse.corners {
        let turned = place.r * point;
        let Some((seen, by_point, by_lens)) =
            glimpse.lens.project_with_derivatives(&(turned + place.t))
        else {
            continue;
        };
        let whiten = whiten / COARSE;
        let residual = whiten * (pixel - seen);
        let length = residual.norm();
        let weight = if length > 3.0 { 3.0 / length } else { 1.0 };
        let mut rows = nalgebra::Matrix2x6::zeros();
        rows.fixed_columns_mut::<3>(0).copy_from(&(whiten * by_point * -skew(&turned)));
        rows.fixed_columns_mut::<3>(3).copy_from(&(whiten * by_point));
        let lens_rows = SMatrix::<f64, 2, N>::from_columns(&[
            whiten * (by_lens.column(0) + by_lens.column(1)),
            whiten * by_lens.column(2),
            whiten * by_lens.column(3),
            whiten * by_lens.column(4),
            whiten * by_lens.column(5),
        ]);
        own += rows.transpose() * rows * weight;
        cross += rows.transpose() * lens_rows * weight;
        of_lens += lens_rows.transpose() * lens_rows * weight;
        own_right += rows.transpose() * residual * weight;
        lens_right += lens_rows.transpose() * residual * weight;
    }
    let Some(factor) = own.cholesky() else { return (SMatrix::zeros(), SVector::zeros()) };
    let reduced = of_lens - cross.transpose() * factor.solve(&cross);
    let right = lens_right - cross.transpose() * factor.solve(&own_right);
    (reduced, right)
}
