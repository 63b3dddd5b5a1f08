//! From positions of the wheel to set-ups: folders are believed and checked, and what lies in none
//! is sorted.

use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::places::Mark;
use super::positions::{Shows, Sorted};
use crate::figure::Side;
use crate::finding::Finding;
use crate::job::Job;
use crate::photo::PhotoFacts;
use crate::photo::listing::{CAMERA_FOLDER, LOOSE_SETUP};
use crate::text::listed;

/// Set-up of photos of cards alone that lie elsewhere than on the bench, where others show them
/// there.
const CARDS_ELSEWHERE: &str = "0-camera-elsewhere";
/// So many photos of another position in one folder are no slip: they are a position of their own.
const NO_SLIP: usize = 3;
/// No more files than this are named in one sentence.
const NAMED: usize = 6;

/// Who said that a photo belongs to its set-up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum GroupedBy {
    /// It lies in the set-up's folder.
    #[default]
    Folder,
    /// The job's settings name it.
    Job,
    /// The program found it, from where the wheel stands in it.
    Found,
}

/// A photo and its set-up.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct GroupingEntry {
    /// As in the list of photos.
    pub photo: String,
    pub setup: String,
    pub by: GroupedBy,
}

/// A photo as it was listed.
#[derive(Clone, Debug, Default)]
pub struct Listed {
    /// Its place in the job folder.
    pub id: String,
    /// The set-up that its folder, or the job, names; None for a photo that lies loose.
    pub setup: Option<String>,
    /// Whether the job's settings named the set-up.
    pub by_job: bool,
    /// When it was taken, in letters that sort by time, and by which camera's clock.
    pub taken: Option<String>,
    pub camera: Option<String>,
}

impl Listed {
    /// `folder` names the set-up that its folder says; what the job says comes first.
    pub fn new(id: &str, folder: Option<&str>, facts: Option<&PhotoFacts>, job: &Job) -> Self {
        let by_job = job
            .setups
            .iter()
            .find(|setup| setup.photos.iter().any(|photo| photo == id))
            .map(|setup| setup.name.as_str());
        Self {
            id: id.to_owned(),
            setup: by_job.or(folder).map(str::to_owned),
            by_job: by_job.is_some(),
            taken: facts.and_then(|facts| facts.exif.taken.clone()),
            camera: facts.and_then(|facts| facts.exif.model.clone()),
        }
    }

    /// Whether it lies with the photos of cards alone, for the lens.
    pub fn is_for_the_lens(&self) -> bool {
        self.setup.as_deref() == Some(CAMERA_FOLDER)
    }
}

/// The photos in set-ups.
#[derive(Clone, Debug, Default)]
pub struct Grouping {
    /// Names, and whether the photos show cards alone, for the lens; those first.
    pub setups: Vec<(String, bool)>,
    /// For each photo its set-up.
    pub of_photo: Vec<usize>,
    /// For each photo who said so.
    pub by: Vec<GroupedBy>,
    pub findings: Vec<Finding>,
}

/// "mark forward: 8 photos, mark rearward: 8, cards only: 4".
pub fn in_words(setups: &[(String, bool)], counts: &[usize]) -> String {
    let mut first = true;
    let mut told: Vec<String> = Vec::new();
    let bench_first = setups.iter().zip(counts).filter(|((_, lens), _)| !lens);
    let then_lens = setups.iter().zip(counts).filter(|((_, lens), _)| *lens);
    for ((name, lens), n) in bench_first.chain(then_lens).filter(|(_, n)| **n > 0) {
        let name = match (*lens, name == CARDS_ELSEWHERE) {
            (true, true) => "cards elsewhere".to_owned(),
            (true, false) => "cards only".to_owned(),
            (false, _) => plain_name(name),
        };
        let unit = if std::mem::take(&mut first) {
            if *n == 1 { " photo" } else { " photos" }
        } else {
            ""
        };
        told.push(format!("{name}: {n}{unit}"));
    }
    told.join(", ")
}

/// A set-up's name without the number in front, in words: "mark forward".
pub fn plain_name(name: &str) -> String {
    let rest =
        name.trim_start_matches(|c: char| c.is_ascii_digit()).trim_start_matches(['-', '_', ' ']);
    if rest.is_empty() { name.to_owned() } else { rest.replace('-', " ") }
}

/// Puts every photo into a set-up.
pub fn group(photos: &[Listed], sorted: &Sorted) -> Grouping {
    let mut work = Work { photos, sorted, out: Grouping::default(), owns: BTreeMap::new() };
    work.out.of_photo = vec![0; photos.len()];
    work.out.by = photos
        .iter()
        .map(|photo| match (&photo.setup, photo.by_job) {
            (Some(_), true) => GroupedBy::Job,
            (Some(_), false) => GroupedBy::Folder,
            (None, _) => GroupedBy::Found,
        })
        .collect();
    work.believe_folders();
    work.check_folders();
    work.sort_loose();
    work.lens_first();
    work.out
}

struct Work<'a> {
    photos: &'a [Listed],
    sorted: &'a Sorted,
    out: Grouping,
    /// For each set-up of the bench the wheel's position in it.
    owns: BTreeMap<usize, usize>,
}

impl Work<'_> {
    fn setup(&mut self, name: &str, lens_only: bool) -> usize {
        if let Some(known) = self.out.setups.iter().position(|(known, _)| known == name) {
            return known;
        }
        self.out.setups.push((name.to_owned(), lens_only));
        self.out.setups.len() - 1
    }

    fn in_setup(&self, setup: usize) -> Vec<usize> {
        let believed = |photo: &usize| {
            self.photos[*photo].setup.is_some() && self.out.of_photo[*photo] == setup
        };
        (0..self.photos.len()).filter(believed).collect()
    }

    fn position(&self, photo: usize) -> Option<usize> {
        match self.sorted.shows.get(photo) {
            Some(Shows::Wheel(position)) => Some(*position),
            _ => None,
        }
    }

    fn believe_folders(&mut self) {
        for (idx, photo) in self.photos.iter().enumerate() {
            if let Some(name) = &photo.setup {
                self.out.of_photo[idx] = self.setup(name, name.eq_ignore_ascii_case(CAMERA_FOLDER));
            }
        }
        for setup in 0..self.out.setups.len() {
            if self.out.setups[setup].1 {
                continue;
            }
            let mut counts: BTreeMap<usize, usize> = BTreeMap::new();
            for position in
                self.in_setup(setup).into_iter().filter_map(|photo| self.position(photo))
            {
                *counts.entry(position).or_default() += 1;
            }
            let name = self.out.setups[setup].0.to_lowercase();
            let is_named = |position: usize| {
                self.sorted
                    .positions
                    .get(position)
                    .and_then(|p| p.mark)
                    .is_some_and(|mark| name.contains(mark.word()))
            };
            let own = counts.iter().max_by_key(|(position, n)| {
                (**n, is_named(**position), std::cmp::Reverse(**position))
            });
            if let Some((position, _)) = own {
                self.owns.insert(setup, *position);
            }
        }
    }

    /// Photos that show the wheel elsewhere than their folder's others go where they fit, and are
    /// named.
    fn check_folders(&mut self) {
        let owners = self.owns.clone();
        for (&setup, &own) in &owners {
            let inside = self.in_setup(setup);
            let mut strangers: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
            for &photo in &inside {
                if let Some(position) =
                    self.position(photo).filter(|position| self.contradict(*position, own))
                {
                    strangers.entry(position).or_default().push(photo);
                }
            }
            for (position, photos) in strangers {
                let fits = owners
                    .iter()
                    .find(|(other, owned)| **other != setup && **owned == position)
                    .map(|(other, _)| *other);
                let own_photos: Vec<usize> =
                    inside.iter().copied().filter(|p| self.position(*p) == Some(own)).collect();
                if let Some(side) = self.turned_between_sides(&own_photos, &photos, fits) {
                    self.tell_turned(setup, &photos, side, own, position);
                } else if let Some(fits) = fits {
                    self.tell_misfiled(setup, &photos, fits);
                } else {
                    self.tell_other_position(setup, &photos, own, position);
                }
            }
        }
    }

    /// Whether two positions are so unlike that a folder's word against it is not believed: their
    /// marks lie on different sides of the axle. What turns less is left to the whole solution,
    /// which sees a knock of a tenth of a degree.
    fn contradict(&self, a: usize, b: usize) -> bool {
        let mark = |position: usize| {
            self.sorted.positions.get(position).and_then(|position| position.mark)
        };
        a != b && !(mark(a).is_some() && mark(a) == mark(b))
    }

    /// The side from which all of `others` were taken, where the folder's other photos were all
    /// taken from the other side, and the two did not just change folders: then they were taken
    /// at one time with those of the folder that they fit.
    fn turned_between_sides(
        &self,
        own: &[usize],
        others: &[usize],
        fits: Option<usize>,
    ) -> Option<Side> {
        let side_of = |photos: &[usize]| {
            let sides: BTreeSet<Side> =
                photos.iter().filter_map(|photo| self.sorted.from[*photo]).collect();
            (sides.len() == 1).then(|| sides.first().copied()).flatten()
        };
        let (first, second) = (side_of(own)?, side_of(others)?);
        if first == second || own.len() < 2 {
            return None;
        }
        let Some(fits) = fits else { return Some(second) };
        let theirs = self
            .in_setup(fits)
            .into_iter()
            .filter(|p| self.owns.get(&fits).copied() == self.position(*p));
        let theirs: Vec<usize> = theirs.collect();
        match (self.apart_in_time(others, own), self.apart_in_time(others, &theirs)) {
            (Some(from_own), Some(from_theirs)) => (from_own <= from_theirs).then_some(second),
            _ => Some(second),
        }
    }

    /// Seconds between two groups of photos, by the two that lie nearest to each other in time.
    fn apart_in_time(&self, some: &[usize], others: &[usize]) -> Option<i64> {
        let times = |photos: &[usize]| -> Option<Vec<i64>> {
            photos
                .iter()
                .map(|photo| self.photos[*photo].taken.as_deref().and_then(seconds))
                .collect()
        };
        let (some, others) = (times(some)?, times(others)?);
        some.iter().flat_map(|a| others.iter().map(move |b| (a - b).abs())).min()
    }

    fn name(&self, setup: usize) -> String {
        self.out.setups[setup].0.clone()
    }

    fn mark_in_words(&self, position: usize) -> String {
        match self.sorted.positions.get(position).and_then(|position| position.mark) {
            Some(mark) => format!("with the mark {}", mark.word()),
            None => "in another position".to_owned(),
        }
    }

    fn move_to(&mut self, photos: &[usize], setup: usize) {
        for &photo in photos {
            self.out.of_photo[photo] = setup;
            self.out.by[photo] = GroupedBy::Found;
        }
    }

    fn tell_turned(
        &mut self,
        setup: usize,
        photos: &[usize],
        side: Side,
        own: usize,
        position: usize,
    ) {
        // What was taken from that side and shows no tab of the wheel goes along.
        let is_bench = |photo: &usize| {
            self.sorted.shows.get(*photo) == Some(&Shows::BenchOnly)
                && self.sorted.from[*photo] == Some(side)
        };
        let photos: Vec<usize> = photos
            .iter()
            .copied()
            .chain(self.in_setup(setup).into_iter().filter(is_bench))
            .collect();
        let (name, other) = (self.name(setup), side.other());
        let apart = self.setup(&format!("{name}-{}", side.word()), false);
        self.owns.insert(apart, position);
        self.out.findings.push(Finding::refused(
            "wheel-turned-between-sides",
            format!(
                "In {name} the wheel was turned between the photos from the {} and those from the {}: it stands {} in the ones and {} in the \
                 others, so that the two sides don't belong to one position of the wheel.",
                other.word(),
                side.word(),
                self.mark_in_words(own),
                self.mark_in_words(position),
            ),
            format!(
                "Leave the wheel as it is while you walk round the bike. Take the photos of {name} again: three from the left and three from \
                 the right, with the mark at one place. (If the wheel was not turned: tabs 1 and 2 must be opposite each other on the rim.)"
            ),
        ));
        self.move_to(&photos, apart);
    }

    fn tell_misfiled(&mut self, setup: usize, photos: &[usize], fits: usize) {
        let (name, fits_name) = (self.name(setup), self.name(fits));
        let (files, many) = (self.files(photos), photos.len() > 1);
        let finding = Finding::warning(
            "photo-in-wrong-setup",
            format!(
                "{files} {} in {name}, but {} the wheel as it stands in {fits_name}; {} counted there.",
                if many { "lie" } else { "lies" },
                if many { "show" } else { "shows" },
                if many { "they are" } else { "it is" }
            ),
            format!(
                "Move {} to {fits_name}, or put all photos into one folder: the program sorts them.",
                if many { "them" } else { "it" }
            ),
        );
        let finding =
            if many { finding } else { finding.in_photo(self.photos[photos[0]].id.clone()) };
        self.out.findings.push(finding);
        self.move_to(photos, fits);
    }

    fn tell_other_position(&mut self, setup: usize, photos: &[usize], own: usize, position: usize) {
        let name = self.name(setup);
        let apart = self.own_setup(position);
        let apart_name = self.name(apart);
        let files = self.files(photos);
        let finding = if photos.len() >= NO_SLIP {
            Finding::warning(
                "two-positions-in-one-folder",
                format!(
                    "{name} holds photos of two wheel positions: {} of them show the wheel {}, {} {}. They were sorted: {files} count as \
                     {apart_name}.",
                    self.in_setup(setup)
                        .into_iter()
                        .filter(|photo| self.position(*photo) == Some(own))
                        .count(),
                    self.mark_in_words(own),
                    photos.len(),
                    self.mark_in_words(position),
                ),
                "Nothing may move within a folder. Give each wheel position a folder of its own, or put all photos straight into the job \
                 folder: the program sorts them.",
            )
        } else {
            Finding::warning(
                "photo-of-no-setup",
                format!(
                    "{files} in {name} show the wheel as no folder's photos do; they count as {apart_name}."
                ),
                "Leave the wheel as it is until all photos of a position are taken. Take these again, or take them out.",
            )
        };
        self.out.findings.push(finding);
        self.move_to(photos, apart);
    }

    /// "a.jpg, b.jpg and 3 more".
    fn files(&self, photos: &[usize]) -> String {
        let names: Vec<&str> =
            photos.iter().take(NAMED).map(|photo| self.photos[*photo].id.as_str()).collect();
        match photos.len().saturating_sub(NAMED) {
            0 => listed(&names),
            more => format!("{} and {more} more", names.join(", ")),
        }
    }

    /// The set-up of a position that no folder has.
    fn own_setup(&mut self, position: usize) -> usize {
        if let Some((&setup, _)) = self.owns.iter().find(|(_, owned)| **owned == position) {
            return setup;
        }
        let words = match self.sorted.positions.get(position).and_then(|position| position.mark) {
            Some(mark) => mark_name(mark),
            None => "position".to_owned(),
        };
        let bench = self.out.setups.iter().filter(|(_, lens)| !lens).count();
        let free = |name: &String| !self.out.setups.iter().any(|(known, _)| known == name);
        let numbered = (bench + 1..).map(|number| format!("{number}-{words}"));
        let name = numbered.into_iter().find(free).unwrap_or(words);
        let setup = self.setup(&name, false);
        self.owns.insert(setup, position);
        setup
    }

    /// Photos in no folder go to the position they show; those that show no wheel to that of the
    /// photos next to them, where nothing but their order can tell.
    fn sort_loose(&mut self) {
        let loose: Vec<usize> =
            (0..self.photos.len()).filter(|idx| self.photos[*idx].setup.is_none()).collect();
        if loose.is_empty() {
            return;
        }
        let is_flat = loose.len() == self.photos.iter().filter(|p| !is_camera(p)).count();
        // In the order forward, rearward, ...
        for position in 0..self.sorted.positions.len() {
            if loose.iter().any(|photo| self.position(*photo) == Some(position)) {
                self.own_setup(position);
            }
        }
        if self.owns.is_empty() {
            // Nobody can tell where the wheel stands: one set-up, within which nothing moved.
            let all = self.setup(LOOSE_SETUP, false);
            self.move_to(&loose, all);
            return;
        }
        let order = in_time(self.photos, &loose);
        let clock = have_one_clock(self.photos, &order);
        let stops = if is_flat && clock { self.stops(&order) } else { BTreeMap::new() };
        let mut known: Vec<(usize, usize)> = Vec::new();
        for (rank, &photo) in order.iter().enumerate() {
            if let Some(position) = self.position(photo) {
                let setup = self.setup_of_stop(position, stops.get(&photo).copied().unwrap_or(1));
                known.push((rank, setup));
                self.move_to(&[photo], setup);
            }
        }
        let sorted = self.sorted;
        let shown = |photo: usize| sorted.shows.get(photo).copied().unwrap_or(Shows::Nothing);
        // Cards that lie at two places are not one ground.
        let apart = loose.iter().any(|photo| shown(*photo) == Shows::CardsOnly);
        for (rank, &photo) in order.iter().enumerate() {
            let apart_in_time = |other: usize| self.apart_in_time(&[photo], &order[other..=other]);
            let far = |other: usize| {
                (clock.then(|| apart_in_time(other)).flatten(), other.abs_diff(rank))
            };
            let nearest =
                known.iter().min_by_key(|(other, _)| far(*other)).map(|(_, setup)| *setup);
            let setup = match shown(photo) {
                Shows::Wheel(_) => continue,
                Shows::BenchOnly | Shows::Nothing if is_flat => nearest,
                Shows::CardsElsewhere if apart => Some(self.setup(CARDS_ELSEWHERE, true)),
                Shows::CardsOnly | Shows::CardsElsewhere | Shows::BenchOnly | Shows::Nothing => {
                    None
                }
            };
            let setup = setup.unwrap_or_else(|| self.setup(CAMERA_FOLDER, true));
            self.move_to(&[photo], setup);
        }
        self.tell_sorted(&loose, is_flat);
    }

    /// How many times the wheel had been brought to its position when a photo was taken, this one
    /// counted, for photos of one clock.
    fn stops(&self, order: &[usize]) -> BTreeMap<usize, usize> {
        let mut stops = BTreeMap::new();
        let (mut count, mut last): (BTreeMap<usize, usize>, Option<usize>) =
            (BTreeMap::new(), None);
        for &photo in order {
            let Some(position) = self.position(photo) else { continue };
            if last != Some(position) {
                *count.entry(position).or_default() += 1;
                last = Some(position);
            }
            stops.insert(photo, count.get(&position).copied().unwrap_or(1));
        }
        stops
    }

    /// The set-up of a position that the wheel was brought to for the `stop`-th time: by hand it
    /// never comes to quite the same place.
    fn setup_of_stop(&mut self, position: usize, stop: usize) -> usize {
        let first = self.own_setup(position);
        if stop < 2 {
            return first;
        }
        let name = self.name(first);
        let apart =
            if stop == 2 { format!("{name}-again") } else { format!("{name}-again-{}", stop - 1) };
        if !self.out.setups.iter().any(|(known, _)| *known == apart) {
            self.out.findings.push(Finding::warning(
                "wheel-turned-back",
                format!(
                    "The wheel was turned away and back again {} while photos were taken: by hand it never comes to quite the same place, so \
                     that the later photos count as a position of their own, {apart}.",
                    self.mark_in_words(position)
                ),
                "Take all photos of one position of the wheel, from both sides, before you turn it.",
            ));
        }
        self.setup(&apart, false)
    }

    fn tell_sorted(&mut self, loose: &[usize], is_flat: bool) {
        let counts: Vec<usize> = (0..self.out.setups.len())
            .map(|setup| loose.iter().filter(|p| self.out.of_photo[**p] == setup).count())
            .collect();
        let words = in_words(&self.out.setups, &counts);
        let (what, todo) = if is_flat {
            (
                format!("The photos were sorted by where the wheel stands in them: {words}."),
                "Nothing to do, if that is what you took. measure --keep-grouping writes it into job.toml, where you can change it.",
            )
        } else {
            (
                format!(
                    "{} lie in no set-up's folder; they were sorted by where the wheel stands in them: {words}.",
                    self.files(loose)
                ),
                "Nothing to do, if that is right; else move each into the folder of the set-up it was taken in.",
            )
        };
        self.out.findings.push(Finding::note("photos-sorted", what, todo));
    }

    /// Set-ups for the lens first, as the stages after this have them, and none without photos.
    fn lens_first(&mut self) {
        let mut order: Vec<usize> =
            (0..self.out.setups.len()).filter(|setup| self.out.of_photo.contains(setup)).collect();
        order.sort_by_key(|&setup| (!self.out.setups[setup].1, setup));
        if self.out.by.contains(&GroupedBy::Job) {
            // Folders come in the order of their numbers; what the job names comes in that of the
            // photos, which says nothing.
            let number = |name: &str| {
                name.split('-')
                    .next()
                    .and_then(|first| first.parse::<u32>().ok())
                    .unwrap_or(u32::MAX)
            };
            order.sort_by_key(|&setup| {
                let (name, lens) = &self.out.setups[setup];
                (!lens, number(name), name.clone())
            });
        }
        let old = std::mem::take(&mut self.out.setups);
        self.out.setups = order.iter().map(|&setup| old[setup].clone()).collect();
        for of in &mut self.out.of_photo {
            *of = order.iter().position(|setup| setup == of).unwrap_or(0);
        }
    }
}

fn is_camera(photo: &Listed) -> bool {
    photo.setup.as_deref().is_some_and(|name| name.eq_ignore_ascii_case(CAMERA_FOLDER))
}

fn mark_name(mark: Mark) -> String {
    format!("mark-{}", mark.word())
}

/// "2026:05:16 10:04:48" as seconds since some day; months count as long ones, which tells times
/// apart all the same.
fn seconds(taken: &str) -> Option<i64> {
    let parts: Option<Vec<i64>> = taken
        .trim()
        .split([':', ' ', '-', 'T'])
        .take(6)
        .map(|part| part.get(..part.len().min(4))?.parse().ok())
        .collect();
    match parts?.as_slice() {
        [year, month, day, hour, minute, second] => {
            Some(((((year * 12 + month) * 31 + day) * 24 + hour) * 60 + minute) * 60 + second)
        }
        _ => None,
    }
}

/// Whether one camera's clock says of every photo when it was taken.
fn have_one_clock(photos: &[Listed], of: &[usize]) -> bool {
    of.iter().all(|photo| {
        photos[*photo].taken.is_some() && photos[*photo].camera == photos[of[0]].camera
    })
}

/// Photos in the order in which they were taken, where one clock tells; else as they are listed, by
/// their names.
pub fn in_time(photos: &[Listed], of: &[usize]) -> Vec<usize> {
    let mut order = of.to_vec();
    if have_one_clock(photos, of) {
        order.sort_by(|a, b| photos[*a].taken.cmp(&photos[*b].taken).then(a.cmp(b)));
    }
    order
}

impl Grouping {
    /// The photos as the result lists them.
    pub fn entries(&self, photos: &[Listed]) -> Vec<GroupingEntry> {
        let entry = |(idx, photo): (usize, &Listed)| GroupingEntry {
            photo: photo.id.clone(),
            setup: self
                .setups
                .get(self.of_photo[idx])
                .map_or_else(String::new, |(name, _)| name.clone()),
            by: self.by[idx],
        };
        photos.iter().enumerate().map(entry).collect()
    }
}
