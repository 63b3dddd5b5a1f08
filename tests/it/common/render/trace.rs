//! From surfaces to the light on each pixel. A pixel without an edge takes the colour at its
//! centre. A pixel crossed by one straight edge of the print takes the two colours by the exact
//! area to each side of it. Any other pixel takes the mean over a Fibonacci lattice of points.
//! Surfaces are evaluated in their own coordinates, which are affine within a pixel.

use rayon::prelude::*;

use super::super::geometry::{Eye, M3, V3, turn};
use super::knobs::{EdgeSamples, RenderKnobs, RollingShutter};
use super::paint::Rgb;
use super::surface::{Edges, Paint, Shape, Surface, bow};

/// Side of the squares of pixels that share a list of what may be seen in them.
const TILE: usize = 8;
/// No pixel reaches further than this on anything that is seen at a useful angle, mm.
const LARGEST_PIXEL_MM: f64 = 20.0;
/// Light where no ray meets anything.
const NOTHING: Rgb = [0.05, 0.05, 0.06];

/// Light on every pixel, row-major.
pub struct Light {
    pub width: usize,
    pub height: usize,
    pub data: Vec<Rgb>,
}

/// A surface as one camera sees it.
struct View<'a> {
    surface: &'a Surface,
    frame: Frame,
    /// Box in the picture, px: from u, from v, to u, to v.
    seen_in: [f64; 4],
}

enum Frame {
    /// sheet_from_camera rotation and the camera's centre in the sheet's frame.
    Sheet { rotation: M3, centre: V3 },
    /// Start, unit direction and length in the camera's frame.
    Tube { from: V3, along: V3, length: f64, radius: f64, to_light: V3 },
}

/// Where a ray meets a surface: depth for sorting, the surface's own coordinates and their change
/// per pixel.
struct Hit<'a> {
    surface: &'a Surface,
    depth: f64,
    at: [f64; 2],
    per_u: [f64; 2],
    per_v: [f64; 2],
    front: bool,
    /// Of a bar: how far its left edge and its middle face the light.
    facing: [f64; 2],
}

/// Ideal image coordinates of a pixel's centre and their change per pixel.
struct Ray {
    x: f64,
    y: f64,
    x_u: f64,
    x_v: f64,
    y_u: f64,
    y_v: f64,
}

/// Renders what an eye sees of surfaces.
pub fn trace(surfaces: &[Surface], eye: &Eye, knobs: &RenderKnobs) -> Light {
    let (width, height) = (eye.lens.width, eye.lens.height);
    let boxes = boxes(surfaces, eye, knobs.rolling_shutter.as_ref());
    // Neighbouring Fibonacci numbers.
    let lattices = match knobs.edge_samples {
        EdgeSamples::Few => [(21, 13), (34, 21), (89, 55)],
        EdgeSamples::Many => [(55, 34), (233, 144), (610, 377)],
    }
    .map(|(n, step)| Lattice::new(n, step));
    let mut data = vec![NOTHING; width * height];
    data.par_chunks_mut(width * TILE).enumerate().for_each(|(band, rows)| {
        let band_v = band * TILE;
        let n_rows = rows.len() / width;
        // What each row sees: of a camera that holds still, all the same.
        let seen_by_row: Vec<Vec<View>> = match &knobs.rolling_shutter {
            Some(shutter) => (0..n_rows)
                .map(|row| {
                    views(surfaces, &boxes, &eye_at_row(eye, shutter, (band_v + row) as f64))
                })
                .collect(),
            None => vec![views(surfaces, &boxes, eye)],
        };
        for (tile_u, _) in (0..width).step_by(TILE).enumerate() {
            let from = [(tile_u * TILE) as f64, band_v as f64];
            let middle = (TILE as f64 - 1.0) / 2.0;
            let at_middle = ray_through(
                eye,
                from[0] + middle,
                from[1] + middle,
                &mut eye.lens.ideal(from[0], from[1]),
            );
            let ends = [&seen_by_row[0], &seen_by_row[seen_by_row.len() - 1]];
            let may_show =
                |i: usize| ends.iter().any(|views| views[i].may_show_in_tile(&at_middle));
            let candidates: Vec<usize> =
                (0..surfaces.len()).filter(|&i| overlaps(boxes[i], from) && may_show(i)).collect();
            let mut hits = Vec::with_capacity(16);
            for row in 0..n_rows {
                let v = (band_v + row) as f64;
                let views = &seen_by_row[row.min(seen_by_row.len() - 1)];
                let mut guess = eye.lens.ideal(from[0], v);
                for u in tile_u * TILE..((tile_u + 1) * TILE).min(width) {
                    let ray = ray_through(eye, u as f64, v, &mut guess);
                    let seed = (u as u64) << 32 | v as u64;
                    rows[row * width + u] =
                        pixel(views, &candidates, &ray, &lattices, seed, &mut hits);
                }
            }
        }
    });
    Light { width, height, data }
}

/// The camera while one row is read: the middle row sees it where the photo says it was.
pub fn eye_at_row(eye: &Eye, shutter: &RollingShutter, v: f64) -> Eye {
    let time = (v + 0.5) / eye.lens.height as f64 - 0.5;
    let shift = eye.rotation.transpose() * V3::from(shutter.shift_mm) * time;
    let turned = (0..3).fold(M3::identity(), |turned, axis| {
        let unit = V3::from_fn(|i, _| f64::from(u8::from(i == axis)));
        turn(unit, -shutter.turn_deg[axis] * time) * turned
    });
    Eye::new(eye.lens, turned * eye.rotation, eye.centre + shift)
}

fn ray_through(eye: &Eye, u: f64, v: f64, guess: &mut [f64; 2]) -> Ray {
    let lens = &eye.lens;
    let (xd, yd) = ((u - lens.cx) / lens.fx, (v - lens.cy) / lens.fy);
    let [mut x, mut y] = *guess;
    let mut derivative = lens.bend_derivative(x, y);
    // The neighbour's solution is a pixel away: two or three Newton steps reach 1e-13.
    for _ in 0..8 {
        let [bx, by] = lens.bend(x, y);
        let (ex, ey) = (xd - bx, yd - by);
        let [a, b, c, d] = derivative;
        let det = a * d - b * c;
        x += (d * ex - b * ey) / det;
        y += (a * ey - c * ex) / det;
        derivative = lens.bend_derivative(x, y);
        if ex.abs() + ey.abs() < 1e-12 {
            break;
        }
    }
    *guess = [x, y];
    let [a, b, c, d] = derivative;
    let det = a * d - b * c;
    Ray {
        x,
        y,
        x_u: d / det / lens.fx,
        x_v: -b / det / lens.fy,
        y_u: -c / det / lens.fx,
        y_v: a / det / lens.fy,
    }
}

/// Light on one pixel.
fn pixel<'a>(
    views: &[View<'a>],
    candidates: &[usize],
    ray: &Ray,
    lattices: &[Lattice; 3],
    seed: u64,
    hits: &mut Vec<Hit<'a>>,
) -> Rgb {
    hits.clear();
    for hit in candidates.iter().filter_map(|&i| views[i].meet(ray)) {
        let place = hits.iter().position(|other| other.depth > hit.depth).unwrap_or(hits.len());
        hits.insert(place, hit);
    }
    // Everything down to the first thing that fills the pixel.
    let mut edges = Edges::None;
    let mut split = 0;
    let mut n_needed = hits.len();
    for (i, hit) in hits.iter().enumerate() {
        let reach = hit.reach();
        let [x, y] = hit.at;
        let fills = hit.surface.inside(x, y) > reach[0] + reach[1];
        let own = match hit.surface.edges(x, y, reach) {
            Edges::None if !fills => Edges::Coarse,
            own => own,
        };
        edges = match (edges, own) {
            (Edges::None, own) => {
                split = i;
                own
            }
            (edges, Edges::None) => edges,
            // One exact edge and any other cannot be told apart by area alone.
            (Edges::One { .. }, _) | (_, Edges::One { .. }) => Edges::Fine,
            (edges, own) if edges > own => edges,
            (_, own) => own,
        };
        if fills {
            n_needed = i + 1;
            break;
        }
    }
    hits.truncate(n_needed);
    let composite =
        |du: f64, dv: f64| hits.iter().find_map(|hit| hit.colour(du, dv)).unwrap_or(NOTHING);
    match edges {
        Edges::None => composite(0.0, 0.0),
        Edges::One { axis, place } => hits[split].two_sides(axis, place),
        Edges::Rough => lattices[0].mean(seed, composite),
        Edges::Coarse => lattices[1].mean(seed, composite),
        Edges::Fine => lattices[2].mean(seed, composite),
    }
}

impl Hit<'_> {
    /// How far each of the surface's coordinates moves from the pixel's centre to its furthest
    /// corner, mm.
    fn reach(&self) -> [f64; 2] {
        [0, 1].map(|axis| 0.5 * (self.per_u[axis].abs() + self.per_v[axis].abs()))
    }

    /// Mean colour of a pixel that one straight edge crosses, each side by its area.
    fn two_sides(&self, axis: usize, place: f64) -> Rgb {
        let below = area_below(place - self.at[axis], self.per_u[axis], self.per_v[axis]) as f32;
        // Just off the edge: a hundredth of a millimetre, far from anything else in this pixel.
        let side = |off: f64| {
            let mut at = self.at;
            at[axis] = place + off;
            self.surface.look(at[0], at[1], self.front, self.facing).unwrap_or(NOTHING)
        };
        let (low, high) = (side(-0.01), side(0.01));
        std::array::from_fn(|i| self.surface.light * (low[i] * below + high[i] * (1.0 - below)))
    }

    fn colour(&self, du: f64, dv: f64) -> Option<Rgb> {
        let at = |axis: usize| self.at[axis] + self.per_u[axis] * du + self.per_v[axis] * dv;
        let light = self.surface.light;
        self.surface
            .look(at(0), at(1), self.front, self.facing)
            .map(|colour| colour.map(|c| c * light))
    }
}

impl<'a> View<'a> {
    /// Whether any pixel of the tile about this ray can meet the surface: generous, for it only
    /// spares work.
    fn may_show_in_tile(&self, ray: &Ray) -> bool {
        let tile = 2.0 * TILE as f64;
        match self.frame {
            Frame::Sheet { ref rotation, ref centre } => {
                let d = rotation * V3::new(ray.x, ray.y, 1.0);
                // At a grazing angle a tile may reach from the camera to the horizon.
                if d.z.abs() < 0.1 * d.norm() {
                    return true;
                }
                let depth = -centre.z / d.z;
                let per = |dx: f64, dy: f64| {
                    let step = rotation * V3::new(dx, dy, 0.0);
                    depth
                        * ((step.x - d.x * step.z / d.z).abs()
                            + (step.y - d.y * step.z / d.z).abs())
                };
                let reach = per(ray.x_u, ray.y_u) + per(ray.x_v, ray.y_v);
                // A bow lifts a sheet by a few millimetres at most.
                let bow_mm = 10.0 / (d.z / d.norm()).abs();
                depth > 0.5
                    && self.surface.inside(centre.x + depth * d.x, centre.y + depth * d.y)
                        > -(tile * reach + bow_mm)
            }
            Frame::Tube { from, along, length, radius, .. } => {
                let square = V3::new(ray.x, ray.y, 1.0).cross(&along);
                let off = from.dot(&square) / square.norm();
                let furthest = from.norm().max((from + along * length).norm());
                let reach =
                    furthest * (ray.x_u.abs() + ray.x_v.abs() + ray.y_u.abs() + ray.y_v.abs());
                off.abs() < radius + tile * reach
            }
        }
    }

    /// Where the ray of a pixel meets the surface, if any part of the pixel can.
    fn meet(&self, ray: &Ray) -> Option<Hit<'a>> {
        let hit = match self.frame {
            Frame::Sheet { ref rotation, ref centre } => self.meet_sheet(rotation, centre, ray),
            Frame::Tube { from, along, length, radius, to_light } => {
                self.meet_tube([from, along, to_light], length, radius, ray)
            }
        }?;
        let [x, y] = hit.reach();
        (self.surface.inside(hit.at[0], hit.at[1]) > -(x + y)).then_some(hit)
    }

    fn meet_sheet(&self, rotation: &M3, centre: &V3, ray: &Ray) -> Option<Hit<'a>> {
        let Shape::Sheet { bow_mm, half_mm, .. } = self.surface.shape else { return None };
        let d = rotation * V3::new(ray.x, ray.y, 1.0);
        if d.z.abs() < 1e-9 {
            return None;
        }
        let mut depth = -centre.z / d.z;
        if depth < 1.0 {
            return None;
        }
        let place = |depth: f64| [centre.x + depth * d.x, centre.y + depth * d.y];
        let (mut slope_x, mut slope_y) = (0.0, 0.0);
        if bow_mm != [0.0, 0.0] {
            // The bow is a thousandth of the distance: each round gains three digits.
            for _ in 0..4 {
                let [x, y] = place(depth);
                depth = (bow(bow_mm, half_mm, x, y) - centre.z) / d.z;
            }
            let [x, y] = place(depth);
            slope_x = -2.0 * bow_mm[0] * x / (half_mm[0] * half_mm[0]);
            slope_y = -2.0 * bow_mm[1] * y / (half_mm[1] * half_mm[1]);
        }
        let [x, y] = place(depth);
        if self.surface.inside(x, y) < -LARGEST_PIXEL_MM {
            return None;
        }
        // x = cx + depth dx with depth = (z - cz) / dz: the change per pixel of the flat sheet,
        // then of its height.
        let per = |d_i: V3| {
            let flat = [depth * (d_i.x - d.x * d_i.z / d.z), depth * (d_i.y - d.y * d_i.z / d.z)];
            let (along_x, along_y) = (d.x / d.z, d.y / d.z);
            let rise = (slope_x * flat[0] + slope_y * flat[1])
                / (1.0 - slope_x * along_x - slope_y * along_y);
            [flat[0] + rise * along_x, flat[1] + rise * along_y]
        };
        Some(Hit {
            surface: self.surface,
            depth,
            at: place(depth),
            per_u: per(rotation * V3::new(ray.x_u, ray.y_u, 0.0)),
            per_v: per(rotation * V3::new(ray.x_v, ray.y_v, 0.0)),
            front: centre.z > 0.0,
            facing: [0.0; 2],
        })
    }

    /// A tube's coordinates: the signed distance of the ray from the axis, and the place along the
    /// axis. A ray meets an endless tube just where that distance is less than the radius, so
    /// its edges are exact.
    fn meet_tube(
        &self,
        [from, along, to_light]: [V3; 3],
        length: f64,
        radius: f64,
        ray: &Ray,
    ) -> Option<Hit<'a>> {
        let d = V3::new(ray.x, ray.y, 1.0);
        let off = from.dot(&d.cross(&along)) / d.cross(&along).norm();
        // Far off: nothing more to work out.
        if off.abs() > radius + LARGEST_PIXEL_MM {
            return None;
        }
        let strings = self.surface.exact;
        let at = |x: f64, y: f64| {
            let d = V3::new(x, y, 1.0);
            let square = d.cross(&along);
            let (dd, dm) = (d.dot(&d), d.dot(&along));
            let off = from.dot(&square) / square.norm();
            let per_depth = (dd - dm * dm).sqrt();
            let nearest = (d.dot(&from) - dm * along.dot(&from)) / (dd - dm * dm);
            // A string is given by the point of its axis nearest to the ray, and sorted as if it
            // stood a radius before it: a flag's plane holds the axis, and the line
            // hides the flag. A stout bar is met on its surface.
            let before =
                if strings { radius } else { (radius * radius - off * off).max(0.0).sqrt() }
                    / per_depth;
            let place = if strings { nearest } else { nearest - before } * dm - along.dot(&from);
            (off, place, nearest - before)
        };
        let (off, place, depth) = at(ray.x, ray.y);
        let per = |dx: f64, dy: f64| {
            let (a, b) =
                (at(ray.x + dx / 2.0, ray.y + dy / 2.0), at(ray.x - dx / 2.0, ray.y - dy / 2.0));
            [a.0 - b.0, a.1 - b.1]
        };
        (depth > 1.0 && place > -30.0 && place < length + 30.0).then(|| Hit {
            surface: self.surface,
            depth,
            at: [off, place],
            per_u: per(ray.x_u, ray.y_u),
            per_v: per(ray.x_v, ray.y_v),
            front: true,
            facing: {
                // The axis lies `off` towards `square` from the ray: what is seen of the bar lies
                // on the other side of its axis.
                let square = d.cross(&along).normalize();
                let towards_camera =
                    along.cross(&square).normalize() * along.cross(&square).dot(&-d).signum();
                [-to_light.dot(&square), to_light.dot(&towards_camera)]
            },
        })
    }
}

/// Area of the part of a pixel (du and dv from -1/2 to 1/2) in which a du + b dv < c.
fn area_below(c: f64, a: f64, b: f64) -> f64 {
    let (a, b) = (a.abs().max(b.abs()), a.abs().min(b.abs()));
    // By symmetry the steeper direction first and c as measured from the corner: u, v from 0 to 1,
    // a u + b v < c.
    let c = c + (a + b) / 2.0;
    if c <= 0.0 {
        return 0.0;
    }
    if c >= a + b {
        return 1.0;
    }
    if b < 1e-12 * a {
        return c / a;
    }
    // A triangle, less the triangles that stick out beyond u = 1 and v = 1.
    let triangle = |c: f64| if c > 0.0 { c * c / (2.0 * a * b) } else { 0.0 };
    triangle(c) - triangle(c - a) - triangle(c - b)
}

fn views<'a>(surfaces: &'a [Surface], boxes: &[[f64; 4]], eye: &Eye) -> Vec<View<'a>> {
    let view = |(surface, &seen_in): (&'a Surface, &[f64; 4])| {
        let frame = match &surface.shape {
            Shape::Sheet { pose, .. } => Frame::Sheet {
                rotation: pose.rotation.transpose() * eye.rotation.transpose(),
                centre: pose.rotation.transpose() * (eye.centre - pose.origin),
            },
            Shape::Tube { from, to, radius_mm } => {
                let (from, to) = (eye.camera_from_world(*from), eye.camera_from_world(*to));
                let length = (to - from).norm();
                let to_light = match &surface.paint {
                    Paint::Bar { lit: Some(lit), .. } => eye.rotation * lit.to_light,
                    _ => V3::zeros(),
                };
                Frame::Tube {
                    from,
                    along: (to - from) / length,
                    length,
                    radius: *radius_mm,
                    to_light,
                }
            }
        };
        View { surface, frame, seen_in }
    };
    surfaces.iter().zip(boxes).map(view).collect()
}

/// Boxes in the picture that each surface stays within; empty (upside down) where it
/// is behind the camera.
fn boxes(surfaces: &[Surface], eye: &Eye, shutter: Option<&RollingShutter>) -> Vec<[f64; 4]> {
    let height = eye.lens.height as f64;
    let eyes: Vec<Eye> = match shutter {
        Some(shutter) => {
            [0.0, height / 2.0, height].iter().map(|&v| eye_at_row(eye, shutter, v)).collect()
        }
        None => vec![*eye],
    };
    let whole = [f64::NEG_INFINITY, f64::NEG_INFINITY, f64::INFINITY, f64::INFINITY];
    let of_surface = |surface: &Surface| {
        let hull = surface.hull();
        let mut seen = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
        let (mut before, mut behind) = (0, 0);
        for eye in &eyes {
            for p in &hull {
                let c = eye.camera_from_world(*p);
                if c.z < 10.0 {
                    behind += 1;
                    continue;
                }
                before += 1;
                // Outside the lens's field the bent coordinates mean nothing; the straight ones lie
                // outside as well.
                let [u, v] = eye.project_camera(c).unwrap_or_else(|| {
                    [c.x / c.z * eye.lens.fx + eye.lens.cx, c.y / c.z * eye.lens.fy + eye.lens.cy]
                });
                let radius =
                    if let Shape::Tube { radius_mm, .. } = surface.shape { radius_mm } else { 0.0 };
                // The lens bends straight edges between the hull's points by a few pixels.
                let margin = 12.0 + radius / c.z * eye.lens.fx;
                seen = [
                    seen[0].min(u - margin),
                    seen[1].min(v - margin),
                    seen[2].max(u + margin),
                    seen[3].max(v + margin),
                ];
            }
        }
        if before > 0 && behind > 0 { whole } else { seen }
    };
    surfaces.iter().map(of_surface).collect()
}

fn overlaps(seen: [f64; 4], from: [f64; 2]) -> bool {
    let side = TILE as f64;
    seen[0] < from[0] + side
        && seen[2] > from[0] - 1.0
        && seen[1] < from[1] + side
        && seen[3] > from[1] - 1.0
}

/// A Fibonacci lattice over the pixel. Its points' shadows on the axes are evenly spaced, so an
/// edge along an axis is placed to 1 / (2 n) px; a shift that differs from pixel to pixel takes out
/// the bias for all other directions.
struct Lattice {
    points: Vec<[f64; 2]>,
}

impl Lattice {
    /// `n` and `step` are neighbouring Fibonacci numbers.
    fn new(n: usize, step: usize) -> Self {
        let point =
            |i: usize| [(i as f64 + 0.5) / n as f64, ((i * step % n) as f64 + 0.5) / n as f64];
        Self { points: (0..n).map(point).collect() }
    }

    fn mean(&self, seed: u64, look: impl Fn(f64, f64) -> Rgb) -> Rgb {
        let mut random = super::super::random::Random::new(seed);
        let shift = [random.uniform(), random.uniform()];
        let mut sum = [0.0f64; 3];
        for point in &self.points {
            let [du, dv] = [0, 1].map(|axis| {
                let shifted = point[axis] + shift[axis];
                (if shifted >= 1.0 { shifted - 1.0 } else { shifted }) - 0.5
            });
            let colour = look(du, dv);
            for (total, c) in sum.iter_mut().zip(colour) {
                *total += f64::from(c);
            }
        }
        sum.map(|total| (total / self.points.len() as f64) as f32)
    }
}
