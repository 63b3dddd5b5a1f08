//! What to look out for, in words.

use super::chain_drive;
use super::settings::PlanSettings;
use super::words::{by, mm};
use crate::bench::Figures;
use crate::figure::facts::ChainReference;
use crate::job::SpacerKind;
use crate::measurement::Measurement;
use crate::say;
use crate::text::{Amount, Sentence};

pub const PROP: &str = "Prop the bike before anything that holds the frame is loosened.";

pub const MEASURE_AFTER_HANGING: &str =
    "Nothing that stands on the bench may have moved: photograph again afterwards.";

pub const MEASURE_FIRST: &str = "It is expected to be out once the steps before are done, but that is not shown: measure again before this step.";

pub const UNUSUALLY_FAR: &str = "So large a move is unusual: check first that every tab sits where its number belongs and that left and right are not mixed up.";

/// For drawing one end of the spindle. `slack` is by how much the distance between the sprockets
/// grows, mm.
pub fn of_squaring(slack: Option<f64>, flats: Option<u32>) -> Vec<Sentence> {
    let mut cautions =
        vec![say!["Slacken the spindle nuts and anything that ties the brake plate first."]];
    match slack {
        Some(slack) if slack.abs() >= 0.05 => {
            let (way, chain) =
                if slack > 0.0 { ("grows", "tighter") } else { ("shrinks", "looser") };
            cautions.push(say![
                format!("The distance between the sprockets {way} by "),
                mm(slack),
                format!(": the chain gets {chain}. Set its slack again by moving both ends alike."),
            ]);
        }
        _ => cautions.push(say!["Set the chain's slack again by moving both ends alike."]),
    }
    if flats.is_some() {
        cautions.push(say![
            "Count flats from where the adjuster begins to bear, not from where it is loose."
        ]);
    }
    cautions
        .push(say!["Tighten the nuts, fit new split pins, and set the brake rod or cable again."]);
    cautions
}

/// For bringing the sprockets into line.
pub fn of_chain(
    pack: SpacerKind,
    gearbox_askew: bool,
    input: &Figures,
    settings: &PlanSettings,
) -> Vec<Sentence> {
    let mut cautions = Vec::new();
    if gearbox_askew {
        cautions
            .push(say!["The gearbox is not parallel with the wheel: have that put right first, since it moves the chain line, too."]);
    }
    cautions.push(say![match pack {
            SpacerKind::Hub => "Check that the brake, its torque arm and a speedometer drive still fit, and that the rim and tyre clear the chain and frame.",
            SpacerKind::Sprocket => "Check that the bolts or studs still have their full thread, and that the sprocket still seats on its register.",
            SpacerKind::Gearbox => "Check that the nut still has its full thread and its lock, and that the oil seal still runs on its face.",
        }]);
    if input.measured.facts.chain_reference == Some(ChainReference::Faces) {
        cautions.push(faces_alike(settings));
    }
    cautions
}

/// Faces are compared, teeth must line up: how much that can matter, for the chains of the job's
/// pitch.
fn faces_alike(settings: &PlanSettings) -> Sentence {
    let widths = settings
        .chain_pitch_mm
        .into_iter()
        .flat_map(chain_drive::sizes_of_pitch)
        .map(|size| size.tooth_width());
    let (least, most) = widths
        .fold((f64::INFINITY, 0.0f64), |(least, most), width| (least.min(width), most.max(width)));
    let range = match least < most {
        true => say![
            " (teeth for chains of this pitch are ",
            Amount::tenths(least),
            " to ",
            Amount::tenths(most),
            " wide)",
        ],
        false => Sentence::default(),
    };
    say![
        "The outside faces were compared, as if both sprockets were equally thick: half of any difference counts",
        range,
        ". Enter the distances from face to tooth centre under [sprockets].",
    ]
}

/// For moving the rim by its spokes.
pub fn of_centring(
    runs_out: bool,
    target: Option<f64>,
    new_face: Option<Measurement>,
) -> Vec<Sentence> {
    let mut cautions = Vec::new();
    if runs_out {
        cautions.push(say![
            "The rim runs out by more than it may: have it trued first, then measure again."
        ]);
    }
    if let (Some(target), Some(new)) = (target.filter(|target| target.is_finite()), new_face) {
        let apart = by(&Measurement { value: new.value - target, ..new });
        cautions.push(say![
            "The job's target for the hub face is ",
            Amount::mm(target),
            "; this plan comes out ",
            apart,
            " from it."
        ]);
    }
    cautions.push(say!["Loosen before tightening, and let no spoke go slack or stick through its nipple into the tube."]);
    cautions.push(say!["Have spoke tension checked by a wheel builder before the bike is ridden."]);
    cautions
}
