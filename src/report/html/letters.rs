//! Letters drawn into a picture: the font's outlines, filled by how much of each pixel they cover.

use ab_glyph_rasterizer::{Point, Rasterizer, point};
use image::{Rgb, RgbImage};
use skrifa::instance::{LocationRef, Size};
use skrifa::outline::{DrawSettings, OutlinePen};
use skrifa::{FontRef, GlyphId, MetadataProvider};

/// Letters wider than this are not drawn, px: no photo is wider, and a name is never that long.
const MOST_WIDTH: f32 = 30_000.0;

/// DejaVu Sans Bold in one size.
pub struct Letters {
    font: FontRef<'static>,
    /// The em's size, px.
    em: f32,
    /// From the top of a line down to where the letters stand, px.
    ascent: f32,
    /// From the top of a line to its bottom, px.
    height: f32,
}

impl Letters {
    /// Letters whose line is so high, px, from the highest to the lowest reach. None without a font
    /// that can be read: its bytes are compiled in, and that they can be read every picture
    /// shows.
    pub fn of_height(height: f32) -> Option<Self> {
        let font = FontRef::new(dejavu::sans::bold()).ok()?;
        let metrics = font.metrics(Size::new(1.0), LocationRef::default());
        let em = height / (metrics.ascent - metrics.descent);
        (em.is_finite() && em > 0.0).then_some(Self {
            font,
            em,
            ascent: metrics.ascent * em,
            height,
        })
    }

    /// Width of a text, px.
    pub fn width(&self, text: &str) -> f32 {
        self.places(text).last().map_or(0.0, |(_, at, advance)| at + advance)
    }

    /// Each letter's glyph, where it begins and how wide it is, px.
    fn places(&self, text: &str) -> Vec<(GlyphId, f32, f32)> {
        let (characters, metrics) = (
            self.font.charmap(),
            self.font.glyph_metrics(Size::new(self.em), LocationRef::default()),
        );
        let mut at = 0.0;
        let mut places = Vec::new();
        for character in text.chars() {
            let glyph = characters.map(character).unwrap_or(GlyphId::NOTDEF);
            let advance = metrics.advance_width(glyph).unwrap_or(0.0);
            places.push((glyph, at, advance));
            at += advance;
        }
        places
    }

    /// Draws a text whose line's top left corner is at a pixel; what lies outside the picture is
    /// left out.
    pub fn draw(&self, photo: &mut RgbImage, colour: Rgb<u8>, at: [u32; 2], text: &str) {
        // A last letter may lean out of its own width.
        let size = [self.width(text) + 0.5 * self.em, self.height]
            .map(|x| x.min(MOST_WIDTH).ceil() as usize + 2);
        let mut sheet = Sheet {
            raster: Rasterizer::new(size[0], size[1]),
            begin: point(0.0, 0.0),
            pen: point(0.0, 0.0),
            left: 0.0,
            foot: 0.0,
        };
        let outlines = self.font.outline_glyphs();
        for (glyph, left, _) in self.places(text) {
            let Some(outline) = outlines.get(glyph) else { continue };
            (sheet.left, sheet.foot) = (left, self.ascent);
            // A glyph that can't be drawn leaves a gap.
            let _ = outline.draw(
                DrawSettings::unhinted(Size::new(self.em), LocationRef::default()),
                &mut sheet,
            );
        }
        sheet.raster.for_each_pixel_2d(|x, y, covered| {
            if let (true, Some(pixel)) =
                (covered > 0.0, photo.get_pixel_mut_checked(at[0] + x, at[1] + y))
            {
                let share = covered.min(1.0);
                for (below, above) in pixel.0.iter_mut().zip(colour.0) {
                    *below = (f32::from(*below) * (1.0 - share) + f32::from(above) * share).round()
                        as u8;
                }
            }
        });
    }
}

/// Where outlines are drawn: y goes up in a font and down in a picture.
struct Sheet {
    raster: Rasterizer,
    /// Where the contour began, and where the pen is.
    begin: Point,
    pen: Point,
    /// Where the glyph is on the sheet, px.
    left: f32,
    foot: f32,
}

impl Sheet {
    fn place(&self, x: f32, y: f32) -> Point {
        point(self.left + x, self.foot - y)
    }
}

impl OutlinePen for Sheet {
    fn move_to(&mut self, x: f32, y: f32) {
        self.pen = self.place(x, y);
        self.begin = self.pen;
    }

    fn line_to(&mut self, x: f32, y: f32) {
        let to = self.place(x, y);
        self.raster.draw_line(self.pen, to);
        self.pen = to;
    }

    fn quad_to(&mut self, cx: f32, cy: f32, x: f32, y: f32) {
        let (bend, to) = (self.place(cx, cy), self.place(x, y));
        self.raster.draw_quad(self.pen, bend, to);
        self.pen = to;
    }

    fn curve_to(&mut self, ax: f32, ay: f32, bx: f32, by: f32, x: f32, y: f32) {
        let (first, second, to) = (self.place(ax, ay), self.place(bx, by), self.place(x, y));
        self.raster.draw_cubic(self.pen, first, second, to);
        self.pen = to;
    }

    fn close(&mut self) {
        self.raster.draw_line(self.pen, self.begin);
        self.pen = self.begin;
    }
}
