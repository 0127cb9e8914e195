//! Resources put together: a file, a line each, or a transaction.

use std::collections::BTreeMap;

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use serde::Serialize;

use crate::facts::ChainHead;

use super::model::{Identifier, Observation, OperationOutcome, Patient, Resource};

/// Whose identifiers the heads of records are.
pub const RECORD_HEAD: &str = "urn:uuid:728a7f8d-cc0c-5807-bb12-2f18c8e473a3";

/// What may stand unescaped in the value of a query.
const PLAIN: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'-')
    .remove(b'.')
    .remove(b'_')
    .remove(b'~')
    .remove(b':')
    .remove(b'/');

/// What a bundle is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// Resources in one file.
    Collection,
    /// Resources that a server takes all or none.
    Transaction,
}

/// A FHIR R4 Bundle.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "resourceType")]
pub struct Bundle {
    /// Where the record stood that it was made of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub identifier: Option<Identifier>,
    /// What it is for.
    #[serde(rename = "type")]
    pub kind: Kind,
    /// Its resources.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub entry: Vec<BundleEntry>,
}

impl Bundle {
    /// With what is left out of it.
    #[must_use]
    pub fn lacking(mut self, outcome: Option<OperationOutcome>) -> Self {
        let outcome = outcome.map(|it| {
            let id = it.id.clone();
            entry(Some(id), Resource::OperationOutcome(Box::new(it)), None)
        });
        self.entry.extend(outcome);
        self
    }

    /// With where the record stood, so that it can be checked against it later.
    #[must_use]
    pub fn of_record_at(mut self, head: Option<&ChainHead>) -> Self {
        self.identifier = head.map(|head| Identifier {
            system: RECORD_HEAD.to_owned(),
            value: head.to_string(),
        });
        self
    }
}

/// A resource in a bundle.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct BundleEntry {
    /// What other resources of the bundle refer to it by.
    pub full_url: String,
    /// The resource.
    pub resource: Resource,
    /// What a server is to do with it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub request: Option<Request>,
}

/// What a server is to do with a resource. Neither request makes a second
/// resource when it is repeated.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct Request {
    /// `PUT` or `POST`.
    pub method: &'static str,
    /// Where to.
    pub url: String,
    /// Only if nothing is found by this query.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub if_none_exist: Option<String>,
}

/// All of it in one bundle.
#[must_use]
pub fn collection(patients: Vec<Patient>, observations: Vec<Observation>) -> Bundle {
    let patients = patients
        .into_iter()
        .map(|it| entry(it.id.clone(), it.into(), None));
    let observations = observations
        .into_iter()
        .map(|it| entry(it.id.clone(), it.into(), None));
    Bundle {
        identifier: None,
        kind: Kind::Collection,
        entry: patients.chain(observations).collect(),
    }
}

/// The same as transactions of at most `size` Observations, each with the
/// Patients that it needs, so that each can be taken or refused by itself.
///
/// A Patient is created only where the server has none with the identifier, for
/// the chart knows more about the person than this program. An Observation is
/// written over by identifier, for a correction must reach the chart.
#[must_use]
#[expect(
    clippy::needless_pass_by_value,
    reason = "the caller has no further use for them"
)]
pub fn transactions(
    patients: Vec<Patient>,
    observations: Vec<Observation>,
    size: usize,
) -> Vec<Bundle> {
    let patients: BTreeMap<String, Patient> = patients
        .into_iter()
        .filter_map(|it| Some((format!("urn:uuid:{}", it.id.as_ref()?), it)))
        .collect();
    let chunks = observations.chunks(size.max(1)).map(|chunk| {
        let subjects = chunk.iter().filter_map(|it| it.subject.reference.as_ref());
        let needed: BTreeMap<_, _> = subjects
            .filter_map(|url| patients.get_key_value(url))
            .collect();
        let patients = needed.into_values().cloned().map(create);
        Bundle {
            identifier: None,
            kind: Kind::Transaction,
            entry: patients.chain(chunk.iter().cloned().map(put)).collect(),
        }
    });
    chunks.collect()
}

/// Resources of one kind, one a line.
///
/// # Errors
/// None in practice: every resource is plain JSON.
pub fn ndjson<T: Serialize>(resources: &[T]) -> serde_json::Result<String> {
    let mut text = String::new();
    for resource in resources {
        text.push_str(&serde_json::to_string(resource)?);
        text.push('\n');
    }
    Ok(text)
}

fn entry(id: Option<String>, resource: Resource, request: Option<Request>) -> BundleEntry {
    BundleEntry {
        full_url: format!("urn:uuid:{}", id.unwrap_or_default()),
        resource,
        request,
    }
}

fn create(mut patient: Patient) -> BundleEntry {
    let id = patient.id.take();
    let request = Request {
        method: "POST",
        url: "Patient".to_owned(),
        if_none_exist: patient.identifier.first().map(query),
    };
    entry(id, patient.into(), Some(request))
}

fn put(mut observation: Observation) -> BundleEntry {
    // Which identifier the resource gets is the server's to say.
    let id = observation.id.take();
    let query = observation.identifier.first().map(query);
    let request = Request {
        method: "PUT",
        url: format!("Observation?{}", query.unwrap_or_default()),
        if_none_exist: None,
    };
    entry(id, observation.into(), Some(request))
}

fn query(it: &Identifier) -> String {
    let escaped = |text| utf8_percent_encode(text, PLAIN);
    format!(
        "identifier={}%7C{}",
        escaped(&it.system),
        escaped(&it.value)
    )
}

impl From<Patient> for Resource {
    fn from(it: Patient) -> Self {
        Self::Patient(Box::new(it))
    }
}

impl From<Observation> for Resource {
    fn from(it: Observation) -> Self {
        Self::Observation(Box::new(it))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_query_is_escaped() {
        let identifier = Identifier {
            system: "urn:oid:1.2".to_owned(),
            value: "A&B 1|ö".to_owned(),
        };
        assert_eq!(
            query(&identifier),
            "identifier=urn:oid:1.2%7CA%26B%201%7C%C3%B6"
        );
    }
}
