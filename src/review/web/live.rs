//! The style and script, and word of every change to the record.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::Extension;
use axum::extract::State;
use axum::http::header;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use tokio_stream::wrappers::WatchStream;
use tokio_stream::{Stream, StreamExt as _};

use super::guard::Token;
use crate::review::export;
use crate::review::station::Station;

const STYLE: &str = include_str!("../assets/style.css");
const SCRIPT: &str = include_str!("../assets/page.js");
/// These files hold nothing about anyone.
const CACHE: &str = "private, max-age=300";

/// The one style sheet.
pub async fn style() -> Response {
    file("text/css; charset=utf-8", STYLE)
}

/// The style of the printed pages.
pub async fn print_style() -> Response {
    file("text/css; charset=utf-8", export::STYLE)
}

/// The one script.
pub async fn script() -> Response {
    file("text/javascript; charset=utf-8", SCRIPT)
}

fn file(kind: &'static str, text: &'static str) -> Response {
    let headers = [(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, CACHE)];
    (headers, text).into_response()
}

/// Says that the record changed, each time it does, until the session ends. It
/// says no more: the page fetches itself anew.
pub async fn changes(
    State(station): State<Arc<Station>>,
    Extension(Token(token)): Extension<Token>,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let changes = WatchStream::from_changes(station.changes());
    let signed_in = move |_: &i64| {
        let session = station.sessions.get(&token, station.now(), false);
        session.is_some()
    };
    let events = changes
        .take_while(signed_in)
        .map(|seq| Ok(Event::default().event("changed").data(seq.to_string())));
    Sse::new(events).keep_alive(KeepAlive::new().interval(Duration::from_secs(15)))
}
