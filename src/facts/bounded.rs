//! What a stored text may hold. Facts also come from other machines, and what is
//! reckoned from a moment or a share must neither overflow nor be no number.

use chrono::Datelike as _;
use serde::de::Error as _;
use serde::{Deserialize, Deserializer};

use super::Time;

/// A moment in a year of four digits.
pub(super) fn moment<'de, D: Deserializer<'de>>(from: D) -> Result<Time, D::Error> {
    let time = Time::deserialize(from)?;
    if (1..=9998).contains(&time.year()) {
        return Ok(time);
    }
    Err(D::Error::custom("no such moment"))
}

/// The same, or none.
pub(super) fn moment_if_any<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Time>, D::Error> {
    #[derive(Deserialize)]
    struct Moment(#[serde(deserialize_with = "moment")] Time);
    Ok(Option::<Moment>::deserialize(from)?.map(|it| it.0))
}

/// A share or a confidence.
pub(crate) fn finite<'de, D: Deserializer<'de>>(from: D) -> Result<f32, D::Error> {
    let number = f32::deserialize(from)?;
    if number.is_finite() {
        return Ok(number);
    }
    Err(D::Error::custom("no number"))
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use crate::facts::Fact;

    fn fact() -> Value {
        json!({
            "id": "00000000-0000-0000-0000-000000000001", "version": 1,
            "at": "2026-03-02T07:30:00-05:00", "by": {"name": "A", "title": "aide"},
            "round": "00000000-0000-0000-0000-000000000000", "kind": "read",
            "offer": "00000000-0000-0000-0000-000000000002", "resident": "r",
            "measurement": {"sign": "weight", "value": {"one": {"value": "70", "unit": "kilogram"}}},
            "measured_at": "2026-03-02T07:30:00-05:00", "spoken_at": "2026-03-02T07:30:00-05:00",
            "heard": "", "confidence": 1.0, "read_back": "",
            "confirmed_at": "2026-03-02T07:30:00-05:00", "second_look": false
        })
    }

    #[test]
    fn what_nothing_can_be_reckoned_with_is_no_fact() {
        let read = |fact: &Value| serde_json::from_str::<Fact>(&fact.to_string());
        read(&fact()).unwrap();
        let late = "+262142-12-31T23:59:59Z";
        let early = "-0001-01-01T00:00:00Z";
        for field in ["at", "measured_at", "spoken_at", "confirmed_at"] {
            for time in [late, early] {
                let mut wrong = fact();
                wrong[field] = json!(time);
                read(&wrong).unwrap_err();
            }
        }
        let mut wrong = fact();
        wrong["confidence"] = json!(1e39);
        read(&wrong).unwrap_err();
        for value in ["79228162514264337593543950335", "-1000000"] {
            let mut wrong = fact();
            wrong["measurement"]["value"]["one"]["value"] = json!(value);
            read(&wrong).unwrap_err();
        }
    }
}
