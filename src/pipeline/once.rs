//! One cause, one finding: what is wrong with many files alike is reported once.

use crate::finding::Finding;

/// Findings of these are reported once for all files.
const ALIKE: [&str; 1] = ["photo-heic"];

/// Merges findings that report the same about several files.
pub fn report_once(findings: &mut Vec<Finding>) {
    for id in ALIKE {
        let same: Vec<Finding> =
            findings.iter().filter(|finding| finding.id == id).cloned().collect();
        let [first, rest @ ..] = same.as_slice() else { continue };
        if rest.is_empty() {
            continue;
        }
        let file = first.photo.clone().unwrap_or_default();
        let what = first.what.replacen(
            " is not used: the file is ",
            &format!(" and {} more are not used: they are ", rest.len()),
            1,
        );
        let what = if what == *first.what {
            format!("{} photos, {file} first: {what}", same.len())
        } else {
            what
        };
        let merged = Finding { what: what.into(), photo: None, ..first.clone() };
        let Some(at) = findings.iter().position(|finding| finding.id == id) else { continue };
        findings.retain(|finding| finding.id != id);
        findings.insert(at.min(findings.len()), merged);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_of_many_files_is_reported_once() {
        let heic = |file: &str| {
            let what = format!(
                "{file} is not used: the file is HEIC, which this program was built without."
            );
            Finding::refused("photo-heic", what, "Set the phone to JPEG.").in_photo(file)
        };
        let other = Finding::note("photo-twice", "x", "y");
        let mut findings = vec![other.clone(), heic("a.heic"), heic("b.heic"), heic("c.heic")];
        report_once(&mut findings);
        assert_eq!(findings.len(), 2);
        assert_eq!(
            findings[1].what,
            "a.heic and 2 more are not used: they are HEIC, which this program was built without."
        );
        assert!(findings[1].photo.is_none() && findings[0] == other);
        let mut lone = vec![heic("a.heic")];
        report_once(&mut lone);
        assert_eq!(lone, [heic("a.heic")]);
    }
}
