//! From lattice nodes to pixels: a plane seen by a pinhole, fitted to the nodes nearby, so that the
//! lens's distortion and a bowed sheet are followed.

use nalgebra::{SMatrix, SVector};

use crate::math::solve::Cholesky;

/// Nodes that one local map is fitted to. They span about three cells around: near enough for the
/// lens to be straight, and enough to average the corners' noise when the map reaches across the
/// lane.
const N_NEAREST: usize = 24;
/// Distance, in cells, at which a node counts half as much as one right at the place asked for.
const HALF_WEIGHT_CELLS: f64 = 2.0;
/// What lies farther along a row or column is asked about a node only where fewer than this many
/// lie nearer.
const CLOSE_CELLS: f64 = 4.0;
const ENOUGH_CLOSE: usize = 8;
/// Within this many cells of a place amid a card there are more nodes than are asked for.
const USUAL_REACH: f64 = 3.0;

/// A homography from lattice coordinates (x along columns, y along rows, in cells) to pixels.
#[derive(Clone, Copy, Debug)]
pub struct PlaneMap {
    /// Row-major, the last element 1; acts on lattice coordinates about `origin`.
    h: [f64; 8],
    origin: [f64; 2],
}

/// A node of the lattice and where it was seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Node {
    pub lattice: [f64; 2],
    pub at: [f64; 2],
}

impl PlaneMap {
    /// Weighted least squares over at least four nodes, linear in the eight unknowns; None when
    /// they don't span a plane.
    ///
    /// The residuals are those of the equations multiplied by their denominator, which stays near 1
    /// since the origin lies amid the nodes.
    pub fn fit(nodes: impl Iterator<Item = (Node, f64)> + Clone) -> Option<Self> {
        let (mut n, mut sum, mut origin, mut centre) = (0, 0.0, [0.0; 2], [0.0; 2]);
        for (node, weight) in nodes.clone() {
            n += 1;
            sum += weight;
            for i in 0..2 {
                origin[i] += weight * node.lattice[i];
                centre[i] += weight * node.at[i];
            }
        }
        if n < 4 {
            return None;
        }
        let origin = origin.map(|x| x / sum);
        let centre = centre.map(|x| x / sum);
        let mut size = 0.0;
        for (node, weight) in nodes.clone() {
            let [u, v] = [node.at[0] - centre[0], node.at[1] - centre[1]];
            size += weight * (u * u + v * v).sqrt();
        }
        let size = size / sum;
        let spans = size > 0.0 && size.is_finite();
        if !spans {
            return None;
        }
        let moments = Moments::of(nodes, origin, centre, size);
        let (mut matrix, right) = moments.equations();
        // A little weight holds the perspective terms near zero where the nodes don't tell them.
        for i in [6, 7] {
            matrix[(i, i)] += 1e-6 * sum;
        }
        let solved = Cholesky::new(&matrix)?.solve(&right);
        let mut h = [0.0; 8];
        for i in 0..3 {
            let bottom = if i < 2 { solved[6 + i] } else { 1.0 };
            h[i] = size * solved[i] + centre[0] * bottom;
            h[3 + i] = size * solved[3 + i] + centre[1] * bottom;
        }
        h[6] = solved[6];
        h[7] = solved[7];
        h.iter().all(|x| x.is_finite()).then_some(Self { h, origin })
    }

    /// The map fitted to those nodes that lie nearest to a lattice place.
    pub fn near(nodes: &[Node], lattice: [f64; 2]) -> Option<Self> {
        Self::near_some(nodes, lattice, |_| true)
    }

    /// The same from nodes other than the one at the place itself, from those close by if there are
    /// enough.
    pub fn near_others(nodes: &[Node], lattice: [f64; 2]) -> Option<Self> {
        let offset = |node: &Node| {
            (node.lattice[0] - lattice[0]).abs().max((node.lattice[1] - lattice[1]).abs())
        };
        let is_close = |node: &Node| node.lattice != lattice && offset(node) <= CLOSE_CELLS;
        if nodes.iter().filter(|node| is_close(node)).count() >= ENOUGH_CLOSE {
            Self::near_some(nodes, lattice, is_close)
        } else {
            Self::near_some(nodes, lattice, |node| node.lattice != lattice)
        }
    }

    fn near_some(
        nodes: &[Node],
        lattice: [f64; 2],
        is_used: impl Fn(&Node) -> bool,
    ) -> Option<Self> {
        let distance2 = |node: &Node| {
            (node.lattice[0] - lattice[0]).powi(2) + (node.lattice[1] - lattice[1]).powi(2)
        };
        let by_distance =
            |a: &(f64, usize), b: &(f64, usize)| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1));
        let used = nodes
            .iter()
            .enumerate()
            .filter(|(_, node)| is_used(node))
            .map(|(i, node)| (distance2(node), i));
        // Mostly the nearest lie all around, and the others need not be sorted.
        let mut order: Vec<(f64, usize)> = Vec::with_capacity(2 * N_NEAREST);
        order.extend(used.clone().filter(|&(distance2, _)| distance2 <= USUAL_REACH * USUAL_REACH));
        if order.len() < N_NEAREST {
            order.clear();
            order.extend(used);
        }
        if order.len() > N_NEAREST {
            order.select_nth_unstable_by(N_NEAREST - 1, by_distance);
            order.truncate(N_NEAREST);
            // The order decides the last digit of sums.
            order.sort_unstable_by(by_distance);
        }
        let half2 = HALF_WEIGHT_CELLS * HALF_WEIGHT_CELLS;
        Self::fit(order.iter().map(|&(distance2, i)| (nodes[i], half2 / (half2 + distance2))))
    }

    /// Where a lattice place lies, px; None when it lies behind the camera.
    pub fn at(&self, lattice: [f64; 2]) -> Option<[f64; 2]> {
        let [x, y] = [lattice[0] - self.origin[0], lattice[1] - self.origin[1]];
        let depth = self.h[6] * x + self.h[7] * y + 1.0;
        // A tenth of the nodes' own depth: nothing that is seen as cells reaches so near.
        (depth > 0.1).then(|| {
            let line = |i: usize| (self.h[i] * x + self.h[i + 1] * y + self.h[i + 2]) / depth;
            [line(0), line(3)]
        })
    }

    /// The steps of one cell along x and along y at a lattice place, px.
    pub fn steps(&self, lattice: [f64; 2]) -> Option<[[f64; 2]; 2]> {
        let step = |dx: f64, dy: f64| {
            let a = self.at([lattice[0] - 0.5 * dx, lattice[1] - 0.5 * dy])?;
            let b = self.at([lattice[0] + 0.5 * dx, lattice[1] + 0.5 * dy])?;
            Some([b[0] - a[0], b[1] - a[1]])
        };
        Some([step(1.0, 0.0)?, step(0.0, 1.0)?])
    }
}

/// Weighted sums over nodes that make up the normal equations of a map: of the lattice place
/// alone, of that times u, of that times v, and of that times u^2 + v^2; each by 1, x, y, x^2, xy
/// and y^2.
#[derive(Default)]
struct Moments {
    place: [f64; 6],
    by_u: [f64; 6],
    by_v: [f64; 6],
    by_square: [f64; 6],
}

impl Moments {
    fn of(
        nodes: impl Iterator<Item = (Node, f64)>,
        origin: [f64; 2],
        centre: [f64; 2],
        size: f64,
    ) -> Self {
        let mut moments = Self::default();
        let scale = 1.0 / size;
        for (node, weight) in nodes {
            let [x, y] = [node.lattice[0] - origin[0], node.lattice[1] - origin[1]];
            let [u, v] = [(node.at[0] - centre[0]) * scale, (node.at[1] - centre[1]) * scale];
            let square = u * u + v * v;
            for (i, product) in [1.0, x, y, x * x, x * y, y * y].into_iter().enumerate() {
                let weighted = weight * product;
                moments.place[i] += weighted;
                moments.by_u[i] += weighted * u;
                moments.by_v[i] += weighted * v;
                moments.by_square[i] += weighted * square;
            }
        }
        moments
    }

    /// The normal equations of the rows (x, y, 1, 0, 0, 0, -x u, -y u) = u and (0, 0, 0, x, y, 1,
    /// -x v, -y v) = v; of the matrix the lower triangle.
    fn equations(&self) -> (SMatrix<f64, 8, 8>, SVector<f64, 8>) {
        let [one, x, y, xx, xy, yy] = self.place;
        let mut matrix = SMatrix::<f64, 8, 8>::zeros();
        let mut right = SVector::<f64, 8>::zeros();
        for (first, by) in [(0, &self.by_u), (3, &self.by_v)] {
            let block = [[xx, xy, x], [xy, yy, y], [x, y, one]];
            for (i, row) in block.iter().enumerate() {
                for (j, &entry) in row.iter().enumerate().take(i + 1) {
                    matrix[(first + i, first + j)] = entry;
                }
            }
            let [one, x, y, xx, xy, yy] = *by;
            for (column, entries) in [(6, [xx, xy, x]), (7, [xy, yy, y])] {
                for (i, entry) in entries.into_iter().enumerate() {
                    matrix[(column, first + i)] = -entry;
                }
            }
            for (i, entry) in [x, y, one].into_iter().enumerate() {
                right[first + i] = entry;
            }
        }
        let [_, x, y, xx, xy, yy] = self.by_square;
        (matrix[(6, 6)], matrix[(7, 6)], matrix[(7, 7)]) = (xx, xy, yy);
        (right[6], right[7]) = (-x, -y);
        (matrix, right)
    }
}
