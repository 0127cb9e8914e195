//! Requests to the pages: counted and, at the level "info", logged. A route is
//! named by its pattern, never by what was asked for.

use std::time::Instant;

use axum::extract::{MatchedPath, Request, State};
use axum::middleware::Next;
use axum::response::Response;

use super::METRICS;

/// Counts a request to a site, "station" or "bedside".
pub async fn count(State(site): State<&'static str>, request: Request, next: Next) -> Response {
    let matched = request.extensions().get::<MatchedPath>();
    let route = matched.map_or("none", MatchedPath::as_str).to_owned();
    let started = Instant::now();
    let response = next.run(request).await;
    let status = response.status().as_u16();
    let milliseconds = started.elapsed().as_secs_f64() * 1000.0;
    tracing::info!(site, route, status, milliseconds, "answered");
    let labels = [
        ("site", site.to_owned()),
        ("route", route),
        ("status", status.to_string()),
    ];
    METRICS.requests.get_or_create(&labels).inc();
    response
}
