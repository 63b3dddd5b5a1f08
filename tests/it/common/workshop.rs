//! A plan carried out on the truth: what each step gives in its own fields is done to the bike, no
//! more and no less.

use std::collections::BTreeMap;

use serde_json::Value;
use sightcord::measurement::Measurement;
use sightcord::plan::outcome::{Direction, Expected, PlanStep, StepKind};

use super::adjust::Adjustment;
use super::scene::TruthScene;

impl TruthScene {
    /// The same bike when every step of a plan is done exactly as it says, photographed anew from
    /// other places.
    pub fn after_plan(&self, plan: &[PlanStep]) -> Self {
        let mut scene = plan.iter().fold(self.clone(), |scene, step| scene.after_step(step));
        scene.seed += 1;
        scene.take_photos();
        scene
    }

    /// The same bike when one step of a plan is done. What is referred to others is left as it is.
    pub fn after_step(&self, step: &PlanStep) -> Self {
        let told = step.distance.map_or(0.0, |distance| distance.value);
        let toward = |positive: Direction, negative: Direction| match step.direction {
            Some(direction) if direction == positive => told,
            Some(direction) if direction == negative => -told,
            direction => panic!("step {} {:?} goes {direction:?}", step.n, step.step),
        };
        let adjustment = match step.step {
            StepKind::Rehang => Adjustment::RehangFrame {
                left_mm: if step.direction.is_some() {
                    toward(Direction::Left, Direction::Right)
                } else {
                    0.0
                },
                yaw_deg: turn_in_words(&step.action),
            },
            StepKind::Square => Adjustment::DrawSpindle {
                end: step.side.expect("an end of the spindle"),
                forward_mm: toward(Direction::Forward, Direction::Rearward),
            },
            StepKind::Chain => {
                assert_eq!(
                    step.side,
                    Some(self.bike.chain_side),
                    "the chain line is set on the chain's side"
                );
                let outboard_mm = toward(Direction::Outboard, Direction::Inboard);
                match step.applied_to.as_str() {
                    "hub" => Adjustment::MoveWheelOnSpindle {
                        left_mm: self.bike.chain_side.sign() * outboard_mm,
                    },
                    "sprocket" => Adjustment::PackSprocket { outboard_mm },
                    "gearbox" => Adjustment::ShimGearbox { outboard_mm },
                    other => panic!("the chain line is not set at the {other}"),
                }
            }
            StepKind::Centre => {
                Adjustment::PullRim { left_mm: toward(Direction::Left, Direction::Right) }
            }
            StepKind::Refer => return self.clone(),
        };
        self.adjusted(&[adjustment])
    }
}

/// The turn that hanging the frame again asks for, which is in its sentence alone: "0.35
/// degrees front to the right".
fn turn_in_words(action: &str) -> f64 {
    let Some((before, after)) = action.split_once(" degrees front to the ") else { return 0.0 };
    let amount: f64 = before
        .rsplit(' ')
        .next()
        .and_then(|word| word.parse().ok())
        .expect("an angle before its unit");
    if after.starts_with("left") { amount } else { -amount }
}

/// The expected figures by the JSON pointers of the figures themselves.
pub fn expected_figures(expected: &Expected) -> BTreeMap<String, Measurement> {
    let mut found = BTreeMap::new();
    collect(
        "",
        &serde_json::to_value(expected).expect("expected figures are plain data"),
        &mut found,
    );
    found
}

fn collect(pointer: &str, value: &Value, found: &mut BTreeMap<String, Measurement>) {
    match value {
        Value::Object(fields) if fields.contains_key("value") && fields.contains_key("u") => {
            let figure = serde_json::from_value(value.clone()).expect("a measurement");
            found.insert(pointer.to_owned(), figure);
        }
        Value::Object(fields) => fields
            .iter()
            .for_each(|(name, field)| collect(&format!("{pointer}/{name}"), field, found)),
        Value::Array(rims) => {
            for rim in rims {
                let id = rim["id"].as_str().expect("a rim has an id");
                collect(&format!("{pointer}/{id}"), rim, found);
            }
        }
        _ => {}
    }
}
