//! Copies of photos that do not tell where they were taken: only JPEG files can be cleaned.
//!
//! Kept are the picture, its colour profile and the camera's facts in EXIF. Left out is everything else, since a place can stand
//! in it: the GPS block, the maker's own notes, XMP, IPTC, comments, and whatever lies behind the picture's end (second
//! pictures, film clips). The picture's own bytes are copied as they are, so that nothing measured changes.
//!
//! Segments as in ITU-T T.81, annex B; EXIF tags as in CIPA DC-008.

use thiserror::Error;

use crate::photo::ExifFacts;

/// Why a photo can't be cleaned.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum CleanError {
    #[error("only JPEG files can be cleaned, and it is none")]
    NotJpeg,
    #[error("its JPEG data are damaged or cut off")]
    Damaged,
    #[error("its EXIF data can't be followed")]
    Exif,
    #[error("cleaning would have changed what it tells about the lens")]
    FactsChanged,
}

/// The photo without what could tell a place.
pub fn cleaned(bytes: &[u8]) -> Result<Vec<u8>, CleanError> {
    let clean = clean_jpeg(bytes)?;
    let (before, after) = (ExifFacts::read(bytes), ExifFacts::read(&clean));
    let expected = ExifFacts { has_gps: false, damaged: after.damaged, ..before };
    if after == expected { Ok(clean) } else { Err(CleanError::FactsChanged) }
}

const SOI: u8 = 0xD8;
const EOI: u8 = 0xD9;
const SOS: u8 = 0xDA;
const COMMENT: u8 = 0xFE;
const EXIF_HEAD: &[u8] = b"Exif\0\0";

fn clean_jpeg(bytes: &[u8]) -> Result<Vec<u8>, CleanError> {
    if !bytes.starts_with(&[0xFF, SOI, 0xFF]) {
        return Err(CleanError::NotJpeg);
    }
    let mut out = Vec::with_capacity(bytes.len());
    out.extend([0xFF, SOI]);
    let mut at = 2;
    loop {
        // A marker is 0xFF, any number of times, and its code.
        if bytes.get(at) != Some(&0xFF) {
            return Err(CleanError::Damaged);
        }
        while bytes.get(at + 1) == Some(&0xFF) {
            at += 1;
        }
        let code = *bytes.get(at + 1).ok_or(CleanError::Damaged)?;
        if code == EOI {
            out.extend([0xFF, EOI]);
            return Ok(out);
        }
        let length = bytes.get(at + 2..at + 4).map(|two| usize::from(two[0]) << 8 | usize::from(two[1]));
        let length = length.filter(|&length| length >= 2).ok_or(CleanError::Damaged)?;
        let end = at + 2 + length;
        let body = bytes.get(at + 4..end).ok_or(CleanError::Damaged)?;
        match code {
            0xE1 if body.starts_with(EXIF_HEAD) => {
                let mut tiff = body[EXIF_HEAD.len()..].to_vec();
                clean_exif(&mut tiff).ok_or(CleanError::Exif)?;
                out.extend(&bytes[at..at + 4]);
                out.extend(EXIF_HEAD);
                out.extend(tiff);
            }
            // The file's own head, colour profiles, and how colours were coded.
            0xE0 | 0xEE => out.extend(&bytes[at..end]),
            0xE2 if body.starts_with(b"ICC_PROFILE\0") => out.extend(&bytes[at..end]),
            0xE1..=0xEF | COMMENT => {}
            _ => out.extend(&bytes[at..end]),
        }
        at = end;
        if code == SOS {
            let next = scan_end(bytes, at).ok_or(CleanError::Damaged)?;
            out.extend(&bytes[at..next]);
            at = next;
        }
    }
}

/// Where the coded data of a scan end: at the next marker that is neither a stuffed byte, a restart nor filling.
fn scan_end(bytes: &[u8], from: usize) -> Option<usize> {
    let mut at = from;
    loop {
        at += bytes.get(at..)?.iter().position(|&byte| byte == 0xFF)?;
        match bytes.get(at + 1)? {
            0x00 | 0xD0..=0xD7 => at += 2,
            0xFF => at += 1,
            _ => return Some(at),
        }
    }
}

const TAG_EXIF_BLOCK: u16 = 0x8769;
const TAG_GPS_BLOCK: u16 = 0x8825;
const TAG_MAKER_NOTE: u16 = 0x927C;
const TAG_XMP: u16 = 0x02BC;
const TAG_IPTC: u16 = 0x83BB;
const TAG_PHOTOSHOP: u16 = 0x8649;
/// More blocks in one chain are no camera's work, but a loop.
const MOST_BLOCKS: usize = 8;

/// Takes out of the TIFF structure what could tell a place, without moving anything else: entries close up in their block, and
/// what they pointed to becomes zeros. None where the structure can't be followed.
fn clean_exif(tiff: &mut [u8]) -> Option<()> {
    let big_end = match tiff.get(..4)? {
        b"MM\0*" => true,
        b"II*\0" => false,
        _ => return None,
    };
    let mut exif = Tiff { bytes: tiff, big_end };
    let mut block = exif.long(4)? as usize;
    for _ in 0..MOST_BLOCKS {
        if block == 0 {
            return Some(());
        }
        if let Some(gps) = exif.find(block, TAG_GPS_BLOCK)? {
            let gps_block = exif.long(gps + 8)? as usize;
            exif.wipe_block(gps_block);
        }
        if let Some(own) = exif.find(block, TAG_EXIF_BLOCK)? {
            let own_block = exif.long(own + 8)? as usize;
            exif.take_out(own_block, TAG_MAKER_NOTE)?;
        }
        for tag in [TAG_GPS_BLOCK, TAG_XMP, TAG_IPTC, TAG_PHOTOSHOP] {
            exif.take_out(block, tag)?;
        }
        let n_entries = usize::from(exif.short(block)?);
        // Some writers leave no pointer, or a bad one, behind the last block; nobody reads on from there.
        let next = exif.long(block + 2 + 12 * n_entries).unwrap_or(0) as usize;
        block = if exif.short(next).is_some() { next } else { 0 };
    }
    None
}

/// A TIFF structure: blocks of entries of 12 bytes (tag, kind, count, value or where it stands).
struct Tiff<'bytes> {
    bytes: &'bytes mut [u8],
    big_end: bool,
}

impl Tiff<'_> {
    fn short(&self, at: usize) -> Option<u16> {
        let two: [u8; 2] = self.bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self.big_end { u16::from_be_bytes(two) } else { u16::from_le_bytes(two) })
    }

    fn long(&self, at: usize) -> Option<u32> {
        let four: [u8; 4] = self.bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if self.big_end { u32::from_be_bytes(four) } else { u32::from_le_bytes(four) })
    }

    /// Where a block's entry for this tag stands; Some(None) without one.
    fn find(&self, block: usize, tag: u16) -> Option<Option<usize>> {
        for idx in 0..usize::from(self.short(block)?) {
            let at = block + 2 + 12 * idx;
            if self.short(at)? == tag {
                return Some(Some(at));
            }
        }
        Some(None)
    }

    /// Removes every entry of this tag from a block, and zeroes what it pointed to.
    fn take_out(&mut self, block: usize, tag: u16) -> Option<()> {
        while let Some(at) = self.find(block, tag)? {
            self.wipe_value(at);
            let n_entries = self.short(block)?;
            // The pointer to the next block, four bytes, closes up with the entries.
            let end = (block + 2 + 12 * usize::from(n_entries) + 4).min(self.bytes.len());
            // What was zeroed may have been this very block, in a structure that crosses itself.
            let fewer = n_entries.checked_sub(1)?;
            if at + 12 > end {
                return None;
            }
            self.bytes.copy_within(at + 12..end, at);
            self.bytes[end - 12..end].fill(0);
            let two = if self.big_end { fewer.to_be_bytes() } else { fewer.to_le_bytes() };
            self.bytes[block..block + 2].copy_from_slice(&two);
        }
        Some(())
    }

    /// Zeroes the entries of a block and all they point to, as far as it lies in the structure.
    fn wipe_block(&mut self, block: usize) {
        let n_entries = usize::from(self.short(block).unwrap_or(0));
        for idx in 0..n_entries {
            self.wipe_value(block + 2 + 12 * idx);
        }
        self.wipe(block, 2 + 12 * n_entries + 4);
    }

    /// Zeroes what an entry points to, if it does not stand in the entry itself.
    fn wipe_value(&mut self, entry: usize) {
        let unit = match self.short(entry + 2) {
            Some(3 | 8) => 2,
            Some(4 | 9 | 11 | 13) => 4,
            Some(5 | 10 | 12) => 8,
            _ => 1,
        };
        if let (Some(count), Some(value)) = (self.long(entry + 4), self.long(entry + 8)) {
            let length = (count as usize).saturating_mul(unit);
            if length > 4 {
                self.wipe(value as usize, length);
            }
        }
    }

    fn wipe(&mut self, from: usize, length: usize) {
        let end = from.saturating_add(length).min(self.bytes.len());
        if let Some(part) = self.bytes.get_mut(from..end) {
            part.fill(0);
        }
    }
}
