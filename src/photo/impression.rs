//! A photo at a glance: small enough to be kept of every photo, and enough to tell a copy of it
//! from another photo of the same thing.

use super::LinearImage;

/// Cells along the longer and the shorter side, whatever the photo's size and shape: a copy of
/// another size has the same cells.
const LONG: usize = 256;
const SHORT: usize = 192;

/// The photo's brightness in a grid of cells that covers all of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Impression {
    /// Size of the photo, px.
    pub width: usize,
    pub height: usize,
    pub columns: usize,
    pub rows: usize,
    /// Means over the cells of what a file's codes are about proportional to, the square root of
    /// light, 65,535 for white: programs that make a photo smaller average codes.
    cells: Vec<u16>,
}

impl Impression {
    pub fn of(luma: &LinearImage) -> Self {
        pulp::Arch::new().dispatch(Making(luma))
    }

    /// Brightness of a cell, 0 to 1.
    pub fn at(&self, column: usize, row: usize) -> f64 {
        f64::from(self.cells[row * self.columns + column]) / f64::from(u16::MAX)
    }
}

/// An impression in the making, compiled for the registers that the processor has.
struct Making<'a>(&'a LinearImage);

impl pulp::NullaryFnOnce for Making<'_> {
    type Output = Impression;

    #[inline(always)]
    fn call(self) -> Impression {
        let luma = self.0;
        let (width, height) = (luma.width(), luma.height());
        let (columns, rows) = if width >= height { (LONG, SHORT) } else { (SHORT, LONG) };
        let mut cells = Vec::with_capacity(columns * rows);
        let mut line = vec![0.0_f32; width];
        for row in 0..rows {
            line.fill(0.0);
            for (y, weight) in parts(row, rows, height) {
                let pixels = luma.row(y);
                line.iter_mut().zip(pixels).for_each(|(sum, light)| *sum += weight * light.sqrt());
            }
            cells.extend((0..columns).map(|column| {
                let mean: f32 =
                    parts(column, columns, width).map(|(x, weight)| weight * line[x]).sum();
                (mean.clamp(0.0, 1.0) * f32::from(u16::MAX)).round() as u16
            }));
        }
        Impression { width, height, columns, rows, cells }
    }
}

/// The pixels that make cell `idx` of `n` along a side of `length` pixels, each with its share of
/// the cell.
fn parts(idx: usize, n: usize, length: usize) -> impl Iterator<Item = (usize, f32)> {
    let size = length as f64 / n as f64;
    let (begin, end) = (idx as f64 * size, (idx + 1) as f64 * size);
    (begin as usize..(end.ceil() as usize).min(length)).filter_map(move |pixel| {
        let share = (end.min((pixel + 1) as f64) - begin.max(pixel as f64)) / size;
        (share > 0.0).then_some((pixel, share as f32))
    })
}
