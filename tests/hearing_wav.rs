//! WAV files of every common form are read, and damaged ones are explained.

mod sound;

use std::io::Cursor;

use hound::{SampleFormat, WavSpec, WavWriter};
use proptest::prelude::*;
use sayback::hearing::{RATE, WavError, read_wav, read_wav_bytes, write_wav};
use sound::{amplitude_at, rms};

const HERTZ: f64 = 700.0;

/// A second of a half-scale sine in every channel.
fn sine(spec: WavSpec) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = WavWriter::new(&mut bytes, spec).unwrap();
    for i in 0..spec.sample_rate {
        let time = f64::from(i) / f64::from(spec.sample_rate);
        let value = 0.5 * (std::f64::consts::TAU * HERTZ * time).sin();
        for _ in 0..spec.channels {
            #[allow(clippy::cast_possible_truncation)]
            match spec.sample_format {
                SampleFormat::Float => writer.write_sample(value as f32).unwrap(),
                SampleFormat::Int => {
                    let full = 2.0_f64.powi(i32::from(spec.bits_per_sample) - 1);
                    writer.write_sample((value * full) as i32).unwrap();
                }
            }
        }
    }
    writer.finalize().unwrap();
    bytes.into_inner()
}

fn spec(sample_rate: u32, bits_per_sample: u16, channels: u16) -> WavSpec {
    WavSpec {
        channels,
        sample_rate,
        bits_per_sample,
        sample_format: SampleFormat::Int,
    }
}

fn float(sample_rate: u32, channels: u16) -> WavSpec {
    WavSpec {
        channels,
        sample_rate,
        bits_per_sample: 32,
        sample_format: SampleFormat::Float,
    }
}

#[test]
fn every_rate_width_and_channel_count_keeps_pitch_and_level() {
    for rate in [
        8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 96_000,
    ] {
        for channels in [1, 2, 6, 8] {
            for spec in [
                spec(rate, 8, channels),
                spec(rate, 16, channels),
                spec(rate, 24, channels),
                spec(rate, 32, channels),
                float(rate, channels),
            ] {
                let samples =
                    read_wav_bytes(&sine(spec)).unwrap_or_else(|e| panic!("{spec:?}: {e}"));
                assert!(samples.len().abs_diff(RATE as usize) <= 1, "{spec:?}");
                let middle = &samples[1_600..14_400];
                let pitch = amplitude_at(middle, RATE, HERTZ);
                assert!((pitch - 0.5).abs() < 0.02, "{spec:?}: {pitch}");
                let level = rms(middle);
                assert!(
                    (level - 0.5 / 2.0_f64.sqrt()).abs() < 0.01,
                    "{spec:?}: {level}"
                );
            }
        }
    }
}

#[test]
fn channels_are_averaged_so_that_opposite_ones_cancel() {
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = WavWriter::new(&mut bytes, spec(RATE, 16, 2)).unwrap();
    for i in 0..RATE {
        let value = if i % 20 < 10 { 20_000_i16 } else { -20_000 };
        writer.write_sample(value).unwrap();
        writer.write_sample(-value).unwrap();
    }
    writer.finalize().unwrap();
    assert!(
        read_wav_bytes(&bytes.into_inner())
            .unwrap()
            .iter()
            .all(|s| *s == 0)
    );
}

#[test]
fn what_is_written_is_read_back_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let samples: Vec<i16> = (-3_000..3_000).map(|i| i * 10).collect();
    write_wav(&path, RATE, &samples).unwrap();
    assert_eq!(read_wav(&path).unwrap(), samples);
}

#[test]
fn damaged_files_are_explained() {
    let whole = sine(spec(RATE, 16, 1));
    let error = |bytes: &[u8]| read_wav_bytes(bytes).unwrap_err();

    assert!(matches!(error(b""), WavError::NotWav));
    assert!(matches!(error(b"ID3\x04 surely an MP3"), WavError::NotWav));
    assert!(matches!(error(b"RIFF\0\0\0\0AVI LIST"), WavError::NotWav));
    assert!(matches!(error(&whole[..30]), WavError::BadHeader(_)));

    let WavError::Truncated { promised, found } = error(&whole[..whole.len() / 2]) else {
        panic!("half a file must be noticed");
    };
    assert!(
        (promised - 1.0).abs() < 0.01 && (found - 0.5).abs() < 0.01,
        "{promised} {found}"
    );

    let mut none = Cursor::new(Vec::new());
    WavWriter::new(&mut none, spec(RATE, 16, 1))
        .unwrap()
        .finalize()
        .unwrap();
    assert!(matches!(error(&none.into_inner()), WavError::Empty));

    let mut odd_rate = whole.clone();
    odd_rate[24..28].copy_from_slice(&1_u32.to_le_bytes());
    odd_rate[28..32].copy_from_slice(&2_u32.to_le_bytes());
    assert!(matches!(
        error(&odd_rate),
        WavError::UnsupportedShape {
            rate: 1,
            channels: 1
        }
    ));
    assert!(matches!(
        error(&sine(WavSpec {
            channels: 9,
            ..spec(8_000, 16, 1)
        })),
        WavError::UnsupportedShape { channels: 9, .. }
    ));

    // Two hours promised, whether or not they are there.
    let mut long = sine(spec(8_000, 8, 1));
    long[40..44].copy_from_slice(&(2 * 3_600 * 8_000_u32).to_le_bytes());
    assert!(matches!(error(&long), WavError::TooLong(_)));

    let mut compressed = whole;
    compressed[20] = 2;
    assert!(matches!(error(&compressed), WavError::UnsupportedSamples));

    let missing = read_wav("no/such/file.wav".as_ref())
        .unwrap_err()
        .to_string();
    assert!(missing.contains("no/such/file.wav"), "{missing}");
}

#[test]
fn a_header_written_before_the_length_was_known_is_mended() {
    let whole = sine(spec(22_050, 16, 2));
    let want = read_wav_bytes(&whole).unwrap();
    for size in [0, 0x7fff_f000_u32, u32::MAX] {
        let mut streamed = whole.clone();
        streamed[4..8].copy_from_slice(&size.to_le_bytes());
        let at = streamed.windows(4).position(|w| w == b"data").unwrap() + 4;
        streamed[at..at + 4].copy_from_slice(&size.to_le_bytes());
        assert_eq!(read_wav_bytes(&streamed).unwrap(), want, "{size:#x}");
        // A stream that broke off in the middle of a frame loses that frame only.
        streamed.pop();
        assert!(read_wav_bytes(&streamed).unwrap().len() >= want.len() - 2);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn garbage_never_panics(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let _ = read_wav_bytes(&bytes);
    }

    #[test]
    fn a_damaged_header_never_panics(
        wide in any::<bool>(),
        damage in proptest::collection::vec((0_usize..72, any::<u8>()), 1..6),
        length in 0_usize..4_000,
    ) {
        let mut bytes = sine(if wide { spec(8_000, 24, 2) } else { spec(8_000, 16, 1) });
        bytes.truncate(length);
        for (at, value) in damage {
            if let Some(byte) = bytes.get_mut(at) {
                *byte = value;
            }
        }
        let _ = read_wav_bytes(&bytes);
    }
}
