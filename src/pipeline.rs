//! The whole way from a job folder to its result, one call an arrow.
//!
//! Steps: list the photos, read the job, look at each photo, leave out copies, sort them by where
//! the wheel stands, solve the scene, look again where the scene expects more, solve again, tell
//! the figures, judge and plan, put the document together.

mod in_colour;
pub mod known;
mod left_out;
mod lines;
mod once;
mod sorting;

use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;
use sha2::{Digest, Sha256};
use thiserror::Error;

use crate::bench::advice::Advice;
use crate::bench::from_job::{bench_settings, scene_settings};
use crate::bench::{self, Figures};
use crate::figure::Figure;
use crate::finding::Finding;
use crate::grouping::{GroupedBy, GroupingEntry, leave_out_what_follows};
use crate::guarded::guarded;
use crate::job::{JOB_FILE, Job, JobError};
use crate::photo::listing::{CAMERA_FOLDER, LOOSE_SETUP};
use crate::photo::room::Room;
use crate::photo::{Impression, JobPhotos, ListError, PhotoFacts, PhotoFile, list_job};
use crate::plan::{self, Outcome, PlanSettings};
use crate::report::ResultDocument;
use crate::report::result::{CameraEntry, JobEntry, PhotoEntry, ResultParts};
use crate::scene::{self, ScenePhoto, Solution};
use crate::sightings::{self, PhotoSightings};
use sorting::Sorting;

use known::Known;

/// Why a job could not even be begun.
#[derive(Debug, Error)]
pub enum PipelineError {
    #[error(transparent)]
    List(#[from] ListError),
    #[error(transparent)]
    Job(#[from] JobError),
    #[error(
        "there is no photo in {0} or its sub-folders; copy all photos of the bike into it as the phone took them (JPEG, HEIC, PNG, TIFF or WebP), or \
         those of each wheel position into a sub-folder such as 1-mark-forward"
    )]
    NoPhotos(String),
    #[error("no photo in {0} can be used. {1}")]
    NoneUsable(String, String),
}

/// What is being done, for whoever waits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Progress {
    /// Photos looked at so far, and in all.
    Looked(usize, usize),
    LookedAgain(usize, usize),
    /// How the photos were sorted, in words: told when the program did it and not their folders.
    Sorted(String),
    Solving,
    /// Judging, planning and putting the result together.
    Planning,
}

/// One photo as far as it was read.
#[derive(Clone, Debug)]
pub struct SeenPhoto {
    pub file: PhotoFile,
    pub setup: String,
    pub lens_only: bool,
    /// None when the file could not be read or is another photo's copy; a finding says why.
    pub facts: Option<PhotoFacts>,
    pub sightings: PhotoSightings,
}

/// Everything that a measurement gave.
#[derive(Debug)]
pub struct Measured {
    pub job: Job,
    pub photos: Vec<SeenPhoto>,
    pub solution: Option<Solution>,
    pub document: ResultDocument,
}

/// What the job folder holds, before any photo is decoded.
pub struct JobFolder {
    pub job: Job,
    pub photos: JobPhotos,
    /// SHA-256 of the inputs.
    pub id: String,
}

/// Lists the photos and reads the job.
pub fn open(folder: &Path) -> Result<JobFolder, PipelineError> {
    let photos = list_job(folder)?;
    let job = Job::of_folder(folder)?;
    if photos.all().next().is_none() {
        let name = folder.display().to_string();
        let why: Vec<String> = photos
            .findings
            .iter()
            .map(|finding| format!("{} {}", finding.what, finding.advice))
            .collect();
        return Err(if why.is_empty() {
            PipelineError::NoPhotos(name)
        } else {
            PipelineError::NoneUsable(name, why.join(" "))
        });
    }
    let id = job_id(folder, &photos);
    Ok(JobFolder { job, photos, id })
}

/// SHA-256 over the photos' names and checksums and the bytes of job.toml: what was measured,
/// wherever the folder lies.
fn job_id(folder: &Path, photos: &JobPhotos) -> String {
    let mut hash = Sha256::new();
    for photo in photos.all() {
        hash.update(format!("{}  {}\n", photo.sha256, photo.id));
    }
    hash.update(std::fs::read(folder.join(JOB_FILE)).unwrap_or_default());
    hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Measures a job.
pub fn measure(folder: JobFolder, progress: &(dyn Fn(Progress) + Sync)) -> Measured {
    measure_knowing(folder, None, progress)
}

/// The same, with what was seen before in photos of the same bytes: the result is the same, and
/// comes sooner.
pub fn measure_knowing(
    folder: JobFolder,
    known: Option<&Known>,
    progress: &(dyn Fn(Progress) + Sync),
) -> Measured {
    let JobFolder { job, photos: listed, id } = folder;
    let mut findings = listed.findings.clone();
    findings.extend(job.findings());
    let (mut photos, impressions) = look_at_all(&listed, known, &mut findings, progress);
    let copies = guarded("Copies of photos were not looked for.", || {
        left_out::copies(&photos, &impressions)
    });
    left_out::leave_out(
        &mut photos,
        or_told(copies, &mut findings).unwrap_or_default(),
        &mut findings,
    );
    left_out::leave_out_displaced_tabs(&mut photos, &job, &mut findings);
    let sorting = sorting::sort(&mut photos, &listed, &job, &mut findings);
    let Sorting { setups, lens_only, grouping, causes } = sorting;
    if grouping.iter().any(|entry| entry.by == GroupedBy::Found) {
        progress(Progress::Sorted(sorting::in_words(&grouping, &setups, &lens_only)));
    }
    let settings = scene_settings(&job, &setups);
    let solved = guarded("No scene could be solved, and so nothing is measured.", || {
        progress(Progress::Solving);
        let mut first = scene::solve(&scene_photos(&photos, &setups), &settings)?;
        let mistakes = look_again_at_all(&mut photos, &first, progress);
        in_colour::read_lanes(&mut photos, &mut first);
        read_lines_again(&mut photos, &first);
        progress(Progress::Solving);
        Some((scene::solve_again(&first, &scene_photos(&photos, &setups), &settings)?, mistakes))
    });
    let solution = or_told(solved, &mut findings).flatten().map(|(solution, mistakes)| {
        findings.extend(mistakes);
        solution
    });
    let bench_settings = bench_settings(&job, &setups, &lens_only);
    let figures = solution.as_ref().and_then(|solution| {
        let figures = guarded("The figures could not be worked out from the solved scene.", || {
            bench::measure(solution, &bench_settings)
        });
        or_told(figures, &mut findings)
    });
    let mut figures = figures.unwrap_or_default();
    leave_out_what_follows(&causes, &mut figures.findings);
    findings.extend(causes);
    findings.extend(scene_findings(&photos, solution.as_ref()));
    once::tell_once(&mut findings);
    let planned = guarded("Nothing is judged and nothing planned.", || {
        progress(Progress::Planning);
        plan::plan(&figures, &PlanSettings::from(&job))
    });
    let mut outcome = or_told(planned, &mut findings).unwrap_or_default();
    if let Some(solution) = &solution {
        let named = guarded("Which photos would help is not said.", || {
            let raised = bench::measure::noise_raised(figures.crosscheck_ratio);
            let advice = photos_that_would_help(solution, &bench_settings, &outcome, raised);
            let mut named = outcome.clone();
            let findings = plan::name_photos(&mut named, &advice);
            (named, findings)
        });
        if let Some((named, own)) = or_told(named, &mut findings) {
            outcome = named;
            findings.extend(own);
        }
    }
    let whole = guarded("Of the result only the photos and the findings are left.", || {
        document(
            &job,
            id.clone(),
            &photos,
            &grouping,
            solution.as_ref(),
            figures,
            outcome,
            findings.clone(),
        )
    });
    let document = or_told(whole, &mut findings).unwrap_or_else(|| {
        document(
            &job,
            id,
            &photos,
            &grouping,
            None,
            Figures::default(),
            Outcome::default(),
            findings,
        )
    });
    Measured { job, photos, solution, document }
}

/// What a guarded step gave; a mistake goes to the findings.
fn or_told<T>(outcome: Result<T, Box<Finding>>, findings: &mut Vec<Finding>) -> Option<T> {
    outcome.map_err(|mistake| findings.push(*mistake)).ok()
}

/// For each verdict that is undecided, or whose uncertainty exceeds the tolerance: the one photo
/// that helps most.
fn photos_that_would_help(
    solution: &Solution,
    settings: &bench::BenchSettings,
    outcome: &Outcome,
    raised: f64,
) -> Vec<Advice> {
    let open = outcome.verdicts.iter().filter_map(|verdict| {
        let value = verdict.value?;
        (verdict.verdict == plan::outcome::Decision::Undecided && !verdict.blocked
            || value.u > verdict.tolerance)
            .then(|| (verdict.field.clone(), value.u))
    });
    let open: Vec<(Figure, f64)> = open.collect();
    let fields: Vec<Figure> = open.iter().map(|(field, _)| field.clone()).collect();
    let u_of = |field: &Figure| open.iter().find(|(known, _)| known == field).map(|(_, u)| *u);
    bench::advice::advise(solution, settings, &fields, &u_of, raised)
}

/// What looking at one photo gives.
struct Looked {
    photo: SeenPhoto,
    impression: Option<Impression>,
    findings: Vec<Finding>,
}

/// First look, photo by photo in parallel; the order of the list is kept.
fn look_at_all(
    listed: &JobPhotos,
    known: Option<&Known>,
    findings: &mut Vec<Finding>,
    progress: &(dyn Fn(Progress) + Sync),
) -> (Vec<SeenPhoto>, Vec<Option<Impression>>) {
    let placed = |(file, setup): (&'_ PhotoFile, Option<&str>)| {
        let setup = setup.unwrap_or(LOOSE_SETUP);
        (file.clone(), setup.to_owned(), setup == CAMERA_FOLDER)
    };
    let files: Vec<(PhotoFile, String, bool)> = listed.with_setups().map(placed).collect();
    let done = AtomicUsize::new(0);
    let looked: Vec<Looked> = files
        .par_iter()
        .map(|(file, setup, lens_only)| {
            let looked = look_at(file, setup, *lens_only, known);
            progress(Progress::Looked(done.fetch_add(1, Ordering::Relaxed) + 1, files.len()));
            looked
        })
        .collect();
    let mut photos = Vec::with_capacity(looked.len());
    let mut impressions = Vec::with_capacity(looked.len());
    for Looked { photo, impression, findings: own } in looked {
        photos.push(photo);
        impressions.push(impression);
        findings.extend(own);
    }
    (photos, impressions)
}

fn look_at(file: &PhotoFile, setup: &str, lens_only: bool, known: Option<&Known>) -> Looked {
    let photo = SeenPhoto {
        file: file.clone(),
        setup: setup.to_owned(),
        lens_only,
        facts: None,
        sightings: PhotoSightings::default(),
    };
    let mut looked = Looked { photo, impression: None, findings: Vec::new() };
    if let Some(first) = known.and_then(|known| known.get(&file.sha256)) {
        looked.findings = first.facts.findings(&file.id);
        looked.impression = Some(first.impression.clone());
        looked.photo.sightings = first.sightings.clone();
        looked.photo.facts = Some(first.facts.clone());
        return looked;
    }
    let _room = Room::for_photo(&file.path);
    match file.read() {
        Ok(read) => {
            match guarded(&format!("{} is not used.", file.id), || {
                (sightings::look(&read.luma), Impression::of(&read.luma))
            }) {
                Ok((sightings, impression)) => {
                    looked.findings = read.facts.findings(&file.id);
                    looked.impression = Some(impression);
                    looked.photo.sightings = sightings;
                    looked.photo.facts = Some(read.facts);
                }
                Err(mistake) => looked.findings.push(mistake.in_photo(&file.id)),
            }
        }
        Err(error) => looked.findings.push(error.finding(&file.id)),
    }
    looked
}

/// Second look: what the solved scene expects in each photo is looked for where it should be. A
/// photo at which that goes wrong keeps what the first look found; the findings say so.
fn look_again_at_all(
    photos: &mut [SeenPhoto],
    first: &Solution,
    progress: &(dyn Fn(Progress) + Sync),
) -> Vec<Finding> {
    let n = photos.len();
    let done = AtomicUsize::new(0);
    let looked = photos.par_iter_mut().enumerate().map(|(idx, photo)| {
        let again = guarded(&format!("{} was not looked at a second time.", photo.file.id), || {
            look_again_at(photo, idx, first)
        });
        progress(Progress::LookedAgain(done.fetch_add(1, Ordering::Relaxed) + 1, n));
        match again {
            Ok(Some(sightings)) => photo.sightings = sightings,
            Ok(None) => {}
            Err(mistake) => return Some(mistake.in_photo(&photo.file.id)),
        }
        None
    });
    looked.collect::<Vec<Option<Finding>>>().into_iter().flatten().collect()
}

/// None where nothing more is expected of the photo, or it can't be read any more.
fn look_again_at(photo: &SeenPhoto, idx: usize, first: &Solution) -> Option<PhotoSightings> {
    let facts = photo.facts.as_ref()?;
    let (patterns, lines) =
        scene::assess::predict::expected(first, idx, (facts.width, facts.height));
    if patterns.is_empty() && lines.is_empty() {
        return None;
    }
    let _room = Room::for_photo(&photo.file.path);
    let read = photo.file.read().ok()?;
    let mut sightings = sightings::look_again(&read.luma, &photo.sightings, &patterns);
    for line in &lines {
        // Where flags were not read, the line's own image still tells how it hangs.
        if !sightings.lines.iter().any(|seen| seen.kind == line.kind) {
            sightings.lines.extend(sightings::follow_line::follow(&read.luma, line));
        }
    }
    Some(sightings)
}

/// Reads each plumb line's images again, as wide as all photos together have the line.
fn read_lines_again(photos: &mut [SeenPhoto], first: &Solution) {
    let seen: Vec<&PhotoSightings> = photos.iter().map(|photo| &photo.sightings).collect();
    let widths = scene::strings::line_width::common_widths(first, &seen);
    photos.par_iter_mut().enumerate().for_each(|(idx, photo)| {
        for (_, line, width) in widths.iter().filter(|(of, _, _)| *of == idx) {
            photo.sightings.lines[*line].read_with(width);
        }
    });
}

fn scene_photos(photos: &[SeenPhoto], setups: &[String]) -> Vec<ScenePhoto> {
    let one = |photo: &SeenPhoto| ScenePhoto {
        setup: setups.iter().position(|s| *s == photo.setup).unwrap_or(0),
        lens_only: photo.lens_only,
        ..scene_photo(&photo.file.id, photo.facts.as_ref(), &photo.sightings)
    };
    photos.iter().map(one).collect()
}

/// A photo as the scene sees it, in the first set-up and on the bench until somebody says
/// otherwise.
pub fn scene_photo(
    file: &str,
    facts: Option<&PhotoFacts>,
    sightings: &PhotoSightings,
) -> ScenePhoto {
    ScenePhoto {
        file: file.to_owned(),
        setup: 0,
        lens_only: false,
        width: facts.map_or(1, |f| f.width),
        height: facts.map_or(1, |f| f.height),
        camera: facts.map_or(String::new(), camera_key),
        start_focal: facts.and_then(PhotoFacts::start_focal_px),
        sightings: sightings.clone(),
    }
}

/// Photos share a lens when camera, lens and zoom are the same.
fn camera_key(facts: &PhotoFacts) -> String {
    let exif = &facts.exif;
    format!(
        "{:?} {:?} {:?} {:?} {:?} {:?}",
        exif.make,
        exif.model,
        exif.lens_model,
        exif.focal_length_mm,
        exif.focal_length_35mm,
        exif.digital_zoom
    )
}

/// What the scene has to say of the photos.
fn scene_findings(photos: &[SeenPhoto], solution: Option<&Solution>) -> Vec<Finding> {
    let mut findings = solution.map(|s| s.findings.clone()).unwrap_or_default();
    findings.extend(
        solution.map(|solution| lines::contradictions(photos, solution)).unwrap_or_default(),
    );
    let any_card = photos.iter().any(|p| {
        p.sightings.patterns.iter().any(|s| matches!(s.pattern, crate::cards::Pattern::Card(_)))
    });
    if !any_card {
        findings.push(Finding::refused(
            "no-card",
            "No grid card was read in any photo, so nothing can be measured.",
            "Lay the printed cards flat under the cord, go closer until a card fills a quarter of the picture, and hold still.",
        ));
        return findings;
    }
    for (idx, photo) in photos.iter().enumerate() {
        let placed = solution.is_some_and(|s| s.view_of.get(idx).copied().flatten().is_some());
        if photo.facts.is_some() && !placed {
            findings.push(
                Finding::warning(
                    "photo-not-placed",
                    format!(
                        "Photo {} shows no card that ties it to the others; it was not used.",
                        photo.file.id
                    ),
                    "Take it again with two cards in it that other photos show too.",
                )
                .in_photo(photo.file.id.clone()),
            );
        }
        for pattern in &photo.sightings.mirrored {
            findings.push(
                Finding::note(
                    "mirror-image",
                    format!(
                        "Photo {} shows {} in a mirror (chrome or glass); the reflection was not used.",
                        photo.file.id,
                        name_of(*pattern)
                    ),
                    "Nothing to do.",
                )
                .in_photo(photo.file.id.clone()),
            );
        }
    }
    findings
}

fn name_of(pattern: crate::cards::Pattern) -> String {
    match pattern {
        crate::cards::Pattern::Card(number) => format!("card {number}"),
        crate::cards::Pattern::Tab(number) => format!("tab {number}"),
    }
}

#[allow(clippy::too_many_arguments)]
fn document(
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
        let (_, width, height) = solution.priors.lens_start[idx];
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
