//! Location and scale that a few wild values cannot move.

/// The median; None when empty. NaN sorts last.
pub fn median(values: &[f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    Some(if sorted.len() % 2 == 1 { sorted[middle] } else { (sorted[middle - 1] + sorted[middle]) / 2.0 })
}

/// Robust standard deviation about zero: 1.4826 times the median of absolute values (equal to sigma for a normal law).
pub fn sigma_about_zero(values: &[f64]) -> Option<f64> {
    let absolute: Vec<f64> = values.iter().map(|v| v.abs()).collect();
    median(&absolute).map(|m| 1.4826 * m)
}
