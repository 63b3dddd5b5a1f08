//! Data flows one way: a stage may use earlier stages only, and neither files nor rooms go round in
//! circles. This reads every path in the sources, however many lines an import takes.

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
        for (line, named) in named_after("crate::", &without_comments(&text)) {
            let used = named.split("::").next().unwrap_or("");
            let Some(&theirs) = rank.get(used) else { continue };
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

/// A file with one purpose needs no more.
const MOST_LINES: usize = 400;

#[test]
fn no_source_file_is_too_long_for_one_purpose() {
    for (file, text) in sources() {
        let n = text.lines().count();
        assert!(n <= MOST_LINES, "src/{file} has {n} lines: split it by noun");
    }
}

/// Tests are in tests/it, and reach what they need by its `pub`: for tests in the sources the whole
/// library would be compiled a second time.
#[test]
fn the_sources_hold_no_tests() {
    for (file, text) in sources() {
        let holds =
            ["cfg(test)", "cfg_attr(test", "#[test]"].into_iter().find(|it| text.contains(it));
        assert_eq!(holds, None, "src/{file} is compiled anew for its tests: move them to tests/it");
    }
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
fn the_command_line_reads_no_json_by_its_keys() {
    for (file, text) in sources() {
        let knows = file.starts_with("cli/") && text.contains("serde_json::Value");
        assert!(!knows, "src/{file} names serde_json::Value: what it prints has a type");
    }
}

/// The files that name places of the result by JSON pointers: where figures get theirs, and the
/// settings' template, which shows some to people.
const NAME_POINTERS: [&str; 2] = ["figure/identity.rs", "job/template.rs"];

#[test]
fn pointers_into_the_result_are_written_out_in_two_files() {
    let mut found = BTreeSet::new();
    for (file, text) in sources() {
        let is_pointer = |(at, _): (usize, &str)| {
            let key =
                text[at + 2..].trim_start_matches(|c: char| c.is_ascii_lowercase() || c == '_');
            key.starts_with('/')
        };
        if text.match_indices("\"/").any(is_pointer) {
            found.insert(file);
        }
    }
    let allowed = BTreeSet::from(NAME_POINTERS.map(str::to_owned));
    assert_eq!(found, allowed, "name figures by `Figure`, other places by a constant beside it");
}

/// For each file the files it uses.
fn uses() -> BTreeMap<String, BTreeSet<String>> {
    let sources = sources();
    let files: BTreeSet<String> = sources.iter().map(|(file, _)| module_of(file)).collect();
    let used = |(file, text): &(String, String)| (module_of(file), files_used(file, text, &files));
    sources.iter().map(used).collect()
}

/// What can be reached from `start` over one step or more.
fn reached<'a>(uses: &'a BTreeMap<String, BTreeSet<String>>, start: &str) -> BTreeSet<&'a String> {
    let mut reached = BTreeSet::new();
    let mut open: Vec<&String> = uses[start].iter().collect();
    while let Some(next) = open.pop() {
        if reached.insert(next) {
            open.extend(&uses[next]);
        }
    }
    reached
}

#[test]
fn no_files_of_a_folder_go_round_in_a_circle() {
    let uses = uses();
    assert!(
        uses.values().map(BTreeSet::len).sum::<usize>() > 300,
        "is this test still reading the sources?"
    );
    for file in uses.keys() {
        let circle = reached(&uses, file).contains(file);
        assert!(!circle, "src/{file} is used by a file that it uses itself: {:?}", uses[file]);
    }
}

/// The rooms of a stage are its folders: `scene/model` comes before `scene/adjust`.
#[test]
fn no_rooms_of_a_stage_go_round_in_a_circle() {
    let room_of = |file: &String| {
        let mut parts = file.split('/');
        match (parts.next(), parts.next(), parts.next()) {
            (Some(stage), Some(room), Some(_)) => Some(format!("{stage}/{room}")),
            _ => None,
        }
    };
    let mut rooms: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (file, used) in &uses() {
        if let Some(room) = room_of(file) {
            let others = used.iter().filter_map(room_of).filter(|other| *other != room);
            rooms.entry(room.clone()).or_default().extend(others);
        }
    }
    assert!(rooms.len() > 10, "is this test still reading the sources?");
    for room in rooms.keys() {
        let circle = reached(&rooms, room).contains(room);
        assert!(!circle, "src/{room} is used by a room that it uses itself: {:?}", rooms[room]);
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

/// The files that a file names: of each path the longest part that is a file, "bench/rim" of
/// `crate::bench::rim::Mark`.
fn files_used(file: &str, text: &str, files: &BTreeSet<String>) -> BTreeSet<String> {
    let module = module_of(file);
    let code = without_comments(text);
    let above = |place: &str| place.rsplit_once('/').map_or("", |(folder, _)| folder).to_owned();
    let mut used = BTreeSet::new();
    for (path, base) in [("super::", above(&module)), ("crate::", String::new())] {
        for (_, mut named) in named_after(path, &code) {
            let mut base = base.clone();
            while let Some(rest) = named.strip_prefix("super::") {
                (base, named) = (above(&base), rest.to_owned());
            }
            let mut place = format!("{base}/{}", named.replace("::", "/"));
            place = place.trim_matches('/').to_owned();
            while !place.is_empty() && !files.contains(&place) {
                place = above(&place);
            }
            used.insert(place);
        }
    }
    used.retain(|named| !named.is_empty() && *named != module);
    used
}

/// A source with its whole lines of comment left empty, so that lines keep their numbers.
fn without_comments(text: &str) -> String {
    let lines =
        text.lines().map(|line| if line.trim_start().starts_with("//") { "" } else { line });
    lines.collect::<Vec<&str>>().join("\n")
}

/// What is named after each `path` of a source, with the number of the line where the path is:
/// the words up to the next that is no name, or those of each entry of a list in braces, over as
/// many lines as it has and with the lists within it.
fn named_after(path: &str, code: &str) -> Vec<(usize, String)> {
    let of_place = |(at, _): (usize, &str)| {
        // What goes on before it was read from its beginning: `super::super::`.
        let begins = !code[..at].ends_with("::") && !code[..at].ends_with(char::is_alphanumeric);
        let line = code[..at].matches('\n').count() + 1;
        let named = if begins { names(&code[at + path.len()..]) } else { Vec::new() };
        named.into_iter().map(move |name| (line, name))
    };
    code.match_indices(path).flat_map(of_place).collect()
}

/// The paths that a text begins with: one, or every one of a list in braces.
fn names(text: &str) -> Vec<String> {
    let text = text.trim_start();
    let Some(list) = text.strip_prefix('{') else {
        let is_part = |c: char| c.is_alphanumeric() || c == '_' || c == ':';
        let end = text.find(|c| !is_part(c)).unwrap_or(text.len());
        let (path, rest) = text.split_at(end);
        if !rest.starts_with('{') || !path.ends_with("::") {
            return vec![path.trim_end_matches(':').to_owned()];
        }
        return names(rest).into_iter().map(|name| format!("{path}{name}")).collect();
    };
    let (mut depth, mut start, mut found) = (0, 0, Vec::new());
    for (at, c) in list.char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth > 0 => depth -= 1,
            ',' | '}' if depth == 0 => {
                found.extend(names(&list[start..at]));
                start = at + 1;
                if c == '}' {
                    break;
                }
            }
            _ => {}
        }
    }
    found.retain(|name| !name.is_empty());
    found
}

#[test]
fn an_import_over_several_lines_is_read_to_its_end() {
    let code = "use crate::{\n    bench::{\n        rim,\n        wheel::Lie,\n    },\n    plan,\n};\n\
                use crate::text;\nuse super::super::job::Job;";
    let found = |path| named_after(path, code).into_iter().collect::<Vec<(usize, String)>>();
    let expected = [(1, "bench::rim"), (1, "bench::wheel::Lie"), (1, "plan"), (8, "text")];
    assert_eq!(found("crate::"), expected.map(|(line, name)| (line, name.to_owned())));
    assert_eq!(found("super::"), [(9, "super::job::Job".to_owned())]);
}
