//! Small matters of every sentence.

/// "a", "a and b", "a, b and c".
pub fn listed<Thing: AsRef<str>>(things: &[Thing]) -> String {
    let words: Vec<&str> = things.iter().map(AsRef::as_ref).collect();
    match &words[..] {
        [] => String::new(),
        [only] => (*only).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// The sentence with a capital letter at its beginning.
pub fn capital(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
