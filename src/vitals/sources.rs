//! The publications behind the defaults, named once so that a flag, the
//! documentation and a test all say the same.

/// A value that everyone uses and nobody published.
pub(super) const TRADE: &str = "common practice, no source";

/// What stands in its place before those who act on it.
const TO_CONFIRM: &str = "Sayback's default; confirm by facility policy";

/// A source as a page names it. What nobody published, and a figure whose
/// publication was not at hand, are the home's to confirm.
#[must_use]
pub fn shown_source(named: &impl std::fmt::Display) -> String {
    let mut text = named.to_string().replace(TRADE, TO_CONFIRM);
    for unseen in [" (threshold from memory)", " (interval from memory)"] {
        text = text.replace(unseen, "; confirm by facility policy");
    }
    text
}

/// Temperature criteria. Checked against a published summary that quotes them.
pub(super) const LONG_TERM_CARE_FEVER: &str =
    "IDSA guideline: High KP et al., Clin Infect Dis 2009;48:149-171";

/// The range of temperatures that are not reported.
pub(super) const TEMPERATURE_RANGE: &str = "upper end: IDSA guideline, High KP et al., Clin \
    Infect Dis 2009;48:149-171; lower end: common practice, no source";

/// Respiration and saturation criteria of the same guideline.
pub(super) const LONG_TERM_CARE_BREATHING: &str =
    "IDSA guideline: High KP et al., Clin Infect Dis 2009;48:149-171 (threshold from memory)";

/// Fall of saturation below the resident's own baseline.
pub(super) const SURVEILLANCE: &str =
    "Stone ND et al., Infect Control Hosp Epidemiol 2012;33:965-977 (threshold from memory)";

/// Three most recent temperatures as a resident's own baseline.
pub(super) const OWN_TEMPERATURE: &str = "J Am Geriatr Soc 2014;62:135-140";

/// Weight change at 30 and 180 days.
pub(super) const WEIGHT: &str = "CMS RAI Manual, MDS 3.0, items K0300 and K0310";

/// Weight change at 90 days.
pub(super) const WEIGHT_90: &str =
    "42 CFR 483.25(g), CMS interpretive guidance (threshold from memory)";

/// Fall of pressure on standing.
pub(super) const ORTHOSTATIC: &str = "Freeman R et al., Clin Auton Res 2011;21:69-72";

/// How to take a blood pressure.
pub(super) const PRESSURE_TECHNIQUE: &str =
    "Whelton PK et al., Hypertension 2018;71:e13-e115 (interval from memory)";

/// A systolic that was felt against one that was heard: 5.2 mmHg lower on average. Checked in
/// its published abstract.
pub(super) const PALPATION: &str = "J Hypertens 2011;29:51-55";

/// Narrow pulse pressure. Checked against a published summary that quotes it.
pub(super) const PULSE_PRESSURE: &str =
    "Homan TD et al., Physiology, Pulse Pressure, StatPearls 2020 (NBK482408)";

/// Early-warning score.
pub(super) const EARLY_WARNING: &str =
    "Royal College of Physicians, National Early Warning Score (NEWS) 2, London 2017";

/// Exact conversion factors.
pub(super) const CONVERSIONS: &str = "NIST SP 811, appendix B.8";

/// Mean arterial pressure.
pub(super) const TEXTBOOK: &str = "textbook formula (from memory)";
