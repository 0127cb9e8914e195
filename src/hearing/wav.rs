//! WAV files in and out.

use std::fs::File;
use std::io::{BufReader, Cursor, ErrorKind, Read, Seek, Write};
use std::path::{Path, PathBuf};

use hound::{SampleFormat, WavReader, WavSpec, WavWriter};
use thiserror::Error;

use super::resample::{HIGHEST_RATE, LOWEST_RATE, Resampler, to_i16};

/// The sample rate of everything inside, in hertz.
pub const RATE: u32 = 16_000;
/// The longest recording that is read, in seconds.
pub const LONGEST_SECONDS: u32 = 3_600;
/// The most channels that are mixed down to one.
pub const MOST_CHANNELS: u16 = 8;

/// Why a WAV file could not be read.
#[derive(Debug, Error)]
pub enum WavError {
    /// The file can't be opened or read.
    #[error("cannot read {path}: {source}")]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Any of the others, of a file.
    #[error("{path}: {problem}")]
    File {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        problem: Box<Self>,
    },
    /// The content is not WAV at all.
    #[error("this is not a WAV file; record or convert to WAV, 16-bit PCM, 16000 Hz, one channel")]
    NotWav,
    /// It is WAV, but the header makes no sense.
    #[error("the WAV header is damaged ({0}); record or convert the sound again")]
    BadHeader(&'static str),
    /// The samples are compressed, or of a width that is not read.
    #[error(
        "this WAV holds compressed or unusual samples; \
         convert to PCM of 8, 16, 24 or 32 bits, or to 32-bit float"
    )]
    UnsupportedSamples,
    /// Sample rate or channel count is out of range.
    #[error(
        "{rate} Hz with {channels} channels is not supported; \
         convert to {LOWEST_RATE} to {HIGHEST_RATE} Hz and at most {MOST_CHANNELS} channels"
    )]
    UnsupportedShape {
        /// Samples per second.
        rate: u32,
        /// Channels.
        channels: u16,
    },
    /// The file ends before the length in its header.
    #[error(
        "the WAV file is cut short: its header promises {promised:.1} s of sound, \
         but it holds only {found:.1} s; copy or record it again"
    )]
    Truncated {
        /// Seconds that the header promises.
        promised: f64,
        /// Seconds that are there.
        found: f64,
    },
    /// There is a header but no sound.
    #[error("the WAV file holds no sound; record it again")]
    Empty,
    /// More than [`LONGEST_SECONDS`].
    #[error(
        "the recording is {0:.0} s long, and at most {LONGEST_SECONDS} s are read; \
         split it into shorter files"
    )]
    TooLong(f64),
}

/// Reads a WAV file as 16 kHz mono samples.
///
/// Rates of 8 to 192 kHz, integers of 8, 16, 24 or 32 bits, 32-bit floats, and
/// up to eight channels (averaged) are read.
///
/// # Errors
/// [`WavError`] says what is wrong with the file and what to do.
pub fn read_wav(path: &Path) -> Result<Vec<i16>, WavError> {
    let unreadable = |source| WavError::Unreadable {
        path: path.to_owned(),
        source,
    };
    let file = File::open(path).map_err(unreadable)?;
    let length = file.metadata().map_err(unreadable)?.len();
    let mut samples = Vec::new();
    let rate = decode(BufReader::new(file), length, Some(RATE), &mut samples)
        .map_err(|error| name_file(error, path))?;
    debug_assert_eq!(rate, RATE);
    Ok(samples)
}

/// Reads WAV bytes as 16 kHz mono samples, as [`read_wav`] does.
///
/// # Errors
/// [`WavError`] says what is wrong with the bytes.
pub fn read_wav_bytes(bytes: &[u8]) -> Result<Vec<i16>, WavError> {
    let mut samples = Vec::new();
    decode(
        Cursor::new(bytes),
        bytes.len() as u64,
        Some(RATE),
        &mut samples,
    )?;
    Ok(samples)
}

/// Reads WAV bytes as mono samples at their own rate: `(rate in hertz, samples)`.
///
/// # Errors
/// [`WavError`] says what is wrong with the bytes.
pub fn read_wav_at_own_rate(bytes: &[u8]) -> Result<(u32, Vec<i16>), WavError> {
    let mut samples = Vec::new();
    let rate = decode(Cursor::new(bytes), bytes.len() as u64, None, &mut samples)?;
    Ok((rate, samples))
}

/// Writes 16-bit mono samples as a WAV file, replacing what was there.
///
/// # Errors
/// What the system said when the file could not be written.
pub fn write_wav(path: &Path, rate: u32, samples: &[i16]) -> std::io::Result<()> {
    let writer = WavWriter::create(path, mono16(rate)).map_err(into_io)?;
    fill(writer, samples)
}

/// The same in memory.
///
/// # Errors
/// When there is more sound than a WAV file can hold.
pub fn wav_bytes(rate: u32, samples: &[i16]) -> std::io::Result<Vec<u8>> {
    let mut bytes = Cursor::new(Vec::new());
    let writer = WavWriter::new(&mut bytes, mono16(rate)).map_err(into_io)?;
    fill(writer, samples)?;
    Ok(bytes.into_inner())
}

fn fill<W: Write + Seek>(mut writer: WavWriter<W>, samples: &[i16]) -> std::io::Result<()> {
    let mut block = writer.get_i16_writer(u32::try_from(samples.len()).map_err(|_| {
        std::io::Error::new(
            ErrorKind::InvalidInput,
            "a WAV file cannot hold so much sound",
        )
    })?);
    for sample in samples {
        block.write_sample(*sample);
    }
    block.flush().map_err(into_io)?;
    writer.finalize().map_err(into_io)
}

/// The format of every WAV file that is written.
pub(crate) fn mono16(rate: u32) -> WavSpec {
    WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    }
}

/// The codec's error as one of input and output.
pub(crate) fn into_io(error: hound::Error) -> std::io::Error {
    match error {
        hound::Error::IoError(error) => error,
        other => std::io::Error::other(other),
    }
}

fn name_file(error: WavError, path: &Path) -> WavError {
    let path = path.to_owned();
    match error {
        WavError::Unreadable { source, .. } => WavError::Unreadable { path, source },
        problem => WavError::File {
            path,
            problem: Box::new(problem),
        },
    }
}

/// Decodes to mono, at `wanted` hertz or at the file's own rate; gives the rate.
fn decode(
    reader: impl Read,
    length: u64,
    wanted: Option<u32>,
    out: &mut Vec<i16>,
) -> Result<u32, WavError> {
    let mut reader = WavReader::new(mend_streamed_header(reader, length)?).map_err(from_hound)?;
    let WavSpec {
        channels,
        sample_rate: rate,
        bits_per_sample,
        sample_format,
    } = reader.spec();
    let shape = WavError::UnsupportedShape { rate, channels };
    if !(1..=MOST_CHANNELS).contains(&channels) {
        return Err(shape);
    }
    let to = wanted.unwrap_or(rate);
    let resampler = Resampler::new(rate, to).map_err(|_| shape)?;
    let promised = f64::from(reader.duration()) / f64::from(rate);
    if promised > f64::from(LONGEST_SECONDS) {
        return Err(WavError::TooLong(promised));
    }
    let mut mixer = Mixer::new(channels, resampler);
    let result = match sample_format {
        SampleFormat::Float => reader
            .samples::<f32>()
            .try_for_each(|sample| sample.map(|sample| mixer.push(sample, out))),
        SampleFormat::Int => {
            // Half of the range of the width, so that full scale becomes 1.
            let scale = 1.0 / 2.0_f64.powi(i32::from(bits_per_sample.clamp(1, 32)) - 1);
            #[allow(
                clippy::cast_possible_truncation,
                reason = "24 bits of mantissa are enough"
            )]
            reader.samples::<i32>().try_for_each(|sample| {
                sample.map(|sample| mixer.push((f64::from(sample) * scale) as f32, out))
            })
        }
    };
    match result {
        Ok(()) => {}
        Err(hound::Error::IoError(error)) if is_end_of_file(&error) => {
            #[allow(clippy::cast_precision_loss, reason = "a message to one decimal")]
            let found = mixer.frames as f64 / f64::from(rate);
            return Err(WavError::Truncated { promised, found });
        }
        Err(error) => return Err(from_hound(error)),
    }
    mixer.finish(out);
    if out.is_empty() {
        Err(WavError::Empty)
    } else {
        Ok(to)
    }
}

/// Averages interleaved channels and resamples, a block at a time, so that an
/// hour of eight channels doesn't have to be in memory.
struct Mixer {
    channels: u16,
    seen: u16,
    sum: f32,
    frames: u64,
    block: Vec<f32>,
    ready: Vec<f32>,
    resampler: Resampler,
}

impl Mixer {
    const BLOCK: usize = 4_096;

    fn new(channels: u16, resampler: Resampler) -> Self {
        Self {
            channels,
            seen: 0,
            sum: 0.0,
            frames: 0,
            block: Vec::with_capacity(Self::BLOCK),
            ready: Vec::new(),
            resampler,
        }
    }

    fn push(&mut self, sample: f32, out: &mut Vec<i16>) {
        // A float file may hold infinities, which would spread through the filter.
        self.sum += if sample.is_finite() {
            sample.clamp(-1.0, 1.0)
        } else {
            0.0
        };
        self.seen += 1;
        if self.seen == self.channels {
            self.block.push(self.sum / f32::from(self.channels));
            (self.seen, self.sum) = (0, 0.0);
            self.frames += 1;
            if self.block.len() == Self::BLOCK {
                self.pass_on(out);
            }
        }
    }

    fn pass_on(&mut self, out: &mut Vec<i16>) {
        self.resampler.push(&self.block, &mut self.ready);
        self.block.clear();
        out.extend(self.ready.drain(..).map(to_i16));
    }

    fn finish(&mut self, out: &mut Vec<i16>) {
        self.pass_on(out);
        self.resampler.finish(&mut self.ready);
        out.extend(self.ready.drain(..).map(to_i16));
    }
}

/// The codec reports an early end of file as `Other`.
fn is_end_of_file(error: &std::io::Error) -> bool {
    matches!(error.kind(), ErrorKind::UnexpectedEof | ErrorKind::Other)
}

fn from_hound(error: hound::Error) -> WavError {
    match error {
        hound::Error::IoError(error) if is_end_of_file(&error) => {
            WavError::BadHeader("the file ends inside it")
        }
        hound::Error::IoError(source) => WavError::Unreadable {
            path: PathBuf::new(),
            source,
        },
        hound::Error::FormatError("no RIFF tag found" | "no WAVE tag found") => WavError::NotWav,
        hound::Error::FormatError(what) => WavError::BadHeader(what),
        hound::Error::TooWide
        | hound::Error::Unsupported
        | hound::Error::InvalidSampleFormat
        | hound::Error::UnfinishedSample => WavError::UnsupportedSamples,
    }
}

/// A program that writes WAV into a pipe doesn't know the length beforehand and
/// puts a huge one (or none) in the header. This puts the true length there.
fn mend_streamed_header(mut reader: impl Read, length: u64) -> Result<impl Read, WavError> {
    /// No header in use is longer; a recording's own notes can be long, though.
    const LONGEST_HEADER: u64 = 65_536;
    /// Programs differ in the exact figure: 0x7ffff000, 0x7fffffff, 0xffffffff.
    const ENDLESS: u32 = 0x7fff_0000;

    let mut head = Vec::new();
    reader
        .by_ref()
        .take(LONGEST_HEADER)
        .read_to_end(&mut head)
        .map_err(|source| WavError::Unreadable {
            path: PathBuf::new(),
            source,
        })?;
    if head.len() < 4 || !head.starts_with(b"RIFF") {
        return Err(WavError::NotWav);
    }
    let field = |at: usize, head: &[u8]| -> Option<u32> {
        Some(u32::from_le_bytes(head.get(at..at + 4)?.try_into().ok()?))
    };
    let mut at = 12;
    let mut frame = 1;
    while let Some(size) = field(at + 4, &head) {
        let body = at + 8;
        match head.get(at..at + 4) {
            Some(b"data") => {
                let rest = length.saturating_sub(body as u64);
                if size >= ENDLESS || (size == 0 && rest > 0) {
                    let true_size = u32::try_from(rest).unwrap_or(u32::MAX) / frame * frame;
                    head[at + 4..body].copy_from_slice(&true_size.to_le_bytes());
                }
                break;
            }
            Some(b"fmt ") => {
                let align = head.get(body + 12..body + 14);
                frame = align.map_or(1, |a| u32::from(u16::from_le_bytes([a[0], a[1]])).max(1));
            }
            _ => {}
        }
        // Chunks start at even places.
        at = body
            .saturating_add(size as usize)
            .saturating_add(size as usize % 2);
        if at > head.len() {
            break;
        }
    }
    Ok(Cursor::new(head).chain(reader))
}
