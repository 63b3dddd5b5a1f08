//! Which one photo would help a figure most.
//!
//! Candidate standpoints round the bench are tried on the solved scene: each adds what it would
//! show to the inverse covariance (`scene::assess::forecast`), and the figure's uncertainty is
//! computed again, the photos' places and all else kept. The best is put in words.

use nalgebra::{DVector, Vector3};
use rayon::prelude::*;

use crate::figure::Figure;
use crate::scene::Solution;
use crate::scene::adjust::solve::{inverse, quadratic_forms};
use crate::scene::assess::forecast::{Forecast, Viewpoint, forecast};

use super::choose::choices_of;
use super::evaluate::{Choices, Evaluation};
use super::nuisance::Shift;
use super::settings::BenchSettings;
use super::words::listed;

/// The best photo for one figure.
#[derive(Clone, Debug)]
pub struct Advice {
    pub field: Figure,
    /// Expanded uncertainty now and with the photo.
    pub u_now: f64,
    pub u_then: f64,
    pub viewpoint: Viewpoint,
    pub words: String,
}

/// Words that each naming of a place to stand holds.
pub const PLACE: &str = "stand on the";

/// A photo is worth taking when it takes at least this part off U (our choice).
const WORTH: f64 = 0.1;
/// Heights above the bench, distances from the cord and places along the bike (from the axle, as
/// parts of the way to the gearbox), mm (our choice).
const HEIGHTS: [f64; 3] = [300.0, 500.0, 850.0];
const DISTANCES: [f64; 2] = [650.0, 950.0];
const PLACES: [f64; 6] = [-0.9, -0.4, 0.1, 0.5, 1.0, 1.6];

/// The best photo for each figure of `fields` that one photo improves. `u_of` gives U of a figure
/// as measured, with the photos' noise raised by `raised` where odd and even photos disagreed (1
/// otherwise): one more photo is expected to end that.
pub fn advise(
    solution: &Solution,
    settings: &BenchSettings,
    fields: &[Figure],
    u_of: &dyn Fn(&Figure) -> Option<f64>,
    raised: f64,
) -> Vec<Advice> {
    let Some(covariance) = solution.covariance.as_ref() else { return Vec::new() };
    let Some(now) = inverse(covariance) else { return Vec::new() };
    let choices = choices_of(solution, settings);
    let gradients: Vec<(Figure, f64, DVector<f64>)> = fields
        .iter()
        .filter_map(|field| {
            Some((field.clone(), u_of(field)?, gradient(solution, settings, &choices, field)?))
        })
        .collect();
    if gradients.is_empty() {
        return Vec::new();
    }
    let mut worse = solution.clone();
    if raised > 1.0 {
        worse.raise_noise(raised);
    }
    let Some(worse) = worse.covariance.as_ref() else { return Vec::new() };
    let vectors: Vec<DVector<f64>> = gradients.iter().map(|(.., g)| g.clone()).collect();
    let tried: Vec<(Viewpoint, Forecast, Vec<f64>)> = viewpoints(solution, settings, &choices)
        .into_par_iter()
        .filter_map(|viewpoint| {
            let forecast = forecast(solution, &viewpoint)?;
            let variances = quadratic_forms(&(&now + &forecast.information), &vectors)?;
            Some((viewpoint, forecast, variances))
        })
        .collect();
    let mut advice = Vec::new();
    for (i, (field, u_now, g)) in gradients.iter().enumerate() {
        let before = g.dot(&(worse * g));
        let Some((viewpoint, forecast, variances)) =
            tried.iter().min_by(|a, b| a.2[i].total_cmp(&b.2[i]))
        else {
            continue;
        };
        let u_then = (u_now * u_now - 4.0 * (before - variances[i])).max(0.0).sqrt();
        if u_then < (1.0 - WORTH) * u_now {
            let words = words(solution, settings, &choices, viewpoint, forecast);
            advice.push(Advice {
                field: field.clone(),
                u_now: *u_now,
                u_then,
                viewpoint: *viewpoint,
                words,
            });
        }
    }
    advice
}

/// Derivatives of one figure by the kept unknowns.
fn gradient(
    solution: &Solution,
    settings: &BenchSettings,
    choices: &Choices,
    figure: &Figure,
) -> Option<DVector<f64>> {
    // mm or radians: far below what photos determine, far above rounding.
    const STEP: f64 = 1e-5;
    let n = solution.slots.n;
    let value = |slot: usize, step: f64| {
        let mut state = solution.state.clone();
        let mut change = vec![0.0; n];
        change[slot] = step;
        state.nudge_kept(&solution.slots, &change);
        let recorded = Evaluation::new(settings, choices, &state, Shift(None)).run().recorded;
        recorded.into_iter().find(|(recorded, _)| recorded == figure).map(|(_, value)| value)
    };
    let slopes: Vec<Option<f64>> = (0..n)
        .into_par_iter()
        .map(|slot| Some((value(slot, STEP)? - value(slot, -STEP)?) / (2.0 * STEP)))
        .collect();
    slopes.into_iter().collect::<Option<Vec<f64>>>().map(DVector::from_vec)
}

fn viewpoints(solution: &Solution, settings: &BenchSettings, choices: &Choices) -> Vec<Viewpoint> {
    let evaluation = Evaluation::new(settings, choices, &solution.state, Shift(None)).run();
    let (Some(datum), Some(axis)) = (evaluation.datum, evaluation.wheel_axis()) else {
        return Vec::new();
    };
    let axle = axis.point;
    let reach = evaluation
        .places
        .gearbox_sprocket
        .map_or(550.0, |gearbox| (gearbox - evaluation.places.axle.unwrap_or(gearbox)).x.abs())
        .clamp(300.0, 900.0);
    let ground = evaluation.origin(&datum, &axle);
    let mut viewpoints = Vec::new();
    for setup in (0..settings.setups.len()).filter(|&s| !settings.lens_only[s]) {
        for side in [1.0, -1.0] {
            for place in PLACES {
                for distance in DISTANCES {
                    for height in HEIGHTS {
                        let eye = ground
                            + datum.forward * (place * reach)
                            + datum.left * (side * distance)
                            + Vector3::new(0.0, 0.0, 1.0) * height;
                        let target = ground
                            + datum.forward * (place.clamp(0.0, 1.0) * 0.7 * reach)
                            + Vector3::new(0.0, 0.0, 160.0);
                        viewpoints.push(Viewpoint { setup, eye, target });
                    }
                }
            }
        }
    }
    viewpoints
}

fn words(
    solution: &Solution,
    settings: &BenchSettings,
    choices: &Choices,
    viewpoint: &Viewpoint,
    forecast: &Forecast,
) -> String {
    let evaluation = Evaluation::new(settings, choices, &solution.state, Shift(None)).run();
    let Some(datum) = evaluation.datum else { return String::new() };
    let axle = evaluation.wheel_axis().map_or(Vector3::zeros(), |axis| axis.point);
    let from_ground = datum.components(&(viewpoint.eye - evaluation.origin(&datum, &axle)));
    let side = if from_ground.y > 0.0 { "left" } else { "right" };
    let along = match from_ground.x {
        x if x < -150.0 => format!("{:.0} cm behind the rear axle", -x / 10.0),
        x if x < 150.0 => "level with the rear axle".to_owned(),
        x => format!("{:.0} cm ahead of the rear axle", x / 10.0),
    };
    let tabs = match forecast.tabs.len() {
        0 => String::new(),
        _ => format!(
            " and tab{} {}",
            if forecast.tabs.len() > 1 { "s" } else { "" },
            listed(&forecast.tabs.iter().copied().collect())
        ),
    };
    format!(
        "In set-up {}, {PLACE} {side}, {along}, {:.0} cm from the cord, the camera {:.0} cm above the bench; card{} {}{tabs} must be in the picture.",
        settings.setups[viewpoint.setup],
        from_ground.y.abs() / 10.0,
        from_ground.z / 10.0,
        if forecast.cards.len() > 1 { "s" } else { "" },
        listed(&forecast.cards.iter().copied().collect())
    )
}
