//! Up, weighed from what shows it: plumb lines, the cards on the bench, a level's reading.

use nalgebra::{DMatrix, Matrix2, Vector2};

use crate::figure::facts::{UpFigures, UpFrom, UpSource};
use crate::figure::part::Letter;
use crate::finding::Finding;
use crate::math::robust::student;
use crate::scene::model::unknowns::line_axes;
use crate::scene::{Solution, State};
use crate::sightings::StringKind;

use super::evaluate::Choices;
use super::ground::{UpWeights, card_plane, plumb_lines, up_from_cards, up_from_line};
use super::nuisance::Shift;
use super::settings::BenchSettings;
use super::views::Views;

/// What one source shows of up: its slopes against the bench, and their covariance.
#[derive(Clone)]
struct Opinion {
    source: String,
    slopes: Vector2<f64>,
    spread: Matrix2<f64>,
}

/// Weights of the sources of up, and what they say.
pub fn weigh_up(
    solution: &Solution,
    settings: &BenchSettings,
    choices: &Choices,
    views: &Views,
    up: &mut UpFigures,
    findings: &mut Vec<Finding>,
) -> UpWeights {
    let state = &solution.state;
    let mut weights = UpWeights::default();
    let Some(covariance) = solution.covariance.as_ref() else { return weights };
    let hanging =
        shown_by_lines(solution, covariance, settings, views, &mut weights.contradicted, findings);
    let (line_idxs, mut lines): (Vec<usize>, Vec<Opinion>) = hanging.into_iter().unzip();
    findings.extend(lines.windows(2).filter_map(|pair| not_parallel(&pair[0], &pair[1])));
    // Nobody can say which of them is right: each is as unsure as they differ.
    weights.apart = apart(&lines);
    for line in &mut lines {
        line.spread += Matrix2::identity() * weights.apart.powi(2);
    }
    let weight = |(idx, line): (usize, &Opinion)| Some((idx, line.spread.try_inverse()?));
    weights.lines = line_idxs.into_iter().zip(&lines).filter_map(weight).collect();
    let forward = choices
        .left
        .map_or(Vector2::x(), |left| if left.y >= 0.0 { Vector2::x() } else { -Vector2::x() });
    let plane = card_plane(state, &choices.cards);
    let tilt = card_tilt_sigma(state, &choices.cards);
    let mut sources = lines.clone();
    if let Some(plane) = &plane {
        let slopes = up_from_cards(plane, &forward, settings, &Shift(None));
        let variance =
            |i: usize| (settings.level_sigma.powi(2) + tilt[i].powi(2)).sqrt().to_radians().powi(2);
        let spread = Matrix2::new(variance(0), 0.0, 0.0, variance(1));
        let source = if settings.level_was_read {
            "cards with the level's reading"
        } else {
            "cards on the bench"
        };
        let cards = Opinion { source: source.to_owned(), slopes, spread };
        if lines.iter().all(|line| agree(line, &cards)) {
            weights.cards = spread.try_inverse();
        } else {
            findings.push(up_disagrees(&lines, &cards));
        }
        sources.push(cards);
    }
    up.from = match (weights.lines.is_empty(), settings.level_was_read, settings.level_was_laid) {
        (false, ..) => UpFrom::PlumbLine,
        (_, true, _) => UpFrom::Reading,
        (_, _, true) => UpFrom::SpiritLevel,
        _ => UpFrom::Bench,
    };
    findings.extend(super::upright::findings(up.from, state, settings));
    let total: Matrix2<f64> = weights.lines.iter().map(|(_, w)| *w).sum::<Matrix2<f64>>()
        + weights.cards.unwrap_or_default();
    if let Some(spread) = total.try_inverse() {
        up.sigma_deg = Some(spread[(1, 1)].sqrt().to_degrees());
    }
    let best = weights.up(state, plane.as_ref(), &forward, settings, &Shift(None));
    let best = best.xy() / best.z;
    for Opinion { source, slopes, spread } in sources {
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

/// What each plumb line (index into `State::lines`) shows of up; lines that are not known well enough
/// are reported instead.
fn shown_by_lines(
    solution: &Solution,
    covariance: &DMatrix<f64>,
    settings: &BenchSettings,
    views: &Views,
    contradicted: &mut Vec<usize>,
    findings: &mut Vec<Finding>,
) -> Vec<(usize, Opinion)> {
    let state = &solution.state;
    let hang = settings.assumed.plumb_u_deg / 2.0;
    let mut lines = Vec::new();
    for line in plumb_lines(state) {
        let direction = state.lines[line].direction;
        let [a, b] = line_axes(&direction);
        let slot = solution.slots.lines[line] + 2;
        let own = covariance.fixed_view::<2, 2>(slot, slot).into_owned();
        let axes = nalgebra::Matrix2::new(a.x, b.x, a.y, b.y) / direction.z;
        let spread =
            axes * own * axes.transpose() + Matrix2::identity() * hang.to_radians().powi(2);
        if let Some(finding) = super::upright::undetermined(solution, views, line, &spread) {
            findings.push(finding);
            if super::upright::is_contradicted(solution, views, line) {
                contradicted.push(line);
            }
            continue;
        }
        let letter = match state.lines[line].kind {
            StringKind::Plumb(letter) => Letter::of(letter).to_string(),
            _ => "?".to_owned(),
        };
        let source = format!("plumb line {letter}");
        lines.push((line, Opinion { source, slopes: up_from_line(&direction), spread }));
    }
    lines
}

/// Whether two sources of up differ by no more than their uncertainties allow.
fn agree(line: &Opinion, cards: &Opinion) -> bool {
    let difference = line.slopes - cards.slopes;
    let both = line.spread + cards.spread;
    (0..2).all(|i| difference[i].abs() <= 2.0 * both[(i, i)].sqrt())
}

fn up_disagrees(lines: &[Opinion], cards: &Opinion) -> Finding {
    Finding::warning(
        "up-disagrees",
        format!(
            "The plumb line and the cards on the bench disagree about up by {:.2} degrees; the plumb line was believed.",
            lines
                .iter()
                .map(|line| (line.slopes - cards.slopes).norm().to_degrees())
                .fold(0.0, f64::max)
        ),
        "Check the bench with a level, and that the plumb bob hangs free and still.",
    )
}

/// Whether two lines differ by more than their uncertainties allow.
fn are_apart(one: &Opinion, other: &Opinion) -> bool {
    let difference = one.slopes - other.slopes;
    let both = one.spread + other.spread;
    (0..2).any(|i| difference[i].abs() > 2.5 * both[(i, i)].sqrt())
}

/// What each of some lines is off by beyond its own uncertainty, where two of them are not parallel:
/// a standard deviation, radians. 0 where all agree.
fn apart(lines: &[Opinion]) -> f64 {
    let pairs = lines.iter().enumerate().flat_map(|(i, a)| lines[..i].iter().map(move |b| (a, b)));
    let beyond = pairs.filter(|(a, b)| are_apart(a, b)).map(|(a, b)| {
        let (difference, both) = (a.slopes - b.slopes, a.spread + b.spread);
        (0..2).map(|i| (difference[i].powi(2) - both[(i, i)]) / 2.0).fold(0.0, f64::max)
    });
    beyond.fold(0.0, f64::max).sqrt()
}

/// The finding about two plumb lines that are not parallel.
fn not_parallel(one: &Opinion, other: &Opinion) -> Option<Finding> {
    are_apart(one, other).then(|| {
        let degrees = (one.slopes - other.slopes).norm().to_degrees();
        Finding::warning(
            "plumb-lines-disagree",
            format!("{} and {} are not parallel: {degrees:.2} degrees. Both count as unsure by as much.", one.source, other.source),
            "Let both bobs come to rest out of draughts, touching nothing, and take the photos again.",
        )
    })
}

/// Two cards' scatter is raised by this much at the most: what Student's t makes of one degree of
/// freedom (6.4) is more than two cards on one bench ever differ by (our estimate; common practice,
/// no source).
const MOST_FOR_TWO_CARDS: f64 = 3.0;

/// Standard uncertainty of the cards' common plane against the bench, along and across, degrees:
/// how much it changes when each card in turn is left out (the jackknife). For cards in one row
/// this is, across, the scatter of their tilts / sqrt n; cards that lie far apart hold the plane by
/// their heights, and so along the row, or by outriggers.
pub fn card_tilt_sigma(state: &State, cards: &[usize]) -> [f64; 2] {
    let without = |left_out: usize| {
        let rest: Vec<usize> = cards.iter().copied().filter(|&card| card != left_out).collect();
        card_plane(state, &rest).map(|plane| plane.normal.xy() / plane.normal.z)
    };
    let slopes: Vec<Vector2<f64>> = cards.iter().filter_map(|&card| without(card)).collect();
    // A lone card on a good bench lies within a tenth of a degree of it (our estimate; common
    // practice, no source).
    if slopes.len() < 2 {
        return [0.1, 0.1];
    }
    let n = slopes.len() as f64;
    let mean = slopes.iter().sum::<Vector2<f64>>() / n;
    [0, 1].map(|way| {
        let squares: f64 = slopes.iter().map(|slope| (slope[way] - mean[way]).powi(2)).sum();
        // Few cards tell their own scatter poorly: Student's t at 95 % over 2 makes up for it.
        ((n - 1.0) / n * squares).sqrt().to_degrees()
            * student(slopes.len() - 1).min(MOST_FOR_TWO_CARDS)
    })
}
