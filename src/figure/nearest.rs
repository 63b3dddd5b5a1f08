//! The known word that a mistyped one most likely stands for.

/// None only without known words. A word that is the beginning of a known one, such as a key
/// without its unit, counts as nearest.
pub fn nearest<'word>(typed: &str, known: impl Iterator<Item = &'word str>) -> Option<&'word str> {
    let typed = typed.to_lowercase();
    known.min_by_key(|word| match word.starts_with(&typed) || typed.starts_with(word) {
        true => 1,
        false => 2 * strsim::damerau_levenshtein(&typed, word),
    })
}
