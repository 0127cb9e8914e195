//! Headers that every answer carries.

use std::net::IpAddr;

use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::StatusCode;
use axum::http::header::{self, HeaderName, HeaderValue};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::App;
use crate::review::listen::PATIENCE;

/// Nothing but our own files, no script or style in the page, nobody's frame,
/// and forms that go nowhere else.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; \
    media-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

const ALWAYS: [(HeaderName, &str); 8] = [
    (header::CONTENT_SECURITY_POLICY, POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (header::REFERRER_POLICY, "same-origin"),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("permissions-policy"),
        "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    ),
    // A page about a resident must not lie about in a cache.
    (header::CACHE_CONTROL, "no-store"),
];

/// Adds the headers.
pub async fn headers(State(app): State<App>, request: Request, next: Next) -> Response {
    let mut response = always(request, next).await;
    let headers = response.headers_mut();
    if app.station.secure {
        let year = HeaderValue::from_static("max-age=31536000");
        headers.insert(header::STRICT_TRANSPORT_SECURITY, year);
    }
    response
}

/// Adds those that every site of ours sends.
pub async fn always(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    for (name, value) in ALWAYS {
        let entry = headers.entry(name);
        entry.or_insert(HeaderValue::from_static(value));
    }
    response
}

/// No form here is long, or long on its way.
pub async fn bounded(request: Request, next: Next) -> Response {
    let (parts, body) = request.into_parts();
    let whole = to_bytes(body, super::guard::LONGEST_FORM);
    match tokio::time::timeout(PATIENCE, whole).await {
        Ok(Ok(body)) => next.run(Request::from_parts(parts, Body::from(body))).await,
        Ok(Err(_)) => (StatusCode::PAYLOAD_TOO_LARGE, "That form is too long.").into_response(),
        Err(_) => (StatusCode::REQUEST_TIMEOUT, "That form did not come whole.").into_response(),
    }
}

/// A name that somebody else's site could have given to this machine is not
/// answered to: its page would then be one of this site's.
pub async fn own_name(request: Request, next: Next) -> Response {
    let host = request.headers().get(header::HOST);
    let host = host.and_then(|it| it.to_str().ok()).unwrap_or_default();
    let name = match host.rsplit_once(':') {
        Some((name, port)) if port.bytes().all(|it| it.is_ascii_digit()) => name,
        _ => host,
    };
    let number = name.trim_start_matches('[').trim_end_matches(']');
    if name == "localhost" || number.parse::<IpAddr>().is_ok() {
        return next.run(request).await;
    }
    let why = "Open this page by its number, as Sayback printed it, or as localhost.";
    (StatusCode::FORBIDDEN, why).into_response()
}
