//! Three photos a set-up: little to go by, and no reason to tell a figure wrongly.

use std::path::Path;

use crate::common::compare::{Compared, compared, expected_of};
use crate::common::shared_sets::folder;
use sightcord::figure::Figure;
use sightcord::pipeline;

/// Photos of a set-up from which three are taken.
const FIRST: usize = 9;

/// A job with photos `chosen` of every set-up, and its own job.toml. The cards-only photos stay
/// away.
fn copy_of(set: &Path, chosen: [usize; 3], to: &Path) {
    let _ = std::fs::copy(set.join("job.toml"), to.join("job.toml"));
    for setup in &sightcord::photo::list_job(set).expect("photos").setups {
        std::fs::create_dir(to.join(&setup.name)).expect("a folder");
        let n = setup.photos.len().min(FIRST);
        for photo in chosen.into_iter().filter(|&i| i < n).map(|i| &setup.photos[i]) {
            std::fs::copy(&photo.path, to.join(&photo.id)).expect("a copy");
        }
    }
}

/// SETS names sets, EACH=n tries every n-th choice of three photos (`tests/slow/three_photos.sh`
/// tries all).
#[test]
#[ignore = "needs ../shared"]
fn three_photos_a_setup_give_few_figures_and_no_wrong_one() {
    let sets = std::env::var("SETS").unwrap_or_else(|_| "cord-00".to_owned());
    let each: usize = std::env::var("EACH").ok().and_then(|each| each.parse().ok()).unwrap_or(15);
    let mut complaints = Vec::new();
    let (mut n_jobs, mut n_useful) = (0, 0);
    for set in sets.split(',') {
        let from = folder(set);
        let expected = expected_of(&from);
        let photos = sightcord::photo::list_job(&from).expect("photos");
        let n = photos
            .setups
            .iter()
            .map(|setup| setup.photos.len())
            .min()
            .expect("a set-up")
            .min(FIRST);
        let triples =
            (0..n).flat_map(|a| (a + 1..n).flat_map(move |b| (b + 1..n).map(move |c| [a, b, c])));
        for chosen in triples.step_by(each) {
            let job = tempfile::tempdir().expect("a temporary folder");
            copy_of(&from, chosen, job.path());
            let document =
                pipeline::measure(pipeline::open(job.path()).expect("a job"), &|_| {}).document;
            let figures = compared(&document, &expected);
            let worst = figures.iter().map(Compared::ratio).fold(0.0, f64::max);
            let wrong = figures.iter().filter(|figure| figure.ratio() > 2.0);
            complaints.extend(wrong.map(|figure| format!("{set} {chosen:?} {figure}")));
            let rims = expected
                .keys()
                .filter(|p| p.starts_with("/rim/"))
                .all(|p| document.figure(&Figure::at(p)).is_some());
            let useful = rims && document.figure(&Figure::WheelYaw).is_some();
            n_jobs += 1;
            n_useful += usize::from(useful);
            let (n, all) = (figures.len(), expected.len());
            println!(
                "{set} {chosen:?}: {n} of {all} figures, worst {worst:.2} U, yaw and rims {useful}"
            );
        }
    }
    println!("| {sets} | {n_jobs} | {n_useful} | {} |", complaints.len());
    if 2 * n_useful < n_jobs {
        complaints.push(format!("{n_useful} of {n_jobs} jobs give yaw and rims"));
    }
    assert!(complaints.is_empty(), "{}", complaints.join("\n"));
}
