//! A live round whose microphone and loudspeaker are a browser's.

use super::browser::Browser;
use super::screen::{SCREEN, page};
use super::*;

fn gives_its_sound(browser: &Browser, address: &str) {
    browser.go(address);
    browser.wait(|it| !it.text("#sound button").is_empty());
    assert_eq!(browser.text(".doing"), "Microphone lost");
    browser.click("#sound button");
    browser.wait(|it| it.text("#sound").is_empty());
}

#[test]
fn a_tablet_hears_and_speaks_for_a_round_and_is_waited_for_when_it_is_gone() {
    let server = Server::start();
    let sound = server.inside();
    // A browser takes what a sink plays for no microphone.
    let remapped = ["source_name=tablet", "master=mic.monitor"];
    sound.pactl(&[&["load-module", "module-remap-source"], &remapped[..]].concat());
    sound.pactl(&["set-default-source", "tablet"]);
    let loudspeaker = Loudspeaker::record(&sound);
    let made = rcgen::generate_simple_self_signed(["localhost".to_owned()]).unwrap();
    let in_folder = |name: &str| sound.folder().join(name).to_str().unwrap().to_owned();
    let (certificate, key) = (in_folder("home.pem"), in_folder("home.key"));
    std::fs::write(&certificate, made.cert.pem()).unwrap();
    std::fs::write(&key, made.signing_key.serialize_pem()).unwrap();
    let tls = ["--tls-cert", &certificate, "--tls-key", &key];
    let arguments = [&["--speed", "200", "--tablet"], &SCREEN[..], &tls].concat();
    let mut round = Listening::start(&sound, &arguments, &loudspeaker);
    let address = page(&mut round);
    assert!(address.starts_with("https://127.0.0.1:"), "{address}");
    round.shows("the round begins then");
    let browser = Browser::with_sound(sound.command("chromedriver"));
    gives_its_sound(&browser, &address);

    at_the_bedside(&mut round);
    let read_back = "Blood pressure one five two over eight eight, left arm, sitting. Yes?";
    let said = round.answers("pressure-152-88", read_back);
    let heard = recognised(&said);
    let numbers = "one five two over eight eight";
    assert!(heard.contains(numbers), "{heard}");

    // Nothing that was confirmed is lost with it, and the question comes again.
    browser.go("about:blank");
    round.shows("the microphone is lost (the tablet is gone)");
    assert!(of_kind(&record(&sound), "read").is_empty());
    round.from = loudspeaker.len();
    gives_its_sound(&browser, &address);
    round.says(&format!("The microphone is back. {read_back}"));
    round.answers("yes-slt", "Kept. Systolic one five two is above the range");
    let facts = record(&sound);
    let [read] = of_kind(&facts, "read")[..] else {
        panic!("{facts:?}");
    };
    assert!(read["confirmed_by"].is_null(), "it was spoken: {read}");
    let complaints = browser.complaints();
    assert!(complaints.is_empty(), "{complaints:?}");
    round.interrupt();
}
