//! The photos with what was found in them: a reduced JPEG each, and the finds drawn over it.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{Markup, PreEscaped, html};
use sha2::{Digest, Sha256};

use crate::math::hex::hex;
use crate::report::numbers::named;
use crate::report::result::ResultDocument;
use crate::report::write::ReportFile;
use crate::visible::one_line;

use super::names::free_place;

/// What was found in a photo, in pixels of the photo as its sensor has it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Overlay {
    /// Corners that entered the solution, and by how much each lies off the place where the solved
    /// scene puts it (found minus foreseen), px.
    pub corners: Vec<([f64; 2], [f64; 2])>,
    /// Outlines of the corners of each card and tab that was read, with its name ("card 3", "tab
    /// 1").
    pub outlines: Vec<(String, Vec<[f64; 2]>)>,
    /// Cord and plumb lines as found, with their names; points in order along each.
    pub lines: Vec<(String, Vec<[f64; 2]>)>,
}

/// A photo reduced for the page.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PhotoPicture {
    /// `set-up/file`, as in the result's photos.
    pub file: String,
    /// The reduced photo, turned upright for people and without EXIF. What
    /// [`super::picture`] makes keeps a page of 24 photos below 6 MB.
    pub jpeg: Vec<u8>,
    /// The same with the finds drawn in, to be shown in another place; empty to leave it as `jpeg`
    /// is.
    pub marked: Vec<u8>,
    /// Size of the reduced photo, px.
    pub width: u32,
    pub height: u32,
    /// Size of the photo as its sensor has it, px.
    pub sensor: [u32; 2],
    /// EXIF orientation, 1 to 8: how the sensor's picture was turned to stand upright. Anything
    /// else counts as 1.
    pub orientation: u8,
    pub overlay: Overlay,
}

/// Room that a letter of a name takes at the page's 22 px, px of the reduced photo; a generous mean
/// of common fonts.
const LETTER_WIDTH: f32 = 13.0;
const LETTER_HEIGHT: f32 = 24.0;

/// Residuals are drawn this many times as long as they are: a tenth of a pixel is then 20 px of the
/// photo.
pub const RESIDUAL_FACTOR: f64 = 200.0;

impl PhotoPicture {
    /// From a place in the sensor's picture (centre of the top-left pixel is 0, 0) to the reduced
    /// one (its corner is 0, 0).
    pub fn place(&self, [u, v]: [f64; 2]) -> [f64; 2] {
        let [w, h] = self.sensor.map(f64::from);
        // Edges instead of pixel centres first, then the turns and mirrors of EXIF 2.32, tag
        // 0x0112.
        let (x, y) = (u + 0.5, v + 0.5);
        let (x, y, upright_w, upright_h) = match self.orientation {
            2 => (w - x, y, w, h),
            3 => (w - x, h - y, w, h),
            4 => (x, h - y, w, h),
            5 => (y, x, h, w),
            6 => (h - y, x, h, w),
            7 => (h - y, w - x, h, w),
            8 => (y, w - x, h, w),
            _ => (x, y, w, h),
        };
        [
            x / upright_w.max(1.0) * f64::from(self.width),
            y / upright_h.max(1.0) * f64::from(self.height),
        ]
    }

    /// Box around some sensor pixels in the reduced photo, px: left, top, right, bottom; infinite
    /// around none.
    pub(super) fn around(&self, points: &[[f64; 2]]) -> [f32; 4] {
        let nothing = [f32::INFINITY, f32::INFINITY, f32::NEG_INFINITY, f32::NEG_INFINITY];
        points.iter().fold(nothing, |[left, top, right, bottom], &point| {
            let [x, y] = self.place(point).map(|x| x as f32);
            [left.min(x), top.min(y), right.max(x), bottom.max(y)]
        })
    }

    /// The name of its file in the report: `photos/set-up-file-digits.jpg`, of letters every file
    /// system takes and short enough for each. The digits, of the checksum of the photo's whole
    /// name, keep photos apart whose names are alike without accents, capitals or ending.
    pub fn path(&self) -> String {
        format!("photos/{}-{}.jpg", plain_name(&self.file), name_digits(&self.file))
    }

    fn overlay_svg(&self) -> String {
        let point = |p: [f64; 2]| {
            let [x, y] = self.place(p);
            format!("{},{}", tenth(x), tenth(y))
        };
        let mut svg = format!(
            r#"<svg class="overlay" viewBox="0 0 {} {}" aria-hidden="true">"#,
            self.width, self.height
        );
        for (name, corners) in &self.overlay.outlines {
            let class = if name.starts_with("tab") { "tab" } else { "card" };
            let points: Vec<String> = corners.iter().map(|&corner| point(corner)).collect();
            svg.push_str(&format!(r#"<polygon class="{class}" points="{}"/>"#, points.join(" ")));
        }
        for (name, points) in &self.overlay.lines {
            let class = if name == "cord" { "cord" } else { "plumb" };
            let points: Vec<String> = points.iter().map(|&p| point(p)).collect();
            svg.push_str(&format!(r#"<polyline class="{class}" points="{}"/>"#, points.join(" ")));
        }
        // All corners in one path each keeps the page small: a dot is a line of no length with a
        // round end.
        let mut dots = String::new();
        let mut residuals = String::new();
        for &(at, residual) in &self.overlay.corners {
            let near = self.place(at);
            let far = self.place([
                at[0] + RESIDUAL_FACTOR * residual[0],
                at[1] + RESIDUAL_FACTOR * residual[1],
            ]);
            // Whole pixels are fine enough for a dot, and keep the page small; a stroke's length is
            // a figure, and keeps a tenth.
            let [x, y] = near.map(|x| tenth(x).round());
            dots.push_str(&format!("M{x} {y}h0"));
            residuals.push_str(&format!(
                "M{x} {y}l{} {}",
                tenth(far[0] - near[0]),
                tenth(far[1] - near[1])
            ));
        }
        svg.push_str(&format!(
            r#"<path class="corners" d="{dots}"/><path class="residuals" d="{residuals}"/>"#
        ));
        // Names last, so that nothing lies over them.
        let mut taken = Vec::new();
        for (name, corners) in &self.overlay.outlines {
            let around = self.around(corners);
            let size = [LETTER_WIDTH * name.chars().count() as f32, LETTER_HEIGHT];
            let Some([x, y]) =
                free_place(around, size, [self.width as f32, self.height as f32], &taken)
            else {
                continue;
            };
            taken.push([x, y, x + size[0], y + size[1]]);
            let text = html! { (name) }.into_string();
            let (x, y) = (f64::from(x + size[0] / 2.0), f64::from(y + 0.8 * size[1]));
            svg.push_str(&format!(r#"<text x="{}" y="{}">{text}</text>"#, tenth(x), tenth(y)));
        }
        svg.push_str("</svg>");
        svg
    }
}

/// Letters of a photo's name that its picture's name begins with: more than phones give, far from
/// what file systems take (255 bytes).
const MOST_LETTERS: usize = 60;

/// A photo's name without its ending, of letters every file system takes; cut short, and of several
/// photos maybe the same.
pub fn plain_name(photo: &str) -> String {
    let stem = photo.rsplit_once('.').map_or(photo, |(stem, _)| stem);
    stem.chars()
        .map(|c| if c.is_ascii_alphanumeric() || c == '_' { c } else { '-' })
        .take(MOST_LETTERS)
        .collect()
}

/// 16 hexadecimal digits of the SHA-256 of a photo's name: two names share them by chance once in
/// 10^19 pairs.
pub fn name_digits(photo: &str) -> String {
    hex(&Sha256::digest(photo.as_bytes())[..8])
}

/// A tenth of a pixel of the reduced photo is finer than anyone can see.
fn tenth(x: f64) -> f64 {
    if x.is_finite() { (x * 10.0).round() / 10.0 + 0.0 } else { 0.0 }
}

/// The photos as files of the report.
pub fn files(pictures: &[PhotoPicture]) -> Vec<ReportFile> {
    let bytes = |picture: &PhotoPicture| {
        if picture.marked.is_empty() { picture.jpeg.clone() } else { picture.marked.clone() }
    };
    pictures.iter().map(|picture| ReportFile::new(picture.path(), bytes(picture))).collect()
}

/// The section with all photos.
pub fn section(document: &ResultDocument, pictures: &[PhotoPicture]) -> Markup {
    html! {
        @if !pictures.is_empty() {
            p {
                "Tap a photo to see it at full width. Outlines: cards and tabs that were read. Dots: corners that were used. Lines: the cord and plumb lines as found. The "
                "short strokes at the dots show by how much each corner lies off the place where the solved scene puts it, "
                (RESIDUAL_FACTOR) " times enlarged."
            }
            div.photos {
                @for picture in pictures { (figure(document, picture)) }
            }
        }
    }
}

fn figure(document: &ResultDocument, picture: &PhotoPicture) -> Markup {
    let name = &*one_line(&picture.file);
    let entry = document.photos.iter().find(|photo| photo.file == name);
    let seen = entry.map_or_else(String::new, |photo| seen_in_words(&photo.cards, &photo.tabs));
    let used = entry.is_none_or(|photo| photo.used);
    html! {
        figure.photo {
            label.frame {
                input.unseen type="checkbox" aria-label=(format!("Photo {name} at full width"));
                img src=(format!("data:image/jpeg;base64,{}", STANDARD.encode(&picture.jpeg)))
                    width=(picture.width) height=(picture.height) alt=(format!("Photo {name}: {seen}"));
                (PreEscaped(picture.overlay_svg()))
            }
            figcaption {
                strong { (name) }
                @if !used { " (not used)" }
                br;
                (seen)
                @if let Some(photo) = entry {
                    @if photo.corners > 0 { ", " (photo.corners) " corners" }
                    @if let Some(rms) = photo.rms_px { ", off by " (format!("{rms:.3}")) " px (rms)" }
                }
            }
        }
    }
}

/// "cards 1 to 4, tabs 1, 5 to 10".
pub fn seen_in_words(cards: &[u8], tabs: &[u8]) -> String {
    let some =
        [("card", cards), ("tab", tabs)].into_iter().filter(|(_, numbers)| !numbers.is_empty());
    let seen: Vec<String> = some.map(|(word, numbers)| named(word, numbers)).collect();
    if seen.is_empty() { "nothing was read".to_owned() } else { seen.join("; ") }
}
