//! Tells the linker where the recogniser library is, and the loader where to
//! look for it later: beside the binary, in a `lib` folder beside it, or in the
//! checkout's own `assets` (put there by `make setup`). A release looks beside the
//! binary only, and has the ciphers of OpenSSL linked in.

use std::path::{Path, PathBuf};
use std::process::Command;

fn main() {
    let root = PathBuf::from(std::env::var_os("CARGO_MANIFEST_DIR").expect("cargo sets it"));
    let library = std::env::var_os("SAYBACK_VOSK_DIR")
        .map_or_else(|| root.join("assets").join("vosk"), PathBuf::from);
    println!("cargo:rerun-if-env-changed=SAYBACK_VOSK_DIR");
    println!(
        "cargo:rerun-if-changed={}",
        library.join("libvosk.so").display()
    );
    if !library.join("libvosk.so").exists() {
        println!(
            "cargo:warning=no libvosk.so in {}: run `make setup`",
            library.display()
        );
    }
    println!("cargo:rustc-link-search=native={}", library.display());
    println!("cargo:rerun-if-env-changed=SAYBACK_RELEASE");
    let mut places = vec!["$ORIGIN".to_owned(), "$ORIGIN/lib".to_owned()];
    if std::env::var_os("SAYBACK_RELEASE").is_some() {
        link_crypto_in();
    } else {
        places.push(library.display().to_string());
    }
    for place in places {
        println!("cargo:rustc-link-arg=-Wl,-rpath,{place}");
    }
}

/// Has the linker find OpenSSL's library as an archive before it finds the shared
/// one: the folder it is told of holds the archive alone.
fn link_crypto_in() {
    let file = "libcrypto.a";
    let mut ask = Command::new("cc");
    let found = ask.arg(format!("-print-file-name={file}")).output();
    let found = found.expect("cc tells where a library is");
    let found = String::from_utf8(found.stdout).expect("a path");
    let archive = Path::new(found.trim());
    assert!(archive.is_absolute(), "no {file}: install libssl-dev");
    let folder = PathBuf::from(std::env::var_os("OUT_DIR").expect("cargo sets it")).join("static");
    std::fs::create_dir_all(&folder).expect("a folder");
    std::fs::copy(archive, folder.join(file)).expect("copied");
    println!("cargo:rustc-link-search=native={}", folder.display());
}
