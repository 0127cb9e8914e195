//! The program as an installer uses it.

use std::path::Path;
use std::process::{Command, Output};

use sayback::store::Store;

use super::*;

struct Ran {
    code: i32,
    all: String,
}

fn sayback(folder: &Path, arguments: &[&str]) -> Ran {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
    ended(
        command
            .args(arguments)
            .current_dir(folder)
            .output()
            .unwrap(),
    )
}

fn ended(output: Output) -> Ran {
    let text = |it: Vec<u8>| String::from_utf8(it).unwrap();
    let all = text(output.stdout) + &text(output.stderr);
    Ran {
        code: output.status.code().unwrap(),
        all,
    }
}

fn done(folder: &Path, arguments: &[&str], says: &[&str]) -> String {
    let ran = sayback(folder, arguments);
    assert_eq!(ran.code, 0, "{arguments:?}: {}", ran.all);
    for it in says {
        assert!(
            ran.all.contains(it),
            "{arguments:?} does not say \"{it}\": {}",
            ran.all
        );
    }
    ran.all
}

fn fails(folder: &Path, arguments: &[&str], says: &str) {
    let ran = sayback(folder, arguments);
    assert_eq!(ran.code, 1, "{arguments:?}: {}", ran.all);
    assert!(
        ran.all.contains(says),
        "{arguments:?} does not say \"{says}\": {}",
        ran.all
    );
}

/// A database begun by the program, and the folder with what that made.
fn begun(server: &Server, database: &str) -> tempfile::TempDir {
    let temporary = tempfile::tempdir().unwrap();
    let folder = temporary.path();
    std::fs::write(folder.join("ca.pem"), &server.ca).unwrap();
    let pass = folder.join("pass");
    let superuser = postgres_server::SUPERUSER;
    let password = postgres_server::SUPERUSER_PASSWORD;
    std::fs::write(
        &pass,
        format!("localhost:{}:*:{superuser}:{password}\n", server.port),
    )
    .unwrap();
    let init = |mode: u32, out: &str| {
        use std::os::unix::fs::PermissionsExt as _;
        std::fs::set_permissions(&pass, std::fs::Permissions::from_mode(mode)).unwrap();
        let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
        let words = [
            "home",
            "init",
            "--id",
            "alder",
            "--name",
            "Alder Ridge House",
            "--ca",
            "ca.pem",
            "--out",
            out,
        ];
        command.args(words).current_dir(folder);
        command
            .env("PGHOST", "localhost")
            .env("PGPORT", server.port.to_string())
            .env("PGDATABASE", database)
            .env("PGUSER", superuser)
            .env("PGPASSFILE", &pass);
        let _one = postgres_server::one_at_a_time();
        ended(command.output().unwrap())
    };
    let open_to_others = init(0o644, "keeper.toml");
    assert_eq!(open_to_others.code, 1);
    assert!(
        open_to_others.all.contains("chmod 600"),
        "{}",
        open_to_others.all
    );
    // No keeper is enrolled whose file could not be written: it would be lost.
    let nowhere = init(0o600, "nowhere/keeper.toml");
    assert_eq!(nowhere.code, 1);
    assert!(nowhere.all.contains("can't be written"), "{}", nowhere.all);
    let begun = init(0o600, "keeper.toml");
    assert_eq!(begun.code, 0, "{}", begun.all);
    assert!(
        begun.all.contains("is begun") && !begun.all.contains("WARNING"),
        "{}",
        begun.all
    );
    let again = init(0o600, "keeper.toml");
    assert!(
        again.code == 1 && again.all.contains("is there already"),
        "{}",
        again.all
    );
    temporary
}

#[test]
fn from_an_empty_database_to_a_home_that_recorders_send_to() {
    let server = Server::shared();
    let database = server.database();
    let temporary = begun(server, &database);
    let folder = temporary.path();
    let enrol = [
        "home",
        "enrol",
        "--recorder",
        "cart 1",
        "--out",
        "cart.toml",
    ];
    done(
        folder,
        &enrol,
        &["\"cart 1\" is enrolled in the home alder", "keep no copy"],
    );
    fails(folder, &enrol, "is there already");
    let twice = [
        "home",
        "enrol",
        "--recorder",
        "cart 1",
        "--out",
        "other.toml",
    ];
    fails(folder, &twice, "enrolled already");
    let station = ["home", "enrol", "--station", "desk", "--out", "desk.toml"];
    done(folder, &station, &["station \"desk\" is enrolled"]);
    let by_recorder = ["home", "members", "--link", "cart.toml"];
    fails(
        folder,
        &by_recorder,
        "is a recorder's; give the keeper's link file",
    );
    fails(
        folder,
        &["home", "members", "--link", "nowhere.toml"],
        "nowhere.toml",
    );

    let mut store = Store::open(&folder.join("record.db")).unwrap();
    store
        .append(&notes(1..=3).iter().collect::<Vec<_>>())
        .unwrap();
    drop(store);
    let send = ["send", "--link", "cart.toml", "--store", "record.db"];
    done(
        folder,
        &send,
        &[
            "Sent 3 entries, fetched 0.",
            "All is at the station",
            "stands at 3:",
        ],
    );
    done(folder, &send, &["Sent 0 entries"]);
    fails(folder, &["send", "--link", "keeper.toml"], "is a keeper's");
    done(
        folder,
        &["home", "members"],
        &["cart 1", "recorder", "desk", "station", "keeper"],
    );
    done(
        folder,
        &["check", "--link", "cart.toml"],
        &["The home alder: 3 facts.", "Nothing was changed"],
    );

    let mut superuser = server.superuser(&database).unwrap();
    let tamper = "BEGIN; SET LOCAL session_replication_role = replica; \
        UPDATE sayback.fact SET fact = replace(fact, 'before', 'after') WHERE seq = 2; COMMIT";
    superuser.batch_execute(tamper).unwrap();
    let found = sayback(folder, &["check", "--link", "desk.toml"]);
    assert_eq!(found.code, 4, "{}", found.all);
    assert!(found.all.contains("WRONG: row 2"), "{}", found.all);

    done(folder, &["home", "revoke", "cart 1"], &["is cut off"]);
    fails(folder, &send, "refuses this link");
    fails(folder, &["home", "revoke", "cart 1"], "nobody called that");
    // No secret was said.
    let secret = Link::read(&folder.join("keeper.toml")).unwrap().password.0;
    let log = server.log();
    assert!(!log.contains(&secret) && !log.contains(postgres_server::SUPERUSER_PASSWORD));
}

#[test]
fn the_roster_is_set_with_a_word_on_what_it_replaces() {
    let server = Server::shared();
    let temporary = begun(server, &server.database());
    let folder = temporary.path();
    let roster = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/demo-home.toml");
    std::fs::copy(&roster, folder.join("home.toml")).unwrap();
    let by = ["--by", "Ines Marlow"];
    let set = |more: &[&'static str]| {
        ["home", "set-roster", "home.toml"]
            .into_iter()
            .chain(by)
            .chain(more.iter().copied())
            .collect::<Vec<_>>()
    };
    fails(
        folder,
        &["home", "set-limits", "home.toml", "--by", "me"],
        "set the roster first",
    );
    done(folder, &set(&[]), &["roster, version 1."]);
    let replaced = ["version 2.", "replaces version 1, by Ines Marlow"];
    let all = done(folder, &set(&["--based-on", "1"]), &replaced);
    assert!(!all.contains("WARNING"), "{all}");
    done(
        folder,
        &set(&["--based-on", "1"]),
        &["version 3.", "WARNING: it was not made from that version"],
    );
    done(
        folder,
        &["home", "get-roster", "--out", "now.toml"],
        &["roster, version 3", "--based-on 3"],
    );
    assert_eq!(
        std::fs::read(folder.join("now.toml")).unwrap(),
        std::fs::read(&roster).unwrap()
    );
    // What comes through a pipe can be read once.
    let limits = "policy = \"Policy 4\"\non = \"2026-02-01\"\n";
    for (text, code) in [(limits, 0), ("policy = 4\n", 1)] {
        std::fs::write(folder.join("limits.toml"), text).unwrap();
        let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
        command.args(["home", "set-limits", "-"]).args(by);
        command.stdin(std::fs::File::open(folder.join("limits.toml")).unwrap());
        let ran = ended(command.current_dir(folder).output().unwrap());
        assert_eq!(ran.code, code, "{}", ran.all);
    }
    let right = std::fs::read_to_string(&roster).unwrap();
    let long = right.replacen("Rosa Delgado", &"Rosa ".repeat(50), 1);
    for (bad, why) in [("name = 1", "text in quotes"), (&long, "name: too long")] {
        std::fs::write(folder.join("bad.toml"), bad).unwrap();
        let set = ["home", "set-roster", "bad.toml", "--by", "me"];
        fails(folder, &set, "Nothing is changed");
        fails(folder, &set, why);
    }
}

#[test]
fn doctor_says_what_is_not_at_the_station_yet() {
    let server = Server::start();
    let aspen = Aspen::on(&server);
    let temporary = tempfile::tempdir().unwrap();
    let folder = temporary.path();
    aspen.recorder.write(&folder.join("cart.toml")).unwrap();
    let mut store = Store::open(&folder.join("record.db")).unwrap();
    store
        .append(&notes(1..=2).iter().collect::<Vec<_>>())
        .unwrap();
    let line = || {
        let all = sayback(folder, &["doctor", "--link", "cart.toml"]).all;
        all.lines()
            .find(|it| it.contains("link "))
            .unwrap()
            .to_owned()
    };
    let before = line();
    assert!(
        before.starts_with("ok")
            && before.contains("2 other entries not at the station yet, nothing sent so far"),
        "{before}"
    );
    done(
        folder,
        &["send", "--link", "cart.toml"],
        &["Sent 2 entries"],
    );
    store.append(&[&note(3, "later")]).unwrap();
    server.down();
    let away = line();
    assert!(
        away.starts_with("warn")
            && away.contains("1 other entry not at the station yet, last sent"),
        "{away}"
    );
    let ran = sayback(folder, &["send", "--link", "cart.toml"]);
    assert_eq!(ran.code, 1);
    assert!(
        ran.all.contains("1 other entry not at the station yet")
            && ran.all.contains("Nothing is lost"),
        "{}",
        ran.all
    );
    server.up();
    open(&aspen.keeper).revoke("the cart").unwrap();
    let cut_off = line();
    assert!(cut_off.starts_with("fail"), "{cut_off}");
    let ran = sayback(folder, &["send", "--link", "cart.toml"]);
    assert!(ran.all.contains("once that is put right"), "{}", ran.all);
    std::fs::remove_file(folder.join("cart.toml")).unwrap();
    assert!(line().starts_with("fail"), "{}", line());
}

/// Who gives the wrong link file is told which it is, before anything is made.
#[test]
fn the_wrong_link_file_is_named() {
    let aspen = Aspen::new();
    let temporary = tempfile::tempdir().unwrap();
    let folder = temporary.path();
    aspen.recorder.write(&folder.join("cart.toml")).unwrap();
    let enrol = [
        "home",
        "enrol",
        "--recorder",
        "x",
        "--out",
        "x.toml",
        "--link",
        "cart.toml",
    ];
    fails(
        folder,
        &enrol,
        "cart.toml is a recorder's; give the keeper's link file",
    );
    fails(folder, &["serve", "--link", "cart.toml"], "enrol a station");
    assert!(
        !folder.join("accounts.db").exists(),
        "no accounts are begun"
    );
}
