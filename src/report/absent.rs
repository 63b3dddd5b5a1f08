//! Figures that were not measured because nothing for them was laid out or stuck on: listed in
//! short, by what they need.

use super::result::ResultDocument;
use crate::figure::Figure;
use crate::finding::Finding;
use crate::text::capital;

/// Findings of this id are added for figures that are null and have no other finding.
pub const NOT_MEASURED: &str = "not-measured";

/// Figures that need the same thing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Absent {
    /// Their names in a sentence, the first with a capital letter.
    pub names: String,
    /// What must be on the bench and in the photos for them.
    pub need: String,
}

/// The figures that were not measured, in the order in which their needs first come.
pub fn absent(document: &ResultDocument) -> Vec<Absent> {
    let mut by_need: Vec<(&str, Vec<String>)> = Vec::new();
    for finding in document.findings.iter().filter(|finding| is_absence(finding)) {
        let name = finding
            .field
            .as_deref()
            .map_or_else(|| finding.what.to_string(), |field| Figure::at(field).name());
        match by_need.iter_mut().find(|(need, _)| **need == *finding.advice) {
            Some((_, names)) => names.push(name),
            None => by_need.push((&finding.advice, vec![name])),
        }
    }
    by_need
        .into_iter()
        .map(|(need, names)| Absent { names: capital(&names.join("; ")), need: need.to_owned() })
        .collect()
}

/// Whether a finding says no more than that a figure was not measured.
fn is_absence(finding: &Finding) -> bool {
    finding.id == NOT_MEASURED
}

/// Findings that say more than that.
pub fn reported(document: &ResultDocument) -> impl Iterator<Item = &Finding> {
    document.findings.iter().filter(|finding| !is_absence(finding))
}
