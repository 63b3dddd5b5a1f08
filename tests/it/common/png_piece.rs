//! PNG files by hand.

/// One piece of a PNG file: length, kind, content, checksum (CRC-32 as the PNG specification has
/// it).
pub fn piece(kind: &[u8; 4], content: &[u8]) -> Vec<u8> {
    let mut crc = u32::MAX;
    for &byte in kind.iter().chain(content) {
        crc ^= u32::from(byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0xEDB8_8320 } else { crc >> 1 };
        }
    }
    [&(content.len() as u32).to_be_bytes(), kind.as_slice(), content, &(!crc).to_be_bytes()]
        .concat()
}
