//! The pattern finder on the shared photos against their truth, and on photos that show no pattern
//! of ours.

use std::collections::BTreeMap;

use crate::shared_truth::{Dice, SETS, TruthPhoto, TruthSet, median, robust};
use rayon::prelude::*;
use sightcord::cards::Pattern;
use sightcord::sightings::{PatternSighting, PhotoSightings, PredictedPattern, look, look_again};

/// Upper ends of the classes of cell size, px.
const CLASSES: [f64; 8] = [4.0, 5.0, 6.0, 8.0, 10.0, 14.0, 20.0, 1000.0];

/// A pattern of the truth as one photo sees it.
struct Visible {
    pattern: Pattern,
    /// Pixels of the corners inside the photo.
    corners: BTreeMap<(u8, u8), [f64; 2]>,
    /// Median shorter side of a cell, px.
    cell: f64,
}

/// Patterns that turn their printed side to the camera and have corners inside the photo, hidden or
/// not.
fn visible(set: &TruthSet, photo: &TruthPhoto) -> Vec<Visible> {
    let mut seen = Vec::new();
    for pose in set.cards.iter().cloned().chain(set.tabs(photo)).filter(|pose| photo.faces(pose)) {
        let (mut corners, mut cells) = (BTreeMap::new(), Vec::new());
        for (r, c) in pose.pattern.corners() {
            let node = |dr: f64, dc: f64| photo.project(pose.node(r as f64 + dr, c as f64 + dc));
            let Some(at) = node(0.0, 0.0) else { continue };
            corners.insert((r as u8, c as u8), at);
            if let (Some(a), Some(b), Some(c), Some(d)) =
                (node(-0.5, 0.0), node(0.5, 0.0), node(0.0, -0.5), node(0.0, 0.5))
            {
                cells.push((a[0] - b[0]).hypot(a[1] - b[1]).min((c[0] - d[0]).hypot(c[1] - d[1])));
            }
        }
        if !corners.is_empty() {
            seen.push(Visible { pattern: pose.pattern, corners, cell: median(&mut cells) });
        }
    }
    seen
}

/// Found and visible patterns by class of cell size, and the corners' errors.
#[derive(Default)]
struct Tally {
    cards: [[usize; 2]; CLASSES.len()],
    tabs: [[usize; 2]; CLASSES.len()],
    corners: [[usize; 2]; CLASSES.len()],
    /// Error along u and v in turn, px.
    errors: Vec<f64>,
    n_far: usize,
    false_patterns: Vec<String>,
}

impl Tally {
    fn count(&mut self, photo: &TruthPhoto, truth: &[Visible], seen: &PhotoSightings) {
        for sighting in &seen.patterns {
            match truth.iter().find(|visible| visible.pattern == sighting.pattern) {
                Some(visible) => self.measure(photo, visible, sighting),
                None => self.false_patterns.push(format!("{}: {:?}", photo.file, sighting.pattern)),
            }
        }
        for visible in truth {
            let class =
                CLASSES.iter().position(|&end| visible.cell < end).unwrap_or(CLASSES.len() - 1);
            let found = seen.patterns.iter().find(|sighting| sighting.pattern == visible.pattern);
            let n_found = found.map_or(0, |sighting| sighting.corners.len());
            self.corners[class][0] += n_found;
            self.corners[class][1] += visible.corners.len();
            let (counts, is_whole) = match visible.pattern {
                Pattern::Card(_) => (&mut self.cards, visible.corners.len() >= 60),
                Pattern::Tab(_) => (&mut self.tabs, visible.corners.len() == 16),
            };
            if is_whole {
                counts[class][0] += usize::from(found.is_some());
                counts[class][1] += 1;
            }
        }
    }

    fn measure(&mut self, photo: &TruthPhoto, visible: &Visible, sighting: &PatternSighting) {
        for corner in &sighting.corners {
            let Some(at) = visible.corners.get(&(corner.row, corner.col)) else {
                self.false_patterns.push(format!(
                    "{}: {:?} ({}, {})",
                    photo.file, sighting.pattern, corner.row, corner.col
                ));
                continue;
            };
            let error = [corner.at[0] - at[0], corner.at[1] - at[1]];
            self.n_far += usize::from(error[0].hypot(error[1]) > 0.5);
            self.errors.extend(error);
        }
    }

    fn part(counts: &[[usize; 2]; CLASSES.len()], from: f64, to: f64) -> f64 {
        let inside = |&(_, &end): &(&[usize; 2], &f64)| end > from && end <= to;
        let sum = |i: usize| {
            counts.iter().zip(&CLASSES).filter(inside).map(|(count, _)| count[i]).sum::<usize>()
        };
        sum(0) as f64 / sum(1) as f64
    }

    fn print(&self, what: &str) {
        println!(
            "{what}: found of those facing the camera (hidden ones included), by shorter cell side"
        );
        for (class, end) in CLASSES.iter().enumerate() {
            let [cards, tabs, corners] = [self.cards[class], self.tabs[class], self.corners[class]];
            println!("  below {end:>6} px: cards {cards:?}, tabs {tabs:?}, corners {corners:?}");
        }
        let (bias, sd) = robust(&self.errors);
        println!(
            "  {} corners: bias {bias:.4} px, robust sd {sd:.4} px, {} over 0.5 px",
            self.errors.len() / 2,
            self.n_far
        );
    }
}

/// Both looks at every photo of the three sets. The second look's predictions are the truth, each
/// pattern moved by a pixel or so, hidden patterns included.
fn both_looks() -> [Tally; 2] {
    let sets: Vec<TruthSet> = SETS.iter().map(|name| TruthSet::load(name)).collect();
    let photos: Vec<(&TruthSet, &TruthPhoto)> =
        sets.iter().flat_map(|set| set.photos.iter().map(move |photo| (set, photo))).collect();
    let looks: Vec<[PhotoSightings; 2]> = photos
        .par_iter()
        .enumerate()
        .map(|(i, (set, photo))| {
            let image = photo.image();
            let first = look(&image);
            let mut dice = Dice(i as u64);
            let mut moved = |visible: &Visible| {
                let off = [dice.normal(), dice.normal()];
                let corners = visible
                    .corners
                    .iter()
                    .map(|(&(r, c), at)| (r, c, [at[0] + off[0], at[1] + off[1]]))
                    .collect();
                PredictedPattern { pattern: visible.pattern, corners }
            };
            let predicted: Vec<PredictedPattern> =
                visible(set, photo).iter().map(&mut moved).collect();
            let second = look_again(&image, &first, &predicted);
            [first, second]
        })
        .collect();
    let mut tallies = [Tally::default(), Tally::default()];
    for ((set, photo), looks) in photos.iter().zip(&looks) {
        let truth = visible(set, photo);
        for (tally, seen) in tallies.iter_mut().zip(looks) {
            tally.count(photo, &truth, seen);
        }
    }
    tallies
}

#[test]
#[ignore = "needs ../shared"]
fn cards_and_tabs_of_the_shared_photos_are_found_and_none_is_false() {
    let [first, second] = both_looks();
    first.print("first look");
    second.print("second look");
    for tally in [&first, &second] {
        assert_eq!(tally.false_patterns, [] as [String; 0]);
        let (bias, sd) = robust(&tally.errors);
        assert!(bias.abs() < 0.003, "bias {bias}");
        assert!(sd < 0.035, "robust standard deviation {sd}");
        // Five of 78,795 of the second look, in patterns that only it finds; the solver rejects
        // such.
        assert!(
            tally.n_far * 10_000 <= tally.errors.len(),
            "{} corners more than 0.5 px off",
            tally.n_far
        );
    }
    // Measured 1.00, 0.97, 0.72 and 0.91; a tenth of the tabs is hidden by tubes and spokes.
    assert!(Tally::part(&first.cards, 6.0, 1000.0) > 0.99);
    assert!(Tally::part(&first.tabs, 8.0, 1000.0) > 0.95);
    assert!(Tally::part(&first.tabs, 6.0, 8.0) > 0.65);
    assert!(Tally::part(&first.corners, 10.0, 1000.0) > 0.88);
    assert!(Tally::part(&second.tabs, 6.0, 8.0) > 0.80);
}
