//! `glance FOLDER --watch`: keeps looking at a folder and says of each new photo what it adds and what is still missing.
//!
//! File events only wake it up; what is new is told by listing the folder and comparing. So nothing depends on which events a
//! system sends for a copy, a rename or a half-written file.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

use anyhow::{Context, bail};
use notify::{RecursiveMode, Watcher};
use serde::Serialize;

use super::picture::PictureFolder;
use super::words;
use crate::glance::drawn::drawn;
use crate::glance::missing;
use crate::glance::seen::{Glance, Looked, Photographed, looked};
use crate::job::Job;
use crate::photo::listing::{CAMERA_FOLDER, ListError};
use crate::photo::{JobPhotos, Photo, PhotoError, PhotoFile, list_job};
use crate::visible::one_line;

/// After an event the folder is left alone until nothing has happened for so long: a copy makes many events.
const CALM: Duration = Duration::from_millis(150);
/// A file that can't be read is looked at again after so long, and told as unreadable if it is the same by then: until then it
/// may be on its way.
const SETTLED: Duration = Duration::from_secs(2);

/// Why the watch wakes up.
enum Wake {
    Folder,
    Stop,
}

/// What was told of a folder so far, and what may still be on its way.
#[derive(Default)]
pub struct Arrivals {
    /// Photos told of, in the order in which they came, with the checksum of their file.
    told: Vec<(Glance, String)>,
    /// Files that could not be read when last looked at, and their checksums then.
    waiting: BTreeMap<String, String>,
}

impl Arrivals {
    /// Forgets what is no longer in the folder, and names what is new or has changed.
    pub fn new_among<'a>(&mut self, listed: &'a JobPhotos) -> Vec<(&'a PhotoFile, String)> {
        let setups = listed.setups.iter().flat_map(|setup| setup.photos.iter().map(move |file| (file, setup.name.clone())));
        let all: Vec<(&PhotoFile, String)> =
            listed.camera.iter().map(|file| (file, CAMERA_FOLDER.to_owned())).chain(setups).collect();
        let there: BTreeSet<(&str, &str)> = all.iter().map(|(file, _)| (file.id.as_str(), file.sha256.as_str())).collect();
        self.told.retain(|(glance, sha256)| there.contains(&(glance.photo.as_str(), sha256.as_str())));
        self.waiting.retain(|id, _| there.iter().any(|(there, _)| there == id));
        let is_told = |file: &PhotoFile| self.told.iter().any(|(g, sha256)| g.photo == file.id && *sha256 == file.sha256);
        all.into_iter().filter(|(file, _)| !is_told(file)).collect()
    }

    /// Whether a photo can be told of: it was read, or it could not be and is the same as when it was last tried.
    pub fn is_ready(&mut self, file: &PhotoFile, read: &Result<Photo, PhotoError>) -> bool {
        let same_as_before = self.waiting.get(&file.id) == Some(&file.sha256);
        match read {
            Err(PhotoError::Changed) => {
                self.waiting.insert(file.id.clone(), String::new());
                false
            }
            Err(_) if !same_as_before => {
                self.waiting.insert(file.id.clone(), file.sha256.clone());
                false
            }
            _ => {
                self.waiting.remove(&file.id);
                true
            }
        }
    }

    /// Takes a photo up among those told of, and gives the words for it.
    pub fn take(&mut self, file: &PhotoFile, new: Glance, job: &Job) -> New {
        let before: Vec<Glance> = self.glances();
        let adds = missing::adds(&before, &new, job);
        self.told.push((new.clone(), file.sha256.clone()));
        New { glance: new, adds, missing: missing::missing(&self.glances(), job) }
    }

    pub fn glances(&self) -> Vec<Glance> {
        self.told.iter().map(|(glance, _)| glance.clone()).collect()
    }
}

/// What is said of a new photo.
#[derive(Debug, Serialize)]
pub struct New {
    #[serde(flatten)]
    pub glance: Glance,
    pub adds: Vec<String>,
    /// What is still missing after it.
    pub missing: Vec<String>,
}

impl New {
    pub fn told(&self) -> String {
        let mut text = format!("{}\n", one_line(&self.glance.photo));
        match &self.glance.error {
            Some(error) => {
                text.push_str(&words::entry("not readable", &format!("{}.", error.what)));
                text.push_str(&words::advice(&error.advice));
            }
            None => text.push_str(&words::entry("adds", &format!("{}.", self.adds.join("; ")))),
        }
        for lack in &self.glance.lacks {
            text.push_str(&words::advice(&format!("{} {}", lack.what, lack.advice)));
        }
        text + &words::missing_in_words(&self.missing) + "\n"
    }
}

/// Runs until Ctrl-C. Exit code 0, whatever was seen.
pub fn watch(folder: &Path, pictures: Option<&Path>, json: bool, quiet: bool) -> anyhow::Result<u8> {
    if !folder.is_dir() {
        bail!("{} is no folder: --watch looks at a folder that photos are copied into", folder.display());
    }
    let mut watched = Watched {
        folder,
        job: super::job_of(folder),
        pictures: pictures.map(|pictures| PictureFolder::open(pictures, &[folder.to_owned()])).transpose()?,
        json,
        quiet,
        arrivals: Arrivals::default(),
    };
    let (wake, woken) = channel();
    let stop = wake.clone();
    ctrlc::set_handler(move || {
        let _ = stop.send(Wake::Stop);
    })
    .context("Ctrl-C can't be caught")?;
    // Whatever the event is, an error included, the folder is listed anew.
    let mut watcher = notify::recommended_watcher(move |_event: notify::Result<notify::Event>| {
        let _ = wake.send(Wake::Folder);
    })
    .context("this system gives no word of new files")?;
    let failed = || format!("{} can't be watched: see that you may read it", folder.display());
    watcher.watch(folder, RecursiveMode::Recursive).with_context(failed)?;
    watched.look()?;
    watched.say(&format!("Watching {}. Copy photos into it; Ctrl-C ends.\n\n", one_line(&folder.display().to_string())))?;
    while wait(&woken, watched.is_waiting()) {
        watched.look()?;
    }
    Ok(super::super::DONE)
}

/// Waits for something to happen and for calm afterwards. False when the watch ends.
fn wait(woken: &Receiver<Wake>, is_waiting: bool) -> bool {
    let first = if is_waiting { woken.recv_timeout(SETTLED) } else { woken.recv().map_err(|_| RecvTimeoutError::Disconnected) };
    match first {
        Ok(Wake::Folder) => {}
        Err(RecvTimeoutError::Timeout) => return true,
        Ok(Wake::Stop) | Err(RecvTimeoutError::Disconnected) => return false,
    }
    loop {
        match woken.recv_timeout(CALM) {
            Ok(Wake::Folder) => {}
            Err(RecvTimeoutError::Timeout) => return true,
            Ok(Wake::Stop) | Err(RecvTimeoutError::Disconnected) => return false,
        }
    }
}

/// A folder under watch.
struct Watched<'a> {
    folder: &'a Path,
    job: Job,
    pictures: Option<PictureFolder>,
    json: bool,
    quiet: bool,
    arrivals: Arrivals,
}

impl Watched<'_> {
    fn is_waiting(&self) -> bool {
        !self.arrivals.waiting.is_empty()
    }

    /// Lists the folder and tells of what is new.
    fn look(&mut self) -> anyhow::Result<()> {
        let listed = match list_job(self.folder) {
            Ok(listed) => listed,
            Err(ListError::NoPhotos(_)) => JobPhotos::default(),
            Err(error) => return Err(error.into()),
        };
        for (file, setup) in self.arrivals.new_among(&listed) {
            let read = file.read();
            if !self.arrivals.is_ready(file, &read) {
                continue;
            }
            let for_the_lens = setup == CAMERA_FOLDER;
            let what = Photographed { name: &file.id, path: &file.path, setup: Some(&setup), for_the_lens };
            let looked = looked(&what, &self.job, read);
            self.draw(file, &looked);
            let new = self.arrivals.take(file, looked.glance, &self.job);
            let line = if self.json { serde_json::to_string(&new)? + "\n" } else { new.told() };
            if !self.quiet {
                if self.json { super::super::print_json(&line)? } else { super::super::print(&line)? }
            } else if let Some(error) = &new.glance.error {
                super::super::complain(&format!("{}: {}. {}", new.glance.photo, error.what, error.advice));
            }
        }
        Ok(())
    }

    /// A picture that can't be written is told, and the watch goes on.
    fn draw(&mut self, file: &PhotoFile, looked: &Looked) {
        if let Some(pictures) = &mut self.pictures
            && let Some(bytes) = drawn(&file.path, looked, &self.job)
            && let Err(error) = pictures.store_all(&[(&file.id, &bytes)])
        {
            super::super::complain(&format!("{error:#}"));
        }
    }

    fn say(&self, text: &str) -> anyhow::Result<()> {
        if !self.quiet && !self.json {
            super::super::print(text)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::glance::seen::SeenPattern;

    fn pattern(number: u8) -> SeenPattern {
        SeenPattern { number, role: None, corners: 100, cell_px: 12.0, mm_per_px: 0.8 }
    }

    fn glance(photo: &str, cards: &[u8], tabs: &[u8]) -> Glance {
        Glance {
            photo: photo.to_owned(),
            setup: photo.split_once('/').map(|(setup, _)| setup.to_owned()),
            cards: cards.iter().map(|n| pattern(*n)).collect(),
            tabs: tabs.iter().map(|n| pattern(*n)).collect(),
            ..Glance::default()
        }
    }

    fn file(id: &str, sha256: &str) -> PhotoFile {
        PhotoFile { id: id.to_owned(), path: id.into(), sha256: sha256.to_owned() }
    }

    fn listed(files: &[PhotoFile]) -> JobPhotos {
        let setup = crate::photo::SetupFolder { name: "1-a".to_owned(), photos: files.to_vec() };
        JobPhotos { setups: vec![setup], ..JobPhotos::default() }
    }

    #[test]
    fn a_new_photo_is_told_by_what_it_adds_and_what_is_missing_after_it() {
        let (job, mut arrivals) = (Job::default(), Arrivals::default());
        let first = arrivals.take(&file("1-a/1.jpg", "a"), glance("1-a/1.jpg", &[1, 2], &[1, 8, 9, 10]), &job);
        assert_eq!(
            first.adds,
            ["cards 1, 2 for the first time", "tabs 1 (rear rim, left), 8 to 10 (rear sprocket) for the first time"]
        );
        let second = arrivals.take(&file("1-a/2.jpg", "b"), glance("1-a/2.jpg", &[2, 3], &[1, 2]), &job);
        assert_eq!(
            second.adds,
            [
                "card 3 for the first time",
                "tab 2 (rear rim, right) for the first time",
                "the second view of tab 1 (rear rim, left)"
            ]
        );
        let text = second.told();
        assert!(text.contains("tabs 5 to 7 (gearbox sprocket)."), "{text}");
        assert!(text.contains("More photos in 1-a (2 of 6 so far)"), "{text}");
        assert!(text.contains("One more set-up (1 of 2 so far)"), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        let third = arrivals.take(&file("1-a/3.jpg", "c"), glance("1-a/3.jpg", &[2], &[1]), &job);
        assert_eq!(third.adds, ["one more view of what was seen before"]);
    }

    #[test]
    fn a_file_that_cannot_be_read_is_told_only_once_it_has_stopped_changing() {
        let mut arrivals = Arrivals::default();
        let half = file("1-a/1.jpg", "half");
        assert_eq!(arrivals.new_among(&listed(std::slice::from_ref(&half))).len(), 1);
        assert!(!arrivals.is_ready(&half, &Err(PhotoError::CutOff)), "it may be on its way");
        let more = file("1-a/1.jpg", "more of it");
        assert!(!arrivals.is_ready(&more, &Err(PhotoError::CutOff)), "it has grown");
        assert!(!arrivals.is_ready(&more, &Err(PhotoError::Changed)), "it grows while it is read");
        assert!(!arrivals.is_ready(&more, &Err(PhotoError::CutOff)));
        assert!(arrivals.is_ready(&more, &Err(PhotoError::CutOff)), "it is the same as before");
        assert!(arrivals.waiting.is_empty());
    }

    #[test]
    fn a_photo_is_told_once_and_again_when_it_was_taken_away_or_replaced() {
        let (job, mut arrivals) = (Job::default(), Arrivals::default());
        let first = file("1-a/1.jpg", "a");
        arrivals.take(&first, glance("1-a/1.jpg", &[1], &[1]), &job);
        assert!(arrivals.new_among(&listed(std::slice::from_ref(&first))).is_empty());
        let replaced = [file("1-a/1.jpg", "another")];
        assert_eq!(arrivals.new_among(&listed(&replaced)).len(), 1);
        assert!(arrivals.glances().is_empty(), "what is no longer there counts no more");
    }
}
