//! Staff as written in the home's file.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::Staff;
use super::file::{HomeFileError, wrong};

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StaffEntry {
    name: String,
    title: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    badge: Option<String>,
}

pub(super) fn members(entries: Vec<StaffEntry>) -> Vec<Staff> {
    let member = |StaffEntry { name, title, .. }| Staff { name, title };
    entries.into_iter().map(member).collect()
}

pub(super) fn entries(staff: &[Staff], badges: &BTreeMap<String, String>) -> Vec<StaffEntry> {
    let entry = |it: &Staff| StaffEntry {
        name: it.name.clone(),
        title: it.title.clone(),
        badge: badges.get(&it.name).cloned(),
    };
    staff.iter().map(entry).collect()
}

/// The badge numbers by name: digits, each number of one person only.
pub(super) fn badges<'a>(
    staff: impl Iterator<Item = &'a StaffEntry>,
) -> Result<BTreeMap<String, String>, HomeFileError> {
    let mut badges = BTreeMap::new();
    for StaffEntry { name, badge, .. } in staff {
        let Some(badge) = badge else { continue };
        let at = format!("staff, name {name:?}, badge");
        let digits = badge.bytes().all(|it| it.is_ascii_digit());
        if !digits || !(2..=8).contains(&badge.len()) {
            return Err(wrong(&at, "no badge number", "2 to 8 digits, as text"));
        }
        if badges.values().any(|it| it == badge) {
            return Err(wrong(&at, "used twice", "a number of its own"));
        }
        if badges.insert(name.clone(), badge.clone()).is_some() {
            let expected = "a full name of one's own, with a middle name or initial";
            return Err(wrong(&at, "two with a badge have this name", expected));
        }
    }
    Ok(badges)
}
