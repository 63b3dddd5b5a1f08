//! The cord as one photo shows it in each card's own millimetres, against the truth.

use rayon::prelude::*;
use sightcord::cards::Pattern;
use sightcord::glance::cord_on_card::{CordReading, HEIGHT_MM, NotRead};
use sightcord::glance::picture_bend::PictureBend;
use sightcord::glance::read_cord::read_cord;
use sightcord::photo::read_photo;
use sightcord::sightings::look;

use crate::common::{RenderKnobs, SightingKnobs, TruthScene, V3, Viewpoint};
use crate::shared_truth;
use crate::shared_truth::{SETS, TruthPhoto, TruthPose, TruthSet, Vec3};

/// The true cord on a card: offset from the lane's middle towards the upper edge (mm), and angle
/// (degrees), from two of its points.
fn true_cord(card: &TruthPose) -> (f64, f64) {
    let on_card = |x: f64| -> Vec3 {
        let from = [x - card.t[0], -card.t[1], -card.t[2]];
        std::array::from_fn(|i| (0..3).map(|k| card.r[k][i] * from[k]).sum())
    };
    let (a, b) = (on_card(card.t[0] - 100.0), on_card(card.t[0] + 100.0));
    let slope = (b[1] - a[1]) / (b[0] - a[0]);
    (a[1] - slope * a[0], slope.atan().to_degrees())
}

/// Errors over their stated U.
#[derive(Default)]
struct Tally {
    ratios: Vec<(f64, String)>,
    u: Vec<f64>,
}

impl Tally {
    fn count(&mut self, error: f64, u: f64, what: String) {
        self.ratios.push((error.abs() / u, what));
        self.u.push(u);
    }

    fn check(&mut self, what: &str) {
        self.ratios.sort_by(|a, b| b.0.total_cmp(&a.0));
        let inside = self.ratios.iter().filter(|(ratio, _)| *ratio <= 1.0).count();
        let n = self.ratios.len();
        println!(
            "{what}: {inside} of {n} within U, median U {:.2}",
            shared_truth::median(&mut self.u)
        );
        for (ratio, place) in self.ratios.iter().take(12) {
            println!("   {ratio:.2} U: {place}");
        }
    }

    fn holds(&self) -> bool {
        let inside = self.ratios.iter().filter(|(ratio, _)| *ratio <= 1.0).count();
        inside * 100 >= self.ratios.len() * 95 && self.ratios.iter().all(|(ratio, _)| *ratio <= 2.0)
    }
}

fn readings(set: &TruthSet) -> Vec<(&TruthPhoto, CordReading)> {
    let read = |photo: &TruthPhoto| {
        let file = read_photo(&photo.path).expect("a shared photo");
        let seen = look(&file.luma);
        read_cord(&seen, file.facts.width, file.facts.height, file.facts.start_focal_px())
    };
    set.photos.par_iter().map(|photo| (photo, read(photo))).collect()
}

#[test]
#[ignore = "needs ../shared"]
fn the_cord_read_in_one_photo_lies_where_it_truly_is_within_its_uncertainty() {
    let (mut offsets, mut angles, mut straight) =
        (Tally::default(), Tally::default(), Tally::default());
    let (mut n_lanes, mut n_apart) = (0, 0);
    let mut refused: std::collections::BTreeMap<String, usize> = Default::default();
    for name in SETS {
        let set = TruthSet::load(name);
        for (photo, reading) in readings(&set) {
            for lane in &reading.lanes {
                n_lanes += 1;
                let place = format!("{name} {} card {}", photo.file, lane.card);
                let cord = match &lane.cord {
                    Ok(cord) => cord,
                    Err(why) => {
                        *refused.entry(why.to_string()).or_default() += 1;
                        continue;
                    }
                };
                n_apart += usize::from(cord.told_apart);
                let card = set
                    .cards
                    .iter()
                    .find(|card| card.pattern.number() == lane.card)
                    .expect("a card of the set");
                let (offset, angle) = true_cord(card);
                let place = format!(
                    "{place} view {:.2} apart {} u {:.2}",
                    cord.view, cord.told_apart, cord.offset.u
                );
                offsets.count(
                    cord.offset.value - offset,
                    cord.offset.u,
                    format!("{place} error {:+.2}", cord.offset.value - offset),
                );
                angles.count(
                    cord.angle.value - angle,
                    cord.angle.u,
                    format!("{place} error {:+.3}", cord.angle.value - angle),
                );
            }
            for s in &reading.straightness {
                let place = format!(
                    "{name} {} card {} between {} and {}: {:.2} U {:.2}",
                    photo.file, s.card, s.from, s.to, s.off.value, s.off.u
                );
                straight.count(s.off.value, s.off.u, place);
            }
        }
    }
    println!("{n_lanes} lanes, {n_apart} told apart, refused: {refused:?}");
    offsets.check("offsets");
    angles.check("angles");
    straight.check("straightness");
    assert!(offsets.ratios.len() > 150, "only {} offsets were read", offsets.ratios.len());
    assert!(straight.ratios.len() > 20, "only {} places were told straight", straight.ratios.len());
    assert!(offsets.holds() && angles.holds() && straight.holds());
}

/// A rendered scene photographed from these places (eye, target), and what each photo shows of the
/// cord. The file gives no focal length.
fn rendered(scene: &TruthScene, places: &[[V3; 2]]) -> (TruthScene, Vec<CordReading>) {
    let mut scene = scene.clone();
    let photos = places
        .iter()
        .enumerate()
        .map(|(i, [eye, target])| Viewpoint::looking(&format!("{i}.jpg"), *eye, *target, 0.0));
    scene.setups.truncate(1);
    scene.setups[0].photos = photos.collect();
    let knobs = RenderKnobs { clutter: false, ..RenderKnobs::default() };
    let read = |photo: usize| {
        let image = scene.photograph(0, photo, &knobs).linear();
        read_cord(&look(&image), image.width(), image.height(), None)
    };
    let readings = (0..places.len()).map(read).collect();
    (scene, readings)
}

#[test]
fn the_cord_of_a_rendered_photo_is_read_with_its_height_allowed_for() {
    // Nearly straight down, obliquely from the left, and flatly.
    let places = [
        [V3::new(160.0, 40.0, 760.0), V3::new(165.0, 0.0, 0.0)],
        [V3::new(160.0, 600.0, 620.0), V3::new(165.0, 0.0, 0.0)],
        [V3::new(160.0, 950.0, 330.0), V3::new(165.0, 0.0, 0.0)],
    ];
    let (scene, readings) = rendered(&TruthScene::default().at_scale(0.7), &places);
    let (mut widest, mut n) = ([0.0_f64; 2], 0);
    for (photo, reading) in readings.iter().take(2).enumerate() {
        for lane in &reading.lanes {
            let Ok(cord) = &lane.cord else { continue };
            let card = scene
                .bench
                .cards
                .iter()
                .find(|card| card.number == lane.card)
                .expect("a card of the scene");
            let on_card = |x: f64| {
                card.pose.rotation.transpose()
                    * (scene.bench.cord.at(&scene.setups[0], x) - card.pose.origin)
            };
            let (a, b) = (on_card(card.pose.origin.x - 100.0), on_card(card.pose.origin.x + 100.0));
            let slope = (b.y - a.y) / (b.x - a.x);
            let (offset, angle) = (a.y - slope * a.x, slope.atan().to_degrees());
            let error = cord.offset.value - offset;
            assert!(
                error.abs() <= cord.offset.u,
                "photo {photo}, card {}: {:?}, true {offset:.2}",
                lane.card,
                cord.offset
            );
            assert!(
                (cord.angle.value - angle).abs() <= cord.angle.u,
                "card {}: {:?}, true {angle:.2}",
                lane.card,
                cord.angle
            );
            widest[photo] = widest[photo].max(cord.offset.u);
            n += 1;
        }
    }
    assert!(n >= 4, "only {n} lanes were read: {readings:?}");
    // What the height may add is in the uncertainty: an oblique view shows less than one from
    // above.
    assert!(widest[0] < 1.6 && widest[1] > HEIGHT_MM.1 * 0.8, "{widest:?}");
    assert!(!readings[2].lanes.is_empty());
    assert!(
        readings[2]
            .lanes
            .iter()
            .all(|lane| lane.cord.as_ref().is_err_and(|why| *why == NotRead::TooFlat)),
        "{:?}",
        readings[2]
    );
}

#[test]
fn a_photo_without_cards_tells_nothing_of_the_cord() {
    assert_eq!(read_cord(&Default::default(), 800, 600, None), CordReading::default());
    assert_eq!(read_cord(&Default::default(), 0, 0, Some(f64::NAN)), CordReading::default());
}

#[test]
fn a_photo_is_straightened_by_its_own_cards() {
    let scene = TruthScene::default();
    let (mut n, mut straightened, mut bent) = (0, 0.0_f64, 0.0_f64);
    for seen in scene.sightings(&SightingKnobs::default()) {
        let cards = seen
            .sightings
            .patterns
            .iter()
            .filter(|p| matches!(p.pattern, Pattern::Card(_)) && p.corners.len() > 100);
        if cards.count() < 3 {
            continue;
        }
        let bend = PictureBend::of(&seen.sightings, scene.lens.width, scene.lens.height);
        // The cord over the rear, second and front card: the middle one's distance from the line
        // through the others.
        let cord = |x: f64| seen.eye.project(V3::new(x, 0.0, 2.6));
        let (Some(a), Some(b), Some(c)) = (cord(-330.0), cord(0.0), cord(330.0)) else { continue };
        let off = |[a, b, c]: [nalgebra::Vector2<f64>; 3]| {
            ((c - a).perp(&(b - a)) / (c - a).norm()).abs()
        };
        let sigma = bend.sigma_of(&[(nalgebra::Vector2::new(1.0, 0.0), b)]);
        assert!(sigma.is_finite() && sigma > 0.0);
        straightened = straightened.max(off([a, b, c].map(|at| bend.straightened(at))));
        bent = bent.max(off([a, b, c].map(nalgebra::Vector2::from)));
        n += 1;
    }
    assert!(n >= 4, "only {n} photos show three cards");
    assert!(bent > 2.0, "the lens bends by {bent:.2} px: this shows nothing");
    assert!(straightened < 0.3, "{straightened:.2} px are left of {bent:.2}");
}
