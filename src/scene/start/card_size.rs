//! Cards printed at another size than their number says: a sheet for A3 that a printer shrank onto
//! A4, for one.
//!
//! All cards lie on one bench. A card that is smaller than it should be seems to lie far below the
//! others, in every photo by the same factor. Their number does not show which of the cards are
//! right; the tabs do, which are printed apart.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use nalgebra::Vector3;

use crate::cards::Pattern;
use crate::finding::Finding;
use crate::math::rigid::Rigid;
use crate::math::robust::median;
use crate::scene::model::input::{ScenePhoto, SceneSettings};

use super::cards::locate_card;
use super::lenses::lenses;

/// Cards whose sizes differ by more than this (natural logarithm) can't be of one print: a fifth,
/// where the perspective of an uncalibrated phone leaves a tenth open, and A3 on A4 is a
/// third.
const UNLIKE: f64 = 0.2;
/// Corners of a card that determine its distance well, and photos that are looked at (our choice).
const LEAST_CORNERS: usize = 60;
const MOST_PHOTOS: usize = 10;
/// Photos that must agree.
const LEAST_PHOTOS: usize = 2;

/// The cards in groups of one size each, the numerous first. A single group where nothing is amiss.
pub fn size_groups(photos: &[ScenePhoto], settings: &SceneSettings) -> Vec<BTreeSet<u8>> {
    let (lens_of, lenses, _) = lenses(photos, &mut Vec::new());
    let showing: Vec<usize> =
        (0..photos.len()).filter(|&i| cards(&photos[i]).count() > 1).collect();
    let each = showing.len().div_ceil(MOST_PHOTOS).max(1);
    let mut ratios: BTreeMap<(u8, u8), Vec<f64>> = BTreeMap::new();
    for &photo_idx in showing.iter().step_by(each) {
        let pose = |sighting| locate_card(sighting, settings, lenses[lens_of[photo_idx]]);
        let seen: Vec<(u8, Rigid)> = cards(&photos[photo_idx])
            .filter_map(|card| Some((card.pattern.number(), pose(card)?.camera_from_card)))
            .collect();
        for (i, (a, a_pose)) in seen.iter().enumerate() {
            for (b, b_pose) in &seen[..i] {
                if let Some(ratio) = height_ratio(b_pose, a_pose) {
                    ratios.entry((*b.min(a), *b.max(a))).or_default().push(if b < a {
                        ratio
                    } else {
                        -ratio
                    });
                }
            }
        }
    }
    let numbers: BTreeSet<u8> = ratios.keys().flat_map(|&(a, b)| [a, b]).collect();
    let mut groups: Vec<BTreeSet<u8>> = Vec::new();
    for &number in &numbers {
        let alike = |other: &u8| {
            let pair = (number.min(*other), number.max(*other));
            let ratios = ratios.get(&pair).filter(|ratios| ratios.len() >= LEAST_PHOTOS);
            ratios.and_then(|ratios| median(ratios)).is_none_or(|ratio| ratio.abs() < UNLIKE)
        };
        match groups.iter_mut().find(|group| group.iter().all(alike)) {
            Some(group) => {
                group.insert(number);
            }
            None => groups.push(BTreeSet::from([number])),
        }
    }
    groups.sort_by_key(|group| std::cmp::Reverse(group.len()));
    groups
}

fn cards(photo: &ScenePhoto) -> impl Iterator<Item = &crate::sightings::PatternSighting> {
    photo.sightings.patterns.iter().filter(|seen| {
        matches!(seen.pattern, Pattern::Card(_)) && seen.corners.len() >= LEAST_CORNERS
    })
}

/// Logarithm of how much nearer the plane of one card seems than that of another, if both lie on
/// one bench.
fn height_ratio(a: &Rigid, b: &Rigid) -> Option<f64> {
    let normals = [a, b].map(|pose| -> Vector3<f64> { pose.r.column(2).into_owned() });
    let normal = (normals[0] + normals[1]).try_normalize(1e-9)?;
    let (to_a, to_b) = (normal.dot(&a.t).abs(), normal.dot(&b.t).abs());
    // The lower the camera, the more a tilt that is estimated a little wrongly counts.
    let low = |pose: &Rigid, height: f64| height < 0.3 * pose.t.norm();
    let ratio = (to_b / to_a).ln();
    (ratio.is_finite() && !low(a, to_a) && !low(b, to_b)).then_some(ratio)
}

/// The photos without cards of these numbers.
pub fn without<'a>(photos: &'a [ScenePhoto], cards: &BTreeSet<u8>) -> Cow<'a, [ScenePhoto]> {
    if cards.is_empty() {
        return Cow::Borrowed(photos);
    }
    let mut photos = photos.to_vec();
    for photo in &mut photos {
        let is_left_out =
            |pattern: Pattern| matches!(pattern, Pattern::Card(number) if cards.contains(&number));
        photo.sightings.patterns.retain(|seen| !is_left_out(seen.pattern));
        photo.sightings.lanes.retain(|lane| !is_left_out(lane.pattern));
    }
    Cow::Owned(photos)
}

/// The name of the finding of [`finding`].
pub const WRONG_SIZE: &str = "card-size-wrong";

/// The finding about cards that are left out for their size.
pub fn finding(cards: &BTreeSet<u8>) -> Finding {
    let numbers: Vec<String> = cards.iter().map(u8::to_string).collect();
    let (card, was) = if cards.len() == 1 { ("Card", "was") } else { ("Cards", "were") };
    Finding::warning(
        WRONG_SIZE,
        format!(
            "{card} {} {was} not printed at the size that the others and the tabs have, and {was} not used.",
            numbers.join(", ")
        ),
        "Cards 13 to 16 are for A3 paper: print them at 100 % on A3, or use cards 1 to 12 on A4. Lay a rule to the check lines.",
    )
}
