//! The thread in the background: looks at what lies in the folder already, then measures whenever
//! photos have come.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Mutex;

use rayon::prelude::*;

use crate::figure::Side;
use crate::glance::seen::{Photographed, looked};
use crate::glance::stand::{chain_side_in, stand};
use crate::guarded::guarded;
use crate::job::Job;
use crate::photo::job_photos::{CAMERA_FOLDER, REPORT_FOLDER};
use crate::photo::room::Room;
use crate::photo::{PhotoFile, list_job};
use crate::pipeline::{self, Progress};
use crate::report::ResultDocument;
use crate::report::result::RESULT_NAME;
use crate::visible;

use super::answer::{Seen, answer, bright_light};
use super::beside::{evening_beside, wheel_before};
use super::folders::{Evening, evenings, positions};
use super::sort_evening::sort_anew;
use super::state::{Bench, Earlier, LastResult, Status, Taken, key_of};

/// Runs as long as the program does.
pub fn run(bench: &Bench) {
    load_earlier(bench);
    let counted_before = counted_in(&evenings_before(bench));
    bench.change(|state| state.counted_before.extend(counted_before));
    load(bench);
    // One processor is left for looking at the next photo: its answer is what somebody waits for.
    let threads =
        std::thread::available_parallelism().map_or(1, |n| n.get().saturating_sub(1).max(1));
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
    loop {
        let generation = bench.wait_for_work();
        let work = || measure(bench, generation);
        match &pool {
            Ok(pool) => pool.install(work),
            Err(_) => work(),
        }
    }
}

/// Looks at the photos of this evening that lie in its folder already, as after a restart.
pub fn load(bench: &Bench) {
    let (folder, job) = {
        let state = bench.read();
        (state.evening.folder.clone(), state.job.clone())
    };
    let Ok(listed) = list_job(&folder) else {
        bench.change(|state| state.status = Status::Idle);
        return;
    };
    let names: Vec<String> = listed.setups.iter().map(|setup| setup.name.clone()).collect();
    bench.change(|state| state.positions = positions(&folder, &names));
    // Photos of cards alone tell nothing of the bike.
    let is_camera =
        |setup: Option<&str>| setup.is_some_and(|s| s.eq_ignore_ascii_case(CAMERA_FOLDER));
    let files: Vec<(&PhotoFile, Option<&str>)> =
        listed.with_setups().filter(|(_, setup)| !is_camera(*setup)).collect();
    let known = bench.read().positions.clone();
    for (idx, (file, setup)) in files.iter().enumerate() {
        bench.change(|state| state.status = Status::Loading(idx + 1, files.len()));
        let position =
            setup.and_then(|setup| known.iter().position(|position| position.folder == setup));
        let chain_side = bench.read().chain_side();
        let taken =
            guarded("A photo is not shown.", || taken(bench, file, position, &job, chain_side))
                .ok()
                .flatten();
        bench.change(|state| {
            // Somebody may have sent the same photo meanwhile.
            let Some(taken) = taken.filter(|taken| state.photo(&taken.key).is_none()) else {
                return;
            };
            state.current = taken.position.unwrap_or(state.current);
            state.photos.push(taken);
            state.photos_changed();
        });
    }
    let filing = bench.filing();
    sort_anew(bench);
    drop(filing);
    bench.change(|state| {
        state.status = Status::Idle;
        // Where the photographing goes on: at the position that was photographed last.
        let last = state.photos.iter().rev().find_map(|photo| photo.position);
        state.current = last.unwrap_or(state.current);
    });
}

fn taken(
    bench: &Bench,
    file: &PhotoFile,
    position: Option<usize>,
    job: &Job,
    chain_side: Option<Side>,
) -> Option<Taken> {
    let _room = Room::for_photo(&file.path);
    let photo = file.read().ok()?;
    let light = bright_light(photo.luma.data());
    let setup = file.id.split_once('/').map(|(setup, _)| setup);
    let looked = looked(
        &Photographed { name: &file.id, path: &file.path, setup, for_the_lens: false },
        job,
        Ok(photo),
    );
    let (photo, seen, _) = looked.photo.as_ref()?;
    bench.known.keep(photo, seen);
    let chain_side = chain_side.or_else(|| chain_side_in(&looked.glance, job));
    let stand = stand(seen, &photo.facts, job, chain_side);
    let answer = answer(
        &Seen { glance: &looked.glance, stand, facts: &photo.facts, light },
        job,
        chain_side,
        &[],
    );
    let key = key_of(&file.sha256);
    Some(Taken {
        key,
        sha256: file.sha256.clone(),
        path: file.path.clone(),
        position,
        glance: looked.glance,
        stand,
        answer,
        filed: None,
        lay_here: true,
    })
}

/// Reads what the reports of earlier evenings tell.
pub fn load_earlier(bench: &Bench) {
    let before = evenings_before(bench);
    let read = before.par_iter().filter_map(|evening| {
        let document = result_of(&evening.folder)?;
        Some(Earlier { number: evening.number, evening: document.visible().evening() })
    });
    let earlier: Vec<Earlier> = read.collect();
    bench.change(|state| state.earlier = earlier);
}

fn evenings_before(bench: &Bench) -> Vec<Evening> {
    let now = bench.read().evening.number;
    evenings(&bench.home).into_iter().filter(|evening| evening.number < now).collect()
}

/// The photos of these evenings by their keys, each with its evening's number.
pub fn counted_in(evenings: &[Evening]) -> BTreeMap<String, u32> {
    let of_evening = |evening: &Evening| -> Vec<(String, u32)> {
        let Ok(listed) = list_job(&evening.folder) else { return Vec::new() };
        listed.all().map(|photo| (key_of(&photo.sha256), evening.number)).collect()
    };
    evenings.iter().flat_map(of_evening).collect()
}

/// The result in an evening's report, if there is one.
fn result_of(folder: &Path) -> Option<ResultDocument> {
    ResultDocument::read(&folder.join(REPORT_FOLDER).join(RESULT_NAME)).ok()
}

/// Measures the evening's folder as the command measure does.
fn measure(bench: &Bench, generation: u64) {
    let (folder, photos, wheel) = {
        let state = bench.read();
        (state.evening.folder.clone(), state.photos.len(), wheel_before(&state))
    };
    bench.change(|state| state.status = Status::Measuring("looking at the photos"));
    let result = guarded("Nothing was measured.", || {
        // Folders are named by their paths there; the phone has no business with those.
        let plain = |error: pipeline::PipelineError| {
            error.to_string().replace(&folder.display().to_string(), "the job folder")
        };
        let job = pipeline::open(&folder).map_err(plain)?;
        // Somebody may have written into job.toml meanwhile.
        bench.change(|state| state.job = job.job.clone());
        let measured = pipeline::measure_knowing(job, Some(&bench.known), &|progress| {
            note_progress(bench, &progress)
        });
        let json = visible::json(&measured.document.to_json()).into_owned();
        let document = measured.document.visible().into_owned();
        let evening = evening_beside(&measured, &document, wheel);
        let measured = Mutex::new(measured);
        Ok(LastResult { generation, photos, json, document, evening, measured })
    });
    let result: Result<LastResult, String> =
        result.unwrap_or_else(|mistake| Err(format!("{} {}", mistake.what, mistake.advice)));
    bench.change(|state| {
        // The evening may have ended meanwhile.
        if state.evening.folder != folder {
            state.status = Status::Idle;
            return;
        }
        state.tried = Some(generation);
        match result {
            Ok(result) => {
                state.status = Status::Idle;
                state.take_result(result);
            }
            Err(why) => state.status = Status::Failed(why),
        }
    });
}

/// Says what is being done, where that has changed.
fn note_progress(bench: &Bench, progress: &Progress) {
    let words = match progress {
        Progress::Looked(..) | Progress::Sorted(_) => "looking at the photos",
        Progress::LookedAgain(..) => "looking again",
        Progress::Solving => "working out where everything is",
        Progress::Planning => "planning",
    };
    if bench.read().status != Status::Measuring(words) {
        bench.change(|state| state.status = Status::Measuring(words));
    }
}
