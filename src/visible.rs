//! What comes from outside (names of files, job.toml, results, archives) is shown so that nobody
//! takes it for the program's own words: a character that a terminal or a page would obey, or that
//! would put letters in another order, is written as its number. This is the one filter; every way
//! out goes through it.

use std::borrow::Cow;

/// Whether a terminal or a page would obey this character, or show nothing for it, instead of
/// showing it.
pub fn is_hidden(c: char) -> bool {
    c.is_control()
        // Marks, embeddings, overrides and isolates of direction; separators of lines; what is no
        // wider than nothing; tags.
        || matches!(c, '\u{61c}' | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}')
        || matches!(c, '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}

fn filtered(
    text: &str,
    is_fine: impl Fn(char) -> bool,
    write: impl Fn(char, &mut String),
) -> Cow<'_, str> {
    if !text.chars().any(|c| is_hidden(c) && !is_fine(c)) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        if is_hidden(c) && !is_fine(c) { write(c, &mut shown) } else { shown.push(c) }
    }
    Cow::Owned(shown)
}

/// A name or a sentence from outside, on one line whatever it holds.
pub fn one_line(text: &str) -> Cow<'_, str> {
    filtered(text, |_| false, |c, shown| shown.extend(c.escape_unicode()))
}

/// Text of several lines.
pub fn lines(text: &str) -> Cow<'_, str> {
    filtered(text, |c| c == '\n', |c, shown| shown.extend(c.escape_unicode()))
}

/// Text of several lines in which the program's own styles stand: of what begins with an escape,
/// bold, colours and the like pass.
pub fn styled(text: &str) -> Cow<'_, str> {
    if !text.contains('\u{1b}') {
        return lines(text);
    }
    let mut parts = text.split('\u{1b}');
    let mut shown = lines(parts.next().unwrap_or_default()).into_owned();
    for part in parts {
        let style = part
            .strip_prefix('[')
            .map(|rest| rest.trim_start_matches(|c: char| c.is_ascii_digit() || c == ';'));
        let is_style = style.is_some_and(|rest| rest.starts_with('m'));
        shown.push_str(if is_style { "\u{1b}" } else { "\\u{1b}" });
        shown.push_str(&lines(part));
    }
    Cow::Owned(shown)
}

/// JSON that means the same: in it such characters occur in texts alone, where a number may
/// replace each.
pub fn json(text: &str) -> Cow<'_, str> {
    let number = |c: char, shown: &mut String| {
        c.encode_utf16(&mut [0; 2])
            .iter()
            .for_each(|unit| shown.push_str(&format!("\\u{unit:04x}")));
    };
    filtered(text, |c| c == '\n', number)
}

/// Whether any text or key in a JSON value holds what would not be shown.
pub fn hides(value: &serde_json::Value) -> bool {
    use serde_json::Value;
    let hidden = |text: &str| text.chars().any(is_hidden);
    match value {
        Value::String(text) => hidden(text),
        Value::Array(items) => items.iter().any(hides),
        Value::Object(map) => map.iter().any(|(key, item)| hidden(key) || hides(item)),
        Value::Null | Value::Bool(_) | Value::Number(_) => false,
    }
}

/// Every text and key in a JSON value as [`one_line`] has it.
pub fn value(value: &mut serde_json::Value) {
    use serde_json::Value;
    match value {
        Value::String(text) => {
            if let Cow::Owned(shown) = one_line(text) {
                *text = shown;
            }
        }
        Value::Array(items) => items.iter_mut().for_each(self::value),
        Value::Object(map) => {
            map.values_mut().for_each(self::value);
            if map.keys().any(|key| key.chars().any(is_hidden)) {
                *map = std::mem::take(map)
                    .into_iter()
                    .map(|(key, item)| (one_line(&key).into_owned(), item))
                    .collect();
            }
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}
