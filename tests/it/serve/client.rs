//! The program serving a job's page, and a client that speaks HTTP by hand, so that it can be as
//! rude as it likes.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

/// A job's page, served by the program itself on the loopback address.
pub struct Page {
    child: Child,
    /// "127.0.0.1:8714".
    pub host: String,
    pub token: String,
}

/// An answer.
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body)
            .unwrap_or_else(|e| panic!("{e}: {}", String::from_utf8_lossy(&self.body)))
    }

    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }
}

/// A new job folder as the command begin makes it.
pub fn job(of: &Path) -> PathBuf {
    let job = of.join("my-bike");
    let made = Command::new(env!("CARGO_BIN_EXE_sightcord"))
        .args(["begin", "--quiet"])
        .arg(&job)
        .status()
        .unwrap();
    assert!(made.success());
    job
}

/// Photos of one set-up of a shared set, in order.
pub fn photos(set: &str, setup: &str) -> Vec<PathBuf> {
    let folder = Path::new("../shared/photos").join(set).join(setup);
    let mut photos: Vec<PathBuf> =
        std::fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    photos.sort();
    photos.iter().map(|photo| photo.canonicalize().unwrap()).collect()
}

/// Every file below a folder but the page's own, with its bytes' number.
pub fn files(folder: &Path) -> Vec<String> {
    let all =
        walkdir::WalkDir::new(folder).sort_by_file_name().into_iter().map(|entry| entry.unwrap());
    let files = all.filter(|entry| entry.file_type().is_file());
    files
        .map(|entry| entry.path().strip_prefix(folder).unwrap().to_string_lossy().into_owned())
        .filter(|name| !name.ends_with(".bench.json"))
        .collect()
}

impl Page {
    pub fn open(job: &Path) -> Self {
        Self::open_with(job, &[])
    }

    pub fn open_with(job: &Path, arguments: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_sightcord"))
            .args(["bench", "--quiet"])
            .arg(job)
            .args(arguments)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line
            .trim()
            .strip_prefix("http://")
            .unwrap_or_else(|| panic!("no address: {line:?}"))
            .to_owned();
        let (host, token) = address.split_once('/').unwrap();
        Self { child, host: host.to_owned(), token: token.trim_end_matches('/').to_owned() }
    }

    pub fn address(&self) -> String {
        format!("http://{}/{}/", self.host, self.token)
    }

    pub fn process(&self) -> u32 {
        self.child.id()
    }

    /// Ends it as Ctrl-C does.
    pub fn interrupt(mut self) -> Option<i32> {
        let ended =
            Command::new("kill").args(["-INT", &self.child.id().to_string()]).status().unwrap();
        assert!(ended.success());
        self.child.wait().unwrap().code()
    }

    pub fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(&self.host).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        stream
    }

    /// Sends a request as it is and reads all that comes.
    pub fn raw(&self, head: &str, body: &[u8]) -> Answer {
        let mut stream = self.connect();
        stream.write_all(head.as_bytes()).unwrap();
        // A refusal may come before all was sent.
        let _ = stream.write_all(body);
        let mut all = Vec::new();
        let _ = stream.read_to_end(&mut all);
        let end = all.windows(4).position(|four| four == b"\r\n\r\n").unwrap_or(all.len());
        let head = String::from_utf8_lossy(&all[..end]).into_owned();
        let status =
            head.split_whitespace().nth(1).and_then(|status| status.parse().ok()).unwrap_or(0);
        Answer { status, head, body: all.split_off((end + 4).min(all.len())) }
    }

    pub fn get(&self, path: &str) -> Answer {
        self.raw(
            &format!(
                "GET /{}/{path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n",
                self.token, self.host
            ),
            b"",
        )
    }

    pub fn post(&self, path: &str, headers: &str, body: &[u8]) -> Answer {
        let head = format!(
            "POST /{}/{path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nContent-Length: {}\r\n{headers}\r\n",
            self.token,
            self.host,
            body.len()
        );
        self.raw(&head, body)
    }

    /// An order as the page gives it.
    pub fn order(&self, act: &str, body: &str) -> Answer {
        self.post(act, "x-bench: 1\r\n", body.as_bytes())
    }

    pub fn send(&self, name: &str, bytes: &[u8]) -> Answer {
        self.post("photo", &format!("x-bench: 1\r\nx-name: {name}\r\n"), bytes)
    }

    pub fn sections(&self) -> Value {
        self.get("state/0/").json()["sections"].clone()
    }

    /// Waits until a section of the page says something.
    pub fn wait_until(&self, section: &str, says: &str) {
        let begun = Instant::now();
        loop {
            let sections = self.sections();
            if sections[section].as_str().unwrap().contains(says) {
                return;
            }
            assert!(
                begun.elapsed() < Duration::from_secs(180),
                "\"{says}\" never came: {}",
                sections[section]
            );
            std::thread::sleep(Duration::from_millis(300));
        }
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
