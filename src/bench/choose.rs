//! What is decided once, at the solution: what figures are measured from, and which side is which.

use nalgebra::Vector3;

use crate::figure::facts::UpFigures;
use crate::figure::{CHAIN_SIDE, Figure};
use crate::finding::Finding;
use crate::scene::model::state::{Ground, TurningPart};
use crate::scene::{Solution, State};

use super::carried::Carried;
use super::datum::DatumChoice;
use super::datum_choice;
use super::evaluate::{Choices, Evaluation};
use super::figures::Side;
use super::ground::UpWeights;
use super::nuisance::Shift;
use super::settings::{BenchSettings, Part};
use super::turning::{LEAST_TURN, turning_axis};
use super::up::weigh_up;
use super::views::Views;

/// Decides what figures are measured from.
pub fn choose(
    solution: &Solution,
    settings: &BenchSettings,
    views: &Views,
    up: &mut UpFigures,
    findings: &mut Vec<Finding>,
) -> Choices {
    let state = &solution.state;
    let cards: Vec<usize> =
        (0..state.cards.len()).filter(|&i| state.cards[i].ground == Ground::Bench).collect();
    let left = left_hint(state, settings, findings);
    let mut choices = Choices {
        up: UpWeights::default(),
        datum: DatumChoice::edges_alone(solution),
        cards,
        left,
        wheel_axis: false,
        carried: None,
        unsteady: None,
        front_axis: false,
        gearbox_axis: false,
        chain_side: None,
        hub_side: None,
        run_out: false,
        loose: solution.loose_tabs.keys().copied().collect(),
    };
    choices.up = weigh_up(solution, settings, &choices, views, up, findings);
    let plain = Evaluation::new(settings, &choices, state, Shift(None));
    choices.datum =
        datum_choice::choose(solution, settings, views, &plain.up, plain.plane.as_ref(), findings);
    let Some(left) = left else { return choices };
    let axis_is_known = |part: TurningPart, least_tabs: usize| {
        views.joining_tabs(solution, part) >= least_tabs
            && turning_axis(state, part, &left).is_some_and(|axis| axis.turn >= LEAST_TURN)
    };
    choices.wheel_axis = axis_is_known(TurningPart::Wheel, 3);
    if choices.wheel_axis {
        choices.unsteady = super::seating::unsteady(solution, &left);
        findings.extend(choices.unsteady.map(|unsteady| unsteady.finding()));
    } else if let Some(wheel) = &settings.known_wheel {
        choices.carried = Carried::choose(solution, settings, views, wheel);
    }
    // Two tabs, a rim's width apart, tell the front wheel's axis less well, and their uncertainty
    // says so.
    choices.front_axis = axis_is_known(TurningPart::FrontWheel, 2);
    choices.gearbox_axis = axis_is_known(TurningPart::Gearbox, 3);
    choices.chain_side = chain_side(state, settings, &left, findings);
    choices.hub_side = settings
        .hub_side
        .or_else(|| side_of(state, settings, &left, &|part| *part == Part::HubFace));
    choices.run_out = true;
    let trial = Evaluation::new(settings, &choices, state, Shift(None)).run();
    let has_run_out = trial.recorded.iter().any(|(figure, _)| *figure == Figure::RunoutLateral);
    let forward = check_forward(&trial, findings);
    choices.run_out = has_run_out;
    if !forward {
        choices.left = None;
    }
    choices
}

/// The choices alone, without their findings.
pub fn choices_of(solution: &Solution, settings: &BenchSettings) -> Choices {
    choose(solution, settings, &Views::of(solution), &mut UpFigures::default(), &mut Vec::new())
}

/// Poses of the tabs that mark a part, one per tab, in the world of the first set-up in which each
/// has a place.
fn poses_of(
    state: &State,
    settings: &BenchSettings,
    wanted: &dyn Fn(&Part) -> bool,
) -> Vec<(Part, Vector3<f64>)> {
    let mut found = Vec::new();
    for mark in settings.marks.iter().filter(|mark| wanted(&mark.part)) {
        for tab in state.tabs.iter().filter(|tab| tab.number == mark.number) {
            let setups = 0..settings.setups.len();
            let pose = setups
                .filter(|&s| !settings.lens_only[s] && tab.only_setup.is_none_or(|only| only == s))
                .find_map(|s| state.world_from_tab(tab, s));
            found.extend(pose.map(|pose| (mark.part, pose.r.column(2).into_owned())));
        }
    }
    found
}

/// Roughly to the left, from the outward normals of the rear rim's tabs.
fn left_hint(
    state: &State,
    settings: &BenchSettings,
    findings: &mut Vec<Finding>,
) -> Option<Vector3<f64>> {
    let normals =
        poses_of(state, settings, &|part| matches!(part, Part::Rim { front_wheel: false, .. }));
    let toward_left: Vec<Vector3<f64>> = normals
        .iter()
        .filter_map(|(part, normal)| match part {
            Part::Rim { side, .. } => Some(normal * side.sign()),
            _ => None,
        })
        .collect();
    let sum = toward_left.iter().sum::<Vector3<f64>>();
    let against = toward_left.iter().filter(|n| n.dot(&sum) < 0.0).count();
    if toward_left.is_empty() {
        findings.push(Finding::refused(
            "sides-unknown",
            "Neither rim tab (1 left, 2 right) was found, so the program can't know left from right and gives no figure that has a side.",
            "Stick tabs 1 and 2 on the rear rim's outside faces and take photos from both sides.",
        ));
        return None;
    }
    if against > 0 {
        findings.push(Finding::refused(
            "sides-contradict",
            "The tabs on the rear rim contradict each other about which side is left.",
            "Tab 1 and tabs 33 to 38 belong on the rim's left outside face, tab 2 on its right one; change those that are wrong.",
        ));
        return None;
    }
    Some(sum.normalize())
}

/// The side on which marks of a part are, by their outward normals.
fn side_of(
    state: &State,
    settings: &BenchSettings,
    left: &Vector3<f64>,
    wanted: &dyn Fn(&Part) -> bool,
) -> Option<Side> {
    let sum =
        poses_of(state, settings, wanted).iter().map(|(_, normal)| normal.dot(left)).sum::<f64>();
    match sum {
        s if s > 0.0 => Some(Side::Left),
        s if s < 0.0 => Some(Side::Right),
        _ => None,
    }
}

fn chain_side(
    state: &State,
    settings: &BenchSettings,
    left: &Vector3<f64>,
    findings: &mut Vec<Finding>,
) -> Option<Side> {
    let seen = side_of(state, settings, left, &|part| matches!(part, Part::RearSprocket))
        .or_else(|| side_of(state, settings, left, &|part| matches!(part, Part::GearboxSprocket)));
    if let (Some(stated), Some(seen)) = (settings.chain_side, seen)
        && stated != seen
    {
        findings.push(
            Finding::warning(
                "chain-side-contradicts",
                format!("The job says that the chain runs on the {}, but the sprocket tabs face {}.", stated.word(), seen.word()),
                "Check chain_side in job.toml and whether tabs 1 and 2 are on the right sides; the program went by the tabs.",
            )
            .about(CHAIN_SIDE),
        );
    }
    seen.or(settings.chain_side)
}

/// Whether the gearbox sprocket lies ahead of the wheel: if it does not, the sides are swapped.
fn check_forward(evaluation: &Evaluation, findings: &mut Vec<Finding>) -> bool {
    let state = evaluation.state;
    let settings = evaluation.settings;
    let centre = |wanted: &dyn Fn(&Part) -> bool| {
        let mut points = Vec::new();
        for mark in settings.marks.iter().filter(|m| wanted(&m.part)) {
            for tab in state.tabs.iter().filter(|t| t.number == mark.number) {
                let pose = (0..settings.setups.len())
                    .filter(|&s| !settings.lens_only[s])
                    .find_map(|s| state.world_from_tab(tab, s));
                points.extend(pose.map(|p| p.t));
            }
        }
        (!points.is_empty()).then(|| points.iter().sum::<Vector3<f64>>() / points.len() as f64)
    };
    let (Some(datum), Some(gearbox)) =
        (evaluation.datum, centre(&|p| matches!(p, Part::GearboxSprocket)))
    else {
        return true;
    };
    let rear = centre(&|p| matches!(p, Part::RearSprocket | Part::SpindleEnd(_)));
    let Some(rear) = rear else { return true };
    if (gearbox - rear).dot(&datum.forward) < 0.0 {
        findings.push(Finding::refused(
            "sides-swapped",
            "By the rim tabs the gearbox sprocket would lie behind the wheel: tabs 1 and 2 are probably swapped, so no figure with a side is given.",
            "Tab 1 belongs on the left of the bike, tab 2 on the right, as its rider sits. Change them over and take the photos again.",
        ));
        return false;
    }
    true
}
