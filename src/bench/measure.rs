//! From the solved scene to the noun that leaves this stage.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::{DMatrix, Matrix2, Matrix3, Vector2, Vector3};

use crate::finding::Finding;
use crate::math::robust::student;
use crate::measurement::{Measurement, Quality};
use crate::scene::state::{Carrier, line_axes};
use crate::scene::{Solution, State};
use crate::sightings::StringKind;

use super::contradiction;
use super::datum::{self, DatumChoice};
use super::evaluate::{Choices, Evaluation, line_letter};
use super::figures::{BudgetEntry, Correlation, Figures, JointCovariance, Layout, Mark, Side, UpFigures, UpFrom, UpSource};
use super::ground::{UpWeights, card_plane, plumb_lines, up_from_cards, up_from_line};
use super::nuisance::{self, Nuisance, Shift};
use super::propagate::{Propagated, propagate};
use super::settings::{BenchSettings, FRONT_WHEEL, GEARBOX, Part, WHEEL};
use super::turning::{LEAST_TURN, turning_axis};
use super::views::Views;

/// From here on the odd and even photos' disagreement raises the noise: the ratio scatters about 1 by some 0.2 for honest photos, since
/// the checked figures are few and hang together.
const CROSSCHECK_BOUND: f64 = 1.7;

/// By how much the photos' noise is raised for what odd and even photos differ: 1 where they agree.
pub fn noise_raised(crosscheck_ratio: Option<f64>) -> f64 {
    crosscheck_ratio.filter(|ratio| *ratio > CROSSCHECK_BOUND).unwrap_or(1.0)
}

/// All figures of a solved scene.
pub fn measure(solution: &Solution, settings: &BenchSettings) -> Figures {
    let figures = tell(solution, settings, true);
    let ratio = noise_raised(figures.crosscheck_ratio);
    if ratio <= 1.0 {
        return figures;
    }
    // The photos are worse than their residuals tell: their share of every uncertainty grows by the ratio.
    let mut worse = solution.clone();
    worse.raise_noise(ratio);
    let (left_right, findings) = (figures.crosscheck_left_right, figures.findings);
    let mut figures = tell(&worse, settings, false);
    figures.crosscheck_ratio = Some(ratio);
    figures.crosscheck_left_right = left_right;
    figures
        .findings
        .extend(findings.into_iter().filter(|finding| matches!(finding.id.as_str(), "not-cross-checked" | "sides-differ")));
    figures.findings.push(Finding::warning(
        "halves-disagree",
        format!(
            "Odd and even photos differ {ratio:.1} times as much as their noise explains; every uncertainty was raised accordingly."
        ),
        "Take more photos from different sides, hold the phone still, and see that nothing moves within a set-up.",
    ));
    figures
}

fn tell(solution: &Solution, settings: &BenchSettings, check_halves: bool) -> Figures {
    let mut figures = Figures::default();
    let views = Views::of(solution);
    let mut findings = Vec::new();
    let choices = choose(solution, settings, &views, &mut figures.up, &mut findings);
    let evaluation = Evaluation::new(settings, &choices, &solution.state, Shift(None)).run();
    let tilts = super::flatness::tilted_tabs(solution, settings, &evaluation, &mut findings);
    let nuisances = nuisances(solution, settings, &choices, &evaluation, &tilts);
    let fields: Vec<String> = evaluation.told.iter().map(|(field, _)| field.clone()).collect();
    let values: Vec<f64> = evaluation.told.iter().map(|(_, value)| *value).collect();
    let values_of = |state: &State, shift: Shift| -> Vec<f64> {
        Evaluation::new(settings, &choices, state, shift).run().told.iter().map(|(_, value)| *value).collect()
    };
    let spread_of = |solution: &Solution| {
        let covariance = solution.covariance.as_ref()?;
        Some(propagate(solution, covariance, &nuisances, fields.len(), values_of))
    };
    let propagated = spread_of(solution);
    let Some(propagated) = propagated else {
        findings.push(Finding::refused(
            "not-determined",
            "The photos leave something undetermined, so no uncertainty can be told and no figure is given.",
            "Take more photos from other sides, each with two cards or more in it.",
        ));
        figures.findings = findings;
        return figures;
    };
    if check_halves {
        let checked = super::crosscheck::check(solution, settings, &choices, &fields, &propagated);
        figures.crosscheck_ratio = checked.ratio;
        figures.crosscheck_left_right = checked.left_right;
        findings.extend(checked.findings);
    }
    let doubtful = choices.datum.as_ref().is_some_and(|datum| datum.quality == Quality::Single);
    let quality = |field: &str| match views.quality(field, settings, solution) {
        Quality::Good if doubtful && datum::stands_on(field) => (Quality::Single, 1.0),
        Quality::Good => (Quality::Good, 1.0),
        Quality::Single => (Quality::Single, LONE_VIEW),
    };
    let mut measured = measurements(&fields, &values, &propagated.covariance, &quality);
    if !solution.cord_movement_is_told() {
        measured.remove("/bench/cord_moved");
    }
    if solution.readings.is_empty() {
        findings.extend(contradiction::doubt_moved_wheel(&fields, &propagated.covariance, &mut measured));
    } else {
        let told = |reading: &Solution| -> Option<BTreeMap<String, (f64, f64)>> {
            let spread = spread_of(reading)?.covariance;
            let values = values_of(&reading.state, Shift(None)).into_iter().enumerate();
            Some(fields.iter().cloned().zip(values.map(|(i, value)| (value, 2.0 * spread[(i, i)].max(0.0).sqrt()))).collect())
        };
        contradiction::allow_for_readings(&solution.readings.iter().filter_map(told).collect::<Vec<_>>(), &mut measured);
    }
    super::assemble::fill(&mut figures, &evaluation, &measured, settings, solution);
    budget_and_joint(&mut figures, &fields, &propagated);
    if matches!(figures.up.from, UpFrom::SpiritLevel | UpFrom::Bench) {
        figures.up.relative_to_bench = hang_on_level(&fields, &propagated);
    }
    figures.scale_along = print_scale(solution, 0);
    figures.scale_across = print_scale(solution, 1);
    figures.layout = layout(solution, settings, &evaluation);
    findings.extend(few_gearbox_tabs(&figures, &choices, &evaluation));
    super::missing::findings(&figures, solution, settings, &choices, &views, &mut findings);
    figures.findings = findings;
    figures
}

/// Figures in whose standard uncertainty the bench's level has more than this part: the others don't feel it.
const FEELS_LEVEL: f64 = 0.1;

/// The figures that hang on how level the bench is. A yaw turns about the upright: how that leans tells in it by a second order only.
fn hang_on_level(fields: &[String], propagated: &Propagated) -> Vec<String> {
    let source = Nuisance::Level(0).source();
    let feels = |i: usize| {
        let share = propagated.sources[i].get(source).copied().unwrap_or(0.0);
        share > FEELS_LEVEL * propagated.covariance[(i, i)].max(0.0).sqrt()
    };
    let is_yaw = |field: &str| field.contains("/yaw");
    (0..fields.len()).filter(|&i| feels(i) && !is_yaw(&fields[i])).map(|i| fields[i].clone()).collect()
}

/// Tabs on the gearbox sprocket whose middle is its centre and that tell its plane.
const GEARBOX_TABS: usize = 3;

/// The warning about chain figures that rest on fewer tabs than tell the gearbox sprocket's plane.
fn few_gearbox_tabs(figures: &Figures, choices: &Choices, evaluation: &Evaluation) -> Option<Finding> {
    let n = evaluation.gearbox_tabs().len();
    if figures.chain.yaw.is_none() || choices.gearbox_axis || n >= GEARBOX_TABS {
        return None;
    }
    let seen = if n == 1 { "One tab alone was" } else { "Only two tabs were" };
    Some(
        Finding::warning(
            "few-gearbox-tabs",
            format!(
                "{seen} found on the gearbox sprocket; three tell its plane and its centre. The chain's figures carry the doubt."
            ),
            "Take two photos from the chain side, close to the gearbox, with tabs 5, 6 and 7 in them.",
        )
        .about("/chain/offset_at_gearbox"),
    )
}

/// By how much the middle of fewer tabs may lie off the sprocket's centre besides (k = 2), mm: two that are a third of a turn apart lie
/// 0.29 of their distance off it, two that are a quarter apart half of it; a single one as far as a large sprocket's radius.
fn centre_off_few_tabs(tabs: &[nalgebra::Vector3<f64>]) -> f64 {
    match tabs {
        [] | [_] => 60.0,
        [a, b] => 0.6 * (a - b).norm(),
        _ => 0.0,
    }
}

fn print_scale(solution: &Solution, way: usize) -> Option<Measurement> {
    let covariance = solution.covariance.as_ref()?;
    let slot = solution.slots.print + way;
    let u = 2.0 * covariance[(slot, slot)].max(0.0).sqrt();
    Some(Measurement { value: solution.state.print[way], u, quality: Quality::Good })
}

/// What one photo alone shows, or several from one spot, leaves nothing by which its errors would show: its uncertainty is doubled (our
/// estimate; common practice, no source).
const LONE_VIEW: f64 = 2.0;

/// Values with uncertainties; a figure whose uncertainty cannot be told is left out. `quality` gives a field's quality and by how much its
/// uncertainty is widened.
fn measurements(
    fields: &[String],
    values: &[f64],
    covariance: &DMatrix<f64>,
    quality: &dyn Fn(&str) -> (Quality, f64),
) -> BTreeMap<String, Measurement> {
    let mut measured = BTreeMap::new();
    for (i, field) in fields.iter().enumerate() {
        let u = 2.0 * covariance[(i, i)].max(0.0).sqrt();
        if values[i].is_finite() && u.is_finite() && u > 0.0 {
            let (quality, widened) = quality(field);
            measured.insert(field.clone(), Measurement { value: values[i], u: u * widened, quality });
        }
    }
    measured
}

/// Contributions below this part of a figure's uncertainty are not worth a line in its budget.
const LEAST_SHARE: f64 = 0.02;

fn budget_and_joint(figures: &mut Figures, fields: &[String], propagated: &Propagated) {
    let n = fields.len();
    let sigma: Vec<f64> = (0..n).map(|i| propagated.covariance[(i, i)].max(0.0).sqrt()).collect();
    for (i, field) in fields.iter().enumerate() {
        let mut shares: Vec<_> = propagated.sources[i].iter().filter(|(_, share)| **share > LEAST_SHARE * sigma[i]).collect();
        shares.sort_by(|a, b| b.1.total_cmp(a.1).then(a.0.cmp(b.0)));
        figures.budget.extend(shares.into_iter().map(|(from, share)| BudgetEntry {
            field: field.clone(),
            from: (*from).to_owned(),
            u: 2.0 * share,
        }));
        figures.scale_sensitivity.insert(field.clone(), propagated.per_percent_of_print[i]);
    }
    let entry = |i: usize, j: usize| propagated.covariance[(i, j)];
    let matrix = |value: &dyn Fn(usize, usize) -> f64| (0..n).map(|i| (0..n).map(|j| value(i, j)).collect()).collect();
    let correlate = |i: usize, j: usize| match (i == j, sigma[i] * sigma[j]) {
        (true, _) => 1.0,
        (_, product) if product > 0.0 => (entry(i, j) / product).clamp(-1.0, 1.0),
        _ => 0.0,
    };
    figures.correlation = Correlation { fields: fields.to_vec(), matrix: matrix(&correlate) };
    figures.joint = JointCovariance { fields: fields.to_vec(), matrix: matrix(&entry) };
}

/// Decides what figures are told from.
fn choose(
    solution: &Solution,
    settings: &BenchSettings,
    views: &Views,
    up: &mut UpFigures,
    findings: &mut Vec<Finding>,
) -> Choices {
    let state = &solution.state;
    let cards: Vec<usize> = (0..state.cards.len()).filter(|&i| state.cards[i].ground == 0).collect();
    let left = left_hint(state, settings, findings);
    let mut choices = Choices {
        up: UpWeights::default(),
        datum: DatumChoice::edges_alone(solution),
        cards,
        left,
        wheel_axis: false,
        unsteady: None,
        front_axis: false,
        gearbox_axis: false,
        chain_side: None,
        hub_side: None,
        run_out: false,
        loose: solution.loose_tabs.clone(),
    };
    choices.up = weigh_up(solution, settings, &choices, views, up, findings);
    let plain = Evaluation::new(settings, &choices, state, Shift(None));
    choices.datum = datum::choose(solution, settings, views, &plain.up, plain.plane.as_ref(), findings);
    let Some(left) = left else { return choices };
    let tells_axis = |kind: u8, least_tabs: usize| {
        views.joining_tabs(solution, kind) >= least_tabs
            && turning_axis(state, kind, &left).is_some_and(|axis| axis.turn >= LEAST_TURN)
    };
    choices.wheel_axis = tells_axis(WHEEL, 3);
    if choices.wheel_axis {
        choices.unsteady = super::seating::unsteady(solution, &left);
        findings.extend(choices.unsteady.map(|unsteady| unsteady.finding()));
    }
    // Two tabs, a rim's width apart, tell the front wheel's axis less well, and their uncertainty says so.
    choices.front_axis = tells_axis(FRONT_WHEEL, 2);
    choices.gearbox_axis = tells_axis(GEARBOX, 3);
    choices.chain_side = chain_side(state, settings, &left, findings);
    choices.hub_side = settings.hub_side.or_else(|| side_of(state, settings, &left, &|part| *part == Part::HubFace));
    choices.run_out = true;
    let trial = Evaluation::new(settings, &choices, state, Shift(None)).run();
    let told_curve = trial.told.iter().any(|(field, _)| field == "/runout/lateral");
    let forward = check_forward(&trial, findings);
    choices.run_out = told_curve;
    if !forward {
        choices.left = None;
    }
    choices
}

/// The choices alone, without what they are told with.
pub fn choices_of(solution: &Solution, settings: &BenchSettings) -> Choices {
    choose(solution, settings, &Views::of(solution), &mut UpFigures::default(), &mut Vec::new())
}

/// Poses of the tabs that mark a part, one per tab, in the world of the first set-up in which each has a place.
fn poses_of(state: &State, settings: &BenchSettings, wanted: &dyn Fn(&Part) -> bool) -> Vec<(Part, Vector3<f64>)> {
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
fn left_hint(state: &State, settings: &BenchSettings, findings: &mut Vec<Finding>) -> Option<Vector3<f64>> {
    let normals = poses_of(state, settings, &|part| matches!(part, Part::Rim { front_wheel: false, .. }));
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
            "Neither rim tab (1 left, 2 right) was found, so left and right can't be told and no figure with a side is given.",
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
fn side_of(state: &State, settings: &BenchSettings, left: &Vector3<f64>, wanted: &dyn Fn(&Part) -> bool) -> Option<Side> {
    let sum = poses_of(state, settings, wanted).iter().map(|(_, normal)| normal.dot(left)).sum::<f64>();
    match sum {
        s if s > 0.0 => Some(Side::Left),
        s if s < 0.0 => Some(Side::Right),
        _ => None,
    }
}

fn chain_side(state: &State, settings: &BenchSettings, left: &Vector3<f64>, findings: &mut Vec<Finding>) -> Option<Side> {
    let seen = side_of(state, settings, left, &|part| matches!(part, Part::RearSprocket))
        .or_else(|| side_of(state, settings, left, &|part| matches!(part, Part::GearboxSprocket)));
    if let (Some(told), Some(seen)) = (settings.chain_side, seen)
        && told != seen
    {
        findings.push(
            Finding::warning(
                "chain-side-contradicts",
                format!("The job says that the chain runs on the {}, the sprocket tabs face {}.", told.word(), seen.word()),
                "Check chain_side in job.toml and whether tabs 1 and 2 are on the right sides; the tabs were believed.",
            )
            .about("/chain/side"),
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
                let pose =
                    (0..settings.setups.len()).filter(|&s| !settings.lens_only[s]).find_map(|s| state.world_from_tab(tab, s));
                points.extend(pose.map(|p| p.t));
            }
        }
        (!points.is_empty()).then(|| points.iter().sum::<Vector3<f64>>() / points.len() as f64)
    };
    let (Some(datum), Some(gearbox)) = (evaluation.datum, centre(&|p| matches!(p, Part::GearboxSprocket))) else { return true };
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

/// Weights of the sources of up, and what they say.
fn weigh_up(
    solution: &Solution,
    settings: &BenchSettings,
    choices: &Choices,
    views: &Views,
    up: &mut UpFigures,
    findings: &mut Vec<Finding>,
) -> UpWeights {
    let state = &solution.state;
    let mut weights = UpWeights::default();
    let hang = settings.assumed.plumb_u_deg / 2.0;
    let Some(covariance) = solution.covariance.as_ref() else { return weights };
    let mut lines: Vec<(String, Vector2<f64>, Matrix2<f64>)> = Vec::new();
    for line in plumb_lines(state) {
        let direction = state.lines[line].direction;
        let [a, b] = line_axes(&direction);
        let slot = solution.slots.lines[line] + 2;
        let own = covariance.fixed_view::<2, 2>(slot, slot).into_owned();
        let axes = nalgebra::Matrix2::new(a.x, b.x, a.y, b.y) / direction.z;
        let spread = axes * own * axes.transpose() + Matrix2::identity() * hang.to_radians().powi(2);
        if let Some(finding) = super::upright::not_told(solution, views, line, &spread) {
            findings.push(finding);
            continue;
        }
        if let Some(weight) = spread.try_inverse() {
            let letter = match state.lines[line].kind {
                StringKind::Plumb(letter) => line_letter(letter),
                _ => '?',
            };
            weights.lines.push((line, weight));
            lines.push((format!("plumb line {letter}"), up_from_line(&direction), spread));
        }
    }
    let forward = choices.left.map_or(Vector2::x(), |left| if left.y >= 0.0 { Vector2::x() } else { -Vector2::x() });
    let plane = card_plane(state, &choices.cards);
    let tilt = card_tilt_sigma(state, &choices.cards);
    let mut sources = lines.clone();
    if let Some(plane) = &plane {
        let slopes = up_from_cards(plane, &forward, settings, &Shift(None));
        let variance = |i: usize| (settings.level_sigma.powi(2) + tilt[i].powi(2)).sqrt().to_radians().powi(2);
        let spread = Matrix2::new(variance(0), 0.0, 0.0, variance(1));
        let agrees = lines.iter().all(|(_, line, line_spread)| {
            let difference = line - slopes;
            let both = line_spread + spread;
            (0..2).all(|i| difference[i].abs() <= 2.0 * both[(i, i)].sqrt())
        });
        if agrees {
            weights.cards = spread.try_inverse();
        } else {
            findings.push(Finding::warning(
                "up-disagrees",
                format!(
                    "The plumb line and the cards on the bench disagree about up by {:.2} degrees; the plumb line was believed.",
                    lines.iter().map(|(_, line, _)| (line - slopes).norm().to_degrees()).fold(0.0, f64::max)
                ),
                "Check the bench with a level, and that the plumb bob hangs free and still.",
            ));
        }
        let name = if settings.level_was_read { "cards with the level's reading" } else { "cards on the bench" };
        sources.push((name.to_owned(), slopes, spread));
    }
    for pair in lines.windows(2) {
        let difference = pair[0].1 - pair[1].1;
        let both = pair[0].2 + pair[1].2;
        if (0..2).any(|i| difference[i].abs() > 2.5 * both[(i, i)].sqrt()) {
            findings.push(Finding::warning(
                "plumb-lines-disagree",
                format!("{} and {} are not parallel: {:.2} degrees.", pair[0].0, pair[1].0, difference.norm().to_degrees()),
                "Let both bobs come to rest out of draughts, touching nothing, and take the photos again.",
            ));
        }
    }
    up.from = match (weights.lines.is_empty(), settings.level_was_read, settings.level_was_laid) {
        (false, ..) => UpFrom::PlumbLine,
        (_, true, _) => UpFrom::Reading,
        (_, _, true) => UpFrom::SpiritLevel,
        _ => UpFrom::Bench,
    };
    findings.extend(super::upright::findings(up.from, state, settings));
    let total: Matrix2<f64> = weights.lines.iter().map(|(_, w)| *w).sum::<Matrix2<f64>>() + weights.cards.unwrap_or_default();
    if let Some(spread) = total.try_inverse() {
        up.sigma_deg = Some(spread[(1, 1)].sqrt().to_degrees());
    }
    let best = weights.up(state, plane.as_ref(), &forward, settings, &Shift(None));
    let best = best.xy() / best.z;
    for (source, slopes, spread) in sources {
        let difference = slopes - best;
        up.sources.push(UpSource {
            source,
            sigma_deg: spread[(1, 1)].sqrt().to_degrees(),
            differs_across_deg: (difference.y * forward.x).atan().to_degrees(),
            differs_along_deg: (difference.x * forward.x).atan().to_degrees(),
        });
    }
    weights
}

/// Two cards' scatter is raised by this much at the most: what Student's t makes of one degree of freedom (6.4) is more than two cards on
/// one bench ever differ by (our estimate; common practice, no source).
const MOST_FOR_TWO_CARDS: f64 = 3.0;

/// Standard uncertainty of the cards' common plane against the bench, along and across, degrees: how much it changes when each card in
/// turn is left out (the jackknife). For cards in one row this is, across, the scatter of their tilts / sqrt n; cards that lie far apart
/// hold the plane by their heights, and so along the row, or by outriggers.
fn card_tilt_sigma(state: &State, cards: &[usize]) -> [f64; 2] {
    let without = |left_out: usize| {
        let rest: Vec<usize> = cards.iter().copied().filter(|&card| card != left_out).collect();
        card_plane(state, &rest).map(|plane| plane.normal.xy() / plane.normal.z)
    };
    let slopes: Vec<Vector2<f64>> = cards.iter().filter_map(|&card| without(card)).collect();
    // A lone card on a good bench lies within a tenth of a degree of it (our estimate; common practice, no source).
    if slopes.len() < 2 {
        return [0.1, 0.1];
    }
    let n = slopes.len() as f64;
    let mean = slopes.iter().sum::<Vector2<f64>>() / n;
    [0, 1].map(|way| {
        let squares: f64 = slopes.iter().map(|slope| (slope[way] - mean[way]).powi(2)).sum();
        // Few cards tell their own scatter poorly: Student's t at 95 % over 2 makes up for it.
        ((n - 1.0) / n * squares).sqrt().to_degrees() * student(slopes.len() - 1).min(MOST_FOR_TWO_CARDS)
    })
}

/// Every nuisance that can reach a figure, with its standard deviation.
fn nuisances(
    solution: &Solution,
    settings: &BenchSettings,
    choices: &Choices,
    evaluation: &Evaluation,
    tilts: &BTreeMap<usize, f64>,
) -> Vec<(Nuisance, f64)> {
    let state = &solution.state;
    let assumed = &settings.assumed;
    let mut list = Vec::new();
    for (idx, tab) in state.tabs.iter().enumerate() {
        let Some(mark) = settings.marks.iter().find(|m| m.number == tab.number) else { continue };
        if matches!(mark.part, Part::CordRider { .. }) {
            continue;
        }
        list.push((Nuisance::Paper(idx), assumed.paper_u_mm / 2.0));
        if let Some(lift) = tilts.get(&idx) {
            list.push((Nuisance::Flat(idx), *lift));
            continue;
        }
        // The tie of a face already carries how far its tabs lie off it.
        if !state.faces.iter().any(|face| face.tabs.contains(&idx) && face.tabs.len() > 1) || mark.part == Part::RearSprocket {
            list.push((Nuisance::Flat(idx), assumed.flat_u_mm / 2.0));
        }
        let sideways = match mark.part {
            Part::Station(..) => assumed.place_u_mm / 2.0,
            Part::SpindleEnd(_) => assumed.spindle_place_u_mm / 2.0,
            _ => continue,
        };
        list.extend([(Nuisance::Sideways(idx, 0), sideways), (Nuisance::Sideways(idx, 1), sideways)]);
    }
    for (line, _) in &choices.up.lines {
        list.extend([
            (Nuisance::Hang(*line, 0), assumed.plumb_u_deg / 2.0),
            (Nuisance::Hang(*line, 1), assumed.plumb_u_deg / 2.0),
        ]);
    }
    for line in plumb_lines(state) {
        list.push((Nuisance::LineLight(line), assumed.line_light_u_mm / 2.0));
    }
    let tilt = card_tilt_sigma(state, &choices.cards);
    for way in 0..2 {
        list.push((Nuisance::CardTilt(way), tilt[usize::from(way)]));
        if choices.up.cards.is_some() {
            list.push((Nuisance::Level(way), settings.level_sigma));
        }
    }
    list.extend([0, 1].map(|end| (Nuisance::CordLight(end), assumed.cord_light_u_mm / 2.0)));
    list.extend(choices.datum.iter().flat_map(|datum| datum.nuisances(settings)));
    if !choices.gearbox_axis {
        let tabs = evaluation.gearbox_tabs();
        let u = assumed.gearbox_centre_u_mm.hypot(centre_off_few_tabs(&tabs));
        list.extend([0, 1].map(|way| (Nuisance::GearboxCentre(way), u / 2.0)));
        if tabs.len() < GEARBOX_TABS {
            list.extend([0, 1].map(|way| (Nuisance::GearboxTilt(way), nuisance::LONE_TAB_TILT)));
        }
    }
    if !choices.wheel_axis {
        list.extend([(Nuisance::Wobble(0), nuisance::WOBBLE), (Nuisance::Wobble(1), nuisance::WOBBLE)]);
    }
    if let Some(unsteady) = choices.unsteady {
        for way in 0..2 {
            list.push((Nuisance::AxisTilt(way), unsteady.tilt_deg));
            list.push((Nuisance::AxisPlace(way), unsteady.shift_mm));
        }
    }
    if !evaluation.choices.run_out {
        let tir = settings.lateral_tir.unwrap_or(assumed.rim_tir_mm);
        list.push((Nuisance::RunOut, tir / (2.0 * std::f64::consts::SQRT_2)));
    }
    list
}

/// How much of a plumb line with one flag is drawn, mm.
const DRAWN_ABOVE: f64 = 300.0;

/// Places for drawings, in the bench frame.
fn layout(solution: &Solution, settings: &BenchSettings, evaluation: &Evaluation) -> Layout {
    let state = &solution.state;
    let Some(datum) = evaluation.datum else { return Layout::default() };
    let foot = evaluation.wheel_axis().map_or(Vector3::zeros(), |axis| axis.point);
    let origin = evaluation.origin(&datum, &foot);
    let rotation: Matrix3<f64> = datum.rotation();
    let place = |p: &Vector3<f64>| -> [f64; 3] { (rotation * (p - origin)).into() };
    let turn = |v: &Vector3<f64>| -> [f64; 3] { (rotation * v).into() };
    let mut marks = Vec::new();
    for card in state.cards.iter().filter(|card| card.ground == 0) {
        marks.push(Mark {
            kind: "card".to_owned(),
            number: state.sheets[card.sheet].number,
            setup: String::new(),
            at: place(&card.world_from_card.t),
            normal: turn(&card.world_from_card.r.column(2).into_owned()),
        });
    }
    for tab in &state.tabs {
        for (setup, name) in settings.setups.iter().enumerate().filter(|(s, _)| !settings.lens_only[*s]) {
            if tab.only_setup.is_some_and(|only| only != setup)
                || (tab.carrier == Carrier::Still && setup_is_later(settings, setup))
            {
                continue;
            }
            let Some(pose) = state.world_from_tab(tab, setup) else { continue };
            let name = if tab.carrier == Carrier::Still { String::new() } else { name.clone() };
            let normal = turn(&pose.r.column(2).into_owned());
            marks.push(Mark { kind: "tab".to_owned(), number: tab.number, setup: name, at: place(&pose.t), normal });
        }
    }
    for flag in &state.flags {
        let normal = [0.0; 3];
        marks.push(Mark { kind: "tab".to_owned(), number: flag.number, setup: String::new(), at: place(&flag.centre), normal });
    }
    marks.sort_by(|a, b| (&a.kind, a.number, &a.setup).cmp(&(&b.kind, b.number, &b.setup)));
    let mut lines = Vec::new();
    if let (None, Some(ends)) = (state.cords.first(), evaluation.choices.datum.as_ref().and_then(|datum| datum.ends(state))) {
        lines.push(("cord".to_owned(), place(&ends[0]), place(&ends[1])));
    }
    if let Some(cord) = state.cords.first() {
        let ends = [cord.at(cord.middle - cord.half), cord.at(cord.middle + cord.half)];
        lines.push(("cord".to_owned(), place(&ends[0]), place(&ends[1])));
    }
    for (idx, line) in state.lines.iter().enumerate() {
        let feet: Vec<_> = state.flags.iter().filter(|f| f.line == idx).map(|f| line.foot(&f.centre)).collect();
        let name = match line.kind {
            StringKind::Plumb(letter) => format!("plumb line {}", line_letter(letter)),
            _ => "backbone".to_owned(),
        };
        match feet[..] {
            [a, .., b] => lines.push((name, place(&a), place(&b))),
            [a] => lines.push((name, place(&(a + line.direction * DRAWN_ABOVE)), place(&a))),
            [] => {}
        }
    }
    let array = |v: Option<Vector3<f64>>| v.map(|v| -> [f64; 3] { v.into() });
    Layout {
        wheel_axis: array(evaluation.places.wheel_axis),
        axle: array(evaluation.places.axle),
        rear_sprocket: array(evaluation.places.rear_sprocket),
        gearbox_sprocket: array(evaluation.places.gearbox_sprocket),
        marks,
        lines,
        cameras: Vec::new(),
        bench_from_world: Some((rotation.into(), origin.into())),
    }
}

/// Whether an earlier set-up of the bench exists.
fn setup_is_later(settings: &BenchSettings, setup: usize) -> bool {
    (0..setup).any(|s| !settings.lens_only[s])
}

/// Numbers in a set, for sentences: "1, 2 and 5".
pub fn listed(numbers: &BTreeSet<u8>) -> String {
    let words: Vec<String> = numbers.iter().map(u8::to_string).collect();
    match &words[..] {
        [] => String::new(),
        [one] => one.clone(),
        [init @ .., last] => format!("{} and {last}", init.join(", ")),
    }
}
