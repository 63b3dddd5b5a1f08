//! From what single photos show to the positions in which the wheel stood.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::Vector2;

use super::angles::{clusters, middle, spread, wrap};
use super::places::{Mark, axle_from_tabs, axle_from_turns, direction, mark_of, side_of_camera};
use super::sights::{Sights, TabSight, sights};
use crate::cards::Pattern;
use crate::figure::Side;
use crate::job::Job;
use crate::scene::{ScenePhoto, SceneSettings};

/// Photos whose wheel turns lie nearer to each other than this show one position, radians (8
/// degrees): single photos tell the turn to two degrees or so. Less is left to the whole solution,
/// which sees a knock of a tenth of a degree.
const GAP: f64 = 0.14;
/// Tabs of one wheel keep the angle between them; photos that tell it differently by more than this
/// in the middle (radians) tell nothing.
const STEADY: f64 = 0.17;
/// How far apart the two marked places may lie round the rim and still be taken for opposite each
/// other, radians (25 degrees) (our choice).
const OPPOSITE: f64 = 0.44;
/// A rim's usual radius at its tabs, mm, where no axle is known (our choice).
const USUAL_RADIUS: f64 = 290.0;

/// What a photo is in the job.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shows {
    /// No card was read.
    Nothing,
    /// Cards alone, as they lie on the bench.
    CardsOnly,
    /// Cards alone that do not lie on the bench.
    CardsElsewhere,
    /// The bench, with tabs but none on the wheel: it may belong to any position.
    BenchOnly,
    /// The wheel in this position.
    Wheel(usize),
}

/// One position of the wheel.
#[derive(Clone, Debug, PartialEq)]
pub struct Position {
    /// Which way the mark lies; None where no rim tab or no axle shows it.
    pub mark: Option<Mark>,
}

/// The photos by what they show.
#[derive(Clone, Debug, Default)]
pub struct Sorted {
    /// For each photo.
    pub shows: Vec<Shows>,
    /// The side from which each was taken.
    pub from: Vec<Option<Side>>,
    /// In the order forward, rearward, up, down, then those whose mark is not known.
    pub positions: Vec<Position>,
    /// For each photo whether a card was read in it: without one it is of no use.
    pub has_card: Vec<bool>,
}

impl Sorted {
    /// Photos of several jobs, each sorted among those of its own: no position of one is a
    /// position of another. `n` is the number of all photos.
    pub fn of_parts(n: usize, parts: Vec<(Vec<usize>, Self)>) -> Self {
        let mut out = Self {
            shows: vec![Shows::Nothing; n],
            from: vec![None; n],
            positions: Vec::new(),
            has_card: vec![false; n],
        };
        for (photos, part) in parts {
            let before = out.positions.len();
            for (photo, has_card) in photos.iter().zip(&part.has_card) {
                out.has_card[*photo] = *has_card;
            }
            for ((photo, shows), from) in photos.into_iter().zip(part.shows).zip(part.from) {
                out.shows[photo] = match shows {
                    Shows::Wheel(position) => Shows::Wheel(before + position),
                    other => other,
                };
                out.from[photo] = from;
            }
            out.positions.extend(part.positions);
        }
        out
    }
}

/// Tabs that some photos show together, and the wheel's turn in each photo of theirs.
struct Piece {
    /// Photo and turn.
    turns: Vec<(usize, f64)>,
    /// For each of these the cluster.
    cluster: Vec<usize>,
}

impl Piece {
    fn n_clusters(&self) -> usize {
        self.cluster.iter().max().map_or(0, |most| most + 1)
    }

    fn photos_of(&self, cluster: usize) -> impl Iterator<Item = usize> {
        self.turns
            .iter()
            .zip(&self.cluster)
            .filter(move |(_, of)| **of == cluster)
            .map(|((photo, _), _)| *photo)
    }

    fn turn_of(&self, cluster: usize) -> f64 {
        let turns: Vec<f64> = self
            .turns
            .iter()
            .zip(&self.cluster)
            .filter(|(_, of)| **of == cluster)
            .map(|((_, turn), _)| *turn)
            .collect();
        middle(&turns).unwrap_or(0.0)
    }
}

/// Sorts photos by what they show of the wheel. `in_order` lists runs of photos that belong
/// together more likely than not: a folder's, or all in the order in which they were taken; it
/// counts only where no tab shows the position.
pub fn sort(
    photos: &[ScenePhoto],
    settings: &SceneSettings,
    job: &Job,
    in_order: &[Vec<usize>],
) -> Sorted {
    let sights = sights(photos, settings, job);
    let pieces = pieces(&sights.wheel);
    let of_pieces = Joined::new(&sights, &pieces, job).positions(&pieces, in_order);
    let n_positions =
        of_pieces.iter().flatten().map(|position| position.number + 1).max().unwrap_or(0);
    let mut angles: Vec<Vec<f64>> = vec![Vec::new(); n_positions];
    let mut found: BTreeMap<usize, usize> = BTreeMap::new();
    for (piece, positions) in pieces.iter().zip(&of_pieces) {
        for (cluster, position) in positions.iter().enumerate() {
            angles[position.number].extend(position.mark);
            found.extend(piece.photos_of(cluster).map(|photo| (photo, position.number)));
        }
    }
    let mark = |number: usize| middle(&angles[number]).map(Mark::of_angle);
    let n_photos = |number: usize| found.values().filter(|of| **of == number).count();
    let mut order: Vec<usize> = (0..n_positions).collect();
    order.sort_by_key(|&number| {
        (mark(number).is_none(), mark(number), std::cmp::Reverse(n_photos(number)), number)
    });
    let positions = order.iter().map(|&number| Position { mark: mark(number) }).collect();
    let place: BTreeMap<usize, usize> =
        order.into_iter().enumerate().map(|(place, number)| (number, place)).collect();
    let shows = (0..photos.len()).map(|photo| match found.get(&photo) {
        Some(number) => Shows::Wheel(place[number]),
        None if sights.cards_only[photo] && sights.off_bench[photo] => Shows::CardsElsewhere,
        None if sights.cards_only[photo] || photos[photo].lens_only => Shows::CardsOnly,
        None if sights.placed[photo] => Shows::BenchOnly,
        None => Shows::Nothing,
    });
    Sorted {
        shows: shows.collect(),
        from: (0..photos.len()).map(|photo| side_of_camera(&sights, photo)).collect(),
        positions,
        has_card: photos.iter().map(shows_card).collect(),
    }
}

fn shows_card(photo: &ScenePhoto) -> bool {
    photo.sightings.patterns.iter().any(|seen| matches!(seen.pattern, Pattern::Card(_)))
}

/// Ties tabs that are seen together, and finds the wheel's turn in each photo from the tabs it
/// shows.
fn pieces(seen: &[TabSight]) -> Vec<Piece> {
    let mut by_photo: BTreeMap<usize, Vec<&TabSight>> = BTreeMap::new();
    seen.iter().for_each(|sight| by_photo.entry(sight.photo).or_default().push(sight));
    // The angles between each two tabs.
    let mut between: BTreeMap<(u8, u8), Vec<f64>> = BTreeMap::new();
    for here in by_photo.values() {
        for a in here {
            for b in here.iter().filter(|b| b.number != a.number) {
                between.entry((a.number, b.number)).or_default().push(wrap(b.angle - a.angle));
            }
        }
    }
    let steady: BTreeMap<(u8, u8), (usize, f64)> = between
        .into_iter()
        .filter_map(|(pair, angles)| {
            let angle = middle(&angles)?;
            (spread(&angles, angle) < STEADY).then_some((pair, (angles.len(), angle)))
        })
        .collect();
    let mut left: BTreeSet<u8> = seen.iter().map(|sight| sight.number).collect();
    let mut pieces = Vec::new();
    while let Some(root) = left.pop_first() {
        let mut own: BTreeMap<u8, f64> = BTreeMap::from([(root, 0.0)]);
        // Next the tab that most photos tie to one that is known.
        while let Some((&(from, to), &(_, angle))) = steady
            .iter()
            .filter(|((from, to), _)| own.contains_key(from) && left.contains(to))
            .max_by_key(|(pair, (n, _))| (*n, std::cmp::Reverse(**pair)))
        {
            let at = own.get(&from).copied().unwrap_or(0.0) + angle;
            own.insert(to, at);
            left.remove(&to);
        }
        let turns: Vec<(usize, f64)> = by_photo
            .iter()
            .filter_map(|(photo, here)| {
                let angles: Vec<f64> = here
                    .iter()
                    .filter_map(|sight| Some(wrap(sight.angle - own.get(&sight.number)?)))
                    .collect();
                Some((*photo, middle(&angles)?))
            })
            .collect();
        let cluster = clusters(&turns.iter().map(|(_, turn)| *turn).collect::<Vec<_>>(), GAP);
        pieces.push(Piece { turns, cluster });
    }
    // The piece of most photos leads.
    pieces.sort_by_key(|piece| std::cmp::Reverse(piece.turns.len()));
    pieces
}

/// The place of a cluster among the positions, and the direction of its mark from the axle,
/// radians, 0 forward.
#[derive(Clone, Copy, Debug)]
struct InPosition {
    number: usize,
    mark: Option<f64>,
}

/// What joins pieces that share no tab: where the mark stands in each cluster.
struct Joined<'a> {
    sights: &'a Sights,
    /// For each piece and cluster: where the mark stands.
    marks: Vec<Vec<Option<Vector2<f64>>>>,
    axle: Option<Vector2<f64>>,
}

impl<'a> Joined<'a> {
    fn new(sights: &'a Sights, pieces: &[Piece], job: &Job) -> Self {
        let seen_in = |piece: &Piece, cluster: usize| -> Vec<&'a TabSight> {
            let photos: BTreeSet<usize> = piece.photos_of(cluster).collect();
            sights.wheel.iter().filter(|sight| photos.contains(&sight.photo)).collect()
        };
        let of_piece = |piece: &Piece| -> Vec<Vec<&'a TabSight>> {
            (0..piece.n_clusters()).map(|cluster| seen_in(piece, cluster)).collect()
        };
        let seen: Vec<Vec<Vec<&'a TabSight>>> = pieces.iter().map(of_piece).collect();
        let marks: Vec<Vec<Option<Vector2<f64>>>> = seen
            .iter()
            .map(|piece| piece.iter().map(|cluster| mark_of(cluster, job)).collect())
            .collect();
        let turned: Vec<Vec<(f64, Vector2<f64>)>> = pieces
            .iter()
            .zip(&marks)
            .map(|(piece, marks)| {
                marks
                    .iter()
                    .enumerate()
                    .filter_map(|(cluster, mark)| Some((piece.turn_of(cluster), (*mark)?)))
                    .collect()
            })
            .collect();
        let by_tabs =
            || seen.iter().flatten().find_map(|cluster| axle_from_tabs(sights, cluster, job));
        let axle = if sights.spindle.is_empty() {
            axle_from_turns(&turned).or_else(by_tabs)
        } else {
            by_tabs().or_else(|| axle_from_turns(&turned))
        };
        Self { sights, marks, axle }
    }

    /// For each piece and cluster its position.
    fn positions(&self, pieces: &[Piece], in_order: &[Vec<usize>]) -> Vec<Vec<InPosition>> {
        let mut placed: Vec<Vec<InPosition>> = Vec::new();
        for (idx, piece) in pieces.iter().enumerate() {
            let angles = self.mark_angles(idx, piece);
            let mut next =
                placed.iter().flatten().map(|position| position.number + 1).max().unwrap_or(0);
            let by_mark = |cluster: usize| self.same_mark(idx, cluster, angles[cluster], &placed);
            let mut wanted: Vec<Option<usize>> = (0..piece.n_clusters()).map(by_mark).collect();
            if idx > 0 && wanted.iter().all(Option::is_none) && angles.iter().all(Option::is_none) {
                wanted = by_order(piece, pieces, &placed, next, in_order);
            }
            let mut taken = BTreeSet::new();
            let positions = wanted.into_iter().enumerate().map(|(cluster, number)| {
                let number = number.filter(|number| taken.insert(*number)).unwrap_or_else(|| {
                    next += 1;
                    next - 1
                });
                InPosition { number, mark: angles[cluster] }
            });
            placed.push(positions.collect());
        }
        placed
    }

    /// The direction of the mark from the axle in each cluster of a piece. What one cluster does
    /// not show follows from its turn against the others.
    fn mark_angles(&self, idx: usize, piece: &Piece) -> Vec<Option<f64>> {
        let seen_at =
            |cluster: usize| direction(self.marks[idx][cluster]? - self.axle?, self.sights);
        // Where y points to the right, turns in the world's plane run the other way.
        let sense = self.sights.left.unwrap_or(1.0);
        let turn = |cluster: usize| sense * piece.turn_of(cluster);
        let ahead: Vec<f64> = (0..piece.n_clusters())
            .filter_map(|c| seen_at(c).map(|angle| wrap(angle - turn(c))))
            .collect();
        let ahead = middle(&ahead);
        (0..piece.n_clusters())
            .map(|cluster| ahead.map(|ahead| wrap(ahead + turn(cluster))))
            .collect()
    }

    /// The known position in which the mark stands as in this cluster.
    fn same_mark(
        &self,
        idx: usize,
        cluster: usize,
        angle: Option<f64>,
        placed: &[Vec<InPosition>],
    ) -> Option<usize> {
        if let Some(angle) = angle {
            let near = placed
                .iter()
                .flatten()
                .filter_map(|position| Some((wrap(position.mark? - angle).abs(), position.number)));
            let (far, number) = near.min_by(|a, b| a.0.total_cmp(&b.0))?;
            return (far < OPPOSITE).then_some(number);
        }
        // Without an axle the two marks stand near each other, or they don't.
        let here = self.marks[idx][cluster]?;
        let near = placed.iter().enumerate().flat_map(|(other, positions)| {
            positions.iter().enumerate().filter_map(move |(c, position)| {
                Some(((self.marks[other][c]? - here).norm() / USUAL_RADIUS, position.number))
            })
        });
        let (far, number) = near.min_by(|a, b| a.0.total_cmp(&b.0))?;
        (far < OPPOSITE).then_some(number)
    }
}

/// For each cluster of a piece that no mark joins to the others: the position of the photos next to
/// its own. None where that is as good one way as another.
fn by_order(
    piece: &Piece,
    pieces: &[Piece],
    placed: &[Vec<InPosition>],
    n_positions: usize,
    in_order: &[Vec<usize>],
) -> Vec<Option<usize>> {
    let known: BTreeMap<usize, usize> = pieces
        .iter()
        .zip(placed)
        .flat_map(|(piece, positions)| {
            positions.iter().enumerate().flat_map(|(cluster, at)| {
                piece.photos_of(cluster).map(move |photo| (photo, at.number))
            })
        })
        .collect();
    let mut votes = vec![vec![0_usize; n_positions]; piece.n_clusters()];
    let own: BTreeMap<usize, usize> = piece
        .turns
        .iter()
        .zip(&piece.cluster)
        .map(|((photo, _), cluster)| (*photo, *cluster))
        .collect();
    for run in in_order {
        for (k, photo) in run.iter().enumerate() {
            let Some(cluster) = own.get(photo) else { continue };
            let at = |other: &usize| known.get(other).copied();
            let nearest = [run[..k].iter().rev().find_map(at), run[k + 1..].iter().find_map(at)];
            for number in nearest.into_iter().flatten() {
                votes[*cluster][number] += 1;
            }
        }
    }
    votes
        .iter()
        .map(|of_cluster| {
            let (number, most) = of_cluster.iter().enumerate().max_by_key(|(_, n)| **n)?;
            let clear = of_cluster.iter().filter(|n| **n == *most).count() == 1;
            (clear && *most > 0).then_some(number)
        })
        .collect()
}
