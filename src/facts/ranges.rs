//! Ranges that a nurse set in the record, laid over the home's file.

use super::{Body, Fact};
use crate::residents::Home;
use crate::vitals::{Bounds, Component, Limits, Range, Source, VitalSign};

/// The home with every range that the facts set: what the recorder and the
/// nurse's pages judge by. A range of the record holds from the moment it was set, one
/// of the home's file from the beginning of its day, whoever wrote it where.
#[must_use]
pub fn residents_with_ranges<'a>(home: &Home, facts: impl IntoIterator<Item = &'a Fact>) -> Home {
    let mut home = home.clone();
    for fact in facts {
        home.take_range(fact);
    }
    home
}

impl Home {
    /// Puts the range that this fact sets over the earlier ones; a fact of any
    /// other kind, or about someone who is not in the home, changes nothing.
    pub fn take_range<R>(&mut self, fact: &Fact<R>) {
        let Body::RangeSet {
            resident,
            sign,
            component,
            bounds,
        } = &fact.body
        else {
            return;
        };
        let mut residents = self.residents.iter_mut();
        if let Some(it) = residents.find(|it| it.id == *resident) {
            set_by(&mut it.limits, fact, (*sign, *component), *bounds);
        }
    }
}

/// Sets a range by the nurse of a fact, from its moment on.
pub(crate) fn set_by<R>(
    limits: &mut Limits,
    fact: &Fact<R>,
    (sign, component): (VitalSign, Component),
    bounds: Bounds,
) {
    let source = Source::Nurse {
        name: fact.by.name.clone(),
        on: fact.at.date_naive(),
    };
    limits.set_at(sign, component, Range { bounds, source }, fact.at);
}

#[cfg(test)]
mod tests {
    use rust_decimal::dec;
    use uuid::Uuid;

    use super::*;
    use crate::residents::{ResidentId, Staff};
    use crate::vitals::Unit;

    const HOME: &str = include_str!("../../audio-fixtures/demo-home.toml");

    fn set(resident: &str, at: &str, high: rust_decimal::Decimal) -> Fact {
        Fact {
            id: Uuid::new_v4(),
            version: super::super::VERSION,
            at: chrono::DateTime::parse_from_rfc3339(at).unwrap(),
            by: Staff {
                name: "Peter Quist".into(),
                title: "licensed practical nurse".into(),
            },
            round: Uuid::nil(),
            body: Body::RangeSet {
                resident: ResidentId(resident.into()),
                sign: VitalSign::BloodPressure,
                component: Component::Systolic,
                bounds: Bounds {
                    low: dec!(110),
                    high,
                    unit: Unit::MmHg,
                },
            },
        }
    }

    #[test]
    fn a_range_holds_from_the_moment_it_was_set() {
        let home = Home::from_toml(HOME).unwrap();
        let facts = [
            set("AR-042", "2026-03-01T09:00:00-05:00", dec!(160)),
            set("AR-042", "2026-03-01T10:00:00-05:00", dec!(165)),
            set("nobody", "2026-03-01T10:00:00-05:00", dec!(170)),
        ];
        let ranged = residents_with_ranges(&home, &facts);
        let limits = &ranged
            .resident(&ResidentId("AR-042".into()))
            .unwrap()
            .limits;
        let high = |day: &str| {
            let day: chrono::NaiveDate = day.parse().unwrap();
            let range = limits.range_on(VitalSign::BloodPressure, Component::Systolic, day);
            range.unwrap().bounds.high
        };
        assert_eq!(high("2026-02-20"), dec!(150), "the file's, before");
        assert_eq!(high("2026-03-01"), dec!(165), "the later of one day");
        let moment = |time: &str| {
            let at = chrono::DateTime::parse_from_rfc3339(&format!("2026-03-01T{time}-05:00"));
            let sign = VitalSign::BloodPressure;
            let range = limits.range_on(sign, Component::Systolic, at.unwrap());
            range.unwrap().bounds.high
        };
        assert_eq!(moment("08:59:59"), dec!(150), "the file's, until then");
        assert_eq!(moment("09:00:00"), dec!(160));
        let source = limits.range(VitalSign::BloodPressure, Component::Systolic);
        assert_eq!(
            source.unwrap().source.to_string(),
            "Peter Quist, 2026-03-01"
        );
    }
}
