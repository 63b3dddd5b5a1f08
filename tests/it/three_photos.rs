//! Three photos a set-up: little to go by, and no reason to tell a figure wrongly.

use std::path::Path;

use crate::common::compare::{Compared, compared, expected_of};
use crate::common::pairs::by_pairs;
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

/// Every choice of three of the first photos.
fn choices_of(set: &str) -> Vec<[usize; 3]> {
    let photos = sightcord::photo::list_job(&folder(set)).expect("photos");
    let fewest = photos.setups.iter().map(|setup| setup.photos.len()).min().expect("a set-up");
    let n = fewest.min(FIRST);
    (0..n).flat_map(|a| (a + 1..n).flat_map(move |b| (b + 1..n).map(move |c| [a, b, c]))).collect()
}

/// The figures beyond 2 U, and whether yaw and every rim are given.
fn measured(set: &str, chosen: [usize; 3]) -> (Vec<String>, bool) {
    let (from, job) = (folder(set), tempfile::tempdir().expect("a temporary folder"));
    copy_of(&from, chosen, job.path());
    let document = pipeline::measure(pipeline::open(job.path()).expect("a job"), &|_| {}).document;
    let expected = expected_of(&from);
    let figures = compared(&document, &expected);
    let rims = expected
        .keys()
        .filter(|p| p.starts_with("/rim/"))
        .all(|p| document.figure(&Figure::at(p)).is_some());
    let useful = rims && document.figure(&Figure::WheelYaw).is_some();
    let (n, all) = (figures.len(), expected.len());
    let worst = figures.iter().map(Compared::ratio).fold(0.0, f64::max);
    println!("{set} {chosen:?}: {n} of {all} figures, worst {worst:.2} U, yaw and rims {useful}");
    let wrong = figures.iter().filter(|figure| figure.ratio() > 2.0);
    (wrong.map(|figure| format!("{set} {chosen:?} {figure}")).collect(), useful)
}

/// SETS names sets, EACH=n tries every n-th choice of three photos (`tests/slow/three_photos.sh`
/// tries all).
#[test]
#[ignore = "needs ../shared"]
fn three_photos_a_setup_give_few_figures_and_no_wrong_one() {
    let sets = std::env::var("SETS").unwrap_or_else(|_| "cord-00".to_owned());
    let each: usize = std::env::var("EACH").ok().and_then(|each| each.parse().ok()).unwrap_or(15);
    let jobs: Vec<(&str, [usize; 3])> = sets
        .split(',')
        .flat_map(|set| choices_of(set).into_iter().step_by(each).map(move |chosen| (set, chosen)))
        .collect();
    let measured = by_pairs(&jobs, |&(set, chosen)| measured(set, chosen));
    let mut complaints: Vec<String> =
        measured.iter().flat_map(|(wrong, _)| wrong.clone()).collect();
    let (n_jobs, n_useful) = (jobs.len(), measured.iter().filter(|(_, useful)| *useful).count());
    println!("| {sets} | {n_jobs} | {n_useful} | {} |", complaints.len());
    if 2 * n_useful < n_jobs {
        complaints.push(format!("{n_useful} of {n_jobs} jobs give yaw and rims"));
    }
    assert!(complaints.is_empty(), "{}", complaints.join("\n"));
}
