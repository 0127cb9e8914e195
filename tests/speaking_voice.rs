//! The default voice says what it is given, and nothing else.

mod sound;

use std::time::{Duration, Instant};

use sayback::hearing::Ear;
use sayback::speaking::{Espeak, EspeakSettings, Piper, Voice, VoiceError};
use sound::{phrases, rms, speak, spoken_frames};

#[test]
fn a_sentence_has_sound_of_a_sensible_length() {
    let audio = speak("Pulse seven two, regular. Yes?");
    assert!((16_000..=48_000).contains(&audio.rate));
    let length = audio.duration().as_secs_f32();
    assert!((1.0..5.0).contains(&length), "{length} s");
    assert!(rms(&audio.samples) > 0.01);
}

#[test]
fn what_is_said_can_be_understood() {
    let mut ear = Ear::new(sound::model());
    ear.set_phrases(
        (),
        &phrases("pulse, seven, two, one, five, zero, regular, yes"),
    )
    .unwrap();
    ear.expect(());
    let heard = ear.accept(&spoken_frames("Pulse seven two, regular."));
    assert_eq!(heard.unwrap().text(), "pulse seven two regular");
}

#[test]
fn nothing_to_say_is_no_sound() {
    for text in ["", "  \n ", "[[]]", "...", "\u{200b}\u{0}"] {
        assert!(speak(text).samples.is_empty(), "{text:?}");
    }
}

#[test]
fn codes_in_a_name_are_read_as_letters() {
    // In double brackets the program would take phonemes and say something else.
    let coded = speak("[[h@l'oU]]");
    let letters = speak("h@l'oU");
    assert_eq!(coded, letters);
    assert!(
        !speak("<speak><break time=\"60s\"/>yes</speak>")
            .samples
            .is_empty()
    );
    assert!(speak("<break time=\"60s\"/>yes").duration() < Duration::from_secs(20));
}

#[test]
fn a_slower_voice_takes_longer() {
    let say = |words_per_minute| {
        let settings = EspeakSettings {
            words_per_minute,
            ..EspeakSettings::default()
        };
        Espeak::new(settings)
            .unwrap()
            .synthesize("blood pressure")
            .unwrap()
            .duration()
    };
    assert!(say(100) > say(250));
    assert!(say(0) >= say(80), "absurd speeds are brought into range");
}

#[test]
fn an_unknown_voice_is_an_error_in_words() {
    let settings = EspeakSettings {
        voice: "zz-none".into(),
        ..EspeakSettings::default()
    };
    let error = Espeak::new(settings)
        .unwrap()
        .synthesize("yes")
        .unwrap_err();
    assert!(matches!(error, VoiceError::Failed { .. }), "{error}");
}

/// Arguments are for everyone on the machine to see, in the list of what runs.
#[cfg(unix)]
#[test]
fn what_is_said_is_in_no_argument() {
    use std::os::unix::fs::PermissionsExt as _;

    let folder = tempfile::tempdir().unwrap();
    let program = folder.path().join("voice");
    std::fs::write(
        &program,
        "#!/bin/sh\necho \"$@\" >>\"$0.arguments\"\ncat >>\"$0.input\"\n",
    )
    .unwrap();
    std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o700)).unwrap();
    let settings = EspeakSettings {
        program: program.to_str().unwrap().to_owned(),
        ..EspeakSettings::default()
    };
    let _ = Espeak::new(settings).unwrap().synthesize("Walter Brandt");
    let given = |what| std::fs::read_to_string(program.with_extension(what)).unwrap();
    assert!(given("input").contains("Walter"));
    let arguments = given("arguments");
    assert!(
        arguments.contains("en-us") && !arguments.contains("Walter"),
        "{arguments}"
    );
}

#[test]
fn long_text_is_bounded_and_does_not_block() {
    let start = Instant::now();
    let audio = speak(&"very long text ".repeat(10_000));
    assert!(audio.duration() < Duration::from_secs(400));
    assert!(start.elapsed() < Duration::from_secs(10));
}

#[test]
#[ignore = "needs setup/natural-voice"]
fn the_natural_voice_starts_within_300_ms_and_can_be_understood() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/voice");
    let mut voice = Piper::open(&folder, None).unwrap_or_else(|error| panic!("{error}"));
    let mut slowest = Duration::ZERO;
    for text in [
        "Pulse seven two, regular. Yes?",
        "Temperature nine eight point six, oral. Yes?",
    ] {
        let start = Instant::now();
        let audio = voice.synthesize(text).unwrap();
        eprintln!("{:?} for {audio:?}", start.elapsed());
        slowest = slowest.max(start.elapsed());
        let mut ear = Ear::new(sound::model());
        let words = "pulse, temperature, nine, eight, seven, two, six, point, regular, oral, yes";
        ear.set_phrases((), &phrases(words)).unwrap();
        ear.expect(());
        let heard = ear.accept(&sound::with_silence(&audio)).unwrap().text();
        let want: String = text.to_lowercase().replace([',', '.', '?'], "");
        assert_eq!(heard, want);
    }
    assert!(slowest < Duration::from_millis(300), "{slowest:?}");
    assert!(voice.synthesize("[[ ]]").unwrap().samples.is_empty());
}
