//! The `sayback` command.

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    sayback::hearing::with_best_kernels();
    cli::run()
}
