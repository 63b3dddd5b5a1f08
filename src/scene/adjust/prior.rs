//! What is known before any photo: print scale, lens, flat faces, flags on lines, a cord that
//! stays.
//!
//! Each is a residual of unit variance. The standard values are our estimates, open to the job
//! (common practice, no source).

use nalgebra::Vector3;

use crate::scene::model::priors::{FaceSigma, LensStart, Priors};
use crate::scene::model::state::{Carrier, State, TurningPart};
use crate::scene::model::unknowns::{FIXED, Slots, line_axes};
use crate::sightings::StringKind;

/// A body that stayed is tied this closely: mm and radians. Far below what photos resolve, far
/// above rounding.
const STAYED_MM: f64 = 0.005;
const STAYED_TURN: f64 = 1e-5;

/// By how much a plumb line may hang out of the normal of the cards' plane, radians: a degree and
/// more is seen on any bench (our estimate; common practice, no source). It holds a line with
/// only one flag seen; images determine it a hundred times better.
const UPRIGHT: f64 = 0.02;

/// How loosely a flag is held along its line, mm: far above what photos determine it to.
const ALONG_LINE: f64 = 100.0;

/// How loosely the size of a tab is held that is not as large as the job says, as a part of it.
const UNLIKE_TAB: f64 = 0.05;
/// How loosely a cord's slope and sag over its half length are held, mm: where few photos look low
/// they are poorly seen, and this is wide enough never to matter otherwise (our choice).
const CORD_HEIGHT_MM: f64 = 5.0;

/// Scale of a sheet that came from another print: a few parts in a hundred.
const LOOSE_SHEET: f64 = 0.03;

/// Where a prior comes from, for the budget.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PriorSource {
    Print,
    Sheet,
    Bow,
    TabScale,
    Lens,
    Flag,
    Face,
    Stayed,
    CordShape,
    CordMoved,
    Upright,
}

/// One residual: value and derivatives by kept unknowns.
pub struct PriorRow {
    pub source: PriorSource,
    pub residual: f64,
    pub by: Vec<(usize, f64)>,
}

/// Residuals of all priors on kept unknowns.
pub fn rows(state: &State, slots: &Slots, priors: &Priors) -> Vec<PriorRow> {
    let mut rows = Vec::new();
    prints(state, slots, priors, &mut rows);
    tab_scales(state, slots, priors, &mut rows);
    cord_shapes(state, slots, priors, &mut rows);
    lenses(state, slots, priors, &mut rows);
    flags(state, slots, priors, &mut rows);
    upright(state, slots, &mut rows);
    faces(state, slots, priors, &mut rows);
    bodies(state, slots, priors, &mut rows);
    cords(state, slots, priors, &mut rows);
    rows
}

/// The print's common scale, and how far each sheet's own lies off it.
fn prints(state: &State, slots: &Slots, priors: &Priors, rows: &mut Vec<PriorRow>) {
    for i in 0..2 {
        let off = state.print[i] - priors.print[i];
        single(rows, PriorSource::Print, off, priors.print_sigma[i], slots.print + i);
    }
    for (sheet, &slot) in state.sheets.iter().zip(&slots.sheets) {
        let measured =
            priors.measured_sheets.iter().find(|measured| measured.number == sheet.number);
        for i in 0..2 {
            // A sheet measured on its own counts relative to the common scale, whose own start
            // value is then the designed size.
            let (value, sigma) = match measured {
                Some(measured) => (measured.scale[i] / priors.print[i] - 1.0, measured.sigma),
                None if priors.loose_sheets.contains(&sheet.number) => (0.0, LOOSE_SHEET),
                None => (0.0, priors.sheet_sigma),
            };
            single(rows, PriorSource::Sheet, sheet.scale[i] - value, sigma, slot + i);
            single(rows, PriorSource::Bow, sheet.bow[i], priors.bow_sigma, slot + 2 + i);
        }
    }
}

/// Tabs and flags are printed as large as the cards.
fn tab_scales(state: &State, slots: &Slots, priors: &Priors, rows: &mut Vec<PriorRow>) {
    let sigma = |number: u8| {
        if priors.unlike_tabs.contains(&number) { UNLIKE_TAB } else { priors.tab_scale_sigma }
    };
    for (tab, &slot) in state.tabs.iter().zip(&slots.tabs) {
        single(rows, PriorSource::TabScale, tab.scale, sigma(tab.number), slot + 6);
    }
    for (flag, &slot) in state.flags.iter().zip(&slots.flags) {
        single(rows, PriorSource::TabScale, flag.scale, sigma(flag.number), slot + 3);
    }
}

/// A tight cord is straight.
fn cord_shapes(state: &State, slots: &Slots, priors: &Priors, rows: &mut Vec<PriorRow>) {
    for (cord, &slot) in state.cords.iter().zip(&slots.cords) {
        single(rows, PriorSource::CordShape, cord.y[2], priors.cord_straight_sigma, slot + 2);
        single(rows, PriorSource::CordShape, cord.z[1], CORD_HEIGHT_MM, slot + 4);
        single(rows, PriorSource::CordShape, cord.z[2], CORD_HEIGHT_MM, slot + 5);
    }
}

/// A lens is near to what its start values say, with square pixels and its axis in the middle.
fn lenses(state: &State, slots: &Slots, priors: &Priors, rows: &mut Vec<PriorRow>) {
    for ((lens, &slot), &LensStart { focal, width, height }) in
        state.lenses.iter().zip(&slots.lenses).zip(&priors.lens_start)
    {
        let size = width.max(height) as f64;
        let spread = &priors.lens_spread;
        let middle = [lens.cx - (width as f64 - 1.0) / 2.0, lens.cy - (height as f64 - 1.0) / 2.0];
        for (i, off) in middle.into_iter().enumerate() {
            single(rows, PriorSource::Lens, off, spread.middle * size, slot + 2 + i);
        }
        let distortion = [lens.k1, lens.k2, lens.p1, lens.p2, lens.k3];
        for (i, (value, sigma)) in distortion.into_iter().zip(spread.distortion).enumerate() {
            single(rows, PriorSource::Lens, value, sigma, slot + 4 + i);
        }
        single(rows, PriorSource::Lens, lens.fx - focal, spread.focal * focal, slot);
        let aspect = spread.aspect * focal;
        pair(
            rows,
            PriorSource::Lens,
            (lens.fx - lens.fy) / aspect,
            (slot, 1.0 / aspect),
            (slot + 1, -1.0 / aspect),
        );
    }
}

fn single(rows: &mut Vec<PriorRow>, source: PriorSource, value: f64, sigma: f64, slot: usize) {
    rows.push(PriorRow { source, residual: value / sigma, by: vec![(slot, 1.0 / sigma)] });
}

fn pair(
    rows: &mut Vec<PriorRow>,
    source: PriorSource,
    residual: f64,
    a: (usize, f64),
    b: (usize, f64),
) {
    rows.push(PriorRow { source, residual, by: vec![a, b] });
}

/// A flag's centre lies on its line.
fn flags(state: &State, slots: &Slots, priors: &Priors, rows: &mut Vec<PriorRow>) {
    for (flag, &slot) in state.flags.iter().zip(&slots.flags) {
        let line = &state.lines[flag.line];
        let line_slot = slots.lines[flag.line];
        let [a, b] = line_axes(&line.direction);
        // Where along its line a flag sits counts little, and of one whose corners were all left
        // out nothing determines it.
        let by = (0..3).map(|i| (slot + i, line.direction[i] / ALONG_LINE)).collect();
        rows.push(PriorRow { source: PriorSource::Flag, residual: 0.0, by });
        let from_point = flag.centre - line.point;
        let along = from_point.dot(&line.direction);
        for (k, axis) in [a, b].into_iter().enumerate() {
            let s = 1.0 / priors.flag_sigma;
            let mut by: Vec<(usize, f64)> = (0..3).map(|i| (slot + i, axis[i] * s)).collect();
            by.push((line_slot + k, -s));
            by.push((line_slot + 2 + k, -along * s));
            rows.push(PriorRow {
                source: PriorSource::Flag,
                residual: axis.dot(&from_point) * s,
                by,
            });
        }
    }
}

/// Plumb lines hang upright, roughly.
fn upright(state: &State, slots: &Slots, rows: &mut Vec<PriorRow>) {
    for (line, &slot) in state.lines.iter().zip(&slots.lines) {
        if !matches!(line.kind, StringKind::Plumb(_)) {
            continue;
        }
        let [a, b] = line_axes(&line.direction);
        for i in 0..2 {
            pair(
                rows,
                PriorSource::Upright,
                line.direction[i] / UPRIGHT,
                (slot + 2, a[i] / UPRIGHT),
                (slot + 3, b[i] / UPRIGHT),
            );
        }
    }
}

/// Tabs of one face lie in one plane and along it.
fn faces(state: &State, slots: &Slots, priors: &Priors, rows: &mut Vec<PriorRow>) {
    for (face, &slot) in state.faces.iter().zip(&slots.faces) {
        let FaceSigma { off_mm: flat, tilt } = priors.face_sigma.times(face.roughness);
        let axes = line_axes(&face.normal);
        for (&tab_idx, backing) in face.tabs.iter().zip(&face.backings) {
            let tab_slot = slots.tabs[tab_idx];
            let pose = &state.tabs[tab_idx].carrier_from_tab;
            let normal = pose.r.column(2).into_owned();
            for (k, axis) in axes.iter().enumerate() {
                // d(normal) = w x normal for the tab's turn w; the plane's normal moves by its own
                // unknowns along the same axes.
                let by_turn = normal.cross(axis);
                let mut by: Vec<(usize, f64)> =
                    (0..3).map(|i| (tab_slot + i, by_turn[i] / tilt)).collect();
                by.push((slot + k, -1.0 / tilt));
                rows.push(PriorRow {
                    source: PriorSource::Face,
                    residual: (normal - face.normal).dot(axis) / tilt,
                    by,
                });
            }
            let lever: Vector3<f64> = pose.t - face.about;
            let distance = face.normal.dot(&pose.t) - face.offset - backing;
            let mut by: Vec<(usize, f64)> =
                (0..3).map(|i| (tab_slot + 3 + i, face.normal[i] / flat)).collect();
            by.push((slot, axes[0].dot(&lever) / flat));
            by.push((slot + 1, axes[1].dot(&lever) / flat));
            by.push((slot + 2, -1.0 / flat));
            rows.push(PriorRow { source: PriorSource::Face, residual: distance / flat, by });
        }
    }
}

/// Bodies that stayed where they were.
fn bodies(state: &State, slots: &Slots, priors: &Priors, rows: &mut Vec<PriorRow>) {
    for (body, &slot) in state.bodies.iter().zip(&slots.bodies) {
        if slot == FIXED || !priors.still_bodies.contains(&body.part) {
            continue;
        }
        // Turns are counted about the tabs' middle, not the far-off world origin, or a tiny turn
        // would count as a shift.
        let turn = crate::math::rigid::log(&body.world_from_body.r);
        let middle = carried_middle(state, body.part);
        let shift = body.world_from_body.apply(&middle) - middle;
        let turned = body.world_from_body.r * middle;
        let by_turn = -crate::math::rigid::skew(&turned);
        for i in 0..3 {
            rows.push(PriorRow {
                source: PriorSource::Stayed,
                residual: turn[i] / STAYED_TURN,
                by: vec![(slot + i, 1.0 / STAYED_TURN)],
            });
            let mut by: Vec<(usize, f64)> =
                (0..3).map(|k| (slot + k, by_turn[(i, k)] / STAYED_MM)).collect();
            by.push((slot + 3 + i, 1.0 / STAYED_MM));
            rows.push(PriorRow { source: PriorSource::Stayed, residual: shift[i] / STAYED_MM, by });
        }
    }
}

/// Mean centre of the tabs that a kind of body carries, in the body's frame.
pub fn carried_middle(state: &State, part: TurningPart) -> Vector3<f64> {
    let carried: Vec<_> = state
        .tabs
        .iter()
        .filter(|t| t.carrier == Carrier::Turning(part))
        .map(|t| t.carrier_from_tab.t)
        .collect();
    carried.iter().sum::<Vector3<f64>>() / carried.len().max(1) as f64
}

/// The cord of each later set-up lies where the first one's did.
fn cords(state: &State, slots: &Slots, priors: &Priors, rows: &mut Vec<PriorRow>) {
    let Some(first) = state.cords.first() else { return };
    for (cord, &slot) in state.cords.iter().zip(&slots.cords).skip(1) {
        // All cords share middle and half length, so that the polynomials' terms can be compared
        // one by one.
        let s = 1.0 / priors.cord_moved_sigma;
        for i in 0..6 {
            let (mine, its) =
                if i < 3 { (cord.y[i], first.y[i]) } else { (cord.z[i - 3], first.z[i - 3]) };
            pair(
                rows,
                PriorSource::CordMoved,
                (mine - its) * s,
                (slot + i, s),
                (slots.cords[0] + i, -s),
            );
        }
    }
}

/// Residuals on one view's own unknowns: log zoom, shift and sweep, each (residual, local unknown,
/// derivative).
pub fn view_rows(state: &State, view: usize, priors: &Priors) -> [(f64, usize, f64); 9] {
    let v = &state.views[view];
    let (zoom, shift) = (1.0 / priors.zoom_sigma[v.lens], 1.0 / priors.shift_sigma[v.lens]);
    let drift = [(v.log_zoom, zoom), (v.shift[0], shift), (v.shift[1], shift)];
    let [turn, along] = priors.sweep_sigma.map(|sigma| 1.0 / sigma);
    std::array::from_fn(|i| {
        let (value, weight) = match i {
            0..3 => drift[i],
            3..6 => (v.sweep.turn[i - 3], turn),
            _ => (v.sweep.shift[i - 6], along),
        };
        (value * weight, 6 + i, weight)
    })
}
