//! `glance FOLDER --watch`: keeps looking at a folder and says of each new photo what it adds and
//! what is still missing.
//!
//! File events only wake it up; what is new is found by listing the folder and comparing. So
//! nothing depends on which events a system sends for a copy, a rename or a half-written file.

use std::path::Path;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

use anyhow::{Context, bail};
use notify::{RecursiveMode, Watcher};

use crate::glance::seen::{Looked, Photographed, looked};
use crate::job::Job;
use crate::photo::job_photos::CAMERA_FOLDER;
use crate::photo::listing::ListError;
use crate::photo::{JobPhotos, PhotoFile, list_photos};
use crate::visible::one_line;

use super::arrivals::{Arrivals, New};
use super::picture::PictureFolder;
use super::{GlanceArgs, lines};
use crate::pipeline::Sortable;

/// After an event the folder is left alone until nothing has happened for this long: a copy makes
/// many events.
const CALM: Duration = Duration::from_millis(150);
/// A file that can't be read is looked at again after this time, and reported as unreadable if it
/// is the same by then: until then it may be on its way.
const SETTLED: Duration = Duration::from_secs(2);

/// Why the watch wakes up.
enum Wake {
    Folder,
    Stop,
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
    // Whatever the event is, an error included, the folder is listed again.
    let mut watcher = notify::recommended_watcher(move |_event: notify::Result<notify::Event>| {
        let _ = wake.send(Wake::Folder);
    })
    .context("this system does not report new files")?;
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
        self.arrivals.is_waiting()
    }

    /// Lists the folder and reports what is new.
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
                self.report(&new)?;
            } else {
                self.arrivals.add(file, looked.glance, photo);
            }
        }
        if is_new && self.is_begun && !self.all {
            self.report_tally()?;
        }
        Ok(())
    }

    fn report(&self, new: &New) -> anyhow::Result<()> {
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
            super::super::print(&new.reported(&self.job))
        } else {
            super::super::print_styled(&new.line)
        }
    }

    /// What is there when the watch begins: only the sum, and which photos are not good.
    fn begin(&mut self) -> anyhow::Result<()> {
        self.is_begun = true;
        if self.arrivals.is_empty() || self.json || self.all || self.quiet {
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
        self.report_tally()
    }

    fn report_tally(&self) -> anyhow::Result<()> {
        if self.json || self.quiet {
            return Ok(());
        }
        super::super::print_styled(&format!("{}\n", self.arrivals.tally(&self.job)))
    }

    /// A picture that can't be written is reported, and the watch goes on.
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
