//! The live path on a sound card that isn't there: a `PulseAudio` server with null
//! sinks, one of which is the microphone and one the loudspeaker.
//! Each test has a part that runs inside a child; `sound::server` says why.

#![cfg(target_os = "linux")]

mod sound;

use std::process::Command;
use std::time::{Duration, Instant};

use sayback::devices::{Direction, devices};
use sayback::hearing::{
    Ear, Microphone, MicrophoneEvent, RATE, read_wav_at_own_rate, read_wav_bytes, write_wav,
};
use sayback::speaking::{Audio, PlayError, Player};
use sound::server::{Inside, Server};
use sound::{amplitude_at, phrases, spoken_frames};

const WORDS: &str =
    "temperature, ninety, eight, six, point, oral, pulse, seventy, two, regular, yes, no";

/// Says words into the microphone until they are heard, as one utterance; a busy
/// machine tears sound apart now and then.
fn hears(server: &Inside, microphone: &mut Microphone, ear: &mut Ear<()>, words: &str) {
    let mut heard = Vec::new();
    for _ in 0..3 {
        let mut player = server.play_into_microphone("words.wav", &spoken_frames(words));
        let deadline = Instant::now() + Duration::from_secs(10);
        while Instant::now() < deadline && heard.last().is_none_or(|it| it != words) {
            match microphone.next_blocking().unwrap() {
                MicrophoneEvent::Frames(frames) => {
                    heard.extend(ear.accept(&frames).map(|it| it.text()));
                }
                other => panic!("{other:?} while waiting for {words:?}"),
            }
        }
        player.wait().unwrap();
        if heard.last().is_some_and(|it| it == words) {
            return;
        }
    }
    panic!("heard {heard:?} and not {words:?}");
}

fn ear() -> Ear<()> {
    let mut ear = Ear::new(sound::model());
    ear.set_phrases((), &phrases(WORDS)).unwrap();
    ear.expect(());
    ear
}

#[test]
fn a_sentence_is_heard_through_the_microphone() {
    Server::start().run_inside("a_sentence_is_heard_through_the_microphone_inside");
}

#[test]
#[ignore = "run by its parent test"]
fn a_sentence_is_heard_through_the_microphone_inside() {
    let server = Inside::get();
    let mut microphone = Microphone::open(None).unwrap();
    let mut ear = ear();
    let words = "temperature ninety eight six oral";
    hears(&server, &mut microphone, &mut ear, words);

    // While something is said, the microphone is deaf.
    let muted = microphone.mute().hold();
    let mut player = server.play_into_microphone("b.wav", &spoken_frames("pulse seventy two"));
    player.wait().unwrap();
    drop(muted);
    let mut player = server.play_into_microphone("c.wav", &spoken_frames("oral"));
    let deadline = Instant::now() + Duration::from_secs(20);
    let text = loop {
        assert!(Instant::now() < deadline, "nothing heard after the mute");
        if let Some(MicrophoneEvent::Frames(frames)) = microphone.next_blocking()
            && let Some(heard) = ear.accept(&frames)
        {
            break heard.text();
        }
    };
    assert_eq!(
        text, "oral",
        "what was said during the mute must not be heard"
    );
    player.wait().unwrap();
}

#[test]
fn a_quiet_room_costs_little() {
    Server::start().run_inside("a_quiet_room_costs_little_inside");
}

#[test]
#[ignore = "run by its parent test"]
fn a_quiet_room_costs_little_inside() {
    const LENGTH: Duration = Duration::from_secs(2);
    let server = Inside::get();
    let mut random = fastrand::Rng::with_seed(1);
    let noise: Vec<i16> = (0..RATE * 60).map(|_| random.i16(-100..100)).collect();
    let path = server.folder().join("noise.wav");
    write_wav(&path, RATE, &noise).unwrap();
    // With something played into it, the sink gives pieces that are no even part of a
    // block.
    let mut player = server.command("paplay");
    player.args(["-d", "mic", "--latency-msec=23"]).arg(&path);
    let mut noise = player.spawn().unwrap();
    std::thread::sleep(Duration::from_secs(3));

    // How the pieces lie is chance, anew each time that it is opened, and it can cost
    // nothing: so who takes them is looked at as well.
    let mut spent = Duration::ZERO;
    for _ in 0..3 {
        let mut microphone = Microphone::open(None).unwrap();
        frames_within(&mut microphone, Duration::from_secs(1));
        let threads = threads();
        assert!(!threads.contains("cpal"), "cpal takes them:\n{threads}");
        let before = processor_time();
        let frames = frames_within(&mut microphone, LENGTH);
        let took = processor_time().saturating_sub(before);
        eprintln!("{took:?} of {LENGTH:?} for {frames} frames");
        let seconds = f64::from(u32::try_from(frames).unwrap()) / f64::from(RATE);
        assert!((1.8..2.2).contains(&seconds), "{seconds} s in {LENGTH:?}");
        spent += took;
    }
    noise.kill().unwrap();
    noise.wait().unwrap();
    // A library that asks again without a pause takes a tenth of a core; not optimised,
    // more. Half of what is left is the samples' own.
    assert!(spent < 3 * LENGTH / 12, "{spent:?} of {:?}", 3 * LENGTH);
}

/// How many frames come within a time.
fn frames_within(microphone: &mut Microphone, time: Duration) -> usize {
    let end = Instant::now() + time;
    let mut count = 0;
    while Instant::now() < end {
        match microphone.next_blocking().unwrap() {
            MicrophoneEvent::Frames(frames) => count += frames.len(),
            other => panic!("{other:?} in a quiet room"),
        }
    }
    count
}

/// The names of this process's threads.
fn threads() -> String {
    let tasks = std::fs::read_dir("/proc/self/task").unwrap();
    let names = tasks.map(|it| std::fs::read_to_string(it.unwrap().path().join("comm")).unwrap());
    names.collect()
}

/// Processor time of all threads of this process that are there, so far.
fn processor_time() -> Duration {
    let tasks = std::fs::read_dir("/proc/self/task").unwrap();
    let times = tasks.map(|it| std::fs::read_to_string(it.unwrap().path().join("schedstat")));
    let spent = times.map(|it| {
        let text = it.unwrap();
        text.split_whitespace().next().unwrap().parse().unwrap()
    });
    spent.map(Duration::from_nanos).sum()
}

#[test]
fn a_microphone_that_is_pulled_out_is_waited_for() {
    Server::start().run_inside("a_microphone_that_is_pulled_out_is_waited_for_inside");
}

#[test]
#[ignore = "run by its parent test"]
fn a_microphone_that_is_pulled_out_is_waited_for_inside() {
    let server = Inside::get();
    // Nothing else may step in as the default microphone.
    server.pactl(&["unload-module", &server.module_of("speaker")]);
    let mut microphone = Microphone::open(Some("default")).unwrap();
    let mut ear = ear();
    for _ in 0..2 {
        hears(&server, &mut microphone, &mut ear, "oral");

        let pulled = Instant::now();
        server.pactl(&["unload-module", &server.module_of("mic")]);
        wait_for(&mut microphone, |event| {
            matches!(event, MicrophoneEvent::Lost(_))
        });
        eprintln!("lost after {:?}", pulled.elapsed());
        std::thread::sleep(Duration::from_millis(1_500));

        server.pactl(&[
            "load-module",
            "module-null-sink",
            "sink_name=mic",
            "rate=48000",
        ]);
        server.pactl(&["set-default-source", "mic.monitor"]);
        let replaced = Instant::now();
        wait_for(&mut microphone, |event| *event == MicrophoneEvent::Back);
        eprintln!("back after {:?}", replaced.elapsed());
        hears(&server, &mut microphone, &mut ear, "yes");
    }
}

#[test]
fn a_microphone_that_goes_silent_is_lost_and_comes_back() {
    Server::start().run_inside("a_microphone_that_goes_silent_is_lost_and_comes_back_inside");
}

#[test]
#[ignore = "run by its parent test"]
fn a_microphone_that_goes_silent_is_lost_and_comes_back_inside() {
    let server = Inside::get();
    let mut microphone = Microphone::open(None).unwrap();
    let mut ear = ear();
    // No error is reported for this one: frames just stop.
    server.pactl(&["suspend-sink", "mic", "1"]);
    wait_for(&mut microphone, |event| {
        matches!(event, MicrophoneEvent::Lost(_))
    });
    server.pactl(&["suspend-sink", "mic", "0"]);
    wait_for(&mut microphone, |event| *event == MicrophoneEvent::Back);
    hears(&server, &mut microphone, &mut ear, "yes");
}

fn wait_for(microphone: &mut Microphone, wanted: impl Fn(&MicrophoneEvent) -> bool) {
    let deadline = Instant::now() + Duration::from_secs(20);
    while Instant::now() < deadline {
        let event = microphone.next_blocking().unwrap();
        if wanted(&event) {
            return;
        }
        assert!(
            matches!(event, MicrophoneEvent::Frames(_)),
            "{event:?} out of turn"
        );
    }
    panic!("it never came");
}

/// Plays something, again if need be: a null sink that was just made takes two
/// seconds to take sound, and longer on a busy machine.
fn plays(player: &Player, audio: &Audio) {
    let deadline = Instant::now() + Duration::from_secs(20);
    while let Err(error) = player.play(audio.clone()).wait() {
        assert!(Instant::now() < deadline, "it never works: {error}");
    }
}

#[test]
fn what_is_played_arrives_at_the_loudspeaker() {
    Server::start().run_inside("what_is_played_arrives_at_the_loudspeaker_inside");
}

#[test]
#[ignore = "run by its parent test"]
fn what_is_played_arrives_at_the_loudspeaker_inside() {
    let server = Inside::get();
    let names = devices(Direction::Output).unwrap();
    assert!(
        names.iter().any(|device| device.id == "default"),
        "{names:?}"
    );

    // A busy machine can take a tenth of a second out of what is recorded, and so a word.
    let mut bytes = Vec::new();
    let mut heard = String::new();
    for _ in 0..3 {
        bytes = recorded(&server, plays_and_stops);
        heard = words(&bytes);
        if heard.starts_with(ARRIVES) {
            break;
        }
    }
    assert!(heard.starts_with(ARRIVES), "{heard}");

    // The sound is right too, not only the words.
    let (rate, samples) = read_wav_at_own_rate(&bytes).unwrap();
    assert_eq!(rate, 22_050);
    assert!(
        amplitude_at(&samples, rate, 9.0) < 0.01,
        "no hum or clicks at the block rate"
    );
}

const ARRIVES: &str = "temperature ninety eight point six oral yes";

/// A WAV file of what arrives at the loudspeaker meanwhile.
fn recorded(server: &Inside, meanwhile: impl FnOnce()) -> Vec<u8> {
    let recording = server.folder().join("heard.wav");
    let mut recorder = Command::new("parec")
        .args([
            "-d",
            "speaker.monitor",
            "--file-format=wav",
            "--channels=1",
            "--rate=22050",
        ])
        .arg(&recording)
        .spawn()
        .unwrap();
    // The recorder must be running before there is something to record.
    let deadline = Instant::now() + Duration::from_secs(10);
    while !server
        .pactl(&["list", "short", "source-outputs"])
        .lines()
        .any(|l| !l.is_empty())
    {
        assert!(Instant::now() < deadline, "the recorder did not start");
        std::thread::sleep(Duration::from_millis(50));
    }
    meanwhile();
    std::thread::sleep(Duration::from_millis(300));
    let stop = Command::new("kill")
        .args(["-INT", &recorder.id().to_string()])
        .status();
    assert!(stop.unwrap().success());
    recorder.wait().unwrap();
    std::fs::read(&recording).unwrap()
}

fn words(wav: &[u8]) -> String {
    let mut ear = ear();
    let mut heard: Vec<String> = read_wav_bytes(wav)
        .unwrap()
        .chunks(800)
        .filter_map(|block| ear.accept(block))
        .map(|h| h.text())
        .collect();
    heard.extend(ear.finish().map(|h| h.text()));
    heard.join(" ")
}

/// Two sentences that are played to their end, one that is stopped, and one that is
/// stopped before it begins.
fn plays_and_stops() {
    let player = Player::open(None).unwrap();
    plays(&player, &Audio::silence(RATE, Duration::from_millis(100)));
    let audio = sound::speak("temperature ninety eight point six oral");
    let length = audio.duration();
    let asked = Instant::now();
    player.play(audio).wait().unwrap();
    assert!(asked.elapsed() >= length, "it can't be over yet");
    let late = asked.elapsed().saturating_sub(length);
    assert!(late < Duration::from_secs(2), "{late:?} late");

    // The same through the executor.
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let yes = sound::speak("yes");
    let asked = Instant::now();
    let result = runtime.block_on(player.play(yes)).unwrap();
    let delay = result.first.saturating_duration_since(asked);
    eprintln!("first sound after {delay:?}");
    assert!(
        delay < Duration::from_millis(500),
        "the device is open already"
    );
    let long = player.play(sound::speak(&"blood pressure ".repeat(20)));
    std::thread::sleep(Duration::from_millis(300));
    player.stop();
    assert_eq!(long.wait(), Err(PlayError::Stopped));
    let not_begun = player.play(sound::speak("blood pressure"));
    player.stop();
    assert_eq!(not_begun.wait(), Err(PlayError::Stopped));
}

#[test]
fn a_loudspeaker_that_is_lost_is_an_error_and_then_works_again() {
    Server::start()
        .run_inside("a_loudspeaker_that_is_lost_is_an_error_and_then_works_again_inside");
}

#[test]
#[ignore = "run by its parent test"]
fn a_loudspeaker_that_is_lost_is_an_error_and_then_works_again_inside() {
    let server = Inside::get();
    let player = Player::open(None).unwrap();
    let yes = sound::speak("yes");
    plays(&player, &yes);

    let playing = player.play(sound::speak(&"blood pressure ".repeat(10)));
    std::thread::sleep(Duration::from_millis(300));
    let pulled = Instant::now();
    server.pactl(&["suspend-sink", "speaker", "1"]);
    let result = playing.wait();
    assert!(matches!(result, Err(PlayError::Lost(_))), "{result:?}");
    eprintln!("lost after {:?}", pulled.elapsed());

    server.pactl(&["suspend-sink", "speaker", "0"]);
    plays(&player, &yes);

    // Gone while nothing is said.
    server.pactl(&["unload-module", &server.module_of("speaker")]);
    std::thread::sleep(Duration::from_millis(1_200));
    server.pactl(&[
        "load-module",
        "module-null-sink",
        "sink_name=speaker",
        "rate=48000",
    ]);
    server.pactl(&["set-default-sink", "speaker"]);
    plays(&player, &yes);
}

#[test]
fn with_no_sound_system_the_message_says_what_to_do() {
    // A server that isn't there, and no sound card either.
    let folder = tempfile::tempdir().unwrap();
    let pulse = "pcm.!default { type pulse }\n";
    std::fs::write(folder.path().join(".asoundrc"), pulse).unwrap();
    let exe = std::env::current_exe().unwrap();
    let output = Server::command_in(folder.path(), exe.to_str().unwrap())
        .args([
            "--exact",
            "with_no_sound_system_inside",
            "--ignored",
            "--nocapture",
        ])
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
}

#[test]
#[ignore = "run by its parent test"]
fn with_no_sound_system_inside() {
    let microphone = Microphone::open(None).err().unwrap().to_string();
    assert!(
        microphone.contains("no microphone can be used"),
        "{microphone}"
    );
    let loudspeaker = Player::open(None).err().unwrap().to_string();
    assert!(
        loudspeaker.contains("no loudspeaker can be used"),
        "{loudspeaker}"
    );
    eprintln!("{microphone}\n{loudspeaker}");
}
