//! One look at a photo: from pixels to cards and tabs.

use std::collections::BTreeMap;

use crate::cards::Pattern;
use crate::math::robust::median;
use crate::photo::LinearImage;

use super::cells::{Ground, read_cells};
use super::corner::CornerFit;
use super::grow::{Fits, cell_px, corner_sightings, fit_pattern, guess, nodes};
use super::lattice::{Lattice, find_lattices};
use super::plane_map::{Node, PlaneMap};
use super::plate::Plate;
use super::pyramid::levels;
use super::read_card::{CardPlace, Placement, place_on_card};
use super::read_tab::{N_CELLS, TabReading, read_tab, reading_of, tab_words};
use super::seen::{PatternSighting, PhotoSightings};
use super::weak_dots::{WeakDots, WeakReading};
use super::x_corners::{CornerIndex, XCorner, find_x_corners};

/// Fewest nodes of a lattice that may be a tab: with fewer the 25 cells could not be placed.
const MIN_TAB_NODES: usize = 8;
/// Fewest nodes of a lattice that may be a card's patch: 30 cells are needed to be sure of
/// the place.
const MIN_CARD_NODES: usize = 16;
/// Fewest corners left after fitting for a sighting to be worth telling: a plane needs four, and
/// one more to check it.
const MIN_CORNERS: usize = 5;
/// Nodes from which on a lattice that could not be read is counted (our choice).
const UNREAD_NODES: usize = 12;
/// Largest part of the places for dark cells around a tab that may look dark (something may lie
/// over the paper). Around a window inside a card all are; at a field's corner 5 of 12.
const MAX_DARK_MARGIN: f64 = 0.35;

/// One pattern in the making.
struct Found {
    pattern: Pattern,
    fits: Fits,
    wrong_dots: u32,
    read_cells: u32,
    margin: u32,
}

impl Found {
    /// Takes over what another patch of the same print adds.
    fn merge(&mut self, other: Self) {
        for (key, fit) in other.fits {
            self.fits.entry(key).or_insert(fit);
        }
        self.wrong_dots += other.wrong_dots;
        self.read_cells += other.read_cells;
        self.margin = self.margin.max(other.margin);
    }
}

/// Whether two patches are parts of one print: the same pattern, and where one expects the other's
/// corners they are. Otherwise the pattern was printed twice.
fn same_print(a: &Found, b: &Found) -> bool {
    if a.pattern != b.pattern {
        return false;
    }
    let places = nodes(a.fits.iter().map(|(&key, fit)| (key, fit.at)));
    let is_near = |(&key, fit): (&(i32, i32), &CornerFit)| {
        let expected = guess(a.pattern, &places, key)?;
        let miss = (expected.at[0] - fit.at[0]).hypot(expected.at[1] - fit.at[1]);
        // Across the lane or an occlusion the expectation may be off by a part of a cell.
        Some(miss < cell_px(&expected))
    };
    2 * b.fits.iter().filter(|&corner| is_near(corner) == Some(true)).count() > b.fits.len()
}

/// Everything of the patterns that one photo shows at the first look.
pub fn look(image: &LinearImage) -> PhotoSightings {
    let mut all = Gathered::default();
    let plate = Plate::new(image);
    all.gather(&plate);
    // What grain still hid may come out when it is smoothed further.
    if let Some(plate) = plate.calmer() {
        all.gather(&plate);
    }
    let mut sightings = sightings(all.found, all.mirrored, all.n_unread);
    sightings.lanes = super::cord::find_lane_edges(image, &sightings.patterns);
    sightings.lines = super::flag_lines::find_lines(image, &sightings.patterns);
    sightings
}

/// What was found so far.
#[derive(Default)]
struct Gathered {
    found: Vec<Found>,
    mirrored: Vec<Pattern>,
    n_unread: usize,
}

impl Gathered {
    /// Adds what one calm picture shows.
    fn gather(&mut self, plate: &Plate) {
        let levels = levels(&plate.calm);
        if levels.is_empty() {
            return;
        }
        let corners = find_x_corners(&levels);
        let lattices = find_lattices(&levels, &corners);
        drop(levels);
        let index = CornerIndex::new(&corners);
        let mut claimed = vec![false; corners.len()];
        for known in &self.found {
            claim(known, &corners, &index, &mut claimed);
        }
        let (mut mirrored, mut n_unread) = (Vec::new(), 0);
        for mut lattice in lattices {
            let n_nodes = lattice.nodes.len();
            lattice.nodes.retain(|_, i| !claimed[*i]);
            if 2 * lattice.nodes.len() < n_nodes {
                continue;
            }
            match read(plate, &corners, &lattice) {
                Reading::Found(new) => {
                    claim(&new, &corners, &index, &mut claimed);
                    match self.found.iter_mut().find(|other| same_print(other, &new)) {
                        Some(other) => other.merge(new),
                        None => self.found.push(new),
                    }
                }
                Reading::Mirrored(pattern) => mirrored.push(pattern),
                Reading::Nothing => n_unread += usize::from(lattice.nodes.len() >= UNREAD_NODES),
            }
        }
        // A reflection seen in both pictures is one.
        if mirrored.len() > self.mirrored.len() {
            self.mirrored = mirrored;
        }
        self.n_unread = self.n_unread.max(n_unread);
    }
}

fn sightings(
    found: Vec<Found>,
    mut mirrored: Vec<Pattern>,
    unread_patches: usize,
) -> PhotoSightings {
    let blurs: Vec<f64> =
        found.iter().flat_map(|found| found.fits.values().map(|fit| fit.blur)).collect();
    let blur_px = median(&blurs).unwrap_or(f64::NAN);
    let mut patterns: Vec<PatternSighting> = found
        .into_iter()
        .map(|found| PatternSighting {
            pattern: found.pattern,
            corners: corner_sightings(found.pattern, &found.fits),
            wrong_dots: found.wrong_dots,
            read_cells: found.read_cells,
            margin: found.margin,
        })
        .collect();
    patterns.sort_by_key(|sighting| sighting.pattern);
    mirrored.sort();
    PhotoSightings {
        patterns,
        lines: Vec::new(),
        lanes: Vec::new(),
        mirrored,
        unread_patches,
        blur_px,
    }
}

enum Reading {
    Found(Found),
    Mirrored(Pattern),
    Nothing,
}

/// What a lattice is.
fn read(plate: &Plate, corners: &[XCorner], lattice: &Lattice) -> Reading {
    let Some((low, high)) = lattice.extent() else { return Reading::Nothing };
    let [wide, high_] = [high[0] - low[0] + 1, high[1] - low[1] + 1];
    if lattice.nodes.len() >= MIN_CARD_NODES && wide.max(high_) > 4 {
        let reading = read_as_card(plate, corners, lattice);
        if !matches!(reading, Reading::Nothing) {
            return reading;
        }
    }
    // A tab has 4 x 4 nodes; a stray corner or two may have joined.
    if lattice.nodes.len() < MIN_TAB_NODES || wide.max(high_) > 6 {
        return Reading::Nothing;
    }
    let mut windows: Vec<(usize, [i32; 2])> = (low[1].min(high[1] - 3)..=low[1].max(high[1] - 3))
        .flat_map(|y| (low[0].min(high[0] - 3)..=low[0].max(high[0] - 3)).map(move |x| [x, y]))
        .map(|[x, y]| {
            let inside =
                |&&(y1, x1): &&(i32, i32)| (y..y + 4).contains(&y1) && (x..x + 4).contains(&x1);
            (lattice.nodes.keys().filter(inside).count(), [x, y])
        })
        .filter(|&(n_inside, [x, y])| n_inside >= MIN_TAB_NODES && lattice.is_dark(x - 1, y - 1))
        .collect();
    windows.sort_by_key(|&(n_inside, at)| (std::cmp::Reverse(n_inside), at));
    for (_, window) in windows {
        let reading = read_as_tab(plate, corners, lattice, window);
        if !matches!(reading, Reading::Nothing) {
            return reading;
        }
    }
    Reading::Nothing
}

/// The patch as part of a card.
fn read_as_card(plate: &Plate, corners: &[XCorner], lattice: &Lattice) -> Reading {
    let places: BTreeMap<(i32, i32), [f64; 2]> =
        lattice.nodes.iter().map(|(&key, &i)| (key, corners[i].at)).collect();
    let n_known = |y: i32, x: i32| {
        [(y, x), (y, x + 1), (y + 1, x), (y + 1, x + 1)]
            .iter()
            .filter(|key| places.contains_key(key))
            .count()
    };
    let around: std::collections::BTreeSet<(i32, i32)> = places
        .keys()
        .flat_map(|&(y, x)| [(y, x), (y - 1, x), (y, x - 1), (y - 1, x - 1)])
        .collect();
    let cells = around.into_iter().filter(|&(y, x)| n_known(y, x) >= 2);
    let mut cells = read_cells(plate, &places, cells, |y, x| lattice.is_dark(x, y));
    // A cell of the wrong tone is hidden or lies beyond the print; at the rim a bright cell without
    // a dot may be blank paper.
    cells.retain(|&(y, x), cell| {
        let expected = if lattice.is_dark(x, y) { Ground::Dark } else { Ground::Bright };
        let may_be_blank =
            n_known(y, x) < 4 && cell.ground == Ground::Bright && cell.dot != Some(true);
        cell.ground == expected && !may_be_blank
    });
    let Some(CardPlace { pattern, mirrored, place, wrong_dots, read_cells, margin }) =
        place_on_card(&cells)
    else {
        return Reading::Nothing;
    };
    if mirrored {
        return Reading::Mirrored(pattern);
    }
    let fits = fit_pattern(plate, pattern, &to_pattern(&places, place));
    if fits.len() < MIN_CORNERS {
        return Reading::Nothing;
    }
    Reading::Found(Found { pattern, fits, wrong_dots, read_cells, margin })
}

/// Places by (y, x) as places by (r, c).
fn to_pattern(
    places: &BTreeMap<(i32, i32), [f64; 2]>,
    place: Placement,
) -> BTreeMap<(i32, i32), [f64; 2]> {
    places.iter().map(|(&(y, x), &at)| (place.node(x, y), at)).collect()
}

/// The 4 x 4 nodes from `window` on as the inner corners of a tab.
fn read_as_tab(plate: &Plate, corners: &[XCorner], lattice: &Lattice, window: [i32; 2]) -> Reading {
    // Nodes of the tab run from 0 to 5, the inner ones from 1 to 4.
    let places: BTreeMap<(i32, i32), [f64; 2]> = lattice
        .nodes
        .iter()
        .map(|(&(y, x), &i)| ((y - window[1] + 1, x - window[0] + 1), corners[i].at))
        .filter(|((y, x), _)| (1..=4).contains(y) && (1..=4).contains(x))
        .collect();
    let cells = (0..5).flat_map(|y| (0..5).map(move |x| (y, x)));
    let cells = read_cells(plate, &places, cells, |y, x| (x + y) % 2 == 0);
    let is_white = margin_is_white(&plate.calm, &places);
    let mut reading = read_tab(&cells, is_white);
    if matches!(reading, TabReading::Nothing) && is_white {
        reading = read_weakly(plate, &places);
    }
    match reading {
        TabReading::Tab { pattern, place, wrong_dots, read_cells, margin } => {
            let fits = fit_pattern(plate, pattern, &to_pattern(&places, place));
            if fits.len() < MIN_CORNERS {
                return Reading::Nothing;
            }
            Reading::Found(Found { pattern, fits, wrong_dots, read_cells, margin })
        }
        TabReading::Mirrored(pattern) => Reading::Mirrored(pattern),
        TabReading::Nothing => Reading::Nothing,
    }
}

/// A tab whose dots are too weak to be read one by one.
fn read_weakly(plate: &Plate, places: &BTreeMap<(i32, i32), [f64; 2]>) -> TabReading {
    let nodes: Vec<Node> = places
        .iter()
        .map(|(&(y, x), &at)| Node { lattice: [f64::from(x), f64::from(y)], at })
        .collect();
    match WeakDots::measure(plate, &nodes).and_then(|dots| dots.read()) {
        Some(WeakReading { word, wrong_dots }) => {
            reading_of(&tab_words()[word], wrong_dots, N_CELLS as u32, 0)
        }
        None => TabReading::Nothing,
    }
}

/// Whether the paper shows where a card would go on with dark cells.
fn margin_is_white(image: &LinearImage, places: &BTreeMap<(i32, i32), [f64; 2]>) -> bool {
    let nodes: Vec<Node> = places
        .iter()
        .map(|(&(y, x), &at)| Node { lattice: [f64::from(x), f64::from(y)], at })
        .collect();
    let value = |x: f64, y: f64| {
        let [u, v] = PlaneMap::near(&nodes, [x, y])?.at([x, y])?;
        image.sample(u, v)
    };
    // Levels from the ground of the inner cells, around their dots.
    let (mut dark, mut bright) = (Vec::new(), Vec::new());
    for (y, x) in (1..4).flat_map(|y| (1..4).map(move |x| (y, x))) {
        for [dx, dy] in [[0.18, 0.18], [0.82, 0.18], [0.18, 0.82], [0.82, 0.82]] {
            let levels = if (x + y) % 2 == 0 { &mut dark } else { &mut bright };
            levels.extend(value(f64::from(x) + dx, f64::from(y) + dy));
        }
    }
    dark.sort_by(f32::total_cmp);
    bright.sort_by(f32::total_cmp);
    let (Some(&dark), Some(&bright)) = (dark.get(dark.len() / 2), bright.get(bright.len() / 2))
    else {
        return false;
    };
    let (mut n_seen, mut n_dark) = (0, 0);
    for (y, x) in (-1..=5).flat_map(|y| (-1..=5).map(move |x| (y, x))) {
        let is_ring = x == -1 || y == -1 || x == 5 || y == 5;
        if is_ring
            && (x + y) % 2 == 0
            && let Some(value) = value(f64::from(x) + 0.5, f64::from(y) + 0.5)
        {
            n_seen += 1;
            n_dark += usize::from(value < 0.5 * (dark + bright));
        }
    }
    n_seen >= 6 && n_dark as f64 <= MAX_DARK_MARGIN * n_seen as f64
}

/// Marks the corners that belong to a found pattern, so that nothing else is made of them.
fn claim(found: &Found, corners: &[XCorner], index: &CornerIndex, claimed: &mut [bool]) {
    let places = nodes(found.fits.iter().map(|(&key, fit)| (key, fit.at)));
    let (rows, cols) = (found.pattern.rows() as i32, found.pattern.cols() as i32);
    for node in (0..=rows).flat_map(|r| (0..=cols).map(move |c| (r, c))) {
        if let Some(guess) = guess(found.pattern, &places, node) {
            for i in index.within(corners, guess.at, (0.35 * cell_px(&guess)).min(200.0)) {
                claimed[i] = true;
            }
        }
    }
}
