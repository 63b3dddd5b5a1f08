//! What people get: a program that names its sources, its pages, and packing that fits.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use sightcord::report::program::Program;

fn run(words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sightcord")).args(words).output().unwrap()
}

fn said(words: &[&str]) -> String {
    String::from_utf8(run(words).stdout).unwrap()
}

#[test]
fn the_version_names_revision_features_and_machine_as_the_result_does() {
    let this = Program::this();
    let told = said(&["--version"]);
    assert!(told.starts_with(&format!("sightcord {}\n", this.version)), "{told}");
    for line in [format!("revision: {}", this.revision), format!("machine: {}", this.machine)] {
        assert!(told.lines().any(|told| told == line), "{line}: {told}");
    }
    assert_eq!(told.contains("features: none"), this.features.is_empty(), "{told}");
    assert_eq!(this.features.iter().any(|feature| feature == "heic"), cfg!(feature = "heic"));
}

/// Sources change less often than checkouts do, so it may be an earlier one; without git at hand
/// nothing is known, and that is said.
#[test]
fn the_revision_is_one_of_the_checkout_s_own() {
    let revision = Program::this().revision;
    let known = |revision: &str| {
        Command::new("git").args(["cat-file", "-e", &format!("{revision}^{{commit}}")]).output()
    };
    match known(revision.trim_end_matches("+changes")) {
        Ok(said) if Path::new(".git").exists() && revision != "unknown" => {
            assert!(said.status.success(), "{revision} is no commit here")
        }
        _ => assert!(revision == "unknown" || revision.len() >= 7, "{revision}"),
    }
}

#[test]
fn manual_pages_and_completions_name_every_command_and_its_exit_codes() {
    let folder = tempfile::tempdir().unwrap();
    let to = folder.path().join("pages");
    let to = to.to_str().unwrap();
    assert!(said(&["manual", to]).lines().all(|line| line.starts_with("written")));
    let read = |name: &str| {
        fs::read_to_string(Path::new(to).join(name)).unwrap_or_else(|why| panic!("{name}: {why}"))
    };
    for command in
        ["sheets", "begin", "bench", "glance", "measure", "whatif", "since", "keep", "prove"]
    {
        let page = read(&format!("sightcord-{command}.1"));
        assert!(page.contains("Exit code") && page.contains("SYNOPSIS"), "{page}");
        for shell in ["sightcord.bash", "_sightcord", "sightcord.fish", "_sightcord.ps1"] {
            assert!(read(shell).contains(command), "{shell} lacks {command}");
        }
        assert!(
            read("sightcord.1").contains(&format!("sightcord\\-{command}")),
            "the first page lacks {command}"
        );
    }
    // Nothing is overwritten.
    let again = run(&["manual", to]);
    assert_eq!(again.status.code(), Some(2));
    assert!(String::from_utf8(again.stderr).unwrap().contains("is there already"));
}

/// The registry takes 10 MB packed; what people need to build and read is far less.
#[test]
fn what_is_packed_holds_what_is_needed_and_no_samples() {
    let listed = Command::new(env!("CARGO"))
        .args(["package", "--list", "--allow-dirty", "--offline"])
        .output()
        .unwrap();
    assert!(listed.status.success(), "{}", String::from_utf8_lossy(&listed.stderr));
    let listed = String::from_utf8(listed.stdout).unwrap();
    let files: Vec<&str> = listed.lines().collect();
    for needed in [
        "src/main.rs",
        "src/build.rs",
        "README.md",
        "LICENSE",
        "SECURITY.md",
        "docs/third-party.txt",
        "docs/result.schema.json",
    ] {
        assert!(files.contains(&needed), "{needed} would not be packed");
    }
    let bytes: u64 =
        files.iter().filter_map(|file| fs::metadata(file).ok()).map(|file| file.len()).sum();
    assert!(bytes < 4_000_000, "{bytes} bytes would be packed");
    assert!(!files.iter().any(|file| file.starts_with("samples") || file.starts_with("tests")));
}

#[test]
fn the_readme_names_where_security_problems_go_and_the_exit_codes() {
    let readme = fs::read_to_string("README.md").unwrap();
    assert!(readme.contains("[SECURITY.md](SECURITY.md)") && readme.contains("## Exit codes"));
    for command in [
        "sheets", "begin", "bench", "glance", "measure", "whatif", "since", "keep", "prove",
        "manual",
    ] {
        assert!(said(&[command, "--help"]).contains("Exit code: 0 "), "{command}");
    }
}

#[test]
fn every_crate_that_is_named_has_a_reason_to_be_there() {
    let [cargo, page] =
        ["Cargo.toml", "docs/dependencies.md"].map(|file| fs::read_to_string(file).unwrap());
    let cargo: toml::Table = cargo.parse().unwrap();
    let unix = cargo["target"]["cfg(unix)"]["dependencies"].as_table().unwrap();
    let tables = [
        cargo["dependencies"].as_table().unwrap(),
        cargo["dev-dependencies"].as_table().unwrap(),
        unix,
    ];
    let named: Vec<&String> = tables.iter().flat_map(|table| table.keys()).collect();
    for name in &named {
        assert!(
            page.contains(&format!("\n| {name} | ")),
            "docs/dependencies.md does not say what {name} is for"
        );
    }
    let n_rows = page
        .lines()
        .filter(|line| line.starts_with("| ") && !line.starts_with("| crate |"))
        .count();
    assert_eq!(n_rows, named.len(), "docs/dependencies.md names a crate that is not used");
}

/// Licences are looked at for every system that a release is made for, and the release has a job
/// for each of them.
#[test]
fn a_release_is_made_for_the_systems_whose_licences_are_looked_at() {
    let [flow, rules] = [".github/workflows/release.yml", ".ci/deny.toml"]
        .map(|file| fs::read_to_string(file).unwrap());
    let rules: toml::Table = rules.parse().unwrap();
    let looked_at: BTreeSet<&str> =
        rules["graph"]["targets"].as_array().unwrap().iter().filter_map(|t| t.as_str()).collect();
    let made_for: BTreeSet<&str> = flow
        .split("target: ")
        .skip(1)
        .filter_map(|rest| rest.split([',', '}', '\n']).next())
        .filter(|t| t.contains('-'))
        .collect();
    assert_eq!(made_for, looked_at);
    for needed in
        ["--locked --profile dist", "docs/third-party.txt", "LICENSE", "CHANGELOG.md", "--draft"]
    {
        assert!(flow.contains(needed), "the release lacks {needed}");
    }
}

/// The oldest compiler that Cargo.toml promises is one that every crate of the program takes; of
/// this program's own code clippy says whether it uses what came later (`incompatible_msrv`).
#[test]
fn the_oldest_compiler_that_is_promised_takes_every_crate_of_the_program() {
    let asked = ["metadata", "--locked", "--offline", "--all-features", "--format-version", "1"];
    let told = Command::new(env!("CARGO")).args(asked).output().unwrap();
    assert!(told.status.success(), "{}", String::from_utf8_lossy(&told.stderr));
    let told: serde_json::Value = serde_json::from_slice(&told.stdout).unwrap();
    let list = |value: &serde_json::Value| value.as_array().unwrap().clone();
    let id_of = |value: &serde_json::Value| value.as_str().unwrap().to_owned();
    let (nodes, packages) = (list(&told["resolve"]["nodes"]), list(&told["packages"]));
    let mut open = vec![id_of(&told["resolve"]["root"])];
    let mut of_program = BTreeSet::new();
    while let Some(id) = open.pop() {
        if of_program.insert(id.clone()) {
            let node = nodes.iter().find(|node| node["id"] == id.as_str()).unwrap();
            let is_for_tests = |dep: &serde_json::Value| {
                list(&dep["dep_kinds"]).iter().all(|kind| kind["kind"] == "dev")
            };
            open.extend(
                list(&node["deps"])
                    .iter()
                    .filter(|dep| !is_for_tests(dep))
                    .map(|dep| id_of(&dep["pkg"])),
            );
        }
    }
    let version = |package: &serde_json::Value| -> Vec<u32> {
        package["rust_version"]
            .as_str()
            .unwrap_or("0")
            .split('.')
            .map(|part| part.parse().unwrap())
            .chain([0, 0])
            .take(3)
            .collect()
    };
    let promised =
        packages.iter().find(|package| package["name"] == "sightcord").map(version).unwrap();
    for package in packages.iter().filter(|package| of_program.contains(&id_of(&package["id"]))) {
        assert!(
            version(package) <= promised,
            "{} {} needs {:?}",
            package["name"],
            package["version"],
            version(package)
        );
    }
}
