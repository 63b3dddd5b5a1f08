//! What a comparison reads from a result file.

use std::collections::BTreeSet;

use serde::Deserialize;
use serde_json::Value;

use super::field;
use super::input::PlanInput;
use super::outcome::{Decision, Direction, StepKind};
use super::table::FigureTable;
use crate::bench::figures::Side;
use crate::measurement::Measurement;

/// A step of the earlier plan, as far as it can be followed up.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct PlannedStep {
    pub n: u32,
    pub step: StepKind,
    #[serde(default)]
    pub side: Option<Side>,
    #[serde(default)]
    pub direction: Option<Direction>,
    #[serde(default, rename = "move")]
    pub distance: Option<Measurement>,
    #[serde(default)]
    pub applied_to: String,
    #[serde(default)]
    pub because: String,
    #[serde(default)]
    pub before: Option<Measurement>,
}

/// A result file, read as far as a comparison needs it.
#[derive(Clone, Debug, PartialEq)]
pub struct ResultFile {
    pub schema: String,
    pub pattern_version: String,
    pub job_id: Option<String>,
    /// Whatever stands for the bike: its name, or all that the job says of it.
    pub bike: Value,
    /// What the job says about the print.
    pub print: Value,
    /// What the job says of the sprockets' faces and teeth, where the chain line is told between tooth centres.
    pub tooth_centres: Option<String>,
    /// Ratio of printed to designed size, along and across.
    pub scales: [Option<Measurement>; 2],
    pub cards: BTreeSet<u64>,
    pub tabs: BTreeSet<u64>,
    pub figures: PlanInput,
    pub table: FigureTable,
    pub plan: Vec<PlannedStep>,
    verdicts: Vec<(String, Decision)>,
    job_chain_side: Option<Side>,
}

impl ResultFile {
    /// Reads a parsed result file, or says what is wrong with it.
    pub fn read(document: &Value) -> Result<Self, String> {
        let text = |pointer: &str| document.pointer(pointer).and_then(Value::as_str).map(str::to_owned);
        let schema = text("/schema").ok_or("it has no schema, so that it is no result of this program")?;
        let figures = PlanInput::from_result(document).map_err(|error| error.to_string())?;
        let plan = match document.get("plan") {
            Some(plan) => Vec::<PlannedStep>::deserialize(plan).map_err(|error| format!("its plan: {error}"))?,
            None => Vec::new(),
        };
        let measurement = |pointer: &str| document.pointer(pointer).and_then(|value| Measurement::deserialize(value).ok());
        let verdicts = document.get("verdicts").and_then(Value::as_array).into_iter().flatten().filter_map(|verdict| {
            let field = verdict.get("field")?.as_str()?.to_owned();
            Some((field, Decision::deserialize(verdict.get("verdict")?).ok()?))
        });
        let numbers = |key: &str| {
            let photos = document.get("photos").and_then(Value::as_array).into_iter().flatten();
            photos.filter_map(|photo| photo.get(key)?.as_array()).flatten().filter_map(Value::as_u64).collect::<BTreeSet<u64>>()
        };
        let first = |pointers: [&str; 2]| pointers.iter().find_map(|pointer| document.pointer(pointer)).cloned();
        Ok(Self {
            schema,
            pattern_version: document.pointer("/pattern/version").map_or_else(|| "not given".to_owned(), Value::to_string),
            job_id: text("/job/id"),
            bike: first(["/job/bike/name", "/job/bike"]).unwrap_or_default(),
            print: first(["/settings/print", "/job/print"]).unwrap_or_default(),
            tooth_centres: tooth_centres(document),
            scales: [measurement("/pattern/scale_along"), measurement("/pattern/scale_across")],
            cards: numbers("cards"),
            tabs: numbers("tabs"),
            table: FigureTable::from(&figures),
            plan,
            verdicts: verdicts.collect(),
            job_chain_side: document.pointer("/job/chain_side").and_then(|side| Side::deserialize(side).ok()),
            figures,
        })
    }

    pub fn chain_side(&self) -> Option<Side> {
        self.figures.chain.side.or(self.job_chain_side)
    }

    pub fn verdict(&self, field: &str) -> Option<Decision> {
        self.verdicts.iter().find(|(known, _)| known == field).map(|&(_, decision)| decision)
    }

    /// +1 or -1: the way in which the figure answers to the print's scale.
    pub fn scale_sign(&self, field: &str) -> f64 {
        let answer = self.figures.scale_sensitivity.get(field).copied();
        answer.or(self.table.get(field).map(|figure| figure.value)).unwrap_or(0.0).signum()
    }

    /// The wheel's yaw as the earlier plan used it: in the frame as far as that is known.
    pub fn wheel_yaw_field(&self) -> &'static str {
        super::tolerance::Reference::of(&self.table).yaw
    }

    /// Ground-plan distance between the sprockets' centres, mm.
    pub fn centres(&self) -> Option<f64> {
        self.table.get(field::CENTRES).map(|centres| centres.value)
    }
}

/// The distances from face to tooth centre, rear and gearbox, in words; None where faces were compared.
fn tooth_centres(document: &Value) -> Option<String> {
    let reference = document.pointer("/chain/reference").and_then(Value::as_str);
    let distance = |key: &str| document.pointer(&format!("/settings/sprockets/{key}")).and_then(Value::as_f64);
    let distances = distance("rear_face_to_tooth_centre_mm").zip(distance("gearbox_face_to_tooth_centre_mm"));
    let (rear, gearbox) = distances.filter(|_| reference == Some("tooth_centres"))?;
    Some(format!("{rear} mm at the rear and {gearbox} mm at the gearbox"))
}
