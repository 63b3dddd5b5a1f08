//! A photo that has not been taken yet: what it would show of a solved scene, and how much that
//! would tell.

use nalgebra::{DMatrix, Matrix2, Matrix3, Vector2, Vector3};

use crate::cards::Pattern;
use crate::math::Rigid;
use crate::math::robust::median;
use crate::scene::adjust::residual::foreseen;
use crate::scene::adjust::solve::{Problem, information};
use crate::scene::model::observe::{Block, SeenCorner, SeenPoint, Shown};
use crate::scene::model::priors::LensStart;
use crate::scene::model::solution::Solution;
use crate::scene::model::state::{Carrier, Ground, State};
use crate::scene::model::unknowns::Slots;
use crate::scene::model::view::View;

/// Where the camera would stand and what it would look at, in the world, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Viewpoint {
    pub setup: usize,
    pub eye: Vector3<f64>,
    pub target: Vector3<f64>,
}

/// What a photo from a stand would show.
#[derive(Clone, Debug)]
pub struct Forecast {
    pub cards: Vec<u8>,
    pub tabs: Vec<u8>,
    /// Addition to the inverse covariance of the kept unknowns.
    pub information: DMatrix<f64>,
}

/// Corner noise of an ordinary photo at 16 px cells, px: what is measured on sharp photos of 8
/// megapixels.
const SIGMA_AT_16_PX: f64 = 0.03;
/// Smaller cells are not counted on, nor patterns seen more flatly than this (cosine of 68
/// degrees).
const LEAST_CELL_PX: f64 = 9.0;
const LEAST_COSINE: f64 = 0.37;
/// Part of the corners in view that are counted on: frame and wheel hide some, and it is not known
/// which.
const SEEN_SHARE: usize = 2;
/// A cord's ends are those of what was seen of it, its places not quite the cards' middles, mm (our
/// choice).
const CORD_ENDS: f64 = 5.0;

/// Imagines a photo with the lens of the job's first photo. None when it would show no card or
/// could not be placed.
pub fn forecast(solution: &Solution, viewpoint: &Viewpoint) -> Option<Forecast> {
    let mut state: State = solution.state.clone();
    let model = solution.state.views.first()?;
    let lens = state.lenses[model.lens];
    let LensStart { width, height, .. } = solution.priors.lens_start[model.lens];
    let camera_from_world = looking(&viewpoint.eye, &viewpoint.target)?;
    let view_idx = state.views.len();
    state.views.push(View::still(model.lens, viewpoint.setup, camera_from_world, [width, height]));
    let slots = Slots::of(&state);
    let inside = |p: &Vector2<f64>| {
        p.x > 8.0 && p.y > 8.0 && p.x < width as f64 - 9.0 && p.y < height as f64 - 9.0
    };
    let (mut blocks, mut cards, mut tabs) = (Vec::new(), Vec::new(), Vec::new());
    for (shown, pattern, pose) in marks(&state, viewpoint.setup) {
        let normal: Vector3<f64> = pose.r.column(2).into_owned();
        if (viewpoint.eye - pose.t).normalize().dot(&normal) < LEAST_COSINE {
            continue;
        }
        let block =
            Block { view: view_idx, shown, corners: Vec::new(), points: Vec::new(), noise: 1.0 };
        let pixel = |r: f64, c: f64| {
            foreseen(&state, &slots, &block, pattern.node(r, c)).filter(|p| inside(p))
        };
        let mut corners = Vec::new();
        for (r, c) in pattern.corners() {
            let (rf, cf) = (r as f64, c as f64);
            let (Some(at), Some(right), Some(down)) =
                (pixel(rf, cf), pixel(rf, cf + 0.5), pixel(rf + 0.5, cf))
            else {
                continue;
            };
            let cell_px = 2.0 * (right - at).norm().min((down - at).norm());
            if cell_px >= LEAST_CELL_PX {
                let sigma = SIGMA_AT_16_PX * (16.0 / cell_px).sqrt().max(0.6);
                let whiten = Matrix2::identity() / sigma;
                corners.push(SeenCorner {
                    row: r as u8,
                    col: c as u8,
                    cells: pattern.node(rf, cf),
                    at,
                    whiten,
                    cell_px,
                    used: true,
                });
            }
        }
        if corners.len() < 12 {
            continue;
        }
        match pattern {
            Pattern::Card(number) => {
                cards.push(number);
                corners = corners.into_iter().step_by(SEEN_SHARE).collect();
            }
            Pattern::Tab(number) => tabs.push(number),
        }
        blocks.push(Block { corners, ..block });
    }
    if cards.is_empty() {
        return None;
    }
    let pixel = |p: &Vector3<f64>| lens.project(&camera_from_world.apply(p)).filter(|p| inside(p));
    blocks.extend(cord_block(solution, &state, view_idx, &blocks, &pixel));
    blocks.extend(
        (0..state.lines.len())
            .filter_map(|line| line_block(solution, &state, view_idx, line, &pixel)),
    );
    let problem = Problem { blocks: &blocks, priors: &solution.priors, slots: &slots };
    let information = information(&state, &problem, view_idx)?;
    Some(Forecast { cards, tabs, information })
}

/// Cards on the bench and tabs of a set-up, with their poses in the world.
fn marks(state: &State, setup: usize) -> Vec<(Shown, Pattern, Rigid)> {
    let mut marks = Vec::new();
    for (idx, card) in
        state.cards.iter().enumerate().filter(|(_, card)| card.ground == Ground::Bench)
    {
        marks.push((
            Shown::Card(idx),
            Pattern::Card(state.sheets[card.sheet].number),
            card.world_from_card,
        ));
    }
    for (idx, tab) in state.tabs.iter().enumerate() {
        if tab.only_setup.is_some_and(|only| only != setup) {
            continue;
        }
        let body = match tab.carrier {
            Carrier::Still => None,
            Carrier::Turning(part) => match state.body(part, setup) {
                Some(body) => Some(body),
                None => continue,
            },
        };
        if let Some(pose) = state.world_from_tab(tab, setup) {
            marks.push((Shown::Tab { tab: idx, body }, Pattern::Tab(tab.number), pose));
        }
    }
    marks
}

/// A place of a cord or line as it would be seen: its pixel, and across what it is determined, from
/// a point and the next along it.
fn seen_point(
    pixel: &dyn Fn(&Vector3<f64>) -> Option<Vector2<f64>>,
    p: Vector3<f64>,
    next: Vector3<f64>,
    sigma: f64,
) -> Option<SeenPoint> {
    let (at, next) = (pixel(&p)?, pixel(&next)?);
    let along = (next - at).normalize();
    Some(SeenPoint {
        at,
        normal: Vector2::new(-along.y, along.x),
        sigma,
        group: None,
        lone: false,
        used: true,
    })
}

/// The cord over each card in the picture, as well read as it was seen on the whole: it is not
/// known whether its shadow will adjoin it.
fn cord_block(
    solution: &Solution,
    state: &State,
    view_idx: usize,
    shown: &[Block],
    pixel: &dyn Fn(&Vector3<f64>) -> Option<Vector2<f64>>,
) -> Option<Block> {
    let idx = state.cords.iter().position(|cord| cord.setup == state.views[view_idx].setup)?;
    let cord = &state.cords[idx];
    let seen = solution.blocks.iter().filter(|block| matches!(block.shown, Shown::Cord(_)));
    let (noise, variances): (Vec<f64>, Vec<f64>) =
        seen.flat_map(|b| b.points.iter().map(|p| (b.noise, p.sigma.powi(2)))).unzip();
    let (noise, sigma) =
        (median(&noise)?, (variances.iter().sum::<f64>() / variances.len() as f64).sqrt());
    let over_card = |block: &Block| match block.shown {
        Shown::Card(card) => {
            let x = state.cards[card].world_from_card.t.x;
            // Beyond where it was seen, how the cord runs on is not known.
            if (x - cord.middle).abs() > cord.half + CORD_ENDS {
                return None;
            }
            seen_point(pixel, cord.at(x), cord.at(x + 5.0), sigma)
        }
        _ => None,
    };
    let points = shown.iter().filter_map(over_card).collect();
    Some(Block { view: view_idx, shown: Shown::Cord(idx), corners: Vec::new(), points, noise })
}

/// A line between its flags as a sharp photo shows it: a place every 60 px, as well read as those
/// that were seen.
fn line_block(
    solution: &Solution,
    state: &State,
    view_idx: usize,
    line_idx: usize,
    pixel: &dyn Fn(&Vector3<f64>) -> Option<Vector2<f64>>,
) -> Option<Block> {
    let line = &state.lines[line_idx];
    let feet: Vec<Vector3<f64>> =
        state.flags.iter().filter(|f| f.line == line_idx).map(|f| line.foot(&f.centre)).collect();
    let (from, to) = (feet.first()?, feet.last()?);
    let n = ((pixel(to)? - pixel(from)?).norm() / 60.0) as usize;
    let points: Vec<SeenPoint> = (1..n)
        .filter_map(|i| {
            let p = from + (to - from) * (i as f64 / n as f64);
            seen_point(pixel, p, p + (to - from) * 0.01, 0.1)
        })
        .collect();
    let shown = Shown::Line(line_idx);
    let noise = solution.blocks.iter().find(|block| block.shown == shown)?.noise;
    (points.len() >= 3).then_some(Block {
        view: view_idx,
        shown,
        corners: Vec::new(),
        points,
        noise,
    })
}

/// camera_from_world of an upright camera at `eye` that looks at `target`.
fn looking(eye: &Vector3<f64>, target: &Vector3<f64>) -> Option<Rigid> {
    let ahead = (target - eye).try_normalize(1e-6)?;
    let right = ahead.cross(&Vector3::z()).try_normalize(1e-6)?;
    let down = ahead.cross(&right);
    let r = Matrix3::from_rows(&[right.transpose(), down.transpose(), ahead.transpose()]);
    Some(Rigid::new(r, -(r * eye)))
}
