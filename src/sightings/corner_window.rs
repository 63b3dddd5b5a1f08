//! The pixels that a corner is fitted to: an ellipse in lattice coordinates, which follows a
//! foreshortened cell and never reaches a dot.

use crate::math::lanes::{LANES, Lanes};
use crate::photo::LinearImage;
use crate::sightings::corner::CornerGuess;

/// Half-width of the window in cells. A dot begins 0.487 cells from the corner (half a cell's
/// diagonal less the dot's radius of 0.22), and its blur reaches further in.
const WINDOW_CELLS: f64 = 0.42;
/// Largest area of the window, px^2 (a circle of radius 12 px). The floor of the position's
/// uncertainty falls with the square root of the radius only, while the cost rises with its square.
const WINDOW_AREA_PX: f64 = 452.0;
/// Smallest mean radius of a window in which the levels of four cells can be told apart, px (our
/// choice).
const MIN_RADIUS_PX: f32 = 1.0;

/// Pixels about a centre, in bundles of [`LANES`]; the last bundle is filled up with pixels of no
/// weight.
pub(super) struct Window {
    pub centre: [f64; 2],
    /// Number of pixels, each counted by its weight.
    pub n: f64,
    pub bundles: Vec<Bundle>,
}

/// Places relative to the window's centre (px), linear light and weight of some pixels.
#[derive(Clone, Copy)]
pub(super) struct Bundle {
    pub u: Lanes,
    pub v: Lanes,
    pub value: Lanes,
    pub weight: Lanes,
}

impl Bundle {
    fn new([u, v, value, weight]: [[f32; LANES]; 4]) -> Self {
        Self { u: Lanes(u), v: Lanes(v), value: Lanes(value), weight: Lanes(weight) }
    }
}

/// The ellipse about a window's centre that a lattice spans.
struct Ellipse {
    /// Lattice coordinates of a pixel in units of the window's radius are two linear forms of its
    /// place: [[xu, xv], [yu, yv]].
    forms: [[f32; 2]; 2],
    /// Its mean radius, px.
    mean_radius: f32,
    /// A rim one pixel wide fades out, so that pixels don't jump in and out while the window moves:
    /// squares of its inner and outer radius in units of the window's.
    inner2: f32,
    outer2: f32,
    /// Of the pixel box that holds it: left, right, top, bottom.
    bounds: [f64; 4],
    /// About how many pixels it holds.
    area: f64,
}

impl Ellipse {
    fn new(guess: &CornerGuess, centre: [f64; 2]) -> Self {
        let ([a, b], [c, d]) = (guess.along_row, guess.along_col);
        let cross = a * d - b * c;
        let area_of_unit = std::f64::consts::PI * cross.abs();
        let radius = WINDOW_CELLS.min((WINDOW_AREA_PX / area_of_unit).sqrt());
        // Half-extent of the ellipse along each pixel axis, and its mean radius, in px.
        let (extent_u, extent_v) = (radius * a.hypot(c), radius * b.hypot(d));
        let mean_radius = (radius * cross.abs().sqrt()) as f32;
        let [left, right] = [(centre[0] - extent_u).floor(), (centre[0] + extent_u).ceil()];
        let [top, bottom] = [(centre[1] - extent_v).floor(), (centre[1] + extent_v).ceil()];
        let scale = 1.0 / (cross * radius);
        let [inner2, outer2] = [1.0 - 0.5 / mean_radius, 1.0 + 0.5 / mean_radius]
            .map(|radius| radius.max(0.0).powi(2));
        Self {
            forms: [[d * scale, -c * scale], [-b * scale, a * scale]]
                .map(|row| row.map(|x| x as f32)),
            mean_radius,
            inner2,
            outer2,
            bounds: [left, right, top, bottom],
            area: area_of_unit * radius * radius,
        }
    }

    /// Whether it lies in the image and is large enough to fit a corner to.
    fn is_usable(&self, image: &LinearImage) -> bool {
        let [left, right, top, bottom] = self.bounds;
        let inside = left >= 0.0
            && top >= 0.0
            && right < image.width() as f64
            && bottom < image.height() as f64;
        inside && self.mean_radius >= MIN_RADIUS_PX
    }

    /// Middle and half length of what a row of pixels has inside, `v` px below the centre: it
    /// crosses the outer ellipse where a u^2 + 2 b u + c is 0. None where it misses.
    #[inline]
    fn crossing(&self, v: f32) -> Option<(f32, f32)> {
        let [[xu, xv], [yu, yv]] = self.forms;
        let a = xu * xu + yu * yu;
        let (b, c) = ((xu * xv + yu * yv) * v, (xv * xv + yv * yv) * v * v - self.outer2);
        let inside = b * b - a * c;
        (inside > 0.0).then(|| (-b / a, inside.sqrt() / a))
    }

    /// How much of a pixel counts, (u, v) px from the centre; None outside.
    #[inline]
    fn weight(&self, u: f32, v: f32) -> Option<f32> {
        let [[xu, xv], [yu, yv]] = self.forms;
        let (x, y) = (xu * u + xv * v, yu * u + yv * v);
        let radius2 = x * x + y * y;
        if radius2 >= self.outer2 {
            return None;
        }
        let fading = || ((1.0 - radius2.sqrt()) * self.mean_radius + 0.5).clamp(0.0, 1.0);
        Some(if radius2 <= self.inner2 { 1.0 } else { fading() })
    }
}

impl Window {
    /// The pixels inside the ellipse about `centre` that the guess's lattice spans, weighted by how
    /// much of each lies inside; None when it leaves the image.
    pub fn new(image: &LinearImage, guess: &CornerGuess, centre: [f64; 2]) -> Option<Self> {
        let ellipse = Ellipse::new(guess, centre);
        if !ellipse.is_usable(image) {
            return None;
        }
        let [left, right, top, bottom] = ellipse.bounds;
        let mut bundles = Vec::with_capacity((ellipse.area * 1.3) as usize / LANES + 4);
        let mut columns = [[0.0; LANES]; 4];
        let mut lane = 0;
        let mut n = 0.0;
        for row in top as usize..=bottom as usize {
            let v = (row as f64 - centre[1]) as f32;
            let Some((middle, half)) = ellipse.crossing(v) else { continue };
            let first = (centre[0] + f64::from(middle - half)).floor().max(left) as usize;
            let last = (centre[0] + f64::from(middle + half)).ceil().min(right) as usize;
            if first > last {
                continue;
            }
            for (offset, &value) in image.row(row)[first..=last].iter().enumerate() {
                let u = ((first + offset) as f64 - centre[0]) as f32;
                let Some(weight) = ellipse.weight(u, v) else { continue };
                columns[0][lane] = u;
                columns[1][lane] = v;
                columns[2][lane] = value;
                columns[3][lane] = weight;
                n += f64::from(weight);
                lane += 1;
                if lane == LANES {
                    bundles.push(Bundle::new(std::mem::take(&mut columns)));
                    lane = 0;
                }
            }
        }
        if lane > 0 {
            bundles.push(Bundle::new(columns));
        }
        Some(Self { centre, n, bundles })
    }
}
