//! What standards and handbooks say about chains and sprockets.
//!
//! Sizes are those of published tables, seen: ISO 606 sizes as the unit tests and tables of a
//! public computer-aided design project give them, motorcycle sizes from a parts dealer's chain
//! table. The inner widths of 10B and 530 differ although both are called 5/8 x 3/8 inch. Nothing
//! here changes a figure.

use std::f64::consts::PI;

/// A chain by its trade name, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChainSize {
    pub name: &'static str,
    pub pitch: f64,
    /// Greatest roller diameter.
    pub roller: f64,
    /// Width between the inner plates.
    pub inner_width: f64,
}

const fn size(name: &'static str, pitch: f64, roller: f64, inner_width: f64) -> ChainSize {
    ChainSize { name, pitch, roller, inner_width }
}

/// Chains that old motorcycles run on.
pub const CHAIN_SIZES: [ChainSize; 12] = [
    size("06B", 9.525, 6.35, 5.72),
    size("08B", 12.70, 8.51, 7.75),
    size("10B", 15.875, 10.16, 9.65),
    size("12B", 19.05, 12.07, 11.68),
    size("415", 12.70, 7.75, 4.88),
    size("420", 12.70, 7.75, 6.35),
    size("428", 12.70, 8.51, 7.75),
    size("520", 15.88, 10.16, 6.35),
    size("525", 15.88, 10.16, 7.85),
    size("530", 15.88, 10.16, 9.53),
    size("532", 15.88, 11.10, 9.53),
    size("630", 19.05, 11.91, 9.53),
];

impl ChainSize {
    /// Width of a single-strand sprocket's tooth, mm: 0.93 of the chain's inner width up to 12.7 mm
    /// pitch, 0.95 above (ISO 606 as a gear maker's reference prints it; the standard itself
    /// was not seen).
    pub fn tooth_width(&self) -> f64 {
        let share = if self.pitch <= 12.7 { 0.93 } else { 0.95 };
        share * self.inner_width
    }
}

/// The chains of a pitch, to within the rounding that tables print it with.
pub fn sizes_of_pitch(pitch_mm: f64) -> impl Iterator<Item = &'static ChainSize> {
    CHAIN_SIZES.iter().filter(move |size| (size.pitch - pitch_mm).abs() < 0.05)
}

/// Diameter of the circle through a sprocket's roller centres, mm: pitch / sin(180 degrees /
/// teeth). None below three teeth.
pub fn pitch_diameter(pitch_mm: f64, teeth: u16) -> Option<f64> {
    (teeth >= 3 && pitch_mm > 0.0).then(|| pitch_mm / (PI / f64::from(teeth)).sin())
}

/// By how much the sprocket faces of a drive may stand out of line, mm, at this distance between
/// centres.
///
/// Tsubaki, The Complete Guide to Chain, 7.1.2.2: 1 mm up to 1 m between centres, a thousandth of
/// the distance up to 10 m, 10 mm above.
pub fn offset_limit(centres_mm: f64) -> f64 {
    (centres_mm / 1000.0).clamp(1.0, 10.0)
}

/// The stricter and the looser limit of another maker for the same, mm: 0.1 mm per 100 mm of
/// distance above 0.5 m/s of chain speed, 0.2 mm below (Wippermann, Guidelines for the Alignment of
/// Chain Drives, from 1/2 inch pitch).
pub fn other_offset_limits(centres_mm: f64) -> (f64, f64) {
    (centres_mm / 1000.0, centres_mm / 500.0)
}

/// By how much the shafts may be out of parallel, degrees: 1 in 300 (Tsubaki, The Complete Guide to
/// Chain, 7.1.2.2).
pub fn parallel_limit_deg() -> f64 {
    (1.0f64 / 300.0).to_degrees()
}
