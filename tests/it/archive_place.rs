//! Copies of photos that don't tell where they were taken.

use std::fs;
use std::path::Path;

use crate::common::kept::{content, entries, with_new_checksums};
use crate::common::png_piece::piece;
use sightcord::archive::place::{CleanError, cleaned, is_clean};
use sightcord::archive::{keep, prove};
use sightcord::photo::{ExifFacts, decode_photo};

/// One entry of a TIFF block whose value is in the entry itself.
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

/// EXIF with a maker, a focal length, a maker's note and a place of 12.345678 degrees, by hand
/// after CIPA DC-008.
fn exif() -> Vec<u8> {
    const MAIN: u32 = 8;
    const OWN: u32 = MAIN + 2 + 3 * 12 + 4;
    const GPS: u32 = OWN + 2 + 2 * 12 + 4;
    const DATA: u32 = GPS + 2 + 2 * 12 + 4;
    let mut tiff = b"MM\0*\0\0\0\x08".to_vec();
    // Make "Example", and the two further blocks.
    tiff.extend(block(&[
        entry(0x010F, 2, 8, DATA),
        entry(0x8769, 4, 1, OWN),
        entry(0x8825, 4, 1, GPS),
    ]));
    // A note of the maker's, and 26 mm as 35 mm equivalent (a short is at the left of its four
    // bytes).
    tiff.extend(block(&[entry(0x927C, 7, 12, DATA + 8), entry(0xA405, 3, 1, 26 << 16)]));
    // North, and degrees, minutes, seconds as rationals.
    tiff.extend(block(&[
        entry(1, 2, 2, u32::from_be_bytes(*b"N\0\0\0")),
        entry(2, 5, 3, DATA + 20),
    ]));
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
    bytes.extend(segment(
        0xE1,
        b"http://ns.adobe.com/xap/1.0/\0<x exif:GPSLatitude=\"12,20.74N\"/>",
    ));
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
    for trace in [
        b"12.345678".as_slice(),
        b"GPSLatitude",
        b"Somewhere",
        b"N\0\0\0\0",
        &4444_u32.to_be_bytes(),
    ] {
        // What the picture itself holds by chance does not count: it is in the plain file as
        // well.
        let by_chance = holds(&fs::read("tests/data/photo/progressive.jpg").unwrap(), trace);
        assert!(by_chance || !holds(&clean, trace), "{trace:?}");
    }
    assert_eq!(cleaned(&clean).unwrap(), clean, "cleaning twice changes nothing");
}

#[test]
fn damaged_files_are_refused_and_never_end_the_program() {
    let photo = photo_with_place();
    assert_eq!(cleaned(b"\x89PNG\r\n\x1A\n"), Err(CleanError::Damaged));
    let webp = fs::read("tests/data/photo/lossy.webp").unwrap();
    assert_eq!(cleaned(&webp), Err(CleanError::Kind("WebP".to_owned())));
    for length in (0..photo.len() - 40).step_by(7) {
        assert!(cleaned(&photo[..length]).is_err(), "cut to {length} bytes");
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
    let name = archive
        .file_names()
        .map(|name| name.unwrap().into_owned())
        .find(|name| name.ends_with("README.txt"))
        .unwrap();
    std::io::read_to_string(archive.by_name(&name).unwrap()).unwrap()
}

#[test]
fn the_archive_says_which_photos_tell_a_place_and_which_were_changed() {
    let job = job_with("placed.jpg", &photo_with_place());
    let (with, without) = (job.path().join("with.zip"), job.path().join("without.zip"));
    let sealed = keep(job.path(), &with, false, &|_| {}).unwrap();
    assert_eq!(sealed.privacy.with_place, ["1-mark-forward/placed.jpg"]);
    assert!(
        readme(&with)
            .contains("Photos that say where they were taken (GPS): 1-mark-forward/placed.jpg")
    );
    let sealed = keep(job.path(), &without, true, &|_| {}).unwrap();
    assert_eq!(sealed.privacy.cleaned, ["1-mark-forward/placed.jpg", "1-mark-forward/plain.jpg"]);
    assert!(sealed.privacy.with_place.is_empty());
    let page = readme(&without).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        page.contains(
            "whose bytes therefore differ from the camera's files: 1-mark-forward/placed.jpg"
        ),
        "{page}"
    );
    assert!(
        page.contains("What the program can't know: what the pictures themselves show"),
        "{page}"
    );
    for zip in [with, without] {
        assert!(prove(&zip, false, None, &|_| {}).unwrap().is_proven());
    }
    assert_eq!(
        fs::read(job.path().join("1-mark-forward/placed.jpg")).unwrap(),
        photo_with_place(),
        "the job is untouched"
    );
}

#[test]
fn a_photo_that_cannot_be_cleaned_is_named_and_nothing_is_written() {
    let job = job_with("placed.webp", &fs::read("tests/data/photo/lossy.webp").unwrap());
    let target = job.path().join("kept.zip");
    let why = keep(job.path(), &target, true, &|_| {}).unwrap_err().to_string();
    assert!(why.contains("1-mark-forward/placed.webp") && why.contains("it is WebP"), "{why}");
    assert!(!target.exists());
}

/// Words that stand for a place, in the ways in which a file can hold them.
const PLACE: &str = "GPSLatitude 12,20.74N Somewhere";

fn utf16(text: &str) -> Vec<u8> {
    text.encode_utf16().flat_map(u16::to_be_bytes).collect()
}

/// None of the ways to say the place is left, packed or not.
fn assert_tells_nothing(what: &str, photo: &[u8]) {
    let clean = cleaned(photo).unwrap_or_else(|why| panic!("{what}: {why}"));
    for trace in [PLACE.as_bytes(), &utf16(PLACE), b"Somewhere", b"12.345678", b"at 12"] {
        assert!(!holds(&clean, trace), "{what}: {trace:?} is left");
    }
    assert!(
        !holds(&clean, b"zTXt") && !holds(&clean, b"iTXt") && !holds(&clean, b"iCCP"),
        "{what}: something packed is left"
    );
    assert!(!ExifFacts::read(&clean).has_gps, "{what}");
    assert_eq!(decode_photo(photo).unwrap().luma, decode_photo(&clean).unwrap().luma, "{what}");
    assert!(is_clean(&clean) && !is_clean(photo), "{what}");
    assert_eq!(cleaned(&clean).unwrap(), clean, "{what}: cleaning twice changes nothing");
}

/// Every photo is written anew, whether or not anything in it was recognised as a place.
#[test]
fn whatever_a_jpeg_holds_beside_its_picture_is_gone() {
    let plain = fs::read("tests/data/photo/progressive.jpg").unwrap();
    let with =
        |segments: &[Vec<u8>]| [&plain[..2], segments.concat().as_slice(), &plain[2..]].concat();
    let far = vec![segment(0xE3, &[7; 65_000]); 5];
    let xmp = [b"http://ns.adobe.com/xap/1.0/\0".as_slice(), PLACE.as_bytes()].concat();
    let both_exif = [
        segment(0xE1, &[b"Exif\0\0".as_slice(), b"II*\0\x08\0\0\0\0\0\0\0\0\0"].concat()),
        exif_segment(),
    ];
    let preview = [b"JFIF\0\x01\x01\0\0\x01\0\x01\x01\x0A".as_slice(), PLACE.as_bytes()].concat();
    let mut behind = plain.clone();
    behind.extend(with(&[exif_segment()]));
    behind.extend(PLACE.as_bytes());
    for (what, photo) in [
        ("XMP beyond 256 kB", with(&[far.concat(), segment(0xE1, &xmp)])),
        ("a second EXIF segment", with(&both_exif)),
        (
            "XMP in UTF-16",
            with(&[segment(
                0xE1,
                &[b"http://ns.adobe.com/xap/1.0/\0".as_slice(), &utf16(PLACE)].concat(),
            )]),
        ),
        (
            "IPTC",
            with(&[segment(0xED, &[b"Photoshop 3.0\0".as_slice(), PLACE.as_bytes()].concat())]),
        ),
        ("a comment", with(&[segment(0xFE, PLACE.as_bytes())])),
        (
            "a colour profile",
            with(&[segment(
                0xE2,
                &[b"ICC_PROFILE\0\x01\x01".as_slice(), PLACE.as_bytes()].concat(),
            )]),
        ),
        ("a preview in the head", with(&[segment(0xE0, &preview)])),
        ("a second picture", behind),
    ] {
        assert_tells_nothing(what, &photo);
    }
}

fn exif_segment() -> Vec<u8> {
    segment(0xE1, &[b"Exif\0\0".as_slice(), &exif()].concat())
}

#[test]
fn whatever_a_png_holds_beside_its_picture_is_gone() {
    let plain = fs::read("tests/data/photo/baseline-luma.png").unwrap();
    // Signature and header take 33 bytes, the end 12.
    let with = |chunk: Vec<u8>| [&plain[..33], chunk.as_slice(), &plain[33..]].concat();
    let packed = |text: &[u8]| miniz_oxide::deflate::compress_to_vec_zlib(text, 6);
    let xmp = [b"XML:com.adobe.xmp\0\x01\0\0\0".as_slice(), &packed(PLACE.as_bytes())].concat();
    let late =
        [&plain[..plain.len() - 12], &piece(b"tEXt", PLACE.as_bytes()), &plain[plain.len() - 12..]]
            .concat();
    for (what, photo) in [
        ("packed XMP", with(piece(b"iTXt", &xmp))),
        (
            "XMP in UTF-16",
            with(piece(
                b"iTXt",
                &[b"XML:com.adobe.xmp\0\0\0\0\0".as_slice(), &utf16(PLACE)].concat(),
            )),
        ),
        (
            "a packed text",
            with(piece(b"zTXt", &[b"place\0\0".as_slice(), &packed(PLACE.as_bytes())].concat())),
        ),
        ("a text", with(piece(b"tEXt", &[b"place\0".as_slice(), PLACE.as_bytes()].concat()))),
        ("EXIF", with(piece(b"eXIf", &exif()))),
        (
            "a colour profile",
            with(piece(b"iCCP", &[b"a\0\0".as_slice(), &packed(PLACE.as_bytes())].concat())),
        ),
        ("a chunk of its own", with(piece(b"plCe", PLACE.as_bytes()))),
        ("a text behind the picture", late),
        ("bytes behind the end", [plain.as_slice(), PLACE.as_bytes()].concat()),
    ] {
        assert_tells_nothing(what, &photo);
    }
    let clean = cleaned(&with(piece(b"eXIf", &exif()))).unwrap();
    assert_eq!(ExifFacts::read(&clean).make.as_deref(), Some("Example"));
    assert_eq!(ExifFacts::read(&clean).focal_length_35mm, Some(26.0));
}

/// The facts of the lens are the same numbers, and so the figures are.
#[test]
fn a_sample_s_photos_keep_their_pixels_and_their_lens() {
    let mut n = 0;
    for entry in
        walkdir::WalkDir::new("samples").sort_by_file_name().into_iter().map(Result::unwrap)
    {
        if n < 3 && entry.path().extension().is_some_and(|ending| ending == "jpg") {
            let photo = fs::read(entry.path()).unwrap();
            let (before, after) =
                (ExifFacts::read(&photo), ExifFacts::read(&cleaned(&photo).unwrap()));
            assert_eq!(before.focal_length_35mm, after.focal_length_35mm);
            assert_eq!(before.model, after.model);
            n += 1;
        }
    }
    assert_eq!(n, 3);
}

/// An archive whose list says of a photo that it holds nothing else is held to it.
#[test]
fn a_copy_that_is_said_to_be_clean_and_is_not_is_noticed() {
    let job = job_with("placed.jpg", &photo_with_place());
    let target = job.path().join("kept.zip");
    keep(job.path(), &target, false, &|_| {}).unwrap();
    let mut forged = entries(&fs::read(&target).unwrap());
    let info = content(&mut forged, "bag-info.txt");
    let text = String::from_utf8(info.clone()).unwrap();
    let text = text.replace(
        "Photos-Changed-To-Remove-Place: none",
        "Photos-Changed-To-Remove-Place: 1-mark-forward/placed.jpg",
    );
    *info = text
        .replace("Photos-With-Place: 1-mark-forward/placed.jpg", "Photos-With-Place: none")
        .into_bytes();
    fs::write(&target, with_new_checksums(forged)).unwrap();
    let proof = prove(&target, true, None, &|_| {}).unwrap();
    assert!(
        proof.problems.iter().any(|problem| problem.contains("but it holds more")),
        "{proof:?}"
    );
}

/// Photos that differed in nothing but what was left out are one photo.
#[test]
fn photos_that_are_the_same_without_their_place_are_sealed_once() {
    let job = job_with("placed.jpg", &photo_with_place());
    let plain = fs::read("tests/data/photo/grey.jpg").unwrap();
    fs::write(
        job.path().join("1-mark-forward/second.jpg"),
        [plain.as_slice(), PLACE.as_bytes()].concat(),
    )
    .unwrap();
    let target = job.path().join("kept.zip");
    let sealed = keep(job.path(), &target, true, &|_| {}).unwrap();
    assert_eq!(sealed.n_photos, 2);
    assert!(
        sealed.left_out.iter().any(|finding| finding.id == "photo-twice"),
        "{:?}",
        sealed.left_out
    );
    assert!(prove(&target, false, None, &|_| {}).unwrap().is_proven());
}

/// Without that order the archive holds the camera's files; a place is reported wherever in the
/// file it is.
#[test]
fn a_place_anywhere_in_a_file_is_reported() {
    let photo =
        [fs::read("tests/data/photo/grey.jpg").unwrap(), vec![0; 400_000], utf16(PLACE)].concat();
    let job = job_with("placed.jpg", &photo);
    let sealed = keep(job.path(), &job.path().join("kept.zip"), false, &|_| {}).unwrap();
    assert_eq!(sealed.privacy.with_place, ["1-mark-forward/placed.jpg"]);
}
