//! Writes what is said into a WAV file as well.

use std::fs::File;
use std::io::BufWriter;
use std::path::Path;
use std::time::Duration;

use hound::WavWriter;

use super::engine::Audio;
use crate::hearing::{into_io, mono16, resample, to_f32, to_i16};

/// The rate of the file, in hertz. Voices differ, and one file has one rate.
const FILE_RATE: u32 = 22_050;
/// Silence between two sayings.
const PAUSE: Duration = Duration::from_millis(600);

/// A WAV file to which everything said is appended, with silence between. The
/// file can be played at any time, even after the program was killed.
pub struct Tee {
    writer: WavWriter<BufWriter<File>>,
    empty: bool,
}

impl Tee {
    /// Starts a file that only its owner can read, replacing what was there.
    ///
    /// # Errors
    /// What the system said when the file could not be written.
    pub fn create(path: &Path) -> std::io::Result<Self> {
        let mut options = std::fs::OpenOptions::new();
        options.write(true).create(true).truncate(true);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        let file = BufWriter::new(options.open(path)?);
        let mut writer = WavWriter::new(file, mono16(FILE_RATE)).map_err(into_io)?;
        writer.flush().map_err(into_io)?;
        Ok(Self {
            writer,
            empty: true,
        })
    }

    /// Appends a saying.
    ///
    /// # Errors
    /// What the system said when the file could not be written, such as a full
    /// disk; or that the sound has an absurd sample rate.
    pub fn append(&mut self, audio: &Audio) -> std::io::Result<()> {
        if !self.empty {
            self.write(&Audio::silence(FILE_RATE, PAUSE).samples)?;
        }
        self.empty = false;
        if audio.rate == FILE_RATE {
            self.write(&audio.samples)?;
        } else {
            let samples: Vec<f32> = audio.samples.iter().copied().map(to_f32).collect();
            let samples =
                resample(&samples, audio.rate, FILE_RATE).map_err(std::io::Error::other)?;
            self.write(&samples.into_iter().map(to_i16).collect::<Vec<_>>())?;
        }
        // This also brings the length in the header up to date.
        self.writer.flush().map_err(into_io)
    }

    fn write(&mut self, samples: &[i16]) -> std::io::Result<()> {
        for sample in samples {
            self.writer.write_sample(*sample).map_err(into_io)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hearing::read_wav_at_own_rate;

    #[test]
    fn the_file_is_whole_after_every_saying() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("said.wav");
        let mut tee = Tee::create(&path).unwrap();
        let second = |rate: u32| Audio {
            rate,
            samples: vec![1_000; rate as usize],
        };
        let length = || {
            let (rate, samples) = read_wav_at_own_rate(&std::fs::read(&path).unwrap()).unwrap();
            Audio { rate, samples }.duration().as_secs_f64()
        };
        tee.append(&second(22_050)).unwrap();
        assert!((length() - 1.0).abs() < 0.001);
        tee.append(&second(16_000)).unwrap();
        assert!((length() - 2.6).abs() < 0.001);
        assert!(
            tee.append(&Audio {
                rate: 1,
                samples: vec![0]
            })
            .is_err()
        );
    }

    #[test]
    fn a_folder_that_is_not_there_is_an_error() {
        assert!(Tee::create(Path::new("no/such/folder/said.wav")).is_err());
    }
}
