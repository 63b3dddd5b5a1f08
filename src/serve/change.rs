//! What the phone may change besides sending photos: the position, a photo's place, ticks, the
//! evening.

use std::fs;
use std::io;
use std::path::Path;

use super::folders::{ASIDE, Evening, begin_next, evenings, give_up, positions};
use super::measuring::{counted_in, load, load_earlier};
use super::refusal::Refusal;
use super::report;
use super::sort_evening::sort_anew;
use super::state::{Bench, Status, step_key};
use crate::disk::new_file::write_new;
use crate::disk::scratch::uninterrupted;
use crate::disk::sync_folder;
use crate::job::Job;

/// The wheel stands in another position now.
pub fn turn_to(bench: &Bench, position: &str) -> Result<(), Refusal> {
    let position = position.trim().parse::<usize>().ok();
    bench.change(|state| match position.filter(|at| *at < state.positions.len()) {
        Some(at) => {
            state.current = at;
            Ok(())
        }
        None => Err(Refusal::new(400, "There is no such position.", "Load the page again.")),
    })
}

/// Moves a photo to another position ("KEY 1"), or out of the measurement ("KEY aside").
pub fn move_photo(bench: &Bench, order: &str) -> Result<(), Refusal> {
    let (key, to) = order.trim().split_once(' ').unwrap_or((order, ""));
    let filing = bench.filing();
    put_elsewhere(bench, key, to)?;
    sort_anew(bench);
    drop(filing);
    Ok(())
}

fn put_elsewhere(bench: &Bench, key: &str, to: &str) -> Result<(), Refusal> {
    bench.change(|state| {
        let Some(idx) = state.photos.iter().position(|photo| photo.key == key) else {
            return Err(Refusal::new(
                404,
                "This photo is not there any more.",
                "Load the page again.",
            ));
        };
        let position = to.parse::<usize>().ok().filter(|at| *at < state.positions.len());
        let folder = match position {
            Some(at) => state.evening.folder.join(&state.positions[at].folder),
            None if to == "aside" => state.evening.folder.join(ASIDE),
            None => {
                return Err(Refusal::new(
                    400,
                    "There is no such position.",
                    "Load the page again.",
                ));
            }
        };
        let from = state.photos[idx].path.clone();
        // A lone folder among loose photos would take the word from what all of them show.
        if position.is_some() && from.parent() == Some(&state.evening.folder) {
            return Err(Refusal::new(
                409,
                "This photo lies in no position's folder: all of them are sorted by what they show.",
                "Leave it out, or give each position a folder of its own on the computer.",
            ));
        }
        let target =
            put_into(&from, &folder).map_err(|why| Refusal::disk("Moving the photo", &why))?;
        match position {
            Some(at) => {
                let photo = &mut state.photos[idx];
                (photo.position, photo.path, photo.filed) = (Some(at), target, None);
                state.current = at;
            }
            None => {
                state.left_out = Some((state.photos.remove(idx), target));
            }
        }
        state.photos_changed();
        Ok(())
    })
}

/// Moves a file into a folder under a name that is free there, never over anything.
pub(super) fn put_into(from: &Path, folder: &Path) -> io::Result<std::path::PathBuf> {
    if from.parent() == Some(folder) {
        return Ok(from.to_owned());
    }
    match fs::create_dir(folder) {
        Err(why) if why.kind() != io::ErrorKind::AlreadyExists => return Err(why),
        _ => {}
    }
    let stem = from.file_stem().and_then(|stem| stem.to_str()).unwrap_or("photo");
    let ending = from.extension().and_then(|ending| ending.to_str()).unwrap_or("jpg");
    let _steps = uninterrupted();
    for name in super::name::candidates(stem, ending, super::take::MOST_NAMES) {
        let target = folder.join(name);
        match fs::hard_link(from, &target) {
            Ok(()) => {}
            Err(why) if why.kind() == io::ErrorKind::AlreadyExists => continue,
            // Some file systems know no second name for a file.
            Err(_) => {
                write_new(&target, &fs::read(from)?)?;
            }
        }
        fs::remove_file(from)?;
        sync_folder(folder);
        return Ok(target);
    }
    Err(io::ErrorKind::AlreadyExists.into())
}

/// Ticks a step off, or takes the tick away: "3 1", "3 0".
pub fn tick(bench: &Bench, order: &str) -> Result<(), Refusal> {
    let (n, on) = order.trim().split_once(' ').unwrap_or((order, ""));
    let kept = bench.change(|state| {
        let number = state.evening.number;
        let plan = state
            .last_result
            .as_ref()
            .map(|result| result.document.plan.as_slice())
            .unwrap_or_default();
        let Some(step) = plan.iter().find(|step| step.n.to_string() == n) else {
            return Err(Refusal::new(
                409,
                "The plan has no such step any more.",
                "Look at the present plan.",
            ));
        };
        let key = step_key(number, step);
        match on {
            "1" => state.kept.ticks.insert(key),
            _ => state.kept.ticks.remove(&key),
        };
        Ok(state.kept.clone())
    })?;
    kept.store(&bench.home).map_err(|why| Refusal::disk("Remembering the tick", &why))
}

/// Ends this evening with its report and begins the next one in a folder of its own.
pub fn next_evening(bench: &Bench) -> Result<(), Refusal> {
    let _filing = bench.filing();
    // Where the newest photos could not be measured, the report is of all that could be.
    let is_reported = {
        let state = bench.read();
        state.report.is_some() && state.is_tried()
    };
    if !is_reported {
        report::make(bench)?;
    }
    let last = evenings(&bench.home)
        .pop()
        .ok_or_else(|| Refusal::new(500, "The job folder is gone.", "Look at the computer."))?;
    {
        let state = bench.read();
        if state.photos.is_empty() {
            return Err(Refusal::new(409, "This evening has no photos yet.", "Take them first."));
        }
        if !state.on_the_way.is_empty() {
            return Err(Refusal::new(
                409,
                "Photos of this evening are still coming in.",
                "Press again when they are on the page.",
            ));
        }
    }
    let counted_before = counted_in(std::slice::from_ref(&last));
    let next = begin_next(&bench.home, &last)
        .map_err(|why| Refusal::disk("Making the new evening's folder", &why))?;
    go_to(bench, next);
    bench.change(|state| state.counted_before.extend(counted_before));
    load_earlier(bench);
    Ok(())
}

/// Goes back to the evening before while this one has no photos: it was begun too early.
pub fn previous_evening(bench: &Bench) -> Result<(), Refusal> {
    let filing = bench.filing();
    let now = bench.read().evening.clone();
    let before = evenings(&bench.home).into_iter().rev().find(|other| other.number < now.number);
    let before = before
        .ok_or_else(|| Refusal::new(409, "This is the first evening.", "Load the page again."))?;
    let holds_something = || {
        Refusal::new(
            409,
            format!(
                "There is something in the folder of evening {}, or its job.toml was changed.",
                now.number
            ),
            "Go on with it, or look into its folder on the computer.",
        )
    };
    {
        let state = bench.read();
        if matches!(state.status, Status::Loading(..)) {
            return Err(Refusal::new(409, "The folder is being read.", "Press again in a moment."));
        }
        if !state.photos.is_empty() || !state.on_the_way.is_empty() {
            return Err(holds_something());
        }
    }
    match give_up(&bench.home, &now, &before) {
        Ok(()) => {}
        // Somebody took the folder away.
        Err(why) if why.kind() == io::ErrorKind::NotFound => {}
        Err(why) if why.kind() == io::ErrorKind::DirectoryNotEmpty => return Err(holds_something()),
        Err(why) => return Err(Refusal::disk("Giving the new evening up", &why)),
    }
    go_to(bench, before);
    bench.change(|state| {
        let number = state.evening.number;
        state.counted_before.retain(|_, evening| *evening < number);
        state.status = Status::Loading(0, 0);
    });
    drop(filing);
    load_earlier(bench);
    load(bench);
    Ok(())
}

/// An evening's own settings and folders, without its photos.
fn go_to(bench: &Bench, evening: Evening) {
    let positions = positions(&evening.folder, &[]);
    let job = Job::of_folder(&evening.folder).unwrap_or_default();
    bench.known.clear();
    bench.change(|state| {
        state.job = job;
        state.begin(evening, positions);
    });
}
