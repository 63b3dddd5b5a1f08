//! The result document: everything a measurement gave, as `result.json` holds it
//! ("sightcord-result/1").
//!
//! `whatif`, `since` and the reports work from this document alone. It holds no clock and no path,
//! so that the same inputs give the same bytes. Fields may be added under the same schema name; a
//! reader ignores those it does not know.

use std::borrow::Cow;
use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::bench::figures::{Figures, Layout, Side};
use crate::figure::facts::ChainReference;
use crate::figure::table::{BudgetEntry, Correlation, JointCovariance, by_pointer};
use crate::figure::{Figure, Measured};
use crate::finding::Finding;
use crate::grouping::GroupingEntry;
use crate::job::Job;
use crate::measurement::Measurement;
use crate::plan::evening::Evening;
use crate::plan::outcome::{Expected, HandComparison, Outcome, PlanStep, State, Verdict};
use crate::text::Sentence;
use crate::visible;

use super::entries::{CameraEntry, Crosscheck, JobEntry, PhotoEntry};
use super::json;
use super::program::Program;

/// Name and version of the document's form.
pub const SCHEMA: &str = "sightcord-result/1";
/// The file's name in a report.
pub const RESULT_NAME: &str = "result.json";
/// Version of the printed pattern whose codes and sizes this program knows.
pub const PATTERN_VERSION: &str = "1";

/// Everything a measurement gave. Lengths in millimetres, angles in degrees; `null` where a figure
/// could not be measured, and then a finding names it by its JSON pointer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ResultDocument {
    /// "sightcord-result/1".
    pub schema: String,
    pub program: Program,
    pub job: JobEntry,
    /// How far the bike is from being finished. Empty where an earlier version did not say.
    #[serde(default)]
    pub state: Option<State>,
    /// The same in a few words.
    #[serde(default)]
    pub headline: String,
    /// The same in a sentence or two.
    #[serde(default)]
    pub summary: String,
    #[serde(flatten)]
    pub measured: Measured,
    pub camera: Vec<CameraEntry>,
    pub photos: Vec<PhotoEntry>,
    /// Which set-up each photo belongs to, and who said so.
    #[serde(default)]
    pub grouping: Vec<GroupingEntry>,
    pub plan: Vec<PlanStep>,
    pub expected: Expected,
    pub verdicts: Vec<Verdict>,
    pub hand: Vec<HandComparison>,
    pub budget: Vec<BudgetEntry>,
    pub correlation: Correlation,
    pub crosscheck: Crosscheck,
    pub findings: Vec<Finding>,
    /// Change of each figure, in its own unit, for a print 1 % larger in both directions.
    #[serde(default, serialize_with = "by_pointer::serialize")]
    pub scale_sensitivity: BTreeMap<Figure, f64>,
    /// The job's settings that change figures or plan, as they were read.
    #[serde(default)]
    pub settings: serde_json::Value,
    /// Places for drawings; never a measured figure on its own.
    #[serde(default)]
    pub layout: Layout,
}

/// What the other stages give, from which the document is put together.
#[derive(Clone, Debug, Default)]
pub struct ResultParts {
    pub job: JobEntry,
    pub figures: Figures,
    pub outcome: Outcome,
    pub camera: Vec<CameraEntry>,
    pub photos: Vec<PhotoEntry>,
    pub grouping: Vec<GroupingEntry>,
    /// Findings of the stages before the figures.
    pub findings: Vec<Finding>,
    pub settings: serde_json::Value,
}

/// Every sentence that may hold amounts, in order.
fn sentences_of<'a>(
    plan: &'a mut [PlanStep],
    verdicts: &'a mut [Verdict],
    findings: &'a mut [Finding],
) -> Vec<&'a mut Sentence> {
    let steps = plan.iter_mut().flat_map(|step| {
        let warnings = step.choices.iter_mut().flat_map(|choice| &mut choice.warnings);
        std::iter::once(&mut step.action)
            .chain(&mut step.dangers)
            .chain(&mut step.cautions)
            .chain(warnings)
    });
    let decide = verdicts.iter_mut().filter_map(|verdict| verdict.decide.as_mut());
    let findings = findings.iter_mut().flat_map(|finding| [&mut finding.what, &mut finding.advice]);
    steps.chain(decide).chain(findings).collect()
}

impl ResultDocument {
    pub(super) fn to_value(&self) -> serde_json::Value {
        // The type has string keys only and no custom serialiser: turning it into a value can't
        // fail.
        serde_json::to_value(self).expect("a result document is always JSON")
    }

    /// The bytes of `result.json`: keys in the order of files that went before, numbers rounded, a
    /// line break at the end.
    pub fn to_json(&self) -> String {
        let mut value = self.to_value();
        json::tidy(&mut value);
        super::relative::mark(&mut value, &self.measured.up.relative_to_bench);
        visible::json(&json::pretty(&value)).into_owned()
    }

    /// The same for people: names and texts from outside hold nothing that a terminal or a page
    /// would obey.
    pub fn visible(&self) -> Cow<'_, Self> {
        let mut value = self.to_value();
        if !visible::hides(&value) {
            return Cow::Borrowed(self);
        }
        visible::value(&mut value);
        let Ok(mut shown) = serde_json::from_value::<Self>(value) else {
            return Cow::Borrowed(self);
        };
        shown.with_sentences(self.sentences().iter().map(Sentence::visible).collect());
        Cow::Owned(shown)
    }

    /// Copies of all sentences that may hold amounts. A file holds their text in millimetres alone.
    pub(super) fn sentences(&self) -> Vec<Sentence> {
        let (mut plan, mut verdicts, mut findings) =
            (self.plan.clone(), self.verdicts.clone(), self.findings.clone());
        sentences_of(&mut plan, &mut verdicts, &mut findings)
            .into_iter()
            .map(|sentence| sentence.clone())
            .collect()
    }

    /// Gives sentences that came back from their text what their copies know of the amounts in
    /// them.
    pub(super) fn with_sentences(&mut self, copies: Vec<Sentence>) {
        for (sentence, copy) in sentences_of(&mut self.plan, &mut self.verdicts, &mut self.findings)
            .into_iter()
            .zip(copies)
        {
            if *sentence == copy {
                *sentence = copy;
            }
        }
    }

    /// The figures again, for a plan with other choices or a comparison. The joint covariance comes
    /// from the correlation and the expanded uncertainties (k = 2).
    pub fn to_figures(&self) -> Figures {
        Figures {
            measured: self.measured.clone(),
            budget: self.budget.clone(),
            correlation: self.correlation.clone(),
            joint: self.joint(),
            scale_sensitivity: self.scale_sensitivity.clone(),
            crosscheck_ratio: self.crosscheck.ratio,
            crosscheck_left_right: self.crosscheck.left_right,
            layout: self.layout.clone(),
            findings: self.findings.clone(),
        }
    }

    /// Standard covariance (k = 1) of the figures the correlation lists. Figures whose row is not
    /// as long as the list, which only a file made by hand can hold, are left out.
    fn joint(&self) -> JointCovariance {
        let Correlation { fields, matrix } = &self.correlation;
        let known: Vec<(usize, f64)> = fields
            .iter()
            .enumerate()
            .filter(|(i, _)| matrix.get(*i).is_some_and(|row| row.len() == fields.len()))
            .filter_map(|(i, pointer)| Some((i, self.figure(pointer)?.u / 2.0)))
            .collect();
        JointCovariance {
            fields: known.iter().map(|&(i, _)| fields[i].clone()).collect(),
            matrix: known
                .iter()
                .map(|&(i, si)| known.iter().map(|&(j, sj)| matrix[i][j] * si * sj).collect())
                .collect(),
        }
    }

    /// The figure as the document holds it, if there is one and it was measured.
    pub fn figure(&self, figure: &Figure) -> Option<Measurement> {
        self.measured.table.stored(figure)
    }

    /// What a figure means, in words, and that it holds relative to the bench where it does.
    pub fn meaning(&self, figure: &Figure) -> String {
        let meaning = figure.meaning();
        let on_bench = self.measured.up.relative_to_bench.contains(figure);
        match (on_bench, meaning.is_empty()) {
            (false, _) => meaning.to_owned(),
            (true, true) => "relative to the bench".to_owned(),
            (true, false) => format!("{meaning}; relative to the bench"),
        }
    }

    /// The verdict on a figure, if a tolerance applies to it.
    pub fn verdict(&self, figure: &Figure) -> Option<&Verdict> {
        self.verdicts.iter().find(|verdict| verdict.field == *figure)
    }

    /// The side the chain runs on, by the tabs or else by the job.
    pub fn chain_side(&self) -> Option<Side> {
        self.measured.facts.chain_side.or(self.job.chain_side)
    }

    /// The job's settings as they were read.
    pub fn job_settings(&self) -> Result<Job, serde_json::Error> {
        serde_json::from_value(self.settings.clone())
    }

    /// What a comparison with another evening's result reads.
    pub fn evening(&self) -> Evening {
        let numbers =
            |of: fn(&PhotoEntry) -> &Vec<u8>| self.photos.iter().flat_map(of).copied().collect();
        Evening {
            schema: self.schema.clone(),
            job_id: self.job.id.clone(),
            bike: self.job.bike.clone(),
            print: self
                .settings
                .get("print")
                .map_or_else(String::new, serde_json::Value::to_string),
            tooth_centres: self.tooth_centres(),
            cards: numbers(|photo| &photo.cards),
            tabs: numbers(|photo| &photo.tabs),
            figures: self.to_figures(),
            plan: self.plan.clone(),
            verdicts: self.verdicts.clone(),
            job_chain_side: self.job.chain_side,
        }
    }

    /// The distances from face to tooth centre, rear and gearbox, in words; None where faces were
    /// compared.
    fn tooth_centres(&self) -> Option<String> {
        let distance = |key: &str| self.settings.get("sprockets")?.get(key)?.as_f64();
        let (rear, gearbox) = distance("rear_face_to_tooth_centre_mm")
            .zip(distance("gearbox_face_to_tooth_centre_mm"))?;
        (self.measured.facts.chain_reference == Some(ChainReference::ToothCentres))
            .then(|| format!("{rear} mm at the rear and {gearbox} mm at the gearbox"))
    }
}
