//! A block's share of the normal equations of the bundle adjustment: J^T J and J^T r, with the
//! derivatives of pixels by every unknown.

use nalgebra::{DMatrix, DVector, Matrix2x3, Vector2};

use crate::math::rigid::skew;
use crate::scene::model::observe::Block;
use crate::scene::model::state::State;
use crate::scene::model::unknowns::{N_VIEW, Slots};
use crate::scene::model::view::View;

use super::residual::{UNSEEN, huber_cost, huber_weight, point_residual};
use super::world_point::{WorldPoint, line_point, world_point};

/// One block's share of the normal equations: columns are the view's unknowns concerned, then the
/// kept ones.
pub struct BlockNormal {
    pub local: Vec<usize>,
    pub kept: Vec<usize>,
    /// J^T J over [local, kept].
    pub normal: DMatrix<f64>,
    /// J^T r.
    pub gradient: DVector<f64>,
    /// Robust cost: sum of rho(|r|^2) / 2.
    pub cost: f64,
}

/// A block's share of the normal equations.
pub fn normal(state: &State, slots: &Slots, block: &Block) -> BlockNormal {
    let view: &View = &state.views[block.view];
    let lens = state.lens_of(view);
    let lens_slot = slots.lenses[view.lens];
    let mut columns: Option<(Vec<usize>, Vec<usize>)> = None;
    // The transposed Jacobian, column by column, and the residuals.
    let mut transposed: Vec<f64> = Vec::new();
    let mut residuals: Vec<f64> = Vec::new();
    let mut cost = 0.0;
    let mut rows = [Vec::new(), Vec::new()];
    let mut add = |world: &WorldPoint,
                   whiten: &dyn Fn(Vector2<f64>) -> (Vector2<f64>, f64),
                   project_rows: &dyn Fn(&Vector2<f64>) -> Vector2<f64>| {
        let seen = view
            .in_camera(&lens, &world.at)
            .and_then(|(at, time)| Some((lens.project_with_derivatives(&at)?, at, time)));
        let Some(((pixel, by_point, by_lens), in_camera, time)) = seen else {
            cost += huber_cost(UNSEEN);
            return;
        };
        let (residual, length) = whiten(pixel);
        cost += huber_cost(length);
        let root = huber_weight(length).sqrt();
        let (local, kept) = columns.get_or_insert_with(|| {
            let local: Vec<usize> =
                (0..N_VIEW).chain(world.local.iter().map(|(slot, _)| *slot)).collect();
            let kept: Vec<usize> = (lens_slot..lens_slot + 9)
                .chain(world.kept.iter().map(|(slot, _)| *slot))
                .collect();
            let n = local.len() + kept.len();
            rows = [vec![0.0; n], vec![0.0; n]];
            (local, kept)
        });
        let by_world: Matrix2x3<f64> = by_point * view.camera_from_world.r;
        let zoom = view.log_zoom.exp();
        let mut at = 0;
        let mut put = |column: Vector2<f64>| {
            // The residual is seen minus foreseen; its derivative is minus the foreseen's.
            let row = project_rows(&column) * -root;
            (rows[0][at], rows[1][at]) = (row.x, row.y);
            at += 1;
        };
        // A sweep is so small that the derivatives are those of a camera that holds still.
        let turned = view.camera_from_world.r * world.at;
        let by_turn = by_point * -skew(&turned);
        (0..3).for_each(|i| put(by_turn.column(i).into_owned()));
        (0..3).for_each(|i| put(by_point.column(i).into_owned()));
        put(Vector2::new(by_lens[(0, 0)] * lens.fx, by_lens[(1, 1)] * lens.fy));
        put(Vector2::new(1.0, 0.0));
        put(Vector2::new(0.0, 1.0));
        let by_sweep = by_point * -skew(&in_camera) * time;
        (0..3).for_each(|i| put(by_sweep.column(i).into_owned()));
        (0..3).for_each(|i| put(by_point.column(i) * time));
        for (_, by) in &world.local {
            put(by_world * by);
        }
        for i in 0..9 {
            let factor = if i < 2 { zoom } else { 1.0 };
            put(by_lens.column(i) * factor);
        }
        for (_, by) in &world.kept {
            put(by_world * by);
        }
        debug_assert_eq!(at, local.len() + kept.len());
        rows.iter().for_each(|row| transposed.extend(row));
        residuals.extend((residual * root).iter());
    };
    for corner in block.corners.iter().filter(|corner| corner.used) {
        let world = world_point(state, slots, block, corner.cells, true);
        let whitened = corner.whiten / block.noise;
        add(
            &world,
            &|pixel| {
                let r = whitened * (corner.at - pixel);
                (r, r.norm())
            },
            &|column| whitened * column,
        );
    }
    for point in block.points.iter().filter(|point| point.used) {
        let Some((r, place)) = point_residual(state, block, point) else { continue };
        let world = line_point(state, slots, block.shown, place);
        let across = point.normal / (point.sigma * block.noise);
        add(
            &world,
            &|_| (Vector2::new(r / block.noise, 0.0), (r / block.noise).abs()),
            &|column| Vector2::new(across.dot(column), 0.0),
        );
    }
    let (local, kept) = columns.unwrap_or_default();
    let transposed = DMatrix::from_vec(local.len() + kept.len(), residuals.len(), transposed);
    let gradient = &transposed * DVector::from_vec(residuals);
    let normal = &transposed * transposed.transpose();
    BlockNormal { local, kept, normal, gradient, cost }
}
