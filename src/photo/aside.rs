//! Files among a job's photos that are no photos: films, raw files, pictures that this program
//! drew. Each kind is reported once.

use std::collections::BTreeSet;

use crate::finding::Finding;
use crate::text::listed;

/// No more files than this are named in one sentence.
const NAMED: usize = 3;

/// Kinds of files that are left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Aside {
    Video,
    /// A camera's raw file.
    Raw,
    /// A picture of another kind that is not read.
    OtherPicture,
    /// A picture in which this program drew what it found.
    Drawn,
}

/// Files left out, in the order in which they were listed.
#[derive(Clone, Debug, Default)]
pub(super) struct LeftAside {
    files: Vec<(Aside, String)>,
}

/// A name without its ending, in lower case: "1-a/img_0001".
fn stem(id: &str) -> String {
    id.rsplit_once('.').map_or(id, |(stem, _)| stem).to_lowercase()
}

/// "1-a/x.dng", "1-a/x.dng and 1-a/y.dng", "1-a/x.dng and 11 more".
fn some_of(files: &[&str]) -> String {
    match files {
        [first, rest @ ..] if files.len() > NAMED => format!("{first} and {} more", rest.len()),
        few => listed(few),
    }
}

impl LeftAside {
    pub fn add(&mut self, kind: Aside, id: &str) {
        self.files.push((kind, id.to_owned()));
    }

    /// One finding for each kind. `photos` are those that are used: a film or raw file next to the
    /// photo of its name is no loss.
    pub fn findings<'ids>(&self, photos: impl IntoIterator<Item = &'ids str>) -> Vec<Finding> {
        let stems: BTreeSet<String> = photos.into_iter().map(stem).collect();
        let of = |kind: Aside, paired: bool| -> Vec<&str> {
            let wanted =
                |(is, id): &&(Aside, String)| *is == kind && stems.contains(&stem(id)) == paired;
            self.files.iter().filter(wanted).map(|(_, id)| id.as_str()).collect()
        };
        let either = |kind: Aside| [of(kind, false), of(kind, true)].concat();
        let findings = [
            report(&of(Aside::Video, true), live_photo_film),
            report(&of(Aside::Video, false), video),
            report(&of(Aside::Raw, true), raw_beside_photo),
            report(&of(Aside::Raw, false), raw_alone),
            report(&either(Aside::OtherPicture), other_picture),
            report(&either(Aside::Drawn), drawn_upon),
        ];
        findings.into_iter().flatten().collect()
    }
}

/// What `finding` says of these files, by their names and whether they are many; None where there
/// is none.
fn report(files: &[&str], finding: fn(&str, bool) -> Finding) -> Option<Finding> {
    let first = files.first()?;
    let found = finding(&some_of(files), files.len() > 1);
    Some(if files.len() == 1 { found.in_photo(*first) } else { found })
}

fn live_photo_film(files: &str, many: bool) -> Finding {
    let what = if many {
        "are the short films of live photos"
    } else {
        "is the short film of a live photo"
    };
    Finding::note(
        "live-photo-film",
        format!("{files} {what}; the photo of the same name is used."),
        "Nothing to do.",
    )
}

fn video(files: &str, many: bool) -> Finding {
    let (is, it) = if many { ("are videos", "they are") } else { ("is a video", "it is") };
    Finding::warning(
        "video-not-read",
        format!(
            "{files} {is}; {it} not used: a video's pictures are too small and too blurred to \
             measure from."
        ),
        "Take photos instead, one from each standpoint.",
    )
}

fn raw_beside_photo(files: &str, many: bool) -> Finding {
    let (is, it) =
        if many { ("are raw camera files", "they are") } else { ("is a raw camera file", "it is") };
    Finding::note(
        "raw-beside-photo",
        format!("{files} {is}; {it} not used, since the photo of the same name is."),
        "Nothing to do.",
    )
}

fn raw_alone(files: &str, many: bool) -> Finding {
    kind_not_read(
        files,
        if many {
            "are raw camera files, which this program does not read; they are"
        } else {
            "is a raw camera file, which this program does not read; it is"
        },
    )
}

fn other_picture(files: &str, many: bool) -> Finding {
    kind_not_read(
        files,
        if many {
            "are pictures of a kind that this program does not read; they are"
        } else {
            "is a picture of a kind that this program does not read; it is"
        },
    )
}

fn kind_not_read(files: &str, what: &str) -> Finding {
    Finding::warning(
        "photo-kind-not-read",
        format!("{files} {what} not used."),
        "Set the camera to JPEG, or save each as JPEG at full size without cropping.",
    )
}

fn drawn_upon(files: &str, many: bool) -> Finding {
    let (is, it) = if many { ("are pictures", "they are") } else { ("is a picture", "it is") };
    Finding::warning(
        "picture-drawn-upon",
        format!(
            "{files} {is} that this program drew on, not a photo as the phone took it; {it} not \
             used."
        ),
        "Take them out of the job folder, and give glance --picture a folder outside it.",
    )
}
