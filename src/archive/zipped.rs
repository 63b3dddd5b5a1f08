//! The ZIP file around the bag: written in one canonical form, read with suspicion.
//!
//! Canonical: entries sorted by name, no entries for folders, stored and not compressed (photos are
//! compressed already, and so the bytes do not depend on a compressor's version), the earliest time
//! that ZIP knows, one set of permissions.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::{self, BufReader, BufWriter, Read, Seek, Write};
use std::path::{Path, PathBuf};

use thiserror::Error;
use zip::result::ZipError;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, System, ZipArchive, ZipWriter};

use super::bag::DECLARATION;
use super::paths;
use crate::disk::{free_bytes, make_folders_in};

/// Writes the canonical form; the caller adds the entries in the order of their names.
pub struct SealedZip<W: Write + Seek>(ZipWriter<W>);

impl<W: Write + Seek> SealedZip<W> {
    pub fn new(out: W) -> Self {
        Self(ZipWriter::new(out))
    }

    /// Adds a file. Gives its length.
    pub fn add(&mut self, name: &str, content: &mut impl Read) -> io::Result<u64> {
        let options = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Stored)
            .last_modified_time(DateTime::default())
            .system(System::Unix)
            .unix_permissions(0o644);
        self.0.start_file(name, options)?;
        io::copy(content, &mut self.0)
    }

    pub fn finish(self) -> io::Result<W> {
        Ok(self.0.finish()?)
    }
}

/// Bytes that the canonical form takes besides the files' own: headers of 30 and 46 bytes and the
/// name twice for each, and room for the end.
pub fn overhead(names: impl Iterator<Item = usize>) -> u64 {
    names.map(|length| 2 * length as u64 + 76).sum::<u64>() + 512
}

/// Limits of what is unpacked. The largest job that the program measures stays far below them.
const MOST_ENTRIES: usize = 100_000;
const MOST_BYTES: u64 = 64 << 30;
/// By how much a ZIP may grow when unpacked: photos shrink by less than a fifth in a ZIP, drawn
/// ones as TIFF by some 20 times; bombs grow a thousand times (common practice, no source).
const MOST_GROWTH: u64 = 200;
/// So much is allowed whatever the growth.
const HARMLESS_BYTES: u64 = 16 << 20;

/// Why an archive was not unpacked.
#[derive(Debug, Error)]
pub enum UnpackError {
    #[error("{} can't be read: {why}. Check the name and its permissions", .at.display())]
    Io { at: PathBuf, why: io::Error },
    #[error(
        "{} can't be read as a ZIP file: {why}. It was cut off or altered, or is another kind of file; copy it from where it came \
         from again", .at.display()
    )]
    NotZip { at: PathBuf, why: String },
    #[error("{} was not unpacked: {why}. This program never writes such an archive; don't unpack it with another one either", .at.display())]
    Refused { at: PathBuf, why: String },
    #[error(
        "{} can't be unpacked: {needed} bytes are needed in {}, and {free} are free. Make room there, or name another folder with the \
         environment variable TMPDIR", .at.display(), .scratch.display()
    )]
    NoRoom { at: PathBuf, scratch: PathBuf, needed: u64, free: u64 },
    #[error("{} can't be written while unpacking: {why}. Make room there, or name another folder with the environment variable TMPDIR", .at.display())]
    Scratch { at: PathBuf, why: io::Error },
}

/// An archive unpacked.
pub struct Unpacked {
    /// The folder that holds the bag.
    pub bag: PathBuf,
    /// The bag's folder inside the ZIP, such as "sightcord-0123456789ab"; empty if the bag lies at
    /// the top.
    pub top: String,
    /// What was wrong with single entries.
    pub problems: Vec<String>,
}

/// Unpacks a ZIP file into an empty folder, after everything that its directory says was found
/// harmless.
pub fn unpack(at: &Path, into: &Path) -> Result<Unpacked, UnpackError> {
    let io = |why| UnpackError::Io { at: at.to_owned(), why };
    let not_zip = |why: ZipError| UnpackError::NotZip { at: at.to_owned(), why: why.to_string() };
    let file = File::open(at).map_err(io)?;
    let length = file.metadata().map_err(io)?.len();
    let mut archive = ZipArchive::new(BufReader::new(file)).map_err(not_zip)?;
    let entries = directory(&mut archive, length).map_err(|why| match why {
        DirectoryError::Zip(why) => not_zip(why),
        DirectoryError::Refused(why) => UnpackError::Refused { at: at.to_owned(), why },
    })?;
    let needed = entries.iter().map(|entry| entry.bytes).sum();
    if let Some(free) = free_bytes(into).filter(|&free| free < needed) {
        return Err(UnpackError::NoRoom {
            at: at.to_owned(),
            scratch: into.to_owned(),
            needed,
            free,
        });
    }
    let mut problems = Vec::new();
    for entry in &entries {
        let target = into.join(&entry.path);
        let scratch = |why| UnpackError::Scratch { at: target.clone(), why };
        if entry.is_folder {
            make_folders_in(into, Path::new(&entry.path)).map_err(scratch)?;
            continue;
        }
        let (around, _) = entry.path.rsplit_once('/').unwrap_or_default();
        make_folders_in(into, Path::new(around)).map_err(scratch)?;
        let out = File::create_new(&target).map_err(scratch)?;
        match archive.by_index(entry.idx) {
            Ok(content) => {
                // A byte more than stated shows a file that goes on behind its end.
                match copy(content.take(entry.bytes + 1), out) {
                    Ok(bytes) if bytes == entry.bytes => {}
                    Ok(_) => problems.push(format!(
                        "{} has not the length that the archive's directory states",
                        entry.path
                    )),
                    Err(CopyError::Read(why)) => problems
                        .push(format!("{} can't be read from the archive: {why}", entry.path)),
                    Err(CopyError::Write(why)) => return Err(scratch(why)),
                }
            }
            Err(why) => {
                problems.push(format!("{} can't be read from the archive: {why}", entry.path))
            }
        }
    }
    let names: BTreeSet<&str> =
        entries.iter().filter(|entry| !entry.is_folder).map(|entry| entry.path.as_str()).collect();
    let top = top_folder(&names);
    for outside in
        names.iter().filter(|path| !top.is_empty() && !path.starts_with(&format!("{top}/")))
    {
        problems.push(format!("{outside} is a stray file: it lies outside the folder {top}"));
    }
    Ok(Unpacked { bag: into.join(&top), top, problems })
}

/// The folder that holds the declaration of a bag: the ZIP's top, or a folder in it.
fn top_folder(names: &BTreeSet<&str>) -> String {
    if names.contains(DECLARATION) {
        return String::new();
    }
    let declared =
        names.iter().filter_map(|name| name.strip_suffix(DECLARATION)?.strip_suffix('/'));
    declared.filter(|folder| !folder.contains('/')).map(str::to_owned).next().unwrap_or_default()
}

enum CopyError {
    Read(io::Error),
    Write(io::Error),
}

fn copy(mut from: impl Read, to: File) -> Result<u64, CopyError> {
    let (mut to, mut buffer, mut total) = (BufWriter::new(to), vec![0; 1 << 16], 0);
    loop {
        let n = from.read(&mut buffer).map_err(CopyError::Read)?;
        if n == 0 {
            return to.flush().map(|()| total).map_err(CopyError::Write);
        }
        to.write_all(&buffer[..n]).map_err(CopyError::Write)?;
        total += n as u64;
    }
}

/// One entry of a ZIP's directory.
struct Entry {
    idx: usize,
    /// Without a slash at the end.
    path: String,
    is_folder: bool,
    bytes: u64,
}

enum DirectoryError {
    Zip(ZipError),
    Refused(String),
}

impl From<ZipError> for DirectoryError {
    fn from(why: ZipError) -> Self {
        Self::Zip(why)
    }
}

/// Reads the ZIP's directory, and refuses anything that could do harm when unpacked.
fn directory(
    archive: &mut ZipArchive<BufReader<File>>,
    length: u64,
) -> Result<Vec<Entry>, DirectoryError> {
    let refuse = |why: String| Err(DirectoryError::Refused(why));
    if archive.len() > MOST_ENTRIES {
        return refuse(format!("it holds {} files, more than any job", archive.len()));
    }
    if archive.has_duplicate_names() {
        return refuse("two of its files have one name".to_owned());
    }
    if archive.has_overlapping_entries()? {
        return refuse("its files overlap, as they do in archives made to fill a disk".to_owned());
    }
    let mut entries = Vec::with_capacity(archive.len());
    let mut total = 0_u64;
    for idx in 0..archive.len() {
        let entry = archive.by_index_raw(idx)?;
        let name = match std::str::from_utf8(entry.name_raw()) {
            Ok(name) => name.to_owned(),
            Err(_) => return refuse("one of its names is not UTF-8 text".to_owned()),
        };
        let path = name.strip_suffix('/').unwrap_or(&name).to_owned();
        if let Err(why) = paths::check(&path) {
            return refuse(format!("\"{path}\" is not a safe path: {why}"));
        }
        if entry.encrypted() {
            return refuse(format!("\"{path}\" is locked with a password"));
        }
        // The upper four bits of a mode tell the kind of file: 8 an ordinary one, 4 a folder, 0
        // nothing stated.
        let kind = entry.unix_mode().map_or(0, |mode| mode >> 12);
        if entry.is_symlink() || !matches!(kind, 0 | 4 | 8) {
            return refuse(format!("\"{path}\" is a link or a device"));
        }
        total = total.saturating_add(entry.size());
        entries.push(Entry { idx, is_folder: name.ends_with('/'), bytes: entry.size(), path });
    }
    if let Some((a, b)) = paths::collision(entries.iter().map(|entry| entry.path.as_str())) {
        return refuse(format!("\"{a}\" and \"{b}\" would be one file on many systems"));
    }
    if total > MOST_BYTES || (total > HARMLESS_BYTES && total / MOST_GROWTH > length) {
        return refuse(format!("its {length} bytes would become {total} when unpacked"));
    }
    Ok(entries)
}

/// Writes the archive again from what was unpacked, and returns where its bytes first differ from
/// those of the file; None if they are the same. What no checksum covers is found so: headers,
/// times, order, comments, bytes before, between or behind.
pub fn differs_from_canonical(
    at: &Path,
    top: &str,
    bag: &Path,
    files: &[String],
    scratch: &Path,
) -> Result<Option<u64>, UnpackError> {
    let io = |why| UnpackError::Io { at: at.to_owned(), why };
    let scratch = |why| UnpackError::Scratch { at: scratch.to_owned(), why };
    let mut names: Vec<(String, &String)> =
        files.iter().map(|file| (format!("{top}/{file}"), file)).collect();
    names.sort();
    let mut zip = SealedZip::new(BufWriter::new(tempfile::tempfile().map_err(scratch)?));
    for (name, file) in &names {
        zip.add(name, &mut File::open(bag.join(file)).map_err(scratch)?).map_err(scratch)?;
    }
    let mut again =
        zip.finish().map_err(scratch)?.into_inner().map_err(|why| scratch(why.into_error()))?;
    again.rewind().map_err(scratch)?;
    let mut found = File::open(at).map_err(io)?;
    let (mut ours, mut theirs) = (vec![0; 1 << 16], vec![0; 1 << 16]);
    let mut offset = 0_u64;
    loop {
        let n_theirs = read_full(&mut found, &mut theirs).map_err(io)?;
        let n_ours = read_full(&mut again, &mut ours).map_err(scratch)?;
        let same =
            ours[..n_ours].iter().zip(&theirs[..n_theirs]).take_while(|(a, b)| a == b).count();
        offset += same as u64;
        if same < n_ours || same < n_theirs {
            return Ok(Some(offset));
        }
        if n_ours == 0 {
            return Ok(None);
        }
    }
}

/// Fills the buffer as far as the file goes.
fn read_full(file: &mut File, buffer: &mut [u8]) -> io::Result<usize> {
    let mut filled = 0;
    while filled < buffer.len() {
        match file.read(&mut buffer[filled..]) {
            Ok(0) => break,
            Ok(n) => filled += n,
            Err(why) if why.kind() == io::ErrorKind::Interrupted => {}
            Err(why) => return Err(why),
        }
    }
    Ok(filled)
}
