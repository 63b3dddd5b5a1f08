//! Second step to a scene: tabs, turning bodies, lines and the cord, once cameras and lens are
//! known.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use nalgebra::{Vector2, Vector3};

use crate::cards::Pattern;
use crate::math::Rigid;
use crate::math::rigid::{fit_rigid, log};
use crate::sightings::{LaneEdges, LineSighting, StrandPoint, StringKind};

use super::cards_first::{glimpse, on_plane, seen_corners};
use super::cord_choice::{Chosen, LaneView, choose, mid_points, slope_along};
use super::input::{Hangs, ScenePhoto, SceneSettings};
use super::observe::{Block, SeenCorner, SeenPoint, Shown};
use super::pose::{Glimpse, candidates, locate, refine};
use super::riders::{RidersLine, riders_line};
use super::state::{Body, Carrier, Cord, Face, Flag, Line, State, Tab};
use super::suspects::Exceptions;

/// A tab needs this many corners in a photo for the photo to count.
pub const LEAST_TAB_CORNERS: usize = 5;
/// Start poses of tabs are told with this noise factor: the lens is known to a fraction of a pixel
/// by now.
const NOISE: f64 = 8.0;
/// A body that turned by less (radians) and went less far (mm) than this between set-ups did not
/// turn: start poses are good to a fraction of it, and nobody turns a wheel by half a degree to see
/// its other side.
const STAYED: (f64, f64) = (0.01, 1.0);

/// A tab seen in a photo.
struct TabView {
    view: usize,
    setup: usize,
    number: u8,
    corners: Vec<SeenCorner>,
}

/// What was added to the state.
pub struct MarksNext {
    pub blocks: Vec<Block>,
    /// Kinds of turning bodies that stayed in place.
    pub still_bodies: Vec<u8>,
    /// Another reading of the cord that the light bears out nearly as well.
    pub cord_rival: Option<RivalCord>,
}

/// Another reading of the cord, as observations and a start.
#[derive(Clone, Debug)]
pub struct RivalCord {
    /// How far aside it lies on the mean, mm.
    pub apart_mm: f64,
    pub cords: Vec<Cord>,
    pub blocks: Vec<Block>,
}

/// Adds all that is not a card. Exceptions name tabs that are not tied between set-ups or do not
/// lie in their face.
pub fn marks_next(
    state: &mut State,
    photos: &[ScenePhoto],
    view_of: &[Option<usize>],
    settings: &SceneSettings,
    exceptions: &Exceptions,
) -> MarksNext {
    let mut out = MarksNext { blocks: Vec::new(), still_bodies: Vec::new(), cord_rival: None };
    let mut seen: Vec<TabView> = Vec::new();
    for (photo, view) in photos.iter().zip(view_of) {
        let (Some(view), false) = (view, photo.lens_only) else { continue };
        for sighting in &photo.sightings.patterns {
            if let Pattern::Tab(number) = sighting.pattern {
                let corners = seen_corners(sighting);
                // A tab's number seen twice in one photo tells nothing about either: it is left out
                // here and found elsewhere.
                let twice = photo
                    .sightings
                    .patterns
                    .iter()
                    .filter(|p| p.pattern == sighting.pattern)
                    .count()
                    > 1;
                if corners.len() >= LEAST_TAB_CORNERS && !twice {
                    seen.push(TabView { view: *view, setup: photo.setup, number, corners });
                }
            }
        }
    }
    tabs(state, &seen, settings, &exceptions.split_tabs, &mut out);
    flags_and_lines(state, photos, view_of, &seen, settings, &mut out);
    let riders = riders_line(state, settings);
    cords(state, photos, view_of, riders.as_ref(), &mut out);
    faces(state, settings, &exceptions.loose_tabs);
    out
}

fn glimpses(state: &State, seen: &[&TabView], pitch: f64) -> Vec<Glimpse> {
    let mean = (state.print[0] + state.print[1]) / 2.0 * pitch;
    seen.iter()
        .map(|s| {
            let view = &state.views[s.view];
            glimpse(&s.corners, [mean, mean], state.lens_of(view), view.camera_from_world)
        })
        .collect()
}

/// Start poses of tabs on carriers, set-up by set-up, then brought together body by body.
fn tabs(
    state: &mut State,
    seen: &[TabView],
    settings: &SceneSettings,
    split: &BTreeSet<u8>,
    out: &mut MarksNext,
) {
    // Poses in the world: by tab and, for what may move, by set-up.
    let mut kinds: BTreeSet<u8> = BTreeSet::new();
    let mut moving: BTreeMap<(u8, usize), Rigid> = BTreeMap::new();
    for setting in &settings.tabs {
        let each_setup = split.contains(&setting.number);
        let carrier = match setting.hangs {
            Hangs::On(carrier) => carrier,
            // Until it is seen to have been pushed along the cord while the wheel was turned.
            Hangs::Cord => Carrier::Still,
            Hangs::Flag(_) => continue,
        };
        let of_tab: Vec<&TabView> = seen.iter().filter(|s| s.number == setting.number).collect();
        if of_tab.is_empty() {
            continue;
        }
        if carrier == Carrier::Still && !each_setup {
            if let Some((pose, _)) = locate(&glimpses(state, &of_tab, setting.pitch), NOISE) {
                push_tab(state, setting.number, carrier, None, pose, setting.pitch);
            }
            continue;
        }
        let setups: BTreeSet<usize> = of_tab.iter().map(|s| s.setup).collect();
        for setup in setups {
            let here: Vec<&TabView> = of_tab.iter().copied().filter(|s| s.setup == setup).collect();
            let Some((pose, _)) = locate(&glimpses(state, &here, setting.pitch), NOISE) else {
                continue;
            };
            match carrier {
                Carrier::Turning(kind) if !each_setup => {
                    kinds.insert(kind);
                    moving.insert((setting.number, setup), pose);
                }
                _ => push_tab(
                    state,
                    setting.number,
                    Carrier::Still,
                    Some(setup),
                    pose,
                    setting.pitch,
                ),
            }
        }
    }
    for kind in kinds {
        join_body(state, kind, &moving, settings, out);
    }
    for s in seen {
        let tab = state
            .tabs
            .iter()
            .position(|t| t.number == s.number && t.only_setup.is_none_or(|only| only == s.setup));
        let Some(tab) = tab else { continue };
        let body = match state.tabs[tab].carrier {
            Carrier::Still => None,
            Carrier::Turning(kind) => match state.body(kind, s.setup) {
                Some(body) => Some(body),
                None => continue,
            },
        };
        let shown = Shown::Tab { tab, body };
        out.blocks.push(Block {
            view: s.view,
            shown,
            corners: s.corners.clone(),
            points: Vec::new(),
            noise: 1.0,
        });
    }
}

fn push_tab(
    state: &mut State,
    number: u8,
    carrier: Carrier,
    only_setup: Option<usize>,
    pose: Rigid,
    pitch: f64,
) {
    state.tabs.push(Tab { number, carrier, only_setup, carrier_from_tab: pose, pitch, scale: 0.0 });
}

/// Points that stand for a tab's pose: corners of its pattern.
fn stand_ins(pose: &Rigid, pitch: f64) -> [Vector3<f64>; 4] {
    let r = 2.5 * pitch;
    [[r, r], [-r, r], [-r, -r], [r, -r]].map(|[x, y]| pose.apply(&Vector3::new(x, y, 0.0)))
}

/// Finds where a body went in each set-up from tabs seen in several, and puts its tabs into the
/// body's frame.
fn join_body(
    state: &mut State,
    kind: u8,
    moving: &BTreeMap<(u8, usize), Rigid>,
    settings: &SceneSettings,
    out: &mut MarksNext,
) {
    let pitch_of =
        |number: u8| settings.tabs.iter().find(|t| t.number == number).map_or(4.0, |t| t.pitch);
    let on_it = |number: u8| {
        settings
            .tabs
            .iter()
            .any(|t| t.number == number && t.hangs == Hangs::On(Carrier::Turning(kind)))
    };
    let mine: Vec<(u8, usize, Rigid)> = moving
        .iter()
        .filter(|((number, _), _)| on_it(*number))
        .map(|((n, s), pose)| (*n, *s, *pose))
        .collect();
    let setups: BTreeSet<usize> = mine.iter().map(|(_, setup, _)| *setup).collect();
    let Some(&first) = setups.first() else { return };
    let mut bodies: BTreeMap<usize, Rigid> = BTreeMap::from([(first, Rigid::identity())]);
    let mut in_body: BTreeMap<u8, Rigid> = mine
        .iter()
        .filter(|(_, setup, _)| *setup == first)
        .map(|(n, _, pose)| (*n, *pose))
        .collect();
    loop {
        // The set-up that shares most tabs with what is known comes next.
        let shared = |setup: usize| {
            mine.iter().filter(|(n, s, _)| *s == setup && in_body.contains_key(n)).count()
        };
        let next = setups
            .iter()
            .copied()
            .filter(|s| !bodies.contains_key(s))
            .max_by_key(|s| (shared(*s), std::cmp::Reverse(*s)));
        let Some(setup) = next.filter(|s| shared(*s) > 0) else { break };
        let here: Vec<&(u8, usize, Rigid)> = mine.iter().filter(|(_, s, _)| *s == setup).collect();
        let (mut world, mut body) = (Vec::new(), Vec::new());
        for (number, _, pose) in &here {
            if let Some(known) = in_body.get(number) {
                world.extend(stand_ins(pose, pitch_of(*number)));
                body.extend(stand_ins(known, pitch_of(*number)));
            }
        }
        let Some(motion) = robust_motion(&world, &body) else { break };
        for (number, _, pose) in here {
            in_body.entry(*number).or_insert_with(|| motion.inverse().then(pose));
        }
        bodies.insert(setup, motion);
    }
    let middle =
        in_body.values().map(|pose| pose.t).sum::<Vector3<f64>>() / in_body.len().max(1) as f64;
    let stayed = |motion: &Rigid| {
        log(&motion.r).norm() < STAYED.0 && (motion.apply(&middle) - middle).norm() < STAYED.1
    };
    if bodies.len() > 1 && bodies.values().all(stayed) {
        out.still_bodies.push(kind);
        bodies.values_mut().for_each(|motion| *motion = Rigid::identity());
    }
    for (setup, motion) in &bodies {
        state.bodies.push(Body {
            kind,
            setup: *setup,
            world_from_body: *motion,
            fixed: *setup == first,
        });
    }
    for (number, pose) in &in_body {
        push_tab(state, *number, Carrier::Turning(kind), None, *pose, pitch_of(*number));
    }
    // Tabs in set-ups that share none with the rest stand for themselves.
    for (number, setup, pose) in mine.iter().filter(|(_, setup, _)| !bodies.contains_key(setup)) {
        push_tab(state, *number, Carrier::Still, Some(*setup), *pose, pitch_of(*number));
    }
}

/// Kabsch's motion, without the tab that fits worst when there are enough to tell.
fn robust_motion(world: &[Vector3<f64>], body: &[Vector3<f64>]) -> Option<Rigid> {
    let all = fit_rigid(world, body)?;
    if world.len() <= 12 {
        return Some(all);
    }
    let miss: Vec<f64> = world.iter().zip(body).map(|(w, b)| (all.apply(b) - w).norm()).collect();
    let typical = crate::math::robust::median(&miss)?;
    let keep: Vec<usize> = (0..world.len()).filter(|&i| miss[i] <= 3.0 * typical + 0.2).collect();
    let pick = |list: &[Vector3<f64>]| keep.iter().map(|&i| list[i]).collect::<Vec<_>>();
    fit_rigid(&pick(world), &pick(body)).or(Some(all))
}

/// Flags nearer to each other than this, mm, tell no direction.
const LEAST_BETWEEN: f64 = 20.0;
/// Cosine of 3 degrees: two flags that stand farther from upright are poorly seen, and the cards
/// tell upright better.
const UPRIGHT: f64 = 0.9986;

/// Flags, and the lines on which they hang.
fn flags_and_lines(
    state: &mut State,
    photos: &[ScenePhoto],
    view_of: &[Option<usize>],
    seen: &[TabView],
    settings: &SceneSettings,
    out: &mut MarksNext,
) {
    let mut hung: BTreeMap<StringKind, Vec<(u8, f64, Vector3<f64>)>> = BTreeMap::new();
    for setting in &settings.tabs {
        let Hangs::Flag(kind) = setting.hangs else { continue };
        let of_flag: Vec<&TabView> = seen.iter().filter(|s| s.number == setting.number).collect();
        if let Some(centre) = flag_centre(state, &of_flag, setting.pitch) {
            hung.entry(kind).or_default().push((setting.number, setting.pitch, centre));
        }
    }
    for (kind, flags) in hung {
        let (Some((_, _, a)), Some((_, _, b))) = (flags.first(), flags.last()) else { continue };
        let between = a - b;
        let direction = match kind {
            // One flag is enough: a plumb line hangs upright, as far as the cards' plane tells, and
            // its images tell the rest.
            StringKind::Plumb(_)
                if between.norm() < LEAST_BETWEEN || between.z < UPRIGHT * between.norm() =>
            {
                Vector3::z()
            }
            _ if between.norm() < LEAST_BETWEEN => continue,
            _ => between.normalize(),
        };
        let line = state.lines.len();
        state.lines.push(Line { kind, point: (a + b) / 2.0, direction });
        for (number, pitch, centre) in flags {
            let flag = state.flags.len();
            state.flags.push(Flag { number, line, centre, pitch, scale: 0.0 });
            for s in seen.iter().filter(|s| s.number == number) {
                let Some(turn) = flag_turn(state, s, pitch, &centre) else { continue };
                let turns = &mut state.views[s.view].flag_turns;
                turns.push(turn);
                let shown = Shown::Flag { flag, turn: turns.len() - 1 };
                out.blocks.push(Block {
                    view: s.view,
                    shown,
                    corners: s.corners.clone(),
                    points: Vec::new(),
                    noise: 1.0,
                });
            }
        }
        for (photo, view) in photos.iter().zip(view_of) {
            let (Some(view), false) = (view, photo.lens_only) else { continue };
            for sighting in photo
                .sightings
                .lines
                .iter()
                .filter(|l| l.kind == kind && !too_thick(state, *view, line, l))
            {
                out.blocks.push(points_block(*view, Shown::Line(line), sighting));
            }
        }
    }
}

/// No plumb line or cord is thicker than this, mm, nor looks thicker by more than this, px: what
/// does is a tube behind it.
const THICKEST: f64 = 4.0;
const BLURRED: f64 = 2.0;

/// Whether what was followed as a line's image is too broad for a line there.
pub fn too_thick(state: &State, view: usize, line: usize, sighting: &LineSighting) -> bool {
    let view = &state.views[view];
    let depth = view.camera_from_world.apply(&state.lines[line].point).z;
    let px_per_mm = state.lens_of(view).fx / depth.max(1.0);
    let widths: Vec<f64> = sighting.points.iter().map(|p| p.width).collect();
    crate::math::robust::median(&widths).is_some_and(|width| width > THICKEST * px_per_mm + BLURRED)
}

/// Points of a line's image as observations.
pub fn seen_points(sighting: &LineSighting) -> Vec<SeenPoint> {
    let usable = sighting.points.iter().filter(|p| p.sigma > 0.0 && p.sigma.is_finite());
    let point = |p: &StrandPoint| SeenPoint {
        at: Vector2::from(p.at),
        normal: Vector2::from(p.normal),
        sigma: p.sigma,
        group: 0,
        lone: false,
        used: true,
    };
    usable.map(point).collect()
}

fn points_block(view: usize, shown: Shown, sighting: &LineSighting) -> Block {
    Block { view, shown, corners: Vec::new(), points: seen_points(sighting), noise: 1.0 }
}

/// Where a flag's centre is: nearest to the rays through it, or from its size when one photo alone
/// shows it.
fn flag_centre(state: &State, seen: &[&TabView], pitch: f64) -> Option<Vector3<f64>> {
    let glimpses = glimpses(state, seen, pitch);
    let mut near = nalgebra::Matrix3::zeros();
    let mut right = Vector3::zeros();
    let mut lone = None;
    for glimpse in &glimpses {
        let Some(camera_from_flag) = candidates(glimpse).first().copied() else { continue };
        let world_from_camera = glimpse.camera_from_world.inverse();
        let centre = world_from_camera.apply(&camera_from_flag.t);
        lone = lone.or(Some(centre));
        let ray = (centre - world_from_camera.t).normalize();
        let across = nalgebra::Matrix3::identity() - ray * ray.transpose();
        // Along the ray the size tells the place too, if only poorly: one part in ten thousand of
        // the weight across.
        let weight = across + ray * ray.transpose() * 1e-4;
        near += weight;
        right += weight * centre;
    }
    lone?;
    near.try_inverse().map(|inverse| inverse * right)
}

/// How a flag hangs in one photo.
fn flag_turn(
    state: &State,
    seen: &TabView,
    pitch: f64,
    centre: &Vector3<f64>,
) -> Option<nalgebra::Matrix3<f64>> {
    let glimpse = glimpses(state, &[seen], pitch).pop()?;
    let world_from_camera = glimpse.camera_from_world.inverse();
    let mut best: Option<(f64, nalgebra::Matrix3<f64>)> = None;
    for candidate in candidates(&glimpse) {
        let mut start = world_from_camera.then(&candidate);
        start.t = *centre;
        let (pose, cost) = refine(std::slice::from_ref(&glimpse), start, NOISE, 15);
        if best.is_none_or(|(least, _)| cost < least) {
            best = Some((cost, pose.r));
        }
    }
    best.map(|(_, r)| r)
}

/// The cord of each set-up: its mid-line as sighted, or as chosen from the edges in the lanes;
/// where its rays meet a plane a little above the cards.
fn cords(
    state: &mut State,
    photos: &[ScenePhoto],
    view_of: &[Option<usize>],
    riders: Option<&RidersLine>,
    out: &mut MarksNext,
) {
    let ground = mean_card_height(state);
    let mut seen = CordPoints::new();
    let mut seen_lanes: Vec<(usize, Cow<LaneEdges>, f64)> = Vec::new();
    for (photo, view) in photos.iter().zip(view_of) {
        let (Some(view), false) = (view, photo.lens_only) else { continue };
        for sighting in photo.sightings.lines.iter().filter(|l| l.kind == StringKind::Cord) {
            seen.entry((photo.setup, *view)).or_default().extend(seen_points(sighting));
        }
        seen_lanes.extend(photo.sightings.lanes.iter().map(|edges| {
            let edges = match riders {
                Some(riders) => Cow::Owned(riders.edges_near(state, *view, edges)),
                None => Cow::Borrowed(edges),
            };
            (*view, edges, photo.sightings.blur_px)
        }));
    }
    let slope = slope_along(
        state,
        &seen_lanes.iter().map(|(view, edges, _)| (*view, edges.as_ref())).collect::<Vec<_>>(),
    );
    let lane = |(view, edges, blur_px): &(usize, Cow<LaneEdges>, f64)| {
        LaneView::new(state, *view, edges, slope, *blur_px)
    };
    let lanes: Vec<LaneView> = seen_lanes.iter().filter_map(lane).collect();
    // A cord on two blocks lies some millimetres above the paper; the exact height is found later.
    let mut height = ground + 2.5;
    if seen.is_empty()
        && let Some(chosen) = choose(&lanes, ground)
    {
        height = chosen.height();
        seen = chosen_points(&lanes, &chosen);
        out.cord_rival = chosen.rival.as_ref().and_then(|rival| {
            let points = chosen_points(&lanes, &rival.chosen);
            let (cords, blocks) = cords_through(state, points, rival.chosen.height())?;
            Some(RivalCord { apart_mm: rival.apart_mm, cords, blocks })
        });
    }
    if let Some((cords, blocks)) = cords_through(state, seen, height) {
        state.cords.extend(cords);
        out.blocks.extend(blocks);
    }
}

/// Points of the cord by set-up and view.
type CordPoints = BTreeMap<(usize, usize), Vec<SeenPoint>>;

fn chosen_points(lanes: &[LaneView], chosen: &Chosen) -> CordPoints {
    let mut seen = CordPoints::new();
    for point in mid_points(lanes, chosen) {
        let seen_point = SeenPoint {
            at: point.at,
            normal: point.normal,
            sigma: point.sigma,
            group: point.group(),
            lone: point.lone,
            used: true,
        };
        seen.entry((point.setup, point.view)).or_default().push(seen_point);
    }
    seen
}

/// The cord of each set-up that runs through these points, and the points as observations. None
/// with too few of them.
fn cords_through(state: &State, seen: CordPoints, height: f64) -> Option<(Vec<Cord>, Vec<Block>)> {
    let above = Vector3::new(0.0, 0.0, height);
    let mut by_setup: BTreeMap<usize, Vec<Vector3<f64>>> = BTreeMap::new();
    for ((setup, view), points) in &seen {
        let lens = state.lens_of(&state.views[*view]);
        let on_plane = |p: &SeenPoint| {
            on_plane(&lens, &state.views[*view], p.at.into(), &Vector3::z(), &above)
        };
        by_setup.entry(*setup).or_default().extend(points.iter().filter_map(on_plane));
    }
    let all: Vec<f64> =
        by_setup.values().flatten().map(|p| p.x).filter(|x| x.abs() < 3000.0).collect();
    if all.len() < 4 {
        return None;
    }
    let (low, high) =
        all.iter().fold((f64::MAX, f64::MIN), |(low, high), x| (low.min(*x), high.max(*x)));
    let (middle, half) = ((low + high) / 2.0, ((high - low) / 2.0).max(50.0));
    let cord = |(setup, points): (usize, Vec<Vector3<f64>>)| {
        let ys: Vec<f64> = points.iter().map(|p| p.y).collect();
        let y = crate::math::robust::median(&ys)?;
        Some(Cord { setup, middle, half, y: [y, 0.0, 0.0], z: [above.z, 0.0, 0.0] })
    };
    let cords: Vec<Cord> = by_setup.into_iter().filter_map(cord).collect();
    let block = |((setup, view), points): ((usize, usize), Vec<SeenPoint>)| {
        let cord = cords.iter().position(|c| c.setup == setup)?;
        Some(Block { view, shown: Shown::Cord(cord), corners: Vec::new(), points, noise: 1.0 })
    };
    let blocks = seen.into_iter().filter_map(block).collect();
    Some((cords, blocks))
}

pub fn mean_card_height(state: &State) -> f64 {
    let heights: Vec<f64> = state.cards.iter().map(|c| c.world_from_card.t.z).collect();
    crate::math::robust::median(&heights).unwrap_or(0.0)
}

/// Planes through tabs that share a face.
fn faces(state: &mut State, settings: &SceneSettings, loose: &BTreeSet<u8>) {
    for (name, numbers) in &settings.faces {
        let tabs: Vec<usize> = (0..state.tabs.len())
            .filter(|&i| {
                numbers.contains(&state.tabs[i].number) && !loose.contains(&state.tabs[i].number)
            })
            .filter(|&i| state.tabs[i].only_setup.is_none())
            .collect();
        let Some(&first) = tabs.first() else { continue };
        let carrier = state.tabs[first].carrier;
        let tabs: Vec<usize> =
            tabs.into_iter().filter(|&i| state.tabs[i].carrier == carrier).collect();
        let (normal, about) = plane_of(state, &tabs);
        state.faces.push(Face {
            name: name.clone(),
            tabs,
            normal,
            offset: normal.dot(&about),
            about,
        });
    }
}

/// Plane through tabs' centres, or, where those do not span one, the mean of their normals.
fn plane_of(state: &State, tabs: &[usize]) -> (Vector3<f64>, Vector3<f64>) {
    let poses: Vec<&Rigid> = tabs.iter().map(|&i| &state.tabs[i].carrier_from_tab).collect();
    let about = poses.iter().map(|p| p.t).sum::<Vector3<f64>>() / poses.len() as f64;
    let mean = poses.iter().map(|p| p.r.column(2).into_owned()).sum::<Vector3<f64>>();
    let mean = if mean.norm() > 1e-3 { mean.normalize() } else { Vector3::z() };
    let spread: nalgebra::Matrix3<f64> =
        poses.iter().map(|p| (p.t - about) * (p.t - about).transpose()).sum();
    let eigen = spread.symmetric_eigen();
    let mut values: Vec<(f64, usize)> = (0..3).map(|i| (eigen.eigenvalues[i], i)).collect();
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Centres 10 mm off a line tell the plane better than the tilt of single tabs does.
    if values[1].0 > 100.0 {
        let normal = eigen.eigenvectors.column(values[0].1).into_owned();
        let normal = if normal.dot(&mean) < 0.0 { -normal } else { normal };
        if normal.dot(&mean) > 0.9 {
            return (normal, about);
        }
    }
    (mean, about)
}
