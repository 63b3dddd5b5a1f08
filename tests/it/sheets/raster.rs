//! A page of a PDF turned into ink per pixel by an independent rasteriser, and measured in
//! millimetres.

use std::ops::Range;

use hayro::hayro_interpret::InterpreterSettings;
use hayro::hayro_syntax::Pdf;
use hayro::vello_cpu::color::palette::css::WHITE;
use hayro::{PixmapSettings, RenderCache, RenderSettings, render};
use sightcord::photo::LinearImage;

/// Ink on a page: 0 is bare paper, 1 is black. Row 0 is the top row.
pub struct Raster {
    width: usize,
    height: usize,
    px_per_mm: f64,
    /// Height of the page itself, mm; the last row of pixels may be cut short of it.
    page_height_mm: f64,
    ink: Vec<f64>,
}

/// All pages of a document.
pub fn pages(pdf: &[u8], px_per_mm: f64) -> Vec<Raster> {
    let pdf = Pdf::new(pdf.to_vec()).expect("a document that can be read");
    let scale = (px_per_mm * 25.4 / 72.0) as f32;
    let settings = PixmapSettings { x_scale: scale, y_scale: scale, bg_color: WHITE };
    let cache = RenderCache::new();
    pdf.pages()
        .iter()
        .map(|page| {
            let pixmap = render(
                page,
                &cache,
                &InterpreterSettings::default(),
                &RenderSettings::default(),
                &settings,
            );
            Raster {
                width: pixmap.width().into(),
                height: pixmap.height().into(),
                px_per_mm,
                page_height_mm: f64::from(page.render_dimensions().1) * 25.4 / 72.0,
                // The least of the three channels counts, so that colour is ink as well.
                ink: pixmap
                    .data()
                    .iter()
                    .map(|px| 1.0 - f64::from(px.r.min(px.g).min(px.b)) / 255.0)
                    .collect(),
            }
        })
        .collect()
}

impl Raster {
    /// What a camera straight above would see.
    pub fn luminance(&self) -> LinearImage {
        LinearImage::new(
            self.width,
            self.height,
            self.ink.iter().map(|&ink| (1.0 - ink) as f32).collect(),
        )
    }

    /// Pixel coordinates (pixel centres whole) of a point in mm from the page's lower left corner.
    pub fn px(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [x * self.px_per_mm - 0.5, (self.page_height_mm - y) * self.px_per_mm - 0.5]
    }

    /// Area of ink in a window (mm from the page's lower left corner), mm^2, and its first moments
    /// about the page's corner.
    fn moments(&self, x: Range<f64>, y: Range<f64>) -> [f64; 3] {
        let part = |from: f64, to: f64, i: usize| {
            (to.min(i as f64 + 1.0) - from.max(i as f64)).max(0.0) / self.px_per_mm
        };
        let (left, right) = (x.start * self.px_per_mm, x.end * self.px_per_mm);
        let (top, low) = (
            (self.page_height_mm - y.end) * self.px_per_mm,
            (self.page_height_mm - y.start) * self.px_per_mm,
        );
        let mut sum = [0.0; 3];
        for v in top.max(0.0) as usize..(low.max(0.0).ceil() as usize).min(self.height) {
            for u in left.max(0.0) as usize..(right.max(0.0).ceil() as usize).min(self.width) {
                let area = self.ink[v * self.width + u] * part(left, right, u) * part(top, low, v);
                sum[0] += area;
                sum[1] += area * (u as f64 + 0.5) / self.px_per_mm;
                sum[2] += area * (self.page_height_mm - (v as f64 + 0.5) / self.px_per_mm);
            }
        }
        sum
    }

    /// Area of ink in a window, mm^2.
    pub fn ink_mm2(&self, x: Range<f64>, y: Range<f64>) -> f64 {
        self.moments(x, y)[0]
    }

    /// Middle of the ink in a window, mm.
    pub fn middle(&self, x: Range<f64>, y: Range<f64>) -> [f64; 2] {
        let [area, mx, my] = self.moments(x.clone(), y.clone());
        assert!(area > 0.0, "no ink in {x:?} x {y:?} mm");
        [mx / area, my / area]
    }
}
