//! `sightcord whatif`: the plan again from a result, with other choices.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use clap::error::ErrorKind;
use clap::{Arg, Args, Command, ValueEnum};

use crate::archive;
use crate::job::{Job, Side, SpacerKind};
use crate::plan::settings::Choices;
use crate::plan::{Outcome, PlanSettings, replan};
use crate::report::ResultDocument;
use crate::report::result::RESULT_NAME;
use crate::report::{html, text};
use crate::text::units::Show;

/// The plan again from a result alone, with other choices than the job's.
///
/// Nothing is measured again, and nothing is written unless you ask for a page: figures and
/// verdicts stay what they are.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  sightcord whatif my-bike/report --draw left --pack gearbox")]
pub struct WhatifArgs {
    /// A report folder, a job folder with a report, or a result.json.
    dir: PathBuf,
    /// The spindle's end to draw.
    #[arg(long, value_enum)]
    draw: Option<DrawSide>,
    /// Where packing goes to bring the sprockets into line.
    #[arg(long, value_parser = PackWords)]
    pack: Option<SpacerKind>,
    /// Unit of lengths in what is printed.
    #[arg(long, value_enum, default_value_t = super::measure::ShowUnit::Mm)]
    show: super::measure::ShowUnit,
    /// Write the plan as a page, too, to a file that is not there yet.
    #[arg(long, value_name = "FILE", conflicts_with = "json")]
    page: Option<PathBuf>,
    /// Print the result with the new plan as JSON.
    #[arg(long)]
    json: bool,
    /// Print nothing but errors.
    #[arg(long, short)]
    quiet: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum DrawSide {
    Left,
    Right,
}

/// Reads where packing goes; a word that people use for one of the three is answered with it.
#[derive(Clone)]
struct PackWords;

impl TypedValueParser for PackWords {
    type Value = SpacerKind;

    fn parse_ref(
        &self,
        command: &Command,
        argument: Option<&Arg>,
        value: &OsStr,
    ) -> Result<SpacerKind, clap::Error> {
        let typed = value.to_string_lossy();
        if let Some(kind) = SpacerKind::ALL.into_iter().find(|kind| kind.word() == typed) {
            return Ok(kind);
        }
        let words = SpacerKind::ALL.map(SpacerKind::word);
        let known = PossibleValuesParser::new(words);
        match SpacerKind::called(&typed) {
            None => Err(known.parse_ref(command, argument, value).err().unwrap_or_else(|| {
                clap::Error::new(ErrorKind::InvalidValue).with_cmd(command)
            })),
            Some(kind) => Err(command.clone().error(
                ErrorKind::InvalidValue,
                format!(
                    "\"{typed}\" is not a word for --pack. You most likely mean: --pack {}\nThe three are {}: packing behind the rear \
                     sprocket, a shim behind the gearbox sprocket, or the spacers at the hub.",
                    kind.word(),
                    "sprocket, gearbox and hub"
                ),
            )),
        }
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        Some(Box::new(SpacerKind::ALL.into_iter().map(|kind| PossibleValue::new(kind.word()))))
    }
}

/// Runs the command.
pub fn run(args: &WhatifArgs) -> anyhow::Result<u8> {
    let mut document = read_result(&args.dir)?;
    let job: Job = document
        .job_settings()
        .context("the settings in the result can't be read; measure the job again with this version of the program")?;
    let choices = Choices {
        draw: args.draw.map(|side| if side == DrawSide::Left { Side::Left } else { Side::Right }),
        pack: args.pack,
    };
    let (figures, settings) = (document.to_figures(), PlanSettings::from(&job));
    let outcome = replan(&figures, &settings, choices);
    let unused = unused(args, &replan(&figures, &settings, Choices::default()), &outcome);
    document.state = Some(outcome.state);
    document.headline = outcome.headline;
    document.summary = outcome.summary;
    document.plan = outcome.plan;
    document.expected = outcome.expected;
    if args.json {
        super::print_json(&document.to_json())?;
        return Ok(super::DONE);
    }
    if let Some(file) = &args.page {
        super::write_page(file, &html::plan_page(&document.visible(), Show::from(args.show)))?;
    }
    if !args.quiet {
        super::print_styled(&text::plan_alone(&document, Show::from(args.show)))?;
        if let Some(unused) = unused {
            super::print(&format!("\n{unused}\n"))?;
        }
    }
    Ok(super::DONE)
}

/// What is said where the choices that were named change no step.
fn unused(args: &WhatifArgs, before: &Outcome, after: &Outcome) -> Option<String> {
    let named: Vec<&str> =
        [args.draw.map(|_| "--draw"), args.pack.map(|_| "--pack")].into_iter().flatten().collect();
    let steps = |outcome: &Outcome| serde_json::to_value(&outcome.plan).ok();
    (!named.is_empty() && steps(before) == steps(after)).then(|| {
        format!(
            "{} changes nothing here: no step uses it, or the job says so already.",
            named.join(" with ")
        )
    })
}

/// The result in a report folder, in a job folder's report, in an archive, or in the file itself.
pub fn read_result(at: &Path) -> anyhow::Result<ResultDocument> {
    if archive::is_archive(at) {
        // Its files are checked side by side.
        super::threads::start(None);
        crate::disk::scratch::clear_away_on_interrupt();
        return Ok(ResultDocument::from_json(archive::sealed_result(at)?.as_bytes(), at)?);
    }
    let places = [at.to_owned(), at.join(RESULT_NAME), at.join("report").join(RESULT_NAME)];
    let file = places.iter().find(|place| place.is_file()).with_context(|| {
        format!(
            "there is no {RESULT_NAME} in {}; name a report folder, or measure the job first",
            at.display()
        )
    })?;
    Ok(ResultDocument::read(file)?)
}
