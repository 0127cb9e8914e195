//! A roster as homes have them: beds with letters, and tables out of a spreadsheet.

use super::*;

fn demo() -> String {
    let home = Path::new(ROOT).join("audio-fixtures/demo-home.toml");
    std::fs::read_to_string(home).unwrap()
}

/// The demo's home with these beds in room 4.
fn beds(first: &str, second: &str) -> String {
    let bed = |it: &str| format!("bed = \"{it}\"");
    let text = demo().replace(&bed("1"), &bed(first));
    text.replace(&bed("2"), &bed(second))
}

/// With words that the model lacks among the beds no round would begin: the recogniser
/// refuses them all.
#[test]
fn beds_are_called_as_they_are_said_however_they_are_written() {
    for (first, second, said) in [
        ("A", "B", "bed b"),
        ("01", "02", "bed two"),
        ("1A", "1B", "bed one b"),
        ("Window", "Door-side", "bed door side"),
    ] {
        let wav = Path::new(ROOT)
            .join(recording("yes-slt"))
            .display()
            .to_string();
        let round = format!(
            "home home.toml\ntext room four {said}\nexpect Walter Brandt\nwav {wav}\n\
             expect Ready for Walter Brandt\n"
        );
        let home = beds(first, second);
        let files = folder(&[("home.toml", &home), ("round.script", &round)]);
        let ran = rehearse(&files.path().join("round.script"), &[]).0;
        assert_eq!(ran.code, 0, "{first}, {second}: {}{}", ran.out, ran.err);
    }
    let wav = Path::new(ROOT)
        .join(recording("yes-slt"))
        .display()
        .to_string();
    let round = format!("home home.toml\ntext go to walter brandt\nwav {wav}\nexpect Ready\n");
    let files = folder(&[("home.toml", &beds("A", "qwrtz")), ("round.script", &round)]);
    let ran = rehearse(&files.path().join("round.script"), &[]).0;
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let home = files.path().join("home.toml").display().to_string();
    let checked = sayback(["roster", "check", "--home", &home]).succeeded();
    let expected = "AR-042: bed qwrtz can't be said: call Walter Brandt by name";
    assert!(checked.out.contains(expected), "{}", checked.out);
}

#[test]
fn two_beds_that_are_said_alike_are_refused() {
    for (first, second) in [("1", "01"), ("A", "a"), ("1A", "1-a")] {
        let files = folder(&[("home.toml", &beds(first, second))]);
        let home = files.path().join("home.toml").display().to_string();
        let says = [&format!("room 4, bed {second} is taken by \"AR-041\"")[..]];
        fails(&["roster", "check", "--home", &home], &says);
    }
}

#[test]
fn a_table_out_of_a_spreadsheet_is_taken_or_told_how_to_be_saved() {
    let good = "id,room,bed,name,birth_date\nAR-200,20,A,Nora Ellsworth,1938-04-21\n";
    let taken = good.replace("20,A", "4,01");
    let letter = good.replace("20,A", "20B,");
    let files = folder(&[
        ("home.toml", &demo()),
        ("rows.csv", &format!("{good},,,,\r\n , ,,,\r\n")),
        ("taken.csv", &taken),
        ("letter.csv", &letter),
    ]);
    let path = |name: &str| files.path().join(name).display().to_string();
    let home = path("home.toml");
    let latin: Vec<u8> = good
        .replace("Nora", "José")
        .chars()
        .map(|it| it as u8)
        .collect();
    std::fs::write(path("latin.csv"), latin).unwrap();
    let import = |name: &str| ["roster", "import", &path(name), "--home", &home].map(str::to_owned);
    for (name, says) in [
        ("latin.csv", "save it as \"CSV UTF-8\""),
        ("letter.csv", "a letter after it is the bed's"),
        ("taken.csv", "room 4, bed 01 is taken by \"AR-041\""),
    ] {
        let arguments = import(name);
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        fails(&arguments, &[says]);
    }
    assert_eq!(std::fs::read_to_string(&home).unwrap(), demo());

    // Two imports within one second: what was there before the first is not lost.
    sayback(import("rows.csv")).succeeded();
    std::fs::write(path("rows.csv"), good.replace("Nora", "Cora")).unwrap();
    sayback(import("rows.csv")).succeeded();
    let names = std::fs::read_dir(files.path())
        .unwrap()
        .map(|it| it.unwrap().path());
    let copies = names.filter(|it| it.to_string_lossy().contains(".before-"));
    let copies: Vec<String> = copies
        .map(|it| std::fs::read_to_string(it).unwrap())
        .collect();
    assert_eq!(copies.len(), 2);
    assert!(copies.contains(&demo()));
}

/// Which field, what stands there and what to write instead: nothing of the reader's own.
#[test]
fn what_cannot_be_read_in_the_homes_file_is_said_as_in_the_limits() {
    for (right, wrong, said) in [
        (
            "\"1938-05-02\"",
            "\"02.05.1938\"",
            "line 22, residents.birth_date: \"02.05.1938\" can't be read as a day; expected the day of birth \
             in quotes, year, month and day: birth_date = \"1938-05-02\"",
        ),
        (
            "\"1938-05-02\"",
            "1938-05-02",
            "line 22, residents.birth_date: 1938-05-02 can't be read as a day; expected the day of birth in \
             quotes",
        ),
        (
            "birth_date = \"1938-05-02\"\n",
            "",
            "line 17, residents.birth_date: missing; expected the day of birth in quotes",
        ),
        (
            "\"2026-02-12\"",
            "\"2026-02-30\"",
            "line 35, residents.ranges.systolic.on: \"2026-02-30\" can't be read as a day; expected a day in \
             quotes, year, month and day",
        ),
        (
            "room = 12",
            "room = \"twelve\"",
            "line 51, residents.room: \"twelve\" can't be read as a room; expected a number without quotes: \
             room = 4",
        ),
        (
            "units = \"us_customary\"",
            "units = \"us_customary\"\nshifts = [\n  \"07:00\",\n  \"1500\",\n]",
            "line 6, shifts: \"1500\" can't be read as a time of day; expected times in quotes",
        ),
        (
            "units = \"us_customary\"",
            "units = \"imperial\"",
            "line 3, units: \"imperial\" can't be read as units; expected \"us_customary\" or \"metric\"",
        ),
        (
            "room = 9",
            "room = 9\nward = \"north\"",
            "line 40, residents.ward: unknown field `ward`; expected one of `id`, `wing`, `room`",
        ),
        (
            "high = 150",
            "high = 150, on = \"x\"",
            "line 33, residents.ranges.systolic.",
        ),
        ("room = 9\n", "room 9\n", "line 39, residents: "),
    ] {
        let text = demo();
        assert!(text.contains(right), "{right}");
        let files = folder(&[("home.toml", &text.replacen(right, wrong, 1))]);
        let home = files.path().join("home.toml").display().to_string();
        let ran = sayback(["roster", "check", "--home", &home]);
        assert_eq!(ran.code, 1, "{wrong}: {}", ran.err);
        assert!(ran.err.contains(said), "{wrong}: {}", ran.err);
        assert!(!ran.err.contains("TOML"), "{wrong}: {}", ran.err);
    }
}
