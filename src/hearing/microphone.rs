//! A live microphone: frames as they come, through losing it and having it back.

use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{ErrorKind, FromSample, Sample, SampleFormat, SizedSample, Stream};
use tokio::sync::mpsc;

use super::feed::Feed;
use super::link::{Link, Step};
use super::mute::Mute;
#[cfg(target_os = "linux")]
use super::paced::{After, Paced};
use super::resample::Resampler;
use super::wav::RATE;
use crate::devices::{Chosen, DeviceError, Direction, Faults, choose};

/// The length of a block from the device, in milliseconds.
const BLOCK: u32 = 50;
/// Events that wait for a listener that is busy (about five seconds of sound).
/// After that sound is dropped: a backlog would make every answer late.
const BACKLOG: usize = 100;
/// How often the state of the device is looked at.
const TICK: Duration = Duration::from_millis(100);

/// What comes from a microphone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum MicrophoneEvent {
    /// Sound: 16 kHz, one channel, about 50 ms.
    Frames(Vec<i16>),
    /// The device is gone, and why. It is tried again every second.
    Lost(String),
    /// The device works again; frames follow.
    Back,
}

/// An open microphone. Dropping it closes the device.
pub struct Microphone {
    events: mpsc::Receiver<MicrophoneEvent>,
    /// What was already received and not yet given out.
    waiting: VecDeque<MicrophoneEvent>,
    mute: Mute,
    name: String,
    closed: Arc<AtomicBool>,
}

impl Microphone {
    /// Opens the microphone with a name (or part of it), or the default one.
    ///
    /// # Errors
    /// [`DeviceError`] says what is missing and which devices there are. After
    /// this, a device that fails is an event and not an error.
    pub fn open(wanted: Option<&str>) -> Result<Self, DeviceError> {
        let (mut microphone, feed) = Self::fed(String::new());
        let (opened, result) = sync_channel(1);
        let keeper = Keeper {
            wanted: wanted.map(str::to_owned),
            feed,
        };
        // On some systems a stream may not leave the thread that opened it.
        std::thread::spawn(move || keeper.run(&opened));
        microphone.name = result.recv().unwrap_or_else(|_| {
            let reason = "its thread ended".to_owned();
            Err(DeviceError::None {
                direction: Direction::Input,
                reason,
            })
        })?;
        Ok(microphone)
    }

    /// A microphone that is no device of this machine, and what its sound goes into.
    #[must_use]
    pub fn fed(name: String) -> (Self, Feed) {
        let (sender, events) = mpsc::channel(BACKLOG);
        let (mute, closed) = (Mute::default(), Arc::new(AtomicBool::new(false)));
        let feed = Feed::new(sender, mute.clone(), Arc::clone(&closed));
        let microphone = Self {
            events,
            waiting: VecDeque::new(),
            mute,
            name,
            closed,
        };
        (microphone, feed)
    }

    /// The next event; `None` only if the thread behind this has died. Nothing
    /// is lost when this is cancelled, so it can be used in `select!`.
    pub async fn next(&mut self) -> Option<MicrophoneEvent> {
        match self.waiting.pop_front() {
            Some(event) => Some(event),
            None => self.events.recv().await,
        }
    }

    /// As [`Microphone::next`], for a thread without an executor.
    pub fn next_blocking(&mut self) -> Option<MicrophoneEvent> {
        self.waiting
            .pop_front()
            .or_else(|| self.events.blocking_recv())
    }

    /// Drops the sound that was not yet taken. What happened to the device is
    /// kept.
    pub fn drop_sound(&mut self) {
        while let Ok(event) = self.events.try_recv() {
            if !matches!(event, MicrophoneEvent::Frames(_)) {
                self.waiting.push_back(event);
            }
        }
    }

    /// Makes this microphone deaf while something is being said.
    #[must_use]
    pub fn mute(&self) -> Mute {
        self.mute.clone()
    }

    /// The device's name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }
}

impl Drop for Microphone {
    fn drop(&mut self) {
        self.closed.store(true, Ordering::SeqCst);
    }
}

/// What the device's own thread says.
enum FromDevice {
    Block(Vec<f32>),
    Failed(String),
}

/// What keeps a device open while it is there.
enum Source {
    #[cfg(target_os = "linux")]
    Paced {
        _reader: Paced,
    },
    Blocks {
        _stream: Stream,
    },
}

/// An open stream. The fields are dropped in this order.
struct Open {
    _source: Source,
    blocks: Receiver<FromDevice>,
    resampler: Resampler,
}

/// Keeps the stream open, on its own thread.
struct Keeper {
    wanted: Option<String>,
    feed: Feed,
}

impl Keeper {
    fn run(mut self, opened: &SyncSender<Result<String, DeviceError>>) {
        let mut open = match self.open() {
            Ok((name, open)) => {
                let _ = opened.send(Ok(name));
                Some(open)
            }
            Err(error) => {
                let _ = opened.send(Err(error));
                return;
            }
        };
        let mut link = Link::opened(Instant::now());
        while !self.feed.is_closed() {
            let mut failure = None;
            if let Some(stream) = &mut open {
                match stream.blocks.recv_timeout(TICK) {
                    Ok(FromDevice::Block(block)) => {
                        if link.sound(Instant::now()) {
                            self.feed.tell_blocking(MicrophoneEvent::Back);
                        }
                        self.feed.sound(stream.resampler.push_16_bits(&block));
                    }
                    Ok(FromDevice::Failed(reason)) => failure = Some(reason),
                    Err(RecvTimeoutError::Timeout) => {}
                    Err(RecvTimeoutError::Disconnected) => {
                        failure = Some("the stream ended".to_owned());
                    }
                }
            } else {
                std::thread::sleep(TICK);
            }
            let failure = failure.or_else(|| {
                (link.step(Instant::now()) == Step::GiveUp).then(|| "no sound arrives".to_owned())
            });
            if let Some(reason) = failure {
                // Told before the stream is closed, which can take a while.
                if link.failed(Instant::now()) {
                    self.feed.tell_blocking(MicrophoneEvent::Lost(reason));
                }
                open = None;
            }
            if link.step(Instant::now()) == Step::Reopen {
                drop(open.take());
                open = self.open().ok().map(|(_, open)| open);
                link.tried(open.is_some(), Instant::now());
            }
        }
    }

    fn open(&self) -> Result<(String, Open), DeviceError> {
        let chosen = choose(Direction::Input, self.wanted.as_deref())?;
        let cannot_open = |reason: String| DeviceError::CannotOpen {
            direction: Direction::Input,
            name: chosen.name.clone(),
            reason,
        };
        let resampler = Resampler::new(chosen.config.sample_rate(), RATE)
            .map_err(|error| cannot_open(error.to_string()))?;
        let (sender, blocks) = sync_channel(BACKLOG);
        let source = start(&chosen, &sender).map_err(|error| cannot_open(error.to_string()))?;
        Ok((
            chosen.name,
            Open {
                _source: source,
                blocks,
                resampler,
            },
        ))
    }
}

/// Begins to take sound from a device: on Linux at our own pace, for what that costs
/// is less; a form of sample that is rare there comes through cpal, as elsewhere.
fn start(chosen: &Chosen, sender: &SyncSender<FromDevice>) -> Result<Source, cpal::Error> {
    #[cfg(target_os = "linux")]
    match paced_in_its_form(chosen, sender) {
        Ok(reader) => return Ok(Source::Paced { _reader: reader }),
        Err(error) => tracing::debug!("a microphone is left to cpal: {error}"),
    }
    start_blocks(chosen, sender).map(|stream| Source::Blocks { _stream: stream })
}

#[cfg(target_os = "linux")]
fn paced_in_its_form(
    chosen: &Chosen,
    sender: &SyncSender<FromDevice>,
) -> Result<Paced, cpal::Error> {
    match chosen.config.sample_format() {
        SampleFormat::I16 => paced::<i16>(chosen, sender),
        SampleFormat::I32 => paced::<i32>(chosen, sender),
        SampleFormat::F32 => paced::<f32>(chosen, sender),
        _ => Err(ErrorKind::UnsupportedConfig.into()),
    }
}

#[cfg(target_os = "linux")]
fn paced<T>(chosen: &Chosen, sender: &SyncSender<FromDevice>) -> Result<Paced, cpal::Error>
where
    T: SizedSample + alsa::pcm::IoFormat + Default + Send + 'static,
    f32: FromSample<T>,
{
    let channels = usize::from(chosen.config.channels().max(1));
    let (blocks, failures) = (sender.clone(), sender.clone());
    let faults = Faults::default();
    let healthy = faults.clone();
    Paced::open(
        &chosen.name,
        chosen.config.config(),
        move |data: &[T]| {
            healthy.none();
            // A full queue: see below.
            let _ = blocks.try_send(FromDevice::Block(mixed(data, channels)));
        },
        move |error| match faults.one_more(&error) {
            None => After::GoOn,
            Some(reason) => {
                let _ = failures.try_send(FromDevice::Failed(reason));
                After::Stop
            }
        },
    )
}

/// Starts the stream in whatever form of sample the device prefers.
fn start_blocks(chosen: &Chosen, sender: &SyncSender<FromDevice>) -> Result<Stream, cpal::Error> {
    match chosen.config.sample_format() {
        SampleFormat::I8 => build::<i8>(chosen, sender),
        SampleFormat::I16 => build::<i16>(chosen, sender),
        SampleFormat::I24 => build::<cpal::I24>(chosen, sender),
        SampleFormat::I32 => build::<i32>(chosen, sender),
        SampleFormat::I64 => build::<i64>(chosen, sender),
        SampleFormat::U8 => build::<u8>(chosen, sender),
        SampleFormat::U16 => build::<u16>(chosen, sender),
        SampleFormat::U24 => build::<cpal::U24>(chosen, sender),
        SampleFormat::U32 => build::<u32>(chosen, sender),
        SampleFormat::U64 => build::<u64>(chosen, sender),
        SampleFormat::F32 => build::<f32>(chosen, sender),
        SampleFormat::F64 => build::<f64>(chosen, sender),
        _ => Err(ErrorKind::UnsupportedConfig.into()),
    }
}

fn build<T>(chosen: &Chosen, sender: &SyncSender<FromDevice>) -> Result<Stream, cpal::Error>
where
    T: SizedSample,
    f32: FromSample<T>,
{
    let channels = usize::from(chosen.config.channels().max(1));
    let attempt = |config| {
        let (blocks, failures) = (sender.clone(), sender.clone());
        let faults = Faults::default();
        let healthy = faults.clone();
        let stream = chosen.device.build_input_stream(
            config,
            move |data: &[T], _: &_| {
                healthy.none();
                // A full queue means that the keeper is stuck opening or closing
                // something; this thread must not be.
                let _ = blocks.try_send(FromDevice::Block(mixed(data, channels)));
            },
            move |error: cpal::Error| {
                if let Some(reason) = faults.one_more(&error) {
                    let _ = failures.try_send(FromDevice::Failed(reason));
                }
            },
            Some(Duration::from_secs(2)),
        )?;
        stream.play()?;
        Ok(stream)
    };
    let [short, own] = chosen.configs(BLOCK);
    attempt(short).or_else(|_: cpal::Error| attempt(own))
}

/// The average of the channels.
#[allow(clippy::cast_precision_loss, reason = "a handful of channels")]
fn mixed<T>(data: &[T], channels: usize) -> Vec<f32>
where
    T: SizedSample,
    f32: FromSample<T>,
{
    data.chunks_exact(channels)
        .map(|frame| {
            let sum: f32 = frame.iter().map(|sample| f32::from_sample(*sample)).sum();
            sum / channels as f32
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn channels_of_any_form_are_averaged() {
        assert_eq!(mixed::<f32>(&[0.5, -0.5, 1.0, 0.0], 2), [0.0, 0.5]);
        assert_eq!(mixed::<i16>(&[16_384, 16_384, 0], 2), [0.5]);
        assert_eq!(mixed::<u8>(&[128, 192], 1), [0.0, 0.5]);
        assert_eq!(mixed::<f32>(&[], 2), Vec::<f32>::new());
    }

    #[test]
    fn a_wrong_name_is_an_error_at_once() {
        let error = Microphone::open(Some("no such microphone")).err().unwrap();
        assert!(error.to_string().contains("no such microphone"), "{error}");
    }
}
