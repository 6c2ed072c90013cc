//! Runs that go on, runs that are armed, runs by hand: what a person at the bench does with `run`.

mod arming;
mod by_hand;
mod person;
mod record;
mod resume;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// The program, away from any terminal.
fn dutycup(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_dutycup"))
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::null())
        .output()
        .expect("the program starts")
}

fn scratch(name: &str) -> PathBuf {
    let dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join("run-again").join(name);
    let _ = fs::remove_dir_all(&dir);
    fs::create_dir_all(dir.parent().expect("a parent")).expect("scratch");
    dir
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn said(output: &Output) -> String {
    format!("{}\n{}", text(&output.stdout), text(&output.stderr))
}

#[expect(clippy::print_stdout, reason = "a test says what it measured")]
fn measured(what: &str) {
    println!("{what}");
}
