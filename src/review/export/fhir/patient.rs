//! Patients, and how Observations refer to them.

use std::collections::BTreeSet;

use uuid::Uuid;

use super::model::{HumanName, Identifier, Narrative, Patient, Reference};
use crate::residents::{Home, ResidentId};
use crate::review::export::Chart;

/// Whose the residents' identifiers are: a URI that the FHIR server knows them
/// by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PatientSystem(String);

impl PatientSystem {
    /// A URI of the home's or its vendor's own.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn new(uri: &str) -> Result<Self, String> {
        let scheme = uri.split_once(':').filter(|(scheme, rest)| {
            !rest.is_empty()
                && scheme.starts_with(|it: char| it.is_ascii_alphabetic())
                && scheme.chars().all(|it| it.is_ascii_alphanumeric())
        });
        if scheme.is_none() || uri.contains(|it: char| it.is_whitespace() || it.is_control()) {
            return Err(format!(
                "{uri:?} is not a URI; expected one such as urn:oid:2.16.840.1.113883.19.5"
            ));
        }
        Ok(Self(uri.to_owned()))
    }

    /// One made from the home's name, where the home has none of its own: always
    /// the same for the same name.
    #[must_use]
    pub fn of_home(home: &Home) -> Self {
        let uuid = Uuid::new_v5(&Uuid::NAMESPACE_URL, home.name.as_bytes());
        Self(format!("urn:uuid:{uuid}"))
    }

    /// The URI.
    #[must_use]
    pub fn uri(&self) -> &str {
        &self.0
    }

    /// The resource identifier of a resident: always the same.
    pub(super) fn uuid(&self, resident: &ResidentId) -> Uuid {
        let name = format!("{}|{}", self.0, resident.0);
        Uuid::new_v5(&Uuid::NAMESPACE_URL, name.as_bytes())
    }
}

/// How resources refer to each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Links {
    /// By `urn:uuid:`, within a bundle.
    Bundle,
    /// By kind and identifier, as in files of one resource a line.
    Relative,
}

impl Links {
    /// The reference to the Patient of a resident.
    #[must_use]
    pub fn to(self, system: &PatientSystem, resident: &ResidentId) -> String {
        let uuid = system.uuid(resident);
        match self {
            Self::Bundle => format!("urn:uuid:{uuid}"),
            Self::Relative => format!("Patient/{uuid}"),
        }
    }

    pub(super) fn patient(
        self,
        chart: &Chart,
        home: &Home,
        system: &PatientSystem,
        resident: &ResidentId,
    ) -> Reference {
        Reference {
            reference: Some(self.to(system, resident)),
            display: known(chart, home, resident).map(|(name, _)| name),
            ..Reference::default()
        }
    }
}

/// Name and birth date: from the home's file, else as last identified.
fn known(chart: &Chart, home: &Home, resident: &ResidentId) -> Option<(String, chrono::NaiveDate)> {
    let filed = home.resident(resident);
    let filed = filed.map(|it| (it.name.clone(), it.birth_date));
    filed.or_else(|| {
        let (name, birth_date) = chart.identified(resident)?;
        Some((name.to_owned(), birth_date))
    })
}

/// The Patients of these residents, in order of identifier.
#[must_use]
pub fn patients(
    chart: &Chart,
    home: &Home,
    system: &PatientSystem,
    residents: &BTreeSet<&ResidentId>,
) -> Vec<Patient> {
    let patient = |resident: &&ResidentId| {
        let known = known(chart, home, resident);
        let line = known.as_ref().map_or_else(
            || resident.0.clone(),
            |(name, born)| format!("{name}, born {born} ({})", resident.0),
        );
        Patient {
            id: Some(system.uuid(resident).to_string()),
            text: Narrative::of(&[line]),
            identifier: vec![Identifier {
                system: system.uri().to_owned(),
                value: resident.0.clone(),
            }],
            birth_date: known.as_ref().map(|it| it.1),
            name: known
                .into_iter()
                .map(|(text, _)| HumanName { text })
                .collect(),
        }
    };
    residents.iter().map(patient).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_system_is_a_uri() {
        for good in [
            "urn:oid:2.16.840.1.113883.19.5",
            "https://home.example/residents",
        ] {
            assert_eq!(PatientSystem::new(good).unwrap().uri(), good);
        }
        for bad in ["", "residents", ":x", "urn:", "urn:a b", "1a:b"] {
            assert!(PatientSystem::new(bad).is_err(), "{bad}");
        }
    }
}
