//! The key that the page's address brings: new at every start, unless it is kept in a
//! file, for a tablet that opens the same address every day.

use std::path::Path;

use crate::review::accounts::random_token;
use crate::store::{Put, open_to_others, put_private};

/// The digits of a key.
const DIGITS: usize = 64;

/// The key in a file; where there is none, a new one is put there.
///
/// # Errors
/// What is wrong with the file, in words.
pub fn key_in(file: &Path) -> Result<String, String> {
    let failed = |problem: String| format!("the screen's key {}: {problem}", file.display());
    let wrong = |error: std::io::Error| failed(error.to_string());
    if !file.exists() {
        let key = random_token().map_err(|it| it.to_string())?;
        match put_private(file, &format!("{key}\n"), Put::OnlyIfNew) {
            // Whoever made one meanwhile goes first.
            Err(_) if file.exists() => {}
            put => put.map_err(wrong)?,
        }
    }
    if open_to_others(file).map_err(wrong)? {
        let why = "it can be read by others on this machine; change that with chmod 600";
        return Err(failed(why.to_owned()));
    }
    let key = std::fs::read_to_string(file).map_err(wrong)?;
    let key = key.trim();
    if key.len() != DIGITS || !key.bytes().all(|it| it.is_ascii_hexdigit()) {
        let why = "it holds something else; delete it, and a new one is made";
        return Err(failed(why.to_owned()));
    }
    Ok(key.to_owned())
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt as _;

    use super::*;

    #[test]
    fn it_is_made_once_and_is_its_owners_alone() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("screen.key");
        let key = key_in(&file).unwrap();
        assert_eq!(key.len(), DIGITS);
        assert_eq!(key_in(&file).unwrap(), key);
        let mode = |it| {
            let mode = std::fs::Permissions::from_mode(it);
            std::fs::set_permissions(&file, mode).unwrap();
        };
        mode(0o644);
        let refused = key_in(&file).unwrap_err();
        assert!(refused.contains("chmod 600"), "{refused}");
        mode(0o600);
        std::fs::write(&file, "password\n").unwrap();
        let refused = key_in(&file).unwrap_err();
        assert!(refused.contains("holds something else"), "{refused}");
        let nowhere = key_in(&folder.path().join("no/screen.key")).unwrap_err();
        assert!(nowhere.contains("No such file"), "{nowhere}");
    }
}
