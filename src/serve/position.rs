//! The position of the wheel that a new photo belongs to, from what sorting all photos together
//! showed of it.

use super::folders::Position;
use crate::grouping::Mark;

/// Where a new photo is put.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// Into the evening's own folder, with the others.
    Loose,
    /// Into the folder of a position.
    Folder(String),
}

/// What is known of a position.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Stands {
    pub photos: usize,
    /// Which way the mark lies there, as far as its photos show.
    pub mark: Option<Mark>,
}

/// Decides where a new photo goes. `name` is the set-up that a measurement would sort it into if it
/// lay loose, `mark` where its mark lies; `current` is the position that the wheel is said to
/// stand in, which counts where the photo does not show it.
pub fn place_for(
    name: &str,
    mark: Option<Mark>,
    positions: &[Position],
    stands: &[Stands],
    current: usize,
) -> Place {
    let all = || positions.iter().zip(stands);
    let taken = || all().filter(|(_, stands)| stands.photos > 0);
    let folder = |position: &Position| Place::Folder(position.folder.clone());
    let named = |position: &Position| {
        mark.is_some_and(|mark| position.folder.to_ascii_lowercase().contains(mark.word()))
    };
    let same = taken().find(|(position, _)| position.folder == name).or_else(|| {
        // Within a position the hand may have knocked the wheel: that is for the whole solution.
        taken().find(|(_, stands)| mark.is_some() && stands.mark == mark)
    });
    if let Some((position, _)) = same {
        return folder(position);
    }
    let empty = || all().filter(|(_, stands)| stands.photos == 0).map(|(position, _)| position);
    let here = positions.get(current).zip(stands.get(current));
    match here {
        // Nothing was photographed here yet: a folder that is named so comes first.
        Some((position, here)) if here.photos == 0 => {
            folder(empty().find(|empty| named(empty)).unwrap_or(position))
        }
        // Two marks that lie apart are another position; without both nothing shows it.
        Some((_, here)) if mark.is_some() && here.mark.is_some() => {
            let free = empty().find(|empty| named(empty)).or_else(|| empty().next());
            free.map_or_else(|| Place::Folder(name.to_owned()), folder)
        }
        Some((position, _)) => folder(position),
        None => Place::Folder(name.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FORWARD: Option<Mark> = Some(Mark::Forward);
    const REARWARD: Option<Mark> = Some(Mark::Rearward);

    /// `with` holds each position's photos and mark.
    fn put(
        name: &str,
        mark: Option<Mark>,
        names: &[&str],
        with: &[(usize, Option<Mark>)],
        current: usize,
    ) -> String {
        let positions: Vec<Position> =
            names.iter().map(|name| Position { folder: (*name).to_owned() }).collect();
        let stands: Vec<Stands> =
            with.iter().map(|(photos, mark)| Stands { photos: *photos, mark: *mark }).collect();
        match place_for(name, mark, &positions, &stands, current) {
            Place::Folder(name) => name,
            Place::Loose => "loose".to_owned(),
        }
    }

    const USUAL: [&str; 2] = ["1-mark-forward", "2-mark-rearward"];
    const NONE: (usize, Option<Mark>) = (0, None);

    #[test]
    fn names_tell_at_first_and_photos_afterwards() {
        assert_eq!(put("1-mark-forward", FORWARD, &USUAL, &[NONE, NONE], 1), USUAL[0]);
        assert_eq!(put("1-mark-rearward", REARWARD, &USUAL, &[NONE, NONE], 0), USUAL[1]);
        // Somebody began the other way round: then that is how it is.
        assert_eq!(put(USUAL[0], REARWARD, &USUAL, &[(3, REARWARD), NONE], 1), USUAL[0]);
        assert_eq!(put("2-mark-forward", FORWARD, &USUAL, &[(3, REARWARD), NONE], 0), USUAL[1]);
        assert_eq!(put("x", FORWARD, &USUAL, &[(3, REARWARD), (1, FORWARD)], 0), USUAL[1]);
    }

    #[test]
    fn what_nobody_can_tell_goes_where_the_wheel_is_said_to_stand() {
        assert_eq!(put("2-position", None, &USUAL, &[(2, FORWARD), NONE], 0), USUAL[0]);
        assert_eq!(put("2-position", None, &USUAL, &[(2, FORWARD), NONE], 1), USUAL[1]);
        assert_eq!(put("2-mark-forward", FORWARD, &USUAL, &[(1, None), NONE], 0), USUAL[0]);
        let third = ["1-a", "2-b", "3-c"];
        assert_eq!(put("1-position", None, &third, &[NONE, NONE, NONE], 2), "3-c");
    }

    #[test]
    fn what_fits_no_position_is_one_of_its_own() {
        let two = [(3, FORWARD), (3, REARWARD)];
        assert_eq!(put("3-mark-up", Some(Mark::Up), &USUAL, &two, 0), "3-mark-up");
        assert_eq!(put("2-mark-up", Some(Mark::Up), &USUAL, &[(3, FORWARD), NONE], 0), USUAL[1]);
    }
}
