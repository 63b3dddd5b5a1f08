//! Numbers of cards and tabs in sentences.

/// Ascending numbers with runs of three and more drawn together: "1, 5 to 10".
pub fn ranges(numbers: &[u8]) -> String {
    let mut words = Vec::new();
    let mut rest = numbers;
    while let Some(&first) = rest.first() {
        let run = rest
            .iter()
            .enumerate()
            .take_while(|(i, n)| usize::from(**n) == usize::from(first) + i)
            .count();
        match run {
            1 => words.push(first.to_string()),
            2 => words.extend([first.to_string(), rest[1].to_string()]),
            _ => words.push(format!("{first} to {}", rest[run - 1])),
        }
        rest = &rest[run..];
    }
    words.join(", ")
}

/// "card" for one number, "cards" for more.
pub fn plural(word: &str, numbers: &[u8]) -> String {
    format!("{word}{}", if numbers.len() == 1 { "" } else { "s" })
}

/// "card 3", "cards 1 to 4".
pub fn named(word: &str, numbers: &[u8]) -> String {
    format!("{} {}", plural(word, numbers), ranges(numbers))
}
