//! `sightcord begin`: a job folder to put photos into.

use std::fs::{self, OpenOptions};
use std::io::{ErrorKind, Write};
use std::path::PathBuf;

use anyhow::{Context, bail};
use clap::Args;

use crate::job::{JOB_FILE, TEMPLATE};

/// Set-up folders of a new job: photos of cards alone for the lens, and the wheel once each way round.
const FOLDERS: [&str; 3] = ["0-camera", "1-mark-forward", "2-mark-rearward"];

/// A job folder with a commented job.toml and empty set-up folders.
///
/// Nothing that is already there is touched.
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
    if job.exists() {
        bail!("{} is there already and was left as it is; choose another folder name, or edit that file", job.display());
    }
    for name in FOLDERS {
        let at = folder.join(name);
        fs::create_dir_all(&at).with_context(|| {
            format!("the folder {} can't be made; check the name and whether you may write there", at.display())
        })?;
    }
    // Whoever comes between the check and here keeps his file.
    match OpenOptions::new().write(true).create_new(true).open(&job) {
        Ok(mut file) => file.write_all(TEMPLATE.as_bytes()).with_context(|| format!("{} can't be written", job.display()))?,
        Err(error) if error.kind() == ErrorKind::AlreadyExists => {
            bail!("{} is there already and was left as it is", job.display())
        }
        Err(error) => {
            return Err(error).with_context(|| format!("{} can't be written; check the disk and permissions", job.display()));
        }
    }
    if !args.quiet {
        anstream::println!(
            "{} is ready.\n\n\
             1. Print cards and tabs:  sightcord sheets print\n\
             2. Lay a steel rule on a card's check lines and write what it shows into {}.\n\
             3. Put the photos of each set-up into its folder: {} with the rim's mark turned\n   forward, {} with the wheel turned half round. A few photos of cards\n   \
             alone, from all sides, may go to {} (they sharpen the lens; not needed).\n\
             4. Measure:  sightcord measure {}",
            folder.display(),
            job.display(),
            FOLDERS[1],
            FOLDERS[2],
            FOLDERS[0],
            folder.display()
        );
    }
    Ok(super::DONE)
}
