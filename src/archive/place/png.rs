//! PNG rewritten: chunks as in the PNG specification (W3C, third edition).

use miniz_oxide::inflate::stream::{InflateState, inflate};
use miniz_oxide::{DataFormat, MZFlush, MZStatus};

const SIGNATURE: &[u8] = b"\x89PNG\r\n\x1A\n";
/// The picture's data are written in chunks of this many bytes.
const CHUNK_BYTES: usize = 1 << 20;
/// Chunks that say what the codes mean as light, each with its largest size: all of them are a few
/// numbers.
const COLOURS: [(&[u8; 4], usize); 6] =
    [(b"cICP", 4), (b"cHRM", 32), (b"gAMA", 4), (b"sRGB", 1), (b"sBIT", 4), (b"tRNS", 256)];

/// The file's picture, with this EXIF; None where it can't be followed to its end.
pub(super) fn rewritten(bytes: &[u8], exif: Option<&[u8]>) -> Option<Vec<u8>> {
    let mut rest = bytes.strip_prefix(SIGNATURE)?;
    let mut header = None;
    let mut palette: Option<&[u8]> = None;
    let mut colours: [Option<&[u8]>; COLOURS.len()] = [None; COLOURS.len()];
    let mut data = Vec::new();
    loop {
        let length = u32::from_be_bytes(rest.get(..4)?.try_into().ok()?) as usize;
        let kind: &[u8; 4] = rest.get(4..8)?.try_into().ok()?;
        let content = rest.get(8..8_usize.checked_add(length)?)?;
        // A checksum of four bytes follows the content.
        rest = rest.get(length.checked_add(12)?..).unwrap_or_default();
        match kind {
            b"IHDR" if header.is_none() => header = Some(Header::read(content)?),
            b"PLTE" if palette.is_none() && content.len() <= 768 => palette = Some(content),
            b"IDAT" => data.extend_from_slice(content),
            b"IEND" => break,
            _ => {
                if let Some(idx) = COLOURS
                    .iter()
                    .position(|(known, most)| *known == kind && content.len() <= *most)
                {
                    colours[idx].get_or_insert(content);
                }
            }
        }
    }
    let header = header?;
    let packed = packed_length(&data, header.unpacked_bytes()?)?;

    let mut out = Vec::with_capacity(bytes.len());
    out.extend(SIGNATURE);
    write(&mut out, b"IHDR", header.content)?;
    for ((kind, _), content) in COLOURS.iter().zip(colours) {
        if let Some(content) = content.filter(|_| *kind != b"tRNS") {
            write(&mut out, kind, content)?;
        }
    }
    // Pictures that are not made of a palette's colours can have one as well, which says nothing of
    // them.
    if let Some(palette) = palette.filter(|_| header.colour == Header::PALETTE) {
        write(&mut out, b"PLTE", palette)?;
    }
    if let Some(transparency) = colours[COLOURS.len() - 1] {
        write(&mut out, b"tRNS", transparency)?;
    }
    if let Some(exif) = exif {
        write(&mut out, b"eXIf", exif)?;
    }
    for part in data[..packed].chunks(CHUNK_BYTES) {
        write(&mut out, b"IDAT", part)?;
    }
    write(&mut out, b"IEND", &[])?;
    Some(out)
}

struct Header<'bytes> {
    content: &'bytes [u8],
    width: u64,
    height: u64,
    bits: u64,
    colour: u8,
    interlaced: bool,
}

impl<'bytes> Header<'bytes> {
    const PALETTE: u8 = 3;

    fn read(content: &'bytes [u8]) -> Option<Self> {
        let [w0, w1, w2, w3, h0, h1, h2, h3, bits, colour, _, _, interlaced] = *content else {
            return None;
        };
        let (width, height) =
            (u32::from_be_bytes([w0, w1, w2, w3]), u32::from_be_bytes([h0, h1, h2, h3]));
        Some(Self {
            content,
            width: width.into(),
            height: height.into(),
            bits: bits.into(),
            colour,
            interlaced: interlaced == 1,
        })
    }

    /// What the data unpack to: each row is a byte and its samples, and an interlaced picture has
    /// seven passes (8.1).
    fn unpacked_bytes(&self) -> Option<u64> {
        let samples = match self.colour {
            0 | Self::PALETTE => 1,
            2 => 3,
            4 => 2,
            6 => 4,
            _ => return None,
        };
        let of_pass = |width: u64, height: u64| {
            if width == 0 || height == 0 {
                0
            } else {
                height * (1 + (width * samples * self.bits).div_ceil(8))
            }
        };
        if !self.interlaced {
            return Some(of_pass(self.width, self.height));
        }
        let passes = [
            (0, 0, 8, 8),
            (4, 0, 8, 8),
            (0, 4, 4, 8),
            (2, 0, 4, 4),
            (0, 2, 2, 4),
            (1, 0, 2, 2),
            (0, 1, 1, 2),
        ];
        let part = |size: u64, first: u64, step: u64| size.saturating_sub(first).div_ceil(step);
        Some(
            passes
                .iter()
                .map(|&(x, y, dx, dy)| of_pass(part(self.width, x, dx), part(self.height, y, dy)))
                .sum(),
        )
    }
}

/// How long the packed data are, without what lies behind their end. None where they are damaged or
/// unpack to another length: what is too much is no part of the picture.
fn packed_length(data: &[u8], unpacked: u64) -> Option<usize> {
    let mut state = InflateState::new_boxed(DataFormat::Zlib);
    let mut out = vec![0; 1 << 16];
    let (mut at, mut written) = (0, 0_u64);
    loop {
        let step = inflate(&mut state, &data[at..], &mut out, MZFlush::None);
        at += step.bytes_consumed;
        written += step.bytes_written as u64;
        match step.status {
            Ok(MZStatus::StreamEnd) => return (written == unpacked).then_some(at),
            Ok(_) if written <= unpacked && step.bytes_consumed + step.bytes_written > 0 => {}
            _ => return None,
        }
    }
}

fn write(out: &mut Vec<u8>, kind: &[u8; 4], content: &[u8]) -> Option<()> {
    out.extend(u32::try_from(content.len()).ok()?.to_be_bytes());
    out.extend(kind);
    out.extend(content);
    let crc = kind
        .iter()
        .chain(content)
        .fold(u32::MAX, |crc, byte| (crc >> 8) ^ CRC[usize::from(crc as u8 ^ byte)]);
    out.extend((!crc).to_be_bytes());
    Some(())
}

/// CRC-32 of each byte (annex D).
const CRC: [u32; 256] = {
    let mut table = [0; 256];
    let mut idx = 0;
    while idx < 256 {
        let mut crc = idx as u32;
        let mut bit = 0;
        while bit < 8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0xEDB8_8320 } else { crc >> 1 };
            bit += 1;
        }
        table[idx] = crc;
        idx += 1;
    }
    table
};
