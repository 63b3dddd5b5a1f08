//! The server: who may ask for what, and in which form it is answered.
//!
//! Whoever does not know the token gets one and the same answer to everything. Orders (POST) must
//! come from the page itself: they carry a header of its own, which no other site's page can set,
//! and an origin that is this server's where the browser names one.

use std::convert::Infallible;
use std::io;
use std::sync::Arc;
use std::time::Duration;

use http_body_util::{BodyExt, Full, Limited};
use hyper::body::{Bytes, Incoming};
use hyper::header::{self, HeaderMap, HeaderName, HeaderValue};
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper::{Method, Request, Response, StatusCode};
use hyper_util::rt::{TokioIo, TokioTimer};
use serde::Deserialize;
use serde_json::json;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::task::spawn_blocking;
use tokio::time::{sleep, timeout};

use super::name::unescaped;
use super::refusal::Refusal;
use super::state::Bench;
use super::take::{MOST_PHOTOS, room_for_more, take};
use super::upload::{check_size, receive};
use super::{change, page, parts, report, token};
use crate::glance::drawn::drawn_for_phone;
use crate::glance::seen::{Photographed, glance};
use crate::guarded::guarded;
use crate::photo::room::Room;

/// Connections at a time: two phones open some twelve. Whoever comes later waits.
const CONNECTIONS: usize = 64;
/// Photos that come in at a time, and that are looked at: each of these takes some hundred
/// megabytes.
const UPLOADS: usize = 4;
const LOOKS: usize = 2;
/// A photo waits so long for its turn; then its phone is told to send it again.
const TURN: Duration = Duration::from_secs(20);
/// A request's head must be there in so long; so must the next one on an open connection.
const HEAD_TIME: Duration = Duration::from_secs(40);
const HEAD_BYTES: usize = 32 * 1024;
/// An order is a few words.
const ORDER_BYTES: usize = 1000;
const ORDER_TIME: Duration = Duration::from_secs(10);
/// A phone that waits for news is told "nothing yet" after so long.
const NO_NEWS: Duration = Duration::from_secs(20);
/// What reads and writes for the page has no reason to end before the page does: a year.
const AS_LONG_AS_THE_PAGE: Duration = Duration::from_secs(365 * 24 * 3600);
/// After a connection could not be opened.
const PAUSE: Duration = Duration::from_millis(100);

/// The page's own: scripts, styles and pictures from this server alone.
const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; \
    form-action 'none'; base-uri 'none'; frame-ancestors 'none'";
/// The report's: it brings its styles along and has no script.
const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; form-action 'none'; base-uri 'none'; \
    frame-ancestors 'none'";
/// The header that the page's own orders carry.
const OWN_HEADER: &str = "x-bench";

/// What all connections share.
pub struct Served {
    pub bench: Bench,
    token: String,
    connections: Arc<Semaphore>,
    uploads: Semaphore,
    looks: Semaphore,
}

impl Served {
    pub fn new(bench: Bench, token: String) -> Self {
        Self {
            bench,
            token,
            connections: Arc::new(Semaphore::new(CONNECTIONS)),
            uploads: Semaphore::new(UPLOADS),
            looks: Semaphore::new(LOOKS),
        }
    }
}

/// Serves until the program ends.
pub fn run(listeners: Vec<std::net::TcpListener>, served: Arc<Served>) -> io::Result<()> {
    let mut builder = tokio::runtime::Builder::new_current_thread();
    let runtime = builder
        .enable_io()
        .enable_time()
        .max_blocking_threads(24)
        .thread_keep_alive(AS_LONG_AS_THE_PAGE)
        .build()?;
    runtime.block_on(async {
        // From here on there is a thread for what waits for the disk, whatever the system gives
        // later.
        spawn_blocking(|| ()).await.map_err(io::Error::other)?;
        let mut doors = Vec::new();
        for listener in listeners {
            listener.set_nonblocking(true)?;
            doors.push(tokio::spawn(open_door(TcpListener::from_std(listener)?, served.clone())));
        }
        for door in doors {
            door.await.map_err(io::Error::other)?;
        }
        Ok(())
    })
}

async fn open_door(listener: TcpListener, served: Arc<Served>) {
    loop {
        let Ok(permit) = served.connections.clone().acquire_owned().await else { return };
        match listener.accept().await {
            Ok((stream, _)) => {
                let served = served.clone();
                tokio::spawn(async move {
                    serve_one(stream, served).await;
                    drop(permit);
                });
            }
            Err(_) => sleep(PAUSE).await,
        }
    }
}

async fn serve_one(stream: TcpStream, served: Arc<Served>) {
    let service = service_fn(move |request| {
        let served = served.clone();
        async move { Ok::<_, Infallible>(answered(request, served).await) }
    });
    // A phone that went away is no error of anybody's.
    let _ = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_TIME)
        .max_buf_size(HEAD_BYTES)
        .serve_connection(TokioIo::new(stream), service)
        .await;
}

type Answer = Response<Full<Bytes>>;

async fn answered(request: Request<Incoming>, served: Arc<Served>) -> Answer {
    let path = request.uri().path().to_owned();
    let (offered, rest) = path
        .strip_prefix('/')
        .unwrap_or(&path)
        .split_once('/')
        .map_or((path.trim_start_matches('/'), None), |(token, rest)| (token, Some(rest)));
    if !token::is_same(offered.as_bytes(), served.token.as_bytes()) {
        return with_headers(nothing(), PAGE_POLICY);
    }
    let Some(rest) = rest else {
        // Addresses in the page are relative to this one.
        return with_headers(moved(&format!("/{}/", served.token)), PAGE_POLICY);
    };
    let policy = if rest.starts_with("report/") { REPORT_POLICY } else { PAGE_POLICY };
    let answer = match *request.method() {
        Method::GET => got(rest, served).await,
        Method::POST => match is_own(request.headers()) {
            true => ordered(rest.to_owned(), request, served).await,
            false => Err(Refusal::new(
                403,
                "This did not come from the page itself.",
                "Open the address that the terminal shows.",
            )),
        },
        _ => Err(Refusal::new(
            405,
            "This can't be asked for so.",
            "Open the address that the terminal shows.",
        )),
    };
    with_headers(answer.unwrap_or_else(|refusal| refused(&refusal)), policy)
}

/// Whether an order comes from the page that this server gave out.
fn is_own(headers: &HeaderMap) -> bool {
    let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    let same_origin = match (text("origin"), text("host")) {
        (Some(origin), Some(host)) => origin.strip_prefix("http://") == Some(host),
        (Some(_), None) => false,
        (None, _) => true,
    };
    let same_site = text("sec-fetch-site").is_none_or(|site| site == "same-origin");
    text(OWN_HEADER) == Some("1") && same_origin && same_site
}

async fn got(rest: &str, served: Arc<Served>) -> Result<Answer, Refusal> {
    let rest = rest.to_owned();
    if let Some(seen) = rest.strip_prefix("state/") {
        let (since, mine) = seen.split_once('/').unwrap_or((seen, ""));
        return news(since.parse().unwrap_or(0), mine.to_owned(), served).await;
    }
    if let Some(key) = rest.strip_prefix("seen/").and_then(|name| name.strip_suffix(".jpg")) {
        return picture(key.to_owned(), served).await;
    }
    match rest.as_str() {
        "" => Ok(plain("text/html; charset=utf-8", page::page(&served.bench.read()))),
        "page.css" => Ok(plain("text/css; charset=utf-8", page::CSS)),
        "page.js" => Ok(plain("text/javascript; charset=utf-8", page::SCRIPT)),
        "result.json" => {
            let told = served.bench.read().told.clone();
            told.map(|told| plain("application/json", told.json.clone())).ok_or_else(not_there)
        }
        _ => {
            let files = served.bench.read().report.clone().ok_or_else(not_there)?;
            let name = rest.strip_prefix("report/").ok_or_else(not_there)?;
            // Looked up among the report's own files in memory: no name leads anywhere else.
            files.get(name).map(|bytes| plain(kind_of(name), bytes.clone())).ok_or_else(not_there)
        }
    }
}

fn not_there() -> Refusal {
    Refusal::new(404, "That is not here.", "Go back to the page.")
}

fn kind_of(name: &str) -> &'static str {
    match name.rsplit_once('.').map(|(_, ending)| ending) {
        Some("html") => "text/html; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("jpg") => "image/jpeg",
        Some("json") => "application/json",
        _ => "text/plain; charset=utf-8",
    }
}

/// The page's sections as soon as they are others than at version `since`.
async fn news(since: u64, mine: String, served: Arc<Served>) -> Result<Answer, Refusal> {
    let mut versions = served.bench.versions();
    if *versions.borrow_and_update() == since && timeout(NO_NEWS, versions.changed()).await.is_err()
    {
        return Ok(bare(StatusCode::NO_CONTENT));
    }
    let version = *versions.borrow_and_update();
    let text = blocking(move || {
        let parts = guarded("The page can't be shown.", || {
            parts::parts(&served.bench.read(), version, &mine)
        });
        parts
            .map_err(|mistake| Refusal::new(500, mistake.what, mistake.advice))
            .map(|parts| json!(parts).to_string())
    })
    .await??;
    Ok(plain("application/json", text))
}

/// A photo with what was seen drawn on it.
async fn picture(key: String, served: Arc<Served>) -> Result<Answer, Refusal> {
    let at_hand = served.bench.read().picture(&key);
    if let Some(bytes) = at_hand {
        return Ok(plain("image/jpeg", bytes.to_vec()));
    }
    let _permit = served.looks.acquire().await.map_err(|_| not_there())?;
    let served = served.clone();
    let drawn = blocking(move || {
        let (path, job) = {
            let state = served.bench.read();
            (state.photo(&key)?.path.clone(), state.job.clone())
        };
        let _room = Room::for_photo(&path);
        let what = Photographed { name: "", path: &path, setup: None, for_the_lens: false };
        let bytes =
            guarded("The picture can't be shown.", || drawn_for_phone(&path, &glance(&what, &job)))
                .ok()??;
        served.bench.read().keep_picture(&key, bytes.clone());
        Some(bytes)
    });
    drawn.await?.map(|bytes| plain("image/jpeg", bytes)).ok_or_else(not_there)
}

/// What the phone says that it is going to send.
#[derive(Deserialize)]
struct Announced {
    photos: usize,
    largest: u64,
}

async fn ordered(
    act: String,
    request: Request<Incoming>,
    served: Arc<Served>,
) -> Result<Answer, Refusal> {
    if act == "photo" {
        return photo(request, served).await;
    }
    let too_long =
        |_| Refusal::new(413, "This is more than any order of the page's.", "Load the page again.");
    let body = timeout(ORDER_TIME, Limited::new(request.into_body(), ORDER_BYTES).collect()).await;
    let body = body
        .map_err(|_| Refusal::new(408, "The order did not come in whole.", "Press again."))?
        .map_err(too_long)?;
    let text = String::from_utf8_lossy(&body.to_bytes()).into_owned();
    let done = blocking(move || {
        let bench = &served.bench;
        match act.as_str() {
            "announce" => announced(served.as_ref(), &text),
            "turned" => change::turn_to(bench, &text),
            "move" => change::move_photo(bench, &text),
            "tick" => change::tick(bench, &text),
            "report" => report::make(bench),
            "evening" => change::next_evening(bench),
            _ => Err(not_there()),
        }
    });
    done.await??;
    Ok(plain("application/json", json!({ "ok": true }).to_string()))
}

/// Refuses before anything is sent what would be refused afterwards.
fn announced(served: &Served, text: &str) -> Result<(), Refusal> {
    let announced: Announced = serde_json::from_str(text).map_err(|_| {
        Refusal::new(400, "What is going to be sent was not understood.", "Load the page again.")
    })?;
    check_size(announced.largest)?;
    let state = served.bench.read();
    room_for_more(&state)?;
    let left = MOST_PHOTOS.saturating_sub(state.photos.len());
    if announced.photos > left {
        return Err(Refusal::new(
            413,
            format!(
                "{} photos were chosen, and {left} more are taken this evening.",
                announced.photos
            ),
            "Choose the photos of this one bike and evening: six or so of each wheel position are enough.",
        ));
    }
    Ok(())
}

async fn photo(request: Request<Incoming>, served: Arc<Served>) -> Result<Answer, Refusal> {
    let name = request
        .headers()
        .get("x-name")
        .map_or(String::new(), |name| unescaped(&String::from_utf8_lossy(name.as_bytes())));
    let length = request
        .headers()
        .get(header::CONTENT_LENGTH)
        .and_then(|length| length.to_str().ok()?.parse().ok());
    check_size(length.unwrap_or(0))?;
    room_for_more(&served.bench.read())?;
    let busy = || Refusal::new(503, "Other photos are coming in.", "It is sent again in a moment.");
    let permit = timeout(TURN, served.uploads.acquire()).await.map_err(|_| busy())?;
    let _permit = permit.map_err(|_| busy())?;
    let folder = served.bench.read().evening.folder.clone();
    let received = receive(request.into_body(), folder, length).await?;
    let _look = served.looks.acquire().await.map_err(|_| not_there())?;
    let for_look = served.clone();
    let filed = blocking(move || take(&for_look.bench, received, &name)).await??;
    Ok(plain(
        "application/json",
        json!({ "ok": true, "key": filed.key, "again": filed.again }).to_string(),
    ))
}

/// Runs on a thread of its own what takes long or waits for the disk.
async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Refusal> {
    let report = "Please report it as the README says under \"When something is wrong\".";
    spawn_blocking(work).await.map_err(|_| Refusal::new(500, "The program made a mistake.", report))
}

fn plain(kind: &'static str, body: impl Into<Bytes>) -> Answer {
    let mut answer = Response::new(Full::new(body.into()));
    answer.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    answer
}

fn bare(status: StatusCode) -> Answer {
    let mut answer = Response::new(Full::new(Bytes::new()));
    *answer.status_mut() = status;
    answer
}

/// To everybody without the token.
fn nothing() -> Answer {
    let mut answer = plain(
        "text/plain; charset=utf-8",
        "There is nothing here. Open the address exactly as the terminal shows it.\n",
    );
    *answer.status_mut() = StatusCode::NOT_FOUND;
    answer
}

fn moved(to: &str) -> Answer {
    let mut answer = bare(StatusCode::SEE_OTHER);
    if let Ok(to) = HeaderValue::from_str(to) {
        answer.headers_mut().insert(header::LOCATION, to);
    }
    answer
}

fn refused(refusal: &Refusal) -> Answer {
    let mut answer = plain(
        "application/json",
        json!({ "what": refusal.what, "do": refusal.advice }).to_string(),
    );
    *answer.status_mut() =
        StatusCode::from_u16(refusal.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    answer
}

/// What every answer carries: no script from elsewhere, no frame, no copy in any cache, no word to
/// other sites.
fn with_headers(mut answer: Answer, policy: &'static str) -> Answer {
    let fixed: [(HeaderName, &'static str); 8] = [
        (header::CONTENT_SECURITY_POLICY, policy),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
        (HeaderName::from_static("x-robots-tag"), "noindex"),
    ];
    for (name, value) in fixed {
        answer.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    answer
}
