//! `sightcord since`: before and after.

use std::path::PathBuf;

use clap::Args;

use crate::plan::since::since;
use crate::report::ResultDocument;
use crate::report::{html, text};
use crate::text::units::Show;

/// Before and after: differences, with an uncertainty that counts shared terms once, and what
/// became of the plan.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  sightcord since tuesday/report thursday/report")]
pub struct SinceArgs {
    /// The earlier report folder, job folder, archive or result.json.
    before: PathBuf,
    /// The later one.
    after: PathBuf,
    /// Unit of lengths in what is printed.
    #[arg(long, value_enum, default_value_t = super::measure::ShowUnit::Mm)]
    show: super::measure::ShowUnit,
    /// Write the comparison as a page, too, to a file that is not there yet.
    #[arg(long, value_name = "FILE", conflicts_with = "json")]
    page: Option<PathBuf>,
    /// Print the comparison as JSON.
    #[arg(long)]
    json: bool,
    /// Print nothing but errors.
    #[arg(long, short)]
    quiet: bool,
}

/// Runs the command.
pub fn run(args: &SinceArgs) -> anyhow::Result<u8> {
    let [before, after] = [&args.before, &args.after].map(|at| super::whatif::read_result(at));
    let (before, after) = (before?, after?);
    let evening = |result: &ResultDocument| match args.json {
        true => result.evening(),
        false => result.visible().evening(),
    };
    let compared = since(&evening(&before), &evening(&after))?;
    if let Some(file) = &args.page {
        let page =
            html::since_page(&before.visible(), &after.visible(), &compared, Show::from(args.show));
        super::write_page(file, &page)?;
    }
    if args.json {
        super::print_json(&format!("{}\n", serde_json::to_string_pretty(&compared)?))?;
    } else if !args.quiet {
        super::print_styled(&text::since(&compared, Show::from(args.show)))?;
    }
    Ok(super::DONE)
}
