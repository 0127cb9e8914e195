//! What an installer is told when something is wrong: what it is, and what to do.

use std::path::Path;
use std::process::Command;

use super::*;

/// What only somebody who knows the database understands.
const RAW: [&str; 7] = [
    "duplicate key",
    "violates",
    "db error",
    "os error",
    "error connecting",
    "error performing",
    "invalid peer",
];

struct Installer<'a> {
    folder: &'a Path,
    server: &'a Server,
    database: String,
}

impl Installer<'_> {
    /// `sayback home` with this, and with these in its environment; what it says.
    fn home(&self, arguments: &[&str], with: &[(&str, &str)]) -> (i32, String) {
        let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
        command.arg("home").args(arguments).current_dir(self.folder);
        command
            .env("PGHOST", "localhost")
            .env("PGPORT", self.server.port.to_string())
            .env("PGDATABASE", &self.database)
            .env("PGUSER", postgres_server::SUPERUSER)
            .env("PGPASSWORD", postgres_server::SUPERUSER_PASSWORD)
            .env("PGSSLROOTCERT", self.folder.join("ca.pem"))
            .envs(with.iter().copied());
        let _one = postgres_server::one_at_a_time();
        let output = command.output().unwrap();
        let text = |it: Vec<u8>| String::from_utf8(it).unwrap();
        let all = text(output.stdout) + &text(output.stderr);
        (output.status.code().unwrap(), all)
    }

    fn fails(&self, arguments: &[&str], with: &[(&str, &str)], says: &[&str]) {
        let (code, all) = self.home(arguments, with);
        assert_eq!(code, 1, "{arguments:?} {with:?}: {all}");
        for it in says {
            assert!(
                all.contains(it),
                "{arguments:?} {with:?}: no \"{it}\": {all}"
            );
        }
        for it in RAW {
            assert!(!all.contains(it), "{arguments:?} {with:?}: {all}");
        }
    }
}

fn at<'a>(server: &'a Server, folder: &'a Path) -> Installer<'a> {
    std::fs::write(folder.join("ca.pem"), &server.ca).unwrap();
    Installer {
        folder,
        server,
        database: server.database(),
    }
}

const INIT: [&str; 5] = ["init", "--id", "alder", "--name", "Alder Ridge House"];

fn init<'a>(more: &[&'a str]) -> Vec<&'a str> {
    let mut all = INIT.to_vec();
    all.extend(more);
    all
}

#[test]
fn beginning_a_home_says_what_is_wrong_and_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let installer = at(Server::shared(), folder.path());
    let begin = |with: &[(&str, &str)], says: &[&str]| {
        installer.fails(&init(&["--out", "none.toml"]), with, says);
        assert!(!folder.path().join("none.toml").exists());
    };
    begin(
        &[("PGDATABASE", "nowhere")],
        &[
            "there is no database called \"nowhere\"",
            "createdb",
            "PGDATABASE",
        ],
    );
    begin(
        &[("PGPASSWORD", "another")],
        &["does not let keeper_of_all in", "PGPASSWORD"],
    );
    begin(
        &[("PGUSER", "nobody")],
        &["does not let nobody in", "PGUSER"],
    );
    begin(
        &[("PGHOST", "station.invalid")],
        &["nobody here knows where station.invalid:", "PGHOST"],
    );
    begin(
        &[("PGPORT", "1")],
        &["nothing answers at localhost:1.", "Is PostgreSQL running"],
    );
    begin(&[("PGPORT", "many")], &["PGPORT is not a port's number"]);
    let [other, ..] = postgres_server::certificates();
    std::fs::write(folder.path().join("other.pem"), other).unwrap();
    begin(
        &[("PGSSLROOTCERT", "other.pem")],
        &["is from another authority than the one that --ca or PGSSLROOTCERT names"],
    );
    let socket = ["--address", "localhost", "--out", "none.toml"];
    installer.fails(
        &init(&socket),
        &[("PGHOST", "/nowhere")],
        &[
            "no server's socket at /nowhere",
            "Is PostgreSQL running on this machine",
        ],
    );
    let role = format!("plain_{}", installer.database);
    let mut superuser = Server::shared().superuser(&installer.database).unwrap();
    let plain = format!("CREATE ROLE {role} LOGIN PASSWORD 'plain'");
    superuser.batch_execute(&plain).unwrap();
    begin(
        &[("PGUSER", &role), ("PGPASSWORD", "plain")],
        &["too few rights to begin a home", "superuser"],
    );
    let (mut name, mut label) = (init(&[]), init(&["--label"]));
    name[2] = "Alder Ridge";
    installer.fails(
        &name,
        &[],
        &["\"Alder Ridge\" is no short name", "alder-ridge"],
    );
    for (text, says) in [(&*"é".repeat(201), "200 characters"), (" ", "missing")] {
        name[2..5].copy_from_slice(&["alder", "--name", text]);
        installer.fails(&name, &[], &["the home's name is", says]);
    }
    let long = "k".repeat(61);
    label.push(&long);
    installer.fails(&label, &[], &["1 to 60 letters"]);
    assert!(!folder.path().join("keeper.toml").exists());

    let (code, said) = installer.home(&INIT, &[]);
    assert_eq!(code, 0, "{said}");
    begin(&[], &["\"keeper\" is enrolled already", "--label"]);
}

#[test]
fn a_link_that_leads_nowhere_says_what_is_wrong_and_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start();
    let installer = at(&server, folder.path());
    let (code, said) = installer.home(&INIT, &[]);
    assert_eq!(code, 0, "{said}");
    let file = folder.path().join("keeper.toml");
    let keeper = Link::read(&file).unwrap();
    let members = |link: Link, says: &[&str]| {
        let _ = std::fs::remove_file(&file);
        link.write(&file).unwrap();
        installer.fails(&["members"], &[], says);
    };
    let database = |name: &str| Link {
        database: name.to_owned(),
        ..keeper.clone()
    };
    members(
        database("nowhere"),
        &[
            "there is no database called \"nowhere\"",
            "The link file names it",
        ],
    );
    members(database(&server.database()), &["`sayback home init`"]);
    let host = Link {
        host: "station.invalid".to_owned(),
        ..keeper.clone()
    };
    members(
        host,
        &["nobody here knows where station.invalid", "the link file"],
    );
    let password = Link {
        password: sayback::sync::Password("another".to_owned()),
        ..keeper.clone()
    };
    members(password, &["the home refuses this link"]);
    server.down();
    members(keeper, &["nothing answers at localhost", "the link file"]);
}

#[test]
fn a_certificate_that_is_over_is_said_to_be() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::certified(postgres_server::certificates_for(-400));
    let installer = at(&server, folder.path());
    installer.fails(&INIT, &[], &["has expired", "make a new one"]);
}
