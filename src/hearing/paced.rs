//! A microphone that is read at our own pace, past cpal.
//!
//! cpal sleeps until ALSA says that a block is full. ALSA's plugin for `PulseAudio`
//! says so too early wherever a piece of sound was taken in part, and cpal then asks
//! again without a pause: up to a tenth of a core in silence, by chance from one start
//! to the next. Taking what is there after each sleep asks nothing of the plugin.

use std::io::ErrorKind::WouldBlock;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

use alsa::pcm::{Access, Frames, HwParams, IO, IoFormat, PCM};
use alsa::{Direction, ValueOr};
use cpal::{SampleRate, StreamConfig};

use crate::devices::hush;

/// How often what is there is taken. As often as cpal did through that plugin, so
/// that an utterance's end is heard no later.
const PACE: Duration = Duration::from_millis(30);
/// The device keeps sound for this long: a machine that is busy may be late by it.
const KEPT: Duration = Duration::from_millis(500);

/// What becomes of a failure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum After {
    /// It is read again.
    GoOn,
    /// Nothing is to be had of it any more.
    Stop,
}

/// A device that is being read, on a thread of its own, until this is dropped.
pub(super) struct Paced {
    closed: Arc<AtomicBool>,
    reader: Option<JoinHandle<()>>,
}

impl Paced {
    /// Opens the device with an ALSA name.
    pub(super) fn open<T>(
        device: &str,
        config: StreamConfig,
        take: impl FnMut(&[T]) + Send + 'static,
        failed: impl FnMut(cpal::Error) -> After + Send + 'static,
    ) -> Result<Self, cpal::Error>
    where
        T: IoFormat + Default + Send + 'static,
    {
        let pcm = PCM::new(device, Direction::Capture, true)?;
        let kept = prepare::<T>(&pcm, config)?;
        let channels = usize::from(config.channels.max(1));
        let room = usize::try_from(kept).unwrap_or_default() * channels;
        let closed = Arc::new(AtomicBool::new(false));
        let reader = Reader {
            pcm,
            buffer: vec![T::default(); room],
            channels,
            take,
            failed,
            closed: Arc::clone(&closed),
        };
        let reader = Some(std::thread::spawn(move || reader.run()));
        Ok(Self { closed, reader })
    }
}

impl Drop for Paced {
    fn drop(&mut self) {
        self.closed.store(true, Ordering::SeqCst);
        if let Some(reader) = self.reader.take() {
            let _ = reader.join();
        }
    }
}

/// Sets the form of the sound, and begins to record. Gives how many frames the device
/// keeps.
fn prepare<T: IoFormat>(pcm: &PCM, config: StreamConfig) -> Result<Frames, cpal::Error> {
    let hardware = HwParams::any(pcm)?;
    hardware.set_access(Access::RWInterleaved)?;
    hardware.set_format(T::FORMAT)?;
    hardware.set_channels(config.channels.into())?;
    hardware.set_rate(config.sample_rate, ValueOr::Nearest)?;
    hardware.set_period_size_near(frames(PACE, config.sample_rate), ValueOr::Nearest)?;
    let kept = hardware.set_buffer_size_near(frames(KEPT, config.sample_rate))?;
    // Sound at another rate than it is taken for would be other words.
    if hardware.get_rate()? != config.sample_rate {
        return Err(cpal::ErrorKind::UnsupportedConfig.into());
    }
    pcm.hw_params(&hardware)?;
    pcm.prepare()?;
    pcm.start()?;
    Ok(kept)
}

fn frames(time: Duration, rate: SampleRate) -> Frames {
    Frames::try_from(time.as_millis() * u128::from(rate) / 1_000).unwrap_or(Frames::MAX)
}

struct Reader<T, Take, Failed> {
    pcm: PCM,
    buffer: Vec<T>,
    channels: usize,
    take: Take,
    failed: Failed,
    closed: Arc<AtomicBool>,
}

impl<T, Take, Failed> Reader<T, Take, Failed>
where
    T: IoFormat,
    Take: FnMut(&[T]),
    Failed: FnMut(cpal::Error) -> After,
{
    fn run(mut self) {
        hush();
        let io: IO<'_, T> = match self.pcm.io_checked() {
            Ok(io) => io,
            Err(error) => {
                (self.failed)(error.into());
                return;
            }
        };
        while !self.closed.load(Ordering::SeqCst) {
            match io.readi(&mut self.buffer) {
                Ok(frames) => (self.take)(&self.buffer[..frames * self.channels]),
                Err(error) if nothing_yet(error) => {}
                Err(error) => {
                    if (self.failed)(error.into()) == After::Stop {
                        return;
                    }
                    // What was too late, or asleep, begins anew; of the rest the next
                    // reading tells.
                    if self.pcm.try_recover(error, true).is_ok() {
                        let _ = self.pcm.start();
                    }
                    continue;
                }
            }
            std::thread::sleep(PACE);
        }
    }
}

fn nothing_yet(error: alsa::Error) -> bool {
    std::io::Error::from_raw_os_error(error.errno()).kind() == WouldBlock
}
