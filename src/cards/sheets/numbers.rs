//! Lists of card and tab numbers as people write them: `1-5,8`.

use std::fmt;

/// Numbers in rising order, none twice.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Numbers(Vec<u8>);

/// Why a list could not be read; the text says what to write instead.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NumbersError {
    #[error("nothing between the commas: write numbers and ranges such as 1-5,8, or none")]
    Gap,
    #[error("`{0}` is not a whole number: write numbers and ranges such as 1-5,8, or none")]
    NotANumber(String),
    #[error("{number} is not among them: {what} are numbered 1 to {last}")]
    OutOfRange { number: u64, what: &'static str, last: u8 },
    #[error("`{0}` runs backwards: write the smaller number first")]
    Backwards(String),
}

impl Numbers {
    /// Reads a list such as `1-5,8`; `none` is the empty list. `what` names the things (cards,
    /// tabs), numbered 1 to `last`.
    pub fn parse(text: &str, what: &'static str, last: u8) -> Result<Self, NumbersError> {
        let mut numbers = Vec::new();
        if text.trim() == "none" {
            return Ok(Self(numbers));
        }
        for part in text.split(',').map(str::trim) {
            let (from, to) = part.split_once('-').unwrap_or((part, part));
            let (from, to) = (parse_one(from, what, last)?, parse_one(to, what, last)?);
            if from > to {
                return Err(NumbersError::Backwards(part.to_owned()));
            }
            numbers.extend(from..=to);
        }
        numbers.sort_unstable();
        numbers.dedup();
        Ok(Self(numbers))
    }

    pub fn range(first: u8, last: u8) -> Self {
        Self((first..=last).collect())
    }

    pub fn iter(&self) -> impl Iterator<Item = u8> {
        self.0.iter().copied()
    }

    /// Those that are riders, each with the other face of its strip, and the rest.
    pub fn split(&self, is_rider: impl Fn(u8) -> bool) -> (Self, Self) {
        let (riders, rest): (Vec<u8>, Vec<u8>) = self.iter().partition(|number| is_rider(*number));
        // Left faces have odd numbers, and their right ones come next.
        let mut whole: Vec<u8> = riders
            .into_iter()
            .flat_map(|number| [number - (number + 1) % 2, number + number % 2])
            .collect();
        whole.sort_unstable();
        whole.dedup();
        (Self(whole), Self(rest))
    }

    pub fn len(&self) -> usize {
        self.0.len()
    }

    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

fn parse_one(text: &str, what: &'static str, last: u8) -> Result<u8, NumbersError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(NumbersError::Gap);
    }
    let digits_only = text.bytes().all(|b| b.is_ascii_digit());
    let number: u64 = text
        .parse()
        .ok()
        .filter(|_| digits_only)
        .ok_or_else(|| NumbersError::NotANumber(text.to_owned()))?;
    match u8::try_from(number) {
        Ok(small) if (1..=last).contains(&small) => Ok(small),
        _ => Err(NumbersError::OutOfRange { number, what, last }),
    }
}

/// The shortest way to write the list, such as `1-5,8`.
impl fmt::Display for Numbers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_empty() {
            return f.write_str("none");
        }
        for (i, run) in self.0.chunk_by(|a, b| b - a == 1).enumerate() {
            let comma = if i == 0 { "" } else { "," };
            match run {
                [first, .., last] => write!(f, "{comma}{first}-{last}")?,
                [only] => write!(f, "{comma}{only}")?,
                [] => {}
            }
        }
        Ok(())
    }
}
