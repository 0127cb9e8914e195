//! People, not synthesizers: the recordings of Debian's `pocketsphinx-testdata`.
//! Spoken numbers are heard as they were said; read prose (`LibriVox`, public
//! domain) and synthesized talk with numbers in it lead to nothing.

mod sound;

use std::path::{Path, PathBuf};

use sayback::grammar::{Expect, Grammar, Vocabulary};
use sayback::hearing::{Ear, Heard, RATE, read_wav};
use sayback::understanding::{ASK_BELOW, Context, NotUnderstood, Utterance, understand};
use sayback::vitals::{Units, VitalSign};

const FOLDER: &str = "/usr/share/pocketsphinx/test/data";

fn recording(name: &str) -> Vec<i16> {
    let path: PathBuf = Path::new(FOLDER).join(name);
    assert!(
        path.exists(),
        "{} is missing: install the Debian package pocketsphinx-testdata",
        path.display()
    );
    if path.extension().is_some_and(|it| it == "wav") {
        return read_wav(&path).unwrap();
    }
    // Headerless: 16 kHz, 16 bits, one channel, little-endian.
    let bytes = std::fs::read(path).unwrap();
    let pairs = bytes.chunks_exact(2);
    pairs.map(|it| i16::from_le_bytes([it[0], it[1]])).collect()
}

struct Listener {
    ear: Ear<Expect>,
    vocabulary: Vocabulary,
}

impl Listener {
    fn new() -> Self {
        let grammar = Grammar::standard();
        let mut ear = Ear::new(sound::model());
        for expect in Expect::ALL {
            ear.set_phrases(expect, &grammar.phrases(expect)).unwrap();
        }
        let vocabulary = grammar.vocabulary();
        Self { ear, vocabulary }
    }

    fn hear(&mut self, expect: Expect, sound: &[i16]) -> Vec<Heard> {
        self.ear.expect(expect);
        let pause = vec![0; RATE as usize];
        let all = [sound, &pause].concat();
        let blocks = all.chunks(RATE as usize / 10);
        let mut heard: Vec<Heard> = blocks.filter_map(|it| self.ear.accept(it)).collect();
        heard.extend(self.ear.finish());
        heard
    }

    /// What an utterance means while a pulse waits for an answer.
    fn meaning(&self, heard: &Heard) -> Result<Utterance, NotUnderstood> {
        let context = Context {
            units: Units::UsCustomary,
            pending: &[VitalSign::Pulse],
            precautions: None,
            ask_below: ASK_BELOW,
        };
        understand(heard, &self.vocabulary, &context)
    }

    /// Everything in `sound` that claims or commands something, in any state.
    fn taken(&mut self, sound: &[i16]) -> Vec<String> {
        let mut taken = Vec::new();
        for expect in [
            Expect::Readings,
            Expect::Answer,
            Expect::Confirm,
            Expect::Place,
        ] {
            for heard in self.hear(expect, sound) {
                let Ok(meaning) = self.meaning(&heard) else {
                    continue;
                };
                // A number with words lost beside it is asked for again, and
                // no value.
                let asks = matches!(
                    &meaning,
                    Utterance::Part(part) if part.value.is_none() && part.qualifiers.is_empty()
                );
                if !asks {
                    taken.push(format!("{expect:?}: \"{}\" {meaning:?}", heard.text()));
                }
            }
        }
        taken
    }
}

#[test]
fn numbers_that_people_said_are_the_numbers_heard() {
    let mut listener = Listener::new();
    for (name, said) in [
        ("numbers.raw", "thirty three four six ninety two"),
        ("tidigits/dhd.2934z.raw", "two nine three four zero"),
        ("cards/004.wav", "five five"),
    ] {
        let heard = listener.hear(Expect::Answer, &recording(name));
        let heard: Vec<String> = heard.iter().map(Heard::text).collect();
        assert_eq!(heard, [said], "{name}");
    }
}

#[test]
fn read_prose_means_nothing() {
    let mut listener = Listener::new();
    let files = std::fs::read_dir(Path::new(FOLDER).join("librivox"));
    let files = files.expect("install the Debian package pocketsphinx-testdata");
    let names = files.map(|it| it.unwrap().file_name().into_string().unwrap());
    let prose: Vec<String> = names
        .filter(|it| Path::new(it).extension().is_some_and(|it| it == "wav"))
        .collect();
    assert!(prose.len() >= 5, "{prose:?}");
    for name in prose {
        let sound = recording(&format!("librivox/{name}"));
        let taken = listener.taken(&sound);
        assert!(taken.is_empty(), "{name}: {taken:?}");
    }
}

#[test]
fn talk_with_numbers_in_it_keeps_nothing() {
    let mut listener = Listener::new();
    for said in [
        "I was born in nineteen thirty two",
        "she is eighty two you know",
        "we had ten people over for lunch",
        "did you sleep well last night my dear",
        "let me get that out of your way",
        "the game starts at half past six",
    ] {
        let sound = sound::spoken_frames(said);
        for expect in [Expect::Readings, Expect::Confirm] {
            for heard in listener.hear(expect, &sound) {
                let meaning = listener.meaning(&heard);
                let claims = matches!(
                    &meaning,
                    Ok(Utterance::Readings { .. } | Utterance::Yes(_) | Utterance::NotTaken { .. })
                );
                assert!(!claims, "{said}: \"{}\" {meaning:?}", heard.text());
            }
        }
    }
}
