//! A blood pressure by palpation is heard, and none is made of a diastolic that was lost: of
//! two numbers that are cut off anywhere none is offered as palpated. With the voices that the
//! tests install anyway, by the ear of a round, which hears again what is not sure.

mod bench;
mod sound;

use sayback::grammar::Grammar;
use sayback::hearing::RATE;
use sayback::round::model_for;

use bench::judge::{Judge, Outcome, offers};
use bench::listen::{self, Listener};
use bench::texts::Split;
use bench::voices::{Half, Voice};
use bench::{Anything, at_hand};

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

const HEARD: [&str; 2] = [
    "blood pressure one ten over seventy",
    "b p one forty over ninety",
];

/// From one cut to the next.
const STEP: usize = RATE as usize / 10;

fn spoken(texts: &[&'static str]) -> Anything<Vec<(&'static Voice, &'static str, Vec<i16>)>> {
    let voices = Half::mixed(Split::Tune).voices();
    let voices = voices.into_iter().filter(|it| at_hand(it));
    let both = voices.flat_map(|it| texts.iter().map(move |text| (it, *text)));
    let both: Vec<_> = both.collect();
    let sounds = bench::spoken(both.iter().copied())?;
    let with_sound = |((voice, text), sound)| (voice, text, sound);
    Ok(both.into_iter().zip(sounds).map(with_sound).collect())
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
