//! Small pictures of single cards and tabs with known corners, drawn by supersampling, for the
//! tests of the pattern finder.
#![allow(dead_code)]

use sightcord::cards::Pattern;
use sightcord::cards::pattern::DOT_RADIUS;
use sightcord::photo::LinearImage;

/// Samples per pixel and direction. A straight edge is then known to a sixth of a pixel in each
/// pixel, and far better over a window.
const SAMPLES: usize = 6;
const PAPER: f64 = 0.70;
const INK: f64 = 0.05;
const BENCH: f64 = 0.22;

/// A pattern in front of a pinhole, drawn where it lands.
#[derive(Clone)]
pub struct Print {
    pub pattern: Pattern,
    /// Whether cells (row, col) carry a dot other than the pattern says.
    pub flipped_dots: Vec<(usize, usize)>,
    /// Columns are drawn in reverse, as a mirror shows them.
    pub mirrored: bool,
    /// Pixel of the pattern's centre.
    pub centre: [f64; 2],
    /// Side of a cell at the centre, px, where it isn't foreshortened.
    pub cell: f64,
    /// Turn in the picture, degrees.
    pub turn: f64,
    /// Tilt away from the camera, degrees, about an axis `tilt_axis` degrees from the columns'
    /// direction.
    pub tilt: f64,
    pub tilt_axis: f64,
    /// Distance of the camera, cells: the nearer, the stronger the perspective.
    pub distance: f64,
    /// Light of the dark cells: a printer that runs out of toner prints them pale.
    pub ink: f64,
}

impl Print {
    pub fn new(pattern: Pattern, centre: [f64; 2], cell: f64) -> Self {
        Self {
            pattern,
            flipped_dots: Vec::new(),
            mirrored: false,
            centre,
            cell,
            turn: 0.0,
            tilt: 0.0,
            tilt_axis: 0.0,
            distance: 60.0,
            ink: INK,
        }
    }

    pub fn turned(mut self, degrees: f64) -> Self {
        self.turn = degrees;
        self
    }

    pub fn tilted(mut self, degrees: f64, axis: f64) -> Self {
        (self.tilt, self.tilt_axis) = (degrees, axis);
        self
    }

    /// Rows of the homography from lattice places (about the pattern's centre, x along columns, y
    /// along rows) to pixels.
    fn homography(&self) -> [[f64; 3]; 3] {
        let (st, ct) = self.tilt.to_radians().sin_cos();
        let (sa, ca) = self.tilt_axis.to_radians().sin_cos();
        let (sr, cr) = self.turn.to_radians().sin_cos();
        let flip = if self.mirrored { -1.0 } else { 1.0 };
        // Along the tilt's axis nothing changes; across it lengths shrink by the cosine and depth
        // grows by the sine.
        let place = |x: f64, y: f64| {
            let (along, across) = (ca * x + sa * y, -sa * x + ca * y);
            let (x, y) = (ca * along - sa * across * ct, sa * along + ca * across * ct);
            [cr * x - sr * y, sr * x + cr * y, across * st / self.distance]
        };
        let (ex, ey) = (place(flip, 0.0), place(0.0, 1.0));
        let line = |i: usize| {
            let c = self.centre[i];
            [self.cell * ex[i] + c * ex[2], self.cell * ey[i] + c * ey[2], c]
        };
        [line(0), line(1), [ex[2], ey[2], 1.0]]
    }

    /// Pixel of lattice node (r, c).
    pub fn node(&self, r: f64, c: f64) -> [f64; 2] {
        let [x, y] = [c - self.pattern.cols() as f64 / 2.0, r - self.pattern.rows() as f64 / 2.0];
        let h = self.homography();
        let dot = |row: [f64; 3]| row[0] * x + row[1] * y + row[2];
        [dot(h[0]) / dot(h[2]), dot(h[1]) / dot(h[2])]
    }

    /// Shorter side of the cell at a corner, px.
    pub fn cell_px(&self, r: usize, c: usize) -> f64 {
        let (r, c) = (r as f64, c as f64);
        let length = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
        length(self.node(r - 0.5, c), self.node(r + 0.5, c))
            .min(length(self.node(r, c - 0.5), self.node(r, c + 0.5)))
    }

    /// Light of the print at a lattice place about its centre, or None off the paper.
    fn light(&self, x: f64, y: f64) -> Option<f64> {
        let (rows, cols) = (self.pattern.rows() as f64, self.pattern.cols() as f64);
        let (row, col) = (y + rows / 2.0, x + cols / 2.0);
        let (left, above, below) = match self.pattern {
            Pattern::Tab(_) => (1.0, 1.0, 2.5),
            Pattern::Card(_) => (1.8, 1.5, 1.5),
        };
        if row < -above || row > rows + below || col < -left || col > cols + left {
            return None;
        }
        if row < 0.0 || col < 0.0 || row >= rows || col >= cols {
            return Some(PAPER);
        }
        let (r, c) = (row as usize, col as usize);
        if self.pattern.is_lane(r) {
            return Some(if self.is_tick(row, col) { self.ink } else { PAPER });
        }
        let dot = self.pattern.has_dot(r, c) != self.flipped_dots.contains(&(r, c));
        let in_dot = (row.fract() - 0.5).hypot(col.fract() - 0.5) < DOT_RADIUS;
        Some(if self.pattern.is_dark(r, c) != (dot && in_dot) { self.ink } else { PAPER })
    }

    /// The rulers along both edges of the lane: a tick every 2 mm, longer every 10.
    fn is_tick(&self, row: f64, col: f64) -> bool {
        let mm = col * 10.0;
        let nearest = (mm / 2.0).round() * 2.0;
        let length = if nearest % 10.0 == 0.0 { 0.3 } else { 0.16 };
        (mm - nearest).abs() < 0.12 && (row - 8.0 < length || 10.0 - row < length)
    }
}

/// Something that lies over the prints: a bar from end to end of a line, px.
#[derive(Clone)]
pub struct Bar {
    pub from: [f64; 2],
    pub to: [f64; 2],
    pub width: f64,
    pub light: f64,
}

/// A picture in the making.
pub struct Drawing {
    pub width: usize,
    pub height: usize,
    pub prints: Vec<Print>,
    pub bars: Vec<Bar>,
    /// Standard deviation of the blur, px.
    pub blur: f64,
    /// Standard deviation of the noise, linear light, before the gain.
    pub noise: f64,
    /// Light is multiplied by this at the end.
    pub gain: f64,
    /// Light added at the right edge, falling linearly to nothing at the left edge.
    pub glare: f64,
}

impl Drawing {
    pub fn new(width: usize, height: usize) -> Self {
        let (prints, bars) = (Vec::new(), Vec::new());
        Self { width, height, prints, bars, blur: 0.6, noise: 0.01, gain: 1.0, glare: 0.0 }
    }

    pub fn of(width: usize, height: usize, print: Print) -> Self {
        Self { prints: vec![print], ..Self::new(width, height) }
    }

    pub fn image(&self) -> LinearImage {
        let inverses: Vec<[[f64; 3]; 3]> =
            self.prints.iter().map(|print| inverse(print.homography())).collect();
        let mut data = vec![0.0; self.width * self.height];
        for v in 0..self.height {
            for u in 0..self.width {
                let mut sum = 0.0;
                for (i, j) in (0..SAMPLES).flat_map(|i| (0..SAMPLES).map(move |j| (i, j))) {
                    let offset = |i: usize| (i as f64 + 0.5) / SAMPLES as f64 - 0.5;
                    sum += self.light(&inverses, u as f64 + offset(j), v as f64 + offset(i));
                }
                data[v * self.width + u] = sum / (SAMPLES * SAMPLES) as f64;
            }
        }
        blur(&mut data, self.width, self.height, self.blur);
        let mut dice = crate::shared_truth::Dice(5);
        let finish = |(i, light): (usize, f64)| {
            let glare = self.glare * (i % self.width) as f64 / self.width as f64;
            (((light + glare + self.noise * dice.normal()) * self.gain).clamp(0.0, 1.0)) as f32
        };
        LinearImage::new(
            self.width,
            self.height,
            data.into_iter().enumerate().map(finish).collect(),
        )
    }

    fn light(&self, inverses: &[[[f64; 3]; 3]], u: f64, v: f64) -> f64 {
        for bar in &self.bars {
            let (along, offset) = (
                [bar.to[0] - bar.from[0], bar.to[1] - bar.from[1]],
                [u - bar.from[0], v - bar.from[1]],
            );
            let length = along[0].hypot(along[1]);
            let t = (along[0] * offset[0] + along[1] * offset[1]) / (length * length);
            let across = (along[0] * offset[1] - along[1] * offset[0]) / length;
            if (0.0..=1.0).contains(&t) && across.abs() < 0.5 * bar.width {
                return bar.light;
            }
        }
        for (print, h) in self.prints.iter().zip(inverses) {
            let dot = |row: [f64; 3]| row[0] * u + row[1] * v + row[2];
            let depth = dot(h[2]);
            if depth > 0.0
                && let Some(light) = print.light(dot(h[0]) / depth, dot(h[1]) / depth)
            {
                return light;
            }
        }
        BENCH
    }
}

/// Inverse of a 3 x 3 matrix, up to scale but for its sign.
fn inverse(m: [[f64; 3]; 3]) -> [[f64; 3]; 3] {
    let minor = |r: usize, c: usize| {
        let (r1, r2, c1, c2) = ((r + 1) % 3, (r + 2) % 3, (c + 1) % 3, (c + 2) % 3);
        m[r1][c1] * m[r2][c2] - m[r1][c2] * m[r2][c1]
    };
    let determinant: f64 = (0..3).map(|c| m[0][c] * minor(0, c)).sum();
    std::array::from_fn(|r| std::array::from_fn(|c| minor(c, r) / determinant))
}

/// Gaussian blur, rows then columns.
fn blur(data: &mut [f64], width: usize, height: usize, sigma: f64) {
    if sigma <= 0.0 {
        return;
    }
    let reach = (3.5 * sigma).ceil() as isize;
    let kernel: Vec<f64> =
        (-reach..=reach).map(|i| (-0.5 * (i as f64 / sigma).powi(2)).exp()).collect();
    let sum: f64 = kernel.iter().sum();
    let mut pass = |n_lines: usize, length: usize, at: &dyn Fn(usize, usize) -> usize| {
        for line in 0..n_lines {
            let values: Vec<f64> = (0..length).map(|i| data[at(line, i)]).collect();
            for i in 0..length {
                let tap = |(k, weight): (usize, &f64)| {
                    weight
                        * values[(i as isize + k as isize - reach).clamp(0, length as isize - 1)
                            as usize]
                };
                data[at(line, i)] = kernel.iter().enumerate().map(tap).sum::<f64>() / sum;
            }
        }
    };
    pass(height, width, &|line, i| line * width + i);
    pass(width, height, &|line, i| i * width + line);
}
