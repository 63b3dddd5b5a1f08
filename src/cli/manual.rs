//! `sightcord manual DIR`: manual pages and shell completions as files, for a person who installs
//! the program.
//!
//! Both are made from the command line's own definition, so that they can't differ from `--help`.

use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use anyhow::Context;
use clap_complete::Shell;

use crate::disk::new_file::NewFile;
use crate::disk::scratch::clear_away_on_interrupt;
use crate::visible::one_line;

/// Write manual pages and shell completions to a folder.
#[derive(Debug, clap::Args)]
#[command(
    hide = true,
    after_help = "Example:\n  sightcord manual pages\n  man -l pages/sightcord-measure.1"
)]
pub struct ManualArgs {
    /// Folder to write to; made if it is not there. Files that are there already are left alone.
    dir: PathBuf,
    /// Print nothing but errors.
    #[arg(long, short)]
    quiet: bool,
}

/// Runs the command.
pub fn run(args: &ManualArgs) -> anyhow::Result<u8> {
    clear_away_on_interrupt();
    let mut written = String::new();
    std::fs::create_dir_all(&args.dir).with_context(|| {
        let dir = args.dir.display();
        format!(
            "the folder {dir} can't be made: name one that you may write to, and that is not a file"
        )
    })?;
    for (name, bytes) in files()? {
        let path = args.dir.join(name);
        write_new(&args.dir, &path, &bytes)?;
        written.push_str(&format!("written  {}\n", one_line(&path.display().to_string())));
    }
    if !args.quiet {
        super::print(&written)?;
    }
    Ok(super::DONE)
}

/// The name and content of each file: a page for the program and each command, and a completion for
/// each shell.
fn files() -> anyhow::Result<Vec<(String, Vec<u8>)>> {
    let mut command = super::command();
    command.build();
    let mut files = Vec::new();
    let shown =
        command.get_subcommands().filter(|sub| sub.get_name() != "help" && !sub.is_hide_set());
    for page in shown.chain([&command]) {
        let mut bytes = Vec::new();
        let page = page.clone().disable_help_subcommand(true);
        let name = page.get_display_name().unwrap_or_else(|| page.get_name()).to_owned();
        clap_mangen::Man::new(page.display_name(name.clone()))
            .render(&mut bytes)
            .context("a manual page can't be written")?;
        files.push((format!("{name}.1"), bytes));
    }
    for shell in [Shell::Bash, Shell::Zsh, Shell::Fish, Shell::PowerShell] {
        let mut bytes = Vec::new();
        clap_complete::generate(shell, &mut super::command(), "sightcord", &mut bytes);
        files.push((clap_complete::Generator::file_name(&shell, "sightcord"), bytes));
    }
    files.sort();
    Ok(files)
}

/// A file is there whole or not at all, and never in another file's place.
fn write_new(dir: &Path, path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let mut file = NewFile::in_folder(dir)
        .with_context(|| format!("nothing can be written in {}", dir.display()))?;
    let written = file.file().write_all(bytes).and_then(|()| file.publish(path));
    written.map_err(|why| match why.kind() {
        ErrorKind::AlreadyExists => {
            anyhow::anyhow!(
                "{} is there already: move it away, or name another folder",
                path.display()
            )
        }
        _ => anyhow::Error::new(why).context(format!(
            "{} can't be written: check the disk and permissions",
            path.display()
        )),
    })
}
