//! Input made to fool or to exhaust: what a terminal would obey never reaches it, a bomb takes
//! little memory, and a full disk gets a message. All through the built program.
#![cfg(unix)]

use crate::common::kept;

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use crate::common::kept::{Kept, content, entries, run, small_job, with_new_checksums};
use crate::common::png_piece::piece;
use sightcord::visible::is_hidden;

/// An order to a terminal to forget the line, and a line of the program's own words.
const SPOOF: &str = "\u{1b}[2K\u{1b}[1A\rProven: \u{202e}\u{9b}31m\nProven: nothing was altered";

fn assert_shown(out: &Output) -> String {
    let all = [out.stdout.as_slice(), &out.stderr].concat();
    let text = String::from_utf8(all).expect("text");
    assert!(!text.chars().any(|c| is_hidden(c) && c != '\n'), "{text:?}");
    assert!(!text.lines().any(|line| line.starts_with("Proven")), "{text}");
    assert!(!text.contains("panicked"), "{text}");
    text
}

#[test]
fn names_of_photos_give_a_terminal_no_orders() {
    let folder = tempfile::tempdir().unwrap();
    let photo = fs::read("tests/data/photo/grey.jpg").unwrap();
    let setup = folder.path().join("1-a\u{1b}[31m");
    fs::create_dir(&setup).unwrap();
    fs::write(setup.join(format!("{SPOOF}.jpg")), &photo).unwrap();
    fs::write(setup.join(format!("{SPOOF}.gif")), b"GIF89a").unwrap();
    let job = folder.path().to_str().unwrap();
    for arguments in [
        &["glance", job][..],
        &["glance", job, "--json"],
        &["measure", job],
        &["measure", job, "--json"],
    ] {
        let text = assert_shown(&run(arguments));
        assert!(
            text.contains("1b") && text.contains("202e"),
            "the name is shown with its characters' numbers: {text}"
        );
    }
    let by_path = setup.join(format!("{SPOOF}.jpg"));
    assert_shown(&run(&["glance", by_path.to_str().unwrap()]));
    // Nor does anything that the report is made of.
    for entry in walkdir::WalkDir::new(folder.path().join("report")).into_iter().map(Result::unwrap)
    {
        if entry.file_type().is_file()
            && entry.path().extension().is_none_or(|ending| ending != "jpg")
        {
            let text = fs::read_to_string(entry.path()).unwrap();
            assert!(!text.chars().any(|c| is_hidden(c) && c != '\n'), "{}", entry.path().display());
        }
    }
    let json: serde_json::Value =
        serde_json::from_slice(&run(&["measure", job, "--json"]).stdout).unwrap();
    assert!(
        json["photos"][0]["file"].as_str().unwrap().contains(SPOOF),
        "the result itself holds the true name"
    );
}

#[test]
fn an_archive_cannot_write_the_words_of_a_proof() {
    let kept = Kept::new();
    let mut forged = entries(&kept.bytes());
    let agent = "sightcord 0.1.0\u{1b}[2K\u{1b}[1A\rProven: nothing was altered, and the photos give the figures. Proven: nothing was altered";
    let info = content(&mut forged, "bag-info.txt");
    *info = String::from_utf8(info.clone())
        .unwrap()
        .lines()
        .map(|line| {
            if line.starts_with("Sealed-By") {
                format!("Sealed-By: {agent}\n")
            } else {
                format!("{line}\n")
            }
        })
        .collect::<String>()
        .into_bytes();
    let zip = kept.other(&with_new_checksums(forged));
    for arguments in
        [&["prove", zip.to_str().unwrap(), "--quick"][..], &["prove", zip.to_str().unwrap()]]
    {
        let out = run(arguments);
        assert_ne!(out.status.code(), Some(0));
        assert!(assert_shown(&out).contains("NOT PROVEN"));
    }
}

#[test]
fn keys_and_results_give_a_terminal_no_orders() {
    let job = small_job();
    let at = job.path().to_str().unwrap();
    fs::write(
        job.path().join("job.toml"),
        "schema = \"sightcord-job/1\"\n\"\\u001b[2J\\u202e\" = 1\n",
    )
    .unwrap();
    assert!(assert_shown(&run(&["measure", at])).contains("\\u{1b}[2J"));
    let result = job.path().join("result.json");
    let whatif = || run(&["whatif", result.to_str().unwrap()]);
    fs::write(&result, r#"{"schema": "\u001b[2J\u009b"}"#).unwrap();
    assert!(assert_shown(&whatif()).contains("\\u{1b}[2J"));
    fs::write(job.path().join("job.toml"), kept::JOB).unwrap();
    let json = String::from_utf8(run(&["measure", at, "--json"]).stdout).unwrap();
    fs::write(&result, json.replace("A trial", r"A\u001b[2J\u009b\nProven: x")).unwrap();
    assert_shown(&whatif());
    assert_shown(&run(&["since", result.to_str().unwrap(), result.to_str().unwrap()]));
}

#[test]
fn a_full_disk_behind_standard_output_is_reported_and_is_no_success() {
    if !Path::new("/dev/full").exists() {
        return;
    }
    let kept = Kept::new();
    let (job, zip, folder) =
        (kept.job.path().to_str().unwrap(), kept.zip(), tempfile::tempdir().unwrap());
    let inside = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (new, sheets, other) = (inside("new"), inside("sheets"), inside("other.zip"));
    let commands: [&[&str]; 7] = [
        &["measure", job],
        &["measure", job, "--json"],
        &["prove", zip.to_str().unwrap()],
        &["keep", job, "--to", &other],
        &["begin", &new],
        &["sheets", &sheets, "--cards", "1", "--tabs", "none"],
        &["glance", job],
    ];
    for arguments in commands {
        let full = || fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
        let out = Command::new(env!("CARGO_BIN_EXE_sightcord"))
            .args(arguments)
            .stdout(full())
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&out.stderr);
        assert_eq!(out.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains("standard output can't be written to"), "{arguments:?}: {said}");
        // Where not even that can be said, the exit code is the same.
        if arguments[0] == "prove" {
            let out = Command::new(env!("CARGO_BIN_EXE_sightcord"))
                .args(arguments)
                .stdout(full())
                .stderr(full())
                .status()
                .unwrap();
            assert_eq!(out.code(), Some(2));
        }
    }
}

#[test]
fn a_job_file_of_unknown_keys_alone_is_reported_in_short() {
    let job = small_job();
    let keys: String = (0..90_000).map(|n| format!("k{n:06}=1\n")).collect();
    fs::write(job.path().join("job.toml"), &keys[..keys.len().min(999_990)]).unwrap();
    let out = run(&["measure", job.path().to_str().unwrap()]);
    assert_eq!(out.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&out.stderr).lines().count() < 400);
}

/// Reading it would take sixty times as much memory.
#[test]
fn a_result_larger_than_any_is_refused_unread() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().join("result.json");
    fs::File::create(&at).unwrap().set_len(60 << 20).unwrap();
    let at = at.to_str().unwrap();
    for arguments in [vec!["whatif", at], vec!["since", at, at]] {
        let out = run(&arguments);
        assert_eq!(out.status.code(), Some(2));
        let said = String::from_utf8_lossy(&out.stderr);
        assert!(said.contains("is larger than any result"), "{said}");
    }
}

#[test]
fn a_colour_profile_that_unpacks_to_gigabytes_takes_no_memory() {
    let job = tempfile::tempdir().unwrap();
    let setup = job.path().join("1-a");
    fs::create_dir(&setup).unwrap();
    let mut png = std::io::Cursor::new(Vec::new());
    image::GrayImage::from_pixel(200, 150, image::Luma([90]))
        .write_to(&mut png, image::ImageFormat::Png)
        .unwrap();
    let png = png.into_inner();
    let packed = miniz_oxide::deflate::compress_to_vec_zlib(&vec![0; 1 << 30], 1);
    // Behind signature (8 bytes) and header (25).
    let bomb =
        [&png[..33], &piece(b"iCCP", &[b"a\0\0", packed.as_slice()].concat()), &png[33..]].concat();
    fs::write(setup.join("bomb.png"), bomb).unwrap();
    // Room for the program and its threads, and for no gigabyte.
    let script = "ulimit -v 900000; exec \"$0\" measure \"$1\"";
    let mut command = Command::new("sh");
    command.env("RAYON_NUM_THREADS", "2").args([
        "-c",
        script,
        env!("CARGO_BIN_EXE_sightcord"),
        job.path().to_str().unwrap(),
    ]);
    let out = command.output().unwrap();
    let said = String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(1), "{said}");
    assert!(!said.contains("memory allocation"), "{said}");
    let result = fs::read_to_string(job.path().join("report/result.json")).unwrap();
    assert!(
        result.contains("no-card") && !result.contains("photo-damaged"),
        "the picture itself is read"
    );
}

/// 720 MB of codes, with never more than a row held next to the luminance.
#[test]
fn a_picture_of_120_megapixels_and_16_bits_stays_within_what_the_limits_say() {
    let job = tempfile::tempdir().unwrap();
    let setup = job.path().join("1-a");
    fs::create_dir(&setup).unwrap();
    let (width, height) = (12_000_u32, 10_000_u32);
    let mut encoder =
        png::Encoder::new(fs::File::create(setup.join("large.png")).unwrap(), width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Sixteen);
    encoder.set_compression(png::Compression::Fastest);
    let mut writer = encoder.write_header().unwrap();
    let mut rows = writer.stream_writer().unwrap();
    let row: Vec<u8> = (0..6 * width).map(|byte| (byte / 977) as u8).collect();
    (0..height).for_each(|_| std::io::Write::write_all(&mut rows, &row).unwrap());
    rows.finish().unwrap();
    writer.finish().unwrap();
    // Luminance takes 480 MB: as much again is room for the smaller copies and the program, and not
    // for the codes.
    let script = "ulimit -v 1000000; exec \"$0\" measure \"$1\"";
    let mut command = Command::new("sh");
    let program = env!("CARGO_BIN_EXE_sightcord");
    command.env("RAYON_NUM_THREADS", "2").args([
        "-c",
        script,
        program,
        job.path().to_str().unwrap(),
    ]);
    let out = command.output().unwrap();
    let said = String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(1), "{said}");
    let result = fs::read_to_string(job.path().join("report/result.json")).unwrap();
    assert!(
        result.contains("no-card") && !result.contains("photo-"),
        "the picture itself is read: {result}"
    );
}

/// The program run where every thread but its first is refused: none can have a stack as large as
/// the whole address space.
#[cfg(target_os = "linux")]
fn without_threads(arguments: &[&str]) -> (Output, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sightcord"));
    let out =
        command.env("RUST_MIN_STACK", (1_u64 << 48).to_string()).args(arguments).output().unwrap();
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(
        !said.contains("panicked") && out.status.code().is_some(),
        "{arguments:?}: {:?} {said}",
        out.status
    );
    (out, said)
}

#[cfg(target_os = "linux")]
#[test]
fn without_a_further_thread_the_work_is_done_all_the_same_and_that_is_said() {
    let kept = Kept::new();
    let folder = tempfile::tempdir().unwrap();
    let inside = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (zip, new, sheets, other) =
        (kept.zip(), inside("new"), inside("sheets"), inside("other.zip"));
    let (job, zip) = (kept.job.path().to_str().unwrap(), zip.to_str().unwrap());
    let (alone, said) = without_threads(&["measure", job, "--json", "--threads", "4"]);
    let usual = run(&["measure", job, "--json"]);
    assert_eq!(
        (alone.status.code(), &alone.stdout),
        (usual.status.code(), &usual.stdout),
        "{said}"
    );
    assert!(said.contains("of 4 threads") && said.contains("this one does all the work"), "{said}");
    let commands: [(i32, &[&str]); 8] = [
        (1, &["measure", job]),
        (1, &["glance", job]),
        (0, &["keep", job, "--to", &other]),
        (0, &["prove", zip]),
        (0, &["since", zip, zip]),
        (0, &["whatif", zip]),
        (0, &["begin", &new]),
        (0, &["sheets", &sheets, "--cards", "1", "--tabs", "none"]),
    ];
    for (code, arguments) in commands {
        let (out, said) = without_threads(arguments);
        assert_eq!(out.status.code(), Some(code), "{arguments:?}: {said}");
    }
    let usual = inside("usual.zip");
    assert_eq!(run(&["keep", job, "--to", &usual]).status.code(), Some(0));
    assert_eq!(fs::read(other).unwrap(), fs::read(usual).unwrap());
}

#[cfg(target_os = "linux")]
#[test]
fn what_can_not_be_done_without_a_further_thread_says_so() {
    let job = small_job();
    for arguments in [
        &["bench", job.path().to_str().unwrap()][..],
        &["glance", job.path().to_str().unwrap(), "--watch"],
    ] {
        let (out, said) = without_threads(arguments);
        assert_eq!(out.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(
            said.contains("no thread") || said.contains("no further thread"),
            "{arguments:?}: {said}"
        );
        assert!(said.contains("ulimit -u"), "{arguments:?}: {said}");
    }
}

/// Each is compared with the lists once, and each is named.
#[test]
fn twenty_thousand_stray_files_in_an_archive_are_all_named() {
    const STRAY: usize = 20_000;
    let kept = Kept::new();
    let folder = tempfile::tempdir().unwrap();
    zip::ZipArchive::new(fs::File::open(kept.zip()).unwrap())
        .unwrap()
        .extract(folder.path())
        .unwrap();
    let bag = fs::read_dir(folder.path()).unwrap().next().unwrap().unwrap().path();
    for n in 0..STRAY {
        fs::write(bag.join(format!("data/photos/1-mark-forward/{n:05}.txt")), b"").unwrap();
    }
    let out = run(&["prove", bag.to_str().unwrap(), "--quick"]);
    assert_eq!(out.status.code(), Some(1), "{}", String::from_utf8_lossy(&out.stderr));
    let told = String::from_utf8(out.stdout).unwrap();
    // Each breaks two rules: no list names it, and the result was not measured from it.
    let of_stray = |line: &&str| {
        line.starts_with("Problem: data/photos/1-mark-forward/")
            && line.contains(" is a stray file")
    };
    assert_eq!(
        told.lines().filter(of_stray).count(),
        STRAY,
        "{}",
        told.lines().last().unwrap_or_default()
    );
}
