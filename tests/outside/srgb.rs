//! The transfer curve of IEC 61966-2-1: constants and 0.18 -> 0.4613561295 seen in the documentation of a colour library, the table
//! computed from them with another tool.

use approx::assert_abs_diff_eq;
use sightcord::photo::srgb::{light_from_code, light_table_8, light_table_16};

#[test]
fn eight_bit_codes_give_the_standards_light() {
    let table = [
        (0, 0.0),
        (1, 0.00030352698),
        (10, 0.00303526984),
        (11, 0.00334653576),
        (64, 0.05126945837),
        (127, 0.21223075742),
        (128, 0.21586050011),
        (188, 0.50288645803),
        (254, 0.99110209711),
        (255, 1.0),
    ];
    for (code, light) in table {
        assert_abs_diff_eq!(light_from_code(code as f64 / 255.0), light, epsilon = 1e-11);
        assert_abs_diff_eq!(f64::from(light_table_8()[code]), light, epsilon = 1e-7);
        assert_abs_diff_eq!(f64::from(light_table_16()[code * 257]), light, epsilon = 1e-7);
    }
    assert_abs_diff_eq!(light_from_code(0.4613561295), 0.18, epsilon = 1e-10);
    assert_abs_diff_eq!(light_from_code(0.7353569830524495), 0.5, epsilon = 1e-15);
}
