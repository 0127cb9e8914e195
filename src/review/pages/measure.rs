//! The fields of a measurement in a form.

use maud::{Markup, html};

use crate::facts::Time;
use crate::review::acts::{
    ALERTNESS, CLOCK, DAY, LOOKED_AGAIN, OVER, PALPATED, VALUE, qualifier_field,
};
use crate::review::fields::Fields;
use crate::speaking::wording::capital;
use crate::vitals::{
    Alertness, Component, Measurement, Qualifier, QualifierKind, Quantity, Supply, Unit, Value,
    VitalSign,
};

/// The fields: what was typed, where a form comes back; else what holds now, where
/// something does. `usual` is the unit where neither says one.
pub fn inputs(
    sign: VitalSign,
    now: Option<&Measurement>,
    usual: Unit,
    typed: Option<&Fields>,
) -> Markup {
    let field =
        |name: &str, present: String| typed.map_or(present, |typed| typed.get(name).to_owned());
    let quantity = |of: Component| {
        let all = now?.components();
        all.into_iter()
            .find_map(|(it, quantity)| (it == of).then_some(quantity))
    };
    let number = |it: Option<Quantity>| it.map_or_else(String::new, |it| it.value().to_string());
    let present = now.and_then(|it| it.components().first().map(|(_, it)| it.unit()));
    let level = now.and_then(|it| match it.value() {
        Value::Level(level) => Some(level.tag()),
        _ => None,
    });
    html! {
        @if sign == VitalSign::Alertness {
            @let chosen = field(ALERTNESS, level.unwrap_or_default().to_owned());
            label { "Alertness"
                select name=(ALERTNESS) required {
                    @if chosen.is_empty() { option value="" { "choose" } }
                    @for level in Alertness::ALL {
                        option value=(level.tag()) selected[chosen == level.tag()] {
                            (level.spoken())
                        }
                    }
                }
            }
        } @else {
            div.grid {
                @if sign == VitalSign::BloodPressure {
                    label { "Systolic"
                        input name=(VALUE) inputmode="decimal" autocomplete="off" required
                            value=(field(VALUE, number(quantity(Component::Systolic))));
                    }
                    label { "Diastolic"
                        input name=(OVER) inputmode="decimal" autocomplete="off"
                            value=(field(OVER, number(quantity(Component::Diastolic))));
                    }
                } @else {
                    label { (capital(sign.name()))
                        input name=(VALUE) inputmode="decimal" autocomplete="off"
                            required[sign != VitalSign::Pain]
                            value=(field(VALUE, number(quantity(Component::Whole))));
                    }
                }
                (units(present.unwrap_or(usual), &field("unit", String::new())))
                @for &kind in sign.qualifiers() {
                    (choice(sign, now, kind, typed))
                }
            }
            @if sign == VitalSign::BloodPressure {
                @let now = now.is_some_and(Measurement::is_palpated);
                label.check {
                    input type="checkbox" name=(PALPATED)
                        checked[typed.map_or(now, |it| it.get(PALPATED) == "on")];
                    "Systolic only, by palpation"
                }
            }
            @if sign == VitalSign::Pain {
                label.check {
                    input type="checkbox" name="not_rated"
                        checked[typed.is_some_and(|it| it.get("not_rated") == "on")];
                    "The resident could not rate it"
                }
            }
        }
    }
}

/// The fields of when it was taken: what was typed, or else this moment. Without one, some
/// time of today.
pub fn when_taken(now_is: Option<Time>, typed: Option<&Fields>, today: Time) -> Markup {
    let field = |name: &str, is: String| {
        let typed = typed.map(|it| it.get(name).to_owned());
        typed.unwrap_or(is)
    };
    let day = now_is.unwrap_or(today).date_naive().to_string();
    let clock = now_is.map_or_else(String::new, |it| it.format("%H:%M").to_string());
    html! {
        div.grid {
            label { "Day it was taken"
                input type="date" name=(DAY) required max=(today.date_naive()) value=(field(DAY, day));
            }
            label { "Time it was taken"
                input type="time" name=(CLOCK) required value=(field(CLOCK, clock));
            }
        }
    }
}

/// The box by which a value far from the usual is stored all the same.
pub fn looked_again(checked: bool) -> Markup {
    html! {
        label.check {
            input type="checkbox" name=(LOOKED_AGAIN) checked[checked];
            "I looked again: it is right, though far from the usual"
        }
    }
}

fn units(present: Unit, typed: &str) -> Markup {
    const ALL: [Unit; 11] = [
        Unit::Fahrenheit,
        Unit::Celsius,
        Unit::PerMinute,
        Unit::MmHg,
        Unit::Percent,
        Unit::Pound,
        Unit::Kilogram,
        Unit::Inch,
        Unit::Centimetre,
        Unit::Score,
        Unit::LitreAMinute,
    ];
    let chosen = Unit::from_tag(typed).unwrap_or(present);
    let like = ALL
        .into_iter()
        .filter(|it| it.canonical() == present.canonical());
    html! {
        label { "Unit"
            select name="unit" {
                @for unit in like { option value=(tag(unit)) selected[unit == chosen] { (unit.symbol()) } }
            }
        }
    }
}

/// The name by which [`Unit::from_tag`] knows a unit.
fn tag(unit: Unit) -> String {
    let value = serde_json::to_value(unit).unwrap_or_default();
    value.as_str().unwrap_or_default().to_owned()
}

fn choice(
    sign: VitalSign,
    now: Option<&Measurement>,
    kind: QualifierKind,
    typed: Option<&Fields>,
) -> Markup {
    let present = now.and_then(|it| it.qualifiers().get(kind));
    let same = |tag: &str, it: Qualifier| {
        if let Some(typed) = typed {
            return tag == typed.get(qualifier_field(kind));
        }
        match (present, it) {
            (Some(Qualifier::Supply(Supply::Oxygen(_))), Qualifier::Supply(Supply::Oxygen(_))) => {
                true
            }
            (present, it) => present == Some(it),
        }
    };
    let litres = match (typed, present) {
        (Some(typed), _) => typed.get("litres").to_owned(),
        (None, Some(Qualifier::Supply(Supply::Oxygen(Some(litres))))) => litres.to_string(),
        _ => String::new(),
    };
    // What must be said can't be left out of a new reading.
    let open = now.is_none() && sign.required().contains(&kind);
    html! {
        label { (capital(&qualifier_field(kind).replace('_', " ")))
            select name=(qualifier_field(kind)) required[open] {
                @if open { option value="" { "choose" } }
                @else if !sign.required().contains(&kind) || present.is_none() {
                    option value="" { "not said" }
                }
                @for (tag, it) in Qualifier::tagged().filter(|(_, it)| it.kind() == kind) {
                    option value=(tag) selected[same(tag, it)] { (it.spoken()) }
                }
            }
        }
        @if kind == QualifierKind::Supply {
            label { "Oxygen, L/min"
                input name="litres" inputmode="decimal" autocomplete="off" value=(litres);
            }
        }
    }
}
