//! `sightcord glance`: what single photos show, without lens or scene.

pub mod arrivals;
mod lines;
mod picture;
mod sorting;
mod watch;
mod words;

use std::path::{Path, PathBuf};

use anyhow::bail;
use clap::Args;
use rayon::prelude::*;
use serde::Serialize;

use crate::disk::scratch::clear_away_on_interrupt;
use crate::finding::Finding;
use crate::glance::drawn::{drawn, flat_cards};
use crate::glance::missing;
use crate::glance::seen::{self, Glance, Looked, Photographed, Trouble};
use crate::job::Job;
use crate::photo::job_photos::CAMERA_FOLDER;
use crate::photo::room::Room;
use crate::photo::{JobPhotos, PhotoFile, list_photos};
use crate::pipeline::Sortable;
use crate::visible::one_line;

use picture::PictureFolder;
use sorting::Said;

const EXAMPLES: &str = "\
Examples:
  sightcord glance my-bike/1-mark-forward/01.jpg
  sightcord glance my-bike --picture looked-at
  sightcord glance my-bike --watch                while photos are copied into it";

/// What each photo adds, whether it is good, and what is still missing; the lens need not be known.
///
/// A line for each photo and one for each position of the wheel; everything that was seen with
/// --all, or where one photo is named.
///
/// Where the cord runs in a card's lane is given at once in the card's own millimetres. There is no
/// offset of anything that stands above the cards: one photo can't show how far away a thing is,
/// and what stands 300 mm up appears off its true place by that much times the slope of the view.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct GlanceArgs {
    /// Photos, or job folders.
    #[arg(required = true)]
    photos: Vec<PathBuf>,
    /// Write a picture of each photo with what was found drawn in, reduced and upright; never over
    /// a file that is there.
    #[arg(long, value_name = "DIR")]
    picture: Option<PathBuf>,
    /// With --picture: each card of each photo as from straight above, too.
    #[arg(long, requires = "picture")]
    flat: bool,
    /// Keep looking at a folder, and say of each new photo what it adds and what is still missing,
    /// until Ctrl-C.
    #[arg(long)]
    watch: bool,
    /// Print all that was seen in each photo.
    #[arg(long)]
    all: bool,
    /// Print what was seen as JSON.
    #[arg(long)]
    json: bool,
    /// Print nothing but errors.
    #[arg(long, short)]
    quiet: bool,
}

/// All glances as JSON.
#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    photos: &'a [Glance],
    missing: &'a [String],
    /// What no single photo can show, and why.
    not_told: &'static str,
    findings: &'a [Finding],
}

const SCHEMA: &str = "sightcord-glance/1";

/// One photo on its way: what it is called and where it is.
struct Wanted {
    name: String,
    path: PathBuf,
    setup: Option<String>,
    /// Its job among the jobs that were named.
    job: usize,
}

/// What was named on the command line.
struct Named {
    /// The usual roles, for photos that were named on their own, then a job for each folder.
    jobs: Vec<Job>,
    /// What each of these jobs was called.
    names: Vec<String>,
    wanted: Vec<Wanted>,
    findings: Vec<Finding>,
    /// Of folders that can't be listed.
    glances: Vec<Glance>,
}

impl Named {
    fn of(paths: &[PathBuf]) -> Self {
        let mut named = Self {
            jobs: vec![Job::default()],
            names: vec!["photos by themselves".to_owned()],
            wanted: Vec::new(),
            findings: Vec::new(),
            glances: Vec::new(),
        };
        for path in paths {
            if !path.is_dir() {
                let name = path.display().to_string();
                named.wanted.push(Wanted { name, path: path.clone(), setup: None, job: 0 });
                continue;
            }
            match list_photos(path) {
                Ok(listed) => {
                    named.jobs.push(job_of(path));
                    named.names.push(path.display().to_string());
                    named.wanted.extend(of_folder(&listed, named.jobs.len() - 1));
                    named.findings.extend(listed.findings);
                }
                // The other photos and folders are looked at all the same.
                Err(error) => named.glances.push(not_listed(path, &error.to_string())),
            }
        }
        named
    }
}

/// Runs the command. Exit code 1 when no photo shows a card, 2 when none can be read.
pub fn run(args: &GlanceArgs) -> anyhow::Result<u8> {
    if args.watch {
        let [folder] = args.photos.as_slice() else {
            bail!("--watch looks at one folder: name that folder alone")
        };
        return watch::watch(folder, args);
    }
    super::threads::start(None);
    clear_away_on_interrupt();
    let mut pictures = args
        .picture
        .as_deref()
        .map(|folder| PictureFolder::open(folder, &args.photos))
        .transpose()?;
    let Named { jobs, names, wanted, mut findings, glances: unlisted } = Named::of(&args.photos);
    let wants_pictures = pictures.is_some();
    let looked: Vec<(Glance, Sortable, Vec<(String, Vec<u8>)>)> = wanted
        .par_iter()
        .map(|what| {
            let job = &jobs[what.job];
            let _room = Room::for_photo(&what.path);
            let looked = seen::glance(&what.photographed(), job);
            let pictures = if wants_pictures {
                pictures_of(&what.name, &what.path, &looked, job, args.flat)
            } else {
                Vec::new()
            };
            let seen = looked.photo.as_ref().map(|(photo, seen, _)| (&photo.facts, seen));
            let sortable = Sortable::new(&what.name, what.setup.as_deref(), seen, job);
            (looked.glance, sortable, pictures)
        })
        .collect();
    if let Some(pictures) = &mut pictures {
        let made = looked
            .iter()
            .flat_map(|(_, _, made)| made)
            .map(|(name, bytes)| (name.as_str(), bytes.as_slice()));
        pictures.store_all(&made.collect::<Vec<_>>())?;
    }
    let mut by_job: Vec<Vec<Sortable>> = vec![Vec::new(); jobs.len()];
    let mut seen: Vec<Glance> = Vec::with_capacity(looked.len());
    for ((glance, photo, _), what) in looked.into_iter().zip(&wanted) {
        seen.push(glance);
        by_job[what.job].push(photo);
    }
    let mut parts: Vec<PartSeen> = Vec::new();
    for ((number, job), photos) in jobs.iter().enumerate().zip(by_job) {
        let of_job = seen.iter_mut().zip(&wanted).filter(|(_, what)| what.job == number);
        let mut own: Vec<&mut Glance> = of_job.map(|(glance, _)| glance).collect();
        let Said { findings: own_findings, refused } =
            sorting::sort(&mut own, photos, job, number > 0);
        findings.extend(own_findings);
        let glances: Vec<Glance> = own.into_iter().map(|glance| glance.clone()).collect();
        parts.push(PartSeen { name: &names[number], job, glances, refused });
    }
    parts[0].glances.splice(0..0, unlisted.clone());
    parts.retain(|part| !part.glances.is_empty());
    let glances: Vec<Glance> = unlisted.into_iter().chain(seen).collect();
    say(args, &glances, &parts, &findings, pictures.as_ref())?;
    Ok(exit_code(&glances))
}

/// What one of the folders that were named shows, or the photos that were named by themselves.
struct PartSeen<'a> {
    name: &'a str,
    job: &'a Job,
    glances: Vec<Glance>,
    /// Its photos are of several jobs: nothing is counted.
    refused: bool,
}

impl PartSeen<'_> {
    fn missing(&self) -> Vec<String> {
        if self.refused { Vec::new() } else { missing::missing(&self.glances, self.job) }
    }

    /// A line for each photo, then one for each position of the wheel.
    fn in_lines(&self, is_one_of_several: bool) -> Vec<String> {
        let mut text = Vec::new();
        if is_one_of_several {
            text.push(format!("{}:\n", one_line(self.name)));
        }
        text.push(lines::lines(&[], &self.glances, self.job));
        if self.refused {
        } else if self.glances.iter().any(|glance| glance.setup.is_some()) {
            text.push(lines::tally(&self.glances, self.job));
        } else {
            text.push("All that was seen in each photo: --all.\n".to_owned());
        }
        text
    }
}

/// The pictures of a photo, each with the name of a photo that its own is made from.
fn pictures_of(
    name: &str,
    path: &Path,
    looked: &Looked,
    job: &Job,
    flat: bool,
) -> Vec<(String, Vec<u8>)> {
    let whole = drawn(path, looked, job).map(|bytes| (name.to_owned(), bytes));
    let cards = if flat { flat_cards(looked) } else { Vec::new() };
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    whole
        .into_iter()
        .chain(cards.into_iter().map(|(card, bytes)| (format!("{stem}-{card}.jpg"), bytes)))
        .collect()
}

impl Wanted {
    fn photographed(&self) -> Photographed<'_> {
        Photographed {
            name: &self.name,
            path: &self.path,
            setup: self.setup.as_deref(),
            for_the_lens: self.setup.as_deref() == Some(CAMERA_FOLDER),
        }
    }
}

/// A folder's job, or the usual roles where its job.toml can't be used: a glance must not fail for
/// a slip of the pen.
fn job_of(folder: &Path) -> Job {
    Job::of_folder(folder).unwrap_or_else(|error| {
        let why = error.to_string();
        super::complain(&format!(
            "{}. job.toml is not used until this is mended: each tab counts for what its number usually stands for.",
            why.trim_end().trim_end_matches('.')
        ));
        Job::default()
    })
}

fn of_folder(listed: &JobPhotos, job: usize) -> Vec<Wanted> {
    let wanted = |(file, setup): (&PhotoFile, Option<&str>)| Wanted {
        name: file.id.clone(),
        path: file.path.clone(),
        setup: setup.map(str::to_owned),
        job,
    };
    listed.with_setups().map(wanted).collect()
}

fn not_listed(path: &Path, why: &str) -> Glance {
    Glance {
        photo: path.display().to_string(),
        error: Some(Trouble::new(
            why.to_owned(),
            "Name a folder with photos, or the photos themselves.",
        )),
        ..Glance::default()
    }
}

fn say(
    args: &GlanceArgs,
    glances: &[Glance],
    parts: &[PartSeen],
    findings: &[Finding],
    pictures: Option<&PictureFolder>,
) -> anyhow::Result<()> {
    let missing: Vec<String> = parts.iter().flat_map(PartSeen::missing).collect();
    if args.json {
        let document = Document {
            schema: SCHEMA,
            photos: glances,
            missing: &missing,
            not_told: words::NOT_SHOWN,
            findings,
        };
        return super::print_json(&format!("{}\n", serde_json::to_string_pretty(&document)?));
    }
    if args.quiet {
        for (glance, error) in
            glances.iter().filter_map(|glance| Some((glance, glance.error.as_ref()?)))
        {
            super::complain(&format!("{}: {}. {}", glance.photo, error.what, error.advice));
        }
        return Ok(());
    }
    if !args.all && glances.len() != 1 {
        let mut text: Vec<String> =
            parts.iter().flat_map(|part| part.in_lines(parts.len() > 1)).collect();
        text.extend(
            findings
                .iter()
                .map(|finding| words::paragraph(&finding.what) + &words::advice(&finding.advice)),
        );
        text.extend(pictures.map(PictureFolder::words));
        return super::print_styled(&text.join("\n"));
    }
    let described = |part: &PartSeen| -> Vec<String> {
        part.glances.iter().map(|glance| words::described(glance, part.job)).collect()
    };
    let mut text: Vec<String> = parts.iter().flat_map(described).collect();
    text.push(words::meaning(glances));
    let is_counted = parts.iter().any(|part| !part.refused);
    if is_counted && glances.iter().any(|glance| glance.error.is_none()) {
        let is_job = glances.iter().any(|glance| glance.setup.is_some());
        text.push(words::missing_in_words(&missing, is_job));
    }
    text.extend(
        findings
            .iter()
            .map(|finding| words::paragraph(&finding.what) + &words::advice(&finding.advice)),
    );
    text.extend(pictures.map(PictureFolder::words));
    text.retain(|part| !part.is_empty());
    super::print(&text.join("\n"))
}

fn exit_code(glances: &[Glance]) -> u8 {
    if glances.iter().all(|glance| glance.error.is_some()) {
        super::BAD_INPUT
    } else if glances.iter().any(|glance| !glance.cards.is_empty()) {
        super::DONE
    } else {
        super::NOTHING
    }
}
