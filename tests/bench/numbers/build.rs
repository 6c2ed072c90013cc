//! Q6: a clean release build, and how many crates are in it.
//!
//! In: nothing; it takes minutes and is asked for with `--build`. Out: wall time of `cargo build --release` into an
//! empty folder, and the crates of the program and its build on this platform.

use super::process::run;
use super::table::{Line, Table};
use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

fn cargo(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO"));
    command.current_dir(env!("CARGO_MANIFEST_DIR")).args(args);
    command
}

/// Q6.
pub(crate) fn measure(table: &mut Table, dir: &Path) {
    let tree = run(&mut cargo(&["tree", "-e", "normal,build", "--prefix", "none"]));
    assert_eq!(tree.code, Some(0), "{}", tree.err);
    // A crate is a name with a version; what stands behind them are marks.
    let name = |l: &str| l.split_whitespace().take(2).collect::<Vec<_>>().join(" ");
    let crates: BTreeSet<String> = tree.out.lines().map(name).filter(|l| !l.is_empty()).collect();
    let count = crates.len();
    table.add(Line {
        id: "Q6",
        what: "crates, the program and its build".into(),
        ours: count.to_string(),
        peer: String::new(),
        ratio: None,
        aim: "< 230".into(),
        met: Some(count < 230),
    });
    let target = dir.join("clean");
    let target = target.to_str().expect("a path that is text");
    let built = run(cargo(&["build", "--release", "--bin", "dutycup", "--target-dir", target])
        .env("CARGO_INCREMENTAL", "0"));
    assert_eq!(built.code, Some(0), "{}", built.err);
    table.add(Line {
        id: "Q6",
        what: "clean release build".into(),
        ours: format!("{:.0} s", built.s),
        peer: String::new(),
        ratio: None,
        aim: "< 180 s".into(),
        met: Some(built.s < 180.0),
    });
}
