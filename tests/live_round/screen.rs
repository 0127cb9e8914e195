//! A live round whose screen is a page, and practice.

use std::io::Write as _;

use sayback::hearing::write_wav;

use super::browser::{Browser, DESK};
use super::*;

pub const SCREEN: [&str; 2] = ["--screen", "127.0.0.1:0"];

/// The address of the page.
pub fn page(round: &mut Listening<'_>) -> String {
    let line = round.shows("The bedside screen is at ");
    line.rsplit(' ').next().unwrap().to_owned()
}

/// The page as it is now, without a browser.
struct Page {
    agent: ureq::Agent,
    address: String,
    cookie: String,
}

impl Page {
    fn open(address: String) -> Self {
        let agent = ureq::Agent::config_builder()
            .max_redirects(0)
            .http_status_as_error(false)
            .build()
            .new_agent();
        let given = agent.get(&address).call().unwrap();
        let cookie = given.headers()["set-cookie"].to_str().unwrap();
        let cookie = cookie.split(';').next().unwrap().to_owned();
        Self {
            agent,
            address,
            cookie,
        }
    }

    fn text(&self) -> String {
        let page = self.agent.get(&self.address).header("cookie", &self.cookie);
        page.call().unwrap().body_mut().read_to_string().unwrap()
    }

    /// Waits until the page has some words. Returns it.
    fn shows(&self, words: &str) -> String {
        let started = Instant::now();
        loop {
            let page = self.text();
            if page.contains(words) {
                return page;
            }
            assert!(started.elapsed() < PATIENCE, "no {words:?} in {page}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Gives an answer to what `page` shows. Returns the status.
    fn answer(&self, page: &str, words: &str) -> u16 {
        let field = |name: &str| {
            let from = page
                .split_once(&format!("name=\"{name}\" value=\""))
                .unwrap();
            from.1.split_once('"').unwrap().0
        };
        let post = self.agent.post(format!("{}say", self.address));
        let post = post
            .header("cookie", &self.cookie)
            .header("x-sayback-live", "1");
        let answer = post.send_form([
            ("csrf", field("csrf")),
            ("asked", field("asked")),
            ("answer", words),
        ]);
        answer.unwrap().status().as_u16()
    }
}

#[test]
fn what_was_spoken_is_kept_by_a_touched_yes_to_what_the_screen_shows() {
    let server = Server::start();
    let sound = server.inside();
    one_room(&sound);
    let loudspeaker = Loudspeaker::record(&sound);
    let arguments = [&["--speed", "200"], &SCREEN[..]].concat();
    let mut round = Listening::start(&sound, &arguments, &loudspeaker);
    let screen = Page::open(page(&mut round));
    at_the_bedside(&mut round);
    let before = screen.shows("Walter Brandt");

    let read_back = "Blood pressure one five two over eight eight, left arm, sitting. Yes?";
    round.answers("pressure-152-88", read_back);
    let offer = screen.shows("Keep this?");
    assert!(offer.contains("<b>152/88</b>"), "{offer}");
    // A yes to what the screen showed before is not one to this.
    assert_eq!(screen.answer(&before, "yes"), 409);
    assert!(of_kind(&record(&sound), "read").is_empty());

    round.from = loudspeaker.len();
    assert_eq!(screen.answer(&offer, "yes"), 204);
    round.shows("(by hand)");
    round.says("Kept. Systolic one five two is above the range");
    screen.shows("Report to the nurse");
    let facts = record(&sound);
    let [read] = of_kind(&facts, "read")[..] else {
        panic!("{facts:?}");
    };
    assert_eq!(read["confirmed_by"], "touch");
    assert!(read["given_by"].is_null(), "it was spoken: {read}");
    round.interrupt();
}

#[test]
fn an_aide_signs_on_at_the_screen_with_a_pin_and_records() {
    let server = Server::start();
    let sound = server.inside();
    let loudspeaker = Loudspeaker::record(&sound);
    let mut set = Command::new(env!("CARGO_BIN_EXE_sayback"));
    set.args(["staff", "set-pin", "Dana Whitlock", "--home"]);
    set.arg("audio-fixtures/demo-home.toml").arg("--store");
    set.arg(store(&sound)).stdin(Stdio::piped());
    let mut set = set.current_dir(env!("CARGO_MANIFEST_DIR")).spawn().unwrap();
    let mut typed = set.stdin.take().unwrap();
    typed.write_all(b"739155\n739155\n").unwrap();
    assert!(set.wait().unwrap().success());

    let arguments = [&["--speed", "260"], &SCREEN[..]].concat();
    let mut round = Listening::start(&sound, &arguments, &loudspeaker);
    let address = page(&mut round);
    round.says("Alder Ridge House.");
    let browser = Browser::open(DESK);
    browser.go(&address);
    browser.wait(|it| it.text("#middle").contains("Nobody is signed on"));
    browser.wait(|it| it.run("return events.readyState") == 1);
    let sign_on = |pin: &str| {
        // Longer than the page takes a touch for an accident.
        std::thread::sleep(Duration::from_millis(700));
        browser.run("document.getElementById('sign-on').open = true");
        browser.fill("[name=who]", "Dana Whitlock");
        browser.fill("[name=pin]", pin);
        browser.click("#sign-on button");
    };
    sign_on("739156");
    browser.wait(|it| it.text("#note").contains("belong together"));
    assert!(record(&sound).is_empty(), "nothing is recorded without");
    round.from = loudspeaker.len();
    sign_on("739155");
    browser.wait(|it| it.text(".clock").contains("Dana Whitlock"));
    round.says("Alder Ridge House. Dana Whitlock recording. Which room?");
    let facts = record(&sound);
    assert_eq!(kinds(&facts), ["round_opened"]);
    assert_eq!(facts[0]["by"]["name"], "Dana Whitlock");
    round.interrupt();
}

#[test]
fn practice_is_led_aloud_and_stores_nothing() {
    let server = Server::start();
    let sound = server.inside();
    one_room(&sound);
    let loudspeaker = Loudspeaker::record(&sound);
    let arguments = ["--tutorial", "--speed", "200"];
    let mut round = Listening::with(&sound, &arguments, &loudspeaker);
    round.says("Practice House. Practice aide recording. Which room? This is practice");
    let room = sound.folder().join("room-seven.wav");
    write_wav(&room, RATE, &sound::spoken_frames("room seven")).unwrap();
    round.begins_to_answer_file(&room, "Pia Practice, born June one, one nine four zero.");
    loudspeaker.quiet();
    round.begins_to_answer("yes-slt", "Ready for Pia Practice.");
    loudspeaker.quiet();
    round.interrupt();
    round.shows("stopped");
    assert!(!store(&sound).exists());
}
