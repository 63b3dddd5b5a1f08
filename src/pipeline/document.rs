//! The result put together: photos, cameras, figures, plan and findings.

use crate::bench::Figures;
use crate::finding::Finding;
use crate::grouping::GroupingEntry;
use crate::job::Job;
use crate::photo::JobPhotos;
use crate::plan::Outcome;
use crate::report::ResultDocument;
use crate::report::entries::{CameraEntry, JobEntry, PhotoEntry};
use crate::report::result::ResultParts;
use crate::scene::Solution;
use crate::scene::model::priors::LensStart;

use super::SeenPhoto;

#[allow(clippy::too_many_arguments)]
pub(super) fn document(
    job: &Job,
    id: String,
    photos: &[SeenPhoto],
    grouping: &[GroupingEntry],
    solution: Option<&Solution>,
    mut figures: Figures,
    outcome: Outcome,
    findings: Vec<Finding>,
) -> ResultDocument {
    let fits = solution.map(Solution::view_fit).unwrap_or_default();
    let bench = figures.layout.bench_from_world;
    let mut entries = Vec::new();
    for (idx, photo) in photos.iter().enumerate() {
        let view = solution.and_then(|s| s.view_of.get(idx).copied().flatten());
        let fit = view.and_then(|v| fits.get(&v));
        let numbers = |card: bool| {
            let mut numbers: Vec<u8> = photo
                .sightings
                .patterns
                .iter()
                .filter(|p| matches!(p.pattern, crate::cards::Pattern::Card(_)) == card)
                .map(|p| p.pattern.number())
                .collect();
            numbers.dedup();
            numbers
        };
        let position = match (view, bench, solution, photo.lens_only) {
            (Some(view), Some((rotation, origin)), Some(solution), false) => {
                let eye = solution.state.views[view].camera_from_world.inverse().t;
                let rotation = nalgebra::Matrix3::from(rotation);
                Some((rotation * (eye - nalgebra::Vector3::from(origin))).into())
            }
            _ => None,
        };
        if let Some(position) = position {
            figures.layout.cameras.push((photo.file.id.clone(), position));
        }
        entries.push(PhotoEntry {
            file: photo.file.id.clone(),
            sha256: photo.file.sha256.clone(),
            setup: photo.setup.clone(),
            used: fit.is_some(),
            cards: numbers(true),
            tabs: numbers(false),
            corners: fit.map_or(0, |(n, _)| *n),
            rms_px: fit.map(|(_, rms)| *rms),
            position,
            taken: photo.facts.as_ref().and_then(|facts| day_taken(facts.exif.taken.as_deref()?)),
        });
    }
    let parts = ResultParts {
        job: JobEntry {
            id,
            bike: job.bike.name.clone(),
            chain_side: figures.measured.facts.chain_side.or(job.bike.chain_side),
        },
        camera: solution.map(|s| cameras(s, photos, &fits)).unwrap_or_default(),
        photos: entries,
        grouping: grouping.to_vec(),
        figures,
        outcome,
        findings,
        settings: serde_json::to_value(job).unwrap_or_default(),
    };
    ResultDocument::new(parts)
}

/// The day in "2026:05:16 10:04:48", as "2026-05-16"; None where a camera wrote none.
fn day_taken(written: &str) -> Option<String> {
    let day = written.get(..10)?;
    let is_day = day
        .bytes()
        .enumerate()
        .all(|(i, b)| if i == 4 || i == 7 { b == b':' } else { b.is_ascii_digit() });
    (is_day && !day.starts_with("0000")).then(|| day.replace(':', "-"))
}

fn cameras(
    solution: &Solution,
    photos: &[SeenPhoto],
    fits: &std::collections::BTreeMap<usize, (usize, f64)>,
) -> Vec<CameraEntry> {
    let mut cameras = Vec::new();
    for (idx, lens) in solution.state.lenses.iter().enumerate() {
        let of_lens = || {
            solution
                .view_of
                .iter()
                .enumerate()
                .filter_map(|(photo, view)| view.map(|view| (photo, view)))
                .filter(|(_, view)| solution.state.views[*view].lens == idx)
        };
        let measured = |value: f64, offset: usize| {
            let covariance = solution.covariance.as_ref()?;
            let slot = solution.slots.lenses[idx] + offset;
            let u = 2.0 * covariance[(slot, slot)].max(0.0).sqrt();
            Some(crate::measurement::Measurement {
                value,
                u,
                quality: crate::measurement::Quality::Good,
            })
        };
        let (n, sum) = of_lens()
            .filter_map(|(_, view)| fits.get(&view))
            .fold((0, 0.0), |(n, sum), (corners, rms)| {
                (n + corners, sum + rms * rms * *corners as f64)
            });
        let LensStart { width, height, .. } = solution.priors.lens_start[idx];
        cameras.push(CameraEntry {
            photos: of_lens().map(|(photo, _)| photos[photo].file.id.clone()).collect(),
            width: width as u32,
            height: height as u32,
            fx: measured(lens.fx, 0),
            fy: measured(lens.fy, 1),
            cx: measured(lens.cx, 2),
            cy: measured(lens.cy, 3),
            k1: lens.k1,
            k2: lens.k2,
            p1: lens.p1,
            p2: lens.p2,
            k3: lens.k3,
            rms_px: (n > 0).then(|| (sum / n as f64).sqrt()),
        });
    }
    cameras.retain(|camera| !camera.photos.is_empty());
    cameras
}

/// The photos of a listing as a report's identity needs them: names and checksums.
pub fn listed_photos(listed: &JobPhotos) -> Vec<PhotoEntry> {
    listed
        .all()
        .map(|file| PhotoEntry {
            file: file.id.clone(),
            sha256: file.sha256.clone(),
            setup: file.id.split_once('/').map_or(String::new(), |(setup, _)| setup.to_owned()),
            ..PhotoEntry::default()
        })
        .collect()
}
