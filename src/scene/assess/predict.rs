//! Where a solved scene expects what a photo did not yet show: the second look starts there.

use nalgebra::{Vector2, Vector3};

use crate::cards::codes::TAB_SIDE;
use crate::scene::adjust::residual::foreseen;
use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::solution::Solution;
use crate::scene::model::state::{Carrier, Flag, Ground, Line};
use crate::scene::model::unknowns::line_axes;
use crate::scene::model::view::View;
use crate::sightings::StringKind;
use crate::sightings::follow_line::ExpectedLine;
use crate::sightings::look_again::PredictedPattern;

/// How far above its one flag a plumb line is looked for, mm, and how far above the bench it is
/// taken to end: a bob hangs there. It need not reach so far: where it ends is seen.
const ABOVE_LONE_FLAG: f64 = 450.0;
const ABOVE_BENCH: f64 = 30.0;
/// What a flag hides of its line to either side of its middle, in pattern sides (our choice).
const HIDDEN_BY_FLAG: f64 = 1.05;
/// A line is looked for within this many standard deviations of where it is expected, and this many
/// px for what the lens leaves open.
const SURELY: f64 = 2.5;
const LENS_REACH: f64 = 4.0;
/// The nearest and farthest that is searched, px: beyond lies more of what is no line than of what
/// is.
const REACH: (f64, f64) = (6.0, 24.0);

/// Patterns and lines that photo `photo` should show. Flags are not among the patterns: nobody
/// knows how they hang.
pub fn expected(
    solution: &Solution,
    photo: usize,
    size: (usize, usize),
) -> (Vec<PredictedPattern>, Vec<ExpectedLine>) {
    let Some(view_idx) = solution.view_of.get(photo).copied().flatten() else {
        return (Vec::new(), Vec::new());
    };
    let state = &solution.state;
    let view = &state.views[view_idx];
    let inside = |p: &Vector2<f64>| {
        p.x > 2.0 && p.y > 2.0 && p.x < size.0 as f64 - 3.0 && p.y < size.1 as f64 - 3.0
    };
    let mut patterns = Vec::new();
    for shown in shown_in(solution, view) {
        let block =
            Block { view: view_idx, shown, corners: Vec::new(), points: Vec::new(), noise: 1.0 };
        let Some(pattern) = solution.pattern(&block) else { continue };
        if !faces_camera(solution, view, shown) {
            continue;
        }
        let corners: Vec<(u8, u8, [f64; 2])> = pattern
            .corners()
            .filter_map(|(r, c)| {
                let pixel =
                    foreseen(state, &solution.slots, &block, pattern.node(r as f64, c as f64))?;
                inside(&pixel).then_some((r as u8, c as u8, [pixel.x, pixel.y]))
            })
            .collect();
        if corners.len() >= 8 {
            patterns.push(PredictedPattern { pattern, corners });
        }
    }
    patterns.sort_by_key(|p| p.pattern);
    (patterns, lines(solution, view, &inside))
}

/// Cards and tabs that are there in the view's set-up.
fn shown_in(solution: &Solution, view: &View) -> Vec<Shown> {
    let state = &solution.state;
    // Cards of this view's own ground: those that any view of its set-up saw.
    let mut cards: Vec<usize> = solution
        .blocks
        .iter()
        .filter(|block| state.views[block.view].setup == view.setup)
        .filter_map(|block| match block.shown {
            Shown::Card(card) => Some(card),
            _ => None,
        })
        .collect();
    cards.sort_unstable();
    cards.dedup();
    let on_bench = cards.iter().any(|&card| state.cards[card].ground == Ground::Bench);
    let mut shown: Vec<Shown> = cards.into_iter().map(Shown::Card).collect();
    if on_bench {
        for (tab, entry) in state.tabs.iter().enumerate() {
            if entry.only_setup.is_some_and(|only| only != view.setup) {
                continue;
            }
            match entry.carrier {
                Carrier::Still => shown.push(Shown::Tab { tab, body: None }),
                Carrier::Turning(part) => {
                    if let Some(body) = state.body(part, view.setup) {
                        shown.push(Shown::Tab { tab, body: Some(body) });
                    }
                }
            }
        }
    }
    shown
}

/// Whether a pattern turns its printed side to the camera, by at least 12 degrees.
fn faces_camera(solution: &Solution, view: &View, shown: Shown) -> bool {
    let state = &solution.state;
    let pose = match shown {
        Shown::Card(card) => state.cards[card].world_from_card,
        Shown::Tab { tab, body } => match body {
            Some(body) => {
                state.bodies[body].world_from_body.then(&state.tabs[tab].carrier_from_tab)
            }
            None => state.tabs[tab].carrier_from_tab,
        },
        _ => return false,
    };
    let eye = view.camera_from_world.inverse().t;
    let normal: Vector3<f64> = pose.r.column(2).into_owned();
    (eye - pose.t).normalize().dot(&normal) > 0.2
}

/// Plumb lines and the backbone cord, where the scene says that they run.
fn lines(
    solution: &Solution,
    view: &View,
    inside: &dyn Fn(&Vector2<f64>) -> bool,
) -> Vec<ExpectedLine> {
    let state = &solution.state;
    let lens = state.lens_of(view);
    let pixel = |p: &Vector3<f64>| view.project(&lens, p);
    let mut lines = Vec::new();
    for (idx, line) in state.lines.iter().enumerate() {
        let flags: Vec<&Flag> = state.flags.iter().filter(|f| f.line == idx).collect();
        let Some((low, high)) = extent(solution, line, &flags) else { continue };
        let places: Vec<(f64, Vector2<f64>)> = (0..=80)
            .map(|i| low + (high - low) * f64::from(i) / 80.0)
            .filter_map(|along| pixel(&(line.point + line.direction * along)).map(|p| (along, p)))
            .filter(|(_, p)| inside(p))
            .collect();
        let [(first, _), .., (last, _)] = places[..] else { continue };
        if places.len() < 4 {
            continue;
        }
        let covered = flags.iter().filter_map(|flag| {
            let depth = view.camera_from_world.apply(&flag.centre).z;
            let radius = HIDDEN_BY_FLAG * flag.pitch * TAB_SIDE as f64 * lens.fx / depth.max(1.0);
            Some((pixel(&flag.centre)?.into(), radius))
        });
        lines.push(ExpectedLine {
            kind: line.kind,
            path: places.iter().map(|(_, p)| [p.x, p.y]).collect(),
            covered: covered.collect(),
            reach: [first, last].map(|along| reach(solution, view, idx, along)),
            whole: flags.len() > 1,
        });
    }
    lines
}

/// From where to where a line is looked for, mm along it from its point. None where nothing says
/// its ends.
fn extent(solution: &Solution, line: &Line, flags: &[&Flag]) -> Option<(f64, f64)> {
    let feet = flags.iter().map(|flag| (flag.centre - line.point).dot(&line.direction));
    let (low, high) =
        feet.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), s| (low.min(s), high.max(s)));
    match (line.kind, flags.len()) {
        (_, 0) => None,
        (StringKind::Plumb(_), n) => {
            // World and line both point up; cards lie about the world's z of the lowest of them.
            let bench = solution
                .state
                .cards
                .iter()
                .filter(|card| card.ground == Ground::Bench)
                .map(|card| card.world_from_card.t.z);
            let bench = bench.fold(f64::INFINITY, f64::min);
            let floor = ((bench + ABOVE_BENCH - line.point.z) / line.direction.z).min(low);
            // Between two flags there is a line for certain; beyond them it may cross what hangs
            // there.
            Some(if n > 1 { (low, high) } else { (floor, high + ABOVE_LONE_FLAG) })
        }
        (_, 1) => None,
        _ => Some((low, high)),
    }
}

/// How far from the expected path a line may be seen at a place along it (mm from its point), px.
fn reach(solution: &Solution, view: &View, line_idx: usize, along: f64) -> f64 {
    let line = &solution.state.lines[line_idx];
    let lens = solution.state.lens_of(view);
    let spread = solution.covariance.as_ref().map_or(0.0, |covariance| {
        let slot = solution.slots.lines[line_idx];
        let of = |i: usize| {
            let both = covariance[(slot + i, slot + 2 + i)];
            covariance[(slot + i, slot + i)]
                + along * along * covariance[(slot + 2 + i, slot + 2 + i)]
                + 2.0 * along * both
        };
        // The worse of the two ways across; the one along the line of sight hardly moves the
        // picture.
        let at = line.point + line.direction * along;
        let sight = (view.camera_from_world.inverse().t - at).normalize();
        let axes = line_axes(&line.direction);
        (0..2).map(|i| of(i).max(0.0) * (1.0 - axes[i].dot(&sight).powi(2))).sum::<f64>()
    });
    let depth = view.camera_from_world.apply(&(line.point + line.direction * along)).z.max(1.0);
    (LENS_REACH + SURELY * spread.sqrt() * lens.fx / depth).clamp(REACH.0, REACH.1)
}
