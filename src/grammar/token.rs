//! What a tagged phrase means.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::OrderWord;
use crate::vitals::{
    Activity, Alertness, Device, Felt, NotTakenReason, Qualifier, Unit, VitalSign,
};

/// A piece of a spoken number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Piece {
    /// 0 to 9.
    Digit(u8),
    /// "oh": nought between digits. At the end it is more likely a "four" that
    /// was not heard well, and gives no number.
    Oh,
    /// 10 to 19.
    Teen(u8),
    /// 20, 30 … 90.
    Ten(u8),
    /// "hundred".
    Hundred,
    /// "and".
    And,
    /// "point".
    Point,
    /// "a half", "a quarter".
    Fraction(Decimal),
}

/// A command.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Command {
    /// Say the last thing again.
    Repeat,
    /// Drop what is pending.
    Scratch,
    /// What is still due here?
    Missing,
    /// Finished with this resident.
    Done,
    /// What can I say?
    Help,
    /// The round is over.
    EndRound,
    /// Lying and standing pressures, step by step.
    Orthostatic,
    /// Stop what is being counted or guided.
    Stop,
    /// Stop the count.
    CancelCount,
    /// Stop the timers.
    CancelTimer,
    /// What was kept here is of someone else.
    WrongResident,
    /// Ignore everything until woken.
    StopListening,
    /// Listen again.
    StartListening,
    /// On to the next resident who has something due.
    Next,
    /// Back to the resident before.
    Back,
    /// Past this resident.
    Skip,
    /// Past what is asked for.
    Later,
    /// Who is left in this round?
    WhoIsLeft,
    /// Ask for each vital sign that is due, in turn.
    Lead,
}

impl Command {
    /// Whether it says, after a no, what is to be done instead of what waits: to go
    /// elsewhere, or to stop. After the end of the round nothing could be put right.
    #[must_use]
    pub const fn is_instead(self) -> bool {
        use Command::{Back, Done, Later, Next, Scratch, Skip, Stop, StopListening, WrongResident};
        matches!(
            self,
            Back | Done | Later | Next | Scratch | Skip | Stop | StopListening | WrongResident
        )
    }
}

/// Morning or afternoon.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HalfDay {
    /// Before noon.
    Am,
    /// From noon on.
    Pm,
}

/// A side, when only "left" or "right" was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Left.
    Left,
    /// Right.
    Right,
}

/// How a late entry's time is introduced.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TakenForm {
    /// "taken at".
    At,
    /// "taken … ago".
    Ago,
    /// "taken now".
    Now,
}

/// The meaning of one phrase.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Token {
    /// The name of a vital sign.
    Sign(VitalSign),
    /// A qualifier.
    Is(Qualifier),
    /// "left" or "right" alone.
    Short(Side),
    /// A unit.
    Unit(Unit),
    /// A piece of a number.
    Number(Piece),
    /// "over".
    Over,
    /// "foot", between feet and inches.
    Feet,
    /// "ounces", after pounds and a number.
    Ounces,
    /// "liters", after a number.
    Litres,
    /// "at", before liters.
    At,
    /// "in thirty seconds", after a count.
    Counted(u16),
    /// "plus", between the two bars of a balance scale.
    Plus,
    /// "less", before the weight of the chair.
    Less,
    /// "less the chair", whose weight is known.
    LessChair,
    /// A level of alertness.
    Level(Alertness),
    /// The resident can't rate it.
    NotRated,
    /// "there is no pain": the nought of the scale.
    NoPain,
    /// "palpated": a systolic that was felt, without a diastolic.
    Palpated,
    /// "systolic only": there is no diastolic, and why was not said.
    SystolicOnly,
    /// The device a value was read from.
    Device(Device),
    /// Why the aide goes on past a caution.
    Reason(String),
    /// What the resident did before.
    Activity(Activity),
    /// How the resident feels.
    Felt(Felt),
    /// "last", of an earlier value.
    Last,
    /// "no": a refusal at the start, a self-correction inside.
    No,
    /// A self-correction: "sorry", "I mean".
    Fix,
    /// "yes".
    Yes,
    /// A command.
    Say(Command),
    /// "reported to".
    Reported,
    /// A nurse, by the home's own key.
    Nurse(String),
    /// A resident, by the whole phrase that called.
    Resident(String),
    /// Who says that they record, by the whole phrase.
    Staff(String),
    /// "room".
    Room,
    /// "bed"; with a name, such as "window", when it is no number.
    Bed(Option<String>),
    /// Not taken, and why.
    NotTaken(NotTakenReason),
    /// "taken at", "taken … ago".
    Taken(TakenForm),
    /// "minutes ago".
    MinutesAgo,
    /// "an hour ago", "half an hour ago": this many minutes.
    Ago(u16),
    /// "o'clock".
    OClock,
    /// Morning or afternoon.
    HalfDay(HalfDay),
    /// A word of an order.
    Order(OrderWord),
    /// A word of the grammar that carries no meaning of its own.
    Filler,
    /// A word that is not in the grammar, or speech that fitted nothing.
    Unknown,
}

impl Token {
    /// Reads a tag of a grammar file, `kind value`.
    #[must_use]
    pub fn from_tag(tag: &str) -> Option<Self> {
        let (kind, value) = tag.split_once(' ')?;
        let number = || value.parse::<u8>().ok();
        Some(match (kind, value) {
            ("sign", _) => Self::Sign(VitalSign::from_tag(value)?),
            ("is", _) => Self::Is(Qualifier::from_tag(value)?),
            ("short", "left") => Self::Short(Side::Left),
            ("short", "right") => Self::Short(Side::Right),
            ("unit", _) => Self::Unit(Unit::from_tag(value)?),
            ("oh", "_") => Self::Number(Piece::Oh),
            ("digit", _) => Self::Number(Piece::Digit(number().filter(|it| *it < 10)?)),
            ("teen", _) => Self::Number(Piece::Teen(number().filter(|it| (10..20).contains(it))?)),
            ("ten", _) => {
                let ten = |it: &u8| (20..100).contains(it) && it.is_multiple_of(10);
                Self::Number(Piece::Ten(number().filter(ten)?))
            }
            ("hundred", "100") => Self::Number(Piece::Hundred),
            ("and", "_") => Self::Number(Piece::And),
            ("point", "_") => Self::Number(Piece::Point),
            ("fraction", _) => Self::Number(Piece::Fraction(value.parse().ok()?)),
            ("over", "_") => Self::Over,
            ("feet", "_") => Self::Feet,
            ("ounces", "_") => Self::Ounces,
            ("litres", "_") => Self::Litres,
            ("at", "_") => Self::At,
            ("counted", _) => Self::Counted(value.parse().ok()?),
            ("plus", "_") => Self::Plus,
            ("less", "_") => Self::Less,
            ("less", "chair") => Self::LessChair,
            ("level", _) => Self::Level(Alertness::from_tag(value)?),
            ("not_rated", "_") => Self::NotRated,
            // Padding whose words mean something else elsewhere.
            ("padding", "_") => Self::Filler,
            ("no_pain", "_") => Self::NoPain,
            ("palpated", "_") => Self::Palpated,
            ("systolic_only", "_") => Self::SystolicOnly,
            ("device", _) => Self::Device(named(value)?),
            ("reason", _) => Self::Reason(value.replace('_', " ")),
            ("activity", _) => Self::Activity(named(value)?),
            ("felt", _) => Self::Felt(named(value)?),
            ("last", "_") => Self::Last,
            ("no", "_") => Self::No,
            ("fix", "_") => Self::Fix,
            ("say", "yes") => Self::Yes,
            ("say", "reported") => Self::Reported,
            ("say", _) => Self::Say(named(value)?),
            ("nurse", _) => Self::Nurse(value.to_owned()),
            ("resident", _) => Self::Resident(value.to_owned()),
            ("staff", _) => Self::Staff(value.to_owned()),
            ("room", "_") => Self::Room,
            ("bed", "_") => Self::Bed(None),
            ("bed", _) => Self::Bed(Some(value.to_owned())),
            ("not_taken", "other") => Self::NotTaken(NotTakenReason::Other("not taken".to_owned())),
            ("not_taken", "not_obtained") => {
                let reason = "could not be obtained".to_owned();
                Self::NotTaken(NotTakenReason::Other(reason))
            }
            ("not_taken", _) => Self::NotTaken(NotTakenReason::from_tag(value)?),
            ("taken", _) => Self::Taken(named(value)?),
            ("minutes_ago", "_") => Self::MinutesAgo,
            ("hour_ago", "_") => Self::Ago(60),
            ("half_hour_ago", "_") => Self::Ago(30),
            ("oclock", "_") => Self::OClock,
            ("order", _) => Self::Order(named(value)?),
            ("half_day", _) => Self::HalfDay(named(value)?),
            _ => return None,
        })
    }
}

/// The enum value with this serde name: tags and stored facts share their names.
fn named<T: serde::de::DeserializeOwned>(value: &str) -> Option<T> {
    serde_json::from_value(serde_json::Value::String(value.to_owned())).ok()
}
