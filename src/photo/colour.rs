//! Red, green and blue of a photo: one after the other for where brightness alone does not tell
//! things apart, and together for people.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use super::decoded::Colours;
use super::file_bytes::{head_of, read_limited};
use super::format::{Content, content_of};
use super::srgb::light_table_8;
use super::{LinearImage, PhotoFile, PhotoFormat, jpeg};

/// Red, green and blue in the order of a photo's codes.
const CHANNELS: [usize; 3] = [0, 1, 2];
/// One colour over another. A shadow on grey or white paper takes as much of either and vanishes;
/// what has a colour of its own is darker than the paper in one of these.
const RATIOS: [[usize; 2]; 6] = [[0, 1], [1, 0], [2, 1], [1, 2], [0, 2], [2, 0]];
/// How many pictures a photo's colours make.
pub const N_COLOURS: usize = CHANNELS.len() + RATIOS.len();
/// What is added to either colour of a ratio, linear light: near black both are mostly noise.
const NEAR_BLACK: f32 = 0.02;

/// What `look` says to the linear light of red, of green and of blue, and to the ratios of every
/// two of them: [`N_COLOURS`] answers. One picture is held at a time. None for a photo without
/// colour, one that is neither JPEG nor HEIC (phones write little else; the rest is judged by its
/// brightness), and one that can't be read any more.
///
/// Phones store colour at half the resolution: edges are twice as blurred as in brightness, alike
/// on both sides.
pub fn look_at_colours<T>(file: &PhotoFile, look: impl Fn(&LinearImage) -> T) -> Option<Vec<T>> {
    let bytes = file.bytes().ok()?;
    let Content::Photo(format) = content_of(&bytes) else { return None };
    let Colours { width, height, codes } =
        catch_unwind(AssertUnwindSafe(|| decoded(format, &bytes))).ok()??;
    drop(bytes);
    let light = light_table_8();
    let picture = |value: &dyn Fn(&[u8]) -> f32| {
        look(&LinearImage::new(width, height, codes.chunks_exact(3).map(value).collect()))
    };
    let channels = CHANNELS.map(|channel| picture(&|rgb| light[usize::from(rgb[channel])]));
    let ratios = RATIOS.map(|channels| {
        picture(&|rgb| {
            let [over, under] = channels.map(|c| light[usize::from(rgb[c])] + NEAR_BLACK);
            over / under
        })
    });
    Some(channels.into_iter().chain(ratios).collect())
}

fn decoded(format: PhotoFormat, bytes: &[u8]) -> Option<Colours> {
    match format {
        PhotoFormat::Jpeg => jpeg::decode_colours(bytes),
        #[cfg(feature = "heic")]
        PhotoFormat::Heic => super::heic::decode_colours(bytes),
        _ => None,
    }
}

/// A HEIC photo's colours, which libraries for pictures do not read, in sRGB and as the sensor saw
/// it. None for any other file.
pub fn heic_colours(path: &Path) -> Option<Colours> {
    if content_of(&head_of(path)) != Content::Photo(PhotoFormat::Heic) {
        return None;
    }
    let bytes = read_limited(path).ok()?;
    catch_unwind(AssertUnwindSafe(|| decoded(PhotoFormat::Heic, &bytes))).ok()?
}
