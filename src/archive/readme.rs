//! The page in the archive for a stranger: what this is, and how to check it without this program.

use crate::photo::{ExifFacts, exif};
use crate::report::program::Program;

use super::checksum::sha256;

/// What of a photo's own data is worth a word before it is given away.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Privacy {
    /// Photos in the archive that tell where they were taken.
    pub with_place: Vec<String>,
    /// Photos in the archive that hold a serial number of camera or lens, or the owner's name.
    pub with_serial: Vec<String>,
    /// Photos without anything that could tell their place: copies of the picture and of what
    /// measuring needs, not the files as the camera wrote them.
    pub cleaned: Vec<String>,
}

impl Privacy {
    /// Adds what a photo's file shows; `is_copy`: it holds the picture and what measuring needs
    /// alone.
    pub fn look_at(&mut self, photo: &str, bytes: &[u8], is_copy: bool) {
        let facts = ExifFacts::read(bytes);
        if facts.has_serial {
            self.with_serial.push(photo.to_owned());
        }
        if is_copy {
            self.cleaned.push(photo.to_owned());
        } else if facts.has_gps || exif::names_a_place(bytes) {
            self.with_place.push(photo.to_owned());
        }
    }

    /// Adds what is known of further photos.
    pub fn and(&mut self, other: &Self) {
        self.with_place.extend(other.with_place.iter().cloned());
        self.with_serial.extend(other.with_serial.iter().cloned());
        self.cleaned.extend(other.cleaned.iter().cloned());
    }

    /// Lines for the page and the terminal.
    pub fn lines(&self) -> Vec<String> {
        let mut lines = Vec::new();
        lines.push(match self.with_place.len() {
            0 => "No photo in the archive is known to say where it was taken.".to_owned(),
            _ => format!(
                "Photos that say where they were taken (GPS): {}.",
                listed(&self.with_place)
            ),
        });
        lines.push(match self.with_serial.len() {
            0 => "No photo in the archive is known to hold a serial number or its owner's name."
                .to_owned(),
            _ => format!(
                "Photos that hold a serial number or their owner's name: {}.",
                listed(&self.with_serial)
            ),
        });
        if !self.cleaned.is_empty() {
            lines.push(format!(
                "Photos kept as copies without their place, whose bytes therefore differ from the camera's files: {}.",
                listed(&self.cleaned)
            ));
            lines.push(
                "The copies hold the picture, and of the camera its maker, model, lens, zoom, size and orientation; GPS, texts, previews, \
                 colour profiles and all else are left out."
                    .to_owned(),
            );
            lines.push(
                "What the program can't know: what the pictures themselves show (a number plate, a street), what somebody hid in a \
                 picture's own data, and what the names of files and folders and the texts in job.toml say."
                    .to_owned(),
            );
        }
        lines
    }
}

/// The first few names and how many more.
fn listed(names: &[String]) -> String {
    const SHOWN: usize = 4;
    let shown = names.iter().take(SHOWN).cloned().collect::<Vec<_>>().join(", ");
    match names.len().saturating_sub(SHOWN) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

/// The text of README.txt. `later` holds the numbers of later evenings and the SHA-256 of their
/// inputs.
pub fn text(
    program: &Program,
    job_id: &str,
    later: &[(u32, &str)],
    n_photos: usize,
    privacy: &Privacy,
) -> String {
    let Program { name, version, .. } = program;
    let folders: String = later
        .iter()
        .map(|(number, _)| {
            format!("  data/evening-{number}/  photos, settings and figures of evening {number}\n")
        })
        .collect();
    let ids: String =
        later.iter().map(|(number, id)| format!("Evening {number}: {id}\n")).collect();
    let privacy: String =
        privacy.lines().iter().map(|line| format!("{}\n", textwrap::fill(line, 78))).collect();
    // An example that anybody can try shows which number a tool for SHA-256 gives.
    let example = sha256(b"abc");
    format!(
        "\
WHAT THIS IS

A measurement of a motorcycle's rear wheel, chain line and frame: {n_photos} photos,
the settings, and the figures that were worked out from them, sealed together
by the program {name} {version}.

  data/photos/   the photos, one folder for each set-up in which nothing moved
  data/job.toml  the settings, if there were any
  data/report/   the figures: index.html or report.txt to read, and result.json
                 for programs
{folders}  bag-info.txt   facts about this archive
  manifest-sha256.txt, tagmanifest-sha256.txt   a checksum of every file

The folder is a \"BagIt bag\" as RFC 8493 describes it, in a ZIP file.

Job (SHA-256 of photos and settings): {job_id}
{ids}
HOW TO CHECK IT WITHOUT {upper}

Any tool for SHA-256 will do; of the three letters abc it gives
{example}.
Unpack the ZIP file, go to this folder, and where sha256sum is at hand:

  sha256sum -c manifest-sha256.txt
  sha256sum -c tagmanifest-sha256.txt

Every line must end with \"OK\", and no file may lie here that neither list
names (except the second list itself). Elsewhere compare the numbers one by one.

HOW TO CHECK IT WITH {upper}

  {name} prove FILE.zip
  {name} prove FILE.zip --expect NUMBER

checks the same, measures again from these photos, and compares the figures.

WHAT THE CHECKSUMS SHOW AND WHAT THEY DO NOT

They show that nothing was changed by accident after the archive was made.
They do not show who made it or when: anyone who changes a photo can make all
checksums in here again. That is what the number is for that the program printed
when it sealed the archive, the SHA-256 of the whole ZIP file: written down on
paper, or sent to somebody on the day, it shows that the archive is the one that
existed then. Without that number there is no such proof. Nothing in here shows
that the photos are of the bike they are said to be of.

WHAT THE PHOTOS SAY ABOUT PEOPLE

{privacy}",
        upper = name.to_uppercase(),
    )
}
