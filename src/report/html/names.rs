//! Names written into a photo next to what they name, so that none lies over another.

use image::{Rgb, RgbImage};
use imageproc::drawing::{draw_filled_rect_mut, draw_line_segment_mut};
use imageproc::rect::Rect;

use super::letters::Letters;

/// Height of the letters as a part of the picture's longer side, about what a name on a map has;
/// and the least, px.
pub const MAP_LETTERS: f32 = 0.0125;
const LEAST_LETTERS: f32 = 11.0;
/// Behind the letters, so that they can be read on anything.
const GROUND: Rgb<u8> = Rgb([0x14, 0x18, 0x1c]);

/// A name for something that was found.
#[derive(Clone, Debug)]
pub struct Name {
    pub text: String,
    pub colour: Rgb<u8>,
    /// Box around what it names, px: left, top, right, bottom.
    pub around: [f32; 4],
}

/// Writes all names. Each goes above what it names where there is room, else below, else further
/// off with a stroke that leads back. `letters` is their height as a part of the picture's longer
/// side.
pub fn write_names(photo: &mut RgbImage, names: &[Name], letters: f32) {
    let height = (letters * photo.width().max(photo.height()) as f32).max(LEAST_LETTERS);
    let Some(letters) = Letters::of_height(height) else { return };
    let mut taken: Vec<[f32; 4]> = Vec::new();
    for name in names {
        let (wide, high) = (letters.width(&name.text).ceil() + 6.0, height.ceil() + 4.0);
        let Some(place) = free_place(
            name.around,
            [wide, high],
            [photo.width() as f32, photo.height() as f32],
            &taken,
        ) else {
            continue;
        };
        let [x, y] = place;
        taken.push([x, y, x + wide, y + high]);
        let middle =
            [(name.around[0] + name.around[2]) / 2.0, (name.around[1] + name.around[3]) / 2.0];
        let is_apart = y + high < name.around[1] - high || y > name.around[3] + high;
        if is_apart {
            let from = if y > middle[1] { y } else { y + high };
            draw_line_segment_mut(
                photo,
                (x + wide / 2.0, from),
                (middle[0], middle[1]),
                name.colour,
            );
        }
        draw_filled_rect_mut(
            photo,
            Rect::at(x as i32, y as i32).of_size(wide as u32, high as u32),
            GROUND,
        );
        letters.draw(photo, name.colour, [x as u32 + 3, y as u32 + 2], &name.text);
    }
}

/// The first place, going outward, that is inside the picture and free; None where there is no room
/// at all.
pub(super) fn free_place(
    around: [f32; 4],
    [wide, high]: [f32; 2],
    picture: [f32; 2],
    taken: &[[f32; 4]],
) -> Option<[f32; 2]> {
    if !around.iter().all(|x| x.is_finite()) || wide > picture[0] || high > picture[1] {
        return None;
    }
    let middle = (around[0] + around[2]) / 2.0;
    for ring in 0..16 {
        let far = 3.0 + ring as f32 * (high + 2.0);
        for y in [around[1] - high - far, around[3] + far] {
            for x in [middle - wide / 2.0, around[0] - wide / 2.0, around[2] - wide / 2.0] {
                let at = [x.clamp(0.0, picture[0] - wide), y.clamp(0.0, picture[1] - high)];
                let lies_over = |other: &[f32; 4]| {
                    at[0] < other[2]
                        && other[0] < at[0] + wide
                        && at[1] < other[3]
                        && other[1] < at[1] + high
                };
                if !taken.iter().any(lies_over) {
                    return Some(at);
                }
            }
        }
    }
    None
}
