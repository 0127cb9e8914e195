//! From recordings to what is replayed, through the true recogniser.

use std::path::{Path, PathBuf};
use std::time::Duration;

use sayback::dialogue::Dialogue;
use sayback::facts::{Body, Time};
use sayback::grammar::Grammar;
use sayback::hearing::{RATE, Sound, read_wav};
use sayback::residents::Home;
use sayback::round::{Mouth, Rehearsal, Script, Silent, ear_for};
use sayback::store::{SoundPart, Store};

use super::disk::is_in_the_pages;
use super::talk::{Place, readings, start};

pub fn recording(name: &str) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    root.join(format!("audio-fixtures/speech/{name}.wav"))
}

/// The samples of a recording as the ear is given them.
pub fn samples(name: &str) -> Vec<i16> {
    read_wav(&recording(name)).unwrap()
}

fn rehearse(store: &mut Store, steps: &str) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let home = root.join("audio-fixtures/demo-home.toml");
    let text = format!(
        "home {}\nat {}\n{steps}",
        home.display(),
        start().to_rfc3339()
    );
    let script = Script::parse(&root.join("audio-fixtures/any.script"), &text).unwrap();
    let home = Home::from_toml(&std::fs::read_to_string(home).unwrap()).unwrap();
    let grammar = Grammar::standard();
    let ear = ear_for(&root.join("assets/model-en-us"), &grammar, &home).unwrap();
    let dialogue = Dialogue::new(home.clone(), home.aides[0].clone(), &grammar).unwrap();
    let rehearsal = Rehearsal {
        script: &script,
        dialogue: &dialogue,
        store,
        ear: Some(ear),
        mouth: Mouth::default(),
        screen: &mut Silent,
        pace: Duration::ZERO,
        touches: None,
    };
    assert_eq!(rehearsal.run().unwrap().unmet, []);
}

/// Whether these are samples of a recording, one after another, with nothing but
/// silence before and after it.
fn is_part_of(kept: &[i16], recording: &[i16]) -> bool {
    let silence = vec![0; RATE as usize];
    let whole = [&silence[..], recording, &silence].concat();
    whole.windows(kept.len()).any(|it| it == kept)
}

#[test]
fn what_is_replayed_is_the_very_samples_that_were_heard() {
    let place = Place::new();
    let mut store = place.keeping(14);
    rehearse(
        &mut store,
        "wav speech/room-four-bed-two.wav\nwav speech/yes-slt.wav\n\
         wav speech/pressure-152-88.wav\nexpect over eight eight, left arm\n\
         wav speech/yes-awb.wav\nexpect Kept.\n\
         wav speech/side-talk.wav\n\
         wav speech/respiration-14.wav\nexpect Respiration four zero. Yes?\n\
         wav speech/no-one-four.wav\nexpect Respiration one four. Yes?\n\
         wav speech/yes-kal.wav\nexpect Kept.\n",
    );
    let now: Time = start() + chrono::TimeDelta::hours(1);
    let there = readings(&store);
    let expected = [("pressure-152-88", "yes-awb"), ("no-one-four", "yes-kal")];
    assert_eq!(there.len(), expected.len());
    for (id, (reading, yes)) in there.iter().zip(expected) {
        for (part, name) in [(SoundPart::Reading, reading), (SoundPart::Yes, yes)] {
            let kept = store.sound(*id, part, now).unwrap().unwrap();
            let recording = samples(name);
            assert!(
                is_part_of(&kept, &recording),
                "{name} is replayed otherwise"
            );
            assert!(
                kept.len() > 4_000 && kept.len() <= recording.len() + 8_000,
                "{name}"
            );
            let loud = |it: &[i16]| it.iter().map(|it| f64::from(*it).powi(2)).sum::<f64>();
            assert!(loud(&kept) > 0.95 * loud(&recording), "{name} is cut short");
        }
    }
    drop(store);
    for never in [
        "room-four-bed-two",
        "yes-slt",
        "side-talk",
        "respiration-14",
    ] {
        let sound = Sound::new(&samples(never));
        assert!(!is_in_the_pages(&place, &sound), "{never} is kept");
    }
    assert!(is_in_the_pages(
        &place,
        &Sound::new(&samples("pressure-152-88"))
    ));
}

/// The same round where the home says nothing: the record is the same, and
/// nothing of the sound is anywhere.
#[test]
fn the_record_is_the_same_without() {
    let steps = "wav speech/room-four-bed-two.wav\nwav speech/yes-slt.wav\n\
         wav speech/pressure-152-88.wav\nwav speech/yes-awb.wav\nexpect Kept.\n";
    let (with, without) = (Place::new(), Place::new());
    let (mut a, mut b) = (with.keeping(14), without.store());
    rehearse(&mut a, steps);
    rehearse(&mut b, steps);
    let kept = |store: &Store| -> Vec<String> {
        let facts = store.facts().unwrap().into_iter();
        let readings = facts.filter_map(|it| match it.body {
            Body::Read(it) => Some(format!("{:?} {}", it.measurement, it.heard)),
            _ => None,
        });
        readings.collect()
    };
    assert_eq!(kept(&a), kept(&b));
    assert_eq!(kept(&a).len(), 1);
    let sound = Sound::new(&samples("pressure-152-88"));
    assert!(!super::is_in_a_file(without.folder(), &sound));
}
