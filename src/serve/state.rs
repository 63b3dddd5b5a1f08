//! What the page knows at this moment, shared by all phones: photos, the wheel's position, figures,
//! ticks.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::path::PathBuf;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::watch;

use super::answer::{Answer, Grade};
use super::folders::{Evening, Position, positions};
use super::kept::Kept;
use super::position::Stands;
use super::sorting::{Sorting, folder_of, mark_in_words, position_in_words};
use super::tally::{Counted, Tally};
use crate::bench::known_wheel::KnownWheel;
use crate::figure::{Figure, Side};
use crate::glance::missing::is_usable;
use crate::glance::seen::Glance;
use crate::glance::stand::{Stand, chain_side_in};
use crate::grouping::Mark;
use crate::job::Job;
use crate::measurement::Measurement;
use crate::pipeline::Measured;
use crate::pipeline::known::Known;
use crate::plan::evening::Evening as PlanEvening;
use crate::plan::outcome::PlanStep;
use crate::report::ResultDocument;

/// Photos from which a first measurement is worth the wait.
pub const FIRST_MEASURED: usize = 4;
/// A measurement begins when nothing has come for so long: photos picked together come one after
/// the other.
const CALM: Duration = Duration::from_millis(1500);
/// Pictures with marks drawn in that are kept in memory, about 300 kB each; older ones are drawn
/// again when they are asked for.
const PICTURES: usize = 12;
/// Measurements of an evening whose figures are remembered for "getting better".
const REMEMBERED: usize = 40;

/// A photo of this evening.
#[derive(Clone, Debug)]
pub struct Taken {
    /// The first digits of its checksum: how the page names it, also after a restart.
    pub key: String,
    pub sha256: String,
    pub path: PathBuf,
    /// Number of its position, from 0; None for a photo of cards alone, for the lens, and until it
    /// was sorted.
    pub position: Option<usize>,
    pub glance: Glance,
    /// Where it was taken from, as far as it tells.
    pub stand: Option<Stand>,
    pub answer: Answer,
    /// Why it went where it went, until it is moved.
    pub filed: Option<String>,
    /// It lay in the folder when the page was opened: nobody waits for its answer.
    pub lay_here: bool,
}

impl Taken {
    /// Whether the tally counts it: a smeared photo is to be taken again from the same place.
    pub fn counts(&self) -> bool {
        self.answer.grade != Grade::Poor
    }
}

/// A photo's key from its checksum.
pub fn key_of(sha256: &str) -> String {
    sha256.chars().take(16).collect()
}

/// What the last measurement gave.
pub struct LastResult {
    /// The state of the photos that it was made from.
    pub generation: u64,
    pub photos: usize,
    /// What result.json holds, with nothing in it that a terminal obeys.
    pub json: String,
    /// For people: nothing in it gives a page orders.
    pub document: ResultDocument,
    /// The same as it is held beside the evening before.
    pub evening: PlanEvening,
    /// For the report.
    pub measured: Mutex<Measured>,
}

/// What is being done about figures.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Status {
    #[default]
    Idle,
    /// Photos that lay here already are being looked at: so many of so many.
    Loading(usize, usize),
    /// With what is being done.
    Measuring(&'static str),
    Failed(String),
}

/// An earlier evening, as its report tells it.
pub struct Earlier {
    pub number: u32,
    pub evening: PlanEvening,
}

/// Figures with their values after one measurement.
pub type Remembered = BTreeMap<Figure, Measurement>;

/// Everything.
pub struct State {
    pub evening: Evening,
    pub job: Job,
    pub positions: Vec<Position>,
    /// Which way the mark lies in each of them, as far as its photos tell.
    pub marks: Vec<Option<Mark>>,
    /// The position that is being photographed.
    pub current: usize,
    /// In the order in which they came.
    pub photos: Vec<Taken>,
    /// Checksums of photos that are being looked at.
    pub on_the_way: BTreeSet<String>,
    pictures: VecDeque<(String, Arc<Vec<u8>>)>,
    pub status: Status,
    pub last_result: Option<Arc<LastResult>>,
    /// One entry a measurement of this evening.
    pub history: Vec<Remembered>,
    pub earlier: Vec<Earlier>,
    /// The evening of each photo that an earlier evening has, by its key.
    pub counted_before: BTreeMap<String, u32>,
    /// The photo that was left out last, as it was, and where it lies now.
    pub left_out: Option<(Taken, PathBuf)>,
    /// The files of the report that was made last.
    pub report: Option<Arc<BTreeMap<String, Vec<u8>>>>,
    pub kept: Kept,
    /// Counts changes of the photos.
    pub generation: u64,
    changed_at: Instant,
    /// Generation that was measured last, or could not be.
    pub tried: Option<u64>,
}

/// The state with those who wait for it to change.
pub struct Bench {
    /// The job folder.
    pub home: PathBuf,
    /// What was seen in this evening's photos.
    pub known: Known,
    state: Mutex<State>,
    filing: Mutex<()>,
    work: Condvar,
    version: watch::Sender<u64>,
}

impl Bench {
    pub fn new(
        home: PathBuf,
        evening: Evening,
        job: Job,
        positions: Vec<Position>,
        kept: Kept,
    ) -> Self {
        let state = State {
            evening,
            job,
            positions,
            marks: Vec::new(),
            current: 0,
            photos: Vec::new(),
            on_the_way: BTreeSet::new(),
            pictures: VecDeque::new(),
            // Until it was seen what lies in the folder, nothing that is counted is true.
            status: Status::Loading(0, 0),
            last_result: None,
            history: Vec::new(),
            earlier: Vec::new(),
            counted_before: BTreeMap::new(),
            left_out: None,
            report: None,
            kept,
            generation: 0,
            changed_at: Instant::now(),
            tried: None,
        };
        // Counted on from the time of day, so that a page from before a restart sees that something
        // is new.
        let begun = std::time::UNIX_EPOCH.elapsed().map_or(1, |elapsed| elapsed.as_secs() << 20);
        Self {
            home,
            known: Known::default(),
            state: Mutex::new(state),
            filing: Mutex::new(()),
            work: Condvar::new(),
            version: watch::Sender::new(begun),
        }
    }

    /// The state to be read.
    pub fn read(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Photos are put into folders, moved and sorted one after the other; the page is shown
    /// meanwhile.
    pub fn filing(&self) -> MutexGuard<'_, ()> {
        self.filing.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Changes the state, and tells all who wait.
    pub fn change<T>(&self, change: impl FnOnce(&mut State) -> T) -> T {
        let changed = change(&mut self.read());
        self.version.send_modify(|version| *version += 1);
        self.work.notify_all();
        changed
    }

    /// For whoever waits for the next change.
    pub fn versions(&self) -> watch::Receiver<u64> {
        self.version.subscribe()
    }

    /// Waits until there is something to measure and nothing more is coming; gives the photos'
    /// generation.
    pub fn wait_for_work(&self) -> u64 {
        let mut state = self.read();
        loop {
            let usable = state.photos.iter().filter(|photo| is_usable(&photo.glance)).count();
            let is_loading = matches!(state.status, Status::Loading(..));
            let is_new = !is_loading && !state.is_tried() && usable >= FIRST_MEASURED;
            if is_new && state.on_the_way.is_empty() && state.changed_at.elapsed() >= CALM {
                return state.generation;
            }
            let waited =
                self.work.wait_timeout(state, CALM / 3).unwrap_or_else(PoisonError::into_inner);
            state = waited.0;
        }
    }
}

impl State {
    /// To be called whenever a photo came, went or moved.
    pub fn photos_changed(&mut self) {
        self.generation += 1;
        self.changed_at = Instant::now();
    }

    pub fn photo(&self, key: &str) -> Option<&Taken> {
        self.photos.iter().find(|photo| photo.key == key)
    }

    /// The picture with marks drawn in, if it is at hand.
    pub fn picture(&self, key: &str) -> Option<Arc<Vec<u8>>> {
        self.pictures.iter().find(|(of, _)| of == key).map(|(_, bytes)| bytes.clone())
    }

    pub fn keep_picture(&mut self, key: &str, bytes: Vec<u8>) {
        self.pictures.retain(|(of, _)| of != key);
        self.pictures.push_back((key.to_owned(), Arc::new(bytes)));
        if self.pictures.len() > PICTURES {
            self.pictures.pop_front();
        }
    }

    /// The tally of a position.
    pub fn tally(&self, position: usize) -> Tally {
        self.tally_without(position, "")
    }

    /// The same without one photo.
    pub fn tally_without(&self, position: usize, key: &str) -> Tally {
        let of_position =
            self.photos.iter().filter(|photo| photo.position == Some(position) && photo.key != key);
        let counted: Vec<Counted> = of_position
            .filter(|photo| photo.counts())
            .map(|photo| Counted { glance: &photo.glance, stand: photo.stand })
            .collect();
        Tally::of(&counted, &self.job)
    }

    /// What is known of each position.
    pub fn stands(&self) -> Vec<Stands> {
        let photos =
            |at: usize| self.photos.iter().filter(|photo| photo.position == Some(at)).count();
        let mark = |at: usize| self.marks.get(at).copied().flatten();
        (0..self.positions.len()).map(|at| Stands { photos: photos(at), mark: mark(at) }).collect()
    }

    /// Takes up where photos count. One that counts elsewhere than in its folder says so.
    pub fn sort_by(&mut self, sorting: &Sorting) {
        let current = self.positions.get(self.current).cloned();
        let setups: Vec<String> = sorting.setup_of.values().flatten().cloned().collect();
        self.positions = positions(&self.evening.folder, &setups);
        let at =
            |folder: &str| self.positions.iter().position(|position| position.folder == folder);
        self.current = current.and_then(|position| at(&position.folder)).unwrap_or(0);
        self.marks = self.positions.iter().map(|p| sorting.marks.get(&p.folder).copied()).collect();
        for photo in &mut self.photos {
            let Some(setup) = sorting.setup_of.get(&photo.key) else { continue };
            photo.position = setup.as_deref().and_then(at);
            photo.glance.setup.clone_from(setup);
            photo.glance.for_the_lens = setup.is_none();
            let lies_in = folder_of(&photo.path, &self.evening.folder);
            if let (Some(folder), Some(counts), Some(position)) = (lies_in, setup, photo.position)
                && folder != *counts
            {
                photo.filed = Some(format!(
                    "{}: the photo lies in {folder} and counts for {}.",
                    mark_in_words(self.marks[position]),
                    position_in_words(&self.positions, position)
                ));
            }
        }
    }

    /// The chain's side: by the job, or by the side whose tabs are seen together with the
    /// sprockets'.
    pub fn chain_side(&self) -> Option<Side> {
        self.job.bike.chain_side.or_else(|| {
            let votes =
                self.photos.iter().filter_map(|photo| chain_side_in(&photo.glance, &self.job));
            let balance: f64 = votes.map(Side::sign).sum();
            (balance != 0.0).then_some(Side::of_sign(balance))
        })
    }

    /// Takes up what a measurement showed.
    pub fn take_result(&mut self, result: LastResult) {
        let figures = result
            .document
            .measured
            .table
            .measured()
            .map(|(figure, measured)| (figure.clone(), measured));
        self.history.push(figures.collect());
        if self.history.len() > REMEMBERED {
            self.history.remove(0);
        }
        self.report = None;
        self.last_result = Some(Arc::new(result));
    }

    /// Begins an evening without photos.
    pub fn begin(&mut self, evening: Evening, positions: Vec<Position>) {
        self.evening = evening;
        self.positions = positions;
        self.marks.clear();
        self.current = 0;
        self.photos.clear();
        self.pictures.clear();
        self.left_out = None;
        self.status = Status::Idle;
        self.last_result = None;
        self.history.clear();
        self.report = None;
        self.tried = None;
        self.photos_changed();
    }

    /// Whether a step of the plan was ticked off.
    pub fn is_ticked(&self, step: &PlanStep) -> bool {
        self.was_ticked(self.evening.number, step)
    }

    /// The same of an evening's plan.
    pub fn was_ticked(&self, evening: u32, step: &PlanStep) -> bool {
        self.kept.ticks.contains(&step_key(evening, step))
    }

    /// Whether the figures are those of all photos.
    pub fn is_measured(&self) -> bool {
        self.last_result.as_ref().is_some_and(|result| result.generation == self.generation)
    }

    /// Whether all photos were measured, or could not be.
    pub fn is_tried(&self) -> bool {
        self.tried == Some(self.generation)
    }

    /// The evening whose steps are followed: the last one that found the wheel's axis. A few photos
    /// after a step make no plan of their own.
    pub fn before(&self) -> Option<&Earlier> {
        let found_axis = |earlier: &&Earlier| KnownWheel::of(&earlier.evening.figures).is_some();
        self.earlier.iter().rev().find(found_axis).or(self.earlier.last())
    }
}

/// A step's name for its tick: one more photo may change an amount, and the tick stays.
pub fn step_key(evening: u32, step: &PlanStep) -> String {
    let side = step.side.map_or("", Side::word);
    format!("{evening} {:?} {} {side}", step.step, step.applied_to)
}
