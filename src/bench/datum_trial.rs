//! Riders and the cord's edges weighed against each other: whether they agree, what must be left
//! out, and with what weights they count.

use std::collections::BTreeSet;

use nalgebra::{DMatrix, DVector, Matrix2, Vector3};

use crate::finding::Finding;
use crate::measurement::Quality;
use crate::scene::model::state::Cord;
use crate::scene::{Solution, State};

use super::datum::DatumChoice;
use super::datum_findings;
use super::nuisance::Shift;
use super::riders::StandingRider;
use super::settings::BenchSettings;

/// Riders at least this far apart, mm, show the datum's direction well enough to serve as the
/// datum; and to serve as one without verdicts.
const APART: f64 = 600.0;
const LEAST_APART: f64 = 100.0;
/// Riders this far apart that agree with the edges confirm them, mm (our choice).
const CONFIRMS: f64 = 300.0;
/// A rider's cord in a later set-up that lies farther than this from the first's has moved, mm, or
/// three standard values where they are more.
const MOVED: f64 = 0.35;
/// A rider that was pushed along the cord by less than this shows the same place of it, mm.
const NEARBY: f64 = 50.0;

/// Riders and edges being weighed against each other.
pub struct Trial<'a> {
    state: &'a State,
    settings: &'a BenchSettings,
    covariance: &'a DMatrix<f64>,
    cord: Option<(&'a Cord, usize)>,
    riders: Vec<StandingRider>,
    middle: f64,
    half: f64,
    /// For each rider: y, and its derivatives by kept unknowns.
    estimates: Vec<(Vector3<f64>, Vec<(usize, f64)>)>,
}

impl<'a> Trial<'a> {
    pub fn new(
        solution: &'a Solution,
        settings: &'a BenchSettings,
        covariance: &'a DMatrix<f64>,
        with_edges: bool,
        riders: Vec<StandingRider>,
    ) -> Self {
        let state = &solution.state;
        let cord =
            state.cords.first().filter(|_| with_edges).map(|cord| (cord, solution.slots.cords[0]));
        let estimates: Vec<_> = riders.iter().map(|rider| estimate_of(rider, solution)).collect();
        let (low, high) = estimates
            .iter()
            .fold((f64::MAX, f64::MIN), |(low, high), (p, _)| (low.min(p.x), high.max(p.x)));
        let (middle, half) = match cord {
            Some((cord, _)) => (cord.middle, cord.half),
            None => ((low + high) / 2.0, ((high - low) / 2.0).max(50.0)),
        };
        Self { state, settings, covariance, cord, riders, middle, half, estimates }
    }

    fn s(&self, i: usize) -> f64 {
        (self.estimates[i].0.x - self.middle) / self.half
    }

    fn keep(self, keep: impl Fn(&StandingRider) -> bool) -> Self {
        let kept = self
            .riders
            .iter()
            .zip(&self.estimates)
            .filter(|(rider, _)| keep(rider))
            .map(|(r, t)| (r.clone(), t.clone()));
        let (riders, estimates) = kept.unzip();
        Self { riders, estimates, ..self }
    }

    /// Without what riders tell in later set-ups where the cord was seen to have moved. A rider
    /// that all set-ups together determine stayed where it was, and the cord with it.
    pub fn without_moved(self, cord_moved: bool) -> (Self, bool) {
        let bound = MOVED.max(1.5 * self.settings.assumed.cord_moved_u_mm);
        let has_moved = |i: usize| {
            let same =
                (0..self.riders.len()).filter(|&j| self.riders[j].rider == self.riders[i].rider);
            let mut first = same.filter(|&j| self.riders[j].later < 1.0);
            first.any(|j| {
                let apart = self.estimates[i].0 - self.estimates[j].0;
                apart.x.abs() < NEARBY && apart.y.abs() > bound
            })
        };
        let moved: BTreeSet<Option<usize>> = (0..self.riders.len())
            .filter(|&i| self.riders[i].later == 1.0 && self.riders[i].setup.is_some())
            .filter(|&i| cord_moved || has_moved(i))
            .map(|i| self.riders[i].setup)
            .collect();
        let any = !moved.is_empty();
        (self.keep(|rider| !moved.contains(&rider.setup)), any)
    }

    /// Covariance of two linear functions of the kept unknowns.
    fn photos(&self, a: &[(usize, f64)], b: &[(usize, f64)]) -> f64 {
        a.iter()
            .map(|(i, da)| b.iter().map(|(j, db)| da * db * self.covariance[(*i, *j)]).sum::<f64>())
            .sum()
    }

    /// What riders' errors of their own, and the cord's moves between set-ups, add to the
    /// covariance of their y.
    fn unseen(&self, i: usize, j: usize) -> f64 {
        let assumed = &self.settings.assumed;
        let (a, b) = (&self.riders[i], &self.riders[j]);
        let own = a.own_covariance(b, self.state, assumed.rider_height_u_mm / 2.0);
        // Two ends that move apart from each other.
        let moved = (1.0 + self.s(i) * self.s(j)) / 2.0 * (assumed.cord_moved_u_mm / 2.0).powi(2);
        own + a.later * b.later * moved
    }

    fn riders_covariance(&self) -> DMatrix<f64> {
        let n = self.riders.len();
        DMatrix::from_fn(n, n, |i, j| {
            self.photos(&self.estimates[i].1, &self.estimates[j].1) + self.unseen(i, j)
        })
    }

    /// Covariance of the edges' line (a, b): that of the unknowns, and light and shadow on the
    /// cord.
    fn edges_covariance(&self) -> Option<Matrix2<f64>> {
        let (_, slot) = self.cord?;
        let light = (self.settings.assumed.cord_light_u_mm / 2.0).powi(2) / 2.0;
        Some(
            self.covariance.fixed_view::<2, 2>(slot, slot).into_owned()
                + Matrix2::identity() * light,
        )
    }

    /// By how much the riders lie to the left of the line they are held against, and the covariance
    /// of that: of the edges' line where there is one, else of the riders' own. With its
    /// degrees of freedom.
    fn residuals(&self) -> Option<(DVector<f64>, DMatrix<f64>, usize)> {
        let n = self.riders.len();
        let spread = self.riders_covariance();
        if let Some((cord, slot)) = self.cord {
            let light = (self.settings.assumed.cord_light_u_mm / 2.0).powi(2) / 2.0;
            let gradient = |i: usize| {
                let mut by = self.estimates[i].1.clone();
                by.extend([(slot, -1.0), (slot + 1, -self.s(i))]);
                by
            };
            let off = DVector::from_fn(n, |i, _| {
                self.estimates[i].0.y - cord.y[0] - cord.y[1] * self.s(i)
            });
            let joint = DMatrix::from_fn(n, n, |i, j| {
                let lit = light * (1.0 + self.s(i) * self.s(j));
                self.photos(&gradient(i), &gradient(j)) + self.unseen(i, j) + lit
            });
            return Some((off, joint, n));
        }
        let numbers: BTreeSet<u8> = self.riders.iter().map(|r| r.rider).collect();
        if numbers.len() < 3 {
            return None;
        }
        let design = DMatrix::from_fn(n, 2, |i, k| if k == 0 { 1.0 } else { self.s(i) });
        let weights = spread.clone().try_inverse()?;
        let normal = (design.transpose() * &weights * &design).try_inverse()?;
        let y = DVector::from_fn(n, |i, _| self.estimates[i].0.y);
        let off = &y - &design * (&normal * (design.transpose() * (&weights * &y)));
        Some((off, spread, n - 2))
    }

    /// Chi-square of the residuals over its bound at 95.45 % (k = 2); below one they agree.
    fn contradiction(&self) -> f64 {
        let Some((off, joint, freedom)) = self.residuals() else { return 0.0 };
        let Some(inverse) = joint.try_inverse() else { return 0.0 };
        off.dot(&(inverse * &off)) / chi_square_bound(freedom)
    }

    /// Without the one rider that all others contradict: named, with the amount it is off by. Two
    /// riders and the edges, or three riders, must be left to agree, or nothing shows which
    /// is wrong.
    pub fn agreeing(self) -> (Self, Option<(String, f64)>) {
        let numbers: BTreeSet<u8> = self.riders.iter().map(|r| r.rider).collect();
        let least = if self.cord.is_some() { 3 } else { 4 };
        if self.contradiction() <= 1.0 || numbers.len() < least {
            return (self, None);
        }
        let others = |rider: u8| self.view_without(rider);
        let best = numbers
            .iter()
            .copied()
            .min_by(|&a, &b| others(a).contradiction().total_cmp(&others(b).contradiction()));
        let Some(worst) = best.filter(|&rider| others(rider).contradiction() <= 1.0) else {
            return (self, None);
        };
        let words = self
            .riders
            .iter()
            .find(|r| r.rider == worst)
            .map_or_else(String::new, StandingRider::words);
        let off = self.residuals().map_or(0.0, |(off, ..)| {
            let mine = (0..self.riders.len()).filter(|&i| self.riders[i].rider == worst);
            mine.map(|i| off[i])
                .fold(0.0, |most: f64, by| if by.abs() > most.abs() { by } else { most })
        });
        (self.keep(|rider| rider.rider != worst), Some((words, off)))
    }

    fn view_without(&self, rider: u8) -> Self {
        let copy = Self { riders: self.riders.clone(), estimates: self.estimates.clone(), ..*self };
        copy.keep(|other| other.rider != rider)
    }

    /// Each rider's distance from the line it is held against, where they do not agree.
    pub fn disagreement(&self) -> Option<Vec<(String, f64)>> {
        (self.contradiction() > 1.0).then(|| self.residuals()).flatten().map(|(off, ..)| {
            let mut seen = BTreeSet::new();
            let first = |i: &usize| seen.insert(self.riders[*i].rider);
            (0..self.riders.len()).filter(first).map(|i| (self.riders[i].words(), off[i])).collect()
        })
    }

    /// The choice with its weights and its quality.
    pub fn chosen(
        self,
        edges: Option<&DatumChoice>,
        findings: &mut Vec<Finding>,
    ) -> Option<DatumChoice> {
        let numbers: BTreeSet<u8> = self.riders.iter().map(|r| r.rider).collect();
        let (low, high) = self
            .estimates
            .iter()
            .fold((f64::MAX, f64::MIN), |(low, high), (p, _)| (low.min(p.x), high.max(p.x)));
        let apart = high - low;
        // Faces may be seen in different set-ups.
        let both_faces = |rider: &u8| {
            let faces = self.riders.iter().filter(|r| r.rider == *rider).flat_map(|r| &r.faces);
            faces.map(|face| face.number).collect::<BTreeSet<u8>>().len() > 1
        };
        let alone_good = apart >= APART
            && (numbers.len() >= 3 || numbers.len() == 2 && numbers.iter().all(both_faces));
        let quality = match edges {
            Some(_) if alone_good || numbers.len() >= 2 && apart >= CONFIRMS => Quality::Good,
            Some(edges) => edges.quality,
            None if alone_good => Quality::Good,
            None => Quality::Single,
        };
        if edges.is_none() && (numbers.len() < 2 || apart < LEAST_APART) {
            findings.push(datum_findings::one_place(numbers.len()));
            return None;
        }
        if edges.is_none() {
            findings.push(datum_findings::from_riders(quality));
        }
        let weights = self.riders_covariance().try_inverse()?;
        let edges = match self.edges_covariance() {
            Some(spread) => Some(spread.try_inverse()?),
            None => None,
        };
        Some(DatumChoice {
            edges,
            weights,
            middle: self.middle,
            half: self.half,
            quality,
            riders: self.riders,
        })
    }
}

/// Where a rider has the cord, and how that follows its tabs' unknowns.
fn estimate_of(rider: &StandingRider, solution: &Solution) -> (Vector3<f64>, Vec<(usize, f64)>) {
    // mm or radians: far below what photos determine, far above rounding.
    const STEP: f64 = 1e-5;
    let y = |slot: usize, step: f64| {
        let mut state = solution.state.clone();
        let mut change = vec![0.0; solution.slots.n];
        change[slot] = step;
        state.nudge_kept(&solution.slots, &change);
        rider.axis(&state, &Shift(None)).y
    };
    let slots =
        rider.faces.iter().flat_map(|face| (0..7).map(|k| solution.slots.tabs[face.tab] + k));
    let by = slots.map(|slot| (slot, (y(slot, STEP) - y(slot, -STEP)) / (2.0 * STEP))).collect();
    (rider.axis(&solution.state, &Shift(None)), by)
}

/// What chi-square with this many degrees of freedom stays below 95.45 times in 100 (Wilson and
/// Hilferty's approximation, 1.69 being the normal law's one-sided quantile).
fn chi_square_bound(freedom: usize) -> f64 {
    let n = freedom.max(1) as f64;
    let part = 2.0 / (9.0 * n);
    n * (1.0 - part + 1.69 * part.sqrt()).powi(3)
}
