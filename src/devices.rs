//! Which microphone and which loudspeaker.

use std::fmt;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{BufferSize, Device, ErrorKind, StreamConfig, SupportedStreamConfig};
use thiserror::Error;

/// Which way the sound goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// From a microphone.
    Input,
    /// To a loudspeaker.
    Output,
}

impl fmt::Display for Direction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Input => "microphone",
            Self::Output => "loudspeaker",
        })
    }
}

/// Why a sound device cannot be used.
#[derive(Debug, Error, Clone, PartialEq, Eq)]
pub enum DeviceError {
    /// The sound system itself cannot be reached.
    #[error("the sound system cannot be reached ({0}); check that it is running")]
    NoSoundSystem(String),
    /// There is none at all, or none that this user may use.
    #[error(
        "no {direction} can be used ({reason}); plug one in, and check that this user may use \
         sound devices (on Linux, the group \"audio\")"
    )]
    None {
        /// What was looked for.
        direction: Direction,
        /// What the system said.
        reason: String,
    },
    /// None has the name that was asked for.
    #[error(
        "there is no {direction} called {wanted:?}; there are: {}",
        list(known)
    )]
    NotFound {
        /// What was looked for.
        direction: Direction,
        /// The name that was asked for.
        wanted: String,
        /// The devices that are there.
        known: Vec<DeviceInfo>,
    },
    /// It is there but cannot be opened.
    #[error(
        "the {direction} {name:?} cannot be opened ({reason}); \
         check that no other program uses it, or choose another"
    )]
    CannotOpen {
        /// What was opened.
        direction: Direction,
        /// Its name.
        name: String,
        /// What the system said.
        reason: String,
    },
}

fn list(known: &[DeviceInfo]) -> String {
    if known.is_empty() {
        return "none".to_owned();
    }
    let names: Vec<String> = known.iter().map(ToString::to_string).collect();
    names.join("; ")
}

/// A sound device. Either text chooses it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeviceInfo {
    /// Its name for people.
    pub name: String,
    /// Its name for the sound system, which stays the same.
    pub id: String,
}

impl fmt::Display for DeviceInfo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({})", self.id, self.name)
    }
}

impl DeviceInfo {
    fn of(device: &Device) -> Option<Self> {
        let id = device.id().ok()?.id().to_owned();
        let name = device
            .description()
            .map_or_else(|_| id.clone(), |d| d.name().to_owned());
        Some(Self { name, id })
    }

    /// How well a wish fits: exactly, in part, or not at all.
    fn fits(&self, wanted: &str) -> Option<u8> {
        let wanted = wanted.trim().to_lowercase();
        let (name, id) = (self.name.to_lowercase(), self.id.to_lowercase());
        if wanted.is_empty() {
            None
        } else if id == wanted {
            Some(0)
        } else if name == wanted {
            Some(1)
        } else if name.contains(&wanted) || id.contains(&wanted) {
            Some(2)
        } else {
            None
        }
    }
}

/// The devices there are.
///
/// # Errors
/// [`DeviceError::NoSoundSystem`].
pub fn devices(direction: Direction) -> Result<Vec<DeviceInfo>, DeviceError> {
    Ok(enumerate(direction)?
        .into_iter()
        .map(|(info, _)| info)
        .collect())
}

/// On Linux the sound library writes what it tried on standard error, for every
/// device that isn't there. What matters comes back as an error as well, so this
/// thread's share of it is dropped.
pub(crate) fn hush() {
    #[cfg(target_os = "linux")]
    if let Err(error) = alsa::Output::local_error_handler() {
        tracing::debug!("the sound library stays noisy: {error}");
    }
}

fn enumerate(direction: Direction) -> Result<Vec<(DeviceInfo, Device)>, DeviceError> {
    hush();
    let unreachable = |error: cpal::Error| DeviceError::NoSoundSystem(error.to_string());
    let host = cpal::default_host();
    let all = host.devices().map_err(unreachable)?;
    Ok(all
        .filter(|device| match direction {
            Direction::Input => device.supports_input(),
            Direction::Output => device.supports_output(),
        })
        .filter_map(|device| Some((DeviceInfo::of(&device)?, device)))
        .collect())
}

/// A device with the form of sound it prefers.
pub(crate) struct Chosen {
    pub name: String,
    pub device: Device,
    pub config: SupportedStreamConfig,
}

impl Chosen {
    /// Its form of sound with a short buffer where it takes one, and the same
    /// with its own buffer otherwise.
    pub(crate) fn configs(&self, milliseconds: u32) -> [StreamConfig; 2] {
        let own = self.config.config();
        let frames = own.sample_rate * milliseconds / 1_000;
        [
            StreamConfig {
                buffer_size: BufferSize::Fixed(frames),
                ..own
            },
            own,
        ]
    }
}

/// The device that a wish names (in full or in part, in any case), or the
/// default one. One that cannot be used is passed over for the next that fits.
pub(crate) fn choose(direction: Direction, wanted: Option<&str>) -> Result<Chosen, DeviceError> {
    hush();
    let candidates = if let Some(wanted) = wanted {
        let all = enumerate(direction)?;
        let known = || all.iter().map(|(info, _)| info.clone()).collect();
        let mut fitting: Vec<_> = all
            .iter()
            .filter_map(|(info, device)| Some((info.fits(wanted)?, info, device)))
            .collect();
        fitting.sort_by_key(|(fit, ..)| *fit);
        if fitting.is_empty() {
            return Err(DeviceError::NotFound {
                direction,
                wanted: wanted.to_owned(),
                known: known(),
            });
        }
        fitting
            .into_iter()
            .map(|(_, info, device)| (info.id.clone(), device.clone()))
            .collect()
    } else {
        let host = cpal::default_host();
        let device = match direction {
            Direction::Input => host.default_input_device(),
            Direction::Output => host.default_output_device(),
        };
        let reason = "there is no default".to_owned();
        let device = device.ok_or(DeviceError::None { direction, reason })?;
        let name = DeviceInfo::of(&device).map_or_else(|| "default".to_owned(), |info| info.id);
        vec![(name, device)]
    };
    let mut failure = None;
    for (name, device) in candidates {
        let config = match direction {
            Direction::Input => device.default_input_config(),
            Direction::Output => device.default_output_config(),
        };
        match config {
            Ok(config) => {
                return Ok(Chosen {
                    name,
                    device,
                    config,
                });
            }
            Err(error) => {
                failure.get_or_insert((name, error.to_string()));
            }
        }
    }
    let (name, reason) = failure.unwrap_or_default();
    Err(if wanted.is_none() {
        DeviceError::None { direction, reason }
    } else {
        DeviceError::CannotOpen {
            direction,
            name,
            reason,
        }
    })
}

/// Tells a stream that stumbles from one that is lost.
#[derive(Debug, Clone, Default)]
pub(crate) struct Faults {
    in_a_row: Arc<AtomicU32>,
}

impl Faults {
    /// Failures in a row that a stream is forgiven.
    const FORGIVEN: u32 = 20;
    /// Some sound systems would otherwise repeat a failure as fast as they can,
    /// and some get over it when given a moment.
    const PAUSE: Duration = Duration::from_millis(5);

    /// Sound went through.
    pub(crate) fn none(&self) {
        self.in_a_row.store(0, Ordering::Relaxed);
    }

    /// A failure was reported, on the stream's own thread. Gives the reason when
    /// the stream has to be closed.
    pub(crate) fn one_more(&self, error: &cpal::Error) -> Option<String> {
        match error.kind() {
            ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied => None,
            ErrorKind::DeviceNotAvailable | ErrorKind::StreamInvalidated => Some(error.to_string()),
            _ => {
                tracing::debug!("sound stream: {error}");
                std::thread::sleep(Self::PAUSE);
                let count = self.in_a_row.fetch_add(1, Ordering::Relaxed) + 1;
                (count > Self::FORGIVEN).then(|| error.to_string())
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_device_is_chosen_by_either_name_in_whole_or_in_part() {
        let info = DeviceInfo {
            name: "USB Headset".into(),
            id: "hw:CARD=Headset,DEV=0".into(),
        };
        assert_eq!(info.fits("hw:card=headset,dev=0"), Some(0));
        assert_eq!(info.fits(" usb headset "), Some(1));
        assert_eq!(info.fits("headset"), Some(2));
        assert_eq!(info.fits("CARD=Head"), Some(2));
        assert_eq!(info.fits("built-in"), None);
        assert_eq!(info.fits(""), None);
    }

    #[test]
    fn a_wrong_name_lists_the_right_ones() {
        let known = vec![DeviceInfo {
            name: "USB Headset".into(),
            id: "hw:1".into(),
        }];
        let error = DeviceError::NotFound {
            direction: Direction::Input,
            wanted: "x".into(),
            known,
        };
        assert_eq!(
            error.to_string(),
            "there is no microphone called \"x\"; there are: hw:1 (USB Headset)"
        );
    }

    #[test]
    fn a_stream_may_stumble_but_not_fall() {
        let faults = Faults::default();
        let stumble = cpal::Error::new(ErrorKind::Xrun);
        for _ in 0..Faults::FORGIVEN {
            assert_eq!(faults.one_more(&stumble), None);
        }
        faults.none();
        assert_eq!(
            faults.one_more(&stumble),
            None,
            "sound went through in between"
        );
        for _ in 0..Faults::FORGIVEN - 1 {
            assert_eq!(faults.one_more(&stumble), None);
        }
        assert!(faults.one_more(&stumble).is_some());
        let gone = cpal::Error::new(ErrorKind::DeviceNotAvailable);
        assert!(Faults::default().one_more(&gone).is_some());
        let moved = cpal::Error::new(ErrorKind::DeviceChanged);
        assert_eq!(faults.one_more(&moved), None);
    }
}
