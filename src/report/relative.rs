//! Marks figures that hold relative to the bench, in the form of the result file: `"relative_to":
//! "bench"` next to their value.

use serde_json::Value;

use crate::figure::Figure;

/// Adds the mark to the figures at these pointers. List entries are found by their own names.
pub fn mark(document: &mut Value, figures: &[Figure]) {
    for figure in figures {
        if let Some(Value::Object(figure)) = find(document, &figure.pointer()) {
            figure.insert("relative_to".to_owned(), Value::from("bench"));
        }
    }
}

/// Keys by which an entry of a list is named.
const NAMES: [&str; 4] = ["id", "line", "station", "name"];

/// The figure at a pointer. An entry's name may hold slashes itself.
fn find<'value>(value: &'value mut Value, pointer: &str) -> Option<&'value mut Value> {
    let rest = pointer.strip_prefix('/')?;
    let (section, rest) = rest.split_once('/')?;
    let section = value.get_mut(section)?;
    match section {
        Value::Array(entries) => {
            let (name, member) = rest.rsplit_once('/')?;
            let named = |entry: &&mut Value| {
                NAMES.iter().any(|key| entry.get(key).and_then(Value::as_str) == Some(name))
            };
            entries.iter_mut().find(|entry| named(entry))?.get_mut(member)
        }
        _ => section.get_mut(rest),
    }
}
