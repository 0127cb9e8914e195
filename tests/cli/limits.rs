//! The home's limits, put in force by command.

use std::io::Write as _;

use super::*;

const GOOD: &str = "policy = \"Policy 4\"\non = \"2026-02-01\"\n";

/// Puts what comes through a pipe in force.
fn set(home: &Path, text: &str) -> Ran {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
    command.args(["limits", "set", "-", "--home"]).arg(home);
    command.stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut running = command.stderr(Stdio::piped()).spawn().unwrap();
    let mut pipe = running.stdin.take().unwrap();
    pipe.write_all(text.as_bytes()).unwrap();
    drop(pipe);
    ended(running.wait_with_output().unwrap())
}

#[test]
fn what_came_through_a_pipe_is_what_is_in_force() {
    let (folder, _) = script("");
    let home = folder.path().join("home.toml");
    let in_force = || std::fs::read_to_string(folder.path().join("home.limits.toml")).unwrap();
    set(&home, GOOD).succeeded();
    assert_eq!(in_force(), GOOD);
    let refused = set(&home, "policy = 4\n");
    assert_eq!(refused.code, 1);
    assert!(
        refused.err.contains("Nothing is changed"),
        "{}",
        refused.err
    );
    assert_eq!(in_force(), GOOD);
}
