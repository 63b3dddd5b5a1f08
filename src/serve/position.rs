//! Which position of the wheel a photo shows, as far as the bench page files it by its mark;
//! `measure` sorts by all photos together.

use super::folders::Position;

/// Tells the position from where the photo shows the rim's mark. `marks` holds, for each position,
/// what its photos so far say: whether the mark is ahead of the axle, by majority. None where the
/// photo does not tell, or there are more positions than this can tell apart.
pub fn position_shown(
    mark_ahead: Option<bool>,
    positions: &[Position],
    marks: &[Option<bool>],
) -> Option<usize> {
    let ahead = mark_ahead?;
    // A mark that is a third of a turn on may be ahead twice.
    if positions.len() != 2 || marks.len() != 2 {
        return None;
    }
    let (first, second) = (marks[0], marks[1]);
    match (first, second) {
        // Half a turn lies between the two: what one is not, the other is.
        (Some(first), _) => Some(usize::from(first != ahead)),
        (None, Some(second)) => Some(usize::from(second == ahead)),
        // Nothing was photographed yet: the folder's name decides, if it says anything.
        (None, None) => positions.iter().position(|position| position.mark_ahead() == Some(ahead)),
    }
}

/// Whether most of a position's photos show the mark ahead; None where none tells or they are even.
pub fn majority(marks: impl Iterator<Item = Option<bool>>) -> Option<bool> {
    let balance: i32 = marks.flatten().map(|ahead| if ahead { 1 } else { -1 }).sum();
    (balance != 0).then_some(balance > 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_tell_at_first_and_photos_afterwards() {
        let named = |names: [&str; 2]| names.map(|folder| Position { folder: folder.to_owned() });
        let usual = named(["1-mark-forward", "2-mark-rearward"]);
        assert_eq!(position_shown(Some(true), &usual, &[None, None]), Some(0));
        assert_eq!(position_shown(Some(false), &usual, &[None, None]), Some(1));
        assert_eq!(position_shown(None, &usual, &[Some(true), None]), None);
        // Somebody began the other way round: then that is how it is.
        assert_eq!(position_shown(Some(false), &usual, &[Some(false), None]), Some(0));
        assert_eq!(position_shown(Some(true), &usual, &[Some(false), None]), Some(1));
        assert_eq!(position_shown(Some(true), &usual, &[None, Some(false)]), Some(0));
        assert_eq!(position_shown(Some(true), &named(["1-a", "2-b"]), &[None, None]), None);
    }

    #[test]
    fn more_than_two_positions_are_not_told_apart() {
        let three = ["1-a", "2-b", "3-c"].map(|folder| Position { folder: folder.to_owned() });
        assert_eq!(position_shown(Some(true), &three, &[Some(true), None, None]), None);
    }

    #[test]
    fn one_photo_read_wrongly_does_not_turn_a_position_round() {
        assert_eq!(majority([Some(true), Some(false), None, Some(true)].into_iter()), Some(true));
        assert_eq!(majority([Some(true), Some(false)].into_iter()), None);
    }
}
