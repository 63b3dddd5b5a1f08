//! `glance FOLDER --watch`: keeps looking at a folder and says of each new photo what it adds and
//! what is still missing.
//!
//! File events only wake it up; what is new is told by listing the folder and comparing. So nothing
//! depends on which events a system sends for a copy, a rename or a half-written file.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

use anyhow::{Context, bail};
use notify::{RecursiveMode, Watcher};
use serde::Serialize;

use super::GlanceArgs;
use super::picture::PictureFolder;
use super::sorting::{self, Sortable};
use super::{lines, words};
use crate::glance::missing;
use crate::glance::seen::{Glance, Looked, Photographed, looked};
use crate::job::Job;
use crate::photo::listing::{CAMERA_FOLDER, ListError};
use crate::photo::{JobPhotos, Photo, PhotoError, PhotoFile, list_photos};
use crate::visible::one_line;

/// After an event the folder is left alone until nothing has happened for so long: a copy makes
/// many events.
const CALM: Duration = Duration::from_millis(150);
/// A file that can't be read is looked at again after so long, and told as unreadable if it is the
/// same by then: until then it may be on its way.
const SETTLED: Duration = Duration::from_secs(2);

/// Why the watch wakes up.
enum Wake {
    Folder,
    Stop,
}

/// A photo that was told of.
struct Told {
    glance: Glance,
    photo: Sortable,
    /// Of its file.
    sha256: String,
}

/// What was told of a folder so far, and what may still be on its way.
#[derive(Default)]
pub struct Arrivals {
    /// Photos told of, in the order in which they came.
    told: Vec<Told>,
    /// Files that could not be read when last looked at, and their checksums then.
    waiting: BTreeMap<String, String>,
}

impl Arrivals {
    /// Forgets what is no longer in the folder, and names what is new or has changed.
    pub fn new_among<'a>(&mut self, listed: &'a JobPhotos) -> Vec<(&'a PhotoFile, Option<String>)> {
        let all: Vec<(&PhotoFile, Option<String>)> =
            listed.with_setups().map(|(file, setup)| (file, setup.map(str::to_owned))).collect();
        let there: BTreeSet<(&str, &str)> =
            all.iter().map(|(file, _)| (file.id.as_str(), file.sha256.as_str())).collect();
        self.told
            .retain(|told| there.contains(&(told.glance.photo.as_str(), told.sha256.as_str())));
        self.waiting.retain(|id, _| there.iter().any(|(there, _)| there == id));
        let is_told = |file: &PhotoFile| {
            self.told.iter().any(|told| told.glance.photo == file.id && told.sha256 == file.sha256)
        };
        all.into_iter().filter(|(file, _)| !is_told(file)).collect()
    }

    /// Whether a photo can be told of: it was read, or it could not be and is the same as when it
    /// was last tried.
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

    fn add(&mut self, file: &PhotoFile, new: Glance, photo: Sortable) {
        self.told.push(Told { glance: new, photo, sha256: file.sha256.clone() });
    }

    /// Sorts all photos anew: each may tell more of those before it.
    fn sort(&mut self, job: &Job) {
        let photos: Vec<Sortable> = self.told.iter().map(|told| told.photo.clone()).collect();
        let mut glances: Vec<&mut Glance> =
            self.told.iter_mut().map(|told| &mut told.glance).collect();
        sorting::sort(&mut glances, photos, job, true);
    }

    /// Takes a photo up among those told of, and gives the words for it.
    pub fn take(&mut self, file: &PhotoFile, new: Glance, photo: Sortable, job: &Job) -> New {
        self.add(file, new, photo);
        self.sort(job);
        let all = self.glances();
        let missing = missing::missing(&all, job);
        let (before, new) = all.split_at(all.len().saturating_sub(1));
        let line = lines::lines(before, new, job);
        let glance = new.first().cloned().unwrap_or_default();
        New { line, adds: missing::adds(before, &glance, job), missing, glance }
    }

    pub fn glances(&self) -> Vec<Glance> {
        self.told.iter().map(|told| told.glance.clone()).collect()
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
    /// The same in a line.
    #[serde(skip)]
    pub line: String,
}

impl New {
    /// All about it.
    pub fn told(&self, job: &Job) -> String {
        let mut text = words::told(&self.glance, job);
        if self.glance.error.is_none() {
            text.push_str(&words::entry("adds", &format!("{}.", self.adds.join("; "))));
        }
        text + &words::missing_in_words(&self.missing) + "\n"
    }
}

/// Runs until Ctrl-C. Exit code 0, whatever was seen.
pub fn watch(folder: &Path, args: &GlanceArgs) -> anyhow::Result<u8> {
    let &GlanceArgs { all, json, quiet, flat, .. } = args;
    let pictures = args.picture.as_deref();
    if !folder.is_dir() {
        bail!(
            "{} is no folder: --watch looks at a folder that photos are copied into",
            folder.display()
        );
    }
    let mut watched = Watched {
        folder,
        job: super::job_of(folder),
        pictures: pictures
            .map(|pictures| PictureFolder::open(pictures, &[folder.to_owned()]))
            .transpose()?,
        flat,
        all,
        json,
        quiet,
        is_begun: false,
        arrivals: Arrivals::default(),
    };
    let (wake, woken) = channel();
    let stop = wake.clone();
    super::super::threads::one_more()?;
    ctrlc::set_handler(move || {
        let _ = stop.send(Wake::Stop);
    })
    .context("Ctrl-C can't be caught")?;
    super::super::threads::one_more()?;
    // Whatever the event is, an error included, the folder is listed anew.
    let mut watcher = notify::recommended_watcher(move |_event: notify::Result<notify::Event>| {
        let _ = wake.send(Wake::Folder);
    })
    .context("this system gives no word of new files")?;
    let failed = || format!("{} can't be watched: see that you may read it", folder.display());
    watcher.watch(folder, RecursiveMode::Recursive).with_context(failed)?;
    watched.look()?;
    watched.begin()?;
    watched.say(&format!(
        "Watching {}. Copy photos into it; Ctrl-C ends.\n\n",
        one_line(&folder.display().to_string())
    ))?;
    while wait(&woken, watched.is_waiting()) {
        watched.look()?;
    }
    Ok(super::super::DONE)
}

/// Waits for something to happen and for calm afterwards. False when the watch ends.
fn wait(woken: &Receiver<Wake>, is_waiting: bool) -> bool {
    let first = if is_waiting {
        woken.recv_timeout(SETTLED)
    } else {
        woken.recv().map_err(|_| RecvTimeoutError::Disconnected)
    };
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
    flat: bool,
    all: bool,
    json: bool,
    quiet: bool,
    /// What was there when the watch began is counted and not replayed.
    is_begun: bool,
    arrivals: Arrivals,
}

impl Watched<'_> {
    fn is_waiting(&self) -> bool {
        !self.arrivals.waiting.is_empty()
    }

    /// Lists the folder and tells of what is new.
    fn look(&mut self) -> anyhow::Result<()> {
        let listed = match list_photos(self.folder) {
            Ok(listed) => listed,
            Err(ListError::NoPhotos(_)) => JobPhotos::default(),
            Err(error) => return Err(error.into()),
        };
        let mut is_new = false;
        for (file, setup) in self.arrivals.new_among(&listed) {
            let read = file.read();
            if !self.arrivals.is_ready(file, &read) {
                continue;
            }
            let for_the_lens = setup.as_deref() == Some(CAMERA_FOLDER);
            let what = Photographed {
                name: &file.id,
                path: &file.path,
                setup: setup.as_deref(),
                for_the_lens,
            };
            let looked = looked(&what, &self.job, read);
            self.draw(file, &looked);
            let seen = looked.photo.as_ref().map(|(photo, seen, _)| (&photo.facts, seen));
            let photo = Sortable::new(&file.id, setup.as_deref(), seen, &self.job);
            is_new = true;
            if self.is_begun || self.json || self.all || self.quiet {
                let new = self.arrivals.take(file, looked.glance, photo, &self.job);
                self.tell(&new)?;
            } else {
                self.arrivals.add(file, looked.glance, photo);
            }
        }
        if is_new && self.is_begun && !self.all {
            self.tell_tally()?;
        }
        Ok(())
    }

    fn tell(&self, new: &New) -> anyhow::Result<()> {
        if self.quiet {
            if let Some(error) = &new.glance.error {
                super::super::complain(&format!(
                    "{}: {}. {}",
                    new.glance.photo, error.what, error.advice
                ));
            }
            Ok(())
        } else if self.json {
            super::super::print_json(&(serde_json::to_string(new)? + "\n"))
        } else if self.all {
            super::super::print(&new.told(&self.job))
        } else {
            super::super::print_styled(&new.line)
        }
    }

    /// What is there when the watch begins: only the sum, and which photos are not good.
    fn begin(&mut self) -> anyhow::Result<()> {
        self.is_begun = true;
        if self.arrivals.told.is_empty() || self.json || self.all || self.quiet {
            return Ok(());
        }
        self.arrivals.sort(&self.job);
        let glances = self.arrivals.glances();
        for (idx, poor) in glances.iter().enumerate().filter(|(_, glance)| !lines::is_good(glance))
        {
            super::super::print_styled(&lines::lines(
                &glances[..idx],
                std::slice::from_ref(poor),
                &self.job,
            ))?;
        }
        self.tell_tally()
    }

    fn tell_tally(&self) -> anyhow::Result<()> {
        if self.json || self.quiet {
            return Ok(());
        }
        super::super::print_styled(&format!(
            "{}\n",
            lines::tally(&self.arrivals.glances(), &self.job)
        ))
    }

    /// A picture that can't be written is told, and the watch goes on.
    fn draw(&mut self, file: &PhotoFile, looked: &Looked) {
        let Some(pictures) = &mut self.pictures else { return };
        let made = super::pictures_of(&file.id, &file.path, looked, &self.job, self.flat);
        let made: Vec<(&str, &[u8])> =
            made.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
        if let Err(error) = pictures.store_all(&made) {
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

    fn take(arrivals: &mut Arrivals, file: &PhotoFile, glance: Glance) -> New {
        let job = Job::default();
        let photo = Sortable::new(&file.id, glance.setup.as_deref(), None, &job);
        arrivals.take(file, glance, photo, &job)
    }

    #[test]
    fn a_new_photo_is_told_by_what_it_adds_and_what_is_missing_after_it() {
        let (job, mut arrivals) = (Job::default(), Arrivals::default());
        let first = take(
            &mut arrivals,
            &file("1-a/1.jpg", "a"),
            glance("1-a/1.jpg", &[1, 2], &[1, 8, 9, 10]),
        );
        assert_eq!(
            first.adds,
            [
                "cards 1, 2 for the first time",
                "tabs 1 (rear rim, left), 8 to 10 (rear sprocket) for the first time"
            ]
        );
        assert!(
            first.line.contains("1-a/1.jpg")
                && first.line.contains("new: cards 1, 2, tabs 1, 8 to 10"),
            "{}",
            first.line
        );
        let second =
            take(&mut arrivals, &file("1-a/2.jpg", "b"), glance("1-a/2.jpg", &[2, 3], &[1, 2]));
        assert_eq!(
            second.adds,
            [
                "card 3 for the first time",
                "tab 2 (rear rim, right) for the first time",
                "the second view of tab 1 (rear rim, left)"
            ]
        );
        let text = second.told(&job);
        assert!(text.contains("tabs 5 to 7 (gearbox sprocket)."), "{text}");
        assert!(text.contains("More photos in 1-a (2 of 6 so far)"), "{text}");
        assert!(text.contains("One more set-up (1 of 2 so far)"), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        let third = take(&mut arrivals, &file("1-a/3.jpg", "c"), glance("1-a/3.jpg", &[2], &[1]));
        assert_eq!(third.adds, ["one more view of what was seen before"]);
        let tally = lines::tally(&arrivals.glances(), &job);
        assert!(tally.contains("3 of 6") && tally.contains("half round"), "{tally}");
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
        let mut arrivals = Arrivals::default();
        let first = file("1-a/1.jpg", "a");
        take(&mut arrivals, &first, glance("1-a/1.jpg", &[1], &[1]));
        assert!(arrivals.new_among(&listed(std::slice::from_ref(&first))).is_empty());
        let replaced = [file("1-a/1.jpg", "another")];
        assert_eq!(arrivals.new_among(&listed(&replaced)).len(), 1);
        assert!(arrivals.glances().is_empty(), "what is no longer there counts no more");
    }
}
