//! How large the whole scene is: photos alone don't show it, the print does.

use crate::scene::model::priors::Priors;
use crate::scene::model::state::State;

/// The scene is made as large as the print says where it came out off that by this part of the
/// print's standard deviation (our choice: less changes no figure).
const SIZE_OFF: f64 = 0.2;

/// The scene as large as the print's prior has it. All lengths together tell no photo apart, so a
/// descent that was led astray comes back to that in steps of thousandths only. None where it is so
/// large, within a fifth of its standard deviation.
pub fn as_large_as_printed(state: &State, priors: &Priors) -> Option<State> {
    let Priors { print, print_sigma, .. } = priors;
    let weighed = |i: usize, other: f64| other * state.print[i] / print_sigma[i].powi(2);
    let by = (weighed(0, print[0]) + weighed(1, print[1]))
        / (weighed(0, state.print[0]) + weighed(1, state.print[1]));
    let off = (by - 1.0).abs() / print_sigma[0].min(print_sigma[1]);
    (off > SIZE_OFF && by.is_finite() && by > 0.0).then(|| state.enlarged(by))
}
