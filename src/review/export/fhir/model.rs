//! The parts of FHIR R4 that leave this program, as types: what is required
//! can't be left out, and what is empty is not written.

use serde::Serialize;
use serde_json::Number;

use crate::facts::Time;
use crate::vitals::{Decimal, Unit};

/// UCUM's identifier in FHIR.
const UCUM: &str = "http://unitsofmeasure.org";
/// The system of identifiers that are URIs themselves.
const URI: &str = "urn:ietf:rfc:3986";

/// A code with its system, as this program knows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Code {
    /// The code system.
    pub system: &'static str,
    /// The code.
    pub code: &'static str,
    /// Its meaning in the system's own words.
    pub display: &'static str,
}

/// A code in a resource.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Coding {
    system: &'static str,
    code: &'static str,
    display: &'static str,
}

impl From<Code> for Coding {
    fn from(it: Code) -> Self {
        let Code {
            system,
            code,
            display,
        } = it;
        Self {
            system,
            code,
            display,
        }
    }
}

/// Codes for one meaning, and the meaning in words.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct CodeableConcept {
    /// The codes; none where no code was verified.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub coding: Vec<Coding>,
    /// The words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
}

impl CodeableConcept {
    /// Codes with the words of their own system.
    pub fn coded(codes: &[Code]) -> Self {
        Self {
            coding: codes.iter().copied().map(Coding::from).collect(),
            text: None,
        }
    }

    /// Words without a code.
    pub fn text(text: impl Into<String>) -> Self {
        Self::default().saying(text)
    }

    /// A code, if one is known, with the words as said.
    pub fn said(code: Option<Code>, text: impl Into<String>) -> Self {
        Self {
            coding: code.into_iter().map(Coding::from).collect(),
            text: Some(text.into()),
        }
    }

    /// The same with these words.
    #[must_use]
    pub fn saying(mut self, text: impl Into<String>) -> Self {
        self.text = Some(text.into());
        self
    }

    /// Whether one of the codes is `code`.
    #[must_use]
    pub fn has(&self, code: Code) -> bool {
        self.coding.contains(&Coding::from(code))
    }
}

/// A number with its unit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Quantity {
    value: Number,
    unit: &'static str,
    system: &'static str,
    code: &'static str,
}

impl Quantity {
    /// A number in one of the units that are spoken.
    #[must_use]
    pub fn new(value: Decimal, unit: Unit) -> Self {
        Self::coded(value, unit.symbol(), unit.ucum())
    }

    /// A number in a unit given by symbol and UCUM code.
    #[must_use]
    pub fn coded(value: Decimal, unit: &'static str, code: &'static str) -> Self {
        Self {
            value: number(value),
            unit,
            system: UCUM,
            code,
        }
    }
}

/// A JSON number with the digits of `value`: the shortest form of a float gives
/// back every decimal of up to 15 digits, and nobody says more.
fn number(value: Decimal) -> Number {
    let whole = value
        .is_integer()
        .then(|| i64::try_from(value).ok())
        .flatten();
    let float = || value.to_string().parse().ok().and_then(Number::from_f64);
    whole
        .map(Number::from)
        .or_else(float)
        .unwrap_or_else(|| Number::from(0))
}

/// A business identifier.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Identifier {
    /// Whose identifiers these are.
    pub system: String,
    /// The identifier.
    pub value: String,
}

impl Identifier {
    /// An identifier that is itself a URI: `urn:uuid:` and the UUID.
    #[must_use]
    pub fn uuid(uuid: uuid::Uuid) -> Self {
        Self {
            system: URI.to_owned(),
            value: format!("urn:uuid:{uuid}"),
        }
    }
}

/// A reference to another resource.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Reference {
    /// Where it is, in this bundle or on this server.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference: Option<String>,
    /// Its kind.
    #[serde(rename = "type", skip_serializing_if = "Option::is_none")]
    pub kind: Option<&'static str>,
    /// Its identifier, where it may be elsewhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub identifier: Option<Identifier>,
    /// Its name for people.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub display: Option<String>,
}

/// The resource as a person would read it, in XHTML.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Narrative {
    status: &'static str,
    div: String,
}

impl Narrative {
    /// One paragraph for each line of text.
    #[must_use]
    pub fn of(lines: &[String]) -> Self {
        let paragraphs = maud::html! { @for line in lines { p { (line) } } };
        Self {
            status: "generated",
            div: format!(
                "<div xmlns=\"http://www.w3.org/1999/xhtml\">{}</div>",
                paragraphs.into_string()
            ),
        }
    }
}

/// What is said about the resource as such.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Meta {
    /// The profiles it conforms to.
    pub profile: Vec<&'static str>,
}

/// An addition that the specification defines beside the resource.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct Extension {
    /// Which.
    pub url: &'static str,
    /// Its value.
    pub value_codeable_concept: CodeableConcept,
}

/// A remark: who, when, what.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct Annotation {
    /// Who, by name and title.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub author_string: Option<String>,
    /// When.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time: Option<String>,
    /// What.
    pub text: String,
}

/// The value of an Observation or of a component, or why there is none. FHIR's
/// vital-signs profiles want one of the two.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "camelCase")]
pub enum ObservationValue {
    /// A number.
    #[serde(rename = "valueQuantity")]
    Quantity(Quantity),
    /// A word.
    #[serde(rename = "valueCodeableConcept")]
    Concept(CodeableConcept),
    /// No value, and why.
    #[serde(rename = "dataAbsentReason")]
    Absent(CodeableConcept),
}

/// A range in force.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ObservationRange {
    /// Lowest value inside.
    pub low: Quantity,
    /// Highest value inside.
    pub high: Quantity,
    /// The range in words, and who set it.
    pub text: String,
}

/// One of the values of a blood pressure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct ObservationComponent {
    /// Which.
    pub code: CodeableConcept,
    /// Its value.
    #[serde(flatten)]
    pub value: ObservationValue,
    /// Where it lies to the range.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub interpretation: Vec<CodeableConcept>,
    /// The range in force.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub reference_range: Vec<ObservationRange>,
}

/// A person who measured: contained in the Observation.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "resourceType")]
pub struct Practitioner {
    /// Identifier within the Observation.
    pub id: &'static str,
    /// The name.
    pub name: Vec<HumanName>,
    /// The title.
    pub qualification: Vec<Qualification>,
}

/// A title.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Qualification {
    /// The title in words.
    pub code: CodeableConcept,
}

/// A person's name as written; which part of it is the family's is not known.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HumanName {
    /// The whole name.
    pub text: String,
}

/// A FHIR R4 Observation.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "resourceType", rename_all = "camelCase")]
pub struct Observation {
    /// The resource's own identifier; none where the server gives one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// The profile.
    pub meta: Meta,
    /// For people.
    pub text: Narrative,
    /// Who measured.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub contained: Vec<Practitioner>,
    /// Body position.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub extension: Vec<Extension>,
    /// The fact, for ever the same.
    pub identifier: Vec<Identifier>,
    /// `final`, `amended`, `entered-in-error` or `cancelled`.
    pub status: &'static str,
    /// Vital signs.
    pub category: Vec<CodeableConcept>,
    /// What was measured.
    pub code: CodeableConcept,
    /// Of whom.
    pub subject: Reference,
    /// When it was measured, with the offset from UTC.
    pub effective_date_time: String,
    /// When anything about it was last recorded.
    pub issued: String,
    /// By whom.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub performer: Vec<Reference>,
    /// The value or why there is none; neither for a blood pressure, which has
    /// components.
    #[serde(flatten)]
    pub value: Option<ObservationValue>,
    /// Where the value lies to the range.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub interpretation: Vec<CodeableConcept>,
    /// Corrections, reports, remarks.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub note: Vec<Annotation>,
    /// Where on the body.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub body_site: Option<CodeableConcept>,
    /// How.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub method: Option<CodeableConcept>,
    /// With what, by name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub device: Option<Reference>,
    /// The range in force.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub reference_range: Vec<ObservationRange>,
    /// What it was worked out from.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub derived_from: Vec<Reference>,
    /// Systolic and diastolic pressure.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub component: Vec<ObservationComponent>,
}

/// A FHIR R4 Patient.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "resourceType", rename_all = "camelCase")]
pub struct Patient {
    /// The resource's own identifier; none where the server gives one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// For people.
    pub text: Narrative,
    /// The home's identifier.
    pub identifier: Vec<Identifier>,
    /// The name.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub name: Vec<HumanName>,
    /// The birth date.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub birth_date: Option<chrono::NaiveDate>,
}

/// One of the resources that leave this program.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(untagged)]
pub enum Resource {
    /// A resident.
    Patient(Box<Patient>),
    /// A reading.
    Observation(Box<Observation>),
    /// What is left out.
    OperationOutcome(Box<OperationOutcome>),
}

/// What is left out because it cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "resourceType")]
pub struct OperationOutcome {
    /// The first of them.
    pub id: String,
    /// For people.
    pub text: Narrative,
    /// One for each.
    pub issue: Vec<Issue>,
}

/// One thing that is left out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Issue {
    /// A warning: the rest is there.
    pub severity: &'static str,
    /// Incomplete.
    pub code: &'static str,
    /// Which fact, and why.
    pub diagnostics: String,
}

/// A moment in FHIR's form, to the second, with its offset from UTC.
pub(super) fn moment(time: Time) -> String {
    time.to_rfc3339_opts(chrono::SecondsFormat::Secs, false)
}

#[cfg(test)]
mod tests {
    use rust_decimal::dec;

    use super::*;

    #[test]
    fn numbers_keep_their_digits() {
        for (value, written) in [
            (dec!(72), "72"),
            (dec!(98.6), "98.6"),
            (dec!(97.05), "97.05"),
            (dec!(163.4), "163.4"),
            (dec!(0.1), "0.1"),
        ] {
            assert_eq!(number(value).to_string(), written);
        }
    }

    #[test]
    fn a_moment_keeps_its_offset() {
        let time = Time::parse_from_rfc3339("2026-03-09T08:05:10.25-05:00").unwrap();
        assert_eq!(moment(time), "2026-03-09T08:05:10-05:00");
        let utc = Time::parse_from_rfc3339("2026-03-09T08:05:10Z").unwrap();
        assert_eq!(moment(utc), "2026-03-09T08:05:10+00:00");
    }

    #[test]
    fn a_narrative_is_escaped() {
        let narrative = Narrative::of(&["a < b & c".to_owned()]);
        assert!(narrative.div.contains("<p>a &lt; b &amp; c</p>"));
    }
}
