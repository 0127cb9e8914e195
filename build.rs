//! Tells the linker where the recogniser library is, and the loader where to
//! look for it later: beside the binary, in a `lib` folder beside it, or in the
//! checkout's own `assets` (put there by `make setup`).

use std::path::PathBuf;

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
    for place in ["$ORIGIN", "$ORIGIN/lib", &library.display().to_string()] {
        println!("cargo:rustc-link-arg=-Wl,-rpath,{place}");
    }
}
