//! From the code values in a file to light.
//!
//! Phones encode with the sRGB transfer curve (IEC 61966-2-1); the wide-gamut files some of them
//! write use the same curve with other primaries. X-corners do not shift under a pointwise curve,
//! but one-sided edges such as those of a cord do: they have to be located in light, not in code
//! values.

use std::sync::LazyLock;

/// Weights of linear red, green and blue in luminance (IEC 61966-2-1, primaries of ITU-R BT.709).
const LUMINANCE_WEIGHTS: [f32; 3] = [0.2126, 0.7152, 0.0722];

static LIGHT_8: LazyLock<Vec<f32>> = LazyLock::new(|| table(256));
static LIGHT_16: LazyLock<Vec<f32>> = LazyLock::new(|| table(65_536));

/// Light, 0 to 1, of an encoded value, 0 to 1 (the EOTF of IEC 61966-2-1).
pub fn light_from_code(code: f64) -> f64 {
    if code <= 0.04045 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) }
}

/// Light of each 8-bit code.
pub fn light_table_8() -> &'static [f32] {
    &LIGHT_8
}

/// Light of each 16-bit code.
pub fn light_table_16() -> &'static [f32] {
    &LIGHT_16
}

/// Luminance of linear red, green and blue.
pub(super) fn luminance(red: f32, green: f32, blue: f32) -> f32 {
    LUMINANCE_WEIGHTS[0] * red + LUMINANCE_WEIGHTS[1] * green + LUMINANCE_WEIGHTS[2] * blue
}

fn table(n_codes: usize) -> Vec<f32> {
    (0..n_codes).map(|code| light_from_code(code as f64 / (n_codes - 1) as f64) as f32).collect()
}
