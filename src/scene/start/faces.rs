//! Planes through tabs that share a face, to start from.

use std::collections::BTreeMap;

use nalgebra::Vector3;

use crate::scene::model::input::{FaceSetting, SceneSettings};
use crate::scene::model::solution::LooseTab;
use crate::scene::model::state::{Face, State};

/// Planes through tabs that share a face.
pub fn start_faces(state: &mut State, settings: &SceneSettings, loose: &BTreeMap<u8, LooseTab>) {
    for FaceSetting { name, tabs: numbers } in &settings.faces {
        let tabs: Vec<usize> = (0..state.tabs.len())
            .filter(|&i| {
                numbers.contains(&state.tabs[i].number)
                    && !loose.contains_key(&state.tabs[i].number)
            })
            .filter(|&i| state.tabs[i].only_setup.is_none())
            .collect();
        let Some(&first) = tabs.first() else { continue };
        let carrier = state.tabs[first].carrier;
        let tabs: Vec<usize> =
            tabs.into_iter().filter(|&i| state.tabs[i].carrier == carrier).collect();
        let backings: Vec<f64> =
            tabs.iter().map(|&i| settings.backing_of(state.tabs[i].number)).collect();
        let (normal, about) = plane_of(state, &tabs, &backings);
        state.faces.push(Face {
            name: name.clone(),
            tabs,
            backings,
            roughness: 1.0,
            normal,
            offset: normal.dot(&about),
            about,
        });
    }
}

/// Plane through tabs' centres, or, where those do not span one, the mean of their normals.
fn plane_of(state: &State, tabs: &[usize], backings: &[f64]) -> (Vector3<f64>, Vector3<f64>) {
    let normals = tabs.iter().map(|&i| state.tabs[i].carrier_from_tab.r.column(2).into_owned());
    let mean = normals.sum::<Vector3<f64>>();
    let mean = if mean.norm() > 1e-3 { mean.normalize() } else { Vector3::z() };
    let places: Vec<Vector3<f64>> = tabs
        .iter()
        .zip(backings)
        .map(|(&i, backing)| state.tabs[i].carrier_from_tab.t - mean * *backing)
        .collect();
    let about = places.iter().sum::<Vector3<f64>>() / places.len() as f64;
    let spread: nalgebra::Matrix3<f64> =
        places.iter().map(|p| (p - about) * (p - about).transpose()).sum();
    let eigen = spread.symmetric_eigen();
    let mut values: Vec<(f64, usize)> = (0..3).map(|i| (eigen.eigenvalues[i], i)).collect();
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Centres 10 mm off a line determine the plane better than the tilt of single tabs does.
    if values[1].0 > 100.0 {
        let normal = eigen.eigenvectors.column(values[0].1).into_owned();
        let normal = if normal.dot(&mean) < 0.0 { -normal } else { normal };
        if normal.dot(&mean) > 0.9 {
            return (normal, about);
        }
    }
    (mean, about)
}
