//! FHIR R4: Observations that conform to the vital-signs profiles of the core
//! specification, and the Patients they are about.
//!
//! | fact | Observation |
//! |---|---|
//! | read | `final`, value in the unit as said |
//! | corrected | `amended`, value as it stands now, the old one in a note |
//! | retracted | `entered-in-error`, value as it stood, the reason in a note |
//! | not taken | `cancelled`, with a data-absent reason |
//! | weight with a known height | a second one, for the body-mass index |
//! | saturation on a said flow of oxygen | a second one, for the flow |
//! | unconfirmed, dropped | none: it is no reading |
//! | not to be read by this version | none; an `OperationOutcome` in the same file says so |
//!
//! Every Observation carries the identifier of its fact. That never changes, so
//! that a server that is sent the same fact again updates what it has. What
//! Sayback knows of an aide is a name and a title, and so performers are
//! contained, not resources of their own.
//!
//! The profiles allow only their own units in components, so that rhythm,
//! strength, depth and the kind of supply are notes.

mod bundle;
mod coded;
mod codes;
mod derived;
mod model;
mod observation;
mod patient;

use std::collections::BTreeSet;

use super::{Chart, Selection, words};
use crate::residents::{Home, ResidentId};

pub use bundle::{Bundle, BundleEntry, Kind, Request, collection, ndjson, transactions};
pub use codes::codes_table;
pub use model::{
    Annotation, Code, CodeableConcept, Coding, Extension, HumanName, Identifier, Issue, Meta,
    Narrative, Observation, ObservationComponent, ObservationRange, ObservationValue,
    OperationOutcome, Patient, Practitioner, Qualification, Quantity, Reference, Resource,
};
pub use observation::observations;
pub use patient::{Links, PatientSystem, patients};

/// What is selected, with the residents it is about.
#[must_use]
pub fn resources(
    chart: &Chart,
    home: &Home,
    system: &PatientSystem,
    links: Links,
    selection: &Selection,
) -> (Vec<Patient>, Vec<Observation>) {
    let written = observations(chart, home, system, links, selection);
    let subjects: BTreeSet<_> = written.iter().map(|it| &it.subject.reference).collect();
    let read = chart.readings.iter().map(|it| &it.record.resident);
    let missed = chart.missed.iter().map(|it| it.resident);
    let everyone: BTreeSet<&ResidentId> = read.chain(missed).collect();
    let about = |it: &&ResidentId| subjects.contains(&Some(links.to(system, it)));
    let residents = everyone.into_iter().filter(about).collect();
    (patients(chart, home, system, &residents), written)
}

/// What is left out of a selection because it cannot be read.
#[must_use]
pub fn left_out(chart: &Chart, selection: &Selection) -> Option<OperationOutcome> {
    let unread = chart.unread.iter().filter(|it| selection.concerns(it));
    let issue = unread.clone().map(|it| Issue {
        severity: "warning",
        code: "incomplete",
        diagnostics: format!("fact {}: {}", it.id, it.problem),
    });
    let issue: Vec<Issue> = issue.collect();
    Some(OperationOutcome {
        id: unread.clone().next()?.id.to_string(),
        text: Narrative::of(&[words::lacking(issue.len())]),
        issue,
    })
}
