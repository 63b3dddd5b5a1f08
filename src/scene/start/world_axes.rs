//! The world's axes: z up from the cards, x along the cord or the row of cards.

use nalgebra::{Matrix3, Vector3};

use crate::math::Rigid;
use crate::math::rigid::any_normal;
use crate::scene::model::input::ScenePhoto;
use crate::scene::model::state::{Ground, State};
use crate::scene::model::view::on_plane;
use crate::scene::strings::card_row::in_row;
use crate::sightings::StringKind;

use super::cards::StartCards;

/// Turns the world so that z is up from the cards, x runs along the cord (or the row of cards), and
/// the origin lies among the cards.
///
/// Only for convenience and conditioning: no figure depends on it.
pub fn level(first: &mut StartCards, photos: &[ScenePhoto]) {
    let state = &mut first.state;
    let bench: Vec<usize> = (0..state.cards.len())
        .filter(|&i| !matches!(first.places[i].0, Ground::LensOnly(_)))
        .collect();
    if bench.is_empty() {
        return;
    }
    let poses: Vec<Rigid> = bench.iter().map(|&i| state.cards[i].world_from_card).collect();
    let up = poses.iter().map(|p| p.r.column(2).into_owned()).sum::<Vector3<f64>>();
    let middle = poses.iter().map(|p| p.t).sum::<Vector3<f64>>() / poses.len() as f64;
    let up = if up.norm() > 0.0 { up.normalize() } else { Vector3::z() };
    let along = cord_direction(state, photos, &first.view_of, &up, &middle)
        .unwrap_or_else(|| row_direction(&poses, &up));
    let across = up.cross(&along).normalize();
    let along = across.cross(&up);
    let r = Matrix3::from_rows(&[along.transpose(), across.transpose(), up.transpose()]);
    let new_from_old = Rigid::new(r, -(r * middle));
    for i in 0..state.cards.len() {
        if bench.contains(&i) {
            state.cards[i].world_from_card = new_from_old.then(&state.cards[i].world_from_card);
        }
    }
    for (photo_idx, view) in first.view_of.iter().enumerate() {
        if let (Some(view), false) = (view, photos[photo_idx].lens_only) {
            let view = &mut state.views[*view];
            view.camera_from_world = view.camera_from_world.then(&new_from_old.inverse());
        }
    }
}

/// Points of the cord seen in all photos, on the cards' plane: their common direction.
fn cord_direction(
    state: &State,
    photos: &[ScenePhoto],
    view_of: &[Option<usize>],
    up: &Vector3<f64>,
    middle: &Vector3<f64>,
) -> Option<Vector3<f64>> {
    let mut steps: Vec<Vector3<f64>> = Vec::new();
    for (photo, view) in photos.iter().zip(view_of) {
        let (Some(view), false) = (view, photo.lens_only) else { continue };
        let view = &state.views[*view];
        for line in photo.sightings.lines.iter().filter(|line| line.kind == StringKind::Cord) {
            let on_plane = |at: [f64; 2]| on_plane(&state.lens_of(view), view, at, up, middle);
            if let (Some(a), Some(b)) = (
                line.points.first().and_then(|p| on_plane(p.at)),
                line.points.last().and_then(|p| on_plane(p.at)),
            ) {
                steps.push(b - a);
            }
        }
    }
    let longest = steps.iter().max_by(|a, b| a.norm().total_cmp(&b.norm())).copied()?;
    let sum =
        steps.iter().map(|s| if s.dot(&longest) < 0.0 { -s } else { *s }).sum::<Vector3<f64>>();
    (sum.norm() > 1.0).then(|| sum.normalize())
}

/// The direction in which the centres of the cards that lie in a row spread most; a lone card's own
/// x axis.
fn row_direction(poses: &[Rigid], up: &Vector3<f64>) -> Vector3<f64> {
    let first = any_normal(up);
    let second = up.cross(&first);
    let on_bench = |pose: &Rigid| [pose.t.dot(&first), pose.t.dot(&second)];
    let row = in_row(&poses.iter().map(on_bench).enumerate().collect());
    let poses: Vec<&Rigid> = row.iter().map(|&card| &poses[card]).collect();
    let middle = poses.iter().map(|p| p.t).sum::<Vector3<f64>>() / poses.len() as f64;
    let spread: Matrix3<f64> =
        poses.iter().map(|p| (p.t - middle) * (p.t - middle).transpose()).sum();
    let eigen = spread.symmetric_eigen();
    let widest = eigen.eigenvalues.imax();
    let axis = if eigen.eigenvalues[widest] > 1e4 {
        eigen.eigenvectors.column(widest).into_owned()
    } else {
        poses[0].r.column(0).into_owned()
    };
    let flat = axis - up * axis.dot(up);
    if flat.norm() > 1e-6 { flat.normalize() } else { first }
}
