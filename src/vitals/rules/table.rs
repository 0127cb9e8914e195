//! Every rule with its default, its source and where to change it, written from
//! the values the code uses.

use std::fmt::Write;

use super::early_warning as score;
use super::early_warning::Band;
use super::weight::{FROM_THE_LAST, LAST_DAYS};
use crate::vitals::defaults::{outside_range, unlikely_range};
use crate::vitals::derived::{ALIKE, ALIKE_TEMPERATURE, NARROW};
use crate::vitals::sources::{
    CONVERSIONS, EARLY_WARNING, LONG_TERM_CARE_BREATHING, LONG_TERM_CARE_FEVER, ORTHOSTATIC,
    PALPATION, PRESSURE_TECHNIQUE, PULSE_PRESSURE, SURVEILLANCE, TEXTBOOK, TRADE, WEIGHT,
    WEIGHT_90,
};
use crate::vitals::{
    Bounds, Component, Device, LATE_SECONDS, NotTakenReason, Range, RangeOf, Thresholds, Unit,
    Units, VitalSign, possible_bounds,
};

const FIXED: &str = "fixed";

/// A table in Markdown of every limit and rule: its default, where that comes
/// from, and where a home or a nurse changes it.
#[must_use]
pub fn rules_table() -> String {
    let mut table = Table::default();
    table.ranges();
    table.criteria();
    table.changes();
    table.early_warning();
    table.before_measuring();
    table.arithmetic();
    format!(
        "# Rules, defaults and sources\n\n\
         Written from the code by `UPDATE_DOCS=1 cargo test docs`; a test fails when it \
         is out of date.\n\n\
         These are starting points. The care plan, the home's policy and the licensed nurse \
         decide. None of them names a condition: each says what was measured, which limit it \
         crossed, and to report it.\n\n\
         Where to change a value: *nurse* is the resident's own range in the home's file \
         (`residents.ranges`), dated and kept; *home* is the home's limits (`outside_range`, \
         `unlikely`, `rules`); *fixed* is part of the program.\n\n{}\n{}\n",
        table.text,
        score::ACKNOWLEDGEMENT
    )
}

#[derive(Default)]
struct Table {
    text: String,
}

impl Table {
    fn section(&mut self, title: &str) {
        let gap = if self.text.is_empty() { "" } else { "\n" };
        let _ = writeln!(
            self.text,
            "{gap}## {title}\n\n| rule | default | source | change |\n|---|---|---|---|"
        );
    }

    fn row(&mut self, rule: &str, default: &str, source: &str, change: &str) {
        let _ = writeln!(self.text, "| {rule} | {default} | {source} | {change} |");
    }

    fn bounds(&mut self, rule: &str, bounds: Bounds, source: &str, change: &str) {
        let Bounds { low, high, unit } = bounds;
        let default = format!("{low}–{high} {}", unit.symbol());
        self.row(rule, &default, source, change);
    }

    fn ranges(&mut self) {
        self.section("Impossible: refused and asked again");
        for (sign, component) in parts() {
            let name = component.name(sign);
            self.bounds(name, possible_bounds(sign, component), TRADE, FIXED);
        }
        self.section("Unlikely: measured again before it is believed");
        for (sign, component) in parts() {
            let Some(Range { bounds, source }) = unlikely_range(sign, component) else {
                continue;
            };
            let change = RangeOf::of(sign, component).map_or(FIXED.to_owned(), |of| {
                format!("home, `unlikely.{}`", of.tag())
            });
            let name = component.name(sign);
            self.bounds(name, bounds, &source.to_string(), &change);
        }
        let rule = format!("weight away from the last one of {LAST_DAYS} days, at or above");
        self.row(&rule, &format!("{FROM_THE_LAST} %"), TRADE, FIXED);
        let rule = "pulse pressure, of the systolic, below";
        self.row(rule, &format!("{NARROW} %"), PULSE_PRESSURE, FIXED);
        let rule = "measured again and far again, not asked about once more within";
        let (share, least) = ALIKE;
        let alike = format!("{share} %, or {least}; of a temperature {ALIKE_TEMPERATURE} %");
        self.row(rule, &alike, TRADE, FIXED);
        self.section("Outside the range: reported to the nurse");
        for (sign, component) in parts() {
            let Some(of) = RangeOf::of(sign, component) else {
                continue;
            };
            let change = format!("nurse, `ranges.{0}`; home, `outside_range.{0}`", of.tag());
            let name = component.name(sign);
            let scales: &[Unit] = match sign {
                VitalSign::Temperature => &[Unit::Fahrenheit, Unit::Celsius],
                _ => &[Units::UsCustomary.unspoken(sign)],
            };
            for &unit in scales {
                match outside_range(sign, component, unit) {
                    Some(Range { bounds, source }) => {
                        self.bounds(name, bounds, &source.to_string(), &change);
                    }
                    None => self.row(name, "none", "no range fits everyone", &change),
                }
            }
        }
    }

    fn criteria(&mut self) {
        let it = Thresholds::default();
        let degrees =
            |it: crate::vitals::Degrees| format!("{} °F, {} °C", it.fahrenheit, it.celsius);
        self.section("Long-term-care criteria: reported to the nurse");
        let temperatures = [
            (
                "single oral temperature above",
                it.single_oral,
                "single_oral",
            ),
            (
                "repeated oral temperatures above",
                it.repeated_oral,
                "repeated_oral",
            ),
            (
                "repeated rectal temperatures above",
                it.repeated_rectal,
                "repeated_rectal",
            ),
            (
                "temperature above baseline by more than, any method",
                it.over_baseline,
                "over_baseline",
            ),
        ];
        for (rule, default, field) in temperatures {
            self.row(rule, &degrees(default), LONG_TERM_CARE_FEVER, &home(field));
        }
        let window = format!(
            "{} minutes to {} hours apart",
            it.repeated_after_minutes, it.repeated_within_hours
        );
        let change = "home, `rules.repeated_after_minutes`, `rules.repeated_within_hours`";
        self.row("repeated means", &window, TRADE, change);
        self.row(
            "baseline temperature",
            "set by a nurse, else the mean of the last three by the same method",
            crate::vitals::sources::OWN_TEMPERATURE,
            "nurse, `baselines.temperature`",
        );
        let rate = format!("{} a minute", it.respiration_at_least);
        self.row(
            "respirations at or above",
            &rate,
            LONG_TERM_CARE_BREATHING,
            &home("respiration_at_least"),
        );
        let percent = format!("{} %", it.saturation_below);
        self.row(
            "saturation below",
            &percent,
            LONG_TERM_CARE_BREATHING,
            &home("saturation_below"),
        );
        let pain = format!("{} of 10, or not rated", it.pain_at_least);
        self.row("pain at or above", &pain, TRADE, &home("pain_at_least"));
        self.row("alertness", "anything but alert", EARLY_WARNING, FIXED);
        self.row(
            "oxygen flow",
            "unlike the care plan's",
            TRADE,
            "nurse, `precautions.oxygen_flow`",
        );
        self.row(
            "a reading that a nurse was told of is changed",
            "she is told of it",
            TRADE,
            FIXED,
        );
    }

    fn changes(&mut self) {
        let it = Thresholds::default();
        self.section("Changed against the resident's own history: reported to the nurse");
        let weights = [
            ("30", it.weight_30_days, WEIGHT, "weight_30_days"),
            ("90", it.weight_90_days, WEIGHT_90, "weight_90_days"),
            ("180", it.weight_180_days, WEIGHT, "weight_180_days"),
        ];
        for (days, percent, source, field) in weights {
            let rule = format!("weight lost or gained in {days} days, at or above");
            self.row(&rule, &format!("{percent} %"), source, &home(field));
        }
        self.row(
            "weight compared with",
            "the one nearest to the day",
            WEIGHT,
            FIXED,
        );
        self.row(
            "nearest means within",
            "10, 30 and 60 days of it",
            TRADE,
            FIXED,
        );
        let falls = [
            (
                "systolic",
                it.standing_systolic_fall,
                "standing_systolic_fall",
            ),
            (
                "diastolic",
                it.standing_diastolic_fall,
                "standing_diastolic_fall",
            ),
        ];
        for (part, fall, field) in falls {
            let rule = format!("{part} fall within 3 minutes of standing, at or above");
            self.row(&rule, &format!("{fall} mmHg"), ORTHOSTATIC, &home(field));
        }
        self.row(
            "pressure standing compared with",
            "the one lying on the same arm",
            TRADE,
            FIXED,
        );
        let usual = [
            ("pulse", it.pulse_change, TRADE, "pulse_change"),
            (
                "respiration",
                it.respiration_change,
                TRADE,
                "respiration_change",
            ),
            ("systolic", it.systolic_change, TRADE, "systolic_change"),
            ("diastolic", it.diastolic_change, TRADE, "diastolic_change"),
        ];
        for (part, change, source, field) in usual {
            let rule = format!("{part} away from the usual, at or above");
            self.row(&rule, &change.to_string(), source, &home(field));
        }
        let fall = format!("{} points", it.saturation_fall);
        self.row(
            "saturation below the usual by more than",
            &fall,
            SURVEILLANCE,
            &home("saturation_fall"),
        );
        self.row(
            "usual value",
            "set by a nurse, else the median of the last 3 to 5 comparable readings in 30 days",
            TRADE,
            "nurse, `baselines`",
        );
        self.row(
            "blood pressure by palpation",
            "judged and compared by its systolic alone, as it was felt: some 5 mmHg lower than heard",
            PALPATION,
            FIXED,
        );
        let trends = [
            ("pulse", it.pulse_trend, "pulse_trend"),
            ("respiration", it.respiration_trend, "respiration_trend"),
        ];
        for (part, change, field) in trends {
            let rule = format!("{part} over four readings one way in 7 days, at or above");
            self.row(&rule, &change.to_string(), TRADE, &home(field));
        }
    }

    fn early_warning(&mut self) {
        self.section("Early-warning score, where the home turns it on");
        let bands: [(&str, &[Band]); 7] = [
            ("respirations a minute", &score::RESPIRATION),
            ("saturation, scale 1, %", &score::SATURATION_1),
            ("saturation, scale 2 on air, %", &score::SATURATION_2_AIR),
            (
                "saturation, scale 2 on oxygen, %",
                &score::SATURATION_2_OXYGEN,
            ),
            ("systolic pressure, mmHg", &score::SYSTOLIC),
            ("pulse a minute", &score::PULSE),
            ("temperature, °C", &score::TEMPERATURE),
        ];
        for (parameter, bands) in bands {
            let each = bands.iter().map(|(end, score)| match end {
                Some(end) => format!("≤{end}: {score}"),
                None => format!("above: {score}"),
            });
            let default = each.collect::<Vec<_>>().join(", ");
            self.row(parameter, &default, EARLY_WARNING, FIXED);
        }
        let oxygen = format!("on oxygen: {}", score::OXYGEN);
        self.row("air or oxygen", &oxygen, EARLY_WARNING, FIXED);
        let alertness = format!("anything but alert: {}", score::NOT_ALERT);
        self.row("alertness", &alertness, EARLY_WARNING, FIXED);
        let it = Thresholds::default();
        let report = format!("{}, or a single 3", it.early_warning);
        self.row(
            "reported from",
            &report,
            EARLY_WARNING,
            &home("early_warning"),
        );
        let now = it.early_warning_urgent.to_string();
        self.row(
            "reported at once from",
            &now,
            EARLY_WARNING,
            &home("early_warning_urgent"),
        );
        self.row("turned on", "no", "the home", "home, `early_warning_score`");
        self.row(
            "scale 2",
            "no",
            EARLY_WARNING,
            "nurse, `precautions.low_saturation_target`",
        );
    }

    fn before_measuring(&mut self) {
        let it = Thresholds::default();
        self.section("Before and instead of measuring");
        let waits = [
            (
                "oral temperature after eating, drinking or smoking",
                it.oral_wait_minutes,
                TRADE,
                "oral_wait_minutes",
            ),
            (
                "blood pressure after smoking or exercise",
                it.pressure_wait_minutes,
                PRESSURE_TECHNIQUE,
                "pressure_wait_minutes",
            ),
            (
                "cuff again on the same limb",
                it.cuff_again_minutes,
                PRESSURE_TECHNIQUE,
                "cuff_again_minutes",
            ),
            (
                "pulse or respirations after exercise",
                it.rest_minutes,
                TRADE,
                "rest_minutes",
            ),
        ];
        for (rule, minutes, source, field) in waits {
            let default = format!("wait {minutes} minutes");
            self.row(rule, &default, source, &home(field));
        }
        let precautions = [
            (
                "oral temperature on oxygen or when breathing by mouth",
                "another method",
                "`precautions.on_oxygen`, `precautions.mouth_breather`",
            ),
            (
                "rectal temperature",
                "not where the care plan says so",
                "`precautions.no_rectal`",
            ),
            (
                "cuff",
                "not on a limb the care plan names",
                "`precautions.limbs_not_to_use`",
            ),
            (
                "pulse known to be irregular",
                "full minute",
                "`precautions.irregular_pulse`",
            ),
            (
                "wheelchair scale",
                "the empty chair must be known, and is taken off unless a reason is given",
                "`precautions.chair_weight`",
            ),
        ];
        for (rule, default, field) in precautions {
            self.row(rule, default, TRADE, &format!("nurse, {field}"));
        }
        self.row(
            "dizzy, lightheaded, faint or unable to stand",
            "sit or lie down, tell the nurse; lying and standing pressures stop once standing",
            TRADE,
            FIXED,
        );
        for reason in NotTakenReason::PLAIN {
            let default = match reason.retry_after() {
                Some(after) => format!("try again in {} minutes", after.num_minutes()),
                None => "tell the nurse".to_owned(),
            };
            self.row(
                &format!("not taken, {}", reason.spoken()),
                &default,
                TRADE,
                FIXED,
            );
        }
    }

    fn arithmetic(&mut self) {
        self.section("Arithmetic");
        self.row(
            "counts",
            "15, 30 or 60 s; irregular only 60 s",
            TRADE,
            FIXED,
        );
        self.row(
            "counts timed aloud",
            &format!("30 s unless said; not used when ended more than {LATE_SECONDS} s late"),
            TRADE,
            FIXED,
        );
        self.row(
            "two-bar balance scale",
            "large weight in steps of 50 lb plus small below 50 lb",
            TRADE,
            FIXED,
        );
        self.row("wheelchair scale", "total less the chair", TRADE, FIXED);
        for device in Device::ALL {
            for unit in [
                Unit::Fahrenheit,
                Unit::Celsius,
                Unit::MmHg,
                Unit::Pound,
                Unit::Kilogram,
            ] {
                if let Some((Bounds { low, high, .. }, step)) = device.scale(unit) {
                    let default = format!("{low}–{high} {} in steps of {step}", unit.symbol());
                    self.row(device.spoken(), &default, TRADE, FIXED);
                }
            }
        }
        let pound = Unit::Pound.convert(1.into(), Unit::Kilogram);
        let inch = Unit::Inch.convert(1.into(), Unit::Centimetre);
        let factors = format!(
            "1 lb = {} kg, 1 in = {} cm, °C = (°F − 32) × 5/9",
            pound.unwrap_or_default(),
            inch.unwrap_or_default()
        );
        self.row("conversions", &factors, CONVERSIONS, FIXED);
        self.row(
            "mean arterial pressure",
            "diastolic + (systolic − diastolic) / 3",
            TEXTBOOK,
            FIXED,
        );
        self.row("pulse pressure", "systolic − diastolic", TEXTBOOK, FIXED);
        self.row("body-mass index", "kg / m²", TEXTBOOK, FIXED);
    }
}

fn home(field: &str) -> String {
    format!("home, `rules.{field}`")
}

/// Every part that a limit applies to.
fn parts() -> impl Iterator<Item = (VitalSign, Component)> {
    VitalSign::ALL.into_iter().flat_map(|sign| {
        let parts: &[Component] = match sign {
            VitalSign::BloodPressure => &[Component::Systolic, Component::Diastolic],
            // A word.
            VitalSign::Alertness => &[],
            _ => &[Component::Whole],
        };
        parts.iter().map(move |part| (sign, *part))
    })
}
