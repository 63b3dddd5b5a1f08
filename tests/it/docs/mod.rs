//! The manual keeps up with the program: every finding and every figure has its entry.

mod drawings;
mod figures;

use std::collections::BTreeSet;
use std::path::Path;

use walkdir::WalkDir;

/// Names of findings in the sources: the first text given to a finding's constructors.
fn finding_ids() -> BTreeSet<String> {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut ids = BTreeSet::new();
    for entry in WalkDir::new(source)
        .into_iter()
        .filter_map(Result::ok)
        .filter(|e| e.path().extension().is_some_and(|e| e == "rs"))
    {
        let text = std::fs::read_to_string(entry.path()).expect("a source can be read");
        for maker in ["Finding::note(", "Finding::warning(", "Finding::refused("] {
            for part in text.split(maker).skip(1) {
                if let Some(id) =
                    part.trim_start().strip_prefix('"').and_then(|rest| rest.split('"').next())
                {
                    ids.insert(id.to_owned());
                }
            }
        }
    }
    ids
}

#[test]
fn every_finding_is_explained_in_troubleshooting() {
    let ids = finding_ids();
    assert!(ids.len() > 40, "only {} findings were found in the sources", ids.len());
    let manual = include_str!("../../../docs/troubleshooting.md");
    let missing: Vec<&String> =
        ids.iter().filter(|id| !manual.contains(&format!("**{id}**"))).collect();
    assert!(missing.is_empty(), "no entry in docs/troubleshooting.md for {missing:?}");
}
