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

/// By how much a standard deviation that was estimated from this many degrees of freedom is to be
/// raised for twice it to cover 95 of 100: Student's two-sided 95 % quantile over 2. Values: any
/// table of Student's t.
pub fn student(freedom: usize) -> f64 {
    const QUANTILES: [f64; 10] = [12.71, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23];
    match freedom {
        0 => QUANTILES[0] / 2.0,
        1..=10 => QUANTILES[freedom - 1] / 2.0,
        // From ten on the quantile falls as 1.96 (1 + 1.3 / freedom), to 1 %.
        n => 1.96 * (1.0 + 1.3 / n as f64) / 2.0,
    }
    .max(1.0)
}

/// Robust standard deviation about zero: 1.4826 times the median of absolute values (equal to sigma
/// for a normal law).
pub fn sigma_about_zero(values: &[f64]) -> Option<f64> {
    let absolute: Vec<f64> = values.iter().map(|v| v.abs()).collect();
    median(&absolute).map(|m| 1.4826 * m)
}
