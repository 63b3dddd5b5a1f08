//! `sightcord prove FILE`: checksums, then measured again from the sealed photos and compared.

use std::path::PathBuf;

use clap::Args;

use super::measure::{progress_bar, show_progress};
use crate::archive::compare::Reproduction;
use crate::archive::{self, Proof};
use crate::disk::scratch;
use crate::visible::one_line;

/// Not what was sealed, or not reproduced.
const NOT_PROVEN: u8 = 1;

/// Check that an archive is what was sealed, and measure again from its photos.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  sightcord prove my-bike-in-may.zip\n  sightcord prove my-bike-in-may.zip --quick --expect 64-DIGITS"
)]
pub struct ProveArgs {
    /// The archive, or the folder unpacked from it.
    file: PathBuf,
    /// Check alone, and don't measure again.
    #[arg(long)]
    quick: bool,
    /// The SHA-256 that was written down when the archive was made.
    #[arg(long, value_name = "HASH")]
    expect: Option<String>,
    /// Print nothing but errors; the exit code gives the outcome.
    #[arg(long, short)]
    quiet: bool,
}

/// Runs the command.
pub fn run(args: &ProveArgs) -> anyhow::Result<u8> {
    super::threads::start(None);
    scratch::clear_away_on_interrupt();
    let bar = progress_bar(args.quiet);
    let proof = archive::prove(&args.file, args.quick, args.expect.as_deref(), &|progress| {
        show_progress(&bar, &progress)
    });
    bar.finish_and_clear();
    let proof = proof?;
    if !args.quiet {
        super::print(&words(args, &proof))?;
    }
    Ok(if proof.is_proven() { super::DONE } else { NOT_PROVEN })
}

fn words(args: &ProveArgs, proof: &Proof) -> String {
    let (n_files, bytes) = proof.payload;
    let (major, minor) = proof.bag_version;
    let file = args.file.display().to_string();
    let evenings = match proof.n_evenings {
        0 | 1 => String::new(),
        n => format!("{n} evenings, "),
    };
    let mut text = format!(
        "{}: {evenings}{n_files} files, {bytes} bytes, BagIt {major}.{minor}\n",
        one_line(&file)
    );
    if let Some(agent) = &proof.sealed_by {
        text.push_str(&format!("Sealed by: {}\n", one_line(agent)));
    }
    if let Some(sha256) = &proof.sha256 {
        text.push_str(&format!(
            "SHA-256: {sha256}{}\n",
            if proof.as_expected == Some(true) { " (as expected)" } else { "" }
        ));
    }
    for note in &proof.notes {
        text.push_str(&format!("Note: {}.\n", one_line(note)));
    }
    for problem in &proof.problems {
        text.push_str(&format!("Problem: {}.\n", one_line(problem)));
    }
    if proof.problems.is_empty() {
        text.push_str("The checksums hold: every file is the one that the lists name, and none is missing or extra.\n");
    }
    let differs = |text: &mut String, differences: &[String]| {
        differences
            .iter()
            .for_each(|difference| text.push_str(&format!("Differs: {}\n", one_line(difference))));
    };
    match &proof.reproduction {
        None => {}
        Some(Reproduction::Identical) => {
            text.push_str(if proof.n_evenings > 1 {
                "The figures of every evening come out again: measured from the sealed photos, each result is the same byte for byte.\n"
            } else {
                "The figures come out again: measured from the sealed photos, the result is the same byte for byte.\n"
            });
        }
        Some(Reproduction::Reproduced(others)) => {
            text.push_str(
                "The figures come out again within 1 % of their U, and no verdict changed.\n",
            );
            differs(&mut text, others);
        }
        Some(Reproduction::FiguresAlone(others)) => {
            text.push_str("The figures come out again within 1 % of their U, and no verdict changed; other things differ.\n");
            differs(&mut text, others);
        }
        Some(Reproduction::Differs(differences)) => {
            text.push_str("The sealed result does not come out again.\n");
            differs(&mut text, differences);
        }
    }
    for path in &proof.not_covered {
        text.push_str(&format!(
            "Not covered: {}, whose words only the version that wrote them could make again.\n",
            one_line(path)
        ));
    }
    text.push_str(verdict(proof));
    if proof.figures_hold() && proof.as_expected.is_none() {
        text.push_str(
            "Anyone who edits an archive can make its checksums again. Only the number written down at the time shows that it is \
             the archive of that time (--expect).\n",
        );
    }
    super::fitted(&text)
}

fn verdict(proof: &Proof) -> &'static str {
    let by_number = proof.as_expected == Some(true);
    match (proof.is_proven(), &proof.reproduction) {
        (true, Some(_)) if by_number => {
            "Proven: the checksums hold, the figures come out again, and nothing was altered since the number was written down.\n"
        }
        (true, Some(_)) => "The checksums hold, and the photos give these figures.\n",
        (true, None) if by_number => {
            "Checked: the checksums hold, and nothing was altered since the number was written down. It was not measured again.\n"
        }
        (true, None) => "The checksums hold. It was not measured again.\n",
        (false, Some(Reproduction::Differs(_))) => {
            "NOT PROVEN: the photos don't give the sealed result. Use another copy, or ask who made it.\n"
        }
        (false, _) if proof.figures_hold() => {
            "NOT PROVEN as a whole: the figures come out again, but what is named above this version can't make again, and anyone who edits an \
             archive can make it name another version. Prove it with the version that sealed it, or with the number written down (--expect).\n"
        }
        (false, _) if proof.as_expected == Some(false) && proof.problems.len() == 1 => {
            "NOT PROVEN: its number is not the one you gave, though nothing else is wrong with it. Compare the two numbers digit by digit: \
             a slip of the pen, or another archive.\n"
        }
        (false, _) => "NOT PROVEN: it was altered since it was sealed. Use another copy of it.\n",
    }
}
