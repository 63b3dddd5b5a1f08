//! What the camera wrote about itself.

use std::io::Cursor;

use exif::experimental::Writer;
use exif::{Context, Exif, Field, In, Reader, Tag, Value};

/// Diagonal of a 35 mm film frame (36 x 24 mm), mm: what "35 mm equivalent" focal lengths refer to.
const FILM_DIAGONAL_MM: f64 = 43.267;
/// Equivalent focal lengths outside are not believed: no lens for this job is shorter or longer
/// (common practice, no source).
const FOCAL_35MM_RANGE: std::ops::RangeInclusive<f64> = 5.0..=1200.0;
/// Longer texts are cut: no camera's name needs more.
const MAX_TEXT_CHARS: usize = 120;

/// How far into a file XMP is looked for: it comes before the picture, after EXIF (64 kB at most)
/// and a colour profile.
const XMP_SEARCH_BYTES: usize = 256 * 1024;

/// The EXIF facts of one photo; None where the file doesn't say, or says nonsense.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ExifFacts {
    pub make: Option<String>,
    pub model: Option<String>,
    pub lens_model: Option<String>,
    /// Focal length of the lens, mm.
    pub focal_length_mm: Option<f64>,
    /// 35 mm equivalent, mm, digital zoom included.
    pub focal_length_35mm: Option<f64>,
    /// Digital zoom, 1 = none. Photos of one camera with different zoom are different lenses.
    pub digital_zoom: Option<f64>,
    /// 1 to 8, how to turn the picture for people. Never turns geometry.
    pub orientation: Option<u8>,
    /// Width and height in pixels as taken; differ from the stored ones when the photo was cropped
    /// or shrunk since.
    pub pixel_size: Option<(usize, usize)>,
    /// When it was taken, as the camera wrote it: "2026:05:16 10:04:48".
    pub taken: Option<String>,
    pub body_serial: Option<String>,
    /// The file says where the photo was taken.
    pub has_gps: bool,
    /// The file holds a serial number of the camera or lens, or its owner's name, in a standard
    /// tag.
    pub has_serial: bool,
    /// Some of the EXIF data could not be read.
    pub damaged: bool,
}

impl ExifFacts {
    /// The facts in a file's bytes; all empty where there is no EXIF.
    pub fn read(bytes: &[u8]) -> Self {
        let (parsed, damaged) = parsed(bytes);
        let facts = match parsed {
            Ok(exif) => Self { damaged, ..Self::from_exif(&exif) },
            Err(exif::Error::NotFound(_)) => Self::default(),
            Err(_) => Self::unreadable(),
        };
        Self { has_gps: facts.has_gps || xmp_names_a_place(bytes), ..facts }
    }

    /// The facts of a file whose EXIF can't be read at all.
    pub fn unreadable() -> Self {
        Self { damaged: true, ..Self::default() }
    }

    /// Start value of the focal length, px, for a picture of this size. None without a 35 mm
    /// equivalent: the focal length in millimetres alone is no use without the sensor's
    /// size.
    pub fn start_focal_px(&self, width: usize, height: usize) -> Option<f64> {
        let diagonal_px = (width as f64).hypot(height as f64);
        self.focal_length_35mm.map(|focal| focal * diagonal_px / FILM_DIAGONAL_MM)
    }

    fn from_exif(exif: &Exif) -> Self {
        let text = |tag| exif.get_field(tag, In::PRIMARY).and_then(text_of);
        let number = |tag| exif.get_field(tag, In::PRIMARY).and_then(number_of);
        let whole = |tag| {
            number(tag).filter(|&value| (1.0..=1e6).contains(&value)).map(|value| value as usize)
        };
        let serials = [
            Tag::BodySerialNumber,
            Tag::LensSerialNumber,
            Tag::CameraOwnerName,
            Tag(Context::Tiff, 0xC62F),
        ];
        Self {
            make: text(Tag::Make),
            model: text(Tag::Model),
            lens_model: text(Tag::LensModel),
            focal_length_mm: number(Tag::FocalLength).filter(|&focal| focal > 0.0),
            focal_length_35mm: number(Tag::FocalLengthIn35mmFilm)
                .filter(|focal| FOCAL_35MM_RANGE.contains(focal)),
            digital_zoom: number(Tag::DigitalZoomRatio)
                .filter(|&zoom| (1.0..=100.0).contains(&zoom)),
            orientation: number(Tag::Orientation)
                .filter(|turn| (1.0..=8.0).contains(turn))
                .map(|turn| turn as u8),
            pixel_size: whole(Tag::PixelXDimension).zip(whole(Tag::PixelYDimension)),
            taken: text(Tag::DateTimeOriginal),
            body_serial: text(Tag::BodySerialNumber),
            // The version number of the GPS block is no place.
            has_gps: exif
                .fields()
                .any(|field| field.tag.context() == Context::Gps && field.tag != Tag::GPSVersionID),
            has_serial: serials.into_iter().any(|tag| text(tag).is_some()),
            damaged: false,
        }
    }
}

/// The EXIF of a file as far as it can be read, and whether some of it can't.
fn parsed(bytes: &[u8]) -> (Result<Exif, exif::Error>, bool) {
    let mut damaged = false;
    let parsed = Reader::new()
        .continue_on_error(true)
        .read_from_container(&mut Cursor::new(bytes))
        .or_else(|error| error.distill_partial_result(|_| damaged = true));
    (parsed, damaged)
}

/// New EXIF (a TIFF structure) with what measuring reads of a file's EXIF and nothing else; None
/// where it reads nothing.
pub fn of_the_lens(bytes: &[u8]) -> Option<Vec<u8>> {
    let exif = parsed(bytes).0.ok()?;
    let facts = ExifFacts::from_exif(&exif);
    let text = |text: Option<String>| text.map(|text| Value::Ascii(vec![text.into_bytes()]));
    // Of a row of numbers only the first is read, and only it is written.
    let number = |tag, is_read: bool| {
        let field = exif.get_field(tag, In::PRIMARY).filter(|_| is_read)?;
        Some(match &field.value {
            Value::Rational(values) => Value::Rational(vec![*values.first()?]),
            Value::SRational(values) => Value::SRational(vec![*values.first()?]),
            other => Value::Long(vec![other.get_uint(0)?]),
        })
    };
    let has_size = facts.pixel_size.is_some();
    let values = [
        (Tag::Make, text(facts.make)),
        (Tag::Model, text(facts.model)),
        (Tag::LensModel, text(facts.lens_model)),
        // Not written as any whole number: other programs know it as a short one only.
        (Tag::Orientation, facts.orientation.map(|turn| Value::Short(vec![turn.into()]))),
        (Tag::FocalLength, number(Tag::FocalLength, facts.focal_length_mm.is_some())),
        (
            Tag::FocalLengthIn35mmFilm,
            number(Tag::FocalLengthIn35mmFilm, facts.focal_length_35mm.is_some()),
        ),
        (Tag::DigitalZoomRatio, number(Tag::DigitalZoomRatio, facts.digital_zoom.is_some())),
        (Tag::PixelXDimension, number(Tag::PixelXDimension, has_size)),
        (Tag::PixelYDimension, number(Tag::PixelYDimension, has_size)),
    ];
    let field = |(tag, value): (Tag, Option<Value>)| {
        Some(Field { tag, ifd_num: In::PRIMARY, value: value? })
    };
    let fields: Vec<Field> = values.into_iter().filter_map(field).collect();
    if fields.is_empty() {
        return None;
    }
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut out = Cursor::new(Vec::new());
    writer.write(&mut out, false).ok()?;
    Some(out.into_inner())
}

/// Whether any part of a file names a latitude in the way of XMP, in 8 or 16 bits a letter and
/// wherever it lies; packed texts and other ways of saying a place stay unknown.
pub fn names_a_place(bytes: &[u8]) -> bool {
    const NAME: &[u8] = b"GPSLatitude";
    let follows = |at: usize, step: usize| {
        NAME.iter().enumerate().all(|(idx, letter)| bytes.get(at + step * idx) == Some(letter))
    };
    bytes
        .iter()
        .enumerate()
        .any(|(at, &byte)| byte == NAME[0] && (follows(at, 1) || follows(at, 2)))
}

/// Whether the XMP packet, a second place where programs write, shows where the photo was taken.
fn xmp_names_a_place(bytes: &[u8]) -> bool {
    const NAME: &[u8] = b"GPSLatitude";
    let head = &bytes[..bytes.len().min(XMP_SEARCH_BYTES)];
    head.windows(NAME.len()).any(|window| window == NAME)
}

/// Trimmed text without control characters; None when nothing is left.
fn text_of(field: &Field) -> Option<String> {
    let Value::Ascii(parts) = &field.value else { return None };
    let bytes = parts.first()?;
    let text: String = String::from_utf8_lossy(bytes)
        .chars()
        .filter(|c| !c.is_control())
        .take(MAX_TEXT_CHARS)
        .collect();
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

/// The first value as a finite number.
fn number_of(field: &Field) -> Option<f64> {
    let value = match &field.value {
        Value::Rational(values) => values.first()?.to_f64(),
        Value::SRational(values) => values.first()?.to_f64(),
        other => f64::from(other.get_uint(0)?),
    };
    value.is_finite().then_some(value)
}
