//! The command line: one file a command.
//!
//! Exit codes: 0 done; 1 nothing could be measured, or not proven; 2 bad usage or input. Findings never change them.

pub mod keep;
pub mod measure;
pub mod prove;
pub mod sheets;

use std::process::ExitCode;

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
    Keep(keep::KeepArgs),
    Measure(measure::MeasureArgs),
    Prove(prove::ProveArgs),
    Sheets(sheets::SheetsArgs),
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
        Command::Keep(args) => keep::run(&args),
        Command::Measure(args) => measure::run(&args),
        Command::Prove(args) => prove::run(&args),
        Command::Sheets(args) => sheets::run(&args),
    };
    match outcome {
        Ok(code) => ExitCode::from(code),
        Err(error) => {
            anstream::eprintln!("sightcord: {error:#}");
            ExitCode::from(BAD_INPUT)
        }
    }
}
