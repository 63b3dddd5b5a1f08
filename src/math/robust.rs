//! Location and scale that a few wild values cannot move.

/// The median; None when empty. The values must be numbers.
pub fn median(values: &[f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let mut values = values.to_vec();
    let n = values.len();
    let (below, &mut middle, _) = values.select_nth_unstable_by(n / 2, f64::total_cmp);
    if n % 2 == 1 {
        return Some(middle);
    }
    below.iter().copied().max_by(f64::total_cmp).map(|below| (below + middle) / 2.0)
}

/// Robust standard deviation about zero: 1.4826 times the median of absolute values (equal to sigma for a normal law).
pub fn sigma_about_zero(values: &[f64]) -> Option<f64> {
    let absolute: Vec<f64> = values.iter().map(|v| v.abs()).collect();
    median(&absolute).map(|m| 1.4826 * m)
}
