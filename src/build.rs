//! Run by cargo before the program is compiled: gives it the revision of its
//! sources and the features it is built with, so that `--version` and every result can name them.
//!
//! A packed crate holds its revision in a file of its own; a checkout is asked; anything else is
//! "unknown". A checkout is asked again when sources changed, not when only other files were
//! committed: what was said stays true, and nothing is compiled again for it.

use std::path::Path;
use std::process::Command;

/// What of a checkout becomes the program.
const SOURCES: [&str; 4] = ["src", "calibration", "Cargo.toml", "Cargo.lock"];
/// Written by `cargo package`.
const PACKED: &str = ".cargo_vcs_info.json";

fn main() {
    let root = std::env::var("CARGO_MANIFEST_DIR").unwrap_or_default();
    let root = Path::new(&root);
    for source in SOURCES.iter().filter(|source| root.join(source).exists()) {
        println!("cargo:rerun-if-changed={source}");
    }
    let revision =
        packed(root).or_else(|| checked_out(root)).unwrap_or_else(|| "unknown".to_owned());
    println!("cargo:rustc-env=SIGHTCORD_REVISION={revision}");
    println!("cargo:rustc-env=SIGHTCORD_FEATURES={}", features());
}

/// The features in the order of their names, with blanks between them.
fn features() -> String {
    let name = |(key, _): (String, String)| {
        Some(key.strip_prefix("CARGO_FEATURE_")?.to_lowercase().replace('_', "-"))
    };
    let mut names: Vec<String> =
        std::env::vars().filter_map(name).filter(|name| name != "default").collect();
    names.sort();
    names.join(" ")
}

/// The revision that a packed crate says it was packed from.
fn packed(root: &Path) -> Option<String> {
    let text = std::fs::read_to_string(root.join(PACKED)).ok()?;
    println!("cargo:rerun-if-changed={PACKED}");
    let value = text.split("\"sha1\"").nth(1)?.split('"').nth(1)?;
    let is_revision = value.len() >= 7 && value.chars().all(|c| c.is_ascii_hexdigit());
    let changed = if text.contains("\"dirty\": true") { "+changes" } else { "" };
    is_revision.then(|| format!("{value}{changed}"))
}

/// The revision of the checkout whose top this folder is, with a mark where the sources differ from
/// it.
fn checked_out(root: &Path) -> Option<String> {
    let top = git(root, &["rev-parse", "--show-toplevel"])?;
    // A crate unpacked somewhere inside another project is not of that project's revision.
    if Path::new(&top).canonicalize().ok()? != root.canonicalize().ok()? {
        return None;
    }
    let revision = git(root, &["rev-parse", "HEAD"])?;
    let mut status = vec!["status", "--porcelain", "--"];
    status.extend(SOURCES);
    let changed = if git(root, &status)?.is_empty() { "" } else { "+changes" };
    Some(format!("{revision}{changed}"))
}

/// What git says; None where it isn't there or fails.
fn git(root: &Path, words: &[&str]) -> Option<String> {
    let said = Command::new("git")
        .args(words)
        .current_dir(root)
        .env("GIT_OPTIONAL_LOCKS", "0")
        .output()
        .ok()?;
    let text = String::from_utf8(said.stdout).ok()?;
    said.status.success().then(|| text.trim().to_owned())
}
