//! Packing of a PDF's parts.

/// Packed as PDF's FlateDecode expects it.
pub fn deflate(bytes: &[u8]) -> Vec<u8> {
    // Level 9: the files are small and written once.
    miniz_oxide::deflate::compress_to_vec_zlib(bytes, 9)
}
