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
