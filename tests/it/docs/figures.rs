//! Every figure of the result has an entry in docs/figures.md with a drawing.
//! `REGENERATE=1 cargo test --test docs` writes the drawings anew.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use super::drawings;

const PAGE: &str = include_str!("../../../docs/figures.md");

/// Parts of the result that repeat figures of other parts.
const REPEATED: [&str; 4] = ["/expected", "/plan", "/verdicts", "/hand"];

/// Largest drawing: small enough for a page with two dozen of them.
const MOST_BYTES: usize = 12_000;

fn docs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("docs")
}

/// Patterns of the JSON pointers at which the schema lets a measurement stand; `*` for an entry of
/// a list or map.
fn figure_fields() -> BTreeSet<String> {
    let schema: Value = serde_json::from_str(include_str!("../../../docs/result.schema.json"))
        .expect("the schema is JSON");
    let mut fields = BTreeSet::new();
    walk(&schema, &schema, "", &mut fields);
    fields
}

fn walk(schema: &Value, node: &Value, at: &str, fields: &mut BTreeSet<String>) {
    if REPEATED.contains(&at) {
        return;
    }
    if let Some(name) = node["$ref"].as_str().and_then(|name| name.strip_prefix("#/$defs/")) {
        if name == "Measurement" {
            fields.insert(at.to_owned());
        } else {
            walk(schema, &schema["$defs"][name], at, fields);
        }
    }
    for choice in node["anyOf"].as_array().into_iter().flatten() {
        walk(schema, choice, at, fields);
    }
    for (name, inner) in node["properties"].as_object().into_iter().flatten() {
        walk(schema, inner, &format!("{at}/{name}"), fields);
    }
    for several in ["items", "additionalProperties"] {
        if node[several].is_object() {
            walk(schema, &node[several], &format!("{at}/*"), fields);
        }
    }
}

/// Picture files that a section of the page shows.
fn pictures(section: &str) -> Vec<&str> {
    section.split("](pictures/figures/").skip(1).filter_map(|rest| rest.split(')').next()).collect()
}

/// Fields that a section of the page explains.
fn explained(section: &str) -> Vec<&str> {
    section
        .lines()
        .filter_map(|line| line.strip_prefix("- `/"))
        .filter_map(|rest| rest.split('`').next())
        .collect()
}

#[test]
fn every_figure_has_an_entry_with_a_drawing() {
    let fields = figure_fields();
    assert!(fields.len() > 40, "the schema has only {fields:?}");
    let mut entries: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for section in PAGE.split("\n## ").skip(1) {
        for field in explained(section) {
            let known = entries.insert(format!("/{field}"), pictures(section));
            assert!(known.is_none(), "/{field} is explained twice");
        }
    }
    let explained: BTreeSet<String> = entries.keys().cloned().collect();
    assert_eq!(explained, fields, "docs/figures.md on the left, the schema on the right");
    for (field, pictures) in entries {
        assert_eq!(pictures.len(), 1, "{field} has a drawing");
    }
}

#[test]
fn the_drawings_are_those_that_the_page_shows_and_can_be_drawn() {
    let folder = docs().join("pictures/figures");
    let regenerate = std::env::var_os("REGENERATE").is_some();
    if regenerate {
        fs::create_dir_all(&folder).expect("docs can be written");
    }
    let mut made = BTreeSet::new();
    for (name, text) in drawings::all() {
        let file = format!("{name}.svg");
        if regenerate {
            fs::write(folder.join(&file), &text).expect("docs can be written");
        }
        let kept = fs::read_to_string(folder.join(&file)).unwrap_or_default();
        assert!(
            kept == text,
            "{file} is not what its drawing makes: run with REGENERATE=1 and look at it"
        );
        assert!(kept.len() < MOST_BYTES, "{file} has {} bytes", kept.len());
        let tree = resvg::usvg::Tree::from_str(&kept, &resvg::usvg::Options::default())
            .unwrap_or_else(|error| panic!("{file} is no SVG: {error}"));
        assert!(tree.root().children().len() > 5, "{file} shows nothing");
        let bounds = tree.root().abs_stroke_bounding_box();
        let inside = bounds.left() >= -0.5
            && bounds.top() >= -0.5
            && bounds.right() <= tree.size().width() + 0.5
            && bounds.bottom() <= tree.size().height() + 0.5;
        assert!(inside, "{file} reaches beyond its sheet: {bounds:?}");
        made.insert(file);
    }
    let shown: BTreeSet<String> = pictures(PAGE).into_iter().map(str::to_owned).collect();
    assert_eq!(shown, made, "shown on the page, and made");
    let kept: BTreeSet<String> = fs::read_dir(&folder)
        .expect("the drawings are kept")
        .map(|entry| entry.expect("a file").file_name().to_string_lossy().into_owned())
        .collect();
    assert_eq!(kept, made, "kept in docs/pictures/figures, and made");
}
