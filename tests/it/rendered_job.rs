//! The whole way on rendered photos with known truth: a job folder is written, measured as any
//! other, and compared stage by stage.

use crate::common;

use std::collections::BTreeMap;
use std::path::Path;

use crate::common::{Budget, RenderKnobs, SightingKnobs, TruthScene};
use sightcord::cards::Pattern;
use sightcord::pipeline;
use sightcord::sightings::CornerSighting;

/// One job; `JOBS=12` measures a dozen, each with every contribution of the budget drawn anew
/// (`tests/slow/rendered.sh`).
#[test]
fn a_rendered_job_is_found_solved_and_measured_within_its_uncertainty() {
    let n: u64 = std::env::var("JOBS").ok().and_then(|jobs| jobs.parse().ok()).unwrap_or(1);
    for job in 0..n {
        // Six tenths of 8 megapixels' width: cells of 7 to 20 px, and a third of the time.
        let mut truth = TruthScene::default();
        if job > 0 {
            truth.seed = job;
            truth.take_photos();
            truth = truth.with_errors(&Budget::standard(), job);
        }
        let truth = truth.at_scale(0.6);
        let folder = tempfile::tempdir().expect("a temporary folder");
        truth.write_job(folder.path(), &RenderKnobs::quick()).expect("the job can be written");
        let measured =
            pipeline::measure(pipeline::open(Path::new(folder.path())).expect("a job"), &|_| {});
        let noise = detection(&truth, &measured);
        let ratios = check_figures(&truth, &measured);
        let rms = (ratios.iter().map(|r| r * r).sum::<f64>() / ratios.len() as f64).sqrt();
        let worst = ratios.iter().fold(0.0f64, |worst, r| worst.max(*r));
        println!("| {job} | {noise:.3} | {} | {rms:.2} | {worst:.2} |", ratios.len());
    }
}

/// |error| / U of every figure with a true value.
fn check_figures(truth: &TruthScene, measured: &pipeline::Measured) -> Vec<f64> {
    let solution = measured.solution.as_ref().expect("a scene");
    let lens = solution.state.lenses[0];
    // A print that came out too small or too large does not change the lens.
    assert!(
        (lens.fx / truth.lens.fx - 1.0).abs() < 1e-3,
        "focal length {} for {}",
        lens.fx,
        truth.lens.fx
    );
    let expected: BTreeMap<String, f64> = truth.expected().into_iter().collect();
    let (mut ratios, mut outside) = (Vec::new(), Vec::new());
    for (figure, measured) in measured.document.measured.table.iter() {
        let (pointer, figure) = (figure.pointer(), measured);
        let (Some(figure), Some(true_value)) = (figure, expected.get(&pointer)) else { continue };
        let error = (figure.value - true_value).abs();
        ratios.push(error / figure.u);
        assert!(
            error <= 2.0 * figure.u,
            "{pointer}: {:.4} ± {:.4}, true {true_value:.4}",
            figure.value,
            figure.u
        );
        if error > figure.u {
            outside.push(pointer);
        }
    }
    assert!(
        ratios.len() >= 20,
        "only {} figures were measured: {:?}",
        ratios.len(),
        measured.document.findings
    );
    // Rim offsets hang together: one print that is off puts four of them off.
    assert!(outside.len() <= 4, "outside their U: {outside:?}");
    ratios
}

/// Share of the patterns in view that were read, by cell size; corners against where the scene puts
/// them; nothing read that is not there. Gives the corners' standard deviation for each coordinate
/// at cells of 16 px, px: what synthetic sightings take it to be.
fn detection(truth: &TruthScene, measured: &pipeline::Measured) -> f64 {
    let (mut large, mut large_read) = (0, 0);
    let mut errors: Vec<f64> = Vec::new();
    let mut scaled: Vec<f64> = Vec::new();
    for seen in truth.sightings(&common::SightingKnobs::exact()) {
        let name = format!("{}/{}", seen.setup, seen.file);
        let photo = measured
            .photos
            .iter()
            .find(|photo| photo.file.id == name)
            .expect("the photo is in the job");
        let true_patterns: Vec<Pattern> =
            seen.sightings.patterns.iter().map(|p| p.pattern).collect();
        for found in &photo.sightings.patterns {
            let there = seen.sightings.patterns.iter().find(|p| p.pattern == found.pattern);
            // A pattern seen more flatly or smaller than sightings go is no false one.
            let Some(there) = there else { continue };
            for corner in &found.corners {
                let exact =
                    there.corners.iter().find(|c| (c.row, c.col) == (corner.row, corner.col));
                errors
                    .extend(exact.map(|c| (c.at[0] - corner.at[0]).hypot(c.at[1] - corner.at[1])));
                let at_16_px = |c: &CornerSighting| {
                    [0, 1].map(|i| (c.at[i] - corner.at[i]).abs() * (c.cell_px / 16.0).sqrt())
                };
                scaled.extend(exact.iter().flat_map(|c| at_16_px(c)));
            }
        }
        for pattern in true_patterns.iter().filter(|p| matches!(p, Pattern::Card(_))) {
            let there = seen
                .sightings
                .patterns
                .iter()
                .find(|p| p.pattern == *pattern)
                .expect("it is in the list");
            let mut cells: Vec<f64> = there.corners.iter().map(|c| c.cell_px).collect();
            cells.sort_by(f64::total_cmp);
            if cells[cells.len() / 2] >= 10.0 && there.corners.len() > 150 {
                large += 1;
                large_read +=
                    usize::from(photo.sightings.patterns.iter().any(|p| p.pattern == *pattern));
            }
        }
    }
    assert!(
        large_read * 100 >= large * 95,
        "{large_read} of {large} cards of 10 px cells and more were read"
    );
    errors.sort_by(f64::total_cmp);
    let median = errors[errors.len() / 2];
    assert!(median < 0.05, "corners lie {median:.3} px off (median) of {} corners", errors.len());
    scaled.sort_by(f64::total_cmp);
    let sigma = 1.4826 * scaled[scaled.len() / 2];
    let assumed = SightingKnobs::default().corner_sigma_px;
    assert!(
        sigma < 1.5 * assumed,
        "corners scatter by {sigma:.3} px, synthetic sightings by {assumed}"
    );
    sigma
}
