//! Decides what the datum is told from: the cord's edges, riders on it, or both.

use nalgebra::Vector3;

use crate::finding::Finding;
use crate::scene::Solution;

use super::datum::DatumChoice;
use super::datum_findings;
use super::datum_trial::Trial;
use super::ground::CardPlane;
use super::riders::standing;
use super::settings::BenchSettings;
use super::views::Views;

/// What the datum is told from. None, with a finding, where nothing tells it or where its sources contradict each other.
pub fn choose(
    solution: &Solution,
    settings: &BenchSettings,
    views: &Views,
    up: &Vector3<f64>,
    plane: Option<&CardPlane>,
    findings: &mut Vec<Finding>,
) -> Option<DatumChoice> {
    let edges = DatumChoice::edges_alone(solution);
    let riders = standing(solution, settings, views, up, plane, findings);
    let Some(covariance) = solution.covariance.as_ref().filter(|_| !riders.is_empty()) else { return edges };
    let trial = Trial::new(solution, settings, covariance, edges.is_some(), riders);
    let (trial, moved) = trial.without_moved(solution.cord_moved);
    let (trial, outlier) = trial.agreeing();
    findings.extend(outlier.map(|(words, off)| datum_findings::left_out(&words, off)));
    let disagreement = trial.disagreement();
    if let Some(by) = disagreement {
        findings.push(datum_findings::disagree(edges.is_some(), &by));
        return None;
    }
    let chosen = trial.chosen(edges.as_ref(), findings)?;
    if moved && edges.is_none() {
        findings.push(datum_findings::riders_moved());
    }
    Some(chosen)
}
