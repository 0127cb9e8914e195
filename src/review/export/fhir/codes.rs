//! The codes of what is measured.

use super::coded::{place_codes, word_codes};
use super::model::Code;
use crate::vitals::VitalSign;

pub(super) const LOINC: &str = "http://loinc.org";
pub(super) const SNOMED: &str = "http://snomed.info/sct";

/// Codes whose text is in HL7's R4 specification, as a profile's fixed value or
/// in its list of vital signs.
const SPECIFIED: &str = "FHIR R4 vital-signs profiles";

pub(super) const CATEGORY: Code = Code {
    system: "http://terminology.hl7.org/CodeSystem/observation-category",
    code: "vital-signs",
    display: "Vital Signs",
};

const fn loinc(code: &'static str, display: &'static str) -> Code {
    Code {
        system: LOINC,
        code,
        display,
    }
}

pub(super) const SYSTOLIC: Code = loinc("8480-6", "Systolic blood pressure");
pub(super) const DIASTOLIC: Code = loinc("8462-4", "Diastolic blood pressure");
const SATURATION: Code = loinc("2708-6", "Oxygen saturation in Arterial blood");
const BY_OXIMETRY: Code = loinc(
    "59408-5",
    "Oxygen saturation in Arterial blood by Pulse oximetry",
);

/// What one kind of Observation is about: its profile and its codes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Measured {
    /// The profile's name in the core specification.
    profile: &'static str,
    /// Its canonical address.
    pub(super) url: &'static str,
    pub(super) codes: &'static [Code],
    /// The words, for those who read no codes.
    pub(super) text: &'static str,
    /// Where the codes were checked.
    checked: &'static str,
}

macro_rules! measured {
    ($profile:literal, $text:literal, $codes:expr, $checked:expr) => {
        Measured {
            profile: $profile,
            url: concat!("http://hl7.org/fhir/StructureDefinition/", $profile),
            codes: const { $codes },
            text: $text,
            checked: $checked,
        }
    };
}

/// The body-mass index.
pub(super) const MASS_INDEX: Measured = measured!(
    "bmi",
    "body-mass index",
    &[loinc("39156-5", "Body mass index (BMI) [Ratio]")],
    SPECIFIED
);

/// All vital signs together: what was due, where nothing was taken.
pub(super) const PANEL: Measured = measured!(
    "vitalsigns",
    "vital signs",
    &[loinc(
        "85353-1",
        "Vital signs, weight, height, head circumference, oxygen saturation and BMI panel"
    )],
    SPECIFIED
);

/// The codes and the profile of a vital sign.
pub(super) const fn measured(sign: VitalSign) -> Measured {
    match sign {
        VitalSign::Temperature => measured!(
            "bodytemp",
            "temperature",
            &[loinc("8310-5", "Body temperature")],
            SPECIFIED
        ),
        VitalSign::Pulse => measured!(
            "heartrate",
            "pulse",
            &[loinc("8867-4", "Heart rate")],
            SPECIFIED
        ),
        VitalSign::Respiration => measured!(
            "resprate",
            "respiration",
            &[loinc("9279-1", "Respiratory rate")],
            SPECIFIED
        ),
        VitalSign::BloodPressure => measured!(
            "bp",
            "blood pressure",
            &[loinc(
                "85354-9",
                "Blood pressure panel with all children optional"
            )],
            SPECIFIED
        ),
        VitalSign::OxygenSaturation => measured!(
            "oxygensat",
            "oxygen saturation",
            &[SATURATION, BY_OXIMETRY],
            SPECIFIED
        ),
        VitalSign::Weight => measured!(
            "bodyweight",
            "weight",
            &[loinc("29463-7", "Body weight")],
            SPECIFIED
        ),
        VitalSign::Height => measured!(
            "bodyheight",
            "height",
            &[loinc("8302-2", "Body height")],
            SPECIFIED
        ),
        VitalSign::Pain => measured!(
            "vitalsigns",
            "pain, 0 to 10",
            &[loinc(
                "72514-3",
                "Pain severity - 0-10 verbal numeric rating [Score] - Reported"
            )],
            "published examples of the European Patient Summary (HL7 Europe)"
        ),
        VitalSign::OxygenFlow => measured!(
            "vitalsigns",
            "oxygen flow",
            &[loinc("3151-8", "Inhaled oxygen flow rate")],
            "US Core, example satO2-fiO2"
        ),
        VitalSign::Alertness => measured!(
            "vitalsigns",
            "alertness",
            &[loinc("67775-7", "Level of responsiveness")],
            "published FHIR profiles of AVPU; LOINC itself was not at hand"
        ),
    }
}

/// The codes as a document in Markdown.
#[must_use]
pub fn codes_table() -> String {
    let signs = VitalSign::ALL.into_iter().map(measured);
    let all = signs.chain([MASS_INDEX, PANEL]);
    let row = |it: Measured| {
        let mut codes: Vec<&str> = it.codes.iter().map(|code| code.code).collect();
        if it.profile == "bp" {
            codes.extend([SYSTOLIC.code, DIASTOLIC.code]);
        }
        format!(
            "| {} | `{}` | {} | {} |",
            it.text,
            it.profile,
            codes.join(", "),
            it.checked
        )
    };
    let rows: Vec<String> = all.map(row).collect();
    let coded = |codes: Vec<(&'static str, Option<Code>)>| {
        let row = |(said, code): (&str, Option<Code>)| match code {
            Some(code) => format!("| {said} | {} | {} |", code.code, code.display),
            None => format!("| {said} | | words only |"),
        };
        codes.into_iter().map(row).collect::<Vec<_>>().join("\n")
    };
    format!(
        "# Codes in FHIR\n\n\
         Written from the code by `UPDATE_DOCS=1 cargo test docs`; a test fails when it is out \
         of date.\n\n\
         ## What is measured (LOINC)\n\n\
         Values keep the unit as said, by its UCUM code.\n\n\
         | what | R4 profile | codes | where the codes were checked |\n|---|---|---|---|\n{}\n\n\
         ## Site, method and position (SNOMED CT)\n\n\
         Checked in the published value sets for vital signs of HL7's member countries. What is \
         not in them, or differs between them, goes out in words only.\n\n\
         | said | code | meaning |\n|---|---|---|\n{}\n\n\
         ## Alertness (SNOMED CT)\n\n\
         Checked in two published value sets for AVPU and ACVPU.\n\n\
         | said | code | meaning |\n|---|---|---|\n{}\n",
        rows.join("\n"),
        coded(place_codes()),
        coded(word_codes()),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FHIR R4, table of the vital-signs profiles and their LOINC codes.
    #[test]
    fn each_vital_sign_has_the_code_and_profile_of_the_specification() {
        for (sign, profile, code) in [
            (VitalSign::Temperature, "bodytemp", "8310-5"),
            (VitalSign::Pulse, "heartrate", "8867-4"),
            (VitalSign::Respiration, "resprate", "9279-1"),
            (VitalSign::BloodPressure, "bp", "85354-9"),
            (VitalSign::OxygenSaturation, "oxygensat", "2708-6"),
            (VitalSign::Weight, "bodyweight", "29463-7"),
            (VitalSign::Height, "bodyheight", "8302-2"),
        ] {
            let found = measured(sign);
            assert_eq!((found.profile, found.codes[0].code), (profile, code));
            assert!(found.url.ends_with(profile));
        }
        assert_eq!(MASS_INDEX.codes[0].code, "39156-5");
    }
}
