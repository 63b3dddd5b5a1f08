//! The text files of a bag: declaration, manifests, facts about the bag, list of files to fetch
//! (RFC 8493, section 2).
//!
//! Bags of the drafts from 0.93 on are read too; where they allow what 1.0 forbids, it becomes a
//! warning.

use super::checksum::Algorithm;

/// How the text files of a bag are encoded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encoding {
    Utf8,
    Utf16,
    Utf16Le,
    Utf16Be,
    Latin1,
}

impl Encoding {
    fn of_name(name: &str) -> Option<Self> {
        match name.to_ascii_uppercase().as_str() {
            "UTF-8" | "UTF8" | "US-ASCII" | "ASCII" => Some(Self::Utf8),
            "UTF-16" => Some(Self::Utf16),
            "UTF-16LE" => Some(Self::Utf16Le),
            "UTF-16BE" => Some(Self::Utf16Be),
            "ISO-8859-1" | "LATIN1" => Some(Self::Latin1),
            _ => None,
        }
    }

    /// The text, or None where the bytes are no text of this encoding.
    pub fn decode(self, bytes: &[u8]) -> Option<String> {
        match self {
            Self::Utf8 => String::from_utf8(bytes.to_vec()).ok(),
            Self::Latin1 => Some(bytes.iter().map(|&byte| char::from(byte)).collect()),
            Self::Utf16Le => utf16(bytes, u16::from_le_bytes),
            Self::Utf16Be => utf16(bytes, u16::from_be_bytes),
            Self::Utf16 => match bytes {
                [0xFF, 0xFE, rest @ ..] => utf16(rest, u16::from_le_bytes),
                [0xFE, 0xFF, rest @ ..] => utf16(rest, u16::from_be_bytes),
                // Without a mark the standard says big end first.
                _ => utf16(bytes, u16::from_be_bytes),
            },
        }
    }
}

fn utf16(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> Option<String> {
    let pairs = bytes.chunks_exact(2);
    if !pairs.remainder().is_empty() {
        return None;
    }
    String::from_utf16(&pairs.map(|pair| unit([pair[0], pair[1]])).collect::<Vec<u16>>()).ok()
}

/// What `bagit.txt` says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Declaration {
    /// Such as (1, 0).
    pub version: (u32, u32),
    pub encoding: Encoding,
}

/// Versions that are read.
const VERSIONS: [(u32, u32); 6] = [(0, 93), (0, 94), (0, 95), (0, 96), (0, 97), (1, 0)];

/// Reads `bagit.txt`: exactly two lines, in UTF-8 without a byte order mark. The error says what is
/// wrong with it.
pub fn declaration(bytes: &[u8]) -> Result<Declaration, String> {
    if bytes.starts_with(b"\xEF\xBB\xBF") {
        return Err("it begins with a byte order mark".to_owned());
    }
    let text = std::str::from_utf8(bytes).map_err(|_| "it is not UTF-8 text".to_owned())?;
    let lines: Vec<&str> = lines(text).map(str::trim_end).filter(|line| !line.is_empty()).collect();
    let value = |idx: usize, label: &str| {
        let line = lines.get(idx).ok_or_else(|| format!("the line \"{label}\" is missing"))?;
        let value = line.strip_prefix(label).and_then(|rest| rest.strip_prefix(':'));
        value
            .map(str::trim)
            .ok_or_else(|| format!("line {} is \"{line}\", not \"{label}: ...\"", idx + 1))
    };
    let number = value(0, "BagIt-Version")?;
    let encoding = value(1, "Tag-File-Character-Encoding")?;
    if let Some(line) = lines.get(2) {
        return Err(format!("it has a third line (\"{line}\")"));
    }
    let digits = |part: &str| {
        part.bytes().all(|byte| byte.is_ascii_digit()).then(|| part.parse::<u32>().ok()).flatten()
    };
    let version =
        number.split_once('.').and_then(|(major, minor)| Some((digits(major)?, digits(minor)?)));
    let version = version
        .ok_or_else(|| format!("its version \"{number}\" is no version number such as 1.0"))?;
    if !VERSIONS.contains(&version) {
        return Err(format!("its version {number} is not known here (0.93 to 1.0 are)"));
    }
    let encoding = Encoding::of_name(encoding)
        .ok_or_else(|| format!("its text encoding \"{encoding}\" can't be read (UTF-8 can)"))?;
    Ok(Declaration { version, encoding })
}

/// One line of a manifest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ManifestEntry {
    /// Decoded, without a leading "./".
    pub path: String,
    /// Lower-case hexadecimal digits.
    pub checksum: String,
}

/// A manifest, with the remarks on its form.
#[derive(Clone, Debug, Default)]
pub struct Manifest {
    pub entries: Vec<ManifestEntry>,
    pub problems: Vec<String>,
    pub warnings: Vec<String>,
}

/// Reads a manifest's lines.
pub fn manifest(text: &str, algorithm: Algorithm, version: (u32, u32)) -> Manifest {
    let mut manifest = Manifest::default();
    for (idx, line) in lines(text).enumerate().filter(|(_, line)| !line.trim().is_empty()) {
        let place = idx + 1;
        let Some((checksum, rest)) = line.split_once([' ', '\t']) else {
            manifest.problems.push(format!("line {place} is no checksum with a path behind it"));
            continue;
        };
        if checksum.len() != algorithm.n_digits()
            || !checksum.bytes().all(|byte| byte.is_ascii_hexdigit())
        {
            manifest
                .problems
                .push(format!("line {place} does not begin with a {} checksum", algorithm.name()));
            continue;
        }
        let mut path = rest.trim_start_matches([' ', '\t']);
        if let Some(plain) = path.strip_prefix('*') {
            manifest.warnings.push(format!(
                "line {place} has a \"*\" before the path, as checksum tools write it"
            ));
            path = plain;
        }
        let mut path = decoded(path, version);
        if let Some(plain) = path.strip_prefix("./") {
            manifest.warnings.push(format!("line {place} has a needless \"./\" before the path"));
            path = plain.to_owned();
        }
        manifest.entries.push(ManifestEntry { path, checksum: checksum.to_ascii_lowercase() });
    }
    manifest
}

/// Line breaks in names are written as %0A and %0D; from 1.0 on a percent sign is %25 as well (RFC
/// 8493, section 2.1.3).
fn decoded(path: &str, version: (u32, u32)) -> String {
    let text =
        path.replace("%0A", "\n").replace("%0a", "\n").replace("%0D", "\r").replace("%0d", "\r");
    if version >= (1, 0) { text.replace("%25", "%") } else { text }
}

/// The path as a manifest of 1.0 writes it.
pub fn encoded(path: &str) -> String {
    path.replace('%', "%25").replace('\r', "%0D").replace('\n', "%0A")
}

/// Reads the facts about a bag: labels with values, in their order; a line that begins with a blank
/// goes on with the value before it. The second list says which lines are neither.
pub fn info(text: &str) -> (Vec<(String, String)>, Vec<String>) {
    let (mut facts, mut problems): (Vec<(String, String)>, Vec<String>) = (Vec::new(), Vec::new());
    for (idx, line) in lines(text).enumerate().filter(|(_, line)| !line.trim().is_empty()) {
        if line.starts_with([' ', '\t'])
            && let Some((_, value)) = facts.last_mut()
        {
            value.push(' ');
            value.push_str(line.trim());
        } else if let Some((label, value)) = line.split_once(':') {
            facts.push((label.trim().to_owned(), value.trim().to_owned()));
        } else {
            problems.push(format!("line {} is no label with a value", idx + 1));
        }
    }
    (facts, problems)
}

/// Paths of the files that are to be fetched from another place; the third part of each line is the
/// path.
pub fn fetch(text: &str, version: (u32, u32)) -> Result<Vec<String>, String> {
    let lines = lines(text).map(str::trim).enumerate().filter(|(_, line)| !line.is_empty());
    lines
        .map(|(idx, line)| {
            let path =
                line.splitn(3, [' ', '\t']).nth(2).map(|path| path.trim_start_matches([' ', '\t']));
            path.map(|path| decoded(path, version))
                .ok_or_else(|| format!("line {} is no address, length and path", idx + 1))
        })
        .collect()
}

/// Lines may end with LF, CR or both.
fn lines(text: &str) -> impl Iterator<Item = &str> {
    text.split('\n').flat_map(|line| line.strip_suffix('\r').unwrap_or(line).split('\r'))
}
