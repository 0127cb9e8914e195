//! What somebody finds who looks at the disk: in the files as they are, and, with
//! the key, in every page of them, free ones included.
//!
//! The pages are decrypted by OpenSSL's own program and not by what wrote them.
//! Their form is that of <https://www.zetetic.net/sqlcipher/design/>: AES-256 in
//! CBC mode, and each page ends with 80 bytes of which the first 16 are its IV. (The
//! first page begins with a salt, so that its first two blocks come out as noise.)

use std::collections::BTreeSet;
use std::fs::File;
use std::io::{Read as _, Seek as _, SeekFrom, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};

use sayback::hearing::Sound;
use sayback::store::sound_beside;

use super::talk::Place;

const PAGE: usize = 4_096;
const RESERVED: usize = 80;
const BLOCK: usize = 16;
/// So many bytes are not the same by chance, and lie within one page most times.
const NEEDLE: usize = 48;

/// Pieces of a sound, from all over it.
fn needles(sound: &Sound) -> Vec<Vec<u8>> {
    let bytes = sound.samples().iter().flat_map(|it| it.to_le_bytes());
    let bytes: Vec<u8> = bytes.collect();
    // Silence is like any other, and in any file.
    let loud = |it: &&[u8]| it.iter().collect::<BTreeSet<_>>().len() > NEEDLE / 2;
    let pieces = bytes.chunks_exact(NEEDLE).filter(loud).step_by(3);
    pieces.map(<[u8]>::to_vec).collect()
}

fn is_in(bytes: &[u8], sound: &Sound) -> bool {
    let needles = needles(sound);
    assert!(needles.len() > 40);
    // By the first two bytes of each: there are many.
    let mut begin = vec![false; 1 << 16];
    let key = |it: &[u8]| usize::from(u16::from_le_bytes([it[0], it[1]]));
    for needle in &needles {
        begin[key(needle)] = true;
    }
    bytes
        .windows(NEEDLE)
        .any(|it| begin[key(it)] && needles.iter().any(|needle| needle == it))
}

/// Whether any of a sound is in any file under a folder.
pub fn is_in_a_file(folder: &Path, sound: &Sound) -> bool {
    std::fs::read_dir(folder).unwrap().any(|entry| {
        let path = entry.unwrap().path();
        if path.is_dir() {
            is_in_a_file(&path, sound)
        } else {
            is_in(&std::fs::read(path).unwrap(), sound)
        }
    })
}

/// Whether any of a sound is in any page of the file of kept sound, or in a log
/// or journal beside it, once they are decrypted.
pub fn is_in_the_pages(place: &Place, sound: &Sound) -> bool {
    let file = sound_beside(&place.record());
    for ending in ["-journal", "-wal"] {
        let beside = format!("{}{ending}", file.display());
        assert!(!Path::new(&beside).exists(), "{beside} is left");
    }
    is_in_the_pages_of(place, &File::open(file).unwrap(), sound)
}

/// The same of an open file, which may have no name any more.
pub fn is_in_the_pages_of(place: &Place, mut file: &File, sound: &Sound) -> bool {
    let text = std::fs::read_to_string(place.key_file()).unwrap();
    let key = text.lines().find(|it| !it.starts_with('#')).unwrap();
    let mut bytes = Vec::new();
    file.seek(SeekFrom::Start(0)).unwrap();
    file.read_to_end(&mut bytes).unwrap();
    assert_eq!(bytes.len() % PAGE, 0);
    let contents = bytes.chunks_exact(PAGE).map(|it| &it[..PAGE - RESERVED]);
    let blocks = without_chaining(&contents.collect::<Vec<_>>().concat(), key);
    let plain = blocks
        .chunks_exact(PAGE - RESERVED)
        .zip(bytes.chunks_exact(PAGE));
    plain.into_iter().any(|(blocks, page)| {
        // CBC: each block was mixed with the one before, the first with the IV.
        let (content, reserved) = page.split_at(PAGE - RESERVED);
        let before = reserved[..BLOCK].iter().chain(content);
        let plain: Vec<u8> = blocks.iter().zip(before).map(|(a, b)| a ^ b).collect();
        is_in(&plain, sound)
    })
}

/// Decrypts each block by itself.
fn without_chaining(bytes: &[u8], key: &str) -> Vec<u8> {
    let mut input = tempfile::tempfile().unwrap();
    input.write_all(bytes).unwrap();
    input.seek(SeekFrom::Start(0)).unwrap();
    let output = Command::new("openssl")
        .args(["enc", "-d", "-aes-256-ecb", "-nopad", "-K", key])
        .stdin(Stdio::from(input))
        .output()
        .unwrap_or_else(|error| panic!("openssl: {error}; run setup/setup.sh --test"));
    assert!(output.status.success(), "{output:?}");
    output.stdout
}
