//! Opening the page: the job folder, the address it is served at, and the threads behind it.

use std::fs::{File, TryLockError};
use std::io;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use thiserror::Error;

use crate::job::{Job, JobError};

use super::folders::{evenings, positions};
use super::kept::{KEPT_NAME, Kept};
use super::network::host;
use super::served::Served;
use super::state::Bench;
use super::{http, measuring};

/// The port that is tried first. Nothing well known uses it.
const FIRST_PORT: u16 = 8714;

/// Why the page can't be served.
#[derive(Debug, Error)]
pub enum StartError {
    #[error("there is no folder {}; make one with the command: sightcord begin", .0.display())]
    Missing(PathBuf),
    #[error(transparent)]
    Job(#[from] JobError),
    #[error(
        "the page for {} is open already, from another terminal: use that one, or end it with Ctrl-C and start this one again", .0.display()
    )]
    IsOpen(PathBuf),
    #[error("the address can't be kept in {} ({why}); check that the folder may be written to and the disk has room", .at.display())]
    Kept { at: PathBuf, why: io::Error },
    #[error(
        "no page can be served at {at} ({why}); choose another address with --at, or another port with --port"
    )]
    Address { at: SocketAddr, why: io::Error },
    #[error(
        "this system gives the program no thread for the page ({0}); end other programs, or raise the limit on processes (ulimit -u)"
    )]
    Threads(io::Error),
    #[error("the page can't be served any more ({0})")]
    Ended(io::Error),
}

/// A page that is ready to be served.
pub struct Opened {
    listeners: Vec<TcpListener>,
    served: Arc<Served>,
    /// Held while the page is open.
    lock: Option<File>,
    /// Its addresses, in the order asked for.
    pub addresses: Vec<String>,
    /// The evening that photos go to.
    pub evening: u32,
    pub folder: PathBuf,
}

/// Opens a job folder's page at the addresses `at`. The port is the last one, so that a phone's
/// page goes on after a restart; `fresh` makes a new secret, after which older addresses lead
/// nowhere.
pub fn open(
    home: &Path,
    at: &[IpAddr],
    port: Option<u16>,
    fresh: bool,
) -> Result<Opened, StartError> {
    if !home.is_dir() {
        return Err(StartError::Missing(home.to_owned()));
    }
    let lock = lock(home)?;
    let failed = |why| StartError::Kept { at: home.join(KEPT_NAME), why };
    let mut kept = Kept::of(home, fresh).map_err(failed)?;
    let here = [IpAddr::V4(Ipv4Addr::LOCALHOST)];
    let at = if at.is_empty() { &here[..] } else { at };
    let (listeners, port) = listen(at, port, kept.port.unwrap_or(FIRST_PORT))?;
    kept.port = Some(port);
    kept.store(home).map_err(failed)?;
    let last = evenings(home)
        .pop()
        .unwrap_or(super::folders::Evening { number: 1, folder: home.to_owned() });
    let job = Job::of_folder(&last.folder)?;
    let positions = positions(&last.folder, &[]);
    let addresses =
        at.iter().map(|ip| format!("http://{}:{port}/{}/", host(*ip), kept.token)).collect();
    let token = kept.token.clone();
    let (evening, folder) = (last.number, last.folder.clone());
    let bench = Bench::new(home.to_owned(), last, job, positions, kept);
    Ok(Opened {
        listeners,
        served: Arc::new(Served::new(bench, token)),
        lock,
        addresses,
        evening,
        folder,
    })
}

impl Opened {
    /// Tells how many photos the evening has at the time of asking.
    pub fn photos(&self) -> impl Fn() -> usize + Send + Sync + 'static {
        let served = self.served.clone();
        move || served.bench.read().photos.len()
    }
}

/// Takes the folder for this page alone: two would take each other's photos for strangers'. None
/// where the system locks no folders.
fn lock(home: &Path) -> Result<Option<File>, StartError> {
    let Ok(folder) = File::open(home) else { return Ok(None) };
    match folder.try_lock() {
        Ok(()) => Ok(Some(folder)),
        Err(TryLockError::WouldBlock) => Err(StartError::IsOpen(home.to_owned())),
        Err(TryLockError::Error(_)) => Ok(None),
    }
}

/// Serves until the program is ended.
pub fn serve(opened: Opened) -> Result<(), StartError> {
    let Opened { listeners, served, lock: _held, .. } = opened;
    let background = served.clone();
    std::thread::Builder::new()
        .spawn(move || measuring::run(&background.bench))
        .map_err(StartError::Threads)?;
    // The server asks for its first one without saying so where there is none.
    std::thread::Builder::new().spawn(|| ()).map_err(StartError::Threads)?;
    http::run(listeners, served).map_err(StartError::Ended)
}

/// Listens at all addresses on one port: the one asked for, or else `usual`, or any that is free.
fn listen(
    at: &[IpAddr],
    asked: Option<u16>,
    usual: u16,
) -> Result<(Vec<TcpListener>, u16), StartError> {
    let on = |port: u16| -> Result<(Vec<TcpListener>, u16), StartError> {
        let (mut listeners, mut port) = (Vec::new(), port);
        for ip in at {
            let address = SocketAddr::new(*ip, port);
            let failed = |why| StartError::Address { at: address, why };
            let listener = TcpListener::bind(address).map_err(failed)?;
            port = listener.local_addr().map_err(failed)?.port();
            listeners.push(listener);
        }
        Ok((listeners, port))
    };
    match asked {
        Some(port) => on(port),
        // Another job's page may be open on the usual one.
        None => on(usual).or_else(|_| on(0)),
    }
}
