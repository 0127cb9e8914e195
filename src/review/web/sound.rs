//! The kept sound of a reading, for the player on its page. Whoever listens is
//! in the log of the door.

use std::ops::Range;
use std::sync::Arc;

use axum::Extension;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

use super::show::missing;
use crate::hearing::{RATE, wav_bytes};
use crate::review::pages;
use crate::review::sessions::Session;
use crate::review::station::Station;
use crate::store::SoundPart;

/// The kept sound of this part of a reading.
pub async fn played(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    Extension(part): Extension<SoundPart>,
    Path(id): Path<String>,
    method: Method,
    headers: HeaderMap,
) -> Response {
    let known = |id: &Uuid| station.index().reading(*id).is_some();
    let Some(id) = id.parse().ok().filter(known) else {
        return missing("reading");
    };
    let wav = match station.sound(id, part) {
        Ok(Some(samples)) => wav_bytes(RATE, &samples).map_err(|it| it.to_string()),
        Ok(None) => return missing("kept sound, or it is deleted"),
        Err(error) => Err(error.to_string()),
    };
    let wav = match wav {
        Ok(wav) => wav,
        Err(why) => return pages::problem(StatusCode::INTERNAL_SERVER_ERROR, &why),
    };
    let asked = headers.get(header::RANGE).and_then(|it| it.to_str().ok());
    let range = match asked.map(|it| range(it, wav.len())) {
        Some(Asked::Part(range)) => Some(range),
        Some(Asked::Nowhere) => {
            let length = [(header::CONTENT_RANGE, format!("bytes */{}", wav.len()))];
            return (StatusCode::RANGE_NOT_SATISFIABLE, length).into_response();
        }
        Some(Asked::Otherwise) | None => None,
    };
    // A player that goes to another place asks once more for the rest.
    if method == Method::GET && range.as_ref().is_none_or(|it| it.start == 0) {
        let what = match part {
            SoundPart::Reading => "reading",
            SoundPart::Yes => "yes to reading",
        };
        let (now, login) = (station.now(), &session.user.login);
        let line = format!("listened to the {what} {id}");
        station.accounts().log(now, login, &line);
    }
    let kind = [
        (header::CONTENT_TYPE, "audio/wav"),
        (header::ACCEPT_RANGES, "bytes"),
    ];
    match range {
        None => (kind, wav).into_response(),
        Some(range) => {
            let place = format!("bytes {}-{}/{}", range.start, range.end - 1, wav.len());
            let place = [(header::CONTENT_RANGE, place)];
            let part = wav[range].to_vec();
            (StatusCode::PARTIAL_CONTENT, kind, place, part).into_response()
        }
    }
}

/// Which bytes a player asks for.
#[derive(Debug, PartialEq, Eq)]
enum Asked {
    /// These.
    Part(Range<usize>),
    /// Some beyond the end.
    Nowhere,
    /// In a way that is not served, which is then answered with all (RFC 9110,
    /// section 14.2).
    Otherwise,
}

/// One range of bytes (RFC 9110, section 14.1.2).
fn range(header: &str, length: usize) -> Asked {
    let Some((first, last)) = header
        .strip_prefix("bytes=")
        .and_then(|it| it.split_once('-'))
    else {
        return Asked::Otherwise;
    };
    let (first, last) = (first.trim(), last.trim());
    let number = |it: &str| it.parse::<usize>().ok();
    let range = match (number(first), number(last)) {
        (Some(first), Some(last)) if first > last => return Asked::Otherwise,
        (Some(first), Some(last)) => first..length.min(last.saturating_add(1)),
        (Some(first), None) if last.is_empty() => first..length,
        (None, Some(last)) if first.is_empty() => length.saturating_sub(last)..length,
        _ => return Asked::Otherwise,
    };
    if range.is_empty() {
        Asked::Nowhere
    } else {
        Asked::Part(range)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_are_those_of_the_standard() {
        for (header, expected) in [
            ("bytes=0-", Asked::Part(0..100)),
            ("bytes=0-0", Asked::Part(0..1)),
            ("bytes=40-59", Asked::Part(40..60)),
            ("bytes=90-500", Asked::Part(90..100)),
            ("bytes=-10", Asked::Part(90..100)),
            ("bytes=-500", Asked::Part(0..100)),
            ("bytes=100-", Asked::Nowhere),
            ("bytes=-0", Asked::Nowhere),
            ("bytes=5-4", Asked::Otherwise),
            ("bytes=0-1,5-6", Asked::Otherwise),
            ("bytes=-", Asked::Otherwise),
            ("bytes=a-b", Asked::Otherwise),
            ("lines=0-1", Asked::Otherwise),
            ("bytes=0-99999999999999999999", Asked::Otherwise),
        ] {
            assert_eq!(range(header, 100), expected, "{header}");
        }
    }
}
