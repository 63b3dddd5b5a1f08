//! The photo stage: a file becomes linear luminance, EXIF facts and an identity, and no file can do
//! harm.
//!
//! The small pictures in `tests/data/photo` were drawn for these tests: one scene of 120 x 88
//! pixels in several encodings. `baseline-luma.png` and `cmyk-rgb.png` are what another decoder
//! (libjpeg) makes of the JPEG files next to them.

use std::io::Cursor;
use std::path::{Path, PathBuf};

use crate::common::light::{largest_code_difference, luma};
use exif::experimental::Writer;
use exif::{Context, Field, In, Rational, Tag, Value};
use image::{DynamicImage, ImageBuffer, ImageFormat, Luma, Rgb};
use sightcord::photo::srgb::{light_from_code, light_table_8, light_table_16};
use sightcord::photo::{ExifFacts, LinearImage, PhotoError, PhotoFormat, decode_photo, read_photo};

fn data(name: &str) -> Vec<u8> {
    std::fs::read(Path::new("tests/data/photo").join(name)).unwrap()
}

fn encoded(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

/// A JPEG with this EXIF block (TIFF bytes) put in front.
fn jpeg_with_exif(tiff: &[u8]) -> Vec<u8> {
    let jpeg = data("baseline.jpg");
    let mut bytes = jpeg[..2].to_vec();
    bytes.extend([0xFF, 0xE1]);
    bytes.extend(((2 + 6 + tiff.len()) as u16).to_be_bytes());
    bytes.extend(b"Exif\0\0");
    bytes.extend(tiff);
    bytes.extend(&jpeg[2..]);
    bytes
}

fn exif_block(fields: &[Field]) -> Vec<u8> {
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut tiff = Cursor::new(Vec::new());
    writer.write(&mut tiff, true).unwrap();
    tiff.into_inner()
}

fn field(tag: Tag, value: Value) -> Field {
    Field { tag, ifd_num: In::PRIMARY, value }
}

fn text(value: &str) -> Value {
    Value::Ascii(vec![value.as_bytes().to_vec()])
}

/// Values of IEC 61966-2-1; 0.18 -> 0.4613561295 as printed in the colour-science documentation,
/// the rest computed from it.
#[test]
fn srgb_codes_become_light() {
    let known = [
        (0, 0.0),
        (1, 0.00030352698),
        (10, 0.00303526984),
        (11, 0.00334653576),
        (64, 0.05126945837),
        (127, 0.21223075742),
        (128, 0.21586050011),
        (188, 0.50288645803),
        (254, 0.99110209711),
        (255, 1.0),
    ];
    for (code, light) in known {
        assert!((light_from_code(code as f64 / 255.0) - light).abs() < 1e-11, "code {code}");
        assert!((light_table_8()[code] as f64 - light).abs() < 1e-7, "code {code}");
        // Code c of 255 is code 257 c of 65535.
        assert_eq!(light_table_16()[257 * code], light_table_8()[code]);
    }
    assert!((light_from_code(0.4613561295) - 0.18).abs() < 1e-10);
    assert!((light_from_code(0.7353569830524495) - 0.5).abs() < 1e-15);
    assert!(light_table_16().windows(2).all(|pair| pair[0] < pair[1]));
}

#[test]
fn a_jpeg_gives_its_own_luma_as_another_decoder_reads_it() {
    // The two decoders round their cosine transforms differently, by one code.
    assert!(
        largest_code_difference(&luma(&data("baseline.jpg")), &luma(&data("baseline-luma.png")))
            <= 1
    );
}

#[test]
fn flat_colours_in_a_jpeg_give_their_luma_not_their_luminance() {
    // Rec. 601 luma of pure blue is 0.114 * 255 = 29.07 (JFIF); its luminance would be 0.0722.
    let blue = DynamicImage::ImageRgb8(ImageBuffer::from_pixel(96, 96, Rgb([0, 0, 255])));
    let light = luma(&encoded(&blue, ImageFormat::Jpeg)).at(40, 40);
    assert!((light_table_8()[28]..=light_table_8()[30]).contains(&light), "{light}");
    // As PNG there is no luma, so it is the luminance.
    assert_eq!(luma(&encoded(&blue, ImageFormat::Png)).at(40, 40), 0.0722);
}

#[test]
fn jpegs_of_every_kind_are_read() {
    let baseline = luma(&data("baseline.jpg"));
    assert_eq!((baseline.width(), baseline.height()), (120, 88));
    // The same coefficients in another order are the same picture.
    assert_eq!(luma(&data("progressive.jpg")), baseline);
    assert_eq!(luma(&data("restart.jpg")), baseline);
    // Grey was made from other rounding than the colour picture's luma, and has its own losses.
    assert!(largest_code_difference(&luma(&data("grey.jpg")), &baseline) <= 12);
    assert!(largest_code_difference(&luma(&data("cmyk.jpg")), &luma(&data("cmyk-rgb.png"))) <= 2);
    assert_eq!(decode_photo(&data("rgb.jpg")).unwrap().facts.width, 120);
    let mean = |image: &LinearImage| image.data().iter().sum::<f32>() / image.data().len() as f32;
    assert!((mean(&luma(&data("rgb.jpg"))) - mean(&baseline)).abs() < 0.02);
    assert!((mean(&luma(&data("lossy.webp"))) - mean(&baseline)).abs() < 0.02);
}

#[test]
fn pictures_of_eight_and_sixteen_bits_are_read_alike() {
    let shade = |x: u32, y: u32| (200 * x + 300 * y + 7) as u16;
    let grey = DynamicImage::ImageLuma16(ImageBuffer::from_fn(100, 80, |x, y| Luma([shade(x, y)])));
    let colour =
        DynamicImage::ImageRgb16(ImageBuffer::from_fn(100, 80, |x, y| Rgb([shade(x, y); 3])));
    let expected: Vec<f32> = (0..80)
        .flat_map(|y| (0..100).map(move |x| light_table_16()[shade(x, y) as usize]))
        .collect();
    for format in [ImageFormat::Png, ImageFormat::Tiff] {
        assert_eq!(luma(&encoded(&grey, format)).data(), expected, "{format:?}");
        let from_colour = luma(&encoded(&colour, format));
        assert!(
            from_colour.data().iter().zip(&expected).all(|(a, b)| (a - b).abs() < 1e-6),
            "{format:?}"
        );
    }
    let colour_8 = DynamicImage::ImageRgb8(colour.to_rgb8());
    let transparent = DynamicImage::ImageRgba8(colour_8.to_rgba8());
    for format in [ImageFormat::Png, ImageFormat::Tiff, ImageFormat::WebP] {
        assert_eq!(
            luma(&encoded(&colour_8, format)),
            luma(&encoded(&transparent, format)),
            "{format:?}"
        );
    }
}

#[test]
fn a_file_cut_off_anywhere_is_refused_or_still_whole() {
    let colour = DynamicImage::ImageRgb8(ImageBuffer::from_fn(100, 80, |x, y| {
        Rgb([(2 * x) as u8, (3 * y) as u8, (x * y) as u8])
    }));
    let files = [
        ("baseline JPEG", data("baseline.jpg"), true),
        ("progressive JPEG", data("progressive.jpg"), true),
        ("JPEG with restarts", data("restart.jpg"), true),
        ("grey JPEG", data("grey.jpg"), true),
        ("PNG", encoded(&colour, ImageFormat::Png), false),
        ("TIFF", encoded(&colour, ImageFormat::Tiff), false),
        ("lossless WebP", encoded(&colour, ImageFormat::WebP), false),
        ("lossy WebP", data("lossy.webp"), false),
    ];
    for (kind, whole, always_refused) in files {
        let picture = luma(&whole);
        for n_bytes in (0..whole.len()).rev().step_by(7) {
            match decode_photo(&whole[..n_bytes]) {
                Err(_) => {}
                Ok(photo) => {
                    assert!(
                        !always_refused,
                        "{kind} cut to {n_bytes} of {} bytes was taken for whole",
                        whole.len()
                    );
                    assert_eq!(
                        photo.luma,
                        picture,
                        "{kind} cut to {n_bytes} of {} bytes gives another picture",
                        whole.len()
                    );
                }
            }
        }
    }
}

#[test]
fn a_missing_end_marker_alone_is_noticed() {
    for name in ["baseline.jpg", "progressive.jpg"] {
        let jpeg = data(name);
        assert_eq!(decode_photo(&jpeg[..jpeg.len() - 2]), Err(PhotoError::CutOff), "{name}");
        assert_eq!(decode_photo(&jpeg[..jpeg.len() - 1]), Err(PhotoError::CutOff), "{name}");
    }
}

#[test]
fn files_that_are_no_photos_say_so() {
    assert_eq!(decode_photo(b""), Err(PhotoError::Empty));
    assert_eq!(decode_photo(b"left rim 34.6 mm\n"), Err(PhotoError::NotAPicture));
    assert_eq!(decode_photo(b"GIF89a......"), Err(PhotoError::KindNotRead("GIF".to_owned())));
    assert_eq!(
        decode_photo(b"\0\0\0\x1Cftypavif\0\0\0\0mif1avif"),
        Err(PhotoError::KindNotRead("AVIF".to_owned()))
    );
    assert_eq!(decode_photo(b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom"), Err(PhotoError::NotAPicture));

    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, bytes: &[u8]| -> PathBuf {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    };
    assert_eq!(read_photo(&write("note.jpg", b"not a photo at all")), Err(PhotoError::NotAPicture));
    assert_eq!(read_photo(&write("nothing.jpg", b"")), Err(PhotoError::Empty));
    assert_eq!(read_photo(folder.path()), Err(PhotoError::NotAFile));
    assert!(matches!(
        read_photo(&folder.path().join("absent.jpg")),
        Err(PhotoError::Unreadable(_))
    ));
    // What is inside counts, not the name.
    let misnamed = read_photo(&write("really-a-png.jpg", &data("cmyk-rgb.png"))).unwrap();
    assert_eq!(misnamed.facts.format, PhotoFormat::Png);
}

#[cfg(not(feature = "heic"))]
#[test]
fn heic_without_the_feature_says_how_to_go_on() {
    let error = decode_photo(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic").unwrap_err();
    let finding = error.finding("1-mark-forward/IMG_1.HEIC");
    assert_eq!(finding.id, "photo-heic");
    assert!(
        finding.advice.contains("Set the phone to JPEG")
            && finding.advice.contains("default features"),
        "{}",
        finding.advice
    );
}

#[test]
fn sizes_are_refused_before_decoding() {
    // The header alone is changed: a decoder that believed it would ask for gigabytes, or fail in
    // another way.
    let mut jpeg = data("baseline.jpg");
    let sof = jpeg.windows(2).position(|pair| pair == [0xFF, 0xC0]).unwrap();
    jpeg[sof + 5..sof + 9].copy_from_slice(&[0xFF, 0xFF, 0xFF, 0xFF]);
    assert!(
        matches!(decode_photo(&jpeg), Err(PhotoError::PictureTooLarge(..))),
        "{:?}",
        decode_photo(&jpeg).err()
    );
    // 20,000 x 20,000: each side is within its limit, the product isn't.
    jpeg[sof + 5..sof + 9].copy_from_slice(&[0x4E, 0x20, 0x4E, 0x20]);
    assert_eq!(decode_photo(&jpeg), Err(PhotoError::PictureTooLarge(20_000, 20_000)));

    let png = |width: u32, height: u32| {
        let mut bytes = b"\x89PNG\r\n\x1A\n".to_vec();
        let mut header = b"IHDR".to_vec();
        header.extend(width.to_be_bytes());
        header.extend(height.to_be_bytes());
        header.extend([8, 0, 0, 0, 0]);
        bytes.extend(13_u32.to_be_bytes());
        bytes.extend(&header);
        bytes.extend(crc32(&header).to_be_bytes());
        bytes.extend([0, 0, 0, 4]);
        bytes.extend(b"IDAT\0\0\0\0");
        bytes
    };
    assert_eq!(
        decode_photo(&png(20_000, 20_000)),
        Err(PhotoError::PictureTooLarge(20_000, 20_000))
    );
    assert_eq!(
        decode_photo(&png(2_000_000_000, 100)),
        Err(PhotoError::PictureTooLarge(2_000_000_000, 100))
    );
    assert_eq!(decode_photo(&png(63, 4000)), Err(PhotoError::PictureTooSmall(63, 4000)));

    let thumbnail = DynamicImage::ImageLuma8(ImageBuffer::from_pixel(63, 64, Luma([9])));
    assert_eq!(
        decode_photo(&encoded(&thumbnail, ImageFormat::Jpeg)),
        Err(PhotoError::PictureTooSmall(63, 64))
    );

    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("huge.jpg");
    std::fs::File::create(&path).unwrap().set_len(200_000_001).unwrap();
    assert_eq!(read_photo(&path), Err(PhotoError::FileTooLarge(200_000_001)));
}

/// CRC-32 of PNG chunks (ISO 3309), bit by bit.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |crc, _| {
            if crc & 1 == 1 { crc >> 1 ^ 0xEDB8_8320 } else { crc >> 1 }
        })
    })
}

#[test]
fn what_follows_the_picture_is_counted_and_ignored() {
    let jpeg = data("baseline.jpg");
    let two_pictures = [jpeg.clone(), data("grey.jpg")].concat();
    let photo = decode_photo(&two_pictures).unwrap();
    assert_eq!(photo.luma, luma(&jpeg));
    assert_eq!(photo.facts.trailing_bytes, data("grey.jpg").len() as u64);
    let progressive_then_film =
        [data("progressive.jpg"), b"\0\0\0\x18ftypmp42 and a film clip \xFF\xD9".to_vec()].concat();
    assert_eq!(luma(&progressive_then_film), luma(&jpeg));
    // Cut within the first picture, the second one's end marker must not pass for the first one's.
    let cut = [&jpeg[..jpeg.len() / 2], &data("grey.jpg")[..]].concat();
    assert!(decode_photo(&cut).is_err());
}

#[test]
fn no_damage_makes_it_panic_or_grow() {
    let colour = DynamicImage::ImageRgb8(ImageBuffer::from_fn(100, 80, |x, y| {
        Rgb([(2 * x) as u8, (3 * y) as u8, (x * y) as u8])
    }));
    let with_exif = jpeg_with_exif(&exif_block(&[
        field(Tag::Make, text("Example")),
        field(Tag::FocalLengthIn35mmFilm, Value::Short(vec![26])),
    ]));
    let files = [
        data("baseline.jpg"),
        data("progressive.jpg"),
        with_exif,
        encoded(&colour, ImageFormat::Png),
        encoded(&colour, ImageFormat::Tiff),
        data("lossy.webp"),
        #[cfg(feature = "heic")]
        heifer::encode_rgb8(100, 80, colour.to_rgb8().as_raw(), &heifer::EncodeOptions::default())
            .unwrap(),
    ];
    // A fixed sequence (a linear congruential generator, constants of Numerical Recipes), so that a
    // failure can be repeated.
    let mut state = 1_u32;
    let mut random = |below: usize| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as usize % below
    };
    for whole in files {
        for _ in 0..300 {
            let mut bytes = whole.clone();
            for _ in 0..1 + random(4) {
                // Half of the hits go to the headers, where they do most.
                let reach = if random(2) == 0 { 200 } else { bytes.len() };
                let at = random(reach);
                bytes[at] = random(256) as u8;
            }
            if let Ok(photo) = decode_photo(&bytes) {
                assert_eq!(photo.luma.data().len(), photo.facts.width * photo.facts.height);
            }
        }
    }
}

#[test]
fn exif_facts_are_read() {
    let tiff = exif_block(&[
        field(Tag::Make, text("Example \0")),
        field(Tag::Model, text("invented")),
        field(Tag::Orientation, Value::Short(vec![6])),
        field(Tag::LensModel, text("Main camera")),
        field(Tag::FocalLength, Value::Rational(vec![Rational { num: 4262, denom: 1000 }])),
        field(Tag::FocalLengthIn35mmFilm, Value::Short(vec![26])),
        field(Tag::DigitalZoomRatio, Value::Rational(vec![Rational { num: 3, denom: 2 }])),
        field(Tag::PixelXDimension, Value::Long(vec![3264])),
        field(Tag::PixelYDimension, Value::Long(vec![2448])),
        field(Tag::DateTimeOriginal, text("2026:05:16 10:04:48")),
    ]);
    let photo = decode_photo(&jpeg_with_exif(&tiff)).unwrap();
    let exif = photo.facts.exif;
    assert_eq!(exif.make.as_deref(), Some("Example"));
    assert_eq!(exif.model.as_deref(), Some("invented"));
    assert_eq!(exif.lens_model.as_deref(), Some("Main camera"));
    assert_eq!(exif.focal_length_mm, Some(4.262));
    assert_eq!(exif.focal_length_35mm, Some(26.0));
    assert_eq!(exif.digital_zoom, Some(1.5));
    assert_eq!(exif.pixel_size, Some((3264, 2448)));
    assert_eq!(exif.taken.as_deref(), Some("2026:05:16 10:04:48"));
    assert_eq!(exif.orientation, Some(6));
    assert!(!exif.has_gps && !exif.has_serial && !exif.damaged);
    // Orientation never turns geometry.
    assert_eq!((photo.facts.width, photo.facts.height), (120, 88));
    assert_eq!(photo.luma, luma(&data("baseline.jpg")));
    // 26 mm over the film diagonal of 43.267 mm on a sensor of 4080 pixels diagonal.
    assert!((exif.start_focal_px(3264, 2448).unwrap() - 2451.75).abs() < 0.01);
}

#[test]
fn exif_that_says_nothing_useful_gives_nothing() {
    let no_equivalent = exif_block(&[
        field(Tag::FocalLength, Value::Rational(vec![Rational { num: 4, denom: 1 }])),
        field(Tag::FocalLengthIn35mmFilm, Value::Short(vec![0])),
        field(Tag::DigitalZoomRatio, Value::Rational(vec![Rational { num: 0, denom: 0 }])),
        field(Tag::Orientation, Value::Short(vec![0])),
    ]);
    let exif = decode_photo(&jpeg_with_exif(&no_equivalent)).unwrap().facts.exif;
    assert_eq!((exif.focal_length_35mm, exif.digital_zoom, exif.orientation), (None, None, None));
    assert_eq!(exif.start_focal_px(3264, 2448), None);
    assert_eq!(decode_photo(&data("baseline.jpg")).unwrap().facts.exif, ExifFacts::default());
}

#[test]
fn places_and_serial_numbers_are_noticed() {
    let degrees = Value::Rational([51, 30, 0].map(|num| Rational { num, denom: 1 }).to_vec());
    let place =
        decode_photo(&jpeg_with_exif(&exif_block(&[field(Tag::GPSLatitude, degrees)]))).unwrap();
    assert!(place.facts.exif.has_gps && !place.facts.exif.has_serial);
    let version_only = exif_block(&[field(Tag::GPSVersionID, Value::Byte(vec![2, 3, 0, 0]))]);
    assert!(!decode_photo(&jpeg_with_exif(&version_only)).unwrap().facts.exif.has_gps);
    for tag in [Tag::BodySerialNumber, Tag::LensSerialNumber, Tag(Context::Exif, 0xA431)] {
        let exif = decode_photo(&jpeg_with_exif(&exif_block(&[field(tag, text("A-0017"))])))
            .unwrap()
            .facts
            .exif;
        assert!(exif.has_serial && !exif.has_gps, "{tag}");
    }
    // XMP is a second place where programs write it: an APP1 segment of its own.
    let jpeg = data("baseline.jpg");
    let xmp = b"http://ns.adobe.com/xap/1.0/\0<x exif:GPSLatitude=\"51,30N\"/>";
    let length = ((xmp.len() + 2) as u16).to_be_bytes();
    let with_xmp = [&jpeg[..2], &[0xFF, 0xE1], &length, xmp, &jpeg[2..]].concat();
    assert!(decode_photo(&with_xmp).unwrap().facts.exif.has_gps);
}

#[test]
fn damaged_exif_never_costs_the_photo() {
    let mut tiff = exif_block(&[
        field(Tag::Make, text("Example")),
        field(Tag::FocalLengthIn35mmFilm, Value::Short(vec![26])),
    ]);
    // Some writers leave a wild pointer to a next directory: it comes after the entries of the
    // first one.
    let n_entries = u16::from_le_bytes([tiff[8], tiff[9]]) as usize;
    let next = 10 + 12 * n_entries;
    assert_eq!(tiff[next..next + 4], [0; 4]);
    tiff[next..next + 4].copy_from_slice(&0x00FF_FF00_u32.to_le_bytes());
    let photo = decode_photo(&jpeg_with_exif(&tiff)).unwrap();
    assert!(photo.facts.exif.damaged);
    assert_eq!(photo.facts.exif.make.as_deref(), Some("Example"));
    assert_eq!(photo.facts.exif.focal_length_35mm, Some(26.0));
    assert_eq!(photo.facts.findings("1-mark-forward/01.jpg"), []);

    let garbage = decode_photo(&jpeg_with_exif(b"this is no TIFF block")).unwrap();
    assert!(garbage.facts.exif.damaged);
    let findings = garbage.facts.findings("1-mark-forward/01.jpg");
    assert_eq!(
        findings.iter().map(|finding| finding.id.as_str()).collect::<Vec<_>>(),
        ["photo-exif-damaged"]
    );
    assert_eq!(garbage.luma, luma(&data("baseline.jpg")));
}

#[test]
fn cropped_and_shrunk_photos_are_distinguished() {
    let findings_of = |width: u32, height: u32| {
        let tiff = exif_block(&[
            field(Tag::PixelXDimension, Value::Long(vec![width])),
            field(Tag::PixelYDimension, Value::Long(vec![height])),
        ]);
        let findings = decode_photo(&jpeg_with_exif(&tiff)).unwrap().facts.findings("a/b.jpg");
        findings.into_iter().map(|finding| finding.id).collect::<Vec<_>>()
    };
    // The picture is 120 x 88.
    assert!(findings_of(120, 88).is_empty());
    assert!(findings_of(88, 120).is_empty());
    assert_eq!(findings_of(1200, 880), ["photo-shrunk"]);
    assert_eq!(findings_of(1200, 900), ["photo-cropped"]);
}

#[test]
fn the_identity_is_the_files_sha256() {
    let photo = decode_photo(&data("baseline.jpg")).unwrap();
    let expected: String = <sha2::Sha256 as sha2::Digest>::digest(data("baseline.jpg"))
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    assert_eq!(photo.facts.sha256, expected);
    assert_eq!(photo.facts.bytes, data("baseline.jpg").len() as u64);
}

/// The exif-orientation-examples set: stored 1800 x 1200 for 0 to 4 and 1200 x 1800 for 5 to 8
/// (Landscape), the other way round for Portrait; file 0 has the illegal value 0.
#[test]
#[ignore = "needs ../shared"]
fn orientation_turns_no_pixel() {
    let folder = Path::new("../shared/reference/data/exif/orientation");
    for (name, upright) in [("Landscape", (1800, 1200)), ("Portrait", (1200, 1800))] {
        for number in 0..=8_u8 {
            let photo = read_photo(&folder.join(format!("{name}_{number}.jpg"))).unwrap();
            let expected = if number <= 4 { upright } else { (upright.1, upright.0) };
            assert_eq!((photo.facts.width, photo.facts.height), expected, "{name}_{number}");
            assert_eq!(
                photo.facts.exif.orientation,
                (number != 0).then_some(number),
                "{name}_{number}"
            );
        }
    }
}

#[test]
#[ignore = "needs ../shared"]
fn the_shared_photos_give_their_start_values() {
    for (file, focal_35mm) in [
        ("grass-track/0-camera/01.jpg", 26.0),
        ("no-plumb/1-mark-forward/01.jpg", 28.0),
        ("swing-arm/1-mark-forward/12.jpg", 24.0),
    ] {
        let photo = read_photo(&Path::new("../shared/photos").join(file)).unwrap();
        assert_eq!((photo.facts.width, photo.facts.height), (3264, 2448));
        assert_eq!(photo.facts.exif.focal_length_35mm, Some(focal_35mm), "{file}");
        assert_eq!(photo.facts.findings(file), []);
    }
}
