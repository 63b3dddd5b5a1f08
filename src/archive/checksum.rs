//! Checksums by the names that manifests give them.

use std::io::{self, Read};

use md5::Md5;
use sha1::Sha1;
use sha2::{Digest, Sha224, Sha256, Sha384, Sha512};

use crate::math::hex::hex;

/// A checksum that a bag may use. This program writes SHA-256 alone; the others are for reading
/// bags that others made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Algorithm {
    Md5,
    Sha1,
    Sha224,
    Sha256,
    Sha384,
    Sha512,
}

impl Algorithm {
    pub const ALL: [Self; 6] =
        [Self::Md5, Self::Sha1, Self::Sha224, Self::Sha256, Self::Sha384, Self::Sha512];

    /// As in the name of a manifest: `manifest-sha256.txt`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Md5 => "md5",
            Self::Sha1 => "sha1",
            Self::Sha224 => "sha224",
            Self::Sha256 => "sha256",
            Self::Sha384 => "sha384",
            Self::Sha512 => "sha512",
        }
    }

    /// The name is taken in any case and with or without a dash, as RFC 8493 has it (section 2.4).
    pub fn of_name(name: &str) -> Option<Self> {
        let plain: String = name
            .chars()
            .filter(char::is_ascii_alphanumeric)
            .collect::<String>()
            .to_ascii_lowercase();
        Self::ALL.into_iter().find(|algorithm| algorithm.name() == plain)
    }

    /// Hexadecimal digits of its checksum.
    pub fn n_digits(self) -> usize {
        match self {
            Self::Md5 => 32,
            Self::Sha1 => 40,
            Self::Sha224 => 56,
            Self::Sha256 => 64,
            Self::Sha384 => 96,
            Self::Sha512 => 128,
        }
    }

    fn begin(self) -> Box<dyn Running> {
        match self {
            Self::Md5 => Box::new(Md5::new()),
            Self::Sha1 => Box::new(Sha1::new()),
            Self::Sha224 => Box::new(Sha224::new()),
            Self::Sha256 => Box::new(Sha256::new()),
            Self::Sha384 => Box::new(Sha384::new()),
            Self::Sha512 => Box::new(Sha512::new()),
        }
    }
}

/// A checksum being made.
trait Running {
    fn take(&mut self, bytes: &[u8]);
    fn end(self: Box<Self>) -> String;
}

impl<D: Digest> Running for D {
    fn take(&mut self, bytes: &[u8]) {
        Digest::update(self, bytes);
    }

    fn end(self: Box<Self>) -> String {
        hex(&D::finalize(*self))
    }
}

/// The length of what a reader gives, and its checksums in the order asked for, in one pass.
pub fn checksums(
    mut reader: impl Read,
    algorithms: &[Algorithm],
) -> io::Result<(u64, Vec<String>)> {
    let mut running: Vec<Box<dyn Running>> =
        algorithms.iter().map(|algorithm| algorithm.begin()).collect();
    let (mut buffer, mut total) = (vec![0; 1 << 16], 0_u64);
    loop {
        let n = match reader.read(&mut buffer) {
            Ok(0) => return Ok((total, running.into_iter().map(Running::end).collect())),
            Ok(n) => n,
            Err(why) if why.kind() == io::ErrorKind::Interrupted => continue,
            Err(why) => return Err(why),
        };
        total += n as u64;
        running.iter_mut().for_each(|checksum| checksum.take(&buffer[..n]));
    }
}

/// SHA-256 of bytes in the memory, in lower-case hexadecimal digits.
pub fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}
