//! Copies of photos that don't tell where they were taken.

use std::fs;
use std::path::Path;

use sightcord::archive::place::{CleanError, cleaned};
use sightcord::archive::{keep, prove};
use sightcord::photo::{ExifFacts, decode_photo};

/// One entry of a TIFF block whose value stands in the entry.
fn entry(tag: u16, kind: u16, count: u32, value: u32) -> Vec<u8> {
    let mut bytes = [tag.to_be_bytes(), kind.to_be_bytes()].concat();
    bytes.extend(count.to_be_bytes());
    bytes.extend(value.to_be_bytes());
    bytes
}

/// A block: entries, and no block behind it.
fn block(entries: &[Vec<u8>]) -> Vec<u8> {
    let mut bytes = (entries.len() as u16).to_be_bytes().to_vec();
    bytes.extend(entries.concat());
    bytes.extend([0; 4]);
    bytes
}

/// EXIF with a maker, a focal length, a maker's note and a place of 12.345678 degrees, by hand after CIPA DC-008.
fn exif() -> Vec<u8> {
    const MAIN: u32 = 8;
    const OWN: u32 = MAIN + 2 + 3 * 12 + 4;
    const GPS: u32 = OWN + 2 + 2 * 12 + 4;
    const DATA: u32 = GPS + 2 + 2 * 12 + 4;
    let mut tiff = b"MM\0*\0\0\0\x08".to_vec();
    // Make "Example", and the two further blocks.
    tiff.extend(block(&[entry(0x010F, 2, 8, DATA), entry(0x8769, 4, 1, OWN), entry(0x8825, 4, 1, GPS)]));
    // A note of the maker's, and 26 mm as 35 mm equivalent (a short stands at the left of its four bytes).
    tiff.extend(block(&[entry(0x927C, 7, 12, DATA + 8), entry(0xA405, 3, 1, 26 << 16)]));
    // North, and degrees, minutes, seconds as rationals.
    tiff.extend(block(&[entry(1, 2, 2, u32::from_be_bytes(*b"N\0\0\0")), entry(2, 5, 3, DATA + 20)]));
    tiff.extend(b"Example\0");
    tiff.extend(b"at 12.345678");
    for number in [12_u32, 1, 20, 1, 4444, 100] {
        tiff.extend(number.to_be_bytes());
    }
    tiff
}

fn segment(code: u8, body: &[u8]) -> Vec<u8> {
    let mut bytes = vec![0xFF, code];
    bytes.extend(((body.len() + 2) as u16).to_be_bytes());
    bytes.extend(body);
    bytes
}

/// A JPEG with a place in every corner where programs are known to leave one.
fn photo_with_place() -> Vec<u8> {
    let plain = fs::read("tests/data/photo/progressive.jpg").unwrap();
    let mut bytes = plain[..2].to_vec();
    bytes.extend(segment(0xE1, &[b"Exif\0\0".as_slice(), &exif()].concat()));
    bytes.extend(segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<x exif:GPSLatitude=\"12,20.74N\"/>"));
    bytes.extend(segment(0xED, b"Photoshop 3.0\0 city: Somewhere"));
    bytes.extend(segment(0xFE, b"taken at 12.345678"));
    bytes.extend(&plain[2..]);
    // A second picture behind the first, as phones leave it.
    bytes.extend(b"GPSLatitude of the second picture");
    bytes
}

fn holds(bytes: &[u8], text: &[u8]) -> bool {
    bytes.windows(text.len()).any(|window| window == text)
}

#[test]
fn a_cleaned_photo_keeps_its_picture_and_its_lens_and_tells_no_place() {
    let photo = photo_with_place();
    assert!(ExifFacts::read(&photo).has_gps);
    let clean = cleaned(&photo).unwrap();
    let (before, after) = (decode_photo(&photo).unwrap(), decode_photo(&clean).unwrap());
    assert_eq!(before.luma, after.luma);
    assert!(!after.facts.exif.has_gps);
    assert_eq!(after.facts.exif.make.as_deref(), Some("Example"));
    assert_eq!(after.facts.exif.focal_length_35mm, Some(26.0));
    for trace in [b"12.345678".as_slice(), b"GPSLatitude", b"Somewhere", b"N\0\0\0\0", &4444_u32.to_be_bytes()] {
        // What the picture itself holds by chance does not count: it stands in the plain file as well.
        let by_chance = holds(&fs::read("tests/data/photo/progressive.jpg").unwrap(), trace);
        assert!(by_chance || !holds(&clean, trace), "{trace:?}");
    }
    assert_eq!(cleaned(&clean).unwrap(), clean, "cleaning twice changes nothing");
}

#[test]
fn damaged_files_are_refused_and_never_end_the_program() {
    let photo = photo_with_place();
    assert_eq!(cleaned(b"\x89PNG\r\n\x1A\n"), Err(CleanError::NotJpeg));
    for length in 0..photo.len() - 40 {
        if let Ok(clean) = cleaned(&photo[..length]) {
            assert!(!ExifFacts::read(&clean).has_gps, "cut to {length} bytes");
        }
    }
    // Every byte of the EXIF block changed in turn.
    for at in 0..400 {
        for value in [0x00, 0xFF, 0x80, photo[at] ^ 1] {
            let mut altered = photo.clone();
            altered[at] = value;
            if let Ok(clean) = cleaned(&altered) {
                assert!(!ExifFacts::read(&clean).has_gps, "byte {at} set to {value}");
            }
        }
    }
}

fn job_with(name: &str, bytes: &[u8]) -> tempfile::TempDir {
    let job = tempfile::tempdir().unwrap();
    let folder = job.path().join("1-mark-forward");
    fs::create_dir(&folder).unwrap();
    fs::write(folder.join(name), bytes).unwrap();
    fs::copy("tests/data/photo/grey.jpg", folder.join("plain.jpg")).unwrap();
    job
}

fn readme(zip: &Path) -> String {
    let mut archive = zip::ZipArchive::new(fs::File::open(zip).unwrap()).unwrap();
    let name = archive.file_names().map(|name| name.unwrap().into_owned()).find(|name| name.ends_with("README.txt")).unwrap();
    std::io::read_to_string(archive.by_name(&name).unwrap()).unwrap()
}

#[test]
fn the_archive_says_which_photos_tell_a_place_and_which_were_changed() {
    let job = job_with("placed.jpg", &photo_with_place());
    let (with, without) = (job.path().join("with.zip"), job.path().join("without.zip"));
    let sealed = keep(job.path(), &with, false, &|_| {}).unwrap();
    assert_eq!(sealed.privacy.with_place, ["1-mark-forward/placed.jpg"]);
    assert!(readme(&with).contains("Photos that tell where they were taken (GPS): 1-mark-forward/placed.jpg"));
    let sealed = keep(job.path(), &without, true, &|_| {}).unwrap();
    assert_eq!(sealed.privacy.cleaned, ["1-mark-forward/placed.jpg"]);
    assert!(sealed.privacy.with_place.is_empty());
    let page = readme(&without).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(page.contains("whose bytes therefore differ from the camera's files: 1-mark-forward/placed.jpg"), "{page}");
    for zip in [with, without] {
        assert!(prove(&zip, false, None, &|_| {}).unwrap().is_proven());
    }
    assert_eq!(fs::read(job.path().join("1-mark-forward/placed.jpg")).unwrap(), photo_with_place(), "the job is untouched");
}

#[test]
fn a_photo_that_cannot_be_cleaned_is_named_and_nothing_is_written() {
    // A PNG with an eXIf chunk that tells a place; its checksum (CRC-32) is not looked at here.
    let plain = fs::read("tests/data/photo/baseline-luma.png").unwrap();
    let exif = exif();
    let mut bytes = plain[..33].to_vec();
    bytes.extend((exif.len() as u32).to_be_bytes());
    bytes.extend(b"eXIf");
    bytes.extend(&exif);
    bytes.extend([0; 4]);
    bytes.extend(&plain[33..]);
    assert!(ExifFacts::read(&bytes).has_gps);
    let job = job_with("placed.png", &bytes);
    let target = job.path().join("kept.zip");
    let why = keep(job.path(), &target, true, &|_| {}).unwrap_err().to_string();
    assert!(why.contains("1-mark-forward/placed.png") && why.contains("JPEG"), "{why}");
    assert!(!target.exists());
}
