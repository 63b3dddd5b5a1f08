//! Compares a sealed result with the one measured again.
//!
//! Reproduced means: the same photos and settings, every figure within 1 % of its U, its U and
//! quality alike, and no verdict changed. One version on one kind of machine gives the same bytes,
//! and any difference is an edit. Between two builds of one version on different kinds of machine
//! the last bits of floating point may differ, and nothing else may: there every other word of the
//! result has to be the same as well. Another version may say more, or say it differently; but a
//! forged archive may name another version, too: then the figures alone are called reproduced.
//! Whatever differs is reported.

use std::collections::BTreeSet;

use serde_json::Value;

/// Share of U by which a figure, or its U, may differ: differences this small come from rounding,
/// and change no decision.
const SHARE_OF_U: f64 = 0.01;
/// Share by which other numbers may differ (of 1 at least, in their own unit): far more than the
/// last bits of floating point ever moved them, and too little to mean anything (common practice,
/// no source).
const SHARE_OF_OTHERS: f64 = 1e-3;
/// A file with more differences is another measurement; those behind would not be read.
const MOST_TOLD: usize = 20;

/// How far two results of the same inputs have to be alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Alike {
    /// One version on one kind of machine.
    Bytes,
    /// One version on two kinds of machine.
    AllButLastBits,
    /// Two versions.
    Figures,
}

/// What measuring again gave.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reproduction {
    /// The same bytes.
    Identical,
    /// The same, except for these numbers, which differ by too little to count.
    Reproduced(Vec<String>),
    /// The same figures and verdicts, but other words, plan or findings: another version's, or
    /// somebody's.
    FiguresAlone(Vec<String>),
    /// What of the figures, verdicts or, in the same version, anything else differs.
    Differs(Vec<String>),
}

/// Compares the two files' bytes and, where they differ, what they say.
pub fn compare(sealed: &str, again: &str, alike: Alike) -> Result<Reproduction, serde_json::Error> {
    if sealed == again {
        return Ok(Reproduction::Identical);
    }
    let (sealed, again): (Value, Value) =
        (serde_json::from_str(sealed)?, serde_json::from_str(again)?);
    let mut found = Found::default();
    walk(&sealed, &again, &mut Vec::new(), &mut found);
    verdicts(&sealed, &again, &mut found);
    inputs(&sealed, &again, &mut found);
    let Found { mut figures, mut others, mut small } = found;
    if alike != Alike::Figures {
        figures.append(&mut others);
        if alike == Alike::Bytes {
            figures.append(&mut small);
        }
        // Rounding can't do that: the file was written by something else.
        if figures.is_empty() && small.is_empty() {
            figures.push(
                "the values are the same, but they are not written as this version writes them"
                    .to_owned(),
            );
        }
    }
    if !figures.is_empty() {
        return Ok(Reproduction::Differs(shortened(figures)));
    }
    if others.is_empty() {
        return Ok(Reproduction::Reproduced(shortened(small)));
    }
    others.append(&mut small);
    Ok(Reproduction::FiguresAlone(shortened(others)))
}

#[derive(Default)]
struct Found {
    /// Differences of figures and verdicts.
    figures: Vec<String>,
    /// All other differences.
    others: Vec<String>,
    /// Numbers that differ by less than counts.
    small: Vec<String>,
}

/// The first differences, and how many more there are.
fn shortened(mut differences: Vec<String>) -> Vec<String> {
    let more = differences.len().saturating_sub(MOST_TOLD);
    if more > 0 {
        differences.truncate(MOST_TOLD);
        differences.push(format!("{more} more"));
    }
    differences
}

fn is_figure(value: &Value) -> bool {
    value.get("value").is_some() && value.get("u").is_some() && value.get("quality").is_some()
}

fn pointer(path: &[String]) -> String {
    path.iter().map(|key| format!("/{key}")).collect()
}

fn walk(sealed: &Value, again: &Value, path: &mut Vec<String>, found: &mut Found) {
    if is_figure(sealed) || is_figure(again) {
        let words = || format!("{}: sealed {sealed}, measured again {again}", pointer(path));
        if !same_figure(sealed, again) {
            found.figures.push(words());
        } else if sealed != again {
            found.small.push(words());
        }
        return;
    }
    match (sealed, again) {
        (Value::Object(a), Value::Object(b)) => {
            let keys: BTreeSet<&String> = a.keys().chain(b.keys()).collect();
            for key in keys {
                path.push(key.clone());
                match (a.get(key), b.get(key)) {
                    (Some(a), Some(b)) => walk(a, b, path, found),
                    (Some(a), None) => gone(a, path, "only in the sealed result", found),
                    (None, Some(b)) => gone(b, path, "only in the result measured again", found),
                    (None, None) => {}
                }
                path.pop();
            }
        }
        (Value::Array(a), Value::Array(b)) => {
            for (idx, (a, b)) in a.iter().zip(b).enumerate() {
                path.push(name_of(a).unwrap_or_else(|| idx.to_string()));
                walk(a, b, path, found);
                path.pop();
            }
            if a.len() != b.len() {
                let what = format!(
                    "{}: {} entries sealed, {} measured again",
                    pointer(path),
                    a.len(),
                    b.len()
                );
                // Where a list holds figures, one more or less of them is a figure that differs.
                let holds_figures = a.iter().chain(b).any(has_figure);
                if holds_figures { found.figures.push(what) } else { found.others.push(what) }
            }
        }
        _ if sealed == again => {}
        _ => {
            let words = format!(
                "{}: sealed {}, measured again {}",
                pointer(path),
                short(sealed),
                short(again)
            );
            // What a person wrote into the settings is no outcome of arithmetic.
            if path.first().is_some_and(|key| key == "settings") {
                found.figures.push(words);
            } else if same_other(sealed, again) {
                found.small.push(words);
            } else {
                found.others.push(words);
            }
        }
    }
}

/// An entry of a list is identified by its name where it has one.
fn name_of(entry: &Value) -> Option<String> {
    ["id", "line", "station", "name", "field", "file"]
        .iter()
        .find_map(|key| entry.get(key)?.as_str().map(str::to_owned))
}

fn gone(value: &Value, path: &[String], words: &str, found: &mut Found) {
    let words = format!("{}: {words}", pointer(path));
    // A field that another version did not know and that is null has no meaning.
    if has_figure(value) {
        found.figures.push(words);
    } else {
        found.others.push(words);
    }
}

fn has_figure(value: &Value) -> bool {
    match value {
        Value::Object(map) => is_figure(value) || map.values().any(has_figure),
        Value::Array(items) => items.iter().any(has_figure),
        _ => false,
    }
}

fn same_figure(sealed: &Value, again: &Value) -> bool {
    let number = |figure: &Value, key: &str| figure.get(key).and_then(Value::as_f64);
    let all = || {
        Some([
            number(sealed, "value")?,
            number(sealed, "u")?,
            number(again, "value")?,
            number(again, "u")?,
        ])
    };
    // Null on one side only, or no number: not the same.
    let Some([value, u, value_again, u_again]) = all() else { return sealed == again };
    let allowed = SHARE_OF_U * u.abs();
    (value - value_again).abs() <= allowed
        && (u - u_again).abs() <= allowed
        && sealed.get("quality") == again.get("quality")
}

fn same_other(sealed: &Value, again: &Value) -> bool {
    match (sealed, again) {
        (Value::Number(a), Value::Number(b)) if a.is_f64() || b.is_f64() => {
            match (a.as_f64(), b.as_f64()) {
                (Some(a), Some(b)) => (a - b).abs() <= SHARE_OF_OTHERS * a.abs().max(1.0),
                _ => false,
            }
        }
        (Value::String(a), Value::String(b)) => same_words(a, b),
        _ => sealed == again,
    }
}

/// The same sentence, where numbers with a decimal point may differ by one step in the last place
/// shown.
fn same_words(a: &str, b: &str) -> bool {
    let (a, b) = (words(a), words(b));
    a.len() == b.len()
        && a.iter().zip(&b).all(|(a, b)| {
            a == b
                || match (decimal(a), decimal(b)) {
                    (Some((x, places)), Some((y, other))) => {
                        places == other && (x - y).abs() < 1.5 * 10_f64.powi(-places)
                    }
                    _ => false,
                }
        })
}

/// A sentence split into numbers and what is between them.
fn words(sentence: &str) -> Vec<&str> {
    let is_number = |c: char| c.is_ascii_digit() || c == '.';
    let mut words = Vec::new();
    let mut rest = sentence;
    while let Some(first) = rest.chars().next() {
        let end = rest.find(|c| is_number(c) != is_number(first)).unwrap_or(rest.len());
        words.push(&rest[..end]);
        rest = &rest[end..];
    }
    words
}

/// A number with places behind its point, and how many.
fn decimal(word: &str) -> Option<(f64, i32)> {
    let (_, places) = word.split_once('.').filter(|(_, places)| !places.is_empty())?;
    Some((word.parse().ok()?, places.len() as i32))
}

fn short(value: &Value) -> String {
    const SHOWN: usize = 120;
    let text = value.to_string();
    if text.chars().count() <= SHOWN {
        text
    } else {
        text.chars().take(SHOWN).chain(" ...".chars()).collect()
    }
}

/// Another photo, or another job, is another measurement, whatever the version and however close
/// the figures.
fn inputs(sealed: &Value, again: &Value, found: &mut Found) {
    let of = |result: &Value| -> (Option<Value>, Vec<(Option<Value>, Option<Value>)>) {
        let photos = result.get("photos").and_then(Value::as_array).into_iter().flatten();
        let photos = photos.map(|photo| (photo.get("file").cloned(), photo.get("sha256").cloned()));
        (result.get("job").and_then(|job| job.get("id")).cloned(), photos.collect())
    };
    if of(sealed) != of(again) {
        found.figures.push(
            "the sealed result names other photos or settings than the archive holds".to_owned(),
        );
    }
}

/// Verdicts by the figure they are about: a changed one decides, whatever the version.
fn verdicts(sealed: &Value, again: &Value, found: &mut Found) {
    let of = |result: &Value| -> Vec<(String, String)> {
        let list = result.get("verdicts").and_then(Value::as_array).cloned().unwrap_or_default();
        let text = |verdict: &Value, key: &str| {
            verdict.get(key).and_then(Value::as_str).unwrap_or("none").to_owned()
        };
        list.iter().map(|verdict| (text(verdict, "field"), text(verdict, "verdict"))).collect()
    };
    let (sealed, again) = (of(sealed), of(again));
    let fields: BTreeSet<&String> = sealed.iter().chain(&again).map(|(field, _)| field).collect();
    for field in fields {
        let word = |list: &[(String, String)]| {
            list.iter()
                .find(|(known, _)| known == field)
                .map_or_else(|| "none".to_owned(), |(_, verdict)| verdict.clone())
        };
        let (was, is) = (word(&sealed), word(&again));
        if was != is {
            found
                .figures
                .push(format!("the verdict on {field}: sealed \"{was}\", measured again \"{is}\""));
        }
    }
}
