//! The photo that was left out last, taken back.

use super::change::put_into;
use super::refusal::Refusal;
use super::sort_evening::sort_anew;
use super::state::Bench;

/// Puts the photo that was left out last back where it lay.
pub fn put_back(bench: &Bench) -> Result<(), Refusal> {
    let filing = bench.filing();
    bench.change(|state| {
        let gone = || Refusal::new(409, "There is no photo to put back.", "Load the page again.");
        let (mut photo, lies_at) = state.left_out.take().ok_or_else(gone)?;
        // Somebody sent it once more meanwhile.
        if state.photo(&photo.key).is_some() {
            return Err(gone());
        }
        let folder = photo.path.parent().unwrap_or(&state.evening.folder).to_owned();
        match put_into(&lies_at, &folder) {
            Ok(path) => photo.path = path,
            Err(why) => {
                state.left_out = Some((photo, lies_at));
                return Err(Refusal::disk("Putting the photo back", &why));
            }
        }
        state.photos.push(photo);
        state.photos_changed();
        Ok(())
    })?;
    sort_anew(bench);
    drop(filing);
    Ok(())
}
