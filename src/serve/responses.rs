//! The forms in which the page is answered.

use http_body_util::Full;
use hyper::body::Bytes;
use hyper::header::{self, HeaderName, HeaderValue};
use hyper::{Response, StatusCode};
use serde_json::json;
use tokio::task::spawn_blocking;

use super::refusal::Refusal;

/// The page's own: scripts, styles and pictures from this server alone.
pub(super) const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; \
    form-action 'none'; base-uri 'none'; frame-ancestors 'none'";
/// The report's: it brings its styles along and has no script.
pub(super) const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; form-action 'none'; base-uri 'none'; \
    frame-ancestors 'none'";

pub(super) type Answer = Response<Full<Bytes>>;

pub(super) fn not_there() -> Refusal {
    Refusal::new(404, "That is not here.", "Go back to the page.")
}

pub(super) fn kind_of(name: &str) -> &'static str {
    match name.rsplit_once('.').map(|(_, ending)| ending) {
        Some("html") => "text/html; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("jpg") => "image/jpeg",
        Some("json") => "application/json",
        _ => "text/plain; charset=utf-8",
    }
}

/// Runs on a thread of its own what takes long or waits for the disk.
pub(super) async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Refusal> {
    let report = "Please report it as the README says under \"When something is wrong\".";
    spawn_blocking(work).await.map_err(|_| Refusal::new(500, "The program made a mistake.", report))
}

pub(super) fn plain(kind: &'static str, body: impl Into<Bytes>) -> Answer {
    let mut answer = Response::new(Full::new(body.into()));
    answer.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    answer
}

pub(super) fn bare(status: StatusCode) -> Answer {
    let mut answer = Response::new(Full::new(Bytes::new()));
    *answer.status_mut() = status;
    answer
}

/// To everybody without the token.
pub(super) fn nothing() -> Answer {
    let mut answer = plain(
        "text/plain; charset=utf-8",
        "There is nothing here. Open the address exactly as the terminal shows it.\n",
    );
    *answer.status_mut() = StatusCode::NOT_FOUND;
    answer
}

pub(super) fn moved(to: &str) -> Answer {
    let mut answer = bare(StatusCode::SEE_OTHER);
    if let Ok(to) = HeaderValue::from_str(to) {
        answer.headers_mut().insert(header::LOCATION, to);
    }
    answer
}

pub(super) fn refused(refusal: &Refusal) -> Answer {
    let mut answer = plain(
        "application/json",
        json!({ "what": refusal.what, "do": refusal.advice }).to_string(),
    );
    *answer.status_mut() =
        StatusCode::from_u16(refusal.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    answer
}

/// What every answer carries: no script from another place, no frame, no copy in any cache, no word
/// to other sites.
pub(super) fn with_headers(mut answer: Answer, policy: &'static str) -> Answer {
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
