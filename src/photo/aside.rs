//! What lies among a job's photos and is none: films, raw files, pictures that this program drew.
//! Each kind is told once.

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

    /// One finding for each kind. `photos` are those that are used: a film or raw file beside the
    /// photo of its name is no loss.
    pub fn findings<'ids>(&self, photos: impl IntoIterator<Item = &'ids str>) -> Vec<Finding> {
        let stems: BTreeSet<String> = photos.into_iter().map(stem).collect();
        let of = |kind: Aside, paired: bool| -> Vec<&str> {
            let wanted =
                |(is, id): &&(Aside, String)| *is == kind && stems.contains(&stem(id)) == paired;
            self.files.iter().filter(wanted).map(|(_, id)| id.as_str()).collect()
        };
        let mut findings = Vec::new();
        let mut report = |files: Vec<&str>, finding: &dyn Fn(&str, bool) -> Finding| {
            if let Some(first) = files.first() {
                let found = finding(&some_of(&files), files.len() > 1);
                findings.push(if files.len() == 1 { found.in_photo(*first) } else { found });
            }
        };
        report(of(Aside::Video, true), &|files, many| {
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
        });
        report(of(Aside::Video, false), &|files, many| {
            let (is, it) = if many { ("are videos", "they are") } else { ("is a video", "it is") };
            Finding::warning(
                "video-not-read",
                format!(
                    "{files} {is}; {it} not used: a video's pictures are too small and too blurred to measure from."
                ),
                "Take photos instead, one from each standpoint.",
            )
        });
        report(of(Aside::Raw, true), &|files, many| {
            let (is, it) = if many {
                ("are raw camera files", "they are")
            } else {
                ("is a raw camera file", "it is")
            };
            Finding::note(
                "raw-beside-photo",
                format!("{files} {is}; {it} not used, since the photo of the same name is."),
                "Nothing to do.",
            )
        });
        for kind in [Aside::Raw, Aside::OtherPicture] {
            let mut files = of(kind, false);
            if kind == Aside::OtherPicture {
                files.extend(of(kind, true));
            }
            report(files, &|files, many| {
                let what = match (kind, many) {
                    (Aside::Raw, true) => {
                        "are raw camera files, which this program does not read; they are"
                    }
                    (Aside::Raw, false) => {
                        "is a raw camera file, which this program does not read; it is"
                    }
                    (_, true) => "are pictures of a kind that this program does not read; they are",
                    (_, false) => "is a picture of a kind that this program does not read; it is",
                };
                Finding::warning(
                    "photo-kind-not-read",
                    format!("{files} {what} not used."),
                    "Set the camera to JPEG, or save each as JPEG at full size without cropping.",
                )
            });
        }
        let mut drawn = of(Aside::Drawn, false);
        drawn.extend(of(Aside::Drawn, true));
        report(drawn, &|files, many| {
            let (is, it) =
                if many { ("are pictures", "they are") } else { ("is a picture", "it is") };
            Finding::warning(
                "picture-drawn-upon",
                format!(
                    "{files} {is} that this program drew on, not a photo as the phone took it; {it} not used."
                ),
                "Take them out of the job folder, and give glance --picture a folder outside it.",
            )
        });
        findings
    }
}
