//! The home's file and its limits on this machine: replaced by the home's newest
//! versions, where those can be read. What can't be is said, and the old one kept.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::{HomeRecord, Setting, SyncError, Version};
use crate::residents::Home;
use crate::vitals::HomeLimits;

/// The files of a home on this machine, and what is known of the home's versions.
#[derive(Debug, Clone)]
pub struct Files {
    roster: PathBuf,
    limits: PathBuf,
    /// The versions that were looked at, and so need no second look.
    seen: [Option<i32>; 2],
}

impl Files {
    /// The home's file, and its limits beside it.
    #[must_use]
    pub fn beside(roster: &Path) -> Self {
        Self {
            roster: roster.to_owned(),
            limits: limits_of(roster),
            seen: [None; 2],
        }
    }

    /// Takes the home's newest versions. Returns what is to be said about it.
    ///
    /// # Errors
    /// [`SyncError`] when the home can't be asked.
    pub fn take(&mut self, home: &mut HomeRecord) -> Result<Vec<String>, SyncError> {
        let mut said = Vec::new();
        for (at, setting) in [(0, Setting::Roster), (1, Setting::Limits)] {
            let newest = home.version(setting)?;
            if newest.is_none() || newest == self.seen[at] {
                continue;
            }
            let Some(version) = home.setting(setting)? else {
                continue;
            };
            self.seen[at] = Some(version.version);
            said.extend(self.replace(setting, &version));
        }
        Ok(said)
    }

    fn replace(&self, setting: Setting, version: &Version) -> Option<String> {
        let path = match setting {
            Setting::Roster => &self.roster,
            Setting::Limits => &self.limits,
        };
        let what = format!(
            "the home's {} (version {}, by {})",
            setting.name(),
            version.version,
            version.by
        );
        let old = std::fs::read_to_string(path).ok();
        if old.as_deref() == Some(version.text.as_str()) {
            return None;
        }
        if let Err(problem) = self.check(setting, &version.text) {
            return Some(format!(
                "{what} can't be used, the one of before stays in force: {problem}"
            ));
        }
        let written = match &old {
            Some(old) => replace(&path.with_extension("before.toml"), old),
            None => Ok(()),
        };
        match written.and_then(|()| replace(path, &version.text)) {
            Ok(()) => Some(format!(
                "{what} is here, and in force from the next round on"
            )),
            Err(error) => Some(format!("{what} can't be written: {error}")),
        }
    }

    fn check(&self, setting: Setting, text: &str) -> Result<(), String> {
        let wrong = |error: &dyn std::fmt::Display| error.to_string();
        match setting {
            Setting::Roster => {
                let home = Home::from_toml(text).map_err(|it| wrong(&it))?;
                // Limits in force must still fit its units.
                match std::fs::read_to_string(&self.limits) {
                    Ok(limits) => HomeLimits::parse(&limits, home.units)
                        .map(drop)
                        .map_err(|it| format!("the limits don't fit it, {it}")),
                    Err(_) => Ok(()),
                }
            }
            Setting::Limits => {
                let roster = std::fs::read_to_string(&self.roster).map_err(|it| wrong(&it))?;
                let home = Home::from_toml(&roster).map_err(|it| wrong(&it))?;
                let limits = HomeLimits::parse(text, home.units);
                limits.map(drop).map_err(|it| wrong(&it))
            }
        }
    }
}

impl HomeRecord {
    fn version(&mut self, setting: Setting) -> Result<Option<i32>, SyncError> {
        const NEWEST: &str =
            "SELECT max(version) FROM sayback.setting WHERE home = $1 AND name = $2";
        self.twice(|client, link| {
            let row = client.query_one(NEWEST, &[&link.home, &setting.name()])?;
            Ok(row.get(0))
        })
    }
}

/// Where the limits in force for a home's file are: `home.toml` has them in
/// `home.limits.toml`.
#[must_use]
pub fn limits_of(home: &Path) -> PathBuf {
    home.with_extension("limits.toml")
}

/// Writes a file beside its old version and puts it in its place only when it
/// is whole and on the disk. It is open to whom the old one was; a new one, to
/// its owner only.
///
/// # Errors
/// What the system says; the old version is as it was.
pub fn replace(path: &Path, text: &str) -> std::io::Result<()> {
    let new = path.with_extension("new");
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(&new)?;
    if let Ok(old) = std::fs::metadata(path) {
        file.set_permissions(old.permissions())?;
    }
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    std::fs::rename(&new, path)
}
