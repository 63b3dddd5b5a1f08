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
