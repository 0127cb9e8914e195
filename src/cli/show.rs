//! Meanings in words, and the live screen with its level meter.

use indicatif::{ProgressBar, ProgressStyle};
use sayback::facts::{Fact, KeptReading, Time};
use sayback::hearing::{FLOOR, Heard, Level};
use sayback::residents::Home;
use sayback::round::{Screen, Terminal, shown};
use sayback::speaking::wording;
use sayback::sync::LinkStatus;
use sayback::understanding::{Order, Unclear, Utterance, Why};
use sayback::vitals::VitalSign;

/// What an utterance means, on one line.
pub fn meaning_line(meaning: &Utterance) -> String {
    match meaning {
        Utterance::Readings {
            yes,
            no,
            claims,
            unclear,
        } => {
            let yes = yes.iter().map(|_| "yes".to_owned());
            let no = no.then(|| "no".to_owned());
            let claims = claims.iter().map(|it| shown(&it.measurement));
            let unclear = unclear.iter().map(ask);
            yes.chain(no)
                .chain(claims)
                .chain(unclear)
                .collect::<Vec<_>>()
                .join("; ")
        }
        Utterance::Part(part) => {
            let value = part
                .value
                .iter()
                .map(|it| format!("a value, {}", shown(&it.measurement)));
            let qualifiers = part.qualifiers.iter().map(|it| it.spoken().to_owned());
            let parts: Vec<String> = value.chain(qualifiers).collect();
            format!("part of a reading: {}", parts.join(", "))
        }
        Utterance::Yes(_) => "yes".to_owned(),
        Utterance::No => "no".to_owned(),
        Utterance::Instead(what) => format!("no; {}", meaning_line(what)),
        Utterance::Command(command) => format!("command: {command:?}"),
        Utterance::Order(order) => self::order(order),
        Utterance::Place(place) => {
            let room = place.room.iter().map(|it| format!("room {it}"));
            let bed = place.bed.iter().map(|it| format!("bed {it}"));
            room.chain(bed).collect::<Vec<_>>().join(", ")
        }
        Utterance::NotTaken { signs, reason } => {
            format!("not taken: {} {}", wording::names(signs), reason.spoken())
        }
        Utterance::Reported { to: Some(to) } => format!("reported to nurse {to}"),
        Utterance::Reported { to: None } => "reported, to whom?".to_owned(),
        Utterance::LastValue(sign) => format!("asks for the last {}", sign.name()),
        Utterance::Did(activity, minutes) => format!("{activity:?} {minutes} minutes ago"),
        Utterance::Called { phrase, .. } => format!("resident: \"{phrase}\""),
        Utterance::ThisIs(phrase) => format!("recorder: \"{phrase}\""),
        Utterance::Skip(reason) => format!("skip: {}", reason.spoken()),
        Utterance::Felt(felt) => format!("remark: {}", felt.spoken()),
        Utterance::Reason(reason) => format!("reason to go on: {reason}"),
    }
}

fn order(order: &Order) -> String {
    match order {
        Order::Change { sign, to: None } => format!("change the {}: to what?", sign.name()),
        Order::Change { to: Some(to), .. } => format!("change to {}", shown(&to.measurement)),
        Order::ThatWas(qualifiers) => {
            let qualifiers: Vec<&str> = qualifiers.iter().map(|it| it.spoken()).collect();
            format!("that was {}", qualifiers.join(", "))
        }
        Order::Scratch(sign) => format!("scratch the {}", sign.name()),
        Order::Which(at) => format!("number {} of those", at + 1),
        Order::Count { sign, seconds, .. } => {
            let over = seconds.map(|it| format!(" over {it} seconds"));
            format!("count {}{}", sign.name(), over.unwrap_or_default())
        }
        Order::Time { seconds, .. } => format!("time {seconds} seconds"),
        Order::RecheckIn(sign, seconds) => {
            let name = sign.map_or("", VitalSign::name);
            format!("recheck {name} in {seconds} s")
        }
        Order::Recheck(sign) => format!("recheck {}", sign.map_or("", VitalSign::name)),
    }
}

fn ask(unclear: &Unclear) -> String {
    let why = match &unclear.why {
        Why::Gap => "words were lost beside the number".to_owned(),
        Why::Cut => "its number goes on in other words".to_owned(),
        Why::NoNumber => "no number".to_owned(),
        Why::NotANumber(words) => format!("\"{words}\" is no such number"),
        Why::Either(ways) => {
            let ways: Vec<String> = ways.iter().map(shown).collect();
            format!("either {}", ways.join(" or "))
        }
        Why::Impossible(why) => why.to_string(),
        Why::Arithmetic(why) => why.clone(),
        Why::Unsure(confidence) => format!("only {:.0} % sure", confidence * 100.0),
        Why::TwoQualifiers(a, b) => format!("both {} and {}", a.spoken(), b.spoken()),
        Why::NotTaken(reason) => reason.spoken().to_owned(),
        Why::OrNotTaken(_, reason) => format!("a value, and {}", reason.spoken()),
        Why::Counted(seconds) => format!("counted over {seconds} seconds"),
        Why::BadTime => "that time can't be".to_owned(),
        Why::OnlySystolic { systolic, .. } => format!("only one number, {systolic}"),
        Why::ChairWeight(_) => "the weight of the chair is not known".to_owned(),
        Why::NoDiastolic(_) => "no diastolic, and not said to be palpated".to_owned(),
        Why::PalpatedOver => "palpated, and a diastolic".to_owned(),
    };
    format!("ask for the {} again: {why}", unclear.sign.name())
}

/// A live round on the terminal, with a level meter under it.
pub struct LevelBar {
    terminal: Terminal<anstream::Stdout>,
    bar: ProgressBar,
    /// Whether the home was away when that was shown last.
    away: bool,
}

impl LevelBar {
    pub fn new(aide: &str, home: &Home, microphone: &str) -> Self {
        let width = (-FLOOR).clamp(1.0, 200.0);
        #[allow(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "1 to 200"
        )]
        let bar = ProgressBar::new(width as u64);
        let style = ProgressStyle::with_template("{prefix:.dim} {bar:30} {msg}");
        if let Ok(style) = style {
            bar.set_style(style.progress_chars("=> "));
        }
        bar.set_prefix(microphone.to_owned());
        Self {
            terminal: Terminal::new(anstream::stdout(), aide, home),
            bar,
            away: false,
        }
    }

    fn above(&mut self, show: impl FnOnce(&mut Terminal<anstream::Stdout>)) {
        let terminal = &mut self.terminal;
        self.bar.suspend(|| show(terminal));
    }
}

impl Screen for LevelBar {
    fn heard(&mut self, now: Time, heard: &Heard, addressed: bool) {
        self.above(|it| it.heard(now, heard, addressed));
    }

    fn said(&mut self, now: Time, text: &str) {
        self.above(|it| it.said(now, text));
    }

    fn stored(&mut self, fact: &Fact<KeptReading>) {
        self.above(|it| it.stored(fact));
    }

    fn notice(&mut self, text: &str) {
        self.above(|it| it.notice(text));
    }

    fn passed_over(&mut self) {
        self.above(Screen::passed_over);
    }

    fn speech(&mut self, speech: sayback::residents::Speech) {
        self.above(|it| it.speech(speech));
    }

    fn link(&mut self, status: &LinkStatus, now: Time) {
        let away = status.trouble.is_some();
        if away != self.away {
            self.away = away;
            self.notice(&status.line(now.date_naive()));
        }
    }

    fn level(&mut self, level: Level) {
        #[allow(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "from the floor to 0 dBFS"
        )]
        self.bar.set_position((level.peak - FLOOR).max(0.0) as u64);
        self.bar.set_message(match (level.clipping, level.dead) {
            (true, _) => "too loud",
            (_, true) => "no sound",
            _ => "",
        });
    }
}
