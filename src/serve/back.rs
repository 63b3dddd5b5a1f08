//! The photo that was left out last, taken back.

use super::change::put_into;
use super::refusal::Refusal;
use super::sort_evening::sort_anew;
use super::state::Bench;
use super::take::room_for_more;

/// Puts the photo that was left out last back where it lay.
pub fn put_back(bench: &Bench) -> Result<(), Refusal> {
    let filing = bench.filing();
    let gone = || Refusal::new(409, "There is no photo to put back.", "Load the page again.");
    // Somebody may have sent it once more meanwhile.
    let (mut photo, lies_at) = bench
        .change(|state| {
            let left_out = state.left_out.take();
            left_out.filter(|(photo, _)| {
                state.photo(&photo.key).is_none() && !state.on_the_way.contains(&photo.key)
            })
        })
        .ok_or_else(gone)?;
    let put = {
        let state = bench.read();
        let folder = photo.path.parent().unwrap_or(&state.evening.folder).to_owned();
        room_for_more(&state).map(|()| folder)
    };
    let put = put.and_then(|folder| {
        put_into(&lies_at, &folder).map_err(|why| Refusal::disk("Putting the photo back", &why))
    });
    let path = match put {
        Ok(path) => path,
        Err(refusal) => {
            bench.change(|state| state.left_out = Some((photo, lies_at)));
            return Err(refusal);
        }
    };
    photo.path = path;
    bench.change(|state| {
        state.photos.push(photo);
        state.photos_changed();
    });
    sort_anew(bench);
    drop(filing);
    Ok(())
}
