//! A flat folder of photos, named as a phone names them, gives what the sorted one gives.
//!
//! `FLAT_SETS=right-hand:swing-arm` names other sets than the one of every day.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use crate::common::Random;
use crate::common::measured::measured;
use sightcord::grouping::GroupedBy;
use sightcord::pipeline;

/// The set's photos in one folder, in an order that says nothing; gives each photo's folder by its
/// new name.
fn flattened(set: &Path, to: &Path) -> BTreeMap<String, String> {
    let listed = sightcord::photo::list_job(set).expect("photos");
    let mut files: Vec<_> = listed.with_setups().collect();
    let mut random = Random::new(5);
    files.sort_by_cached_key(|_| random.word());
    let mut folders = BTreeMap::new();
    for (n, (file, setup)) in files.into_iter().enumerate() {
        let name = format!("IMG_{:04}.jpg", n + 1);
        fs::copy(&file.path, to.join(&name)).expect("a copy");
        folders.insert(name, setup.expect("a folder").to_owned());
    }
    if set.join("job.toml").is_file() {
        fs::copy(set.join("job.toml"), to.join("job.toml")).expect("a copy");
    }
    folders
}

#[test]
#[ignore = "needs ../shared"]
fn a_flat_folder_gives_the_same_values_as_the_sorted_one() {
    let sets = std::env::var("FLAT_SETS").unwrap_or_else(|_| "cord-00".to_owned());
    for set in sets.split(':') {
        let folder = Path::new("../shared/photos").join(set);
        let flat = tempfile::tempdir().expect("a temporary folder");
        let folders = flattened(&folder, flat.path());
        let sorted = &measured(&folder).document;
        let flat = pipeline::measure(pipeline::open(flat.path()).expect("a job"), &|_| {}).document;
        assert!(
            sorted.grouping.iter().all(|entry| entry.by == GroupedBy::Folder),
            "{set}: {:?}",
            sorted.grouping
        );
        for entry in &flat.grouping {
            assert_eq!(entry.setup, folders[&entry.photo], "{set}: {}", entry.photo);
            assert_eq!(entry.by, GroupedBy::Found);
        }
        let (mut worst, mut n) = (0.0f64, 0);
        for (figure, before) in sorted.measured.table.measured() {
            let after = flat
                .figure(figure)
                .unwrap_or_else(|| panic!("{set}: no {} in the flat folder", figure.pointer()));
            let off = ((after.value - before.value).abs() / before.u)
                .max((after.u / before.u - 1.0).abs());
            assert!(off <= 0.01, "{set}: {}: {before:?} sorted, {after:?} flat", figure.pointer());
            (worst, n) = (worst.max(off), n + 1);
        }
        assert_eq!(n, flat.measured.table.measured().count(), "{set}");
        println!("{set}: {n} figures, {:.4} of U at the most", worst);
    }
}
