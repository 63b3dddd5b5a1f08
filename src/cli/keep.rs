//! `sightcord keep FOLDER`: photos, job, result and report sealed in one archive.

use std::path::PathBuf;

use clap::Args;

use super::measure::{progress_bar, show_progress};
use crate::archive::{self, Anew, Sealed};
use crate::disk::scratch;
use crate::visible::one_line;

/// Photos, settings, figures and report of a job, sealed in one file.
///
/// Later evenings of the job (evening-2 and on) are sealed with it; name such a folder to seal that
/// one alone. The file is a BagIt bag in a ZIP; a README.txt in it says how to check it. Its
/// SHA-256 is printed: written down, or sent to somebody today, it shows later that the archive is
/// the one that existed then.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  sightcord keep my-bike --to my-bike-in-may.zip")]
pub struct KeepArgs {
    /// The job folder.
    folder: PathBuf,
    /// The archive to write; never over a file that is there.
    #[arg(long, value_name = "FILE")]
    to: PathBuf,
    /// Keep copies of the photos that hold the picture and what measuring needs, and nothing that
    /// could tell where they were taken (JPEG and PNG).
    #[arg(long)]
    without_place: bool,
    /// Print the SHA-256 alone.
    #[arg(long, short)]
    quiet: bool,
}

/// Runs the command.
pub fn run(args: &KeepArgs) -> anyhow::Result<u8> {
    super::threads::start(None);
    scratch::clear_away_on_interrupt();
    let bar = progress_bar(args.quiet);
    let sealed = archive::keep(&args.folder, &args.to, args.without_place, &|progress| {
        show_progress(&bar, &progress)
    });
    bar.finish_and_clear();
    let sealed = sealed?;
    super::print(&if args.quiet { format!("{}\n", sealed.sha256) } else { words(&sealed) })?;
    Ok(super::DONE)
}

fn words(sealed: &Sealed) -> String {
    let file = sealed.file.display().to_string();
    let evenings = match sealed.n_evenings {
        1 => String::new(),
        n => format!(" of {n} evenings"),
    };
    let mut text = format!(
        "Kept: {} ({} photos{evenings}, {} bytes)\n",
        one_line(&file),
        sealed.n_photos,
        sealed.bytes
    );
    match sealed.anew {
        Anew::No => {}
        Anew::NoResult => text.push_str(
            "Measured again: the job's folder held no result of these photos and settings by this version on this kind of machine.\n",
        ),
        Anew::Copies => text.push_str(
            "Measured again, because the photos were copied without their place: the result names the copies.\n",
        ),
    }
    for finding in &sealed.left_out {
        text.push_str(&format!("Note: {} {}\n", one_line(&finding.what), finding.advice));
    }
    for line in sealed.privacy.lines() {
        text.push_str(&format!("{}\n", one_line(&line)));
    }
    if !sealed.privacy.with_place.is_empty() {
        text.push_str("To keep copies that don't say it: --without-place and another file name.\n");
    }
    text.push_str(&format!(
        "\nSHA-256: {}\nWrite this number down, or send it to somebody today: without it the archive's checksums don't show who sealed \
         it or when.\n",
        sealed.sha256
    ));
    super::fitted(&text)
}
