//! A blood pressure by palpation is heard, and none is made of a diastolic that was lost: of
//! two numbers that are cut off anywhere none is offered as palpated. With the voices that the
//! tests install anyway, by the ear of a round, which hears again what is not sure.

#[path = "../examples/bench_hearing/judge.rs"]
#[allow(dead_code, reason = "the bench uses the rest")]
mod judge;
#[path = "../examples/bench_hearing/listen.rs"]
#[allow(dead_code, reason = "the bench uses the rest")]
mod listen;
#[path = "../examples/bench_hearing/room.rs"]
#[allow(dead_code, reason = "the bench uses the rest")]
mod room;
mod sound;
#[path = "../examples/bench_hearing/texts.rs"]
#[allow(dead_code, reason = "the bench uses the rest")]
mod texts;
#[path = "truthful/truth.rs"]
#[allow(dead_code, reason = "its own test uses the rest")]
mod truth;
#[path = "../examples/bench_hearing/voices.rs"]
#[allow(dead_code, reason = "the bench uses the rest")]
mod voices;

use std::path::PathBuf;

use sayback::grammar::Grammar;
use sayback::hearing::{RATE, read_wav};
use sayback::round::model_for;

use judge::{Judge, Outcome, offers};
use listen::Listener;
use texts::Split;
use voices::{Order, Voice, speak};

type Anything<T> = Result<T, Box<dyn std::error::Error>>;

/// No voice of this test needs it.
fn python() -> PathBuf {
    PathBuf::from("python3")
}

const PALPATED: [&str; 6] = [
    "blood pressure one ten palpated left arm sitting",
    "pressure one eighteen palpated right arm lying",
    "blood pressure ninety six over palpated left arm sitting",
    "b p one hundred four palpable left arm lying",
    "blood pressure one twenty by palpitation right arm sitting",
    "blood pressure eighty eight palpated left arm standing",
];

/// What is right of them at least, by all voices. Nothing may be offered wrongly.
const RIGHT: usize = 36;

const HEARD: [&str; 3] = [
    "blood pressure one ten over seventy",
    "b p one forty over ninety",
    "blood pressure one fifty two over eighty eight",
];

/// From one cut to the next.
const STEP: usize = RATE as usize / 10;

fn spoken(texts: &[&str]) -> Anything<Vec<(&'static Voice, String, Vec<i16>)>> {
    let folder = tempfile::tempdir()?;
    let at_hand = |it: &&Voice| it.name.starts_with("flite-") || it.name.starts_with("espeak-");
    let voices = Voice::of(Split::Tune).into_iter().filter(at_hand);
    let both = voices.flat_map(|it| texts.iter().map(move |text| (it, *text)));
    let orders: Vec<Order> = both
        .enumerate()
        .map(|(at, (voice, text))| Order {
            voice,
            text: text.to_owned(),
            file: folder.path().join(format!("{at}.wav")),
        })
        .collect();
    speak(&orders)?;
    let sound = |it: Order| Ok((it.voice, it.text, read_wav(&it.file)?));
    orders.into_iter().map(sound).collect()
}

/// With what is before and after it in a room.
fn in_quiet(sound: &[i16]) -> Vec<i16> {
    let tenths = |count: usize| vec![0; count * RATE as usize / 10];
    [tenths(3), sound.to_vec(), tenths(12)].concat()
}

#[test]
fn palpated_pressures_are_heard() -> Anything<()> {
    let judge = Judge::new()?;
    let (model, grammar) = model_for(&sound::model_folder(), Grammar::standard())?;
    let expect = [judge.waiting.expect()];
    let mut listener = Listener::new(&model, &grammar, &judge.dialogue, &expect)?;
    let all = spoken(&PALPATED)?;
    let (mut right, mut missed) = (0, Vec::new());
    for (voice, text, sound) in &all {
        assert!(judge.is_offered(text), "{text}");
        let heard = listener.hear(&judge.waiting, &in_quiet(sound));
        let outcome = judge.reading(text, &heard);
        let words = listen::texts(&heard);
        let told = format!("{outcome:?}: {}: {text} | {words}", voice.name);
        assert_ne!(outcome, Outcome::Wrong, "{told}");
        if outcome == Outcome::Right {
            right += 1;
        } else {
            missed.push(told);
        }
    }
    println!("{right} of {} right", all.len());
    assert!(right >= RIGHT, "{right} right\n{}", missed.join("\n"));
    Ok(())
}

#[test]
fn a_pressure_that_is_cut_off_is_never_offered_as_palpated() -> Anything<()> {
    let judge = Judge::new()?;
    let (model, grammar) = model_for(&sound::model_folder(), Grammar::standard())?;
    let expect = [judge.waiting.expect()];
    let mut listener = Listener::new(&model, &grammar, &judge.dialogue, &expect)?;
    let mut cuts = 0;
    for (voice, text, sound) in spoken(&HEARD)? {
        for end in (sound.len() / 2..sound.len()).step_by(STEP) {
            let heard = listener.hear(&judge.waiting, &in_quiet(&sound[..end]));
            let question = judge.question(&judge.waiting, &heard).unwrap_or_default();
            cuts += 1;
            let palpated = question.contains("palpation");
            if palpated {
                println!("{}: {text}, at {end}: {question}", voice.name);
            }
            assert!(
                !palpated || offers(&question).is_none(),
                "{}: {text}, at {end}: {} | {question}",
                voice.name,
                listen::texts(&heard)
            );
        }
    }
    println!("{cuts} cuts");
    assert!(cuts > 100);
    Ok(())
}
