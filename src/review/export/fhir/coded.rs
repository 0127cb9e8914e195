//! Codes for how it was taken, and for words as values.

use super::codes::SNOMED;
use super::model::{Code, CodeableConcept};
use crate::vitals::{
    Alertness, Arm, BY_PALPATION, Method, NotTakenReason, Position, PulseSite, Side,
};

#[expect(
    clippy::unnecessary_wraps,
    reason = "a code is optional wherever this is used"
)]
const fn snomed(code: &'static str, display: &'static str) -> Option<Code> {
    Some(Code {
        system: SNOMED,
        code,
        display,
    })
}

const fn arm(it: Arm) -> Option<Code> {
    match it {
        Arm::Left => snomed("368208006", "Left upper arm structure"),
        Arm::Right => snomed("368209003", "Right upper arm structure"),
        Arm::LeftLeg => snomed("32153003", "Structure of left lower limb"),
        Arm::RightLeg => snomed("62175007", "Structure of right lower limb"),
        Arm::LeftWrist => snomed("5951000", "Structure of left wrist region"),
        Arm::RightWrist => snomed("9736006", "Structure of right wrist region"),
        Arm::LeftForearm => snomed("66480008", "Structure of left forearm"),
        Arm::RightForearm => snomed("64262003", "Structure of right forearm"),
    }
}

const fn method(it: Method) -> Option<Code> {
    match it {
        Method::Oral => snomed("74262004", "Oral cavity structure"),
        Method::Rectal => snomed("34402009", "Rectum structure"),
        Method::Axillary => snomed("91470000", "Axillary region structure"),
        Method::Tympanic => snomed("42859004", "Tympanic membrane structure"),
        // Published value sets give two different codes for the temple.
        Method::Temporal => None,
    }
}

const fn pulse_site(it: PulseSite) -> Option<Code> {
    match it {
        PulseSite::Radial => snomed("45631007", "Structure of radial artery"),
        PulseSite::Brachial => snomed("17137000", "Structure of brachial artery"),
        PulseSite::Carotid => snomed("69105007", "Carotid artery structure"),
        PulseSite::Apex => None,
    }
}

const fn posture(it: Position) -> Option<Code> {
    match it {
        Position::Sitting => snomed("33586001", "Sitting position"),
        Position::Lying => snomed("102538003", "Recumbent body position"),
        Position::Standing => snomed("10904000", "Orthostatic body position"),
    }
}

const fn level(it: Alertness) -> Option<Code> {
    match it {
        Alertness::Alert => snomed("248234008", "Mentally alert"),
        Alertness::NewConfusion => snomed("130987000", "Acute confusion"),
        Alertness::Voice => snomed("300202002", "Responds to voice"),
        Alertness::Pain => snomed("450847001", "Responds to pain"),
        Alertness::Unresponsive => snomed("422768004", "Unresponsive"),
    }
}

/// The site of a temperature, which its method names.
pub(super) fn temperature_site(it: Method) -> CodeableConcept {
    CodeableConcept::said(method(it), it.spoken())
}

const fn palpation() -> Option<Code> {
    snomed("113011001", "Palpation")
}

/// The method of a pressure without a diastolic.
pub(super) fn palpated() -> CodeableConcept {
    CodeableConcept::said(palpation(), BY_PALPATION)
}

/// Why a palpated pressure has no diastolic.
pub(super) fn not_palpated() -> CodeableConcept {
    let code = absent("not-performed", "Not Performed");
    CodeableConcept::said(Some(code), "palpation gives no diastolic")
}

/// The limb of a cuff.
pub(super) fn limb(it: Arm) -> CodeableConcept {
    CodeableConcept::said(arm(it), it.spoken())
}

/// Where a pulse was felt.
pub(super) fn felt(it: PulseSite) -> CodeableConcept {
    CodeableConcept::said(pulse_site(it), it.spoken())
}

/// A body position.
pub(super) fn position(it: Position) -> CodeableConcept {
    CodeableConcept::said(posture(it), it.spoken())
}

/// A level of alertness.
pub(super) fn alertness(it: Alertness) -> CodeableConcept {
    CodeableConcept::said(level(it), it.spoken())
}

const fn absent(code: &'static str, display: &'static str) -> Code {
    Code {
        system: "http://terminology.hl7.org/CodeSystem/data-absent-reason",
        code,
        display,
    }
}

/// Why something was not taken: the resident declined, or it was not done.
pub(super) fn not_taken(reason: &NotTakenReason) -> CodeableConcept {
    let code = match reason {
        NotTakenReason::Refused => absent("asked-declined", "Asked But Declined"),
        _ => absent("not-performed", "Not Performed"),
    };
    CodeableConcept::said(Some(code), reason.spoken())
}

/// Pain that was asked about and that the resident could not rate.
pub(super) fn not_rated() -> CodeableConcept {
    let code = absent("asked-unknown", "Asked But Unknown");
    CodeableConcept::said(Some(code), "could not be rated")
}

const fn interpreted(code: &'static str, display: &'static str) -> Code {
    Code {
        system: "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation",
        code,
        display,
    }
}

/// Where a value lies to the range in force.
pub(super) fn beyond(side: Side) -> CodeableConcept {
    CodeableConcept::coded(&[match side {
        Side::Below => interpreted("L", "Low"),
        Side::Above => interpreted("H", "High"),
    }])
}

/// A change against the resident's own past.
pub(super) fn changed(side: Side) -> CodeableConcept {
    CodeableConcept::coded(&[match side {
        Side::Below => interpreted("D", "Significant change down"),
        Side::Above => interpreted("U", "Significant change up"),
    }])
}

/// Every site and position with its code, for the document.
pub(super) fn place_codes() -> Vec<(&'static str, Option<Code>)> {
    let limbs = Arm::ALL.iter().map(|it| (it.spoken(), arm(*it)));
    let methods = Method::ALL.iter().map(|it| (it.spoken(), method(*it)));
    let sites = PulseSite::ALL
        .iter()
        .map(|it| (it.spoken(), pulse_site(*it)));
    let postures = Position::ALL.iter().map(|it| (it.spoken(), posture(*it)));
    let palpated = [(BY_PALPATION, palpation())];
    let all = limbs.chain(methods).chain(palpated);
    all.chain(sites).chain(postures).collect()
}

/// Every word that is a value with its code, for the document.
pub(super) fn word_codes() -> Vec<(&'static str, Option<Code>)> {
    Alertness::ALL
        .iter()
        .map(|it| (it.spoken(), level(*it)))
        .collect()
}
