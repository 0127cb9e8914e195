//! The `sayback` command.

fn main() {}
