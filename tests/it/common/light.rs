//! The light that a photo's bytes stand for, and how far two photos' light lies apart.

use sightcord::photo::srgb::light_table_8;
use sightcord::photo::{LinearImage, decode_photo};

pub fn luma(bytes: &[u8]) -> LinearImage {
    decode_photo(bytes).unwrap().luma
}

/// Largest difference in 8-bit codes (encoded again by searching the table).
pub fn largest_code_difference(a: &LinearImage, b: &LinearImage) -> i32 {
    assert_eq!((a.width(), a.height()), (b.width(), b.height()));
    let code = |light: f32| light_table_8().partition_point(|&entry| entry < light - 1e-6) as i32;
    a.data().iter().zip(b.data()).map(|(&a, &b)| (code(a) - code(b)).abs()).max().unwrap()
}
