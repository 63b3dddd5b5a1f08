//! What one folder holds: photos, files that are left aside, and folders inside it.

use std::path::Path;

use crate::finding::Finding;

use super::PhotoError;
use super::aside::{Aside, LeftAside};
use super::file_bytes::head_of;
use super::format::{Content, NameKind, content_of, is_drawn, kind_by_name};
use super::job_photos::PhotoFile;
use super::order::natural_order;

/// What one folder holds, each in natural order.
#[derive(Default)]
pub(super) struct Inside {
    pub(super) photos: Vec<PhotoFile>,
    pub(super) folders: Vec<String>,
}

/// Lists one folder, not those inside it. Links are followed, one step at a time, so that loops
/// can't be entered.
pub(super) fn read_folder(
    path: &Path,
    name: &str,
    findings: &mut Vec<Finding>,
    aside: &mut LeftAside,
) -> std::io::Result<Inside> {
    let mut inside = Inside::default();
    for entry in std::fs::read_dir(path)? {
        let entry = entry?;
        let file_name = entry.file_name();
        let Some(entry_name) = file_name.to_str() else {
            if kind_by_name(&file_name.to_string_lossy()) == NameKind::Photo {
                findings.push(Finding::refused(
                    "photo-name",
                    format!(
                        "{}: the name holds characters that can't be written in a result; the photo is not used.",
                        id_of(name, &file_name.to_string_lossy())
                    ),
                    "Rename it with plain letters and digits.",
                ));
            }
            continue;
        };
        if entry_name.starts_with('.') {
            continue;
        }
        let id = id_of(name, entry_name);
        match std::fs::metadata(entry.path()) {
            Ok(metadata) if metadata.is_dir() => inside.folders.push(entry_name.to_owned()),
            Ok(metadata) if metadata.is_file() => match file_role(&entry.path(), entry_name) {
                FileRole::Photo => {
                    inside.photos.push(PhotoFile { id, path: entry.path(), sha256: String::new() })
                }
                FileRole::Aside(kind) => aside.add(kind, &id),
                FileRole::PhotoByContent => findings.push(misnamed(&id)),
                FileRole::Other => {}
            },
            // A pipe or a device: reading it might never end.
            Ok(_) => {
                if kind_by_name(entry_name) == NameKind::Photo {
                    findings.push(PhotoError::NotAFile.finding(&id));
                }
            }
            // A dangling or circular link, or a file that vanished while the folder was read.
            Err(error) => {
                // In the job folder itself it may have been meant as a set-up.
                let may_be_setup =
                    name.is_empty() && entry.file_type().is_ok_and(|kind| kind.is_symlink());
                if may_be_setup || kind_by_name(entry_name) == NameKind::Photo {
                    findings.push(PhotoError::from_io(&error).finding(&id));
                }
            }
        }
    }
    inside.photos.sort_by(|a, b| natural_order(&a.id, &b.id));
    inside.folders.sort_by(|a, b| natural_order(a, b));
    Ok(inside)
}

fn id_of(folder: &str, name: &str) -> String {
    if folder.is_empty() { name.to_owned() } else { format!("{folder}/{name}") }
}

fn misnamed(id: &str) -> Finding {
    Finding::warning(
        "photo-misnamed",
        format!("{id} holds a picture, but its name does not end like one; it is not used."),
        "Give it a name that ends in .jpg if it is one of the photos; else take it out of the folder.",
    )
    .in_photo(id)
}

enum FileRole {
    Photo,
    Aside(Aside),
    /// Not named as a photo, but it holds one.
    PhotoByContent,
    Other,
}

fn file_role(path: &Path, name: &str) -> FileRole {
    let head = || head_of(path);
    match kind_by_name(name) {
        NameKind::Photo if is_drawn(&head()) => FileRole::Aside(Aside::Drawn),
        NameKind::Photo => FileRole::Photo,
        NameKind::Raw => FileRole::Aside(Aside::Raw),
        NameKind::OtherPicture => FileRole::Aside(Aside::OtherPicture),
        NameKind::Video => FileRole::Aside(Aside::Video),
        NameKind::Other => match content_of(&head()) {
            Content::Photo(_) => FileRole::PhotoByContent,
            _ => FileRole::Other,
        },
    }
}

/// Whether a folder holds photos by their names, for advice only.
pub(super) fn holds_photos(folder: &Path) -> bool {
    std::fs::read_dir(folder).is_ok_and(|entries| {
        entries.flatten().any(|entry| {
            let name = entry.file_name();
            let name = name.to_string_lossy();
            !name.starts_with('.') && kind_by_name(&name) == NameKind::Photo
        })
    })
}
