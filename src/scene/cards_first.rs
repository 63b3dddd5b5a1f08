//! First step to a scene: the cards and the cameras that saw them, with a lens to start from.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::{Matrix3, Vector2, Vector3};

use crate::camera::Lens;
use crate::camera::start::{focal_from_homographies, homography};
use crate::cards::Pattern;
use crate::finding::Finding;
use crate::math::Rigid;
use crate::math::robust::median;
use crate::sightings::{PatternSighting, StringKind};

use super::input::{ScenePhoto, SceneSettings};
use super::observe::{Block, SeenCorner, Shown, whitener};
use super::pose::{Glimpse, locate};
use super::state::{Card, Ground, Sheet, State, View};

/// Added to every corner's stated uncertainty, px: what no fit knows (paper grain, pixel response).
pub const CORNER_FLOOR: f64 = 0.01;
/// A card or tab with fewer corners than this has no pose of its own.
pub const LEAST_CORNERS: usize = 8;
/// Noise factor while the lens is not known: corners are then off by pixels, not by hundredths.
pub const COARSE: f64 = 40.0;
/// Corners from which a card is located.
const CORNERS_TO_LOCATE: usize = 60;

/// The scene as far as the cards tell it.
pub struct CardsFirst {
    pub state: State,
    /// For each card of the state: the ground it lies on and its number.
    places: Vec<(Ground, u8)>,
    pub blocks: Vec<Block>,
    /// For each photo its view, if it found its place.
    pub view_of: Vec<Option<usize>>,
    /// For each lens: focal length to start from and picture size.
    pub lens_start: Vec<(f64, usize, usize)>,
    pub findings: Vec<Finding>,
}

/// Corners of a sighting as observations.
pub fn seen_corners(sighting: &PatternSighting) -> Vec<SeenCorner> {
    let seen = |corner: &crate::sightings::CornerSighting| {
        let whiten = whitener(corner.cov, CORNER_FLOOR)?;
        let cells = sighting.pattern.node(f64::from(corner.row), f64::from(corner.col));
        let at = Vector2::from(corner.at);
        let (row, col, cell_px) = (corner.row, corner.col, corner.cell_px);
        Some(SeenCorner { row, col, cells, at, whiten, cell_px, used: true })
    };
    sighting.corners.iter().filter_map(seen).collect()
}

/// A sighting as a glimpse for start poses; `pitch` in mm.
pub fn glimpse(
    corners: &[SeenCorner],
    pitch: [f64; 2],
    lens: Lens,
    camera_from_world: Rigid,
) -> Glimpse {
    let corners = corners
        .iter()
        .filter(|c| c.used)
        .map(|c| (Vector3::new(c.cells[0] * pitch[0], c.cells[1] * pitch[1], 0.0), c.at, c.whiten))
        .collect();
    Glimpse { lens, camera_from_world, corners }
}

/// A card seen in a photo with its pose there.
struct CardView {
    photo: usize,
    /// Place where the card lies: set-ups share places, lens-only folders have their own.
    place: (Ground, u8),
    located: LocatedCard,
}

/// A card of its stated size before the camera.
pub(super) struct LocatedCard {
    pub camera_from_card: Rigid,
    /// Corners that told it, and its misfit.
    pub n_corners: usize,
    pub cost: f64,
}

/// Where a photo's cards lie, those that were moved apart.
fn ground(photo: &ScenePhoto) -> Ground {
    if photo.lens_only { Ground::LensOnly(photo.setup) } else { Ground::Bench }
}

/// Where a card lies in a photo, given the cards that were `moved`.
fn place(photo: &ScenePhoto, number: u8, moved: &BTreeSet<u8>) -> Ground {
    if moved.contains(&number) && !photo.lens_only {
        Ground::BenchIn(photo.setup)
    } else {
        ground(photo)
    }
}

/// Finds start values of lenses, cameras and cards. `moved` lists card numbers that do not lie
/// still between set-ups; `dropped` those that must not be used at all.
pub fn cards_first(
    photos: &[ScenePhoto],
    settings: &SceneSettings,
    moved: &BTreeSet<u8>,
    dropped: &BTreeSet<u8>,
) -> CardsFirst {
    let mut findings = Vec::new();
    let (lens_of, lenses, lens_start) = lenses(photos, &mut findings);
    let usable = |sighting: &&PatternSighting| {
        matches!(sighting.pattern, Pattern::Card(n) if !dropped.contains(&n))
            && sighting.corners.len() >= LEAST_CORNERS
    };
    let mut views: Vec<CardView> = Vec::new();
    for (photo_idx, photo) in photos.iter().enumerate() {
        for sighting in photo.sightings.patterns.iter().filter(usable) {
            if let Some(located) = locate_card(sighting, settings, lenses[lens_of[photo_idx]]) {
                let number = sighting.pattern.number();
                views.push(CardView {
                    photo: photo_idx,
                    place: (place(photo, number, moved), number),
                    located,
                });
            }
        }
    }
    let mut out = CardsFirst {
        state: State::default(),
        places: Vec::new(),
        blocks: Vec::new(),
        view_of: vec![None; photos.len()],
        lens_start,
        findings,
    };
    out.state.lenses = lenses;
    out.state.print = settings.print;
    let grounds: BTreeSet<Ground> = photos.iter().map(ground).collect();
    for g in grounds {
        connect(&mut out, photos, &views, g, &lens_of);
    }
    make_blocks(&mut out, photos, &usable, moved);
    out
}

/// Locates a card of its stated size; None where its corners tell no place.
pub(super) fn locate_card(
    sighting: &PatternSighting,
    settings: &SceneSettings,
    lens: Lens,
) -> Option<LocatedCard> {
    let size = settings.print.map(|printed| sighting.pattern.pitch_mm() * printed);
    let corners = thinned(&seen_corners(sighting), CORNERS_TO_LOCATE);
    let (camera_from_card, cost) =
        locate(&[glimpse(&corners, size, lens, Rigid::identity())], COARSE)?;
    Some(LocatedCard { camera_from_card, n_corners: corners.len(), cost })
}

/// At most `most` corners, spread evenly over the list.
pub fn thinned(corners: &[SeenCorner], most: usize) -> Vec<SeenCorner> {
    let stride = corners.len().div_ceil(most).max(1);
    corners.iter().step_by(stride).cloned().collect()
}

/// One lens for each camera and picture size.
pub(super) fn lenses(
    photos: &[ScenePhoto],
    findings: &mut Vec<Finding>,
) -> (Vec<usize>, Vec<Lens>, Vec<(f64, usize, usize)>) {
    let mut keys: Vec<(&str, usize, usize)> =
        photos.iter().map(|p| (p.camera.as_str(), p.width, p.height)).collect();
    keys.sort_unstable();
    keys.dedup();
    let find =
        |p: &ScenePhoto| keys.binary_search(&(p.camera.as_str(), p.width, p.height)).unwrap_or(0);
    let lens_of: Vec<usize> = photos.iter().map(find).collect();
    let mut starts = Vec::new();
    for (idx, &(_, width, height)) in keys.iter().enumerate() {
        let of_this = || {
            photos.iter().zip(&lens_of).filter(|(_, lens)| **lens == idx).map(|(photo, _)| photo)
        };
        let told: Vec<f64> = of_this().filter_map(|photo| photo.start_focal).collect();
        let maps: Vec<Matrix3<f64>> = of_this().flat_map(card_maps).collect();
        let betrayed = focal_from_homographies(&maps, width, height);
        let focal = match (median(&told), betrayed) {
            // EXIF may speak of another crop than the file shows: the cards are believed where the
            // two differ by half.
            (Some(told), Some(seen)) if !(0.67..1.5).contains(&(told / seen)) => {
                findings.push(Finding::warning(
                    "focal-length-contradicts-exif",
                    format!("The photos' EXIF data say a focal length of {told:.0} px, the cards in them say {seen:.0} px."),
                    "Use photos as the camera wrote them, not cropped or scaled copies; the cards were believed.",
                ));
                seen
            }
            (Some(told), _) => told,
            (None, Some(seen)) => seen,
            // A usual phone lens sees as wide as 27 mm on film: 27 / 36 of the picture's width.
            (None, None) => 0.75 * width.max(height) as f64,
        };
        starts.push((focal, width, height));
    }
    let lenses =
        starts.iter().map(|&(focal, width, height)| Lens::pinhole(focal, width, height)).collect();
    (lens_of, lenses, starts)
}

fn card_maps(photo: &ScenePhoto) -> Vec<Matrix3<f64>> {
    let cards = photo
        .sightings
        .patterns
        .iter()
        .filter(|p| matches!(p.pattern, Pattern::Card(_)) && p.corners.len() >= 30);
    cards
        .filter_map(|sighting| {
            let corners = seen_corners(sighting);
            let plane: Vec<_> = corners.iter().map(|c| Vector2::from(c.cells)).collect();
            let pixels: Vec<_> = corners.iter().map(|c| c.at).collect();
            homography(&plane, &pixels)
        })
        .collect()
}

/// Places all photos of one ground that hang together through cards they share.
fn connect(
    out: &mut CardsFirst,
    photos: &[ScenePhoto],
    views: &[CardView],
    g: Ground,
    lens_of: &[usize],
) {
    let mine: Vec<&CardView> = views.iter().filter(|v| ground(&photos[v.photo]) == g).collect();
    // The card seen in most corners holds the world still.
    let mut weight: BTreeMap<(Ground, u8), usize> = BTreeMap::new();
    for view in &mine {
        *weight.entry(view.place).or_default() += view.located.n_corners;
    }
    let Some(root) = weight
        .iter()
        .max_by_key(|(place, n)| (**n, std::cmp::Reverse(**place)))
        .map(|(place, _)| *place)
    else {
        return;
    };
    let mut placed_cards: BTreeMap<(Ground, u8), Rigid> =
        BTreeMap::from([(root, Rigid::identity())]);
    let mut placed_photos: BTreeMap<usize, Rigid> = BTreeMap::new();
    loop {
        // Next the sighting that ties something new to something placed with most corners and least
        // misfit.
        let trust = |view: &CardView| view.located.n_corners as f64 / (1.0 + view.located.cost);
        let next = mine
            .iter()
            .filter(|v| placed_cards.contains_key(&v.place) != placed_photos.contains_key(&v.photo))
            .max_by(|a, b| trust(a).total_cmp(&trust(b)).then(b.photo.cmp(&a.photo)));
        let Some(view) = next else { break };
        match (placed_cards.get(&view.place), placed_photos.get(&view.photo)) {
            (Some(world_from_card), _) => {
                placed_photos.insert(
                    view.photo,
                    view.located.camera_from_card.then(&world_from_card.inverse()),
                );
            }
            (None, Some(camera_from_world)) => {
                placed_cards.insert(
                    view.place,
                    camera_from_world.inverse().then(&view.located.camera_from_card),
                );
            }
            (None, None) => break,
        }
    }
    let mut sheet_of: BTreeMap<u8, usize> =
        out.state.sheets.iter().enumerate().map(|(i, s)| (s.number, i)).collect();
    for (place, pose) in &placed_cards {
        let sheet = *sheet_of.entry(place.1).or_insert_with(|| {
            out.state.sheets.push(Sheet { number: place.1, scale: [0.0; 2], bow: [0.0; 2] });
            out.state.sheets.len() - 1
        });
        out.state.cards.push(Card {
            sheet,
            world_from_card: *pose,
            ground: place.0,
            fixed: *place == root,
        });
        out.places.push(*place);
    }
    for (photo, pose) in placed_photos {
        out.view_of[photo] = Some(out.state.views.len());
        let ScenePhoto { setup, width, height, .. } = photos[photo];
        out.state.views.push(View::still(lens_of[photo], setup, pose, [width, height]));
    }
}

/// All card corners of placed photos, tied to the cards they show.
fn make_blocks(
    out: &mut CardsFirst,
    photos: &[ScenePhoto],
    usable: &dyn Fn(&&PatternSighting) -> bool,
    moved: &BTreeSet<u8>,
) {
    for (photo_idx, photo) in photos.iter().enumerate() {
        let Some(view) = out.view_of[photo_idx] else { continue };
        for sighting in photo.sightings.patterns.iter().filter(usable) {
            let number = sighting.pattern.number();
            let place = (place(photo, number, moved), number);
            if let Some(card) = out.places.iter().position(|p| *p == place) {
                let corners = seen_corners(sighting);
                out.blocks.push(Block {
                    view,
                    shown: Shown::Card(card),
                    corners,
                    points: Vec::new(),
                    noise: 1.0,
                });
            }
        }
    }
}

/// Turns the world so that z is up from the cards, x runs along the cord (or the row of cards), and
/// the origin lies among the cards.
///
/// Only for convenience and conditioning: no figure depends on it.
pub fn level(first: &mut CardsFirst, photos: &[ScenePhoto]) {
    let state = &mut first.state;
    let bench: Vec<usize> = (0..state.cards.len())
        .filter(|&i| !matches!(first.places[i].0, Ground::LensOnly(_)))
        .collect();
    if bench.is_empty() {
        return;
    }
    let poses: Vec<Rigid> = bench.iter().map(|&i| state.cards[i].world_from_card).collect();
    let up = poses.iter().map(|p| p.r.column(2).into_owned()).sum::<Vector3<f64>>();
    let middle = poses.iter().map(|p| p.t).sum::<Vector3<f64>>() / poses.len() as f64;
    let up = if up.norm() > 0.0 { up.normalize() } else { Vector3::z() };
    let along = cord_direction(state, photos, &first.view_of, &up, &middle)
        .unwrap_or_else(|| row_direction(&poses, &up));
    let across = up.cross(&along).normalize();
    let along = across.cross(&up);
    let r = Matrix3::from_rows(&[along.transpose(), across.transpose(), up.transpose()]);
    let new_from_old = Rigid::new(r, -(r * middle));
    for i in 0..state.cards.len() {
        if bench.contains(&i) {
            state.cards[i].world_from_card = new_from_old.then(&state.cards[i].world_from_card);
        }
    }
    for (photo_idx, view) in first.view_of.iter().enumerate() {
        if let (Some(view), false) = (view, photos[photo_idx].lens_only) {
            let view = &mut state.views[*view];
            view.camera_from_world = view.camera_from_world.then(&new_from_old.inverse());
        }
    }
}

/// Points of the cord seen in all photos, on the cards' plane: their common direction.
fn cord_direction(
    state: &State,
    photos: &[ScenePhoto],
    view_of: &[Option<usize>],
    up: &Vector3<f64>,
    middle: &Vector3<f64>,
) -> Option<Vector3<f64>> {
    let mut steps: Vec<Vector3<f64>> = Vec::new();
    for (photo, view) in photos.iter().zip(view_of) {
        let (Some(view), false) = (view, photo.lens_only) else { continue };
        let view = &state.views[*view];
        for line in photo.sightings.lines.iter().filter(|line| line.kind == StringKind::Cord) {
            let on_plane = |at: [f64; 2]| on_plane(&state.lens_of(view), view, at, up, middle);
            if let (Some(a), Some(b)) = (
                line.points.first().and_then(|p| on_plane(p.at)),
                line.points.last().and_then(|p| on_plane(p.at)),
            ) {
                steps.push(b - a);
            }
        }
    }
    let longest = steps.iter().max_by(|a, b| a.norm().total_cmp(&b.norm())).copied()?;
    let sum =
        steps.iter().map(|s| if s.dot(&longest) < 0.0 { -s } else { *s }).sum::<Vector3<f64>>();
    (sum.norm() > 1.0).then(|| sum.normalize())
}

/// Where the ray of a pixel meets the plane through `point` at right angles to `normal`.
pub fn on_plane(
    lens: &Lens,
    view: &View,
    pixel: [f64; 2],
    normal: &Vector3<f64>,
    point: &Vector3<f64>,
) -> Option<Vector3<f64>> {
    let (eye, ray) = view.ray(lens, &Vector2::from(pixel))?;
    let slope = ray.dot(normal);
    if slope.abs() < 1e-6 {
        return None;
    }
    let along = (point - eye).dot(normal) / slope;
    (along > 0.0).then(|| eye + ray * along)
}

/// The direction in which the cards' centres spread most; a lone card's own x axis.
fn row_direction(poses: &[Rigid], up: &Vector3<f64>) -> Vector3<f64> {
    let middle = poses.iter().map(|p| p.t).sum::<Vector3<f64>>() / poses.len() as f64;
    let spread: Matrix3<f64> =
        poses.iter().map(|p| (p.t - middle) * (p.t - middle).transpose()).sum();
    let eigen = spread.symmetric_eigen();
    let widest = eigen.eigenvalues.imax();
    let axis = if eigen.eigenvalues[widest] > 1e4 {
        eigen.eigenvectors.column(widest).into_owned()
    } else {
        poses[0].r.column(0).into_owned()
    };
    let flat = axis - up * axis.dot(up);
    if flat.norm() > 1e-6 { flat.normalize() } else { crate::math::rigid::any_normal(up) }
}
