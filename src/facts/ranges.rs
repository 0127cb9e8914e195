//! Ranges that a nurse set in the record, laid over the home's file.

use super::{Body, Fact};
use crate::residents::{Home, ResidentId};
use crate::vitals::{Bounds, Component, Range, Source, VitalSign};

/// The home with every range that the facts set: what the recorder and the
/// nurse's pages judge by. The ranges of the home's file stay below them, so a
/// range is the newest by its day, whoever wrote it where.
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
        let source = Source::Nurse {
            name: fact.by.name.clone(),
            on: fact.at.date_naive(),
        };
        self.set_range(resident, (*sign, *component), *bounds, source);
    }

    fn set_range(
        &mut self,
        resident: &ResidentId,
        (sign, component): (VitalSign, Component),
        bounds: Bounds,
        source: Source,
    ) {
        let mut residents = self.residents.iter_mut();
        if let Some(resident) = residents.find(|it| it.id == *resident) {
            resident
                .limits
                .set(sign, component, Range { bounds, source });
        }
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal::dec;
    use uuid::Uuid;

    use super::*;
    use crate::residents::Staff;
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
    fn a_range_holds_from_the_day_it_was_set() {
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
            let day = day.parse().unwrap();
            let range = limits.range_on(VitalSign::BloodPressure, Component::Systolic, day);
            range.unwrap().bounds.high
        };
        assert_eq!(high("2026-02-20"), dec!(150), "the file's, before");
        assert_eq!(high("2026-03-01"), dec!(165), "the later of one day");
        let source = limits.range(VitalSign::BloodPressure, Component::Systolic);
        assert_eq!(
            source.unwrap().source.to_string(),
            "Peter Quist, 2026-03-01"
        );
    }
}
