//! How well each mark was seen: in how many photos, and under what angle between rays.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::Vector3;

use crate::figure::member::Section;
use crate::figure::part::{Letter, Wheel};
use crate::figure::{Figure, Side};
use crate::measurement::Quality;
use crate::scene::Solution;
use crate::scene::model::observe::Shown;
use crate::scene::model::state::{Carrier, TurningPart};
use crate::sightings::StringKind;

use super::settings::{BenchSettings, Part};

/// Least angle between two rays for a figure to be good, degrees (our choice).
const LEAST_ANGLE: f64 = 10.0;

/// Camera positions from which each mark was seen, in the frame of what carries it.
#[derive(Clone, Debug, Default)]
pub struct Views {
    /// By tab (index into `State::tabs`): view, position of the camera in the carrier's frame,
    /// set-up.
    tabs: BTreeMap<usize, Vec<(usize, Vector3<f64>, usize)>>,
    flags: BTreeMap<usize, Vec<(usize, Vector3<f64>)>>,
    /// Views that show each line between its flags (index into `State::lines`).
    lines: BTreeMap<usize, Vec<(usize, Vector3<f64>)>>,
}

impl Views {
    pub fn of(solution: &Solution) -> Self {
        let mut views = Self::default();
        for block in &solution.blocks {
            let n_used = block.corners.iter().filter(|c| c.used).count()
                + block.points.iter().filter(|p| p.used).count();
            // A line's point is the mean of a stretch of it.
            if n_used < if matches!(block.shown, Shown::Line(_)) { 2 } else { 4 } {
                continue;
            }
            let view = &solution.state.views[block.view];
            let eye = view.camera_from_world.inverse().t;
            match block.shown {
                Shown::Tab { tab, body } => {
                    let eye = body.map_or(eye, |b| {
                        solution.state.bodies[b].world_from_body.inverse().apply(&eye)
                    });
                    views.tabs.entry(tab).or_default().push((block.view, eye, view.setup));
                }
                Shown::Flag { flag, .. } => {
                    views.flags.entry(flag).or_default().push((block.view, eye))
                }
                Shown::Line(line) => views.lines.entry(line).or_default().push((block.view, eye)),
                Shown::Card(_) | Shown::Cord(_) => {}
            }
        }
        views
    }

    /// Number of tabs of a turning body that were seen in two set-ups or more and do not lie in one
    /// line with the others.
    pub fn joining_tabs(&self, solution: &Solution, part: TurningPart) -> usize {
        let state = &solution.state;
        let joined: Vec<usize> = self
            .tabs
            .iter()
            .filter(|(tab, _)| state.tabs[**tab].carrier == Carrier::Turning(part))
            .filter(|(_, seen)| {
                seen.iter().map(|(_, _, setup)| setup).collect::<BTreeSet<_>>().len() >= 2
            })
            .map(|(tab, _)| *tab)
            .collect();
        let places: Vec<Vector3<f64>> =
            joined.iter().map(|&t| state.tabs[t].carrier_from_tab.t).collect();
        let n = places.len() as f64;
        let mean = places.iter().sum::<Vector3<f64>>() / n.max(1.0);
        let spread: nalgebra::Matrix3<f64> =
            places.iter().map(|p| (p - mean) * (p - mean).transpose()).sum();
        let mut values: Vec<f64> = spread.symmetric_eigenvalues().iter().copied().collect();
        values.sort_by(f64::total_cmp);
        // 10 mm off a line (rms over the tabs) gives an axis; the second largest spread measures
        // it.
        if places.len() >= 3 && values[1] / n > 100.0 { joined.len() } else { joined.len().min(2) }
    }

    /// Number of photos that show a tab.
    pub fn photos_of(&self, tab: usize) -> usize {
        self.tabs
            .get(&tab)
            .map_or(0, |seen| seen.iter().map(|(view, ..)| view).collect::<BTreeSet<_>>().len())
    }

    /// Number of photos that show a line between or near its flags, and of those that show each
    /// of its flags.
    pub fn of_line(&self, solution: &Solution, line: usize) -> (usize, Vec<usize>) {
        let photos = |seen: &[(usize, Vector3<f64>)]| {
            seen.iter().map(|(view, _)| view).collect::<BTreeSet<_>>().len()
        };
        let flags = self.flags.iter().filter(|(flag, _)| solution.state.flags[**flag].line == line);
        (
            self.lines.get(&line).map_or(0, |seen| photos(seen)),
            flags.map(|(_, seen)| photos(seen)).collect(),
        )
    }

    /// The set-up of each photo that shows a tab.
    pub fn setups_of(&self, tab: usize) -> Vec<usize> {
        self.tabs
            .get(&tab)
            .map_or_else(Vec::new, |seen| seen.iter().map(|(.., setup)| *setup).collect())
    }

    /// Whether a tab (index into `State::tabs`) was seen in two photos under enough of an angle.
    pub fn tab_is_good(&self, solution: &Solution, tab: usize) -> bool {
        self.tabs_are_good(solution, &[tab])
    }

    fn tabs_are_good(&self, solution: &Solution, tabs: &[usize]) -> bool {
        let eyes: Vec<(usize, Vector3<f64>)> = tabs
            .iter()
            .filter_map(|tab| self.tabs.get(tab))
            .flatten()
            .map(|(view, eye, _)| (*view, *eye))
            .collect();
        let middle =
            tabs.iter().map(|&t| solution.state.tabs[t].carrier_from_tab.t).sum::<Vector3<f64>>()
                / tabs.len().max(1) as f64;
        seen_apart(&eyes, &middle)
    }

    fn line_is_good(&self, solution: &Solution, line: usize) -> bool {
        let state = &solution.state;
        let mut eyes = self.lines.get(&line).cloned().unwrap_or_default();
        for (flag, seen) in &self.flags {
            if state.flags[*flag].line == line {
                eyes.extend(seen);
            }
        }
        seen_apart(&eyes, &state.lines[line].point)
    }

    /// Quality of a figure: "single" when a mark it depends on was seen in one photo only or under
    /// too small an angle.
    pub fn quality(
        &self,
        figure: &Figure,
        settings: &BenchSettings,
        solution: &Solution,
    ) -> Quality {
        let state = &solution.state;
        let tabs_with = |wanted: &dyn Fn(&Part) -> bool| -> Vec<usize> {
            let marked = settings.marks.iter().filter(|m| wanted(&m.part));
            marked
                .flat_map(|m| (0..state.tabs.len()).filter(|&t| state.tabs[t].number == m.number))
                .collect()
        };
        let each = |tabs: &[usize]| tabs.iter().all(|&t| self.tabs_are_good(solution, &[t]));
        // Where the face is, the tabs that lie on it show.
        let is_flat = |t: &usize| !solution.loose_tabs.contains_key(&state.tabs[*t].number);
        let together = |wanted: &dyn Fn(&Part) -> bool| {
            let tabs: Vec<usize> = tabs_with(wanted).into_iter().filter(is_flat).collect();
            self.tabs_are_good(solution, &tabs)
        };
        let of_rim = |wheel: Wheel, place: u8, side: Option<Side>| {
            let is_front = wheel == Wheel::Front;
            let is_it = |part: &Part| match part {
                Part::Rim { front_wheel, side: s, place: p } => {
                    *front_wheel == is_front && side.is_none_or(|side| side == *s) && *p == place
                }
                _ => false,
            };
            each(&tabs_with(&is_it))
        };
        let rear_rim = || of_rim(Wheel::Rear, 0, None);
        let rear_sprocket = || together(&|part| matches!(part, Part::RearSprocket));
        let gearbox = || together(&|part| matches!(part, Part::GearboxSprocket));
        let spindle = |wanted: Option<Side>| {
            each(&tabs_with(&|part| match part {
                Part::SpindleEnd(side) => wanted.is_none_or(|wanted| wanted == *side),
                _ => false,
            }))
        };
        let station = |letter: &Letter| {
            each(&tabs_with(&|part| matches!(part, Part::Station(s, _) if *s == letter.index())))
        };
        let line = |wanted: StringKind| {
            let mut lines = (0..state.lines.len()).filter(|&l| state.lines[l].kind == wanted);
            lines.all(|l| self.line_is_good(solution, l))
        };
        let face = |name: &str| {
            let mut faces = state.faces.iter().filter(|face| face.name == name);
            faces.all(|face| self.tabs_are_good(solution, &face.tabs))
        };
        let good = match figure {
            Figure::RimOffset(at) | Figure::RimHeight(at) => {
                of_rim(at.wheel, at.place, Some(at.side))
            }
            Figure::RearLean => rear_sprocket(),
            Figure::GearboxLean => gearbox(),
            Figure::SpindleHeights => spindle(None),
            Figure::SpindleLeft => spindle(Some(Side::Left)),
            Figure::SpindleRight => spindle(Some(Side::Right)),
            Figure::PlumbOffset(letter) => line(StringKind::Plumb(letter.index())),
            Figure::StationOffset(letter) | Figure::StationHeights(letter) => station(letter),
            Figure::FaceOffset(name) | Figure::FaceYaw(name) | Figure::FaceLean(name) => face(name),
            other => match other.section() {
                Some(
                    Section::RimWidth | Section::Wheel | Section::WheelInFrame | Section::Runout,
                ) => rear_rim(),
                Some(Section::Hub) => rear_rim() && together(&|part| matches!(part, Part::HubFace)),
                Some(Section::Chain) => rear_sprocket() && gearbox(),
                Some(Section::Backbone) => line(StringKind::Backbone),
                Some(Section::Track) => of_rim(Wheel::Front, 0, None),
                _ => true,
            },
        };
        if good { Quality::Good } else { Quality::Single }
    }
}

/// Whether two of the photos see a place under at least [`LEAST_ANGLE`] between their rays.
fn seen_apart(eyes: &[(usize, Vector3<f64>)], place: &Vector3<f64>) -> bool {
    let rays: Vec<Vector3<f64>> = eyes.iter().map(|(_, eye)| (eye - place).normalize()).collect();
    let bound = LEAST_ANGLE.to_radians().cos();
    rays.iter().enumerate().any(|(i, a)| rays[i + 1..].iter().any(|b| a.dot(b) < bound))
}
