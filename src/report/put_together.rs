//! How the parts of a result become one document: rounded, every null named, the gravest findings
//! first.

use crate::figure::Figure;
use crate::finding::Finding;
use crate::text::capital;

use super::entries::Crosscheck;
use super::program::Program;
use super::result::{PATTERN_VERSION, ResultDocument, ResultParts, SCHEMA};
use super::{absent, finite, json};

/// What to do where a number was lost.
const AGAIN: &str = "Photograph again with more of the cards and tabs in each photo.";

impl ResultDocument {
    /// Puts the document together: numbers rounded as the file holds them, findings from all stages
    /// in one list, the most severe first, and one more for every null figure that no finding
    /// names.
    pub fn new(parts: ResultParts) -> Self {
        let ResultParts { job, figures, outcome, camera, photos, grouping, mut findings, settings } =
            parts;
        let mut measured = figures.measured;
        measured.facts.pattern_version = PATTERN_VERSION.to_owned();
        findings.extend(figures.findings);
        findings.extend(outcome.findings);
        let document = Self {
            schema: SCHEMA.to_owned(),
            program: Program::this(),
            job,
            state: Some(outcome.state),
            headline: outcome.headline,
            summary: outcome.summary,
            measured,
            camera,
            photos,
            grouping,
            plan: outcome.plan,
            expected: outcome.expected,
            verdicts: outcome.verdicts,
            hand: outcome.hand,
            budget: figures.budget,
            correlation: figures.correlation,
            crosscheck: Crosscheck {
                ratio: figures.crosscheck_ratio,
                left_right: figures.crosscheck_left_right,
            },
            findings,
            scale_sensitivity: figures.scale_sensitivity,
            settings,
            layout: figures.layout,
        };
        let mut document = document.rounded();
        document.name_nulls();
        document.findings.sort_by(|a, b| b.severity.cmp(&a.severity).then_with(|| a.cmp(b)));
        document.findings.dedup();
        document
    }

    /// The document as its file holds it, so that a report made now and one made from the file show
    /// the same.
    fn rounded(mut self) -> Self {
        for name in finite::keep_finite(&mut self) {
            let what =
                format!("{} could not be worked out: the result is not a number.", capital(name));
            self.findings.push(Finding::warning("result-not-a-number", what, AGAIN));
        }
        let mut value = self.to_value();
        let lost = json::tidy(&mut value);
        let sentences = self.sentences();
        self = serde_json::from_value(value).unwrap_or(self);
        self.with_sentences(sentences);
        self.findings.extend(lost.into_iter().map(|field| {
            let what = format!("{} is not a number.", capital(&Figure::at(&field).name()));
            Finding::refused("result-not-a-number", what, AGAIN).about(field)
        }));
        self
    }

    /// Adds a note for every figure that is null and that no finding names yet.
    fn name_nulls(&mut self) {
        let unnamed: Vec<Finding> = self
            .measured
            .table
            .iter()
            .filter(|(figure, measured)| {
                measured.is_none()
                    && !self.findings.iter().any(|finding| names(finding, &figure.pointer()))
            })
            .map(|(figure, _)| {
                let what = format!("{} was not measured.", capital(&figure.name()));
                Finding::note(absent::NOT_MEASURED, what, figure.needs()).about(figure)
            })
            .collect();
        self.findings.extend(unnamed);
    }
}

/// Whether a finding names a figure: by its own pointer, or by that of the group it belongs to.
fn names(finding: &Finding, pointer: &str) -> bool {
    finding.field.as_deref().is_some_and(|field| {
        pointer
            .strip_prefix(field)
            .is_some_and(|rest| rest.is_empty() || rest.starts_with('/') || field.ends_with('/'))
    })
}
