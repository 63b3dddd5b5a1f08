//! Orders of the page: photos that come in, and the few words that change the job.

use std::sync::Arc;
use std::time::Duration;

use http_body_util::{BodyExt, Limited};
use hyper::body::Incoming;
use hyper::{Request, header};
use serde::Deserialize;
use serde_json::json;
use tokio::time::timeout;

use super::name::unescaped;
use super::refusal::Refusal;
use super::responses::{Answer, blocking, not_there, plain};
use super::served::Served;
use super::take::{MOST_PHOTOS, room_for_more, take};
use super::upload::{check_size, receive};
use super::{back, change, report};

/// A photo waits this long for its turn; then its phone is asked to send it again.
const TURN: Duration = Duration::from_secs(20);

/// An order is a few words.
const ORDER_BYTES: usize = 1000;
const ORDER_TIME: Duration = Duration::from_secs(10);

/// What the phone says that it is going to send.
#[derive(Deserialize)]
struct Announced {
    photos: usize,
    largest: u64,
}

pub(super) async fn ordered(
    act: String,
    request: Request<Incoming>,
    served: Arc<Served>,
) -> Result<Answer, Refusal> {
    if act == "photo" {
        return photo(request, served).await;
    }
    let too_long = |_| {
        Refusal::new(
            413,
            "This is larger than any request that the page makes.",
            "Load the page again.",
        )
    };
    let body = timeout(ORDER_TIME, Limited::new(request.into_body(), ORDER_BYTES).collect()).await;
    let body = body
        .map_err(|_| Refusal::new(408, "The request did not arrive whole.", "Press again."))?
        .map_err(too_long)?;
    let text = String::from_utf8_lossy(&body.to_bytes()).into_owned();
    let done = blocking(move || {
        let bench = &served.bench;
        match act.as_str() {
            "announce" => announced(served.as_ref(), &text),
            "turned" => change::turn_to(bench, &text),
            "move" => change::move_photo(bench, &text),
            "back" => back::put_back(bench),
            "tick" => change::tick(bench, &text),
            "report" => report::make(bench),
            "evening" => change::next_evening(bench),
            "evening-before" => change::previous_evening(bench),
            _ => Err(not_there()),
        }
    });
    done.await??;
    Ok(plain("application/json", json!({ "ok": true }).to_string()))
}

/// Refuses before anything is sent what would be refused afterwards.
fn announced(served: &Served, text: &str) -> Result<(), Refusal> {
    let announced: Announced = serde_json::from_str(text).map_err(|_| {
        Refusal::new(
            400,
            "The page announced something that was not understood.",
            "Load the page again.",
        )
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

pub(super) async fn photo(
    request: Request<Incoming>,
    served: Arc<Served>,
) -> Result<Answer, Refusal> {
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
