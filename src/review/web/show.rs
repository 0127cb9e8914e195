//! Pages that show.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use maud::Markup;
use uuid::Uuid;

use super::Asked;
use crate::facts::Body;
use crate::residents::ResidentId;
use crate::review::fields::Fields;
use crate::review::ledger::Arrivals;
use crate::review::pages::{self, Behind, List, OfSound, Outcome};
use crate::review::sessions::Session;
use crate::review::station::Station;
use crate::store::{SoundError, SoundPart};
use crate::vitals::VitalSign;

/// The answer where there is nothing.
pub async fn not_there() -> Response {
    pages::problem(StatusCode::NOT_FOUND, "There is no such page.")
}

pub(super) fn missing(what: &str) -> Response {
    pages::problem(StatusCode::NOT_FOUND, &format!("There is no such {what}."))
}

/// The worklist.
pub async fn worklist(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    Extension(fields): Extension<Fields>,
) -> Markup {
    let outcome = Outcome::told(&fields);
    let now = station.here_and_now();
    let reports: Vec<Uuid> = station.index().open_reports().map(|it| it.id).collect();
    // Without it the list is as good, but for what came late.
    let arrivals = station.arrivals(&reports).unwrap_or_else(|error| {
        tracing::warn!("when open reports arrived is not known: {error}");
        Arrivals::new()
    });
    let index = station.index();
    pages::worklist(&session, (&index, &arrivals), &fields, &outcome, now)
}

/// Everyone in the home.
pub async fn residents(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
) -> Markup {
    pages::residents(&session, &station.index())
}

/// One resident.
pub async fn resident(
    (State(station), Extension(session), Extension(fields), Path(id)): Asked,
) -> Response {
    let shown = (pages::span(&fields), &Outcome::told(&fields));
    resident_page(&station, &session, &ResidentId(id), shown)
}

/// One resident's page, after something was done or refused there.
pub fn resident_page(
    station: &Station,
    session: &Session,
    id: &ResidentId,
    shown: (u32, &Outcome),
) -> Response {
    let index = station.index();
    let Some(resident) = index.resident(id) else {
        return missing("resident in this home or its record");
    };
    // Of one who is not in the home's file there is only what was recorded.
    let mut session = session.clone();
    session.takes_acts &= index.home().resident(id).is_some();
    pages::resident(&session, &index, resident, shown, station.here_and_now()).into_response()
}

/// One vital sign of a resident over time.
pub async fn trend(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    Extension(fields): Extension<Fields>,
    Path((id, sign)): Path<(String, String)>,
) -> Response {
    let Some(sign) = VitalSign::from_tag(&sign) else {
        return missing("vital sign");
    };
    let index = station.index();
    let Some(resident) = index.resident(&ResidentId(id)) else {
        return missing("resident in this home or its record");
    };
    pages::trend(
        &session,
        &index,
        resident,
        sign,
        &fields,
        station.here_and_now(),
    )
    .into_response()
}

/// One reading.
pub async fn reading(
    (State(station), Extension(session), Extension(fields), Path(id)): Asked,
) -> Response {
    let Ok(id) = id.parse() else {
        return missing("reading");
    };
    reading_page(&station, &session, id, &Outcome::told(&fields))
}

/// One reading's page, after something was done or refused there.
pub fn reading_page(station: &Station, session: &Session, id: Uuid, outcome: &Outcome) -> Response {
    let asked = station
        .fact(id)
        .and_then(|it| Ok((it, station.arrivals(&[id])?)));
    let (fact, arrivals) = match asked {
        Ok((Some(fact), arrivals)) => (fact, arrivals),
        Ok((None, _)) => return missing("reading"),
        Err(error) => {
            return pages::problem(StatusCode::INTERNAL_SERVER_ERROR, &error.to_string());
        }
    };
    let sound = sound_of(station, id);
    let index = station.index();
    let (Some(entry), Body::Read(record)) = (index.reading(id), &fact.body) else {
        return missing("reading");
    };
    let behind = Behind {
        entry,
        fact: &fact,
        record,
        arrival: arrivals.get(&id),
        sound: &sound,
    };
    pages::reading(session, &index, behind, outcome, station.here_and_now()).into_response()
}

fn sound_of(station: &Station, id: Uuid) -> OfSound {
    if station.index().home().kept_sound.is_none() {
        return OfSound::Off;
    }
    match station.keeps_sound() {
        Some(true) => {}
        Some(false) => {
            let why = "what the station wrote when it was started says why";
            return OfSound::Broken(why.to_owned());
        }
        None => return OfSound::Elsewhere,
    }
    let both = || -> Result<OfSound, SoundError> {
        Ok(OfSound::Known {
            reading: station.sound_stands(id, SoundPart::Reading)?,
            yes: station.sound_stands(id, SoundPart::Yes)?,
        })
    };
    both().unwrap_or_else(|error| OfSound::Broken(error.to_string()))
}

/// The latest rounds, or older ones.
pub async fn rounds(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    Extension(fields): Extension<Fields>,
) -> Response {
    let (index, now) = (station.index(), station.here_and_now());
    if fields.get("before").is_empty() {
        return pages::rounds(&session, &index, now).into_response();
    }
    match (List::named(fields.get("list")), fields.id("before")) {
        (Some(list), Some(before)) => {
            pages::rounds_before(&session, &index, list, before, now).into_response()
        }
        _ => missing("page of rounds"),
    }
}

/// One round.
pub async fn round(
    (State(station), Extension(session), Extension(fields), Path(id)): Asked,
) -> Response {
    let Ok(id) = id.parse() else {
        return missing("round");
    };
    round_page(&station, &session, id, &Outcome::told(&fields))
}

/// One round's page, after something was done or refused there.
pub fn round_page(station: &Station, session: &Session, id: Uuid, outcome: &Outcome) -> Response {
    let index = station.index();
    let Some(round) = index.round(id) else {
        return missing("round");
    };
    pages::round(session, &index, round, outcome, station.here_and_now()).into_response()
}

/// Readings that match.
pub async fn find(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    Extension(fields): Extension<Fields>,
) -> Markup {
    pages::find(&session, &station.index(), &fields, station.here_and_now())
}
