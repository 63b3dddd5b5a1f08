//! Words that people use for what a setting calls by another name.

/// For each word of a setting the beginnings of others that stand for it.
const OTHERS: [(&str, &[&str]); 3] = [
    ("sprocket", &["rear", "back", "wheel sprocket", "packing"]),
    ("gearbox", &["front", "engine", "drive", "shim", "countershaft"]),
    ("hub", &["spindle", "spacer", "axle"]),
];

/// The setting's word for what the person called by another.
pub(super) fn meant(word: &str) -> Option<&'static str> {
    let word = word.trim().to_lowercase();
    let stands_for = |others: &[&str]| others.iter().any(|other| word.starts_with(other));
    OTHERS.iter().find(|(_, others)| stands_for(others)).map(|(meant, _)| *meant)
}
