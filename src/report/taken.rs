//! What a result was taken from, in words: whose bike, how many photos, which days.

use std::collections::BTreeSet;

use super::result::ResultDocument;

impl ResultDocument {
    /// Whose bike it is and how many photos tell it: "Grass-track 350: 20 of 21 photos, two wheel
    /// positions."
    pub fn taken_from(&self) -> String {
        let used = self.photos.iter().filter(|photo| photo.used).count();
        let of_bike = self.photos.iter().filter(|photo| photo.used && !photo.is_of_cards_only());
        let positions: BTreeSet<&str> = of_bike.map(|photo| photo.setup.as_str()).collect();
        let is_turned = !self.findings.iter().any(|finding| finding.id == "wheel-not-turned");
        let positions = match positions.len() {
            n if n > 0 && !is_turned => ", one wheel position".to_owned(),
            0 => String::new(),
            1 => ", one wheel position".to_owned(),
            2 => ", two wheel positions".to_owned(),
            n => format!(", {n} wheel positions"),
        };
        let bike = self.job.bike.as_deref().map_or_else(String::new, |bike| format!("{bike}: "));
        format!("{bike}{used} of {} photos{positions}.", self.photos.len())
    }

    /// The day the photos of the bike were taken, for people: "16 May 2026"; first and last where
    /// there were several.
    pub fn date_of_photos(&self) -> Option<String> {
        let days: BTreeSet<&str> = self
            .photos
            .iter()
            .filter(|photo| !photo.is_of_cards_only())
            .filter_map(|photo| photo.taken.as_deref())
            .collect();
        let (first, last) = (days.first()?, days.last()?);
        Some(if first == last {
            day_in_words(first)
        } else {
            format!("{} to {}", day_in_words(first), day_in_words(last))
        })
    }
}

/// "2026-05-16" as "16 May 2026"; what is no day stays as it is.
fn day_in_words(day: &str) -> String {
    const MONTHS: [&str; 12] =
        ["Jan", "Feb", "March", "April", "May", "June", "July", "Aug", "Sept", "Oct", "Nov", "Dec"];
    let mut parts = day.splitn(3, '-');
    let (year, month, date) =
        (parts.next().unwrap_or(""), parts.next().unwrap_or(""), parts.next().unwrap_or(""));
    let month = month.parse::<usize>().ok().and_then(|n| MONTHS.get(n.checked_sub(1)?));
    match (month, date.parse::<u8>()) {
        (Some(month), Ok(date)) => format!("{date} {month} {year}"),
        _ => day.to_owned(),
    }
}
