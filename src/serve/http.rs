//! The server: who may ask for what, and in which form it is answered.
//!
//! Without the token every request gets one and the same answer. Orders (POST) must
//! come from the page itself: they carry a header of its own, which no other site's page can set,
//! and an origin that is this server's where the browser names one.

use std::convert::Infallible;
use std::io;
use std::sync::Arc;
use std::time::Duration;

use hyper::body::Incoming;
use hyper::header::HeaderMap;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper::{Method, Request, StatusCode};
use hyper_util::rt::{TokioIo, TokioTimer};
use serde_json::json;
use tokio::net::{TcpListener, TcpStream};
use tokio::task::spawn_blocking;
use tokio::time::{sleep, timeout};

use crate::glance::drawn::drawn_for_phone;
use crate::glance::seen::{Photographed, glance};
use crate::guarded::guarded;
use crate::photo::room::Room;

use super::orders::ordered;
use super::refusal::Refusal;
use super::responses::{
    Answer, PAGE_POLICY, REPORT_POLICY, bare, blocking, kind_of, moved, not_there, nothing, plain,
    refused, with_headers,
};
use super::served::Served;
use super::{page, parts, past, report, token};

/// A request's head must be there within this time; so must the next one on an open connection.
const HEAD_TIME: Duration = Duration::from_secs(40);
const HEAD_BYTES: usize = 32 * 1024;

/// A phone that waits for news gets "nothing yet" after this time.
const NO_NEWS: Duration = Duration::from_secs(20);
/// What reads and writes for the page has no reason to end before the page does: a year.
const AS_LONG_AS_THE_PAGE: Duration = Duration::from_secs(365 * 24 * 3600);
/// After a connection could not be opened.
const PAUSE: Duration = Duration::from_millis(100);

/// The header that the page's own orders carry.
const OWN_HEADER: &str = "x-bench";

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
    let is_report = ["report/", "evening/"].iter().any(|begins| rest.starts_with(begins));
    let policy = if is_report { REPORT_POLICY } else { PAGE_POLICY };
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
            "The page does not answer such a request.",
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
    if let Some(asked) = rest.strip_prefix("evening/") {
        let asked = asked.to_owned();
        let page = blocking(move || past::report(&served.bench, &asked)).await?;
        return page.map(|page| plain(kind_of(".html"), page)).ok_or_else(not_there);
    }
    match rest.as_str() {
        // How a phone learns that the computer is there, and awake.
        "alive" => Ok(bare(StatusCode::NO_CONTENT)),
        "" => Ok(plain("text/html; charset=utf-8", page::page(&served.bench.read()))),
        "page.css" => Ok(plain("text/css; charset=utf-8", page::CSS)),
        "page.js" => Ok(plain("text/javascript; charset=utf-8", page::SCRIPT)),
        "result.json" => {
            let result = served.bench.read().last_result.clone();
            result
                .map(|result| plain("application/json", result.json.clone()))
                .ok_or_else(not_there)
        }
        _ => {
            let name = rest.strip_prefix("report/").ok_or_else(not_there)?.to_owned();
            let kind = kind_of(&name);
            // Looked up among the report's own files in memory: no name leads anywhere else.
            let bytes = blocking(move || report::file(&served.bench, &name)).await?;
            bytes.map(|bytes| plain(kind, bytes)).ok_or_else(not_there)
        }
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
