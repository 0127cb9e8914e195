//! What the program says of itself, and to arguments that are wrong.

use super::sayback;

#[test]
fn wrong_arguments_are_exit_code_2() {
    for arguments in [
        &[][..],
        &["sing"],
        &["hear"],
        &["hear", "a.wav", "--loud"],
        &["hear", "a.wav", "--expect", "song"],
        &["understand"],
        &["understand", "yes", "--pending", "mood"],
        &["understand", "yes", "--metric", "--home", "home.toml"],
        &["rehearse"],
        &["rehearse", "a.script", "--speed", "9000"],
        &["rehearse", "a.script", "--voice", "tenor"],
        &["listen"],
        &["record", "extra"],
        &["export"],
        &["roster"],
        &["limits", "set"],
    ] {
        let ran = sayback(arguments);
        assert_eq!(ran.code, 2, "{arguments:?}: {}", ran.err);
        let helps = ["Usage: sayback", "try '--help'"];
        assert!(helps.iter().any(|it| ran.err.contains(it)), "{}", ran.err);
        assert_eq!(ran.out, "", "{arguments:?}");
    }
}

/// The commands that a help text lists.
fn listed(help: &str) -> Vec<String> {
    let lines = help.lines().skip_while(|it| *it != "Commands:").skip(1);
    let names = lines.take_while(|it| !it.is_empty());
    // A command's line is indented by two; what a long one goes on with, more.
    let names = names.filter(|it| it.starts_with("  ") && !it.starts_with("   "));
    let names = names.filter_map(|it| it.split_whitespace().next());
    names
        .filter(|it| *it != "help")
        .map(str::to_owned)
        .collect()
}

#[test]
fn every_command_has_a_help_that_explains_it() {
    let main = sayback(["--help"]).succeeded().out;
    for part in ["Exit codes:", "SAYBACK_MODEL", "does not diagnose"] {
        assert!(main.contains(part), "no {part} in {main}");
    }
    let mut left: Vec<Vec<String>> = listed(&main).into_iter().map(|it| vec![it]).collect();
    let mut seen = Vec::new();
    while let Some(path) = left.pop() {
        let mut arguments = path.clone();
        arguments.push("--help".to_owned());
        let help = sayback(&arguments).succeeded().out;
        let usage = format!("Usage: sayback {}", path.join(" "));
        assert!(help.contains(&usage), "no {usage:?} in {help}");
        let about = help.lines().next().unwrap();
        assert!(about.len() > 20, "{path:?} is about {about:?}");
        // No argument without an explanation: a line of its own, or beside it.
        for line in help.lines().map(str::trim) {
            let alone = line.starts_with("--") && !line.contains("  ");
            let next = help.lines().skip_while(|it| it.trim() != line).nth(1);
            assert!(
                !alone || next.is_some_and(|it| it.trim().len() > 5),
                "{path:?} does not explain {line}"
            );
        }
        for below in listed(&help) {
            left.push([path.clone(), vec![below]].concat());
        }
        seen.push(path.join(" "));
    }
    for name in [
        "hear",
        "understand",
        "rehearse",
        "listen",
        "record",
        "limits set",
    ] {
        assert!(seen.iter().any(|it| it == name), "no {name} in {seen:?}");
    }
    let version = sayback(["--version"]).succeeded().out;
    assert_eq!(
        version.trim(),
        concat!("sayback ", env!("CARGO_PKG_VERSION"))
    );
}
