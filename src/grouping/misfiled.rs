//! Photos that show the wheel in another position than the rest of their folder: where they count,
//! and their findings.

use crate::figure::Side;
use crate::finding::Finding;
use crate::text::listed;

use super::assign::Work;
use super::positions::Shows;

/// So many photos of another position in one folder are no slip: they are a position of their own.
pub(super) const NO_SLIP: usize = 3;
/// No more files than this are named in one sentence.
const NAMED: usize = 6;

impl Work<'_> {
    pub(super) fn mark_in_words(&self, position: usize) -> String {
        match self.sorted.positions.get(position).and_then(|position| position.mark) {
            Some(mark) => format!("with the mark {}", mark.word()),
            None => "in another position".to_owned(),
        }
    }

    pub(super) fn report_turned(
        &mut self,
        setup: usize,
        photos: &[usize],
        side: Side,
        own: usize,
        position: usize,
    ) {
        // What was taken from that side and shows no tab of the wheel goes along.
        let is_bench = |photo: &usize| {
            self.sorted.shows.get(*photo) == Some(&Shows::BenchOnly)
                && self.sorted.from[*photo] == Some(side)
        };
        let photos: Vec<usize> = photos
            .iter()
            .copied()
            .chain(self.in_setup(setup).into_iter().filter(is_bench))
            .collect();
        let (name, other) = (self.name(setup), side.other());
        let apart = self.setup(&format!("{name}-{}", side.word()), false);
        self.owns.insert(apart, position);
        self.out.findings.push(Finding::refused(
            "wheel-turned-between-sides",
            format!(
                "In {name} the wheel was turned between the photos from the {} and those from the {}: the mark is {} in the first and {} in the \
                 others, so that the two sides don't belong to one position of the wheel.",
                other.word(),
                side.word(),
                self.mark_in_words(own),
                self.mark_in_words(position),
            ),
            format!(
                "Leave the wheel as it is while you walk round the bike. Take the photos of {name} again: three from the left and three from \
                 the right, with the mark at one place. (If the wheel was not turned: tabs 1 and 2 must be opposite each other on the rim.)"
            ),
        ));
        self.move_to(&photos, apart);
    }

    pub(super) fn report_misfiled(&mut self, setup: usize, photos: &[usize], fits: usize) {
        let (name, fits_name) = (self.name(setup), self.name(fits));
        let (files, many) = (self.files(photos), photos.len() > 1);
        let finding = Finding::warning(
            "photo-in-wrong-setup",
            format!(
                "{files} {} in {name}, but {} the wheel in the position of {fits_name}; {} counted there.",
                if many { "lie" } else { "lies" },
                if many { "show" } else { "shows" },
                if many { "they are" } else { "it is" }
            ),
            format!(
                "Move {} to {fits_name}, or put all photos into one folder: the program sorts them.",
                if many { "them" } else { "it" }
            ),
        );
        let finding =
            if many { finding } else { finding.in_photo(self.photos[photos[0]].id.clone()) };
        self.out.findings.push(finding);
        self.move_to(photos, fits);
    }

    pub(super) fn report_other_position(
        &mut self,
        setup: usize,
        photos: &[usize],
        own: usize,
        position: usize,
    ) {
        let name = self.name(setup);
        let apart = self.own_setup(position);
        let apart_name = self.name(apart);
        let files = self.files(photos);
        let finding = if photos.len() >= NO_SLIP {
            Finding::warning(
                "two-positions-in-one-folder",
                format!(
                    "{name} holds photos of two wheel positions: {} of them show the wheel {}, {} {}. They were sorted: {files} count as \
                     {apart_name}.",
                    self.in_setup(setup)
                        .into_iter()
                        .filter(|photo| self.position(*photo) == Some(own))
                        .count(),
                    self.mark_in_words(own),
                    photos.len(),
                    self.mark_in_words(position),
                ),
                "Nothing may move within a folder. Give each wheel position a folder of its own, or put all photos straight into the job \
                 folder: the program sorts them.",
            )
        } else {
            Finding::warning(
                "photo-of-no-setup",
                format!(
                    "{files} in {name} show the wheel as no folder's photos do; they count as {apart_name}."
                ),
                "Leave the wheel as it is until all photos of a position are taken. Take these again, or take them out.",
            )
        };
        self.out.findings.push(finding);
        self.move_to(photos, apart);
    }

    /// "a.jpg, b.jpg and 3 more".
    pub(super) fn files(&self, photos: &[usize]) -> String {
        let names: Vec<&str> =
            photos.iter().take(NAMED).map(|photo| self.photos[*photo].id.as_str()).collect();
        match photos.len().saturating_sub(NAMED) {
            0 => listed(&names),
            more => format!("{} and {more} more", names.join(", ")),
        }
    }
}
