//! Pages to print and files to take away, of one round or one resident.

use std::collections::HashSet;
use std::sync::Arc;

use axum::Extension;
use axum::extract::{Path, State};
use axum::http::{Method, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use chrono::TimeDelta;
use uuid::Uuid;

use super::show::missing;
use crate::facts::{Body, NO_ROUND};
use crate::residents::{Home, ResidentId};
use crate::review::export::fhir::{Links, PatientSystem, collection, left_out, resources};
use crate::review::export::sheet::round_sheet;
use crate::review::export::summary::summary;
use crate::review::export::{Chart, Selection, Style, csv};
use crate::review::pages;
use crate::review::sessions::Session;
use crate::review::station::Station;
use crate::store::{Readable, StoreError};

/// The style of the printed pages, where they do not carry it inside.
pub const PRINT_STYLE: &str = "/print.css";

/// What is taken.
#[derive(Clone)]
enum Of {
    Round(Uuid),
    Resident(ResidentId),
}

impl Of {
    /// What is no identifier is no round's, and so is not found.
    fn round(id: &str) -> Self {
        Self::Round(id.parse().unwrap_or_default())
    }
}

#[derive(Clone, Copy)]
enum Form {
    Paper,
    Csv,
    Fhir,
}

/// The sheet of a round.
pub async fn sheet(State(station): State<Arc<Station>>, Path(id): Path<String>) -> Response {
    taken(station, Of::round(&id), Form::Paper).await
}

/// A page about a resident.
pub async fn about(State(station): State<Arc<Station>>, Path(id): Path<String>) -> Response {
    taken(station, Of::Resident(ResidentId(id)), Form::Paper).await
}

/// A round as CSV.
pub async fn round_csv(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    method: Method,
    Path(id): Path<String>,
) -> Response {
    let what = format!("round {id} as CSV");
    given((station, session, method), Of::round(&id), Form::Csv, &what).await
}

/// A round as a FHIR Bundle.
pub async fn round_fhir(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    method: Method,
    Path(id): Path<String>,
) -> Response {
    let what = format!("round {id} as FHIR");
    given(
        (station, session, method),
        Of::round(&id),
        Form::Fhir,
        &what,
    )
    .await
}

/// A resident as CSV.
pub async fn resident_csv(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    method: Method,
    Path(id): Path<String>,
) -> Response {
    let what = format!("resident {id} as CSV");
    let of = Of::Resident(ResidentId(id));
    given((station, session, method), of, Form::Csv, &what).await
}

/// A resident as a FHIR Bundle.
pub async fn resident_fhir(
    State(station): State<Arc<Station>>,
    Extension(session): Extension<Session>,
    method: Method,
    Path(id): Path<String>,
) -> Response {
    let what = format!("resident {id} as FHIR");
    let of = Of::Resident(ResidentId(id));
    given((station, session, method), of, Form::Fhir, &what).await
}

/// A file leaves the station: the log says who took it, or it does not leave.
async fn given(
    (station, session, method): (Arc<Station>, Session, Method),
    of: Of,
    form: Form,
    what: &str,
) -> Response {
    let answer = taken(Arc::clone(&station), of, form).await;
    if method != Method::GET || answer.status() != StatusCode::OK {
        return answer;
    }
    let (at, login) = (station.now(), &session.user.login);
    let logged = station
        .accounts()
        .must_log(at, login, &format!("took {what}"));
    match logged {
        Ok(()) => answer,
        Err(error) => {
            tracing::error!("the log of the accounts can't be written: {error}");
            let why = "Nothing was made: that it was taken could not be written to the log of \
                       the accounts. Is the disk full?";
            pages::problem(StatusCode::INTERNAL_SERVER_ERROR, why)
        }
    }
}

/// Looks the facts up and writes them down, away from the other pages' thread.
async fn taken(station: Arc<Station>, of: Of, form: Form) -> Response {
    let made = tokio::task::spawn_blocking(move || make(&station, &of, form)).await;
    match made {
        Ok(Ok(Some(response))) => response,
        Ok(Ok(None)) => missing("round or resident in this record"),
        Ok(Err(why)) => pages::problem(StatusCode::INTERNAL_SERVER_ERROR, &why),
        Err(_) => pages::problem(StatusCode::INTERNAL_SERVER_ERROR, "It could not be made."),
    }
}

fn make(station: &Station, of: &Of, form: Form) -> Result<Option<Response>, String> {
    let mut home = station.index().home().clone();
    let asked = |facts: Result<Readable, StoreError>| facts.map_err(|error| error.to_string());
    let (read, round) = match of {
        Of::Round(id) => {
            let mut read = asked(station.facts_of_round(*id))?;
            beside(station, (*id, form), &mut read).map_err(|error| error.to_string())?;
            (read, Some(*id))
        }
        Of::Resident(id) => {
            if home.resident(id).is_none() {
                let known = station.index().resident(id).cloned();
                let Some(known) = known else {
                    return Ok(None);
                };
                home.residents.push(known);
            }
            (asked(station.facts_about(id))?, None)
        }
    };
    let mut chart = Chart::of(&read.facts);
    chart.unread = &read.unread;
    chart.head = station.head().map_err(|error| error.to_string())?;
    let selection = Selection {
        since: None,
        resident: match of {
            Of::Resident(id) => Some(id.clone()),
            Of::Round(_) => None,
        },
    };
    if round.is_some() && chart.rounds.is_empty() {
        return Ok(None);
    }
    for round in &mut chart.rounds {
        // The facts of others are not among these in the order of the record.
        if let Some(known) = station.index().round(round.id) {
            round.since_signed = known.since_signed.clone();
        }
    }
    // Of several that were taken one is told from another; whose they are, no name of a file says.
    let own = chart.rounds.iter().find(|it| Some(it.id) == round);
    let name = own.map_or_else(
        || "resident".to_owned(),
        |it| it.opened.at.format("round-%Y-%m-%d-%H%M").to_string(),
    );
    let file = |kind: &'static str, ending: &str, text: String| {
        let name = format!("attachment; filename=\"{name}.{ending}\"");
        let headers = [
            (header::CONTENT_TYPE, kind.to_owned()),
            (header::CONTENT_DISPOSITION, name),
        ];
        Ok(Some((headers, text).into_response()))
    };
    match form {
        Form::Paper => {
            let style = Style::At(PRINT_STYLE);
            let page = match round {
                Some(_) => {
                    let offsets = station.here_and_now().offsets;
                    round_sheet(&chart, &home, round, style, offsets)
                }
                None => Some(summary(&chart, &home, &selection, style)),
            };
            Ok(page.map(|it| Html(it).into_response()))
        }
        Form::Csv => {
            let table = csv::table(&chart, &home, &selection).map_err(|it| it.to_string())?;
            file("text/csv; charset=utf-8", "csv", table)
        }
        Form::Fhir => {
            let bundle = bundle(&chart, &home, &selection)?;
            file("application/fhir+json", "json", bundle)
        }
    }
}

/// Adds what belongs with a round and is of no round or of another: what was done to its
/// readings, or became of their reports, in a later one; and on a sheet, what nurses
/// entered from paper. What of that belongs beside this round, the sheet says.
fn beside(
    station: &Station,
    (round, form): (Uuid, Form),
    read: &mut Readable,
) -> Result<(), StoreError> {
    let own = read.facts.iter().filter_map(|it| match it.body {
        Body::Read(_) => Some(it.id),
        _ => None,
    });
    let mut readings: Vec<Uuid> = own.collect();
    let mut any_outside = false;
    let mut there: HashSet<Uuid> = read.facts.iter().map(|it| it.id).collect();
    let lacking: Vec<Uuid> = {
        let index = station.index();
        if matches!(form, Form::Paper)
            && let Some(round) = index.round(round)
        {
            let day = TimeDelta::days(1);
            let near = round.opened - day..=round.last + day;
            let mut outside = index.outside_rounds();
            outside.retain(|it| near.contains(&it.measured_at));
            any_outside = !outside.is_empty();
            readings.extend(outside.iter().map(|it| it.id));
        }
        let behind = readings.iter().flat_map(|it| index.facts_behind(*it));
        behind.filter(|it| there.insert(*it)).collect()
    };
    for id in lacking {
        read.facts.extend(station.fact(id)?);
    }
    if any_outside {
        let unread = station.facts_of_round(NO_ROUND)?.unread;
        read.unread.extend(unread);
    }
    Ok(())
}

fn bundle(chart: &Chart, home: &Home, selection: &Selection) -> Result<String, String> {
    let system = PatientSystem::of_home(home);
    let (patients, written) = resources(chart, home, &system, Links::Bundle, selection);
    let bundle = collection(patients, written).lacking(left_out(chart, selection));
    let bundle = bundle.of_record_at(chart.head.as_ref());
    serde_json::to_string_pretty(&bundle).map_err(|error| error.to_string())
}
