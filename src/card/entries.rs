//! The entries of the card. Each says which rule it stands for; the examples
//! are of our own invention and phrases of that rule.

use crate::vitals::VitalSign;

/// What the aide wants to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// Say where one is, and so who it is.
    Who,
    /// Give readings.
    Readings,
    /// Answer a read-back or a question.
    Answers,
    /// Change, count, time and measure again.
    Changes,
    /// What was not taken, and cautions.
    NotTaken,
    /// Report to a nurse.
    Reports,
    /// Steer the conversation.
    Commands,
}

impl Group {
    /// In the order of the card.
    pub const ALL: [Self; 7] = [
        Self::Who,
        Self::Readings,
        Self::Answers,
        Self::Changes,
        Self::NotTaken,
        Self::Reports,
        Self::Commands,
    ];

    /// Its title.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Who => "Who it is",
            Self::Readings => "Readings",
            Self::Answers => "Answers",
            Self::Changes => "Change, count, measure again",
            Self::NotTaken => "Not taken, and waiting",
            Self::Reports => "Reports, and earlier values",
            Self::Commands => "Any time",
        }
    }
}

/// One entry.
#[derive(Debug, Clone, Copy)]
pub struct Entry {
    /// Where it stands.
    pub group: Group,
    /// What the aide wants, as it stands on the card.
    pub to: &'static str,
    /// The rule that the examples are of.
    pub rule: &'static str,
    /// Examples.
    pub say: &'static [&'static str],
    /// The vital sign whose words go with it.
    pub sign: Option<VitalSign>,
}

const fn entry(
    group: Group,
    to: &'static str,
    rule: &'static str,
    say: &'static [&'static str],
) -> Entry {
    Entry {
        group,
        to,
        rule,
        say,
        sign: None,
    }
}

const fn reading(sign: VitalSign, rule: &'static str, say: &'static [&'static str]) -> Entry {
    Entry {
        group: Group::Readings,
        to: sign.name(),
        rule,
        say,
        sign: Some(sign),
    }
}

/// Every entry.
pub const ENTRIES: &[Entry] = &[
    entry(
        Group::Who,
        "go to a resident",
        "place.where",
        &["room four bed two", "go to room nine"],
    ),
    entry(Group::Who, "say which bed", "place.which-bed", &["bed two"]),
    reading(
        VitalSign::Temperature,
        "temperature.reading",
        &[
            "temperature ninety eight point six oral",
            "temp thirty seven point two celsius ear",
        ],
    ),
    reading(
        VitalSign::Pulse,
        "pulse.reading",
        &[
            "pulse seventy two regular",
            "pulse thirty six in thirty seconds",
        ],
    ),
    reading(
        VitalSign::Respiration,
        "respiration.reading",
        &["respiration sixteen", "breathing eighteen a minute shallow"],
    ),
    reading(
        VitalSign::BloodPressure,
        "blood_pressure.reading",
        &[
            "blood pressure one twenty eight over seventy six left arm sitting",
            "blood pressure one ten palpated right arm lying",
        ],
    ),
    reading(
        VitalSign::OxygenSaturation,
        "oxygen_saturation.reading",
        &["oxygen saturation ninety two on two liters"],
    ),
    reading(
        VitalSign::Weight,
        "weight.reading",
        &[
            "weight one forty six point five pounds chair scale",
            "weight one eighty four less thirty six",
        ],
    ),
    reading(
        VitalSign::Height,
        "height.reading",
        &["height five foot four"],
    ),
    reading(
        VitalSign::Pain,
        "pain.reading",
        &["pain three out of ten", "no pain", "pain can't say"],
    ),
    reading(
        VitalSign::OxygenFlow,
        "oxygen_flow.reading",
        &["oxygen flow two liters"],
    ),
    reading(
        VitalSign::Alertness,
        "alertness.reading",
        &["alertness responds to voice"],
    ),
    entry(
        Group::Readings,
        "several in one breath",
        "reading.readings",
        &["pulse eighty respiration sixteen"],
    ),
    entry(
        Group::Readings,
        "taken earlier",
        "reading.readings",
        &[
            "pulse seventy two taken at ten fifteen",
            "pulse seventy two taken twenty minutes ago",
        ],
    ),
    entry(
        Group::Readings,
        "put yourself right at once",
        "pulse.reading",
        &["pulse eighty two no seventy two"],
    ),
    entry(
        Group::Answers,
        "keep it",
        "conversation.yes",
        &["yes", "yes keep it", "that's correct"],
    ),
    entry(
        Group::Answers,
        "not keep it",
        "conversation.no",
        &["no", "that's wrong"],
    ),
    entry(
        Group::Answers,
        "put it right",
        "conversation.replace",
        &["no fourteen", "no pulse eighty two"],
    ),
    entry(
        Group::Answers,
        "let it go, and do something else",
        "conversation.instead",
        &["no next resident", "no she refused", "no recheck"],
    ),
    entry(
        Group::Answers,
        "answer a question, or change a part",
        "reading.part",
        &["oral", "left arm", "fourteen"],
    ),
    entry(
        Group::Answers,
        "say that a pressure was felt, with no diastolic",
        "blood_pressure.alone",
        &["one ten palpated"],
    ),
    entry(Group::Answers, "", "blood_pressure.stood", &[]),
    entry(
        Group::Answers,
        "give a count that was asked for",
        "reading.rate",
        &["eighty two", "pulse eighty two"],
    ),
    entry(
        Group::Changes,
        "change a value that was kept",
        "change.value",
        &["change the pulse to eighty two"],
    ),
    entry(
        Group::Changes,
        "change how it was taken",
        "change.that-was",
        &["that was right arm"],
    ),
    entry(
        Group::Changes,
        "take one back",
        "change.scratch",
        &["scratch the pulse"],
    ),
    entry(
        Group::Changes,
        "say which, when asked",
        "change.which",
        &["the second"],
    ),
    entry(
        Group::Changes,
        "be told when to start and stop counting",
        "change.count",
        &["count pulse", "count respiration a full minute with ticks"],
    ),
    entry(
        Group::Changes,
        "be told when a time is over",
        "change.time",
        &["time three minutes", "time the thermometer three minutes"],
    ),
    entry(
        Group::Changes,
        "measure again, after the right wait",
        "change.again",
        &["recheck", "recheck the blood pressure"],
    ),
    entry(
        Group::NotTaken,
        "say what was not taken, and why",
        "reading.not-taken",
        &["weight refused", "resident asleep", "pulse no equipment"],
    ),
    entry(
        Group::NotTaken,
        "note how the resident feels",
        "reading.felt",
        &["she is dizzy", "unable to stand"],
    ),
    entry(
        Group::NotTaken,
        "say what a reading must wait for",
        "reading.activity-said",
        &["just drank", "ate ten minutes ago"],
    ),
    entry(
        Group::NotTaken,
        "go on past a caution",
        "reading.reason",
        &["because the nurse said so"],
    ),
    entry(
        Group::NotTaken,
        "go past a resident, and say why",
        "order.skip",
        &["skip asleep"],
    ),
    entry(
        Group::NotTaken,
        "say why, when asked",
        "order.why",
        &["asleep"],
    ),
    entry(
        Group::Reports,
        "close a report, when the nurse has it",
        "place.reported",
        &["reported to the charge nurse"],
    ),
    entry(
        Group::Reports,
        "hear an earlier value",
        "reading.history",
        &["what was her last blood pressure"],
    ),
    // Every command is listed from the grammar; these stand for their rules.
    entry(Group::Commands, "", "conversation.command", &[]),
    entry(Group::Commands, "", "conversation.later", &[]),
    entry(Group::Commands, "", "conversation.wake", &[]),
    entry(Group::Commands, "", "order.command", &[]),
];
