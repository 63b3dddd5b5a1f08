//! The code tables are regenerated from their rule; the printed contract says what they must be.

use sightcord::cards::codes::{CARD_CODES, TAB_CODES};

/// The table in `codes.json` of the pattern's own specification.
#[test]
#[ignore = "needs ../shared"]
fn codes_equal_the_published_table_bit_for_bit() {
    let text = std::fs::read_to_string("../shared/design/codes.json")
        .expect("../shared/design/codes.json");
    let table: serde_json::Value = serde_json::from_str(&text).unwrap();
    let rows = |key: &str| -> Vec<String> {
        table[key].as_array().unwrap().iter().map(|row| row.as_str().unwrap().to_owned()).collect()
    };
    let cards: Vec<String> = CARD_CODES
        .iter()
        .map(|code| code.iter().map(|&bit| if bit { '1' } else { '0' }).collect())
        .collect();
    let tabs: Vec<String> = TAB_CODES
        .iter()
        .map(|word| (0..25).map(|i| if word >> i & 1 == 1 { '1' } else { '0' }).collect())
        .collect();
    assert_eq!(cards, rows("cards"));
    assert_eq!(tabs, rows("tabs"));
}
