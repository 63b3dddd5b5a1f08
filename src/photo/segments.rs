//! The segments of a JPEG file, up to the end of its first picture (ITU-T T.81, annex B).
//!
//! Segments are stepped over by their length, so that a thumbnail's end marker inside EXIF does not
//! count, nor does a second picture that follows.

const END_OF_IMAGE: u8 = 0xD9;
/// The second byte of the marker that a scan begins with.
pub const START_OF_SCAN: u8 = 0xDA;

/// One segment. Markers that stand alone (temporary, restart, start of image) are stepped over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Segment<'a> {
    /// Its marker's second byte.
    pub code: u8,
    /// What follows its length.
    pub body: &'a [u8],
    /// The picture's coded data behind the head of a scan; empty for every other segment.
    pub coded: &'a [u8],
}

/// What comes next in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Next<'a> {
    Segment(Segment<'a>),
    /// The picture ends just before this byte of the file.
    End(usize),
    /// The file ends within the picture.
    CutOff,
    /// A segment says that it is shorter than its own length.
    WrongLength,
}

/// Reads a file's segments in their order.
pub struct Segments<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Segments<'a> {
    /// Begins behind the marker of the image's start, which is not looked at.
    pub fn of(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 2 }
    }

    /// The next segment. What lies between segments is no part of the picture, and decoders step
    /// over it as well.
    pub fn read_next(&mut self) -> Next<'a> {
        loop {
            let Some(at) = next_marker(self.bytes, self.at) else { return Next::CutOff };
            self.at = at;
            match self.bytes[at - 1] {
                END_OF_IMAGE => return Next::End(at),
                0x01 | 0xD0..=0xD8 => {}
                code => return self.segment(code),
            }
        }
    }

    fn segment(&mut self, code: u8) -> Next<'a> {
        let Some(&[high, low]) = self.bytes.get(self.at..self.at + 2) else { return Next::CutOff };
        let length = usize::from(u16::from_be_bytes([high, low]));
        if length < 2 {
            return Next::WrongLength;
        }
        let Some(body) = self.bytes.get(self.at + 2..self.at + length) else { return Next::CutOff };
        self.at += length;
        let begin = self.at;
        if code == START_OF_SCAN {
            match end_of_scan(self.bytes, begin) {
                Some(end) => self.at = end,
                None => return Next::CutOff,
            }
        }
        Next::Segment(Segment { code, body, coded: &self.bytes[begin..self.at] })
    }
}

/// Offset just behind the next marker's code at or after `at`.
fn next_marker(bytes: &[u8], at: usize) -> Option<usize> {
    let mut at = at;
    loop {
        at += bytes.get(at..)?.iter().position(|&byte| byte == 0xFF)? + 1;
        let code = *bytes.get(at)?;
        if code != 0x00 && code != 0xFF {
            return Some(at + 1);
        }
    }
}

/// Offset of the 0xFF of the marker that ends the coded data starting at `at`: neither a stuffed
/// zero nor a restart.
fn end_of_scan(bytes: &[u8], at: usize) -> Option<usize> {
    let mut at = at;
    loop {
        at += bytes.get(at..)?.iter().position(|&byte| byte == 0xFF)?;
        match *bytes.get(at + 1)? {
            0x00 | 0xD0..=0xD7 => at += 2,
            // Fill bytes: the next 0xFF may begin the marker.
            0xFF => at += 1,
            _ => return Some(at),
        }
    }
}
