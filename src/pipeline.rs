//! The whole way from a job folder to its result, one call an arrow.
//!
//! Steps: list the photos, read the job, look at each photo, leave out copies, sort them by where
//! the wheel stands, solve the scene, look again where the scene expects more, solve again, measure
//! the figures, judge and plan, put the document together.

mod as_scene;
mod document;
mod in_colour;
pub mod known;
mod left_out;
mod lines;
mod looks;
pub mod once;
mod sortable;
mod sorting;

use crate::math::hex::hex;
use std::path::Path;

use sha2::{Digest, Sha256};
use thiserror::Error;

use crate::bench::advice::Advice;
use crate::bench::from_job::{bench_settings, scene_settings};
use crate::bench::{self, Figures};
use crate::figure::Figure;
use crate::finding::Finding;
use crate::grouping::{GroupedBy, NOT_ONE_JOB, leave_out_what_follows};
use crate::guarded::guarded;
use crate::job::{JOB_FILE, Job, JobError};
use crate::photo::{JobPhotos, ListError, LumaCodes, PhotoFacts, PhotoFile, list_job};
use crate::plan::{self, Outcome, PlanSettings};
use crate::report::ResultDocument;
use crate::scene::{self, SceneSettings, Solution};
use crate::sightings::PhotoSightings;

use as_scene::{scene_findings, scene_photos};
use document::document;
use known::Known;
use looks::{look_again_at_all, look_at_all, read_lines_again};
use sorting::Sorting;

pub use as_scene::scene_photo;
pub use document::listed_photos;
pub use sortable::Sortable;
pub use sorting::{Together, runs, together};

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

/// What is being done, for the person who waits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Progress {
    /// Photos looked at so far, and in all.
    Looked(usize, usize),
    LookedAgain(usize, usize),
    /// How the photos were sorted, in words: reported when the program did it and not their
    /// folders.
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
    /// Its picture between the two looks, as far as there is room for it.
    pub kept: Option<LumaCodes>,
}

/// Everything that a measurement gave.
#[derive(Debug)]
pub struct Measured {
    pub job: Job,
    pub photos: Vec<SeenPhoto>,
    pub solution: Option<Solution>,
    /// How the figures were worked out of the solution.
    pub bench_settings: bench::BenchSettings,
    pub document: ResultDocument,
}

impl Measured {
    /// Why nothing was measured, where the folder holds several jobs, or photos of two benches.
    pub fn several_jobs(&self) -> Option<&Finding> {
        let is_why = |finding: &&Finding| NOT_ONE_JOB.contains(&finding.id.as_str());
        self.document.findings.iter().find(is_why)
    }
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
    hex(&hash.finalize())
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
    let mut photos = look_at_each(&listed, &job, known, &mut findings, progress);
    let sorting = sorting::sort(&mut photos, &listed, &job, &mut findings);
    let Sorting { setups, lens_only, grouping, causes, words } = sorting;
    let is_one_job = !causes.iter().any(|cause| NOT_ONE_JOB.contains(&cause.id.as_str()));
    if is_one_job && grouping.iter().any(|entry| entry.by == GroupedBy::Found) {
        progress(Progress::Sorted(words));
    }
    let settings = scene_settings(&job, &setups);
    // Two bikes in one scene would give figures of neither.
    let solved = if is_one_job {
        solve_scene(&mut photos, &setups, &settings, &mut findings, progress)
    } else {
        None
    };
    // No third look follows.
    photos.iter_mut().for_each(|photo| photo.kept = None);
    let mut bench_settings = bench_settings(&job, &setups, &lens_only);
    let solution = solved.map(|Solved { solution, cord_by_colour }| {
        if cord_by_colour {
            in_colour::allow_for(&mut bench_settings, &mut findings);
        }
        solution
    });
    let figures = solution.as_ref().and_then(|solution| {
        let figures = guarded("The figures could not be worked out from the solved scene.", || {
            bench::measure(solution, &bench_settings)
        });
        or_reported(figures, &mut findings)
    });
    let mut figures = figures.unwrap_or_default();
    leave_out_what_follows(&causes, &mut figures.findings);
    findings.extend(causes);
    findings.extend(scene_findings(&photos, solution.as_ref()));
    once::report_once(&mut findings);
    let planned = guarded("Nothing is judged and nothing planned.", || {
        progress(Progress::Planning);
        plan::plan(&figures, &PlanSettings::from(&job))
    });
    let mut outcome = or_reported(planned, &mut findings).unwrap_or_default();
    if let Some(solution) = &solution {
        let raised = bench::measure::noise_raised(figures.crosscheck_ratio);
        name_photos_that_help(solution, &bench_settings, raised, &mut outcome, &mut findings);
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
    let document = or_reported(whole, &mut findings).unwrap_or_else(|| {
        let (figures, outcome) = (Figures::default(), Outcome::default());
        document(&job, id, &photos, &grouping, None, figures, outcome, findings)
    });
    Measured { job, photos, solution, bench_settings, document }
}

/// The first look at each photo; copies and what lies apart from its photo's other marks are left
/// out.
fn look_at_each(
    listed: &JobPhotos,
    job: &Job,
    known: Option<&Known>,
    findings: &mut Vec<Finding>,
    progress: &(dyn Fn(Progress) + Sync),
) -> Vec<SeenPhoto> {
    let (mut photos, impressions) = look_at_all(listed, known, findings, progress);
    let copies = guarded("Copies of photos were not looked for.", || {
        left_out::copies(&photos, &impressions)
    });
    let copies = or_reported(copies, findings).unwrap_or_default();
    left_out::leave_out(&mut photos, copies, findings);
    left_out::leave_out_displaced_tabs(&mut photos, job, findings);
    photos
}

/// A solved scene.
struct Solved {
    solution: Solution,
    /// Whether the cord was told from its shadow by its colour.
    cord_by_colour: bool,
}

/// Solves the scene, looks again where it expects more, and solves again.
fn solve_scene(
    photos: &mut [SeenPhoto],
    setups: &[String],
    settings: &SceneSettings,
    findings: &mut Vec<Finding>,
    progress: &(dyn Fn(Progress) + Sync),
) -> Option<Solved> {
    let solved = guarded("No scene could be solved, and so nothing is measured.", || {
        progress(Progress::Solving);
        let mut first = scene::solve(&scene_photos(photos, setups), settings)?;
        let mistakes = look_again_at_all(photos, &first, progress);
        let cord_by_colour = in_colour::read_lanes(photos, &mut first);
        read_lines_again(photos, &first);
        progress(Progress::Solving);
        let solution = scene::solve_again(&first, &scene_photos(photos, setups), settings)?;
        Some((Solved { solution, cord_by_colour }, mistakes))
    });
    let (solved, mistakes) = or_reported(solved, findings).flatten()?;
    findings.extend(mistakes);
    Some(solved)
}

/// Says in the plan and in findings which photos would help most.
fn name_photos_that_help(
    solution: &Solution,
    settings: &bench::BenchSettings,
    raised: f64,
    outcome: &mut Outcome,
    findings: &mut Vec<Finding>,
) {
    let named = guarded("Which photos would help is not said.", || {
        let advice = photos_that_would_help(solution, settings, outcome, raised);
        let mut named = outcome.clone();
        let own = plan::name_photos(&mut named, &advice);
        (named, own)
    });
    if let Some((named, own)) = or_reported(named, findings) {
        *outcome = named;
        findings.extend(own);
    }
}

/// What a guarded step gave; a mistake goes to the findings.
fn or_reported<T>(outcome: Result<T, Box<Finding>>, findings: &mut Vec<Finding>) -> Option<T> {
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
