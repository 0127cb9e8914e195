//! Facts as tables.

use comfy_table::{ContentArrangement, Table, presets};
use sayback::facts::{Body, Dropped, Fact, Time, TimeChange};
use sayback::residents::{Home, ResidentId};
use sayback::round::{crossed, shown};
use sayback::vitals::{Component, Measurement, VitalSign};

pub fn table(header: &[&str]) -> Table {
    let mut table = Table::new();
    table
        .load_style(presets::UTF8_FULL_CONDENSED)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(110)
        .set_header(header.to_vec());
    table
}

/// What a round stored, by resident: readings, refusals and reports.
pub fn stored_table(facts: &[Fact], home: &Home) -> Table {
    let mut table = table(&["Measured", "Resident", "What was stored", "Recorded by"]);
    for fact in facts {
        let Some((resident, what)) = content(&fact.body) else {
            continue;
        };
        let name = home.resident(resident);
        let name = name.map_or_else(|| resident.0.clone(), |it| it.name.clone());
        let time = match &fact.body {
            Body::Read(reading) => reading.measured_at,
            _ => fact.at,
        };
        let by = format!("{}, {}", fact.by.name, fact.by.title);
        table.add_row([time.format("%H:%M").to_string(), name, what, by]);
    }
    table
}

/// Every fact of a record.
pub fn record_table(facts: &[Fact]) -> Table {
    let mut table = table(&["Recorded", "Resident", "Fact", "By"]);
    for fact in facts {
        let (resident, what) = match content(&fact.body) {
            Some((resident, what)) => (resident.0.clone(), what),
            None => (String::new(), other(&fact.body)),
        };
        let at = fact.at.format("%Y-%m-%d %H:%M:%S %:z").to_string();
        table.add_row([at, resident, what, fact.by.name.clone()]);
    }
    table
}

fn content(body: &Body) -> Option<(&ResidentId, String)> {
    Some(match body {
        Body::Read(reading) => {
            let by_hand = reading.by_hand.as_ref();
            let by_hand = by_hand.map(|it| format!(" (entered by hand, taken by {})", it.taken_by));
            let what = shown(&reading.measurement) + &by_hand.unwrap_or_default();
            (&reading.resident, what)
        }
        Body::NotTaken {
            resident,
            signs,
            reason,
            ..
        } => {
            let names: Vec<&str> = signs.iter().map(|it| VitalSign::name(*it)).collect();
            let names = if names.is_empty() {
                "all that is due".into()
            } else {
                names.join(", ")
            };
            (
                resident,
                format!("not taken: {names} ({})", reason.spoken()),
            )
        }
        Body::Unconfirmed {
            resident, readings, ..
        } => {
            let readings: Vec<String> = readings.iter().map(shown).collect();
            (
                resident,
                format!("UNCONFIRMED, not a reading: {}", readings.join("; ")),
            )
        }
        Body::Flagged {
            resident, finding, ..
        } => (resident, format!("REPORT: {}", crossed(finding))),
        Body::RuleMet { resident, flag, .. } => (resident, format!("REPORT: {}", flag.say)),
        Body::Corrected {
            resident,
            old,
            new,
            time,
            ..
        } => (resident, corrected(old, new, *time)),
        Body::Retracted {
            resident, reason, ..
        } => (resident, format!("retracted: {reason}")),
        Body::Withdrawn {
            resident, flags, ..
        } => (resident, format!("reports withdrawn: {}", flags.len())),
        Body::ReportedToNurse { resident, to, .. } => (resident, format!("reported to {to}")),
        Body::Acknowledged {
            resident, flags, ..
        } => (
            resident,
            format!(
                "reports acknowledged, or rechecks withdrawn: {}",
                flags.len()
            ),
        ),
        Body::Noted { resident, text, .. } => (resident, format!("note: {text}")),
        Body::RecheckAsked {
            resident,
            sign,
            reason,
        } => (
            resident,
            format!("to be taken again: {} ({reason})", sign.name()),
        ),
        Body::RangeSet {
            resident,
            sign,
            component,
            bounds,
            withdrawn,
        } => {
            let part = match component {
                Component::Whole => String::new(),
                part => format!(", {}", part.name(*sign)),
            };
            let (low, high, unit) = (bounds.low, bounds.high, bounds.unit.symbol());
            (
                resident,
                if *withdrawn {
                    format!("range of {}{part} withdrawn: the home's", sign.name())
                } else {
                    format!("range of {}{part}: {low} to {high} {unit}", sign.name())
                },
            )
        }
        _ => return None,
    })
}

fn corrected(old: &Measurement, new: &Measurement, time: Option<TimeChange>) -> String {
    let at = |it: Time| it.format(" at %Y-%m-%d %H:%M").to_string();
    let is = time.map(|it| at(it.new)).unwrap_or_default();
    let was = time.map(|it| at(it.old)).unwrap_or_default();
    let (new, old) = (shown(new), shown(old));
    format!("corrected: {new}{is}, before: {old}{was}")
}

fn other(body: &Body) -> String {
    match body {
        Body::RoundOpened { home } => format!("round opened, {home}"),
        Body::RoundClosed { open_reports } => {
            format!("round closed, {open_reports} reports open")
        }
        Body::Recorder => "records from now on".to_owned(),
        Body::Identified { resident, name, .. } => format!("identified {name} ({})", resident.0),
        Body::Offered {
            read_back,
            unfinished: Some(_),
            ..
        } => format!("under way: {read_back}"),
        Body::Offered { read_back, .. } => format!("read back: {read_back}"),
        Body::Dropped {
            why: Dropped::Replaced,
            unfinished: true,
            ..
        } => "no longer under way".to_owned(),
        Body::Dropped { why, .. } => format!("not kept: {why:?}"),
        Body::Signed { signed, .. } => format!("round signed: {signed}"),
        Body::Retaken(it) => format!("taken again: {} after {}", it.again, it.first),
        _ => String::new(),
    }
}
