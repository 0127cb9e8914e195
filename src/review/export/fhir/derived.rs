//! Observations that follow from a reading: the body-mass index of a weight and
//! the flow of oxygen said with a saturation. FHIR's profiles leave no other
//! place for them.

use std::collections::BTreeMap;

use uuid::Uuid;

use super::codes::{MASS_INDEX, measured};
use super::model::{CodeableConcept, Identifier, ObservationValue, Quantity, Reference};
use super::observation::{About, Timed, Writer, entered_in_error, status};
use crate::facts::Time;
use crate::residents::ResidentId;
use crate::review::export::{Chart, Entry};
use crate::vitals::{
    Decimal, Measurement, Qualifier, QualifierKind, Supply, Unit, Value, VitalSign, body_mass_index,
};

/// The flow said with a saturation. Where a correction took it away, what was
/// sent before is withdrawn.
pub(super) fn flow(writer: &Writer, entry: &Entry) -> Option<Timed> {
    let now = said_flow(entry.measurement);
    let before = || {
        let old = entry.corrections.iter().rev().map(|it| it.old);
        let apart = entry.apart.iter().rev().map(|it| it.new);
        old.chain(apart).find_map(said_flow)
    };
    let litres = now.or_else(before)?;
    let about = About {
        id: Uuid::new_v5(&entry.id, VitalSign::OxygenFlow.tag().as_bytes()),
        status: if now.is_some() {
            status(entry)
        } else {
            "entered-in-error"
        },
        measured: measured(VitalSign::OxygenFlow),
        resident: &entry.record.resident,
        by: entry.by,
        effective: entry.measured_at,
        issued: entry.changed_at,
    };
    let line = format!("Oxygen flow {litres} L/min, said with an oxygen saturation");
    let mut it = writer.observation(&about, &[line]);
    let value = Quantity::new(litres, Unit::LitreAMinute);
    it.value = Some(ObservationValue::Quantity(value));
    it.note = entry.retracted.iter().map(entered_in_error).collect();
    Some((entry.measured_at, it))
}

fn said_flow(measurement: &Measurement) -> Option<Decimal> {
    match measurement.qualifiers().get(QualifierKind::Supply) {
        Some(Qualifier::Supply(Supply::Oxygen(flow))) => flow,
        _ => None,
    }
}

/// Every height, by resident and time.
pub(super) struct Heights<'a>(BTreeMap<&'a ResidentId, Vec<&'a Entry<'a>>>);

impl<'a> Heights<'a> {
    pub(super) fn of(chart: &'a Chart<'a>) -> Self {
        let mut heights: BTreeMap<_, Vec<_>> = BTreeMap::new();
        for entry in &chart.readings {
            if entry.measurement.sign() == VitalSign::Height {
                heights
                    .entry(&entry.record.resident)
                    .or_default()
                    .push(entry);
            }
        }
        Self(heights)
    }

    /// The index of a weight with the last height measured before it; with one
    /// that was retracted only if there is no other.
    pub(super) fn mass_index(&self, weight: &'a Entry<'a>) -> Option<MassIndex<'a>> {
        if weight.measurement.sign() != VitalSign::Weight {
            return None;
        }
        let known = self.0.get(&weight.record.resident)?;
        let before = |it: &&&Entry| it.measured_at <= weight.measured_at;
        let mut last = known.iter().rev().filter(before);
        let standing = last.clone().find(|it| it.retracted.is_none());
        let height = standing.or_else(|| last.next())?;
        Some(MassIndex { weight, height })
    }
}

/// A weight and the height beside it.
pub(super) struct MassIndex<'a> {
    weight: &'a Entry<'a>,
    height: &'a Entry<'a>,
}

impl MassIndex<'_> {
    /// When either was last changed.
    pub(super) fn changed_at(&self) -> Time {
        self.weight.changed_at.max(self.height.changed_at)
    }

    pub(super) fn observation(&self, writer: &Writer) -> Option<Timed> {
        let (weight, height) = (self.weight, self.height);
        let (Value::One(kilograms), Value::One(metres)) =
            (weight.measurement.value(), height.measurement.value())
        else {
            return None;
        };
        let index = body_mass_index(kilograms, metres)?;
        let both = [status(weight), status(height)];
        let gravest = ["entered-in-error", "amended", "final"];
        let status = gravest.into_iter().find(|it| both.contains(it))?;
        let about = About {
            id: Uuid::new_v5(&weight.id, b"bmi"),
            status,
            measured: MASS_INDEX,
            resident: &weight.record.resident,
            by: weight.by,
            effective: weight.measured_at,
            issued: self.changed_at(),
        };
        let line = format!("Body-mass index {index} kg/m²");
        let mut it = writer.observation(&about, &[line]);
        let value = Quantity::coded(index, "kg/m2", "kg/m2");
        it.value = Some(ObservationValue::Quantity(value));
        it.method = Some(CodeableConcept::text(
            "worked out from weight and last height",
        ));
        it.derived_from = [(weight, "weight"), (height, "height")]
            .map(|(entry, what)| Reference {
                kind: Some("Observation"),
                // By identifier: the other may have been sent long ago.
                identifier: Some(Identifier::uuid(entry.id)),
                display: Some(what.to_owned()),
                ..Reference::default()
            })
            .into();
        let retracted = weight.retracted.iter().chain(&height.retracted);
        it.note = retracted.map(entered_in_error).collect();
        Some((weight.measured_at, it))
    }
}
