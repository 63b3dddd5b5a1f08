//! The command line: one file a command.
//!
//! Exit codes: 0 done; 1 nothing could be measured, or not proven; 2 bad usage or input. Findings
//! never change them.

pub mod begin;
pub mod bench;
pub mod glance;
pub mod keep;
pub mod manual;
pub mod measure;
pub mod prove;
pub mod sheets;
pub mod since;
mod threads;
pub mod whatif;

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;
use std::sync::LazyLock;

use anyhow::Context;
use clap::error::{ContextKind, ErrorKind};
use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};

use crate::disk::new_file::write_new;
use crate::report::program::Program;
use crate::visible;

/// Measures with photographs whether a motorcycle's rear wheel stands square, upright and central
/// in its frame, and whether its chain runs in line.
#[derive(Debug, Parser)]
#[command(name = "sightcord", version, max_term_width = 100, after_help = EXIT_CODES)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

/// What scripts rely on.
const EXIT_CODES: &str = "Exit codes: 0 done, whatever was found; 1 nothing could be measured, or not proven; 2 bad usage or input; 130 after \
    Ctrl-C.\nFindings and verdicts never change them: read \"state\" in result.json.";

#[derive(Debug, Subcommand)]
enum Command {
    Sheets(sheets::SheetsArgs),
    Begin(begin::BeginArgs),
    Bench(bench::BenchArgs),
    Glance(glance::GlanceArgs),
    Measure(measure::MeasureArgs),
    Whatif(whatif::WhatifArgs),
    Since(since::SinceArgs),
    Keep(keep::KeepArgs),
    Prove(prove::ProveArgs),
    Manual(manual::ManualArgs),
}

/// What `--version` says: all that a report of a mistake needs to name the program.
static VERSION: LazyLock<String> = LazyLock::new(|| {
    let Program { version, revision, features, machine, .. } = Program::this();
    let features = if features.is_empty() { "none".to_owned() } else { features.join(", ") };
    format!("{version}\nrevision: {revision}\nfeatures: {features}\nmachine: {machine}")
});

/// The whole command line, each command's exit codes included.
fn command() -> clap::Command {
    Cli::command().long_version(VERSION.as_str()).mut_subcommands(with_exit_codes)
}

/// Done.
pub const DONE: u8 = 0;
/// Nothing could be measured.
pub const NOTHING: u8 = 1;
/// Bad usage or input.
pub const BAD_INPUT: u8 = 2;

/// Runs the command line and gives the exit code.
pub fn run() -> ExitCode {
    let matches = command().try_get_matches().unwrap_or_else(|error| {
        // Help and version come this way, too.
        let _ = error.print();
        if let Some(hint) = hint(&error, std::env::args().skip(1)) {
            complain(&hint);
        }
        std::process::exit(error.exit_code())
    });
    let cli = Cli::from_arg_matches(&matches).unwrap_or_else(|error| error.exit());
    let outcome = match cli.command {
        Command::Sheets(args) => sheets::run(&args),
        Command::Begin(args) => begin::run(&args),
        Command::Bench(args) => bench::run(&args),
        Command::Glance(args) => glance::run(&args),
        Command::Measure(args) => measure::run(&args),
        Command::Whatif(args) => whatif::run(&args),
        Command::Since(args) => since::run(&args),
        Command::Keep(args) => keep::run(&args),
        Command::Prove(args) => prove::run(&args),
        Command::Manual(args) => manual::run(&args),
    };
    match outcome {
        Ok(code) => ExitCode::from(code),
        Err(error) => {
            complain(&without_system_numbers(&format!("{error:#}")));
            ExitCode::from(BAD_INPUT)
        }
    }
}

/// What to type instead, for two slips that the usage alone does not explain: a folder's name with
/// spaces and no quotes, and a command without its folder.
fn hint(error: &clap::Error, typed: impl Iterator<Item = String>) -> Option<String> {
    let typed: Vec<String> = typed.collect();
    let words: Vec<&String> = typed.iter().skip(1).filter(|word| !word.starts_with('-')).collect();
    match error.kind() {
        ErrorKind::UnknownArgument => {
            let odd = error.get(ContextKind::InvalidArg)?.to_string();
            let is_word = !odd.starts_with('-') && words.len() > 1;
            let name = words.iter().map(|word| word.as_str()).collect::<Vec<_>>().join(" ");
            is_word.then(|| format!("a folder's name with spaces stands in quotes: \"{name}\""))
        }
        ErrorKind::MissingRequiredArgument if words.is_empty() => {
            let command = typed.first().filter(|name| OF_A_JOB.contains(&name.as_str()))?;
            Some(format!("in the job's own folder a dot stands for it: sightcord {command} ."))
        }
        _ => None,
    }
}

/// Commands that are given a job's folder.
const OF_A_JOB: [&str; 5] = ["measure", "glance", "bench", "whatif", "keep"];

/// A message without the numbers that systems give to their errors: they tell a person nothing.
fn without_system_numbers(message: &str) -> String {
    let mut parts = message.split(" (os error ");
    let mut text = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        match part.split_once(')') {
            Some((number, rest)) if number.bytes().all(|byte| byte.is_ascii_digit()) => {
                text.push_str(rest);
            }
            _ => text.push_str(&format!(" (os error {part}")),
        }
    }
    text
}

/// A command whose help ends with its exit codes.
fn with_exit_codes(command: clap::Command) -> clap::Command {
    let first = match command.get_name() {
        "measure" => {
            "0 done, whatever was found (also \"not finished\" and steps to do); 1 nothing could be measured; 2 bad usage or input"
        }
        "glance" => "0 done; 1 no photo shows a card; 2 no photo can be read, or bad usage",
        "prove" => {
            "0 proven; 1 altered, not reproduced or not fully comparable; 2 it can't be read, or bad usage"
        }
        _ => "0 done; 2 bad usage or input",
    };
    let codes = format!("Exit code: {first}; 130 after Ctrl-C.");
    let help =
        command.get_after_help().map_or_else(|| codes.clone(), |help| format!("{help}\n\n{codes}"));
    command.after_help(help)
}

/// Every line in the terminal's 80 columns; a file's name or a long number is never broken.
fn fitted(text: &str) -> String {
    // What continues a line is indented: no name can be so long that its end looks like a line of
    // the program's own.
    let options = textwrap::Options::new(80)
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .break_words(false)
        .subsequent_indent("  ");
    text.lines().map(|line| textwrap::fill(line, &options) + "\n").collect()
}

/// A path as it is typed into a command: in quotes where a shell would take it for more than one
/// word.
fn typed(path: &Path) -> String {
    let path = path.display().to_string();
    let is_plain =
        |c: char| c.is_alphanumeric() || "_-./:@%+=,".contains(c) || (cfg!(windows) && c == '\\');
    if !path.is_empty() && path.chars().all(is_plain) {
        path
    } else if cfg!(windows) {
        format!("\"{path}\"")
    } else {
        format!("'{}'", path.replace('\'', r"'\''"))
    }
}

/// Prints to standard output. A reader that went away early (as `head` does) is no error.
fn print(text: &str) -> anyhow::Result<()> {
    print_as_is(&mut std::io::stdout().lock(), &visible::lines(text))
}

/// The same for text with styles, which are dropped where they would not be seen.
fn print_styled(text: &str) -> anyhow::Result<()> {
    print_as_is(&mut anstream::stdout().lock(), &visible::styled(text))
}

/// The same for JSON.
fn print_json(text: &str) -> anyhow::Result<()> {
    print_as_is(&mut std::io::stdout().lock(), &visible::json(text))
}

fn print_as_is(out: &mut impl Write, text: &str) -> anyhow::Result<()> {
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(error).context("standard output can't be written to; part of the output is missing")
        }
        _ => Ok(()),
    }
}

/// Writes a page to a file of its own; what is there already stays.
fn write_page(file: &Path, page: &str) -> anyhow::Result<()> {
    let failed = || {
        format!(
            "the page can't be written to {}: name a file that is not there yet, in a folder that is",
            file.display()
        )
    };
    write_new(file, page.as_bytes()).with_context(failed)
}

/// Says on standard error what went wrong; where not even that can be written, there is nothing
/// left to do.
fn complain(what: &str) {
    // A line break in a name must not begin a line of its own.
    let text = visible::lines(what).replace('\n', "\n  ");
    let _ = writeln!(anstream::stderr(), "sightcord: {text}");
}
