//! Small mathematics of angles round a circle, radians.

use std::f64::consts::{PI, TAU};

/// The same angle from -pi to pi.
pub fn wrap(angle: f64) -> f64 {
    let turned = angle.rem_euclid(TAU);
    if turned > PI { turned - TAU } else { turned }
}

/// The one of the angles that lies least far from all others; None of none.
pub fn middle(angles: &[f64]) -> Option<f64> {
    let far = |from: f64| angles.iter().map(|angle| wrap(angle - from).abs()).sum::<f64>();
    angles.iter().copied().min_by(|a, b| far(*a).total_cmp(&far(*b)))
}

/// How far a typical one of the angles lies from `from`.
pub fn spread(angles: &[f64], from: f64) -> f64 {
    let far: Vec<f64> = angles.iter().map(|angle| wrap(angle - from).abs()).collect();
    crate::math::robust::median(&far).unwrap_or(0.0)
}

/// Angles in clusters that gaps wider than `gap` part: for each angle the number of its cluster, in
/// the order of their first members.
pub fn clusters(angles: &[f64], gap: f64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..angles.len()).collect();
    let turned = |i: usize| angles[i].rem_euclid(TAU);
    order.sort_by(|a, b| turned(*a).total_cmp(&turned(*b)));
    let n = order.len();
    let wide = |k: usize| (turned(order[(k + 1) % n]) - turned(order[k])).rem_euclid(TAU) > gap;
    // Once round, beginning behind a gap, if there is one: a lone angle has the whole circle behind
    // it.
    let Some(last) = (0..n).find(|&k| n > 1 && wide(k)) else { return vec![0; n] };
    let (mut of, mut number) = (vec![0; n], 0);
    for k in (last + 1..=last + n).map(|k| k % n) {
        of[order[k]] = number;
        number += usize::from(wide(k));
    }
    let mut names: Vec<usize> = Vec::new();
    let mut named = |cluster: usize| {
        names.iter().position(|name| *name == cluster).unwrap_or_else(|| {
            names.push(cluster);
            names.len() - 1
        })
    };
    of.into_iter().map(&mut named).collect()
}
