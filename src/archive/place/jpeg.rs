//! JPEG rewritten: segments as in ITU-T T.81, annex B.

use crate::photo::segments::{Next, START_OF_SCAN, Segment, Segments};

const SOI: u8 = 0xD8;
const EOI: u8 = 0xD9;
const EXIF_HEAD: &[u8] = b"Exif\0\0";
/// Version, unit and density of a JFIF head; behind them its preview begins.
const JFIF_BYTES: usize = 12;
/// An Adobe segment, which says how colours were coded.
const ADOBE_BYTES: usize = 12;

/// The file's picture, with this EXIF; None where it can't be followed to its end.
pub(super) fn rewritten(bytes: &[u8], exif: Option<&[u8]>) -> Option<Vec<u8>> {
    let mut out = Vec::with_capacity(bytes.len());
    out.extend([0xFF, SOI]);
    if let Some(exif) = exif {
        write(&mut out, 0xE1, &[EXIF_HEAD, exif].concat())?;
    }
    let mut segments = Segments::of(bytes);
    loop {
        let Segment { code, body, coded } = match segments.read_next() {
            Next::Segment(segment) => segment,
            Next::End(_) => {
                out.extend([0xFF, EOI]);
                return Some(out);
            }
            Next::CutOff | Next::WrongLength => return None,
        };
        if let Some(needed) = needed(code, body)? {
            write(&mut out, code, &needed)?;
        }
        out.extend(coded);
    }
}

fn write(out: &mut Vec<u8>, code: u8, body: &[u8]) -> Option<()> {
    let length = u16::try_from(body.len() + 2).ok()?;
    out.extend([0xFF, code]);
    out.extend(length.to_be_bytes());
    out.extend(body);
    Some(())
}

/// What of a segment the picture is decoded from: nothing of most. None where a segment that is
/// needed holds more or less than it should: what is left over could be anything.
fn needed(code: u8, body: &[u8]) -> Option<Option<Vec<u8>>> {
    let whole = |is_whole: bool| is_whole.then(|| Some(body.to_vec()));
    match code {
        0xE0 if body.starts_with(b"JFIF\0") => {
            // Without its preview, whose width and height stand behind the density.
            let mut head = body.get(..JFIF_BYTES)?.to_vec();
            head.extend([0, 0]);
            Some(Some(head))
        }
        0xEE if body.starts_with(b"Adobe") => Some(Some(body.get(..ADOBE_BYTES)?.to_vec())),
        0xDB => whole(are_tables(body, |head| if head >> 4 == 0 { 64 } else { 128 })),
        0xC4 => whole(are_code_tables(body)),
        0xCC => whole(body.len().is_multiple_of(2)),
        // Restart interval, and the number of lines where the frame doesn't say it.
        0xDD | 0xDC => whole(body.len() == 2),
        0xC0..=0xCF if code != 0xC8 => whole(body.len() == 6 + 3 * usize::from(*body.get(5)?)),
        START_OF_SCAN => whole(body.len() == 4 + 2 * usize::from(*body.first()?)),
        _ => Some(None),
    }
}

/// Whether a segment is a row of tables, each a byte and as many more as that byte says, and ends
/// with the last.
fn are_tables(mut rest: &[u8], length: impl Fn(u8) -> usize) -> bool {
    while let Some((&head, behind)) = rest.split_first() {
        let Some(next) = behind.get(length(head)..) else { return false };
        rest = next;
    }
    true
}

/// Tables of Huffman codes: how many codes there are of each of 16 lengths, and then as many
/// values.
fn are_code_tables(mut rest: &[u8]) -> bool {
    while !rest.is_empty() {
        let Some(counts) = rest.get(1..17) else { return false };
        let n_values: usize = counts.iter().copied().map(usize::from).sum();
        let Some(next) = rest.get(17 + n_values..) else { return false };
        rest = next;
    }
    true
}
