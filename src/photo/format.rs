//! What kind of file this is, by its first bytes. Names lie: a phone's "IMG_0001.jpg" can hold
//! HEIC.

use std::fmt;

/// The kinds of picture file that are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PhotoFormat {
    Jpeg,
    Png,
    Tiff,
    WebP,
    /// Read only by a program built with the feature "heic".
    Heic,
}

impl fmt::Display for PhotoFormat {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
            Self::Tiff => "TIFF",
            Self::WebP => "WebP",
            Self::Heic => "HEIC",
        })
    }
}

/// The kind of picture that a file's bytes begin as; None where it is of none that is read.
pub fn format_of(bytes: &[u8]) -> Option<PhotoFormat> {
    match content_of(bytes) {
        Content::Photo(format) => Some(format),
        _ => None,
    }
}

/// What the first bytes of a file say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Content {
    Photo(PhotoFormat),
    /// A picture, but of a kind that is not read; its usual name.
    OtherPicture(&'static str),
    NotAPicture,
}

/// Bytes that [`content_of`] and [`is_drawn`] need to see.
pub(super) const SNIFF_BYTES: usize = 64;

/// The comment that marks a JPEG as a picture into which this program drew: the whole segment,
/// which comes right behind the file's first two bytes.
pub const DRAWN_SEGMENT: &[u8] = b"\xFF\xFE\x00\x22drawn by sightcord: not a photo\0";

/// Whether the file is a picture that this program drew.
pub(super) fn is_drawn(head: &[u8]) -> bool {
    head.get(2..2 + DRAWN_SEGMENT.len()) == Some(DRAWN_SEGMENT)
}

/// The file's kind by its first bytes ([`SNIFF_BYTES`] are enough).
pub(super) fn content_of(head: &[u8]) -> Content {
    let starts = |magic: &[u8]| head.starts_with(magic);
    if starts(b"\xFF\xD8\xFF") {
        Content::Photo(PhotoFormat::Jpeg)
    } else if starts(b"\x89PNG\r\n\x1A\n") {
        Content::Photo(PhotoFormat::Png)
    } else if is_raw_by_content(head) {
        Content::OtherPicture("raw camera file")
    } else if starts(b"II*\0") || starts(b"MM\0*") || starts(b"II+\0") || starts(b"MM\0+") {
        Content::Photo(PhotoFormat::Tiff)
    } else if starts(b"RIFF") && head.get(8..12) == Some(b"WEBP") {
        Content::Photo(PhotoFormat::WebP)
    } else if head.get(4..8) == Some(b"ftyp") {
        content_by_brand(head)
    } else if starts(b"GIF8") {
        Content::OtherPicture("GIF")
    } else if starts(b"BM") && head.get(6..10) == Some(&[0; 4]) {
        Content::OtherPicture("BMP")
    } else if starts(b"\xFF\x0A") || starts(b"\0\0\0\x0CJXL ") {
        Content::OtherPicture("JPEG XL")
    } else if starts(b"\0\0\0\x0CjP  ") {
        Content::OtherPicture("JPEG 2000")
    } else {
        Content::NotAPicture
    }
}

/// Raw files that start like TIFF but show a small preview only, and others that don't.
fn is_raw_by_content(head: &[u8]) -> bool {
    head.starts_with(b"FUJIFILM")
        || head.starts_with(b"IIRO")
        || head.starts_with(b"IIU\0")
        || (head.starts_with(b"II*\0") && head.get(8..10) == Some(b"CR"))
}

/// ISO base media files: the major brand, or any compatible brand within the first bytes, shows
/// what is inside.
fn content_by_brand(head: &[u8]) -> Content {
    let brands = || head.get(8..head.len().min(32)).unwrap_or_default().chunks_exact(4);
    if brands().any(|brand| brand == b"avif" || brand == b"avis") {
        Content::OtherPicture("AVIF")
    } else if brands().any(|brand| {
        matches!(brand, b"heic" | b"heix" | b"heim" | b"heis" | b"hevc" | b"mif1" | b"msf1")
    }) {
        Content::Photo(PhotoFormat::Heic)
    } else if brands().any(|brand| brand == b"crx ") {
        Content::OtherPicture("raw camera file")
    } else {
        Content::NotAPicture
    }
}

/// What the end of a file's name promises.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum NameKind {
    Photo,
    /// A camera's raw file.
    Raw,
    /// A picture, but of a kind that is not read.
    OtherPicture,
    Video,
    Other,
}

/// What a file's name promises, by its ending in any case.
pub(super) fn kind_by_name(name: &str) -> NameKind {
    let ending = match name.rsplit_once('.') {
        Some((_, ending)) => ending.to_ascii_lowercase(),
        None => return NameKind::Other,
    };
    match ending.as_str() {
        "jpg" | "jpeg" | "jpe" | "jfif" | "png" | "tif" | "tiff" | "webp" | "heic" | "heif"
        | "hif" => NameKind::Photo,
        "avif" | "gif" | "bmp" | "jxl" | "jp2" | "j2k" => NameKind::OtherPicture,
        "dng" | "cr2" | "cr3" | "nef" | "arw" | "raf" | "orf" | "rw2" | "pef" | "srw" | "raw" => {
            NameKind::Raw
        }
        "mov" | "mp4" | "m4v" | "avi" | "3gp" | "mts" | "m2ts" | "webm" | "mkv" | "hevc" => {
            NameKind::Video
        }
        _ => NameKind::Other,
    }
}
