//! The secret part of the page's address: without it a browser gets nothing.

use std::hint::black_box;
use std::io;

/// Letters of a token: five bits each, none that is taken for another when it is typed off a
/// screen.
const LETTERS: &[u8; 32] = b"abcdefghijkmnpqrstuvwxyz23456789";
/// 26 letters of five bits are 130 bits: at a million tries a second it is not found before the sun
/// goes out.
pub const LENGTH: usize = 26;

/// A new token from the system's source of chance.
pub fn new() -> io::Result<String> {
    let mut bytes = [0; LENGTH];
    getrandom::fill(&mut bytes).map_err(io::Error::other)?;
    Ok(bytes.iter().map(|byte| char::from(LETTERS[usize::from(byte % 32)])).collect())
}

/// Whether a text could be a token of this program's making.
pub fn is_well_formed(text: &str) -> bool {
    text.len() == LENGTH && text.bytes().all(|byte| LETTERS.contains(&byte))
}

/// Whether both are the same. The time it takes does not show where they differ, only how long
/// `secret` is, which is no secret.
pub fn is_same(offered: &[u8], secret: &[u8]) -> bool {
    let mut difference = u8::from(offered.len() != secret.len());
    for (idx, byte) in secret.iter().enumerate() {
        difference |= byte ^ offered.get(idx).copied().unwrap_or(0);
    }
    black_box(difference) == 0
}
