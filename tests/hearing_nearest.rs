//! A yes among other voices: whose it is, by how loud it is beside the reading that it
//! answers.

mod sound;

use sayback::dialogue::{Action, Dialogue, Event, State};
use sayback::facts::{Body, Record, Time};
use sayback::grammar::Expect;
use sayback::hearing::{Ear, Heard, RATE};
use sayback::round::{hear, listen_for};

/// What goes on beside the aide, who says neither a reading nor a yes.
const TELEVISION: [&str; 4] = [
    "and now the weather for the weekend with some rain in the north",
    "she told him that the garden would be lovely in the spring",
    "the council has not decided about the bridge over the river",
    "we will be back after the break with more of your letters",
];

/// An aide at the bedside, after the resident was named.
struct Bedside {
    dialogue: Dialogue,
    ear: Ear<Expect>,
    state: State,
    /// What the dialogue said, and how many readings were kept.
    said: Vec<String>,
    kept: usize,
}

impl Bedside {
    fn new() -> Self {
        let (model, grammar, dialogue) = sound::demo();
        let mut ear = Ear::new(model);
        for expect in [Expect::Readings, Expect::Confirm] {
            listen_for(&mut ear, expect, &grammar).unwrap();
        }
        let (mut state, _) = dialogue.begin(&Record::default(), 1, now());
        for words in ["room nine", "yes"] {
            let event = Event::Heard(Heard::from_text(words));
            state = dialogue.step(state, &event, now()).0;
        }
        assert_eq!(state.expect(), Expect::Readings);
        Self {
            dialogue,
            ear,
            state,
            said: Vec::new(),
            kept: 0,
        }
    }

    /// The microphone gives this, and whatever is heard of it is answered.
    fn listen(&mut self, sound: &[i16]) {
        self.said.clear();
        self.ear.expect(self.state.expect());
        for block in sound.chunks(RATE as usize / 20) {
            let Some(heard) = hear(&self.dialogue, &self.state, &mut self.ear, block) else {
                continue;
            };
            let event = Event::Heard(heard);
            let (next, actions) = self.dialogue.step(self.state.clone(), &event, now());
            for action in actions {
                match action {
                    Action::Say(saying) => self.said.push(saying.shown),
                    Action::Keep(fact) if matches!(fact.body, Body::Read(_)) => self.kept += 1,
                    _ => {}
                }
            }
            self.state = next;
            self.ear.expect(self.state.expect());
        }
    }
}

fn now() -> Time {
    Time::parse_from_rfc3339("2026-03-02T07:30:00-05:00").unwrap()
}

/// Words at their usual strength or softer, with so many seconds around them.
fn words(text: &str, softer: f64, (before, after): (f64, f64)) -> Vec<i16> {
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a few seconds"
    )]
    let samples = |seconds: f64| (seconds * f64::from(RATE)) as usize;
    let mut sound = vec![0; samples(before)];
    sound.extend(quieter(&sound::at(&sound::speak(text), RATE), softer));
    sound.resize(sound.len() + samples(after), 0);
    sound
}

/// Sound that is softer by so many dB.
fn quieter(sound: &[i16], db: f64) -> Vec<i16> {
    let gain = 10_f64.powf(-db / 20.0);
    #[allow(clippy::cast_possible_truncation, reason = "softer than it was")]
    let soften = |it: &i16| (f64::from(*it) * gain) as i16;
    sound.iter().map(soften).collect()
}

/// The sound with a television beside it, so many dB softer than the usual voice.
fn beside_a_television(sound: &[i16], softer: f64) -> Vec<i16> {
    let talk: Vec<i16> = TELEVISION
        .iter()
        .flat_map(|it| sound::at(&sound::speak(it), RATE))
        .collect();
    let talk = quieter(&talk, softer).into_iter().cycle();
    let both = sound.iter().zip(talk);
    both.map(|(one, other)| one.saturating_add(other)).collect()
}

#[test]
fn a_yes_beside_a_television_is_taken() {
    for softer in [25.0, 20.0] {
        for answer in ["yes correct", "that's correct", "keep it"] {
            let mut bedside = Bedside::new();
            bedside.listen(&words("pulse seventy two", 0.0, (1.0, 2.0)));
            assert_eq!(bedside.state.expect(), Expect::Confirm);
            let answered = words(answer, 0.0, (9.0, 3.0));
            bedside.listen(&beside_a_television(&answered, softer));
            assert_eq!(bedside.kept, 1, "{answer}, {softer} dB: {:?}", bedside.said);
        }
    }
}

#[test]
fn the_television_alone_says_no_yes() {
    let mut bedside = Bedside::new();
    bedside.listen(&words("pulse seventy two", 0.0, (1.0, 2.0)));
    let nothing = vec![0; 30 * RATE as usize];
    for softer in [20.0, 10.0, 0.0] {
        bedside.listen(&beside_a_television(&nothing, softer));
        assert_eq!(bedside.kept, 0);
        assert_eq!(bedside.state.expect(), Expect::Confirm);
    }
}

#[test]
fn a_yes_from_across_the_room_is_asked_for_once_more() {
    let mut bedside = Bedside::new();
    bedside.listen(&words("pulse seventy two", 0.0, (1.0, 2.0)));
    let far = words("yes", 20.0, (1.0, 2.0));
    bedside.listen(&far);
    assert_eq!(bedside.said, ["Please say that again."]);
    assert_eq!(bedside.kept, 0);
    // Who has moved away is heard the second time.
    bedside.listen(&far);
    assert_eq!(bedside.kept, 1);
}

#[test]
fn a_yes_a_little_softer_than_the_reading_is_taken() {
    let mut bedside = Bedside::new();
    bedside.listen(&words("pulse seventy two", 0.0, (1.0, 2.0)));
    bedside.listen(&words("yes", 10.0, (1.0, 2.0)));
    assert_eq!(bedside.kept, 1, "{:?}", bedside.said);
}
