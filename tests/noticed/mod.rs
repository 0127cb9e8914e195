//! A screen that remembers what is said of the machine.

use sayback::facts::{Fact, KeptReading, Time};
use sayback::hearing::Heard;
use sayback::round::Screen;

#[derive(Default)]
pub struct Noticed(pub Vec<String>);

impl Screen for Noticed {
    fn heard(&mut self, _: Time, _: &Heard, _: bool) {}
    fn said(&mut self, _: Time, _: &str) {}
    fn stored(&mut self, _: &Fact<KeptReading>) {}
    fn notice(&mut self, text: &str) {
        self.0.push(text.to_owned());
    }
}
