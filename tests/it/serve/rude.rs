//! What comes from outside: without the token, too large, too many, cut off, with wicked names,
//! from another site's page.

use std::io::{Read, Write};
use std::path::Path;

use super::client::{Page, files, job};

/// A photo that every checkout has.
fn sample() -> Vec<u8> {
    std::fs::read("samples/grass-track/1-mark-forward/02.jpg").unwrap()
}

#[test]
fn without_the_token_there_is_nothing_whatever_is_asked() {
    let folder = tempfile::tempdir().unwrap();
    let page = Page::open(&job(folder.path()));
    let almost = format!("{}a", &page.token[..page.token.len() - 1]);
    let mut bodies = std::collections::BTreeSet::new();
    for n in 0..100 {
        let path = match n % 5 {
            0 => "/".to_owned(),
            1 => format!("/{almost}/"),
            2 => format!("/{}x/result.json", page.token),
            3 => "/../../etc/passwd".to_owned(),
            _ => format!("/{}/state/0", &page.token[..n % 26]),
        };
        let method = if n % 2 == 0 { "GET" } else { "POST" };
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: {}\r\nx-bench: 1\r\nContent-Length: 0\r\nConnection: close\r\n\r\n",
            page.host
        );
        let answer = page.raw(&head, b"");
        assert_eq!(answer.status, 404, "{path}: {}", answer.head);
        bodies.insert(answer.text());
    }
    assert_eq!(bodies.len(), 1, "all get the same: {bodies:?}");
    assert!(!bodies.first().unwrap().contains(folder.path().to_str().unwrap()));
    assert_eq!(page.get("").status, 200, "the page is still there for who knows the address");
}

#[test]
fn every_answer_forbids_scripts_from_elsewhere_frames_and_copies() {
    let folder = tempfile::tempdir().unwrap();
    let page = Page::open(&job(folder.path()));
    let nowhere = page.raw(
        &format!("GET /nothing HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", page.host),
        b"",
    );
    for answer in [
        page.get(""),
        page.get("page.js"),
        page.get("state/0/"),
        page.get("no/such"),
        page.order("turned", "9"),
        nowhere,
    ] {
        let head = answer.head.to_ascii_lowercase();
        for line in [
            "content-security-policy: default-src 'none'",
            "cache-control: no-store",
            "x-content-type-options: nosniff",
            "x-frame-options: deny",
            "referrer-policy: no-referrer",
            "cross-origin-resource-policy: same-origin",
        ] {
            assert!(head.contains(line), "no \"{line}\" in\n{head}");
        }
        assert!(!head.contains("access-control-allow"), "{head}");
        assert!(!head.contains("unsafe") || head.contains("report"), "{head}");
    }
}

#[test]
fn another_sites_page_can_give_no_orders() {
    let folder = tempfile::tempdir().unwrap();
    let page = Page::open(&job(folder.path()));
    let own =
        format!("x-bench: 1\r\nOrigin: http://{}\r\nSec-Fetch-Site: same-origin\r\n", page.host);
    assert_eq!(page.post("turned", &own, b"1").status, 200);
    for headers in [
        "",
        "x-bench: 1\r\nOrigin: http://evil.example\r\n",
        "x-bench: 1\r\nOrigin: null\r\n",
        "x-bench: 1\r\nSec-Fetch-Site: cross-site\r\n",
    ] {
        for act in ["turned", "photo", "move", "evening"] {
            assert_eq!(page.post(act, headers, b"1").status, 403, "{act} {headers}");
        }
    }
}

#[test]
fn wicked_names_become_plain_files_in_the_job() {
    let outside = tempfile::tempdir().unwrap();
    let job = job(outside.path());
    let before = files(outside.path());
    let page = Page::open(&job);
    let photo = sample();
    let names = [
        "../../../evil.jpg",
        "%2e%2e%2f%2e%2e%2fjob.toml",
        "..%5C..%5Cevil.exe",
        "%3Cscript%3Ealert(1)%3C%2Fscript%3E.jpg",
        &"long".repeat(75),
        ".hidden.jpg",
        "%00%0d%0aSet-Cookie%3a x.jpg",
        "",
    ];
    for (n, name) in names.iter().enumerate() {
        // Bytes behind the picture's end make each another file.
        let mut bytes = photo.clone();
        bytes.push(n as u8);
        let answer = page.send(name, &bytes);
        assert_eq!(answer.status, 200, "{name}: {}", answer.text());
    }
    let after = files(outside.path());
    let new: Vec<&String> = after.iter().filter(|file| !before.contains(file)).collect();
    assert_eq!(new.len(), names.len(), "{new:?}");
    for file in &new {
        let name = file
            .strip_prefix("my-bike/1-mark-forward/")
            .unwrap_or_else(|| panic!("{file} lies elsewhere"));
        assert!(name.len() <= 60 && name.ends_with(".jpg") && !name.starts_with('.'), "{name}");
        assert!(name.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_.".contains(&b)), "{name}");
    }
    let sections = page.sections().to_string();
    assert!(!sections.contains("<script"), "{sections}");
}

#[test]
fn a_name_that_is_taken_is_never_overwritten_and_the_same_photo_counts_once() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    let mine = job.join("1-mark-forward/image.jpg");
    std::fs::write(&mine, "somebody's own").unwrap();
    let page = Page::open(&job);
    assert_eq!(page.send("image.jpg", &sample()).status, 200);
    assert_eq!(std::fs::read(&mine).unwrap(), b"somebody's own");
    assert_eq!(std::fs::read(job.join("1-mark-forward/image-2.jpg")).unwrap(), sample());
    let again = page.send("other.jpg", &sample());
    assert_eq!((again.status, again.json()["again"].clone()), (200, true.into()));
    assert!(!job.join("1-mark-forward/other.jpg").exists());
}

#[test]
fn an_upload_that_is_cut_off_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    let before = files(&job);
    let page = Page::open(&job);
    let photo = sample();
    let head = |length: usize| {
        format!(
            "POST /{}/photo HTTP/1.1\r\nHost: {}\r\nx-bench: 1\r\nContent-Length: {length}\r\n\r\n",
            page.token, page.host
        )
    };
    for part in [0, 1, photo.len() / 2, photo.len() - 1] {
        let mut stream = page.connect();
        stream.write_all(head(photo.len()).as_bytes()).unwrap();
        stream.write_all(&photo[..part]).unwrap();
        drop(stream);
    }
    // A picture that is cut off although all of its bytes came.
    let cut = page.send("cut.jpg", &photo[..photo.len() / 2]);
    assert_eq!(cut.status, 415, "{}", cut.text());
    assert!(cut.json()["what"].as_str().unwrap().contains("cut off"), "{}", cut.text());
    let no_photo = page.send("x.jpg", b"no picture");
    assert_eq!(no_photo.status, 415, "{}", no_photo.text());
    assert_eq!(page.get("").status, 200);
    assert_eq!(files(&job), before);
    assert!(page.sections()["head"].as_str().unwrap().contains("0 photos"));
    // And Ctrl-C amid an upload leaves nothing either.
    let mut stream = page.connect();
    stream.write_all(head(photo.len()).as_bytes()).unwrap();
    stream.write_all(&photo[..photo.len() / 2]).unwrap();
    std::thread::sleep(std::time::Duration::from_millis(300));
    assert_eq!(page.interrupt(), Some(130));
    assert_eq!(files(&job), before);
}

#[test]
fn what_is_too_large_or_too_many_is_refused_with_a_reason_and_memory_stays_bounded() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    let before = files(&job);
    let page = Page::open(&job);
    // Refused by what it says of itself.
    let said = page.post("announce", "x-bench: 1\r\n", br#"{"photos": 1, "largest": 200000000}"#);
    assert_eq!(said.status, 413, "{}", said.text());
    assert!(said.json()["do"].as_str().unwrap().contains("megapixels"), "{}", said.text());
    let many = page.order("announce", r#"{"photos": 10000, "largest": 3000000}"#);
    assert_eq!(many.status, 413, "{}", many.text());
    assert!(many.json()["what"].as_str().unwrap().contains("10000 photos"), "{}", many.text());
    let head = |length: &str| {
        format!(
            "POST /{}/photo HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nx-bench: 1\r\n{length}\r\n\r\n",
            page.token, page.host
        )
    };
    let large = page.raw(&head("Content-Length: 200000000"), b"");
    assert_eq!(large.status, 413, "{}", large.head);
    // Refused by what comes, where nothing was said of it: 200 MB in pieces of one.
    let mut stream = page.connect();
    stream.write_all(head("Transfer-Encoding: chunked").as_bytes()).unwrap();
    let mut piece = b"100000\r\n".to_vec();
    piece.extend(vec![0xFF; 1 << 20]);
    piece.extend(b"\r\n");
    let sent = (0..200).take_while(|_| stream.write_all(&piece).is_ok()).count();
    assert!(sent < 120, "{sent} MB were taken");
    let mut told = Vec::new();
    let _ = stream.read_to_end(&mut told);
    let most = peak_megabytes(page.process());
    assert!(most < 200, "{most} MB");
    assert_eq!(files(&job), before);
    assert_eq!(page.get("").status, 200);
}

/// The most memory that a process has held, MB.
fn peak_megabytes(process: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap_or("0 kB");
    line.split_whitespace().next().and_then(|kb| kb.parse::<u64>().ok()).unwrap_or(0) / 1024
}

#[test]
fn no_folder_is_listed_and_no_name_leads_to_a_file() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    let page = Page::open(&job);
    page.send("a.jpg", &sample());
    for path in [
        "job.toml",
        ".bench.json",
        "1-mark-forward/",
        "1-mark-forward/a.jpg",
        "report/",
        "report/../job.toml",
        "report/..%2fjob.toml",
        "seen/../job.toml",
        "seen/..%2f..%2fa.jpg",
        "seen/.jpg",
        "//etc/passwd",
    ] {
        let answer = page.get(path);
        assert_eq!(answer.status, 404, "{path}: {}", answer.text());
    }
    let all = page.sections().to_string();
    assert!(
        !all.contains(folder.path().to_str().unwrap()),
        "no path of this computer is told: {all}"
    );
}

#[test]
fn the_address_is_kept_from_other_users_and_a_new_one_ends_the_old_one() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path());
    let page = Page::open(&job);
    let old = page.token.clone();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = std::fs::metadata(job.join(".bench.json")).unwrap().permissions().mode();
        assert_eq!(mode & 0o077, 0, "{mode:o}");
    }
    drop(page);
    let page = Page::open_with(&job, &["--new-address"]);
    assert_ne!(page.token, old);
    let gone = page.raw(
        &format!("GET /{old}/ HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", page.host),
        b"",
    );
    assert_eq!(gone.status, 404);
}

#[test]
fn a_folder_that_is_not_there_is_reported_with_the_way_out() {
    let run = |arguments: &[&str]| {
        let out = std::process::Command::new(env!("CARGO_BIN_EXE_sightcord"))
            .arg("bench")
            .args(arguments)
            .output()
            .unwrap();
        (out.status.code(), String::from_utf8_lossy(&out.stderr).into_owned())
    };
    let (code, said) = run(&["no/such/job"]);
    assert!(code == Some(2) && said.contains("sightcord begin"), "{said}");
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(Path::new(folder.path()).join("job.toml"), "schema = 3").unwrap();
    let (code, said) = run(&[folder.path().to_str().unwrap()]);
    assert!(code == Some(2) && said.contains("job.toml"), "{said}");
}
