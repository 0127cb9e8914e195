//! Plays sound on a loudspeaker.

use std::future::Future;
use std::pin::Pin;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, SyncSender, channel, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::{Context, Poll};
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{ErrorKind, FromSample, OutputCallbackInfo, SampleFormat, SizedSample, Stream};
use thiserror::Error;
use tokio::sync::oneshot;

use super::engine::Audio;
use crate::devices::{Chosen, DeviceError, Direction, Faults, choose};
use crate::hearing::{resample, to_f32};

/// The length of a block for the device, in milliseconds.
const BLOCK: u32 = 30;
/// A device that takes no sound for this long, or this much longer than the
/// sound itself, counts as lost.
const GRACE: Duration = Duration::from_secs(3);
/// How often the device is looked at while nothing is said.
const IDLE: Duration = Duration::from_millis(500);

/// Why something could not be played to its end.
#[derive(Debug, Error, Clone, PartialEq, Eq)]
pub enum PlayError {
    /// The device can't be opened.
    #[error(transparent)]
    Device(#[from] DeviceError),
    /// The device went away, or stopped taking sound.
    #[error("the loudspeaker was lost while playing ({0}); check that it is plugged in")]
    Lost(String),
    /// It is the tablet's, which did not play it.
    #[error("the tablet did not play it ({0})")]
    Tablet(&'static str),
    /// The sound has an absurd sample rate.
    #[error("sound with {0} samples per second cannot be played")]
    UnsupportedRate(u32),
    /// It was stopped, or the player is gone.
    #[error("playing was stopped")]
    Stopped,
}

/// When something was heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Played {
    /// When its first sample left the loudspeaker, as far as the sound system
    /// tells.
    pub first: Instant,
    /// When its last sample left the loudspeaker.
    pub last: Instant,
}

/// A loudspeaker. The device stays open between sayings, because opening it
/// takes time and some cut off the first syllable. Dropping this closes it.
pub struct Player {
    jobs: Sender<Job>,
    line: Arc<Mutex<Line>>,
    name: String,
}

/// Something that is being played; a future that is ready when it ended. What is
/// dropped plays on.
#[must_use = "playing goes on in the background; await this, or wait for it"]
pub struct Playing(oneshot::Receiver<Result<Played, PlayError>>);

struct Job {
    audio: Audio,
    /// How often playing had been stopped when this was given.
    stops: u64,
    done: oneshot::Sender<Result<Played, PlayError>>,
}

impl Player {
    /// Opens the loudspeaker with a name (or part of it), or the default one.
    ///
    /// # Errors
    /// [`DeviceError`] says what is missing and which devices there are. A device
    /// that fails later is an error of what was being played, and is tried again
    /// for the next saying.
    pub fn open(wanted: Option<&str>) -> Result<Self, DeviceError> {
        let (jobs, receiver) = channel();
        let (opened, result) = sync_channel(1);
        let line = Arc::new(Mutex::new(Line::default()));
        let desk = Desk {
            wanted: wanted.map(str::to_owned),
            line: Arc::clone(&line),
        };
        // On some systems a stream may not leave the thread that opened it.
        std::thread::spawn(move || desk.run(&opened, &receiver));
        let name = result.recv().unwrap_or_else(|_| {
            let reason = "its thread ended".to_owned();
            Err(DeviceError::None {
                direction: Direction::Output,
                reason,
            })
        })?;
        Ok(Self { jobs, line, name })
    }

    /// A loudspeaker that is no device of this machine. `play` is given one sound after
    /// another, on a thread of its own, and returns when that has ended.
    pub fn elsewhere(
        name: String,
        mut play: impl FnMut(&Audio) -> Result<Played, PlayError> + Send + 'static,
    ) -> Self {
        let (jobs, receiver) = channel::<Job>();
        let line = Arc::new(Mutex::new(Line::default()));
        let stopped = Arc::clone(&line);
        std::thread::spawn(move || {
            for Job { audio, stops, done } in receiver {
                let stopped = lock(&stopped).stops != stops;
                let _ = done.send(if stopped {
                    Err(PlayError::Stopped)
                } else {
                    play(&audio)
                });
            }
        });
        Self { jobs, line, name }
    }

    /// Plays something, after whatever is being played.
    pub fn play(&self, audio: Audio) -> Playing {
        let (done, playing) = oneshot::channel();
        // When the thread is gone, `done` is dropped, and that ends `playing`.
        let stops = lock(&self.line).stops;
        let _ = self.jobs.send(Job { audio, stops, done });
        Playing(playing)
    }

    /// Ends what is being played at once, and what waits to be played.
    pub fn stop(&self) {
        let mut line = lock(&self.line);
        line.stops += 1;
        line.stop();
    }

    /// The device's name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }
}

impl Playing {
    /// Blocks until it ended. Not for use inside an executor.
    ///
    /// # Errors
    /// [`PlayError`] says why it wasn't played to its end.
    pub fn wait(self) -> Result<Played, PlayError> {
        self.0.blocking_recv().unwrap_or(Err(PlayError::Stopped))
    }
}

impl Future for Playing {
    type Output = Result<Played, PlayError>;

    fn poll(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Self::Output> {
        let result = Pin::new(&mut self.0).poll(context);
        result.map(|result| result.unwrap_or(Err(PlayError::Stopped)))
    }
}

/// What the device takes its samples from.
#[derive(Default)]
struct Line {
    samples: Vec<f32>,
    next: usize,
    first: Option<Instant>,
    ended: Option<Sender<Ended>>,
    /// How often playing was stopped.
    stops: u64,
}

enum Ended {
    Played(Played),
    Stopped,
}

impl Line {
    fn start(&mut self, samples: Vec<f32>) -> Receiver<Ended> {
        let (sender, receiver) = channel();
        *self = Self {
            samples,
            next: 0,
            first: None,
            ended: Some(sender),
            stops: self.stops,
        };
        receiver
    }

    /// Fills one block for the device; `heard` is when its first frame will be.
    fn fill<T>(&mut self, data: &mut [T], channels: usize, rate: u32, heard: Instant)
    where
        T: SizedSample + FromSample<f32>,
    {
        if self.ended.is_none() {
            data.fill(T::EQUILIBRIUM);
            return;
        }
        self.first.get_or_insert(heard);
        let mut frames: u32 = 0;
        for frame in data.chunks_mut(channels) {
            let sample = self.samples.get(self.next).copied();
            frames += u32::from(sample.is_some());
            self.next += usize::from(sample.is_some());
            frame.fill(sample.map_or(T::EQUILIBRIUM, T::from_sample));
        }
        if self.next >= self.samples.len() {
            let last = heard + Duration::from_secs(1) * frames / rate.max(1);
            let first = self.first.unwrap_or(heard);
            self.end(Ended::Played(Played { first, last }));
        }
    }

    fn stop(&mut self) {
        self.end(Ended::Stopped);
    }

    fn end(&mut self, how: Ended) {
        if let Some(ended) = self.ended.take() {
            let _ = ended.send(how);
        }
        self.samples = Vec::new();
    }
}

fn lock(line: &Mutex<Line>) -> MutexGuard<'_, Line> {
    // Nothing in it is ever half changed, so a poisoned lock is harmless.
    line.lock().unwrap_or_else(PoisonError::into_inner)
}

/// An open stream.
struct Open {
    stream: Stream,
    rate: u32,
    failed: Receiver<String>,
}

/// Does the jobs one after another, on its own thread.
struct Desk {
    wanted: Option<String>,
    line: Arc<Mutex<Line>>,
}

impl Desk {
    fn run(self, opened: &SyncSender<Result<String, DeviceError>>, jobs: &Receiver<Job>) {
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
        loop {
            let job = jobs.recv_timeout(IDLE);
            // A device can be lost while nothing is said. The stream is closed then,
            // because the sound system may go on failing as fast as it can.
            if open
                .as_ref()
                .is_some_and(|open| open.failed.try_recv().is_ok())
            {
                open = None;
            }
            let Job { audio, stops, done } = match job {
                Ok(job) => job,
                Err(RecvTimeoutError::Timeout) => continue,
                Err(RecvTimeoutError::Disconnected) => break,
            };
            if open.is_none() {
                match self.open() {
                    Ok((_, again)) => open = Some(again),
                    Err(error) => {
                        let _ = done.send(Err(error.into()));
                        continue;
                    }
                }
            }
            let Some(stream) = &open else { continue };
            let result = self.play(stream, &audio, stops);
            let lost = matches!(result, Err(PlayError::Lost(_)));
            // Told before the stream is closed, which can take a while.
            let _ = done.send(result);
            if lost {
                open = None;
            }
        }
        if let Some(open) = open {
            let _ = open.stream.pause();
        }
    }

    fn play(&self, open: &Open, audio: &Audio, stops: u64) -> Result<Played, PlayError> {
        let samples: Vec<f32> = audio.samples.iter().copied().map(to_f32).collect();
        let samples = resample(&samples, audio.rate, open.rate)
            .map_err(|_| PlayError::UnsupportedRate(audio.rate))?;
        if samples.is_empty() {
            let now = Instant::now();
            return Ok(Played {
                first: now,
                last: now,
            });
        }
        let ended = {
            let mut line = lock(&self.line);
            if line.stops != stops {
                return Err(PlayError::Stopped);
            }
            line.start(samples)
        };
        let deadline = Instant::now() + audio.duration() + GRACE;
        let mut progress = (0, Instant::now());
        let result = loop {
            if let Ok(reason) = open.failed.try_recv() {
                break Err(PlayError::Lost(reason));
            }
            match ended.recv_timeout(Duration::from_millis(50)) {
                Ok(Ended::Played(played)) => {
                    // The last block is still on its way through the sound system.
                    let left = played.last.saturating_duration_since(Instant::now());
                    std::thread::sleep(left.min(GRACE));
                    break Ok(played);
                }
                Ok(Ended::Stopped) | Err(RecvTimeoutError::Disconnected) => {
                    break Err(PlayError::Stopped);
                }
                Err(RecvTimeoutError::Timeout) => {
                    let (now, next) = (Instant::now(), lock(&self.line).next);
                    if next != progress.0 {
                        progress = (next, now);
                    }
                    if now >= deadline || now >= progress.1 + GRACE {
                        break Err(PlayError::Lost("it takes no sound".to_owned()));
                    }
                }
            }
        };
        lock(&self.line).stop();
        result
    }

    fn open(&self) -> Result<(String, Open), DeviceError> {
        let chosen = choose(Direction::Output, self.wanted.as_deref())?;
        // One failure is enough: some systems repeat it without pause.
        let (sender, failed) = sync_channel(1);
        let stream = start(&chosen, &self.line, &sender).map_err(|error| {
            let (name, reason) = (chosen.name.clone(), error.to_string());
            DeviceError::CannotOpen {
                direction: Direction::Output,
                name,
                reason,
            }
        })?;
        let rate = chosen.config.sample_rate();
        Ok((
            chosen.name,
            Open {
                stream,
                rate,
                failed,
            },
        ))
    }
}

/// Starts the stream in whatever form of sample the device prefers.
fn start(
    chosen: &Chosen,
    line: &Arc<Mutex<Line>>,
    failed: &SyncSender<String>,
) -> Result<Stream, cpal::Error> {
    match chosen.config.sample_format() {
        SampleFormat::I8 => build::<i8>(chosen, line, failed),
        SampleFormat::I16 => build::<i16>(chosen, line, failed),
        SampleFormat::I24 => build::<cpal::I24>(chosen, line, failed),
        SampleFormat::I32 => build::<i32>(chosen, line, failed),
        SampleFormat::I64 => build::<i64>(chosen, line, failed),
        SampleFormat::U8 => build::<u8>(chosen, line, failed),
        SampleFormat::U16 => build::<u16>(chosen, line, failed),
        SampleFormat::U24 => build::<cpal::U24>(chosen, line, failed),
        SampleFormat::U32 => build::<u32>(chosen, line, failed),
        SampleFormat::U64 => build::<u64>(chosen, line, failed),
        SampleFormat::F32 => build::<f32>(chosen, line, failed),
        SampleFormat::F64 => build::<f64>(chosen, line, failed),
        _ => Err(ErrorKind::UnsupportedConfig.into()),
    }
}

fn build<T>(
    chosen: &Chosen,
    line: &Arc<Mutex<Line>>,
    failed: &SyncSender<String>,
) -> Result<Stream, cpal::Error>
where
    T: SizedSample + FromSample<f32>,
{
    let channels = usize::from(chosen.config.channels().max(1));
    let rate = chosen.config.sample_rate();
    let attempt = |config| {
        let (line, failed) = (Arc::clone(line), failed.clone());
        let faults = Faults::default();
        let healthy = faults.clone();
        let stream = chosen.device.build_output_stream(
            config,
            move |data: &mut [T], info: &OutputCallbackInfo| {
                healthy.none();
                let time = info.timestamp();
                let delay = time.playback.duration_since(time.callback);
                lock(&line).fill(data, channels, rate, Instant::now() + delay);
            },
            move |error: cpal::Error| {
                if let Some(reason) = faults.one_more(&error) {
                    let _ = failed.try_send(reason);
                }
            },
            Some(GRACE),
        )?;
        stream.play()?;
        Ok(stream)
    };
    let [short, own] = chosen.configs(BLOCK);
    attempt(short).or_else(|_: cpal::Error| attempt(own))
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: u32 = 1_000;

    #[test]
    #[allow(clippy::float_cmp, reason = "samples pass through unchanged")]
    fn a_line_fills_every_channel_and_tells_when_it_is_done() {
        let mut line = Line::default();
        let now = Instant::now();
        let mut block = [9.0_f32; 8];
        line.fill(&mut block, 2, RATE, now);
        assert_eq!(block, [0.0; 8], "nothing to play is silence");

        let ended = line.start(vec![0.1, 0.2, 0.3, 0.4, 0.5, 0.6]);
        line.fill(&mut block, 2, RATE, now);
        assert_eq!(block, [0.1, 0.1, 0.2, 0.2, 0.3, 0.3, 0.4, 0.4]);
        assert!(ended.try_recv().is_err(), "not yet");
        let later = now + Duration::from_millis(4);
        line.fill(&mut block, 2, RATE, later);
        assert_eq!(block, [0.5, 0.5, 0.6, 0.6, 0.0, 0.0, 0.0, 0.0]);
        let Ok(Ended::Played(played)) = ended.try_recv() else {
            panic!("it is over")
        };
        assert_eq!(
            played,
            Played {
                first: now,
                last: later + Duration::from_millis(2)
            }
        );
    }

    #[test]
    fn stopping_ends_it_and_leaves_silence() {
        let mut line = Line::default();
        let ended = line.start(vec![1.0; 100]);
        line.stop();
        line.stop();
        assert!(matches!(ended.try_recv(), Ok(Ended::Stopped)));
        let mut block = [9_i16; 4];
        line.fill(&mut block, 1, RATE, Instant::now());
        assert_eq!(block, [0; 4]);
    }

    #[test]
    fn a_wrong_name_is_an_error_at_once() {
        let error = Player::open(Some("no such loudspeaker")).err().unwrap();
        assert!(error.to_string().contains("no such loudspeaker"), "{error}");
    }
}
