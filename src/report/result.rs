//! The result document: everything a measurement gave, as `result.json` holds it ("sightcord-result/1").
//!
//! `whatif`, `since` and the reports work from this document alone. It holds no clock and no path, so that the same inputs
//! give the same bytes. Fields may be added under the same schema name; a reader ignores those it does not know.

use std::borrow::Cow;
use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::absent;
use super::fields;
use super::finite;
use super::json;
use crate::bench::figures::{
    BackboneFigures, BenchFigures, BudgetEntry, ChainFigures, Correlation, FaceFigure, Figures, HubFigures, JointCovariance,
    Layout, PlaneFigures, PlumbFigure, RimFigure, RunoutFigures, Side, SpindleFigures, StationFigure, TrackFigures, UpFigures,
    WheelFigures,
};
use crate::finding::Finding;
use crate::measurement::Measurement;
use crate::plan::outcome::{Expected, HandComparison, Outcome, PlanStep, Verdict};
use crate::visible;

/// Name and version of the document's form.
pub const SCHEMA: &str = "sightcord-result/1";
/// The file's name in a report.
pub const RESULT_NAME: &str = "result.json";
/// Version of the printed pattern whose codes and sizes this program knows.
pub const PATTERN_VERSION: &str = "1";

/// The program that measured.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Program {
    pub name: String,
    pub version: String,
    /// Of its sources, as version control names it; "+changes" behind it where they differ from that. "unknown" where the
    /// program was built without knowing, empty where an earlier version did not say.
    #[serde(default)]
    pub revision: String,
    /// What it was built with beyond the usual, such as "heic".
    #[serde(default)]
    pub features: Vec<String>,
    /// The kind of machine, such as "x86_64-linux": on one kind a version gives the same bytes. Empty where no version said it.
    #[serde(default)]
    pub machine: String,
}

/// What a program says that was built from sources of which nobody told the revision.
const UNKNOWN_REVISION: &str = "unknown";

impl Program {
    /// This very program.
    pub fn this() -> Self {
        Self {
            name: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            revision: env!("SIGHTCORD_REVISION").to_owned(),
            features: env!("SIGHTCORD_FEATURES").split_whitespace().map(str::to_owned).collect(),
            machine: format!("{}-{}", std::env::consts::ARCH, std::env::consts::OS),
        }
    }

    /// The same program in the same version, on whatever machine: it writes the same words for the same figures. Two
    /// revisions are two versions; where one does not know its revision, the version's number counts. That is the stricter
    /// way: whoever forges an archive gains nothing by taking the revision out of it.
    pub fn is_same_version(&self, other: &Self) -> bool {
        let is_known = |revision: &str| !revision.is_empty() && revision != UNKNOWN_REVISION;
        let same_revision = self.revision == other.revision || !is_known(&self.revision) || !is_known(&other.revision);
        self.name == other.name && self.version == other.version && same_revision
    }

    /// Name, version and revision for people.
    pub fn told(&self) -> String {
        match self.revision.as_str() {
            "" => format!("{} {}", self.name, self.version),
            revision => format!("{} {} (revision {revision})", self.name, self.version),
        }
    }
}

/// What was measured.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct JobEntry {
    /// SHA-256 of the inputs: the photos and the settings, not the folder's name.
    pub id: String,
    /// The bike's name in its owner's words.
    pub bike: Option<String>,
    pub chain_side: Option<Side>,
}

/// The printed pattern and how large it came out of the printer.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PatternEntry {
    pub version: String,
    /// Printed over designed size along the card's long side; 1 is exact.
    pub scale_along: Option<Measurement>,
    /// The same along its short side.
    pub scale_across: Option<Measurement>,
}

/// A lens, as the photos taken with it showed it. The model is that of the manual's page on conventions.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CameraEntry {
    /// The photos taken with it, as `set-up/file`.
    pub photos: Vec<String>,
    /// Size of its photos, px.
    pub width: u32,
    pub height: u32,
    /// Focal lengths and principal point, px.
    pub fx: Option<Measurement>,
    pub fy: Option<Measurement>,
    pub cx: Option<Measurement>,
    pub cy: Option<Measurement>,
    /// Lens coefficients; no unit.
    pub k1: f64,
    pub k2: f64,
    pub p1: f64,
    pub p2: f64,
    pub k3: f64,
    /// Root mean square distance of corners from where the solved scene puts them, px.
    pub rms_px: Option<f64>,
}

/// A photo and what it gave.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PhotoEntry {
    /// `set-up/file`, with a forward slash.
    pub file: String,
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub sha256: String,
    pub setup: String,
    /// Whether anything of it entered the solution.
    pub used: bool,
    /// Numbers of the cards and tabs that were read, ascending.
    pub cards: Vec<u8>,
    pub tabs: Vec<u8>,
    /// Corners that entered the solution.
    pub corners: usize,
    /// Root mean square distance of its corners from where the solved scene puts them, px.
    pub rms_px: Option<f64>,
    /// Where the camera stood in the bench frame, mm.
    pub position: Option<[f64; 3]>,
}

/// Folders whose name begins so hold photos of cards only, for the lens; their cards lie elsewhere than on the bench.
const CARDS_ONLY_PREFIX: &str = "0-camera";

impl PhotoEntry {
    /// Whether it was taken for the lens alone.
    pub fn is_of_cards_only(&self) -> bool {
        self.setup.starts_with(CARDS_ONLY_PREFIX)
    }
}

/// The comparison of odd with even photos.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Crosscheck {
    /// By how much their solutions differ, over what their uncertainties allow; 1 and below is as it should be.
    pub ratio: Option<f64>,
    /// The same of photos from the left against those from the right. Null where they show too different things.
    #[serde(default)]
    pub left_right: Option<f64>,
}

/// Everything a measurement gave. Lengths in millimetres, angles in degrees; `null` where a figure could not be measured, and
/// then a finding names it by its JSON pointer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ResultDocument {
    /// "sightcord-result/1".
    pub schema: String,
    pub program: Program,
    pub job: JobEntry,
    /// The verdict in one sentence.
    #[serde(default)]
    pub summary: String,
    pub pattern: PatternEntry,
    pub up: UpFigures,
    pub rim: Vec<RimFigure>,
    /// Left plus right at the marked place, by set-up.
    pub rim_width: BTreeMap<String, Option<Measurement>>,
    pub wheel: WheelFigures,
    pub frame: PlaneFigures,
    pub wheel_in_frame: PlaneFigures,
    pub runout: RunoutFigures,
    pub hub: HubFigures,
    pub chain: ChainFigures,
    pub spindle: SpindleFigures,
    pub plumb: Vec<PlumbFigure>,
    pub stations: Vec<StationFigure>,
    pub backbone: BackboneFigures,
    pub faces: Vec<FaceFigure>,
    pub track: Option<TrackFigures>,
    pub bench: BenchFigures,
    pub camera: Vec<CameraEntry>,
    pub photos: Vec<PhotoEntry>,
    pub plan: Vec<PlanStep>,
    pub expected: Expected,
    pub verdicts: Vec<Verdict>,
    pub hand: Vec<HandComparison>,
    pub budget: Vec<BudgetEntry>,
    pub correlation: Correlation,
    pub crosscheck: Crosscheck,
    pub findings: Vec<Finding>,
    /// Change of each figure, in its own unit, for a print 1 % larger in both directions.
    #[serde(default)]
    pub scale_sensitivity: BTreeMap<String, f64>,
    /// The job's settings that change figures or plan, as they were read.
    #[serde(default)]
    pub settings: serde_json::Value,
    /// Places for drawings; never a measured figure by itself.
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
    /// Findings of the stages before the figures.
    pub findings: Vec<Finding>,
    pub settings: serde_json::Value,
}

/// What to do where a number was lost.
const AGAIN: &str = "Photograph again with more of the cards and tabs in each photo.";

impl ResultDocument {
    /// Puts the document together: numbers rounded as the file holds them, findings from all stages in one list, the most
    /// severe first, and one more for every null figure that no finding names.
    pub fn new(parts: ResultParts) -> Self {
        let ResultParts { job, figures, outcome, camera, photos, mut findings, settings } = parts;
        findings.extend(figures.findings);
        findings.extend(outcome.findings);
        let document = Self {
            schema: SCHEMA.to_owned(),
            program: Program::this(),
            job,
            summary: outcome.summary,
            pattern: PatternEntry {
                version: PATTERN_VERSION.to_owned(),
                scale_along: figures.scale_along,
                scale_across: figures.scale_across,
            },
            up: figures.up,
            rim: figures.rim,
            rim_width: figures.rim_width,
            wheel: figures.wheel,
            frame: figures.frame,
            wheel_in_frame: figures.wheel_in_frame,
            runout: figures.runout,
            hub: figures.hub,
            chain: figures.chain,
            spindle: figures.spindle,
            plumb: figures.plumb,
            stations: figures.stations,
            backbone: figures.backbone,
            faces: figures.faces,
            track: figures.track,
            bench: figures.bench,
            camera,
            photos,
            plan: outcome.plan,
            expected: outcome.expected,
            verdicts: outcome.verdicts,
            hand: outcome.hand,
            budget: figures.budget,
            correlation: figures.correlation,
            crosscheck: Crosscheck { ratio: figures.crosscheck_ratio, left_right: figures.crosscheck_left_right },
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

    /// The document as its file holds it, so that a report made now and one made from the file show the same.
    fn rounded(mut self) -> Self {
        for name in finite::keep_finite(&mut self) {
            let what = format!("{} could not be worked out: it came out as no number.", capital(name));
            self.findings.push(Finding::warning("result-not-a-number", what, AGAIN));
        }
        let mut value = self.to_value();
        let lost = json::tidy(&mut value);
        self = serde_json::from_value(value).unwrap_or(self);
        self.findings.extend(lost.into_iter().map(|field| {
            let what = format!("{} came out as no number.", capital(&fields::describe(&field).name));
            Finding::refused("result-not-a-number", what, AGAIN).about(field)
        }));
        self
    }

    /// Adds a note for every figure that is null and that no finding names yet.
    fn name_nulls(&mut self) {
        let unnamed: Vec<Finding> = self
            .figures()
            .into_iter()
            .filter(|(pointer, figure)| figure.is_none() && !self.findings.iter().any(|finding| names(finding, pointer)))
            .map(|(pointer, _)| {
                let field = fields::describe(&pointer);
                Finding::note(absent::NOT_MEASURED, format!("{} was not measured.", capital(&field.name)), field.needs)
                    .about(pointer)
            })
            .collect();
        self.findings.extend(unnamed);
    }

    fn to_value(&self) -> serde_json::Value {
        // The type has string keys only and no custom serialiser: turning it into a value can't fail.
        serde_json::to_value(self).expect("a result document is always JSON")
    }

    /// The bytes of `result.json`: keys in the order of files that went before, numbers rounded, a line break at the end.
    pub fn to_json(&self) -> String {
        let mut value = self.to_value();
        json::tidy(&mut value);
        super::relative::mark(&mut value, &self.up.relative_to_bench);
        visible::json(&json::pretty(&value)).into_owned()
    }

    /// The same for people: names and texts from outside hold nothing that a terminal or a page would obey.
    pub fn visible(&self) -> Cow<'_, Self> {
        let mut value = self.to_value();
        if !visible::hides(&value) {
            return Cow::Borrowed(self);
        }
        visible::value(&mut value);
        serde_json::from_value(value).map_or(Cow::Borrowed(self), Cow::Owned)
    }

    /// The figures again, for a plan with other choices or a comparison. The joint covariance comes from the correlation and
    /// the expanded uncertainties (k = 2).
    pub fn to_figures(&self) -> Figures {
        Figures {
            up: self.up.clone(),
            scale_along: self.pattern.scale_along,
            scale_across: self.pattern.scale_across,
            rim: self.rim.clone(),
            rim_width: self.rim_width.clone(),
            wheel: self.wheel.clone(),
            frame: self.frame.clone(),
            wheel_in_frame: self.wheel_in_frame.clone(),
            runout: self.runout.clone(),
            hub: self.hub.clone(),
            chain: self.chain.clone(),
            spindle: self.spindle.clone(),
            plumb: self.plumb.clone(),
            stations: self.stations.clone(),
            backbone: self.backbone.clone(),
            faces: self.faces.clone(),
            track: self.track.clone(),
            bench: self.bench.clone(),
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

    /// Standard covariance (k = 1) of the figures the correlation lists. Figures whose row is not as long as the list, which
    /// only a file made by hand can hold, are left out.
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
            matrix: known.iter().map(|&(i, si)| known.iter().map(|&(j, sj)| matrix[i][j] * si * sj).collect()).collect(),
        }
    }

    /// The figure at a JSON pointer, if there is one and it was measured. List entries are found by their name.
    pub fn figure(&self, pointer: &str) -> Option<Measurement> {
        self.figures().into_iter().find(|(known, _)| known == pointer)?.1
    }

    /// What a figure means, in words, and that it holds relative to the bench where it does.
    pub fn meaning(&self, pointer: &str) -> String {
        let meaning = fields::describe(pointer).meaning;
        let on_bench = self.up.relative_to_bench.iter().any(|field| field == pointer);
        match (on_bench, meaning.is_empty()) {
            (false, _) => meaning.to_owned(),
            (true, true) => "relative to the bench".to_owned(),
            (true, false) => format!("{meaning}; relative to the bench"),
        }
    }

    /// The verdict on a figure, if a tolerance applies to it.
    pub fn verdict(&self, pointer: &str) -> Option<&Verdict> {
        self.verdicts.iter().find(|verdict| verdict.field == pointer)
    }

    /// Every figure of the bike and the bench by its JSON pointer, in the order of the document.
    pub fn figures(&self) -> Vec<(String, Option<Measurement>)> {
        let mut all: Vec<(String, Option<Measurement>)> = Vec::new();
        let mut add = |pointer: String, figure: Option<Measurement>| all.push((pointer, figure));
        add("/pattern/scale_along".into(), self.pattern.scale_along);
        add("/pattern/scale_across".into(), self.pattern.scale_across);
        for rim in &self.rim {
            add(format!("/rim/{}/offset", rim.id), rim.offset);
            add(format!("/rim/{}/height", rim.id), rim.height);
        }
        for (setup, width) in &self.rim_width {
            add(format!("/rim_width/{setup}"), *width);
        }
        add("/wheel/offset".into(), self.wheel.offset);
        add("/wheel/offset_at_mark".into(), self.wheel.offset_at_mark);
        add("/wheel/yaw".into(), self.wheel.yaw);
        add("/wheel/lean".into(), self.wheel.lean);
        add("/wheel/yaw_from_offsets".into(), self.wheel.yaw_from_offsets);
        add("/frame/offset".into(), self.frame.offset);
        add("/frame/yaw".into(), self.frame.yaw);
        add("/wheel_in_frame/offset".into(), self.wheel_in_frame.offset);
        add("/wheel_in_frame/yaw".into(), self.wheel_in_frame.yaw);
        add("/runout/lateral".into(), self.runout.lateral);
        add("/runout/radial".into(), self.runout.radial);
        add("/hub/rim_from_face".into(), self.hub.rim_from_face);
        add("/chain/centres".into(), self.chain.centres);
        add("/chain/offset_at_gearbox".into(), self.chain.offset_at_gearbox);
        add("/chain/offset_at_rear".into(), self.chain.offset_at_rear);
        add("/chain/yaw".into(), self.chain.yaw);
        add("/chain/lean".into(), self.chain.lean);
        add("/chain/gearbox_lean".into(), self.chain.gearbox_lean);
        add("/chain/rear_lean".into(), self.chain.rear_lean);
        add("/spindle/height_difference".into(), self.spindle.height_difference);
        add("/spindle/left".into(), self.spindle.left);
        add("/spindle/right".into(), self.spindle.right);
        for plumb in &self.plumb {
            add(format!("/plumb/{}/offset", plumb.line), plumb.offset);
        }
        for station in &self.stations {
            add(format!("/stations/{}/offset", station.station), station.offset);
            add(format!("/stations/{}/height_difference", station.station), station.height_difference);
        }
        add("/backbone/front".into(), self.backbone.front);
        add("/backbone/rear".into(), self.backbone.rear);
        add("/backbone/yaw".into(), self.backbone.yaw);
        for face in &self.faces {
            add(format!("/faces/{}/offset", face.name), face.offset);
            add(format!("/faces/{}/yaw", face.name), face.yaw);
            add(format!("/faces/{}/lean", face.name), face.lean);
        }
        if let Some(track) = &self.track {
            add("/track/offset".into(), track.offset);
            add("/track/lean".into(), track.lean);
        }
        add("/bench/level_along".into(), self.bench.level_along);
        add("/bench/level_across".into(), self.bench.level_across);
        add("/bench/cord_straightness".into(), self.bench.cord_straightness);
        add("/bench/cord_moved".into(), self.bench.cord_moved);
        add("/bench/flatness".into(), self.bench.flatness);
        for rider in &self.bench.riders {
            add(format!("/bench/riders/{}/offset", rider.id), rider.offset);
        }
        all
    }
}

/// Whether a finding names a figure: by its own pointer, or by that of the group it belongs to.
fn names(finding: &Finding, pointer: &str) -> bool {
    finding.field.as_deref().is_some_and(|field| {
        pointer.strip_prefix(field).is_some_and(|rest| rest.is_empty() || rest.starts_with('/') || field.ends_with('/'))
    })
}

/// The sentence with a capital letter at its beginning.
pub(crate) fn capital(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
