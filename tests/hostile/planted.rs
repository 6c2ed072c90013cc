//! Folders prepared for the program: a link in place of each file it writes, a folder that is not ours to write.

use super::support::{run, scratch, speaks_safely};
use std::fs;
use std::os::unix::fs::symlink;

/// Whatever a run or an analysis writes: a link of that name in the folder means that the folder holds something.
#[test]
fn a_folder_with_a_planted_link_is_refused() {
    let example = super::support::ours("results/example");
    let mut names: Vec<String> = fs::read_dir(&example)
        .unwrap_or_else(|e| panic!("{e}"))
        .map(|e| e.unwrap_or_else(|e| panic!("{e}")).file_name().to_string_lossy().into_owned())
        .collect();
    names.extend(["map.csv", ".lock", "controller.csv", "switch.csv", "road.csv"].map(String::from));
    assert!(names.len() > 15);
    for name in names {
        let dir = scratch();
        let (out, secret) = (dir.path().join("out"), dir.path().join("secret"));
        fs::create_dir(&out).unwrap_or_else(|e| panic!("{e}"));
        fs::write(&secret, "mine").unwrap_or_else(|e| panic!("{e}"));
        symlink(&secret, out.join(&name)).unwrap_or_else(|e| panic!("{e}"));
        for command in [
            &["run", "scenarios/leak-down.yaml"][..],
            &["analyse", "tests/data/points.csv"],
            &["analyse", "results/example"],
        ] {
            let done = run(command
                .iter()
                .map(|s| (*s).to_owned())
                .chain(["--out".into(), out.display().to_string()]));
            let said = String::from_utf8_lossy(&done.stderr);
            assert!(
                matches!(done.status.code(), Some(2 | 74)),
                "{name}: {command:?}: {} {said}",
                done.status
            );
            assert!(said.contains("not empty"), "{name}: {said}");
            speaks_safely(&name, &done);
            assert_eq!(fs::read(&secret).unwrap_or_default(), b"mine", "{name}");
            assert_eq!(fs::read_dir(&out).map_or(0, Iterator::count), 1, "{name}: nothing was added");
        }
    }
}

/// A file written whole replaces a link; it is not written through.
#[test]
fn a_link_in_place_of_a_result_file_is_replaced() {
    let dir = scratch();
    let (link, secret) = (dir.path().join("out"), dir.path().join("secret"));
    fs::write(&secret, "mine").unwrap_or_else(|e| panic!("{e}"));
    symlink(&secret, &link).unwrap_or_else(|e| panic!("{e}"));
    let to = link.display().to_string();
    let done = run(["accept", "tests/fuzz/seeds/controller.csv", "--as", &to]);
    speaks_safely("accept", &done);
    assert_eq!(fs::read(&secret).unwrap_or_default(), b"mine");
}
