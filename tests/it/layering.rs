//! Data flows one way: a stage may use earlier stages only. This reads every `crate::` path in the sources.

use std::collections::BTreeMap;
use std::path::Path;

use walkdir::WalkDir;

/// The stages in the order in which data flows; those in one group do not know each other.
const ORDER: [&[&str]; 17] = [
    &["math", "disk", "finding", "measurement", "visible"],
    &["guarded"],
    &["job"],
    &["cards"],
    &["photo"],
    &["sightings"],
    &["camera"],
    &["scene"],
    &["bench"],
    &["plan"],
    &["report"],
    &["pipeline"],
    &["pictures"],
    &["archive"],
    &["cli"],
    &["main"],
    &["build"],
];

#[test]
fn no_stage_knows_a_later_one() {
    let rank: BTreeMap<&str, usize> =
        ORDER.iter().enumerate().flat_map(|(rank, stages)| stages.iter().map(move |stage| (*stage, rank))).collect();
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut n_paths = 0;
    for entry in WalkDir::new(&source).sort_by_file_name() {
        let entry = entry.expect("the sources can be listed");
        let file = entry.path().strip_prefix(&source).expect("inside src").to_string_lossy().replace('\\', "/");
        if !file.ends_with(".rs") || file == "lib.rs" {
            continue;
        }
        let stage = file.split('/').next().unwrap_or("").trim_end_matches(".rs");
        let own = *rank.get(stage).unwrap_or_else(|| panic!("src/{stage} has no place in the order of stages"));
        let text = std::fs::read_to_string(entry.path()).expect("the source can be read");
        for (number, line) in text.lines().enumerate() {
            for used in stages_in(line) {
                let Some(&theirs) = rank.get(used.as_str()) else { continue };
                n_paths += 1;
                let backwards = theirs > own || (theirs == own && used != stage);
                assert!(!backwards, "src/{file}:{}: {stage} uses {used}, which comes later: {line}", number + 1);
            }
        }
    }
    assert!(n_paths > 100, "only {n_paths} paths were found: is this test still reading the sources?");
}

/// The stages named in `crate::stage` and `crate::{stage, stage}` paths of a line.
fn stages_in(line: &str) -> Vec<String> {
    if line.trim_start().starts_with("//") {
        return Vec::new();
    }
    let word = |text: &str| text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect::<String>();
    let mut found = Vec::new();
    for part in line.split("crate::").skip(1) {
        match part.strip_prefix('{') {
            Some(list) => found.extend(list.split(',').map(|item| word(item.trim_start()))),
            None => found.push(word(part)),
        }
    }
    found
}
