//! How many of the cards and tabs that an eye sees are found in photo sets with truth, by the way
//! production takes: a table, and the least that must be found. `PHOTO_SETS` may name other folders
//! of sets, separated by colons.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::common::measured::measured;
use crate::shared_truth::eye::{InPicture, in_picture};
use crate::shared_truth::{TruthPhoto, TruthSet};
use sightcord::cards::Pattern;
use sightcord::sightings::{PatternSighting, PhotoSightings, look};

/// Upper ends of the classes of cell size (px) and of noise (parts of a patch's contrast).
const CELLS: [f64; 6] = [6.0, 8.0, 10.0, 14.0, 20.0, f64::INFINITY];
const NOISE: [f64; 5] = [0.2, 0.3, 0.5, 0.8, f64::INFINITY];

/// Visible, found at the first look, found in the end.
type Counts = [usize; 3];

#[derive(Default)]
struct Table {
    cards: Counts,
    tabs: Counts,
    large_tabs: Counts,
    by_cell: BTreeMap<(bool, usize), Counts>,
    by_noise: BTreeMap<(bool, usize), Counts>,
    false_codes: Vec<String>,
}

impl Table {
    fn add(&mut self, truth: &InPicture, looks: [&PhotoSightings; 2]) {
        let is_tab = matches!(truth.pattern, Pattern::Tab(_));
        let found = looks.map(|look| {
            usize::from(look.patterns.iter().any(|seen| seen.pattern == truth.pattern))
        });
        let class = |ends: &[f64], value: f64| {
            ends.iter().position(|&end| value < end).unwrap_or(ends.len() - 1)
        };
        let mut rows = vec![
            self.by_cell.entry((is_tab, class(&CELLS, truth.cell_px))).or_default(),
            self.by_noise.entry((is_tab, class(&NOISE, truth.noise))).or_default(),
            if is_tab { &mut self.tabs } else { &mut self.cards },
        ];
        if is_tab && truth.cell_px >= 8.0 {
            rows.push(&mut self.large_tabs);
        }
        for row in rows {
            *row = [row[0] + 1, row[1] + found[0], row[2] + found[1]];
        }
    }

    fn print(&self) {
        for (what, ends, table) in
            [("cell, px", &CELLS[..], &self.by_cell), ("noise", &NOISE[..], &self.by_noise)]
        {
            println!("{what:>8}  visible, first look, in the end");
            for ((is_tab, class), counts) in table {
                println!(
                    "  {} below {:>5}: {counts:?}",
                    if *is_tab { "tabs " } else { "cards" },
                    ends[*class]
                );
            }
        }
    }
}

/// Whether most corners of a sighting lie where the truth has those of its pattern.
fn is_there(set: &TruthSet, photo: &TruthPhoto, seen: &PatternSighting) -> bool {
    let poses = set.cards.iter().cloned().chain(set.tabs(photo));
    let pose = poses.into_iter().find(|pose| pose.pattern == seen.pattern);
    let near = |corner: &&sightcord::sightings::CornerSighting| {
        let node = pose.as_ref().and_then(|pose| {
            photo.project(pose.node(f64::from(corner.row), f64::from(corner.col)))
        });
        // A card may have been moved a little since the truth was written; a false code lies
        // anywhere.
        node.is_some_and(|at| {
            (at[0] - corner.at[0]).hypot(at[1] - corner.at[1]) < 3.0_f64.max(0.3 * corner.cell_px)
        })
    };
    2 * seen.corners.iter().filter(near).count() > seen.corners.len()
}

fn count(folder: &Path, all: &mut Table) {
    let set = TruthSet::of_folder(folder);
    let measured = measured(folder);
    let mut own = Table::default();
    for photo in &set.photos {
        let image = photo.image();
        let first = look(&image);
        let last = measured
            .photos
            .iter()
            .find(|seen| seen.file.id == photo.file)
            .map(|seen| &seen.sightings);
        let looks = [&first, last.unwrap_or(&first)];
        for truth in in_picture(&set, photo, &image).iter().filter(|truth| truth.is_visible()) {
            own.add(truth, looks);
            all.add(truth, looks);
        }
        for seen in
            looks.iter().flat_map(|look| &look.patterns).filter(|seen| !is_there(&set, photo, seen))
        {
            own.false_codes.push(format!("{}: {:?}", photo.file, seen.pattern));
        }
    }
    println!(
        "{:12} cards {:?}, tabs {:?}, of them with cells of 8 px and more {:?}, false {:?}",
        set.name, own.cards, own.tabs, own.large_tabs, own.false_codes
    );
    all.false_codes.extend(own.false_codes);
}

#[test]
#[ignore = "needs ../shared"]
fn what_an_eye_sees_is_found() {
    let folders: Vec<PathBuf> = match std::env::var("PHOTO_SETS") {
        Ok(folders) => folders.split(':').map(PathBuf::from).collect(),
        Err(_) => {
            ["cord-02", "riders-dusk"].map(|set| Path::new("../shared/photos").join(set)).to_vec()
        }
    };
    let mut all = Table::default();
    for folder in folders {
        count(&folder, &mut all);
    }
    all.print();
    let share = |[visible, _, found]: Counts| found as f64 / visible.max(1) as f64;
    assert_eq!(all.false_codes, [] as [String; 0]);
    assert!(share(all.cards) >= 0.99, "cards {:?}", all.cards);
    assert!(share(all.large_tabs) >= 0.95, "tabs with cells of 8 px and more {:?}", all.large_tabs);
    assert!(share(all.tabs) >= 0.85, "tabs {:?}", all.tabs);
}
