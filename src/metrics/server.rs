//! The numbers over HTTP, on this machine only.

use std::net::{SocketAddr, TcpListener};

use axum::Router;
use axum::http::{StatusCode, header};
use axum::middleware::from_fn;
use axum::response::{IntoResponse, Response};
use axum::routing::get;

use crate::review::{always, answer_apart, own_name};

/// What the text says it is.
pub const MEDIA_TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Answers `/metrics` at an address of this machine, on a thread of its own.
/// Returns the address.
///
/// # Errors
/// What is wrong with the address, in words.
pub fn open(address: SocketAddr) -> Result<SocketAddr, String> {
    if !address.ip().is_loopback() {
        return Err(format!(
            "the metrics cannot be at {address}: they are given to this machine only; give \
             127.0.0.1 with a port, and let the monitor's agent run here"
        ));
    }
    let wrong = |error: std::io::Error| format!("the metrics cannot be at {address}: {error}");
    let listener = TcpListener::bind(address).map_err(wrong)?;
    let at = listener.local_addr().map_err(wrong)?;
    let app = Router::new()
        .route("/metrics", get(metrics))
        .layer(from_fn(own_name))
        .layer(from_fn(always));
    answer_apart("the metrics", listener, None, app)?;
    Ok(at)
}

async fn metrics() -> Response {
    match super::text() {
        Ok(text) => ([(header::CONTENT_TYPE, MEDIA_TYPE)], text).into_response(),
        Err(_) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}
