//! The command line: one file a command.
//!
//! Exit codes: 0 done; 1 nothing could be measured, or not proven; 2 bad usage or input. Findings never change them.

pub mod begin;
pub mod glance;
pub mod keep;
pub mod measure;
pub mod prove;
pub mod sheets;
pub mod since;
pub mod whatif;

use std::io::Write;
use std::process::ExitCode;

use anyhow::Context;
use clap::{Parser, Subcommand};

/// Measures with photographs whether a motorcycle's rear wheel stands square, upright and central in its frame, and whether its
/// chain runs in line.
#[derive(Debug, Parser)]
#[command(name = "sightcord", version, max_term_width = 100)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Sheets(sheets::SheetsArgs),
    Begin(begin::BeginArgs),
    Glance(glance::GlanceArgs),
    Measure(measure::MeasureArgs),
    Whatif(whatif::WhatifArgs),
    Since(since::SinceArgs),
    Keep(keep::KeepArgs),
    Prove(prove::ProveArgs),
}

/// Done.
pub const DONE: u8 = 0;
/// Nothing could be measured.
pub const NOTHING: u8 = 1;
/// Bad usage or input.
pub const BAD_INPUT: u8 = 2;

/// Runs the command line and gives the exit code.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    let outcome = match cli.command {
        Command::Sheets(args) => sheets::run(&args),
        Command::Begin(args) => begin::run(&args),
        Command::Glance(args) => glance::run(&args),
        Command::Measure(args) => measure::run(&args),
        Command::Whatif(args) => whatif::run(&args),
        Command::Since(args) => since::run(&args),
        Command::Keep(args) => keep::run(&args),
        Command::Prove(args) => prove::run(&args),
    };
    match outcome {
        Ok(code) => ExitCode::from(code),
        Err(error) => {
            anstream::eprintln!("sightcord: {error:#}");
            ExitCode::from(BAD_INPUT)
        }
    }
}

/// Every line in the terminal's 80 columns; a file's name or a long number is never broken.
fn fitted(text: &str) -> String {
    let options = textwrap::Options::new(80).word_splitter(textwrap::WordSplitter::NoHyphenation).break_words(false);
    text.lines().map(|line| textwrap::fill(line, &options) + "\n").collect()
}

/// Prints to standard output. A reader that went away early (as `head` does) is no error.
fn print(text: &str) -> anyhow::Result<()> {
    forgive(std::io::stdout().lock().write_all(text.as_bytes()))
}

/// The same for text with styles, which are dropped where nobody would see them.
fn print_styled(text: &str) -> anyhow::Result<()> {
    forgive(anstream::stdout().lock().write_all(text.as_bytes()))
}

fn forgive(outcome: std::io::Result<()>) -> anyhow::Result<()> {
    match outcome {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(error).context("standard output can't be written to"),
        _ => Ok(()),
    }
}
