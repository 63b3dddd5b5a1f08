//! Words that several findings use.

use std::collections::BTreeSet;

/// Numbers in a set, for sentences: "1, 2 and 5".
pub fn listed(numbers: &BTreeSet<u8>) -> String {
    crate::text::listed(&numbers.iter().map(u8::to_string).collect::<Vec<String>>())
}
