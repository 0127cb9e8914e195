//! A live round in a home that keeps how confirmed readings sounded.

use std::path::PathBuf;

use sayback::hearing::Ear;
use sayback::residents::KeptSound;
use sayback::store::{Key, SoundPart, Store};

use super::*;

/// What was kept, as somebody else hears it.
fn heard_again(samples: &[i16]) -> String {
    let mut ear = Ear::new(sound::model());
    let list = "temperature ninety eight point six oral,yes,no,room nine,pulse eighty";
    ear.set_phrases((), &phrases(list)).unwrap();
    ear.expect(());
    let mut heard: Vec<String> = Vec::new();
    for block in [samples, &vec![0; 16_000]].concat().chunks(1_600) {
        heard.extend(ear.accept(block).map(|it| it.text()));
    }
    heard.extend(ear.finish().map(|it| it.text()));
    heard.join(" ")
}

#[test]
fn how_a_live_reading_sounded_can_be_heard_again() {
    let server = Server::start();
    let sound = server.inside();
    one_room(&sound);
    let loudspeaker = Loudspeaker::record(&sound);
    let home = std::fs::read_to_string("audio-fixtures/demo-home.toml").unwrap();
    let path = sound.folder().join("home.toml");
    std::fs::write(&path, format!("{home}\n[kept_sound]\ndays = 3\n")).unwrap();
    let store_path = store(&sound);
    let arguments = ["--home", path.to_str().unwrap(), "--store"];
    let arguments = [
        &arguments[..],
        &[store_path.to_str().unwrap()],
        &["--speed", "260"],
    ];
    let mut round = Listening::with(&sound, &arguments.concat(), &loudspeaker);
    round.says(
        "Alder Ridge House. Dana Whitlock recording. The sound of confirmed readings is kept",
    );
    round.answers("room-four-bed-two", "Walter Brandt, born");
    round.answers("yes-slt", "Ready for Walter Brandt.");
    round.answers(
        "temperature-98-6",
        "Temperature nine eight point six Fahrenheit, oral. Yes?",
    );
    round.answers("yes-us", "Kept.");
    round.interrupt();

    let key = Key::File(PathBuf::from(std::env::var_os("SAYBACK_KEY_FILE").unwrap()));
    let mut record = Store::open_with(&store_path, &key).unwrap();
    let settings = KeptSound {
        days: 3,
        megabytes: 100,
    };
    let now = chrono::Local::now().fixed_offset();
    record.keep_sound(Some(settings), &key, now).unwrap();
    let read = of_kind(&super::record(&sound), "read")[0]["id"].clone();
    let id = read.as_str().unwrap().parse().unwrap();
    let mut heard = |part| {
        let samples = record.sound(id, part, now).unwrap().unwrap();
        assert!(samples.len() < 5 * 16_000, "{} samples", samples.len());
        heard_again(&samples)
    };
    let reading = heard(SoundPart::Reading);
    assert_eq!(reading, "temperature ninety eight point six oral");
    assert_eq!(heard(SoundPart::Yes), "yes");
}
