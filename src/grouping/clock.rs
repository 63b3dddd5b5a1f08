//! When photos were taken, as far as one camera's clock shows.

use super::setups::Listed;

/// "2026:05:16 10:04:48" as seconds since some day; months count as long ones, which
/// keeps times apart all the same.
pub(super) fn seconds(taken: &str) -> Option<i64> {
    let parts: Option<Vec<i64>> = taken
        .trim()
        .split([':', ' ', '-', 'T'])
        .take(6)
        .map(|part| part.get(..part.len().min(4))?.parse().ok())
        .collect();
    match parts?.as_slice() {
        [year, month, day, hour, minute, second] => {
            Some(((((year * 12 + month) * 31 + day) * 24 + hour) * 60 + minute) * 60 + second)
        }
        _ => None,
    }
}

/// Whether one camera's clock dates every photo.
pub(super) fn have_one_clock(photos: &[Listed], of: &[usize]) -> bool {
    of.iter().all(|photo| {
        photos[*photo].taken.is_some() && photos[*photo].camera == photos[of[0]].camera
    })
}

/// Photos in the order in which they were taken, where one clock shows it; else as they are listed,
/// by their names.
pub fn in_time(photos: &[Listed], of: &[usize]) -> Vec<usize> {
    let mut order = of.to_vec();
    if have_one_clock(photos, of) {
        order.sort_by(|a, b| photos[*a].taken.cmp(&photos[*b].taken).then(a.cmp(b)));
    }
    order
}
