//! A page's microphone and loudspeaker, from outside: over a `WebSocket`.

use std::f64::consts::TAU;
use std::net::TcpStream;
use std::time::{Duration, Instant};

use proptest::prelude::{any, prop};
use proptest::strategy::{Strategy as _, ValueTree as _};
use proptest::test_runner::TestRunner;
use sayback::bedside::{KEY_COOKIE, Link, Tablet};
use sayback::hearing::{Microphone, MicrophoneEvent, RATE};
use sayback::speaking::{Audio, PlayError, Player};
use serde_json::{Value, json};
use tungstenite::client::IntoClientRequest as _;
use tungstenite::{Error, Message, WebSocket};

use super::rig::{KEY, Open, link};
use super::sound::amplitude_at;

/// What the page's device gives.
const THERE: u32 = 48_000;
/// The longest that anything is waited for.
const PATIENCE: Duration = Duration::from_secs(10);

/// A round that waits for a tablet's sound.
struct Waiting {
    open: Open,
    link: Link,
    microphone: Microphone,
    player: Player,
}

impl Waiting {
    fn new() -> Self {
        let (_screen, mut link, _given) = link(true);
        let (tablet, microphone, player) = Tablet::new();
        link.tablet = Some(tablet);
        Self {
            open: Open::anywhere(&link),
            link,
            microphone,
            player,
        }
    }

    /// A page that says what it gives.
    fn page(&self, rate: u32) -> Page {
        let mut page = Page::open(&self.open, KEY, None).unwrap();
        page.send(Message::text(json!({ "rate": rate }).to_string()));
        page
    }

    /// What happens to the microphone next, sound aside.
    fn next(&mut self) -> MicrophoneEvent {
        loop {
            match self.microphone.next_blocking().unwrap() {
                MicrophoneEvent::Frames(_) => {}
                event => return event,
            }
        }
    }

    /// Waits for this much sound.
    fn sound(&mut self, samples: usize) -> Vec<i16> {
        let mut sound = Vec::new();
        while sound.len() < samples {
            match self.microphone.next_blocking().unwrap() {
                MicrophoneEvent::Frames(frames) => sound.extend(frames),
                event => panic!("{event:?}"),
            }
        }
        sound
    }
}

struct Page(WebSocket<TcpStream>);

impl Page {
    fn open(at: &Open, key: &str, origin: Option<&str>) -> Result<Self, String> {
        let mut request = format!("ws://{}/sound", at.at)
            .into_client_request()
            .unwrap();
        let headers = request.headers_mut();
        let cookie = format!("{KEY_COOKIE}={key}");
        headers.insert("cookie", cookie.parse().unwrap());
        let own = format!("http://{}", at.at);
        headers.insert("origin", origin.unwrap_or(&own).parse().unwrap());
        let stream = TcpStream::connect(at.at).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        match tungstenite::client(request, stream) {
            Ok((socket, _)) => Ok(Self(socket)),
            Err(error) => Err(error.to_string()),
        }
    }

    fn send(&mut self, message: Message) {
        self.0.send(message).unwrap();
    }

    /// Half a second of a tone, in blocks of 50 ms.
    fn tone(&mut self, hertz: f64) {
        let block = THERE / 20;
        for from in (0..THERE / 2).step_by(block as usize) {
            let at = |it: u32| TAU * hertz * f64::from(it) / f64::from(THERE);
            #[allow(clippy::cast_possible_truncation, reason = "a tenth of full scale")]
            let sample = |it| (3_276.8 * at(it).sin()) as i16;
            let samples = (from..from + block).map(sample);
            let bytes: Vec<u8> = samples.flat_map(i16::to_le_bytes).collect();
            self.send(Message::binary(bytes));
        }
    }

    /// What is to be played: its number, samples a second, and the samples.
    fn is_given(&mut self) -> (u32, u32, Vec<i16>) {
        let Message::Binary(bytes) = self.0.read().unwrap() else {
            panic!("no sound");
        };
        let word = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
        let samples = bytes[8..].chunks_exact(2);
        let samples = samples.map(|it| i16::from_le_bytes([it[0], it[1]]));
        (word(0), word(4), samples.collect())
    }

    /// Why it is hung up on, and whether it is to try again.
    fn over(&mut self) -> (String, bool) {
        loop {
            match self.0.read().unwrap() {
                Message::Text(text) => {
                    let over: Value = serde_json::from_str(&text).unwrap();
                    let why = over["why"].as_str().unwrap().to_owned();
                    return (why, over["again"].as_bool().unwrap());
                }
                Message::Binary(_) | Message::Ping(_) => {}
                other => panic!("{other:?}"),
            }
        }
    }
}

fn saying() -> Audio {
    Audio {
        rate: 22_050,
        samples: (0..2_205).collect(),
    }
}

#[test]
fn what_a_page_gives_is_heard_at_the_recognisers_rate() {
    let mut round = Waiting::new();
    let mut page = round.page(THERE);
    page.tone(440.0);
    // What is still inside the resampler is not waited for.
    let heard = round.sound(RATE as usize * 4 / 10);
    let tone = amplitude_at(&heard[1_600..4_800], RATE, 440.0);
    assert!((tone - 0.1).abs() < 0.005, "{tone}");
}

#[test]
fn what_is_said_is_played_there_and_ends_when_it_was_heard() {
    let round = Waiting::new();
    let mut page = round.page(THERE);
    page.tone(440.0);
    round
        .open
        .block_on(round.link.tablet.as_ref().unwrap().is_there());
    let playing = round.player.play(saying());
    let (number, rate, samples) = page.is_given();
    assert_eq!((rate, samples), (22_050, saying().samples));
    // Of another sound, and nothing at all: neither ends this one.
    page.send(Message::text("{\"played\":77,\"first\":0,\"last\":0}"));
    page.send(Message::text("hello"));
    std::thread::sleep(Duration::from_millis(150));
    let told = json!({ "played": number, "first": 120, "last": 20 });
    page.send(Message::text(told.to_string()));
    let played = playing.wait().unwrap();
    assert!(played.first.elapsed() >= Duration::from_millis(120));
    assert_eq!(played.last - played.first, Duration::from_millis(100));
}

#[test]
fn a_page_that_goes_is_a_microphone_lost_and_one_that_comes_is_it_back() {
    let mut round = Waiting::new();
    let mut page = round.page(THERE);
    page.tone(440.0);
    round.sound(1_600);
    let playing = round.player.play(saying());
    page.is_given();
    drop(page);
    let lost = MicrophoneEvent::Lost("the tablet is gone".to_owned());
    assert_eq!(round.next(), lost);
    let unheard = playing.wait().unwrap_err();
    assert!(matches!(unheard, PlayError::Tablet(_)), "{unheard}");
    let unheard = round.player.play(saying()).wait().unwrap_err();
    assert_eq!(unheard, PlayError::Tablet("none is there"));
    let mut page = round.page(16_000);
    page.tone(440.0);
    assert_eq!(round.next(), MicrophoneEvent::Back);
    round.sound(8_000);
}

#[test]
fn a_page_that_gives_no_sound_is_lost_as_well() {
    let mut round = Waiting::new();
    let mut page = round.page(THERE);
    let since = Instant::now();
    let why = "no sound arrives from the tablet";
    assert_eq!(round.next(), MicrophoneEvent::Lost(why.to_owned()));
    assert!(since.elapsed() > Duration::from_millis(1_900));
    assert_eq!(page.over(), (why.to_owned(), true));
}

#[test]
fn the_last_page_that_comes_has_the_sound() {
    let mut round = Waiting::new();
    let mut first = round.page(THERE);
    first.tone(440.0);
    round.sound(1_600);
    let mut second = round.page(THERE);
    let (why, again) = first.over();
    assert_eq!(why, "another page has the microphone now");
    assert!(!again, "they would take it from each other for ever");
    second.tone(880.0);
    second.tone(880.0);
    let playing = round.player.play(saying());
    let (number, ..) = second.is_given();
    let told = json!({ "played": number, "first": 0, "last": 0 });
    second.send(Message::text(told.to_string()));
    playing.wait().unwrap();
    // Nothing was lost in between.
    round.sound(8_000);
}

#[test]
fn only_the_pages_own_script_gives_sound_and_only_where_it_is_wanted() {
    let round = Waiting::new();
    for (key, origin) in [("wrong", None), (KEY, Some("http://elsewhere.example"))] {
        let refused = Page::open(&round.open, key, origin).err().unwrap();
        assert!(refused.contains("403"), "{key} {origin:?}: {refused}");
    }
    let (_screen, without, _given) = link(true);
    let refused = Page::open(&Open::anywhere(&without), KEY, None).err();
    assert!(refused.unwrap().contains("403"));
}

#[test]
fn a_page_that_does_not_say_what_it_gives_is_told_so() {
    let round = Waiting::new();
    for (hello, why) in [
        ("hello", "did not say what it gives"),
        ("{}", "did not say what it gives"),
        ("{\"rate\":-1}", "did not say what it gives"),
        ("{\"rate\":7}", "a sample rate of 7 Hz is outside"),
        ("{\"rate\":4000000000}", "a sample rate of 4000000000 Hz"),
    ] {
        let mut page = Page::open(&round.open, KEY, None).unwrap();
        page.send(Message::text(hello));
        let (said, again) = page.over();
        assert!(said.contains(why) && !again, "{hello}: {said}");
    }
}

#[test]
fn a_message_that_is_too_long_ends_it() {
    let mut round = Waiting::new();
    let mut page = round.page(THERE);
    let _ = page.0.send(Message::binary(vec![0; 200_000]));
    assert!(matches!(round.next(), MicrophoneEvent::Lost(_)));
    let ended = loop {
        match page.0.read() {
            Ok(_) => {}
            Err(error) => break error,
        }
    };
    assert!(!matches!(ended, Error::Capacity(_)), "{ended}");
}

#[test]
fn whatever_a_page_says_the_next_is_heard() {
    let mut round = Waiting::new();
    let mut runner = TestRunner::deterministic();
    let text = "[ -~]{0,40}".prop_map(Message::text);
    let bytes = prop::collection::vec(any::<u8>(), 0..400).prop_map(Message::binary);
    let numbers = (any::<u32>(), any::<f64>(), any::<f64>());
    let told = numbers.prop_map(|(played, first, last)| {
        Message::text(json!({ "played": played, "first": first, "last": last }).to_string())
    });
    let message = prop::strategy::Union::new([text.boxed(), bytes.boxed(), told.boxed()]);
    for _ in 0..40 {
        let mut page = round.page(THERE);
        for _ in 0..20 {
            let said = message.new_tree(&mut runner).unwrap().current();
            if page.0.send(said).is_err() {
                break;
            }
        }
    }
    let mut page = round.page(THERE);
    page.tone(440.0);
    page.tone(440.0);
    let mut heard = 0;
    while heard < RATE as usize / 2 {
        if let MicrophoneEvent::Frames(frames) = round.microphone.next_blocking().unwrap() {
            heard += frames.len();
        }
    }
}
