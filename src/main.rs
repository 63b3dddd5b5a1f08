//! The binary: everything is in the library.

fn main() -> std::process::ExitCode {
    sightcord::cli::run()
}
