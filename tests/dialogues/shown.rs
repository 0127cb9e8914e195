//! Facts as the scripts write them.

use std::fmt::Write as _;

use sayback::facts::{Body, Fact, KeptReading};
use sayback::hearing::By;
use sayback::vitals::{Measurement, Qualifier, Supply, Value, Working};

fn measurement(it: &Measurement) -> String {
    let mut text = it.sign().tag().to_owned();
    match it.value() {
        Value::One(quantity) => write!(text, " {} {}", quantity.value(), quantity.unit().symbol()),
        Value::Pressure {
            systolic,
            diastolic,
        } => {
            write!(text, " {}/{}", systolic.value(), diastolic.value())
        }
        Value::Palpated { systolic } => write!(text, " {}/P", systolic.value()),
        Value::Level(level) => write!(text, " {}", level.tag()),
        Value::NotRated => write!(text, " not rated"),
    }
    .unwrap();
    for qualifier in it.qualifiers().iter() {
        match qualifier {
            Qualifier::Supply(Supply::Oxygen(Some(litres))) => write!(text, ", oxygen {litres}"),
            other => write!(text, ", {}", other.spoken()),
        }
        .unwrap();
    }
    text
}

/// The facts that a script must name; offers and their answers it may leave out.
pub fn show(fact: &Fact<KeptReading>) -> Option<String> {
    Some(match &fact.body {
        Body::Read(reading) => {
            let record = reading.record();
            let late = if record.measured_at == record.spoken_at {
                String::new()
            } else {
                record.measured_at.format(" at %H:%M").to_string()
            };
            let looked = if record.second_look {
                ", looked twice"
            } else {
                ""
            };
            let worked = match record.working {
                None => String::new(),
                Some(Working::Counted { count, seconds }) => {
                    format!("; counted {count} in {seconds}")
                }
                Some(Working::Bars { large, small }) => format!("; bars {large} + {small}"),
                Some(Working::LessChair { total, chair }) => {
                    format!("; {} less chair {}", total.value(), chair.value())
                }
            };
            let went_on = record
                .went_on
                .iter()
                .map(|it| format!("; went on: {}", it.reason));
            let went_on: String = went_on.collect();
            let read = measurement(&record.measurement);
            let moved = record.moved_from.as_ref();
            let moved = moved.map(|it| format!("; moved from {}", it.resident.0));
            let moved = moved.unwrap_or_default();
            let typed = match record.given_by {
                By::Voice => "",
                By::Touch => "; typed",
            };
            let touched = match record.confirmed_by {
                By::Voice => "",
                By::Touch => "; yes by touch",
            };
            format!("read {read}{late}{looked}{worked}{went_on}{moved}{typed}{touched}")
        }
        Body::NotTaken { signs, reason, .. } => {
            let signs: Vec<&str> = signs.iter().map(|it| it.tag()).collect();
            format!("not taken {} {}", signs.join(" "), reason.spoken())
        }
        Body::Noted { text, .. } => format!("noted {text}"),
        Body::Flagged { finding, .. } => {
            format!(
                "flag {} {:?}",
                finding.component.name(finding.sign),
                finding.side
            )
        }
        Body::RuleMet { flag, .. } => format!("rule {:?}", flag.rule),
        Body::Retaken(_) => "retaken".to_owned(),
        Body::ReportedToNurse { to, flags, .. } => format!("reported {} to {to}", flags.len()),
        Body::Unconfirmed { readings, .. } => {
            let readings: Vec<String> = readings.iter().map(measurement).collect();
            format!("unconfirmed {}", readings.join("; "))
        }
        Body::Identified { name, .. } => format!("identified {name}"),
        Body::Recorder => format!("recorder {}", fact.by.name),
        Body::Corrected { old, new, .. } => {
            format!("corrected {} to {}", measurement(old), measurement(new))
        }
        Body::Retracted { reason, .. } => format!("retracted {reason}"),
        Body::Withdrawn { flags, .. } => format!("withdrawn {}", flags.len()),
        Body::RoundClosed { open_reports } => format!("closed with {open_reports} open"),
        _ => return None,
    })
}
