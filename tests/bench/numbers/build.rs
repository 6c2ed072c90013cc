//! Q6 and N12: what the two commands of the README cost on a bare machine, and how many crates are in the program.
//!
//! In: nothing; it takes minutes and is asked for with `--build`. Out: wall and user time of the first command and of the
//! tests, each from an empty cargo home and an empty folder; sizes of what they leave. Fetching from the registry counts.

use super::process::run_within;
use super::table::{Line, Table};
use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

/// Longest time one of these commands is given.
const LONGEST: Duration = Duration::from_secs(3600);
/// Ticks of the processor times in proc(5), Hz: a constant of the interface on Linux.
const TICKS_HZ: f64 = 100.0;

fn cargo(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO"));
    command.current_dir(env!("CARGO_MANIFEST_DIR")).args(args).env("CARGO_INCREMENTAL", "0");
    command
}

/// User time of all processes that this one has waited for, and theirs, s (proc(5), field `cutime`).
fn children_user_s() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").expect("proc(5)");
    let (_, after_name) = stat.rsplit_once(')').expect("a name in brackets");
    after_name.split_whitespace().nth(13).and_then(|t| t.parse::<f64>().ok()).expect("cutime") / TICKS_HZ
}

/// Bytes of all files below a folder; what is linked twice counts once.
fn size_of(folder: &Path, seen: &mut BTreeSet<u64>) -> u64 {
    use std::os::unix::fs::MetadataExt as _;
    let mut bytes = 0;
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let Ok(meta) = entry.path().symlink_metadata() else { continue };
        if meta.is_dir() {
            bytes += size_of(&entry.path(), seen);
        } else if seen.insert(meta.ino()) {
            bytes += meta.len();
        }
    }
    bytes
}

/// Q6 and N12.
pub(crate) fn measure(table: &mut Table, dir: &Path) {
    let mut line = |id: &'static str, what: &str, ours: String, aim: &str, met: bool| {
        let (what, aim) = (what.to_owned(), aim.to_owned());
        table.add(Line { id, what, ours, peer: String::new(), ratio: None, aim, met: Some(met) });
    };
    let tree = run_within(&mut cargo(&["tree", "-e", "normal,build", "--prefix", "none"]), LONGEST);
    assert_eq!(tree.code, Some(0), "{}", tree.err);
    // A crate is a name with a version; what stands behind them are marks.
    let name = |l: &str| l.split_whitespace().take(2).collect::<Vec<_>>().join(" ");
    let crates: BTreeSet<String> = tree.out.lines().map(name).filter(|l| !l.is_empty()).collect();
    line("Q6", "crates, the program and its build", crates.len().to_string(), "< 230", crates.len() < 230);

    let (target, home, out) = (dir.join("clean"), dir.join("cargo-home"), dir.join("first-run"));
    let bare = |args: &[&str]| {
        let mut command = cargo(args);
        command.env("CARGO_TARGET_DIR", &target).env("CARGO_HOME", &home);
        let before = children_user_s();
        let ran = run_within(&mut command, LONGEST);
        assert_eq!(ran.code, Some(0), "{args:?}: {}{}", ran.out, ran.err);
        (ran.s, children_user_s() - before)
    };
    let out = out.to_str().expect("a path that is text");
    let job = "scenarios/pump-and-nozzle.yaml";
    let (wall, user) = bare(&["run", "--locked", "--release", "--", "run", job, "--out", out]);
    line("N12", "first command, empty cargo home: wall", format!("{wall:.0} s"), "< 120 s", wall < 120.0);
    line("N12", "the same: user", format!("{user:.0} s"), "", true);
    let megabytes = |bytes: u64| bytes as f64 / 1e6;
    let binary = megabytes(std::fs::metadata(target.join("release/dutycup")).map_or(u64::MAX, |m| m.len()));
    line("N12", "release binary", format!("{binary:.1} MB"), "< 12 MB", binary < 12.0);
    let (wall, user) = bare(&["test", "--locked", "--no-run"]);
    line("N12", "tests, built: user", format!("{user:.0} s"), "< 360 s", user < 360.0);
    line("N12", "the same: wall", format!("{wall:.0} s"), "", true);
    let (wall, user) = bare(&["test", "--locked"]);
    line("N12", "tests, run: wall", format!("{wall:.0} s"), "< 180 s", wall < 180.0);
    line("N12", "the same: user", format!("{user:.0} s"), "", true);
    let left = megabytes(size_of(&target, &mut BTreeSet::new())) / 1000.0;
    line("N12", "target/ after both", format!("{left:.2} GB"), "< 3 GB", left < 3.0);
}
