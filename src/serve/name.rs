//! A file's name as a phone sends it, made into one that every system takes and that leads nowhere
//! else.

use crate::photo::PhotoFormat;

/// Letters kept of a name: enough for a phone's own, such as IMG_20260516_100448.
const MOST_LETTERS: usize = 40;
/// What a name is where nothing of it can be kept.
const NAMELESS: &str = "photo";
/// Names that some systems keep for devices.
const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];

/// The name without its ending: letters, digits, `-` and `_` of the last part alone.
pub fn safe_stem(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    let stem = last.rsplit_once('.').map_or(last, |(stem, _)| stem);
    let mut safe = String::new();
    for letter in stem.chars() {
        let plain = if letter.is_ascii_alphanumeric() || letter == '_' { letter } else { '-' };
        if !(plain == '-' && safe.ends_with('-')) {
            safe.push(plain);
        }
        if safe.len() == MOST_LETTERS {
            break;
        }
    }
    let safe = safe.trim_matches('-');
    let word = safe.trim_end_matches(|c: char| c.is_ascii_digit()).to_ascii_lowercase();
    if safe.is_empty() || DEVICES.contains(&word.as_str()) {
        format!("{NAMELESS}{safe}")
    } else {
        safe.to_owned()
    }
}

/// The ending that says what the file holds, whatever its sender called it.
pub fn ending(format: PhotoFormat) -> &'static str {
    match format {
        PhotoFormat::Jpeg => "jpg",
        PhotoFormat::Png => "png",
        PhotoFormat::Tiff => "tif",
        PhotoFormat::WebP => "webp",
        PhotoFormat::Heic => "heic",
    }
}

/// Names to try one after the other until one is free: "a.jpg", "a-2.jpg", "a-3.jpg" ...
pub fn candidates(stem: &str, ending: &str, most: usize) -> impl Iterator<Item = String> {
    (1..=most).map(
        move |n| if n == 1 { format!("{stem}.{ending}") } else { format!("{stem}-{n}.{ending}") },
    )
}

/// Text in which `%2F` and the like stand for bytes, as an address or a header holds it.
pub fn unescaped(text: &str) -> String {
    let bytes = text.as_bytes();
    let (mut plain, mut at) = (Vec::with_capacity(bytes.len()), 0);
    while at < bytes.len() {
        let digits = bytes.get(at + 1..at + 3).and_then(|two| std::str::from_utf8(two).ok());
        match (bytes[at], digits.and_then(|two| u8::from_str_radix(two, 16).ok())) {
            (b'%', Some(byte)) => {
                plain.push(byte);
                at += 3;
            }
            (byte, _) => {
                plain.push(byte);
                at += 1;
            }
        }
    }
    String::from_utf8_lossy(&plain).into_owned()
}
