//! Decides what the datum is measured from: the cord's edges, riders on it, or both.

use nalgebra::Vector3;

use crate::finding::Finding;
use crate::measurement::Quality;
use crate::scene::Solution;

use super::datum::DatumChoice;
use super::datum_findings;
use super::datum_trial::Trial;
use super::ground::CardPlane;
use super::riders::{StandingRider, standing_riders};
use super::settings::BenchSettings;
use super::views::Views;

/// What the datum is measured from. None, with a finding, where nothing determines it or where its
/// sources contradict each other.
pub fn choose(
    solution: &Solution,
    settings: &BenchSettings,
    views: &Views,
    up: &Vector3<f64>,
    plane: Option<&CardPlane>,
    findings: &mut Vec<Finding>,
) -> Option<DatumChoice> {
    let edges = DatumChoice::edges_alone(solution);
    let riders = standing_riders(solution, settings, views, up, plane, findings);
    let Some(covariance) = solution.covariance.as_ref().filter(|_| !riders.is_empty()) else {
        return edges;
    };
    let tried = |edges: Option<&DatumChoice>, riders: Vec<StandingRider>| {
        let mut own_findings = Vec::new();
        let trial = Trial::new(solution, settings, covariance, edges.is_some(), riders);
        let (trial, moved) = trial.without_moved(solution.cord_moved);
        let (trial, outlier) = trial.agreeing();
        own_findings.extend(outlier.map(|(words, off)| datum_findings::left_out(&words, off)));
        if let Some(by) = trial.disagreement() {
            own_findings.push(datum_findings::disagree(edges.is_some(), &by));
            return Tried { chosen: None, disagree: true, own_findings };
        }
        let chosen = trial.chosen(edges, &mut own_findings);
        if chosen.is_some() && moved && edges.is_none() {
            own_findings.push(datum_findings::riders_moved());
        }
        Tried { chosen, disagree: false, own_findings }
    };
    let mut outcome = tried(edges.as_ref(), riders.clone());
    // Edges that are uncertain anyway don't refuse what riders show well on their own.
    if outcome.disagree && edges.as_ref().is_some_and(|edges| edges.quality == Quality::Single) {
        let alone = tried(None, riders);
        if alone.chosen.as_ref().is_some_and(|chosen| chosen.quality == Quality::Good) {
            outcome = alone;
        }
    }
    findings.extend(outcome.own_findings);
    outcome.chosen
}

/// What riders came to, with the edges or alone.
struct Tried {
    chosen: Option<DatumChoice>,
    /// Whether they contradict the edges or each other.
    disagree: bool,
    own_findings: Vec<Finding>,
}
