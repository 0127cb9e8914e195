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
            withdrawn,
        } = &fact.body
        else {
            return;
        };
        let mut residents = self.residents.iter_mut();
        if let Some(it) = residents.find(|it| it.id == *resident) {
            let bounds = (!withdrawn).then_some(*bounds);
            set_by(&mut it.limits, fact, (*sign, *component), bounds);
        }
    }
}

/// Sets a range by the nurse of a fact, from its moment on, or withdraws it.
pub(crate) fn set_by<R>(
    limits: &mut Limits,
    fact: &Fact<R>,
    (sign, component): (VitalSign, Component),
    bounds: Option<Bounds>,
) {
    let source = || Source::Nurse {
        name: fact.by.name.clone(),
        on: fact.at.date_naive(),
    };
    let range = bounds.map(|bounds| Range {
        bounds,
        source: source(),
    });
    limits.set_at(sign, component, range, fact.at);
}

#[cfg(test)]
mod tests {
    use rust_decimal::dec;
    use uuid::Uuid;

    use super::*;
    use crate::residents::{ResidentId, Staff};
    use crate::vitals::Unit;

    const HOME: &str = include_str!("../../audio-fixtures/demo-home.toml");

    fn changed(resident: &str, at: &str, high: rust_decimal::Decimal, withdrawn: bool) -> Fact {
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
                withdrawn,
            },
        }
    }

    fn set(resident: &str, at: &str, high: rust_decimal::Decimal) -> Fact {
        changed(resident, at, high, false)
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

    /// The newest word of a nurse holds, whichever came first; the older ones held until
    /// then.
    #[test]
    fn a_range_that_was_withdrawn_leaves_the_homes_from_that_moment() {
        let home = Home::from_toml(HOME).unwrap();
        let mut facts = vec![
            set("AR-042", "2026-03-01T09:00:00-05:00", dec!(160)),
            changed("AR-042", "2026-03-01T10:00:00-05:00", dec!(140), true),
            set("AR-042", "2026-03-01T11:00:00-05:00", dec!(170)),
        ];
        for _ in 0..3 {
            facts.rotate_left(1);
            let ranged = residents_with_ranges(&home, &facts);
            let limits = &ranged
                .resident(&ResidentId("AR-042".into()))
                .unwrap()
                .limits;
            let at = |time: &str| {
                let at = chrono::DateTime::parse_from_rfc3339(&format!("2026-03-01T{time}-05:00"));
                let sign = VitalSign::BloodPressure;
                let range = limits.range_on(sign, Component::Systolic, at.unwrap());
                let range = range.unwrap();
                (
                    range.bounds.high,
                    matches!(range.source, Source::Nurse { .. }),
                )
            };
            assert_eq!(at("08:59:59"), (dec!(150), true), "the file's");
            assert_eq!(at("09:30:00"), (dec!(160), true));
            assert_eq!(at("10:00:00"), (dec!(140), false), "the home's");
            assert_eq!(at("11:00:00"), (dec!(170), true));
        }
    }

    /// To a program that knows of no withdrawing it sets the home's range.
    #[test]
    fn what_withdraws_a_range_is_a_range_to_an_older_program() {
        let at = "2026-03-01T10:00:00-05:00";
        let text = serde_json::to_value(changed("AR-042", at, dec!(140), true)).unwrap();
        let mut plain = serde_json::to_value(set("AR-042", at, dec!(140))).unwrap();
        plain["id"] = text["id"].clone();
        let mut older = text;
        let known = older.as_object_mut().unwrap().remove("withdrawn");
        assert_eq!(known, Some(true.into()));
        assert_eq!(older, plain);
        older["of_a_later_version"] = true.into();
        serde_json::from_value::<Fact>(older).unwrap();
    }
}
