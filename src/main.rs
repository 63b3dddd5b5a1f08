//! The binary: everything is in the library.

#![forbid(unsafe_code)]

fn main() -> std::process::ExitCode {
    sightcord::cli::run()
}
