//! Data flows one way: a stage may use earlier stages only. This reads every `crate::` path in the
//! sources, however many lines an import takes.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use walkdir::WalkDir;

/// The stages in the order in which data flows; those in one group do not know each other.
const ORDER: [&[&str]; 23] = [
    &["math", "disk", "measurement", "visible"],
    &["figure"],
    &["text"],
    &["finding"],
    &["guarded"],
    &["job"],
    &["cards"],
    &["photo"],
    &["sightings"],
    &["camera"],
    &["scene"],
    &["bench"],
    &["grouping"],
    &["plan"],
    &["report"],
    &["glance"],
    &["pipeline"],
    &["pictures"],
    &["archive"],
    &["serve"],
    &["cli"],
    &["main"],
    &["build"],
];

/// Stages that work with figures by their identities and leave files and their form to others.
const KNOW_NO_JSON: [&str; 2] = ["bench", "plan"];

/// Folders in which files still go round in circles: none may be added.
const CIRCLES_LEFT: [&str; 5] = ["archive", "cards", "photo", "scene", "sightings"];

#[test]
fn no_stage_knows_a_later_one() {
    let rank: BTreeMap<&str, usize> = ORDER
        .iter()
        .enumerate()
        .flat_map(|(rank, stages)| stages.iter().map(move |stage| (*stage, rank)))
        .collect();
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut n_paths = 0;
    for entry in WalkDir::new(&source).sort_by_file_name() {
        let entry = entry.expect("the sources can be listed");
        let file = entry
            .path()
            .strip_prefix(&source)
            .expect("inside src")
            .to_string_lossy()
            .replace('\\', "/");
        if !file.ends_with(".rs") || file == "lib.rs" {
            continue;
        }
        let stage = file.split('/').next().unwrap_or("").trim_end_matches(".rs");
        let own = *rank
            .get(stage)
            .unwrap_or_else(|| panic!("src/{stage} has no place in the order of stages"));
        let text = std::fs::read_to_string(entry.path()).expect("the source can be read");
        for (line, used) in named_after("crate::", &without_comments(&text)) {
            let Some(&theirs) = rank.get(used.as_str()) else { continue };
            n_paths += 1;
            let backwards = theirs > own || (theirs == own && used != stage);
            assert!(!backwards, "src/{file}:{line}: {stage} uses {used}, which comes later");
        }
    }
    assert!(
        n_paths > 100,
        "only {n_paths} paths were found: is this test still reading the sources?"
    );
}

#[test]
fn bench_and_plan_know_no_json() {
    for (file, text) in sources() {
        let stage = file.split('/').next().unwrap_or("");
        let known = KNOW_NO_JSON.contains(&stage) && text.contains("serde_json");
        assert!(!known, "src/{file} names serde_json: the form of files is the report's");
    }
}

#[test]
fn no_files_of_a_folder_go_round_in_a_circle() {
    let sources = sources();
    let files: BTreeSet<String> = sources.iter().map(|(file, _)| module_of(file)).collect();
    let uses: BTreeMap<String, BTreeSet<String>> = sources
        .iter()
        .map(|(file, text)| (module_of(file), files_used(file, text, &files)))
        .collect();
    assert!(
        uses.values().map(BTreeSet::len).sum::<usize>() > 300,
        "is this test still reading the sources?"
    );
    for file in &files {
        let stage = file.split('/').next().unwrap_or("");
        let mut reached = BTreeSet::new();
        let mut open: Vec<&String> = uses[file].iter().collect();
        while let Some(next) = open.pop() {
            if reached.insert(next) {
                open.extend(&uses[next]);
            }
        }
        let circle = reached.contains(file) && !CIRCLES_LEFT.contains(&stage);
        assert!(!circle, "src/{file} is used by a file that it uses itself: {:?}", uses[file]);
    }
}

/// Every source file by its place below src, with its text.
fn sources() -> Vec<(String, String)> {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let files = WalkDir::new(&source)
        .sort_by_file_name()
        .into_iter()
        .map(|entry| entry.expect("the sources can be listed"));
    let rust = files.filter(|entry| entry.path().extension().is_some_and(|ending| ending == "rs"));
    let read = rust.map(|entry| {
        let file = entry
            .path()
            .strip_prefix(&source)
            .expect("inside src")
            .to_string_lossy()
            .replace('\\', "/");
        (file, std::fs::read_to_string(entry.path()).expect("the source can be read"))
    });
    read.collect()
}

/// "bench/measure" for bench/measure.rs, "bench" for bench/mod.rs.
fn module_of(file: &str) -> String {
    let module = file.trim_end_matches(".rs");
    module.strip_suffix("/mod").unwrap_or(module).to_owned()
}

/// The files of its own folder that a file names, in code that is not for its tests.
fn files_used(file: &str, text: &str, files: &BTreeSet<String>) -> BTreeSet<String> {
    let module = module_of(file);
    let stage = module.split('/').next().unwrap_or("").to_owned();
    let above = module.rsplit_once('/').map_or("", |(folder, _)| folder);
    let code = without_comments(text.split("#[cfg(test)]").next().unwrap_or(""));
    let own = format!("crate::{stage}::");
    let mut used = BTreeSet::new();
    for (path, base) in
        [("super::", above), (own.as_str(), stage.as_str()), ("self::", module.as_str())]
    {
        used.extend(named_after(path, &code).map(|(_, name)| format!("{base}/{name}")));
    }
    used.retain(|named| files.contains(named) && *named != module);
    used
}

/// A source with its whole lines of comment left empty, so that lines keep their numbers.
fn without_comments(text: &str) -> String {
    let lines =
        text.lines().map(|line| if line.trim_start().starts_with("//") { "" } else { line });
    lines.collect::<Vec<&str>>().join("\n")
}

/// What is named right after each `path` of a source, with the number of the line where the path
/// stands: one word, or the first word of each entry of a list in braces, over as many lines as it
/// has.
fn named_after<'a>(path: &'a str, code: &'a str) -> impl Iterator<Item = (usize, String)> + 'a {
    code.match_indices(path).flat_map(move |(at, _)| {
        let line = code[..at].matches('\n').count() + 1;
        let rest = &code[at + path.len()..];
        entries(rest).into_iter().map(move |entry| (line, first_word(entry)))
    })
}

/// The entries of the list in braces that a text begins with, without taking those of lists within
/// it apart; the text itself where it begins with no list.
fn entries(text: &str) -> Vec<&str> {
    let Some(list) = text.strip_prefix('{') else { return vec![text] };
    let (mut depth, mut start, mut found) = (0, 0, Vec::new());
    for (at, c) in list.char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth > 0 => depth -= 1,
            ',' if depth == 0 => {
                found.push(&list[start..at]);
                start = at + 1;
            }
            '}' => {
                found.push(&list[start..at]);
                return found;
            }
            _ => {}
        }
    }
    found
}

fn first_word(text: &str) -> String {
    text.trim_start().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
}

#[test]
fn an_import_over_several_lines_is_read_to_its_end() {
    let code = "use crate::{\n    bench::{\n        rim,\n        wheel,\n    },\n    plan,\n};\nuse crate::text;";
    let named: Vec<(usize, String)> = named_after("crate::", code).collect();
    let expected = [(1, "bench"), (1, "plan"), (8, "text")];
    assert_eq!(named, expected.map(|(line, name)| (line, name.to_owned())));
}
