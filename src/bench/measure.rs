//! From the solved scene to the noun that leaves this stage.

use std::collections::BTreeMap;

use nalgebra::DMatrix;

use crate::figure::Figure;
use crate::figure::facts::UpFrom;
use crate::figure::sense::Sense;
use crate::figure::table::{BudgetEntry, Correlation, JointCovariance};
use crate::figure::unit::Kind;
use crate::finding::Finding;
use crate::measurement::{Measurement, Quality};
use crate::scene::model::state::TurningPart;
use crate::scene::{Solution, State};

use super::choose::choose;
use super::evaluate::{Choices, Evaluation};
use super::figures::Figures;
use super::layout::layout;
use super::nuisance::{Nuisance, Shift};
use super::propagate::{Propagated, propagate};
use super::settings::BenchSettings;
use super::sprocket_tabs::few_gearbox_tabs;
use super::unseen::nuisances;
use super::views::Views;
use super::{contradiction, datum, datum_findings, turning, unsound};

/// From here on the odd and even photos' disagreement raises the noise: the ratio scatters about 1
/// by some 0.2 for honest photos, since the checked figures are few and hang together.
const CROSSCHECK_BOUND: f64 = 1.7;

/// By how much the photos' noise is raised for what odd and even photos differ: 1 where they agree.
pub fn noise_raised(crosscheck_ratio: Option<f64>) -> f64 {
    crosscheck_ratio.filter(|ratio| *ratio > CROSSCHECK_BOUND).unwrap_or(1.0)
}

/// All figures of a solved scene. Where riders contradict the cord, the other reading of the light
/// counts if it agrees with them.
pub fn measure(solution: &Solution, settings: &BenchSettings) -> Figures {
    let contradicts = |figures: &Figures| {
        figures.findings.iter().any(|finding| finding.id == datum_findings::DISAGREE)
    };
    let rival = solution.with_rival_cord();
    let first = figures_of(solution, rival.as_ref(), settings, None);
    if let Some(other) = rival.as_ref().filter(|_| contradicts(&first.0)) {
        let theirs = figures_of(other, None, settings, None);
        if !contradicts(&theirs.0) {
            return checked(theirs, other, None, settings);
        }
    }
    checked(first, solution, rival.as_ref(), settings)
}

/// The figures, with the photos' noise raised where odd and even photos disagree.
fn checked(
    (figures, apart): (Figures, Apart),
    solution: &Solution,
    rival: Option<&Solution>,
    settings: &BenchSettings,
) -> Figures {
    let ratio = noise_raised(figures.crosscheck_ratio);
    if ratio <= 1.0 {
        return figures;
    }
    // The photos are worse than their residuals tell: their share of every uncertainty grows by the
    // ratio.
    let mut worse = solution.clone();
    worse.raise_noise(ratio);
    let (left_right, findings) = (figures.crosscheck_left_right, figures.findings);
    let (mut figures, _) = figures_of(&worse, rival, settings, Some(apart));
    figures.crosscheck_ratio = Some(ratio);
    figures.crosscheck_left_right = left_right;
    figures.findings.extend(
        findings
            .into_iter()
            .filter(|finding| matches!(finding.id.as_str(), "not-cross-checked" | "sides-differ")),
    );
    figures.findings.push(Finding::warning(
        "halves-disagree",
        format!(
            "Odd and even photos differ {ratio:.1} times as much as their noise explains; every uncertainty was raised accordingly."
        ),
        "Take more photos from different sides, hold the phone still, and see that nothing moves within a set-up.",
    ));
    figures
}

/// Least uncertainty of figures that odd and even photos both tell: by how much their difference
/// says that all are off.
type Apart = BTreeMap<Figure, f64>;

/// How the figures are worked out of any state of a scene: by what was chosen once.
struct Workings<'a> {
    settings: &'a BenchSettings,
    choices: &'a Choices,
    nuisances: Vec<(Nuisance, f64)>,
    fields: Vec<Figure>,
}

impl Workings<'_> {
    /// In the order of `fields`; NaN where this state does not give a figure that the solution does, as
    /// when a sprocket is at the limit of how askew one can be.
    fn values(&self, state: &State, shift: Shift) -> Vec<f64> {
        let recorded = Evaluation::new(self.settings, self.choices, state, shift).run().recorded;
        let recorded: BTreeMap<Figure, f64> = recorded.into_iter().collect();
        let value_of = |field| recorded.get(field).copied().unwrap_or(f64::NAN);
        self.fields.iter().map(value_of).collect()
    }

    /// None where the photos leave something undetermined.
    fn spread(&self, solution: &Solution) -> Option<Propagated> {
        let covariance = solution.covariance.as_ref()?;
        let values = |state: &State, shift: Shift| self.values(state, shift);
        Some(propagate(solution, covariance, &self.nuisances, self.fields.len(), values))
    }

    /// Each figure and its expanded uncertainty by another reading of the photos.
    fn reading(&self, solution: &Solution) -> Option<BTreeMap<Figure, (f64, f64)>> {
        let spread = self.spread(solution)?.covariance;
        let values = self.values(&solution.state, Shift(None)).into_iter().enumerate();
        let with_u = values.map(|(i, value)| (value, 2.0 * spread[(i, i)].max(0.0).sqrt()));
        let given =
            self.fields.iter().cloned().zip(with_u).filter(|(_, (value, _))| value.is_finite());
        Some(given.collect())
    }

    /// A field's quality, and by how much its uncertainty is widened.
    fn quality(&self, field: &Figure, views: &Views, solution: &Solution) -> (Quality, f64) {
        let datum = self.choices.datum.as_ref();
        let doubtful = datum.is_some_and(|datum| datum.quality == Quality::Single);
        // An earlier evening's axis goes by tabs that were chosen for having been seen well.
        let by_carried = self.choices.carried.is_some()
            && matches!(field, Figure::WheelYaw | Figure::WheelLean | Figure::WheelInFrameYaw);
        let seen = match by_carried {
            true => Quality::Good,
            false => views.quality(field, self.settings, solution),
        };
        match seen {
            Quality::Good if doubtful && datum::counts_from_it(field) => (Quality::Single, 1.0),
            Quality::Good => (Quality::Good, 1.0),
            Quality::Single => (Quality::Single, LONE_VIEW),
        }
    }
}

/// `rival` is the same with another reading of the cord that the light supports nearly as well.
/// `apart` is what odd and even photos showed before; without it they are compared.
fn figures_of(
    solution: &Solution,
    rival: Option<&Solution>,
    settings: &BenchSettings,
    apart: Option<Apart>,
) -> (Figures, Apart) {
    let mut figures = Figures::default();
    let views = Views::of(solution);
    let mut findings = Vec::new();
    let choices = choose(solution, settings, &views, &mut figures.measured.up, &mut findings);
    let evaluation = Evaluation::new(settings, &choices, &solution.state, Shift(None)).run();
    let tilts = super::flatness::tilted_tabs(solution, settings, &evaluation, &mut findings);
    let nuisances = nuisances(solution, settings, &choices, &evaluation, &tilts);
    let fields: Vec<Figure> =
        evaluation.recorded.iter().map(|(figure, _)| figure.clone()).collect();
    let values: Vec<f64> = evaluation.recorded.iter().map(|(_, value)| *value).collect();
    let workings = Workings { settings, choices: &choices, nuisances, fields };
    let fields = &workings.fields;
    if let Some(unsound) = unsound::finding(solution) {
        figures.findings = [findings, vec![unsound]].concat();
        return (figures, Apart::new());
    }
    let Some(propagated) = workings.spread(solution) else {
        figures.findings = [findings, vec![unsound::not_determined()]].concat();
        return (figures, Apart::new());
    };
    let apart = apart.unwrap_or_else(|| {
        let checked = super::crosscheck::check(solution, settings, &choices, fields, &propagated);
        figures.crosscheck_ratio = checked.ratio;
        figures.crosscheck_left_right = checked.left_right;
        findings.extend(checked.findings);
        checked.apart
    });
    let quality = |field: &Figure| workings.quality(field, &views, solution);
    let before = measurements(fields, &values, &propagated.covariance, &quality);
    let mut measured = before.clone();
    if solution.undetermined {
        measured.retain(|field, figure| figure.u < too_unsure(field));
        findings.push(unsound::partly_determined());
    }
    keep_apart(&apart, &mut measured);
    if !solution.cord_movement_is_determined() {
        measured.remove(&Figure::CordMoved);
    }
    findings.extend(widen_for_unsteady_wheel(
        solution,
        &evaluation,
        fields,
        &propagated,
        &mut measured,
    ));
    // Riders that agree with the cord's edges show which reading of them is right.
    let riders_decide = choices.datum.as_ref().is_some_and(|datum| !datum.riders.is_empty());
    let readings = solution.readings.iter().chain(rival.filter(|_| !riders_decide));
    let readings: Vec<_> = readings.filter_map(|reading| workings.reading(reading)).collect();
    contradiction::allow_for_readings(&readings, &mut measured);
    contradiction::widen_with_their_twins(&before, &mut measured);
    super::assemble::fill(&mut figures.measured, &evaluation, &measured, settings, solution);
    budget_and_joint(&mut figures, fields, &propagated);
    if matches!(figures.measured.up.from, UpFrom::SpiritLevel | UpFrom::Bench) {
        figures.measured.up.relative_to_bench = level_dependent(fields, &propagated);
    }
    figures.set(Figure::ScaleAlong, print_scale(solution, 0));
    figures.set(Figure::ScaleAcross, print_scale(solution, 1));
    figures.layout = layout(solution, settings, &evaluation);
    findings.extend(few_gearbox_tabs(&figures, settings, &choices, &evaluation));
    super::missing::findings(&figures, solution, settings, &choices, &views, &mut findings);
    figures.findings = findings;
    (figures, apart)
}

/// The halves' disagreement as a whole raises the noise; what one figure differs by more than that,
/// it keeps to itself.
fn keep_apart(apart: &Apart, measured: &mut BTreeMap<Figure, Measurement>) {
    for (field, apart) in apart {
        if let Some(figure) = measured.get_mut(field) {
            figure.u = figure.u.max(*apart);
        }
    }
}

/// Widens what a wheel that shifts along its axis, or that was moved between set-ups, makes
/// uncertain.
fn widen_for_unsteady_wheel(
    solution: &Solution,
    evaluation: &Evaluation,
    fields: &[Figure],
    propagated: &Propagated,
    measured: &mut BTreeMap<Figure, Measurement>,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    if let Some(axis) = evaluation.wheel_axis() {
        let apart_mm = turning::float_along(&solution.state, TurningPart::Wheel, &axis);
        let radius_mm = evaluation.mark_radius(&axis).unwrap_or(contradiction::USUAL_RADIUS_MM);
        let float = contradiction::Float { apart_mm, radius_mm };
        findings.extend(contradiction::widen_for_floating_wheel(float, measured));
    }
    if solution.readings.is_empty() {
        findings.extend(contradiction::widen_for_moved_wheel(
            fields,
            &propagated.covariance,
            measured,
        ));
    }
    findings
}

/// Figures in whose standard uncertainty the bench's level has more than this part: the others
/// don't feel it.
const FEELS_LEVEL: f64 = 0.1;

/// The figures that depend on how level the bench is. A yaw turns about the upright: a lean of
/// that changes it to second order only.
fn level_dependent(fields: &[Figure], propagated: &Propagated) -> Vec<Figure> {
    let source = Nuisance::Level(0).source();
    let feels = |i: usize| {
        let share = propagated.sources[i].get(source).copied().unwrap_or(0.0);
        share > FEELS_LEVEL * propagated.covariance[(i, i)].max(0.0).sqrt()
    };
    let is_yaw = |figure: &Figure| figure.sense() == Sense::Yaw;
    (0..fields.len())
        .filter(|&i| feels(i) && !is_yaw(&fields[i]))
        .map(|i| fields[i].clone())
        .collect()
}

fn print_scale(solution: &Solution, way: usize) -> Option<Measurement> {
    let covariance = solution.covariance.as_ref()?;
    let slot = solution.slots.print + way;
    let u = 2.0 * covariance[(slot, slot)].max(0.0).sqrt();
    Some(Measurement { value: solution.state.print[way], u, quality: Quality::Good })
}

/// What one photo alone shows, or several from one spot, leaves nothing by which its errors would
/// show: its uncertainty is doubled (our estimate; common practice, no source).
const LONE_VIEW: f64 = 2.0;

/// From this uncertainty on a figure is worthless: no bench is so far out (our choice).
fn too_unsure(figure: &Figure) -> f64 {
    match figure.kind() {
        Kind::Length => 25.0,
        Kind::Angle => 5.0,
        Kind::Ratio => 0.1,
    }
}

/// Values with uncertainties; a figure whose uncertainty cannot be computed is left out. `quality`
/// gives a field's quality and by how much its uncertainty is widened.
fn measurements(
    fields: &[Figure],
    values: &[f64],
    covariance: &DMatrix<f64>,
    quality: &dyn Fn(&Figure) -> (Quality, f64),
) -> BTreeMap<Figure, Measurement> {
    let mut measured = BTreeMap::new();
    for (i, field) in fields.iter().enumerate() {
        let u = 2.0 * covariance[(i, i)].max(0.0).sqrt();
        if values[i].is_finite() && u.is_finite() && u > 0.0 {
            let (quality, widened) = quality(field);
            measured
                .insert(field.clone(), Measurement { value: values[i], u: u * widened, quality });
        }
    }
    measured
}

/// Contributions below this part of a figure's uncertainty are not worth a line in its budget (our
/// choice).
const LEAST_SHARE: f64 = 0.02;

fn budget_and_joint(figures: &mut Figures, fields: &[Figure], propagated: &Propagated) {
    let n = fields.len();
    let sigma: Vec<f64> = (0..n).map(|i| propagated.covariance[(i, i)].max(0.0).sqrt()).collect();
    for (i, field) in fields.iter().enumerate() {
        let mut shares: Vec<_> = propagated.sources[i]
            .iter()
            .filter(|(_, share)| **share > LEAST_SHARE * sigma[i])
            .collect();
        shares.sort_by(|a, b| b.1.total_cmp(a.1).then(a.0.cmp(b.0)));
        figures.budget.extend(shares.into_iter().map(|(from, share)| BudgetEntry {
            field: field.clone(),
            from: (*from).to_owned(),
            u: 2.0 * share,
        }));
        figures.scale_sensitivity.insert(field.clone(), propagated.per_percent_of_print[i]);
    }
    let entry = |i: usize, j: usize| propagated.covariance[(i, j)];
    let matrix = |value: &dyn Fn(usize, usize) -> f64| {
        (0..n).map(|i| (0..n).map(|j| value(i, j)).collect()).collect()
    };
    let correlate = |i: usize, j: usize| match (i == j, sigma[i] * sigma[j]) {
        (true, _) => 1.0,
        (_, product) if product > 0.0 => (entry(i, j) / product).clamp(-1.0, 1.0),
        _ => 0.0,
    };
    figures.correlation = Correlation { fields: fields.to_vec(), matrix: matrix(&correlate) };
    figures.joint = JointCovariance { fields: fields.to_vec(), matrix: matrix(&entry) };
}
