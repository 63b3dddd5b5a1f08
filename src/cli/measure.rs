//! `sightcord measure`: figures, verdicts, plan and report of a job folder.

use std::io::IsTerminal;
use std::path::PathBuf;

use anyhow::bail;
use clap::{Args, ValueEnum};
use indicatif::{ProgressBar, ProgressStyle};

use crate::disk::scratch::clear_away_on_interrupt;
use crate::figure::Figure;
use crate::pictures::{drawn, or_result_alone};
use crate::pipeline::{self, Measured, Progress};
use crate::report::write::{Destination, Identity, JobPlaces, WriteError, prepare};
use crate::text::units::Show;
use crate::visible::one_line;

mod grouping;

/// Figures, verdicts, plan and report of a job folder.
///
/// The folder holds the photos as the phone took them, sorted by the program, or one sub-folder for
/// each position of the wheel. It may hold a job.toml.
/// Nothing that changes a figure is an option here: it belongs in job.toml.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  sightcord measure samples/grass-track --to /tmp/report")]
pub struct MeasureArgs {
    /// The job folder.
    folder: PathBuf,
    /// Where the report goes (default: FOLDER/report).
    #[arg(long, value_name = "DIR")]
    to: Option<PathBuf>,
    /// Unit of lengths in what is printed; files stay in millimetres.
    #[arg(long, value_enum, default_value_t = ShowUnit::Mm)]
    show: ShowUnit,
    /// Print every figure and finding, not only the work to do and what is judged.
    #[arg(long, conflicts_with = "json")]
    all: bool,
    /// Threads to use (default: as many as the computer has).
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    threads: Option<u16>,
    /// Print result.json on standard output and write no report.
    #[arg(long, conflicts_with_all = ["to", "show"])]
    json: bool,
    /// Write into job.toml which photos belong together, where the program found it.
    #[arg(long, conflicts_with = "json")]
    keep_grouping: bool,
    /// Print nothing but errors.
    #[arg(long, short)]
    quiet: bool,
}

/// Unit of lengths for people.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ShowUnit {
    Mm,
    Inch,
}

impl From<ShowUnit> for Show {
    fn from(unit: ShowUnit) -> Self {
        match unit {
            ShowUnit::Mm => Self::Mm,
            ShowUnit::Inch => Self::Inch,
        }
    }
}

/// Runs the command.
pub fn run(args: &MeasureArgs) -> anyhow::Result<u8> {
    clear_away_on_interrupt();
    super::threads::start(args.threads);
    let folder = pipeline::open(&args.folder)?;
    let target = args.to.clone().unwrap_or_else(|| args.folder.join("report"));
    // Whether the report can be written is found out before the long work.
    let identity = Identity::new(folder.id.clone(), &pipeline::listed_photos(&folder.photos));
    let places =
        JobPlaces::new(&args.folder, folder.photos.all().map(|photo| photo.path.as_path()));
    let destination =
        if args.json { None } else { destination(prepare(&target, identity, places))? };
    let bar = progress_bar(args.quiet || args.json);
    let says = !args.quiet && !args.json;
    let mut measured = pipeline::measure(folder, &|progress| {
        if let (Progress::Sorted(words), true) = (&progress, says) {
            let said = format!("Photos sorted by the wheel's position: {}.\n\n", one_line(words));
            // Where nothing can be printed, the figures will say so.
            bar.suspend(|| super::print(&super::fitted(&said)).unwrap_or_default());
        }
        show_progress(&bar, &progress);
    });
    bar.finish_and_clear();
    if let Some(several) = measured.several_jobs() {
        bail!("{} {}", several.what, several.advice);
    }
    if args.json {
        super::print_json(&measured.document.to_json())?;
        return Ok(exit_code(&measured));
    }
    let (text, files) =
        or_result_alone(&mut measured, |measured| drawn(measured, args.show.into(), args.all));
    if !args.quiet {
        super::print_styled(&text)?;
    }
    let Some(destination) = destination else { return Ok(super::BAD_INPUT) };
    if let Some(left) = destination.write(&files)? {
        super::complain(&format!(
            "the earlier report could not be cleared away; it lies in {}, and may be removed",
            left.display()
        ));
    }
    if !args.quiet {
        let page = destination.folder().join("index.html").display().to_string();
        super::print(&format!("\nReport to look at: {}\n", one_line(&page)))?;
    }
    if args.keep_grouping {
        let said = grouping::keep(&args.folder, &measured.document.grouping)?;
        if !args.quiet {
            super::print(&format!("{}\n", one_line(&said)))?;
        }
    }
    Ok(exit_code(&measured))
}

/// Where the report goes. Where nothing but a permission is in the way the figures are measured and
/// printed all the same.
fn destination(prepared: Result<Destination, WriteError>) -> anyhow::Result<Option<Destination>> {
    match prepared {
        Ok(destination) => Ok(Some(destination)),
        Err(why) if why.is_read_only() => {
            super::complain(&format!(
                "the figures are measured and printed here, but no report is written: {why}"
            ));
            Ok(None)
        }
        Err(why) => Err(why.into()),
    }
}

fn exit_code(measured: &Measured) -> u8 {
    if anything_measured(measured) { super::DONE } else { super::NOTHING }
}

fn anything_measured(measured: &Measured) -> bool {
    let document = &measured.document;
    let any_of = [Figure::WheelOffset, Figure::WheelYaw, Figure::ChainAtGearbox];
    any_of.iter().any(|figure| document.figure(figure).is_some())
        || document.measured.rims().iter().any(|rim| rim.offset.is_some())
}

pub(super) fn progress_bar(silent: bool) -> ProgressBar {
    if silent || !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(0);
    if let Ok(style) = ProgressStyle::with_template("{msg:22} {wide_bar} {pos}/{len}") {
        bar.set_style(style);
    }
    bar
}

pub(super) fn show_progress(bar: &ProgressBar, progress: &Progress) {
    let (message, done, all) = match progress {
        Progress::Looked(done, all) => ("looking at photos", *done, *all),
        Progress::LookedAgain(done, all) => ("looking again", *done, *all),
        Progress::Sorted(_) => ("sorted", 0, 1),
        Progress::Solving => ("solving", 0, 1),
        Progress::Planning => ("planning", 0, 1),
    };
    bar.set_message(message);
    bar.set_length(all as u64);
    bar.set_position(done as u64);
}
