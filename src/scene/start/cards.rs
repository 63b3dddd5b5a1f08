//! Start poses of the cards and of the cameras that saw them.

use std::collections::{BTreeMap, BTreeSet};

use crate::camera::Lens;
use crate::cards::Pattern;
use crate::finding::Finding;
use crate::math::Rigid;
use crate::scene::model::input::{ScenePhoto, SceneSettings};
use crate::scene::model::observe::{Block, Shown};
use crate::scene::model::priors::LensStart;
use crate::scene::model::state::{Card, Ground, Sheet, State};
use crate::scene::model::view::View;
use crate::sightings::PatternSighting;

use super::glimpses::{COARSE, LEAST_CORNERS, glimpse, seen_corners, thinned};
use super::lenses::lenses;
use super::pose::locate;

/// Corners from which a card is located (our choice).
const CORNERS_TO_LOCATE: usize = 60;

/// The scene as far as the cards determine it.
pub struct StartCards {
    pub state: State,
    /// For each card of the state: the ground it lies on and its number.
    pub places: Vec<(Ground, u8)>,
    pub blocks: Vec<Block>,
    /// For each photo its view, if it found its place.
    pub view_of: Vec<Option<usize>>,
    /// For each lens what is known of it beforehand.
    pub lens_start: Vec<LensStart>,
    pub findings: Vec<Finding>,
}

/// A card seen in a photo with its pose there.
struct CardView {
    photo: usize,
    /// Place where the card lies: set-ups share places, lens-only folders have their own.
    place: (Ground, u8),
    located: LocatedCard,
}

/// A card of its stated size before the camera.
pub struct LocatedCard {
    pub camera_from_card: Rigid,
    /// Corners it was found from, and its misfit.
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
pub fn start_cards(
    photos: &[ScenePhoto],
    settings: &SceneSettings,
    moved: &BTreeSet<u8>,
    dropped: &BTreeSet<u8>,
) -> StartCards {
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
    let mut out = StartCards {
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

/// Locates a card of its stated size; None where its corners determine no place.
pub fn locate_card(
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

/// Places all photos of one ground that hang together through cards they share.
fn connect(
    out: &mut StartCards,
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
    out: &mut StartCards,
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
