//! The recogniser's settings, without touching the model's files.
//!
//! The library reads its settings from the model's own folder. That folder may
//! be shared, read-only, or checked against a checksum, so a folder of links
//! with two changed files, an adapted network, and a language of our own, stands in
//! for it while the model is loaded.

use std::fs::{self, File};
use std::io::{self, Write as _};
use std::os::fd::AsRawFd;
use std::path::{Path, PathBuf};

use rustix::fs::{MemfdFlags, memfd_create};
use uuid::Uuid;

use super::adapted::adapt;

/// Keeps more of the transcripts that were nearly chosen. Of 81 wrong readings
/// made of people's spoken digits, the truth was among the alternatives of 46,
/// against 23 with the model's own 2.0, for one millisecond more.
const LATTICE_BEAM: &str = "--lattice-beam=6.0";
/// No random noise in the features: the same sound gives the same words. The
/// noise is needed, though, and is added by [`Dither`].
const NO_DITHER: &str = "--dither=0.0";
/// The file of the model's language, in its folder `graph`.
const LANGUAGE: &str = "Gr.fst";

/// The file of the model's network, in its folder `am`.
const NETWORK: &str = "final.mdl";

/// A folder that looks like the model with our settings. It is removed when this
/// is dropped; the library has read everything by then.
pub(super) struct Tuned {
    folder: PathBuf,
    /// What is in memory only, where the links lead: a language has the names of
    /// residents in it, and is on no disk.
    in_memory: Vec<File>,
}

impl Tuned {
    /// # Errors
    /// When the stand-in cannot be made, such as for want of a place for
    /// temporary files. The model works without it.
    pub(super) fn new(model: &Path, language: Option<&[u8]>) -> io::Result<Self> {
        let model = fs::canonicalize(model)?;
        let folder = std::env::temp_dir().join(format!("sayback-{}", Uuid::new_v4()));
        fs::create_dir(&folder)?;
        let mut tuned = Self {
            folder,
            in_memory: Vec::new(),
        };
        link_all(&model, &tuned.folder, "conf")?;
        if let Some(language) = language {
            tuned.replace(&model, "graph", LANGUAGE, language)?;
        }
        let mut network = fs::read(model.join("am").join(NETWORK))?;
        if adapt(&mut network) {
            tuned.replace(&model, "am", NETWORK, &network)?;
        } else {
            tracing::info!("{}: another model, taken as it is", model.display());
        }
        let conf = tuned.folder.join("conf");
        fs::create_dir(&conf)?;
        for (file, setting) in [("model.conf", LATTICE_BEAM), ("mfcc.conf", NO_DITHER)] {
            let text = fs::read_to_string(model.join("conf").join(file))?;
            fs::write(conf.join(file), with_setting(&text, setting))?;
        }
        Ok(tuned)
    }

    pub(super) fn folder(&self) -> &Path {
        &self.folder
    }

    /// Puts a file in memory in the place of one of the model's.
    fn replace(&mut self, model: &Path, part: &str, file: &str, bytes: &[u8]) -> io::Result<()> {
        let folder = self.folder.join(part);
        fs::remove_file(&folder)?;
        fs::create_dir(&folder)?;
        link_all(&model.join(part), &folder, file)?;
        let memory = in_memory(file, bytes)?;
        let name = format!("/proc/self/fd/{}", memory.as_raw_fd());
        link(Path::new(&name), &folder.join(file))?;
        self.in_memory.push(memory);
        Ok(())
    }
}

impl Drop for Tuned {
    fn drop(&mut self) {
        // Links are removed, never what they point to.
        if let Err(error) = fs::remove_dir_all(&self.folder) {
            tracing::debug!("{}: {error}", self.folder.display());
        }
    }
}

/// Links to all that is in a folder, but for one name.
fn link_all(from: &Path, to: &Path, except: &str) -> io::Result<()> {
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        if entry.file_name() != except {
            link(&entry.path(), &to.join(entry.file_name()))?;
        }
    }
    Ok(())
}

fn in_memory(name: &str, bytes: &[u8]) -> io::Result<File> {
    let mut file = File::from(memfd_create(name, MemfdFlags::CLOEXEC)?);
    file.write_all(bytes)?;
    Ok(file)
}

#[cfg(unix)]
fn link(from: &Path, to: &Path) -> io::Result<()> {
    std::os::unix::fs::symlink(from, to)
}

#[cfg(not(unix))]
fn link(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

/// The settings file with one setting replaced or added.
fn with_setting(text: &str, setting: &str) -> String {
    let name = setting.split_inclusive('=').next().unwrap_or(setting);
    let mut lines: Vec<&str> = text
        .lines()
        .filter(|line| !line.trim_start().starts_with(name))
        .collect();
    lines.push(setting);
    lines.join("\n") + "\n"
}

/// Faint noise (-76 dBFS), so that perfect silence, which no microphone gives,
/// doesn't reach the recogniser: it was never trained on it. Of 300 readings made
/// of people's spoken digits with such silence between, 209 were right with this
/// noise, 197 with the library's own (one step, -90 dBFS), and 138 with none.
#[derive(Debug, Clone)]
pub(super) struct Dither {
    state: u32,
    samples: Vec<i16>,
}

impl Default for Dither {
    fn default() -> Self {
        // Any start but zero; always the same, so that results can be repeated.
        Self {
            state: 0x9e37_79b9,
            samples: Vec::new(),
        }
    }
}

impl Dither {
    /// The samples with noise added, valid until the next call.
    pub(super) fn add(&mut self, samples: &[i16]) -> &[i16] {
        self.samples.clear();
        for sample in samples {
            // Xorshift: quick, and random enough for noise.
            self.state ^= self.state << 13;
            self.state ^= self.state >> 17;
            self.state ^= self.state << 5;
            #[allow(clippy::cast_possible_truncation, reason = "0 to 16")]
            let noise = ((self.state >> 16) % 17) as i16 - 8;
            self.samples.push(sample.saturating_add(noise));
        }
        &self.samples
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_setting_is_replaced_or_added() {
        let text = "--beam=10.0\n  --lattice-beam=2.0\n--x=1";
        assert_eq!(
            with_setting(text, "--lattice-beam=6.0"),
            "--beam=10.0\n--x=1\n--lattice-beam=6.0\n"
        );
        assert_eq!(with_setting("", "--dither=0.0"), "--dither=0.0\n");
    }

    #[test]
    #[cfg(unix)]
    fn the_stand_in_is_removed_and_the_model_is_not() {
        let model = tempfile::tempdir().unwrap();
        for part in ["am", "conf", "graph"] {
            fs::create_dir(model.path().join(part)).unwrap();
        }
        for file in [
            "am/final.mdl",
            "conf/model.conf",
            "conf/mfcc.conf",
            "graph/g",
        ] {
            fs::write(model.path().join(file), "--lattice-beam=2.0\n").unwrap();
        }
        let tuned = Tuned::new(model.path(), None).unwrap();
        let folder = tuned.folder().to_owned();
        assert!(folder.join("graph/g").exists());
        let conf = fs::read_to_string(folder.join("conf/model.conf")).unwrap();
        assert_eq!(conf, "--lattice-beam=6.0\n");
        drop(tuned);
        assert!(!folder.exists());
        assert_eq!(
            fs::read_to_string(model.path().join("conf/model.conf")).unwrap(),
            "--lattice-beam=2.0\n"
        );
        assert!(model.path().join("graph/g").exists());
    }

    #[test]
    #[cfg(target_os = "linux")]
    fn a_language_stands_in_for_the_models_own() {
        let model = tempfile::tempdir().unwrap();
        for part in ["am", "conf", "graph"] {
            fs::create_dir(model.path().join(part)).unwrap();
        }
        for file in [
            "am/final.mdl",
            "conf/model.conf",
            "conf/mfcc.conf",
            "graph/Gr.fst",
            "graph/x",
        ] {
            fs::write(model.path().join(file), "its own").unwrap();
        }
        let tuned = Tuned::new(model.path(), Some(b"ours")).unwrap();
        let graph = tuned.folder().join("graph");
        assert_eq!(fs::read(graph.join("Gr.fst")).unwrap(), b"ours");
        assert_eq!(fs::read(graph.join("x")).unwrap(), b"its own");
        // On no disk: a link, and to no file that has a name.
        let name = fs::read_link(graph.join("Gr.fst")).unwrap();
        assert!(name.starts_with("/proc/self/fd"), "{}", name.display());
        drop(tuned);
        assert_eq!(
            fs::read(model.path().join("graph/Gr.fst")).unwrap(),
            b"its own"
        );
    }

    #[test]
    fn noise_is_small_centred_and_repeatable() {
        let noise = Dither::default().add(&vec![0; 10_000]).to_vec();
        assert_eq!(noise, Dither::default().add(&vec![0; 10_000]));
        assert!(noise.iter().all(|n| (-8..=8).contains(n)));
        let sum: i32 = noise.iter().map(|n| i32::from(*n)).sum();
        let power: i32 = noise.iter().map(|n| i32::from(*n).pow(2)).sum();
        assert!(
            sum.abs() < 2_000 && (225_000..255_000).contains(&power),
            "{sum} {power}"
        );
        assert!(*Dither::default().add(&[i16::MAX; 9]).iter().max().unwrap() == i16::MAX);
    }
}
