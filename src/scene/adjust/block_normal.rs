//! A block's share of the normal equations of the bundle adjustment: J^T J and J^T r, with the
//! derivatives of pixels by every unknown.

use nalgebra::{DMatrix, DVector, Matrix2x3, Vector2, Vector3};

use crate::camera::Lens;
use crate::camera::lens::ByLens;
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
    let mut gathered = Gathered::new(state, slots, block);
    for corner in block.corners.iter().filter(|corner| corner.used) {
        let world = world_point(state, slots, block, corner.cells, true);
        let whitened = corner.whiten / block.noise;
        gathered.add(
            &world,
            |pixel| {
                let r = whitened * (corner.at - pixel);
                (r, r.norm())
            },
            |column| whitened * column,
        );
    }
    for point in block.points.iter().filter(|point| point.used) {
        let Some((r, place)) = point_residual(state, block, point) else { continue };
        let world = line_point(state, slots, block.shown, place);
        let across = point.normal / (point.sigma * block.noise);
        gathered.add(
            &world,
            |_| (Vector2::new(r / block.noise, 0.0), (r / block.noise).abs()),
            |column| Vector2::new(across.dot(column), 0.0),
        );
    }
    gathered.finish()
}

/// The residuals of a block's points with their derivatives, as they are gathered.
struct Gathered<'a> {
    view: &'a View,
    lens: Lens,
    lens_slot: usize,
    /// Unknowns of the columns, by the first point that is seen: the view's own, then the kept.
    columns: Option<(Vec<usize>, Vec<usize>)>,
    /// The transposed Jacobian, column by column.
    transposed: Vec<f64>,
    residuals: Vec<f64>,
    cost: f64,
    /// The two rows of the point at hand.
    rows: [Vec<f64>; 2],
}

/// A point as the view sees it.
struct SeenAt {
    in_camera: Vector3<f64>,
    /// When its row is read, as `View::time` has it.
    time: f64,
    by_point: Matrix2x3<f64>,
    by_lens: ByLens,
}

impl<'a> Gathered<'a> {
    fn new(state: &'a State, slots: &Slots, block: &Block) -> Self {
        let view = &state.views[block.view];
        Self {
            view,
            lens: state.lens_of(view),
            lens_slot: slots.lenses[view.lens],
            columns: None,
            transposed: Vec::new(),
            residuals: Vec::new(),
            cost: 0.0,
            rows: [Vec::new(), Vec::new()],
        }
    }

    /// `whiten` makes of a foreseen pixel the residual in units of its uncertainty and its length,
    /// `project_rows` of a derivative of that pixel the residual's, but for its sign.
    fn add(
        &mut self,
        world: &WorldPoint,
        whiten: impl Fn(Vector2<f64>) -> (Vector2<f64>, f64),
        project_rows: impl Fn(&Vector2<f64>) -> Vector2<f64>,
    ) {
        let seen = self
            .view
            .in_camera(&self.lens, &world.at)
            .and_then(|(at, time)| Some((self.lens.project_with_derivatives(&at)?, at, time)));
        let Some(((pixel, by_point, by_lens), in_camera, time)) = seen else {
            self.cost += huber_cost(UNSEEN);
            return;
        };
        let (residual, length) = whiten(pixel);
        self.cost += huber_cost(length);
        let root = huber_weight(length).sqrt();
        self.name_columns(world);
        let rows = &mut self.rows;
        let mut at = 0;
        let seen = SeenAt { in_camera, time, by_point, by_lens };
        seen.derivatives(self.view, &self.lens, world, |column| {
            // The residual is seen minus foreseen; its derivative is minus the foreseen's.
            let row = project_rows(&column) * -root;
            (rows[0][at], rows[1][at]) = (row.x, row.y);
            at += 1;
        });
        debug_assert_eq!(at, self.rows[0].len());
        self.rows.iter().for_each(|row| self.transposed.extend(row));
        self.residuals.extend((residual * root).iter());
    }

    fn name_columns(&mut self, world: &WorldPoint) {
        if self.columns.is_some() {
            return;
        }
        let local: Vec<usize> =
            (0..N_VIEW).chain(world.local.iter().map(|(slot, _)| *slot)).collect();
        let kept: Vec<usize> = (self.lens_slot..self.lens_slot + 9)
            .chain(world.kept.iter().map(|(slot, _)| *slot))
            .collect();
        let n = local.len() + kept.len();
        self.rows = [vec![0.0; n], vec![0.0; n]];
        self.columns = Some((local, kept));
    }

    fn finish(self) -> BlockNormal {
        let (local, kept) = self.columns.unwrap_or_default();
        let (n_columns, n_rows) = (local.len() + kept.len(), self.residuals.len());
        let transposed = DMatrix::from_vec(n_columns, n_rows, self.transposed);
        let gradient = &transposed * DVector::from_vec(self.residuals);
        let normal = &transposed * transposed.transpose();
        BlockNormal { local, kept, normal, gradient, cost: self.cost }
    }
}

impl SeenAt {
    /// Derivatives of the pixel by every unknown, in the order of the columns.
    fn derivatives(
        &self,
        view: &View,
        lens: &Lens,
        world: &WorldPoint,
        mut put: impl FnMut(Vector2<f64>),
    ) {
        let Self { in_camera, time, by_point, by_lens } = self;
        let by_world: Matrix2x3<f64> = by_point * view.camera_from_world.r;
        let zoom = view.log_zoom.exp();
        // A sweep is so small that the derivatives are those of a camera that holds still.
        let turned = view.camera_from_world.r * world.at;
        let by_turn = by_point * -skew(&turned);
        (0..3).for_each(|i| put(by_turn.column(i).into_owned()));
        (0..3).for_each(|i| put(by_point.column(i).into_owned()));
        put(Vector2::new(by_lens[(0, 0)] * lens.fx, by_lens[(1, 1)] * lens.fy));
        put(Vector2::new(1.0, 0.0));
        put(Vector2::new(0.0, 1.0));
        let by_sweep = by_point * -skew(in_camera) * *time;
        (0..3).for_each(|i| put(by_sweep.column(i).into_owned()));
        (0..3).for_each(|i| put(by_point.column(i) * *time));
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
    }
}
