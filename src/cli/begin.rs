//! `sightcord begin`: a job folder to put photos into.

use std::fs;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail};
use clap::Args;

use crate::disk::new_file::NewFile;
use crate::disk::scratch::{clear_away_on_interrupt, uninterrupted};
use crate::disk::sync_folder;
use crate::job::{JOB_FILE, TEMPLATE};
use crate::photo::job_photos::{CAMERA_FOLDER, USUAL_SETUPS};
use crate::photo::listing::refuse_report;

/// Set-up folders of a new job: photos of cards alone for the lens, and the wheel once each way
/// round.
const FOLDERS: [&str; 3] = [CAMERA_FOLDER, USUAL_SETUPS[0], USUAL_SETUPS[1]];

/// A job folder with a commented job.toml and empty set-up folders.
///
/// Nothing that is already there is touched, and where something can't be made, nothing is.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  sightcord begin my-bike")]
pub struct BeginArgs {
    /// The folder to make.
    folder: PathBuf,
    /// Print nothing but errors.
    #[arg(long, short)]
    quiet: bool,
}

/// Runs the command.
pub fn run(args: &BeginArgs) -> anyhow::Result<u8> {
    let folder = &args.folder;
    let job = folder.join(JOB_FILE);
    if fs::symlink_metadata(&job).is_ok() {
        bail!(
            "{} is there already and was left as it is; choose another folder name, or edit that file",
            job.display()
        );
    }
    if refuse_report(folder).is_err() {
        bail!(
            "{} is a report that this program wrote: no job can begin in it; choose another folder name",
            folder.display()
        );
    }
    clear_away_on_interrupt();
    let _steps = uninterrupted();
    let mut made = Made::default();
    if let Err(error) = make(folder, &job, &mut made) {
        made.take_away();
        return Err(error);
    }
    if !args.quiet {
        super::print(&next(folder, &job))?;
    }
    Ok(super::DONE)
}

/// What to do now, with commands that can be pasted.
fn next(folder: &Path, job: &Path) -> String {
    let typed = super::typed(folder);
    format!(
        "{} is ready.\n\n\
         1. Print cards, tabs and a one-page guide:\n\
         \n     sightcord sheets print\n\n\
         2. Lay a steel rule on the check lines and write what it shows into\n   {}.\n\
         3. Photograph the wheel with the rim's mark forward, turn it half round, and\n   \
            photograph it again. The phone says where to stand, and takes the photos:\n\
         \n     sightcord bench {typed} --phone\n\n   \
            Or copy all photos into the folder as they come from the phone: the program\n   \
            sorts them. Or sort them yourself, into {},\n   \
            {} and, for photos of cards alone, {}.\n\
         4. Without the page at the bench, see what is missing while the bike still hangs there, then measure:\n\
         \n     sightcord glance {typed}\n     sightcord measure {typed}\n",
        folder.display(),
        job.display(),
        FOLDERS[1],
        FOLDERS[2],
        FOLDERS[0],
    )
}

/// Makes the whole job, its job.toml last; `made` holds what was made before an error came.
fn make(folder: &Path, job: &Path, made: &mut Made) -> anyhow::Result<()> {
    made.folder(folder)?;
    let failed = || format!("{} can't be written; check the disk and permissions", job.display());
    // Its bytes are on the disk before anything else is made: should that be full, it shows here.
    let mut file = NewFile::in_folder(folder).with_context(failed)?;
    file.file()
        .write_all(TEMPLATE.as_bytes())
        .and_then(|()| file.file().sync_all())
        .with_context(failed)?;
    for name in FOLDERS {
        made.folder(&folder.join(name))?;
    }
    // Whoever comes between the check and here keeps his file.
    file.publish(job).map_err(|error| match error.kind() {
        ErrorKind::AlreadyExists => {
            anyhow!("{} is there already and was left as it is", job.display())
        }
        _ => anyhow!(error).context(failed()),
    })?;
    made.0.iter().filter_map(|folder| folder.parent()).for_each(sync_folder);
    Ok(())
}

/// Folders that were not there before, the outer ones first.
#[derive(Default)]
struct Made(Vec<PathBuf>);

impl Made {
    /// Makes a folder with those around it, unless it is there.
    fn folder(&mut self, at: &Path) -> anyhow::Result<()> {
        let missing: Vec<&Path> =
            at.ancestors().take_while(|at| !at.as_os_str().is_empty() && !at.is_dir()).collect();
        for at in missing.into_iter().rev() {
            fs::create_dir(at).with_context(|| {
                format!(
                    "the folder {} can't be made; check the name and whether you may write there",
                    at.display()
                )
            })?;
            self.0.push(at.to_owned());
        }
        Ok(())
    }

    /// Takes the folders away again that are still empty.
    fn take_away(&self) {
        for at in self.0.iter().rev() {
            let _ = fs::remove_dir(at);
        }
    }
}
