//! HEIC photos: the light they mean, as the sensor saw it, in colour for people; and none that does
//! harm.

use std::io::Cursor;

use crate::common::light::{largest_code_difference, luma};
use heifer::heifer_isobmff::HeifFile;
use heifer::heifer_isobmff::writer::{HeifWriter, ImageSpec};
use heifer::{EncodeOptions, Image, Metadata};
use image::{ImageBuffer, ImageFormat, Rgb, RgbImage};
use sightcord::photo::colour::heic_colours;
use sightcord::photo::srgb::light_from_code;
use sightcord::photo::{PhotoError, PhotoFormat, decode_photo, list_job};
use sightcord::report::html::{Overlay, picture};
use sightcord::sightings::look;

/// Soft colours, which every coder keeps well.
fn drawn() -> RgbImage {
    ImageBuffer::from_fn(128, 96, |x, y| Rgb([(x * 2) as u8, (y * 2) as u8, 90_u8]))
}

fn best() -> EncodeOptions {
    EncodeOptions { quality: 100, ..EncodeOptions::default() }
}

fn heic_of(picture: &RgbImage) -> Vec<u8> {
    heifer::encode_rgb8(picture.width(), picture.height(), picture.as_raw(), &best()).unwrap()
}

fn png_of(picture: &RgbImage) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png).unwrap();
    bytes.into_inner()
}

/// The file with every colour box (nclx) saying another transfer function (ITU-T H.273).
fn with_transfer(heic: &[u8], transfer: u16) -> Vec<u8> {
    let mut bytes = heic.to_vec();
    for at in 0..bytes.len() - 8 {
        if &bytes[at..at + 4] == b"nclx" {
            bytes[at + 6..at + 8].copy_from_slice(&transfer.to_be_bytes());
        }
    }
    bytes
}

/// The file with its box of bit depths, which no reader needs, made into one that turns or mirrors
/// the picture.
fn with_turn(heic: &[u8], kind: &[u8; 4], how: u8) -> Vec<u8> {
    let mut bytes = heic.to_vec();
    let at = bytes.windows(4).position(|four| four == b"pixi").expect("a box of bit depths");
    bytes[at..at + 4].copy_from_slice(kind);
    bytes[at + 4] = how;
    bytes
}

#[test]
fn a_heic_photo_has_the_light_of_its_png() {
    let heic = heic_of(&drawn());
    assert!(largest_code_difference(&luma(&heic), &luma(&png_of(&drawn()))) < 6);
    for n_bytes in (0..heic.len()).step_by(11) {
        assert!(decode_photo(&heic[..n_bytes]).is_err(), "cut to {n_bytes} of {}", heic.len());
    }
}

#[test]
fn transfer_functions_are_converted_or_refused() {
    let heic = heic_of(&drawn());
    for (transfer, name) in [(16, "PQ"), (18, "HLG"), (17, "cinema"), (9, "logarithmic")] {
        let error = decode_photo(&with_transfer(&heic, transfer)).expect_err(name);
        assert!(matches!(error, PhotoError::KindNotRead(_)), "{name}: {error}");
        assert!(error.to_string().contains("unusual kind"), "{error}");
    }
    // Linear codes are light itself, up to what the way through 8 bits costs.
    let grey = RgbImage::from_pixel(128, 96, Rgb([128; 3]));
    let at = |bytes: &[u8]| f64::from(luma(bytes).at(64, 48));
    assert!((at(&with_transfer(&heic_of(&grey), 8)) - 128.0 / 255.0).abs() < 0.01);
    assert!((at(&with_transfer(&heic_of(&grey), 4)) - (128.0_f64 / 255.0).powf(2.2)).abs() < 0.01);
    assert!((at(&heic_of(&grey)) - light_from_code(128.0 / 255.0)).abs() < 0.01);
}

#[test]
fn the_files_own_turns_are_undone_and_kept_for_people() {
    let plain = heic_of(&drawn());
    let expected = luma(&plain);
    let turns: [(&[u8; 4], u8, u8); 6] = [
        (b"irot", 1, 8),
        (b"irot", 2, 3),
        (b"irot", 3, 6),
        (b"irot", 0, 1),
        (b"imir", 0, 4),
        (b"imir", 1, 2),
    ];
    for (kind, how, orientation) in turns {
        let photo = decode_photo(&with_turn(&plain, kind, how)).unwrap();
        assert_eq!(photo.luma, expected, "{orientation}");
        assert_eq!(photo.facts.exif.orientation, Some(orientation));
        assert_eq!(photo.facts.format, PhotoFormat::Heic);
    }
}

/// A picture of one colour in Display P3, as a profile says.
fn in_display_p3(rgb: [u8; 3]) -> Vec<u8> {
    let data = rgb.map(u16::from);
    let picture = Image::filled(128, 96, 8, [data[0], data[1], data[2], 255]);
    let profile = moxcms::ColorProfile::new_display_p3().encode().unwrap();
    heifer::encode_with_metadata(
        &picture,
        &Metadata { icc_profile: Some(profile), ..Metadata::default() },
        &best(),
    )
    .unwrap()
}

/// Codes in sRGB of a colour in Display P3: both curves are sRGB's; the matrix is that between the
/// primaries (SMPTE EG 432-1 and ITU-R BT.709), white D65.
fn p3_in_srgb(rgb: [u8; 3]) -> [f64; 3] {
    const MATRIX: [[f64; 3]; 3] =
        [[1.224_94, -0.224_94, 0.0], [-0.042_06, 1.042_06, 0.0], [-0.019_64, -0.078_64, 1.098_28]];
    let light = rgb.map(|code| light_from_code(f64::from(code) / 255.0));
    MATRIX.map(|row| {
        let light: f64 = row.iter().zip(light).map(|(weight, light)| weight * light).sum();
        let code = if light <= 0.003_130_8 {
            12.92 * light
        } else {
            1.055 * light.powf(1.0 / 2.4) - 0.055
        };
        255.0 * code
    })
}

#[test]
fn report_copies_are_in_colour_and_wide_gamut_looks_right() {
    let colour = [200, 120, 60];
    let expected = p3_in_srgb(colour);
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("1-a")).unwrap();
    let write = |name: &str, bytes: &[u8]| {
        std::fs::write(folder.path().join("1-a").join(name), bytes).unwrap()
    };
    write("a.heic", &in_display_p3(colour));
    write("b.jpg", &{
        use image::ImageEncoder;
        let mut bytes = Vec::new();
        let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 100);
        encoder.set_icc_profile(moxcms::ColorProfile::new_display_p3().encode().unwrap()).unwrap();
        encoder.encode_image(&RgbImage::from_pixel(128, 96, Rgb(colour))).unwrap();
        bytes
    });
    let listed = list_job(folder.path()).unwrap();
    let mut n = 0;
    for (file, _) in listed.with_setups() {
        let facts = file.read().unwrap().facts;
        let copy = picture(file, &facts, Overlay::default()).unwrap();
        let seen = image::load_from_memory(&copy.jpeg).unwrap().to_rgb8();
        let seen = seen.get_pixel(64, 48).0.map(f64::from);
        let off = seen.iter().zip(expected).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(off < 4.0, "{}: {seen:?}, not {expected:?}", file.id);
        n += 1;
    }
    assert_eq!(n, 2);
    let colours = heic_colours(&folder.path().join("1-a/a.heic")).unwrap();
    assert_eq!((colours.width, colours.height, colours.codes.len()), (128, 96, 3 * 128 * 96));
    assert!(heic_colours(&folder.path().join("1-a/b.jpg")).is_none());
}

/// A file of a few kilobytes that names one part thousands of times would take minutes to decode.
#[test]
fn more_parts_than_a_photo_has_are_refused_before_decoding() {
    let picture = RgbImage::from_pixel(512, 512, Rgb([90; 3]));
    let heic = heic_of(&picture);
    let file = HeifFile::parse(&heic).unwrap();
    let config = file.hevc_config(file.primary_id).unwrap().unwrap().clone();
    let data = file.item_data(file.primary_id).unwrap().into_owned();
    // Each slice is written with its length before it.
    let slices = [data[4..].to_vec()];
    let grid = |rows: u16, columns: u16| {
        let mut writer = HeifWriter::new();
        let part = writer.add_image(&ImageSpec::new(512, 512, config.clone(), &slices));
        let parts = vec![part; usize::from(rows * columns)];
        let all = writer.add_grid(
            rows,
            columns,
            512 * u32::from(columns).min(40),
            512,
            &parts,
            None,
            None,
        );
        writer.set_primary(all);
        writer.finish()
    };
    assert_eq!(luma(&grid(1, 3)).width(), 3 * 512);
    for rows in [4, 40] {
        let error = decode_photo(&grid(rows, 250)).unwrap_err();
        assert!(error.to_string().contains("parts"), "{error}");
    }
}

/// The finds of a sample's photo lie where they lie in its JPEG.
#[test]
fn what_a_heic_photo_shows_lies_where_its_jpeg_has_it() {
    let jpeg = std::fs::read("samples/swing-arm/1-mark-forward/01.jpg").unwrap();
    let colour = image::load_from_memory(&jpeg).unwrap().to_rgb8();
    let (first, second) = (look(&luma(&jpeg)), look(&luma(&heic_of(&colour))));
    let (mut n, mut sum) = (0, 0.0);
    for seen in &first.patterns {
        let same = second
            .patterns
            .iter()
            .find(|other| other.pattern == seen.pattern)
            .expect("the same patterns");
        for corner in &seen.corners {
            let Some(twin) =
                same.corners.iter().find(|twin| (twin.row, twin.col) == (corner.row, corner.col))
            else {
                continue;
            };
            sum += (corner.at[0] - twin.at[0]).hypot(corner.at[1] - twin.at[1]);
            n += 1;
        }
    }
    assert!(n > 300, "{n} corners in both");
    assert!(sum / f64::from(n) < 0.05, "{} px off on the mean", sum / f64::from(n));
}
