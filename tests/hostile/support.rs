//! The program as a process, within a limit of memory, and what is looked for in what it says.

use dutycup::door::problem::is_hidden;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// Private memory the program may take, KiB: with its own code, less than 64 MiB resident.
pub(crate) const DATA_KIB_MAX: u32 = 56 << 10;

/// A fresh folder below the build's own scratch folder.
pub(crate) fn scratch() -> tempfile::TempDir {
    tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap_or_else(|e| panic!("{e}"))
}

/// A file of the repository.
pub(crate) fn ours(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// The program, to be ended by the system when it asks for more memory than [`DATA_KIB_MAX`].
pub(crate) fn program() -> Command {
    let mut command = Command::new("sh");
    let limited = format!("ulimit -d {DATA_KIB_MAX} && exec \"$0\" \"$@\"");
    command.args(["-c", &limited, env!("CARGO_BIN_EXE_dutycup")]);
    command.current_dir(env!("CARGO_MANIFEST_DIR")).stdin(Stdio::null());
    command
}

/// Runs the program to its end.
pub(crate) fn run<S: AsRef<std::ffi::OsStr>>(arguments: impl IntoIterator<Item = S>) -> Output {
    program().args(arguments).output().unwrap_or_else(|e| panic!("{e}"))
}

/// Nothing in the bytes does anything to a terminal.
#[track_caller]
pub(crate) fn shows_only_itself(what: &str, bytes: &[u8]) {
    let text = std::str::from_utf8(bytes).unwrap_or_else(|e| panic!("{what}: {e}"));
    if let Some(c) = text.chars().find(|c| is_hidden(*c) && !matches!(c, '\n')) {
        let line = text.lines().find(|l| l.contains(c)).unwrap_or_default();
        panic!("{what}: {c:?} in {line:?}");
    }
}

/// Both streams of a process show only themselves, and are no flood.
#[track_caller]
pub(crate) fn speaks_safely(what: &str, done: &Output) {
    shows_only_itself(&format!("{what}, stdout"), &done.stdout);
    shows_only_itself(&format!("{what}, stderr"), &done.stderr);
    let said = done.stdout.len() + done.stderr.len();
    assert!(said < 1 << 20, "{what}: {said} bytes said");
}
