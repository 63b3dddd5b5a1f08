//! Local lattices: linked X-corners (see `corner_links`) given whole-number coordinates, and grown
//! to where they go on.

use std::collections::{BTreeMap, VecDeque};

use super::corner_links::{Link, MIN_COSINE, mutual, whole_cells};
use super::plane_map::{Node, PlaneMap};
use super::pyramid::Level;
use super::x_corners::{CornerIndex, XCorner};

/// How far, in cells, a corner may lie from where its neighbours say it is (our choice).
const MAX_MISFIT: f64 = 0.22;
/// Coordinates beyond this are no card's: the longer side of a card has 26 cells.
const MAX_EXTENT: i32 = 40;

/// X-corners with lattice coordinates. x grows to the right where y grows down the photo: never
/// mirrored, but turned anyhow.
#[derive(Clone, Debug, Default)]
pub struct Lattice {
    /// Corner index by (y, x).
    pub nodes: BTreeMap<(i32, i32), usize>,
    /// Whether the cell between nodes (0, 0) and (1, 1) is dark.
    pub first_dark: bool,
}

impl Lattice {
    /// Whether the cell (x, y), between nodes (x, y) and (x + 1, y + 1), is dark by the chequer.
    pub fn is_dark(&self, x: i32, y: i32) -> bool {
        self.first_dark == ((x + y).rem_euclid(2) == 0)
    }

    /// Least and largest x and y of the nodes.
    pub fn extent(&self) -> Option<([i32; 2], [i32; 2])> {
        let (first, last) = (self.nodes.keys().next()?, self.nodes.keys().next_back()?);
        let left = self.nodes.keys().map(|key| key.1).min()?;
        let right = self.nodes.keys().map(|key| key.1).max()?;
        Some(([left, first.0], [right, last.0]))
    }

    /// The nodes as places.
    pub fn places(&self, corners: &[XCorner]) -> Vec<Node> {
        let node = |(&(y, x), &i): (&(i32, i32), &usize)| Node {
            lattice: [f64::from(x), f64::from(y)],
            at: corners[i].at,
        };
        self.nodes.iter().map(node).collect()
    }
}

/// All lattices of at least one whole cell, the largest first.
pub fn find_lattices(levels: &[Level], corners: &[XCorner]) -> Vec<Lattice> {
    let index = CornerIndex::new(corners);
    let links = whole_cells(&mutual(levels, corners, &index));
    let mut used = vec![false; corners.len()];
    let mut lattices: Vec<Lattice> =
        (0..corners.len()).filter_map(|seed| connected(seed, &links, &mut used, corners)).collect();
    lattices.sort_by_key(|lattice| std::cmp::Reverse(lattice.nodes.len()));
    let mut taken = vec![false; corners.len()];
    let mut grown = Vec::new();
    for mut lattice in lattices {
        lattice.nodes.retain(|_, i| !taken[*i]);
        if lattice.nodes.len() < 4 {
            continue;
        }
        grow(&mut lattice, corners, &index, &taken);
        for &i in lattice.nodes.values() {
            taken[i] = true;
        }
        grown.push(lattice);
    }
    grown
}

/// The lattice that contains `seed`: coordinates spread along links, first come first served.
fn connected(
    seed: usize,
    links: &[[Link; 4]],
    used: &mut [bool],
    corners: &[XCorner],
) -> Option<Lattice> {
    if used[seed] || links[seed].iter().all(Option::is_none) {
        return None;
    }
    const STEPS: [(i32, i32); 4] = [(1, 0), (0, 1), (-1, 0), (0, -1)];
    let mut lattice = Lattice { first_dark: corners[seed].dark_after(0), ..Lattice::default() };
    // What must be added to a ray's number to get its direction in the lattice.
    let mut queue = VecDeque::from([(seed, (0, 0), 0)]);
    used[seed] = true;
    lattice.nodes.insert((0, 0), seed);
    while let Some((i, (x, y), turn)) = queue.pop_front() {
        for (slot, link) in links[i].iter().enumerate() {
            let Some((j, back)) = *link else { continue };
            let direction = (slot + turn) % 4;
            let (x, y) = (x + STEPS[direction].0, y + STEPS[direction].1);
            if used[j] || lattice.nodes.contains_key(&(y, x)) || x.abs().max(y.abs()) > MAX_EXTENT {
                continue;
            }
            used[j] = true;
            lattice.nodes.insert((y, x), j);
            queue.push_back((j, (x, y), (direction + 6 - back) % 4));
        }
    }
    Some(lattice)
}

/// Adds corners that lie where the lattice goes on, until there are none: across an edge that
/// something hides, and over links that one bad direction broke.
fn grow(lattice: &mut Lattice, corners: &[XCorner], index: &CornerIndex, taken: &[bool]) {
    let mut tried = std::collections::BTreeSet::new();
    loop {
        let places = lattice.places(corners);
        let (low, high) = lattice.extent().unwrap_or_default();
        let mut added = Vec::new();
        let fringe: std::collections::BTreeSet<(i32, i32)> = lattice
            .nodes
            .keys()
            .flat_map(|&(y, x)| [(y, x + 1), (y, x - 1), (y + 1, x), (y - 1, x)])
            .filter(|key| !lattice.nodes.contains_key(key) && !tried.contains(key))
            .collect();
        for (y, x) in fringe {
            if (high[0].max(x) - low[0].min(x)).max(high[1].max(y) - low[1].min(y)) > MAX_EXTENT {
                continue;
            }
            if let Some(i) = candidate(lattice, corners, index, &places, x, y)
                && !taken[i]
                && !lattice.nodes.values().any(|&other| other == i)
            {
                added.push(((y, x), i));
            } else {
                tried.insert((y, x));
            }
        }
        if added.is_empty() {
            return;
        }
        for (key, i) in added {
            if !lattice.nodes.values().any(|&other| other == i) {
                lattice.nodes.insert(key, i);
            }
        }
    }
}

/// The corner at node (x, y) where the nodes around predict it, with edges and tones as the lattice
/// has them.
fn candidate(
    lattice: &Lattice,
    corners: &[XCorner],
    index: &CornerIndex,
    places: &[Node],
    x: i32,
    y: i32,
) -> Option<usize> {
    let node = [f64::from(x), f64::from(y)];
    let map = PlaneMap::near(places, node)?;
    let at = map.at(node)?;
    let [along_x, along_y] = map.steps(node)?;
    let cell = along_x[0].hypot(along_x[1]).min(along_y[0].hypot(along_y[1]));
    if !(cell > 3.0 && cell < 1000.0) {
        return None;
    }
    let fits = |i: usize| corner_fits(&corners[i], [along_x, along_y], lattice.is_dark(x, y));
    let distance = |i: usize| (corners[i].at[0] - at[0]).hypot(corners[i].at[1] - at[1]);
    let near = index.within(corners, at, (MAX_MISFIT * cell).max(1.0));
    near.into_iter().filter(|&i| fits(i)).min_by(|&a, &b| distance(a).total_cmp(&distance(b)))
}

/// Whether a corner's edges run along the steps and its sectors have the tones of the chequer.
fn corner_fits(corner: &XCorner, steps: [[f64; 2]; 2], first_dark: bool) -> bool {
    let [(right, cosine_x), (down, cosine_y)] = steps.map(|[u, v]| {
        let length = u.hypot(v);
        corner.nearest_ray([u / length, v / length])
    });
    // The cell after the node in both directions lies between the ray along x and the ray along y.
    cosine_x.min(cosine_y) >= MIN_COSINE
        && (right + 1) % 4 == down
        && corner.dark_after(right) == first_dark
}
