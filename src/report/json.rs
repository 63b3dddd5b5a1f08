//! How a result becomes text: numbers rounded at this one place, keys in the order of the type,
//! lines a person can read.
//!
//! Rounding serves sameness: the last bits of floating point differ between builds and never carry
//! meaning here. Every number keeps far more places than its uncertainty needs.

use serde_json::{Number, Value};

use crate::figure::Kind;
use crate::figure::catalogue::CATALOGUE;

/// How a number is rounded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Places {
    /// Places behind the decimal point.
    Decimals(i32),
    /// Significant digits.
    Significant(i32),
}

/// Lengths, mm: a hundredth of a micrometre.
const LENGTH: Places = Places::Decimals(5);
/// Angles, degrees: 0.02 micrometre at a metre.
const ANGLE: Places = Places::Decimals(6);
/// Components of unit vectors: as fine as the angles.
const DIRECTION: Places = Places::Decimals(8);
/// Pixels of a camera and ratios of a print: 1e-5 px of 10,000, and 0.01 micrometre of 100 mm.
const PIXEL: Places = Places::Decimals(5);
const RATIO: Places = Places::Decimals(7);
/// Everything that is neither: correlations, lens coefficients, ratios of uncertainties.
const OTHER: Places = Places::Significant(6);

/// These keys say nothing of the kind of number; the key before them does, or the figure that an
/// entry is about.
const NEUTRAL_KEYS: [&str; 6] = ["value", "u", "tolerance", "hand", "photo", "per_percent"];

/// By these keys an entry of a list says which one it is; `field` names the figure an entry is
/// about.
const NAME_KEYS: [&str; 5] = ["id", "line", "station", "name", "field"];

/// Which places a number keeps, by the keys that lead to it (array indices left out).
fn places(path: &[&str]) -> Places {
    if path.first() == Some(&"settings") {
        // The settings echo what a person wrote: twelve digits give it back as it stood.
        return Places::Significant(12);
    }
    if path.first() == Some(&"correlation") {
        return OTHER;
    }
    let name = path.iter().rev().find(|key| !NEUTRAL_KEYS.contains(key)).copied().unwrap_or("");
    match name {
        "wheel_axis" | "normal" => DIRECTION,
        "fx" | "fy" | "cx" | "cy" | "rms_px" => PIXEL,
        "k1" | "k2" | "p1" | "p2" | "k3" | "crosscheck" | "ratio" | "left_right" => OTHER,
        _ => match kind_of(name) {
            Some(Kind::Angle) => ANGLE,
            Some(Kind::Ratio) => RATIO,
            Some(Kind::Length) | None => LENGTH,
        },
    }
}

/// The kind of what a key, or a JSON pointer, names: of figures as the catalogue says.
fn kind_of(name: &str) -> Option<Kind> {
    let last = name.rsplit('/').next().unwrap_or(name);
    if last.ends_with("_deg") {
        return Some(Kind::Angle);
    }
    CATALOGUE.iter().find(|line| line.member == last).map(|line| line.kind)
}

impl Places {
    fn round(self, x: f64) -> f64 {
        let decimals = match self {
            Self::Decimals(n) => n,
            Self::Significant(_) if x == 0.0 => return 0.0,
            Self::Significant(n) => n - 1 - x.abs().log10().floor() as i32,
        };
        // Powers of ten are exact only up to 1e22; beyond that rounding would add noise instead of
        // removing it.
        if decimals.abs() > 22 {
            return x;
        }
        let power = 10_f64.powi(decimals.abs());
        let rounded =
            if decimals >= 0 { (x * power).round() / power } else { (x / power).round() * power };
        // Adding zero turns -0 into 0, so that no sign shows which arithmetic came by.
        if rounded.is_finite() { rounded + 0.0 } else { x }
    }
}

/// Rounds every number, and makes a figure null whose value or uncertainty is not a number. Returns
/// the JSON pointers of those.
pub fn tidy(value: &mut Value) -> Vec<String> {
    let mut lost = Vec::new();
    tidy_at(value, &mut Vec::new(), &mut lost);
    lost
}

fn tidy_at(value: &mut Value, path: &mut Vec<String>, lost: &mut Vec<String>) {
    match value {
        Value::Number(number) if number.is_f64() => {
            let keys: Vec<&str> = path.iter().map(String::as_str).collect();
            // A number that is no float any more (not finite) can't be held by JSON; serde_json has
            // made it null already.
            let x = number.as_f64().unwrap_or(0.0);
            if let Some(rounded) = Number::from_f64(places(&keys).round(x)) {
                *number = rounded;
            }
        }
        Value::Array(items) => {
            for item in items {
                let name =
                    NAME_KEYS.iter().find_map(|key| item.get(key)?.as_str().map(str::to_owned));
                let named = name.is_some();
                path.extend(name);
                tidy_at(item, path, lost);
                if named {
                    path.pop();
                }
            }
        }
        Value::Object(map) => {
            let is_figure =
                map.contains_key("value") && map.contains_key("u") && map.contains_key("quality");
            if is_figure && (map["value"].is_null() || map["u"].is_null()) {
                lost.push(format!("/{}", path.join("/")));
                *value = Value::Null;
                return;
            }
            for (key, item) in map.iter_mut() {
                path.push(key.clone());
                tidy_at(item, path, lost);
                path.pop();
            }
        }
        _ => {}
    }
}

/// Lines longer than this are broken up; it is the width of this project's sources.
const LINE_WIDTH: usize = 130;

/// Prints JSON so that what belongs together is on one line: an object or array that fits is
/// not broken up.
pub fn pretty(value: &Value) -> String {
    let mut out = String::new();
    print(value, 0, 0, &mut out);
    out.push('\n');
    out
}

fn print(value: &Value, indent: usize, used: usize, out: &mut String) {
    let inline = value.to_string();
    // The compact text is shorter than the one with blanks: where even that does not fit, the other
    // need not be tried.
    if inline.len() + used <= LINE_WIDTH {
        let spaced = on_one_line(value);
        if spaced.chars().count() + used <= LINE_WIDTH {
            out.push_str(&spaced);
            return;
        }
    }
    match value {
        Value::Object(map) => {
            print_items(map.iter().map(|(k, v)| (Some(k), v)), ['{', '}'], indent, out)
        }
        Value::Array(items) => {
            print_items(items.iter().map(|v| (None, v)), ['[', ']'], indent, out)
        }
        _ => out.push_str(&inline),
    }
}

fn print_items<'a>(
    items: impl Iterator<Item = (Option<&'a String>, &'a Value)>,
    [open, close]: [char; 2],
    indent: usize,
    out: &mut String,
) {
    out.push(open);
    let inner = indent + 2;
    for (i, (key, item)) in items.enumerate() {
        out.push_str(if i == 0 { "\n" } else { ",\n" });
        out.push_str(&" ".repeat(inner));
        let label = key.map_or_else(String::new, |key| format!("{}: ", Value::from(key.as_str())));
        out.push_str(&label);
        // One more for the comma behind it.
        print(item, inner, inner + label.chars().count() + 1, out);
    }
    out.push('\n');
    out.push_str(&" ".repeat(indent));
    out.push(close);
}

fn on_one_line(value: &Value) -> String {
    match value {
        Value::Object(map) if map.is_empty() => "{}".to_owned(),
        Value::Object(map) => {
            let items: Vec<String> = map
                .iter()
                .map(|(key, item)| format!("{}: {}", Value::from(key.as_str()), on_one_line(item)))
                .collect();
            format!("{{ {} }}", items.join(", "))
        }
        Value::Array(items) => {
            format!("[{}]", items.iter().map(on_one_line).collect::<Vec<_>>().join(", "))
        }
        other => other.to_string(),
    }
}
