//! The order in which a person would put names.

use std::cmp::Ordering;

/// Set-ups by the number they begin with, then by the rest; without a number last.
pub fn setup_order(a: &str, b: &str) -> Ordering {
    let has_number = |name: &str| name.starts_with(|c: char| c.is_ascii_digit());
    has_number(b).cmp(&has_number(a)).then_with(|| natural_order(a, b))
}

/// The order a person would put names in: runs of digits count as numbers ("IMG_2" before
/// "IMG_10"), letters as they are. Names that differ only in leading zeros are ordered by their
/// bytes, so that the order is total.
pub(super) fn natural_order(a: &str, b: &str) -> Ordering {
    let (mut rest_a, mut rest_b) = (a.as_bytes(), b.as_bytes());
    while let (Some(&first_a), Some(&first_b)) = (rest_a.first(), rest_b.first()) {
        let order = if first_a.is_ascii_digit() && first_b.is_ascii_digit() {
            let (digits_a, digits_b) = (take_digits(&mut rest_a), take_digits(&mut rest_b));
            digits_a.len().cmp(&digits_b.len()).then_with(|| digits_a.cmp(digits_b))
        } else {
            (rest_a, rest_b) = (&rest_a[1..], &rest_b[1..]);
            first_a.cmp(&first_b)
        };
        if order != Ordering::Equal {
            return order;
        }
    }
    rest_a.len().cmp(&rest_b.len()).then_with(|| a.cmp(b))
}

/// Takes the leading run of digits off, and gives it without its leading zeros.
fn take_digits<'text>(rest: &mut &'text [u8]) -> &'text [u8] {
    let n_digits = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let (digits, behind) = rest.split_at(n_digits);
    *rest = behind;
    let n_zeros = digits.iter().take_while(|&&byte| byte == b'0').count();
    &digits[n_zeros..]
}
