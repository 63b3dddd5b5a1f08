//! Which photos belong to which set-up, where the job says so: read, and written on request.

use std::collections::BTreeSet;

use super::section::Section;
use super::settings::JobSetup;

/// More photos than this are in no job.
const MOST_PHOTOS: usize = 1_000;

/// The set-ups in `[[setup]]`. A photo belongs to one of them only.
pub(super) fn read(sections: &[Section<'_>]) -> Vec<JobSetup> {
    let mut setups: Vec<JobSetup> = Vec::new();
    let mut seen: BTreeSet<String> = BTreeSet::new();
    for section in sections {
        let Some(name) = section.text("name") else {
            if !section.has("name") {
                section.problem(
                    "name",
                    "[[setup]] has no name",
                    "Give it one, such as name = \"1-mark-forward\".",
                );
            }
            continue;
        };
        let Some(photos) = read_photos(section) else { continue };
        if name.contains(['/', '~', '\\']) || setups.iter().any(|setup| setup.name == name) {
            section.problem(
                "name",
                format!("\"{name}\" can't be the set-up's name"),
                "Give each its own name, without / and ~.",
            );
        } else if let Some(twice) = photos.iter().find(|photo| seen.contains(*photo)) {
            section.problem(
                "photos",
                format!("{twice} is in two set-ups"),
                "Within a set-up nothing moved: a photo is in one only.",
            );
        } else {
            seen.extend(photos.iter().cloned());
            setups.push(JobSetup { name, photos });
        }
    }
    setups
}

fn read_photos(section: &Section<'_>) -> Option<Vec<String>> {
    let entries = section.value("photos").and_then(|value| value.get_ref().as_array());
    let names: Option<Vec<String>> = entries.and_then(|entries| {
        entries.iter().map(|entry| entry.get_ref().as_str().map(str::to_owned)).collect()
    });
    match names {
        Some(names) if (1..=MOST_PHOTOS).contains(&names.len()) => Some(names),
        _ => {
            section.problem(
                "photos",
                "[[setup]] photos must be a list of file names",
                "Write them as photos = [\"IMG_0001.jpg\", \"IMG_0004.jpg\"].",
            );
            None
        }
    }
}

/// The set-ups as lines to put at the end of a `job.toml`.
pub fn written(setups: &[JobSetup]) -> String {
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let one = |setup: &JobSetup| {
        let photos: Vec<String> =
            setup.photos.iter().map(|photo| format!("  {},\n", quoted(photo))).collect();
        format!("\n[[setup]]\nname = {}\nphotos = [\n{}]\n", quoted(&setup.name), photos.concat())
    };
    format!(
        "\n# Which photos belong together, as the program found it.{}",
        setups.iter().map(one).collect::<String>()
    )
}
