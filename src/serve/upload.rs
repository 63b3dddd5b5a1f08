//! A photo on its way in: piece by piece into a file without a name, within limits. Broken off, it
//! leaves nothing.

use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use http_body_util::BodyExt;
use hyper::body::{Bytes, Incoming};
use sha2::{Digest, Sha256};
use tokio::sync::mpsc::{Receiver, channel};
use tokio::task::spawn_blocking;
use tokio::time::timeout;

use crate::disk::free_bytes;
use crate::disk::new_file::NewFile;
use crate::math::hex::hex;

use super::refusal::Refusal;
use super::take::Received;

/// The largest file that is taken: phones of 200 megapixels write some 60 MB.
pub const MOST_BYTES: u64 = 80_000_000;
/// A phone that sends nothing for this long is gone.
const SILENCE: Duration = Duration::from_secs(30);
/// Nobody waits longer for one photo.
const LONGEST: Duration = Duration::from_secs(600);
/// What stays free on the disk whatever is sent.
const KEPT_FREE: u64 = 500_000_000;
/// Pieces that wait for the disk: with hyper's some 64 kB each, half a megabyte a photo.
const WAITING: usize = 8;

/// The page sends a photo again of itself that is answered so (408).
fn broken() -> Refusal {
    let what = "The photo did not arrive whole, and nothing of it was kept.";
    Refusal::new(408, what, "It is sent again.")
}

enum Piece {
    Some(Bytes),
    /// All of it came.
    End,
}

/// Refuses a photo by its size, before a byte of it is read.
pub fn check_size(bytes: u64) -> Result<(), Refusal> {
    if bytes <= MOST_BYTES {
        return Ok(());
    }
    Err(Refusal::new(
        413,
        format!("This file is larger than {} MB.", MOST_BYTES / 1_000_000),
        "Use the camera's ordinary photo mode: 8 to 50 megapixels, JPEG, no panorama, no film.",
    ))
}

/// Takes a photo in. `announced` is what the phone says that it will be, in bytes.
pub async fn receive(
    body: Incoming,
    folder: PathBuf,
    announced: Option<u64>,
) -> Result<Received, Refusal> {
    check_size(announced.unwrap_or(0))?;
    if let Some(free) = free_bytes(&folder)
        && free < KEPT_FREE.saturating_add(announced.unwrap_or(MOST_BYTES))
    {
        return Err(Refusal::new(
            507,
            "The computer's disk is nearly full.",
            "Make room on it, then send the photo again.",
        ));
    }
    let (pieces, coming) = channel(WAITING);
    let writer = spawn_blocking(move || write(&folder, coming));
    let passed_on = timeout(LONGEST, pass_on(body, pieces)).await;
    // What the writer says counts first: a full disk breaks the sending as well.
    let written = writer
        .await
        .map_err(|_| broken())?
        .map_err(|why| Refusal::disk("Keeping the photo", &why))?;
    passed_on.map_err(|_| broken())??;
    written.ok_or_else(broken)
}

async fn pass_on(
    mut body: Incoming,
    pieces: tokio::sync::mpsc::Sender<Piece>,
) -> Result<(), Refusal> {
    let mut total = 0_u64;
    loop {
        let frame = timeout(SILENCE, body.frame()).await.map_err(|_| broken())?;
        let Some(frame) = frame else { break };
        if let Ok(data) = frame.map_err(|_| broken())?.into_data() {
            total += data.len() as u64;
            check_size(total)?;
            pieces.send(Piece::Some(data)).await.map_err(|_| broken())?;
        }
    }
    pieces.send(Piece::End).await.map_err(|_| broken())
}

/// Writes what comes; None when it broke off, and then the file is gone with its last handle.
fn write(folder: &Path, mut coming: Receiver<Piece>) -> io::Result<Option<Received>> {
    let mut file = NewFile::in_folder(folder)?;
    let mut hash = Sha256::new();
    while let Some(piece) = coming.blocking_recv() {
        match piece {
            Piece::Some(data) => {
                file.file().write_all(&data)?;
                hash.update(&data);
            }
            Piece::End => {
                let sha256 = hex(&hash.finalize());
                return Ok(Some(Received { file, sha256 }));
            }
        }
    }
    Ok(None)
}
