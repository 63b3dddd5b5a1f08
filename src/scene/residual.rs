//! Residuals of the observations and their derivatives by the unknowns.

use nalgebra::{DMatrix, DVector, Matrix2x3, Matrix3, Vector2, Vector3};

use crate::cards::Pattern;
use crate::math::rigid::skew;

use super::observe::{Block, SeenPoint, Shown};
use super::state::{Body, Cord, FIXED, Line, N_VIEW, Slots, State, View, line_axes};

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

/// From where on a residual counts linearly (Huber 1964), in standard deviations. Corners that
/// agree lie within 3; beyond it, a corner is more likely hidden in part than noisy.
const HUBER: f64 = 3.0;
/// Whitened residual of a point that has no picture (behind the camera): large, yet finite.
const UNSEEN: f64 = 1e3;

/// Huber's weight for a residual of this length: its square root multiplies residual and
/// derivatives.
fn huber_weight(length: f64) -> f64 {
    if length <= HUBER { 1.0 } else { HUBER / length }
}

fn huber_cost(length: f64) -> f64 {
    if length <= HUBER { length * length / 2.0 } else { HUBER * (length - HUBER / 2.0) }
}

/// Where a pattern's node lies in its own frame under the unknown print scale and bow, with
/// derivatives.
struct PatternPoint {
    at: Vector3<f64>,
    /// Columns and kept slots of the derivatives.
    by: Vec<(usize, Vector3<f64>)>,
}

fn card_point(
    state: &State,
    slots: &Slots,
    card: usize,
    cells: [f64; 2],
    with_derivatives: bool,
) -> PatternPoint {
    let sheet_idx = state.cards[card].sheet;
    let sheet = &state.sheets[sheet_idx];
    let pattern = Pattern::Card(sheet.number);
    let pitch = pattern.pitch_mm();
    let (x, y) = (cells[0] * pitch, cells[1] * pitch);
    let along = state.print[0] * (1.0 + sheet.scale[0]);
    let across = state.print[1] * (1.0 + sheet.scale[1]);
    // Bow z = kx (1 - x^2) + ky (1 - y^2), x and y from -1 to 1 over the pattern.
    let (sx, sy) = (2.0 * cells[0] / pattern.cols() as f64, 2.0 * cells[1] / pattern.rows() as f64);
    let (lift_x, lift_y) = (1.0 - sx * sx, 1.0 - sy * sy);
    let at = Vector3::new(x * along, y * across, sheet.bow[0] * lift_x + sheet.bow[1] * lift_y);
    let mut by = Vec::new();
    if with_derivatives {
        let slot = slots.sheets[sheet_idx];
        by.push((slots.print, Vector3::new(x * (1.0 + sheet.scale[0]), 0.0, 0.0)));
        by.push((slots.print + 1, Vector3::new(0.0, y * (1.0 + sheet.scale[1]), 0.0)));
        by.push((slot, Vector3::new(x * state.print[0], 0.0, 0.0)));
        by.push((slot + 1, Vector3::new(0.0, y * state.print[1], 0.0)));
        by.push((slot + 2, Vector3::new(0.0, 0.0, lift_x)));
        by.push((slot + 3, Vector3::new(0.0, 0.0, lift_y)));
    }
    PatternPoint { at, by }
}

/// Tabs come from the same printer: their size follows the mean of the common scales and a scale of
/// their own.
fn tab_point(
    state: &State,
    slots: &Slots,
    scale: f64,
    scale_slot: usize,
    pitch: f64,
    cells: [f64; 2],
) -> PatternPoint {
    let mean = (state.print[0] + state.print[1]) / 2.0;
    let plain = Vector3::new(cells[0] * pitch, cells[1] * pitch, 0.0);
    let half = plain * ((1.0 + scale) / 2.0);
    let by = vec![(slots.print, half), (slots.print + 1, half), (scale_slot, plain * mean)];
    PatternPoint { at: plain * (mean * (1.0 + scale)), by }
}

/// A point in the world, with derivatives by kept unknowns and by the view's flag turns.
struct WorldPoint {
    at: Vector3<f64>,
    kept: Vec<(usize, Vector3<f64>)>,
    local: Vec<(usize, Vector3<f64>)>,
}

fn push_pose(
    list: &mut Vec<(usize, Vector3<f64>)>,
    slot: usize,
    turned: &Vector3<f64>,
    outer: &Matrix3<f64>,
) {
    if slot == FIXED {
        return;
    }
    let by_turn = outer * -skew(turned);
    for i in 0..3 {
        list.push((slot + i, by_turn.column(i).into_owned()));
    }
    for i in 0..3 {
        list.push((slot + 3 + i, outer.column(i).into_owned()));
    }
}

fn world_point(
    state: &State,
    slots: &Slots,
    block: &Block,
    cells: [f64; 2],
    derivatives: bool,
) -> WorldPoint {
    let mut kept = Vec::new();
    let mut local = Vec::new();
    let at = match block.shown {
        Shown::Card(idx) => {
            let point = card_point(state, slots, idx, cells, derivatives);
            let pose = &state.cards[idx].world_from_card;
            let turned = pose.r * point.at;
            if derivatives {
                kept.extend(point.by.iter().map(|(slot, by)| (*slot, pose.r * by)));
                push_pose(&mut kept, slots.cards[idx], &turned, &Matrix3::identity());
            }
            turned + pose.t
        }
        Shown::Tab { tab: idx, body } => {
            let tab = &state.tabs[idx];
            let point = tab_point(state, slots, tab.scale, slots.tabs[idx] + 6, tab.pitch, cells);
            let pose = &tab.carrier_from_tab;
            let turned = pose.r * point.at;
            let in_carrier = turned + pose.t;
            let body: Option<&Body> = body.map(|b| &state.bodies[b]);
            let outer = body.map_or(Matrix3::identity(), |b| b.world_from_body.r);
            if derivatives {
                kept.extend(point.by.iter().map(|(slot, by)| (*slot, outer * (pose.r * by))));
                push_pose(&mut kept, slots.tabs[idx], &turned, &outer);
                if let Shown::Tab { body: Some(b), .. } = block.shown {
                    push_pose(
                        &mut kept,
                        slots.bodies[b],
                        &(outer * in_carrier),
                        &Matrix3::identity(),
                    );
                }
            }
            body.map_or(in_carrier, |b| b.world_from_body.apply(&in_carrier))
        }
        Shown::Flag { flag: idx, turn } => {
            let flag = &state.flags[idx];
            let point =
                tab_point(state, slots, flag.scale, slots.flags[idx] + 3, flag.pitch, cells);
            let r = state.views[block.view].flag_turns[turn];
            let turned = r * point.at;
            if derivatives {
                kept.extend(point.by.iter().map(|(slot, by)| (*slot, r * by)));
                for i in 0..3 {
                    kept.push((slots.flags[idx] + i, Matrix3::identity().column(i).into_owned()));
                }
                let by_turn = -skew(&turned);
                for i in 0..3 {
                    local.push((N_VIEW + 3 * turn + i, by_turn.column(i).into_owned()));
                }
            }
            turned + flag.centre
        }
        Shown::Cord(_) | Shown::Line(_) => Vector3::zeros(),
    };
    WorldPoint { at, kept, local }
}

/// Pixel that the unknowns foresee for a node of a block's pattern, or None where it has no
/// picture.
pub fn foreseen(
    state: &State,
    slots: &Slots,
    block: &Block,
    cells: [f64; 2],
) -> Option<Vector2<f64>> {
    let view = &state.views[block.view];
    let world = world_point(state, slots, block, cells, false).at;
    view.project(&state.lens_of(view), &world)
}

/// Whitened residual of each corner or point of a block (length of the 2-vector; signed for
/// points), None where not seen.
pub fn lengths(state: &State, slots: &Slots, block: &Block) -> Vec<f64> {
    let corners =
        block.corners.iter().map(|corner| match foreseen(state, slots, block, corner.cells) {
            Some(pixel) => (corner.whiten * (corner.at - pixel)).norm() / block.noise,
            None => UNSEEN,
        });
    let points = block.points.iter().map(|point| match point_residual(state, block, point) {
        Some((r, _)) => r / block.noise,
        None => UNSEEN,
    });
    corners.chain(points).collect()
}

/// Both whitened components of each used corner, or the one of each used point: what noise is
/// estimated from.
pub fn components(state: &State, slots: &Slots, block: &Block) -> Vec<f64> {
    let mut out = Vec::new();
    for corner in block.corners.iter().filter(|c| c.used) {
        if let Some(pixel) = foreseen(state, slots, block, corner.cells) {
            let r = corner.whiten * (corner.at - pixel);
            out.extend([r.x, r.y]);
        }
    }
    out.extend(point_components(state, block, |_| true));
    out
}

/// Both components of every corner, as stated: without the noise factor, and those left out as
/// well.
pub fn all_components(state: &State, slots: &Slots, block: &Block) -> Vec<f64> {
    let of_corner =
        |corner: &super::observe::SeenCorner| match foreseen(state, slots, block, corner.cells) {
            Some(pixel) => corner.whiten * (corner.at - pixel),
            None => Vector2::repeat(UNSEEN),
        };
    block.corners.iter().map(of_corner).flat_map(|r| [r.x, r.y]).collect()
}

/// The component of each used point that is wanted.
pub fn point_components(
    state: &State,
    block: &Block,
    wanted: impl Fn(&SeenPoint) -> bool,
) -> Vec<f64> {
    let points = block.points.iter().filter(|point| point.used && wanted(point));
    points.filter_map(|point| point_residual(state, block, point)).map(|(r, _)| r).collect()
}

/// Robust cost of one block.
pub fn cost(state: &State, slots: &Slots, block: &Block) -> f64 {
    let used = block.corners.iter().map(|c| c.used).chain(block.points.iter().map(|p| p.used));
    lengths(state, slots, block)
        .iter()
        .zip(used)
        .filter(|(_, used)| *used)
        .map(|(r, _)| huber_cost(r.abs()))
        .sum()
}

/// Residual in standard deviations (before the noise factor) of a point of a line's image, and the
/// place on the line it shows.
pub fn point_residual(
    state: &State,
    block: &Block,
    point: &SeenPoint,
) -> Option<(f64, Vector3<f64>)> {
    let view = &state.views[block.view];
    let lens = state.lens_of(view);
    let (eye, direction) = view.ray(&lens, &point.at)?;
    let world = match block.shown {
        Shown::Line(idx) => nearest_to_ray(&state.lines[idx], &eye, &direction)?,
        Shown::Cord(idx) => cord_nearest_to_ray(&state.cords[idx], &eye, &direction)?,
        _ => return None,
    };
    let pixel = view.project(&lens, &world)?;
    Some((point.normal.dot(&(point.at - pixel)) / point.sigma, world))
}

/// The line's point that comes nearest to a ray from `eye`; None along the line.
pub fn nearest_to_ray(line: &Line, eye: &Vector3<f64>, ray: &Vector3<f64>) -> Option<Vector3<f64>> {
    let normal = line.direction.cross(ray);
    let size = normal.norm_squared();
    if !(size > 1e-12 * ray.norm_squared()) {
        return None;
    }
    let along = (eye - line.point).cross(ray).dot(&normal) / size;
    Some(line.point + line.direction * along)
}

fn cord_nearest_to_ray(
    cord: &Cord,
    eye: &Vector3<f64>,
    ray: &Vector3<f64>,
) -> Option<Vector3<f64>> {
    let mut x = cord.middle;
    // The cord is all but straight: each pass takes the tangent at the last place, and two or three
    // settle it.
    for _ in 0..4 {
        let slope = cord.slope(x);
        let tangent = Line {
            kind: crate::sightings::StringKind::Cord,
            point: cord.at(x),
            direction: slope.normalize(),
        };
        let near = nearest_to_ray(&tangent, eye, ray)?.x;
        let settled = (near - x).abs() < 1e-7;
        x = near;
        if settled {
            break;
        }
    }
    x.is_finite().then(|| cord.at(x))
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

/// A place on a line with its derivatives; along the line nothing is seen, so the place itself is
/// held.
fn line_point(state: &State, slots: &Slots, shown: Shown, place: Vector3<f64>) -> WorldPoint {
    let mut kept = Vec::new();
    match shown {
        Shown::Line(idx) => {
            let line = &state.lines[idx];
            let [a, b] = line_axes(&line.direction);
            let along = (place - line.point).dot(&line.direction);
            let slot = slots.lines[idx];
            kept.extend([(slot, a), (slot + 1, b), (slot + 2, a * along), (slot + 3, b * along)]);
        }
        Shown::Cord(idx) => {
            let basis = state.cords[idx].basis(place.x);
            for (i, value) in basis.into_iter().enumerate() {
                kept.push((slots.cords[idx] + i, Vector3::new(0.0, value, 0.0)));
            }
            for (i, value) in basis.into_iter().enumerate() {
                kept.push((slots.cords[idx] + 3 + i, Vector3::new(0.0, 0.0, value)));
            }
        }
        _ => {}
    }
    WorldPoint { at: place, kept, local: Vec::new() }
}
