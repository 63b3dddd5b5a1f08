//! Whether odd and even photos tell the same figures, within what the uncertainties allow.

use std::collections::BTreeMap;

use crate::scene::Solution;
use crate::scene::halves::halves;

use super::evaluate::{Choices, Evaluation};
use super::nuisance::Shift;
use super::propagate::Propagated;
use super::settings::BenchSettings;

/// Figures that the check looks at: those that the photos decide and that differ from each other.
fn is_checked(field: &str) -> bool {
    let wanted = ["/rim/", "/wheel/yaw", "/wheel/lean", "/chain/offset_at_gearbox", "/chain/yaw", "/chain/lean", "/hub/"];
    wanted.iter().any(|start| field.starts_with(start)) && !field.ends_with("/height")
}

/// Rms over the checked figures of |odd - even| / (2 x the photos' share of the standard uncertainty): about 1 for honest photos.
/// None where the halves cannot be solved.
pub fn ratio(
    solution: &Solution,
    settings: &BenchSettings,
    choices: &Choices,
    fields: &[String],
    propagated: &Propagated,
) -> Option<f64> {
    let states = halves(solution)?;
    let [odd, even] = states.map(|state| {
        let told = Evaluation::new(settings, choices, &state, Shift(None)).run().told;
        told.into_iter().collect::<BTreeMap<String, f64>>()
    });
    let mut sum = 0.0;
    let mut n = 0;
    for (i, field) in fields.iter().enumerate().filter(|(_, field)| is_checked(field)) {
        let (Some(a), Some(b)) = (odd.get(field), even.get(field)) else { continue };
        let photos = propagated.sources[i].get("photos").copied().unwrap_or(0.0);
        // A mark that one half does not show stays where the full solution has it: such a pair tells nothing.
        if photos > 0.0 && (a - b).abs() > 1e-9 {
            sum += ((a - b) / (2.0 * photos)).powi(2);
            n += 1;
        }
    }
    (n >= 3).then(|| (sum / f64::from(n)).sqrt())
}
