//! A photo that came in whole: looked at, put into the folder of the position it shows, and
//! answered.

use std::io::{Read, Seek};
use std::path::Path;

use super::answer::{Answer, Seen, answer, bright_light, is_smeared};
use super::name::{candidates, ending, safe_stem};
use super::position::{Place, place_for};
use super::refusal::Refusal;
use super::sort_evening::sought;
use super::sorting::{Shown, Sought, folder_at, is_flat, mark_in_words, position_in_words};
use super::state::{Bench, State, Taken, key_of};
use crate::disk::new_file::NewFile;
use crate::disk::sync_folder;
use crate::figure::Side;
use crate::glance::drawn::drawn_for_phone;
use crate::glance::seen::{Looked, Photographed, looked};
use crate::glance::stand::{Stand, chain_side_in, stand};
use crate::guarded::guarded;
use crate::job::Job;
use crate::photo::format::PhotoFormat;
use crate::photo::room::Room;
use crate::photo::{PhotoError, decode_photo};

/// Photos of one evening: four times what anybody needs, so that a phone's whole camera roll is
/// refused while it is on its way.
pub const MOST_PHOTOS: usize = 120;
/// Names that are tried for a photo before it is given up.
pub const MOST_NAMES: usize = 1000;

/// A file that came in whole and has no name yet.
pub struct Received {
    pub file: NewFile,
    pub sha256: String,
}

/// What became of a photo.
pub struct Filed {
    pub key: String,
    /// The very same file was there already.
    pub again: bool,
}

/// Whether one more photo is taken.
pub fn room_for_more(state: &State) -> Result<(), Refusal> {
    if state.photos.len() + state.on_the_way.len() < MOST_PHOTOS {
        return Ok(());
    }
    Err(Refusal::new(
        409,
        format!("This evening has {MOST_PHOTOS} photos already, which is the most it can have."),
        "Some 12 to 24 are enough: press \"Leave it out\" under photos that show little, or begin a new evening.",
    ))
}

/// Looks at a photo and files it.
pub fn take(bench: &Bench, mut received: Received, name: &str) -> Result<Filed, Refusal> {
    let key = key_of(&received.sha256);
    let is_new = bench.change(|state| {
        if state.photo(&key).is_some() {
            return Ok(false);
        }
        if let Some(evening) = state.counted_before.get(&key) {
            return Err(Refusal::new(
                409,
                format!("This photo is from evening {evening}: not counted."),
                "Take new ones, or choose those of this evening.",
            ));
        }
        room_for_more(state)?;
        if !state.on_the_way.insert(key.clone()) {
            let advice = "It is sent again in a moment.";
            return Err(Refusal::new(503, "This very photo is being looked at already.", advice));
        }
        Ok(true)
    })?;
    if !is_new {
        return Ok(Filed { key, again: true });
    }
    let filed = look_and_file(bench, &mut received, name)
        .and_then(|ready| publish(bench, received, name, ready));
    bench.change(|state| state.on_the_way.remove(&key));
    filed
}

/// A photo that was looked at.
struct Ready {
    looked: Looked,
    format: PhotoFormat,
    stand: Option<Stand>,
    light: f32,
    job: Job,
    chain_side: Option<Side>,
    /// Held as long as its light is.
    _room: Room,
}

fn look_and_file(bench: &Bench, received: &mut Received, name: &str) -> Result<Ready, Refusal> {
    let mut bytes = Vec::new();
    let file = received.file.file();
    file.rewind()
        .and_then(|()| file.read_to_end(&mut bytes))
        .map_err(|why| Refusal::disk("Reading the photo back", &why))?;
    let (job, chain_side) = {
        let state = bench.read();
        (state.job.clone(), state.chain_side())
    };
    let room = Room::for_bytes(&bytes);
    let ready =
        guarded("This photo is not kept.", || look(bench, &bytes, room, name, job, chain_side));
    ready.map_err(|mistake| Refusal::new(500, mistake.what, mistake.advice))?
}

fn look(
    bench: &Bench,
    bytes: &[u8],
    room: Room,
    name: &str,
    job: Job,
    chain_side: Option<Side>,
) -> Result<Ready, Refusal> {
    let unreadable = |error: &PhotoError| {
        let advice = match error {
            PhotoError::CutOff | PhotoError::Empty | PhotoError::Damaged { .. } => {
                "Send it again, or take the photo again."
            }
            PhotoError::HeicNotBuiltIn => {
                "Set the phone's camera to JPEG (\"most compatible\"), and take the photo again."
            }
            PhotoError::NotAPicture => "Choose photos only.",
            other => other.advice(),
        };
        Refusal::new(415, format!("Not kept: {error}."), advice)
    };
    let photo = decode_photo(bytes).map_err(|error| unreadable(&error))?;
    let format = photo.facts.format;
    let light = bright_light(photo.luma.data());
    let what = Photographed { name, path: Path::new(""), setup: None, for_the_lens: false };
    let looked = looked(&what, &job, Ok(photo));
    if looked.glance.cards.is_empty() {
        let smeared = looked.photo.as_ref().is_some_and(|(photo, ..)| is_smeared(&photo.luma));
        return Err(no_card(light, smeared));
    }
    let chain_side = chain_side.or_else(|| chain_side_in(&looked.glance, &job));
    let stand = match &looked.photo {
        Some((photo, seen, _)) => {
            bench.known.keep(photo, seen);
            stand(seen, &photo.facts, &job, chain_side)
        }
        None => None,
    };
    Ok(Ready { looked, format, stand, light, job, chain_side, _room: room })
}

/// Why a photo in which no card can be read is not kept, and what is likely to mend it.
fn no_card(light: f32, smeared: bool) -> Refusal {
    let what = match smeared {
        true => "Not kept: it is smeared, and no card can be read in it.",
        false => "Not kept: no card can be read in it.",
    };
    let advice = match (light < super::answer::DARK, smeared) {
        (true, true) => "Turn a lamp on, and hold the phone against something.",
        (true, false) => "Turn a lamp on, and have two cards whole in the picture.",
        (false, true) => {
            "Hold the phone against something, and wait until the picture is sharp; then have two cards whole in it."
        }
        (false, false) => {
            "Step closer, have two cards whole in the picture, and hold the phone still."
        }
    };
    Refusal::new(422, what, advice)
}

/// Decides the position, gives the file its name there and takes the photo up.
fn publish(bench: &Bench, received: Received, name: &str, ready: Ready) -> Result<Filed, Refusal> {
    let Ready { looked, format, stand, light, job, chain_side, _room } = ready;
    let key = key_of(&received.sha256);
    let Some(facts) = looked.photo.as_ref().map(|(photo, ..)| photo.facts.clone()) else {
        return Err(Refusal::new(500, "The photo was lost on its way.", "Send it again."));
    };
    let filing = bench.filing();
    let (shown, place) = sorted(bench, &received.sha256, &job);
    let (said, mark) = (bench.read().current, shown.last_mark());
    let path = bench.change(|state| {
        room_for_more_than_this(state)?;
        let folder = folder_at(&state.evening.folder, &place);
        let path = name_it(received.file, &folder, &safe_stem(name), ending(format))?;
        state.photos.push(Taken {
            key: key.clone(),
            sha256: received.sha256,
            path: path.clone(),
            position: None,
            glance: looked.glance.clone(),
            stand,
            answer: Answer::default(),
            filed: None,
            lay_here: false,
        });
        let lies_in = match place {
            Place::Loose => None,
            Place::Folder(name) => Some(name),
        };
        let file = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let id = lies_in.as_ref().map_or(file.clone(), |folder| format!("{folder}/{file}"));
        state.sort_by(&shown.filed(id, lies_in).sorting());
        let position = state.photos.last().and_then(|photo| photo.position);
        let wanting = position.map_or_else(Vec::new, |at| {
            // What it shows itself is still wanted as far as the photos before it go.
            state.tally_without(at, &key).wanting()
        });
        let answer = answer(
            &Seen { glance: &looked.glance, stand, facts: &facts, light },
            &job,
            chain_side,
            &wanting,
        );
        let other_position = position.filter(|position| *position != said).map(|position| {
            format!(
                "{}: the photo counts for {}.",
                mark_in_words(mark.flatten()),
                position_in_words(&state.positions, position)
            )
        });
        state.current = position.unwrap_or(state.current);
        if let Some(photo) = state.photos.last_mut() {
            photo.answer = answer;
            photo.filed = photo.filed.take().or(other_position);
        }
        state.photos_changed();
        Ok(path)
    })?;
    drop(filing);
    let picture =
        guarded("The picture can't be shown.", || drawn_for_phone(&path, &looked)).ok().flatten();
    if let Some(picture) = picture {
        bench.read().keep_picture(&key, picture);
    }
    Ok(Filed { key, again: false })
}

/// Sorts all photos of the evening with a new one, and returns where that is to be put.
fn sorted(bench: &Bench, sha256: &str, job: &Job) -> (Shown, Place) {
    let (photos, positions, stands, current) = {
        let state = bench.read();
        (sought(&state), state.positions.clone(), state.stands(), state.current)
    };
    let new = Sought {
        key: key_of(sha256),
        id: String::new(),
        folder: None,
        position: Some(current),
        sha256: sha256.to_owned(),
    };
    let shown = Shown::of(&photos, Some(&new), &bench.known, job);
    if is_flat(&photos) {
        return (shown, Place::Loose);
    }
    let here = || Place::Folder(positions[current].folder.clone());
    let place = match shown.last_mark() {
        None => here(),
        Some(mark) => match shown.sorting().setup_of.remove(&new.key).flatten() {
            Some(setup) => place_for(&setup, mark, &positions, &stands, current),
            None => here(),
        },
    };
    (shown, place)
}

/// This photo itself is among those on the way.
fn room_for_more_than_this(state: &State) -> Result<(), Refusal> {
    if state.photos.len() < MOST_PHOTOS { Ok(()) } else { room_for_more(state) }
}

/// Gives the file the first name that is free. Nothing that is there is ever replaced.
fn name_it(
    file: NewFile,
    folder: &Path,
    stem: &str,
    ending: &str,
) -> Result<std::path::PathBuf, Refusal> {
    let failed = |why: std::io::Error| Refusal::disk("Keeping the photo", &why);
    match std::fs::create_dir(folder) {
        Err(why) if why.kind() != std::io::ErrorKind::AlreadyExists => return Err(failed(why)),
        _ => {}
    }
    let free = candidates(stem, ending, MOST_NAMES)
        .map(|name| folder.join(name))
        .find(|path| path.symlink_metadata().is_err());
    let Some(path) = free else {
        return Err(Refusal::new(
            409,
            format!("There are {MOST_NAMES} photos of this name."),
            "Look into the job folder.",
        ));
    };
    file.publish(&path).map_err(failed)?;
    sync_folder(folder);
    Ok(path)
}
