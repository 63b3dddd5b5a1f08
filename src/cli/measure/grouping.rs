//! Which photos belong together, written into job.toml on request: at its end, and nothing else of
//! it is touched.

use std::io::ErrorKind;
use std::path::Path;

use anyhow::{Context, bail};

use crate::disk::new_file::{replace, write_new};
use crate::grouping::{GroupedBy, GroupingEntry};
use crate::job::{JOB_FILE, Job, JobSetup, setups};

/// What a new job.toml begins with.
const BEGINNING: &str = "schema = \"sightcord-job/1\"\n";

/// Adds what the program found to the job's settings, and says what was done.
pub fn keep(folder: &Path, grouping: &[GroupingEntry]) -> anyhow::Result<String> {
    let found = found(grouping);
    if found.is_empty() {
        return Ok("Nothing had to be sorted: the folders say which photos belong together. job.toml is as it was.".to_owned());
    }
    let at = folder.join(JOB_FILE);
    let failed = || {
        format!(
            "the grouping can't be written to {}: see that the folder may be written to",
            at.display()
        )
    };
    let before = match std::fs::read_to_string(&at) {
        Ok(text) => Some(text),
        Err(why) if why.kind() == ErrorKind::NotFound => None,
        Err(why) => return Err(why).with_context(failed),
    };
    if Job::of_folder(folder).is_ok_and(|job| !job.setups.is_empty()) {
        bail!(
            "{} already says which photos belong together ([[setup]]): take that out first, or add what is new by hand",
            at.display()
        );
    }
    let text = format!(
        "{}{}",
        before.as_deref().unwrap_or(BEGINNING).trim_end_matches('\n').to_owned() + "\n",
        setups::written(&found)
    );
    if before.is_none() {
        write_new(&at, text.as_bytes()).with_context(failed)?;
    } else {
        let permissions = std::fs::metadata(&at).with_context(failed)?.permissions();
        replace(&at, text.as_bytes(), Some(permissions)).with_context(failed)?;
    }
    let n: usize = found.iter().map(|setup| setup.photos.len()).sum();
    Ok(format!("{JOB_FILE} now lists which set-up {n} photos belong to."))
}

fn found(grouping: &[GroupingEntry]) -> Vec<JobSetup> {
    let mut setups: Vec<JobSetup> = Vec::new();
    for entry in grouping.iter().filter(|entry| entry.by == GroupedBy::Found) {
        match setups.iter_mut().find(|setup| setup.name == entry.setup) {
            Some(setup) => setup.photos.push(entry.photo.clone()),
            None => setups
                .push(JobSetup { name: entry.setup.clone(), photos: vec![entry.photo.clone()] }),
        }
    }
    setups
}
