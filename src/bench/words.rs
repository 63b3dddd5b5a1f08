//! Words that several findings use.

use std::collections::BTreeSet;

/// Numbers in a set, for sentences: "1, 2 and 5".
pub fn listed(numbers: &BTreeSet<u8>) -> String {
    let words: Vec<String> = numbers.iter().map(u8::to_string).collect();
    match &words[..] {
        [] => String::new(),
        [one] => one.clone(),
        [init @ .., last] => format!("{} and {last}", init.join(", ")),
    }
}
