//! Which routines the recogniser's library multiplies matrices with.
//!
//! The library has `OpenBLAS` within, which looks the processor's model up in a list of its
//! own year. One that was made since gets the routines of 2004, and decoding then
//! takes one and a half times as long (docs/figures.md). What the processor can do is asked here
//! instead, and `OpenBLAS` is told.

use std::os::unix::process::CommandExt;
use std::process::Command;

/// What `OpenBLAS` is told by, once, before `main`.
const VARIABLE: &str = "OPENBLAS_CORETYPE";

/// Starts the program that is running anew, in its own process, with the routines that
/// this processor can do best; or returns, where that has been done, where someone else has
/// chosen, or where nothing better is known. To be called before anything is done, and only
/// by what decodes: the library chose as it was loaded, before `main`.
pub fn with_best_kernels() {
    if std::env::var_os(VARIABLE).is_some() {
        return;
    }
    let Some(kernels) = best() else { return };
    let Ok(program) = std::env::current_exe() else {
        return;
    };
    let mut arguments = std::env::args_os();
    let mut again = Command::new(program);
    if let Some(name) = arguments.next() {
        again.arg0(name);
    }
    // Only a failure returns, and then all works as well, more slowly.
    let _ = again.args(arguments).env(VARIABLE, kernels).exec();
}

/// The best of `OpenBLAS`'s routines whose instructions this processor has, by the sets that
/// they are compiled for (`OpenBLAS`, `Makefile.x86_64`; from memory).
fn best() -> Option<&'static str> {
    let skylake = is_x86_feature_detected!("avx512f")
        && is_x86_feature_detected!("avx512cd")
        && is_x86_feature_detected!("avx512bw")
        && is_x86_feature_detected!("avx512dq")
        && is_x86_feature_detected!("avx512vl");
    let haswell = is_x86_feature_detected!("avx2") && is_x86_feature_detected!("fma");
    if skylake {
        Some("SkylakeX")
    } else {
        haswell.then_some("Haswell")
    }
}
