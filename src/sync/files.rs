//! The home's file and its limits on this machine: replaced by the home's newest
//! versions, where those can be read. What can't be is said, and the old one kept.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::{HomeRecord, Setting, SyncError, Version};
use crate::grammar::Grammar;
use crate::residents::Home;
use crate::vitals::HomeLimits;

/// The files of a home on this machine, and what is known of the home's versions.
#[derive(Debug, Clone)]
pub struct Files {
    roster: PathBuf,
    limits: PathBuf,
    /// The versions that were looked at last, and so need no second look.
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
        let newest = [
            home.version(Setting::Roster)?,
            home.version(Setting::Limits)?,
        ];
        if newest == self.seen {
            return Ok(Vec::new());
        }
        // Both: one that did not fit before may fit what is new beside it.
        let roster = home.setting(Setting::Roster)?;
        let limits = home.setting(Setting::Limits)?;
        let (said, written) = self.put(roster.as_ref(), limits.as_ref());
        // What could not be written is tried again.
        if written {
            self.seen = [&roster, &limits].map(|it| it.as_ref().map(|it| it.version));
        }
        Ok(said)
    }

    /// Puts versions in the place of the files where they can be used, and says what
    /// came of it, and whether all that was to be written could be. Where both are
    /// new, they need only fit each other.
    #[must_use]
    pub fn put(&self, roster: Option<&Version>, limits: Option<&Version>) -> (Vec<String>, bool) {
        let text = |path: &Path| std::fs::read_to_string(path).ok();
        let new = |version: Option<&Version>, there: Option<&str>| {
            version.is_some_and(|it| Some(it.text.as_str()) != there)
        };
        let (mut homes, old_limits) = (text(&self.roster), text(&self.limits));
        let roster = roster.filter(|it| new(Some(it), homes.as_deref()));
        let limits = limits.filter(|it| new(Some(it), old_limits.as_deref()));
        if let (Some(roster), Some(limits)) = (roster, limits)
            && usable(&roster.text, Some(&limits.text)).is_ok()
        {
            return self.write(&[(Setting::Roster, roster), (Setting::Limits, limits)]);
        }
        let (mut said, mut written) = (Vec::new(), true);
        let mut one = |setting: Setting, version: &Version| {
            let (lines, done) = self.write(&[(setting, version)]);
            said.extend(lines);
            written &= done;
            done
        };
        let mut refused = Vec::new();
        if let Some(version) = roster {
            match usable(&version.text, old_limits.as_deref()) {
                Ok(_) if one(Setting::Roster, version) => homes = Some(version.text.clone()),
                Ok(_) => {}
                Err(problem) => refused.push(unused(Setting::Roster, version, &problem)),
            }
        }
        if let Some(version) = limits {
            match usable(homes.as_deref().unwrap_or_default(), Some(&version.text)) {
                Ok(_) => drop(one(Setting::Limits, version)),
                Err(problem) => refused.push(unused(Setting::Limits, version, &problem)),
            }
        }
        said.extend(refused);
        (said, written)
    }

    /// All of these or none: each is on the disk before any is put in its place.
    fn write(&self, versions: &[(Setting, &Version)]) -> (Vec<String>, bool) {
        let failed = |(setting, version): (Setting, &Version), error: std::io::Error| {
            let what = named(setting, version);
            (vec![format!("{what} can't be written: {error}")], false)
        };
        for one in versions {
            if let Err(error) = self.ready(one.0, one.1) {
                return failed(*one, error);
            }
        }
        for one in versions {
            if let Err(error) = put_in_place(self.path(one.0)) {
                return failed(*one, error);
            }
        }
        let line = |(setting, version): &(Setting, &Version)| {
            let what = named(*setting, version);
            format!("{what} is here, and in force from the next round on")
        };
        (versions.iter().map(line).collect(), true)
    }

    /// Writes the new one beside the old one, of which there is a copy then.
    fn ready(&self, setting: Setting, version: &Version) -> std::io::Result<()> {
        let path = self.path(setting);
        if let Ok(old) = std::fs::read_to_string(path) {
            replace(&path.with_extension("before.toml"), &old)?;
        }
        prepare(path, &version.text)
    }

    fn path(&self, setting: Setting) -> &Path {
        match setting {
            Setting::Roster => &self.roster,
            Setting::Limits => &self.limits,
        }
    }
}

fn named(setting: Setting, version: &Version) -> String {
    let (name, number, by) = (setting.name(), version.version, &version.by);
    format!("the home's {name} (version {number}, by {by})")
}

fn unused(setting: Setting, version: &Version, problem: &str) -> String {
    let what = named(setting, version);
    format!("{what} can't be used, the one of before stays in force: {problem}")
}

/// The home that a roster and limits say, where a round can be recorded with them.
///
/// # Errors
/// What is wrong with them.
pub fn usable(roster: &str, limits: Option<&str>) -> Result<Home, String> {
    let mut home = Home::from_toml(roster).map_err(|it| it.to_string())?;
    // Two nurses of one name can be read, and nobody could say which of them is meant.
    let words = Grammar::standard().for_home(&home);
    words.map_err(|error| format!("nobody could speak of it: {error}"))?;
    if let Some(limits) = limits {
        let read = HomeLimits::parse(limits, home.units);
        home.set_limits(&read.map_err(|it| format!("the limits don't fit it, {it}"))?);
    }
    Ok(home)
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
    prepare(path, text)?;
    put_in_place(path)
}

/// The first half of [`replace`].
fn prepare(path: &Path, text: &str) -> std::io::Result<()> {
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
    file.sync_all()
}

/// The second half.
fn put_in_place(path: &Path) -> std::io::Result<()> {
    std::fs::rename(path.with_extension("new"), path)
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROSTER: &str = include_str!("../../audio-fixtures/demo-home.toml");
    /// In whichever units the home has.
    const FAHRENHEIT: &str = "policy = \"4\"\non = \"2026-02-01\"\n[outside_range.temperature]\n\
        low = 97\nhigh = 99\n";
    const CELSIUS: &str = "policy = \"4\"\non = \"2026-02-01\"\n[outside_range.temperature]\n\
        low = 36\nhigh = 37.5\n";

    fn version(text: &str) -> Version {
        Version {
            version: 2,
            text: text.to_owned(),
            by: "Ines Marlow".to_owned(),
            at: chrono::DateTime::UNIX_EPOCH,
        }
    }

    fn files() -> (tempfile::TempDir, Files) {
        let folder = tempfile::tempdir().unwrap();
        let files = Files::beside(&folder.path().join("home.toml"));
        std::fs::write(&files.roster, ROSTER).unwrap();
        (folder, files)
    }

    /// Neither fits what was there before, and so each alone would be refused for
    /// ever.
    #[test]
    fn a_roster_and_limits_in_other_units_come_together() {
        let (_folder, files) = files();
        let text = |path: &Path| std::fs::read_to_string(path).unwrap();
        let (said, _) = files.put(None, Some(&version(FAHRENHEIT)));
        assert!(said[0].contains("in force"), "{said:?}");
        let metric = version(&ROSTER.replace("us_customary", "metric"));
        let (said, written) = files.put(Some(&metric), None);
        assert!(said[0].contains("the limits don't fit it"), "{said:?}");
        assert!(written, "there is nothing to try again");
        let (said, _) = files.put(None, Some(&version(CELSIUS)));
        assert!(said[0].contains("stays in force"), "{said:?}");
        assert_eq!(text(&files.roster), ROSTER);
        assert_eq!(text(&files.limits), FAHRENHEIT);
        let (said, written) = files.put(Some(&metric), Some(&version(CELSIUS)));
        assert_eq!((said.len(), written), (2, true), "{said:?}");
        assert_eq!(text(&files.roster), metric.text);
        assert_eq!(text(&files.limits), CELSIUS);
        assert_eq!(
            text(&files.limits.with_extension("before.toml")),
            FAHRENHEIT
        );
        assert_eq!(files.put(Some(&metric), None), (Vec::new(), true));
    }

    /// It can be read, and no round could begin with it.
    #[test]
    fn a_roster_that_nobody_could_speak_of_is_not_put_in_force() {
        let (_folder, files) = files();
        let twice = version(&ROSTER.replace("Peter Quist", "Ines Marlow"));
        assert_ne!(twice.text, ROSTER);
        assert!(Home::from_toml(&twice.text).is_ok());
        let (said, _) = files.put(Some(&twice), None);
        assert!(said[0].contains("stays in force"), "{said:?}");
        assert_eq!(std::fs::read_to_string(&files.roster).unwrap(), ROSTER);
    }

    #[test]
    fn what_could_not_be_written_is_to_be_tried_again() {
        let (folder, files) = files();
        let newer = version(&ROSTER.replace("Edith Hollin", "Edith Hollin-Marsh"));
        std::fs::create_dir(folder.path().join("home.before.new")).unwrap();
        let (said, written) = files.put(Some(&newer), None);
        assert!(said[0].contains("can't be written") && !written, "{said:?}");
        std::fs::remove_dir(folder.path().join("home.before.new")).unwrap();
        let (_, written) = files.put(Some(&newer), None);
        assert!(written);
        assert_eq!(std::fs::read_to_string(&files.roster).unwrap(), newer.text);
    }

    /// The one without the other would not do.
    #[test]
    fn where_one_of_two_cannot_be_written_neither_is() {
        let (folder, files) = files();
        let metric = version(&ROSTER.replace("us_customary", "metric"));
        std::fs::create_dir(folder.path().join("home.limits.new")).unwrap();
        let (said, written) = files.put(Some(&metric), Some(&version(CELSIUS)));
        assert!(said[0].contains("can't be written") && !written, "{said:?}");
        assert_eq!(std::fs::read_to_string(&files.roster).unwrap(), ROSTER);
        assert!(!files.limits.exists());
    }
}
